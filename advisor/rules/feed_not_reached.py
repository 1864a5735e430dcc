"""The machine cannot reach the programmed feed on much of the path.

What it checks
    Where short moves and tight corners keep the machine below 70 % of the feed for more than a fifth of a tool's
    cutting time, by the machine's accelerations. It is a note; where the chips then fall below the least that cuts, it is
    a warning.

Why it matters
    The chips are thinner than planned and the program takes longer than its feeds say.

What it cannot see
    How far ahead the control really looks, and limits on jerk: real machines are slower still.

How to mend
    Lower the feed and the spindle speed together, or write longer moves (arcs instead of short lines).

Example
        a pocket of 12 mm at F8000 on a machine with 500 mm/s2

Safety
    A slow cut at full spindle speed burns wood: watch the first pass.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.distinct import median
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import runs, told
from advisor.rules.base import rule

SHARE, SLOW = 0.2, 0.7


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """At most one finding a cutter."""
    cuts, along = evidence.cuts, evidence.along
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(along.feed > 0, along.reached / along.feed, 1.0)
        slow = along.cutting & (share < SLOW)
    # On ramps and helices chips are held to the feed they ask for, as in chip-too-thin.
    level = np.asarray(cuts.descent) < 0.01 * np.asarray(cuts.length)
    for index, limit in enumerate(along.limits):
        of_tool = along.cutting & (cuts.cutter == index)
        total, spent = float(np.nansum(along.minutes[of_tool])), float(np.nansum(along.minutes[of_tool & slow]))
        if total <= 0 or spent <= SHARE * total:
            continue
        found = runs(cuts, of_tool & slow, np.where(slow, 1 - share, 0.0), gap=3)
        longest = max(found, key=lambda r: r.length)
        k = longest.worst
        thin = False
        if limit is not None and limit.cutter.form not in ("ball", "drill", "vee"):
            wide = np.clip(2 * np.asarray(cuts.width, dtype=float) / limit.cutter.diameter - 1, 0.0, 1.0)
            least = limit.chip_least * (1 - wide * (1 - limit.slot_chip_factor))
            if limit.metal:
                least = np.maximum(least, 0.4 * limit.edge_radius)
            thin = bool(_middle((along.thickest * share / least)[of_tool & slow & level]) < 1.0)
        yield told(
            "feed-not-reached",
            evidence,
            longest,
            f"For {100 * spent / total:.0f} % of this tool's cutting time the machine stays below 70 % of the feed "
            f"(F{along.feed[k]:.0f}, reached {along.reached[k]:.0f} mm/min at worst)"
            + ("; the chips fall too thin." if thin else "."),
            severity="warning" if thin else "",
            measured=float(100 * share[k]),
            limit=100 * SLOW,
        )


def _middle(chips: np.ndarray) -> float:
    """Median of the chips that are known, against the least; NaN where none is, as on straight plunges."""
    return median(chips[np.isfinite(chips)])


RULE = rule(
    __doc__,
    name="feed-not-reached",
    severity="note",
    group="motion",
    check=check,
    needs=("moves", "engagement", "machine"),
    unit="%",
)
