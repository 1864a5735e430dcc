"""Short moves that follow each other on one line, taken together.

Programs for curved surfaces write a line of text for every few hundredths to tenths of a millimetre. Moves of one cutter
at one feed whose points stray less than CHORD from one level line, or less than SLANT sideways and in height from a
sloped one, are swept, and accounted for, as one stroke of at most the length an accounting piece has. Level depths stay
exact; slopes are off by less than the steps that a cell of the grid makes on them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, MutableSequence, Sequence
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Longs = NDArray[np.int64]
Bools = NDArray[np.bool_]

CHORD = 0.002  # mm; how far a chord may stray from the arc, or the level line from the moves, it stands for
SLANT = 0.004  # mm; the same for sloped lines, sideways and in height
MANY = 20_000  # strokes from which compiled code pays


def link(
    x0: Sequence[float],
    y0: Sequence[float],
    z0: Sequence[float],
    x1: Sequence[float],
    y1: Sequence[float],
    z1: Sequence[float],
    may: Sequence[bool],
    longest: Sequence[float],
    first: MutableSequence[int],
) -> None:
    """Writes to ``first`` the index of the stroke each stroke's chain begins with. Plain enough to be compiled.

    x0..z1: ends, mm; may: the stroke may be joined to the one before it; longest: of a chain, mm.
    """
    begin = 0
    for k in range(len(x0)):
        joined = may[k]
        if joined:
            dx, dy, dz = x1[k] - x0[begin], y1[k] - y0[begin], z1[k] - z0[begin]
            run = math.sqrt(dx * dx + dy * dy)
            joined = run > 1e-9 and run * run + dz * dz <= longest[k] * longest[k]
            if joined:
                ux, uy, slope = dx / run, dy / run, dz / run
                aside = CHORD if dz == 0.0 else SLANT
                before = 0.0
                for q in range(begin, k):
                    px, py = x1[q] - x0[begin], y1[q] - y0[begin]
                    ahead = px * ux + py * uy
                    if (
                        ahead <= before
                        or ahead >= run
                        or abs(py * ux - px * uy) > aside
                        or abs(z1[q] - z0[begin] - slope * ahead) > SLANT
                    ):
                        joined = False
                        break
                    before = ahead
        if not joined:
            begin = k
        first[k] = begin


@cache
def _compiled() -> Callable[..., Any] | None:
    """The compiled form of ``link``; None where nothing can be compiled."""
    from grammar import jit

    return jit.kernel(link) if jit.unavailable() is None else None


def chains(p0: Floats, p1: Floats, may: Bools, longest: Floats) -> Longs:
    """Index of the first stroke of each chain, ascending, for strokes p0 -> p1 (n, 3), mm, in program order.

    may (n,): the stroke may be joined to the one before it; longest (n,): of a chain, mm.
    """
    n = len(may)
    if not may.any():
        return np.arange(n)
    run = _compiled() if n >= MANY else None
    if run is not None:
        first = np.empty(n, dtype=np.int64)
        run(*(np.ascontiguousarray(p[:, axis]) for p in (p0, p1) for axis in range(3)), may, longest, first)
        return np.flatnonzero(first == np.arange(n))
    found = np.ones(n, dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], may, [False]]).astype(np.int8)))
    for a, b in zip((edges[::2] - 1).tolist(), edges[1::2].tolist(), strict=True):  # the stroke before begins the chain
        part = slice(max(a, 0), b)
        begins = [0] * (b - max(a, 0))
        x0, y0, z0, x1, y1, z1 = (p[part, axis].tolist() for p in (p0, p1) for axis in range(3))
        link(x0, y0, z0, x1, y1, z1, may[part].tolist(), longest[part].tolist(), begins)
        found[part] = np.array(begins) == np.arange(len(begins))
    return np.flatnonzero(found)
