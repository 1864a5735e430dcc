"""One test walks every rule: its page, its good program, and the exact findings of its bad program.

The bad program says on each line what is to be found there: ``(expect RULE)``. Notes that are not expected are let pass
(a short program has its gaps), errors and warnings are not. The same must be found when every comment is stripped and
the file has another name, save for the rules that read comments.
"""

from __future__ import annotations

import re

import pytest

from advisor.check import check_program
from advisor.findings import ProgramReport
from advisor.rules import book, example, page
from advisor.rules.base import GROUPS, HEADINGS, NEEDS
from tests.rules.setting import of_program

COMMENT = re.compile(r"\([^()\n]*\)|;[^\n]*")
NO_PROGRAMS = {"internal-error", "file-skipped"}  # come from outside a program; tested in tests/check and tests/gate
READS_COMMENTS = {"cutter-mismatch", "unused-allowance", "dialect-relaxed", "line-too-long", "odd-characters"}
WITH_PROGRAMS = sorted(set(book()) - NO_PROGRAMS)


def report(name: str, text: str, *, path: str, keep: str | None = None) -> ProgramReport:
    """The report on a program in the workshop that its comments, or those of ``keep``, ask for."""
    return check_program(text.encode("utf-8"), path=path, setting=of_program(keep or text))


def told(found: ProgramReport, name: str) -> set[tuple[int, str]]:
    """Line and rule of every error and warning, and of every finding of the rule itself."""
    return {(f.line, f.rule) for f in found.findings if f.severity in ("error", "warning") or f.rule == name}


def expected(text: str) -> set[tuple[int, str]]:
    """Line and rule of every ``(expect RULE)``."""
    lines = enumerate(text.splitlines(), start=1)
    return {(number, rule) for number, line in lines for rule in re.findall(r"expect ([a-z-]+)\)?", line)}


@pytest.mark.parametrize("name", sorted(book()))
def test_page_is_complete(name: str) -> None:
    shown = page(name)
    for heading in HEADINGS:
        assert shown.sections[heading], f"{name} has no {heading}"
    rule = shown.rule
    assert rule.summary.endswith(".") and "\n" not in rule.summary
    assert rule.severity in ("error", "warning", "note") and rule.group in GROUPS
    assert set(rule.needs) <= set(NEEDS)
    assert rule.why and rule.safety and rule.fix
    words = " ".join((rule.summary, *shown.sections.values())).lower()
    assert not re.search(r"\b(ok|okay|safe|fine)\b", words), "never promise safety"


@pytest.mark.parametrize("name", WITH_PROGRAMS)
def test_good_program_is_clean_and_looked_at(name: str) -> None:
    text = example(name, "good")
    assert text, f"{name} has no good program"
    found = report(name, text, path="good.ngc")
    assert told(found, name) == set(), [f.message for f in found.findings]
    if book()[name].group != "housekeeping":
        assert name in found.rules_looked, [n for n in found.not_checked if n.rule == name]


@pytest.mark.parametrize("name", WITH_PROGRAMS)
def test_bad_program_is_found_exactly(name: str) -> None:
    text = example(name, "bad")
    wanted = expected(text)
    assert any(rule == name for _, rule in wanted), f"{name} expects nothing in its bad program"
    found = report(name, text, path="bad.ngc")
    assert told(found, name) == wanted, [(f.line, f.rule, f.message) for f in found.findings]
    mine = [f for f in found.findings if f.rule == name]
    for finding in mine:
        assert finding.message and finding.why and finding.fix and finding.safety and finding.fingerprint
        assert finding.end_line >= finding.line >= 1


@pytest.mark.parametrize("name", sorted(set(WITH_PROGRAMS) - READS_COMMENTS))
def test_comments_and_name_change_nothing(name: str) -> None:
    text = example(name, "bad")
    bare = COMMENT.sub("", text)
    plain = report(name, bare, path="another name.nc", keep=text)
    assert told(plain, name) == expected(text)
    before = report(name, text, path="bad.ngc")
    stamps = [
        {(f.rule, f.line, f.fingerprint) for f in found.findings if f.rule not in READS_COMMENTS}
        for found in (before, plain)
    ]
    assert stamps[0] == stamps[1]


@pytest.mark.parametrize("name", sorted(READS_COMMENTS))
def test_rules_that_read_comments_are_silent_without_them(name: str) -> None:
    text = example(name, "bad")
    plain = report(name, COMMENT.sub("", text), path="bad.ngc", keep=text)
    assert all(f.rule != name for f in plain.findings)
