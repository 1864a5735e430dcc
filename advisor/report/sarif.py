"""SARIF 2.1.0 (OASIS Standard, 27 March 2020), for code scanning.

One run. Rule metadata comes from the rules' own pages. Fingerprints are the finding's own, made of the block and its
neighbours, so that renumbering and shifted lines do not open old alerts anew. What was not checked is told as
notifications of the tool (3.20.20), so that an empty ``results`` never reads as a clean program.
"""

from __future__ import annotations

import gzip
import json
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from advisor.escape import clip, json_text, visible
from advisor.findings import Finding, ProgramReport, Report, Suppressed
from advisor.report.common import (
    CAUTION,
    CRASHES,
    against,
    counts,
    first_line,
    headline,
    last_line,
    ordered,
    plural,
    programs,
    rank,
    rounded,
    severity,
)

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/os/schemas/sarif-schema-2.1.0.json"
VERSION = "2.1.0"

# Bounds of the widest-used consumer of the format.
MOST_RESULTS = 25_000
MOST_BYTES = 10_000_000  # compressed with gzip
MOST_NOTIFICATIONS = 5_000
MESSAGE_LENGTH = 1_000

# Taken as the name of the fingerprint by consumers that keep only one.
FINGERPRINT_KEYS = ("primaryLocationLineHash", "feedwrightBlock/1")

Pages = Callable[[str], Any]


def render(report: Report, *, include_suppressed: bool = False, pages: Pages | None = None) -> str:
    """The report as SARIF text, pure ASCII, ended by a line feed, within the bounds above.

    ``include_suppressed`` adds what was allowed, with its justification; many consumers open such results as alerts.
    ``pages``: name of a rule -> its page (``advisor.rules.page``), raising ``KeyError`` for a name it does not know.
    """
    limit = MOST_RESULTS
    while True:
        text = _dump(value(report, include_suppressed=include_suppressed, pages=pages, most=limit))
        if len(text) <= MOST_BYTES or len(gzip.compress(text.encode("ascii"), 6)) <= MOST_BYTES or limit < 100:
            return text
        limit //= 2


def _dump(made: dict[str, Any]) -> str:
    text = json.dumps(made, allow_nan=False)
    if "\\ud" in text:
        text = json.dumps(_clean(made), allow_nan=False)
    return text + "\n"


def _clean(value: Any) -> Any:
    if isinstance(value, str):
        return json_text(value)
    if isinstance(value, dict):
        return {json_text(k): _clean(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_clean(v) for v in value]
    return value


def value(
    report: Report, *, include_suppressed: bool = False, pages: Pages | None = None, most: int = MOST_RESULTS
) -> dict[str, Any]:
    """The log as plain lists and dictionaries; at most ``most`` results, the worst ones, the rest counted."""
    if pages is None:
        from advisor.rules import page

        pages = page
    chosen = programs(report)
    found: list[tuple[ProgramReport, Finding, Suppressed | None]] = []
    for p in chosen:
        found += [(p, f, None) for f in ordered(p.findings)]
        if include_suppressed:
            found += [(p, s.finding, s) for s in p.suppressed]
    left_out = max(0, len(found) - most)
    if left_out:
        worst = sorted(range(len(found)), key=lambda i: (rank(found[i][1]), i))[:most]
        found = [found[i] for i in sorted(worst)]
    names = sorted({f.rule for _, f, _ in found})
    places = {name: i for i, name in enumerate(names)}
    notices = list(_not_checked(chosen))
    if left_out:
        notices.insert(
            0, _notification("results-left-out", f"{plural(left_out, 'further result')} left out", "warning")
        )
    notices += [_notification("notice", text, "note") for text in report.notices]
    crashed = any(f.rule == "internal-error" for p in chosen for f in p.findings)
    return {
        "$schema": SCHEMA,
        "version": VERSION,
        "runs": [
            {
                "tool": {
                    "driver": {
                        "name": "Feedwright",
                        "semanticVersion": report.version,
                        "fullDescription": {"text": CAUTION},
                        "rules": [_rule(name, pages) for name in names],
                        "notifications": [
                            {"id": "not-checked", "shortDescription": {"text": "A rule could not look."}},
                            {"id": "notice", "shortDescription": {"text": "Something told about the run."}},
                            {"id": "results-left-out", "shortDescription": {"text": "More results than fit."}},
                        ],
                    }
                },
                "invocations": [
                    {"executionSuccessful": not crashed, "toolExecutionNotifications": notices},
                ],
                "columnKind": "unicodeCodePoints",
                "properties": {"summary": headline(counts(chosen)), "programs": len(chosen)},
                "results": [_result(p, f, s, places[f.rule]) for p, f, s in found],
            }
        ],
    }


def uri(path: str) -> str:
    """A path as a URI reference (RFC 3986): forward slashes, everything but unreserved characters percent-encoded.

    Bytes of a name that no encoding could read are encoded as those bytes. Absolute paths get the scheme ``file``.
    """
    if os.sep == "\\":
        path = path.replace("\\", "/")
    drive = len(path) > 1 and path[1] == ":" and path[0].isalpha() and os.sep == "\\"
    while path.startswith("./"):
        path = path[2:]
    try:
        raw = path.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError:  # half a pair, as names on Windows may hold
        raw = json_text(path).encode("utf-8")
    encoded = quote(raw, safe="/")
    if drive:
        return f"file:///{encoded}"
    if path.startswith("/"):
        return f"file://{encoded}"
    return encoded or "unnamed"


def _location(path: str, line: int, column: int | None, end_line: int) -> dict[str, Any]:
    region = {"startLine": max(line, 1)}
    if column is not None:
        region["startColumn"] = max(column, 1)
    if end_line > region["startLine"]:
        region["endLine"] = end_line
    return {"physicalLocation": {"artifactLocation": {"uri": uri(path)}, "region": region}}


def _result(p: ProgramReport, f: Finding, put_aside: Suppressed | None, index: int) -> dict[str, Any]:
    location = _location(p.path, first_line(f), f.column, last_line(f))
    raw = p.blocks_text.get(first_line(f))
    if raw:
        location["physicalLocation"]["region"]["snippet"] = {"text": clip(raw, 200)}
    made: dict[str, Any] = {
        "ruleId": f.rule,
        "ruleIndex": index,
        "level": severity(f),
        "message": {"text": _message(f)},
        "locations": [location],
        "properties": {
            "measured": rounded(f.measured),
            "limit": rounded(f.limit),
            "unit": f.unit or None,
            "at": None if f.at is None else {axis: rounded(v) for axis, v in zip("xyz", f.at, strict=True)},
        },
    }
    if f.fingerprint:
        made["partialFingerprints"] = {
            FINGERPRINT_KEYS[0]: f"{f.fingerprint}:1",
            FINGERPRINT_KEYS[1]: f.fingerprint,
        }
    if put_aside is not None:
        made["suppressions"] = [
            {
                "kind": "inSource" if put_aside.kind == "program" else "external",
                "status": "accepted",
                "justification": put_aside.reason or "no reason given",
            }
        ]
    return made


def _message(f: Finding) -> str:
    parts = [visible(f.message) or f.rule]
    figures = against(f)
    if figures:
        parts.append(f"({visible(figures)})")
    if f.fix:
        parts.append(f"Mend: {visible(f.fix)}")
    if f.safety:
        parts.append(f"Care: {visible(f.safety)}")
    return _plain_message(clip(" ".join(parts), MESSAGE_LENGTH))


def _plain_message(text: str) -> str:
    """Text in which nothing is a placeholder (3.11.5) or an embedded link (3.11.6)."""
    return text.replace("](", "] (").replace("{", "{{").replace("}", "}}")


def _rule(name: str, pages: Pages) -> dict[str, Any]:
    try:
        page = pages(name)
    except KeyError:
        return {
            "id": name,
            "shortDescription": {"text": name},
            "fullDescription": {"text": f"{name}: this version of the tool has no page for it."},
            "help": {"text": "This version of the tool has no page for this rule."},
        }
    rule, sections = page.rule, page.sections
    text = "\n\n".join(f"{heading}\n{body}" for heading, body in sections.items() if body)
    markdown = "\n\n".join(f"## {heading}\n\n{body}" for heading, body in sections.items() if body)
    group = "crash" if name in CRASHES else rule.group
    made: dict[str, Any] = {
        "id": name,
        "shortDescription": {"text": rule.summary or name},
        "fullDescription": {"text": sections.get("What it checks") or rule.summary or name},
        "help": {"text": text or rule.why or name, "markdown": markdown or rule.why or name},
        "defaultConfiguration": {"level": rule.severity},
        "properties": {
            "tags": [group],
            "problem.severity": {"error": "error", "warning": "warning"}.get(rule.severity, "recommendation"),
        },
    }
    return made


def _notification(name: str, text: str, level: str, locations: Sequence[Mapping[str, Any]] = ()) -> dict[str, Any]:
    made: dict[str, Any] = {
        "descriptor": {"id": name},
        "level": level,
        "message": {"text": _plain_message(clip(visible(text), MESSAGE_LENGTH))},
    }
    if locations:
        made["locations"] = list(locations)
    return made


def _not_checked(chosen: Iterable[ProgramReport]) -> Iterable[dict[str, Any]]:
    """One notification for each reason of each program; beyond the bound one counts the rest."""
    made = 0
    more = 0
    for p in chosen:
        groups: dict[tuple[str, int, int], set[str]] = {}
        for n in p.not_checked:
            groups.setdefault((n.reason, n.from_line, n.to_line), set()).add(n.rule)
        for (reason, first, last), rules in sorted(groups.items(), key=lambda item: (item[0][1:], item[0][0])):
            if made == MOST_NOTIFICATIONS:
                more += 1
                continue
            made += 1
            text = f"Not checked: {', '.join(sorted(rules))}: {reason}"
            yield _notification("not-checked", text, "warning", [_location(p.path, first, None, last)])
    if more:
        yield _notification("not-checked", f"Not checked, in {more} more places; see the text report.", "warning")
