"""Input that could crash, hang or fill the memory: it is bounded, and told."""

from __future__ import annotations

import math
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np
import pytest

from advisor.place import place
from advisor.stock import StockBounds, choose_form, freed_parts, grid_of, remove, thin_floors, thin_walls
from advisor.values import Cutter
from grammar.moves import Kind
from tests.stock.build import ROUTER, Path, cut, placed_of, program_of, setting_of

SIZE = (80.0, 60.0, 12.0)
FLAT = Cutter("flat", diameter=6.0)
ROOT = FilePath(__file__).resolve().parents[2]


@pytest.mark.parametrize("form", ["numpy", "numba"])
def test_absurd_coordinates(form: str) -> None:
    setting = setting_of(SIZE, FLAT, machine=ROUTER)
    path = Path(10, 10, 5).line(z=-2).line(x=1e300).line(x=-1e300, y=1e300).rapid(x=10, y=math.inf).rapid(10, 10, -2)
    path.line(x=math.nan).line(20, 20, -1e9).line(1e6, 3e6, -3).line(30, 20, -2).arc(1e300, 20, 90).arc(-1e5, 20, 5)
    cuts = cut(path, setting, form=form)
    assert {u.cause for u in cuts.unlooked} == {"unknown-position"}
    assert cuts.uncertain_from == 1
    assert np.isfinite(cuts.volume).all() and cuts.removed <= math.prod(SIZE) * (1 + 1e-6)
    assert freed_parts(cuts).freed is not None


def test_all_unknown_and_nothing_at_all() -> None:
    setting = setting_of(SIZE, FLAT, machine=ROUTER)
    path = Path(math.nan, math.nan, math.nan).line(x=math.nan).rapid(y=math.nan)
    cuts = cut(path, setting)
    assert len(cuts) == 0 and len(cuts.unlooked) == 1
    for form in ("numpy", "numba"):
        empty = cut(Path(0, 0, 0), setting, form=form)
        assert len(empty) == 0 and empty.removed == 0 and len(empty.angles()[0]) == 0
        assert thin_floors(empty, thinner_than=1, wider_than=1) == thin_walls(empty, thinner_than=1, higher_than=1) == ()


def test_a_million_moves_that_go_nowhere() -> None:
    moves = Path(10, 10, 5).line(z=-2).moves()
    n = 1_000_000
    here = np.broadcast_to(moves.end[0], (n, 3)).copy()
    many = replace(
        moves,
        kind=np.full(n, Kind.FEED, dtype=np.int8),
        block=np.arange(n, dtype=np.int32),
        call=np.full(n, -1, dtype=np.int32),
        mode=np.zeros(n, dtype=np.int32),
        frame=np.zeros(n, dtype=np.int32),
        flags=np.zeros(n, dtype=np.uint16),
        start=here,
        end=here.copy(),
        feed=np.full(n, 100.0),
        minutes=np.full(n, np.nan),
    )
    setting = setting_of(SIZE, FLAT)
    begun = time.process_time()
    placed = place(program_of(many), setting)
    assert placed is not None
    cuts = remove(placed, setting)
    assert len(cuts) == 0 and cuts.removed == 0
    assert time.process_time() - begun < 20  # well under a second on an idle machine


def test_a_cutter_of_a_thousandth_of_a_millimetre_is_told_as_coarse() -> None:
    setting = setting_of(SIZE, Cutter("hair", diameter=0.001))
    bounds = StockBounds(cells=1_000_000, pieces=100_000)
    cuts = cut(Path(0, 30, -1).line(x=80).line(y=10), setting, bounds=bounds)
    assert cuts.coarse and any("coarser than 1/24" in t for t in cuts.told)
    assert cuts.field.top.size <= 1_000_000 and len(cuts) <= 100_000


def test_a_stock_of_ten_kilometres_is_told_as_coarse() -> None:
    setting = setting_of((1e7, 1e7, 12.0), FLAT)
    bounds = StockBounds(cells=500_000)
    cuts = cut(Path(0, 30, -1).line(x=1e6), setting, bounds=bounds)
    assert cuts.coarse and cuts.told and cuts.field.top.size <= 500_000
    narrow = grid_of((1e7, 0.001, 5.0), 0.25, 10_000)
    assert narrow.nx * narrow.ny <= 10_000


def test_work_beyond_the_bound_coarsens_the_grid() -> None:
    setting = setting_of(SIZE, FLAT)
    path = Path(0, 30, -1)
    for k in range(60):
        path.line(x=80 - 80 * (k % 2)).line(y=30 + k % 3)
    fine = cut(path, setting)
    coarse = cut(path, setting, bounds=StockBounds(visits=100_000))
    assert not fine.coarse and coarse.coarse and coarse.cell > 2 * fine.cell and coarse.told
    assert coarse.removed == pytest.approx(fine.removed, rel=0.1)


def test_too_many_pieces_are_lengthened_and_told() -> None:
    setting = setting_of(SIZE, FLAT)
    path = Path(0, 30, -1)
    for k in range(40):
        path.line(x=80 - 80 * (k % 2))
    cuts = cut(path, setting, bounds=StockBounds(pieces=200))
    assert len(cuts) <= 300 and any("longer" in t for t in cuts.told)
    assert cuts.removed == pytest.approx(cut(path, setting).removed, rel=1e-9)


def test_an_endless_helix_is_bounded() -> None:
    setting = setting_of(SIZE, FLAT)
    cuts = cut(Path(30, 30, 0).arc(33, 30, 360 * 5_000, z=-5), setting)
    assert len(cuts) <= 60_000
    assert cuts.removed == pytest.approx(math.pi * 36 * 5, rel=0.02)


def test_zero_sized_cutter_and_thin_stock() -> None:
    cuts = cut(Path(0, 30, -0.5).line(x=80), setting_of((80.0, 60.0, 0.1), Cutter("none", diameter=0.0)),
               bounds=StockBounds(cells=10_000))  # fmt: skip
    assert cuts.coarse and cuts.removed <= 80 * 60 * 0.1


def test_progress_goes_up_to_one() -> None:
    setting = setting_of(SIZE, FLAT)
    for form in ("numpy", "numba"):
        seen: list[float] = []
        cut(Path(0, 30, -1).line(x=80).line(y=10), setting, form=form, progress=seen.append)
        assert seen == sorted(seen) and seen[-1] == 1.0


def test_without_numba_the_reason_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FEEDWRIGHT_NO_NUMBA", "1")
    form, reason = choose_form("auto", 30.0)
    assert form == "numpy" and "slower" in reason and "FEEDWRIGHT_NO_NUMBA" in reason
    cuts = cut(Path(0, 30, -1).line(x=80), setting_of(SIZE, FLAT), form="numba")
    assert cuts.form == "numpy" and any("slower" in t for t in cuts.told)
    with pytest.raises(ValueError, match="auto, numpy or numba"):
        choose_form("fortran", 1.0)


def test_small_programs_do_not_load_numba() -> None:
    code = (
        "import sys; from tests.stock.build import *\n"
        "cut(Path(10, 10, 5).line(z=-2).line(x=60), setting_of((80.0, 60.0, 12.0), Cutter('f', diameter=6.0)))\n"
        "print('numba' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_compiled_code_needs_no_writable_place(tmp_path: FilePath) -> None:
    """With a cache folder that cannot be made, kernels are compiled in memory, and it is told."""
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    code = "import grammar.jit as jit\nimport tests.stock.jitted as j\nprint(j.double(21), len(jit.notes))"
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(blocked / "cache")}
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False, env=environment)
    assert done.stdout.split()[0] == "42", done.stderr


def test_unread_rows_have_no_pieces() -> None:
    path = Path(10, 10, 5).line(z=-2).line(x=30).tool(9).line(x=50).tool(1).line(x=60)
    setting = setting_of(SIZE, FLAT)
    cuts = cut(path, setting)
    assert set(cuts.row.tolist()) == {0, 1, 3}
    assert placed_of(path, setting).unlooked == cuts.unlooked


ODD = [0.0, 1e-12, -1e-9, 1e-6, 1e6, -1e6, 1e7, 1e8, 1e300, -1e300, math.nan, math.inf, -math.inf, 5.0, -5.0, 40.0]
STRANGE = [
    Cutter("parts", diameter=5.0, stickout=3.0, holder_diameter=20.0, shank=8.0, flute_length=2.0),
    Cutter("ball", form="ball", diameter=5.0),
    Cutter("corner larger than the radius", form="corner", corner_radius=9.0, diameter=5.0),
    Cutter("no angle", form="vee", tip_angle=0.0, diameter=5.0),
    Cutter("all angle", form="vee", tip_angle=200.0, tip_diameter=9.0, diameter=5.0),
    Cutter("hair", form="drill", diameter=1e-3),
    Cutter("barn", form="ball", diameter=1e5),
]


@pytest.mark.parametrize("cutter", STRANGE, ids=lambda c: c.name)
def test_strange_cutters_on_strange_paths(cutter: Cutter) -> None:
    """Nothing is raised, nothing is NaN, no more is removed than there is, both forms keep to the bounds."""
    rng = np.random.default_rng(len(cutter.name))
    bounds = StockBounds(cells=20_000, pieces=20_000, visits=1e7)

    def value() -> float:
        return float(rng.choice(ODD)) if rng.random() < 0.4 else float(rng.uniform(-10, 50))

    for _ in range(4):
        path = Path(value(), value(), value())
        for _ in range(8):
            kind = rng.integers(0, 3)
            if kind == 0:
                path.line(value(), value(), value())
            elif kind == 1:
                path.rapid(value(), value(), value())
            else:
                centre, plane = (value(), value(), value()), int(rng.choice([17, 18, 19]))
                sweep = float(rng.choice([0.0, 1e-12, 1.0, -6.3, 100.0, math.nan, 1e9]))
                path._go(Kind.ARC, value(), value(), value(), centre=centre, sweep=sweep, plane=plane)
        setting = setting_of((40.0, 30.0, 10.0), cutter, machine=ROUTER)
        for form in ("numpy", "numba"):
            cuts = cut(path, setting, form=form, bounds=bounds)
            assert np.isfinite(cuts.volume).all() and 0 <= cuts.volume.sum() <= 12_000 * (1 + 1e-6)
            assert np.isfinite(cuts.field.top).all() and not np.isnan(cuts.depth).any()
            assert cuts.field.top.size <= 20_000 and len(cuts) <= 400_000
            cuts.angles()
            freed_parts(cuts)
