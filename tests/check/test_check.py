"""The pipeline: severities, what is missing, allowances, failures, fingerprints, the card and the summary."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import advisor.check as check_module
from advisor.check import check_program
from advisor.evidence import Evidence
from advisor.findings import Finding, ProgramReport
from advisor.rules import book, page
from advisor.rules.base import Rule, merge_runs
from advisor.values import Setting
from tests.rules.setting import default
from tests.timing.test_timing import path

HEAD = "G21 G90 G17 G40 G94\nG53 G0 Z0\nT1 M6\nS16000 M3\nG4 P5\nG0 X20 Y20\nG0 Z5\n"
CUT = "G1 X26 Z-1.5 F800\nG1 X120 F1600\nG1 Y60\n"
TAIL = "G0 Z15\nM5\nM30\n"
GOOD = HEAD + CUT + TAIL
SPOILED = HEAD + CUT + "G1 X30 X40\n" + TAIL  # line 11: repeated-word
BARE = Setting()


def report(text: str | bytes, setting: Setting | None = None, **more: object) -> ProgramReport:
    data = text if isinstance(text, bytes) else text.encode()
    return check_program(data, path="p.ngc", setting=default() if setting is None else setting, **more)  # type: ignore[arg-type]


def rules_of(found: ProgramReport) -> list[str]:
    return [f.rule for f in found.findings]


def checks(setting: Setting, **values: object) -> Setting:
    return replace(setting, checks=replace(setting.checks, **values))


def only(name: str, **values: object) -> list[Rule]:
    return [replace(book()[name], **values)]


# ---- what can't be looked at ----------------------------------------------------------------------------------------


def test_without_any_setting_nothing_passes_for_looked_at() -> None:
    found = report(GOOD, BARE)
    causes = {n.rule: n.cause for n in found.not_checked}
    for name, rule in book().items():
        missing = {"stock", "cutter", "material", "machine", "travel", "offsets", "engagement"} & set(rule.needs)
        if missing:
            assert name in causes and name not in found.rules_looked
    assert causes["outside-travel"] == "machine"
    assert causes["spindle-out-of-range"] == "machine"
    assert all(n.from_line == 1 and n.to_line == 13 for n in found.not_checked if n.rule == "outside-travel")


def test_the_reason_names_what_to_give() -> None:
    found = report(GOOD, BARE)
    stock = next(n for n in found.not_checked if n.cause == "stock")
    assert "[stock]" in stock.reason and "--assume-stock" in stock.reason


def test_travel_without_offsets_compares_spans_only() -> None:
    setting = replace(default(), offsets={})
    assert "outside-travel" in report(GOOD, setting).rules_looked
    far = report(GOOD.replace("X120", "X1300"), setting)
    assert ("outside-travel", 9) in [(f.rule, f.line) for f in far.findings]


def test_one_unknown_cutter_is_told_at_its_own_lines() -> None:
    text = HEAD + CUT + "G0 Z30\nM5\nT17 M6\nM0\nS16000 M3\nG4 P5\nG0 Z30\nG0 X20 Y90\nG0 Z5\nG1 X60 Z-1 F800\nG1 X90\n" + TAIL
    found = report(text)
    lines = {(n.from_line, n.to_line) for n in found.not_checked if n.cause == "cutter"}
    assert lines == {(20, 21)}
    assert "cutter-over-speed" in found.rules_looked


def test_a_block_that_cannot_be_followed_is_a_gap() -> None:
    found = report(HEAD + CUT + "G77 X5\nG1 Y70\nG0 Z5\nG0 X20 Y20\n" + TAIL)
    assert ("unknown-code", 11) in [(f.rule, f.line) for f in found.findings]
    gaps = [n for n in found.not_checked if n.cause == "unknown-code"]
    assert {n.rule for n in gaps} >= {"outside-travel"}
    assert all(n.from_line >= 11 for n in gaps)


def test_required_rules_that_could_not_look_are_findings() -> None:
    found = report(GOOD, checks(BARE, require=("rapid-into-stock", "no-such-rule", "no-feed")))
    told = [f for f in found.findings if f.rule == "required-not-checked"]
    assert len(told) == 2 and all(f.severity == "error" for f in told)
    assert any("rapid-into-stock" in f.message and "no stock" in f.message for f in told)
    assert any("does not exist" in f.message for f in told)


def test_the_first_rapid_from_the_changer_does_not_break_a_requirement() -> None:
    text = "G21 G90 G17 G40 G94\nT1 M6\nS16000 M3\nG4 P5\nG0 X20 Y20\nG0 Z5\n" + CUT + TAIL
    setting = default()
    assert setting.machine is not None
    setting = checks(replace(setting, machine=replace(setting.machine, change="automatic")), require=("rapid-into-stock",))
    found = report(text, setting)
    assert ("rapid-into-stock", "unknown-position", 5) in {(n.rule, n.cause, n.from_line) for n in found.not_checked}
    assert "required-not-checked" not in rules_of(found)


def test_a_rule_turned_off_is_not_looked_at_and_told() -> None:
    found = report(SPOILED, checks(default(), severity={"repeated-word": "off"}))
    assert "repeated-word" not in rules_of(found)
    assert ("repeated-word", "off") in {(n.rule, n.cause) for n in found.not_checked}


@pytest.mark.parametrize("severity", ["error", "warning", "note"])
def test_severity_is_the_shops(severity: str) -> None:
    found = report(SPOILED, checks(default(), severity={"repeated-word": severity}))
    assert [f.severity for f in found.findings if f.rule == "repeated-word"] == [severity]


# ---- failures -------------------------------------------------------------------------------------------------------


def broken(evidence: Evidence) -> Iterator[Finding]:
    yield Finding(rule="no-feed", message="before", block=0)
    raise ZeroDivisionError("planted")


def test_a_rule_that_raises_is_a_finding_and_the_others_go_on() -> None:
    rules = [*only("no-feed", check=broken), *only("repeated-word")]
    found = report(SPOILED, rules=rules)
    assert rules_of(found).count("internal-error") == 1
    error = next(f for f in found.findings if f.rule == "internal-error")
    assert "no-feed" in error.message and "planted" in error.message and error.severity == "error"
    assert "repeated-word" in rules_of(found)
    assert "no-feed" not in found.rules_looked
    assert ("no-feed", "internal-error") in {(n.rule, n.cause) for n in found.not_checked}


def test_the_same_failure_of_many_rules_is_one_finding() -> None:
    rules = [replace(book()[name], check=broken) for name in ("no-feed", "bad-value", "missing-word")]
    found = report(GOOD, rules=rules)
    errors = [f for f in found.findings if f.rule == "internal-error"]
    assert len(errors) == 1
    assert all(name in errors[0].message for name in ("no-feed", "bad-value", "missing-word"))


def test_a_reader_that_raises_is_not_a_clean_report(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*args: object) -> None:
        raise RuntimeError("planted in the reader")

    monkeypatch.setattr(check_module, "_read", fail)
    found = report(GOOD)
    assert rules_of(found) == ["internal-error"]
    assert found.rules_looked == ()
    assert {n.rule for n in found.not_checked} >= {"no-feed", "rapid-into-stock"}


def test_internal_error_cannot_be_turned_off_or_allowed() -> None:
    setting = checks(default(), severity={"internal-error": "off"})
    setting = replace(setting, allowances=(("internal-error", "no"),))
    assert "internal-error" in rules_of(report(GOOD, setting, rules=only("no-feed", check=broken)))


def test_findings_past_the_bound_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check_module, "MOST_PER_RULE", 3)
    found = report(HEAD + "G1 X30 X40 F500\n" * 10 + TAIL)
    told = [f for f in found.findings if f.rule == "repeated-word"]
    assert len(told) == 3 and "7 more" in told[-1].message


# ---- bytes that are no program --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n\n  \r\n",
        b"\x00" * 100,
        b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 10,
        bytes(range(256)) * 40,
        "G0 X1\n".encode("utf-16"),
        b"%PDF-1.7\n",
        b"Dear all, see you on the slipway at nine.\n",
        b"(only a comment)\n",
    ],
)
def test_not_a_program(data: bytes) -> None:
    found = report(data)
    assert "not-a-program" in rules_of(found)
    assert all(f.severity == "error" for f in found.findings if f.rule == "not-a-program")
    assert found.rules_looked == ()
    assert {n.rule for n in found.not_checked} >= {"no-feed", "rapid-into-stock"}


def test_paper_tape_leader_is_not_binary() -> None:
    assert "not-a-program" not in rules_of(report(b"\x00" * 200 + b"\r\n" + GOOD.encode() + b"\x00" * 200))


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_end_in_a_report(data: bytes) -> None:
    found = report(data)
    assert not [f for f in found.findings if f.rule == "internal-error"]
    assert found.findings or found.not_checked


# ---- allowances -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("comment", ["({})", "; {}", "// {}"])
def test_an_allowance_puts_aside_its_finding_on_its_block(comment: str) -> None:
    words = comment.format("feedwright: allow repeated-word because the old control wants it")
    found = report(SPOILED.replace("G1 X30 X40", f"G1 X30 X40 {words}"))
    assert "repeated-word" not in rules_of(found)
    assert [(s.finding.rule, s.finding.line, s.reason, s.kind) for s in found.suppressed] == [
        ("repeated-word", 11, "the old control wants it", "program")
    ]
    assert "unused-allowance" not in rules_of(found)


@pytest.mark.parametrize(
    ("words", "line", "message"),
    [
        ("feedwright: allow repeated-word", 11, "no reason"),
        ("feedwright: allow repeated-words because of it", 11, "no rule named"),
        ("feedwright: allow internal-error because of it", 11, "can't be allowed"),
        ("feedwright: please", 11, "allow RULE because REASON"),
        ("feedwright: allow no-feed because of it", 11, "not used"),
    ],
)
def test_allowances_that_do_not_count(words: str, line: int, message: str) -> None:
    found = report(SPOILED.replace("G1 X30 X40", f"G1 X30 X40 ({words})"))
    assert "repeated-word" in rules_of(found)
    told = [f for f in found.findings if f.rule == "unused-allowance"]
    assert [(f.line, f.severity) for f in told] == [(line, "warning")]
    assert message in told[0].message


def test_an_allowance_on_another_block_does_not_count() -> None:
    found = report(SPOILED.replace("G1 Y60", "G1 Y60 (feedwright: allow repeated-word because of it)"))
    assert "repeated-word" in rules_of(found) and "unused-allowance" in rules_of(found)


def test_allowance_of_a_rule_that_could_not_look_is_not_called_unused() -> None:
    text = GOOD.replace("G1 Y60", "G1 Y60 (feedwright: allow rapid-into-stock because of it)")
    assert "unused-allowance" not in rules_of(report(text, BARE))


def test_allowances_of_the_shop_file() -> None:
    found = report(SPOILED, replace(default(), allowances=(("repeated-word", "proven on this control"),)))
    assert [(s.finding.rule, s.kind) for s in found.suppressed] == [("repeated-word", "shop-file")]


def test_in_strict_a_semicolon_is_no_comment() -> None:
    from advisor.allowances import allowances_in

    data = b"G1 X1 ; feedwright: allow no-feed because of it\n(feedwright: allow no-feed because of it)\r\n"
    assert [a.line for a in allowances_in(data, dialect="strict")] == [2]
    assert [a.line for a in allowances_in(data)] == [1, 2]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_allowance_lines_with_every_line_end(end: str) -> None:
    from advisor.allowances import allowances_in

    data = f"(one){end}{end}(feedwright: allow no-feed because a){end}X1 (feedwright: allow no-feed because b)".encode()
    assert [(a.line, a.reason) for a in allowances_in(data)] == [(3, "a"), (4, "b")]


# ---- fingerprints and order -----------------------------------------------------------------------------------------


def prints(found: ProgramReport) -> list[tuple[str, str]]:
    return [(f.rule, f.fingerprint) for f in found.findings if f.severity != "note"]


def test_fingerprints_survive_numbers_spaces_case_comments_and_shifts() -> None:
    before = prints(report(SPOILED))
    assert before
    numbered = "".join(f"N{10 * (i + 1)} {line}\n" for i, line in enumerate(SPOILED.splitlines()))
    squeezed = SPOILED.replace(" ", "")
    small = SPOILED.lower()
    spoken = "".join(f"{line} (said {i})\n" for i, line in enumerate(SPOILED.splitlines()))
    shifted = "(a new head)\n(of two lines)\n" + SPOILED
    for text in (numbered, squeezed, small, spoken, shifted, SPOILED.replace("\n", "\r\n")):
        assert prints(report(text)) == before


def test_equal_blocks_get_their_own_fingerprints() -> None:
    found = report(HEAD + "G1 X30 X40 F500\n" * 5 + TAIL)
    told = [f.fingerprint for f in found.findings if f.rule == "repeated-word"]
    assert len(told) == 5 == len(set(told))


def test_fingerprints_do_not_hang_on_measured_values() -> None:
    deep = HEAD + CUT + "G0 X1300\n" + TAIL
    setting = default()
    assert setting.machine is not None and setting.machine.travel is not None
    travel = {**setting.machine.travel, "x": (0.0, 1100.0)}
    other = replace(setting, machine=replace(setting.machine, travel=travel))
    one = [f for f in report(deep, setting).findings if f.rule == "outside-travel"]
    two = [f for f in report(deep, other).findings if f.rule == "outside-travel"]
    assert one[0].limit != two[0].limit and one[0].fingerprint == two[0].fingerprint


def test_findings_are_sorted_and_the_report_repeats() -> None:
    text = HEAD + "G1 X30 X40 F500\nG77\nG1 X10 Q5\nG0 X1300\n" + TAIL
    first, second = report(text), report(text)
    keys = [(f.line, f.column, f.rule, f.fingerprint) for f in first.findings]
    assert keys == sorted(keys) and len(keys) >= 3
    assert first == second
    assert first.blocks_text[8] == "G1 X30 X40 F500"


# ---- helpers --------------------------------------------------------------------------------------------------------


def test_merge_runs() -> None:
    runs = merge_runs([3, 4, 5, 9, 10, 12], [1, 7, 2, 5, 5, 1])
    assert [(r.first, r.last, r.worst) for r in runs] == [(0, 2, 1), (3, 4, 3), (5, 5, 5)]
    assert merge_runs([], []) == []
    keyed = merge_runs([1, 2, 3], [1, 1, 1], keys=["a", "a", "b"])
    assert [(r.first, r.last) for r in keyed] == [(0, 1), (2, 2)]


@given(st.lists(st.integers(0, 60), max_size=40).map(sorted), st.integers(1, 3))
def test_merge_runs_cover_every_row_once(blocks: list[int], gap: int) -> None:
    runs = merge_runs(blocks, [float(b % 7) for b in blocks], gap=gap)
    rows = [i for run in runs for i in range(run.first, run.last + 1)]
    assert rows == list(range(len(blocks)))
    for run in runs:
        assert run.first <= run.worst <= run.last
    for a, b in pairwise(runs):
        assert blocks[b.first] - blocks[a.last] > gap


def test_pages_and_unknown_names() -> None:
    assert page("no-feed").sections["Why it matters"]
    with pytest.raises(KeyError, match="did you mean no-feed"):
        page("no-fed")


# ---- card and summary -----------------------------------------------------------------------------------------------


def test_card_and_summary_of_a_known_program() -> None:
    found = report(GOOD)
    card, summary = found.setup, found.summary
    assert card["datum"] == "G54: lowest X, lowest Y, on the stock's top"
    assert card["lowest_z"] == pytest.approx(16.5)
    assert card["below_stock"] == 0.0
    assert card["stickout_needed"] == {"1": pytest.approx(4.5)}
    assert card["stock"]["size"] == [300.0, 200.0, 18.0]
    assert card["first_moves"][0].startswith("line 2: rapid to X unknown Y unknown Z")
    assert card["first_moves"][1:] == ["line 6: rapid to X20 Y20 Z110", "line 7: rapid to X20 Y20 Z23"]
    assert card["left_over"] == []
    assert [(t["tool"], t["cutter"]) for t in card["tools"]] == [(1, "endmill-upcut-6mm-2f")]
    assert summary["blocks"] == 13 and summary["tools"] == [1]
    assert summary["extent"]["min"]["x"] == pytest.approx(20.0)
    assert summary["extent"]["max"]["x"] == pytest.approx(120.0)
    assert summary["extent"]["max"]["y"] == pytest.approx(60.0)
    parts = summary["cutting_minutes"] + summary["rapid_minutes"] + summary["air_cut_minutes"]
    assert summary["minutes"] == pytest.approx(parts + 5 / 60, rel=1e-9)
    groove = 94 + 40 + 6 * 0.5  # mm at 1.5 mm deep, the ramp at half of it
    assert summary["removed_cm3"] == pytest.approx((groove * 6 * 1.5 + math.pi * 9 * 1.5) / 1000, rel=0.03)


def test_extent_holds_the_whole_arc() -> None:
    found = report(HEAD + "G1 Z1 F800\nG3 X20 Y20 I15 J0 F1500\n" + TAIL)
    extent = found.summary["extent"]
    assert extent["max"]["x"] == pytest.approx(50.0)
    assert (extent["min"]["y"], extent["max"]["y"]) == (pytest.approx(5.0), pytest.approx(35.0))


@settings(max_examples=50, deadline=None)
@given(
    st.sampled_from([17, 18, 19]),
    st.floats(-math.pi, math.pi),
    st.floats(0.05, 2 * math.pi),
    st.booleans(),
    st.floats(0.5, 50),
)
def test_arc_boxes_against_sampled_points(plane: int, begin: float, sweep: float, ccw: bool, radius: float) -> None:
    from advisor.setup_card import boxes
    from advisor.timing import FIRST, SECOND

    turn = sweep if ccw else -sweep
    a, b = FIRST[plane], SECOND[plane]
    angles = begin + turn * np.linspace(0, 1, 4001)
    points = np.zeros((4001, 3))
    points[:, a], points[:, b] = radius * np.cos(angles), radius * np.sin(angles)
    low, high = boxes(path([points[0], points[-1]], arcs=[(0, (0, 0, 0), turn, plane)]))
    assert np.allclose(low[0], points.min(axis=0), atol=radius * 2e-6)
    assert np.allclose(high[0], points.max(axis=0), atol=radius * 2e-6)


def test_zero_on_the_table_is_asked_for() -> None:
    on_table = HEAD.replace("G0 Z5", "G0 Z25") + "G1 X26 Z15 F800\nG1 X120 F1600\nG1 Z0.2 F300\nG1 Y60 F1600\nG0 Z30\nM5\nM30\n"
    question = "program zero seems to be on the table"
    assert question in report(on_table).setup["zero_question"]
    assert any(question in n.reason for n in report(on_table, BARE).not_checked if n.cause == "stock")
    assert report(GOOD).setup["zero_question"] is None
    setting = default()
    assert setting.workpiece is not None
    declared = replace(setting, workpiece=replace(setting.workpiece, zero=(0.0, 0.0, 0.0)))
    assert report(on_table, declared).setup["zero_question"] is None


@pytest.mark.parametrize(
    ("cut", "severity"),
    [
        ("G1 X3 Z-.06 F60\nG1 X9\nG1 Y7\n", "warning"),  # 9 by 7 mm or 229 by 178 mm on a sheet of 300 by 200 mm
        ("G1 X26 Z-1.5 F800\nG1 X120\n", "note"),  # 120 inches would not fit
        ("G1 X3 Z-.06 F6000\nG1 X9\nG1 Y7\n", "note"),  # 6000 inches a minute neither
    ],
)
def test_units_not_stated_warns_where_both_units_fit(cut: str, severity: str) -> None:
    text = "G90 G17 G40 G94\nG53 G0 Z0\nT1 M6\nS16000 M3\nG4 P5\nG0 X1 Y1\nG0 Z.6\n" + cut + TAIL
    found = report(text, rules=only("units-not-stated"))
    assert [(f.rule, f.severity, f.line) for f in found.findings] == [("units-not-stated", severity, 2)]


def test_card_says_units_and_hold() -> None:
    card = report(GOOD).setup
    assert card["units"] == "millimetres (G21)"
    assert card["hold"] == "screws; 4 places"
    assert report(GOOD.replace("G21 ", "")).setup["units"] == "not stated: read as millimetres"


def test_incremental_first_move_is_told_where_positions_are_not_known() -> None:
    found = report("G21 G91\nG0 X1\nG0 Z5\nG1 X1 F100\nM30\n")
    assert ("first-move-unsafe", 2) in [(f.rule, f.line) for f in found.findings]
    retracted = report("G21 G90\nG91 G28 Z0\nG90\nG0 X5 Y5\nG0 Z5\nM30\n")
    assert "first-move-unsafe" not in rules_of(retracted)


def test_left_over_modes() -> None:
    card = report(HEAD + CUT + "G0 Z15\nG91\nM8\n").setup
    assert card["left_over"] == ["G91 incremental distance", "spindle turning clockwise", "coolant on"]


def test_without_stock_what_is_unknown_is_null() -> None:
    summary = report(GOOD, BARE).summary
    assert summary["cutting_minutes"] is None and summary["removed_cm3"] is None and summary["minutes"] is None


def test_incremental_and_numbered_twins_agree() -> None:
    text = HEAD + CUT + "G0 Z5\nG0 X1300\nG0 X120\nM5\nG1 Z-1 F500\nG1 X150 F1600\n" + TAIL
    steps = HEAD + CUT + "G91\nG0 Z6.5\nG0 X1180\nG0 X-1180\nM5\nG1 Z-6 F500\nG1 X30 F1600\nG90\n" + TAIL
    numbered = "".join(f"N{5 * i} {line}\n" for i, line in enumerate(text.splitlines(), start=1))
    told = [(f.rule, f.line, f.severity, f.measured) for f in report(text).findings]
    assert {"outside-travel", "spindle-off-in-cut"} <= {rule for rule, *_ in told}
    assert [(f.rule, f.line, f.severity, f.measured) for f in report(numbered).findings] == told
    again = [(f.rule, f.line - 1, f.severity) for f in report(steps).findings]
    assert again == [(rule, line, severity) for rule, line, severity, _ in told]


def test_a_tool_nobody_described_still_needs_a_turning_spindle() -> None:
    text = HEAD + CUT + "G0 Z30\nM5\nT17 M6\nM0\nG4 P5\nG0 Z30\nG0 X20 Y90\nG0 Z5\nG1 X60 Z-1 F800\nG1 X90\n" + TAIL
    found = report(text)
    assert ("spindle-off-in-cut", 19) in [(f.rule, f.line) for f in found.findings]
    summary = found.summary
    assert summary["cutting_minutes"] + summary["air_cut_minutes"] + summary["rapid_minutes"] < summary["minutes"]


def test_strict_takes_no_relaxation() -> None:
    setting = checks(default(), dialect="strict")
    plain = report(GOOD, setting)
    assert not [f for f in plain.findings if f.rule == "internal-error"]
    assert plain.dialect == "strict"
    relaxed = report(GOOD.replace("G1 Y60", "G1 Y60 ; along"), setting)
    assert ("unreadable-block", "error") in [(f.rule, f.severity) for f in relaxed.findings]
    assert "unreadable-block" not in rules_of(report(GOOD.replace("G1 Y60", "G1 Y60 ; along")))


def test_inch_and_millimetre_twins_agree() -> None:
    inch = (
        "G20 G90 G17 G40 G94\nG53 G0 Z0\nT1 M6\nS16000 M3\nG4 P5\nG0 X1 Y1\nG0 Z.2\n"
        "G1 X1.25 Z-.06 F30\nG1 X4 F60\nG1 X60\nG0 Z.6\nM5\nM30\n"
    )
    millimetre = (
        "G21 G90 G17 G40 G94\nG53 G0 Z0\nT1 M6\nS16000 M3\nG4 P5\nG0 X25.4 Y25.4\nG0 Z5.08\n"
        "G1 X31.75 Z-1.524 F762\nG1 X101.6 F1524\nG1 X1524\nG0 Z15.24\nM5\nM30\n"
    )
    one, two = report(inch), report(millimetre)
    assert [(f.rule, f.line, f.severity) for f in one.findings] == [(f.rule, f.line, f.severity) for f in two.findings]
    assert any(f.rule == "outside-travel" for f in one.findings)
    for a, b in zip(one.findings, two.findings, strict=True):
        assert (a.measured is None) == (b.measured is None)
        if a.measured is not None and b.measured is not None:
            assert a.measured == pytest.approx(b.measured, abs=1e-6)
