"""Parameters and expressions (NISTIR 6556 3.3.2).

An expression is a nested tuple: ("n", number), ("p", index), ("name", text), ("f", function, argument),
("atan", y, x), ("neg", value), ("chain", operands, operators). Angles are degrees.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from grammar import lexicon
from grammar.parse import Reject

_RANKS: tuple[frozenset[str], ...] = (  # 3.3.2.3: three ranks, each left to right
    frozenset(("**",)),
    frozenset(("*", "/", "MOD")),
    frozenset(("+", "-", "AND", "XOR", "OR")),
)
_COMPARISONS = frozenset(("EQ", "NE", "GT", "GE", "LT", "LE"))
_RANKS_WITH_COMPARISON: tuple[frozenset[str], ...] = (  # not of the standard: logic joins conditions
    *_RANKS[:2],
    frozenset("+-"),
    _COMPARISONS,
    frozenset(("AND", "XOR", "OR")),
)
_EQUAL = 1e-9  # two values this near are equal in a comparison; estimate, no source


def fault(message: str, fix: str = "Work the values out by hand and correct the expression.") -> Reject:
    """The refusal of an expression."""
    return Reject("expression-fault", message, fix)


class Parameters:
    """The numbered stores (3.2.1), and named ones where the dialect has them.

    ``strict`` starts every store at 0; else a store nobody set is unknown (NaN), and ``unset`` collects its name.
    """

    def __init__(self, start: Mapping[int, float], *, strict: bool, many: bool = False) -> None:
        self.values: dict[int, float] = dict(start)
        self.names: list[dict[str, float]] = [{}]  # the last is the innermost subroutine's
        self.locals: list[dict[int, float]] = []
        self.strict = strict
        self.many = many  # indices beyond the standard's
        self.unset: dict[str, None] = {}
        self.written: set[int] = set()  # set by the program, by # or by a code
        self.fresh: set[int] = set()  # of these, origins and offsets that nothing has taken over yet

    def index(self, value: float) -> int:
        """A parameter index. Raises Reject where it is no whole number in range."""
        if math.isnan(value):
            raise fault("the number of a parameter depends on a parameter that is not known here",
                        "Set the parameter before this block.")
        whole = round(value) if abs(value) < 1e9 else 0
        if abs(value - whole) > lexicon.WHOLE_TOLERANCE:
            raise fault(f"#{value:g}: the number of a parameter must be whole", "Use a whole number after #.")
        if not self.many and not 1 <= whole <= lexicon.LAST_PARAMETER:
            raise fault(f"#{whole}: parameters run from 1 to {lexicon.LAST_PARAMETER}", "Use a number in that range.")
        if not 0 <= whole <= 99_999_999:
            raise fault(f"#{value:g} is no parameter", "Use a number from 1 to 5399.")
        return whole

    def local(self, index: int) -> bool:
        """Whether a parameter belongs to the innermost subroutine."""
        return bool(self.locals) and 1 <= index <= 30

    def get(self, index: int) -> float:
        """The value of a parameter."""
        if self.local(index):
            return self.locals[-1].get(index, 0.0)
        found = self.values.get(index)
        if found is None:
            if self.strict:
                return 0.0
            self.unset[f"#{index}"] = None
            return math.nan
        return found

    def set(self, index: int, value: float) -> None:
        """Set a parameter, as the program does it."""
        if self.local(index):
            self.locals[-1][index] = value
            return
        self.values[index] = value
        self.written.add(index)
        self.fresh.add(index)

    def named(self, name: str) -> float:
        """The value of a named parameter; names that begin with _ belong to the whole program."""
        store = self.names[0] if name.startswith("_") else self.names[-1]
        if name not in store:
            self.unset[f"#<{name}>"] = None
            return math.nan
        return store[name]

    def set_named(self, name: str, value: float) -> None:
        """Set a named parameter."""
        (self.names[0] if name.startswith("_") else self.names[-1])[name] = value


def evaluate(expression: Any, parameters: Parameters) -> float:
    """The value of an expression. Raises Reject where no real number results."""
    kind = expression[0]
    if kind == "n":
        return float(expression[1])
    if kind == "p":
        return parameters.get(parameters.index(evaluate(expression[1], parameters)))
    if kind == "chain":
        return _chain(expression[1], expression[2], parameters)
    if kind == "f":
        return _call(expression[1], evaluate(expression[2], parameters))
    if kind == "neg":
        return -evaluate(expression[1], parameters)
    if kind == "name":
        return parameters.named(expression[1])
    y, x = evaluate(expression[1], parameters), evaluate(expression[2], parameters)
    if x == 0 and y == 0:
        raise fault("ATAN[0]/[0] has no value")
    return math.degrees(math.atan2(y, x))


def _chain(operands: tuple[Any, ...], operators: tuple[str, ...], parameters: Parameters) -> float:
    values = [evaluate(operand, parameters) for operand in operands]
    left = list(operators)
    for rank in _RANKS if _COMPARISONS.isdisjoint(left) else _RANKS_WITH_COMPARISON:
        if rank.isdisjoint(left):
            continue
        kept_values, kept_operators = [values[0]], []
        for operator, value in zip(left, values[1:], strict=True):
            if operator in rank:
                kept_values[-1] = _binary(operator, kept_values[-1], value)
            else:
                kept_values.append(value)
                kept_operators.append(operator)
        values, left = kept_values, kept_operators
    return values[0]


def _binary(operator: str, a: float, b: float) -> float:
    try:
        value = _OPERATIONS[operator](a, b)
    except ZeroDivisionError:
        raise fault(f"{a:g} {operator} {b:g}: division by zero") from None
    except (OverflowError, ValueError):
        raise fault(f"{a:g} {operator} {b:g} has no value") from None
    if isinstance(value, complex) or ((math.isinf(value) or math.isnan(value)) and not (math.isnan(a) or math.isnan(b))):
        raise fault(f"{a:g} {operator} {b:g} has no value")
    return float(value)


def _power(a: float, b: float) -> float:
    if a == 0 and b == 0:
        raise ValueError
    value: Any = a**b
    return value  # type: ignore[no-any-return]


_OPERATIONS: dict[str, Callable[[float, float], float]] = {
    "**": _power,
    "*": lambda a, b: a * b,
    "/": lambda a, b: a / b,
    "MOD": lambda a, b: a % b,  # takes the sign of the divisor; the standard does not say
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "AND": lambda a, b: float(a != 0 and b != 0),
    "OR": lambda a, b: float(a != 0 or b != 0),
    "XOR": lambda a, b: float((a != 0) != (b != 0)),
    "EQ": lambda a, b: float(abs(a - b) <= _EQUAL),
    "NE": lambda a, b: float(abs(a - b) > _EQUAL),
    "GT": lambda a, b: float(a - b > _EQUAL),
    "GE": lambda a, b: float(a - b >= -_EQUAL),
    "LT": lambda a, b: float(b - a > _EQUAL),
    "LE": lambda a, b: float(b - a >= -_EQUAL),
}


def _call(name: str, x: float) -> float:
    try:
        value = _FUNCTIONS[name](x)
    except (ValueError, OverflowError):
        if math.isnan(x):
            return x
        raise fault(f"{name}[{x:g}] has no value") from None
    return float(value)


def _logarithm(x: float) -> float:
    return math.log(x)


_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "ABS": abs,
    "ACOS": lambda x: math.degrees(math.acos(x)),
    "ASIN": lambda x: math.degrees(math.asin(x)),
    "COS": lambda x: _exact(math.cos(math.radians(x))),
    "EXP": math.exp,
    "FIX": lambda x: float(math.floor(x)),  # towards minus infinity
    "FUP": lambda x: float(math.ceil(x)),
    "LN": _logarithm,
    "ROUND": lambda x: math.copysign(math.floor(abs(x) + 0.5), x),  # halves away from zero; the standard does not say
    "SIN": lambda x: _exact(math.sin(math.radians(x))),
    "SQRT": math.sqrt,
    "TAN": lambda x: math.tan(math.radians(x)),
}


def _exact(value: float) -> float:
    """sin and cos of a right angle are 0, not 6e-17."""
    return 0.0 if abs(value) < 1e-15 else value
