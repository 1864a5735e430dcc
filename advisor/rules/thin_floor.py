"""A floor is left so thin that it bends, flutters or breaks through.

What it checks
    Floors at least two cutter diameters across: in wood thinner than 1.5 mm or one veneer, in metal thinner than
    0.5 mm, or thinner than a fortieth of their span; and, where program zero is on the stock's top, floors thinner than
    the spread of the measured thickness plus 0.2 mm, which may break through. The skin under a slot is only noted (common
    practice, no source).

Why it matters
    A thin floor lifts towards the cutter, tears, and in plywood leaves one veneer across its grain.

What it cannot see
    Whether the floor is held from below, and voids in the board.

How to mend
    Leave more, support the floor, or make it a cut through with tabs.

Example
        a pocket 17 mm deep in a board measured between 17.1 and 18.1 mm

Safety
    A floor that breaks through can free what is inside it while the spindle turns.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import METAL, family, on_table, spread, whole
from advisor.rules.base import rule
from advisor.rules.rapid_into_stock import touching

SPAN = 40.0


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each thin floor."""
    from advisor.stock import thin_floors

    cuts = evidence.cuts
    workpiece = cuts.placed.workpiece
    if workpiece.assumed:
        yield whole("thin-floor", evidence, "the stock is only assumed", "stock")
        return
    if touching(cuts).any():
        yield whole("thin-floor", evidence, "a rapid went through the stock: what is left is not what was meant", "crash")
        return
    ply = workpiece.layers[-1].thickness if workpiece.layers else 0.0
    least = 0.5 if family(evidence) in METAL else max(1.5, ply)
    # Where zero lies on the table the floor is as thick as it is programmed, however thick the board.
    break_at = spread(evidence) + 0.2 if workpiece.thickness is not None and not on_table(evidence) else 0.0
    diameter = max((c.diameter for c in cuts.placed.cutters), default=0.0)
    narrow = False
    deepest = max(least, break_at, min(workpiece.size[:2]) / SPAN)
    for floor in thin_floors(cuts, thinner_than=deepest, wider_than=0.5 * diameter):
        cutter = int(cuts.placed.cutter[floor.row])
        size = cuts.placed.cutters[cutter].diameter if cutter >= 0 else diameter
        wide = floor.width >= 2 * size
        limit = max(least, break_at, floor.width / SPAN if wide else 0.0)
        if floor.thickness >= limit - 1e-6 or (not wide and (narrow or floor.length < 4 * size)):
            continue
        narrow |= not wide  # the skin under slots is told once
        breaks = floor.thickness < break_at
        yield Finding(
            rule="thin-floor",
            message=f"A floor {floor.thickness:.2f} mm thick and about {floor.width:.0f} mm across is left; at least "
            f"{limit:.2f} mm are advised"
            + (": it may break through, the board's thickness varies as much." if breaks else "."),
            block=int(cuts.placed.block[floor.row]),
            severity="" if wide else "note",
            measured=floor.thickness,
            limit=limit,
            at=floor.at,
        )


RULE = rule(
    __doc__,
    name="thin-floor",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="mm",
)
