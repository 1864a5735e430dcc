"""The spindle turns counterclockwise in the cut.

What it checks
    Cuts made while M4 is in force. Tapping is left out.

Why it matters
    Ordinary cutters are right-handed: turned backward they rub with the back of the edge, burn the work and
    break.

What it cannot see
    Left-handed cutters; allow the finding for them.

How to mend
    Write M3 instead of M4.

Example
        S16000 M4     then G1 Z-3

Safety
    Look at the spindle's direction from above before the first cut: clockwise for right-handed cutters.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import mode_flags, runs_of, said_at, tool_name, touching
from advisor.rules.base import rule
from grammar.moves import Flag

NAME = "spindle-wrong-way"


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a stretch of cuts."""
    moves = evidence.moves
    backward = mode_flags(evidence, [mode.spindle == "ccw" for mode in moves.modes])
    rows = touching(evidence) & backward & ((moves.flags & (Flag.TAP | Flag.BORE)) == 0)
    for first, _, _ in runs_of(evidence, rows, np.zeros(len(moves)), through=backward, same_mode=False):
        tool = tool_name(evidence.mode(first).tool)
        yield Finding(
            rule=NAME,
            block=said_at(evidence, first, "spindle"),
            message=f"M4 turns the spindle backward while {tool} cuts (first at line {evidence.line(first)}).",
            at=evidence.point(first),
        )


RULE = rule(__doc__, name=NAME, severity="error", group="set-up", check=check, needs=("moves",))
