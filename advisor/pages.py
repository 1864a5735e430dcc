"""Pages the command line prints that are no report: a rule's page, the catalogue, the values in force."""

from __future__ import annotations

import dataclasses
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from advisor.escape import visible
from advisor.values import Setting, Value

if TYPE_CHECKING:
    from advisor.rules import RulePage
    from advisor.rules.base import Rule


NARROW = 18  # columns: the last column of a table is folded to no less than this


def table(rows: Sequence[Sequence[str]], *, gap: int = 2, indent: int = 0, width: int | None = None) -> str:
    """Rows in columns as wide as they need. In ``width`` columns the last one is folded, and what has no room beside the
    first ones stands on lines of its own below them."""
    if not rows:
        return ""
    widths = [max(len(row[i]) for row in rows if i < len(row)) for i in range(max(len(row) for row in rows))]
    room = (1 << 30) if width is None else max(width, 20)
    stands: list[list[int]] = [[]]  # the columns of each line of a row
    used = indent
    for i, wide in enumerate(widths):
        need = min(wide, NARROW) if i == len(widths) - 1 else wide
        if stands[-1] and used + gap + need > room:
            stands.append([])
            used = indent + 4
        used += wide + (gap if stands[-1] else 0)
        stands[-1].append(i)
    lines = []
    for row in rows:
        for number, columns in enumerate(stands):
            shown = [i for i in columns if i < len(row)]
            if not shown:
                continue
            lead = " " * (indent + (4 if number else 0))
            lead += "".join(row[i].ljust(widths[i]) + " " * gap for i in shown[:-1])
            last = row[shown[-1]]
            if width is None or len(lead) + len(last) <= room:
                lines.append((lead + last).rstrip())
            else:
                hang = " " * len(lead)
                lines += textwrap.wrap(last, room, initial_indent=lead, subsequent_indent=hang, break_on_hyphens=False) or [
                    lead.rstrip()
                ]
    return "\n".join(lines)


# ------------------------------------------------------------------------------------------------------ values in force

_UNITS = {
    "spindle_min": "rpm", "spindle_max": "rpm", "max_rpm": "rpm", "speed": "rpm",
    "spindle_power": "W", "feed": "mm/min", "feed_max": "mm/min", "feed_max_z": "mm/min", "rapid": "mm/min",
    "acceleration": "mm/s2", "stiffness": "N/um", "holder_stiffness": "N/um", "spin_up": "s",
    "natural_frequency": "Hz", "helix": "deg", "tip_angle": "deg", "ramp_angle": "deg",
    "axis_push": "N",
}  # fmt: skip
_LENGTHS = frozenset(
    [
        "diameter",
        "flute_length",
        "stickout",
        "shank",
        "corner_radius",
        "tip_diameter",
        "up_length",
        "dead_diameter",
        "runout",
        "holder_diameter",
        "holder_length",
        "length_offset",
        "offset_diameter",
        "edge_radius",
        "core_height",
        "corner_deviation",
        "nose_diameter",
        "nose_length",
        "travel",
        "size",
        "zero",
        "thickness",
        "layers",
        "spoilboard",
        "points",
        "position",
    ]
)


def plain(value: Any) -> str:
    """A value as a person writes it."""
    if value is None:
        return "not given"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, str):
        return visible(value)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{visible(str(k))} = {plain(v)}" for k, v in value.items()) + "}"
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        inner = {item.name: getattr(value, item.name) for item in dataclasses.fields(value)}
        return plain(inner)
    if isinstance(value, Iterable):
        items = [plain(item) for item in value]
        return "[" + ", ".join(items) + "]" if items else "none"
    return visible(str(value))


def _with_unit(name: str, value: Any) -> str:
    text = plain(value)
    unit = _UNITS.get(name, "mm" if name in _LENGTHS else "")
    if value is None or not unit or text in ("none", "not given"):
        return text
    return f"{text} {unit}"


def config_rows(setting: Setting) -> list[tuple[str, str, str]]:
    """Key, value and origin of everything in force."""
    rows: list[tuple[str, str, str]] = []
    origins = setting.origins

    def origin(dotted: str, otherwise: str = "default") -> str:
        found = {value for key, value in origins.items() if key == dotted or key.startswith(dotted + ".")}
        return ", ".join(sorted(found)) if found else otherwise

    def add(dotted: str, value: Any, otherwise: str = "default") -> None:
        rows.append((dotted, _with_unit(dotted.rsplit(".", 1)[-1], value), origin(dotted, otherwise)))

    def each(prefix: str, value: Any, left_out: Iterable[str] = ()) -> None:
        for item in dataclasses.fields(value):
            if item.name not in {"values", "sources", "source", "use", *left_out}:
                add(f"{prefix}.{item.name}", getattr(value, item.name))

    if setting.machine is None:
        rows.append(("machine", "not given", "nobody"))
    else:
        each("machine", setting.machine)
    for tool, cutter in setting.cutters.items():
        each(f"cutter.{tool}", cutter)
    if setting.any_cutter is not None:
        each("cutter.any", setting.any_cutter)
    for tool, (length, diameter) in setting.tool_table.items():
        add(f"cutter.{tool}.length_offset", length)
        add(f"cutter.{tool}.offset_diameter", diameter)
    if not setting.cutters and setting.any_cutter is None:
        rows.append(("cutter", "not given", "nobody"))
    for name, value in setting.offsets.items():
        rows.append((f"offsets.{name}", f"{plain(value)} mm", origin(f"offsets.{name}")))
    for key, value in setting.start.items():
        add(f"start.{key}", value)
    rows.append(
        (
            "stock.material",
            setting.material.name if setting.material else "not given",
            origin("stock.material", "nobody"),
        )
    )
    if setting.workpiece is None:
        rows.append(("stock.size", "not given", "nobody"))
    else:
        add("stock.size", setting.workpiece.size)
        add("stock.zero", setting.workpiece.zero)
        add("stock.thickness", setting.workpiece.thickness)
        add("stock.layers", tuple(layer.thickness for layer in setting.workpiece.layers))
    rows.append(("stock.assumed", plain(setting.assume_stock), "--assume-stock" if setting.assume_stock else "default"))
    each("hold", setting.hold)
    job = setting.job
    if job is not None:
        after = ", ".join(visible(name) for name in job.before)
        place = f"{job.program} of {job.programs}" + (f", after {after}" if after else "")
        turn = f", turned {job.turn}" if job.turn else ""
        rows.append(("job", visible(job.job), job.origin))
        rows.append(("job.program", place, job.origin))
        rows.append(("job.setup", f"{job.setup} of {job.setups}{turn}", job.origin))
    checks = setting.checks
    add("checks.dialect", checks.dialect)
    add("checks.dialect_options", checks.dialect_options or None)
    add("checks.require", checks.require)
    for rule, severity in sorted(checks.severity.items()):
        rows.append((f"checks.{rule}", severity, origin(f"checks.severity.{rule}")))
    for rule, options in sorted(checks.options.items()):
        for name, value in sorted(options.items()):
            rows.append((f"checks.{rule}.{name}", plain(value), origin(f"checks.options.{rule}.{name}")))
    for rule, reason in setting.allowances:
        rows.append((f"allow.{rule}", visible(reason), "shop file"))
    return rows


def config_text(setting: Setting, *, program: str, shop_file: str | None) -> str:
    """Every value in force for one program, with its origin."""
    head = f"in force for {visible(program)}"
    where = f"shop file: {visible(shop_file)}" if shop_file is not None else "shop file: none found"
    return f"{head}\n{where}\n\n" + table([("key", "value", "from"), *config_rows(setting)]) + "\n"


# ----------------------------------------------------------------------------------------------------------- rule pages

_GROUPS = (
    ("reading", "Reading"),
    ("set-up", "Set-up"),
    ("motion", "Motion in stock"),
    ("two-sided", "Two sides and layers"),
    ("housekeeping", "Housekeeping"),
)


def rule_list(rules: Mapping[str, Rule], *, width: int) -> str:
    """All rules by group with severity and one line each."""
    parts = []
    for group, title in _GROUPS:
        chosen = [rule for rule in rules.values() if rule.group == group]
        if not chosen:
            continue
        longest = max(len(rule.name) for rule in chosen)
        lines = [title]
        for rule in chosen:
            first = f"  {rule.name.ljust(longest)}  {rule.severity.ljust(7)}  "
            lines += textwrap.wrap(
                rule.summary, width, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False
            )
        parts.append("\n".join(lines))
    return "\n\n".join(parts) + f'\n\n{len(rules)} rules; "feedwright explain RULE" tells all about one.\n'


def rule_page(page: RulePage, *, width: int) -> str:
    """A rule's page: what, why, what it cannot see, how to mend, both programs, safety note."""
    rule = page.rule
    facts = [f"severity {rule.severity}", f"group {rule.group}"]
    if rule.needs:
        facts.append("needs " + ", ".join(rule.needs))
    if rule.unit:
        facts.append(f"measured in {rule.unit}, tolerance {rule.tolerance:g}")
    if rule.least:
        facts.append(f"told from {rule.least:g} {rule.unit} past the limit")
    parts = [f"{rule.name}\n{'=' * len(rule.name)}", _filled(rule.summary, width), _filled("; ".join(facts), width)]
    for name, default in rule.options.items():
        parts.append(f"  option {name} = {default:g} {rule.unit}".rstrip())
    if rule.unit and "least" not in rule.options and rule.severity:
        parts.append(_filled(f"[checks] may give least: how far past its limit, in {rule.unit}, a finding is told.", width))
    for heading, text in page.sections.items():
        if text and heading not in ("Example", "Safety"):
            parts.append(f"{heading}\n{_paragraphs(text, width)}")
    example = page.sections.get("Example", "")
    if example:
        parts.append(f"Example\n{_paragraphs(example, width)}")
    if page.bad:
        parts.append("A program with this fault\n" + _program(page.bad))
    if page.good:
        parts.append("The same, without it\n" + _program(page.good))
    parts.append(f"Safety\n{_paragraphs(page.sections.get('Safety', '') or rule.safety, width)}")
    return "\n\n".join(parts) + "\n"


def rule_dict(page: RulePage) -> dict[str, Any]:
    """The page for other programs."""
    rule = page.rule
    return {
        "name": rule.name, "severity": rule.severity, "group": rule.group, "summary": rule.summary,
        "needs": list(rule.needs), "unit": rule.unit or None, "tolerance": rule.tolerance, "least": rule.least,
        "options": dict(rule.options), "sections": dict(page.sections), "good": page.good, "bad": page.bad,
        "safety": rule.safety,
    }  # fmt: skip


def _program(text: str) -> str:
    return "\n".join("    " + visible(line) for line in text.rstrip().splitlines())


def _filled(text: str, width: int) -> str:
    return textwrap.fill(text, width, break_on_hyphens=False, break_long_words=False)


def _paragraphs(text: str, width: int) -> str:
    """Paragraphs refilled; lines that are indented stay as they are."""
    made = []
    for part in text.split("\n\n"):
        lines = part.splitlines()
        if any(line.startswith((" ", "-", "*")) for line in lines):
            made.append("\n".join("  " + line for line in lines))
        else:
            made.append(
                textwrap.fill(
                    " ".join(lines), width, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False,
                    break_long_words=False,
                )
            )  # fmt: skip
    return "\n\n".join(made)


# ------------------------------------------------------------------------------------------------------------ catalogue


def value_cells(value: Value) -> tuple[str, str]:
    """A value as ``low ... chosen ... high unit`` and its source."""
    if value.low == value.chosen == value.high:
        text = f"{value.chosen:.6g}"
    else:
        text = f"{value.low:.6g} ... {value.chosen:.6g} ... {value.high:.6g}"
    return f"{text} {value.unit if value.unit != '1' else ''}".rstrip(), value.source


def catalogue_dict(kind: str | None, name: str | None) -> dict[str, Any]:
    """The catalogue, a kind of it, or one entry, for other programs."""
    from advisor import catalogue

    made: dict[str, Any] = {"schema": "feedwright.catalogue/1", "revision": catalogue.revision()}
    for each in (kind,) if kind is not None else catalogue.KINDS:
        chosen = (name,) if name is not None else catalogue.names(each)
        made[each] = {one: _named_values(catalogue.entry(each, one)) for one in chosen}
    return made


def _named_values(entry: Mapping[str, Any]) -> dict[str, Any]:
    keys = ("low", "chosen", "high", "unit", "source")
    made = dict(entry)
    made["values"] = {key: dict(zip(keys, five, strict=True)) for key, five in entry.get("values", {}).items()}
    if "chip_load" in entry:
        made["chip_load"] = [
            {"diameter_mm": diameter, **dict(zip(keys, five, strict=True))} for diameter, five in entry["chip_load"]
        ]
    return made


def catalogue_text(kind: str | None, name: str | None, *, width: int) -> str:
    """What is known: the kinds, the names of one kind, or all of one entry with range and source."""
    from advisor import catalogue

    if kind is None:
        counts = [(each, f"{len(catalogue.names(each))} entries") for each in catalogue.KINDS]
        return (
            table([(f"feedwright catalogue {each}", count) for each, count in counts], width=width)
            + "\n\n"
            + textwrap.fill(
                f"catalogue revision {catalogue.revision()}; a NAME after the kind shows every value and its source", width
            )
            + "\n"
        )
    if name is None:
        return _names(kind, width) + "\n"
    entry = catalogue.entry(kind, name)
    return _entry(kind, name, entry, width)


def _names(kind: str, width: int) -> str:
    from advisor import catalogue

    rows: list[tuple[str, ...]]
    if kind == "cutters":
        rows = [("name", "form", "diameter", "flutes", "of", "twist")]
        for name in catalogue.names(kind):
            cutter = catalogue.cutter(name)
            rows.append((name, cutter.form, f"{cutter.diameter:g} mm", str(cutter.flutes), cutter.material, cutter.twist))
    elif kind == "machines":
        rows = [("name", "power", "spindle", "feed", "stiffness", "what it is")]
        for name in catalogue.names(kind):
            machine = catalogue.machine(name)
            rows.append(
                (
                    name,
                    f"{machine.spindle_power:g} W",
                    f"{machine.spindle_min:g}-{machine.spindle_max:g} rpm",
                    f"{machine.feed_max:g} mm/min",
                    f"{machine.stiffness:g} N/um",
                    visible(machine.title),
                )
            )
    elif kind == "materials":
        rows = [("name", "family", "what it is")]
        for name in catalogue.names(kind):
            material = catalogue.material(name)
            rows.append((name, material.family, visible(material.title)))
    else:
        rows = [("name",), *((name,) for name in catalogue.names(kind))]
    return table(rows, width=width)


def _entry(kind: str, name: str, entry: Mapping[str, Any], width: int) -> str:
    from advisor.catalogue import keys

    meanings: Mapping[str, tuple[str, str]] = {
        "materials": keys.MATERIAL,
        "cutters": keys.CUTTER,
        "machines": keys.MACHINE,
    }.get(kind, {})
    parts = [_hung(f"{name}: {visible(str(entry.get('title', kind)))}", width)]
    facts = [
        f"{key.replace('_', ' ')}: {plain(value)}"
        for key, value in entry.items()
        if key not in ("title", "values", "chip_load", "hazards", "notes", "refusals") and value not in (None, "", [], {})
    ]
    parts.append("\n".join(_hung(fact, width) for fact in facts))
    rows: list[tuple[str, ...]] = [("value", "low ... chosen ... high", "source")]
    for key, five in entry.get("values", {}).items():
        text, source = value_cells(Value(*five))
        rows.append((key, text, source))
    for diameter, five in entry.get("chip_load", ()):
        text, source = value_cells(Value(*five))
        rows.append((f"chip_load at D {diameter:g} mm", text, source))
    if len(rows) > 1:
        parts.append(table(rows, width=width))
    told = [f"{key}: {meanings[key][1]}" for key in entry.get("values", {}) if key in meanings]
    if told:
        parts.append("what the values mean\n" + "\n".join(_hung(line, width, "  ") for line in told))
    for key in ("hazards", "notes"):
        if entry.get(key):
            parts.append(f"{key}\n" + "\n".join(_hung(visible(line), width, "  - ") for line in entry[key]))
    for what, why in (entry.get("refusals") or {}).items():
        parts.append(_hung(f"not advised with {what}: {visible(why)}", width))
    parts.append(textwrap.fill("The tool maker's marked limits and local rules go before any value here.", width))
    return "\n\n".join(part for part in parts if part) + "\n"


def _hung(text: str, width: int, indent: str = "") -> str:
    return textwrap.fill(text, width, initial_indent=indent, subsequent_indent=" " * (len(indent) + 2), break_on_hyphens=False)
