"""Ways in: ramps, helices, plunges, equal passes, and the limits of cutters that don't cut at the centre."""

from __future__ import annotations

from math import asin, atan, ceil, degrees, pi, radians, sin, tan

from advisor.cutting.validity import RangeError, not_negative, positive, within


def ramp_length(*, depth: float, angle: float) -> float:
    """Length of a straight ramp, L = a_p/tan(theta).

    Symbols:
        depth  a_p  mm  depth to reach
        angle  theta  deg  angle of the ramp
    Returns:
        L, mm
    Range:
        a_p >= 0, 0 < theta < 90
    Source:
        geometry
    """
    not_negative(depth=depth)
    positive(angle=angle)
    within(0.0, 89.9, angle=angle)
    return depth / tan(radians(angle))


def helix_path_diameter(*, bore: float, diameter: float) -> float:
    """Diameter of the centre's path in a helical entry, D_h - D.

    Symbols:
        bore  D_h  mm  diameter of the hole
        diameter  D  mm  cutter diameter
    Returns:
        path diameter, mm
    Range:
        D > 0, D_h > D
    Source:
        geometry
    """
    positive(bore=bore, diameter=diameter)
    if not bore > diameter:
        raise RangeError("bore", bore, f"a helix needs a bore wider than the cutter, {diameter:g} mm")
    return bore - diameter


def helix_pitch(*, bore: float, diameter: float, angle: float) -> float:
    """Descent in one turn of a helix, P = pi (D_h - D) tan(theta), theta at the centre.

    Symbols:
        bore  D_h  mm  diameter of the hole
        diameter  D  mm  cutter diameter
        angle  theta  deg  angle of the centre's path
    Returns:
        P, mm
    Range:
        D_h > D > 0, 0 <= theta < 90
    Source:
        geometry
    """
    within(0.0, 89.9, angle=angle)
    return pi * helix_path_diameter(bore=bore, diameter=diameter) * tan(radians(angle))


def helix_angle(*, bore: float, diameter: float, pitch: float) -> float:
    """Angle of the centre's path of a helix, arctan(P/(pi (D_h - D))).

    Symbols:
        bore  D_h  mm  diameter of the hole
        diameter  D  mm  cutter diameter
        pitch  P  mm  descent in a turn
    Returns:
        theta, deg
    Range:
        D_h > D > 0, P >= 0
    Source:
        geometry
    """
    not_negative(pitch=pitch)
    return degrees(atan(pitch / (pi * helix_path_diameter(bore=bore, diameter=diameter))))


def helix_wall_angle(*, bore: float, pitch: float) -> float:
    """Angle of a helix along the wall of the hole, arctan(P/(pi D_h)).

    Symbols:
        bore  D_h  mm  diameter of the hole
        pitch  P  mm  descent in a turn
    Returns:
        theta_w, deg
    Range:
        D_h > 0, P >= 0
    Source:
        geometry
    """
    positive(bore=bore)
    not_negative(pitch=pitch)
    return degrees(atan(pitch / (pi * bore)))


def bore_limits(*, diameter: float, dead_diameter: float = 0.0, corner_radius: float = 0.0) -> tuple[float, float]:
    """Least and greatest hole of one helix: D + d_nc, 2 D - 2 r.

    Below the first some of the floor is never passed by a live edge; beyond the second a post is left standing.

    Symbols:
        diameter  D  mm  cutter diameter
        dead_diameter  d_nc  mm  core that does not cut; 0 for a centre-cutting cutter
        corner_radius  r  mm  corner radius
    Returns:
        (least, greatest), mm
    Range:
        D > 0, 0 <= d_nc < D, 0 <= r <= D/2
    Source:
        geometry
    """
    positive(diameter=diameter)
    within(0.0, diameter * 0.999, dead_diameter=dead_diameter)
    within(0.0, diameter / 2, corner_radius=corner_radius)
    return diameter + dead_diameter, 2.0 * diameter - 2.0 * corner_radius


def core_clear_angle(*, core_height: float, dead_diameter: float) -> float:
    """Steepest ramp at which the dead core clears the rising floor, arctan(g/d_nc).

    Symbols:
        core_height  g  mm  how far the core sits above the end teeth
        dead_diameter  d_nc  mm  core that does not cut
    Returns:
        theta, deg; 0 when the core is level with the teeth
    Range:
        g >= 0, d_nc > 0
    Source:
        geometry
    """
    not_negative(core_height=core_height)
    positive(dead_diameter=dead_diameter)
    return degrees(atan(core_height / dead_diameter))


def descent_speed(*, feed: float, angle: float) -> float:
    """Downward speed on a path of an angle, v_f sin(theta).

    Symbols:
        feed  v_f  mm/min  feed along the path
        angle  theta  deg  angle below the level
    Returns:
        v_z, mm/min
    Range:
        v_f >= 0, 0 <= theta <= 90
    Source:
        geometry
    """
    not_negative(feed=feed)
    within(0.0, 90.0, angle=angle)
    return feed * sin(radians(angle))


def descent_per_turn(*, feed: float, rpm: float) -> float:
    """Descent of the cutter in one turn of the spindle, v_z/n.

    Symbols:
        feed  v_z  mm/min  downward speed
        rpm  n  rev/min  spindle speed
    Returns:
        descent in a turn, mm
    Range:
        v_z >= 0, n > 0
    Source:
        geometry
    """
    not_negative(feed=feed)
    positive(rpm=rpm)
    return feed / rpm


def steepest_angle(*, feed: float, plunge_feed: float) -> float:
    """Steepest ramp whose descent is no faster than a plunge, arcsin(v_z/v_f); 90 where the feed itself is that slow.

    Symbols:
        feed  v_f  mm/min  feed along the ramp
        plunge_feed  v_z  mm/min  greatest descent
    Returns:
        theta, deg
    Range:
        v_f > 0, v_z >= 0
    Source:
        geometry
    """
    positive(feed=feed)
    not_negative(plunge_feed=plunge_feed)
    return 90.0 if plunge_feed >= feed else degrees(asin(plunge_feed / feed))


def equal_passes(*, depth: float, greatest: float) -> tuple[float, ...]:
    """Equal passes no deeper than a limit: n = ceil(depth/greatest), each depth/n.

    Symbols:
        depth  -  mm  whole depth
        greatest  -  mm  greatest depth of a pass
    Returns:
        depths of the passes, mm; together the whole depth
    Range:
        both > 0; the limit may be passed by 1e-9 of it, so that 3 x 6 mm is 18 mm
    Source:
        common practice, no source
    """
    positive(depth=depth, greatest=greatest)
    count = max(1, ceil(depth / greatest * (1.0 - 1e-9)))
    if count > 100000:
        raise RangeError("greatest", greatest, f"{depth:g} mm would take more than 100000 passes")
    return (depth / count,) * count
