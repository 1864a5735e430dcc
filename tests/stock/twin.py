"""The slow, obvious stock model: any point, any height, every move walked in small steps. Shares no grid and no formula.

The height left at a point is the least, over all positions of the path, of the height of the cutter's underside there.
"""

from __future__ import annotations

import math

import numpy as np

from advisor.place import Placed
from advisor.values import Cutter
from grammar.moves import Kind


def underside(cutter: Cutter, r: float) -> float:
    """Height of the cutter's underside above its tip at distance r from the axis; inf outside."""
    radius = cutter.diameter / 2
    if r > radius:
        return math.inf
    if cutter.form == "flat":
        return 0.0
    if cutter.form == "ball":
        return radius - math.sqrt(radius**2 - r**2)
    if cutter.form == "corner":
        flat = radius - cutter.corner_radius
        return 0.0 if r <= flat else cutter.corner_radius - math.sqrt(cutter.corner_radius**2 - (r - flat) ** 2)
    half = math.radians((cutter.tip_angle or 118.0) / 2)
    return max(0.0, r - cutter.tip_diameter / 2) / math.tan(half)


def positions(placed: Placed, step: float) -> list[tuple[int, np.ndarray]]:
    """Tip positions along each move, at most ``step`` mm apart."""
    arcs = {int(row): k for k, row in enumerate(placed.arc_row)}
    found = []
    for row in range(len(placed)):
        if placed.kind[row] in (Kind.DWELL, Kind.PROBE):
            continue
        a, b = placed.start[row], placed.end[row]
        if row not in arcs:
            n = max(2, math.ceil(float(np.linalg.norm(b - a)) / step) + 1)
            found.append((row, a + (b - a) * np.linspace(0, 1, n)[:, None]))
            continue
        k = arcs[row]
        u, v, w = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}[int(placed.plane[k])]
        c, sweep = placed.centre[k], placed.sweep[k]
        radius = math.hypot(a[u] - c[u], a[v] - c[v])
        angle = math.atan2(a[v] - c[v], a[u] - c[u])
        n = max(2, math.ceil(abs(sweep) * radius / step) + 1)
        t = np.linspace(0, 1, n)
        points = np.empty((n, 3))
        points[:, u] = c[u] + radius * np.cos(angle + sweep * t)
        points[:, v] = c[v] + radius * np.sin(angle + sweep * t)
        points[:, w] = a[w] + (b[w] - a[w]) * t
        found.append((row, points))
    return found


def height_left(placed: Placed, walk: list[tuple[int, np.ndarray]], x: float, y: float) -> float:
    """Height of the stock at (x, y) after every move (0 where it is cut through)."""
    height = placed.top
    for row, points in walk:
        cutter = placed.cutters[placed.cutter[row]]
        away = np.hypot(points[:, 0] - x, points[:, 1] - y)
        for k in np.flatnonzero(away <= cutter.diameter / 2):
            height = min(height, points[k, 2] + underside(cutter, float(away[k])))
    return max(height, 0.0)


def edge_distance(placed: Placed, walk: list[tuple[int, np.ndarray]], x: float, y: float) -> float:
    """Distance of (x, y) from the nearest edge of the band that the whole path sweeps or of a change of move in it."""
    least = math.inf
    for row, points in walk:
        radius = placed.cutters[placed.cutter[row]].diameter / 2
        least = min(least, abs(float(np.hypot(points[:, 0] - x, points[:, 1] - y).min()) - radius))
    return least
