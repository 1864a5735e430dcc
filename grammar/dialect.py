"""Dialects: the published standard, and the standard with what shops really feed to machines."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

from grammar.classes import dataclass

NAMES = ("strict", "shop")


@dataclass(frozen=True, slots=True)
class Dialect:
    """A dialect with its options settled. Hashable, so that what is learnt of it can be kept."""

    name: str
    options: frozenset[str]
    values: tuple[tuple[str, float], ...]

    def allows(self, option: str) -> bool:
        """Whether a relaxation is in force."""
        return option in self.options

    def value(self, name: str) -> float:
        """One of the dialect's numbers."""
        return dict(self.values)[name]


@lru_cache(maxsize=4)
def _table(name: str) -> dict[str, dict[str, dict[str, object]]]:
    text = (Path(__file__).parent / "dialects" / f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def reasons(name: str) -> dict[str, str]:
    """Option -> the reason it is there."""
    return {option: str(row["reason"]) for option, row in _table(name)["options"].items()}


def dialect(name: str, options: Mapping[str, bool] | None = None) -> Dialect:
    """A dialect by name, with options switched on or off. Raises ValueError for a name that is not there."""
    if name not in NAMES:
        raise ValueError(f"there is no dialect {name!r}; choose one of: {', '.join(NAMES)}")
    table = _table(name)
    known = table["options"]
    on = {option for option, row in known.items() if row["on"]}
    for option, wanted in (options or {}).items():
        if option not in known:
            raise ValueError(f"the dialect {name!r} has no option {option!r}; it has: {', '.join(sorted(known)) or 'none'}")
        (on.add if wanted else on.discard)(option)
    values = tuple((key, float(str(row["value"]))) for key, row in table["values"].items())
    return Dialect(name, frozenset(on), values)
