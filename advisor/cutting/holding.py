"""What holds the work: vacuum, tabs, and the force the axes must hold."""

from __future__ import annotations

from advisor.cutting.validity import covers, not_negative, positive, within


@covers(pressure=(5.0, 80.0, "through a spoilboard 10 to 30 kPa, sealed pods 50 to 75 kPa is what pumps reach"))
def vacuum_force(*, pressure: float, area: float) -> float:
    """Force a vacuum presses a part down with, F = dp A.

    Symbols:
        pressure  dp  kPa  pressure below the atmosphere's
        area  A  mm2  area under vacuum
    Returns:
        F, N
    Range:
        0 <= dp <= 101, A >= 0; falls as cuts go through and leak
    Source:
        geometry
    """
    within(0.0, 101.325, pressure=pressure)
    not_negative(area=area)
    return pressure * area / 1000.0


@covers(friction=(0.1, 0.5, "friction of wood on board is 0.25 to 0.4, of plastics 0.15 to 0.3"))
def friction_hold(*, force: float, friction: float, margin: float = 1.0) -> float:
    """Side force that friction holds, mu F/margin.

    Symbols:
        force  F  N  force on the part
        friction  mu  -  coefficient of friction
        margin  -  -  safety factor, 2 is usual
    Returns:
        side force, N
    Range:
        F, mu >= 0, margin >= 1
    Source:
        estimate, no source
    """
    not_negative(force=force, friction=friction)
    within(1.0, 1e6, margin=margin)
    return friction * force / margin


@covers(strength=(5.0, 60.0, "wood holds about 5 to 20 N/mm2 across the grain and 40 and more along it"))
def tab_force(*, width: float, thickness: float, strength: float, count: int = 1) -> float:
    """Force that tabs hold, w t sigma each.

    Symbols:
        width  w  mm  width of a tab
        thickness  t  mm  thickness of a tab
        strength  sigma  N/mm2  tensile strength of the tab
        count  -  -  number of tabs
    Returns:
        force, N
    Range:
        all >= 0
    Source:
        common practice, no source; estimate, no source
    """
    not_negative(width=width, thickness=thickness, strength=strength, count=count)
    return width * thickness * strength * count


def push_use(*, force: float, axis_push: float) -> float:
    """Share of the axis drive's push that the cut takes; above one half the drive may lose its place.

    Symbols:
        force  F  N  feed force of the cut
        axis_push  -  N  force the drive can hold
    Returns:
        share, no unit
    Range:
        F >= 0, push > 0
    Source:
        common practice, no source
    """
    not_negative(force=force)
    positive(axis_push=axis_push)
    return force / axis_push
