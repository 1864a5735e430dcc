"""A workpiece turned over between two set-ups, held against the slow twin of the kernels and exact volumes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from advisor.stock import Field, StockBounds, lattice_of, loose_before, turned, uncut
from advisor.values import Cutter
from tests.stock.build import ROUTER, Path, cut, placed_of, setting_of
from tests.stock.twin import height_left, positions

SIZE = (90.0, 60.0, 18.0)
FLAT = Cutter("f", diameter=6.0, flute_length=22.0, stickout=30.0)
WIDE = Cutter("w", diameter=12.0)
TURNS = ("about-x", "about-y")


def over(about: str, x: float, y: float) -> tuple[float, float]:
    """Where a place on the stock lies once the piece was turned over: a half turn about an axis through its middle."""
    return (x, SIZE[1] - y) if about == "about-x" else (SIZE[0] - x, y)


def standing(field: Field) -> float:
    """Volume of the material, mm3."""
    return float(np.maximum(field.top - field.bottom, 0).sum(dtype=np.float64)) * field.grid.area


def cell(field: Field, x: float, y: float) -> tuple[int, int]:
    return int(x / field.grid.dx), int(y / field.grid.dy)


@pytest.mark.parametrize("form", ["numpy", "numba"])
@pytest.mark.parametrize("about", TURNS)
def test_a_hole_cut_half_from_each_side_meets(about: str, form: str) -> None:
    """Off the middle in both directions, so that a hole mirrored wrongly stays blind; 10 + 9 mm deep in 18."""
    setting = setting_of(SIZE, WIDE)
    at = (22.0, 41.0)
    first = cut(Path(*at, 5).line(z=-10), setting, form=form)
    field = turned(first.field, about, SIZE[2])
    second = cut(Path(*over(about, *at), 5).line(z=-9).rapid(z=5), setting, before=field, form=form)
    i, j = cell(second.field, *over(about, *at))
    assert second.field.top[i, j] <= second.field.bottom[i, j]
    assert second.volume.sum() == pytest.approx(math.pi * 36 * 8, rel=0.01)  # the first side left 8 mm of it
    assert standing(second.field) == pytest.approx(math.prod(SIZE) - math.pi * 36 * 18, rel=0.001)
    for other in ({*TURNS} - {about}).pop(), "not at all":
        wrong = over(other, *at) if other in TURNS else at
        blind = cut(Path(*wrong, 5).line(z=-9), setting, before=field, form=form)
        i, j = cell(blind.field, *wrong)
        assert blind.field.top[i, j] - blind.field.bottom[i, j] == pytest.approx(9, abs=1e-4)


@pytest.mark.parametrize("about", TURNS)
def test_the_volume_is_the_same_before_and_after_a_turn(about: str) -> None:
    path = Path(20, 15, 5).line(z=-7).line(x=60).line(y=50).rapid(z=5).rapid(12, 40).line(z=-18.4).line(y=48)
    field = cut(path, setting_of(SIZE, FLAT)).field
    over_ = turned(field, about, SIZE[2])
    assert standing(over_) == pytest.approx(standing(field), rel=1e-6)
    assert float(over_.top.max()) == SIZE[2] and float(over_.bottom.min()) == 0.0
    gone = over_.top <= over_.bottom
    assert gone.sum() == (field.top <= field.bottom).sum() > 0
    assert not over_.top[gone].any()  # an open place is no material at the height of the top


@pytest.mark.parametrize("about", TURNS)
def test_an_asymmetric_part_cut_from_two_sides_is_that_of_the_twin(about: str) -> None:
    """Slots, a ramp, an arc and a through hole on side 1; others on side 2: the material at 400 places."""
    setting = setting_of(SIZE, FLAT, Cutter("b", form="ball", diameter=6.0))
    one = Path(15, 12, 5).line(z=-6).line(x=70).line(y=45, z=-11).rapid(z=5).rapid(20, 40).line(z=-18.2)
    one.rapid(z=5).rapid(45, 30).line(z=-4).arc(38, 30, 250)
    two = Path(30, 15, 5, tool=2).line(z=-5).line(x=75, y=28, z=-13).rapid(z=5).rapid(12, 45).line(z=-9).line(x=60)
    bounds = StockBounds(cell=0.25)
    first = cut(one, setting, bounds=bounds)
    second = cut(two, setting, before=turned(first.field, about, SIZE[2]))
    placed1, placed2 = placed_of(one, setting), placed_of(two, setting)
    walk1, walk2 = positions(placed1, 0.02), positions(placed2, 0.02)
    lattice = lattice_of(second.field.grid)
    rng = np.random.default_rng(5)
    touched = np.argwhere((second.field.bottom > 0) | (second.mover >= 0) | (second.field.top < SIZE[2]))
    seen = 0
    for i, j in touched[rng.choice(len(touched), 400, replace=False)].tolist():
        x, y = float(lattice.x[i] + lattice.shift_x[j]), float(lattice.y[j] + lattice.shift_y[i])
        low = SIZE[2] - height_left(placed1, walk1, *over(about, x, y))
        high = height_left(placed2, walk2, x, y)
        thick = max(0.0, min(high, SIZE[2]) - max(low, 0.0))
        got = max(0.0, float(second.field.top[i, j] - second.field.bottom[i, j]))
        seen += thick < 17.9
        if abs(got - thick) > 0.05:  # the twin walks in steps: right at an edge it may see the cutter one step later
            near = [height_left(placed1, walk1, *over(about, x + dx, y + dy)) for dx in (-0.03, 0.03) for dy in (-0.03, 0.03)]
            near2 = [height_left(placed2, walk2, x + dx, y + dy) for dx in (-0.03, 0.03) for dy in (-0.03, 0.03)]
            assert max(near) - min(near) > 0.05 or max(near2) - min(near2) > 0.05, (x, y, got, thick)
    assert seen > 300


@pytest.mark.parametrize("form", ["numpy", "numba"])
def test_an_open_place_touches_neither_shank_nor_rapid_after_a_turn(form: str) -> None:
    """A window cut through from side 1 is open from side 2 too: the holder goes down in it without contact."""
    short = Cutter("s", diameter=6.0, flute_length=4.0, stickout=6.0, holder_diameter=20.0)
    setting = setting_of(SIZE, WIDE, short, machine=ROUTER)
    path = Path(30, 20, 5).line(z=-18.2)
    for k in range(6):
        path.line(x=60 if k % 2 == 0 else 30).line(y=min(20 + 5.0 * (k + 1), 40))
    first = cut(path, setting, form=form)
    field = turned(first.field, "about-y", SIZE[2])
    second = cut(Path(45, 30, 5, tool=2).rapid(z=-12).rapid(x=47).rapid(z=5), setting, before=field, form=form)
    assert not second.depth.any() and not second.above.any()
    assert not second.volume.any()
    solid = cut(Path(45, 30, 5, tool=2).rapid(z=-12), setting, before=uncut(SIZE, field.grid), form=form)
    assert solid.volume.sum() == pytest.approx(math.pi * 9 * 12, rel=0.02) and solid.above.max() > 5


def test_a_piece_that_was_loose_before_and_is_cut_again() -> None:
    """A ring cut through by the first program; the second works inside it, then only outside."""
    setting = setting_of(SIZE, FLAT)
    ring = Path(20, 20, 5).line(z=-18.2).line(x=60).line(y=45).line(x=20).line(y=20).rapid(z=5)
    before = cut(ring, setting).field
    inside = cut(Path(25, 30, 5).rapid(x=30).line(z=-3).line(x=50), setting, before=before)
    (part,) = loose_before(inside, least_area=36).freed
    assert part.row == 1 and part.later_rows[0] == 1
    assert part.area == pytest.approx(34 * 19, rel=0.02)
    assert part.low[:2] == pytest.approx((23, 23), abs=0.3) and part.high[:2] == pytest.approx((57, 42), abs=0.3)
    outside = cut(Path(10, 10, 5).line(z=-3).line(x=80), setting, before=before)
    assert loose_before(outside, least_area=36).freed == ()
    whole = cut(Path(10, 10, 5).line(z=-3).line(x=80), setting, before=uncut(SIZE, before.grid))
    assert loose_before(whole).freed == ()
    # the same ring cut by one program alone is no matter of an earlier one
    assert loose_before(cut(ring, setting)).freed == ()
