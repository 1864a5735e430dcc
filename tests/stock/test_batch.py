"""Sweeps taken together give what the same sweeps give one at a time."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from advisor.kernels import batch
from advisor.stock import Cuts
from advisor.values import Cutter
from tests.stock.build import Path, cut, setting_of

CUTTERS = {
    "ball": Cutter(name="ball", diameter=6.0, form="ball", flutes=2),
    "flat": Cutter(name="flat", diameter=6.0, form="flat", flutes=2),
    "corner": Cutter(name="corner", diameter=6.0, form="corner", corner_radius=1.0, flutes=2),
    "vee": Cutter(name="vee", diameter=6.0, form="vee", tip_angle=90.0, flutes=2),
}


def wandering(seed: int) -> Path:
    """Short lines in all directions over each other: level, up, down, upright and with a step aside through the air."""
    chance = np.random.default_rng(seed)
    path = Path(15.0, 15.0, 5.0).line(z=-1.0)
    for k in range(160):
        x, y, z = path.at
        way = int(chance.integers(5))
        step = chance.uniform(-4, 4, 2)
        nx, ny = float(np.clip(x + step[0], -2, 32)), float(np.clip(y + step[1], -2, 32))
        if k % 40 == 39:
            path.rapid(z=5.0).rapid(x=nx, y=ny).line(z=-1.0)
        elif way == 0:
            path.line(z=float(np.clip(z + chance.uniform(-1, 1), -6, 0)))
        elif way < 3:
            path.line(x=nx, y=ny)
        else:
            path.line(x=nx, y=ny, z=float(np.clip(z + chance.uniform(-1, 1), -6, 0)))
    return path


@pytest.mark.parametrize("form", CUTTERS)
@pytest.mark.parametrize("seed", [1, 2])
def test_together_is_one_by_one(form: str, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    setting = setting_of((30.0, 30.0, 12.0), CUTTERS[form])
    taken: list[int] = []
    real = batch.sweep_batch

    def counted(plan, part, *rest):  # type: ignore[no-untyped-def]
        taken.append(part.stop - part.start)
        real(plan, part, *rest)

    monkeypatch.setattr(batch, "FEWEST", 1)
    monkeypatch.setattr(batch, "sweep_batch", counted)
    together = cut(wandering(seed), setting, form="numpy")
    assert sum(taken) > 20
    monkeypatch.setattr(batch, "batchable", lambda plan, boxes: np.zeros(len(plan.sweeps), dtype=bool))
    monkeypatch.setattr(batch, "trailing", lambda plan, boxes, lattice: boxes)
    single = cut(wandering(seed), setting, form="numpy")
    np.testing.assert_allclose(together.field.top, single.field.top, atol=1e-5)
    assert (together.mover != single.mover).mean() < 1e-4
    assert together.removed == pytest.approx(single.removed, rel=1e-6)
    skip = ("placed", "field", "mover", "keepouts", "bent", "unlooked", "told", "at", "above_at")
    for name in (f.name for f in fields(Cuts) if f.name not in skip):
        one, other = getattr(together, name), getattr(single, name)
        if isinstance(one, np.ndarray):
            np.testing.assert_allclose(one, other, rtol=1e-4, atol=0.01, err_msg=name)
