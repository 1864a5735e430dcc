"""Rapids, the bent path, shank, holder and nose, keep-outs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from advisor.values import Cutter, Hold, Keepout, Machine
from tests.stock.build import HIGH, ROUTER, Path, cut, placed_of, setting_of

SIZE = (80.0, 60.0, 12.0)
FLAT = Cutter("flat", diameter=6.0)


def test_rapid_through_stock_has_its_depth() -> None:
    cuts = cut(Path(-10, 30, -3).rapid(x=90).rapid(z=5), setting_of(SIZE, FLAT))
    first = cuts.of_move(0)
    assert cuts.depth[first].max() == pytest.approx(3.0, abs=1e-5)
    assert cuts.clearance[first].min() == pytest.approx(-3.0, abs=1e-5)
    assert cuts.inset[first].max() == pytest.approx(3.0, abs=0.15)
    assert cuts.removed == 0 and cuts.volume.sum() > 1000
    assert cuts.depth[cuts.of_move(1)].max() == 0


@pytest.mark.parametrize("height", [0.3, 1.0, 4.2])
def test_rapid_over_stock_has_its_clearance(height: float) -> None:
    cuts = cut(Path(-10, 30, height).rapid(70, 35), setting_of(SIZE, FLAT))
    assert cuts.clearance.min() == pytest.approx(height, abs=1e-5)
    assert cuts.depth.max() == 0 and np.isnan(cuts.end_clearance).all()


def test_clearance_is_over_what_is_left() -> None:
    """Over a pocket the clearance is to its floor; over air beside the stock there is none."""
    path = Path(20, 20, 5).line(z=-4).line(x=50).line(y=26).line(x=20).rapid(z=1).rapid(x=50)
    cuts = cut(path, setting_of(SIZE, FLAT))
    assert cuts.clearance[cuts.of_move(5)].min() == pytest.approx(5.0, abs=1e-4)
    cuts = cut(Path(-20, 20, 1).rapid(y=50), setting_of(SIZE, FLAT))
    assert np.isinf(cuts.clearance).all()


def test_downward_rapid_has_its_end_clearance() -> None:
    cuts = cut(Path(20, 20, 25).rapid(z=0.4), setting_of(SIZE, FLAT))
    assert cuts.end_clearance[-1] == pytest.approx(0.4, abs=1e-5)
    cuts = cut(Path(20, 20, 25).rapid(z=-2), setting_of(SIZE, FLAT))
    assert cuts.end_clearance[-1] == pytest.approx(-2.0, abs=1e-5)
    assert cuts.depth.max() == pytest.approx(2.0, abs=1e-5)


def test_rapid_down_into_an_opened_pocket_touches_nothing() -> None:
    path = Path(20, 20, 5).line(z=-4).line(x=40).rapid(z=5).rapid(x=25).rapid(z=-3.5)
    cuts = cut(path, setting_of(SIZE, FLAT))
    last = cuts.of_move(4)
    assert cuts.depth[last].max() == 0
    assert cuts.end_clearance[last][-1] == pytest.approx(0.5, abs=1e-4)


def test_retracing_a_finished_contour_as_a_rapid_touches_less_than_a_cell() -> None:
    path = Path(20, 20, 5).line(z=-4).line(x=40).arc(40, 28, 90).line(y=40)
    path.rapid(y=28).rapid(x=48)
    path._go(path.rows[0]["kind"], 48, 40, None)
    cuts = cut(path, setting_of(SIZE, FLAT))
    rapid = cuts.rapid & (cuts.depth > 0)
    assert not rapid.any() or cuts.inset[rapid].max() < cuts.cell


def test_rapid_from_high_comes_down_on_the_end() -> None:
    """After a Z home the height is above everything: the way across is clear, the way down is looked at."""
    path = Path(20, 20, -3).rapid(z=math.nan, flags=HIGH)
    path.at = [20, 20, math.nan]
    path.rapid(60, 40, math.nan, flags=HIGH)
    path.at = [60, 40, math.nan]
    path.rapid(z=-1)
    setting = setting_of(SIZE, FLAT)
    placed = placed_of(path, setting)
    assert placed.known.all() and not placed.unlooked
    assert np.isposinf(placed.end[:2, 2]).all() and np.isposinf(placed.start[1:, 2]).all()
    cuts = cut(path, setting)
    assert len(cuts.of_move(1).indices(len(cuts))) == 3 and cuts.depth[cuts.of_move(1)].sum() == 0
    assert cuts.depth[cuts.of_move(2)].max() == pytest.approx(1.0, abs=1e-5)


def test_bent_path_hits_what_the_straight_line_misses() -> None:
    """X and Y run at one speed, so a rapid of 60 by 16 goes along the diagonal first and may meet a block beside it."""
    slow = Machine("m", rapid=(3000.0, 3000.0, 1000.0))
    # stock only between X 15 and 40, Y 15 and 60: the straight line to (60, 16) passes below it, the diagonal does not
    size = (25.0, 45.0, 12.0)
    setting = setting_of(size, FLAT, machine=slow, zero=(-15.0, -15.0, 12.0))
    cuts = cut(Path(0, 0, -3).rapid(60, 10).rapid(60, 40), setting)
    assert cuts.bent is not None and all(t.depth == 0 for t in cuts.bent)
    cuts = cut(Path(0, 0, -3).rapid(60, 16), setting)
    assert cuts.bent is not None
    assert cuts.depth.max() == 0
    touch = cuts.bent[0]
    assert touch.depth == pytest.approx(3.0, abs=1e-5) and touch.inset > 1
    # nothing is taken away by looking
    assert cut(Path(0, 0, -3).rapid(60, 16), setting_of(size, FLAT, zero=(-15.0, -15.0, 12.0))).bent is None


def test_bent_path_in_height() -> None:
    """Z runs slower than X: going up while crossing leaves the stock later than the straight line does."""
    setting = setting_of(SIZE, FLAT, machine=ROUTER)
    cuts = cut(Path(-5, 30, -8).rapid(90, 30, 60), setting)
    assert cuts.bent is not None and cuts.bent[0].depth > cuts.depth[cuts.of_move(0)].max() > 0


def test_shank_holder_and_nose_touch_where_they_must() -> None:
    stepped = Cutter("s", diameter=3.0, flute_length=4.0, shank=6.0, stickout=9.0, holder_diameter=20.0, holder_length=5.0)
    setting = setting_of(SIZE, stepped)
    cuts = cut(Path(20, 30, 5).line(z=-5).line(x=60), setting)
    assert cuts.above.max() == pytest.approx(1.0, abs=1e-5)
    assert set(cuts.above_part[cuts.above > 0]) == {1}
    cuts = cut(Path(20, 30, 5).line(z=-10).line(x=60), setting)
    level = cuts.of_move(1)
    assert cuts.above[level].max() == pytest.approx(6.0, abs=1e-5)  # the shank is 4 above a tip 10 deep
    machine = Machine("m", nose_diameter=40.0, nose_length=0.5)
    long = Cutter("l", diameter=6.0, stickout=9.0, holder_diameter=20.0)
    cuts = cut(Path(20, 30, 5).line(z=-10).line(x=60), setting_of(SIZE, long, machine=machine))
    assert cuts.above.max() == pytest.approx(1.0, abs=1e-5) and set(cuts.above_part) == {0, 2}
    x, y = cuts.place_of(int(cuts.above_at[int(np.argmax(cuts.above))]))
    assert 3 <= math.hypot(max(0, 20 - x, x - 60), y - 30) <= 10.3


def test_holder_over_a_cleared_step_touches_nothing() -> None:
    """The holder dips below the old top only where that was cut away before."""
    wide, slim = Cutter("w", diameter=24.0), Cutter("s", diameter=6.0, stickout=9.0, holder_diameter=20.0)
    path = Path(10, 30, 5).line(z=-3).line(x=70).rapid(z=5).tool(2).rapid(20, 30).line(z=-11).line(x=60)
    cuts = cut(path, setting_of(SIZE, wide, slim))
    assert cuts.above.max() == 0
    cuts = cut(path, setting_of(SIZE, Cutter("w", diameter=12.0), slim))
    assert cuts.above.max() == pytest.approx(2.0, abs=1e-4)


def test_keepouts() -> None:
    clamp = Keepout("clamp", (30.0, 50.0, 0.0), (40.0, 70.0, 30.0))
    hold = Hold(keepouts=(clamp,))
    path = Path(10, 46, 10).rapid(x=60)  # program z 10 is 22 above the table, the clamp 30: edge 1 mm short of it
    setting = setting_of(SIZE, FLAT, hold=hold)
    assert cut(path, setting).keepouts == ()
    cuts = cut(Path(10, 48, 10).rapid(x=60), setting)
    (touch,) = cuts.keepouts
    assert touch.depth == pytest.approx(1.0, abs=1e-4) and touch.part == "cutter" and touch.row == 0
    (level,) = cut(Path(10, 55, clamp.high[2] - setting.workpiece.zero[2]).rapid(x=60), setting).keepouts
    assert (level.part, level.depth, level.gap) == ("cutter", 0.0, 0.0)
    (touch,) = cut(Path(10, 55, 20).rapid(x=60), setting).keepouts
    assert touch.depth == 0 and touch.gap == pytest.approx(2.0, abs=1e-4)
    held = Cutter("h", diameter=6.0, stickout=12.0, holder_diameter=30.0)
    cuts = cut(Path(10, 40, 0).rapid(x=60), setting_of(SIZE, held, hold=hold))
    assert {t.part for t in cuts.keepouts} == {"holder"}
