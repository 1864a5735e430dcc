"""Moves made by hand, without the reader: a path is a list of steps, and becomes a Placed in a stock."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from advisor.place import Placed, place
from advisor.stock import Cuts, remove
from advisor.values import Cutter, Machine, Setting, Workpiece
from grammar.moves import EndState, Flag, Frame, Kind, Mode, Moves, Program

ROUTER = Machine(name="a router", rapid=(5000.0, 5000.0, 2000.0))


class Path:
    """Collects moves. Coordinates are word values; None leaves an axis as it is."""

    def __init__(self, x: float, y: float, z: float, tool: int = 1, spindle: str = "cw") -> None:
        self.at = [x, y, z]
        self.rows: list[dict[str, Any]] = []
        self.modes = [Mode(tool=tool, spindle=spindle, rpm=18000.0)]

    def tool(self, number: int) -> Path:
        self.modes.append(replace(self.modes[-1], tool=number))
        return self

    def _go(self, kind: Kind, x: float | None, y: float | None, z: float | None, **extra: Any) -> Path:
        end = [b if a is None else a for a, b in zip((x, y, z), self.at, strict=True)]
        self.rows.append({"kind": kind, "start": list(self.at), "end": end, "mode": len(self.modes) - 1, **extra})
        self.at = end
        return self

    def rapid(self, x: float | None = None, y: float | None = None, z: float | None = None, flags: int = 0) -> Path:
        return self._go(Kind.RAPID, x, y, z, flags=flags)

    def line(self, x: float | None = None, y: float | None = None, z: float | None = None) -> Path:
        return self._go(Kind.FEED, x, y, z)

    def arc(self, cx: float, cy: float, sweep: float, z: float | None = None) -> Path:
        """An arc in XY about (cx, cy) by ``sweep`` degrees, plus counterclockwise."""
        angle = math.radians(sweep)
        dx, dy = self.at[0] - cx, self.at[1] - cy
        x = cx + dx * math.cos(angle) - dy * math.sin(angle)
        y = cy + dx * math.sin(angle) + dy * math.cos(angle)
        if abs(abs(sweep) % 360) < 1e-9:
            x, y = self.at[:2]
        return self._go(Kind.ARC, x, y, z, centre=(cx, cy, self.at[2]), sweep=angle, plane=17)

    def arc_xz(self, cx: float, cz: float, sweep: float) -> Path:
        """An arc in the ZX plane about (cx, cz) by ``sweep`` degrees, plus from Z towards X."""
        angle = math.radians(sweep)
        dz, dx = self.at[2] - cz, self.at[0] - cx
        z = cz + dz * math.cos(angle) - dx * math.sin(angle)
        x = cx + dz * math.sin(angle) + dx * math.cos(angle)
        return self._go(Kind.ARC, x, None, z, centre=(cx, self.at[1], cz), sweep=angle, plane=18)

    def moves(self, frames: tuple[Frame, ...] = (Frame("G54", (0.0, 0.0, 0.0)),)) -> Moves:
        n = len(self.rows)
        arcs = [k for k, r in enumerate(self.rows) if "centre" in r]
        return Moves(
            kind=np.array([r["kind"] for r in self.rows], dtype=np.int8),
            block=np.arange(n, dtype=np.int32),
            call=np.full(n, -1, dtype=np.int32),
            mode=np.array([r["mode"] for r in self.rows], dtype=np.int32),
            frame=np.array([r.get("frame", 0) for r in self.rows], dtype=np.int32),
            flags=np.array([r.get("flags", 0) for r in self.rows], dtype=np.uint16),
            start=np.array([r["start"] for r in self.rows], dtype=float).reshape(n, 3),
            end=np.array([r["end"] for r in self.rows], dtype=float).reshape(n, 3),
            feed=np.full(n, 1000.0),
            minutes=np.full(n, np.nan),
            arc_row=np.array(arcs, dtype=np.int32),
            centre=np.array([self.rows[k]["centre"] for k in arcs], dtype=float).reshape(len(arcs), 3),
            sweep=np.array([self.rows[k]["sweep"] for k in arcs], dtype=float),
            plane=np.array([self.rows[k]["plane"] for k in arcs], dtype=np.int8),
            modes=tuple(self.modes),
            frames=frames,
        )


def program_of(moves: Moves) -> Program:
    n = len(moves)
    return Program(
        source=None, dialect="shop", moves=moves, events=(), faults=(), gaps=(),
        end=EndState((0.0,) * 6, (0.0,) * 6, Mode(), None, {}, True),
        block_line=np.arange(1, n + 1, dtype=np.int32), codes={}, letters={}, blocks_run=n,
    )  # fmt: skip


def setting_of(
    size: tuple[float, float, float],
    *cutters: Cutter,
    zero: tuple[float, float, float] | None = None,
    machine: Machine | None = None,
    **more: Any,
) -> Setting:
    """Program zero is the lowest corner's top unless given, so cuts have negative Z."""
    stock = Workpiece(None, size, zero if zero is not None else (0.0, 0.0, size[2]))
    return Setting(machine=machine, cutters={k + 1: c for k, c in enumerate(cutters)}, workpiece=stock, **more)


def placed_of(path: Path, setting: Setting) -> Placed:
    placed = place(program_of(path.moves()), setting)
    assert placed is not None
    return placed


def cut(path: Path, setting: Setting, **options: Any) -> Cuts:
    return remove(placed_of(path, setting), setting, **options)


HIGH = int(Flag.HIGH_Z)
