"""The cutter goes deeper into material than its cutting edges are long.

What it checks
    Material taken at once deeper than the flute length, and the plain shank above the flutes touching material that
    still stands.

Why it matters
    A shank does not cut. It rubs, burns wood, welds aluminium and pushes the cutter aside until it breaks.

What it cannot see
    A flute length that is not declared, and a neck ground thinner than declared.

How to mend
    Use a longer cutter, cut less deep, or widen the slot so that the shank stays free.

Example
        G1 Z-24         with flutes 20 mm long

Safety
    A longer cutter bends more: ask `feedwright speeds` again with its stickout.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import exact, no_length, per_cutter, piece_cutter, runs, told
from advisor.rules.base import rule

LEAST = 0.05


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each stretch in which the flutes are too short."""
    cuts = evidence.cuts
    flute = per_cutter(cuts, lambda c: np.nan if c.flute_length is None else c.flute_length).astype(float)
    with np.errstate(invalid="ignore"):
        over = np.where(cuts.rapid, 0.0, exact(cuts.depth) - flute)
        deep = over > LEAST
        shank = ~cuts.rapid & (cuts.above_part == 1) & (cuts.above > LEAST)
    excess = np.maximum(np.nan_to_num(over), np.where(shank, cuts.above, 0.0))
    for run in runs(cuts, deep | shank, excess, gap=3):
        length = piece_cutter(cuts, run.worst).flute_length
        reach = round(float(excess[run.worst]), 4)
        yield told(
            "flute-length-exceeded",
            evidence,
            run,
            f"Material stands {reach:.2f} mm higher than the cutting edges reach"
            + (f" (flutes {length:g} mm long)." if length is not None else "."),
            measured=(length or 0.0) + reach,
            limit=length,
        )
    yield from no_length("flute-length-exceeded", evidence, "flute_length")
    low = np.minimum(cuts.start[:, 2], cuts.end[:, 2])
    for index, cutter in enumerate(cuts.placed.cutters):
        if cutter.shank is not None or cutter.flute_length is None:
            continue
        reach = cutter.flute_length
        rows = np.flatnonzero((cuts.cutter == index) & ~cuts.rapid & (low + reach < cuts.placed.top - LEAST))
        if len(rows):
            lines = evidence.program.block_line[cuts.block[rows[[0, -1]]]]
            reason = f"the shank of {cutter.name}, which goes below the stock's top here, is not described: give shank"
            yield NotChecked("flute-length-exceeded", reason, "shank", int(min(lines)), int(max(lines)))


RULE = rule(
    __doc__,
    name="flute-length-exceeded",
    severity="error",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="mm",
    least=LEAST,
)
