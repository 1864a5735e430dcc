"""A tool cuts and the shop file does not say what it is.

What it checks
    Each T number that moves at feed against the cutters given.

Why it matters
    Without the cutter nothing can be said about depth, chips, force, or what the shank and holder touch.

What it cannot see
    Anything about the cuts of this tool.

How to mend
    Give a [[cutter]] with this T number in the shop file, or --cutter T=NAME.

Example
        T7 M6     and no [[cutter]] with tool = 7

Safety
    Compare the tool in the spindle with the programmer's list by hand.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import feeding, mode_flags
from advisor.rules.base import rule

NAME = "cutter-unknown"


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a tool, at its first cut."""
    moves = evidence.moves
    for tool, _, _ in evidence.unknown_cutters:
        rows = feeding(evidence) & mode_flags(evidence, [mode.tool == tool for mode in moves.modes])
        name = "The tool in the spindle is never named by the program" if tool is None else f"T{tool} is not described"
        lack = f"no cutter is given: [[cutter]] with tool = {tool}, or --cutter {tool}=NAME"
        if tool is None:
            lack = "no cutter is given: --cutter NAME"
            if evidence.setting.cutters:
                lack = "nothing says which of the shop file's cutters it is: [start] tool, or --cutter NAME"
        yield Finding(
            rule=NAME,
            block=int(moves.block[int(rows.argmax())]),
            message=f"{name}, and {lack}.",
            fix="Give --cutter NAME, or in the shop file a [[cutter]] and its number as [start] tool." if tool is None else "",
        )


RULE = rule(__doc__, name=NAME, severity="note", group="set-up", check=check, needs=("moves",), positions=False)
