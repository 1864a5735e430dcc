"""A rapid that runs through material.

What it checks
    Every rapid, G0 and the rapids inside cycles and returns to reference, along its straight line: whether the
    cutter meets material that is still standing. Contact less deep than 0.05 mm, or less far under the cutter than
    one cell of the stock model, is left out: finished walls are touched like that.

Why it matters
    At rapid speed nothing limits the chip. The cutter breaks, the work tears loose, or the spindle is pushed.

What it cannot see
    Clamps and screws that are not declared as keep-outs, stock that is higher than declared, and a position that
    depends on a block that could not be read.

How to mend
    Lift Z clear of the stock before moving across, or make the move a feed move.

Example
        G0 X120 Y40      with Z still at -6

Safety
    Keep a hand on the stop at the first run, rapid override low, and stay out of the line a broken cutter flies.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._motion import runs, told
from advisor.rules.base import rule

LEAST = 0.05  # mm deep


def touching(cuts: Any) -> NDArray[np.bool_]:
    """Pieces of rapids in contact with material that count.

    A rapid straight up meets nothing new: where the model still holds material there, the cut that brought the cutter
    down could not be followed, and that is told.
    """
    up = (cuts.run == 0) & (cuts.end[:, 2] >= cuts.start[:, 2])
    return np.asarray(cuts.rapid & ~up & (cuts.depth > LEAST) & (cuts.inset > cuts.cell))


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding for each stretch of rapids through stock."""
    cuts = evidence.cuts
    for run in runs(cuts, touching(cuts), np.asarray(cuts.depth, dtype=float), gap=1):
        depth = float(cuts.depth[run.worst])
        low = float(min(cuts.start[run.worst, 2], cuts.end[run.worst, 2]))
        across = float(cuts.run[run.worst]) > 0
        how = "across" if across else "down"
        fix = (
            "Lift Z clear of the stock before this move; is a retract missing, or a sign lost?"
            if across
            else "End the rapid above the stock and go on at the plunge feed."
        )
        yield told(
            "rapid-into-stock",
            evidence,
            run,
            f"A rapid goes {how} through stock: {depth:.2f} mm of material stand in its way, the tip at Z {low:.2f} "
            f"of the stock ({cuts.placed.top - low:.2f} mm below its top).",
            measured=depth,
            limit=0.0,
            fix=fix,
        )


RULE = rule(
    __doc__,
    name="rapid-into-stock",
    severity="error",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="mm",
    least=LEAST,
)
