"""The engaged part of a cutter's rim, from outlines alone: what is cut at an instant, with shapely, on no grid.

Material is what lies outside everything the cutter has swept; the rim is engaged where a point just outside it, on the
leading half, lies in material. For cuts at one depth with a cutter that is flat below.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from tests.stock.build import Path

ARCS = 128  # segments to a quarter circle
OUTSIDE = 5e-4  # of the radius: how far outside the rim is looked
FINEST = 0.25  # degrees between points of the rim


@dataclass(frozen=True)
class Stretch:
    """A move at cutting depth: points along it with heading (unit vectors) and share of its length."""

    row: int
    points: np.ndarray
    heading: np.ndarray
    share: np.ndarray


def stretch(row: dict[str, Any], index: int, n: int = 361) -> Stretch:
    """The path of one level move of tests.stock.build.Path in the plane."""
    a, b = np.array(row["start"][:2]), np.array(row["end"][:2])
    u = np.linspace(0, 1, n)
    if "centre" not in row:
        way = (b - a) / np.hypot(*(b - a))
        return Stretch(index, a + (b - a) * u[:, None], np.broadcast_to(way, (n, 2)), u)
    c, sweep = np.array(row["centre"][:2]), row["sweep"]
    radius, angle = np.hypot(*(a - c)), math.atan2(*(a - c)[::-1])
    turn = angle + sweep * u
    points = c + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    heading = np.sign(sweep) * np.column_stack([-np.sin(turn), np.cos(turn)])
    return Stretch(index, points, heading, u)


def level_moves(path: Path, depth: float) -> list[Stretch]:
    """The moves of a path at one depth, in order; vertical ones at their end."""
    return [
        stretch(row, k)
        for k, row in enumerate(path.rows)
        if row["start"][2] == row["end"][2] == depth and ("centre" in row or row["start"][:2] != row["end"][:2])
    ]


def plunged(path: Path, depth: float, radius: float) -> list[tuple[int, BaseGeometry]]:
    """Discs of the moves that go straight down to the depth."""
    return [
        (k, Point(row["end"][:2]).buffer(radius, ARCS))
        for k, row in enumerate(path.rows)
        if row["end"][2] == depth and row["start"][2] > depth and row["start"][:2] == row["end"][:2]
    ]


def engaged(
    void: BaseGeometry, stock: BaseGeometry, at: np.ndarray, heading: np.ndarray, radius: float, own: np.ndarray | None = None
) -> np.ndarray:
    """Angles from the heading, degrees, plus to the left, of the leading half's points that lie in material.

    own: points of the part of the move already done, where it may come back to itself (an arc).
    """
    angle = np.arange(-90 + FINEST / 2, 90, FINEST)
    base = math.degrees(math.atan2(heading[1], heading[0]))
    turn = np.radians(base + angle)
    r = radius * (1 + OUTSIDE)
    x, y = at[0] + r * np.cos(turn), at[1] + r * np.sin(turn)
    solid = shapely.contains_xy(stock, x, y) & ~shapely.contains_xy(void, x, y)
    if own is not None and len(own):
        solid &= (np.hypot(x[:, None] - own[:, 0], y[:, None] - own[:, 1]) > radius).all(axis=1)
    return angle[solid]


def along_move(path: Path, depth: float, row: int, radius: float, stock: BaseGeometry, shares: np.ndarray) -> list[np.ndarray]:
    """``engaged`` at some shares of a level move, after all moves before it and the part of it already done."""
    done = [disc for k, disc in plunged(path, depth, radius) if k < row]
    moves = level_moves(path, depth)
    for move in moves:
        if move.row < row:
            straight = len(np.unique(move.heading, axis=0)) == 1
            done.append(LineString(move.points[[0, -1]] if straight else move.points).buffer(radius, ARCS))
    (own,) = (move for move in moves if move.row == row)
    void = shapely.unary_union(done) if done else shapely.Polygon()
    shapely.prepare(void)
    found = []
    for share in shares:
        at = np.array([np.interp(share, own.share, own.points[:, k]) for k in (0, 1)])
        heading = np.array([np.interp(share, own.share, own.heading[:, k]) for k in (0, 1)])
        part = own.points[own.share < share] if "centre" in path.rows[row] else None
        found.append(engaged(void, stock, at, heading / np.hypot(*heading), radius, part))
    return found
