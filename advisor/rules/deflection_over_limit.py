"""The cutter and the machine bend more than the work allows.

What it checks
    The deflection at the tip from the cutting force (nominal data, a sharp edge), the cutter as a stepped bar in its holder and
    the machine's stiffness, against 1.5 times the allowance for roughing in that material.

Why it matters
    Walls come out slanted and slots too wide; a cutter that bends much also breaks.

What it cannot see
    Play in the machine, how deep the cutter is really clamped, and the real stiffness: measure it by pulling the
    spindle with a spring scale against a dial gauge.

How to mend
    A shorter stickout or a thicker cutter first; then less depth or less feed.

Example
        a 3 mm cutter with 30 mm stickout in hardwood, 6 mm deep

Safety
    A cutter that breaks is thrown: keep the guard closed.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import lasting, level, no_limits, recurring, runs, told
from advisor.rules.base import rule

LONG = 1.0  # diameters of path
SLACK = 1.5  # the specific force is known to a factor of two at best


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each stretch that bends too much."""
    cuts, along = evidence.cuts, evidence.along
    yield from no_limits("deflection-over-limit", evidence)
    allowed = along.table(cuts, lambda c: c.deflection_rough)
    with np.errstate(invalid="ignore", divide="ignore"):
        faulty = along.cutting & (along.deflection > SLACK * allowed + 1e-6)
        least = LONG * 2 * np.asarray(cuts.radius, dtype=float)
        faulty = lasting(cuts, faulty, least)
        sound = lasting(cuts, along.cutting & (along.deflection > 0) & ~faulty & level(cuts), least)
        excess = np.where(faulty, along.deflection / allowed, 0.0)
    found = runs(cuts, faulty, excess, gap=3)
    for run in recurring(evidence, "deflection-over-limit", found, sound=sound, excess=excess):
        k = run.worst
        yield told(
            "deflection-over-limit",
            evidence,
            run,
            f"The tip is pushed aside by about {along.deflection[k]:.3f} mm; {SLACK * allowed[k]:.3f} mm is the most, "
            "1.5 times the allowance for roughing.",
            measured=float(along.deflection[k]),
            limit=float(SLACK * allowed[k]),
        )


RULE = rule(
    __doc__,
    name="deflection-over-limit",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="mm",
)
