"""The chip is thicker than the edge can take.

What it checks
    The greatest undeformed chip thickness, where it stays beyond 1.25 times the high end of the table for that cutter,
    material and machine over three turns or more; and the same with the run-out added to one tooth, which is never
    more than what all teeth take together, against the table for rigid machines. Beyond twice the high end, or where
    the bending stress passes half the rupture stress, it is an error.

Why it matters
    Thick chips overload the edge and the core of the cutter, tear wood and pull the work from its hold.

What it cannot see
    The real runout, dull edges, knots and glue.

How to mend
    Lower the feed or raise the spindle speed.

Example
        G1 X200 F9000   with a two-flute 6 mm cutter at 12 000 turns

Safety
    The chip load given by the cutter's maker overrides this.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.catalogue import tool_material
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import filled_width, lasting, level, no_limits, per_cutter, recurring, runs, told
from advisor.rules.base import rule
from advisor.rules.chip_too_thin import vee_share

SLACK = 1.25
TURNS = 3.0


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each stretch of chips too thick."""
    cuts, along = evidence.cuts, evidence.along
    yield from no_limits("chip-too-thick", evidence)
    high = along.table(cuts, lambda c: c.chip_high)
    runout = along.table(cuts, lambda c: c.runout)
    # A weak machine makes the edge no weaker: the chip of the tooth that stands out is held to the table itself. It is
    # never more than all teeth together take, so a single tooth does not feel its run-out.
    sturdy = high / along.table(cuts, lambda c: c.machine_scale)
    flutes = per_cutter(cuts, lambda c: max(1, c.flutes)).astype(float)
    for index, cutter in enumerate(cuts.placed.cutters):
        if cutter.form == "vee" and along.limits[index] is not None:
            rows = np.asarray(along.cutting & (cuts.cutter == index))
            narrow = vee_share(evidence, cutter, _deepest(np.asarray(cuts.depth, dtype=float), along.feed, rows), rows)
            high, sturdy = high * narrow, sturdy * narrow
    allowed_runout = 0.2 * sturdy  # what the table's chip already lives with
    rupture = along.table(cuts, lambda c: tool_material(c.cutter.material)["rupture"].chosen)
    # Seen from above a round edge cuts under itself too: its angle is that of the width it fills, at one side.
    rounded = per_cutter(cuts, lambda c: c.form in ("ball", "corner")).astype(bool)
    share = np.clip(filled_width(cuts, np.asarray(cuts.depth, dtype=float)) / (2 * np.asarray(cuts.radius)), 0.0, 0.5)
    with np.errstate(invalid="ignore"):
        filled = np.fmin(along.thickest, 2 * along.chip * np.sqrt(share * (1 - share)))
        thickest = np.where(rounded, filled, along.thickest)
    uneven = np.minimum(thickest + np.maximum(0.0, runout - allowed_runout), flutes * thickest)
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = uneven / sturdy > thickest / high
        thickest, high = np.where(apart, uneven, thickest), np.where(apart, sturdy, high)
        wide = np.asarray(cuts.width) >= 2 * cuts.cell
        thick = along.cutting & wide & (thickest > SLACK * high + 1e-6)
        breaking = along.cutting & wide & (along.stress > 0.5 * rupture)
        turn = np.where(along.rpm > 0, along.feed / along.rpm, 0.0)
        # in one stretch each: the peaks in the corners of a contour do not add up, and a cutter breaks in one turn
        thick, breaking = lasting(cuts, thick, TURNS * turn), lasting(cuts, breaking, turn)
        excess = np.where(thick | breaking, np.maximum(thickest / high, 2 * along.stress / rupture), 0.0)
    worse = np.nan_to_num(excess)
    found = runs(cuts, thick | breaking, worse, gap=2)
    sound = along.cutting & wide & np.isfinite(thickest) & ~(thick | breaking) & level(cuts)
    sound = lasting(cuts, sound, 2 * np.asarray(cuts.radius, dtype=float))
    # Thick chips and stress alone are told in their own words.
    for run in recurring(evidence, "chip-too-thick", found, sound=sound, excess=worse, key=thick):
        k = run.worst
        if thick[k]:
            yield told(
                "chip-too-thick",
                evidence,
                run,
                f"Chips are up to {thickest[k]:.3f} mm thick at F{along.feed[k]:.0f} and {along.rpm[k]:.0f} rev/min "
                f"({along.chip[k]:.3f} mm per tooth"
                + (f", and a run-out of {runout[k]:g} mm" if apart[k] and runout[k] > allowed_runout[k] else "")
                + f"); {high[k]:.3f} mm is the high end for this cutter here.",
                severity="error" if thickest[k] > 2 * high[k] or breaking[k] else "warning",
                measured=float(thickest[k]),
                limit=float(SLACK * high[k]),
            )
        else:
            yield told(
                "chip-too-thick",
                evidence,
                run,
                f"Bending stresses the cutter to {along.stress[k]:.0f} N/mm2 by estimate; half its rupture stress is "
                f"{0.5 * rupture[k]:.0f} N/mm2.",
                severity="error",
                measured=float(along.stress[k]),
                limit=float(0.5 * rupture[k]),
                unit="N/mm2",
                fix="Take less depth, less width or less feed, or use a shorter stickout.",
            )


def _deepest(depth: np.ndarray, feed: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """For each piece of a V cutter the depth of the deepest piece at its feed, mm.

    There the cutter is as wide as its groove, and the feed is meant for that width: a carved line runs out to nothing at
    the same feed.
    """
    out = depth.copy()
    at = np.flatnonzero(rows)
    if len(at):
        order = at[np.argsort(feed[at], kind="stable")]
        first = np.flatnonzero(np.concatenate([[True], np.diff(feed[order]) != 0]))
        sizes = np.diff(np.append(first, len(order)))
        out[order] = np.repeat(np.maximum.reduceat(depth[order], first), sizes)
    return out


RULE = rule(
    __doc__,
    name="chip-too-thick",
    severity="error",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="mm",
)
