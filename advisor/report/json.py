"""The report for other programs: ``feedwright.check/1``. Lengths mm, volumes cm3, times minutes, angles degrees."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from advisor.escape import json_text
from advisor.findings import Finding, ProgramReport, Report
from advisor.report.common import counts, first_line, last_line, ordered, programs, rounded, severity

SCHEMA = "feedwright.check/1"

_SUMMARY = (
    "blocks",
    "moves",
    "tools",
    "minutes",
    "cutting_minutes",
    "rapid_minutes",
    "air_cut_minutes",
    "removed_cm3",
)
_SETUP = ("datum", "lowest_z", "first_moves", "stickout_needed")


def render(report: Report) -> str:
    """The whole report as JSON text, pure ASCII, a line for each program; the same bytes for the same report."""
    made = value(report)
    text = _dump(made)
    if "\\ud" in text:  # a surrogate: half of a pair, or an unreadable byte of a file name
        text = _dump(_clean(made))
    return text


def _dump(made: dict[str, Any]) -> str:
    # The encoder is quick only without indentation; a line a program keeps the text readable and easy to compare.
    head = {k: v for k, v in made.items() if k not in ("programs", "totals")}
    start = json.dumps(head, allow_nan=False)[:-1]
    body = ",\n ".join(json.dumps(p, allow_nan=False) for p in made["programs"])
    totals = json.dumps(made["totals"])
    return f'{start},\n"programs": [\n {body}],\n"totals": {totals}}}\n'


def value(report: Report) -> dict[str, Any]:
    """The report as plain lists and dictionaries, every key present."""
    total = counts(report.programs)
    return {
        "schema": SCHEMA,
        "version": report.version,
        "programs": [_program(p) for p in programs(report)],
        "totals": {
            "programs": total.programs,
            "errors": total.errors,
            "warnings": total.warnings,
            "notes": total.notes,
        },
    }


def _program(p: ProgramReport) -> dict[str, Any]:
    return {
        "path": p.path,
        "dialect": p.dialect,
        "findings": [_finding(f) for f in ordered(p.findings)],
        "not_checked": [
            {
                "rule": n.rule,
                "reason": n.reason,
                "cause": n.cause,
                "from_line": n.from_line,
                "to_line": n.to_line,
            }
            for n in sorted(p.not_checked, key=lambda n: (n.rule, n.from_line, n.to_line, n.cause, n.reason))
        ],
        "setup": {**dict.fromkeys(_SETUP), **rounded(p.setup)},
        "assumptions": list(p.assumptions),
        "suppressed": [
            {"rule": s.finding.rule, "line": first_line(s.finding), "reason": s.reason}
            for s in sorted(p.suppressed, key=lambda s: (s.finding.line, s.finding.rule, s.reason))
        ],
        "summary": _summary(p.summary),
    }


def _finding(f: Finding) -> dict[str, Any]:
    at = None if f.at is None else {axis: rounded(v) for axis, v in zip("xyz", f.at, strict=True)}
    return {
        "rule": f.rule,
        "severity": severity(f),
        "line": first_line(f),
        "column": max(f.column, 1),
        "end_line": last_line(f),
        "message": f.message,
        "measured": rounded(f.measured),
        "limit": rounded(f.limit),
        "unit": f.unit or None,
        "why": f.why or None,
        "fix": f.fix or None,
        "safety": f.safety or None,
        "at": at,
        "fingerprint": f.fingerprint or None,
    }


def _summary(summary: Mapping[str, Any]) -> dict[str, Any]:
    made: dict[str, Any] = {key: rounded(summary.get(key)) for key in _SUMMARY}
    extent = rounded(summary.get("extent")) or {}
    made["extent"] = {end: {axis: (extent.get(end) or {}).get(axis) for axis in "xyz"} for end in ("min", "max")}
    return made


def _clean(value: Any) -> Any:
    """Strings that every reader of JSON takes."""
    if isinstance(value, str):
        return json_text(value)
    if isinstance(value, dict):
        return {json_text(k): _clean(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_clean(v) for v in value]
    return value
