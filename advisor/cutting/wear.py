"""How a blunting edge changes force and the least chip; tool life in the form of Taylor."""

from __future__ import annotations

from advisor.cutting.validity import covers, not_negative, positive, within


def worn_force(*, sharp: float, factor: float, share: float = 1.0) -> float:
    """Force of a partly worn edge, F (1 + share (factor - 1)).

    Symbols:
        sharp  F  N  force of a sharp edge
        factor  K  -  force of a worn edge / of a sharp one
        share  -  -  how worn: 0 sharp, 1 due for change
    Returns:
        force, N
    Range:
        F >= 0, K >= 1, 0 <= share <= 1
    Source:
        common practice, no source
    """
    not_negative(sharp=sharp)
    within(1.0, 100.0, factor=factor)
    within(0.0, 1.0, share=share)
    return sharp * (1.0 + share * (factor - 1.0))


@covers(share=(0.0, 1.0, "an edge past its change grows worse faster than a straight line"))
def worn_edge_radius(*, sharp: float, worn: float, share: float) -> float:
    """Edge radius on the way from sharp to worn, a straight line.

    Symbols:
        sharp  r_0  mm  radius of the fresh edge
        worn  r_1  mm  radius when due for change: 0.02 to 0.06 in wood
        share  -  -  how worn: 0 fresh, 1 due for change
    Returns:
        r, mm
    Range:
        r_0 >= 0, r_1 >= r_0, share >= 0
    Source:
        koleda-2019; estimate, no source
    """
    not_negative(sharp=sharp, worn=worn, share=share)
    within(sharp, 1e9, worn=worn)
    return sharp + share * (worn - sharp)


@covers(speed_ratio=(0.5, 1.5, "Taylor's line holds near the speed it was measured at"))
def life_ratio(*, speed_ratio: float, exponent: float = 0.25) -> float:
    """Tool life against a reference, (v/v_0)^(-1/n) after Taylor; 4 % shorter for each 1 % of speed at n = 0.25.

    Symbols:
        speed_ratio  v/v_0  -  cutting speed over the reference speed
        exponent  n  -  0.1 to 0.15 high speed steel, 0.2 to 0.3 carbide
    Returns:
        T/T_0, no unit
    Range:
        v/v_0 > 0, n > 0
    Source:
        from memory: Taylor 1906; ti-insert-2020
    """
    positive(speed_ratio=speed_ratio, exponent=exponent)
    return float(speed_ratio ** (-1.0 / exponent))


def edge_travel(*, engagement: float, diameter: float, rpm: float, minutes: float) -> float:
    """Way an edge travels inside the work, metres: the arc in each turn.

    Symbols:
        engagement  phi_s  deg  engaged angle
        diameter  D  mm  cutter diameter
        rpm  n  rev/min  spindle speed
        minutes  t  min  time in cut
    Returns:
        way, m
    Range:
        0 <= phi_s <= 360, D > 0, n, t >= 0
    Source:
        geometry
    """
    within(0.0, 360.0, engagement=engagement)
    positive(diameter=diameter)
    not_negative(rpm=rpm, minutes=minutes)
    return engagement / 360.0 * 3.141592653589793 * diameter * rpm * minutes / 1000.0
