"""What is in force for one program: shop file and flags laid over each other, and made into a ``Setting``.

Every value keeps its origin. No disk, no pydantic: a check without a shop file does not load it.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Mapping
from dataclasses import field
from pathlib import Path, PurePosixPath
from typing import Any

from advisor import units
from advisor.refine import refine
from advisor.values import (
    Checks,
    Cutter,
    Hold,
    Job,
    JobPlace,
    Keepout,
    Machine,
    Material,
    Pin,
    Setting,
    Setup,
    Turn,
    Value,
    Workpiece,
)
from advisor.values import (
    Layer as Veneer,
)
from grammar.classes import dataclass

SYSTEMS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")


class SettingError(units.WrongUse):
    """Values that can't be used together, or a flag that can't be read; the message names key and remedy."""


@dataclass(frozen=True, slots=True)
class Layer:
    """Values of one source by dotted key, nested as in the file, and the origin of each leaf."""

    data: Mapping[str, Any]
    origins: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Override:
    """Values for the files that match one of ``patterns``, seen from ``folder``."""

    folder: Path
    patterns: tuple[str, ...]
    layer: Layer


@dataclass(frozen=True, slots=True)
class JobSetup:
    """One clamping of a job: absolute paths of its programs, and its own stock and hold."""

    programs: tuple[Path, ...]
    turn: str | None
    layer: Layer
    origin: str = ""


@dataclass(frozen=True, slots=True)
class JobPlan:
    """A job as a shop file in ``folder`` gives it."""

    name: str
    setups: tuple[JobSetup, ...]
    folder: Path = Path()

    @property
    def programs(self) -> tuple[Path, ...]:
        """All its programs, in order."""
        return tuple(program for setup in self.setups for program in setup.programs)

    def setup_of(self, number: int) -> JobSetup:
        """The set-up of its program ``number`` (from 0)."""
        return self.setups[self._at(number)[0]]

    def _at(self, number: int) -> tuple[int, int]:
        """The place of a program's set-up, and the number of the first program of that set-up."""
        first = 0
        for at, setup in enumerate(self.setups):
            if number < first + len(setup.programs):
                return at, first
            first += len(setup.programs)
        raise IndexError(number)

    def place(self, number: int) -> JobPlace:
        """Where its program ``number`` (from 0) stands."""
        programs = self.programs
        at, first = self._at(number)
        setup = self.setups[at]
        return JobPlace(
            job=self.name,
            name=self.shown(programs[number]),
            program=number + 1,
            programs=len(programs),
            setup=at + 1,
            setups=len(self.setups),
            turn=setup.turn,
            begins=number == first,
            before=tuple(self.shown(program) for program in programs[:number]),
            origin=setup.origin,
        )

    def shown(self, program: Path) -> str:
        """A program's name, seen from the folder of the shop file."""
        try:
            return program.relative_to(self.folder).as_posix()
        except ValueError:
            return program.as_posix()


@dataclass(frozen=True, slots=True)
class Allowance:
    """Findings of ``rule`` put aside in the files that match."""

    rule: str
    folder: Path
    patterns: tuple[str, ...]
    because: str
    origin: str


@dataclass(frozen=True, slots=True)
class OwnMaterial:
    """A material of the shop's own: what it is like, and the values that differ."""

    name: str
    like: str
    title: str
    values: Mapping[str, Value]
    chip_load: Mapping[float, Value]

    def made(self) -> Material:
        """The whole material. Its chip load, where given, stands alone: two tables mixed would jump between them."""
        from advisor import catalogue

        base = catalogue.material(self.like)
        return dataclasses.replace(
            base,
            name=self.name,
            title=self.title or f"{self.name} (like {base.title})",
            values={**base.values, **self.values},
            chip_load=dict(sorted(self.chip_load.items())) if self.chip_load else base.chip_load,
        )


@dataclass(frozen=True, slots=True)
class ShopFile:
    """One shop file with what it extends, ready to be asked about a program."""

    path: Path
    base: Layer
    overrides: tuple[Override, ...] = ()
    jobs: tuple[JobPlan, ...] = ()
    allowances: tuple[Allowance, ...] = ()
    materials: Mapping[str, OwnMaterial] = field(default_factory=dict)
    endings: tuple[str, ...] | None = None
    ignore: tuple[tuple[Path, str], ...] = ()
    by_content: bool = False
    extend: Path | None = None
    sources: tuple[tuple[Path, bytes], ...] = field(default=(), repr=False)  # the files read, for the cache's key
    # by program of a job: number of the job, of the program in it, and of its set-up in the whole file, each from 0
    placed: Mapping[Path, tuple[int, int, int]] = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        placed: dict[Path, tuple[int, int, int]] = {}
        first = 0
        for which, plan in enumerate(self.jobs):
            number = 0
            for at, setup in enumerate(plan.setups, start=first):
                for program in setup.programs:
                    placed.setdefault(program, (which, number, at))
                    number += 1
            first += len(plan.setups)
        object.__setattr__(self, "placed", placed)


def merge(base: Layer, over: Layer) -> Layer:
    """``over`` laid on ``base`` key by key; lists and plain values are replaced whole, with their origins."""
    replaced = list(_leaves(over.data))
    origins = {
        key: origin
        for key, origin in base.origins.items()
        if not any(key == leaf or key.startswith(leaf + ".") for leaf in replaced)
    }
    return Layer(_laid(base.data, over.data), {**origins, **over.origins})


def _leaves(data: Mapping[Any, Any], before: str = "") -> Iterable[str]:
    for key, value in data.items():
        dotted = f"{before}.{key}" if before else str(key)
        if isinstance(value, dict) and value:
            yield from _leaves(value, dotted)
        else:
            yield dotted


def _laid(base: Mapping[Any, Any], over: Mapping[Any, Any]) -> dict[Any, Any]:
    made = dict(base)
    for key, value in over.items():
        held = made.get(key)
        made[key] = _laid(held, value) if isinstance(held, Mapping) and isinstance(value, Mapping) else value
    return made


def extend(base: ShopFile, over: ShopFile) -> ShopFile:
    """``over`` laid on the file it extends; overrides, jobs, allowances and ignore rules of both count."""
    return ShopFile(
        path=over.path,
        base=merge(base.base, over.base),
        overrides=base.overrides + over.overrides,
        jobs=base.jobs + over.jobs,
        allowances=base.allowances + over.allowances,
        materials={**base.materials, **over.materials},
        endings=over.endings if over.endings is not None else base.endings,
        ignore=base.ignore + over.ignore,
        by_content=over.by_content or base.by_content,
        extend=over.extend,
        sources=base.sources + over.sources,
    )


# --------------------------------------------------------------------------------------------------------------- flags


@dataclass(frozen=True, slots=True)
class Flags:
    """What the command line says about the job; texts as typed."""

    material: str | None = None
    machine: str | None = None
    cutters: tuple[str, ...] = ()  # NAME or T=NAME
    stock: str | None = None  # XxYxZ
    zero: str | None = None  # X,Y,Z
    dialect: str | None = None
    assume_stock: bool = False
    fragment: bool = False


def flags_layer(flags: Flags, own_materials: Iterable[str] = ()) -> Layer:
    """The flags as a layer; a material may also be one of the shop file's own.

    Raises ``SettingError`` or ``units.UnitError`` with the flag named.
    """
    data: dict[str, Any] = {}
    origins: dict[str, str] = {}
    stock: dict[str, Any] = {}
    if flags.machine is not None:
        data["machine"] = {"like": _known(flags.machine, "machines", "--machine")}
        origins["machine.like"] = "--machine"
    for text in flags.cutters:
        tool, name = _tool_and_name(text)
        if tool in data.get("cutter", {}):
            which = "a cutter for every tool" if tool == "any" else f"tool {tool}"
            raise SettingError(f"--cutter: {which} is given twice; write --cutter T=NAME once for each tool number")
        data.setdefault("cutter", {})[tool] = {"like": _known(name, "cutters", "--cutter")}
        if tool != "any":
            data["cutter"][tool]["tool"] = int(tool)
        origins[f"cutter.{tool}.like"] = "--cutter"
    if flags.material is not None:
        own = flags.material in own_materials
        stock["material"] = flags.material if own else _known(flags.material, "materials", "--material")
        origins["stock.material"] = "--material"
    if flags.stock is not None:
        stock["size"] = units.lengths(flags.stock, key="--stock", count=3, separators="xX×,", positive=True)
        origins["stock.size"] = "--stock"
    if flags.zero is not None:
        stock["zero"] = units.lengths(flags.zero, key="--zero", count=3)
        origins["stock.zero"] = "--zero"
    if stock:
        data["stock"] = stock
    if flags.dialect is not None:
        data["checks"] = {"dialect": flags.dialect}
        origins["checks.dialect"] = "--dialect"
    return Layer(data, origins)


def _tool_and_name(text: str) -> tuple[str, str]:
    before, equals, after = text.partition("=")
    if not equals:
        return "any", text
    found = re.fullmatch(r"\s*[Tt]?(\d{1,5})\s*", before)
    if found is None:
        raise SettingError(f'--cutter: "{before}" is not a tool number; write --cutter 1=NAME, or --cutter NAME alone')
    return str(int(found[1])), after.strip()


def _known(name: str, kind: str, key: str) -> str:
    from advisor.catalogue import names

    known = names(kind)
    if name in known:
        return name
    near = units.nearest(name, known)
    hint = (
        "did you mean " + " or ".join(f'"{n}"' for n in near) + "?"
        if near
        else f'"feedwright catalogue {kind}" lists them'
    )
    raise SettingError(f'{key}: "{name}" is not among the {kind} of the catalogue; {hint}')


# ------------------------------------------------------------------------------------------------------------ patterns


def matches(path: Path, folder: Path, pattern: str) -> bool:
    """True where ``path`` matches ``pattern`` as written in a shop file in ``folder``.

    Patterns are relative to the folder, with forward slashes: ``*`` and ``?`` stay within one name, ``**`` crosses
    folders, ``[ab]`` is one of these letters. A pattern without a slash is held against the file's name in any
    folder below; one that ends in a slash, or names a folder, takes in everything below it.
    """
    try:
        inner = PurePosixPath(path.relative_to(folder).as_posix())
    except ValueError:
        return False
    text = pattern.strip()
    below = text.endswith("/")
    text = text.rstrip("/").removeprefix("./")
    if not text:
        return False
    expression = re.compile(_regular(text))
    if "/" not in text:
        names = inner.parts[:-1] if below else inner.parts
        return any(expression.fullmatch(name) for name in names)
    candidates = [str(parent) for parent in inner.parents if str(parent) != "."]
    if not below:
        candidates.append(str(inner))
    return any(expression.fullmatch(candidate.removeprefix("./")) for candidate in candidates)


def _regular(pattern: str) -> str:
    made, at = "", 0
    while at < len(pattern):
        char = pattern[at]
        if pattern.startswith("**/", at):
            made, at = made + "(?:[^/]+/)*", at + 3
        elif pattern.startswith("**", at):
            made, at = made + ".*", at + 2
        elif char == "*":
            made, at = made + "[^/]*", at + 1
        elif char == "?":
            made, at = made + "[^/]", at + 1
        elif char == "[" and (end := pattern.find("]", at + 2)) > 0:
            inner = pattern[at + 1 : end].replace("\\", "\\\\").replace("[", "\\[")
            made += "[" + ("^" + inner[1:] if inner[0] == "!" else inner) + "]"
            at = end + 1
        else:
            made, at = made + re.escape(char), at + 1
    return made


# ----------------------------------------------------------------------------------------------------------- a program


def layer_for(shop: ShopFile | None, program: Path | None, flags: Flags) -> Layer:
    """Everything said about one program, laid over each other: file, its overrides in order, its job's set-up, flags.

    ``program`` is an absolute path. A flag that names a machine or a cutter takes the place of the file's whole.
    """
    made = shop.base if shop is not None else Layer({}, {})
    if shop is not None and program is not None:
        for override in shop.overrides:
            if any(matches(program, override.folder, pattern) for pattern in override.patterns):
                made = merge(made, override.layer)
        if program in shop.placed:
            which, number, _ = shop.placed[program]
            made = merge(made, shop.jobs[which].setup_of(number).layer)
    over = flags_layer(flags, shop.materials if shop is not None else ())
    if "machine" in over.data:
        made = without(made, "machine")
    for tool in over.data.get("cutter", {}):
        made = without(made, "cutter", tool)
    return merge(made, over)


def selection(shop: ShopFile | None, program: Path) -> tuple[tuple[int, ...], ...]:
    """What of a shop file counts for a program beside its base; the same selection means the same setting.

    Apart from its place in a job.
    """
    if shop is None:
        return ()

    def held(items: Iterable[tuple[Path, tuple[str, ...]]]) -> tuple[int, ...]:
        return tuple(
            i
            for i, (folder, patterns) in enumerate(items)
            if any(matches(program, folder, pattern) for pattern in patterns)
        )

    return (
        held((override.folder, override.patterns) for override in shop.overrides),
        _own_setup(shop, program),
        held((item.folder, item.patterns) for item in shop.allowances),
    )


def _own_setup(shop: ShopFile, program: Path) -> tuple[int, ...]:
    """The number of a program's set-up where that says anything of its own."""
    if program not in shop.placed:
        return ()
    which, number, at = shop.placed[program]
    return (at,) if shop.jobs[which].setup_of(number).layer.data else ()


def without(layer: Layer, *keys: str) -> Layer:
    """The layer without one of its tables."""
    dotted = ".".join(keys)

    def cut(data: Mapping[str, Any], rest: tuple[str, ...]) -> dict[str, Any]:
        if len(rest) == 1:
            return {key: value for key, value in data.items() if key != rest[0]}
        return {key: cut(value, rest[1:]) if key == rest[0] else value for key, value in data.items()}

    origins = {key: origin for key, origin in layer.origins.items() if not (key + ".").startswith(dotted + ".")}
    return Layer(cut(layer.data, keys), origins)


def setting_for(shop: ShopFile | None, program: Path | None, flags: Flags) -> Setting:
    """The setting of one program. Raises ``SettingError`` or ``units.UnitError`` where something does not fit."""
    layer = layer_for(shop, program, flags)
    allowances: tuple[tuple[str, str], ...] = ()
    if shop is not None and program is not None:
        allowances = tuple(
            (item.rule, item.because)
            for item in shop.allowances
            if any(matches(program, item.folder, pattern) for pattern in item.patterns)
        )
    return build(
        layer,
        assume_stock=flags.assume_stock,
        fragment=flags.fragment,
        allowances=allowances,
        materials=shop.materials if shop is not None else {},
        job=place_in_job(shop, program),
    )


def job_of(shop: ShopFile | None, program: Path | None) -> tuple[JobPlan, int] | None:
    """The job a program (absolute path) belongs to and its number in it, from 0."""
    if shop is None or program is None or program not in shop.placed:
        return None
    which, number, _ = shop.placed[program]
    return shop.jobs[which], number


def place_in_job(shop: ShopFile | None, program: Path | None) -> JobPlace | None:
    """Where a program stands in its job; None for one that belongs to none."""
    found = job_of(shop, program)
    return found[0].place(found[1]) if found is not None else None


def build(
    layer: Layer,
    *,
    assume_stock: bool = False,
    fragment: bool = False,
    allowances: tuple[tuple[str, str], ...] = (),
    materials: Mapping[str, OwnMaterial] = {},
    job: JobPlace | None = None,
) -> Setting:
    """A layer made into frozen values, with catalogue entries looked up."""
    data = layer.data
    origins = dict(layer.origins)
    machine = _machine(data["machine"], origins) if data.get("machine") else None
    cutters: dict[int, Cutter] = {}
    any_cutter: Cutter | None = None
    tool_table: dict[int, tuple[float | None, float | None]] = {}
    for tool, table in sorted(data.get("cutter", {}).items(), key=lambda item: (item[0] == "any", item[0])):
        if tool != "any" and _only_offsets(table):
            tool_table[int(tool)] = table.get("length_offset"), table.get("offset_diameter")
            continue
        cutter = _cutter(tool, table, origins)
        if tool == "any":
            any_cutter = cutter
        else:
            cutters[int(tool)] = cutter
    stock = data.get("stock", {})
    hold = data.get("hold", {})
    checks = data.get("checks", {})
    return Setting(
        machine=machine,
        cutters=dict(sorted(cutters.items())),
        any_cutter=any_cutter,
        tool_table=tool_table,
        material=_material(stock.get("material"), materials, origins),
        workpiece=_workpiece(stock, origins),
        hold=_hold(hold),
        offsets={name: tuple(value) for name, value in data.get("offsets", {}).items()},
        start=dict(data.get("start", {})),
        checks=Checks(
            dialect=checks.get("dialect") or "shop",
            require=tuple(checks.get("require") or ()),
            severity=dict(checks.get("severity", {})),
            options={rule: dict(values) for rule, values in checks.get("options", {}).items()},
            dialect_options=dict(checks.get("dialect_options") or {}),
        ),
        assume_stock=assume_stock,
        fragment=fragment,
        allowances=allowances,
        job=job,
        origins=origins,
    )


def _overlay(base: Any, table: Mapping[str, Any], prefix: str, given: str, origins: dict[str, str]) -> Any:
    """``base`` with the values of ``table`` put in; fields nobody set get ``given`` as their origin."""
    names = {item.name for item in dataclasses.fields(base)} - {"source", "sources", "values", "use"}
    said = {name: origins[f"{prefix}.{name}"] for name in names if f"{prefix}.{name}" in origins}
    made = refine(base, table, said)
    for name in sorted(names):
        dotted = f"{prefix}.{name}"
        if not any(key == dotted or key.startswith(dotted + ".") for key in origins):
            origins[dotted] = given
    return made


def _machine(table: Mapping[str, Any], origins: dict[str, str]) -> Machine:
    from advisor import catalogue

    like = table.get("like")
    base = catalogue.machine(like) if like is not None else Machine(name="machine")
    values = dict(table)
    if table.get("travel") is not None:
        values["travel"] = {axis: tuple(pair) for axis, pair in table["travel"].items() if pair is not None}
    given = f"catalogue {like}" if like is not None else "default, no like = given"
    machine: Machine = _overlay(base, values, "machine", given, origins)
    if machine.spindle_min > machine.spindle_max:
        raise SettingError(
            f"machine: spindle_min is {machine.spindle_min:g} rpm, above spindle_max, {machine.spindle_max:g} rpm "
            f"(from {origins['machine.spindle_min']} and {origins['machine.spindle_max']}); set both"
        )
    return machine


def _only_offsets(table: Mapping[str, Any]) -> bool:
    """Whether a cutter's table tells only what the control's tool table holds: enough to follow a program, not to judge it."""
    said = {key for key, value in table.items() if value is not None} - {"tool", "name"}
    return bool(said) and said <= {"length_offset", "offset_diameter"}


def _cutter(tool: str, table: Mapping[str, Any], origins: dict[str, str]) -> Cutter:
    from advisor import catalogue

    like = table.get("like")
    prefix = f"cutter.{tool}"
    what = "the cutter without a tool number" if tool == "any" else f"the cutter of tool {tool}"
    if like is not None:
        base = catalogue.cutter(like)
    elif table.get("diameter") is not None:
        base = Cutter(name=table.get("name") or f"tool-{tool}")
    else:
        where = next((origin for key, origin in origins.items() if key.startswith(prefix + ".")), "")
        raise SettingError(f'{where + ": " if where else ""}{what} has neither like = "NAME" nor a diameter; give one')
    cutter: Cutter = _overlay(
        base, table, prefix, f"catalogue {like}" if like is not None else "default, no like = given", origins
    )
    if cutter.flute_length is not None and cutter.stickout is not None and cutter.flute_length > cutter.stickout:
        raise SettingError(
            f"{what}: flute_length, {cutter.flute_length:g} mm ({origins[prefix + '.flute_length']}), is longer than "
            f"stickout, {cutter.stickout:g} mm ({origins[prefix + '.stickout']}); set flute_length to the part of the "
            "flutes outside the holder"
        )
    return cutter


def _material(name: str | None, own: Mapping[str, OwnMaterial], origins: Mapping[str, str]) -> Material | None:
    if name is None:
        return None
    if name in own:
        return own[name].made()
    from advisor import catalogue

    return catalogue.material(
        _known(name, "materials", f"{origins.get('stock.material', 'stock.material')}: stock.material")
    )


def _workpiece(stock: Mapping[str, Any], origins: dict[str, str]) -> Workpiece | None:
    size = stock.get("size")
    if size is None:
        return None
    zero = stock.get("zero")
    if zero is None:
        zero = (0.0, 0.0, size[2])
        origins["stock.zero"] = "default: the stock's lowest corner, on its top face"
    layers = tuple(Veneer(thickness) for thickness in stock.get("layers") or ())
    total = sum(layer.thickness for layer in layers)
    if total > size[2] * 1.1:
        raise SettingError(
            f"stock: the layers add up to {total:g} mm ({origins.get('stock.layers', '')}), more than the stock's "
            f"{size[2]:g} mm; list the veneers from the top down, each once"
        )
    thickness = stock.get("thickness")
    return Workpiece(
        material=stock.get("material"),
        size=tuple(size),
        zero=tuple(zero),
        thickness=tuple(thickness) if thickness is not None else None,
        layers=layers,
    )


def _hold(hold: Mapping[str, Any]) -> Hold:
    keepouts = hold.get("keepouts") or ()
    return Hold(
        method=hold.get("method"),
        points=tuple(tuple(point) for point in hold.get("points") or ()),
        spoilboard=hold.get("spoilboard"),
        pins=tuple(Pin(pin["at"][0], pin["at"][1], pin["diameter"], pin["depth"]) for pin in hold.get("pins") or ()),
        keepouts=tuple(Keepout(box["name"], tuple(box["low"]), tuple(box["high"])) for box in keepouts),
    )


def jobs(shop: ShopFile | None, flags: Flags) -> tuple[Job, ...]:
    """The jobs of a shop file with their set-ups' workpieces and holds; programs as absolute paths."""
    if shop is None:
        return ()
    made = []
    for plan in shop.jobs:
        setups = []
        for setup in plan.setups:
            setting = setting_for(shop, setup.programs[0], flags)
            turn = Turn(setup.turn) if setup.turn is not None else None
            programs = tuple(str(path) for path in setup.programs)
            setups.append(Setup(programs=programs, turn=turn, workpiece=setting.workpiece, hold=setting.hold))
        made.append(Job(plan.name, tuple(setups)))
    return tuple(made)
