"""In metal the cutter runs deep with its whole width in material.

What it checks
    Metal: cuts more than 0.9 diameters wide over at least two diameters, deeper than half the slot's stepdown limit,
    after the entry.

Why it matters
    In a full slot each tooth is in the cut for half a turn, chips are cut twice and nothing is left for corners.

What it cannot see
    Whether air or coolant clears the slot.

How to mend
    Open the slot with a narrower cutter, or by a path that keeps the width small; or take less depth.

Example
        a slot as wide as the cutter, one diameter deep, in aluminium

Safety
    Clear chips with the spindle stopped, never by hand.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import METAL, family, lasting, no_limits, per_cutter, runs, told
from advisor.rules.base import rule


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One note for each stretch."""
    if family(evidence) not in METAL:
        return
    cuts, along = evidence.cuts, evidence.along
    yield from no_limits("full-width-cut", evidence)
    slot = along.table(cuts, lambda c: c.slot_stepdown)
    diameter = per_cutter(cuts, lambda c: c.diameter).astype(float)
    level = np.abs(np.asarray(cuts.descent, dtype=float)) < 1e-6
    with np.errstate(invalid="ignore"):
        full = along.cutting & level & (np.asarray(cuts.width) > 0.9 * diameter) & (cuts.depth > 0.5 * slot)
    full = lasting(cuts, full, 2 * diameter)  # the peaks in the corners of a contour do not add up
    for run in runs(cuts, full, np.where(full, np.asarray(cuts.depth, dtype=float), 0.0), gap=3):
        k = run.worst
        yield told(
            "full-width-cut",
            evidence,
            run,
            f"The cutter runs {run.length:.0f} mm in a full slot, {cuts.depth[k]:.2f} mm deep (half the limit for slots is "
            f"{0.5 * slot[k]:.2f} mm).",
            measured=float(cuts.depth[k]),
            limit=float(0.5 * slot[k]),
        )


RULE = rule(
    __doc__,
    name="full-width-cut",
    severity="note",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="mm",
)
