"""A return to reference from below the stock's top without lifting first.

What it checks
    G28 and G30 that do not lift Z before the other axes move, while the tip is below the top of the stock.
    Without stock: right after a cut.

Why it matters
    All axes leave together: the cutter is dragged through the work on a straight or bent line at rapid.

What it cannot see
    Controls that lift Z first by themselves.

How to mend
    Write G53 G0 Z0, or G91 G28 Z0 and G90, before the return of X and Y.

Example
        G1 Z-3 X40
        G28     from 3 mm below the top

Safety
    Keep a hand on the stop whenever a return to reference starts near the work.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._common import feeding, high, top
from advisor.rules.base import rule
from grammar.moves import Flag

NAME = "unsafe-home"


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding a return."""
    moves = evidence.moves
    surface = top(evidence)
    last = -1
    for found in np.flatnonzero(moves.flags & Flag.BARE_HOME):
        row = int(found)
        if int(moves.block[row]) == last:
            continue
        last = int(moves.block[row])
        if row == 0 or high(evidence, row - 1):
            continue
        z = evidence.point(row - 1)[2]
        line = evidence.line(row)
        if z is None:
            yield NotChecked(NAME, "the height of the cutter is not known", "unknown-position", line, line)
        elif surface is None:
            if feeding(evidence)[row - 1] and not moves.end[row - 1, 2] > moves.start[row - 1, 2]:
                yield Finding(
                    rule=NAME,
                    block=last,
                    message="All axes return to reference right after a cut: Z is not lifted first.",
                    at=evidence.point(row - 1),
                )
            else:
                reason = "whether the cutter is above the stock is not known: give [stock] size and zero in the shop file"
                yield NotChecked(NAME, reason, "stock", line, line)
        elif z < surface - RULE.tolerance:
            yield Finding(
                rule=NAME,
                block=last,
                message=f"All axes return to reference from {surface - z:.1f} mm below the stock's top.",
                measured=surface - z,
                limit=0.0,
                at=evidence.point(row - 1),
            )


RULE = rule(__doc__, name=NAME, severity="error", group="reading", check=check, unit="mm", positions=True)
