"""Geometry of moves as pure functions that take floats or arrays alike, so that one block and a run share them. mm."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from grammar.lexicon import PLANE_AXES
from grammar.moves import Floats

NEAR = 1e-7  # mm: an arc whose ends are nearer than this is a full circle


def centre_from_radius(a0: Any, b0: Any, a1: Any, b1: Any, radius: Any, sense: int) -> tuple[Any, Any, Any]:
    """Centre of a radius-format arc (3.5.3.1), and by how much half the chord exceeds the radius.

    The centre lies left of the travel for a short counterclockwise arc, right for a short clockwise one; a negative
    radius swaps the side. Where the chord is too long the centre is its middle.
    """
    da, db = a1 - a0, b1 - b0
    half = np.sqrt(da * da + db * db) / 2
    over = half - np.abs(radius)
    height = np.sqrt(np.maximum(radius * radius - half * half, 0.0))
    scale = np.sign(radius) * sense * height / (2 * half)
    return (a0 + a1) / 2 - db * scale, (b0 + b1) / 2 + da * scale, over


def radii(a0: Any, b0: Any, a1: Any, b1: Any, ca: Any, cb: Any) -> tuple[Any, Any]:
    """Distance of an arc's start and of its end from its centre, in the plane."""
    ra, rb, ea, eb = a0 - ca, b0 - cb, a1 - ca, b1 - cb
    return np.sqrt(ra * ra + rb * rb), np.sqrt(ea * ea + eb * eb)


def sweeps(start: Floats, end: Floats, centre: Floats, sense: Floats, plane: Any) -> Floats:
    """Signed sweep (radians) of arcs from start to end about centre; ends in one direction make a full turn.

    start, end, centre (k, 3); sense (k,) +1 or -1; plane (k,) 17, 18 or 19.
    """
    out = np.zeros(len(centre))
    for number, (a, b, _) in PLANE_AXES.items():
        rows = plane == number
        if not rows.any():
            continue
        first = np.arctan2(start[rows, b] - centre[rows, b], start[rows, a] - centre[rows, a])
        last = np.arctan2(end[rows, b] - centre[rows, b], end[rows, a] - centre[rows, a])
        turn = np.mod((last - first) * sense[rows], 2 * math.pi)
        radius = np.hypot(start[rows, a] - centre[rows, a], start[rows, b] - centre[rows, b])
        chord = np.hypot(end[rows, a] - start[rows, a], end[rows, b] - start[rows, b])
        full = (chord <= NEAR) | (turn * radius <= NEAR)  # the ends may lie apart along the radius, within tolerance
        out[rows] = np.where(full, 2 * math.pi, turn) * sense[rows]
    return out


def path_lengths(start: Floats, end: Floats, arc_row: Any, centre: Floats, sweep: Floats, plane: Any) -> Floats:
    """Length of the XYZ path of each move: straight, along the arc, or along the true helix (2.1.2.6)."""
    length = np.sqrt(((end - start) ** 2).sum(axis=1))
    for number, (a, b, c) in PLANE_AXES.items():
        rows = plane == number
        if rows.any():
            at = arc_row[rows]
            radius = np.hypot(start[at, a] - centre[rows, a], start[at, b] - centre[rows, b])
            length[at] = np.hypot(radius * sweep[rows], end[at, c] - start[at, c])
    return np.asarray(length)
