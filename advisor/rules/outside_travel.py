"""A move that leaves the machine's travel.

What it checks
    Every move, arcs along their whole way, in machine coordinates against the travel of each axis. Where the
    shop file does not say where program zero sits on the machine ([offsets]), only the span of the motion is
    compared with the length of each axis, and the rest is not checked; where it says so for other work offsets
    than the program cuts in, that is a warning.

Why it matters
    The machine stops at its limit switch in the middle of the cut, or loses its position against the end stop.

What it cannot see
    Where the stock is really clamped, if it differs from [offsets].

How to mend
    Move the stock or program zero, turn the part, or correct the coordinate: a nought too many or a lost
    decimal point looks like this.

Example
        G1 X2760     on an axis of 1200 mm

Safety
    Trace the outline in air, above the clamps, before the first cut.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._common import events_of, feeding, runs_of, span
from advisor.rules.base import rule

NAME = "outside-travel"


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding a stretch of moves beyond one end of one axis; not checked where only spans could be compared."""
    machine = evidence.setting.machine
    if machine is None or not machine.travel:
        return
    moves = evidence.moves
    low, high = evidence.boxes
    if moves.machine_shift is not None:
        low, high = low + moves.machine_shift, high + moves.machine_shift
    systems = evidence.setting.offsets
    placed = np.array([frame.known and frame.system in systems for frame in moves.frames], dtype=bool)[moves.frame]
    known = np.array([frame.known for frame in moves.frames], dtype=bool)[moves.frame]
    unplaced = np.flatnonzero(~placed & known & np.isfinite(low).any(axis=1))
    if len(unplaced):
        lines = evidence.program.block_line[moves.block[unplaced]]
        missing = sorted({moves.frames[int(f)].system for f in np.unique(moves.frame[unplaced])})
        reason = (
            f"where the zero of {', '.join(missing)} sits on the machine is not given, so only spans were compared with "
            "the travel: give [offsets] in the shop file"
        )
        yield NotChecked(NAME, reason, "offsets", int(lines.min()), int(lines.max()))
        yield from _undeclared(evidence, unplaced)
    loose = _zeroed(evidence)
    adrift = np.flatnonzero((loose & np.isfinite(low)).any(axis=1))
    if len(adrift):
        lines = evidence.program.block_line[moves.block[adrift]]
        axes = ", ".join("XYZ"[axis] for axis in np.flatnonzero(loose.any(axis=0)))
        reason = (
            f"the program zeroes {axes} where the machine stands (G92, G10 L20): only it knows where that is, no shop file, so "
            "only spans were compared with the travel"
        )
        yield NotChecked(NAME, reason, "offsets", int(lines.min()), int(lines.max()))
    for axis, name in enumerate("xyz"):
        if name not in machine.travel:
            continue
        least, most = machine.travel[name]
        for beyond, limit, side in ((least - low[:, axis], least, "below"), (high[:, axis] - most, most, "above")):
            with np.errstate(invalid="ignore"):
                rows = placed & ~loose[:, axis] & (beyond > RULE.tolerance)
            for first, last, worst in runs_of(evidence, rows, np.nan_to_num(beyond), same_mode=False):
                value = limit + beyond[worst] * (1 if side == "above" else -1)
                yield span(
                    evidence,
                    NAME,
                    first,
                    last,
                    worst,
                    f"{name.upper()} goes to {value:.1f} mm on the machine, {beyond[worst]:.1f} mm {side} its travel.",
                    measured=float(value),
                    limit=float(limit),
                    unit="mm",
                )
        if not placed.all() or loose[:, axis].any():
            yield from _span(evidence, ~placed | loose[:, axis], axis, name, most - least)


def _undeclared(evidence: Evidence, unplaced: np.ndarray) -> Iterator[Finding]:
    """Work offsets the program cuts in, where the shop file declares others and the program sets none itself."""
    systems = evidence.setting.offsets
    if not systems:
        return
    moves = evidence.moves
    rows = unplaced[feeding(evidence)[unplaced]]
    told = {str(event.value).removeprefix("G10 ") for _, event in events_of(evidence, "shift")}  # set by the program itself
    for row in rows[np.flatnonzero(np.diff(moves.frame[rows], prepend=-1))].tolist():
        system = moves.frames[int(moves.frame[row])].system
        if system not in told:
            told.add(system)
            yield Finding(
                rule=NAME,
                severity="warning",
                block=int(moves.block[row]),
                message=f"The program cuts in {system}, and the shop file says only where {', '.join(sorted(systems))} "
                f"{'sits' if len(systems) == 1 else 'sit'}: is this the right work offset?",
                fix=f"Write the work offset the workpiece is clamped for, or give {system} under [offsets].",
                at=evidence.point(row),
            )


def _zeroed(evidence: Evidence) -> np.ndarray:
    """Axes whose zero the program set while their place was not known, as over a touch plate: (n, 3)."""
    moves = evidence.moves
    loose = np.zeros((len(moves), 3), dtype=bool)
    told = evidence.setting.start.get("position")
    for _, event in events_of(evidence, "shift"):
        row = event.move
        if row >= len(moves) or (row == 0 and told):
            continue
        before = moves.end[row - 1] if row > 0 else np.full(3, np.nan)
        loose[row:] |= np.isnan(before) & np.isfinite(moves.start[row])
    return loose


def _span(evidence: Evidence, rows: np.ndarray, axis: int, name: str, length: float) -> Iterator[Finding]:
    """The motion's span on an axis against the axis's length, for moves whose place on the machine is not known."""
    low, high = evidence.boxes
    moves = evidence.moves
    known = np.array([frame.known for frame in moves.frames], dtype=bool)[moves.frame]
    use = np.flatnonzero(rows & known & np.isfinite(low[:, axis]) & np.isfinite(high[:, axis]))
    if not len(use):
        return
    bottom, top = low[use, axis], high[use, axis]
    whole = float(top.max() - bottom.min())
    if whole <= length + RULE.tolerance:
        return
    # The end that lies further from the middle of all moves is the one to look at.
    middle = float(np.median(np.concatenate((bottom, top))))
    row = int(use[top.argmax()] if top.max() - middle >= middle - bottom.min() else use[bottom.argmin()])
    yield Finding(
        rule=NAME,
        block=int(moves.block[row]),
        message=f"The motion spans {whole:.1f} mm along {name.upper()}; the axis is {length:.1f} mm long.",
        measured=whole,
        limit=length,
        unit="mm",
        at=evidence.point(row),
    )


RULE = rule(__doc__, name=NAME, severity="error", group="set-up", check=check, needs=("moves", "machine", "travel"), unit="mm")
