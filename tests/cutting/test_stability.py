"""The two published stability examples (tests/tables/stability.toml), and the theory against brute arithmetic."""

from __future__ import annotations

import math
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from advisor.cutting.stability import (
    Border,
    Mode,
    best_speeds,
    border,
    directional_factors,
    least_real,
    limits_at,
    one_mode_depth,
    response,
    simple_bound,
)
from advisor.cutting.validity import caveats

TABLE = tomllib.loads((Path(__file__).parents[1] / "tables" / "stability.toml").read_text(encoding="utf-8"))
TWO, ONE = TABLE["two_modes"], TABLE["one_mode"]
ARCS = {"down": (90.0, 180.0), "up": (0.0, 90.0), "slot": (0.0, 180.0)}


def modes(axis: str) -> list[Mode]:
    return [Mode(row["frequency"], row["damping"], residue=complex(*row["residue"]) * 1e-5) for row in TWO[axis]]


def printed(text: str, digits: float = 0.5) -> Any:
    """Half a unit of the last printed digit, or ``digits`` of them."""
    decimals = len(text.split(".")[1]) if "." in text else 0
    return pytest.approx(float(text), abs=digits * 1.0001 * 10.0**-decimals, rel=0.0)


def keywords(arc: str) -> dict[str, Any]:
    entry, leave = ARCS[arc]
    return {
        "x_modes": modes("x"),
        "y_modes": modes("y"),
        "flutes": TWO["flutes"],
        "cutting_constant": TWO["cutting_constant"],
        "radial_ratio": TWO["radial_constant"] / TWO["cutting_constant"],
        "entry": entry,
        "exit": leave,
    }


@cache
def two_mode_border(arc: str) -> Border:
    return border(**keywords(arc))


@cache
def one_mode_border() -> Border:
    stiffness = ONE["mass"] * (2.0 * math.pi * ONE["frequency"]) ** 2
    mode = Mode(ONE["frequency"], ONE["damping"], stiffness=stiffness)
    return border(
        x_modes=[mode],
        y_modes=[],
        flutes=ONE["flutes"],
        cutting_constant=ONE["cutting_constant"],
        radial_ratio=ONE["radial_ratio"],
        entry=0.0,
        exit=180.0,
    )


@pytest.mark.parametrize("row", TWO["responses"], ids=lambda row: f"{row['axis']} {row['frequency']}")
def test_mode_sum(row: dict[str, Any]) -> None:
    found = response(modes=modes(row["axis"]), frequency=row["frequency"]) * 1e7
    assert found.real == printed(row["real"])
    if "imaginary" in row:
        assert found.imag == printed(row["imaginary"])


@pytest.mark.parametrize("axis", ["x", "y"])
def test_stiffness(axis: str) -> None:
    assert 1e-6 / response(modes=modes(axis), frequency=50.0).real == printed(TWO["stiffness_at_50"][axis])


@pytest.mark.parametrize("arc", ARCS)
def test_directional_factors(arc: str) -> None:
    entry, leave = ARCS[arc]
    ratio = TWO["radial_constant"] / TWO["cutting_constant"]
    found = directional_factors(entry=entry, exit=leave, radial_ratio=ratio)
    for number, text in zip(found, TWO["factors"][arc], strict=True):
        assert number == printed(text)


def test_one_point_of_the_border() -> None:
    told = TWO["border"]
    found = limits_at(frequency=told["frequency"], **keywords("down"))[0]
    assert found.eigenvalue.real == pytest.approx(told["eigenvalue"][0], abs=0.51)
    assert found.eigenvalue.imag == pytest.approx(told["eigenvalue"][1], abs=0.51)
    # printed from the rounded eigenvalue: one unit of its last digit
    assert found.eigenvalue.imag / found.eigenvalue.real == printed(told["kappa"], 1.0)
    assert found.phase == printed(told["phase"])
    assert found.depth == printed(told["depth"])
    for speed, text in zip(found.speeds(told["frequency"], 2, range(1, 6)), told["speeds"], strict=True):
        assert speed == printed(text)


@pytest.mark.parametrize("arc", ARCS)
def test_least_depth(arc: str) -> None:
    assert two_mode_border(arc).least() == printed(TWO["least"][arc])


@pytest.mark.parametrize("arc", ARCS)
def test_envelope_of_two_modes(arc: str) -> None:
    for rpm, text in TWO["envelope"][arc].items():
        # the printed envelope was itself read off a grid of frequencies: two units of its last digit
        assert two_mode_border(arc).depth(float(rpm)) == printed(text, 2.0), rpm


def test_one_mode() -> None:
    stiffness = ONE["mass"] * (2.0 * math.pi * ONE["frequency"]) ** 2
    assert stiffness / 1e6 == printed(ONE["stiffness"])
    lowest = least_real(stiffness=stiffness / 1e6, damping=ONE["damping"]) / 1000.0
    assert lowest * 1e5 == printed(ONE["least_real"])
    assert directional_factors(entry=0.0, exit=180.0, radial_ratio=ONE["radial_ratio"])[0] == printed(ONE["factor_xx"])
    found = one_mode_border()
    assert found.least() == printed(ONE["least"])
    for rpm, text in ONE["envelope"].items():
        assert found.depth(float(rpm)) == printed(text, 2.0), rpm


def test_against_another_theory() -> None:
    """Zero order against semi-discretization: low in the valleys by up to 15 %, within 30 % on the peaks."""
    found = one_mode_border()
    for rpm, depth in ONE["semi_valleys"].items():
        assert 0.85 * depth <= found.depth(float(rpm)) <= depth, rpm
    for rpm, depth in ONE["semi_peaks"].items():
        assert found.depth(float(rpm)) == pytest.approx(depth, rel=0.30), rpm


def test_the_least_real_part_is_the_least() -> None:
    mode = Mode(800.0, 0.04, stiffness=5e6)
    lowest = min(response(modes=[mode], frequency=800.0 * (1.0 + i / 20000.0)).real for i in range(4000))
    assert least_real(stiffness=5.0, damping=0.04) / 1000.0 == pytest.approx(lowest, rel=1e-4)


@pytest.mark.parametrize(("entry", "leave"), [(0.0, 180.0), (0.0, 90.0), (90.0, 180.0), (0.0, 50.0), (130.0, 180.0)])
@pytest.mark.parametrize("across", [False, True])
def test_one_mode_in_closed_form(entry: float, leave: float, across: bool) -> None:
    """Against the search over chatter frequencies, along and across the feed, either sign of the factor."""
    mode = [Mode(700.0, 0.03, stiffness=4e6)]
    searched = border(
        x_modes=[] if across else mode, y_modes=mode if across else [], flutes=2, cutting_constant=800.0,
        radial_ratio=0.3, entry=entry, exit=leave,
    )  # fmt: skip
    factor = directional_factors(entry=entry, exit=leave, radial_ratio=0.3)[3 if across else 0]
    told = one_mode_depth(stiffness=4.0, damping=0.03, flutes=2, cutting_constant=800.0, directional_factor=factor)
    assert told == pytest.approx(searched.least(), rel=1e-5)


def test_one_mode_of_the_published_benchmark() -> None:
    told = one_mode_depth(
        stiffness=ONE["mass"] * (2.0 * math.pi * ONE["frequency"]) ** 2 / 1e6, damping=ONE["damping"],
        flutes=ONE["flutes"], cutting_constant=ONE["cutting_constant"], directional_factor=float(ONE["factor_xx"]),
    )  # fmt: skip
    assert told == printed(ONE["least"])


def test_simple_bound_is_shared_among_the_teeth() -> None:
    alone = simple_bound(cutting_constant=700.0, least_real=-4e-4)
    assert simple_bound(cutting_constant=700.0, least_real=-4e-4, teeth=2.0) == pytest.approx(alone / 2.0)
    assert simple_bound(cutting_constant=700.0, least_real=-4e-4, teeth=0.3) == alone


def test_nothing_vibrates_nothing_chatters() -> None:
    rigid = border(x_modes=[], y_modes=[], flutes=2, cutting_constant=600.0, radial_ratio=0.3, entry=0.0, exit=180.0)
    assert rigid.least() == math.inf
    assert rigid.depth(10000.0) == math.inf


def test_narrow_cuts_carry_a_caveat() -> None:
    assert "lobes" in caveats(border, width_ratio=0.05)[0]
    assert caveats(border, width_ratio=0.5) == ()


def test_best_speeds_strike_in_time() -> None:
    for lobe, rpm in enumerate(best_speeds(natural_frequency=922.0, flutes=2, count=4), start=1):
        assert rpm / 60.0 * 2 * lobe == pytest.approx(922.0)
