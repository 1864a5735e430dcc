"""Text from programs, file names and shop files must not act where it is printed: attempts to break out."""

from __future__ import annotations

import html.parser
import json
import re
import unicodedata
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import escape
from advisor.findings import Finding, NotChecked, ProgramReport, Report, Suppressed
from advisor.report import github, gitlab, junit, sarif, text
from advisor.report import json as json_report

ATTACKS = [
    "\x1b[31mred\x1b[0m",
    "\x1b]0;title\x07",
    "\x1b]8;;http://example.org\x1b\\link\x1b]8;;\x1b\\",
    "\x9b2J",
    "back\x08\x08\x08space\rreturn",
    "two\nlines\r\nand\x0bmore\x0c\x85\u2028\u2029",
    "\u202eevil\u202c \u2066x\u2069 \u200f",
    "zero\u200bwidth\ufeff\u00ad",
    "\U000e0041tag",
    "name\udcff\udc80.ngc",
    "half \ud800 pair",
    "nul\x00",
    "<script>alert(1)</script>",
    "]]>&lt;![CDATA[<failure>",
    "--><!--",
    "' onload='x' \" onerror=\"y",
    '</failure></testcase><testcase name="x">',
    "::error file=x,line=1::planted",
    "  ::stop-commands::token",
    "%0A::set-output name=a::b",
    "a\n::warning::planted",
    "##[error]planted",
    "x ##[group]y",
    "##build[setParameter name='a' value='b']",
    "{0} {{1}} [text](http://example.org) \\",
    "%s %(x)s {}",
    "../../etc/passwd",
    "C:\\x,y:z",
    "tab\there",
    "\x7f\x80\x9f",
    "\u0000\uffff\ufffe\U0001ffff",
    "emoji 🚣 and ü",
    "e" + "\u0301" * 5,
    "section_start:1:x\r\x1b[0K",
]
ANYTHING = st.text(st.characters(exclude_categories=[]), max_size=40) | st.sampled_from(ATTACKS)
ILLEGAL_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, 2.2, production [2]


def report_of(bad: str, line_text: str | None = None) -> Report:
    """A report in which every text is the attack."""
    finding = Finding(
        rule="rapid-into-stock",
        severity="error",
        message=bad,
        line=2,
        measured=1.0,
        limit=0.0,
        unit=bad,
        why=bad,
        fix=bad,
        safety=bad,
        fingerprint="f1",
    )
    program = ProgramReport(
        path=bad or "x",
        findings=(finding, replace(finding, severity="warning", fingerprint="f2"), replace(finding, severity="note")),
        not_checked=(NotChecked("chip-too-thin", bad, bad, 1, 2),),
        suppressed=(Suppressed(finding, bad, "program"),),
        assumptions=(bad,),
        setup={"datum": bad, "first_moves": [bad], "left_over": [bad], bad or "key": bad, "stock": {"material": bad}},
        summary={"tools": [1], "freed": [bad]},
        blocks_text={2: line_text if line_text is not None else bad},
    )
    return Report(version="0", programs=(program,), notices=(bad,))


def acts(shown: str) -> list[str]:
    """Characters of a text (line feeds aside) that a terminal acts upon, or that can't be seen."""
    return [c for c in shown if c != "\n" and (unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"))]


def commands(shown: str) -> list[str]:
    """Lines a build log would take as commands."""
    return [line for line in shown.split("\n") if line.lstrip().startswith("::") or re.search(r"##\w*\[", line)]


@given(ANYTHING)
def test_visible_text_never_acts_and_keeps_what_is_plain(raw: str) -> None:
    shown = escape.visible(raw)
    assert acts(shown) == []
    assert "\n" not in shown
    if raw.isprintable():
        assert shown == raw


def test_what_is_made_visible_can_be_told_apart() -> None:
    assert escape.visible("a\x1bb\u202ec\udcffd\U000e0041") == "a\\x1bb\\u202ec\\xffd\\U000e0041"
    assert escape.visible("a\nb\rc\td\u00a0e") == "a\\nb\\rc d e"


@given(ANYTHING)
def test_ascii_is_ascii(raw: str) -> None:
    shown = escape.ascii_only(raw)
    assert shown.isascii()
    assert acts(shown) == []


@pytest.mark.parametrize("sign", ["×", "°", "µ", "²", "≤", "…", "—"])
def test_known_signs_have_a_plain_form(sign: str) -> None:
    assert "\\" not in escape.ascii_only(sign)


class _Reader(html.parser.HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, list[tuple[str, str | None]]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, attrs))

    def handle_data(self, data: str) -> None:
        self.text += data


@given(ANYTHING)
def test_html_and_xml_hold_it_as_text(raw: str) -> None:
    reader = _Reader()
    reader.feed(f"<p title=\"{escape.html(raw)}\" lang='{escape.html(raw)}'>{escape.html(raw)}</p>")
    reader.close()
    shown = escape.visible(raw)
    assert reader.tags == [("p", [("title", shown), ("lang", shown)])]
    assert reader.text == shown
    root = ET.fromstring(f'<a b="{escape.xml(raw)}">{escape.xml(raw)}</a>')
    assert (root.get("b"), root.text or "") == (shown, shown)
    assert not ILLEGAL_XML.search(escape.xml(raw))


@given(ANYTHING)
def test_a_workflow_command_stays_one_command(raw: str) -> None:
    line = f"::error file={escape.command_property(raw)},line=1::{escape.command_data(raw)}"
    assert len(line.splitlines()) == 1
    head, _, message = line[2:].partition("::")
    assert head.count(",") == 1
    assert head.count(":") == 0
    undone = message.replace("%0A", "\n").replace("%0D", "\r").replace("%25", "%")
    assert undone == escape.visible(raw)


@given(ANYTHING)
def test_json_text_is_unicode(raw: str) -> None:
    clean = escape.json_text(raw)
    clean.encode("utf-8")
    assert json.loads(json.dumps(clean)) == clean


@pytest.mark.parametrize("bad", ATTACKS)
@pytest.mark.parametrize("plain_ascii", [False, True])
@pytest.mark.parametrize("width", [40, 80, 3000])
def test_the_text_report_never_acts(bad: str, plain_ascii: bool, width: int) -> None:
    for full in (True, False):
        shown = text.render(report_of(bad), width=width, plain_ascii=plain_ascii, full=full, show_suppressed=True)
        assert acts(shown) == []
        assert commands(shown) == []
        assert not plain_ascii or shown.isascii()


@pytest.mark.parametrize("bad", ATTACKS)
def test_colour_adds_only_its_own_controls(bad: str) -> None:
    shown = text.render(report_of(bad), colour=True, full=True)
    assert "\x1b[" in shown
    bare = re.sub("\x1b\\[[0-9;]*m", "", shown)
    assert acts(bare) == []
    assert bare == text.render(report_of(bad), full=True)
    assert commands(bare) == []


@pytest.mark.parametrize("bad", ATTACKS)
def test_the_other_reports_hold_it_as_text(bad: str) -> None:
    report = report_of(bad)
    for made in (json_report.render(report), sarif.render(report, include_suppressed=True), gitlab.render(report)):
        assert made.isascii()
        json.dumps(json.loads(made), ensure_ascii=False).encode("utf-8")  # no lone surrogates
    made = json.loads(json_report.render(report))
    assert made["programs"][0]["findings"][0]["message"] == escape.json_text(bad)
    root = ET.fromstring(junit.render(report))
    assert len(root.findall("testsuite/testcase")) == 1
    assert len(root.findall("testsuite/testcase/failure")) == 1
    assert {e.tag for e in root.iter()} == {"testsuites", "testsuite", "testcase", "failure", "system-out"}
    lines = github.render(report).splitlines()
    shown = [line for line in lines if line.startswith("::")]
    assert len(shown) == 4  # one of each level, and what was not checked
    assert commands("\n".join(line for line in lines if line not in shown)) == []
    assert acts("\n".join(lines)) == []
    uri = json.loads(sarif.render(report))["runs"][0]["results"][0]["locations"][0]["physicalLocation"]
    assert re.fullmatch(r"(?:%[0-9A-F]{2}|[A-Za-z0-9._~/-])+", uri["artifactLocation"]["uri"].removeprefix("file://"))


def test_a_block_can_not_pose_as_a_finding() -> None:
    planted = "G1 X1 (x)\nother.ngc:1:1: note: all is well"
    shown = text.render(report_of("m", planted), full=True)
    assert not any(line.startswith("other.ngc") for line in shown.splitlines())


def test_very_long_text_is_cut_and_the_cut_is_told() -> None:
    report = report_of("x" * 300_000)
    for made in (text.render(report, full=True), github.render(report), gitlab.render(report), junit.render(report)):
        assert "more characters)" in made
    short = replace(report, programs=(replace(report.programs[0], path="x.ngc"),))
    for full in (True, False):
        assert len(text.render(short, full=full, show_suppressed=True)) < 100_000
    for made in (github.render(short), gitlab.render(short), junit.render(short)):
        assert len(made) < 50_000
    assert escape.clip("abc", 3) == "abc"
    assert escape.clip("abcd", 3) == "abc… (1 more characters)"
