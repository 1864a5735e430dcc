"""The array forms equal the scalar forms to the last digits, broadcast, and never raise on a program's odd elements."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.cutting import arrays, bending, chip, engagement, force, power, speed
from tests.cutting.docs import formulas

LOAD, ANGLE, DIAMETER = st.floats(0.0, 0.5), st.floats(0.0, 180.0), st.floats(0.5, 25.0)
PAIRS: list[tuple[Any, Any, dict[str, Any]]] = [
    (arrays.cutting_speed, speed.cutting_speed, {"diameter": DIAMETER, "rpm": st.floats(0.0, 30000.0)}),
    (arrays.feed_per_tooth, speed.feed_per_tooth,
     {"feed": st.floats(0.0, 9000.0), "rpm": st.floats(1.0, 30000.0), "flutes": st.integers(1, 6)}),
    (arrays.greatest_chip_over, chip.greatest_chip_over,
     {"chip_load": LOAD, "engagement": ANGLE, "edge_angle": st.floats(1.0, 90.0)}),
    (arrays.specific_force, force.specific_force,
     {"unit_force": st.floats(0.0, 3000.0), "exponent": st.floats(0.0, 0.5), "thickness": st.floats(1e-4, 2.0)}),
    (arrays.kienzle_force, force.kienzle_force,
     {"unit_force": st.floats(0.0, 3000.0), "exponent": st.floats(0.0, 0.5), "thickness": LOAD,
      "chip_width": st.floats(0.0, 30.0), "factor": st.floats(0.5, 3.0)}),
    (arrays.edge_model_force, force.edge_model_force,
     {"shear_force": st.floats(0.0, 1500.0), "edge_force": st.floats(0.0, 50.0), "thickness": LOAD,
      "chip_width": st.floats(0.0, 30.0)}),
    (arrays.torque, power.torque, {"power": st.floats(0.0, 5000.0), "rpm": st.floats(1.0, 30000.0)}),
    (arrays.compliance_deflection, bending.compliance_deflection,
     {"force": st.floats(0.0, 500.0), "stiffness": st.just(1.7)}),
    (arrays.round_edge_angle, chip.round_edge_angle, {"depth": st.floats(1e-3, 9.0), "radius": st.floats(0.1, 6.0)}),
]  # fmt: skip


@pytest.mark.parametrize(("many", "one", "inputs"), PAIRS, ids=lambda thing: getattr(thing, "__name__", ""))
def test_equal(many: Any, one: Any, inputs: dict[str, Any]) -> None:
    @settings(max_examples=30, deadline=None)
    @given(st.lists(st.fixed_dictionaries(inputs), min_size=1, max_size=8))
    def check(rows: list[dict[str, float]]) -> None:
        columns = {name: np.array([row[name] for row in rows]) for name in inputs}
        if many is arrays.compliance_deflection:
            columns["stiffness"] = rows[0]["stiffness"]  # type: ignore[assignment]
        np.testing.assert_allclose(many(**columns), [one(**row) for row in rows], rtol=1e-11, atol=1e-13)

    check()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(LOAD, st.floats(0.001, 1.0), DIAMETER), min_size=1, max_size=8))
def test_straight_cuts(rows: list[tuple[float, float, float]]) -> None:
    load, ratio, diameter = (np.array(column) for column in zip(*rows, strict=True))
    told = {"chip_load": load, "width": ratio * diameter, "diameter": diameter}
    single = [{"chip_load": f, "width": x * d, "diameter": d} for f, x, d in rows]
    np.testing.assert_allclose(arrays.greatest_chip(**told), [chip.greatest_chip(**row) for row in single], atol=1e-12)
    np.testing.assert_allclose(arrays.mean_chip(**told), [chip.mean_chip(**row) for row in single], rtol=1e-9, atol=1e-13)
    np.testing.assert_allclose(
        arrays.engagement_angle(width=told["width"], diameter=diameter),
        [engagement.engagement_angle(width=row["width"], diameter=row["diameter"]) for row in single],
    )


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(LOAD, ANGLE, ANGLE), min_size=1, max_size=8))
def test_between_two_angles(rows: list[tuple[float, float, float]]) -> None:
    load = np.array([row[0] for row in rows])
    entry, leave = (np.array([sort(row[1:]) for row in rows]) for sort in (min, max))
    mean = arrays.mean_chip_between(chip_load=load, entry=entry, exit=leave)
    one = [chip.mean_chip_between(chip_load=f, entry=min(a, b), exit=max(a, b)) for f, a, b in rows]
    np.testing.assert_allclose(mean, one, rtol=1e-11, atol=1e-13)
    top = arrays.greatest_chip_between(chip_load=load, entry=entry, exit=leave)
    brute = [
        max(chip.chip_at(chip_load=f, angle=float(angle)) for angle in np.linspace(min(a, b), max(a, b), 401))
        for f, a, b in rows
    ]
    np.testing.assert_allclose(top, np.where(leave > entry, brute, 0.0), rtol=1e-4, atol=1e-9)


def test_spindle_and_power() -> None:
    curve = ((3000.0, 2250.0), (12000.0, 9000.0), (24000.0, 9000.0))
    rpm = np.array([0.0, 1000.0, 3000.0, 7000.0, 12000.0, 20000.0, 26000.0])
    for kept in ((), curve):
        told = {"rated_power": 2200.0, "rated_speed": 18000.0, "curve": kept}
        one = [power.spindle_power(rpm=float(n), **told) for n in rpm]
        np.testing.assert_allclose(arrays.spindle_power(rpm=rpm, **told), one)
    volume = speed.removal_rate(depth=3.0, width=6.0, feed=2000.0)
    one_power = power.cutting_power(depth=3.0, width=6.0, feed=2000.0, specific_force=40.0)
    assert arrays.cutting_power(removal_rate=volume, specific_force=40.0) == pytest.approx(one_power)


def test_stepped_bar() -> None:
    shape = {"modulus": 580000.0, "flute_length": 22.0, "flute_diameter": 4.0, "stickout": 28.0, "shank": 6.0}
    pull, place = np.array([10.0, 50.0, 80.0]), np.array([0.0, 3.0, 10.0])
    one = [bending.stepped_deflection(force=f, force_distance=c, **shape) for f, c in zip(pull, place, strict=True)]
    np.testing.assert_allclose(arrays.stepped_deflection(force=pull, force_distance=place, **shape), one)


@pytest.mark.filterwarnings("error")
def test_odd_elements_don_t_raise_or_warn() -> None:
    odd = np.array([0.0, -1.0, np.nan, np.inf, 1e-300])
    assert arrays.engagement_angle(width=odd, diameter=6.0).shape == (5,)
    assert np.isnan(arrays.engagement_angle(width=odd, diameter=6.0)[2])
    assert arrays.specific_force(unit_force=20.0, exponent=0.3, thickness=odd)[0] == 0.0
    assert np.isnan(arrays.specific_force(unit_force=20.0, exponent=0.3, thickness=odd)[2])
    assert arrays.torque(power=np.array([100.0]), rpm=np.array([0.0]))[0] == 0.0
    assert arrays.feed_per_tooth(feed=100.0, rpm=0.0, flutes=2) == np.inf
    assert arrays.feed_per_tooth(feed=0.0, rpm=0.0, flutes=2) == 0.0
    assert arrays.mean_chip_between(chip_load=0.1, entry=np.empty(0), exit=np.empty(0)).shape == (0,)
    assert arrays.engagement_angle(width=np.ones((2, 3)), diameter=6.0).shape == (2, 3)


def test_scalar_formulas_load_no_numpy() -> None:
    names = sorted({name.split(".")[0] for name in formulas()})
    code = "import sys\n" + "".join(f"import advisor.cutting.{name}\n" for name in names)
    code += "sys.exit(1 if {'numpy', 'pint', 'numba', 'lark'} & set(sys.modules) else 0)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
