"""The catalogue: materials, cutters, machines, and what cutters are made of, each number with spread and source.

Written in TOML under ``advisor/data``; read from a compiled text beside it, made on first use and whenever the TOML
has changed (in memory where the folder can't be written). Reading one entry costs a few milliseconds at most.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import Any, cast
from zlib import crc32

from advisor.values import Cutter, Machine, Material, Value

__all__ = [
    "KINDS",
    "UnknownName",
    "cutter",
    "entry",
    "machine",
    "material",
    "names",
    "nearest",
    "revision",
    "tool_material",
]

KINDS = ("materials", "cutters", "machines", "tool-materials")
DATA = Path(__file__).parent.parent / "data"
COMPILED = "catalogue.jsonl"
FILES = ("materials.toml", "cutters.toml", "machines.toml")
FORMAT = 2


class UnknownName(LookupError):  # noqa: N818 - reads as what it says
    """A name the catalogue does not have; ``near`` holds the closest ones."""

    def __init__(self, kind: str, name: str, near: tuple[str, ...]) -> None:
        self.kind, self.name, self.near = kind, name, near
        hint = f"; nearest: {', '.join(near)}" if near else ""
        lister = "feedwright catalogue" if kind == "kinds" else f"feedwright catalogue {kind}"
        super().__init__(f'"{name}" is not among the {kind} of the catalogue{hint} ({lister} lists them all)')


class _Store:
    """The compiled text with its header read."""

    def __init__(self, text: bytes) -> None:
        end = text.index(b"\n")
        self.header: dict[str, Any] = json.loads(text[:end])
        self.text, self.start = text, end + 1

    def entry(self, kind: str, name: str) -> dict[str, Any]:
        at, length = self.header["places"][kind][name]
        return cast("dict[str, Any]", json.loads(self.text[self.start + at : self.start + at + length]))


def _current(path: Path, stamps: list[int]) -> bytes | None:
    """A compiled text, unless it is missing, cut short or made from other TOML."""
    try:
        text = path.read_bytes()
        if text.endswith(b"\n") and json.loads(text[: text.index(b"\n")])["stamps"] == stamps:
            return text
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return None


def load(folder: Path) -> bytes:
    """The compiled catalogue of a folder of TOML files.

    It lies beside them in an installed wheel, in their ``__pycache__`` in a checkout (which is never committed). Where
    it is missing or stale it is made, and written beside-then-renamed if the folder allows. Raises ``OSError`` when the
    TOML can't be read and ``CatalogueError`` when it holds mistakes.
    """
    texts = {file: (folder / file).read_bytes() for file in FILES}
    stamps = [FORMAT, *(crc32(texts[file]) for file in FILES), *(len(texts[file]) for file in FILES)]
    cached = folder / "__pycache__" / COMPILED
    text = _current(folder / COMPILED, stamps) or _current(cached, stamps)
    if text is not None:
        return text
    from advisor.catalogue.compiling import compiled_text

    text = compiled_text(texts)
    beside = cached.with_name(f"{COMPILED}.{os.getpid()}")
    try:
        cached.parent.mkdir(exist_ok=True)
        beside.write_bytes(text)
        beside.replace(cached)
    except OSError:  # a folder that can't be written: the text in memory serves
        with suppress(OSError):
            beside.unlink(missing_ok=True)
    return text


@lru_cache(maxsize=1)
def _store() -> _Store:
    return _Store(load(DATA))


def revision() -> str:
    """Twelve hexadecimal digits that change whenever the catalogue's content does."""
    return str(_store().header["revision"])


def names(kind: str) -> tuple[str, ...]:
    """All names of a kind ("materials", "cutters", "machines", "tool-materials"), in the catalogue's order.

    Raises ``UnknownName`` for another kind.
    """
    if kind not in KINDS:
        raise UnknownName("kinds", kind, KINDS)
    return tuple(_store().header["places"][kind])


def nearest(kind: str, name: str, count: int = 3) -> tuple[str, ...]:
    """The names of a kind closest to a misspelt one."""
    from difflib import get_close_matches

    wanted = name.strip().lower().replace("_", "-").replace(" ", "-")
    known = names(kind)
    close = get_close_matches(wanted, known, n=count, cutoff=0.5)
    close += [other for other in known if wanted and (wanted in other or other in wanted) and other not in close]
    return tuple(close[:count])


def entry(kind: str, name: str) -> dict[str, Any]:
    """The raw entry; raises ``UnknownName``."""
    if kind not in KINDS:
        raise UnknownName("kinds", kind, KINDS)
    if name not in _store().header["places"][kind]:
        raise UnknownName(kind, name, nearest(kind, name))
    return _store().entry(kind, name)


def _values(table: Mapping[str, list[Any]]) -> dict[str, Value]:
    return {key: Value(*five) for key, five in table.items()}


@lru_cache(maxsize=256)
def material(name: str) -> Material:
    """A work material; raises ``UnknownName``."""
    found = entry("materials", name)
    return Material(
        name=name,
        title=found["title"],
        family=found["family"],
        values=_values(found["values"]),
        chip_load={diameter: Value(*five) for diameter, five in found["chip_load"]},
        hazards=tuple(found["hazards"]),
        notes=tuple(found["notes"]),
        refusals=found["refusals"],
        source=found["source"],
    )


@lru_cache(maxsize=1024)
def cutter(name: str) -> Cutter:
    """A cutter with typical proportions for its size; raises ``UnknownName``."""
    found = entry("cutters", name)
    values = _values(found["values"])
    numbers: dict[str, Any] = {key: value.chosen for key, value in values.items()}
    numbers["flutes"] = int(numbers["flutes"])
    return Cutter(
        name=name,
        form=found["form"],
        material=found["material"],
        twist=found["twist"],
        centre_cutting=found["centre_cutting"],
        use=tuple(found["use"]),
        source=found["source"],
        values=values,
        **numbers,
    )


@lru_cache(maxsize=64)
def machine(name: str) -> Machine:
    """A machine class; raises ``UnknownName``."""
    found = entry("machines", name)
    values = _values(found["values"])
    numbers: dict[str, Any] = {key: value.chosen for key, value in values.items()}
    rapid, rapid_z = numbers.pop("rapid_xy"), numbers.pop("rapid_z")
    quick, quick_z = numbers.pop("acceleration_xy"), numbers.pop("acceleration_z")
    return Machine(
        name=name,
        title=found["title"],
        kind=found["kind"],
        change=found["change"],
        spindle_start=found["spindle_start"],
        chip_clearing=tuple(found["chip_clearing"]),
        power_curve=tuple((rpm, watts) for rpm, watts in found["power_curve"]),
        rapid=(rapid, rapid, rapid_z),
        acceleration=(quick, quick, quick_z),
        sources={key: value.source for key, value in values.items()},
        values=values,
        **numbers,
    )


@lru_cache(maxsize=8)
def tool_material(name: str) -> Mapping[str, Value]:
    """Modulus, rupture strength and working stress of "carbide" or "hss"; raises ``UnknownName``."""
    return _values(entry("tool-materials", name)["values"])
