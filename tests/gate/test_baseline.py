"""Adopting the gate where findings already are: what is put aside, what is seen again, what is never put aside."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import baseline
from advisor.baseline import BaselineError, Entry
from advisor.findings import Finding, NotChecked, ProgramReport, Report
from advisor.run import failed, skipped

RULES = ("plunge-feed", "part-freed", "rapid-into-stock", "no-program-end")


def warning(fingerprint: str, rule: str = "plunge-feed", severity: str = "warning", line: int = 1) -> Finding:
    return Finding(rule=rule, severity=severity, message=f"{rule} {fingerprint}", line=line, fingerprint=fingerprint)


def report(*findings: Finding, path: str = "a.ngc", unchecked: tuple[str, ...] = ()) -> Report:
    program = ProgramReport(
        path=path,
        findings=findings,
        rules_looked=RULES,
        not_checked=tuple(NotChecked(rule, "no stock", "stock", 5, 9) for rule in unchecked),
    )
    return Report(version="0", programs=(program,))


def left(made: Report) -> list[str]:
    return [f.fingerprint for p in made.programs for f in p.findings]


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path / baseline.NAME


def test_what_was_found_is_put_aside_and_only_that(file: Path) -> None:
    before = report(warning("a"), warning("b"), warning("b", line=7))
    made = baseline.create(before, file=file)
    assert made.added == 3
    baseline.save(file, made.entries)
    entries = baseline.load(file)
    assert left(baseline.apply(before, entries, file=file)) == []
    after = baseline.apply(report(warning("a"), warning("c"), warning("b")), entries, file=file)
    assert left(after) == ["c"]
    assert [s.kind for p in after.programs for s in p.suppressed] == ["baseline", "baseline"]
    assert "1 finding of the baseline is mended" in after.notices[0]


def test_a_new_fault_that_hides_behind_a_mended_one_is_seen(file: Path) -> None:
    entries = baseline.create(report(warning("old 1"), warning("old 2")), file=file).entries
    assert left(baseline.apply(report(warning("old 1"), warning("new")), entries, file=file)) == ["new"]


def test_one_more_of_the_same_is_seen(file: Path) -> None:
    entries = baseline.create(report(warning("x"), warning("x", line=5)), file=file).entries
    assert [e.count for e in entries] == [2]
    again = report(warning("x"), warning("x", line=5), warning("x", line=9))
    kept = baseline.apply(again, entries, file=file).programs[0].findings
    assert [f.line for f in kept] == [9]


def test_errors_are_taken_only_with_a_reason(file: Path) -> None:
    found = report(warning("e", "rapid-into-stock", "error"), warning("w"))
    made = baseline.create(found, file=file)
    assert [e.fingerprint for e in made.entries] == ["w"]
    assert "--include-errors" in made.told()
    assert baseline.create(found, file=file, include_errors="  ").entries == made.entries
    with_reason = baseline.create(found, file=file, include_errors="air cut above the fixture, proved on 3 May")
    applied = baseline.apply(found, with_reason.entries, file=file)
    assert left(applied) == []
    reasons = [s.reason for s in applied.programs[0].suppressed]
    assert "in the baseline: air cut above the fixture, proved on 3 May" in reasons


def test_a_warning_that_has_become_an_error_is_seen_again(file: Path) -> None:
    entries = baseline.create(report(warning("w")), file=file).entries
    worse = report(warning("w", severity="error"))
    assert left(baseline.apply(worse, entries, file=file)) == ["w"]
    made = baseline.update(entries, worse, file=file, add=True, include_errors="known")
    assert [(e.count, e.severity, e.reason) for e in made.entries] == [(1, "error", "known")]


@pytest.mark.parametrize("rule", ["internal-error", "file-skipped", "not-a-program", "required-not-checked"])
def test_what_nobody_looked_at_is_never_put_aside(file: Path, rule: str) -> None:
    found = report(warning("n", rule, "error"))
    made = baseline.create(found, file=file, include_errors="we know")
    assert made.entries == ()
    assert "can't be put aside" in made.told()
    forged = (Entry("a.ngc", rule, "n", severity="error", reason="we know"),)
    assert left(baseline.apply(found, forged, file=file)) == ["n"]
    with pytest.raises(BaselineError, match="can't be put aside"):
        baseline.parse(baseline.to_text(forged))


def test_update_only_removes_unless_told(file: Path) -> None:
    old = baseline.create(report(warning("a"), warning("b"), warning("b")), file=file).entries
    now = report(warning("b"), warning("c"))
    made = baseline.update(old, now, file=file)
    assert [(e.fingerprint, e.count) for e in made.entries] == [("b", 1)]
    assert (made.added, made.removed) == (0, 2)
    many = baseline.update(old, report(*[warning("a")] * 4, warning("b"), warning("b")), file=file)
    assert many.entries == old
    more = baseline.update(old, now, file=file, add=True)
    assert [(e.fingerprint, e.count) for e in more.entries] == [("b", 1), ("c", 1)]
    assert left(baseline.apply(now, more.entries, file=file)) == []


def test_update_of_a_report_that_the_baseline_was_applied_to_is_the_same(file: Path) -> None:
    old = baseline.create(report(warning("a"), warning("b"), warning("b")), file=file).entries
    now = report(warning("b"), warning("c"), warning("b"), warning("b"))
    for add in (False, True):
        plain = baseline.update(old, now, file=file, add=add)
        applied = baseline.update(old, baseline.apply(now, old, file=file), file=file, add=add)
        assert plain.entries == applied.entries


def test_update_keeps_what_could_not_be_looked_at(file: Path) -> None:
    old = baseline.create(report(warning("a"), warning("s", "part-freed")), file=file).entries
    blind = baseline.update(old, report(unchecked=("part-freed",)), file=file)
    assert [e.fingerprint for e in blind.entries] == ["s"]
    for unseen in (skipped("a.ngc", "r"), failed("a.ngc", "r")):
        assert baseline.update(old, Report("0", (unseen,)), file=file).entries == old
    assert baseline.update(old, report(path="other.ngc"), file=file).entries == old
    unasked = replace(report().programs[0], rules_looked=())
    assert baseline.update(old, Report("0", (unasked,)), file=file).entries == old
    assert not baseline.apply(Report("0", (unasked,)), old, file=file).notices


def test_prune_removes_what_is_gone(file: Path) -> None:
    (file.parent / "a.ngc").write_text("G0")
    old = (Entry("a.ngc", "plunge-feed", "1"), Entry("a.ngc", "gone-rule", "2"), Entry("b.ngc", "plunge-feed", "3"))
    made = baseline.prune(old, file=file, known_rules=RULES)
    assert [e.fingerprint for e in made.entries] == ["1"]
    assert made.removed == 2


def test_show(file: Path) -> None:
    text = baseline.show(
        [
            Entry("b\x1b.ngc", "plunge-feed", "1", 3, message="m\x1b[31m"),
            Entry("a.ngc", "rapid-into-stock", "2", severity="error", message="n", reason="proved"),
        ]
    )
    assert text.splitlines()[0] == "4 findings put aside in 2 programs"
    assert "       1 error rapid-into-stock" in text
    assert "    because: proved" in text
    assert "\x1b" not in text


def test_paths_are_relative_to_the_baseline(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "work" / "deep").mkdir(parents=True)
    file = tmp_path / "work" / baseline.NAME
    monkeypatch.chdir(tmp_path)
    entries = baseline.create(report(warning("a"), path="work/deep/a b.ngc"), file=file).entries
    assert [e.path for e in entries] == ["deep/a b.ngc"]
    monkeypatch.chdir(tmp_path / "work" / "deep")
    assert left(baseline.apply(report(warning("a"), path="a b.ngc"), entries, file=Path("..") / baseline.NAME)) == []
    assert left(baseline.apply(report(warning("a"), path="../a b.ngc"), entries, file=file)) == ["a"]


NAMES = st.text(st.characters(exclude_categories=[]), min_size=1, max_size=12)


@given(
    st.lists(
        st.builds(
            Entry,
            path=NAMES,
            rule=st.sampled_from(RULES),
            fingerprint=NAMES,
            count=st.integers(1, 9),
            severity=st.sampled_from(("warning", "note")),
            message=NAMES,
            reason=st.just(""),
        ),
        max_size=6,
        unique_by=lambda e: (e.path, e.rule, e.fingerprint),
    )
)
def test_a_file_is_read_back_as_it_was_written(entries: list[Entry]) -> None:
    text = baseline.to_text(entries)
    assert baseline.parse(text) == tuple(sorted(entries))
    assert text == baseline.to_text(reversed(entries))
    assert len(text.splitlines()) == len(entries) + 1


@pytest.mark.parametrize("counts", [(2, 3), (3, 2)])
def test_the_same_entry_from_two_branches_counts_once(counts: tuple[int, int]) -> None:
    first, second = (baseline.to_text([Entry("a", "plunge-feed", "1", n)]) for n in counts)
    assert [e.count for e in baseline.parse(first + second.splitlines()[1])] == [3]


GOOD: dict[str, Any] = {"path": "a", "rule": "plunge-feed", "fingerprint": "1"}


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("<<<<<<< mine", "a merge left its mark"),
        ("{", "not JSON"),
        ("[" * 100_000, "not JSON"),
        ("[]", "JSON object"),
        (json.dumps({**GOOD, "colour": 1}), "unknown key colour"),
        (json.dumps({**GOOD, "path": 1}), "path must be text"),
        (json.dumps({"path": "a", "rule": "x"}), "fingerprint is missing"),
        (json.dumps({**GOOD, "count": 0}), "count must be"),
        (json.dumps({**GOOD, "count": True}), "count must be"),
        (json.dumps({**GOOD, "count": 1.5}), "count must be"),
        (json.dumps({**GOOD, "severity": "fatal"}), "severity must be"),
        (json.dumps({**GOOD, "severity": "error"}), "only put aside with a reason"),
    ],
)
def test_bad_lines_are_told_with_their_place(line: str, said: str) -> None:
    text = baseline.to_text([]) + line + "\n" + json.dumps({**GOOD, "count": -1}) + "\n"
    with pytest.raises(BaselineError) as caught:
        baseline.parse(text, "b.jsonl")
    assert said in str(caught.value)
    assert "b.jsonl:2:" in str(caught.value)
    assert "b.jsonl:3:" in str(caught.value)


@pytest.mark.parametrize("text", ["", "{}", "hello", '{"schema": "feedwright.baseline/2"}', "[" * 100_000])
def test_another_file_is_refused(text: str) -> None:
    with pytest.raises(BaselineError, match="baseline create"):
        baseline.parse(text)


def test_disk_faults_are_told_and_leave_the_old_file(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(BaselineError, match="no such file"):
        baseline.load(file)
    file.write_bytes(b"\xff\xfe")
    with pytest.raises(BaselineError, match="not UTF-8"):
        baseline.load(file)
    baseline.save(file, [Entry("a", "plunge-feed", "1")])
    before = file.read_bytes()

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BaselineError, match="disk is full"):
        baseline.save(file, [])
    assert file.read_bytes() == before
    assert [p.name for p in file.parent.iterdir()] == [file.name]
