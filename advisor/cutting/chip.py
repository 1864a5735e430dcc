"""Undeformed chip thickness: along the arc, greatest, mean; radial and axial thinning; the least chip.

The path of a tooth counts as a circle; the true trochoid differs by about feed / cutting speed, 1 to 2 % for routers
(from memory: Martellotti 1941).
"""

from __future__ import annotations

from math import acos, degrees, radians, sin, sqrt

from advisor.cutting.engagement import engagement_angle
from advisor.cutting.validity import RangeError, covers, not_negative, positive, within


def chip_at(*, chip_load: float, angle: float, edge_angle: float = 90.0) -> float:
    """Chip thickness at an angle of the tooth, h = f_z sin(phi) sin(kappa_r).

    Symbols:
        chip_load  f_z  mm  feed of the centre per tooth
        angle  phi  deg  angle of the tooth
        edge_angle  kappa_r  deg  cutting-edge angle
    Returns:
        h, mm
    Range:
        f_z >= 0, 0 <= phi <= 180, 0 < kappa_r <= 90
    Source:
        from memory: Altintas, Manufacturing Automation
    """
    not_negative(chip_load=chip_load)
    within(0.0, 180.0, angle=angle)
    within(0.0, 90.0, edge_angle=edge_angle)
    return max(0.0, chip_load * sin(radians(angle)) * sin(radians(edge_angle)))


def greatest_chip(*, chip_load: float, width: float, diameter: float, edge_angle: float = 90.0) -> float:
    """Greatest chip of a one-sided straight cut: f_z sin(kappa_r), times 2 sqrt(x (1 - x)), x = a_e/D, below D/2.

    Symbols:
        chip_load  f_z  mm  feed of the centre per tooth
        width  a_e  mm  radial engagement
        diameter  D  mm  diameter that cuts
        edge_angle  kappa_r  deg  cutting-edge angle
    Returns:
        h_max, mm
    Range:
        f_z >= 0, D > 0, 0 <= a_e <= D, 0 < kappa_r <= 90
    Source:
        geometry
    """
    not_negative(chip_load=chip_load)
    positive(diameter=diameter)
    within(0.0, diameter, width=width)
    within(0.0, 90.0, edge_angle=edge_angle)
    ratio = width / diameter
    share = 1.0 if ratio >= 0.5 else 2.0 * sqrt(max(0.0, ratio * (1.0 - ratio)))
    return chip_load * share * sin(radians(edge_angle))


def greatest_chip_over(*, chip_load: float, engagement: float, edge_angle: float = 90.0) -> float:
    """Greatest chip of a one-sided cut of known engaged angle (also on arcs): f_z sin(phi_s), f_z from 90 degrees on.

    Symbols:
        chip_load  f_z  mm  feed of the centre per tooth
        engagement  phi_s  deg  engaged angle
        edge_angle  kappa_r  deg  cutting-edge angle
    Returns:
        h_max, mm
    Range:
        f_z >= 0, 0 <= phi_s <= 180, 0 < kappa_r <= 90
    Source:
        geometry
    """
    within(0.0, 180.0, engagement=engagement)
    return chip_at(chip_load=chip_load, angle=min(90.0, engagement), edge_angle=edge_angle)


def mean_chip(*, chip_load: float, width: float, diameter: float, edge_angle: float = 90.0) -> float:
    """Mean chip over the arc of a one-sided straight cut, h_m = 2 a_e f_z sin(kappa_r)/(D phi_s).

    Symbols:
        chip_load  f_z  mm  feed of the centre per tooth
        width  a_e  mm  radial engagement
        diameter  D  mm  diameter that cuts
        edge_angle  kappa_r  deg  cutting-edge angle
    Returns:
        h_m, mm
    Range:
        f_z >= 0, D > 0, 0 < a_e <= D, 0 < kappa_r <= 90
    Source:
        geometry
    """
    positive(width=width)
    return mean_chip_over(
        chip_load=chip_load, engagement=engagement_angle(width=width, diameter=diameter), edge_angle=edge_angle
    )


def mean_chip_over(*, chip_load: float, engagement: float, edge_angle: float = 90.0) -> float:
    """Mean chip of a one-sided cut of known engaged angle (also on arcs), h_m = f_z sin(kappa_r) (1 - cos phi_s)/phi_s.

    Symbols:
        chip_load  f_z  mm  feed of the centre per tooth
        engagement  phi_s  deg  engaged angle
        edge_angle  kappa_r  deg  cutting-edge angle
    Returns:
        h_m, mm
    Range:
        f_z >= 0, 0 <= phi_s <= 180, 0 < kappa_r <= 90
    Source:
        geometry
    """
    within(0.0, 180.0, engagement=engagement)
    return mean_chip_between(chip_load=chip_load, entry=0.0, exit=engagement, edge_angle=edge_angle)


def mean_chip_between(*, chip_load: float, entry: float, exit: float, edge_angle: float = 90.0) -> float:
    """Mean chip between two angles, h_m = f_z sin(kappa_r) (cos phi_st - cos phi_ex)/(phi_ex - phi_st).

    Symbols:
        chip_load  f_z  mm  feed of the centre per tooth
        entry  phi_st  deg  angle where the tooth enters
        exit  phi_ex  deg  angle where it leaves
        edge_angle  kappa_r  deg  cutting-edge angle
    Returns:
        h_m, mm; 0 for an empty arc
    Range:
        f_z >= 0, 0 <= phi_st <= phi_ex <= 180, 0 < kappa_r <= 90
    Source:
        from memory: Altintas, Manufacturing Automation
    """
    not_negative(chip_load=chip_load)
    within(0.0, 180.0, entry=entry, exit=exit)
    within(0.0, 90.0, edge_angle=edge_angle)
    if exit < entry:
        raise RangeError("exit", exit, f"it must not be less than the entry angle, {entry:g}")
    start, end = radians(entry), radians(exit)
    if end - start < 1e-9:
        return chip_load * sin(start) * sin(radians(edge_angle))
    # 2 sin sin instead of a difference of cosines: no digits lost on thin arcs
    area = 2.0 * sin((start + end) / 2) * sin((end - start) / 2)
    return chip_load * sin(radians(edge_angle)) * area / (end - start)


@covers(width_ratio=(0.0, 0.2, "the older form drops a term and reads 1/sqrt(1 - a_e/D) too high"))
def greatest_chip_older(*, feed: float, rpm: float, flutes: int, width_ratio: float) -> float:
    """Greatest chip in the older textbook form, h_max = (2 v_f/(n z)) sqrt(a_e/D); its mean is half of it.

    Symbols:
        feed  v_f  mm/min  feed
        rpm  n  rev/min  spindle speed
        flutes  z  -  number of teeth
        width_ratio  a_e/D  -  width over diameter
    Returns:
        h_max, mm
    Range:
        v_f >= 0, n > 0, z >= 1, 0 <= a_e/D <= 1; only for comparison with old examples
    Source:
        ghosh-mallik; from memory: Boothroyd and Knight
    """
    not_negative(feed=feed)
    positive(rpm=rpm, flutes=flutes)
    within(0.0, 1.0, width_ratio=width_ratio)
    return 2.0 * feed / (rpm * flutes) * sqrt(width_ratio)


@covers(width_ratio=(0.0, 0.2, "the square-root mean of the wood trade reads more than 4 % high"))
def mean_chip_wood(*, chip_load: float, width_ratio: float) -> float:
    """Mean chip in the form of the wood trade, f_z sqrt(a_e/D): chip area over the chord.

    Symbols:
        chip_load  f_z  mm  feed per knife
        width_ratio  a_e/D  -  depth of the cut over the diameter of the cutting circle
    Returns:
        t_avg, mm
    Range:
        f_z >= 0, 0 <= a_e/D <= 1
    Source:
        from memory: Koch, Wood Machining Processes
    """
    not_negative(chip_load=chip_load)
    within(0.0, 1.0, width_ratio=width_ratio)
    return chip_load * sqrt(width_ratio)


def radial_thinning(*, width: float, diameter: float, cap: float = 4.0) -> float:
    """Factor on the feed per tooth that keeps the greatest chip in a narrow cut, 1/(2 sqrt(x (1 - x))), x = a_e/D.

    Symbols:
        width  a_e  mm  radial engagement
        diameter  D  mm  diameter that cuts
        cap  -  -  greatest factor given
    Returns:
        factor, no unit; 1 from a_e = D/2 on
    Range:
        D > 0, 0 < a_e <= D, cap >= 1
    Source:
        geometry; common practice, no source
    """
    positive(width=width, diameter=diameter)
    within(0.0, diameter, width=width)
    within(1.0, 1e9, cap=cap)
    ratio = width / diameter
    if ratio >= 0.5:
        return 1.0
    return min(cap, 1.0 / (2.0 * sqrt(ratio * (1.0 - ratio))))


def axial_thinning(*, edge_angle: float, cap: float = 4.0) -> float:
    """Factor on the feed per tooth that keeps the greatest chip on an inclined edge, 1/sin(kappa_r).

    Symbols:
        edge_angle  kappa_r  deg  cutting-edge angle at the top of the cut
        cap  -  -  greatest factor given
    Returns:
        factor, no unit
    Range:
        0 < kappa_r <= 90, cap >= 1
    Source:
        iso-3002; common practice, no source
    """
    positive(edge_angle=edge_angle)
    within(0.0, 90.0, edge_angle=edge_angle)
    within(1.0, 1e9, cap=cap)
    return min(cap, 1.0 / sin(radians(edge_angle)))


def round_edge_angle(*, depth: float, radius: float) -> float:
    """Edge angle at the top of the cut of a round corner or ball, kappa_1 = arccos(1 - a_p/r).

    Symbols:
        depth  a_p  mm  axial depth
        radius  r  mm  corner or ball radius
    Returns:
        kappa_1, deg; 90 from a_p = r on
    Range:
        a_p > 0, r > 0
    Source:
        geometry
    """
    positive(depth=depth, radius=radius)
    return 90.0 if depth >= radius else degrees(acos(1.0 - depth / radius))


def round_greatest_chip(*, chip_load: float, depth: float, radius: float) -> float:
    """Greatest chip along a round edge, f_z sin(kappa_1) = f_z sqrt(2 a_p/r - (a_p/r)^2).

    Symbols:
        chip_load  f_z  mm  feed of the centre per tooth
        depth  a_p  mm  axial depth
        radius  r  mm  corner or ball radius
    Returns:
        h_max, mm
    Range:
        f_z >= 0, a_p > 0, r > 0
    Source:
        geometry
    """
    not_negative(chip_load=chip_load)
    return chip_load * sin(radians(round_edge_angle(depth=depth, radius=radius)))


def round_mean_chip(*, chip_load: float, depth: float, radius: float) -> float:
    """Mean chip along a round edge at phi = 90 degrees: chip area f_z a_p over the edge in cut, r kappa_1 (+ a_p - r).

    Symbols:
        chip_load  f_z  mm  feed of the centre per tooth
        depth  a_p  mm  axial depth
        radius  r  mm  corner or ball radius
    Returns:
        h, mm
    Range:
        f_z >= 0, a_p > 0, r > 0
    Source:
        geometry
    """
    not_negative(chip_load=chip_load)
    return chip_load * depth / round_edge_length(depth=depth, radius=radius)


def round_edge_length(*, depth: float, radius: float) -> float:
    """Length of edge in cut of a round corner or ball: r kappa_1, and the straight part above it.

    Symbols:
        depth  a_p  mm  axial depth
        radius  r  mm  corner or ball radius
    Returns:
        b, mm
    Range:
        a_p > 0, r > 0
    Source:
        geometry
    """
    arc = radius * radians(round_edge_angle(depth=depth, radius=radius))
    return arc + max(0.0, depth - radius)


def chip_load_for(*, thickness: float, width: float, diameter: float, edge_angle: float = 90.0, cap: float = 4.0) -> float:
    """Feed per tooth whose greatest chip is ``thickness`` in a one-sided straight cut.

    Symbols:
        thickness  h  mm  greatest chip wanted
        width  a_e  mm  radial engagement
        diameter  D  mm  diameter that cuts
        edge_angle  kappa_r  deg  cutting-edge angle
        cap  -  -  greatest factor for each kind of thinning
    Returns:
        f_z, mm
    Range:
        h >= 0, D > 0, 0 < a_e <= D, 0 < kappa_r <= 90
    Source:
        geometry
    """
    not_negative(thickness=thickness)
    radial = radial_thinning(width=width, diameter=diameter, cap=cap)
    return thickness * radial * axial_thinning(edge_angle=edge_angle, cap=cap)


def chip_load_over(*, thickness: float, engagement: float) -> float:
    """Feed per tooth whose greatest chip is ``thickness`` at a known engaged angle (also on arcs).

    Symbols:
        thickness  h  mm  greatest chip wanted
        engagement  phi_s  deg  engaged angle
    Returns:
        f_z, mm
    Range:
        h >= 0, 0 < phi_s <= 180
    Source:
        geometry
    """
    not_negative(thickness=thickness)
    positive(engagement=engagement)
    within(0.0, 180.0, engagement=engagement)
    return thickness / sin(radians(min(90.0, engagement)))


@covers(fraction=(0.1, 0.6, "published experiments put the least chip between 0.1 and 0.6 of the edge radius"))
def rubbing_chip(*, edge_radius: float, fraction: float = 0.4) -> float:
    """Chip below which the edge rubs instead of cutting, a share of the edge radius.

    Symbols:
        edge_radius  r_n  mm  radius of the cutting edge
        fraction  -  -  share, 0.2 to 0.4 for metals
    Returns:
        h_min, mm
    Range:
        r_n >= 0, fraction > 0
    Source:
        wojciechowski-2022; estimate, no source
    """
    not_negative(edge_radius=edge_radius)
    positive(fraction=fraction)
    return fraction * edge_radius
