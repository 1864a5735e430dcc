"""Flags of ``speeds`` and ``rate`` -> the question they ask. Only what the flags need is loaded."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from advisor.advice import OPERATIONS, Request
from advisor.units import WrongUse, one_of, quantity
from advisor.values import Cutter, Machine, Setting


def request_from(given: Mapping[str, Any], shop: Setting | None = None) -> Request:
    """The question asked, from the flags by name without dashes; ``None`` where a flag was not given.

    ``shop`` is what a shop file says: its machine, material and cutter (by ``tool``) stand in for flags not given.

    Raises ``WrongUse`` with flag and remedy, and ``advisor.catalogue.UnknownName``.
    """

    def read(name: str, kind: str, **bounds: Any) -> float | None:
        value = given[name]
        return None if value is None else quantity(value, kind, key="--" + name.replace("_", "-"), **bounds)

    form = one_of(given["form"], "--form", ("flat", "ball", "corner", "vee", "drill"))
    of = one_of(given["cutter_material"], "--cutter-material", ("carbide", "hss"))
    operation = one_of(given["operation"], "--operation", OPERATIONS)
    if given["flutes"] is not None and given["flutes"] < 1:
        raise WrongUse(f"--flutes: {given['flutes']} teeth can't cut; give 1 or more")
    cutting = {
        "form": form,
        "material": of,
        "flutes": given["flutes"],
        "diameter": read("diameter", "length", positive=True),
        "corner_radius": read("corner_radius", "length", least=0.0),
        "tip_angle": read("tip_angle", "angle", positive=True, greatest=180.0),
        "flute_length": read("flute_length", "length", positive=True),
        "stickout": read("stickout", "length", positive=True),
        "shank": read("shank", "length", positive=True),
        "centre_cutting": given["centre_cutting"],
        "dead_diameter": read("dead_diameter", "length", least=0.0),
        "max_rpm": read("cutter_max_rpm", "speed", positive=True),
    }
    cutting = {key: value for key, value in cutting.items() if value is not None}
    if given["cutter"] is not None:
        from advisor import catalogue

        cutter = _refined(catalogue.cutter(given["cutter"]), cutting)
    elif shop is not None and (given["tool"] is not None or "diameter" not in cutting):
        cutter = _refined(_cutter_of(shop, given["tool"]), cutting)
    elif given["tool"] is not None:
        raise WrongUse("--tool: give --config FILE too: the shop file that says which cutter this tool is")
    elif "diameter" not in cutting:
        raise WrongUse(
            "which cutter? Give --cutter NAME (feedwright catalogue cutters lists them), or --diameter and --flutes"
        )
    else:
        cutter = _bare_cutter(cutting)
    working: dict[str, Any] = {
        "spindle_power": read("spindle_power", "power", positive=True),
        "spindle_min": read("spindle_min", "speed", least=0.0),
        "spindle_max": read("spindle_max", "speed", positive=True),
        "feed_max": read("feed_max", "feed", positive=True),
        "stiffness": read("stiffness", "stiffness", positive=True),
    }
    working = {key: value for key, value in working.items() if value is not None}
    machine: Machine | None = None
    if given["machine"] is not None:
        from advisor import catalogue

        machine = _refined(catalogue.machine(given["machine"]), working)
    elif shop is not None and shop.machine is not None:
        machine = _refined(shop.machine, working)
    elif working:
        machine = Machine(name="machine as given", **working)
    if machine is not None and machine.spindle_min > machine.spindle_max:
        raise WrongUse(
            f"the slowest spindle speed, {machine.spindle_min:g} rpm, is above the fastest, {machine.spindle_max:g} "
            "rpm; give --spindle-min and --spindle-max that fit"
        )
    material = shop.material if shop is not None else None
    if given["material"] is not None and (material is None or material.name != given["material"]):
        from advisor import catalogue

        material = catalogue.material(given["material"])
    return Request(
        cutter=cutter,
        material=material,
        machine=machine,
        operation=operation or "slot",
        depth=read("depth", "length", positive=True),
        stepover=read("stepover", "length", positive=True),
        bore_diameter=read("bore_diameter", "length", positive=True),
        helix_angle=read("helix_angle", "angle", positive=True, greatest=90.0),
        tolerance=read("tolerance", "length", positive=True),
        finish=given["finish"],
        specific_force=read("specific_force", "specific-force", positive=True),
    )


def _cutter_of(shop: Setting, tool: int | None) -> Cutter:
    """The cutter of a tool number; without one, the cutter for every tool, or the only one there is."""
    if tool is None and shop.any_cutter is not None:
        return shop.any_cutter
    if tool is None and len(shop.cutters) == 1:
        return next(iter(shop.cutters.values()))
    known = ", ".join(str(number) for number in shop.cutters) or "none"
    if tool is None:
        raise WrongUse(f"which cutter? Give --tool T for one of the shop file's ({known}), or --cutter NAME")
    if tool not in shop.cutters:
        raise WrongUse(f"--tool: the shop file has no cutter for tool {tool}; it has: {known}")
    return shop.cutters[tool]


def assumed(given: Mapping[str, Any]) -> tuple[str, ...]:
    """What the question takes for granted where flags describe a machine and no entry of the catalogue is named."""
    if given["machine"] is not None or given["config"] is not None:
        return ()
    plain = Machine(name="")
    words = {
        "spindle_power": f"{plain.spindle_power:g} W",
        "spindle_min": f"no slowest speed of its spindle ({plain.spindle_min:g} rev/min)",
        "spindle_max": f"a fastest speed of {plain.spindle_max:g} rev/min",
        "feed_max": f"feeds to {plain.feed_max:g} mm/min",
        "stiffness": f"{plain.stiffness:g} N/um at the tool",
    }
    if all(given[key] is None for key in words):
        return ()
    open_ones = [text for key, text in words.items() if given[key] is None]
    open_ones.append(f"accelerations of {plain.acceleration[0]:g} mm/s2 and an efficiency of {plain.efficiency:g}")
    return (f"no machine is named: it is taken to have {', '.join(open_ones)} (estimate, no source)",)


def _refined(base: Any, table: dict[str, Any]) -> Any:
    if not table:
        return base
    from advisor.refine import refine

    return refine(base, table, "command line")


def _bare_cutter(cutting: dict[str, Any]) -> Cutter:
    """A cutter that only flags describe: the number of teeth must be said, a drill has two."""
    form = cutting.get("form", "flat")
    if "flutes" not in cutting:
        if form != "drill":
            raise WrongUse("--flutes: how many teeth has the cutter? For example --flutes 2")
        cutting = {**cutting, "flutes": 2}
    teeth = f", {cutting['flutes']} flutes" if form != "drill" else ""
    return Cutter(name=f"{cutting['diameter']:g} mm {form}{teeth}", **cutting)
