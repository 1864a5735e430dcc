"""A material that needs coolant or air is cut dry.

What it checks
    Cuts in aluminium, titanium and stainless steel while neither M7 nor M8 is in force. Machines whose shop
    file says they blow air at the cutter (chip_clearing with air) are left out.

Why it matters
    Chips that stay in the cut weld to the edge, are cut again, and break the cutter.

What it cannot see
    Air or coolant turned on by hand.

How to mend
    Write M8 (or M7) before the first cut of the tool, or say [machine] chip_clearing = ["air"] where air always
    blows.

Example
        G1 X50 F300     in aluminium, with no M7 or M8 before

Safety
    Don't clear chips with a hand or a brush while the spindle turns.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import mode_flags, span, tool_name, touching
from advisor.rules.base import rule

NAME = "no-chip-clearing"
FAMILIES = frozenset({"aluminium", "titanium"})  # common practice, no source


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a tool, at its first dry cut."""
    material, machine = evidence.setting.material, evidence.setting.machine
    if material is None or (material.family not in FAMILIES and "stainless" not in material.name):
        return
    if machine is not None and "air" in machine.chip_clearing:
        return
    moves = evidence.moves
    dry = touching(evidence) & mode_flags(evidence, [not (mode.mist or mode.flood) for mode in moves.modes])
    for tool in sorted({mode.tool for mode in moves.modes}, key=lambda t: (t is None, t or 0)):
        rows = dry & mode_flags(evidence, [mode.tool == tool for mode in moves.modes])
        if rows.any():
            row = int(rows.argmax())
            name = tool_name(tool)
            yield span(
                evidence,
                NAME,
                row,
                row,
                row,
                f"{name[0].upper()}{name[1:]} cuts {material.title} without coolant or air.",
            )


RULE = rule(__doc__, name=NAME, severity="warning", group="set-up", check=check, needs=("moves", "material"))
