"""Going down into material faster than the cutter can take.

What it checks
    The downward part of the feed per spindle turn, wherever more than 0.1 mm of material is taken from under the
    axis, against the limit for that cutter and material, and against the machine's Z feed. Drills are held to drill
    feeds. Up to 1.5 times the limit is a warning, beyond an error. Descents that are too fast one after another are
    told once, at the first, with the worst of them.

Why it matters
    Under the centre the edges only squeeze. Too fast, and the cutter burns, wanders, breaks or pulls the work up.

What it cannot see
    The real spindle speed where it is set by hand.

How to mend
    Write a lower F in the block that goes down, and the cutting feed again in the next one.

Example
        G1 Z-6 F3000    with a 6 mm cutter in plywood at 18 000 turns

Safety
    The feeds given by the cutter's maker override these.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import FAR_BEYOND, exact, no_limits, per_cutter, recurring, runs, told
from advisor.rules.base import rule

LEAST = 0.1
SLACK = 1.002  # lengths of pieces are kept in single precision, and inches are written rounded


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each run of descents that are too fast."""
    cuts, along = evidence.cuts, evidence.along
    yield from no_limits("plunge-feed", evidence)
    down = np.asarray(cuts.descent, dtype=float)
    with np.errstate(invalid="ignore", divide="ignore"):
        programmed = np.asarray(cuts.placed.feed, dtype=float)[cuts.row]
        speed = np.where(cuts.length > 0, programmed * down / cuts.length, 0.0)
        speed = np.where(cuts.run > 0, speed, programmed)
    per_turn = along.table(cuts, lambda c: c.drill_feed_high if c.cutter.form == "drill" else c.plunge_per_rev_max)
    # A short piece may take only a little: what counts is the material the whole move takes from under the axis.
    core = exact(np.bincount(cuts.row, weights=cuts.core, minlength=len(evidence.moves) + 1)[cuts.row])
    spinning = along.rpm > 0
    limit = per_turn * along.rpm
    z_most = evidence.setting.machine.feed_max_z if evidence.setting.machine is not None else np.inf
    limit = np.minimum(limit, z_most)
    drill = per_cutter(cuts, lambda c: c.form == "drill").astype(bool)
    with np.errstate(invalid="ignore"):
        going = ~cuts.rapid & (core > LEAST) & (cuts.core > 1e-6) & (down > 1e-9) & np.isfinite(limit)
        faulty = going & spinning & (speed > limit * SLACK)
        excess = np.where(faulty, speed / np.where(limit > 0, limit, 1.0), 0.0)
        # What passes the machine's Z alone is slowed by the machine: it breaks nothing.
        graver = speed > FAR_BEYOND * per_turn * along.rpm * SLACK
    found = runs(cuts, faulty, excess, gap=1, key=graver)
    sound = going & spinning & ~faulty
    for run in recurring(evidence, "plunge-feed", found, sound=sound, excess=excess, key=graver):
        k = run.worst
        turn = speed[k] / along.rpm[k]
        what = "This drill" if drill[k] else "The cutter"
        yield told(
            "plunge-feed",
            evidence,
            run,
            f"{what} goes down at {speed[k]:.0f} mm/min ({turn:.3f} mm per turn at {along.rpm[k]:.0f} rev/min); at most "
            f"{limit[k]:.0f} mm/min are advised in this material.",
            severity="error" if graver[k] else "warning",
            measured=round(float(speed[k]), 3),
            limit=float(limit[k]),
        )
    still = np.flatnonzero(going & ~spinning)
    if len(still):
        lines = evidence.program.block_line[cuts.block[still[[0, -1]]]]
        yield NotChecked("plunge-feed", "the spindle speed is not known here", "spindle", int(min(lines)), int(max(lines)))


RULE = rule(
    __doc__,
    name="plunge-feed",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="mm/min",
)
