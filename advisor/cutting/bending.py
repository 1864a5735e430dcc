"""Bending of a cutter held at one end, of holder and machine, and the stress in it.

All lengths are measured from the tip. Plain beam theory (Euler-Bernoulli); shear adds little beyond two diameters.
"""

from __future__ import annotations

from math import pi, sqrt

from advisor.cutting.validity import RangeError, covers, not_negative, positive, within

SHORT = "a bar so short bends less than it shears; the formula gives too little"


def second_moment(*, diameter: float) -> float:
    """Second moment of area of a round bar, I = pi d^4/64.

    Symbols:
        diameter  d  mm  diameter
    Returns:
        I, mm4
    Range:
        d > 0
    Source:
        geometry
    """
    positive(diameter=diameter)
    return pi * diameter**4 / 64.0


@covers(slenderness=(2.0, 1000.0, SHORT))
def cantilever_deflection(*, force: float, length: float, diameter: float, modulus: float, slenderness: float = 5.0) -> float:
    """Deflection at the end of a round cantilever, delta = F L^3/(3 E I).

    Symbols:
        force  F  N  force across the end
        length  L  mm  free length
        diameter  d  mm  diameter
        modulus  E  N/mm2  modulus of elasticity
        slenderness  L/d  -  length over diameter, only for the caveat
    Returns:
        delta, mm
    Range:
        F >= 0, L > 0, d > 0, E > 0
    Source:
        geometry
    """
    not_negative(force=force, slenderness=slenderness)
    positive(length=length, modulus=modulus)
    return force * length**3 / (3.0 * modulus * second_moment(diameter=diameter))


def bending_stress(*, force: float, length: float, diameter: float) -> float:
    """Greatest bending stress of a round cantilever, sigma = 32 F L/(pi d^3).

    Symbols:
        force  F  N  force across the end
        length  L  mm  from the force to the section
        diameter  d  mm  diameter of the section
    Returns:
        sigma, N/mm2
    Range:
        F, L >= 0, d > 0
    Source:
        geometry
    """
    not_negative(force=force, length=length)
    positive(diameter=diameter)
    return 32.0 * force * length / (pi * diameter**3)


def torsion_stress(*, torque: float, diameter: float) -> float:
    """Torsion stress of a round bar, tau = 16 M/(pi d^3).

    Symbols:
        torque  M  N.m  torque
        diameter  d  mm  diameter of the section
    Returns:
        tau, N/mm2
    Range:
        M >= 0, d > 0
    Source:
        geometry
    """
    not_negative(torque=torque)
    positive(diameter=diameter)
    return 16.0 * torque * 1000.0 / (pi * diameter**3)


def combined_stress(*, bending: float, torsion: float) -> float:
    """Equivalent stress, sqrt(sigma^2 + 3 tau^2).

    Symbols:
        bending  sigma  N/mm2  bending stress
        torsion  tau  N/mm2  torsion stress
    Returns:
        sigma_vM, N/mm2
    Range:
        both >= 0
    Source:
        from memory: von Mises 1913
    """
    not_negative(bending=bending, torsion=torsion)
    return sqrt(bending * bending + 3.0 * torsion * torsion)


def stepped_deflection(
    *,
    force: float,
    modulus: float,
    flute_length: float,
    flute_diameter: float,
    stickout: float,
    shank: float,
    force_distance: float = 0.0,
) -> float:
    """Deflection of a stepped cantilever at the force, (F/3E)[L_1^3/I_1 + (L_2^3 - L_1^3)/I_2], lengths less c.

    Symbols:
        force  F  N  force across the axis
        modulus  E  N/mm2  modulus of elasticity
        flute_length  L_1  mm  fluted length from the tip
        flute_diameter  d_1  mm  equivalent diameter of the fluted part
        stickout  L_2  mm  from the tip to the holder
        shank  d_2  mm  shank diameter
        force_distance  c  mm  from the tip to the force, half the depth of cut
    Returns:
        delta, mm
    Range:
        F >= 0, E, L_1, L_2, d_1, d_2 > 0, 0 <= c < L_2; a flute longer than the stickout counts up to the holder
    Source:
        geometry; kops-vo-1990
    """
    not_negative(force=force, force_distance=force_distance)
    positive(modulus=modulus, flute_length=flute_length, stickout=stickout)
    if not force_distance < stickout:
        raise RangeError("force_distance", force_distance, f"it must be less than the stickout, {stickout:g}")
    first = max(0.0, min(flute_length, stickout) - force_distance)
    whole = stickout - force_distance
    fluted, plain = second_moment(diameter=flute_diameter), second_moment(diameter=shank)
    return force / (3.0 * modulus) * (first**3 / fluted + (whole**3 - first**3) / plain)


def tip_deflection(
    *,
    force: float,
    modulus: float,
    flute_length: float,
    flute_diameter: float,
    stickout: float,
    shank: float,
    force_distance: float = 0.0,
) -> float:
    """Deflection of the tip of a stepped cantilever under a force some way above the tip (the floor edge of the wall).

    Symbols:
        force  F  N  force across the axis
        modulus  E  N/mm2  modulus of elasticity
        flute_length  L_1  mm  fluted length from the tip
        flute_diameter  d_1  mm  equivalent diameter of the fluted part
        stickout  L_2  mm  from the tip to the holder
        shank  d_2  mm  shank diameter
        force_distance  c  mm  from the tip to the force
    Returns:
        delta, mm
    Range:
        as stepped_deflection
    Source:
        geometry
    """
    at_force = stepped_deflection(
        force=force,
        modulus=modulus,
        flute_length=flute_length,
        flute_diameter=flute_diameter,
        stickout=stickout,
        shank=shank,
        force_distance=force_distance,
    )
    first = max(0.0, min(flute_length, stickout) - force_distance)
    whole = stickout - force_distance
    fluted, plain = second_moment(diameter=flute_diameter), second_moment(diameter=shank)
    slope = force / (2.0 * modulus) * (first**2 / fluted + (whole**2 - first**2) / plain)
    return at_force + slope * force_distance


_FITTED = {2: (7.93, 0.974), 3: (8.30, 0.965), 4: (9.05, 0.950)}


@covers(modulus=(400000.0, 700000.0, "the fit was made for cemented carbide"))
def fitted_deflection(
    *, force: float, modulus: float, flute_length: float, diameter: float, stickout: float, shank: float, flutes: int
) -> float:
    """Tip deflection by the fit of Kivanc and Budak, delta = C (F/E)[L_1^3/D_1^4 + (L_2^3 - L_1^3)/D_2^4]^N.

    Symbols:
        force  F  N  force across the tip
        modulus  E  N/mm2  modulus of elasticity
        flute_length  L_1  mm  fluted length
        diameter  D_1  mm  cutting diameter
        stickout  L_2  mm  from the tip to the holder
        shank  D_2  mm  shank diameter
        flutes  z  -  2, 3 or 4
    Returns:
        delta, mm
    Range:
        F >= 0, all lengths > 0, L_1 <= L_2, z from 2 to 4; carbide
    Source:
        from memory: Kivanc and Budak 2004
    """
    not_negative(force=force)
    positive(modulus=modulus, flute_length=flute_length, diameter=diameter, stickout=stickout, shank=shank)
    within(0.0, stickout, flute_length=flute_length)
    if flutes not in _FITTED:
        raise RangeError("flutes", flutes, "the fit knows 2, 3 and 4")
    scale, power = _FITTED[flutes]
    shape = flute_length**3 / diameter**4 + (stickout**3 - flute_length**3) / shank**4
    return float(scale * force / modulus * shape**power)


def series_stiffness(*, parts: tuple[float, ...]) -> float:
    """Stiffness of parts one behind the other, 1/k = sum of 1/k_i: cutter, holder, spindle, frame.

    Symbols:
        parts  k_i  N/um  stiffness of each part
    Returns:
        k, N/um
    Range:
        at least one part, all > 0
    Source:
        geometry
    """
    if not parts:
        raise RangeError("parts", 0, "at least one stiffness is wanted")
    for part in parts:
        positive(stiffness=part)
    return 1.0 / sum(1.0 / part for part in parts)


def compliance_deflection(*, force: float, stiffness: float) -> float:
    """Deflection of a spring, F/k, in mm.

    Symbols:
        force  F  N  force
        stiffness  k  N/um  stiffness
    Returns:
        delta, mm
    Range:
        F >= 0, k > 0
    Source:
        geometry
    """
    not_negative(force=force)
    positive(stiffness=stiffness)
    return force / stiffness / 1000.0


def cutter_stress(
    *,
    force: float,
    torque: float,
    core_diameter: float,
    flute_length: float,
    shank: float,
    stickout: float,
    force_distance: float = 0.0,
) -> tuple[float, float]:
    """Equivalent stress at the end of the flutes (on the core) and at the holder's mouth (on the shank).

    Symbols:
        force  F  N  force across the axis
        torque  M  N.m  torque
        core_diameter  d_c  mm  core of the fluted part
        flute_length  L_1  mm  fluted length
        shank  d_2  mm  shank diameter
        stickout  L_2  mm  from the tip to the holder
        force_distance  c  mm  from the tip to the force
    Returns:
        (at the flutes, at the holder), N/mm2
    Range:
        F, M, c >= 0, all other > 0; a flute longer than the stickout is held on its core
    Source:
        geometry; common practice, no source
    """
    not_negative(force=force, torque=torque, force_distance=force_distance)
    positive(core_diameter=core_diameter, flute_length=flute_length, shank=shank, stickout=stickout)
    fluted = max(0.0, min(flute_length, stickout) - force_distance)
    at_flutes = combined_stress(
        bending=bending_stress(force=force, length=fluted, diameter=core_diameter),
        torsion=torsion_stress(torque=torque, diameter=core_diameter),
    )
    mouth = core_diameter if flute_length >= stickout else shank
    at_holder = combined_stress(
        bending=bending_stress(force=force, length=max(0.0, stickout - force_distance), diameter=mouth),
        torsion=torsion_stress(torque=torque, diameter=mouth),
    )
    return at_flutes, at_holder


def spring_pass_error(*, deflection: float, stiffness: float, cut_stiffness: float, passes: int) -> float:
    """Error left after repeating a pass, delta (mu/(1 + mu))^i, mu = k_cut/k.

    Symbols:
        deflection  delta  mm  deflection in the first pass
        stiffness  k  N/um  stiffness of cutter and machine
        cut_stiffness  k_cut  N/um  rise of the force with the width of cut, dF/da_e
        passes  i  -  repeated passes
    Returns:
        error, mm
    Range:
        delta >= 0, k > 0, k_cut >= 0, i >= 0; only while the repeated chip is cut, not rubbed
    Source:
        from memory: Shaw, Metal Cutting Principles
    """
    not_negative(deflection=deflection, cut_stiffness=cut_stiffness, passes=passes)
    positive(stiffness=stiffness)
    ratio = cut_stiffness / stiffness
    return float(deflection * (ratio / (1.0 + ratio)) ** passes)
