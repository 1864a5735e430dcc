"""The program starts, goes on after a change of tool by hand, or ends with the cutter where it may hit something.

What it checks
    From the start, where the position is not known: whether Z is lifted clear of the work before X or Y move,
    whether the first Z goes down before X and Y are over the work, and whether the first move is incremental.
    After a tool change by hand: the same where the tip, as far as the two stickouts tell, may be lower than the
    work. At the end: whether the cutter is left clear of the work. A first move of Z by G28 or G53, an
    automatic changer, and a declared start position are left out.

Why it matters
    The cutter stands wherever the operator left it. The first rapid then goes straight through clamps or work.

What it cannot see
    Where the machine really stands, and clamps not declared.

How to mend
    Begin with G53 G0 Z0 or G0 Z to a height above the clamps, then X and Y, then down; end with a lift.

Example
        G0 X20 Y20
        G0 Z5     X and Y first, at an unknown height

Safety
    Run the first three moves with rapid override low and a hand on the stop.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.columns import any_of
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._common import feeding, first_code, high, top
from advisor.rules.base import rule
from advisor.rules.unsafe_tool_change import UNKNOWN_CHANGER, changes
from grammar.moves import Flag, Kind

NAME = "first-move-unsafe"
CLEAR = 1.0  # mm above the stock's top; common practice, no source


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """At most one finding for the start, one a change of tool, one for the end."""
    if evidence.setting.fragment:
        return
    given = evidence.setting.start.get("position")
    if not given or any(v is None for v in tuple(given)[:3]):
        block = _incremental(evidence)
        if block is not None:
            yield Finding(
                rule=NAME,
                block=block,
                message="The first move is incremental (G91) from wherever the machine stands.",
                fix="Write G90 and a first move of Z to a height above the clamps.",
            )
        else:
            yield from _start(evidence)
    machine = evidence.setting.machine
    if machine is not None and machine.change != "automatic":
        yield from _changes(evidence)
    yield from _end(evidence)


def _incremental(evidence: Evidence) -> int | None:
    """The block of the first motion code where G91 is in force there, else None."""
    first = first_code(evidence, "G0", "G1", "G2", "G3")
    relative, absolute = first_code(evidence, "G91"), first_code(evidence, "G90")
    if first is None or relative is None or relative > first:
        return None
    rows = np.flatnonzero(evidence.moves.block == first)
    if len(rows):
        row = int(rows[0])
        loose = evidence.mode(row).distance == "G91" and not _known(evidence, row)
        return first if loose and not _lift(evidence, row) else None
    return None if absolute is not None and relative <= absolute <= first else first


def _known(evidence: Evidence, row: int) -> bool:
    """True where the whole position before a move is known."""
    return bool(np.isfinite(evidence.moves.start[row]).all())


def _lift(evidence: Evidence, row: int) -> bool:
    """True for a move straight up from a height that is known, as after a touch plate."""
    start, end = evidence.moves.start[row], evidence.moves.end[row]
    return bool(end[2] > start[2]) and not any(_moved(evidence, row)[:2])


def _moved(evidence: Evidence, row: int) -> tuple[bool, bool, bool]:
    """Which axes a move changes, or may change."""
    start, end = evidence.moves.start[row], evidence.moves.end[row]
    x, y, z = (bool(np.isfinite(b) and a != b) for a, b in zip(start, end, strict=True))
    lifts = bool(int(evidence.moves.flags[row]) & (Flag.HIGH_Z | Flag.HOME))
    return x, y, z or lifts


def _start(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """The first moves; nothing where an automatic changer has just left Z at its own height."""
    moves, machine = evidence.moves, evidence.setting.machine
    surface = top(evidence)
    across = np.flatnonzero((moves.kind != Kind.DWELL) & any_of(np.isfinite(moves.end[:, :2])))
    changed = [
        event
        for event in evidence.program.events
        if event.kind == "tool-change" and len(across) and event.move <= int(across[0])
    ]
    if changed and machine is None:
        ends = evidence.program.line_of(changed[0].block), evidence.line(int(across[0]))
        yield NotChecked(NAME, UNKNOWN_CHANGER, "machine", min(ends), max(ends))
        return
    if changed and machine is not None and machine.change == "automatic":
        return
    placed = [False, False]
    for row in range(min(len(moves), 50)):
        if moves.kind[row] in (Kind.DWELL, Kind.PROBE):  # a probe is meant to touch, where the operator put it
            continue
        flags = int(moves.flags[row])
        x, y, z = _moved(evidence, row)
        if flags & (Flag.HIGH_Z | Flag.HOME):
            return
        if flags & Flag.MACHINE and z and not (x or y):
            return
        if not np.isfinite(moves.end[row]).any():
            continue
        if (x or y) and z:
            yield Finding(
                rule=NAME,
                block=int(moves.block[row]),
                message="The first move takes Z and X or Y together from an unknown height: nothing was lifted before.",
                at=evidence.point(row),
            )
            return
        if x or y:
            yield Finding(
                rule=NAME,
                block=int(moves.block[row]),
                message="X and Y move before Z was lifted clear: the height of the cutter is not known here.",
                at=evidence.point(row),
            )
            return
        if z:
            height = evidence.point(row)[2]
            if surface is None and height is not None:
                line = evidence.line(row)
                reason = "whether Z goes clear of the work is not known: give [stock] size and zero in the shop file"
                yield NotChecked(NAME, reason, "stock", line, line)
            if surface is None or height is None or height >= surface + CLEAR - RULE.tolerance:
                return
            if not all(placed):
                yield Finding(
                    rule=NAME,
                    block=int(moves.block[row]),
                    message=f"Z goes to {_beside(height - surface)} the stock's top before X and Y are in place.",
                    measured=height - surface,
                    limit=CLEAR,
                    at=evidence.point(row),
                )
            return


def _changes(evidence: Evidence) -> Iterator[Finding]:
    """X or Y first after a change of tool by hand, with a tip that may be lower than the work."""
    moves = evidence.moves
    surface = top(evidence)
    if surface is None:
        return
    for event, _ in changes(evidence):
        before = event.move - 1
        if before < 0 or high(evidence, before):
            continue
        z = evidence.point(before)[2]
        if z is None:
            continue
        for row in range(event.move, len(moves)):
            if moves.kind[row] == Kind.DWELL:
                continue
            x, y, lifted = _moved(evidence, row)
            if not (x or y) or lifted:
                break
            old = evidence.cutter_for(evidence.mode(before))
            new = evidence.cutter_for(evidence.mode(row))
            longer = 0.0
            if old is not None and new is not None and old.stickout is not None and new.stickout is not None:
                longer = new.stickout - old.stickout
            if evidence.mode(row).length_offset != "G49":
                longer = 0.0
            if z - longer < surface + CLEAR:
                yield Finding(
                    rule=NAME,
                    block=int(moves.block[row]),
                    message="X and Y move first after the tool change, with the cutter "
                    f"{_beside(z - longer - surface)} the stock's top as far as the stickouts tell.",
                    measured=z - longer - surface,
                    limit=CLEAR,
                    at=evidence.point(row),
                )
            break


def _beside(height: float) -> str:
    """A height in words: "2.0 mm above", "3.5 mm below"."""
    return f"{abs(height):.1f} mm {'above' if height >= 0 else 'below'}"


def _end(evidence: Evidence) -> Iterator[Finding]:
    """A program that leaves the cutter in or just above the work."""
    moves = evidence.moves
    real = np.flatnonzero(moves.kind != Kind.DWELL)
    if not len(real):
        return
    row = int(real[-1])
    if high(evidence, row) or int(moves.flags[row]) & Flag.HOME:
        return
    z = evidence.point(row)[2]
    surface = top(evidence)
    cuts = feeding(evidence)
    if surface is None:
        still = bool(cuts[row]) and not _moved(evidence, row)[2]
        if still:
            yield Finding(
                rule=NAME,
                block=int(moves.block[row]),
                message="The program ends on a cut: the cutter is not lifted.",
                at=evidence.point(row),
            )
    elif z is not None and z < surface + CLEAR - RULE.tolerance and cuts.any():
        yield Finding(
            rule=NAME,
            block=int(moves.block[row]),
            message=f"The program leaves the cutter {_beside(z - surface)} the stock's top.",
            measured=z - surface,
            limit=CLEAR,
            at=evidence.point(row),
            fix="End with G0 Z to a height above the clamps, or G53 G0 Z0.",
        )


RULE = rule(__doc__, name=NAME, severity="warning", group="set-up", check=check, unit="mm", positions=True)
