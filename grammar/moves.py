"""What a program does: moves as arrays, events in order, faults of reading.

Frames. ``tip`` coordinates are where the tool tip (the controlled point) is, in machine axes, length offset taken
off: tip = word value + coordinate-system origin + G92 and local shifts. Every move knows the ``Frame`` it was
programmed in, so work coordinates are ``tip - frame.shift``. Origins that nobody declared are 0 and marked unknown.
Unknown coordinates are NaN, axis by axis. Lengths mm, feeds mm/min, angles radians, time minutes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import field
from enum import IntEnum, IntFlag
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from grammar.classes import dataclass

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


class Kind(IntEnum):
    """What a move is."""

    RAPID = 0
    FEED = 1
    ARC = 2
    DWELL = 3
    PROBE = 4


class Flag(IntFlag):
    """Where a move comes from, or what is special about it (bits of ``Moves.flags``)."""

    CYCLE = 1  # part of a canned cycle
    PECK = 2  # the rapid back down into a hole already drilled, or up out of it
    MACHINE = 4  # programmed in machine coordinates (G53)
    HOME = 8  # part of a return to reference (G28, G30)
    HIGH_Z = 16  # Z ends at an unknown height that is above everything (G53 Z or home on Z, offsets not declared)
    COMPENSATED = 32  # moved by cutter radius compensation
    BORE = 64  # feed retract of a boring cycle (G85, G89), or a tapping move
    BARE_HOME = 128  # a return to reference without lifting Z first
    INSERTED = 256  # an arc inserted at a convex corner by compensation
    TAP = 512  # feed locked to the spindle turn


@dataclass(frozen=True, slots=True)
class Mode:
    """The modal state during a move. ``tool`` is None where no tool was ever named."""

    tool: int | None = None
    selected: int | None = None
    spindle: str = "off"  # "cw", "ccw", "off"
    rpm: float = 0.0
    mist: bool = False
    flood: bool = False
    motion: str = ""  # "G0", "G1", ... "" where none is in force
    plane: str = "G17"
    units: str = "G21"
    distance: str = "G90"
    feed_mode: str = "G94"
    compensation: str = "G40"
    compensation_number: int | None = None  # D register in use
    length_offset: str = "G49"
    length_number: int | None = None  # H register in use
    system: str = "G54"
    path: str = "G64"
    cycle_return: str = "G98"
    overrides: bool = True


@dataclass(frozen=True, slots=True)
class Frame:
    """A relation between word values and tip coordinates: tip = words + shift (mm)."""

    system: str  # "G54" ... "G59.3"
    shift: tuple[float, float, float]
    known: bool = True  # False: this system's place relative to the first one used is not declared
    length: float = 0.0  # gauge point minus tip along Z; NaN where a length offset is in force that nobody declared
    rotary_shift: tuple[float, float, float] = (0.0, 0.0, 0.0)  # A, B, C: angle = words + shift, degrees
    moved: tuple[float, float, float] = (0.0, 0.0, 0.0)  # part of shift by G52, and by G92 where a position was known, mm

    @property
    def zero(self) -> tuple[float, float, float]:
        """Tip coordinates of program zero before G52 and G92 moved it, mm. A G92 that tells an unknown place sets it."""
        x, y, z = (s - m for s, m in zip(self.shift, self.moved, strict=True))
        return x, y, z


class Word(NamedTuple):
    """A word of a block: places are 0-based indices into its line, end exclusive; value None for an expression."""

    letter: str
    text: str
    value: float | None
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens between moves, in order of execution.

    kind is one of: message, comment, feed, speed, spindle, coolant, dwell, tool-select, tool-change, stop
    (value 0, 1, 2, 30, 60), length-offset, units, system, shift (G92, G52, G10), home, probe, compensation,
    optional-stop, end, call, return.
    ``move`` is the index of the next move when it happened.
    """

    kind: str
    block: int
    move: int
    value: float | str | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong in the reading or the language, found by ``grammar``; rule names are those of the design."""

    rule: str
    severity: str  # "error", "warning", "note"
    line: int  # 1-based
    column: int  # 1-based, in characters
    message: str
    fix: str = ""
    end_line: int | None = None
    end_column: int | None = None
    measured: float | None = None
    limit: float | None = None
    unit: str | None = None
    block: int | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of a program that could not be followed: what depends on it is not checked."""

    cause: str  # "unknown-code", "unreadable-block", "rotary", "unknown-position", "bound", "parameter", ...
    reason: str
    from_line: int
    to_line: int
    axes: str = "xyz"


@dataclass(frozen=True, slots=True)
class Call:
    """One entry of the call stack a move was made under; ``parent`` -1 is the main program."""

    parent: int
    block: int  # the calling block
    name: str


@dataclass(frozen=True, eq=False)
class Moves:
    """Read-only arrays, one row a move, in order of execution.

    kind (n,) int8; block, call, mode, frame (n,) int32; flags (n,) uint16; start, end (n, 3) tip coordinates;
    feed (n,) mm/min along the path (degrees/min for rotary-only moves; NaN where none or unknown);
    minutes (n,) programmed time for dwells and inverse-time moves, NaN elsewhere.
    Arcs are sparse: arc_row (k,) int32 ascending rows; centre (k, 3) tip coordinates (third axis: the start's);
    sweep (k,) radians, plus = counterclockwise seen from the plus end of the plane's normal; plane (k,) int8 = 17, 18, 19.
    rotary (n, 3) degrees at the end of the move, or None where no rotary word occurs.
    """

    kind: NDArray[np.int8]
    block: Ints
    call: Ints
    mode: Ints
    frame: Ints
    flags: NDArray[np.uint16]
    start: Floats
    end: Floats
    feed: Floats
    minutes: Floats
    arc_row: Ints
    centre: Floats
    sweep: Floats
    plane: NDArray[np.int8]
    modes: tuple[Mode, ...]
    frames: tuple[Frame, ...]
    calls: tuple[Call, ...] = ()
    rotary: Floats | None = None
    machine_shift: Floats | None = None  # (n, 3) gauge point minus tip at the end of the move; None where zero

    def __len__(self) -> int:
        return len(self.kind)


@dataclass(frozen=True, slots=True)
class Start:
    """The machine before the first block. Coordinates are machine coordinates; None is unknown."""

    position: tuple[float | None, ...] = (None, None, None, 0.0, 0.0, 0.0)
    tool: int | None = None
    slots: int = 99
    feed: float | None = None  # mm/min
    speed: float = 0.0
    block_delete: bool = False
    optional_stop: bool = True
    parameters: Mapping[int, float] = field(default_factory=dict)
    lengths: Mapping[int, float] = field(default_factory=dict)  # tool table: H number -> mm
    diameters: Mapping[int, float] = field(default_factory=dict)  # tool table: D number -> mm
    origins: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)  # "G54" -> declared origin
    mode: Mode = Mode()


@dataclass(frozen=True, slots=True)
class Bounds:
    """Where following a program stops; each bound met is a finding."""

    blocks_run: int = 50_000_000
    moves: int = 50_000_000
    calls: int = 64
    brackets: int = 64
    line_bytes: int = 1_000_000
    seconds: float | None = None
    jumps: int = 200_000  # ways back and calls
    blocks_again: int = 1_000_000  # blocks run more than once
    moves_made: int = 1_000_000  # moves beyond four a line, made by cycles and loops


@dataclass(frozen=True, slots=True)
class EndState:
    """State after the last block. Positions: six axes, NaN unknown; work and machine coordinates, mm and degrees."""

    position: tuple[float, ...]
    machine: tuple[float, ...]
    mode: Mode
    feed: float | None
    parameters: Mapping[int, float]
    ended: bool  # M2 or M30 was executed


@dataclass(frozen=True, eq=False)
class Program:
    """Everything known of one program after reading and following it."""

    source: Any  # grammar.source.Source
    dialect: str
    moves: Moves
    events: tuple[Event, ...]
    faults: tuple[Fault, ...]
    gaps: tuple[Gap, ...]
    end: EndState
    block_line: Ints  # (b,) 1-based line of each block
    codes: Mapping[str, int]  # "G20" -> first block where it was executed
    letters: Mapping[str, int]  # "F" -> first block where the word was read
    blocks_run: int

    def line_of(self, block: int) -> int:
        """1-based line of a block."""
        return int(self.block_line[block])

    def text(self, block: int) -> str:
        """The text of a block as a reader should see it, without its line end."""
        return str(self.source.show_line(self.line_of(block)))

    def words(self, block: int) -> tuple[Word, ...]:
        """The words of a block with their places in its line; value None where it is an expression."""
        from grammar.dialect import dialect
        from grammar.parse import words_of

        return words_of(self.source.line(self.line_of(block)), dialect(self.dialect))


def geometry_digest(moves: Moves) -> str:
    """A digest of where the tool goes: kinds, ends and arcs to 1e-6 mm, without feed, speed, time or blocks."""
    digest = hashlib.blake2b(digest_size=16)
    digest.update(np.ascontiguousarray(moves.kind).tobytes())
    for array in (moves.start, moves.end, moves.centre, moves.sweep):
        digest.update(np.ascontiguousarray(np.round(array, 6) + 0.0).tobytes())
    for whole in (moves.arc_row, moves.plane):
        digest.update(np.ascontiguousarray(whole).tobytes())
    if moves.rotary is not None:
        digest.update(np.ascontiguousarray(np.round(moves.rotary, 6) + 0.0).tobytes())
    return digest.hexdigest()
