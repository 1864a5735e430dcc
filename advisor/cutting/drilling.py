"""Drilling: chip, torque, thrust, time and pecks."""

from __future__ import annotations

from math import atan, degrees, pi, radians, sin, tan

from advisor.cutting.force import friction_angle, lee_shaffer_shear_angle, orthogonal_forces
from advisor.cutting.validity import RangeError, covers, not_negative, positive, within

THIN = "below 0.05 mm the Kienzle constants are extrapolated"


def drill_chip(*, feed_per_turn: float, point_angle: float = 118.0) -> float:
    """Chip thickness of a two-lip drill, h = (f/2) sin(sigma/2).

    Symbols:
        feed_per_turn  f  mm  feed in a turn
        point_angle  sigma  deg  included angle of the point
    Returns:
        h, mm
    Range:
        f >= 0, 0 < sigma <= 180
    Source:
        from memory: Tschaetsch, Praxis der Zerspantechnik
    """
    not_negative(feed_per_turn=feed_per_turn)
    positive(point_angle=point_angle)
    within(0.0, 180.0, point_angle=point_angle)
    return feed_per_turn / 2.0 * sin(radians(point_angle) / 2.0)


def drill_torque(*, specific_force: float, feed_per_turn: float, diameter: float) -> float:
    """Torque of drilling into the solid, M = k_c f d^2/8000.

    Symbols:
        specific_force  k_c  N/mm2  specific force at the drill's chip
        feed_per_turn  f  mm  feed in a turn
        diameter  d  mm  drill diameter
    Returns:
        M, N m
    Range:
        k_c, f >= 0, d > 0; chisel edge and friction not counted
    Source:
        from memory: Tschaetsch, Praxis der Zerspantechnik
    """
    not_negative(specific_force=specific_force, feed_per_turn=feed_per_turn)
    positive(diameter=diameter)
    return specific_force * feed_per_turn * diameter * diameter / 8000.0


def drill_thrust(
    *, specific_force: float, feed_per_turn: float, diameter: float, point_angle: float = 118.0, share: float = 0.6
) -> float:
    """Thrust of drilling, share (k_c f d/2) sin(sigma/2); published forms differ, good to 40 %.

    Symbols:
        specific_force  k_c  N/mm2  specific force at the drill's chip
        feed_per_turn  f  mm  feed in a turn
        diameter  d  mm  drill diameter
        point_angle  sigma  deg  included angle of the point
        share  -  -  feed force / cutting force, 0.5 to 0.7
    Returns:
        T, N
    Range:
        k_c, f, share >= 0, d > 0, 0 < sigma <= 180
    Source:
        from memory: Tschaetsch, Praxis der Zerspantechnik; estimate, no source
    """
    not_negative(specific_force=specific_force, share=share)
    positive(diameter=diameter)
    chip = drill_chip(feed_per_turn=feed_per_turn, point_angle=point_angle)
    return share * specific_force * chip * diameter


@covers(feed_per_turn=(0.02, 1.0, "the fit was made with metals at usual drill feeds"))
def handbook_drill_torque(*, constant: float, feed_per_turn: float, diameter: float) -> float:
    """Torque by the handbook's constants, M = k_D f^0.75 d^1.8.

    Symbols:
        constant  k_D  -  0.11 aluminium, 0.084 brass, 0.07 cast iron, 0.36 mild steel, 0.40 tool steel
        feed_per_turn  f  mm  feed in a turn
        diameter  d  mm  drill diameter
    Returns:
        M, N m
    Range:
        constant, f >= 0, d > 0
    Source:
        carvill
    """
    not_negative(constant=constant, feed_per_turn=feed_per_turn)
    positive(diameter=diameter)
    return float(constant * feed_per_turn**0.75 * diameter**1.8)


def shaw_oxford(*, hardness: float, feed_per_turn: float, diameter: float) -> tuple[float, float]:
    """Torque and thrust after Shaw and Oxford, for a chisel edge of 0.18 d.

    M = 0.087 H f^0.8 d^1.8, T = 0.195 H f^0.8 d^0.8 + 0.0022 H d^2. The fit holds in inches and pounds; it is worked
    in them and given back in N m and N.

    Symbols:
        hardness  H_B  N/mm2  Brinell hardness as a pressure (HB 200 is 1961 N/mm2)
        feed_per_turn  f  mm  feed in a turn
        diameter  d  mm  drill diameter
    Returns:
        (M in N m, T in N)
    Range:
        H, f >= 0, d > 0; steels
    Source:
        from memory: Shaw, Metal Cutting Principles
    """
    not_negative(hardness=hardness, feed_per_turn=feed_per_turn)
    positive(diameter=diameter)
    pressure = hardness / 0.006894757293168361
    f, d = feed_per_turn / 25.4, diameter / 25.4
    moment = 0.087 * pressure * f**0.8 * d**1.8
    thrust = 0.195 * pressure * f**0.8 * d**0.8 + 0.0022 * pressure * d * d
    pound = 4.4482216152605
    return float(moment * pound * 0.0254), float(thrust * pound)


def point_length(*, diameter: float, point_angle: float = 118.0) -> float:
    """Length of a drill's point, A = (d/2) tan(90 - sigma/2).

    Symbols:
        diameter  d  mm  drill diameter
        point_angle  sigma  deg  included angle of the point
    Returns:
        A, mm
    Range:
        d > 0, 0 < sigma <= 180
    Source:
        geometry; from memory: Groover, Fundamentals of Modern Manufacturing
    """
    positive(diameter=diameter, point_angle=point_angle)
    within(0.0, 180.0, point_angle=point_angle)
    return diameter / 2.0 * tan(radians(90.0 - point_angle / 2.0))


def drill_minutes(*, depth: float, feed: float, diameter: float, point_angle: float = 118.0) -> float:
    """Time for a hole of a full-diameter depth, (depth + A)/v_f, without retracts.

    Symbols:
        depth  -  mm  depth at full diameter
        feed  v_f  mm/min  feed
        diameter  d  mm  drill diameter
        point_angle  sigma  deg  included angle of the point
    Returns:
        t, min
    Range:
        depth >= 0, v_f, d > 0
    Source:
        from memory: Groover, Fundamentals of Modern Manufacturing
    """
    not_negative(depth=depth)
    positive(feed=feed)
    return (depth + point_length(diameter=diameter, point_angle=point_angle)) / feed


def drill_removal_rate(*, diameter: float, feed: float) -> float:
    """Volume a drill removes in a minute, pi d^2/4 v_f/1000.

    Symbols:
        diameter  d  mm  drill diameter
        feed  v_f  mm/min  feed
    Returns:
        Q, cm3/min
    Range:
        d > 0, v_f >= 0
    Source:
        geometry
    """
    positive(diameter=diameter)
    not_negative(feed=feed)
    return pi * diameter * diameter / 4.0 * feed / 1000.0


_DERATE = ((3.0, 0.90, 1.0), (4.0, 0.80, 0.90), (5.0, 0.70, 0.80), (6.0, 0.65, 0.80), (8.0, 0.60, 0.80))


@covers(depth_ratio=(0.0, 8.0, "holes deeper than 8 diameters are outside the table; its last row is used"))
def deep_hole_factors(*, depth_ratio: float) -> tuple[float, float]:
    """Factors on cutting speed and feed for a deep hole, in steps from 3 to 8 diameters.

    Symbols:
        depth_ratio  -  -  depth over diameter
    Returns:
        (speed factor, feed factor), no unit
    Range:
        ratio >= 0
    Source:
        from memory: Machinery's Handbook; from memory: Machining Data Handbook
    """
    not_negative(depth_ratio=depth_ratio)
    factors = (1.0, 1.0)
    for reach, speed, feed in _DERATE:
        if depth_ratio >= reach:
            factors = (speed, feed)
    return factors


def pecks(*, depth: float, diameter: float, first: float, then: float, deep: float | None = None) -> tuple[float, ...]:
    """Bites of a pecked hole from the surface: first, then, and beyond six diameters the deep bite.

    Symbols:
        depth  -  mm  whole depth
        diameter  d  mm  drill diameter
        first  -  D  greatest first bite
        then  -  D  greatest further bite
        deep  -  D  greatest bite beyond 6 d; the further bite where not given
    Returns:
        bites, mm; together the whole depth
    Range:
        all > 0
    Source:
        from memory: Machinery's Handbook; common practice, no source
    """
    positive(depth=depth, diameter=diameter, first=first, then=then)
    if deep is not None:
        positive(deep=deep)
    bites: list[float] = []
    reached = 0.0
    while reached < depth * (1.0 - 1e-9):
        ratio = first if not bites else then if deep is None or reached < 6.0 * diameter else min(deep, then)
        bite = min(ratio * diameter, depth - reached)
        bites.append(bite)
        reached += bite
        if len(bites) > 100000:
            raise RangeError("then", then, f"{depth:g} mm would take more than 100000 bites")
    return tuple(bites)


def drill_rake(*, helix: float, point_angle: float, radius_share: float = 0.5) -> float:
    """Rake of a twist drill at a share of its radius, arctan(share tan(psi)/sin(sigma/2)).

    Symbols:
        helix  psi  deg  helix angle at the outside
        point_angle  sigma  deg  included angle of the point
        radius_share  r/R  -  share of the radius
    Returns:
        alpha, deg
    Range:
        0 <= psi < 90, 0 < sigma <= 180, 0 <= share <= 1
    Source:
        ghosh-mallik
    """
    within(0.0, 89.0, helix=helix)
    positive(point_angle=point_angle)
    within(0.0, 180.0, point_angle=point_angle)
    within(0.0, 1.0, radius_share=radius_share)
    return degrees(atan(radius_share * tan(radians(helix)) / sin(radians(point_angle) / 2.0)))


def orthogonal_drill(
    *, shear_stress: float, thickness: float, diameter: float, friction: float, point_angle: float, helix: float
) -> tuple[float, float]:
    """Torque and thrust of a twist drill from orthogonal cutting at mid radius: M = 0.6 F_c d, T = 5 F_t sin(sigma/2).

    Symbols:
        shear_stress  tau  N/mm2  shear strength of the work
        thickness  t_1  mm  chip thickness, half the feed in a turn in the simple form
        diameter  d  mm  drill diameter
        friction  mu  -  coefficient of friction
        point_angle  sigma  deg  included angle of the point
        helix  psi  deg  helix angle at the outside
    Returns:
        (M in N m, T in N)
    Range:
        tau, t_1 >= 0, d > 0; shear angle after Lee and Shaffer above 0
    Source:
        ghosh-mallik
    """
    positive(diameter=diameter)
    rake = drill_rake(helix=helix, point_angle=point_angle)
    lean = friction_angle(coefficient=friction)
    half = sin(radians(point_angle) / 2.0)
    cutting, thrust = orthogonal_forces(
        shear_stress=shear_stress,
        thickness=thickness,
        chip_width=diameter / (2.0 * half),
        rake=rake,
        friction_angle=lean,
        shear_angle=lee_shaffer_shear_angle(rake=rake, friction_angle=lean),
    )
    return 0.6 * cutting * diameter / 1000.0, 5.0 * thrust * half
