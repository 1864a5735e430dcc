"""The page: everything is there, nothing can break out, nothing is loaded or run."""

from __future__ import annotations

import html.parser
from dataclasses import replace

import pytest

from advisor.findings import Report
from advisor.report import html as page
from tests.report import samples

HOSTILE = "</td><script>alert(1)</script>\x1b[31m\u202e\"'&<b onclick=x>"


class Reader(html.parser.HTMLParser):
    """Gathers tags, attributes and text, and sees that every tag is closed in order."""

    VOID = ("meta", "br")

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def read(report: Report) -> Reader:
    reader = Reader()
    reader.feed(page.render(report))
    reader.close()
    assert reader.open == []
    return reader


def test_everything_told_is_on_the_page() -> None:
    report = Report(version="1", programs=(samples.BAD,), notices=("a notice",))
    reader = read(report)
    for finding in samples.BAD.findings:
        assert finding.message in reader.text and finding.rule in reader.text
    for entry in samples.BAD.not_checked:
        assert entry.rule in reader.text and entry.reason in reader.text
    assert "CRASH" in reader.text and "NOT CHECKED" in reader.text and "a notice" in reader.text
    assert reader.text.index(samples.CRASH.message) < reader.text.index(samples.ERROR.message)
    assert page.render(report) == page.render(report)


@pytest.mark.parametrize("field", ["message", "rule", "fix", "safety", "why", "unit"])
def test_no_text_breaks_out(field: str) -> None:
    finding = replace(samples.CRASH, **{field: HOSTILE})
    card = {HOSTILE: {HOSTILE: HOSTILE}}
    program = replace(samples.BAD, path=HOSTILE, findings=(finding,), assumptions=(HOSTILE,), setup=card)
    report = Report(version="1", programs=(program,), notices=(HOSTILE,))
    reader = read(report)
    assert not reader.tags & {"script", "style", "link", "img", "iframe", "b", "a"}
    assert reader.attributes <= {"lang", "charset", "http-equiv", "content", "id", "scope", "border"}
    assert "\x1b" not in page.render(report) and "\u202e" not in page.render(report)


def test_no_program_is_told() -> None:
    assert "no findings, 0 not checked" in read(Report(version="1", programs=())).text
