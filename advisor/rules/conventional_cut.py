"""A tool cuts against the feed nearly everywhere.

What it checks
    Metal and plastics: whether a tool's one-sided cuts, 0.05 to 0.4 diameters wide, are conventional (up-milling) over
    at least four fifths of their length. Told once a tool. Zigzag paths, light frames and wood are left out.

Why it matters
    In conventional milling each tooth begins by rubbing; the edge lasts less long and the wall is rougher. On a stiff
    machine without play climb milling is usual.

What it cannot see
    Play in the screws: with play, conventional milling may be the right choice.

How to mend
    Turn the direction of the contour.

Example
        an outside contour run counterclockwise with a clockwise spindle

Safety
    Climb milling pulls the work: it wants a firm hold and a machine without play.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import family, runs, told
from advisor.rules.base import rule

STIFF = 2.0  # N/um: below, conventional milling is a usual choice


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """At most one note a tool."""
    cuts = evidence.cuts
    machine = evidence.setting.machine
    if family(evidence) in ("wood", "board", "foam", "") or machine is None or machine.stiffness < STIFF:
        return
    climb = cuts.climb()
    cutting = ~cuts.rapid & (cuts.volume > 0)
    for index, cutter in enumerate(cuts.placed.cutters):
        share = np.asarray(cuts.width, dtype=float) / cutter.diameter
        with np.errstate(invalid="ignore"):
            sided = cutting & (cuts.cutter == index) & (share >= 0.05) & (share <= 0.4) & (climb != 0)
        against = sided & (climb < 0)
        total, wrong = float(cuts.length[sided].sum()), float(cuts.length[against].sum())
        if total < 10 * cutter.diameter or wrong < 0.8 * total:
            continue
        found = runs(cuts, against, np.asarray(cuts.length, dtype=float), gap=5)
        longest = max(found, key=lambda r: r.length)
        yield told(
            "conventional-cut",
            evidence,
            longest,
            f"{100 * wrong / total:.0f} % of this tool's one-sided cuts are conventional (up-milling).",
            measured=round(100 * wrong / total, 3),
            limit=80.0,
        )


RULE = rule(
    __doc__,
    name="conventional-cut",
    severity="note",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="%",
)
