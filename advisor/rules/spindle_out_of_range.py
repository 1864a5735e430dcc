"""A spindle speed the machine does not have.

What it checks
    The programmed speed while the spindle turns against the machine's slowest and fastest speed.

Why it matters
    The spindle turns at its own limit instead; chip load, heat and the mark on the cutter are then not those
    planned.

What it cannot see
    Gear steps and belts that narrow the range further.

How to mend
    Write a speed the machine has, and lower the feed with it.

Example
        S30000 M3     on a spindle that reaches 24000 rpm

Safety
    A spindle below its slowest speed may stall in the cut and break the cutter.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import by_speed, feeding, mode_flags
from advisor.rules.base import rule

NAME = "spindle-out-of-range"


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a speed and the block that sets it."""
    machine = evidence.setting.machine
    if machine is None:
        return
    moves = evidence.moves
    outside = [
        mode.spindle != "off"
        and mode.rpm > 0
        and (mode.rpm > machine.spindle_max + RULE.tolerance or mode.rpm < machine.spindle_min - RULE.tolerance)
        for mode in moves.modes
    ]
    rows = feeding(evidence) & mode_flags(evidence, outside)
    for block, speed, row in by_speed(evidence, rows):
        fast = speed > machine.spindle_max
        limit = machine.spindle_max if fast else machine.spindle_min
        yield Finding(
            rule=NAME,
            block=block,
            message=f"S{speed:g} is {'above' if fast else 'below'} what the spindle can do: {limit:g} rpm.",
            measured=speed,
            limit=limit,
            at=evidence.point(row),
        )


RULE = rule(
    __doc__,
    name=NAME,
    severity="error",
    group="set-up",
    check=check,
    needs=("moves", "machine"),
    unit="rpm",
    positions=False,
)
