"""Beside corners pieces are short: the peak of the engagement in an inside corner, and what must not change by it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import box

import advisor.kernels.plan as planned
from advisor.stock import Cuts, StockBounds
from advisor.values import Cutter
from tests.stock.build import Path, cut, placed_of, setting_of
from tests.stock.rim import along_move
from tests.stock.test_twin import columns

SIZE = (70.0, 60.0, 12.0)
Z = -2


def round_a_corner(rng: np.random.Generator, diameter: float, allowance: float, turn: float) -> Path:
    """Two passes into a corner and out of it, the second ``allowance`` further out; the path turns by ``turn`` degrees away
    from the material, to a random side and anywhere."""
    heading, side = rng.uniform(0, 2 * math.pi), int(rng.choice([-1, 1]))
    u, w = (np.array([math.cos(heading + k), math.sin(heading + k)]) for k in (0.0, side * math.radians(turn)))
    # towards the material: to the right of a path that turns left
    walls = np.array([side * np.array([v[1], -v[0]]) for v in (u, w)])
    corner = np.array([35.0, 30.0]) + rng.uniform(-1, 1, 2)
    inner = corner - np.linalg.solve(walls, [allowance, allowance])
    leg = 3.2 * diameter
    path = Path(*(inner - leg * u), 5).line(z=Z).line(*inner).line(*(inner + leg * w)).rapid(z=5)
    return path.rapid(*(corner - leg * u)).line(z=Z).line(*corner).line(*(corner + leg * w))


def peak(cuts: Cuts, rows: list[int]) -> float:
    """The widest span between the engaged ends among pieces of some moves, degrees."""
    first, second = cuts.angles()
    return float(np.nanmax((second - first)[np.isin(cuts.row, rows)]))


@pytest.mark.parametrize("diameter", [3.0, 3.175, 6.0, 6.35])
@pytest.mark.parametrize("cells", [24, 32])
def test_peak_in_an_inside_corner(diameter: float, cells: int) -> None:
    """At the corner the engaged arc is longer than along the wall by the angle of the turn: cos(arc) = 1 - 2 a_e / D along
    the wall (closed form), at most half a turn. Within 5 degrees of it."""
    rng = np.random.default_rng([int(diameter * 1000), cells])
    setting = setting_of(SIZE, Cutter("flat", diameter=diameter))
    for _ in range(10):
        share, turn = rng.uniform(max(0.05, 2 / cells), 0.45), float(rng.choice([75.0, 90.0, 90.0, 105.0, 120.0]))
        path = round_a_corner(rng, diameter, share * diameter, turn)
        cuts = cut(path, setting, bounds=StockBounds(cell=diameter / cells))
        along_wall = math.degrees(math.acos(1 - 2 * share))
        assert peak(cuts, [6, 7]) == pytest.approx(min(180.0, along_wall + turn), abs=5), (share, turn)
        # before it, along the wall
        first, second = cuts.angles()
        before = np.flatnonzero(cuts.row == 6)[1:3]
        assert (second - first)[before] == pytest.approx(along_wall, abs=5)


def test_peak_is_that_of_the_outlines() -> None:
    """The closed form of the test above is what outlines give (shapely), at the end of the stroke and nowhere later."""
    rng = np.random.default_rng(5)
    for share, turn in ((0.1, 90.0), (0.3, 90.0), (0.2, 120.0)):
        path = round_a_corner(rng, 6.0, share * 6.0, turn)
        arcs = along_move(path, Z, 6, 3.0, box(0, 0, *SIZE[:2]), np.array([0.5, 1.0]))
        wall, corner = (float(np.ptp(arc)) for arc in arcs)
        assert wall == pytest.approx(math.degrees(math.acos(1 - 2 * share)), abs=1.5)
        assert corner == pytest.approx(wall + turn, abs=1.5)
        after = along_move(path, Z, 7, 3.0, box(0, 0, *SIZE[:2]), np.array([0.001]))
        assert float(np.ptp(after[0])) == pytest.approx(wall, abs=1.5)


def pocket(step: float = 2.4) -> Path:
    """A zigzag, a contour with round and sharp corners, a bore and a ramp."""
    path = Path(15, 15, 5).line(z=Z)
    for k in range(8):
        path.line(x=50 if k % 2 == 0 else 15).line(y=15 + step * (k + 1))
    path.line(13, 13).line(x=49).arc(49, 16, 90).line(y=36).line(x=13).line(y=13).rapid(z=5).rapid(60, 30)
    path.line(z=0).arc(57, 30, 720, z=Z).arc(57, 30, 360).line(54, 30).line(54, 45, -4).line(40, 50)
    return path


@pytest.mark.parametrize("form", ["numpy", "numba"])
@pytest.mark.parametrize("shape", ["flat", "corner", "ball"])
def test_short_pieces_change_nothing_but_the_accounts(form: str, shape: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same sweeps, heights, movers and volumes to the bit; the parts of each move's path without gap or overlap."""
    setting = setting_of(SIZE, Cutter(shape, form=shape, diameter=6.0, corner_radius=1.0 if shape == "corner" else 0.0))
    short = cut(pocket(), setting, form=form)
    with monkeypatch.context() as patch:
        patch.setattr(planned, "_corners", lambda strokes, *rest: np.zeros(len(strokes.row), dtype=np.int64))
        long = cut(pocket(), setting, form=form)
    assert not long.fine.any() and short.fine.any() and len(short) > 1.5 * len(long)
    assert (short.field.top == long.field.top).all() and (short.mover == long.mover).all()
    rows = np.arange(len(pocket().rows))
    for name in ("volume", "area", "front", "length", "run"):
        sums = [np.bincount(c.row, getattr(c, name).astype(float), len(rows)) for c in (short, long)]
        assert sums[0] == pytest.approx(sums[1], rel=1e-5, abs=1e-5), name
    same = short.row[1:] == short.row[:-1]
    assert short.t0[1:][same] == pytest.approx(short.t1[:-1][same], abs=1e-6)
    assert (short.start[1:][same] == short.end[:-1][same]).all()
    cutting = short.volume > 0
    assert short.length[short.fine].max() <= 0.6 * 1.25 and short.length[cutting].max() <= 3.0 + 1e-5
    way = np.linalg.norm(short.end - short.start, axis=1)
    level = (short.start[:, 2] == short.end[:, 2]) & ~short.rapid
    straight = level & np.isin(short.row, [1, 2, 3, 4])
    assert short.length[straight] == pytest.approx(way[straight], rel=1e-4)


def test_pieces_are_short_within_a_diameter_of_a_corner() -> None:
    setting = setting_of(SIZE, Cutter("flat", diameter=6.0))
    cuts = cut(Path(10, 10, 5).line(z=Z).line(x=50).line(y=50).line(x=49.9), setting)
    for row, ends in ((1, [50.0]), (2, [10.0, 50.0])):
        pick = cuts.row == row
        axis = row - 1
        middle = (cuts.start[pick, axis] + cuts.end[pick, axis]) / 2
        near = np.min([np.abs(middle - end) for end in ends], axis=0) < 6.0
        assert (cuts.fine[pick] == near).all() and cuts.fine[pick].sum() == 10 * len(ends)
    straight_on = cut(Path(10, 10, 5).line(z=Z).line(x=30).line(50, 15), setting)
    assert not straight_on.fine.any()


def test_both_forms_agree_in_corners() -> None:
    """Corners inside the stock, at its edge and outside it."""
    setting = setting_of(SIZE, Cutter("flat", diameter=5.0))
    for seed in range(6):
        rng = np.random.default_rng(seed)
        path = round_a_corner(rng, 5.0, rng.uniform(0.5, 2.5), 90.0).rapid(z=5).rapid(2, 2).line(z=-3).line(68, 3)
        path.line(66, 58).arc(30, 40, -80).arc(40, 20, 300).line(1, 1).line(0.5, 30).line(20, 58).line(72, 61).line(40, 61)
        one, other = (columns(cut(path, setting, form=form)) for form in ("numpy", "numba"))
        for name, column in one.items():
            if column.dtype.kind == "f":
                assert np.allclose(column, other[name], rtol=1e-6, atol=1e-6, equal_nan=True), (seed, name)
            else:
                assert (column != other[name]).sum() <= 1e-4 * len(column), (seed, name)


def test_sloped_short_moves_get_no_more_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """A curved surface in short moves: nothing is level, nothing gets shorter."""
    rng = np.random.default_rng(3)
    path = Path(10, 10, 0)
    for k in range(400):
        path.line(10 + (k % 40), 10 + 2 * (k // 40), -1 - rng.uniform(0, 2))
    setting = setting_of(SIZE, Cutter("ball", form="ball", diameter=6.0))
    placed = placed_of(path, setting)
    plan = planned.make_plan(placed, None, 0.25, 1_000_000)
    assert not plan.pieces.fine.any() and not plan.sweeps.fine.any()


def test_short_pieces_are_left_out_where_memory_would_not_do() -> None:
    setting = setting_of(SIZE, Cutter("flat", diameter=6.0))
    cuts = cut(pocket(), setting, bounds=StockBounds(pieces=150))
    assert not cuts.fine.any() and any("corners" in told for told in cuts.told)
