"""Engaged ends of every piece against the rim worked out from outlines (shapely), on cuts of all kinds.

A piece's ends must lie within 5 degrees of what the rim's are somewhere on the piece, at 24 cells a diameter and at widths
above 5 % of it and two cells. Where they move far on the piece its width is a mean, and the span between the ends must.
Short pieces beside corners hold few cells: five in six of them must.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from shapely.geometry import box

from advisor.stock import StockBounds
from advisor.values import Cutter
from tests.stock.build import Path, cut, setting_of
from tests.stock.rim import along_move
from tests.stock.test_corners import SIZE, Z, round_a_corner

KINDS = ("side", "cross", "rib", "bore", "boss", "rounded", "outside", "zigzag", "edge", "short")


def scene(kind: str, rng: np.random.Generator, d: float) -> tuple[Path, list[int]]:
    """A path of some kind, anywhere and in any direction, and the moves of it to look at."""
    turn, middle = rng.uniform(0, 2 * math.pi), np.array([35.0, 30.0]) + rng.uniform(-1, 1, 2)

    def at(x: float, y: float) -> tuple[float, float]:
        """A place given in diameters."""
        return (
            float(middle[0] + d * (x * math.cos(turn) - y * math.sin(turn))),
            float(middle[1] + d * (x * math.sin(turn) + y * math.cos(turn))),
        )

    def slots(*sides: float) -> Path:
        path = Path(*at(-3, sides[0]), 5)
        for y in sides:
            path.rapid(z=5).rapid(*at(-3, y)).line(z=Z).line(*at(3, y))
        return path

    wide = rng.uniform(0.1, 0.9)
    light = rng.uniform(0.1, 0.5)
    if kind == "side":
        return slots(0, wide, 2 * wide), [7, 11]
    if kind == "rib":
        return slots(0, 1 + light, (1 + light) / 2), [11]
    if kind == "cross":
        return Path(*at(0, -3), 5).line(z=Z).line(*at(0, 3)).rapid(z=5).rapid(*at(-3, 0)).line(z=Z).line(*at(3, 0)), [5]
    if kind in ("bore", "boss"):
        r = rng.uniform(1.2, 2.5)
        path = Path(*at(r, 0), 5).line(z=Z).arc(*middle, 360)
        return path.line(*at(r + (light if kind == "bore" else -light), 0)).arc(*middle, 360), [3]
    if kind == "rounded":
        r = rng.uniform(0.2, 1.0)
        path = Path(*at(-3, 0), 5).line(z=Z).line(*at(0, 0)).arc(*at(0, r), 90).line(*at(r, 3)).rapid(z=5)
        path.rapid(*at(-3, -light)).line(z=Z).line(*at(0, -light)).arc(*at(0, r), 90).line(*at(r + light, 3))
        return path, [7, 8, 9]
    if kind == "outside":
        inside = round_a_corner(rng, d, light * d, 90.0)  # gone round in the other order, the corner stands out
        first, second = inside.rows[1:3], inside.rows[6:8]
        path = Path(*second[0]["start"][:2], 5).line(z=Z)
        path.line(*second[0]["end"][:2]).line(*second[1]["end"][:2]).rapid(z=5).rapid(*first[0]["start"][:2]).line(z=Z)
        return path.line(*first[0]["end"][:2]).line(*first[1]["end"][:2]), [6, 7]
    if kind == "zigzag":
        path = Path(*at(-2.5, -2), 5).line(z=Z)
        for k in range(4):
            path.line(*at(2.5 - 5 * (k % 2), -2 + wide * k)).line(*at(2.5 - 5 * (k % 2), -2 + wide * (k + 1)))
        return path, list(range(1, 9))
    if kind == "edge":  # from outside the stock, along its edge, and out of it
        return Path(-d, (wide - 0.5) * d, 5).line(z=Z).line(x=SIZE[0] + d), [1]
    path = slots(0).rapid(z=5).rapid(*at(-2.5, light)).line(z=Z)
    count = int(rng.integers(20, 60))
    for k in range(1, count + 1):
        path.line(*at(-2.5 + 5 * k / count, light + 0.001 * (k % 2)))
    return path, list(range(7, 7 + count))


def errors(path: Path, rows: list[int], diameter: float) -> Iterator[tuple[bool, float]]:
    """For each engaged piece of some moves: whether it is a short one, and by how much its ends are off, degrees."""
    cuts = cut(path, setting_of(SIZE, Cutter("flat", diameter=diameter)), bounds=StockBounds(cell=diameter / 24))
    first, second = cuts.angles()
    stock = box(0, 0, *SIZE[:2])
    for row in rows:
        pieces = np.flatnonzero(cuts.row == row)
        shares = np.concatenate([np.linspace(cuts.t0[k] + 1e-6, cuts.t1[k] - 1e-6, 4) for k in pieces])
        arcs = along_move(path, Z, row, diameter / 2, stock, shares)
        for n, k in enumerate(pieces.tolist()):
            ends = [(arc.min(), arc.max()) for arc in arcs[4 * n : 4 * n + 4] if len(arc)]
            if not ends:
                assert cuts.width[k] < 2 * cuts.cell, "contact where there is none"
                continue
            low, high = np.array(ends).T
            if (np.sin(np.radians(high)) - np.sin(np.radians(low))).max() / 2 < 2 / 24:
                continue
            off = max(low.min() - first[k], first[k] - low.max(), high.min() - second[k], second[k] - high.max())
            if max(np.ptp(low), np.ptp(high)) > 15:
                span, spans = second[k] - first[k], high - low
                off = min(off, max(spans.min() - span, span - spans.max()))
            yield bool(cuts.fine[k]), float(off)


@pytest.mark.parametrize("kind", KINDS)
def test_engaged_ends(kind: str) -> None:
    rng = np.random.default_rng(sum(map(ord, kind)))
    short, other = [], []
    for diameter in (3.0, 3.175, 6.0, 6.35):
        path, rows = scene(kind, rng, diameter)
        for fine, off in errors(path, rows, diameter):
            (short if fine else other).append(off)
    assert max(other, default=0.0) < 5
    assert len(short) + len(other) > 20 and np.mean(np.array([*short, 0.0]) < 5) > 5 / 6
