"""Finished surfaces gone over again meet nothing that counts, and paths the wrong way round leave what they leave."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import LineString

from advisor.stock import StockBounds
from advisor.values import Cutter
from grammar.moves import Kind
from tests.stock.build import Path, cut, placed_of, setting_of
from tests.stock.test_exact import SIZE, shapes
from tests.stock.twin import height_left, positions

FORMS = ("flat", "ball", "corner", "vee", "drill")


def rounded(value: float) -> float:
    """As a program writes it, mm."""
    return round(float(value), 3)


def on_circle(x: float, y: float, radius: float, n: int) -> list[tuple[float, float]]:
    turn = 2 * np.pi * np.arange(n + 1) / n
    return [(rounded(x + radius * math.cos(a)), rounded(y + radius * math.sin(a))) for a in turn.tolist()]


def arcs(path: Path, points: list[tuple[float, float]], x: float, y: float) -> None:
    """Arcs between rounded points with rounded centre offsets, as a program has them."""
    for a, b in pairwise(points):
        cx, cy = a[0] + rounded(x - a[0]), a[1] + rounded(y - a[1])
        sweep = math.atan2(b[1] - cy, b[0] - cx) - math.atan2(a[1] - cy, a[0] - cx)
        sweep = (sweep + math.pi) % (2 * math.pi) - math.pi
        path._go(Kind.ARC, *b, None, centre=(cx, cy, path.at[2]), sweep=sweep, plane=17)


@pytest.mark.parametrize("form", FORMS)
def test_exact_paths_again_meet_nothing(form: str) -> None:
    """Level arcs and helices forward and back, arcs in XZ, straight spring passes: nothing is removed twice."""
    for seed in range(4):
        rng = np.random.default_rng([seed, len(form)])
        cutter = shapes(float(rng.choice([3.0, 6.35])))[form]
        diameter = cutter.diameter
        x, y, r = (rounded(v) for v in (rng.uniform(25, 35), rng.uniform(20, 30), rng.uniform(0.6, 2.0) * diameter))
        path = Path(x + r, y, 0).arc(x, y, 360, z=-0.4 * diameter).arc(x, y, 360)
        path.line(x=x).line(z=rounded(-0.5 * diameter)).line(x=x - 8)
        path.arc_xz(x - 8 + 3, path.at[2] + 9, -20)
        first = len(path.rows)
        there, back = path.rows[-1]["start"], path.rows[-1]["end"]
        centre, sweep = path.rows[-1]["centre"], path.rows[-1]["sweep"]
        path._go(Kind.ARC, *there, centre=centre, sweep=-sweep, plane=18)
        path._go(Kind.ARC, *back, centre=centre, sweep=sweep, plane=18).rapid(z=5).rapid(x=x + r, y=y)
        path.line(z=-0.4 * diameter).arc(x, y, -360).arc(x, y, 360, z=0).arc(x, y, -720, z=-0.4 * diameter)
        path.line(x=x).line(z=rounded(-0.5 * diameter)).line(x=x - 8).line(x=x)
        cuts = cut(path, setting_of(SIZE, cutter), bounds=StockBounds(cell=diameter / 24))
        again = (cuts.row >= first) & ~cuts.rapid
        if form == "flat":  # helices of other forms are swept as chords that stray two thousandths
            assert cuts.volume[again].sum() == 0 and cuts.depth[again].max() == 0
        assert cuts.volume[again].sum() < 0.05 and np.nan_to_num(cuts.width[again]).max() < 2 * cuts.cell
        assert cuts.volume[~again].sum() > 10


@pytest.mark.parametrize("form", ["flat", "ball", "corner", "vee"])
def test_rounded_arcs_again_are_no_cut(form: str) -> None:
    """A circle in four rounded arcs, then back, then in eight: what rounding leaves is no width to judge."""
    for seed in range(5):
        rng = np.random.default_rng([seed, 7, len(form)])
        cutter = shapes(float(rng.choice([3.0, 6.35])))[form]
        diameter = cutter.diameter
        x, y, r = rng.uniform(25, 35), rng.uniform(20, 30), rng.uniform(0.6, 2.0) * diameter
        four = on_circle(x, y, r, 4)
        path = Path(*four[0], 5).line(z=rounded(-rng.uniform(0.3, 0.8) * diameter))
        arcs(path, four, x, y)
        first = len(path.rows)
        arcs(path, four[::-1], x, y)
        arcs(path, on_circle(x, y, r, 8), x, y)
        cuts = cut(path, setting_of(SIZE, cutter), bounds=StockBounds(cell=diameter / 24))
        again = cuts.row >= first
        assert cuts.width[again].max() < 2 * cuts.cell and cuts.volume[again].sum() < 0.2
        assert cuts.width[~again & (cuts.run > 0)].max() > 0.3 * diameter


def test_a_light_cut_is_no_skim() -> None:
    """A flat ramp in steps of a tenth of a millimetre through 3 mm of stock is a full cut all along."""
    path = Path(10, 20, 0.0).line(z=-3.0)
    for k in range(1, 200):
        path.line(10 + 0.1 * k, 20 + 0.02 * (k % 3), -3.0 - 0.005 * k)
    cuts = cut(path, setting_of(SIZE, Cutter("flat", diameter=6.0)), bounds=StockBounds(cell=0.25))
    inner = np.flatnonzero((cuts.row > 40) & (cuts.row < 180))
    assert cuts.width[inner] == pytest.approx(6.0, rel=0.1)


@pytest.mark.parametrize("form", ["numpy", "numba"])
@pytest.mark.parametrize("shape", FORMS)
@pytest.mark.parametrize("slope", [0.0, -0.05, 0.05])
def test_short_moves_are_as_wide_as_the_long_one(shape: str, slope: float, form: str) -> None:
    """A side cut in moves of 0.4 mm that do not quite follow one line: a cell that the cutter stood on from the move before
    is not met anew. The long line's first contact with each cell is the closed form of its width."""
    cutter = shapes(6.0)[shape]
    setting = setting_of(SIZE, cutter)
    found = []
    for steps in (1, 100):
        path = Path(8, 20, 5).line(z=-2).line(x=52, z=-2 + 44 * slope).rapid(z=5).rapid(8, 21.5).line(z=-2)
        for k in range(1, steps + 1):
            aside = 0.006 * (k % 2) if steps > 1 else 0.0
            path.line(8 + 40 * k / steps, 21.5 + aside, -2 + slope * 40 * k / steps)
        cuts = cut(path, setting, bounds=StockBounds(cell=0.25), form=form)
        inner = np.flatnonzero(cuts.row >= 5)
        found.append(cuts.width[inner[len(inner) // 4 : -len(inner) // 4]].astype(float))
    if shape == "flat" and slope < 0:  # one piece of the long ramp tells the first contact alone
        found[0] = found[1]
    assert found[1].mean() == pytest.approx(found[0].mean(), rel=0.05)
    if slope == 0.0:
        tip = {"flat": 3.0, "ball": math.sqrt(9 - 1), "corner": 3.0, "vee": 0.2 + 2 * math.tan(math.radians(30)), "drill": 3.0}
        assert found[1].max() < 2 * tip[shape]


@pytest.mark.parametrize("wrong", [1, 2, 3])
def test_half_a_turn_the_wrong_way(wrong: int) -> None:
    """A helix of half turns, one of them mirrored (G2 for G3 ends at the same point): the heights left are those of the slow
    twin, the outline that of shapely, and the half left out is met at its full height later or stands for good."""
    x, y, r, z = 30.2, 24.7, 2.6, 0.0
    path, right = Path(x + r, y, 0), Path(x + r, y, 0)
    turns = [-180.0 if k == wrong else 180.0 for k in range(4)]
    for turn in turns:
        z -= 0.75
        path.arc(x, y, turn, z=z)
        right.arc(x, y, 180.0, z=z)
    setting = setting_of(SIZE, Cutter("flat", diameter=3.0))
    bounds = StockBounds(cell=0.0625)
    placed, cuts, good = placed_of(path, setting), cut(path, setting, bounds=bounds), cut(right, setting, bounds=bounds)
    angle = np.concatenate([np.radians(np.linspace(0, turn, 361)) + (math.pi if k % 2 else 0) for k, turn in enumerate(turns)])
    band = LineString(np.column_stack([x + r * np.cos(angle), y + r * np.sin(angle)])).buffer(1.5, 256)
    assert (cuts.mover >= 0).sum() * cuts.field.grid.area == pytest.approx(band.area, rel=0.005)
    walk = positions(placed, 0.01)
    i, j = np.divmod(np.random.default_rng(wrong).permutation(cuts.field.top.size), cuts.field.grid.ny)
    near = np.hypot(i * 0.0625 - x, j * 0.0625 - y) < r + 1.5
    seen = 0
    for cell in (i * cuts.field.grid.ny + j)[near][:200].tolist():
        px, py = cuts.place_of(cell)
        away = math.hypot(px - x, py - y)
        if min(abs(away - r - 1.5), abs(away - (r - 1.5))) > 0.03:
            assert float(cuts.field.top.ravel()[cell]) == pytest.approx(height_left(placed, walk, px, py), abs=0.02)
            seen += 1
    assert seen > 100
    last = [float(c.depth[c.row == 3].max()) for c in (cuts, good)]
    assert last[1] == pytest.approx(1.5, abs=0.05)
    if wrong == 1:  # the half left out is met by the last half turn
        assert last[0] > 2.9
    if wrong == 3:
        assert cuts.removed < 0.95 * good.removed
