"""Text with units -> plain floats, and back to people when it can't be done.

Common units are read from a literal table, which a test holds equal to pint; pint itself is loaded only for other
units and to say what a wrong quantity really is. Canonical units inside: mm, mm/min, rev/min, degrees, N, N/um, N/mm2,
W, mm/s2, s, Hz, kg; a share is a plain number.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any

from grammar.classes import dataclass

_INCH = 25.4
_FOOT = 304.8
_HORSEPOWER = 745.6998715822702  # 550 foot-pounds a second, NIST SP 811 appendix B
_POUND_FORCE = 4.4482216152605  # N, NIST SP 811 appendix B


class WrongUse(ValueError):  # noqa: N818 - reads as what it is
    """Something the user gave can't be used; the message names it and the remedy."""


class UnitError(WrongUse):
    """A quantity that can't be read; the message names the key, what was found and what is wanted."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of quantity: its name with article, canonical unit, dimension in pint's words and an example."""

    title: str
    unit: str
    pint_unit: str
    example: str


KINDS: dict[str, Kind] = {
    "length": Kind("a length", "mm", "millimeter", "30 mm"),
    "feed": Kind("a feed", "mm/min", "millimeter / minute", "1200 mm/min"),
    "cutting-speed": Kind("a cutting speed", "m/min", "meter / minute", "300 m/min"),
    "speed": Kind("a spindle speed", "rev/min", "revolution / minute", "18000 rpm"),
    "angle": Kind("an angle", "deg", "degree", "3 deg"),
    "force": Kind("a force", "N", "newton", "55 N"),
    "stiffness": Kind("a stiffness", "N/um", "newton / micrometer", "5 N/um"),
    "specific-force": Kind("a specific cutting force", "N/mm2", "newton / millimeter ** 2", "700 N/mm2"),
    "power": Kind("a power", "W", "watt", "1500 W"),
    "acceleration": Kind("an acceleration", "mm/s2", "millimeter / second ** 2", "500 mm/s2"),
    "time": Kind("a time", "s", "second", "4 s"),
    "frequency": Kind("a frequency", "Hz", "hertz", "400 Hz"),
    "density": Kind("a density", "kg/m3", "kilogram / meter ** 3", "680 kg/m3"),
    "share": Kind("a share", "", "dimensionless", "0.85"),
}

# spelling -> (dimension, factor to the dimension's own unit); feed and cutting speed share the dimension "velocity"
TABLE: dict[str, tuple[str, float]] = {
    "mm": ("length", 1.0),
    "millimetre": ("length", 1.0),
    "millimetres": ("length", 1.0),
    "cm": ("length", 10.0),
    "m": ("length", 1000.0),
    "um": ("length", 0.001),
    "µm": ("length", 0.001),
    "μm": ("length", 0.001),
    "in": ("length", _INCH),
    "inch": ("length", _INCH),
    "inches": ("length", _INCH),
    '"': ("length", _INCH),
    "ft": ("length", _FOOT),
    "mm/min": ("velocity", 1.0),
    "m/min": ("velocity", 1000.0),
    "cm/min": ("velocity", 10.0),
    "mm/s": ("velocity", 60.0),
    "m/s": ("velocity", 60000.0),
    "in/min": ("velocity", _INCH),
    "in/s": ("velocity", _INCH * 60.0),
    "ft/min": ("velocity", _FOOT),
    "sfm": ("velocity", _FOOT),
    "rpm": ("speed", 1.0),
    "rev/min": ("speed", 1.0),
    "1/min": ("speed", 1.0),
    "rev/s": ("speed", 60.0),
    "deg": ("angle", 1.0),
    "°": ("angle", 1.0),
    "degree": ("angle", 1.0),
    "degrees": ("angle", 1.0),
    "rad": ("angle", 180.0 / math.pi),
    "N": ("force", 1.0),
    "kN": ("force", 1000.0),
    "lbf": ("force", _POUND_FORCE),
    "N/um": ("stiffness", 1.0),
    "N/µm": ("stiffness", 1.0),
    "N/μm": ("stiffness", 1.0),
    "N/mm": ("stiffness", 0.001),
    "kN/mm": ("stiffness", 1.0),
    "N/m": ("stiffness", 1e-6),
    "N/mm2": ("specific-force", 1.0),
    "N/mm²": ("specific-force", 1.0),
    "N/mm^2": ("specific-force", 1.0),
    "MPa": ("specific-force", 1.0),
    "GPa": ("specific-force", 1000.0),
    "J/mm3": ("specific-force", 1000.0),
    "J/mm³": ("specific-force", 1000.0),
    "J/mm^3": ("specific-force", 1000.0),
    "J/cm3": ("specific-force", 1.0),
    "W": ("power", 1.0),
    "kW": ("power", 1000.0),
    "hp": ("power", _HORSEPOWER),
    "mm/s2": ("acceleration", 1.0),
    "mm/s²": ("acceleration", 1.0),
    "mm/s^2": ("acceleration", 1.0),
    "m/s2": ("acceleration", 1000.0),
    "m/s²": ("acceleration", 1000.0),
    "m/s^2": ("acceleration", 1000.0),
    "s": ("time", 1.0),
    "ms": ("time", 0.001),
    "min": ("time", 60.0),
    "Hz": ("frequency", 1.0),
    "kHz": ("frequency", 1000.0),
    "kg/m3": ("density", 1.0),
    "kg/m³": ("density", 1.0),
    "g/cm3": ("density", 1000.0),
    "%": ("share", 0.01),
}

# kind -> (dimension, the dimension's unit in the kind's canonical unit)
_DIMENSION: dict[str, tuple[str, float]] = {
    **{kind: (kind, 1.0) for kind in KINDS},
    "feed": ("velocity", 1.0),
    "cutting-speed": ("velocity", 0.001),
}

_TITLES = {
    "velocity": "a feed or cutting speed",
    **{name: kind.title for name, kind in KINDS.items()},
}

_FOLDED: dict[str, str] = {}
for _name in TABLE:
    # a spelling without regard to case, only where it can't be taken for another ("M", "MS" and "mW" are not folded)
    if _name.lower() not in _FOLDED and _name not in {"m", "N", "W", "s", "ms", "MPa", "GPa", "N/m", "N/mm", "m/s"}:
        _FOLDED[_name.lower()] = _name

_NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?"
_READ = re.compile(
    rf"\s*(?P<sign>[+-]?)\s*(?:(?P<whole>\d+)(?:\s+|\s*-\s*))?(?P<over>\d+)\s*/\s*(?P<under>\d+)(?![\d./])(?P<unit1>.*)"
    rf"|\s*(?P<number>[+-]?\s*{_NUMBER})(?P<unit2>.*)",
    re.DOTALL,
)
_PLAIN_UNIT = re.compile(r"[A-Za-zµμ°%\"·²³^*/() \d-]{1,40}")


def _shown(value: object) -> str:
    text = str(value)
    text = "".join(c if c.isprintable() else "?" for c in text)
    return f'"{text[:60]}..."' if len(text) > 63 else f'"{text}"'


def split(text: str) -> tuple[float, str] | None:
    """The number and the unit of a text such as ``1 1/2 in``; None where it does not begin with a number."""
    found = _READ.fullmatch(text)
    if found is None:
        return None
    if found["over"] is not None:
        if int(found["under"]) == 0:
            return None
        number = int(found["whole"] or 0) + int(found["over"]) / int(found["under"])
        return (-number if found["sign"] == "-" else number), _tidy(found["unit1"])
    return float(found["number"].replace(" ", "")), _tidy(found["unit2"])


def _tidy(unit: str) -> str:
    return re.sub(r"\s*([/*^])\s*", r"\1", unit.strip())


def _wanted(kind: str) -> str:
    return f'{KINDS[kind].title} is wanted, for example "{KINDS[kind].example}"'


def _complain(key: str, text: str) -> UnitError:
    return UnitError(f"{key}: {text}" if key else text)


def quantity(
    value: object,
    kind: str,
    *,
    key: str = "",
    positive: bool = False,
    least: float | None = None,
    greatest: float | None = None,
) -> float:
    """Read a number or a text with unit as a quantity of ``kind`` (a key of ``KINDS``) in its canonical unit.

    A bare number is taken in the canonical unit. ``positive`` refuses 0 and below, ``least`` and ``greatest`` are
    inclusive bounds in the canonical unit. Raises ``UnitError`` with ``key`` named.
    """
    number = _read(value, kind, key)
    unit = KINDS[kind].unit
    shown = _shown(value)
    if not math.isfinite(number):
        raise _complain(key, f"{shown} is not a finite number; {_wanted(kind)}")
    if positive and number <= 0:
        raise _complain(key, f"{shown} is not above zero; {_wanted(kind)}")
    if least is not None and number < least:
        raise _complain(key, f"{shown} is below {_plain(least, unit)}; {_wanted(kind)}")
    if greatest is not None and number > greatest:
        raise _complain(key, f"{shown} is above {_plain(greatest, unit)}; {_wanted(kind)}")
    return number


def _plain(number: float, unit: str) -> str:
    return f"{number:g} {unit}".strip()


def _read(value: object, kind: str, key: str) -> float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise _complain(key, f"{_shown(value)} is {_sort(value)}; {_wanted(kind)}")
    if not isinstance(value, str):
        try:
            return float(value)
        except OverflowError:
            return math.inf
    if not value.strip():
        raise _complain(key, f"nothing is given; {_wanted(kind)}")
    parts = split(value)
    if parts is None:
        raise _complain(key, f"{_shown(value)} does not begin with a number; {_wanted(kind)}")
    number, unit = parts
    if not unit:
        return number
    if unit[0] == "," and unit[1:2].isdigit():
        raise _complain(key, f"{_shown(value)} has a comma in the number; write a decimal point: {_wanted(kind)}")
    entry = TABLE.get(unit) or TABLE.get(_FOLDED.get(unit.lower(), ""))
    dimension, scale = _DIMENSION[kind]
    if entry is not None:
        if entry[0] != dimension:
            raise _complain(key, f"{_shown(value)} is {_TITLES[entry[0]]}; {_wanted(kind)}")
        return round(number * entry[1] * scale, 12)  # 1.5 in is 38.1 mm, not 38.099999999999994
    return _by_pint(value, number, unit, kind, key)


def _sort(value: object) -> str:
    if isinstance(value, bool):
        return "a yes-or-no value"
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, dict):
        return "a table"
    return "nothing" if value is None else f"a {type(value).__name__}"


_registry: Any = None

# what a quantity is, by its dimensions in pint's words; used to say what was given instead of what is wanted
_DIMENSION_WORDS: tuple[tuple[str, str], ...] = (
    ("kilogram", "a mass"),
    ("second", "a time"),
    ("kelvin", "a temperature"),
    ("meter ** 2", "an area"),
    ("meter ** 3", "a volume"),
    ("ampere", "an electric current"),
    ("volt", "a voltage"),
    ("joule", "an energy or a torque"),
    ("pascal", "a pressure"),
    ("candela", "a luminous intensity"),
    ("mole", "an amount of substance"),
    ("bit", "an amount of data"),
)


def registry() -> Any:
    """The one pint registry, made at first use."""
    global _registry
    if _registry is None:
        import pint

        _registry = pint.UnitRegistry()
    return _registry


def _by_pint(value: str, number: float, unit: str, kind: str, key: str) -> float:
    """Read a unit that is not in the table, or raise an error that says what the quantity is."""
    if _PLAIN_UNIT.fullmatch(unit) is None or re.search(r"\d{3}|\*\*.*\*\*|\^.*\^", unit):
        raise _complain(key, f"{_shown(unit)} in {_shown(value)} is not a unit; {_wanted(kind)}")
    units = registry()
    try:
        # "mm2" and "s-1" are how people write exponents
        given = units.Unit(re.sub(r"(?<=[A-Za-zµμ])(-?\d)", r"**\1", unit.replace("^", "**")))
        target = units.Unit(KINDS[kind].pint_unit)
        if given.dimensionality == target.dimensionality and _countable(given) == _countable(target):
            return float(units.Quantity(number, given).to(target).magnitude)
    except Exception:  # pint reads with Python's tokenizer and raises whatever that raises on odd text
        close = nearest(unit, [name for name, entry in TABLE.items() if entry[0] == _DIMENSION[kind][0]])
        hint = f' Did you mean "{close[0]}"?' if close else ""
        raise _complain(key, f'"{unit}" in {_shown(value)} is not a known unit; {_wanted(kind)}.{hint}') from None
    raise _complain(key, f"{_shown(value)} is {_what(given)}; {_wanted(kind)}")


def _countable(unit: Any) -> bool:
    """True where turns are counted (rev/min): pint takes them for plain 1/min, which would let Hz pass as a speed."""
    return any(name in ("revolution", "revolutions_per_minute", "turn", "cycle") for name in unit._units)


def _what(unit: Any) -> str:
    units = registry()
    for dimension, title in _TITLES.items():
        kind = KINDS.get("feed" if dimension == "velocity" else dimension)
        if kind is not None and unit.dimensionality == units.Unit(kind.pint_unit).dimensionality:
            return title
    for name, title in _DIMENSION_WORDS:
        if unit.dimensionality == units.Unit(name).dimensionality:
            return title
    return f"a quantity in {unit:~}" if str(unit) else "a plain number"


def nearest(word: str, known: Sequence[str] | dict[str, Any], count: int = 3) -> tuple[str, ...]:
    """The known words most like ``word``, best first; empty where none is near."""
    from difflib import get_close_matches

    folded = {str(name).lower(): str(name) for name in known}
    return tuple(folded[name] for name in get_close_matches(word.lower(), list(folded), n=count, cutoff=0.6))


def spindle(value: object, diameter: float | None, *, key: str) -> float:
    """Read a spindle speed in rev/min; a cutting speed is turned into one with the cutter's ``diameter`` in mm."""
    parts = split(value) if isinstance(value, str) else None
    unit = parts[1] if parts else ""
    entry = TABLE.get(unit) or TABLE.get(_FOLDED.get(unit.lower(), ""))
    if entry is not None and entry[0] == "velocity":
        surface = quantity(value, "cutting-speed", key=key, positive=True)
        if diameter is None or diameter <= 0:
            raise _complain(key, f"{_shown(value)} is a cutting speed; give the cutter's diameter too, or rev/min")
        return surface * 1000.0 / (math.pi * diameter)
    return quantity(value, "speed", key=key, positive=True)


def lengths(text: str, *, key: str, count: int, separators: str = ",", positive: bool = False) -> tuple[float, ...]:
    """Read ``count`` lengths set apart by any of ``separators``; a unit after the last one counts for all bare ones."""
    parts = [part.strip() for part in re.split(f"[{re.escape(separators)}]", text)]
    if len(parts) != count:
        example = separators[0].join(["300", "200", "18"][:count])
        problem = f'{_shown(text)} has {len(parts)} values; {count} lengths are wanted, for example "{example}"'
        raise _complain(key, problem)
    last = split(parts[-1])
    unit = last[1] if last else ""
    spelled = []
    for part in parts:
        read = split(part)
        spelled.append(f"{part} {unit}" if unit and read is not None and not read[1] else part)
    return tuple(quantity(part, "length", key=key, positive=positive) for part in spelled)


_KIND_OF_UNIT = {kind.unit: name for name, kind in KINDS.items()} | {"rpm": "speed", "µm": "length"}


def option(value: object, unit: str, *, key: str) -> float:
    """Read an option given in a rule's ``unit``; where that is no unit of ``KINDS`` (a share, a count) the text may
    carry whatever unit it likes and comes back in the canonical unit of its kind."""
    if unit in _KIND_OF_UNIT and unit:
        return quantity(value, _KIND_OF_UNIT[unit], key=key)
    parts = split(value) if isinstance(value, str) else None
    entry = TABLE.get(parts[1]) if parts else None
    if entry is not None and entry[0] != "share":
        return quantity(value, "feed" if entry[0] == "velocity" else entry[0], key=key)
    return quantity(value, "share", key=key)


def one_of(value: str | None, key: str, known: Sequence[str]) -> str | None:
    """``value`` where it is ``None`` or among ``known``; else raises ``WrongUse`` with the nearest."""
    if value is not None and value not in known:
        near = nearest(value, known, 1)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        raise WrongUse(f"{key}: {_shown(value)} is not one of {', '.join(known)}{hint}")
    return value
