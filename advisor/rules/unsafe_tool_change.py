"""A tool change with the cutter low, the spindle turning, or compensation on.

What it checks
    At each M6, and at each M0 whose block, or a comment beside it, speaks of a tool: the height of the tip above the
    stock's top against 10 mm, whether the spindle was commanded to stop before a change by hand, and whether
    G41 or G42 is in force. The first change, T0, the same tool again, and automatic changers are left out.

Why it matters
    Hands are near the cutter. A turning spindle, or a cutter still among clamps and walls, hurts the operator
    or the work.

What it cannot see
    A spindle stopped by hand. Heights are not judged without stock.

How to mend
    Lift Z well clear (G53 G0 Z0 or a height above the clamps), write M5 and G40, then M6.

Example
        G1 Z-3
        T2 M6     at 3 mm below the top

Safety
    Wait until the spindle stands still, and take the key off, before you reach in.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from advisor.allowances import comments
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._common import feeding, high, mode_before, top
from advisor.rules.base import rule
from grammar.moves import Event

NAME = "unsafe-tool-change"
UNKNOWN_CHANGER = "whether the machine changes tools by itself is not known: give [machine] change, or --machine"
LIFT = 10.0  # mm above the stock's top; common practice, no source
TOOL = re.compile(r"\b(?:tool|cutter|end ?mill|drill|T ?\d+)\b", re.IGNORECASE)
CHANGE = re.compile(r"\b(?:chang\w*|insert|install|load|fit|mount|swap|put|next|set)\b", re.IGNORECASE)


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding a change, with everything that is wrong with it."""
    machine = evidence.setting.machine
    if machine is not None and machine.change == "automatic":
        return
    surface = top(evidence)
    for event, spindle in changes(evidence):
        row = event.move - 1
        if machine is None and event.kind == "tool-change":
            line = evidence.program.line_of(event.block)
            yield NotChecked(NAME, UNKNOWN_CHANGER, "machine", line, line)
            continue
        before = mode_before(evidence, event)
        if row < 0 or before is None:
            continue
        faults, fixes = [], []
        if spindle != "off":
            faults.append("the spindle still turns (no M5 before the change)")
            fixes.append("write M5, and a dwell while the spindle runs down")
        if before.compensation != "G40":
            faults.append(f"{before.compensation} is in force, and the old radius stays in use")
            fixes.append("write G40 with a move away from the part")
        line = evidence.program.line_of(event.block)
        z = evidence.point(row)[2]
        gap: float | None = None
        if surface is None and not high(evidence, row):
            reason = "the height of the cutter above the stock is not known: give [stock] size and zero in the shop file"
            yield NotChecked(NAME, reason, "stock", line, line)
        if surface is not None and not high(evidence, row):
            if z is None:
                reason = "the height of the cutter at the tool change is not known"
                yield NotChecked(NAME, reason, "unknown-position", line, line)
            elif z < surface + LIFT - RULE.tolerance:
                gap = z - surface
                faults.append(f"the tip is {gap:.1f} mm above the stock's top ({LIFT:g} mm are wanted)")
                fixes.append("lift Z first, for example G53 G0 Z0")
        if faults:
            yield Finding(
                rule=NAME,
                block=event.block,
                message=f"At this tool change {'; '.join(faults)}.",
                measured=gap,
                limit=None if gap is None else LIFT,
                at=evidence.point(row),
                fix=f"Before the change: {'; '.join(fixes)}.",
            )


def changes(evidence: Evidence) -> Iterator[tuple[Event, str]]:
    """Changes of tool by hand that matter, each with the direction the spindle turns in ("off" where it stands)."""
    held: float | str | None = None
    seen = False
    spindle = "off"
    turning_row = -1
    cutting = feeding(evidence)
    for event in evidence.program.events:
        if event.move - 1 > turning_row:
            turning_row = event.move - 1
            if turning_row < len(evidence.moves):
                spindle = evidence.mode(turning_row).spindle
        if event.kind == "spindle":
            spindle = str(event.value)
        elif event.kind == "tool-change":
            if event.value in (None, 0, 0.0, "0"):
                continue
            # The first change puts in the tool the program starts with, unless something was cut before it.
            if not seen and bool(cutting[: event.move].any()):
                before = mode_before(evidence, event)
                seen, held = True, None if before is None else before.tool
            if seen and event.value != held:
                yield event, spindle
            seen, held = True, event.value
            spindle = "off"  # M6 stops it
        elif event.kind == "stop" and event.value in (0, 0.0, "0") and _speaks_of_tool(evidence, event):
            yield event, spindle


def _speaks_of_tool(evidence: Evidence, event: Event) -> bool:
    """True where a T word or a comment on the block of a stop names a tool, or one beside it tells to change it."""
    if any(e.block == event.block and e.kind == "tool-select" for e in evidence.program.events):
        return True
    line = evidence.program.line_of(event.block)
    dialect = evidence.setting.checks.dialect
    words = [event.text, *(e.text for e in evidence.program.events if e.block == event.block and e.kind == "message")]
    words += [text for _, text in comments(evidence.text(line), dialect=dialect)]
    if any(TOOL.search(text) for text in words):
        return True
    beside = (evidence.text(at).strip() for at in (line - 1, line + 1))
    spoken = [text for shown in beside if shown[:1] in ("(", ";") for _, text in comments(shown, dialect=dialect)]
    return any(TOOL.search(text) and CHANGE.search(text) for text in spoken)


RULE = rule(__doc__, name=NAME, severity="error", group="set-up", check=check, needs=("moves",), unit="mm")
