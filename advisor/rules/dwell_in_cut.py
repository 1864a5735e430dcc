"""The cutter stands turning against material.

What it checks
    Dwells and program stops while the spindle turns and the cutter touches material: more than 0.2 s in wood and
    plastics, 1 s in metal; a program stop always. Dwells of drilling cycles up to three turns or 0.5 s are left out
    (common practice, no source). A dwell of a minute and more is asked about: some controls count milliseconds.

Why it matters
    A cutter that turns on one spot burns wood, melts plastics and hardens steel.

What it cannot see
    A hold pressed by the operator.

How to mend
    Retract before the dwell or the stop.

Example
        G1 Z-6
        G4 P2

Safety
    Burnt dust can smoulder for hours in the extraction.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import METAL, allowed_lines, family, places_told, series
from advisor.rules.base import rule
from grammar.moves import Flag, Kind

MOST, METAL_MOST = 0.2, 1.0  # s; common practice, no source
TURNS = 3.0  # of a drill at the bottom of its hole; common practice, no source
MILLISECONDS = 60.0  # s; nobody waits that long in a cut: a number meant as milliseconds (estimate, no source)


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for the dwells in contact that follow each other, one for each stop in contact."""
    cuts, placed = evidence.cuts, evidence.placed
    material = family(evidence)
    least = METAL_MOST if material in METAL else MOST
    unjudged: list[int] = []
    judged: list[tuple[object, tuple[float, int]] | None] = []
    permitted = allowed_lines(evidence, "dwell-in-cut")
    moving = np.flatnonzero((placed.kind != Kind.DWELL) & ~(evidence.lengths == 0))

    def contact(row: int) -> bool:
        """Whether the tool stands in material when everything before ``row`` is done."""
        k = int(np.searchsorted(moving, row)) - 1
        if k < 0 or placed.kind[moving[k]] not in (Kind.FEED, Kind.ARC):
            return False
        pieces = cuts.of_move(int(moving[k]))
        if pieces.stop <= pieces.start:
            return False
        last = pieces.stop - 1
        # where a circle closes, its last tenths of a diameter are free: half a diameter is looked at
        back = np.cumsum(cuts.length[pieces][::-1]) - cuts.length[pieces][::-1]
        near = slice(pieces.stop - int(np.count_nonzero(back < cuts.radius[last] - 1e-3)), pieces.stop)
        return bool((cuts.volume[near] > 0).any() and cuts.end[last, 2] <= cuts.start[last, 2] + 1e-6)

    def in_cycle(row: int) -> bool:
        """Whether a dwell is that of a canned cycle: the move before it is one, of the same block."""
        k = int(np.searchsorted(moving, row)) - 1
        return k >= 0 and bool(placed.flags[moving[k]] & Flag.CYCLE) and placed.block[moving[k]] == placed.block[row]

    for row in np.flatnonzero(placed.kind == Kind.DWELL).tolist():
        mode = evidence.mode(row)
        seconds = round(float(placed.moves.minutes[row]) * 60, 6)
        if mode.spindle == "off" or not contact(row):
            continue
        short = in_cycle(row) and seconds <= max(0.5, TURNS * 60.0 / max(mode.rpm, 1.0)) + 1e-6
        if not seconds > least + 1e-6 or short:
            judged.append(None)
            continue
        if not material and seconds <= METAL_MOST + 1e-6:
            unjudged.append(evidence.line(row))
            continue
        line = evidence.line(row)
        judged.append((line if line in permitted else 0, (seconds, row)))
    for group in series(judged):
        seconds, row = max(group, key=lambda dwell: dwell[0])
        first, last = (int(placed.block[dwell[1]]) for dwell in (group[0], group[-1]))
        long = seconds >= MILLISECONDS
        yield Finding(
            rule="dwell-in-cut",
            message=f"The cutter stands {round(seconds, 2):g} s turning against material; {least:g} s are the most."
            + (" Is P meant in milliseconds? It counts seconds here." if long else "")
            + (places_told(evidence, len(group), last, int(placed.block[row])) if len(group) > 1 else ""),
            block=first,
            end_block=max(first, last),
            measured=seconds,
            limit=least,
            at=evidence.point(row),
            fix="Retract before the dwell, and write P in seconds." if long else "",
        )
    if unjudged:
        reason = "no material is given: give [stock] material or --material"
        yield NotChecked("dwell-in-cut", reason, "material", min(unjudged), max(unjudged))
    turning: tuple[int, str] = (-1, "off")
    for event in evidence.program.events:
        if event.kind == "spindle":
            turning = (event.move, str(event.value))
        elif event.kind == "tool-change":
            turning = (event.move, "off")  # M6 stops the spindle
        if event.kind != "stop" or event.value not in (0, 1, 60, "0", "1", "60") or event.move == 0:
            continue
        before = min(event.move, len(placed)) - 1
        # M5 after the last move, in a block before or in this one, comes before the stop.
        spindle = turning[1] if turning[0] == event.move else evidence.mode(before).spindle
        if spindle != "off" and contact(event.move):
            yield Finding(
                rule="dwell-in-cut",
                message="The program stops here with the cutter turning against material.",
                block=event.block,
                fix="Retract before the stop.",
                at=evidence.point(before),
            )


RULE = rule(
    __doc__,
    name="dwell-in-cut",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="s",
)
