"""Collects moves, modes and frames while a program is followed, and makes the read-only ``Moves``."""

from __future__ import annotations

from typing import Any

import numpy as np

from grammar.moves import Call, Floats, Frame, Kind, Mode, Moves
from grammar.path import NEAR, path_lengths, sweeps

__all__ = ["NEAR", "Recorder"]

_ARC = tuple[int, float, float, float, int, int]
_ROW = tuple[int, int, int, int, int, int, float, float, float, float, float, float, float, float]


class Recorder:
    """Moves as they are made: ``rows`` and ``arcs`` take single ones, ``extend`` a finished stretch of a bulk reader."""

    def __init__(self) -> None:
        self.rows: list[_ROW] = []  # kind, block, call, mode, frame, flags, start xyz, end xyz, feed, minutes
        self.arcs: list[_ARC] = []  # move, centre xyz, sense +1 ccw, plane
        self.rotary: list[tuple[int, float, float, float]] = []  # move, a, b, c from this move on
        self.modes: list[Mode] = []
        self.frames: list[Frame] = []
        self.calls: list[Call] = []
        self._done = 0  # moves in finished stretches
        self._stretches: list[dict[str, Any]] = []
        self._arc_stretches: list[dict[str, Any]] = []
        self._mode_ids: dict[Mode, int] = {}
        self._frame_ids: dict[str, int] = {}

    def __len__(self) -> int:
        return self._done + len(self.rows)

    def extend(self, *, kind: Any, block: Any, call: int, mode: Any, frame: int, before: Floats, end: Floats, feed: Floats,
               arc: Any, centre: Floats, sense: Any, plane: Any) -> None:
        """Add n plain moves that follow one another from ``before`` (3,); ``arc`` are indices into the n moves."""
        self.pack()
        n = len(kind)
        start = np.empty((n, 3))
        start[:1] = before
        start[1:] = end[:-1]
        self._arc_stretches.append({"row": arc + self._done, "centre": centre.copy(), "sense": sense, "plane": plane})
        self._stretches.append({
            "kind": kind.astype(np.int8), "block": block.astype(np.int32), "call": np.full(n, call, dtype=np.int32),
            "mode": mode.astype(np.int32), "frame": np.full(n, frame, dtype=np.int32),
            "flags": np.zeros(n, dtype=np.uint16), "start": start, "end": end, "feed": feed,
            "minutes": np.full(n, np.nan)})
        self._done += n

    def pack(self) -> None:
        """Turn the single moves gathered so far into a stretch."""
        n = len(self.rows)
        if n:
            table = np.array(self.rows, dtype=np.float64).reshape(n, 14)
            self._stretches.append({
                "kind": table[:, 0].astype(np.int8), "block": table[:, 1].astype(np.int32),
                "call": table[:, 2].astype(np.int32), "mode": table[:, 3].astype(np.int32),
                "frame": table[:, 4].astype(np.int32), "flags": table[:, 5].astype(np.uint16),
                "start": np.ascontiguousarray(table[:, 6:9]), "end": np.ascontiguousarray(table[:, 9:12]),
                "feed": table[:, 12].copy(), "minutes": table[:, 13].copy()})
            self._done += n
            self.rows = []
        if self.arcs:
            arcs = np.array(self.arcs, dtype=np.float64)
            self._arc_stretches.append({"row": arcs[:, 0], "centre": arcs[:, 1:4], "sense": arcs[:, 4], "plane": arcs[:, 5]})
            self.arcs = []

    def mode(self, mode: Mode) -> int:
        """The number of a mode."""
        found = self._mode_ids.get(mode)
        if found is None:
            found = self._mode_ids[mode] = len(self.modes)
            self.modes.append(mode)
        return found

    def frame(self, frame: Frame) -> int:
        """The number of a frame; frames are compared by their text, so that NaN is like NaN."""
        key = repr(frame)
        found = self._frame_ids.get(key)
        if found is None:
            found = self._frame_ids[key] = len(self.frames)
            self.frames.append(frame)
        return found

    def arc_count(self) -> int:
        """How many arcs are recorded."""
        return len(self.arcs) + sum(len(s["row"]) for s in self._arc_stretches)

    def block_of(self, move: int) -> int:
        """The block of a recorded move."""
        if move >= self._done:
            return int(self.rows[move - self._done][1])
        for stretch in self._stretches:
            if move < len(stretch["block"]):
                return int(stretch["block"][move])
            move -= len(stretch["block"])
        raise IndexError(move)

    def marks(self) -> tuple[int, int, int]:
        """Where the record stands, for ``truncate``; good until the next ``extend``."""
        return len(self.rows), len(self.arcs), len(self.rotary)

    def truncate(self, marks: tuple[int, int, int]) -> None:
        """Take back everything recorded since ``marks``."""
        rows, arcs, rotary = marks
        del self.rows[rows:], self.arcs[arcs:], self.rotary[rotary:]

    def moves(self) -> Moves:
        """Everything recorded, as read-only arrays; the record is used up, so that no array stands in memory twice."""
        self.pack()
        n = self._done

        def joined(name: str, dtype: Any, width: int = 0) -> Any:
            parts = [s.pop(name) for s in self._stretches]
            if len(parts) == 1:
                return parts[0]
            return np.concatenate(parts) if parts else np.empty((0, width) if width else 0, dtype=dtype)

        def arc_joined(name: str, dtype: Any) -> Any:
            parts = [np.asarray(s[name], dtype=dtype) for s in self._arc_stretches]
            return np.concatenate(parts) if parts else np.empty((0, 3) if name == "centre" else 0, dtype=dtype)

        kind, frame = joined("kind", np.int8), joined("frame", np.int32)
        start, end = joined("start", float, 3), joined("end", float, 3)
        feed, minutes = joined("feed", float), joined("minutes", float)
        arc_row, plane = arc_joined("row", np.int32), arc_joined("plane", np.int8)
        centre = np.ascontiguousarray(arc_joined("centre", np.float64))
        sweep = sweeps(start[arc_row], end[arc_row], centre, arc_joined("sense", np.float64), plane)
        rotary = _rotary(self.rotary, n)
        lengths = np.array([f.length for f in self.frames] or [0.0])
        shift = None
        if n and np.any(lengths[frame] != 0):
            shift = np.zeros((n, 3))
            shift[:, 2] = lengths[frame]
        timed = ~np.isnan(minutes) & (kind != Kind.DWELL) & (kind != Kind.RAPID)
        if timed.any():
            with np.errstate(divide="ignore", invalid="ignore"):
                feed[timed] = (path_lengths(start, end, arc_row, centre, sweep, plane) / minutes)[timed]
        made = Moves(
            kind=kind, block=joined("block", np.int32), call=joined("call", np.int32), mode=joined("mode", np.int32),
            frame=frame, flags=joined("flags", np.uint16), start=start, end=end,
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
