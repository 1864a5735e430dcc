"""Programs placed in their stock: frames, unknown axes, heights above everything, assumed stock."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.place import assume, place
from advisor.values import Cutter, Setting, Workpiece
from grammar.moves import Frame, Moves
from tests.stock.build import HIGH, Path, cut, placed_of, program_of, setting_of

SIZE = (80.0, 60.0, 12.0)
FLAT = Cutter("flat", diameter=6.0)


def framed(path: Path, frames: tuple[Frame, ...], of_row: list[int]) -> Moves:
    """Words of each row in its frame, as tip coordinates."""
    moves = path.moves(frames)
    shift = np.array([frames[k].shift for k in of_row])
    return replace(moves, frame=np.array(of_row, dtype=np.int32), start=moves.start + shift, end=moves.end + shift)


def test_zero_lies_where_the_workpiece_says() -> None:
    setting = setting_of(SIZE, FLAT, zero=(10.0, 20.0, 12.0))
    placed = placed_of(Path(0, 0, 5).line(z=-3).line(x=30), setting)
    assert placed.end[1].tolist() == [30 + 10, 20, 9]
    assert placed.known.all() and placed.unlooked == () and placed.cutter.tolist() == [0, 0]
    with pytest.raises(ValueError, match="read-only"):
        placed.end[0, 0] = 1.0


def test_frame_of_the_first_cut_counts() -> None:
    """A rapid in G54 first, then cutting in G55: zero is that of G55, and G54 is placed where the offsets say."""
    frames = (Frame("G54", (100.0, 50.0, -20.0)), Frame("G55", (130.0, 60.0, -18.0)))
    path = Path(0, 0, 5).rapid(x=5).line(z=-2).line(x=20)
    placed = place(program_of(framed(path, frames, [0, 1, 1])), setting_of(SIZE, FLAT))
    assert placed is not None and placed.frame == 1
    assert placed.end[2].tolist() == [20, 0, 10]
    assert placed.end[0].tolist() == pytest.approx([5 - 30, -10, 5 - 2 + 12])


def test_frames_of_unknown_relation_are_not_looked_at() -> None:
    frames = (Frame("G54", (0.0, 0.0, 0.0)), Frame("G55", (0.0, 0.0, 0.0), known=False))
    path = Path(10, 10, 5).line(z=-2).line(x=20).rapid(z=5).line(z=-2).line(x=30)
    moves = framed(path, frames, [0, 0, 0, 1, 1])
    placed = place(program_of(moves), setting_of(SIZE, FLAT))
    assert placed is not None
    assert placed.known.tolist() == [True, True, True, False, False]
    (lost,) = placed.unlooked
    assert (lost.cause, lost.first_row, lost.last_row) == ("unknown-frame", 3, 4)


def test_unknown_start_is_harmless_only_above_the_stock() -> None:
    path = Path(np.nan, np.nan, np.nan)
    path.rapid(z=5).rapid(10, 10).line(z=-2).line(x=30)
    setting = setting_of(SIZE, FLAT)
    placed = placed_of(path, setting)
    assert placed.unlooked == () and placed.known.tolist() == [False, False, True, True]
    assert cut(path, setting).removed > 0
    path = Path(np.nan, np.nan, -1.0)
    path.rapid(10, 10).line(x=30)
    placed = placed_of(path, setting)
    assert [(u.cause, u.first_row) for u in placed.unlooked] == [("unknown-position", 0)]
    assert cut(path, setting).uncertain_from is None  # only a rapid was not followed


def test_lost_axis_in_a_cut_makes_the_stock_uncertain() -> None:
    path = Path(10, 10, 5).line(z=-2).line(x=30)
    path.at = [np.nan, 10, -2]
    path.line(y=30).line(x=50).line(y=40)
    setting = setting_of(SIZE, FLAT)
    cuts = cut(path, setting)
    (lost,) = cuts.unlooked
    assert (lost.cause, lost.first_row, lost.last_row) == ("unknown-position", 2, 3)
    assert cuts.uncertain_from == 2
    assert cuts.volume[cuts.of_move(4)].sum() > 0


def test_tool_without_a_cutter_is_not_looked_at() -> None:
    path = Path(10, 10, 5).tool(7).line(z=-2).line(x=30)
    placed = placed_of(path, setting_of(SIZE, FLAT))
    assert [(u.cause, u.first_row, u.last_row) for u in placed.unlooked] == [("unknown-cutter", 0, 1)]
    anything = setting_of(SIZE, FLAT, any_cutter=Cutter("any", diameter=4.0))
    placed = placed_of(path, anything)
    assert placed.unlooked == () and placed.cutters[placed.cutter[1]].name == "any"


def test_rotary_moves_are_not_looked_at() -> None:
    path = Path(10, 10, 5).line(z=-2).line(x=30).line(x=40).line(x=50)
    rotary = np.zeros((4, 3))
    rotary[1:3, 0] = 90.0
    setting = setting_of(SIZE, FLAT)
    placed = place(program_of(replace(path.moves(), rotary=rotary)), setting)
    assert placed is not None
    assert [(u.cause, u.first_row, u.last_row) for u in placed.unlooked] == [("rotary", 1, 2)]


def test_home_in_z_is_above_everything() -> None:
    path = Path(10, 10, -2).rapid(z=np.nan, flags=HIGH)
    placed = placed_of(path, setting_of(SIZE, FLAT))
    assert np.isposinf(placed.end[0, 2]) and placed.known[0]


def test_no_stock_no_place() -> None:
    assert place(program_of(Path(0, 0, 0).line(x=5).moves()), Setting(any_cutter=FLAT)) is None


def test_assumed_stock_is_the_extent_of_the_cut() -> None:
    setting = Setting(any_cutter=FLAT, assume_stock=True)
    path = Path(0, 0, 5).rapid(200, 200).rapid(10, 10).line(z=-4).line(x=50).arc(50, 20, 180)
    placed = place(program_of(path.moves()), setting)
    assert placed is not None and placed.workpiece.assumed
    assert placed.workpiece.size == pytest.approx((40 + 3 + 13, 20 + 6, 4), abs=0.2)
    assert placed.top == pytest.approx(4) and "assumed" in placed.told[0]
    assert placed.end[2].tolist() == pytest.approx([3, 3, 0])


def test_zero_on_the_table_is_asked_about() -> None:
    path = Path(0, 0, 30).line(z=18).line(x=50).line(z=9).line(x=0).line(z=-0.1).line(x=50)
    workpiece, reason = assume(program_of(path.moves()), Setting(any_cutter=FLAT, assume_stock=True))
    assert workpiece is None and "zero" in reason and "[stock]" in reason
    assert assume(program_of(Path(0, 0, 9).rapid(x=5).moves()), Setting())[0] is None


def test_workpiece_values_are_kept() -> None:
    workpiece = Workpiece("birch-plywood", SIZE, (0.0, 0.0, 12.0), thickness=(11.5, 12.1))
    placed = place(program_of(Path(0, 0, 0).line(x=5).moves()), Setting(any_cutter=FLAT, workpiece=workpiece))
    assert placed is not None and placed.workpiece is workpiece
