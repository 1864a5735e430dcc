"""Where a formula may be used: hard limits raise ``RangeError``, soft ones are told by ``caveats``."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar

F = TypeVar("F", bound=Callable[..., Any])
Covered = dict[str, tuple[float, float, str]]  # input -> (low, high, what happens outside)
_COVERED: dict[str, Covered] = {}


class RangeError(ValueError):
    """Input for which a formula has no meaning; ``name`` and ``value`` tell which."""

    def __init__(self, name: str, value: float, wanted: str) -> None:
        super().__init__(f"{name.replace('_', ' ')} is {value:g}; {wanted}")
        self.name, self.value, self.wanted = name, value, wanted


def positive(**inputs: float) -> None:
    """Raise ``RangeError`` unless every input is a finite number above zero."""
    for name, value in inputs.items():
        if not 0.0 < value < math.inf:
            raise RangeError(name, value, "it must be a number above zero")


def not_negative(**inputs: float) -> None:
    """Raise ``RangeError`` unless every input is a finite number of zero or more."""
    for name, value in inputs.items():
        if not 0.0 <= value < math.inf:
            raise RangeError(name, value, "it must be a number of zero or more")


def within(low: float, high: float, **inputs: float) -> None:
    """Raise ``RangeError`` unless every input lies from ``low`` to ``high``, but for the last digit of a float."""
    slack = 1e-9 * max(1.0, abs(low), abs(high))
    for name, value in inputs.items():
        if not low - slack <= value <= high + slack:
            raise RangeError(name, value, f"it must lie from {low:g} to {high:g}")


def covers(**ranges: tuple[float, float, str]) -> Callable[[F], F]:
    """Note beside a formula the range its source covers: input -> (low, high, what happens outside)."""

    def note(formula: F) -> F:
        _COVERED[f"{formula.__module__}.{formula.__qualname__}"] = dict(ranges)
        return formula

    return note


def covered(formula: Callable[..., Any]) -> Covered:
    """The range noted beside a formula; empty where it holds everywhere (plain geometry)."""
    return _COVERED.get(f"{formula.__module__}.{formula.__qualname__}", {})


def caveats(formula: Callable[..., Any], **inputs: Any) -> tuple[str, ...]:
    """Sentences on the inputs that leave the range the formula's source covers; empty when none does."""
    told = []
    for name, (low, high, effect) in covered(formula).items():
        value = inputs.get(name)
        if isinstance(value, (int, float)) and not low <= value <= high:
            side = f"below {low:g}" if value < low else f"above {high:g}"
            told.append(f"{name.replace('_', ' ')} {value:.4g} is {side}: {effect}")
    return tuple(told)
