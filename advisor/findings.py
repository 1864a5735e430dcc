"""What a check yields: findings, what was not checked, and the report that holds all any output needs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Any

from grammar.classes import dataclass

SEVERITIES = ("error", "warning", "note")


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault. Rules fill rule, block or line, message, measured, limit, unit, fix and at; the runner the rest."""

    rule: str
    message: str
    block: int | None = None  # first block of the fault
    end_block: int | None = None
    severity: str = ""  # empty: the rule's default; the runner applies [checks]
    line: int = 0
    column: int = 1
    end_line: int = 0
    measured: float | None = None
    limit: float | None = None
    unit: str = ""
    why: str = ""
    fix: str = ""
    safety: str = ""
    at: tuple[float | None, float | None, float | None] | None = None  # stock coordinates, mm
    fingerprint: str = ""


@dataclass(frozen=True, slots=True)
class NotChecked:
    """A rule that could not look, at some lines or at all."""

    rule: str
    reason: str
    cause: str
    from_line: int
    to_line: int


@dataclass(frozen=True, slots=True)
class Suppressed:
    """A finding put aside by an allowance."""

    finding: Finding
    reason: str
    kind: str = "program"  # program, shop-file, baseline


@dataclass(frozen=True, slots=True)
class ProgramReport:
    """Everything told about one program."""

    path: str
    dialect: str = "shop"
    findings: tuple[Finding, ...] = ()
    not_checked: tuple[NotChecked, ...] = ()
    suppressed: tuple[Suppressed, ...] = ()
    assumptions: tuple[str, ...] = ()
    setup: Mapping[str, Any] = field(default_factory=dict)  # the set-up card
    summary: Mapping[str, Any] = field(default_factory=dict)  # keys of the design, section 5
    blocks_text: Mapping[int, str] = field(default_factory=dict)  # line -> escaped-later raw text of lines with findings
    rules_looked: tuple[str, ...] = ()  # rules that really looked


@dataclass(frozen=True, slots=True)
class Report:
    """All programs of one run, sorted by path."""

    version: str
    programs: tuple[ProgramReport, ...]
    notices: tuple[str, ...] = ()
