"""A program placed in its stock: moves in stock coordinates, each with the cutter that makes it.

Stock coordinates: mm, the lowest corner of the stock is (0, 0, 0), its top is at ``workpiece.size[2]``.
Program zero of the first system used for cutting lies at ``workpiece.zero``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from advisor.values import Cutter, Setting, Workpiece
from grammar.moves import Flag, Kind, Moves, Program

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]

FARTHEST = 1e7  # mm; a coordinate beyond ten kilometres is treated as unknown


@dataclass(frozen=True, slots=True)
class Unlooked:
    """A run of moves the stock model could not follow.

    cause: "unknown-position", "unknown-cutter", "unknown-frame", "rotary", "cutter-form", "bound".
    first_row, last_row: rows of the moves, both included.
    """

    cause: str
    reason: str
    first_row: int
    last_row: int


@dataclass(frozen=True, eq=False)
class Placed:
    """Moves in stock coordinates; row r here is row r of ``program.moves``. All arrays are read-only.

    kind (n,) int8 (grammar.moves.Kind); block, mode (n,) int32; flags (n,) uint16;
    start, end (n, 3) float64, mm: position of the tool tip. NaN marks an unknown axis; z = +inf means "high":
    at an unknown height above everything (Flag.HIGH_Z). Compare with ``>``: inf behaves, NaN never passes.
    feed (n,) mm/min, NaN unknown.
    known (n,) bool: every coordinate of start and end is known (a high z counts as known).
    cutter (n,) int32: index into ``cutters``, -1 = not known which cutter is in the spindle.
    Arcs as in Moves, centre in stock coordinates: arc_row (k,) int32 ascending, centre (k, 3), sweep (k,) radians,
    plane (k,) int8 17, 18, 19.
    workpiece: the stock used (``workpiece.assumed`` when it was taken from the cut's extents).
    frame: index into ``moves.frames`` of the frame that ``workpiece.zero`` belongs to; shift: mm, stock
    coordinate minus tip coordinate.
    unlooked: runs of moves with an unknown position, frame, cutter or a turning rotary axis.
    told: sentences on what was assumed, for the report.
    """

    moves: Moves
    workpiece: Workpiece
    cutters: tuple[Cutter, ...]
    kind: NDArray[np.int8]
    block: Ints
    mode: Ints
    flags: NDArray[np.uint16]
    start: Floats
    end: Floats
    feed: Floats
    known: Bools
    cutter: Ints
    arc_row: Ints
    centre: Floats
    sweep: Floats
    plane: NDArray[np.int8]
    frame: int
    shift: tuple[float, float, float]
    unlooked: tuple[Unlooked, ...] = ()
    told: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.kind)

    @property
    def top(self) -> float:
        """Height of the uncut stock's top, mm."""
        return self.workpiece.size[2]

    @property
    def cutting(self) -> Bools:
        """(n,) rows that move at feed: lines and arcs."""
        return np.asarray((self.kind == Kind.FEED) | (self.kind == Kind.ARC))

    @property
    def rapid(self) -> Bools:
        """(n,) rapid rows."""
        return np.asarray(self.kind == Kind.RAPID)


def place(program: Program, setting: Setting) -> Placed | None:
    """Place a program in the declared stock, or in an assumed one where ``setting.assume_stock``; None without stock."""
    raise NotImplementedError
