"""A pass deeper than the cutter, the material and the machine allow.

What it checks
    The depth of material taken at once where the cut is at least 0.3 diameters wide and one diameter long, against the
    stepdown limit of that cutter in that material on that machine. Light side cuts may be deeper: up to the flute
    length while depth times width stays within half a diameter times the slot's stepdown. Where the thickness was
    measured its spread is added to what is taken from the uncut top. Cutting into the spoilboard and drilling are
    left out. More than 1.5 times the limit is an error, less a warning.

Why it matters
    The force grows with the depth: the cutter bends, chatters, burns, tears the work loose or breaks.

What it cannot see
    Stock that is thicker than declared, a dull edge, and how rigid this machine really is.

How to mend
    Take the depth in more passes of equal height; `feedwright speeds --depth` gives them.

Example
        G1 Z-18         18 mm of plywood in one pass with a 6 mm cutter

Safety
    Begin with the gentler first cut of `feedwright speeds`; the limits of the cutter's maker override these.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import (
    exact,
    filled_width,
    graded,
    higher,
    lasting,
    level,
    no_limits,
    per_cutter,
    recurring,
    runs,
    told,
)
from advisor.rules.base import rule

WIDE = 0.3  # of the diameter
LONG = 1.0  # diameters
SLACK = 1.05
HALF = 0.52  # diameters: a width of half a diameter, as the grid sees it


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each stretch of too deep a pass."""
    cuts, along = evidence.cuts, evidence.along
    yield from no_limits("stepdown-over-limit", evidence)
    slot = along.table(cuts, lambda c: c.slot_stepdown)
    slot_material = along.table(cuts, lambda c: c.slot_stepdown_material)
    flute = along.table(cuts, lambda c: c.flute_length)
    diameter = per_cutter(cuts, lambda c: c.diameter).astype(float)
    straight = per_cutter(cuts, lambda c: c.twist == "straight").astype(bool)
    drill = per_cutter(cuts, lambda c: c.form == "drill").astype(bool)
    # What was measured thicker than declared is taken by the first pass: where the removed material reached the top.
    # On slopes the greatest depth is twice the mean; where it is more, a thread left beside an earlier cut stands out.
    most = np.where(np.abs(np.asarray(cuts.descent)) > 1e-6, 2.0, 1.5) * np.asarray(cuts.mean_depth, dtype=float)
    depth = np.minimum(exact(cuts.depth), most + 0.05)
    low = np.minimum(cuts.start[:, 2], cuts.end[:, 2])
    first = np.abs(low + depth - cuts.placed.top) < 0.05
    taken = depth + np.where(first, higher(evidence), 0.0)
    width = filled_width(cuts, depth)
    with np.errstate(invalid="ignore", divide="ignore"):
        limit = slot_material * np.maximum(1.0, 0.5 * diameter / width)
        limit = np.where(straight, np.minimum(limit, 2 * slot_material), limit)
        limit = np.where(width > HALF * diameter, np.minimum(limit, slot), limit)
        limit = np.minimum(limit, flute)
        judged = along.cutting & ~drill & (cuts.run > 0) & (width >= WIDE * diameter)
        faulty = lasting(cuts, judged & (taken > limit * SLACK + 1e-6), LONG * diameter)
        sound = lasting(cuts, judged & ~faulty & level(cuts), LONG * diameter)
        excess = np.where(faulty, taken / limit, 0.0)
    found = runs(cuts, faulty, excess, gap=3)
    for run in recurring(evidence, "stepdown-over-limit", found, sound=sound, excess=excess):
        k = run.worst
        yield told(
            "stepdown-over-limit",
            evidence,
            run,
            f"This pass takes {taken[k]:.2f} mm at once, {width[k]:.1f} mm wide; at most {limit[k]:.2f} mm are advised for "
            f"this cutter here.",
            severity=graded(float(taken[k]), float(limit[k])),
            measured=round(float(taken[k]), 4),
            limit=round(float(limit[k]), 4),
            fix=f"Take it in {int(np.ceil(taken[k] / limit[k] - 1e-9))} or more equal passes.",
        )


RULE = rule(
    __doc__,
    name="stepdown-over-limit",
    severity="error",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="mm",
)
