"""How much of the cutter's rim is in the work: on straight cuts, faces, inside and outside arcs; teeth in cut.

Angles are measured from where the tooth's path is square to the feed on the up-milling side, so that the chip is
h = f_z sin(phi): up-milling enters at 0, climb leaves at 180.
"""

from __future__ import annotations

from math import acos, degrees, pi, radians, sqrt, tan

from advisor.cutting.validity import RangeError, covers, not_negative, positive, within


def _arccos(number: float) -> float:
    return degrees(acos(max(-1.0, min(1.0, number))))


def engagement_angle(*, width: float, diameter: float) -> float:
    """Engaged angle of a one-sided cut, phi_s = arccos(1 - 2 a_e/D); 180 for a slot.

    Symbols:
        width  a_e  mm  radial engagement
        diameter  D  mm  diameter that cuts
    Returns:
        phi_s, deg
    Range:
        D > 0, 0 <= a_e <= D
    Source:
        geometry
    """
    positive(diameter=diameter)
    within(0.0, diameter, width=width)
    return _arccos(1.0 - 2.0 * width / diameter)


def face_engagement_angle(*, width: float, diameter: float) -> float:
    """Engaged angle of a cut centred under the cutter, phi_s = 2 arcsin(a_e/D).

    Symbols:
        width  a_e  mm  width of the work under the cutter
        diameter  D  mm  diameter that cuts
    Returns:
        phi_s, deg
    Range:
        D > 0, 0 <= a_e <= D
    Source:
        geometry
    """
    positive(diameter=diameter)
    within(0.0, diameter, width=width)
    return 2.0 * (90.0 - _arccos(width / diameter))


def entry_exit(*, width: float, diameter: float, climb: bool) -> tuple[float, float]:
    """Entry and exit angle of a one-sided cut.

    Symbols:
        width  a_e  mm  radial engagement
        diameter  D  mm  diameter that cuts
        climb  -  -  climb (down-milling) or conventional (up-milling)
    Returns:
        (phi_st, phi_ex), deg
    Range:
        D > 0, 0 <= a_e <= D
    Source:
        from memory: Altintas, Manufacturing Automation; insperger-2003
    """
    angle = engagement_angle(width=width, diameter=diameter)
    return (180.0 - angle, 180.0) if climb else (0.0, angle)


def entry_exit_between(*, near: float, far: float, diameter: float) -> tuple[float, float]:
    """Entry and exit angle for work that lies from ``near`` to ``far`` beside the cutter's axis.

    Symbols:
        near  y_1  mm  edge of the work on the climb side, from the axis
        far  y_2  mm  edge of the work on the up-milling side, from the axis
        diameter  D  mm  diameter that cuts
    Returns:
        (phi_st, phi_ex), deg
    Range:
        D > 0, -D/2 <= y_1 < y_2 <= D/2
    Source:
        geometry
    """
    positive(diameter=diameter)
    radius = diameter / 2
    within(-radius, radius, near=near, far=far)
    if not near < far:
        raise RangeError("near", near, f"it must be less than the far edge, {far:g}")
    return _arccos(far / radius), _arccos(near / radius)


def inside_arc_engagement(*, wall_radius: float, diameter: float, width: float) -> float:
    """Engaged angle along a concave wall: the disc of radius r at R_c = R_w - r, cutting what lies beyond R_w - a_e.

    Symbols:
        wall_radius  R_w  mm  radius of the finished wall
        diameter  D  mm  diameter that cuts
        width  a_e  mm  taken from the wall
    Returns:
        phi_s, deg; 180 when the cut takes all there is
    Range:
        D > 0, R_w > D/2, 0 <= a_e <= R_w
    Source:
        geometry
    """
    positive(diameter=diameter)
    radius = diameter / 2
    if not wall_radius > radius:
        raise RangeError("wall_radius", wall_radius, f"it must be more than the cutter's radius, {radius:g}")
    within(0.0, wall_radius, width=width)
    centre, old = wall_radius - radius, wall_radius - width
    return _arccos((old * old - centre * centre - radius * radius) / (2.0 * centre * radius))


def outside_arc_engagement(*, wall_radius: float, diameter: float, width: float) -> float:
    """Engaged angle along a convex wall: the disc of radius r at R_c = R_w + r, cutting what lies within R_w + a_e.

    Symbols:
        wall_radius  R_w  mm  radius of the finished wall
        diameter  D  mm  diameter that cuts
        width  a_e  mm  taken from the wall
    Returns:
        phi_s, deg; 180 when the cut takes the cutter's whole width
    Range:
        D > 0, R_w > 0, a_e >= 0
    Source:
        geometry
    """
    positive(diameter=diameter, wall_radius=wall_radius)
    not_negative(width=width)
    radius = diameter / 2
    centre, old = wall_radius + radius, wall_radius + min(width, diameter)
    return _arccos((centre * centre + radius * radius - old * old) / (2.0 * centre * radius))


@covers(width_ratio=(0.0, 0.25, "the square-root rule is for light widths; work the chip out from the engaged angle"))
def arc_feed_factor(*, wall_radius: float, centre_radius: float, width_ratio: float = 0.0) -> float:
    """Centre feed on an arc / on a straight for the same chip at light widths: sqrt(R_c/R_w), kept from 0.5 to 1.2.

    The chip follows the centre's feed per tooth and the engagement angle there; slowing further, to hold the feed at
    the wall, makes chips too thin.

    Symbols:
        wall_radius  R_w  mm  radius of the finished wall
        centre_radius  R_c  mm  radius of the centre's path: less inside, more outside
        width_ratio  a_e/D  -  width over diameter, only for the caveat
    Returns:
        factor, no unit
    Range:
        R_w > 0, R_c >= 0
    Source:
        geometry; common practice, no source
    """
    positive(wall_radius=wall_radius)
    not_negative(centre_radius=centre_radius, width_ratio=width_ratio)
    return max(0.5, min(1.2, sqrt(centre_radius / wall_radius)))


def wall_feed(*, feed: float, wall_radius: float, diameter: float, inside: bool) -> float:
    """Feed seen at the wall of an arc when the centre runs at ``feed``; it is told, it does not set the chip.

    Symbols:
        feed  v_f  mm/min  feed of the centre
        wall_radius  R_w  mm  radius of the wall
        diameter  D  mm  cutter diameter
        inside  -  -  concave wall (True) or convex (False)
    Returns:
        feed at the wall, mm/min
    Range:
        v_f >= 0, D > 0, R_w > D/2 inside, R_w > 0 outside
    Source:
        geometry
    """
    not_negative(feed=feed)
    positive(diameter=diameter, wall_radius=wall_radius)
    centre = wall_radius - diameter / 2 if inside else wall_radius + diameter / 2
    if not centre > 0.0:
        raise RangeError("wall_radius", wall_radius, "inside it must be more than the cutter's radius")
    return feed * wall_radius / centre


def centre_feed(*, feed: float, wall_radius: float, diameter: float, inside: bool) -> float:
    """Feed of the centre that gives ``feed`` at the wall of an arc, v_f (R_w -+ r)/R_w.

    Symbols:
        feed  v_w  mm/min  feed wanted at the wall
        wall_radius  R_w  mm  radius of the wall
        diameter  D  mm  cutter diameter
        inside  -  -  concave wall (True) or convex (False)
    Returns:
        v_f, mm/min
    Range:
        v_w >= 0, D > 0, R_w > D/2 inside, R_w > 0 outside
    Source:
        geometry
    """
    not_negative(feed=feed)
    positive(diameter=diameter, wall_radius=wall_radius)
    centre = wall_radius - diameter / 2 if inside else wall_radius + diameter / 2
    if not centre > 0.0:
        raise RangeError("wall_radius", wall_radius, "inside it must be more than the cutter's radius")
    return feed * centre / wall_radius


def teeth_in_cut(*, flutes: int, engagement: float) -> float:
    """Mean number of teeth in the work, z_e = z phi_s / 360.

    Symbols:
        flutes  z  -  number of teeth
        engagement  phi_s  deg  engaged angle
    Returns:
        z_e, no unit
    Range:
        z >= 1, 0 <= phi_s <= 360
    Source:
        geometry
    """
    within(1, 1000, flutes=flutes)
    within(0.0, 360.0, engagement=engagement)
    return flutes * engagement / 360.0


def helix_lag(*, depth: float, helix: float, diameter: float) -> float:
    """Angle by which the top of a tooth follows its tip, psi = 2 a_p tan(lambda)/D.

    Symbols:
        depth  a_p  mm  axial depth
        helix  lambda  deg  helix angle
        diameter  D  mm  cutter diameter
    Returns:
        psi, deg
    Range:
        a_p >= 0, 0 <= lambda < 90, D > 0
    Source:
        geometry
    """
    not_negative(depth=depth)
    positive(diameter=diameter)
    within(0.0, 89.0, helix=helix)
    return degrees(2.0 * depth * tan(radians(helix)) / diameter)


def steady_depth(*, diameter: float, flutes: int, helix: float) -> float:
    """Depth at which the force of a helical cutter no longer pulses, a_p = pi D/(z tan lambda), and its multiples.

    Symbols:
        diameter  D  mm  cutter diameter
        flutes  z  -  number of teeth
        helix  lambda  deg  helix angle
    Returns:
        a_p, mm
    Range:
        D > 0, z >= 1, 0 < lambda < 90 (a straight flute always pulses)
    Source:
        geometry
    """
    positive(diameter=diameter, helix=helix)
    within(0.0, 89.0, helix=helix)
    within(1, 1000, flutes=flutes)
    return pi * diameter / (flutes * tan(radians(helix)))


def approach_length(*, width: float, diameter: float) -> float:
    """Way from first touch to full engagement, sqrt(a_e (D - a_e)).

    Symbols:
        width  a_e  mm  radial engagement
        diameter  D  mm  cutter diameter
    Returns:
        A, mm
    Range:
        D > 0, 0 <= a_e <= D
    Source:
        geometry; from memory: Groover, Fundamentals of Modern Manufacturing
    """
    positive(diameter=diameter)
    within(0.0, diameter, width=width)
    return sqrt(max(0.0, width * (diameter - width)))


@covers(width_ratio=(0.0, 0.1, "the older form sqrt(D a_e) drops a term and reads high"))
def approach_length_older(*, width: float, diameter: float, width_ratio: float = 0.0) -> float:
    """Way from first touch to full engagement in the older textbook form, sqrt(D a_e).

    Symbols:
        width  a_e  mm  radial engagement
        diameter  D  mm  cutter diameter
        width_ratio  a_e/D  -  only for the caveat
    Returns:
        A, mm
    Range:
        D > 0, 0 <= a_e <= D; only for comparison with old examples
    Source:
        from memory: Kalpakjian and Schmid, Manufacturing Engineering and Technology
    """
    positive(diameter=diameter)
    within(0.0, diameter, width=width)
    not_negative(width_ratio=width_ratio)
    return sqrt(diameter * width)
