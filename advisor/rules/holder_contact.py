"""Holder, nut or spindle nose touch material that still stands.

What it checks
    On every move, whether the holder or the spindle nose (or dust shoe) comes down on remaining material. Where a cutter
    goes deeper below the stock's top than it sticks out and its holder is not described, the rule is not checked.

Why it matters
    A holder does not cut: it hammers the work, tears it loose and marks or bends the spindle.

What it cannot see
    The shape of a holder that is not declared (holder_diameter, holder_length), clamps that are no keep-outs.

How to mend
    More stickout, a longer cutter, or clear the material beside the deep place first.

Example
        a 40 mm deep pocket with 25 mm of stickout

Safety
    More stickout makes the cutter bend more: ask `feedwright speeds` again with the new stickout.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import no_length, runs, told
from advisor.rules.base import rule

LEAST = 0.05
PARTS = {2: "holder", 3: "spindle nose"}


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each stretch of contact."""
    cuts = evidence.cuts
    touching = (cuts.above_part >= 2) & (cuts.above > LEAST)
    for run in runs(cuts, touching, np.asarray(cuts.above, dtype=float), gap=3):
        k = run.worst
        yield told(
            "holder-contact",
            evidence,
            run,
            f"The {PARTS.get(int(cuts.above_part[k]), 'holder')} comes {cuts.above[k]:.2f} mm into material that still stands.",
            measured=float(cuts.above[k]),
            limit=0.0,
        )
    yield from no_length("holder-contact", evidence, "stickout")
    yield from _unseen(evidence)


def _unseen(evidence: Evidence) -> Iterator[NotChecked]:
    """Cutters that go deeper than they stick out while nobody said what is above them."""
    cuts, machine = evidence.cuts, evidence.setting.machine
    low = np.minimum(cuts.start[:, 2], cuts.end[:, 2])
    for index, cutter in enumerate(cuts.placed.cutters):
        if cutter.stickout is None:
            continue
        needs: list[tuple[float, str]] = []
        if cutter.holder_diameter is None:
            needs.append((cutter.stickout, f"the holder of {cutter.name} is not described: give holder_diameter"))
        elif cutter.holder_length is not None and (machine is None or machine.nose_diameter is None):
            reach = cutter.stickout + cutter.holder_length
            needs.append((reach, f"what is above the holder of {cutter.name} is not described: give [machine] nose_diameter"))
        for reach, reason in needs:
            rows = np.flatnonzero((cuts.cutter == index) & (low + reach < cuts.placed.top - LEAST))
            if len(rows):
                lines = evidence.program.block_line[cuts.block[rows[[0, -1]]]]
                yield NotChecked("holder-contact", reason, "holder", int(min(lines)), int(max(lines)))


RULE = rule(
    __doc__,
    name="holder-contact",
    severity="error",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="mm",
    least=LEAST,
)
