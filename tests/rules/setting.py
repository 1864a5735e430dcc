"""The workshop in which the programs beside the rules are run, and the words that change it for one program.

``(setting: ...)`` comments, read by the tests only, separated by commas:

- ``no stock``, ``no machine``, ``no cutter``, ``no offsets``
- ``stock 100x60x10 aluminium-wrought``; ``zero 0 0 10``; ``thickness 17 18``
- ``cutter T3 = endmill-upcut-6mm-2f``; ``T1 max_rpm 18000`` and other numbers of a cutter
- ``machine benchtop-mill``; ``change automatic``; ``spindle_start hand``; ``chip_clearing air flood``
- ``require RULE``; ``hold vise``; ``spoilboard 1``; ``point 20 20``; ``pin 20 20 6 12``;
  ``keepout clamp 0 0 0 20 20 40``; ``offset G54 100 100 -90``; ``option RULE NAME 1.5``
"""

from __future__ import annotations

import re
from dataclasses import replace

from advisor import catalogue
from advisor.values import Checks, Hold, Keepout, Pin, Setting, Workpiece

WORDS = re.compile(r"\(setting:\s*([^)]*)\)", re.IGNORECASE)


def default() -> Setting:
    """A ball-screw router, a sheet of birch plywood zeroed on its top at the lowest corner, and four cutters."""
    machine = replace(
        catalogue.machine("ballscrew-router"),
        travel={"x": (0.0, 1200.0), "y": (0.0, 1200.0), "z": (-150.0, 0.0)},
    )
    names = {1: "endmill-upcut-6mm-2f", 2: "endmill-downcut-6mm-2f", 3: "ballnose-6mm-2f", 4: "drill-6mm"}
    cutters = {
        tool: replace(catalogue.cutter(name), tool=tool, stickout=35.0 if tool < 4 else 60.0, max_rpm=60000.0)
        for tool, name in names.items()
    }
    return Setting(
        machine=machine,
        cutters=cutters,
        material=catalogue.material("birch-plywood"),
        workpiece=Workpiece(material="birch-plywood", size=(300.0, 200.0, 18.0), zero=(0.0, 0.0, 18.0)),
        hold=Hold(method="screws", points=((10.0, 10.0), (290.0, 10.0), (10.0, 190.0), (290.0, 190.0)), spoilboard=0.5),
        offsets={"G54": (210.0, 340.0, -92.0)},
    )


def of_program(text: str) -> Setting:
    """The default workshop, changed as the program's ``(setting: ...)`` comments say."""
    setting = default()
    for words in WORDS.findall(text):
        for phrase in words.split(","):
            setting = _changed(setting, phrase.split())
    return setting


def _changed(s: Setting, w: list[str]) -> Setting:
    head, rest = w[0], w[1:]
    numbers = [float(v) for v in rest if re.fullmatch(r"-?[\d.]+", v)]
    hold, piece, machine = s.hold, s.workpiece, s.machine
    if head == "no":
        return replace(
            s,
            **{
                "stock": {"workpiece": None, "material": None},
                "machine": {"machine": None},
                "cutter": {"cutters": {}},
                "offsets": {"offsets": {}},
                "hold": {"hold": Hold()},
            }[rest[0]],
        )
    if head == "stock":
        x, y, z = (float(v) for v in rest[0].split("x"))
        name = rest[1] if len(rest) > 1 else s.material.name if s.material else None
        return replace(
            s,
            material=catalogue.material(name) if name else None,
            workpiece=Workpiece(material=name, size=(x, y, z), zero=(0.0, 0.0, z)),
        )
    if head == "zero":
        return replace(s, workpiece=replace(piece, zero=tuple(numbers)))
    if head == "thickness":
        return replace(s, workpiece=replace(piece, thickness=tuple(numbers)))
    if head == "cutter":
        tool = int(rest[0].lstrip("T"))
        cutter = replace(catalogue.cutter(rest[-1]), tool=tool, stickout=35.0)
        return replace(s, cutters={**s.cutters, tool: cutter})
    if re.fullmatch(r"T\d+", head):
        tool = int(head[1:])
        value: object = numbers[0] if numbers else {"true": True, "false": False}.get(rest[1], rest[1])
        return replace(s, cutters={**s.cutters, tool: replace(s.cutters[tool], **{rest[0]: value})})
    if head == "machine":
        return replace(s, machine=replace(catalogue.machine(rest[0]), travel=machine.travel if machine else None))
    if head in ("change", "spindle_start"):
        return replace(s, machine=replace(machine, **{head: rest[0]}))
    if head == "chip_clearing":
        return replace(s, machine=replace(machine, chip_clearing=tuple(rest)))
    if head == "require":
        return replace(s, checks=replace(s.checks, require=(*s.checks.require, rest[0])))
    if head == "option":
        options = {**s.checks.options, rest[0]: {**s.checks.options.get(rest[0], {}), rest[1]: float(rest[2])}}
        return replace(s, checks=replace(s.checks, options=options))
    if head == "hold":
        return replace(s, hold=replace(hold, method=rest[0], points=()))
    if head == "spoilboard":
        return replace(s, hold=replace(hold, spoilboard=numbers[0]))
    if head == "point":
        return replace(s, hold=replace(hold, points=(*hold.points, (numbers[0], numbers[1]))))
    if head == "pin":
        return replace(s, hold=replace(hold, pins=(*hold.pins, Pin(*numbers))))
    if head == "keepout":
        box = Keepout(rest[0], tuple(numbers[:3]), tuple(numbers[3:6]))  # type: ignore[arg-type]
        return replace(s, hold=replace(hold, keepouts=(*hold.keepouts, box)))
    if head == "offset":
        return replace(s, offsets={**s.offsets, rest[0]: tuple(numbers)})
    raise ValueError(f"unknown setting words: {' '.join(w)}")


__all__ = ["Checks", "default", "of_program"]
