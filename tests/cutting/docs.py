"""Reads the docstrings of the formulas: summary, symbol table, what is returned, range, source."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import advisor.cutting

# units as the docstrings write them -> as pint reads them
WRITTEN = {
    "N m": "N*m", "N.m": "N*m", "N/mm2": "N/mm^2", "rev/min": "rpm", "mm/s2": "mm/s^2", "mm/s3": "mm/s^3",
    "cm3/min": "cm^3/min", "mm2": "mm^2", "mm3": "mm^3", "mm4": "mm^4", "W.s/mm3": "W*s/mm^3", "kW.s/cm3": "kW*s/cm^3",
}  # fmt: skip
RETURNED = re.compile(
    r"(?:, |in )(N m|N/mm2|N/um|N/m|N|mm/min|mm/N|mm4|mm|m/min|m/N|m/s|m|cm3/min|rev/min|deg|min|W|s)(?=[,;)\s]|$)"
)

WITHOUT_TABLES = {"validity", "arrays"}  # machinery, and forms whose table stands at the scalar formula


@dataclass(frozen=True)
class Page:
    """One formula's docstring, taken apart."""

    summary: str
    symbols: dict[str, tuple[str, str, str]]  # argument -> (symbol, unit, meaning)
    returns: str
    range: str
    source: str


def modules() -> Iterator[Any]:
    """The modules that hold formulas."""
    for info in pkgutil.iter_modules(advisor.cutting.__path__):
        if info.name not in WITHOUT_TABLES:
            yield importlib.import_module(f"advisor.cutting.{info.name}")


def formulas() -> dict[str, Callable[..., Any]]:
    """All public functions of those modules, by "module.name"."""
    return {
        f"{module.__name__.rsplit('.', 1)[1]}.{name}": thing
        for module in modules()
        for name, thing in vars(module).items()
        if inspect.isfunction(thing) and thing.__module__ == module.__name__ and not name.startswith("_")
    }


def page(formula: Callable[..., Any]) -> Page:
    """The docstring of a formula; fails with a sentence when a section is missing."""
    text = inspect.getdoc(formula) or ""
    parts = re.split(r"^(Symbols|Returns|Range|Source):$", text, flags=re.MULTILINE)
    found = {head: body.strip() for head, body in zip(parts[1::2], parts[2::2], strict=True)}
    for head in ("Symbols", "Returns", "Range", "Source"):
        assert found.get(head), f"{formula.__name__} says nothing under {head}"
    symbols = {}
    for line in found["Symbols"].splitlines():
        columns = re.split(r"\s{2,}", line.strip())
        assert len(columns) == 4, f"{formula.__name__}: the line {line!r} is not name, symbol, unit, meaning"
        symbols[columns[0]] = (columns[1], columns[2], columns[3])
    return Page(parts[0].strip(), symbols, found["Returns"], found["Range"], " ".join(found["Source"].split()))


def canonical(unit: str) -> str:
    """A unit as pint reads it."""
    return WRITTEN.get(unit, unit)


def returned_units(formula: Callable[..., Any]) -> list[str]:
    """The units of what a formula returns, as its docstring says: "h_max, mm; 0 for nothing", "(M in N m, T in N)"."""
    return [canonical(unit) for unit in RETURNED.findall(page(formula).returns)]
