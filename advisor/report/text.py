"""The report for people: what to read first stands first.

Order of a page: counts, set-up card, errors in the order of the program, what was not checked and what to give so that
it can be, warnings by rule, notes, assumptions, times and freed pieces, caution. Several programs are told as a list,
without the cards; the counts over all stand at the end too, where the eye of somebody reading a log is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from advisor.escape import clip, visible
from advisor.findings import Finding, NotChecked, ProgramReport, Report
from advisor.report.common import (
    CAUTION,
    CLEAN_MEANING,
    UNSEEN,
    against,
    counts,
    first_line,
    headline,
    job_place,
    number,
    ordered,
    plural,
    programs,
    rank,
)
from advisor.report.layout import Line, Span, wrap, write

# What to give so that a rule can look, by the cause the rules name.
REMEDIES: Mapping[str, str] = {
    "stock": "give [stock] size and zero in the shop file, or --stock XxYxZ and --zero",
    "material": "give [stock] material in the shop file, or --material NAME",
    "cutter": "give a [[cutter]] for this T number in the shop file, or --cutter T=NAME",
    "machine": "give [machine] like in the shop file, or --machine NAME",
    "mark": "give max_rpm of the cutter, as marked on it, in the shop file",
    "shank": "give shank of the cutter in the shop file",
    "holder": "give holder_diameter of the cutter in the shop file",
    "travel": "give [machine] travel in the shop file",
    "hold": "give [hold] in the shop file",
    "offsets": "give [offsets] in the shop file: where program zero sits on the machine",
    "layers": "give [stock] layers in the shop file",
    "thickness": "give [stock] thickness, as measured, in the shop file",
    "unknown-code": "mend or remove the unknown codes first",
    "unreadable-block": "mend the unreadable blocks first",
    "unknown-frame": "give [offsets] in the shop file for each coordinate system the program uses",
    "unknown-position": "state X, Y and Z in absolute terms (G90) before these lines",
    "rotary": "rotary motion is outside what this tool can judge; judge these lines by hand",
    "off": "the rule is switched off in [checks]",
    "crash": "mend the rapid first",
    "job": "mend or give the programs before it, in the [[job]] of the shop file",
    "spindle": "give S and M3 before these lines",
    "compensation": "give the cutter's diameter or offset_diameter in the shop file",
    "bound": "mend what does not come to an end",
}

# How the causes are said where "for want of" does not fit.
_UNLOOKED: Mapping[str, str] = {
    "crash": "after a rapid through the stock",
    "job": "as it is not known what earlier programs left",
    "unknown-code": "after an unknown code",
    "unreadable-block": "after a block that was refused",
    "unknown-frame": "for want of a coordinate system's place",
    "unknown-position": "for want of known positions",
    "spindle": "for want of a known spindle speed",
    "file-skipped": "as the file was not read",
    "not-a-program": "as the file is no program",
    "internal-error": "after an error of the tool itself",
    "moves": "as nothing moves",
    "off": "as the rule is switched off",
    "bound": "as following the program stopped at a bound",
    "rotary": "where a rotary axis turns",
    "compensation": "for want of a diameter for the compensation",
}

_LABELS = {
    "datum": "datum",
    "zero": "program zero",
    "units": "units",
    "stock": "stock",
    "job": "job",
    "hold": "held by",
    "tools": "tools",
    "stickout_needed": "stick-out needed",
    "box": "motion box",
    "display": "on display",
    "lowest_z": "lowest Z",
    "first_moves": "first moves",
    "left_over": "left on at the end",
}
_BLOCK_WIDTH = 160
_MESSAGE_WIDTH = 2000
_LINES_SHOWN = 8
_NAMES_SHOWN = 12
# Findings of one rule told one by one; the lines of the rest are listed. Errors: many, but not without end.
_ALIKE = {0: 50, 1: 50, 2: 5, 3: 3}

_KIND = {0: ("CRASH", "crash"), 1: ("ERROR", "error"), 2: ("warning", "warning"), 3: ("note", "note")}


def render(
    report: Report,
    *,
    width: int = 80,
    colour: bool = False,
    plain_ascii: bool = False,
    full: bool | None = None,
    show_suppressed: bool = False,
) -> str:
    """The report as text ended by a line feed.

    ``width``: columns, at least 40 are used. ``colour`` and ``plain_ascii`` are the caller's decision (terminal,
    NO_COLOR, encoding). ``full``: a page for each program instead of the list; by default only a lone program gets it.
    """
    return write(lines(report, width=width, full=full, show_suppressed=show_suppressed), colour=colour, plain_ascii=plain_ascii)


def lines(report: Report, *, width: int = 80, full: bool | None = None, show_suppressed: bool = False) -> list[Line]:
    """The report as styled lines, for whoever prints them."""
    width = max(width, 40)
    chosen = programs(report)
    as_pages = len(chosen) == 1 if full is None else full
    out: list[Line] = []
    if len(chosen) > 1:
        out += [*_sum(chosen, width), ()]
    for program in chosen:
        out += _page(program, width, show_suppressed) if as_pages else _entry(program, width, show_suppressed)
    if len(chosen) != 1:
        out += _totals(chosen, width)
    for notice in report.notices:
        out += wrap([(_said(notice), "")], width, rest="  ")
    out += _footer(chosen, width)
    return out


def _said(text: str) -> str:
    """Somebody else's text, cut so that it can't bury the rest. ``wrap`` sees to it that nothing in it acts."""
    return clip(text, _MESSAGE_WIDTH)


# --- one program, the whole page -------------------------------------------------------------------------------------


def _page(p: ProgramReport, width: int, show_suppressed: bool) -> list[Line]:
    shown = ordered(p.findings)
    errors = [f for f in shown if rank(f) <= 1]
    warnings = [f for f in shown if rank(f) == 2]
    notes = [f for f in shown if rank(f) == 3]
    out = _head(p, width)
    out += _card(p, width)
    if errors:
        out += _heading("Errors, in the order of the program", width)
        told: set[tuple[str, str]] = set()
        shown_errors, rest = _alike(errors)
        for finding in shown_errors:
            out += _error(p, finding, width, told)
        for group in rest:
            out += _rest(group, width, "  ")
    out += _not_checked(p, width)
    out += _groups("Warnings", p, warnings, width)
    out += _groups("Notes", p, notes, width)
    if p.assumptions:
        out += _heading("Assumed", width)
        for text in p.assumptions:
            out += wrap([(_said(text), "")], width, "  - ", "    ")
    if show_suppressed:
        out += _suppressed(p, width)
    out += _figures(p, width)
    out.append(())
    return out


def _head(p: ProgramReport, width: int) -> list[Line]:
    c = counts([p])
    style = "crash" if c.crashes else "error" if c.errors else "warning" if c.warnings or c.not_checked else "strong"
    out = wrap([(p.path, "path")], width)
    out += wrap([(headline(c), style)], width)
    return out


def _heading(text: str, width: int) -> list[Line]:
    return [(), *wrap([(text, "heading")], width)]


def _place(p: ProgramReport, f: Finding) -> str:
    return f"{p.path}:{first_line(f)}:{max(f.column, 1)}:"


def _alike(found: Sequence[Finding]) -> tuple[list[Finding], list[list[Finding]]]:
    """The findings told one by one, in their order, and by rule those that are only counted."""
    shown: list[Finding] = []
    seen: dict[tuple[int, str], int] = {}
    rest: dict[tuple[int, str], list[Finding]] = {}
    for f in found:
        key = (rank(f), f.rule)
        seen[key] = seen.get(key, 0) + 1
        if seen[key] <= _ALIKE[key[0]] + 1:  # a last one alone is told rather than counted
            shown.append(f)
        else:
            rest.setdefault(key, []).append(f)
    for key, group in rest.items():
        last = next(i for i in range(len(shown) - 1, -1, -1) if (rank(shown[i]), shown[i].rule) == key)
        group.insert(0, shown.pop(last))
    return shown, list(rest.values())


def _rest(group: Sequence[Finding], width: int, lead: str) -> list[Line]:
    first = group[0]
    word, style = _KIND[rank(first)]
    listed = [str(first_line(f)) for f in group[:40]]
    more = f" and {len(group) - 40} further on" if len(group) > 40 else ""
    spans: list[Span] = [
        (f"{word} ", style),
        (first.rule, "strong"),
        (f": {len(group)} more at lines {', '.join(listed)}{more}", ""),
    ]
    return wrap(spans, width, lead, lead + "  ")


def _error(p: ProgramReport, f: Finding, width: int, told: set[tuple[str, str]]) -> list[Line]:
    word, style = _KIND[rank(f)]
    spans: list[Span] = [(_place(p, f) + " ", "path"), (word + " ", style), (f.rule, "strong")]
    out = wrap(spans, width, rest="    ")
    out += wrap([(_said(f.message), "")], width, "    ", "    ")
    out += _block(p, f, width)
    figures = [part for part in (_at(f), against(f)) if part]
    if figures:
        out += _field("", "; ".join(figures), width)
    for label, text in (("why: ", f.why), ("mend: ", f.fix), ("care: ", f.safety)):
        # Why and care are read once; the remedy stands with every error, where the hand is.
        if text and (label == "mend: " or (label, text) not in told):
            told.add((label, text))
            out += _field(label, text, width)
    return out


def _field(label: str, text: str, width: int) -> list[Line]:
    lead = " " * (4 + len(label))
    return wrap([(label, "dim"), (_said(text), "")], width, "    ", lead)


def _block(p: ProgramReport, f: Finding, width: int) -> list[Line]:
    raw = p.blocks_text.get(first_line(f))
    if not raw or not raw.strip():
        return []
    return wrap([("block: ", "dim"), (clip(raw.strip(), _BLOCK_WIDTH), "")], width, "    ", " " * 11)


def _at(f: Finding) -> str:
    if f.at is None or all(v is None for v in f.at):
        return ""
    return "at " + " ".join(f"{axis}{number(v)}" for axis, v in zip("XYZ", f.at, strict=True))


def _card(p: ProgramReport, width: int) -> list[Line]:
    card = dict(p.setup)
    extent = p.summary.get("extent")
    if extent and not card.get("box"):
        card["box"] = extent
    if card.get("tools"):
        card.pop("stickout_needed", None)  # stands with each tool
    if card.get("lowest_z") is not None:
        card["lowest_z"] = _lowest(card)
    card.pop("below_stock", None)
    known = [key for key in _LABELS if not _is_blank(card.get(key))]
    other = sorted(key for key in card if key not in _LABELS and not _is_blank(card[key]))
    rows: list[tuple[str, str]] = []
    for key in known + other:
        label = _LABELS.get(key, clip(visible(key).replace("_", " "), 20))
        values = [_said(text) for text in _card_texts(key, card[key])]
        rows += [(label if i == 0 else "", text) for i, text in enumerate(values)]
    if not rows:
        return []
    out = _heading("Set-up: compare with the machine before pressing start", width)
    column = max(len(label) for label, _ in rows) + 4
    for label, text in rows:
        lead = f"  {label}".ljust(column)
        out += wrap([(text, "")], width, lead, " " * column)
    return out


def _is_blank(value: Any) -> bool:
    return value is None or (isinstance(value, (str, list, tuple, dict)) and not value)


def _lowest(card: Mapping[str, Any]) -> str:
    text = f"{_short(card['lowest_z'])} mm"
    if _is_blank(card.get("stock")):
        return text
    below = card.get("below_stock")
    if below:
        return f"{text}: {_short(below)} mm below the stock's bottom"
    return f"{text} above the stock's bottom"


def _card_texts(key: str, value: Any) -> list[str]:
    if key == "box" and isinstance(value, Mapping):
        low, high = value.get("min") or {}, value.get("max") or {}
        return [", ".join(f"{axis.upper()} {_short(low.get(axis))} to {_short(high.get(axis))}" for axis in "xyz") + " mm"]
    if key == "stock" and isinstance(value, Mapping):
        return [_stock(value)]
    if key == "job" and isinstance(value, Mapping):
        return [job_place(value)]
    if key == "tools" and isinstance(value, (list, tuple)):
        return [_tool(tool) if isinstance(tool, Mapping) else _short(tool) for tool in value]
    if key == "zero" and isinstance(value, (list, tuple)) and len(value) == 3:
        place = " ".join(f"{axis}{_short(v)}" for axis, v in zip("XYZ", value, strict=True))
        return [f"{place} mm from the stock's lowest corner"]
    if key == "stickout_needed" and isinstance(value, Mapping):
        return [", ".join(f"T{tool}: {_short(length)} mm" for tool, length in sorted(value.items(), key=_by_number))]
    if isinstance(value, Mapping):
        return [f"{k}: {_short(v)}" for k, v in sorted(value.items(), key=_by_number)]
    if isinstance(value, (list, tuple)):
        return [_short(v) for v in value]
    return [_short(value)]


def _stock(stock: Mapping[str, Any]) -> str:
    parts = [str(stock["material"]) if stock.get("material") else "material not given"]
    if stock.get("size"):
        parts.append(" x ".join(_short(v) for v in stock["size"]) + " mm")
    if stock.get("thickness"):
        parts.append(f"measured {' to '.join(_short(v) for v in stock['thickness'])} mm thick")
    if stock.get("assumed"):
        parts.append("ASSUMED from the extents of the cut")
    return ", ".join(parts)


def _tool(tool: Mapping[str, Any]) -> str:
    parts = ["T not named" if tool.get("tool") is None else f"T{tool['tool']}"]
    parts.append(str(tool["cutter"]) if tool.get("cutter") else "cutter NOT KNOWN")
    if tool.get("diameter") is not None:
        parts.append(f"diameter {_short(tool['diameter'])}")
    if tool.get("stickout") is not None:
        parts.append(f"stick-out {_short(tool['stickout'])}")
    if tool.get("stickout_needed") is not None:
        parts.append(f"stick-out needed {_short(tool['stickout_needed'])}")
    if tool.get("lowest_z") is not None:
        parts.append(f"lowest Z {_short(tool['lowest_z'])} mm")
    return ", ".join(parts)


def _by_number(item: tuple[Any, Any]) -> tuple[int, str]:
    key = str(item[0])
    return (int(key), "") if key.isdigit() else (1 << 62, key)


def _short(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return number(float(value))
    if value is None:
        return "?"
    if isinstance(value, Mapping):
        return ", ".join(f"{k} {_short(v)}" for k, v in value.items())
    if isinstance(value, (list, tuple)):
        return ", ".join(_short(v) for v in value)
    return str(value)


def _names(p: ProgramReport, group: Iterable[NotChecked]) -> str:
    """The rules by name; where a file was not looked at by any rule their names would only bury the rest."""
    names = sorted({n.rule for n in group})
    if any(f.rule in UNSEEN for f in p.findings) and len(names) == len({n.rule for n in p.not_checked}) > _NAMES_SHOWN:
        return f"all {len(names)} rules that look into programs"
    return ", ".join(names)


def _not_checked(p: ProgramReport, width: int) -> list[Line]:
    items = p.not_checked
    if not items:
        return []
    names = sorted({n.rule for n in items})
    out = _heading(f"NOT CHECKED ({plural(len(names), 'rule')}): nobody looked at this", width)
    last = p.summary.get("blocks") or 0
    # Reasons of one kind that keep the same rules from looking stand together above them.
    alike: dict[tuple[str, tuple[str, ...]], list[tuple[str, list[NotChecked]]]] = {}
    for (cause, reason), group in _by_cause(items).items():
        alike.setdefault((cause, tuple(sorted({n.rule for n in group}))), []).append((reason, group))
    for (cause, _), reasons in alike.items():
        for reason, group in reasons:
            where = _ranges(group, last)
            out += wrap([(_said(reason), "strong"), (f" ({where})" if where else "", "dim")], width, "  ", "    ")
        out += wrap([(_names(p, reasons[0][1]), "")], width, "    ", "    ")
        remedy = REMEDIES.get(cause)
        if remedy and not all("shop file" in reason for reason, _ in reasons):
            out += wrap([("to have it checked: ", "dim"), (remedy, "")], width, "    ", "      ")
    return out


def _by_cause(items: Iterable[NotChecked]) -> dict[tuple[str, str], list[NotChecked]]:
    groups: dict[tuple[str, str], list[NotChecked]] = {}
    for n in sorted(items, key=lambda n: (n.cause, n.reason, n.from_line, n.to_line, n.rule)):
        groups.setdefault((n.cause, n.reason), []).append(n)
    return groups


def _ranges(group: Iterable[NotChecked], last: int) -> str:
    """The lines of a group, spans that touch taken together; empty where they are the whole program of ``last`` lines."""
    spans: list[tuple[int, int]] = []
    for a, b in sorted({(min(n.from_line, n.to_line), max(n.from_line, n.to_line)) for n in group}):
        if spans and a <= spans[-1][1] + 1:
            spans[-1] = (spans[-1][0], max(b, spans[-1][1]))
        else:
            spans.append((a, b))
    if len(spans) == 1 and spans[0][0] <= 1 and spans[0][1] >= last > 0:
        return ""
    shown = [f"{a}" if a == b else f"{a} to {b}" for a, b in spans[:_LINES_SHOWN]]
    more = len(spans) - len(shown)
    word = "line" if len(spans) == 1 and spans[0][0] == spans[0][1] else "lines"
    return f"{word} {', '.join(shown)}" + (f" and {more} more places" if more else "")


def _groups(title: str, p: ProgramReport, found: Sequence[Finding], width: int) -> list[Line]:
    if not found:
        return []
    groups: dict[str, list[Finding]] = {}
    for finding in found:
        groups.setdefault(finding.rule, []).append(finding)
    out = _heading(f"{title} ({len(found)})", width)
    for rule, group in groups.items():
        word, style = _KIND[rank(group[0])]
        times = f" ({len(group)} times)" if len(group) > 1 else ""
        out += wrap([(f"{word} ", style), (rule, "strong"), (times, "")], width, "  ", "    ")
        shown, rest = _alike(group)
        for finding in shown:
            figures = "; ".join(part for part in (_at(finding), against(finding)) if part)
            tail = f" ({figures})" if figures else ""
            spans: list[Span] = [(_place(p, finding) + " ", "path"), (_said(finding.message), ""), (tail, "dim")]
            out += wrap(spans, width, "    ", "      ")
        for others in rest:
            out += _rest(others, width, "    ")
        for label, texts in (
            ("why: ", [f.why for f in group]),
            ("mend: ", [f.fix for f in group]),
            ("care: ", [f.safety for f in group]),
        ):
            for text in dict.fromkeys(t for t in texts if t):
                out += _field(label, text, width)
    return out


def _suppressed(p: ProgramReport, width: int) -> list[Line]:
    if not p.suppressed:
        return []
    out = _heading(f"Allowed ({len(p.suppressed)}): found, and put aside by somebody's decision", width)
    for s in sorted(p.suppressed, key=lambda s: (s.finding.line, s.finding.rule, s.reason)):
        spans: list[Span] = [
            (_place(p, s.finding) + " ", "path"),
            (s.finding.rule + " ", "strong"),
            (f"({s.kind}): {_said(s.reason)}", ""),
        ]
        out += wrap(spans, width, "  ", "    ")
    return out


def _figures(p: ProgramReport, width: int) -> list[Line]:
    s = p.summary
    texts: list[str] = []
    if s.get("minutes") is not None:
        parts = [f"{number(s['minutes'], 1)} min in all"]
        for key, word in (
            ("cutting_minutes", "cutting"),
            ("rapid_minutes", "rapid"),
            ("air_cut_minutes", "feeding through air"),
        ):
            if s.get(key) is not None:
                parts.append(f"{number(s[key], 1)} {word}")
        texts.append("time: " + ", ".join(parts))
    else:
        feeds = [tool["feed_minutes"] for tool in p.setup.get("tools") or () if tool.get("feed_minutes")]
        if feeds:
            texts.append(f"time: {number(sum(feeds), 1)} min at the feeds as written, rapids not counted")
    if s.get("removed_cm3") is not None:
        texts.append(f"removed: {number(s['removed_cm3'], 1)} cm3")
    counted = []
    if s.get("blocks") is not None:
        counted.append(plural(int(s["blocks"]), "block"))
    if s.get("moves") is not None:
        counted.append(plural(int(s["moves"]), "move"))
    if s.get("tools"):
        counted.append("tools " + ", ".join(f"T{t}" for t in s["tools"]))
    if counted:
        texts.append("read: " + ", ".join(counted) + f", dialect {p.dialect}")
    if p.rules_looked:
        texts.append(f"looked: {plural(len(p.rules_looked), 'rule')} looked at the program")
    for key in ("freed_pieces", "freed"):
        for piece in s.get(key) or ():
            texts.append(f"freed: {_short(piece)}")
    if not texts:
        return []
    out = _heading("Times and figures", width)
    for text in texts:
        out += wrap([(_said(text), "")], width, "  ", "    ")
    return out


# --- many programs, the list -----------------------------------------------------------------------------------------


def _entry(p: ProgramReport, width: int, show_suppressed: bool) -> list[Line]:
    c = counts([p])
    style = "crash" if c.crashes else "error" if c.errors else "warning" if c.warnings else ""
    out = wrap([(p.path, "path"), (": ", ""), (headline(c), style)], width, rest="    ")
    shown, rest = _alike(ordered(p.findings))
    told: set[tuple[str, str]] = set()
    for finding in sorted(shown, key=lambda f: rank(f) > 1):
        word, kind = _KIND[rank(finding)]
        figures = against(finding)
        spans: list[Span] = [
            (_place(p, finding) + " ", "path"),
            (f"{word} ", kind),
            (finding.rule, "strong"),
            (": " + _said(finding.message), ""),
            (f" ({figures})" if figures else "", "dim"),
        ]
        out += wrap(spans, width, "  ", "      ")
        if rank(finding) <= 1:
            out += [(("  ", ""), *line) for line in _block(p, finding, width - 2)]
            for label, text in (("mend: ", finding.fix), ("care: ", finding.safety)):
                if text and (label == "mend: " or (label, text) not in told):
                    told.add((label, text))
                    out += wrap([(label, "dim"), (_said(text), "")], width, "      ", " " * 12)
    for others in rest:
        out += _rest(others, width, "  ")
    alike: dict[str, list[str]] = {}  # reasons by the rules they keep from looking
    for (_, reason), group in _by_cause(p.not_checked).items():
        alike.setdefault(_names(p, group), []).append(reason)
    for names, reasons in alike.items():
        out += wrap([("not checked: ", "dim"), (_said(f"{'; '.join(reasons)}: {names}"), "")], width, "  ", "      ")
    if show_suppressed:
        for s in sorted(p.suppressed, key=lambda s: (s.finding.line, s.finding.rule, s.reason)):
            text = f"allowed: {_place(p, s.finding)} {s.finding.rule} ({s.kind}): {_said(s.reason)}"
            out += wrap([(text, "")], width, "  ", "      ")
    if p.findings or p.not_checked:
        out.append(())
    return out


def _sum(chosen: Sequence[ProgramReport], width: int) -> list[Line]:
    c = counts(chosen)
    style = "crash" if c.crashes else "error" if c.errors else "warning" if c.warnings or c.not_checked else "strong"
    return wrap([(f"{plural(c.programs, 'program')}: ", ""), (headline(c), style)], width, rest="    ")


def _totals(chosen: Sequence[ProgramReport], width: int) -> list[Line]:
    if not chosen:
        return wrap([("0 programs: nothing was checked", "error")], width)
    out = _sum(chosen, width)
    causes: dict[str, set[str]] = {}
    for p in chosen:
        for n in p.not_checked:
            causes.setdefault(n.cause, set()).add(p.path)
    for cause, paths in sorted(causes.items(), key=lambda item: (-len(item[1]), item[0])):
        remedy = REMEDIES.get(cause)
        words = _UNLOOKED.get(cause, f"for want of {_said(cause)}")
        text = f"not checked {words} in {plural(len(paths), 'program')}" + (f": {remedy}" if remedy else "")
        out += wrap([(text, "")], width, "  ", "    ")
    return out


def _footer(chosen: Sequence[ProgramReport], width: int) -> list[Line]:
    out: list[Line] = []
    if any(not p.findings for p in chosen):
        out += wrap([(CLEAN_MEANING, "dim")], width)
    out += wrap([(CAUTION, "dim")], width)
    return out
