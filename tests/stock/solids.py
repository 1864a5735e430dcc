"""Exact swept solids with manifold3d: a convex cutter moved along a line fills the hull of its two end positions."""

from __future__ import annotations

import math
from itertools import pairwise

import manifold3d as m3
import numpy as np

from advisor.values import Cutter

SEGMENTS = 256


def outline(cutter: Cutter, height: float) -> list[tuple[float, float]]:
    """Half of the cutter's outline, radius and height above the tip, as a closed polygon."""
    r = cutter.radius
    if cutter.form == "flat":
        lower = [(0.0, 0.0), (r, 0.0)]
    elif cutter.form == "ball":
        lower = [(r * math.sin(a), r - r * math.cos(a)) for a in np.linspace(0, math.pi / 2, 21)]
    elif cutter.form == "corner":
        c, f = cutter.corner_radius, r - cutter.corner_radius
        lower = [(0.0, 0.0)] + [(f + c * math.sin(a), c - c * math.cos(a)) for a in np.linspace(0, math.pi / 2, 13)]
    else:
        tip = cutter.tip_diameter / 2
        rise = (r - tip) / math.tan(math.radians(cutter.tip_angle or 118.0) / 2)
        lower = [(0.0, 0.0), *([(tip, 0.0)] if tip else []), (r, rise)]
    return [*lower, (r, height), (0.0, height)]


def body(cutter: Cutter, height: float = 60.0) -> m3.Manifold:
    """The cutter with its tip at the origin."""
    section = m3.CrossSection([np.array(outline(cutter, height))], m3.FillRule.NonZero)
    # 256 corners on the circle would lie inside it: the radius is set so that the areas agree
    swell = math.sqrt((2 * math.pi / SEGMENTS) / math.sin(2 * math.pi / SEGMENTS))
    return m3.Manifold.revolve(section, SEGMENTS).scale((swell, swell, 1.0))


def swept(cutter: Cutter, points: list[tuple[float, float, float]]) -> m3.Manifold:
    """What a path of straight lines sweeps."""
    tool = body(cutter)
    parts = [m3.Manifold.batch_hull([tool.translate(p), tool.translate(q)]) for p, q in pairwise(points)]
    return m3.Manifold.batch_boolean(parts, m3.OpType.Add)


def stock(size: tuple[float, float, float]) -> m3.Manifold:
    return m3.Manifold.cube(size)
