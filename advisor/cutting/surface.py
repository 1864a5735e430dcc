"""What a cut leaves: scallops of ball cutters, feed marks, knife marks in wood."""

from __future__ import annotations

from math import sqrt

from advisor.cutting.validity import covers, not_negative, positive, within


def scallop_height(*, diameter: float, stepover: float) -> float:
    """Scallop of a ball cutter between two passes, R - sqrt(R^2 - s^2/4).

    Symbols:
        diameter  D  mm  ball diameter
        stepover  s  mm  distance of the passes along the surface
    Returns:
        height, mm
    Range:
        D > 0, 0 <= s <= D
    Source:
        geometry
    """
    positive(diameter=diameter)
    within(0.0, diameter, stepover=stepover)
    radius = diameter / 2.0
    # s^2/4 over a sum: no digits lost on fine passes
    square = stepover * stepover / 4.0
    return square / (radius + sqrt(max(0.0, radius * radius - square)))


def scallop_stepover(*, diameter: float, height: float) -> float:
    """Stepover of a ball cutter for a scallop, s = 2 sqrt(h (2 R - h)).

    Symbols:
        diameter  D  mm  ball diameter
        height  h  mm  scallop height
    Returns:
        s, mm
    Range:
        D > 0, 0 <= h <= D/2
    Source:
        geometry
    """
    positive(diameter=diameter)
    within(0.0, diameter / 2.0, height=height)
    return 2.0 * sqrt(height * (diameter - height))


@covers(feed_per_turn=(0.01, 1.0, "finer than that the edge, not the feed, makes the surface"))
def feed_mark(*, feed_per_turn: float, corner_radius: float) -> tuple[float, float]:
    """Height and mean roughness of feed marks, R_t = f^2/(8 r), R_a = f^2/(32 r).

    Symbols:
        feed_per_turn  f  mm  feed in a turn, or per tooth
        corner_radius  r  mm  corner radius
    Returns:
        (R_t, R_a), mm
    Range:
        f >= 0, r > 0, f well below r; ideal values
    Source:
        from memory: Kalpakjian and Schmid, Manufacturing Engineering and Technology
    """
    not_negative(feed_per_turn=feed_per_turn)
    positive(corner_radius=corner_radius)
    height = feed_per_turn * feed_per_turn / (8.0 * corner_radius)
    return height, height / 4.0


def knife_mark_pitch(*, feed: float, rpm: float, flutes: int, one_knife: bool = False) -> float:
    """Distance of knife marks, p = v_f/(n z); with runout above the mark's height only one knife shows (z = 1).

    Symbols:
        feed  v_f  mm/min  feed
        rpm  n  rev/min  spindle speed
        flutes  z  -  number of knives
        one_knife  -  -  only one knife marks the surface
    Returns:
        p, mm
    Range:
        v_f >= 0, n > 0, z >= 1
    Source:
        geometry
    """
    not_negative(feed=feed)
    positive(rpm=rpm)
    within(1, 1000, flutes=flutes)
    return feed / (rpm * (1 if one_knife else flutes))


def knife_mark_height(*, diameter: float, pitch: float) -> float:
    """Height of knife marks, R - sqrt(R^2 - p^2/4).

    Symbols:
        diameter  D  mm  cutting circle
        pitch  p  mm  distance of the marks
    Returns:
        t, mm
    Range:
        D > 0, 0 <= p <= D
    Source:
        geometry
    """
    return scallop_height(diameter=diameter, stepover=pitch)
