"""Annotations by workflow commands of GitHub Actions, written to the log of a step.

A step shows at most ten errors and ten warnings; what is beyond that vanishes without a word. So the worst come first
and the rest is counted. What was not checked takes the first of the notices.
"""

from __future__ import annotations

from advisor.escape import clip, command_data, command_property, log_line, visible
from advisor.findings import Finding, ProgramReport, Report
from advisor.report.common import (
    against,
    counts,
    first_line,
    headline,
    last_line,
    ordered,
    plural,
    programs,
    rank,
    severity,
)

MOST = 10  # of each level in one step
MESSAGE_LENGTH = 1_000
_COMMANDS = {"error": "error", "warning": "warning", "note": "notice"}


def render(report: Report) -> str:
    """The commands, worst first, and a last line in words with the counts; each line ended by a line feed."""
    chosen = programs(report)
    found = [(p, f) for p in chosen for f in ordered(p.findings)]
    found.sort(key=lambda pair: rank(pair[1]))  # stable: the order of path and line stays within a rank
    left = {"error": MOST, "warning": MOST, "note": MOST - 1}
    lines: list[str] = []
    hidden = 0
    for p, f in found:
        kind = severity(f)
        if left[kind]:
            left[kind] -= 1
            lines.append(_command(p, f))
        else:
            hidden += 1
    summary = headline(counts(chosen)) if chosen else "no program was found: nothing was checked"
    unchecked = [p for p in chosen if p.not_checked]
    if unchecked:
        causes = sorted({n.cause for p in unchecked for n in p.not_checked})
        text = f"Rules could not look in {plural(len(unchecked), 'program')}, for want of: {', '.join(causes)}"
        lines.append(f"::notice title={command_property('NOT CHECKED')}::{command_data(clip(text, MESSAGE_LENGTH))}")
    if not chosen:
        lines.append(f"::error title=feedwright::{command_data(summary)}")
    if hidden:
        lines.append(f"{plural(hidden, 'finding')} not shown as annotations; the other reports hold them all")
    lines.append(log_line(f"{plural(len(chosen), 'program')}: {summary}"))
    return "".join(f"{line}\n" for line in lines)


def _command(p: ProgramReport, f: Finding) -> str:
    figures = against(f)
    message = visible(f.message) + (f" ({figures})" if figures else "")
    if f.fix:
        message += f" Mend: {visible(f.fix)}"
    if f.safety:
        message += f" Care: {visible(f.safety)}"
    properties = [
        f"file={command_property(p.path)}",
        f"line={first_line(f)}",
        f"endLine={last_line(f)}",
        f"col={max(f.column, 1)}",
        f"title={command_property(f.rule)}",
    ]
    if last_line(f) > first_line(f):
        del properties[3]  # a column is only taken for a single line
    return f"::{_COMMANDS[severity(f)]} {','.join(properties)}::{command_data(clip(message, MESSAGE_LENGTH))}"
