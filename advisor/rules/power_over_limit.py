"""The cut needs more power than the spindle has at that speed.

What it checks
    Cutting power from the removed volume, the feed and the pessimistic specific force of the material (worn edge),
    against four fifths of what the spindle delivers at that speed. Up to 1.5 times that is a warning, beyond an error.

Why it matters
    The spindle slows down or stalls; then the chip grows until the cutter breaks.

What it cannot see
    The real power curve, low mains voltage, a worn belt, and the real specific force: sources for wood differ by two to
    four times.

How to mend
    Lower the feed, the depth or the width; in the low range of a router spindle, raise the speed.

Example
        a 20 mm cutter 15 mm deep in hardwood on a 500 W spindle

Safety
    A stalled spindle that is switched on again starts with the cutter in the work: lift it first.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.distinct import distinct
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import lasting, level, no_limits, recurring, runs, told
from advisor.rules.base import rule

SLACK = 1.02  # volumes of the stock model are right within half a percent, angles within a few degrees
LONG = 0.75  # diameters of path: the first bite after going down takes the front of its hole too


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each stretch that needs too much."""
    cuts, along = evidence.cuts, evidence.along
    yield from no_limits("power-over-limit", evidence)
    speeds = distinct(along.rpm)
    allowed = np.full(len(cuts), np.inf)
    for index, limit in enumerate(along.limits):
        if limit is None:
            continue
        table = np.array([limit.power_allowed(float(n)) if n > 0 else np.inf for n in speeds])
        pick = cuts.cutter == index
        allowed[pick] = table[np.searchsorted(speeds, along.rpm[pick])]
    with np.errstate(invalid="ignore", divide="ignore"):
        faulty = along.cutting & (along.power > SLACK * allowed + 1e-6)
        least = LONG * 2 * np.asarray(cuts.radius, dtype=float)
        faulty = lasting(cuts, faulty, least)
        sound = lasting(cuts, along.cutting & (along.power > 0) & ~faulty & level(cuts), least)
        excess = np.where(faulty, along.power / allowed, 0.0)
    found = runs(cuts, faulty, excess, gap=2)
    for run in recurring(evidence, "power-over-limit", found, sound=sound, excess=excess):
        k = run.worst
        yield told(
            "power-over-limit",
            evidence,
            run,
            f"This cut needs about {along.power[k]:.0f} W at the tool; {allowed[k]:.0f} W may be counted on at "
            f"{along.rpm[k]:.0f} rev/min.",
            severity="error" if along.power[k] > 1.5 * allowed[k] else "warning",
            measured=float(along.power[k]),
            limit=float(allowed[k]),
        )


RULE = rule(
    __doc__,
    name="power-over-limit",
    severity="error",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="W",
)
