"""A rapid that passes too close above material or a keep-out.

What it checks
    Rapids across the stock over at least half a cutter diameter: the gap between the cutter and what stands under
    it. Wanted are 1 mm over metal, 2 mm over anything else (or the measured spread of the thickness plus 1 mm where
    that is more), 5 mm over keep-outs. Rapids straight down must end at least 0.5 mm above uncut material.
    Retracts, gaps beside walls and the way back down into a drilled hole are left out (common practice, no source).

Why it matters
    Boards bow, stock is thicker than its name, chips lie on top: a small gap becomes a contact at rapid speed.

What it cannot see
    Bow, chips, and clamps that are not declared as keep-outs.

How to mend
    Raise the clearance height of the program.

Example
        G0 Z0.3
        G0 X250         0.3 mm above a board that may be bowed

Safety
    Run the first pass in air above the work, rapid override low, a hand on the stop.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._motion import METAL, exact, family, per_cutter, recurring, runs, spread, told
from advisor.rules.base import merge_runs, rule
from advisor.rules.rapid_into_stock import touching
from grammar.moves import Flag

DOWN = 0.5  # mm above uncut material at the end of a rapid down
OVER_KEEPOUT = 5.0


def check(evidence: Evidence) -> Iterator[Finding]:
    """Lateral rapids too low, rapids down that end too low, rapids over keep-outs."""
    cuts = evidence.cuts
    usual = 1.0 if family(evidence) in METAL else max(2.0, spread(evidence) + 1.0)
    least = evidence.option("rapid-clearance", "least", usual)
    touched = np.zeros(len(evidence.moves) + 1, dtype=bool)
    touched[cuts.row[touching(cuts)]] = True
    free = cuts.rapid & ~touched[cuts.row]
    diameter = per_cutter(cuts, lambda c: c.diameter).astype(float)
    gap = exact(cuts.clearance)
    rising = cuts.end[:, 2] > cuts.start[:, 2] + 1e-6
    with np.errstate(invalid="ignore"):
        low = free & (cuts.run > 0) & (gap < least - 1e-6) & (gap > -0.05) & ~(rising & (cuts.run < 0.5 * diameter))
    across = np.bincount(cuts.row[low], weights=cuts.run[low], minlength=len(evidence.moves) + 1)
    low &= across[cuts.row] >= 0.5 * diameter
    with np.errstate(invalid="ignore"):
        sound = free & (cuts.run > 0) & ~rising & np.isfinite(gap) & (gap >= least - 1e-6)
    found = runs(cuts, low, -gap, gap=1)
    for run in recurring(evidence, "rapid-clearance", found, sound=sound, excess=-gap):
        measured = max(0.0, float(gap[run.worst]))
        yield told(
            "rapid-clearance",
            evidence,
            run,
            f"A rapid passes {measured:.2f} mm above the stock; {least:.2f} mm are wanted.",
            measured=measured,
            limit=least,
        )
    peck = (cuts.placed.flags[cuts.row] & Flag.PECK) != 0
    end_gap = exact(cuts.end_clearance)
    with np.errstate(invalid="ignore"):
        uncut = np.abs(cuts.end[:, 2] - end_gap - cuts.placed.top) < 0.02
        down = free & ~peck & uncut & (end_gap > -0.05) & (cuts.end[:, 2] < cuts.start[:, 2])
        short = down & (end_gap < DOWN - 1e-6)
    # Only the end of a rapid counts: one whose last piece ends low is not sound on its way.
    ends_low = np.bincount(cuts.row[short], minlength=len(evidence.moves) + 1) > 0
    found = runs(cuts, short, -end_gap, gap=0)
    sound = down & ~ends_low[cuts.row]
    for run in recurring(evidence, "rapid-clearance", found, sound=sound, excess=-end_gap):
        measured = max(0.0, float(end_gap[run.worst]))
        yield told(
            "rapid-clearance",
            evidence,
            run,
            f"A rapid down ends {measured:.2f} mm above uncut stock; {DOWN} mm are wanted.",
            measured=measured,
            limit=DOWN,
            fix="End the rapid higher and go the rest at the plunge feed.",
        )
    close = [t for t in cuts.keepouts if t.depth <= 0 and round(t.gap, 4) < OVER_KEEPOUT - 1e-6]
    close.sort(key=lambda t: (t.keepout, t.row, t.piece))
    for some in merge_runs(
        [int(cuts.placed.block[t.row]) for t in close], [-t.gap for t in close], keys=[t.keepout for t in close], gap=1
    ):
        touch = close[some.worst]
        name = evidence.setting.hold.keepouts[touch.keepout].name
        yield Finding(
            rule="rapid-clearance",
            message=f"A rapid passes {touch.gap:.2f} mm above the keep-out {name!r}; {OVER_KEEPOUT:g} mm are wanted.",
            block=int(cuts.placed.block[close[some.first].row]),
            end_block=int(cuts.placed.block[close[some.last].row]),
            measured=round(touch.gap, 4),
            limit=OVER_KEEPOUT,
            at=touch.at,
        )


RULE = rule(
    __doc__,
    name="rapid-clearance",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="mm",
    options={"least": 2.0},
)
