"""What follows from a catalogue entry: chip load at any diameter, values between light and rigid machines, own entries.

Light and rigid are the ends of a scale of stiffness at the tool; between them a value moves with the logarithm of the
stiffness. The pessimistic end of a limit is its ``low``; what ``speeds`` plans with is for the caller to choose.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from math import exp, log, sqrt
from typing import Any

from advisor.cutting.validity import RangeError, positive
from advisor.sources import COMMON_PRACTICE, ESTIMATE, STATED
from advisor.values import Cutter, Machine, Material, Value

METALS = ("aluminium", "copper", "steel", "iron", "titanium")
WOODS = ("wood", "board")
# N/um at the tool where "light" and "rigid" of the tables are meant; common practice, no source
LIGHT_RIGID = {True: (1.0, 30.0), False: (1.0, 5.0)}  # metal or not
CHIP_DIAMETERS = (0.9, 25.5)  # chip loads are not extrapolated beyond


class NoData(ValueError):  # noqa: N818 - reads as what it says
    """The catalogue does not support this material with this cutter; the message says why."""


def scaled(value: Value, low: float, chosen: float | None = None, high: float | None = None, why: str = "") -> Value:
    """A value times a factor (or a low, chosen and high factor), with one more source."""
    chosen = low if chosen is None else chosen
    high = chosen if high is None else high
    source = f"{value.source}; {why}" if why and why not in value.source else value.source
    return Value(value.low * low, value.chosen * chosen, value.high * high, value.unit, source)


def between(first: Value, second: Value, share: float) -> Value:
    """A value between two, geometrically where both are above zero."""

    def mix(a: float, b: float) -> float:
        if a == b:
            return a
        return exp(log(a) + share * (log(b) - log(a))) if a > 0.0 and b > 0.0 else a + share * (b - a)

    if share <= 0.0 or share >= 1.0:  # the ends to the last digit
        return second if share >= 1.0 else first
    source = "; ".join(dict.fromkeys(f"{first.source}; {second.source}".split("; ")))
    return Value(
        mix(first.low, second.low), mix(first.chosen, second.chosen), mix(first.high, second.high), first.unit, source
    )


def chip_load(
    material: Material,
    *,
    diameter: float,
    cutter_material: str = "carbide",
    slot: bool = False,
    depth_ratio: float = 1.0,
) -> Value:
    """Greatest chip thickness for a cutter, mm per tooth: a power law between the table's diameters.

    ``slot`` takes the lower loads of a full slot; ``depth_ratio`` is stepdown / diameter: beyond 1 D the load falls to
    0.75 at 2 D and 0.5 at 3 D. High speed steel takes less than carbide. Raises ``RangeError`` for a diameter the table
    does not reach, ``NoData`` for a cutter material that is not advised here. Source: the entry's; common practice.
    """
    positive(diameter=diameter)
    low_end, high_end = CHIP_DIAMETERS
    if not low_end <= diameter <= high_end:
        raise RangeError("diameter", diameter, f"chip loads are known from {low_end:g} to {high_end:g} mm")
    refuse(material, cutter_material)
    table = sorted(material.chip_load)
    if not table:
        raise NoData(f"{material.title} has no chip loads")
    if diameter in material.chip_load:
        value = material.chip_load[diameter]
    elif len(table) == 1:
        value = scaled(material.chip_load[table[0]], diameter / table[0])
    else:
        index = min(max(1, sum(size < diameter for size in table)), len(table) - 1)
        low, high = table[index - 1], table[index]
        value = between(material.chip_load[low], material.chip_load[high], log(diameter / low) / log(high / low))
        if not table[0] <= diameter <= table[-1]:
            value = scaled(value, 1.0, why=ESTIMATE)
    if slot and "slot_chip_factor" in material.values:
        factor = material.values["slot_chip_factor"]
        value = scaled(value, factor.chosen, why=factor.source)
    if cutter_material == "hss" and "chip_load_hss_factor" in material.values:
        factor = material.values["chip_load_hss_factor"]
        value = scaled(value, factor.low, factor.chosen, factor.high, factor.source)
    if depth_ratio > 1.0:
        value = scaled(value, max(0.25, 1.25 - 0.25 * depth_ratio), why=COMMON_PRACTICE)
    return value


def refuse(material: Material, cutter_material: str) -> None:
    """Raise ``NoData``, with the reason, for a cutter material the catalogue does not support here."""
    if cutter_material in material.refusals:
        raise NoData(f"{cutter_material} in {material.title}: {material.refusals[cutter_material]}")
    if f"cutting_speed_{cutter_material}" not in material.values:
        raise NoData(f"no cutting speed is known for {cutter_material} in {material.title}")


def machine_chip_factor(material: Material, stiffness: float) -> Value:
    """Factor on the chip load for a weak machine: 1 from 2 N/um up; at 1 N/um 0.4 to 0.6 in metals, else 0.6 to 0.8.

    Between 1 and 2 N/um it moves evenly to 1, so that a stiffer machine never gets a smaller chip.
    """
    positive(stiffness=stiffness)
    low, high = (0.4, 0.6) if material.family in METALS else (0.6, 0.8)
    share = min(1.0, max(0.0, log(stiffness) / log(2.0)))  # 0 at 1 N/um and below, 1 at 2
    weak = Value(low, sqrt(low * high), high, "1", ESTIMATE)
    return between(weak, Value(1.0, 1.0, 1.0, "1", ESTIMATE), share)


def rigidity(material: Material, stiffness: float) -> float:
    """Where a machine stands between light (0) and rigid (1) for this material, by the logarithm of its stiffness."""
    positive(stiffness=stiffness)
    light, rigid = LIGHT_RIGID[material.family in METALS]
    return min(1.0, max(0.0, log(stiffness / light) / log(rigid / light)))


def at_stiffness(material: Material, key: str, stiffness: float) -> Value:
    """A limit given for light and rigid machines (``key`` is stepdown_slot or ramp_angle) at a stiffness in N/um.

    Raises ``NoData`` on a light machine for a material that is not advised there.
    """
    rigid = material.values[f"{key}_rigid"]
    light = material.values.get(f"{key}_light")
    share = rigidity(material, stiffness)
    if light is None:
        if share < 0.5:
            raise NoData(f"{material.title} is not advised on a machine of {stiffness:g} N/um at the tool")
        return rigid
    return between(light, rigid, share)


def slot_stepdown(material: Material, *, stiffness: float, diameter: float, twist: str = "up") -> Value:
    """Greatest depth of a slot pass, mm. Down-cut cutters pack chips: at most 1 D, planned with 0.75 D."""
    value = scaled(at_stiffness(material, "stepdown_slot", stiffness), diameter)
    if twist == "down":
        cap = Value(0.5 * diameter, 0.75 * diameter, diameter, "D", COMMON_PRACTICE)
        value = Value(
            min(value.low, cap.low), min(value.chosen, cap.chosen), min(value.high, cap.high), "D", value.source
        )
    return replace(value, unit="mm")


def side_stepdown(slot: float, *, width: float, diameter: float, straight: bool = False) -> float:
    """Greatest depth of a side cut from the slot's: a_p a_e <= 0.5 D a_slot, straight flutes at most twice the slot.

    Computed from the peak force of straight and 30 degree cutters; ``slot`` and the result in mm.
    """
    positive(slot=slot, width=width, diameter=diameter)
    depth = slot * max(1.0, 0.5 * diameter / width)
    return min(depth, 2.0 * slot) if straight else depth


def least_chip(
    load: Value, *, material: Material, edge_radius: float | None = None, machine_factor: float = 1.0
) -> float:
    """Chip below which the edge rubs, mm: half the low chip load on this machine; in metals not less than 0.4 r_n."""
    floor = 0.5 * load.low * machine_factor
    if edge_radius is not None and material.family in METALS:
        return max(floor, 0.4 * edge_radius)
    return floor


def plunge_feed(material: Material, *, diameter: float, rpm: float) -> Value:
    """Straight descent of a centre-cutting end mill, mm/min: a share of the diameter in each revolution."""
    return replace(scaled(material.values["plunge_per_rev"], diameter * rpm), unit="mm/min")


def drill_feed(material: Material, *, diameter: float) -> Value:
    """Feed of a drill, mm per revolution."""
    return replace(scaled(material.values["drill_feed"], diameter), unit="mm/rev")


def cutting_speed(material: Material, *, cutter_material: str, drilling: bool = False) -> Value:
    """Cutting speed for a cutter material, m/min; raises ``NoData`` where none is known."""
    if drilling:
        value = material.values.get(f"drill_speed_{cutter_material}")
        if value is not None:
            return value
    refuse(material, cutter_material)
    return material.values[f"cutting_speed_{cutter_material}"]


_FIXED = {"name", "values", "source", "sources"}


def _overridden(base: Any, overrides: Mapping[str, Any], name: str, source: str) -> dict[str, Any]:
    known = {entry.name for entry in fields(base)} - _FIXED
    changes = {}
    values = dict(base.values)
    for key, new in overrides.items():
        if key not in known:
            raise KeyError(
                f'"{key}" is not a key of a {type(base).__name__.lower()}; it knows {", ".join(sorted(known))}'
            )
        changes[key] = new
        if isinstance(new, (int, float)) and not isinstance(new, bool):
            unit = values[key].unit if key in values else ""
            values[key] = Value(float(new), float(new), float(new), unit, source)
        else:
            values.pop(key, None)
    return {**changes, "name": name or base.name, "values": values}


def derive_cutter(base: Cutter, overrides: Mapping[str, Any], *, name: str = "", source: str = STATED) -> Cutter:
    """A cutter like another with some keys changed; a stated number loses its spread; an unknown key: ``KeyError``."""
    changes = _overridden(base, overrides, name, source)
    if "diameter" in overrides and "shank" not in overrides and base.shank == base.diameter:
        changes["shank"] = overrides["diameter"]
    return replace(base, **changes)


def derive_machine(base: Machine, overrides: Mapping[str, Any], *, name: str = "", source: str = STATED) -> Machine:
    """A machine like another with some keys changed; a new power scales the old power curve unless one is given."""
    changes = _overridden(base, overrides, name, source)
    if "power_curve" not in overrides and "spindle_power" in overrides:
        changes["power_curve"] = _stretched(base, overrides)
    changes["sources"] = {**base.sources, **dict.fromkeys(overrides, source)}
    return replace(base, **changes)


def _stretched(base: Machine, overrides: Mapping[str, Any]) -> tuple[tuple[float, float], ...]:
    """The old curve scaled to a new power: the motor is of the same kind."""
    factor = float(overrides["spindle_power"]) / base.spindle_power
    return tuple((rpm, watts * factor) for rpm, watts in base.power_curve)


def derive_material(
    base: Material, overrides: Mapping[str, Value], *, name: str = "", title: str = "", source: str = STATED
) -> Material:
    """A material like another with some values changed; ``overrides`` are values with spread, unit and source."""
    for key in overrides:
        if key not in base.values:
            raise KeyError(f'"{key}" is not a value of a material; it knows {", ".join(sorted(base.values))}')
    return replace(
        base, name=name or base.name, title=title or base.title, values={**base.values, **overrides}, source=source
    )


def own_specific_force(base: Material, force: float, *, source: str = STATED) -> Material:
    """The material with a constant specific force, N/mm2 (J/mm3 is 1000 N/mm2): exponent 0, no spread."""
    positive(specific_force=force)
    same = Value(force, force, force, "N/mm2", source)
    values = {key: value for key, value in base.values.items() if key not in ("shear_force", "edge_force")}
    return replace(
        base, values={**values, "specific_force": same, "specific_force_exponent": Value(0.0, 0.0, 0.0, "1", source)}
    )
