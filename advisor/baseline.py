"""Findings a team has looked at and lives with for now, so that the gate can stand from the first day on.

A baseline holds fingerprints, not numbers: an entry hides as many findings of one fingerprint in one program as it
counts, so a new fault is seen even where an old one was mended. Findings of severity error are only taken with a
reason; a file that nobody could look at is never taken.

The file is JSON, one entry a line, sorted, so that changes read well in a review. Paths are relative to it.
"""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from advisor.escape import clip, visible
from advisor.findings import SEVERITIES, Finding, ProgramReport, Report, Suppressed
from advisor.report.common import UNSEEN, ordered, plural, severity, unchecked_rules
from grammar.classes import dataclass

SCHEMA = "feedwright.baseline/1"
NAME = "feedwright-baseline.jsonl"
MESSAGE_LENGTH = 300

# What stands for "nobody looked" can't be lived with.
NEVER = UNSEEN | {"required-not-checked"}


class BaselineError(ValueError):
    """A baseline that can't be read or written; the message names file, line and remedy."""


@dataclass(frozen=True, slots=True, order=True)
class Entry:
    """``count`` findings of one fingerprint in one program; ``message`` is for people, ``reason`` for errors."""

    path: str  # relative to the baseline, forward slashes
    rule: str
    fingerprint: str
    count: int = 1
    severity: str = "warning"
    message: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Refused:
    """A finding that was not taken, and why."""

    path: str
    finding: Finding
    why: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """A new baseline, what changed on the way to it, and what was not taken."""

    entries: tuple[Entry, ...]
    added: int = 0  # findings
    removed: int = 0
    refused: tuple[Refused, ...] = ()

    def told(self) -> str:
        """In words, one line a fact."""
        lines = [
            f"{plural(sum(e.count for e in self.entries), 'finding')} in the baseline: "
            f"{self.added} added, {self.removed} removed"
        ]
        for why, count in sorted(Counter(r.why for r in self.refused).items()):
            lines.append(f"{plural(count, 'finding')} not taken: {why}")
        for r in self.refused[:20]:
            message = clip(visible(r.finding.message), MESSAGE_LENGTH)
            lines.append(
                f"  {visible(r.path)}:{max(r.finding.line, 1)}: {severity(r.finding)} {r.finding.rule}: {message}"
            )
        if len(self.refused) > 20:
            lines.append(f"  and {len(self.refused) - 20} more")
        return "\n".join(lines) + "\n"


# --- the file --------------------------------------------------------------------------------------------------------


def load(file: Path) -> tuple[Entry, ...]:
    """The entries of a file. Raises ``BaselineError``."""
    from advisor.files import read_program

    content = read_program(file)
    if content.problem:
        raise BaselineError(f"the baseline {visible(str(file))} can't be read: {content.problem}")
    try:
        text = content.data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise BaselineError(f"the baseline {visible(str(file))} is not UTF-8 text: {error.reason}") from None
    return parse(text, visible(str(file)))


def save(file: Path, entries: Iterable[Entry]) -> None:
    """Write the entries, whole or not at all. Raises ``BaselineError``; the old file then stands as it was."""
    from advisor.files import why_not, write_whole

    try:
        write_whole(file, to_text(entries))
    except OSError as error:
        raise BaselineError(f"the baseline {visible(str(file))} can't be written: {why_not(error, doing='writing')}") from None


def to_text(entries: Iterable[Entry]) -> str:
    """A line with the schema, then one line an entry, sorted; pure ASCII."""
    lines = [json.dumps({"schema": SCHEMA})]
    for e in sorted(entries):
        made: dict[str, Any] = {
            "path": e.path,
            "rule": e.rule,
            "fingerprint": e.fingerprint,
            "count": e.count,
            "severity": e.severity,
            "message": e.message,
        }
        if e.reason:
            made["reason"] = e.reason
        lines.append(json.dumps(made))
    return "\n".join(lines) + "\n"


def parse(text: str, name: str = "baseline") -> tuple[Entry, ...]:
    """The entries of a baseline's text, sorted; one that stands twice counts once, at its higher count.

    Raises ``BaselineError`` with every line that can't be used.
    """
    lines = text.splitlines()
    if not lines or _schema(lines[0]) != SCHEMA:
        raise BaselineError(
            f'{name}:1: a baseline begins with the line {{"schema": "{SCHEMA}"}}; '
            "make one with: feedwright baseline create"
        )
    found: dict[tuple[str, str, str], Entry] = {}
    mistakes: list[str] = []
    for number, line in enumerate(lines[1:], 2):
        if not line.strip():
            continue
        try:
            entry = _entry(line)
        except ValueError as error:
            mistakes.append(f"{name}:{number}: {error}")
            continue
        key = (entry.path, entry.rule, entry.fingerprint)
        held = found.get(key)
        if held is None or held.count < entry.count:
            found[key] = entry
    if mistakes:
        shown = mistakes[:20] + ([f"and {len(mistakes) - 20} more"] if len(mistakes) > 20 else [])
        raise BaselineError("\n".join(shown))
    return tuple(sorted(found.values()))


def _schema(line: str) -> object:
    try:
        made = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return made.get("schema") if isinstance(made, dict) else None


_TEXT_KEYS = ("path", "rule", "fingerprint", "severity", "message", "reason")


def _entry(line: str) -> Entry:
    if line.startswith(("<<<<<<<", "=======", ">>>>>>>", "|||||||")):
        raise ValueError("a merge left its mark here; keep the entries of both sides and remove the mark")
    try:
        made = json.loads(line)
    except (ValueError, RecursionError):
        raise ValueError("this is not JSON; each entry is one line") from None
    if not isinstance(made, dict):
        raise ValueError("an entry is a JSON object with path, rule, fingerprint and count")
    strangers = sorted(set(made) - {*_TEXT_KEYS, "count"})
    if strangers:
        raise ValueError(f"unknown key {visible(strangers[0])}; known: {', '.join(_TEXT_KEYS)}, count")
    for key in _TEXT_KEYS:
        if not isinstance(made.get(key, ""), str):
            raise ValueError(f"{key} must be text")
    for key in ("path", "rule", "fingerprint"):
        if not made.get(key):
            raise ValueError(f"{key} is missing")
    count = made.get("count", 1)
    if not isinstance(count, int) or isinstance(count, bool) or count < 1:
        raise ValueError("count must be a whole number of 1 or more")
    if made.get("severity", "warning") not in SEVERITIES:
        raise ValueError(f"severity must be one of {', '.join(SEVERITIES)}")
    if made["rule"] in NEVER:
        raise ValueError(f"{made['rule']} can't be put aside: nobody looked at that file; remove this line")
    if made.get("severity") == "error" and not made.get("reason", "").strip():
        raise ValueError("an error is only put aside with a reason: add one, or remove this line")
    return Entry(**made)


def relative(path: str, file: Path) -> str:
    """A program's path as a baseline names it: from the baseline's folder, with forward slashes."""
    whole = os.path.abspath(path)  # noqa: PTH100 - links stay as they are
    folder = os.path.dirname(os.path.abspath(file))  # noqa: PTH100, PTH120
    try:
        name = os.path.relpath(whole, folder)
    except ValueError:  # another drive
        name = whole
    return name.replace(os.sep, "/")


# --- making and changing ---------------------------------------------------------------------------------------------


def create(report: Report, *, file: Path, include_errors: str = "") -> Outcome:
    """A baseline of all findings of a report. Errors are taken only with ``include_errors``, the reason for it."""
    entries: list[Entry] = []
    refused: list[Refused] = []
    for program in report.programs:
        taken, kept_out = _take(program, relative(program.path, file), program.findings, include_errors)
        entries += taken
        refused += kept_out
    # A report may be of what an older baseline lets through: what that one holds is no finding here.
    return Outcome(tuple(sorted(entries)), added=sum(e.count for e in entries), refused=tuple(refused))


def _take(
    program: ProgramReport, path: str, findings: Iterable[Finding], include_errors: str
) -> tuple[list[Entry], list[Refused]]:
    made: dict[tuple[str, str], Entry] = {}
    refused: list[Refused] = []
    for f in ordered(findings):
        why = ""
        if f.rule in NEVER:
            why = "nobody looked at these files, and that can't be put aside"
        elif severity(f) == "error" and not include_errors.strip():
            why = "errors are only taken with --include-errors and a reason"
        if why:
            refused.append(Refused(program.path, f, why))
            continue
        key = (f.rule, f.fingerprint or f.message)
        held = made.get(key)
        if held is not None:
            made[key] = replace(held, count=held.count + 1)
            continue
        made[key] = Entry(
            path=path,
            rule=f.rule,
            fingerprint=key[1],
            severity=severity(f),
            message=clip(f.message, MESSAGE_LENGTH),
            reason=include_errors.strip() if severity(f) == "error" else "",
        )
    return list(made.values()), refused


def update(old: Iterable[Entry], report: Report, *, file: Path, add: bool = False, include_errors: str = "") -> Outcome:
    """The old baseline less what is mended; with ``add`` also with what is new.

    An entry goes only where its rule has really looked at the whole program in this run: one whose rule could not look,
    or whose program was not among those checked, stays.
    """
    programs = {relative(p.path, file): p for p in report.programs}
    kept: list[Entry] = []
    removed = 0
    for entry in old:
        program = programs.get(entry.path)
        if program is None or not _has_looked(program, entry.rule):
            kept.append(entry)
            continue
        now = sum(_matches(entry, f) for f in program.findings)
        now += sum(_matches(entry, s.finding) for s in program.suppressed if s.kind == "baseline")
        left = min(entry.count, now)
        removed += entry.count - left
        if left:
            kept.append(replace(entry, count=left))
    added = 0
    refused: list[Refused] = []
    if add:
        held = {(e.path, e.rule, e.fingerprint): e for e in kept}
        for path, program in programs.items():
            fresh = _uncovered(program, [e for e in kept if e.path == path])
            taken, kept_out = _take(program, path, fresh, include_errors)
            refused += kept_out
            for entry in taken:
                key = (entry.path, entry.rule, entry.fingerprint)
                before = held.get(key)
                if before is not None and (before.reason or entry.severity != "error"):
                    entry_now = replace(entry, count=entry.count + before.count)
                else:  # new, or taken as a warning before: that no longer covers it
                    entry_now = entry
                held[key] = entry_now
                added += entry.count
        kept = list(held.values())
    return Outcome(tuple(sorted(kept)), added=added, removed=removed, refused=tuple(refused))


def prune(
    old: Iterable[Entry], *, file: Path, known_rules: Collection[str], exists: Callable[[Path], bool] = Path.is_file
) -> Outcome:
    """The old baseline less the entries of programs that are gone, and of rules that no longer exist."""
    folder = Path(os.path.abspath(file)).parent  # noqa: PTH100 - links stay as they are
    every = list(old)
    kept = [e for e in every if e.rule in known_rules and exists(folder / e.path)]
    return Outcome(tuple(sorted(kept)), removed=sum(e.count for e in every) - sum(e.count for e in kept))


def show(entries: Iterable[Entry]) -> str:
    """What a baseline holds: counts by rule, then each entry; ended by a line feed."""
    every = sorted(entries)
    by_rule: Counter[tuple[str, str]] = Counter()
    for e in every:
        by_rule[(e.severity, e.rule)] += e.count
    programs = len({e.path for e in every})
    lines = [f"{plural(sum(by_rule.values()), 'finding')} put aside in {plural(programs, 'program')}"]
    for (kind, rule), count in sorted(by_rule.items(), key=lambda item: (SEVERITIES.index(item[0][0]), item[0][1])):
        lines.append(f"  {count:6} {kind} {rule}")
    path = None
    for e in every:
        if e.path != path:
            lines.append(visible(e.path))
            path = e.path
        times = f" ({e.count} times)" if e.count > 1 else ""
        lines.append(f"  {e.severity} {visible(e.rule)}{times}: {visible(e.message)}")
        if e.reason:
            lines.append(f"    because: {visible(e.reason)}")
    return "\n".join(lines) + "\n"


# --- use -------------------------------------------------------------------------------------------------------------


def apply(report: Report, entries: Iterable[Entry], *, file: Path) -> Report:
    """The report with what the baseline holds put aside; a notice counts the entries that are no longer needed."""
    by_path: dict[str, list[Entry]] = {}
    for entry in entries:
        by_path.setdefault(entry.path, []).append(entry)
    made: list[ProgramReport] = []
    stale = 0
    for program in report.programs:
        mine = by_path.get(relative(program.path, file), [])
        if not mine:
            made.append(program)
            continue
        left = _budget(mine)
        reasons = {(e.rule, e.fingerprint): e.reason for e in mine}
        kept: list[Finding] = []
        aside: list[Suppressed] = []
        for f in ordered(program.findings):
            key = (f.rule, f.fingerprint or f.message)
            if _is_held(f, left, reasons):
                left[key] -= 1
                said = f"in the baseline: {reasons[key]}" if reasons[key] else "in the baseline"
                aside.append(Suppressed(finding=f, reason=said, kind="baseline"))
            else:
                kept.append(f)
        stale += sum(count for (rule, _), count in left.items() if _has_looked(program, rule))
        made.append(replace(program, findings=tuple(kept), suppressed=(*program.suppressed, *aside)))
    notices = list(report.notices)
    if stale:
        notices.append(
            f"{plural(stale, 'finding')} of the baseline {'is' if stale == 1 else 'are'} mended: "
            "take them out with: feedwright baseline update"
        )
    return replace(report, programs=tuple(made), notices=tuple(notices))


def _budget(entries: Iterable[Entry]) -> dict[tuple[str, str], int]:
    return {(e.rule, e.fingerprint): e.count for e in entries}


def _is_held(f: Finding, left: Mapping[tuple[str, str], int], reasons: Mapping[tuple[str, str], str]) -> bool:
    key = (f.rule, f.fingerprint or f.message)
    if f.rule in NEVER or left.get(key, 0) <= 0:
        return False
    return severity(f) != "error" or bool(reasons.get(key))  # a warning that has become an error is seen again


def _uncovered(program: ProgramReport, entries: Iterable[Entry]) -> list[Finding]:
    every = list(entries)
    left = _budget(every)
    reasons = {(e.rule, e.fingerprint): e.reason for e in every}
    for s in program.suppressed:  # what a run with the baseline has put aside uses it up as well
        key = (s.finding.rule, s.finding.fingerprint or s.finding.message)
        if s.kind == "baseline" and key in left:
            left[key] -= 1
    fresh = []
    for f in ordered(program.findings):
        if _is_held(f, left, reasons):
            left[(f.rule, f.fingerprint or f.message)] -= 1
        else:
            fresh.append(f)
    return fresh


def _matches(entry: Entry, f: Finding) -> bool:
    return entry.rule == f.rule and entry.fingerprint == (f.fingerprint or f.message)


def _has_looked(program: ProgramReport, rule: str) -> bool:
    if any(f.rule in UNSEEN for f in program.findings):
        return False
    return rule in program.rules_looked and rule not in unchecked_rules(program.not_checked)
