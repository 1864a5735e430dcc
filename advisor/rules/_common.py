"""What several rules ask of the evidence."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules.base import merge_runs
from grammar.moves import Event, Flag, Mode

Bools = NDArray[np.bool_]


def feeding(evidence: Evidence) -> Bools:
    """Rows that move at feed, probes left out: (n,), read-only."""
    return evidence.feeding


def touching(evidence: Evidence) -> Bools:
    """Rows at feed that remove material: (n,).

    Without stock or cutters every row at feed; where the stock model could not follow (a cutter that is not known),
    every row at feed that ends below the stock's top.
    """
    rows = feeding(evidence)
    contact, surface = evidence.contact, top(evidence)
    if contact is None:
        return rows
    with np.errstate(invalid="ignore"):
        low = evidence.moves.end[:, 2] + evidence.base[2] < (np.inf if surface is None else surface)
        return np.asarray(rows & ((contact > 0) | (~evidence.followed & low)))


def by_mode(evidence: Evidence, values: list[object]) -> NDArray[np.object_]:
    """A value of each mode spread over the rows: (n,)."""
    table = np.empty(max(1, len(values)), dtype=object)
    table[: len(values)] = values
    return np.asarray(table[evidence.moves.mode])


def mode_flags(evidence: Evidence, flags: list[bool]) -> Bools:
    """A truth of each mode spread over the rows: (n,)."""
    return np.asarray(np.array(flags or [False], dtype=bool)[evidence.moves.mode])


def mode_numbers(evidence: Evidence, numbers: list[float]) -> NDArray[np.float64]:
    """A number of each mode spread over the rows: (n,)."""
    return np.asarray(np.array(numbers or [0.0], dtype=float)[evidence.moves.mode])


def tool_name(tool: int | None) -> str:
    """ "T3", or words where no tool was ever named."""
    return "the tool in the spindle" if tool is None else f"T{tool}"


def runs_of(
    evidence: Evidence,
    rows: Bools,
    excess: NDArray[np.float64],
    *,
    same_mode: bool = True,
    through: Bools | None = None,
) -> Iterator[tuple[int, int, int]]:
    """Faulty rows as runs: (first row, last row, worst row).

    Rows that are not faulty but marked in ``through`` (moves of another kind between two faulty ones) don't end a run.
    """
    at = np.flatnonzero(rows)
    if not len(at):
        return
    place = np.arange(len(rows)) if through is None else np.cumsum(~(through & ~rows))
    keys = evidence.moves.mode[at].tolist() if same_mode else None
    for run in merge_runs(place[at].tolist(), excess[at].tolist(), keys=keys):
        yield int(at[run.first]), int(at[run.last]), int(at[run.worst])


def span(evidence: Evidence, rule: str, first: int, last: int, worst: int, message: str, **more: object) -> Finding:
    """A finding over rows ``first`` to ``last`` (execution order), placed at the end of ``worst``."""
    block = evidence.moves.block
    a, b = int(block[first]), int(block[last])
    return Finding(rule=rule, message=message, block=a, end_block=max(a, b), at=evidence.point(worst), **more)  # type: ignore[arg-type]


def events_of(evidence: Evidence, *kinds: str) -> list[tuple[int, Event]]:
    """Events of these kinds with their place in the order of events."""
    return [(i, event) for i, event in enumerate(evidence.program.events) if event.kind in kinds]


def mode_before(evidence: Evidence, event: Event) -> Mode | None:
    """The modal state of the last move before an event, or None before the first move."""
    row = event.move - 1
    return evidence.mode(row) if 0 <= row < len(evidence.moves) else None


def high(evidence: Evidence, row: int) -> bool:
    """True where Z is high above everything after a move, at whatever height."""
    return bool(int(evidence.moves.flags[row]) & Flag.HIGH_Z)


def top(evidence: Evidence) -> float | None:
    """Height of the uncut stock's top in the coordinates of findings, or None without stock."""
    workpiece = evidence.setting.workpiece
    if workpiece is not None:
        return workpiece.size[2] if workpiece.thickness is None else max(workpiece.thickness[1], workpiece.size[2])
    placed = evidence.placed
    return None if placed is None else float(placed.workpiece.size[2])


def first_code(evidence: Evidence, *codes: str) -> int | None:
    """The first block in which any of these codes was executed, or None."""
    blocks = [evidence.program.codes[code] for code in codes if code in evidence.program.codes]
    return min(blocks) if blocks else None


def said_at(evidence: Evidence, row: int, *kinds: str) -> int:
    """The block that last set something (event kinds) before a move was made; the move's own block where none did."""
    last: Event | None = None
    for event in evidence.program.events:
        if event.move > row:
            break
        if event.kind in kinds:
            last = event
    return int(evidence.moves.block[row]) if last is None else last.block


def by_speed(evidence: Evidence, rows: Bools) -> Iterator[tuple[int, float, int]]:
    """Faulty rows by the block that set their spindle speed: (block, rpm, first row), each once."""
    told: set[tuple[int, float, int | None]] = set()
    at = np.flatnonzero(rows)
    if not len(at):
        return
    modes = evidence.moves.mode[at]
    for place in np.flatnonzero(np.diff(modes, prepend=-1)):
        row = int(at[place])
        mode = evidence.mode(row)
        block = said_at(evidence, row, "speed", "spindle")
        key = (block, mode.rpm, mode.tool)
        if key not in told:
            told.add(key)
            yield block, mode.rpm, row
