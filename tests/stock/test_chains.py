"""Short moves taken together: what is removed is what the moves one by one remove, and what differs stays apart."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

import advisor.kernels.chains as chained
import advisor.kernels.plan as plan
from advisor.stock import Cuts, StockBounds
from advisor.values import Cutter
from tests.stock.build import Path, cut, setting_of

BALL = Cutter(name="ball", form="ball", diameter=6.0, flutes=2, flute_length=22.0, stickout=40.0)
FLAT = Cutter(name="flat", form="flat", diameter=6.0, flutes=2, flute_length=22.0, stickout=40.0)

CELLS = StockBounds(cell=0.25)
SETTING = {c.form: setting_of((45.0, 15.0, 18.0), c, zero=(0.0, 0.0, 0.0)) for c in (BALL, FLAT)}


def wave(step: float, *, rows: int = 3, width: float = 30.0) -> Path:
    """A zigzag over a wavy field in steps of ``step`` mm, its points rounded to 0.001 mm like a program's."""
    path = Path(5.0, 5.0, 30.0)
    for row in range(rows):
        y = 5.0 + 0.7 * row
        xs = np.arange(0.0, width, step)
        for x in xs if row % 2 == 0 else xs[::-1]:
            path.line(round(5.0 + float(x), 3), y, round(15.0 + 2.0 * math.sin(x / 9.0), 3))
    return path


def one_by_one(monkeypatch: pytest.MonkeyPatch, path: Path, cutter: Cutter) -> Cuts:
    with monkeypatch.context() as patch:
        patch.setattr(plan, "_chained", lambda lines, placed, longest: lines)
        return cut(path, SETTING[cutter.form], bounds=CELLS)


@pytest.mark.parametrize("cutter", [BALL, FLAT], ids=["ball", "flat"])
def test_chains_remove_what_their_moves_remove(monkeypatch: pytest.MonkeyPatch, cutter: Cutter) -> None:
    path = wave(0.15)
    apart, together = one_by_one(monkeypatch, path, cutter), cut(path, SETTING[cutter.form], bounds=CELLS)
    assert len(together) < len(apart) / 3 and len(apart) > 500
    assert (apart.last == apart.row).all()
    lowered = (together.mover >= 0).sum() * together.field.grid.area
    assert lowered > 200 and abs(together.removed - apart.removed) < chained.SLANT * lowered
    # on slopes of some 12 degrees a line SLANT aside and SLANT too high or low is less than this
    assert np.abs(together.field.top - apart.field.top).max() <= 2 * chained.SLANT
    # every move at feed belongs to one piece's chain, or to several pieces of its own
    rows = np.concatenate([np.arange(a, b + 1) for a, b in zip(together.row, together.last, strict=True)])
    assert (np.unique(rows) == np.unique(apart.row)).all()
    # a shallow bow of height h over a chord c is longer than it by 8/3 (h/c)^2
    bow = 8 / 3 * (chained.SLANT / 1.0) ** 2
    assert together.length.sum() == pytest.approx(float(apart.length.sum()), rel=bow)
    assert (together.length <= 3.0 + 1e-5).all()


def test_points_of_a_chain_lie_on_its_line(monkeypatch: pytest.MonkeyPatch) -> None:
    path = wave(0.1)
    together = cut(path, SETTING["ball"], bounds=CELLS)
    ends = together.placed.end
    seen = 0
    for piece in np.flatnonzero(together.last > together.row).tolist():
        a, b = together.start[piece].astype(float), together.end[piece].astype(float)
        run = (b - a)[:2] / np.hypot(*(b - a)[:2])
        inner = ends[together.row[piece] : together.last[piece]] - a
        along = inner[:, :2] @ run
        assert (np.diff(along) > 0).all()
        across = inner[:, 1] * run[0] - inner[:, 0] * run[1]
        assert np.abs(across).max() <= chained.SLANT + 1e-5
        rise = (b - a)[2] / np.hypot(*(b - a)[:2])
        assert np.abs(inner[:, 2] - along * rise).max() <= chained.SLANT + 1e-5
        seen += len(inner)
    assert seen > 300


def test_compiled_and_plain_link_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(4)
    steps = rng.normal(0, [0.1, 0.001, 0.0006], (4000, 3)) + np.array([0.12, 0, 0])
    steps[rng.random(4000) < 0.02, 1] = 0.5
    points = np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)])
    may = rng.random(4000) < 0.97
    may[0] = False
    longest = np.full(4000, 1.5)
    plain = chained.chains(points[:-1], points[1:], may, longest)
    monkeypatch.setattr(chained, "MANY", 0)
    compiled = chained.chains(points[:-1], points[1:], may, longest)
    assert (plain == compiled).all()
    assert 500 < len(plain) < 3000 and np.isin(np.flatnonzero(~may), plain).all()


def _broken_by(change: Any) -> Cuts:
    """A line in short steps with something in the middle."""
    path = Path(5.0, 5.0, 15.0)
    for k in range(1, 20):
        if k == 10:
            change(path)
        path.line(5.0 + 0.1 * k)
    return cut(path, SETTING["flat"], bounds=CELLS)


def test_what_differs_is_kept_apart() -> None:
    whole = _broken_by(lambda path: None)
    assert len(whole) == 1 and (whole.row[0], whole.last[0]) == (0, 18)
    tool = _broken_by(lambda path: path.modes.append(path.modes[-1]))  # a new modal state, whatever changed in it
    assert tool.last.tolist() == [8, 18]
    lifted = _broken_by(lambda path: path.rapid(z=16.0).line(z=15.0))
    assert 8 in lifted.last.tolist() and len(lifted) == 4
    jump = _broken_by(lambda path: path.line(5.9, 5.01))
    assert not ((jump.row < 9) & (jump.last > 9)).any()


def test_a_move_inside_a_chain_finds_its_piece() -> None:
    whole = _broken_by(lambda path: None)
    assert whole.of_move(7) == slice(0, 1) and whole.end_block[0] == whole.placed.block[18]
