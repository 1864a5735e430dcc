"""Volumes, depths and outlines against exact solids (manifold3d, 256 segments a circle), shapely and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from advisor.stock import StockBounds, lattice_of
from advisor.values import Cutter
from tests.stock.build import Path, cut, setting_of
from tests.stock.solids import stock, swept

DIAMETERS = (3.0, 3.175, 6.0, 6.35)
SIZE = (60.0, 50.0, 12.0)


def shapes(diameter: float) -> dict[str, Cutter]:
    return {
        "flat": Cutter("flat", diameter=diameter),
        "ball": Cutter("ball", form="ball", diameter=diameter),
        "corner": Cutter("corner", form="corner", corner_radius=diameter / 6, diameter=diameter),
        "vee": Cutter("vee", form="vee", tip_angle=60.0, tip_diameter=0.4, diameter=diameter),
        "drill": Cutter("drill", form="drill", tip_angle=118.0, diameter=diameter),
    }


def path_of(points: list[tuple[float, float, float]]) -> Path:
    """A path through points given in stock coordinates."""
    path = Path(points[0][0], points[0][1], points[0][2] - SIZE[2])
    for x, y, z in points[1:]:
        path.line(x, y, z - SIZE[2])
    return path


def random_points(rng: np.random.Generator, diameter: float) -> list[tuple[float, float, float]]:
    """A plunge, a level cut, a ramp down, a ramp up and a level cut, anywhere and in any direction."""
    x, y = rng.uniform(15, 45), rng.uniform(15, 35)
    points = [(x, y, 14.0), (x, y, 12 - rng.uniform(0.3, 0.6) * diameter)]
    for rise in (0.0, -rng.uniform(0.2, 2.0), rng.uniform(0.2, 2.0), 0.0):
        x, y = rng.uniform(8, 52), rng.uniform(8, 42)
        points.append((x, y, points[-1][2] + rise))
    return points


@pytest.mark.parametrize(
    ("form", "diameter"),
    [("flat", d) for d in DIAMETERS]
    + [("ball", 3.0), ("ball", 6.35), ("corner", 3.175), ("corner", 6.0), ("vee", 3.0), ("vee", 6.35), ("drill", 6.0)],
)
def test_volume_of_straight_paths(form: str, diameter: float) -> None:
    """Within 0.5 % of the union of hulls, at 24 cells a diameter, lines level and sloped in any direction."""
    rng = np.random.default_rng([int(diameter * 1000), sum(map(ord, form))])
    cutter = shapes(diameter)[form]
    points = random_points(rng, diameter)
    exact = (swept(cutter, points) ^ stock(SIZE)).volume()
    cuts = cut(path_of(points), setting_of(SIZE, cutter), bounds=StockBounds(cell=diameter / 24))
    assert cuts.removed == pytest.approx(exact, rel=0.005)
    left = float((cuts.field.top - cuts.field.bottom).sum(dtype=float)) * cuts.field.grid.area
    assert left + cuts.removed == pytest.approx(math.prod(SIZE), rel=1e-6)


@pytest.mark.parametrize("diameter", DIAMETERS)
def test_volume_of_single_holes_slots_and_widening(diameter: float) -> None:
    """Small features have few cells to average over; the grid of a small program is fine enough all the same."""
    rng = np.random.default_rng(int(diameter * 100))
    radius = diameter / 2
    setting = setting_of(SIZE, Cutter("flat", diameter=diameter))
    for _ in range(12):
        x, y = rng.uniform(20, 40, 2)
        hole = cut(Path(x, y, 5).line(z=-2), setting)
        assert hole.removed == pytest.approx(2 * math.pi * radius**2, rel=0.005)
        angle, width = rng.uniform(0, 2 * math.pi), rng.uniform(0.05, 0.9) * diameter
        u = np.array([math.cos(angle), math.sin(angle)])
        a = np.array([x, y])
        b, side = a + 12 * u, np.array([-u[1], u[0]]) * width
        path = Path(*a, 5).line(z=-2).line(*b).rapid(z=5).rapid(*(a + side)).line(z=-2).line(*(b + side))
        both = LineString([a, b]).buffer(radius, 512).union(LineString([a + side, b + side]).buffer(radius, 512))
        assert cut(path, setting).removed == pytest.approx(2 * both.area, rel=0.005)


@pytest.mark.parametrize("diameter", DIAMETERS)
@pytest.mark.parametrize("sweep", [360.0, -360.0, 100.0, -250.0])
def test_volume_of_level_arcs(diameter: float, sweep: float) -> None:
    rng = np.random.default_rng([int(diameter * 1000), int(sweep + 360)])
    radius = rng.uniform(0.3, 2.0) * diameter
    x, y = rng.uniform(24, 36), rng.uniform(20, 30)
    angle = rng.uniform(0, 2 * math.pi)
    turn = angle + math.radians(sweep) * np.linspace(0, 1, 721)
    line = LineString(np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)]))
    setting = setting_of(SIZE, Cutter("flat", diameter=diameter))
    start = line.coords[0]
    path = Path(*start, 5).line(z=-2).arc(x, y, sweep)
    exact = line.buffer(diameter / 2, 256).area * 2
    assert cut(path, setting, bounds=StockBounds(cell=diameter / 48)).removed == pytest.approx(exact, rel=0.005)


@pytest.mark.parametrize("form", ["flat", "vee"])
def test_volume_of_a_helix(form: str) -> None:
    """A helical entry of one turn, against hulls of 9 degrees each."""
    cutter = shapes(6.0)[form]
    turn = np.radians(np.arange(0, 360.1, 9))
    radius = 2.1
    points = [(30 + radius * math.cos(a), 25 + radius * math.sin(a), 12 - 2.5 * a / (2 * math.pi)) for a in turn.tolist()]
    exact = (swept(cutter, points) ^ stock(SIZE)).volume()
    path = Path(30 + radius, 25, 0).arc(30, 25, 360, z=-2.5)
    assert cut(path, setting_of(SIZE, cutter), bounds=StockBounds(cell=0.125)).removed == pytest.approx(exact, rel=0.005)


def test_a_pocket_at_24_cells_a_diameter() -> None:
    """A long path on the coarsest grid that counts as accurate."""
    diameter = 6.35
    setting = setting_of(SIZE, Cutter("flat", diameter=diameter))
    path = Path(10.1, 9.3, 5).line(z=-2.5)
    corners = [(10.1, 9.3)]
    for k in range(11):
        y = 9.3 + 2.7 * k
        path.line(48.3 if k % 2 == 0 else 10.1, y)
        corners.append(path.at[:2])
        if k < 10:
            path.line(y=y + 2.7)
            corners.append(path.at[:2])
    exact = LineString(corners).buffer(diameter / 2, 256).area * 2.5
    assert cut(path, setting, bounds=StockBounds(cell=diameter / 24)).removed == pytest.approx(exact, rel=0.002)


def test_flat_bottoms_are_exact() -> None:
    """Depth to 0.001 mm and better, whatever the cell."""
    setting = setting_of(SIZE, Cutter("flat", diameter=6.0))
    path = Path(10, 10, 5).line(z=-1.2345).line(x=40).line(z=-3.3333).line(y=30).rapid(z=5)
    cuts = cut(path, setting)
    heights = np.unique(cuts.field.top)
    assert heights == pytest.approx([12 - 3.3333, 12 - 1.2345, 12.0], abs=1e-5)
    level = (cuts.run > 0) & (cuts.row == 1)
    assert cuts.depth[level] == pytest.approx(1.2345, abs=1e-5)


def test_outline_is_that_of_shapely() -> None:
    """Every sample point is cut exactly when it lies in the buffered path."""
    diameter = 3.175
    setting = setting_of(SIZE, Cutter("flat", diameter=diameter))
    path = Path(12.3, 11.1, 5).line(z=-1).line(40.7, 18.9).arc(40.7, 26.9, 90).line(20.2, 33.3)
    turn = np.linspace(-np.pi / 2, 0, 2001)
    arc = np.column_stack([40.7 + 8 * np.cos(turn), 26.9 + 8 * np.sin(turn)])
    band = LineString([(12.3, 11.1), *arc.tolist(), (20.2, 33.3)]).buffer(diameter / 2, 4096)
    cuts = cut(path, setting)
    grid = lattice_of(cuts.field.grid)
    x, y = grid.x[:, None] + grid.shift_x, grid.shift_y[:, None] + grid.y
    inside = shapely.contains_xy(band, x, y)
    removed = cuts.mover >= 0
    differ = inside != removed
    # points within a thousandth of the edge may fall on either side: chords of the buffered arcs
    edge = band.boundary
    assert all(edge.distance(Point(a, b)) < 1e-3 for a, b in zip(x[differ], y[differ], strict=True))
    assert removed.sum() > 10_000


@pytest.mark.parametrize("form", ["flat", "ball", "corner", "vee", "drill"])
def test_cutting_again_removes_nothing(form: str) -> None:
    """A finished path cut again, also in the other direction, meets no material."""
    cutter = shapes(6.0)[form]
    setting = setting_of(SIZE, cutter)
    path = Path(15, 15, 5).line(z=-2).line(40.3, 17.7).arc(40.3, 27.7, 90).line(20, 30, -3)
    path.line(*path.rows[-1]["start"]).arc(40.3, 27.7, -90).line(15, 15)
    path.line(40.3, 17.7).arc(40.3, 27.7, 90).line(20, 30, -3)
    cuts = cut(path, setting)
    again = cuts.row >= 4
    assert cuts.volume[again].sum() == 0
    assert cuts.depth[again].max() == 0
    assert cuts.volume[~again].sum() > 100
