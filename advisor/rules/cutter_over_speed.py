"""The spindle turns faster than the mark on the cutter allows.

What it checks
    The programmed spindle speed while a tool is in the spindle and turning, against the max_rpm given for its
    cutter.

Why it matters
    A cutter turned faster than its mark can burst; the parts leave at the speed of its edge.

What it cannot see
    A speed set by hand, and marks that the shop file does not give: those cutters are not checked.

How to mend
    Lower S to the mark or below.

Example
        S24000 M3     with a cutter marked 18000 rpm

Safety
    The mark on the cutter is its maker's limit: never pass it, whatever else the numbers say.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._common import by_speed, mode_flags, tool_name
from advisor.rules.base import rule

NAME = "cutter-over-speed"


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding a speed and the block that sets it."""
    moves = evidence.moves
    over = []
    for mode in moves.modes:
        cutter = evidence.cutter_for(mode)
        mark = None if cutter is None else cutter.max_rpm
        over.append(mode.spindle != "off" and mark is not None and mode.rpm > mark + RULE.tolerance)
    for block, speed, row in by_speed(evidence, mode_flags(evidence, over)):
        mode = evidence.mode(row)
        cutter = evidence.cutter_for(mode)
        if cutter is None or cutter.max_rpm is None:
            continue
        yield Finding(
            rule=NAME,
            block=block,
            message=f"{cutter.name} ({tool_name(mode.tool)}) turns at {speed:g} rpm; it is marked {cutter.max_rpm:g} rpm.",
            measured=speed,
            limit=cutter.max_rpm,
        )


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
