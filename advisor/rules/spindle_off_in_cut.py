r"""A cut with the spindle standing still.

What it checks
    Moves at feed that remove material (without stock: any move at feed) while the spindle is off or at speed
    zero, after the program itself started, stopped or changed something: M3, M5, M6 or S0. A program that holds
    no spindle start at all is told once, as a note: there the spindle may be started by hand; nothing is told
    where the shop file says spindle_start = hand.

Why it matters
    A cutter that does not turn is pushed into the work: it breaks, or pushes the work out of its clamps.

What it cannot see
    A spindle that was started, or stopped, by hand.

How to mend
    Write S and M3 before the first cut, and again after every M6 or M5.

Example
        T2 M6\nG0 X10 Y10\nG1 Z-3 F600     M6 stopped the spindle

Safety
    Watch the spindle turn before the cutter goes down, with a hand on the stop.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import feeding, first_code, mode_flags, runs_of, span, tool_name, touching
from advisor.rules.base import rule
from grammar.moves import Kind

NAME = "spindle-off-in-cut"
STARTS = ("M3", "M4", "M13", "M14")


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a stretch of cuts with the spindle off; one note where the program never starts it."""
    moves = evidence.moves
    machine = evidence.setting.machine
    by_hand = machine is not None and machine.spindle_start in ("hand", "interlock")
    rows = touching(evidence)
    if not rows.any():
        return
    if first_code(evidence, *STARTS) is None:
        if not by_hand and not evidence.setting.fragment:
            row = int(rows.argmax())
            yield span(
                evidence,
                NAME,
                row,
                row,
                row,
                "The program never starts the spindle (no M3): it must be started by hand.",
                severity="note",
                fix="Write S and M3 before the first cut, or say [machine] spindle_start = hand in the shop file.",
            )
        return
    speed_given = "S" in evidence.program.letters or evidence.program.moves.modes[0].rpm > 0
    still = mode_flags(evidence, [mode.spindle == "off" or (mode.rpm == 0 and speed_given) for mode in moves.modes])
    through = still & (~feeding(evidence) | ~rows) & (moves.kind != Kind.DWELL)
    for first, last, worst in runs_of(evidence, rows & still, np.zeros(len(moves)), through=through, same_mode=False):
        mode = evidence.mode(first)
        name = tool_name(mode.tool)
        state = "stands still" if mode.spindle == "off" else "turns at speed zero (S0)"
        yield span(evidence, NAME, first, last, worst, f"{name[0].upper()}{name[1:]} cuts while the spindle {state}.")


RULE = rule(__doc__, name=NAME, severity="error", group="set-up", check=check, needs=("moves",))
