"""Wood as a material that is never quite the size it says: plywood thickness and movement with moisture."""

from __future__ import annotations

from advisor.cutting.validity import covers, not_negative, positive


@covers(nominal=(3.0, 40.0, "the tolerance formula was compared with boards of 6.5 to 30 mm"))
def plywood_thickness(*, nominal: float, sanded: bool = True) -> tuple[float, float]:
    """Least and greatest thickness of a board, t - (0.4 + 0.03 t) to t + (0.2 + 0.03 t); unsanded t + (0.8 + 0.03 t).

    Symbols:
        nominal  t  mm  nominal thickness
        sanded  -  -  sanded or not
    Returns:
        (least, greatest), mm
    Range:
        t > 0; between boards: inside one board the spread is up to 0.6 mm
    Source:
        en-315; birch-board-sheet
    """
    positive(nominal=nominal)
    return nominal - (0.4 + 0.03 * nominal), nominal + ((0.2 if sanded else 0.8) + 0.03 * nominal)


@covers(
    moisture_before=(6.0, 14.0, "the coefficients hold from 6 to 14 % moisture"),
    moisture_after=(6.0, 14.0, "the coefficients hold from 6 to 14 % moisture"),
)
def moisture_movement(*, size: float, coefficient: float, moisture_before: float, moisture_after: float) -> float:
    """Change of size with moisture, dD = D C (M_f - M_i).

    Symbols:
        size  D  mm  size at the start
        coefficient  C  1/%  change per per cent of moisture
        moisture_before  M_i  %  moisture content at the start
        moisture_after  M_f  %  moisture content at the end
    Returns:
        change, mm; negative when it shrinks
    Range:
        D > 0, C, M >= 0
    Source:
        from memory: Wood Handbook ch. 13
    """
    positive(size=size)
    not_negative(coefficient=coefficient, moisture_before=moisture_before, moisture_after=moisture_after)
    return size * coefficient * (moisture_after - moisture_before)
