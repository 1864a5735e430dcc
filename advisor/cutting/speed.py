"""Cutting speed, spindle speed, feed, removal rate, and the diameter that really cuts."""

from __future__ import annotations

from math import acos, degrees, pi, radians, sin, sqrt, tan

from advisor.cutting.validity import RangeError, not_negative, positive, within


def cutting_speed(*, diameter: float, rpm: float) -> float:
    """Speed of the edge at a diameter, v_c = pi D n / 1000.

    Symbols:
        diameter  D  mm  diameter that cuts
        rpm  n  rev/min  spindle speed
    Returns:
        v_c, m/min
    Range:
        D > 0, n >= 0
    Source:
        from memory: Machinery's Handbook; carvill
    """
    positive(diameter=diameter)
    not_negative(rpm=rpm)
    return pi * diameter * rpm / 1000.0


def spindle_speed(*, cutting_speed: float, diameter: float) -> float:
    """Spindle speed for a cutting speed, n = 1000 v_c / (pi D).

    Symbols:
        cutting_speed  v_c  m/min  speed of the edge
        diameter  D  mm  diameter that cuts
    Returns:
        n, rev/min
    Range:
        D > 0, v_c >= 0
    Source:
        from memory: Machinery's Handbook; carvill
    """
    positive(diameter=diameter)
    not_negative(cutting_speed=cutting_speed)
    return 1000.0 * cutting_speed / (pi * diameter)


def feed_speed(*, rpm: float, flutes: int, chip_load: float) -> float:
    """Feed from the feed per tooth, v_f = n z f_z.

    Symbols:
        rpm  n  rev/min  spindle speed
        flutes  z  -  number of teeth
        chip_load  f_z  mm  feed per tooth
    Returns:
        v_f, mm/min
    Range:
        n >= 0, z >= 1, f_z >= 0
    Source:
        from memory: Kalpakjian and Schmid, Manufacturing Engineering and Technology
    """
    not_negative(rpm=rpm, chip_load=chip_load)
    within(1, 1000, flutes=flutes)
    return rpm * flutes * chip_load


def feed_per_tooth(*, feed: float, rpm: float, flutes: int) -> float:
    """Feed per tooth from the feed, f_z = v_f / (n z).

    Symbols:
        feed  v_f  mm/min  feed of the cutter's centre
        rpm  n  rev/min  spindle speed
        flutes  z  -  number of teeth
    Returns:
        f_z, mm
    Range:
        v_f >= 0, n > 0, z >= 1
    Source:
        from memory: Kalpakjian and Schmid, Manufacturing Engineering and Technology
    """
    not_negative(feed=feed)
    positive(rpm=rpm)
    within(1, 1000, flutes=flutes)
    return feed / (rpm * flutes)


def removal_rate(*, depth: float, width: float, feed: float) -> float:
    """Volume removed in a minute, Q = a_p a_e v_f / 1000.

    Symbols:
        depth  a_p  mm  axial depth
        width  a_e  mm  radial engagement
        feed  v_f  mm/min  feed of the cutter's centre
    Returns:
        Q, cm3/min
    Range:
        all >= 0
    Source:
        geometry
    """
    not_negative(depth=depth, width=width, feed=feed)
    return depth * width * feed / 1000.0


def ball_diameter(*, diameter: float, depth: float) -> float:
    """Diameter a ball cutter touches at, D_eff = 2 sqrt(a_p (D - a_p)); the full diameter from a_p = D/2 on.

    Symbols:
        diameter  D  mm  ball diameter
        depth  a_p  mm  axial depth
    Returns:
        D_eff, mm
    Range:
        D > 0, a_p > 0
    Source:
        geometry
    """
    positive(diameter=diameter, depth=depth)
    if depth >= diameter / 2:
        return diameter
    return 2.0 * sqrt(depth * (diameter - depth))


def tilted_ball_diameter(*, diameter: float, depth: float, tilt: float) -> float:
    """Diameter a tilted ball cutter touches at, D_eff = D sin(tilt + arccos((D - 2 a_p)/D)).

    Symbols:
        diameter  D  mm  ball diameter
        depth  a_p  mm  depth normal to the surface
        tilt  beta  deg  tilt in the plane of the feed
    Returns:
        D_eff, mm
    Range:
        0 < a_p <= D/2, 0 <= tilt < 90; at most the full diameter
    Source:
        geometry
    """
    positive(diameter=diameter, depth=depth)
    within(0.0, diameter / 2, depth=depth)
    within(0.0, 90.0, tilt=tilt)
    angle = radians(tilt) + acos((diameter - 2.0 * depth) / diameter)
    return diameter if angle >= pi / 2 else diameter * sin(angle)


def corner_diameter(*, diameter: float, corner_radius: float, depth: float) -> float:
    """Diameter a corner-radius cutter touches at, D_eff = (D - 2 r) + 2 sqrt(a_p (2 r - a_p)).

    Symbols:
        diameter  D  mm  cutter diameter
        corner_radius  r  mm  corner radius
        depth  a_p  mm  axial depth
    Returns:
        D_eff, mm
    Range:
        D > 0, 0 <= r <= D/2, a_p > 0; the full diameter from a_p = r on
    Source:
        geometry
    """
    positive(diameter=diameter, depth=depth)
    within(0.0, diameter / 2, corner_radius=corner_radius)
    if depth >= corner_radius:
        return diameter
    return diameter - 2.0 * corner_radius + 2.0 * sqrt(depth * (2.0 * corner_radius - depth))


def vee_diameter(*, tip_angle: float, tip_diameter: float, depth: float, diameter: float | None = None) -> float:
    """Diameter a V cutter touches at, D_eff = d_0 + 2 a_p tan(angle/2), not more than its full diameter.

    Symbols:
        tip_angle  theta  deg  included angle
        tip_diameter  d_0  mm  flat at the tip
        depth  a_p  mm  axial depth
        diameter  D  mm  full diameter, where known
    Returns:
        D_eff, mm
    Range:
        0 < theta < 180, d_0 >= 0, a_p > 0
    Source:
        geometry
    """
    positive(tip_angle=tip_angle, depth=depth)
    not_negative(tip_diameter=tip_diameter)
    if tip_angle >= 180.0:
        raise RangeError("tip_angle", tip_angle, "it must be below 180 degrees")
    wide = tip_diameter + 2.0 * depth * tan(radians(tip_angle) / 2)
    return wide if diameter is None else min(wide, diameter)


def effective_diameter(
    *,
    form: str,
    diameter: float,
    depth: float,
    corner_radius: float = 0.0,
    tip_angle: float = 90.0,
    tip_diameter: float = 0.0,
) -> float:
    """Greatest diameter a cutter of any form touches at.

    Symbols:
        form  -  -  flat, ball, corner, vee or drill
        diameter  D  mm  cutter diameter
        depth  a_p  mm  axial depth
        corner_radius  r  mm  corner radius, of form corner
        tip_angle  theta  deg  included angle, of form vee
        tip_diameter  d_0  mm  flat at the tip, of form vee
    Returns:
        D_eff, mm
    Range:
        as the formula of the form; a drill counts with its full diameter
    Source:
        geometry
    """
    if form == "ball":
        return ball_diameter(diameter=diameter, depth=depth)
    if form == "corner":
        return corner_diameter(diameter=diameter, corner_radius=corner_radius, depth=depth)
    if form == "vee":
        return vee_diameter(tip_angle=tip_angle, tip_diameter=tip_diameter, depth=depth, diameter=diameter)
    positive(diameter=diameter)
    return diameter


def lead_edge_angle(*, form: str, diameter: float, depth: float, corner_radius: float = 0.0, tip_angle: float = 90.0) -> float:
    """Edge angle kappa_r at the top of the cut: 90 for a straight wall, less for round corners, balls and cones.

    Symbols:
        form  -  -  flat, ball, corner, vee or drill
        diameter  D  mm  cutter diameter
        depth  a_p  mm  axial depth
        corner_radius  r  mm  corner radius, of form corner
        tip_angle  theta  deg  included angle, of forms vee and drill
    Returns:
        kappa_r, deg
    Range:
        D > 0, a_p > 0
    Source:
        geometry
    """
    positive(diameter=diameter, depth=depth)
    radius = diameter / 2 if form == "ball" else corner_radius if form == "corner" else 0.0
    if form in ("vee", "drill"):
        within(0.0, 180.0, tip_angle=tip_angle)
        return tip_angle / 2
    if radius <= 0.0 or depth >= radius:
        return 90.0
    return degrees(acos(1.0 - depth / radius))


def rim_speed(*, diameter: float, rpm: float) -> float:
    """Speed of the rim in m/s, as limits on large unmarked cutters are written.

    Symbols:
        diameter  D  mm  outer diameter
        rpm  n  rev/min  spindle speed
    Returns:
        v, m/s
    Range:
        D > 0, n >= 0
    Source:
        geometry
    """
    return cutting_speed(diameter=diameter, rpm=rpm) / 60.0


def turning_removal_rate(*, cutting_speed: float, feed_per_turn: float, depth: float) -> float:
    """Volume a turning cut removes in a minute, Q = v_c f a_p.

    Symbols:
        cutting_speed  v_c  m/min  cutting speed
        feed_per_turn  f  mm  feed in a turn
        depth  a_p  mm  depth of cut
    Returns:
        Q, cm3/min
    Range:
        all >= 0; v_c at the diameter that stands for the chip
    Source:
        from memory: Machinery's Handbook
    """
    not_negative(cutting_speed=cutting_speed, feed_per_turn=feed_per_turn, depth=depth)
    return cutting_speed * feed_per_turn * depth


def mean_removal_rate(*, volume: float, minutes: float) -> float:
    """Volume removed in a minute over a whole pass, V/t.

    Symbols:
        volume  V  mm3  volume removed
        minutes  t  min  time
    Returns:
        Q, cm3/min
    Range:
        V >= 0, t > 0
    Source:
        geometry
    """
    not_negative(volume=volume)
    positive(minutes=minutes)
    return volume / minutes / 1000.0
