"""A rapid that is clear along its straight line but not when each axis runs at its own speed.

What it checks
    Many machines do not drive a rapid along a straight line: each axis runs at its own top speed, and the path has a
    bend. With the machine's rapid speeds that bent path is swept through the stock too.

Why it matters
    A move that looks clear on the screen cuts a corner of the work on the machine.

What it cannot see
    How the control really joins the axes; where it moves them together, this finding does not concern it.

How to mend
    Lift Z in a block of its own before moving X and Y, and come down in a block of its own.

Example
        G0 X200 Z20     Z is still low while X already runs

Safety
    Try the move with the rapid override low and the cutter well above the work.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import whole
from advisor.rules.base import rule
from advisor.rules.rapid_into_stock import LEAST, touching


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """Rapids whose bent path meets material while the straight one does not."""
    cuts = evidence.cuts
    if cuts.bent is None:
        yield whole("rapid-bent-path", evidence, "the machine's rapid speeds are not known", "machine")
        return
    straight = set(cuts.row[touching(cuts)].tolist())
    for touch in cuts.bent:
        if touch.row not in straight and touch.depth > LEAST and touch.inset > cuts.cell:
            yield Finding(
                rule="rapid-bent-path",
                message=f"With each axis at its own speed this rapid meets {touch.depth:.2f} mm of stock, though its "
                "straight line is clear.",
                block=int(cuts.placed.block[touch.row]),
                measured=touch.depth,
                limit=0.0,
                at=touch.at,
            )


RULE = rule(
    __doc__,
    name="rapid-bent-path",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement", "machine"),
    unit="mm",
    least=LEAST,
)
