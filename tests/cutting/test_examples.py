"""Worked examples of books and papers, row by row; units go in and out through pint."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pint
import pytest

from advisor.sources import parts
from tests.cutting.docs import canonical, formulas, page, returned_units

FORMULAS = formulas()
# the examples' own registry: not the project's, so that a wrong unit there can't hide here
UNITS = pint.UnitRegistry()
TABLE = tomllib.loads((Path(__file__).parents[1] / "tables" / "examples.toml").read_text(encoding="utf-8"))["example"]


def half_digit(text: str) -> float:
    """Half a unit of the last printed digit."""
    number = text.split()[0]
    decimals = len(number.split(".")[1]) if "." in number else 0
    return 0.5 * 10.0**-decimals


def number_in(text: Any, unit: str) -> float:
    """An input in the unit of the symbol table; pint does the conversion."""
    if not isinstance(text, str):
        return text  # type: ignore[no-any-return]
    return float(UNITS.Quantity(text).to(canonical(unit)).magnitude)


def run(check: dict[str, Any], known: dict[str, float]) -> float:
    formula = check["formula"]
    symbols = page(FORMULAS[formula]).symbols
    inputs = {}
    for name, value in check["inputs"].items():
        if isinstance(value, str) and value[0] in "$@":
            inputs[name] = known[value[1:]]
        else:
            inputs[name] = number_in(value, symbols[name][1])
    result = FORMULAS[formula](**inputs)
    if "part" in check:
        result = result[check["part"]]
    if "less" in check:
        result -= known[check["less"][1:]]
    return float(result) * check.get("scale", 1.0)


def in_unit(result: float, formula: str, text: str, part: Any = None) -> float:
    """The result in the unit the expected text is written in."""
    wanted = text.split(maxsplit=1)
    if len(wanted) == 1:
        return result
    units = returned_units(FORMULAS[formula])
    unit = units[part if isinstance(part, int) and len(units) > part else 0] if units else None
    assert unit is not None, f"{formula} does not say the unit of what it returns"
    return float(UNITS.Quantity(result, unit).to(wanted[1]).magnitude)


def assert_printed(result: float, formula: str, text: str, share: float | None, part: Any) -> None:
    got, want = in_unit(result, formula, text, part), float(text.split()[0])
    room = max(half_digit(text) * 1.0001, abs(want) * (share or 0.0))
    assert got == pytest.approx(want, abs=room, rel=0.0), f"{formula}: {got} is not the printed {text}"


@pytest.mark.parametrize("example", TABLE, ids=lambda example: example["id"])
def test_worked_example(example: dict[str, Any]) -> None:
    parts(example["source"])  # a row without a source does not run
    sweep = example.get("sweep")
    for index, value in enumerate(sweep["values"] if sweep else [None]):
        known = {sweep["input"]: value} if sweep else {}
        for check in example["checks"]:
            result = run(check, known)
            if "name" in check:
                known[check["name"]] = result
            expected = check["each"][index] if sweep else check["expected"]
            loose_expected = None if "published" in check else check.get("within")
            assert_printed(result, check["formula"], expected, loose_expected, check.get("part"))
            if "published" in check:
                assert_printed(result, check["formula"], check["published"], check.get("within"), check.get("part"))


def test_every_row_is_run() -> None:
    assert len(TABLE) >= 38
    assert sum(len(example["checks"]) for example in TABLE) > 130
