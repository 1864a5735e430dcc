"""Every formula says what its symbols are, in what units, where it holds, where it comes from; and keeps its word."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
from pathlib import Path

import pytest

import advisor.cutting
from advisor.cutting.validity import covered
from advisor.sources import parts
from tests.cutting.docs import WITHOUT_TABLES, formulas, page

UNITS = {
    "-", "mm", "mm/min", "mm/s2", "mm/s3", "mm2", "mm3", "cm3/min",
    "m/min", "rev/min", "deg", "N", "N/mm", "N/mm2", "N.m",
    "N/um", "m/N", "mm/N", "W", "W.s/mm3", "kW.s/cm3", "Hz", "min", "kPa", "D", "1/%", "%",
}  # fmt: skip
ALL = formulas()


@pytest.mark.parametrize("name", ALL)
def test_docstring_and_signature_agree(name: str) -> None:
    formula = ALL[name]
    told = page(formula)
    signature = inspect.signature(formula)
    assert list(told.symbols) == list(signature.parameters)
    assert all(entry.kind is inspect.Parameter.KEYWORD_ONLY for entry in signature.parameters.values())
    assert all(unit in UNITS for _, unit, _ in told.symbols.values())
    assert told.summary.splitlines()[0].endswith(".")
    parts(told.source)  # raises for a placeholder or an unknown source
    assert set(covered(formula)) <= set(signature.parameters)


def test_there_are_formulas_in_every_module() -> None:
    held = {name.split(".")[0] for name in ALL}
    there = {info.name for info in pkgutil.iter_modules(advisor.cutting.__path__)} - WITHOUT_TABLES
    assert held == there
    assert len(ALL) > 80


def test_formulas_import_nothing_heavy() -> None:
    """Only ``arrays`` may load numpy; nothing here may touch the disk or print."""
    for info in pkgutil.iter_modules(advisor.cutting.__path__):
        module = importlib.import_module(f"advisor.cutting.{info.name}")
        tree = ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8"))
        loaded = {
            name.split(".")[0]
            for node in ast.walk(tree)
            if isinstance(node, (ast.Import, ast.ImportFrom))
            for name in ([alias.name for alias in node.names] if isinstance(node, ast.Import) else [node.module or ""])
        }
        allowed = {"__future__", "math", "cmath", "bisect", "collections", "dataclasses", "typing", "advisor"}
        assert loaded <= (allowed | {"numpy"} if info.name == "arrays" else allowed), info.name
        called = {node.func.id for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}
        assert not called & {"print", "open", "input"}
