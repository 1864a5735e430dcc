"""A wall is left so thin that it bends away from the cutter or breaks.

What it checks
    Walls that stand above the floor on both sides: in wood thinner than 2 mm or a tenth of their height, in metal
    thinner than 0.5 mm or a twentieth of their height (common practice, no source).

Why it matters
    A thin wall springs back into the cutter, chatters, and in plywood loses its outer veneers.

What it cannot see
    Walls leaning over or held by a neighbouring piece.

How to mend
    Leave more between the two cuts, or cut both sides of the wall in steps from the top down.

Example
        two slots 1 mm apart, 15 mm deep

Safety
    Splinters of a wall that breaks are thrown at cutting speed: eye protection and a closed guard.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import METAL, family, whole
from advisor.rules.base import rule
from advisor.rules.rapid_into_stock import touching


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each thin wall."""
    from advisor.stock import thin_walls

    cuts = evidence.cuts
    workpiece = cuts.placed.workpiece
    if workpiece.assumed:
        yield whole("thin-wall", evidence, "the stock is only assumed", "stock")
        return
    if touching(cuts).any():
        yield whole("thin-wall", evidence, "a rapid went through the stock: what is left is not what was meant", "crash")
        return
    metal = family(evidence) in METAL
    least, share = (0.5, 1 / 20) if metal else (2.0, 1 / 10)
    deepest = max(least, share * workpiece.size[2])
    for wall in thin_walls(cuts, thinner_than=deepest, higher_than=2.0):
        limit = max(least, share * wall.width)
        if wall.thickness >= limit - 1e-6 or wall.length < 2 * wall.thickness:
            continue
        yield Finding(
            rule="thin-wall",
            message=f"A wall {wall.thickness:.2f} mm thick, {wall.width:.1f} mm high and {wall.length:.0f} mm long is left; "
            f"at least {limit:.2f} mm are advised.",
            block=int(cuts.placed.block[wall.row]),
            measured=wall.thickness,
            limit=limit,
            at=wall.at,
        )


RULE = rule(
    __doc__,
    name="thin-wall",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="mm",
)
