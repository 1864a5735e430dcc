"""A second tool cuts with no word about its length.

What it checks
    Programs that cut with two tools or more: whether, between the change and the first cut, the program gives
    the length (G43, G10, G92), measures it (a probe) or stops for the operator (M0, M1). Also, with one tool
    too, whether the length offset in force is the one of another tool of the program, or another than the
    shop file declares for the tool.

Why it matters
    No two tools stick out equally far. Without the difference the second tool cuts air, or goes that much too
    deep at rapid.

What it cannot see
    Changers and controls that apply the length at M6 by themselves, and operators who set zero anew at M6.

How to mend
    Write G43 H with the tool's number after M6, or M0 with a note to set Z zero anew.

Example
        T2 M6
        M3 S12000
        G0 Z2     with the length of T1

Safety
    Bring each new tool down to a known height above the stock by hand before its first cut.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import feeding
from advisor.rules.base import rule
from grammar.moves import Kind

NAME = "length-offset-missing"


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a tool, at its change."""
    moves = evidence.moves
    cuts = np.flatnonzero(feeding(evidence))
    tools: list[int] = []
    first_cut: dict[int, int] = {}
    for index in np.flatnonzero(np.bincount(moves.mode[cuts])):
        tool = moves.modes[int(index)].tool
        if tool:
            row = int(cuts[int((moves.mode[cuts] == index).argmax())])
            first_cut[tool] = min(row, first_cut.get(tool, row))
    tools = sorted(first_cut, key=lambda t: first_cut[t])
    lengths = _lengths(evidence)
    events = evidence.program.events
    for place, tool in enumerate(tools):
        row = first_cut[tool]
        mode = evidence.mode(row)
        changed = [e for e in events if e.kind == "tool-change" and e.move <= row]
        block = changed[-1].block if changed else int(moves.block[row])
        if mode.length_offset != "G49":
            other = mode.length_number
            wrong = _not_its_own(tool, other, first_cut, lengths)
            if wrong:
                # From where the offset came into force to the first cut with it.
                begin = changed[-1].move if changed else 0
                since = next((r for r in range(begin, row) if evidence.mode(r).length_number == other), row)
                begun = int(moves.block[since])
                yield Finding(
                    rule=NAME,
                    block=begun,
                    end_block=max(begun, int(moves.block[row])),
                    message=f"T{tool} cuts with length offset H{other}, {wrong}.",
                    fix=f"Write G43 H{tool} after the change to T{tool}.",
                )
            continue
        if place == 0:
            continue
        since = changed[-1].move if changed else 0
        helped = any(
            (e.kind == "shift" and (str(e.value).startswith("G10") or e.value == "G92"))
            or e.kind in ("probe", "length-offset")
            or (e.kind == "stop" and e.value in (0, 1, 0.0, 1.0))
            for e in events
            if since <= e.move <= row and e.block >= block
        ) or bool((moves.kind[since:row] == Kind.PROBE).any())
        if not helped:
            yield Finding(
                rule=NAME,
                block=block,
                message=f"T{tool} cuts after the change without a length offset, a measurement or a stop: "
                f"it is taken to be as long as T{tools[place - 1]}.",
            )


def _lengths(evidence: Evidence) -> dict[int, float]:
    """The length offsets the shop file declares, mm, by their number."""
    setting = evidence.setting
    found = {t: c.length_offset for t, c in setting.cutters.items() if c.length_offset is not None}
    found.update({t: length for t, (length, _) in setting.tool_table.items() if length is not None})
    return found


def _not_its_own(tool: int, number: int | None, cutting: dict[int, int], lengths: dict[int, float]) -> str:
    """What is wrong with the offset of another number in force while a tool cuts; nothing where it may be meant."""
    if number is None or number == tool:
        return ""
    if number in cutting:
        return "which is that of another tool of this program"
    if tool not in lengths or lengths.get(number) == lengths[tool]:
        return ""
    if number not in lengths:
        return f"which the shop file does not declare, though it declares that of T{tool}"
    return f"declared {lengths[number] - lengths[tool]:+.1f} mm from that of T{tool}"


RULE = rule(__doc__, name=NAME, severity="warning", group="set-up", check=check, needs=("moves",), positions=False)
