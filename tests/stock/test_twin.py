"""The model against its slow twin, and the two forms of the kernels against each other."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from advisor.stock import Cuts
from advisor.values import Cutter
from tests.stock.build import ROUTER, Path, cut, placed_of, setting_of
from tests.stock.twin import edge_distance, height_left, positions

SIZE = (40.0, 30.0, 10.0)
FORMS = {
    "flat": Cutter("flat", diameter=5.0, stickout=6.0, holder_diameter=14.0, flute_length=3.0, shank=6.0),
    "ball": Cutter("ball", form="ball", diameter=5.0),
    "corner": Cutter("corner", form="corner", corner_radius=1.2, diameter=5.0),
    "vee": Cutter("vee", form="vee", tip_angle=60.0, tip_diameter=0.5, diameter=5.0),
    "drill": Cutter("drill", form="drill", tip_angle=118.0, diameter=5.0),
}


def wild_path(seed: int, moves: int = 22) -> Path:
    """Anything: lines in any direction, arcs and helices in XY, arcs in XZ, rapids, through the stock and over it."""
    rng = np.random.default_rng(seed)
    path = Path(*rng.uniform((5, 5), (35, 25)), 2.0)
    for _ in range(moves):
        x, y, z = rng.uniform((-3, -3, -7), (43, 33, 1.5))
        kind = rng.integers(0, 9)
        if kind == 0:
            path.line(z=z)
        elif kind <= 2:
            path.line(x, y)
        elif kind == 3:
            path.line(x, y, z)
        elif kind == 4:
            path.arc(*rng.uniform((12, 10), (28, 20)), rng.uniform(-360, 360))
        elif kind == 5:
            path.arc(path.at[0] + rng.uniform(0.5, 4), path.at[1], rng.uniform(-700, 700), z=z)
        elif kind == 6:
            path.arc_xz(path.at[0] + 3, path.at[2] + 1, rng.uniform(-180, 180))
        else:
            path.rapid(x, y, z if kind == 7 else None)
    return path


@pytest.mark.parametrize("form", FORMS)
def test_heights_are_those_of_the_twin(form: str) -> None:
    """At random sample points, to within what the twin's steps allow; points on an edge of the path are left out."""
    rng = np.random.default_rng(len(form))
    setting = setting_of(SIZE, FORMS[form])
    for seed in (1, 2):
        path = wild_path(seed, 14)
        placed = placed_of(path, setting)
        cuts = cut(path, setting)
        walk = positions(placed, 0.02)
        compared = lowered = 0
        for cell in rng.integers(0, cuts.field.top.size, 150).tolist():
            x, y = cuts.place_of(cell)
            if edge_distance(placed, walk, x, y) < 0.05:
                continue
            height = height_left(placed, walk, x, y)
            compared += 1
            lowered += height < SIZE[2] - 0.1
            assert float(cuts.field.top.ravel()[cell]) == pytest.approx(height, abs=0.03), (seed, x, y)
        assert compared > 60 and lowered > 20


def columns(cuts: Cuts) -> dict[str, np.ndarray]:
    found = {f.name: getattr(cuts, f.name) for f in fields(cuts)}
    return {k: v for k, v in found.items() if isinstance(v, np.ndarray)} | {"top": cuts.field.top}


@pytest.mark.parametrize("form", FORMS)
def test_both_forms_of_the_kernels_agree(form: str) -> None:
    setting = setting_of(SIZE, FORMS[form], machine=ROUTER)
    for seed in range(10, 16):
        plain = cut(wild_path(seed), setting, form="numpy")
        compiled = cut(wild_path(seed), setting, form="numba")
        assert (plain.form, compiled.form) == ("numpy", "numba")
        for name, column in columns(plain).items():
            other = columns(compiled)[name]
            if column.dtype.kind == "f":
                assert np.allclose(column, other, rtol=1e-6, atol=1e-6, equal_nan=True), (seed, name)
            else:
                assert (column != other).sum() <= 1e-4 * len(column), (seed, name)
        assert plain.bent is not None and compiled.bent is not None
        assert [t.row for t in plain.bent] == [t.row for t in compiled.bent]
        assert np.allclose([t.depth for t in plain.bent], [t.depth for t in compiled.bent], atol=1e-6)


def test_the_same_bits_on_any_number_of_threads() -> None:
    setting = setting_of((200.0, 30.0, 10.0), FORMS["ball"], FORMS["flat"])
    path = wild_path(77, 30)
    for k in range(20):
        path.line(190 - 180 * (k % 2), 1.4 * k, -2 - 0.1 * k)
    path.tool(2).rapid(z=2).rapid(10, 10).line(z=-8).line(180, 20)
    one = columns(cut(path, setting, form="numba", threads=1))
    for threads in (2, 3, 7):
        other = columns(cut(path, setting, form="numba", threads=threads))
        assert all(one[name].tobytes() == other[name].tobytes() for name in one)
