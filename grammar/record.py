"""Collects moves, modes and frames while a program is followed, and makes the read-only ``Moves``."""

from __future__ import annotations

import math

import numpy as np

from grammar.lexicon import PLANE_AXES
from grammar.moves import Call, Floats, Frame, Kind, Mode, Moves

NEAR = 1e-7  # mm: an arc whose ends are nearer than this is a full circle
_ROW = tuple[int, int, int, int, int, int, float, float, float, float, float, float, float, float]


class Recorder:
    """Rows of moves. ``rows`` holds single rows; finished stretches from a bulk reader are added with ``extend``."""

    def __init__(self) -> None:
        self.rows: list[_ROW] = []  # kind, block, call, mode, frame, flags, start xyz, end xyz, feed, minutes
        self.arcs: list[tuple[int, float, float, float, int, int]] = []  # row, centre xyz, sense +1 ccw, plane
        self.rotary: list[tuple[int, float, float, float]] = []  # row, a, b, c from this row on
        self.modes: list[Mode] = []
        self.frames: list[Frame] = []
        self.calls: list[Call] = []
        self._mode_ids: dict[Mode, int] = {}
        self._frame_ids: dict[Frame, int] = {}

    def __len__(self) -> int:
        return len(self.rows)

    def mode(self, mode: Mode) -> int:
        """The number of a mode."""
        found = self._mode_ids.get(mode)
        if found is None:
            found = self._mode_ids[mode] = len(self.modes)
            self.modes.append(mode)
        return found

    def frame(self, frame: Frame) -> int:
        """The number of a frame. Frames that hold NaN are compared by their text."""
        found = self._frame_ids.get(frame)
        if found is None:
            for i, other in enumerate(self.frames):
                if repr(other) == repr(frame):
                    return i
            found = self._frame_ids[frame] = len(self.frames)
            self.frames.append(frame)
        return found

    def truncate(self, rows: int, arcs: int, rotary: int) -> None:
        """Take back everything a refused block recorded."""
        del self.rows[rows:], self.arcs[arcs:], self.rotary[rotary:]

    def moves(self) -> Moves:
        """Everything recorded, as arrays."""
        n = len(self.rows)
        table = np.array(self.rows, dtype=np.float64).reshape(n, 14)
        start, end = np.ascontiguousarray(table[:, 6:9]), np.ascontiguousarray(table[:, 9:12])
        feed, minutes = table[:, 12].copy(), table[:, 13].copy()
        kind = table[:, 0].astype(np.int8)
        frame = table[:, 4].astype(np.int32)
        arcs = np.array(self.arcs, dtype=np.float64).reshape(len(self.arcs), 6)
        arc_row = arcs[:, 0].astype(np.int32)
        plane = arcs[:, 5].astype(np.int8)
        centre = np.ascontiguousarray(arcs[:, 1:4])
        sweep = sweeps(start[arc_row], end[arc_row], centre, arcs[:, 4], plane)
        rotary = _rotary(self.rotary, n)
        lengths = np.array([f.length for f in self.frames] or [0.0])
        shift = None
        if n and np.any(lengths[frame] != 0):
            shift = np.zeros((n, 3))
            shift[:, 2] = lengths[frame]
        timed = ~np.isnan(minutes) & (kind != Kind.DWELL) & (kind != Kind.RAPID)
        if timed.any():
            feed[timed] = (path_lengths(start, end, arc_row, centre, sweep, plane) / minutes)[timed]
        made = Moves(
            kind=kind, block=table[:, 1].astype(np.int32), call=table[:, 2].astype(np.int32),
            mode=table[:, 3].astype(np.int32), frame=frame, flags=table[:, 5].astype(np.uint16), start=start, end=end,
            feed=feed, minutes=minutes, arc_row=arc_row, centre=centre, sweep=sweep, plane=plane,
            modes=tuple(self.modes), frames=tuple(self.frames), calls=tuple(self.calls), rotary=rotary,
            machine_shift=shift)
        for name in ("kind", "block", "call", "mode", "frame", "flags", "start", "end", "feed", "minutes", "arc_row",
                     "centre", "sweep", "plane", "rotary", "machine_shift"):
            array = getattr(made, name)
            if array is not None:
                array.setflags(write=False)
        return made


def _rotary(changes: list[tuple[int, float, float, float]], n: int) -> Floats | None:
    if not changes:
        return None
    out = np.zeros((n, 3))
    for i, (row, *angles) in enumerate(changes):
        out[row : changes[i + 1][0] if i + 1 < len(changes) else n] = angles
    return out


def sweeps(start: Floats, end: Floats, centre: Floats, sense: Floats, plane: np.ndarray) -> Floats:
    """Signed sweep (radians) of arcs from start to end about centre; ends that meet make a full turn. All (k, 3) or (k,)."""
    out = np.zeros(len(centre))
    for number, (a, b, _) in PLANE_AXES.items():
        rows = plane == number
        if not rows.any():
            continue
        first = np.arctan2(start[rows, b] - centre[rows, b], start[rows, a] - centre[rows, a])
        last = np.arctan2(end[rows, b] - centre[rows, b], end[rows, a] - centre[rows, a])
        turn = np.mod((last - first) * sense[rows], 2 * math.pi)
        full = np.hypot(end[rows, a] - start[rows, a], end[rows, b] - start[rows, b]) <= NEAR
        out[rows] = np.where(full, 2 * math.pi, turn) * sense[rows]
    return out


def path_lengths(start: Floats, end: Floats, arc_row: np.ndarray, centre: Floats, sweep: Floats,
                 plane: np.ndarray) -> Floats:
    """Length of the XYZ path of each move, mm: straight, along the arc, or along the true helix (2.1.2.6)."""
    length = np.sqrt(((end - start) ** 2).sum(axis=1))
    for number, (a, b, c) in PLANE_AXES.items():
        rows = plane == number
        if rows.any():
            at = arc_row[rows]
            radius = np.hypot(start[at, a] - centre[rows, a], start[at, b] - centre[rows, b])
            length[at] = np.hypot(radius * sweep[rows], end[at, c] - start[at, c])
    return np.asarray(length)
