"""The spindle turns faster than the mark on the cutter allows.

What it checks
    The programmed spindle speed while a tool is in the spindle and turning, against the max_rpm given for its
    cutter. Unmarked cutters of more than 25 mm are held to 12000 rpm (common practice, no source): up to 1.5 times
    that a warning, beyond an error. Other cutters without a mark are not checked.

Why it matters
    A cutter turned faster than its mark can burst; the parts leave at the speed of its edge.

What it cannot see
    A speed set by hand, and marks that the shop file does not give.

How to mend
    Lower S to the mark or below.

Example
        S24000 M3     with a cutter marked 18000 rpm

Safety
    The mark on the cutter is its maker's limit: never pass it, whatever else the numbers say.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.limits import MAX_UNMARKED, UNMARKED_DIAMETER
from advisor.rules._common import by_speed, feeding, mode_flags, tool_name
from advisor.rules._motion import graded
from advisor.rules.base import rule
from advisor.values import Cutter

NAME = "cutter-over-speed"


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding a speed and the block that sets it."""
    moves = evidence.moves
    over = []
    for mode in moves.modes:
        most = _most(evidence.cutter_for(mode))
        over.append(mode.spindle != "off" and most is not None and mode.rpm > most + RULE.tolerance)
    for block, speed, row in by_speed(evidence, mode_flags(evidence, over)):
        mode = evidence.mode(row)
        cutter = evidence.cutter_for(mode)
        most = _most(cutter)
        if cutter is None or most is None:
            continue
        marked = cutter.max_rpm is not None
        yield Finding(
            rule=NAME,
            block=block,
            severity="error" if marked else graded(speed, most),
            message=f"{cutter.name} ({tool_name(mode.tool)}) turns at {speed:g} rpm; "
            + (f"it is marked {most:g} rpm." if marked else f"cutters of this size without a mark stay below {most:g} rpm."),
            measured=speed,
            limit=most,
        )
    yield from _unmarked(evidence)


def _most(cutter: Cutter | None) -> float | None:
    """The fastest a cutter may turn, rpm; None where nobody said."""
    if cutter is None or cutter.max_rpm is not None:
        return None if cutter is None else cutter.max_rpm
    return MAX_UNMARKED if cutter.diameter > UNMARKED_DIAMETER else None


def _unmarked(evidence: Evidence) -> Iterator[NotChecked]:
    """Cutters that turn and whose mark is not given, each once."""
    moves = evidence.moves
    turning = [mode.spindle != "off" and mode.rpm > 0 for mode in moves.modes]
    cutters: dict[str, list[bool]] = {}
    for place, mode in enumerate(moves.modes):
        cutter = evidence.cutter_for(mode)
        if turning[place] and cutter is not None and _most(cutter) is None:
            cutters.setdefault(f"{cutter.name} ({tool_name(mode.tool)})", [False] * len(moves.modes))[place] = True
    for name, modes in cutters.items():
        rows = np.flatnonzero(mode_flags(evidence, modes) & feeding(evidence))
        if len(rows):
            lines = evidence.program.block_line[moves.block[rows]]
            reason = f"the top speed marked on {name} is not given: give max_rpm in the shop file"
            yield NotChecked(NAME, reason, "mark", int(lines.min()), int(lines.max()))


RULE = rule(
    __doc__,
    name=NAME,
    severity="error",
    group="set-up",
    check=check,
    needs=("moves", "cutter"),
    unit="rpm",
    positions=False,
)
