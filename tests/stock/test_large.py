"""Large grids and many runs: the thrifty ways give what the plain ones give."""

from __future__ import annotations

import numpy as np
import pytest

import advisor.kernels.remains as remains
import advisor.stock as stock
from advisor.kernels.remains import SOLID, partings
from advisor.stock import StockBounds, freed_parts, thin_floors
from advisor.values import Cutter
from tests.stock.build import Path, cut, setting_of


def test_joining_compiled_and_plain_find_the_same_partings(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(8)
    state = rng.integers(0, 500, (60, 80)).astype(np.int32)
    state[rng.random(state.shape) < 0.55] = SOLID
    plain = partings(state)
    monkeypatch.setattr(remains, "MANY", 0)
    compiled = partings(state)
    assert len(plain[0]) > 50
    assert plain[0] == compiled[0] and (plain[1] == compiled[1]).all()


def test_partings_are_those_of_cutting_one_move_after_another() -> None:
    """Brute force with scipy: cut move by move, label what is left, see when final pieces get different labels."""
    from scipy import ndimage

    rng = np.random.default_rng(9)
    for _ in range(10):
        state = np.full((12, 14), SOLID, dtype=np.int32)
        cells = rng.random(state.shape) < 0.5
        state[cells] = rng.integers(0, 25, cells.sum())
        found, labels, _ = partings(state)
        final = int(labels.max())
        spots = [tuple(np.argwhere(labels == k)[0]) for k in range(1, final + 1)]
        parted_at = {}
        for move in range(25):
            stage, _ = ndimage.label(state > move)
            for a in range(final):
                for b in range(a):
                    if stage[spots[a]] != stage[spots[b]]:
                        parted_at.setdefault((b, a), move)
        before, _ = ndimage.label(state > -1)
        for (a, b), move in parted_at.items():
            assert before[spots[a]] == before[spots[b]]
            splits = [
                p.row for p in found if (a + 1 in p.small and b + 1 in p.large) or (b + 1 in p.small and a + 1 in p.large)
            ]
            assert splits == [move]


def test_every_second_cell_of_a_large_grid(monkeypatch: pytest.MonkeyPatch) -> None:
    path = Path(20, 20, 5).line(z=-18.1).line(x=70).line(y=60).line(x=20).line(y=20).rapid(z=5)
    path.rapid(30, 30).line(z=-17.3).line(x=60).line(y=34).line(x=30)
    cuts = cut(path, setting_of((100.0, 80.0, 18.0), Cutter("f", diameter=6.0)), bounds=StockBounds(cell=0.2))
    full, floors = freed_parts(cuts, least_area=5), thin_floors(cuts, thinner_than=1.0, wider_than=6.0)
    monkeypatch.setattr(stock, "LARGE", 1000)
    half, coarse = freed_parts(cuts, least_area=5), thin_floors(cuts, thinner_than=1.0, wider_than=6.0)
    assert [p.row for p in half.freed] == [p.row for p in full.freed] == [4]
    assert half.freed[0].area == pytest.approx(full.freed[0].area, rel=0.01)
    assert half.freed[0].low == pytest.approx(full.freed[0].low, abs=0.5)
    assert half.label_at(25, 25) == half.freed[0].labels[0] and half.label_at(20, 40) == 0
    assert len(floors) == len(coarse) == 1 and coarse[0].row == floors[0].row
    assert coarse[0].width == pytest.approx(floors[0].width, abs=1.0)


def test_a_whole_sheet_is_not_coarsened() -> None:
    """1220 by 2440 mm with a 6 mm cutter at 0.25 mm: 48 million cells."""
    size = (1220.0, 2440.0, 18.0)
    setting = setting_of(size, Cutter("f", diameter=6.0))
    cuts = cut(Path(600, 1200, 5).line(z=-3).line(x=620), setting)
    assert not cuts.coarse and cuts.cell == pytest.approx(0.25, rel=1e-3)
    assert cuts.removed == pytest.approx(3 * (6 * 20 + np.pi * 9), rel=0.01)


def test_a_given_grid_too_coarse_for_a_smaller_cutter_is_told() -> None:
    setting = setting_of((40.0, 30.0, 10.0), Cutter("f", diameter=6.0), Cutter("s", diameter=2.0))
    first = cut(Path(10, 10, 5).line(z=-3).line(x=20), setting)
    path = Path(10, 20, 5).tool(2).line(z=-3).line(x=20)
    second = cut(path, setting, before=first.field)
    assert second.coarse == (first.cell > 2 / 24)
    assert any("coarser" in t for t in second.told) == second.coarse
