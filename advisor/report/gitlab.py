"""GitLab Code Quality: a JSON list of issues, each with a fingerprint of its own.

Equal fingerprints hide one another, and a fingerprint with a line number would make every old finding new after an
edit; so they are made of the path, the finding's own fingerprint and, where two would be equal, a count.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from advisor.escape import clip, json_text, visible
from advisor.findings import ProgramReport, Report
from advisor.report.common import (
    CRASHES,
    against,
    first_line,
    last_line,
    ordered,
    plural,
    programs,
    severity,
    unchecked_rules,
)

_SEVERITY = {"error": "critical", "warning": "minor", "note": "info"}
MESSAGE_LENGTH = 1_000


def render(report: Report) -> str:
    """The list as JSON text, pure ASCII, ended by a line feed. What was not checked is one issue of severity info."""
    issues = value(report)
    return "[" + ",\n ".join(json.dumps(issue, allow_nan=False) for issue in issues) + "]\n"


def value(report: Report) -> list[dict[str, Any]]:
    """The issues as plain dictionaries, sorted by path and line."""
    issues: list[dict[str, Any]] = []
    taken: set[str] = set()
    for p in programs(report):
        for f in ordered(p.findings):
            kind = severity(f)
            figures = against(f)
            parts = [visible(f.message) + (f" ({figures})" if figures else "")]
            parts += [f"Mend: {visible(f.fix)}"] if f.fix else []
            parts += [f"Care: {visible(f.safety)}"] if f.safety else []
            level = "blocker" if kind == "error" and f.rule in CRASHES else _SEVERITY[kind]
            name = f.fingerprint or f.message
            issues.append(_issue(p, f.rule, " ".join(parts), name, level, first_line(f), last_line(f), taken))
        names = unchecked_rules(p.not_checked)
        if names:
            text = f"{plural(len(names), 'rule')} NOT CHECKED: {', '.join(names)}"
            issues.append(_issue(p, "not-checked", text, ",".join(names), "info", 1, 1, taken))
    return issues


def _issue(
    p: ProgramReport, rule: str, text: str, name: str, level: str, first: int, last: int, taken: set[str]
) -> dict[str, Any]:
    count = 0
    while True:
        whole = "\0".join((p.path, rule, name, *([str(count)] if count else [])))
        fingerprint = hashlib.sha256(whole.encode("utf-8", "surrogatepass")).hexdigest()
        if fingerprint not in taken:
            break
        count += 1
    taken.add(fingerprint)
    return {
        "description": json_text(clip(text, MESSAGE_LENGTH)),
        "check_name": rule,
        "fingerprint": fingerprint,
        "severity": level,
        "location": {"path": json_text(p.path), "lines": {"begin": first, "end": last}},
    }
