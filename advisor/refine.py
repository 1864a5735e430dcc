"""A catalogue value refined by what a shop file or a flag says."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from advisor.values import Machine

# catalogue keys that are part of a field holding one number an axis
_FIELD_OF: dict[str, tuple[str, int | None]] = {
    "rapid_xy": ("rapid", 0),
    "rapid_z": ("rapid", 2),
    "acceleration_xy": ("acceleration", 0),
    "acceleration_z": ("acceleration", 2),
}


def refine(base: Any, table: Mapping[str, Any], origin: str | Mapping[str, str]) -> Any:
    """A catalogue value with fields put in place of its own; their spread and source give way to what was given.

    ``origin`` names the source of every value, or of each by field name.
    """
    names = {item.name for item in dataclasses.fields(base)}
    changed: dict[str, Any] = {key: value for key, value in table.items() if key in names and value is not None}

    def source(key: str) -> str:
        return origin if isinstance(origin, str) else origin.get(key, "shop file")

    spread = {}
    for key, value in base.values.items():
        field_name, at = _FIELD_OF.get(key, (key, None))
        if field_name in changed:
            given = changed[field_name]
            number = given if at is None else given[at]
            value = dataclasses.replace(value, low=number, chosen=number, high=number, source=source(field_name))
        spread[key] = value
    if spread:
        changed["values"] = spread
    if isinstance(base, Machine):
        changed["sources"] = {**base.sources, **{key: source(key) for key in changed if key in base.sources}}
        if "spindle_power" in changed and "power_curve" not in changed and base.spindle_power > 0:
            # the catalogue's curve belongs to its own spindle: keep its form, at the power given
            scale = changed["spindle_power"] / base.spindle_power
            changed["power_curve"] = tuple((rpm, watts * scale) for rpm, watts in base.power_curve)
    return dataclasses.replace(base, **changed)
