"""``feedwright.toml``: its form, held by pydantic, and all its mistakes at once.

``parse`` turns the text of one file into a ``ShopFile``: plain numbers in canonical units, each with the file and line
it came from. What holds for one program is put together in ``advisor.setting``. No disk here.
"""

from __future__ import annotations

import itertools
import math
import os
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    ValidationError,
    ValidationInfo,
    WithJsonSchema,
    model_validator,
)

from advisor import units
from advisor.setting import (
    SYSTEMS,
    Allowance,
    JobPlan,
    JobSetup,
    Layer,
    Override,
    OwnMaterial,
    ShopFile,
    merge,
)
from advisor.values import Value
from grammar.classes import dataclass

NAME = "feedwright.toml"
MAX_BYTES = 4_000_000

# ---------------------------------------------------------------------------------------------------------- the form


def _read(kind: str, **bounds: Any) -> BeforeValidator:
    return BeforeValidator(lambda value: units.quantity(value, kind, **bounds))


def _form(kind: str) -> WithJsonSchema:
    unit = units.KINDS[kind]
    return WithJsonSchema(
        {
            "anyOf": [{"type": "number"}, {"type": "string"}],
            "description": f"{unit.title}; a bare number is in {unit.unit or 'parts of one'}",
            "examples": [unit.example],
        }
    )


Length = Annotated[float, _read("length"), _form("length")]
Size = Annotated[float, _read("length", positive=True), _form("length")]
Depth = Annotated[float, _read("length", least=0.0), _form("length")]
Feed = Annotated[float, _read("feed", positive=True), _form("feed")]
Speed = Annotated[float, _read("speed", least=0.0), _form("speed")]
TopSpeed = Annotated[float, _read("speed", positive=True), _form("speed")]
Power = Annotated[float, _read("power", positive=True), _form("power")]
Angle = Annotated[float, _read("angle", positive=True, greatest=180.0), _form("angle")]
Slope = Annotated[float, _read("angle", least=0.0, greatest=90.0), _form("angle")]
Stiffness = Annotated[float, _read("stiffness", positive=True), _form("stiffness")]
Acceleration = Annotated[float, _read("acceleration", positive=True), _form("acceleration")]
Time = Annotated[float, _read("time", least=0.0), _form("time")]
Frequency = Annotated[float, _read("frequency", positive=True), _form("frequency")]
Share = Annotated[float, _read("share", positive=True, greatest=1.0), _form("share")]
Count = Annotated[int, Strict(), Field(ge=0, le=99999)]
Flag = Annotated[bool, Strict()]
Text = Annotated[str, Field(min_length=1, max_length=500)]
Point2 = tuple[Length, Length]
Point3 = tuple[Length, Length, Length]
Sizes3 = tuple[Size, Size, Size]


def _material_name(value: object, info: ValidationInfo) -> object:
    own = (info.context or {}).get("materials", ())
    if value in own or (isinstance(value, str) and (info.context or {}).get("extends")):
        return value  # an entry of this file, or perhaps of one it extends: looked up when a setting is made
    return _catalogued(value, "materials")


def _cutter_name(value: object) -> object:
    return _catalogued(value, "cutters")


def _machine_name(value: object) -> object:
    return _catalogued(value, "machines")


def _catalogued(value: object, kind: str) -> object:
    """Refuse a name the catalogue does not hold, with the nearest ones."""
    from advisor.catalogue import names

    if not isinstance(value, str):
        return value
    known = names(kind)
    if value not in known:
        near = units.nearest(value, known)
        hint = f"; did you mean {_either(near)}?" if near else f"; known are {', '.join(list(known)[:8])} ..."
        raise ValueError(f"{_quoted(value)} is not among the {kind} of the catalogue{hint}")
    return value


class Table(BaseModel):
    """A table of the shop file: unknown keys are mistakes."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class Travel(Table):
    """Machine coordinates each axis can reach: lowest, highest."""

    x: Point2 | None = None
    y: Point2 | None = None
    z: Point2 | None = None

    @model_validator(mode="after")
    def _ascending(self) -> Travel:
        for axis in "xyz":
            pair = getattr(self, axis)
            if pair is not None and pair[0] >= pair[1]:
                raise ValueError(
                    f"{axis}: the lowest comes first, then the highest; found {pair[0]:g} and {pair[1]:g} mm"
                )
        return self


class MachineTable(Table):
    """The machine; any key overrides the catalogue entry named by ``like``."""

    like: Annotated[Text, BeforeValidator(_machine_name)] | None = None
    name: Text | None = None
    title: Text | None = None
    kind: Literal["router", "mill"] | None = None
    spindle_min: Speed | None = None
    spindle_max: TopSpeed | None = None
    spindle_power: Power | None = None
    power_curve: tuple[tuple[Speed, Power], ...] | None = None
    efficiency: Share | None = None
    feed_max: Feed | None = None
    feed_max_z: Feed | None = None
    rapid: tuple[Feed, Feed, Feed] | None = None
    acceleration: tuple[Acceleration, Acceleration, Acceleration] | None = None
    corner_deviation: Size | None = None
    stiffness: Stiffness | None = None
    holder_stiffness: Stiffness | None = None
    spin_up: Time | None = None
    runout: Depth | None = None
    natural_frequency: Frequency | None = None
    damping: Share | None = None
    change: Literal["hand", "automatic"] | None = None
    spindle_start: Literal["program", "hand", "interlock"] | None = None
    chip_clearing: tuple[Literal["air", "mist", "flood", "extraction"], ...] | None = None
    travel: Travel | None = None
    nose_diameter: Size | None = None
    nose_length: Size | None = None
    codes: tuple[Text, ...] | None = None

    @model_validator(mode="after")
    def _speeds(self) -> MachineTable:
        if self.spindle_min is not None and self.spindle_max is not None and self.spindle_min > self.spindle_max:
            raise ValueError(
                f"spindle_min is {self.spindle_min:g} rpm, above spindle_max, {self.spindle_max:g} rpm; exchange them"
            )
        if self.power_curve is not None:
            speeds = [point[0] for point in self.power_curve]
            if len(speeds) < 2 or any(a >= b for a, b in itertools.pairwise(speeds)):
                raise ValueError("power_curve needs two or more [speed, power] pairs with rising speeds")
        return self


class CutterTable(Table):
    """A cutter as it sits in the holder; any key overrides the catalogue entry named by ``like``."""

    tool: Count | None = Field(default=None, description="the T number; without it, for programs that name no tool")
    like: Annotated[Text, BeforeValidator(_cutter_name)] | None = None
    name: Text | None = None
    form: Literal["flat", "ball", "corner", "vee", "drill"] | None = None
    diameter: Size | None = None
    flutes: Annotated[int, Strict(), Field(ge=1, le=40)] | None = None
    flute_length: Size | None = None
    stickout: Size | None = None
    shank: Size | None = None
    corner_radius: Depth | None = None
    tip_angle: Angle | None = None
    tip_diameter: Depth | None = None
    material: Literal["carbide", "hss"] | None = None
    twist: Literal["up", "down", "straight", "compression"] | None = None
    up_length: Size | None = None
    helix: Slope | None = None
    centre_cutting: Flag | None = None
    dead_diameter: Depth | None = None
    ramp_angle: Slope | None = None
    core_ratio: Share | None = None
    max_rpm: TopSpeed | None = None
    runout: Depth | None = None
    holder_diameter: Size | None = None
    holder_length: Size | None = None
    length_offset: Length | None = None
    offset_diameter: Length | None = None

    @model_validator(mode="after")
    def _sizes(self) -> CutterTable:
        if self.flute_length is not None and self.stickout is not None and self.flute_length > self.stickout:
            raise ValueError(
                f"flute_length, {self.flute_length:g} mm, is longer than stickout, {self.stickout:g} mm; the flutes "
                "end below the holder: set the longer stickout, or the part of the flutes outside the holder"
            )
        if self.diameter is not None:
            for key in ("dead_diameter", "tip_diameter"):
                inner = getattr(self, key)
                if inner is not None and inner >= self.diameter:
                    raise ValueError(f"{key}, {inner:g} mm, is not below the diameter, {self.diameter:g} mm")
            if self.corner_radius is not None and self.corner_radius > self.diameter / 2:
                raise ValueError(f"corner_radius, {self.corner_radius:g} mm, is more than half the diameter")
        return self


class StartTable(Table):
    """The machine before the first block, where it differs from the default."""

    tool: Count | None = None
    slots: Annotated[int, Strict(), Field(ge=1, le=99999)] | None = None
    feed: Feed | None = None
    speed: Speed | None = None
    block_delete: Flag | None = None
    optional_stop: Flag | None = None
    position: Point3 | None = Field(default=None, description="machine coordinates before the first block")
    parameters: dict[Annotated[int, Field(ge=1, le=5602)], float] | None = None


class StockTable(Table):
    """The stock and where program zero is in it."""

    material: Annotated[Text, BeforeValidator(_material_name)] | None = None
    size: Sizes3 | None = None
    thickness: tuple[Size, Size] | None = None
    layers: tuple[Size, ...] | None = None
    zero: Point3 | None = None

    @model_validator(mode="after")
    def _measures(self) -> StockTable:
        if self.thickness is not None and self.thickness[0] > self.thickness[1]:
            raise ValueError(
                f"thickness: the least comes first, then the greatest; found {self.thickness[0]:g} and {self.thickness[1]:g} mm"
            )
        return self


class PinTable(Table):
    """A hole meant to go below the stock; stock coordinates."""

    at: Point2
    diameter: Size
    depth: Size


class KeepoutTable(Table):
    """A box nothing of the cutter or holder may enter; stock coordinates."""

    name: Text
    low: Point3 = Field(alias="from")
    high: Point3 = Field(alias="to")

    @model_validator(mode="after")
    def _box(self) -> KeepoutTable:
        for axis, low, high in zip("XYZ", self.low, self.high, strict=True):
            if low >= high:
                raise ValueError(f'"from" is not below "to" in {axis}: {low:g} and {high:g} mm')
        return self


class HoldTable(Table):
    """How the stock is held."""

    method: Literal["screws", "clamps", "vacuum", "tape", "vise"] | None = None
    points: tuple[Point2, ...] | None = None
    spoilboard: Depth | None = None
    pins: tuple[PinTable, ...] | None = None
    keepouts: tuple[KeepoutTable, ...] | None = None


Severity = Literal["error", "warning", "note", "off"]


class ChecksTable(BaseModel):
    """Dialect, rules that must have looked, and the severity or options of single rules by name."""

    model_config = ConfigDict(extra="allow", frozen=True, defer_build=True)

    dialect: Literal["strict", "shop"] | None = None
    dialect_options: dict[str, Flag] | None = None
    require: tuple[Text, ...] | None = None


class SettingTables(Table):
    """The tables that may differ from program to program."""

    machine: MachineTable | None = None
    cutter: tuple[CutterTable, ...] | None = None
    offsets: dict[str, Point3] | None = None
    start: StartTable | None = None
    stock: StockTable | None = None
    hold: HoldTable | None = None
    checks: ChecksTable | None = None


class ProgramTable(SettingTables):
    """Other values for some files."""

    files: Annotated[tuple[Text, ...], Field(min_length=1)]


class SetupTable(Table):
    """One clamping of a job."""

    programs: Annotated[tuple[Text, ...], Field(min_length=1)]
    turn: Literal["about-x", "about-y"] | None = None
    stock: StockTable | None = None
    hold: HoldTable | None = None
    zero: Point3 | None = None


class JobTable(Table):
    """Programs that cut one workpiece, in order."""

    name: Text
    setup: Annotated[tuple[SetupTable, ...], Field(min_length=1)]
    stock: StockTable | None = None
    hold: HoldTable | None = None


class MaterialTable(BaseModel):
    """A work material of your own: any value of the catalogue's entry it is like, as one number or three.

    A value is a number with unit, or ``[low, chosen, high]``; ``chip_load`` holds them by cutter diameter.
    """

    model_config = ConfigDict(extra="allow", frozen=True, defer_build=True)

    name: Annotated[Text, Field(pattern=r"^[a-z0-9][a-z0-9.-]*$")]
    like: Annotated[Text, BeforeValidator(lambda value: _catalogued(value, "materials"))]
    title: Text | None = None
    chip_load: dict[str, Any] | None = None


class AllowTable(Table):
    """Findings of a rule put aside in some files, with the reason."""

    rule: Text
    files: tuple[Text, ...] = ("*",)
    because: Annotated[str, Field(min_length=3, max_length=500)]


class FilesTable(Table):
    """Which files of a folder are programs."""

    endings: tuple[Annotated[str, Field(pattern=r"^\.?[A-Za-z0-9_-]{1,20}$")], ...] | None = None
    ignore: tuple[Text, ...] | None = None
    by_content: Flag | None = None


class ShopTables(SettingTables):
    """The whole file."""

    extend: Text | None = None
    program: tuple[ProgramTable, ...] | None = None
    job: tuple[JobTable, ...] | None = None
    allow: tuple[AllowTable, ...] | None = None
    material: tuple[MaterialTable, ...] | None = None
    files: FilesTable | None = None


def schema() -> dict[str, Any]:
    """The JSON Schema of the file, for editors."""
    made = ShopTables.model_json_schema(by_alias=True)
    made["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    made["title"] = NAME
    return made


# ------------------------------------------------------------------------------------------------------------ mistakes


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake of a shop file: where, what is wrong, and how to mend it."""

    file: str
    line: int  # 0 where it is not known
    key: str
    problem: str
    remedy: str = ""

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        remedy = f" {self.remedy}" if self.remedy else ""
        dot = "" if self.problem.endswith((".", "?", "!")) else "."
        return f"{place}: {self.key + ': ' if self.key else ''}{self.problem}{dot}{remedy}"


class ShopFileError(Exception):
    """A shop file that can't be used; holds every mistake found in it, and what the file extends."""

    def __init__(self, mistakes: Sequence[Mistake], extend: Path | None = None) -> None:
        self.extend = extend
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(str(mistake) for mistake in self.mistakes))


def _quoted(value: object) -> str:
    text = "".join(c if c.isprintable() else "?" for c in str(value))
    return f'"{text[:60]}"' + ("..." if len(text) > 60 else "")


def _either(names: Iterable[str]) -> str:
    quoted = [f'"{name}"' for name in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def key_path(parts: Sequence[str | int]) -> str:
    """``("cutter", 0, "stickout")`` -> ``cutter[1].stickout``: items of lists count from 1."""
    text = ""
    for part in parts:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            shown = part if re.fullmatch(r"[A-Za-z0-9_-]+", part) else _quoted(part)
            text += f".{shown}" if text else shown
    return text


def _known_keys(path: Sequence[str | int]) -> tuple[str, ...]:
    """The keys the table at ``path`` may hold."""
    model: Any = ShopTables
    for part in path:
        if isinstance(part, int):
            continue
        if not (isinstance(model, type) and issubclass(model, BaseModel)):
            return ()
        names = {(info.alias or name): info for name, info in model.model_fields.items()}
        if part not in names:
            return ()
        model = _table_of(names[part].annotation)
    if isinstance(model, type) and issubclass(model, BaseModel):
        return tuple(info.alias or name for name, info in model.model_fields.items())
    return ()


def _table_of(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _table_of(inner)
        if found is not None:
            return found
    return None


_SHAPES = {
    "string_type": "a text in quotes is wanted",
    "bool_type": "true or false is wanted, without quotes",
    "int_type": "a whole number is wanted, without quotes",
    "int_parsing": "a whole number is wanted",
    "int_from_float": "a whole number is wanted",
    "float_type": "a number is wanted",
    "float_parsing": "a number is wanted",
    "finite_number": "a finite number is wanted",
    "tuple_type": "a list in square brackets is wanted",
    "dict_type": "a table is wanted",
    "model_type": "a table is wanted",
    "model_attributes_type": "a table is wanted",
}


_JOB = {
    ("setup", "missing"): ("this key is missing", 'Add [[job.setup]] with programs = ["side-1.ngc"].'),
    ("setup", "too_short"): ("the job has no set-up", 'Add [[job.setup]] with programs = ["side-1.ngc"].'),
    ("programs", "missing"): ("this key is missing", 'Write programs = ["side-1.ngc"], in the order they are run.'),
    ("programs", "too_short"): ("the set-up names no program", 'Write programs = ["side-1.ngc"], in the order they are run.'),
}


def _explain(error: Mapping[str, Any], path: Sequence[str | int]) -> tuple[str, str]:
    """Problem and remedy of one pydantic error in our words."""
    kind, value, context = error["type"], error.get("input"), error.get("ctx", {})
    name = str(path[-1]) if path else ""
    if kind == "value_error":
        return str(context["error"]), ""
    if kind == "extra_forbidden":
        known = _known_keys(path[:-1])
        near = units.nearest(name, known)
        remedy = f"Did you mean {_either(near)}?" if near else (f"Known here: {', '.join(known)}." if known else "")
        return "there is no such key", remedy
    if path[:1] == ("job",) and (name, kind) in _JOB:
        return _JOB[name, kind]
    if kind == "missing":
        if isinstance(path[-1], int):
            return f"value {path[-1] + 1} of the list is missing", ""
        return "this key is missing", "Add it."
    if kind == "literal_error":
        known = tuple(re.findall(r"'([^']*)'", context["expected"]))
        near = units.nearest(str(value), known, 1)
        hint = f"Did you mean {_either(near)}?" if near else ""
        return f"{_quoted(value)} is not one of {', '.join(known)}", hint
    if kind in ("tuple_type", "dict_type", "model_type", "model_attributes_type") and path[:1] and len(path) == 1:
        wanted = f"[[{name}]]" if kind == "tuple_type" else f"[{name}]"
        return f"a table is wanted, written {wanted}", ""
    if kind in _SHAPES:
        return f"{_quoted(value)} is not what is wanted: {_SHAPES[kind]}", ""
    if kind == "too_long":
        return f"{context.get('actual_length')} values are given, {context.get('max_length')} are wanted", ""
    if kind == "too_short":
        return f"at least {context.get('min_length')} value is wanted, none is given", ""
    if kind == "string_too_short":
        return f"{_quoted(value)} is too short", "Write a few words."
    if kind in ("greater_than_equal", "less_than_equal"):
        bound = context.get("ge", context.get("le"))
        return f"{_quoted(value)} is {'below' if 'ge' in context else 'above'} {bound}", ""
    if kind == "string_pattern_mismatch":
        if "endings" in path:
            return f"{_quoted(value)} is no file ending", 'Write it as ".ngc".'
        return f"{_quoted(value)} is no name", "Write small letters, digits, points and dashes."
    return str(error["msg"]), ""


# ------------------------------------------------------------------------------------------------------------- lines


_KEY = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""


def line_index(text: str) -> dict[tuple[str | int, ...], int]:
    """Line of each table and key, as far as a plain look at the text shows it; inner keys fall back on their table."""
    found: dict[tuple[str | int, ...], int] = {}
    counts: dict[tuple[str | int, ...], int] = {}
    table: tuple[str | int, ...] = ()
    depth, quote = 0, ""
    for number, line in enumerate(text.splitlines(), 1):
        if depth == 0 and not quote:
            header = re.match(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$", line)
            if header is not None:
                names = _dotted(header[2])
                table = ()
                for at, name in enumerate(names):
                    table = (*table, name)
                    last = at == len(names) - 1
                    if last and header[1] == "[[":
                        counts[table] = counts.get(table, -1) + 1
                    if table in counts:
                        table = (*table, counts[table])
                found.setdefault(table, number)
                continue
            pair = re.match(
                r"\s*((?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|\"[^\"]*\"))*)\s*=", line
            )
            if pair is not None:
                found.setdefault((*table, *_dotted(pair[1])), number)
        depth, quote = _open(line, depth, quote)
    return found


def _dotted(text: str) -> list[str]:
    return [part.strip().strip("\"'") for part in re.findall(r"\"[^\"]*\"|'[^']*'|[^.\s]+", text)]


def _open(line: str, depth: int, quote: str) -> tuple[int, str]:
    """Bracket depth and open multi-line quote after a line."""
    at = 0
    while at < len(line):
        if quote:
            end = line.find(quote, at)
            if end < 0:
                return depth, quote if len(quote) == 3 else ""
            at, quote = end + len(quote), ""
            continue
        char = line[at]
        if char == "#":
            break
        if char in "\"'":
            quote = char * 3 if line.startswith(char * 3, at) else char
            at += len(quote)
            continue
        depth += (char in "[{") - (char in "]}")
        at += 1
    return max(depth, 0), quote if len(quote) == 3 else ""


# ------------------------------------------------------------------------------------------------------------- parsing


def parse(content: bytes, path: Path, *, shown: str | None = None) -> ShopFile:
    """Read one shop file. ``shown`` is how messages name it. Raises ``ShopFileError`` with every mistake in it."""
    name = shown if shown is not None else str(path)
    if len(content) > MAX_BYTES:
        raise ShopFileError([Mistake(name, 0, "", f"the file is larger than {MAX_BYTES // 1_000_000} MB")])
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise ShopFileError([Mistake(name, line, "", "this is not UTF-8 text", "Save the file as UTF-8.")]) from None
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise ShopFileError([_not_toml(name, error)]) from None
    lines = line_index(text)
    mistakes: list[Mistake] = []

    def tell(parts: Sequence[str | int], problem: str, remedy: str = "") -> None:
        mistakes.append(Mistake(name, _line(lines, parts), key_path(parts), problem, remedy))

    tables: ShopTables | None = None
    try:
        tables = ShopTables.model_validate(raw, context={"materials": _own_names(raw), "extends": "extend" in raw})
    except ValidationError as error:
        for each in error.errors(include_url=False):
            if each["type"] == "too_short" and isinstance(each["input"], list) and each["input"]:
                continue  # what is wrong with its items is told
            parts = tuple(part for part in each["loc"] if part != "[key]")
            tell(parts, *_explain(each, parts))
    except RecursionError:
        mistakes.append(Mistake(name, 0, "", "the tables are nested too deeply"))
    checks = _read_checks(raw, tell)
    _check_lists(raw, tell)
    _check_jobs(raw, tell, path.parent)
    materials = _read_materials(raw, tell, name, lines)
    if mistakes or tables is None:
        other = raw.get("extend")
        base = _below(path.parent, other) if isinstance(other, str) else None
        raise ShopFileError(sorted(set(mistakes), key=lambda m: (m.line, m.key, m.problem)), base)
    return _shop_file(tables, checks, materials, path, name, lines, content)


def _not_toml(name: str, error: Exception) -> Mistake:
    text = str(error)
    at = re.search(r" \(at line (\d+), column (\d+)\)", text)
    line = int(at[1]) if at else 0
    problem = text[: at.start()] if at else text
    return Mistake(name, line, "", f"this is not TOML: {problem}", "Mend the line; texts stand in double quotes.")


def _line(lines: Mapping[tuple[str | int, ...], int], parts: Sequence[str | int]) -> int:
    for length in range(len(parts), 0, -1):
        found = lines.get(tuple(parts[:length]))
        if found is not None:
            return found
    return 0


_SEVERITIES = 'Write "error", "warning", "note" or "off".'
_CHECK_KEYS = ("dialect", "dialect_options", "require")


def _rule_names() -> tuple[str, ...]:
    """The names of all rules, by their modules: none of them is loaded for it."""
    import pkgutil

    from advisor import rules

    names = (info.name for info in pkgutil.iter_modules(rules.__path__))
    return tuple(sorted(name.replace("_", "-") for name in names if name != "base" and not name.startswith("_")))


def _read_checks(raw: Mapping[str, Any], tell: Any) -> dict[tuple[str | int, ...], dict[str, Any]]:
    """Severity and options by rule, for ``[checks]`` and each ``[[program]]``; by the path of their table."""
    places: list[tuple[tuple[str | int, ...], Any]] = [(("checks",), raw.get("checks"))]
    programs = raw.get("program")
    if isinstance(programs, list):
        places += [
            (("program", i, "checks"), item.get("checks")) for i, item in enumerate(programs) if isinstance(item, dict)
        ]
    made: dict[tuple[str | int, ...], dict[str, Any]] = {}
    for place, table in places:
        if isinstance(table, dict) and table:
            made[place] = _one_checks(place, table, tell)
    allows = raw.get("allow")
    if isinstance(allows, list):
        for i, item in enumerate(allows):
            if isinstance(item, dict) and isinstance(item.get("rule"), str):
                _rule_known(item["rule"], ("allow", i, "rule"), tell)
    return made


def _rule_known(rule: str, place: Sequence[str | int], tell: Any, also: Sequence[str] = ()) -> bool:
    known = _rule_names()
    if rule in known:
        return True
    near = units.nearest(rule, (*known, *also))
    remedy = f"Did you mean {_either(near)}?" if near else '"feedwright explain" lists them.'
    tell(place, f"{_quoted(rule)} is not the name of a rule", remedy)
    return False


def _one_checks(place: tuple[str | int, ...], table: Mapping[str, Any], tell: Any) -> dict[str, Any]:
    severity: dict[str, str] = {}
    options: dict[str, dict[str, Any]] = {}
    chosen = table.get("dialect_options")
    if isinstance(chosen, dict) and chosen:
        from grammar.dialect import NAMES, reasons

        named = table.get("dialect", "shop")
        dialect = named if named in NAMES else "shop"
        known = reasons(dialect)
        for option in chosen:
            if option not in known:
                near = units.nearest(option, known)
                remedy = f"Did you mean {_either(near)}?" if near else f"Known: {', '.join(sorted(known)) or 'none'}."
                tell((*place, "dialect_options", option), f"the dialect {dialect} has no such option", remedy)
    required = table.get("require")
    if isinstance(required, list):
        for i, rule in enumerate(required):
            if isinstance(rule, str):
                _rule_known(rule, (*place, "require", i), tell)
    for rule, value in table.items():
        if rule in _CHECK_KEYS or not _rule_known(rule, (*place, rule), tell, _CHECK_KEYS):
            continue
        if isinstance(value, str):
            value = {"severity": value}
        if not isinstance(value, dict):
            tell((*place, rule), f"{_quoted(value)} is no severity", _SEVERITIES)
            continue
        for key, given in value.items():
            here = (*place, rule, key)
            if key == "severity":
                if given in ("error", "warning", "note", "off"):
                    severity[rule] = given
                else:
                    tell(
                        here if len(value) > 1 else (*place, rule),
                        f"{_quoted(given)} is no severity",
                        _SEVERITIES,
                    )
            else:
                _option(rule, key, given, here, options, tell)
    return {"severity": severity, "options": options}


def _option(
    rule: str, key: str, given: Any, here: Sequence[str | int], options: dict[str, dict[str, Any]], tell: Any
) -> None:
    import importlib

    from advisor.rules import module_name

    held = importlib.import_module(f"advisor.rules.{module_name(rule)}").RULE
    known = ("severity", *(name for name in ("least",) if held.unit), *held.options)
    if key not in known:
        near = units.nearest(key, known)
        tell(
            here,
            f"{rule} has no such option",
            f"Did you mean {_either(near)}?" if near else f"Known: {', '.join(known)}.",
        )
        return
    try:
        options.setdefault(rule, {})[key] = units.option(given, held.unit, key="")
    except units.UnitError as error:
        tell(here, str(error))


def _own_names(raw: Mapping[str, Any]) -> tuple[str, ...]:
    """The names of the file's own materials, as far as they can be seen before it is validated."""
    items = raw.get("material")
    found = [item.get("name") for item in items if isinstance(item, dict)] if isinstance(items, list) else []
    return tuple(name for name in found if isinstance(name, str))


_MATERIAL_KEYS = ("name", "like", "title", "chip_load")
_KIND_OF = {
    "m/min": "cutting-speed", "N/mm2": "specific-force", "mm": "length", "deg": "angle", "rpm": "speed",
    "kg/m3": "density", "N": "force",
}  # fmt: skip


def _read_materials(
    raw: Mapping[str, Any], tell: Any, name: str, lines: Mapping[tuple[str | int, ...], int]
) -> dict[str, OwnMaterial]:
    """The file's own materials: values over those of the entry each is like, with file and line as their source."""
    items = raw.get("material")
    made: dict[str, OwnMaterial] = {}
    if not isinstance(items, list) or not items:
        return made
    from advisor.catalogue.keys import MATERIAL

    for i, item in enumerate(items):
        if not isinstance(item, dict):
            continue
        own = item.get("name")
        place: tuple[str | int, ...] = ("material", i)
        if own in made:
            tell((*place, "name"), f"the material {_quoted(own)} is given twice")
        values: dict[str, Value] = {}
        chips: dict[float, Value] = {}
        for key, given in item.items():
            if key in _MATERIAL_KEYS:
                continue
            if key not in MATERIAL:
                near = units.nearest(key, (*MATERIAL, *_MATERIAL_KEYS))
                remedy = (
                    f"Did you mean {_either(near)}?" if near else f"Known: {', '.join((*_MATERIAL_KEYS, *MATERIAL))}."
                )
                tell((*place, key), "there is no such key", remedy)
                continue
            value = _spread(given, MATERIAL[key][0], (*place, key), tell, f"{name}:{_line(lines, (*place, key))}")
            if value is not None:
                values[key] = value
        table = item.get("chip_load")
        for at, given in table.items() if isinstance(table, dict) else ():
            here = (*place, "chip_load", at)
            try:
                diameter = units.quantity(at, "length", positive=True)
            except units.UnitError as error:
                tell(here, str(error))
                continue
            value = _spread(given, "mm", here, tell, f"{name}:{_line(lines, here)}")
            if value is not None:
                chips[diameter] = value
        if isinstance(own, str) and isinstance(item.get("like"), str):
            title = item.get("title")
            made[own] = OwnMaterial(own, item["like"], title if isinstance(title, str) else "", values, chips)
    return made


def _spread(given: Any, unit: str, place: Sequence[str | int], tell: Any, source: str) -> Value | None:
    """A value of a material: one number, or low, chosen, high."""
    items = given if isinstance(given, list) else [given, given, given]
    if len(items) != 3:
        tell(place, f"{len(items)} values are given", "Give one value, or [low, chosen, high].")
        return None
    numbers = []
    for one in items:
        try:
            if unit in _KIND_OF:
                numbers.append(units.quantity(one, _KIND_OF[unit], positive=True))
            elif isinstance(one, int | float) and not isinstance(one, bool) and math.isfinite(one) and one > 0:
                numbers.append(float(one))
            else:
                wanted = "a plain number" if unit == "1" else f"a plain number, taken in {unit},"
                tell(place, f"{_quoted(one)} is not what is wanted: {wanted} above 0")
                return None
        except units.UnitError as error:
            tell(place, str(error))
            return None
    if not numbers[0] <= numbers[1] <= numbers[2]:
        tell(place, "the three values do not rise", "Write [low, chosen, high].")
        return None
    low, chosen, high = numbers
    return Value(low, chosen, high, unit, source)


def _check_lists(raw: Mapping[str, Any], tell: Any) -> None:
    """Mistakes that no single table shows: a tool given twice, an unknown coordinate system, an endless parameter."""
    for place, table in _setting_tables(raw):
        cutters = table.get("cutter")
        if isinstance(cutters, list):
            seen: dict[Any, int] = {}
            for i, cutter in enumerate(cutters):
                tool = cutter.get("tool") if isinstance(cutter, dict) else None
                if isinstance(tool, list | dict):
                    continue
                if tool in seen:
                    which = f"tool {tool} is" if tool is not None else "a cutter without a tool number is"
                    tell((*place, "cutter", i, "tool"), f"{which} given twice", f"It is also cutter[{seen[tool] + 1}].")
                seen.setdefault(tool, i)
        offsets = table.get("offsets")
        if isinstance(offsets, dict):
            for name in offsets:
                if name not in SYSTEMS:
                    tell(
                        (*place, "offsets", name), "there is no such coordinate system", f"Known: {', '.join(SYSTEMS)}."
                    )
        start = table.get("start")
        parameters = start.get("parameters") if isinstance(start, dict) else None
        if isinstance(parameters, dict):
            for number, value in parameters.items():
                if isinstance(value, float) and not math.isfinite(value):
                    tell((*place, "start", "parameters", number), "a finite number is wanted")


def _check_jobs(raw: Mapping[str, Any], tell: Any, folder: Path) -> None:
    """A program stands in one place of one job: what it finds standing, and its set-up, are told by that place."""
    seen: dict[Path, str] = {}
    jobs = raw.get("job")
    for i, job in enumerate(jobs if isinstance(jobs, list) else ()):
        setups = job.get("setup") if isinstance(job, dict) else None
        for j, setup in enumerate(setups if isinstance(setups, list) else ()):
            programs = setup.get("programs") if isinstance(setup, dict) else None
            for k, name in enumerate(programs if isinstance(programs, list) else ()):
                if not isinstance(name, str):
                    continue
                place = ("job", i, "setup", j, "programs", k)
                path = _below(folder, name)
                if path in seen:
                    tell(place, *_twice(name, seen[path]))
                seen.setdefault(path, key_path(place))


def _twice(name: str, also: str) -> tuple[str, str]:
    return (
        f"the program {_quoted(name)} is given twice",
        f"It is also {also}. A program stands in one place of one job; let a second run have a file of its own.",
    )


def jobs_in_two_files(base: ShopFile, over: ShopFile, shown: str) -> list[Mistake]:
    """Programs of a job of ``over`` that are also in one of the file it extends."""
    seen = {path: f"in the job {_quoted(plan.name)} of the file it extends" for plan in base.jobs for path in plan.programs}
    found = []
    for plan in over.jobs:
        for setup in plan.setups:
            line = setup.origin.rpartition(":")[2]
            for path in setup.programs:
                if path in seen:
                    found.append(
                        Mistake(shown, int(line) if line.isdecimal() else 0, "job", *_twice(plan.shown(path), seen[path]))
                    )
    return found


def _setting_tables(raw: Mapping[str, Any]) -> Iterable[tuple[tuple[str | int, ...], Mapping[str, Any]]]:
    yield (), raw
    programs = raw.get("program")
    if isinstance(programs, list):
        for i, item in enumerate(programs):
            if isinstance(item, dict):
                yield ("program", i), item


_SETTING_KEYS = ("machine", "cutter", "offsets", "start", "stock", "hold", "checks")


def _shop_file(
    tables: ShopTables,
    checks: Mapping[tuple[str | int, ...], Mapping[str, Any]],
    materials: Mapping[str, OwnMaterial],
    path: Path,
    name: str,
    lines: Mapping[tuple[str | int, ...], int],
    content: bytes,
) -> ShopFile:
    folder = path.parent

    whole = tables.model_dump(exclude_unset=True)  # once: each model would build a serializer of its own

    def layer(table: Mapping[str, Any], place: tuple[str | int, ...]) -> Layer:
        return _layer(table, place, checks.get((*place, "checks")), lines, name)

    overrides = tuple(
        Override(folder, item["files"], layer(item, ("program", i)))
        for i, item in enumerate(whole.get("program") or ())
    )
    jobs = []
    for i, job in enumerate(whole.get("job") or ()):
        of_job = layer(job, ("job", i))
        setups = []
        for j, setup in enumerate(job["setup"]):
            of_setup = layer(setup, ("job", i, "setup", j))
            if setup.get("zero") is not None:
                place = ("job", i, "setup", j, "zero")
                extra = Layer({"stock": {"zero": setup["zero"]}}, {"stock.zero": f"{name}:{_line(lines, place)}"})
                of_setup = merge(of_setup, extra)
            programs = tuple(_below(folder, program) for program in setup["programs"])
            origin = f"{name}:{_line(lines, ('job', i, 'setup', j))}"
            setups.append(JobSetup(programs, setup.get("turn"), merge(of_job, of_setup), origin))
        jobs.append(JobPlan(job["name"], tuple(setups), folder))
    allowances = tuple(
        Allowance(item.rule, folder, item.files, item.because, f"{name}:{_line(lines, ('allow', i))}")
        for i, item in enumerate(tables.allow or ())
    )
    files = tables.files or FilesTable()
    endings = None
    if files.endings is not None:
        endings = tuple("." + ending.lstrip(".").lower() for ending in files.endings)
    return ShopFile(
        path=path,
        base=layer(whole, ()),
        overrides=overrides,
        jobs=tuple(jobs),
        allowances=allowances,
        materials=materials,
        endings=endings,
        ignore=tuple((folder, pattern) for pattern in files.ignore or ()),
        by_content=bool(files.by_content),
        extend=_below(folder, tables.extend) if tables.extend is not None else None,
        sources=((path, content),),
    )


def _below(folder: Path, name: str) -> Path:
    """A path of the file, seen from its folder, without ``..``; links stay as they are."""
    return Path(os.path.normpath(folder / name))


def _layer(
    table: Mapping[str, Any],
    place: tuple[str | int, ...],
    checks: Mapping[str, Any] | None,
    lines: Mapping[tuple[str | int, ...], int],
    name: str,
) -> Layer:
    """The setting tables of one table of the file as a layer: cutters by tool, checks sorted out, origins by key."""
    data: dict[str, Any] = {}
    origins: dict[str, str] = {}
    for key, value in table.items():
        if value is None or key not in _SETTING_KEYS:
            continue
        if key == "cutter":
            data[key] = {}
            for i, cutter in enumerate(value):
                tool = "any" if cutter.get("tool") is None else str(cutter["tool"])
                data[key][tool] = cutter
                _note(cutter, f"cutter.{tool}", (*place, key, i), lines, name, origins)
            continue
        if key == "checks":
            value = {k: value[k] for k in _CHECK_KEYS if k in value}
            value |= {k: v for k, v in (checks or {}).items() if v}
            for part in ("severity", "options"):
                for rule in value.get(part, {}):
                    at = _line(lines, (*place, "checks", rule))
                    for leaf in value[part][rule] if part == "options" else ("",):
                        origins[f"checks.{part}.{rule}" + (f".{leaf}" if leaf else "")] = f"{name}:{at}"
            rest = {k: v for k, v in value.items() if k in _CHECK_KEYS}
            _note(rest, key, (*place, key), lines, name, origins)
            data[key] = value
            continue
        data[key] = value
        _note(value, key, (*place, key), lines, name, origins)
    return Layer(data, origins)


def _note(
    value: Any,
    dotted: str,
    place: tuple[str | int, ...],
    lines: Mapping[tuple[str | int, ...], int],
    name: str,
    origins: dict[str, str],
) -> None:
    """Write down the origin of every leaf of ``value``."""
    if isinstance(value, dict):
        for key, inner in value.items():
            _note(inner, f"{dotted}.{key}", (*place, str(key)), lines, name, origins)
    else:
        origins[dotted] = f"{name}:{_line(lines, place)}"
