"""A drill goes deeper at once than its chips can leave the hole.

What it checks
    How deep each bite of a drilling move goes into material, from the real surface on: in metal three diameters for
    the first bite, then one, half a diameter beyond six; in wood three, then two; in plastics one. End mills used as
    drills: half a diameter in metal, one in wood (common practice, no source).

Why it matters
    Packed chips weld, melt or burn, and the drill breaks in the hole.

What it cannot see
    Whether coolant or air through the tool clears the chips.

How to mend
    Use a pecking cycle with a smaller bite, or a larger number of pecks.

Example
        G81 X10 Y10 Z-30 R2     with a 4 mm drill in aluminium

Safety
    The maker of the drill may allow more or less: that overrides this.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.distinct import distinct
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import METAL, family, told, whole_run
from advisor.rules.base import rule
from grammar.moves import Flag

SLACK = 1.05


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each bite that is too deep; the same fault in neighbouring holes is one finding."""
    cuts = evidence.cuts
    material = family(evidence)
    vertical = ~cuts.rapid & (cuts.run < 1e-6) & (cuts.descent > 1e-6) & (cuts.core > 1e-6)
    rows = distinct(cuts.row[vertical])
    hole: tuple[float, float] | None = None
    surface = old = cuts.placed.top
    last: tuple[int, int, float] | None = None
    for row in rows.tolist():
        pieces = cuts.of_move(row)
        cutter = cuts.placed.cutters[int(cuts.cutter[pieces.start])]
        is_cycle = bool(cuts.placed.flags[row] & Flag.CYCLE)
        if cutter.form not in ("drill",) and not (is_cycle and cutter.form in ("flat", "corner", "ball")):
            continue
        here = (round(float(cuts.placed.end[row, 0]), 3), round(float(cuts.placed.end[row, 1]), 3))
        bite = float(cuts.core[pieces].sum())
        bottom = float(cuts.placed.end[row, 2])
        if here != hole:
            hole, surface, old = here, bottom + bite, bottom
        else:
            bite, old = min(bite, max(old - bottom, 0.0)), min(old, bottom)
        limit = _limit(cutter.form, material, cutter.diameter, surface - bottom - bite)
        if bite <= limit * SLACK + 1e-6:
            continue
        block = int(cuts.placed.block[row])
        if last is not None and block - last[0] in (0, 1) and last[1] == int(cuts.cutter[pieces.start]):
            last = (block, last[1], last[2])
            continue
        last = (block, int(cuts.cutter[pieces.start]), bite)
        yield told(
            "peck-too-deep",
            evidence,
            whole_run(evidence, pieces.start, pieces.stop - 1),
            f"This bite goes {bite:.2f} mm deep at once ({bite / cutter.diameter:.1f} diameters); at most {limit:.2f} mm "
            "are advised here.",
            measured=bite,
            limit=limit,
        )


def _limit(form: str, family: str, diameter: float, below: float) -> float:
    """The deepest bite, mm, when the hole is already ``below`` mm deep."""
    metal = family in METAL
    if form != "drill":
        return diameter * (0.5 if metal else 1.0)
    deep = below / diameter
    if metal:
        factor = 3.0 if deep < 0.05 else 1.0 if deep < 6.0 else 0.5
    elif family == "plastic":
        factor = 1.0
    else:
        factor = 3.0 if deep < 0.05 else 2.0
    return factor * diameter


RULE = rule(
    __doc__,
    name="peck-too-deep",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material"),
    unit="mm",
)
