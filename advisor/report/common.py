"""What several reports share: order, counts, places, numbers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from advisor.escape import clip
from advisor.findings import SEVERITIES, Finding, NotChecked, ProgramReport, Report
from grammar.classes import dataclass

# Errors that break something the moment they are reached; they head the page and come first where room is short.
CRASHES = frozenset(
    {"rapid-into-stock", "rapid-bent-path", "keepout-hit", "holder-contact", "below-spoilboard", "outside-travel"}
)

# What a file with one of these never was: looked at.
UNSEEN = frozenset({"internal-error", "file-skipped", "not-a-program"})

CAUTION = (
    "This is advice computed from what the program and the shop file say. It does not know the real clamps, the real "
    "zero, the sharpness of the cutter or how the piece is held. The limits marked by the maker of the cutter and of "
    "the machine, local rules and trained practice come first. Prove a new program in air, feed override low, one "
    "hand at the stop, eyes and ears protected."
)

CLEAN_MEANING = (
    "A report without findings says only that the rules that looked found nothing; what is listed as not checked "
    "nobody looked at."
)


@dataclass(frozen=True, slots=True)
class Counts:
    """How many findings of each kind; ``crashes`` are errors, counted in ``errors`` too."""

    programs: int
    crashes: int
    errors: int
    warnings: int
    notes: int
    not_checked: int  # pairs of program and rule
    suppressed: int


def rank(finding: Finding) -> int:
    """0 for a crash, 1 for another error, 2 for a warning, 3 for a note or anything else."""
    kind = severity(finding)
    if kind == "error":
        return 0 if finding.rule in CRASHES else 1
    return 2 if kind == "warning" else 3


def ordered(findings: Iterable[Finding]) -> list[Finding]:
    """In the order of the program: line, column, rule, fingerprint."""
    return sorted(findings, key=lambda f: (f.line, f.column, f.rule, f.fingerprint, f.message))


def programs(report: Report) -> list[ProgramReport]:
    """Sorted by path."""
    return sorted(report.programs, key=lambda p: p.path)


def unchecked_rules(not_checked: Iterable[NotChecked]) -> list[str]:
    """Names of the rules that could not look, somewhere or at all."""
    return sorted({n.rule for n in not_checked})


def counts(chosen: Iterable[ProgramReport]) -> Counts:
    """Counts over some programs."""
    by_rank: Counter[int] = Counter()
    total = unchecked = put_aside = 0
    for program in chosen:
        total += 1
        by_rank.update(rank(f) for f in program.findings)
        unchecked += len(unchecked_rules(program.not_checked))
        put_aside += len(program.suppressed)
    return Counts(
        programs=total,
        crashes=by_rank[0],
        errors=by_rank[0] + by_rank[1],
        warnings=by_rank[2],
        notes=by_rank[3],
        not_checked=unchecked,
        suppressed=put_aside,
    )


def plural(count: int, one: str, many: str | None = None) -> str:
    """``1 warning``, ``2 warnings``."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def headline(c: Counts) -> str:
    """``2 CRASHES, 1 warning, 6 NOT CHECKED``; "no findings" never stands without the count of what was not checked."""
    parts: list[str] = []
    if c.crashes:
        parts.append(plural(c.crashes, "CRASH", "CRASHES"))
    if c.errors - c.crashes:
        parts.append(plural(c.errors - c.crashes, "ERROR", "ERRORS"))
    if c.warnings:
        parts.append(plural(c.warnings, "warning"))
    if c.notes:
        parts.append(plural(c.notes, "note"))
    if not parts:
        parts.append("no findings")
    if c.suppressed:
        parts.append(f"{c.suppressed} allowed")
    parts.append(f"{c.not_checked} NOT CHECKED" if c.not_checked else "0 not checked")
    return ", ".join(parts)


def rounded(value: Any) -> Any:
    """Any value as JSON can hold it: floats with 6 decimals, NaN and infinity as None, keys as strings.

    Numbers of array packages are taken by their ``item`` method.
    """
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        if value != value or value in (float("inf"), float("-inf")):
            return None
        near = round(value, 6)
        return near + 0.0  # -0.0 becomes 0.0
    if isinstance(value, Mapping):
        return {str(k): rounded(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [rounded(v) for v in value]
    if isinstance(value, (set, frozenset)):
        return [rounded(v) for v in sorted(value)]
    if hasattr(value, "tolist"):
        return rounded(value.tolist())
    return str(value)


def number(value: float | None, decimals: int = 3) -> str:
    """For people: at most ``decimals`` decimals, no trailing zeros, ``?`` where unknown."""
    if value is None or value != value:
        return "?"
    text = f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals else f"{value:.0f}"
    return "0" if text in ("-0", "") else text


def against(finding: Finding) -> str:
    """``measured 3 mm, limit 0 mm``, or as much of it as is known."""
    unit = f" {clip(finding.unit, 40)}" if finding.unit else ""
    parts = []
    if finding.measured is not None and finding.measured == finding.measured:
        parts.append(f"measured {number(finding.measured)}{unit}")
    if finding.limit is not None and finding.limit == finding.limit:
        parts.append(f"limit {number(finding.limit)}{unit}")
    return ", ".join(parts)


def first_line(finding: Finding) -> int:
    """1-based first line."""
    return max(finding.line, 1)


def last_line(finding: Finding) -> int:
    """1-based last line, never before the first."""
    return max(finding.end_line, first_line(finding))


def severity(finding: Finding) -> str:
    """The severity; a finding that came without one counts as an error, never as less."""
    return finding.severity if finding.severity in SEVERITIES else "error"


def job_place(job: Mapping[str, Any]) -> str:
    """The place of a program in its job, as the set-up card tells it, in words."""
    parts = [f"{job.get('name')}, program {job.get('program')} of {job.get('programs')}"]
    turn = {"about-x": "turned over about X", "about-y": "turned over about Y"}.get(str(job.get("turn")))
    if job.get("setups") != 1:
        parts.append(f"set-up {job.get('setup')} of {job.get('setups')}" + (f" ({turn})" if turn else ""))
    if job.get("stock_left_by"):
        parts.append(f"the stock as {job['stock_left_by']} left it")
    elif job.get("after"):
        parts.append("what the programs before it left is NOT KNOWN")
    return "; ".join(parts)
