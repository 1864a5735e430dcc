"""A page to keep or to hand on: plain HTML that reads without style or script, so that no policy can blank it out.

Nothing is loaded from elsewhere and nothing runs. Every text from a program, a path or the shop file is escaped.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from advisor.escape import clip, html, visible
from advisor.findings import Finding, ProgramReport, Report
from advisor.report.common import (
    CAUTION,
    CLEAN_MEANING,
    against,
    counts,
    first_line,
    headline,
    job_place,
    last_line,
    number,
    ordered,
    plural,
    programs,
    rank,
    rounded,
)

KINDS = ("CRASH", "ERROR", "warning", "note")
MOST_ROWS = 2000  # findings told in full for one program


def render(report: Report) -> str:
    """The report as one HTML document, ended by a line feed."""
    chosen = programs(report)
    total = counts(chosen)
    body = [
        f"<h1>Feedwright: {plural(total.programs, 'program')}, {_text(headline(total))}</h1>",
        f"<p>{_text(CLEAN_MEANING)}</p>",
    ]
    if report.notices:
        body.append(_list(report.notices))
    for number_of, program in enumerate(chosen, start=1):
        body += _program(program, number_of)
    body.append(f"<h2>Caution</h2><p>{_text(CAUTION)}</p>")
    body.append(f"<p>feedwright {_text(report.version)}</p>")
    policy = "default-src 'none'; base-uri 'none'; form-action 'none'"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        "<title>Feedwright report</title>\n</head>\n<body>\n" + "\n".join(body) + "\n</body>\n</html>\n"
    )


def _text(value: object) -> str:
    return html(visible(clip(str(value), 2000)))


def _list(items: Iterable[object]) -> str:
    return "<ul>" + "".join(f"<li>{_text(item)}</li>" for item in items) + "</ul>"


def _program(program: ProgramReport, place: int) -> list[str]:
    found = sorted(ordered(program.findings), key=rank)
    parts = [f'<h2 id="program-{place}">{_text(program.path)}: {_text(headline(counts([program])))}</h2>']
    if program.setup:
        parts.append("<h3>Set-up: compare with the machine before pressing start</h3>" + _pairs(program.setup))
    if found:
        rows = "".join(_row(f) for f in found[:MOST_ROWS])
        parts.append(
            '<h3>Findings, worst first</h3><table border="1"><thead><tr><th scope="col">kind</th><th scope="col">line</th>'
            '<th scope="col">rule</th><th scope="col">what was found</th><th scope="col">mend</th>'
            f'<th scope="col">care</th></tr></thead><tbody>{rows}</tbody></table>'
        )
        if len(found) > MOST_ROWS:
            parts.append(f"<p>{len(found) - MOST_ROWS} more findings are not shown.</p>")
    if program.not_checked:
        parts.append("<h3>Not checked: nobody looked at this</h3>" + _unchecked(program))
    if program.assumptions:
        parts.append("<h3>Assumed</h3>" + _list(program.assumptions))
    if program.summary:
        parts.append("<h3>Times and figures</h3>" + _pairs(program.summary))
    return parts


def _row(finding: Finding) -> str:
    lines = str(first_line(finding))
    if last_line(finding) != first_line(finding):
        lines += f" to {last_line(finding)}"
    detail = [finding.message]
    if finding.at is not None:
        detail.append("at " + " ".join(f"{axis}{number(v)}" for axis, v in zip("XYZ", finding.at, strict=True)))
    if against(finding):
        detail.append(against(finding))
    if finding.why:
        detail.append(finding.why)
    cells = (KINDS[rank(finding)], lines, finding.rule, "; ".join(detail), finding.fix, finding.safety)
    return "<tr>" + "".join(f"<td>{_text(cell)}</td>" for cell in cells) + "</tr>"


def _unchecked(program: ProgramReport) -> str:
    by_reason: dict[tuple[str, int, int], list[str]] = {}
    for entry in program.not_checked:
        by_reason.setdefault((entry.reason, entry.from_line, entry.to_line), []).append(entry.rule)
    return _list(
        f"{reason} (lines {first} to {last}): {', '.join(sorted(set(rules)))}"
        for (reason, first, last), rules in sorted(by_reason.items(), key=lambda item: (item[0][1], item[0][2], item[0][0]))
    )


def _pairs(values: Mapping[str, Any]) -> str:
    rows = "".join(
        f'<tr><th scope="row">{_text(key.replace("_", " "))}</th><td>{_card_value(key, value)}</td></tr>'
        for key, value in values.items()
        if value not in (None, (), [], {})
    )
    return f'<table border="1"><tbody>{rows}</tbody></table>'


def _card_value(key: str, value: Any) -> str:
    return _text(job_place(value)) if key == "job" and isinstance(value, Mapping) else _value(value)


def _value(value: Any) -> str:
    value = rounded(value)
    if isinstance(value, Mapping):
        return _text("; ".join(f"{k} {_plain(v)}" for k, v in value.items()))
    if isinstance(value, list):
        return "<br>".join(_text(_plain(v)) for v in value)
    return _text(_plain(value))


def _plain(value: Any) -> str:
    if value is None:
        return "unknown"
    if isinstance(value, float):
        return number(value)
    if isinstance(value, Mapping):
        return ", ".join(f"{k} {_plain(v)}" for k, v in value.items())
    if isinstance(value, list):
        return ", ".join(_plain(v) for v in value)
    return str(value)
