"""TOML -> checked entries -> one compiled text. Loaded only when the compiled catalogue is missing or stale.

Every number must state low, chosen, high, unit and source; a mistake is told with file, key and remedy.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
import zlib
from collections.abc import Mapping
from typing import Any

from advisor.catalogue import FILES, FORMAT, keys
from advisor.sources import SourceError, parts

_FIVE = ("low", "chosen", "high", "unit", "source")


class CatalogueError(ValueError):
    """Mistakes in the catalogue's data; ``mistakes`` holds one sentence each, naming file, key and remedy."""

    def __init__(self, mistakes: list[str]) -> None:
        super().__init__("\n".join(mistakes))
        self.mistakes = tuple(mistakes)


class _Reader:
    """Collects mistakes while reading one file."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.mistakes: list[str] = []

    def tell(self, key: str, fault: str, remedy: str) -> None:
        self.mistakes.append(f"{self.file}: {key}: {fault}; {remedy}")

    def source(self, key: str, table: Mapping[str, Any]) -> str:
        text = table.get("source")
        if not isinstance(text, str):
            self.tell(key, "has no source", 'add source = "…" (a key of advisor/sources.py, or "common practice, no source")')
            return ""
        try:
            parts(text)
        except SourceError as error:
            self.tell(key, "has a source that tells nothing", str(error))
        return text

    def text(self, key: str, table: Mapping[str, Any], name: str, allowed: tuple[str, ...] = ()) -> str:
        text = table.get(name)
        if not isinstance(text, str) or not text:
            self.tell(f"{key}.{name}", "is missing", f'add {name} = "…"')
            return ""
        if allowed and text not in allowed:
            self.tell(f"{key}.{name}", f'"{text}" is not known', "use one of " + ", ".join(allowed))
        return text

    def texts(self, key: str, table: Mapping[str, Any], name: str) -> list[str]:
        found = table.get(name, [])
        if not isinstance(found, list) or not all(isinstance(text, str) and text for text in found):
            self.tell(f"{key}.{name}", "is not a list of texts", f'write {name} = ["…"]')
            return []
        return list(found)

    def cited(self, key: str, table: Mapping[str, Any], name: str) -> tuple[list[str], list[str]]:
        """Texts that each name their source: the texts, and the sources in the same order."""
        texts, sources = [], []
        for index, row in enumerate(table.get(name, [])):
            where = f"{key}.{name}.{index + 1}"
            if not isinstance(row, Mapping):
                self.tell(where, "is a bare text", 'write { text = "…", source = "…" }')
                continue
            texts.append(self.text(where, row, "text"))
            sources.append(self.source(where, row))
        return texts, sources

    def number(self, key: str, number: Any) -> float | None:
        if isinstance(number, bool) or not isinstance(number, (int, float)) or not abs(float(number)) < 1e12:
            self.tell(key, f"{number!r} is not a number", "write a plain finite number")
            return None
        return float(number)

    def spread(self, key: str, low: Any, chosen: Any, high: Any) -> list[float]:
        found = [self.number(f"{key}.{name}", number) for name, number in zip(_FIVE, (low, chosen, high), strict=False)]
        if any(number is None for number in found):
            return []
        three = [number for number in found if number is not None]
        if not three[0] <= three[1] <= three[2]:
            self.tell(key, "low, chosen and high are not in order", "put them in ascending order")
        return three

    def value(self, key: str, table: Any, unit: str) -> list[Any]:
        if not isinstance(table, Mapping):
            self.tell(key, "is a bare number", 'write { low = …, chosen = …, high = …, unit = "…", source = "…" }')
            return []
        for name in _FIVE[:4]:
            if name not in table:
                self.tell(key, f"has no {name}", f"add {name} = …")
        for name in table:
            if name not in _FIVE:
                self.tell(key, f'"{name}" is not known here', "use only low, chosen, high, unit, source")
        source = self.source(key, table)
        if "unit" in table and table["unit"] != unit:
            self.tell(key, f'has the unit "{table["unit"]}"', f'write it in "{unit}"')
        if any(name not in table for name in _FIVE):
            return []
        return [*self.spread(key, table["low"], table["chosen"], table["high"]), unit, source]

    def values(self, key: str, table: Any, known: Mapping[str, tuple[str, str]], needed: tuple[str, ...]) -> dict[str, Any]:
        if not isinstance(table, Mapping):
            self.tell(key, "has no table of values", f"add [{key}.values]")
            return {}
        found = {}
        for name, entry in table.items():
            if name not in known:
                self.tell(f"{key}.values.{name}", "is not a known key", "see advisor/catalogue/keys.py")
                continue
            found[name] = self.value(f"{key}.values.{name}", entry, known[name][0])
        for name in needed:
            if name not in table:
                self.tell(
                    f"{key}.values.{name}",
                    "is missing",
                    f'add {name} = {{ low = …, chosen = …, high = …, unit = "{known[name][0]}", source = "…" }}',
                )
        return found


def _materials(reader: _Reader, tree: Mapping[str, Any]) -> dict[str, Any]:
    entries = {}
    for name, table in tree.items():
        values = reader.values(name, table.get("values"), keys.MATERIAL, keys.MATERIAL_NEEDED)
        refusals = table.get("refusals", {})
        for cutter in ("carbide", "hss"):
            if f"cutting_speed_{cutter}" not in values and cutter not in refusals:
                reader.tell(
                    f"{name}.values.cutting_speed_{cutter}",
                    "is missing",
                    f'add it, or say why not in refusals = {{ {cutter} = "…" }}',
                )
        loads = table.get("chip_load")
        chip_load: list[list[Any]] = []
        if not isinstance(loads, Mapping):
            reader.tell(f"{name}.chip_load", "is missing", f"add [{name}.chip_load]")
        else:
            source = reader.source(f"{name}.chip_load", loads)
            if loads.get("unit") != "mm":
                reader.tell(f"{name}.chip_load", "has no unit mm", 'add unit = "mm"')
            for size, three in loads.items():
                if size in ("unit", "source"):
                    continue
                key = f"{name}.chip_load.{size}"
                try:
                    diameter = float(size)
                except ValueError:
                    reader.tell(key, "is not a diameter", 'write "6" = [low, chosen, high]')
                    continue
                if not isinstance(three, list) or len(three) != 3:
                    reader.tell(key, "is not three numbers", "write [low, chosen, high]")
                    continue
                chip_load.append([diameter, [*reader.spread(key, *three), "mm", source]])
        hazards, hazard_sources = reader.cited(name, table, "hazards")
        entries[name] = {
            "title": reader.text(name, table, "title"),
            "family": reader.text(name, table, "family", keys.FAMILIES),
            "source": reader.source(name, table),
            "hazards": hazards,
            "hazard_sources": hazard_sources,
            "notes": reader.texts(name, table, "notes"),
            "refusals": dict(refusals),
            "values": values,
            "chip_load": sorted(chip_load, key=lambda row: row[0]),
        }
    return entries


def _cutters(reader: _Reader, tree: Mapping[str, Any]) -> dict[str, Any]:
    entries: dict[str, Any] = {}
    for family in tree.get("family", []):
        pattern = str(family.get("name", "family without a name"))
        columns = family.get("columns", [])
        for column in columns:
            where = f"{pattern}.columns.{column.get('key')}"
            reader.source(where, column)
            known = keys.CUTTER.get(column.get("key", ""))
            if known is None:
                reader.tell(where, "is not a known key", "see advisor/catalogue/keys.py")
            elif column.get("unit") != known[0]:
                reader.tell(where, f'has the unit "{column.get("unit")}"', f'write it in "{known[0]}"')
            reader.spread(where, column.get("low"), 1.0, column.get("high"))
        named = {str(column.get("key")) for column in columns}
        needed = tuple(name for name in keys.CUTTER_NEEDED if name not in named)
        shared = reader.values(pattern, family.get("values"), keys.CUTTER, needed)
        base = {
            "form": reader.text(pattern, family, "form", keys.FORMS),
            "material": reader.text(pattern, family, "material", ("carbide", "hss")),
            "twist": reader.text(pattern, family, "twist", keys.TWISTS),
            "centre_cutting": bool(family.get("centre_cutting", True)),
            "use": reader.texts(pattern, family, "use"),
            "notes": reader.texts(pattern, family, "notes"),
            "source": reader.source(pattern, family),
        }
        if "{size}" not in pattern:
            reader.tell(pattern, "has no {size} in its name", 'write for example "endmill-{size}-2f"')
        for row in family.get("sizes", []):
            name = pattern.replace("{size}", str(row[0]))
            if len(row) != len(columns) + 1:
                reader.tell(name, "has another number of columns than the table", "give one number for each column")
                continue
            if name in entries:
                reader.tell(name, "is there twice", "remove one")
            values = dict(shared)
            for column, size in zip(columns, row[1:], strict=True):
                number = reader.number(f"{name}.{column.get('key')}", size)
                spread = (column.get("low"), column.get("high"))
                if number is None or not all(isinstance(factor, (int, float)) for factor in spread):
                    continue
                values[str(column.get("key"))] = [
                    round(number * spread[0], 6),
                    number,
                    round(number * spread[1], 6),
                    column.get("unit"),
                    column.get("source"),
                ]
            entries[name] = {**base, "values": values}
    return entries


def _machines(reader: _Reader, tree: Mapping[str, Any]) -> dict[str, Any]:
    entries = {}
    for name, table in tree.items():
        curve = table.get("power_curve")
        points: list[list[float]] = []
        source = ""
        if curve is not None:
            source = reader.source(f"{name}.power_curve", curve)
            if curve.get("unit") != ["rpm", "W"]:
                reader.tell(f"{name}.power_curve", "has no units", 'add unit = ["rpm", "W"]')
            points = [[float(rpm), float(watts)] for rpm, watts in curve.get("points", [])]
            if points != sorted(points) or len({rpm for rpm, _ in points}) != len(points):
                reader.tell(f"{name}.power_curve", "is not ascending", "sort the points by rpm, each speed once")
        entries[name] = {
            "title": reader.text(name, table, "title"),
            "kind": reader.text(name, table, "kind", ("router", "mill")),
            "change": reader.text(name, table, "change", ("hand", "automatic")),
            "spindle_start": reader.text(name, table, "spindle_start", ("program", "hand", "interlock")),
            "chip_clearing": reader.texts(name, table, "chip_clearing"),
            "notes": reader.texts(name, table, "notes"),
            "values": reader.values(name, table.get("values"), keys.MACHINE, keys.MACHINE_NEEDED),
            "power_curve": points,
            "power_curve_source": source,
        }
    return entries


def check(texts: Mapping[str, bytes]) -> dict[str, dict[str, Any]]:
    """Entries by kind and name from the TOML files' bytes; raises ``CatalogueError`` with all mistakes at once."""
    mistakes: list[str] = []
    trees: dict[str, Mapping[str, Any]] = {}
    for file in FILES:
        try:
            trees[file] = tomllib.loads(texts[file].decode("utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            mistakes.append(f"{file}: cannot be read as TOML: {error}; mend the line it names")
    if mistakes:
        raise CatalogueError(mistakes)
    readers = {file: _Reader(file) for file in FILES}
    tools = {}
    for name, table in trees["cutters.toml"].get("tool-material", {}).items():
        reader = readers["cutters.toml"]
        tools[name] = {
            "title": reader.text(f"tool-material.{name}", table, "title"),
            "values": reader.values(
                f"tool-material.{name}", table.get("values"), keys.TOOL_MATERIAL, keys.TOOL_MATERIAL_NEEDED
            ),
        }
    found = {
        "materials": _materials(readers["materials.toml"], trees["materials.toml"]),
        "cutters": _cutters(readers["cutters.toml"], trees["cutters.toml"]),
        "machines": _machines(readers["machines.toml"], trees["machines.toml"]),
        "tool-materials": tools,
    }
    mistakes = [mistake for file in FILES for mistake in readers[file].mistakes]
    if mistakes:
        raise CatalogueError(mistakes)
    return found


def stamps(texts: Mapping[str, bytes]) -> list[int]:
    """Check sums by which a stale compiled text is told."""
    return [FORMAT, *(zlib.crc32(texts[file]) for file in FILES), *(len(texts[file]) for file in FILES)]


def compiled_text(texts: Mapping[str, bytes]) -> bytes:
    """The compiled catalogue: a header line with stamps, revision and where each entry lies; then one entry a line."""
    digest = hashlib.sha256(b"".join(texts[file] for file in FILES)).hexdigest()[:12]
    places: dict[str, dict[str, list[int]]] = {}
    body = bytearray()
    for kind, entries in check(texts).items():
        places[kind] = {}
        for name, entry in entries.items():
            line = json.dumps(entry, ensure_ascii=False, separators=(",", ":")).encode()
            places[kind][name] = [len(body), len(line)]
            body += line + b"\n"
    header = {"stamps": stamps(texts), "revision": digest, "places": places}
    return json.dumps(header, separators=(",", ":")).encode() + b"\n" + bytes(body)
