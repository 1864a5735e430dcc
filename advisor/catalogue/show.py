"""The catalogue for reading: every value with its range, how well it is known, and the full reference."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from advisor.catalogue import entry, revision
from advisor.catalogue.keys import CUTTER, MACHINE, MATERIAL, TOOL_MATERIAL
from advisor.sources import reference, tag

MEANINGS: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "materials": MATERIAL,
    "cutters": CUTTER,
    "machines": MACHINE,
    "tool-materials": TOOL_MATERIAL,
}
TAGS = {
    "published": "from a published work or plain geometry",
    "memory": "from memory of a published work",
    "practice": "common practice, no source",
    "estimate": "an estimate, no source: the weakest kind",
}


def told(five: list[Any]) -> dict[str, Any]:
    """One value as a table: low, chosen, high, unit, tag, source (as stored) and reference (in full)."""
    low, chosen, high, unit, source = five
    return {
        "low": low,
        "chosen": chosen,
        "high": high,
        "unit": unit,
        "tag": tag(source),
        "source": source,
        "reference": reference(source),
    }


def describe(kind: str, name: str) -> dict[str, Any]:
    """All that is known of one entry, ready for JSON; raises ``advisor.catalogue.UnknownName``.

    Keys: kind, name, revision, the entry's own texts, ``values`` (key -> table with ``meaning``), and for a material
    ``chip_load`` (a list of tables with ``diameter_mm``), for a machine ``power_curve`` (rpm, W).
    """
    found = entry(kind, name)
    values = {key: {**told(five), "meaning": MEANINGS[kind][key][1]} for key, five in found.get("values", {}).items()}
    made: dict[str, Any] = {"kind": kind, "name": name, "revision": revision(), **found, "values": values}
    if "chip_load" in found:
        made["chip_load"] = [{"diameter_mm": diameter, **told(five)} for diameter, five in found["chip_load"]]
    return made


def spread(low: float, chosen: float, high: float, unit: str) -> str:
    """A value in one cell: ``low ... chosen ... high unit``, or one number where there is no spread."""
    numbers = f"{chosen:.6g}" if low == high else f"{low:.6g} ... {chosen:.6g} ... {high:.6g}"
    return numbers if unit == "1" else f"{numbers} {unit}"


def rows(kind: str, name: str) -> list[tuple[str, str, str, str, str]]:
    """One entry as rows of text: key, spread, tag, reference, meaning; chip loads follow the other values."""
    page = describe(kind, name)
    made = [
        (key, spread(v["low"], v["chosen"], v["high"], v["unit"]), v["tag"], v["reference"], v["meaning"])
        for key, v in page["values"].items()
    ]
    for v in page.get("chip_load", []):
        cell = spread(v["low"], v["chosen"], v["high"], v["unit"])
        made.append((f"chip_load at {v['diameter_mm']:g} mm", cell, v["tag"], v["reference"], "feed per tooth"))
    return made


def text(kind: str, name: str) -> str:
    """One entry as plain text; no colour, no escapes, one value a line."""
    page = describe(kind, name)
    lines = [f"{name}: {page.get('title', page.get('form', kind))}  (catalogue {page['revision']})"]
    for key, cell, known, cited, meaning in rows(kind, name):
        lines.append(f"  {key:24} {cell:32} [{known}] {meaning}; {cited}")
    for line, source in zip(page.get("hazards", []), page.get("hazard_sources", []), strict=True):
        lines.append(f"hazard: {line}  [{tag(source)}] {reference(source)}")
    lines += [f"note: {line}" for line in page.get("notes", [])]
    for cutter, why in page.get("refusals", {}).items():
        lines.append(f"not with {cutter}: {why}")
    return "\n".join(lines) + "\n"
