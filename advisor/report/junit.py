"""JUnit XML: one test case a program, so that every program shows up, and a run without any shows up as a failure."""

from __future__ import annotations

from advisor.escape import clip, visible, xml
from advisor.findings import Finding, ProgramReport, Report
from advisor.report.common import (
    CAUTION,
    UNSEEN,
    against,
    counts,
    first_line,
    headline,
    ordered,
    plural,
    programs,
    severity,
    unchecked_rules,
)

_ORDER = {"error": 0, "warning": 1, "note": 2}
MOST_LINES = 200  # findings told in full in one test case


def render(report: Report, *, fail_on: str = "error") -> str:
    """The report as XML 1.0, ended by a line feed.

    A program fails by a finding at or above ``fail_on`` (error, warning, note, never). One that nobody could look at is
    an error whatever ``fail_on`` says.
    """
    chosen = programs(report)
    cases = [_case(p, fail_on) for p in chosen]
    if not chosen:
        cases = [_nothing()]
    failures = sum(kind == "failure" for kind, _ in cases)
    errors = sum(kind == "error" for kind, _ in cases)
    # The format wants times; a clock would make two runs differ, and the report holds none.
    numbers = f'tests="{len(cases)}" failures="{failures}" errors="{errors}" time="0"'
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<testsuites name="feedwright" {numbers}>\n'
        f'<testsuite name="feedwright check" {numbers} skipped="0">\n'
        + "".join(text for _, text in cases)
        + "</testsuite>\n</testsuites>\n"
    )


def _nothing() -> tuple[str, str]:
    return "error", (
        '<testcase classname="feedwright" name="no program found" time="0">'
        '<error type="no-program" message="no program was found: nothing was checked">'
        "Name at least one program, or a folder that holds some.</error></testcase>\n"
    )


def _case(p: ProgramReport, fail_on: str) -> tuple[str, str]:
    bar = _ORDER.get(fail_on, -1)
    found = ordered(p.findings)
    unseen = [f for f in found if f.rule in UNSEEN]
    failing = [f for f in found if _ORDER[severity(f)] <= bar and f not in unseen]
    kind, told = ("error", unseen + failing) if unseen else ("failure", failing) if failing else ("", [])
    parts = [f'<testcase classname="feedwright" name="{xml(p.path)}" file="{xml(p.path)}" time="0">']
    summary = headline(counts([p]))
    if kind:
        rule = told[0].rule
        body = "\n".join(_lines(p, told))
        parts.append(f'<{kind} type="{xml(rule)}" message="{xml(summary)}">{body}</{kind}>')
    rest = [f for f in found if f not in told]
    out = [xml(summary), *_lines(p, rest)]
    names = unchecked_rules(p.not_checked)
    if names:
        reasons = sorted({n.reason for n in p.not_checked})
        out.append(xml(f"NOT CHECKED ({plural(len(names), 'rule')}): {', '.join(names)}"))
        out += [xml(f"  {clip(reason, 500)}") for reason in reasons[:20]]
    out.append(xml(CAUTION))
    parts.append("<system-out>" + "\n".join(out) + "</system-out></testcase>\n")
    return kind, "".join(parts)


def _lines(p: ProgramReport, found: list[Finding]) -> list[str]:
    made = []
    for f in found[:MOST_LINES]:
        place = f"{visible(p.path)}:{first_line(f)}:{max(f.column, 1)}"
        text = f"{place}: {severity(f)} {f.rule}: {clip(visible(f.message), 500)}"
        figures = against(f)
        made.append(xml(text + (f" ({figures})" if figures else "")))
        if f.fix:
            made.append(xml(f"    mend: {clip(visible(f.fix), 500)}"))
        if f.safety and severity(f) == "error":
            made.append(xml(f"    care: {clip(visible(f.safety), 500)}"))
    if len(found) > MOST_LINES:
        made.append(f"{len(found) - MOST_LINES} more findings are not listed here")
    return made
