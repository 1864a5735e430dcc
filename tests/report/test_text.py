"""The page for people: its order, its words, its width."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.findings import ProgramReport, Report
from advisor.report import text
from advisor.report.common import against, counts, headline, number, rounded
from advisor.report.layout import cells, wrap, write
from tests.report.samples import BAD, CLEAN, CRASH, EMPTY, ERROR, LOOKED, MISSING, NOTE, REPORT, WARNING


def page(program: ProgramReport, **options: object) -> str:
    return text.render(Report(version="0", programs=(program,)), **options)  # type: ignore[arg-type]


def test_the_page_in_the_order_a_tired_operator_needs() -> None:
    """Counts, card, errors in the order of the program, not checked, warnings, notes, figures, caution."""
    shown = page(BAD)
    marks = [
        "side-1/hatch ring.ngc\n1 CRASH, 1 ERROR, 1 warning, 1 note, 1 allowed, 2 NOT CHECKED\n",
        "Set-up: compare with the machine",
        "lowest Z          -18.4 mm",
        "first moves       G0 Z5\n",
        "Errors, in the order of the program",
        "side-1/hatch ring.ngc:3:4: ERROR no-feed\n",
        "side-1/hatch ring.ngc:27:1: CRASH rapid-into-stock\n    rapid move runs 3 mm deep through stock\n",
        "    block: N270 G0 X10 Y5 (over to the rim)\n    at X10 Y5 Z-3; measured 3 mm, limit 0 mm\n    why: a rapid",
        "    mend: lift Z above the stock before this move\n    care: stand clear of the cutter's plane\n",
        "NOT CHECKED (2 rules)",
        "  no material given\n    chip-too-thin, power-over-limit\n    to have it checked: give [stock]",
        "Warnings (1)",
        "at X1 Y? Z-2",
        "Notes (1)",
        "Assumed",
        "  time: 14.2 min in all, 11 cutting, 1.9 rapid, 1.3 feeding through air\n  removed: 310.5 cm3\n",
        "This is advice computed from",
    ]
    places = [shown.find(mark) for mark in marks]
    assert -1 not in places, marks[places.index(-1)]
    assert places == sorted(places)


@pytest.mark.parametrize("programs", [(BAD,), (CLEAN,), (LOOKED,), (BAD, CLEAN, LOOKED), ()])
def test_no_word_of_comfort(programs: tuple[ProgramReport, ...]) -> None:
    for full in (None, True, False):
        shown = text.render(Report(version="0", programs=programs), full=full)
        assert not re.search(r"\b(ok|okay|safe|fine|clean program|passed|success\w*|good)\b", shown, re.IGNORECASE)
        for line in shown.splitlines():
            if "no findings" in line.lower():
                assert re.search(r"\d+ not checked", line, re.IGNORECASE)


def test_no_findings_never_stands_without_the_count_of_what_was_not_checked() -> None:
    assert headline(counts([CLEAN])) == "no findings, 1 NOT CHECKED"
    assert headline(counts([LOOKED])) == "no findings, 0 not checked"
    assert "A report without findings says only that" in page(CLEAN)
    assert "0 programs: nothing was checked" in text.render(EMPTY)


def test_a_rule_that_could_not_look_at_two_places_counts_once() -> None:
    twice = replace(CLEAN, not_checked=(MISSING, replace(MISSING, from_line=5, to_line=5)))
    assert counts([twice]).not_checked == 1
    assert "(lines 1 to 812)" in page(twice)
    whole = replace(twice, summary={"blocks": 812})
    assert "812)" not in page(whole)  # the whole program needs no lines


def test_the_list_of_a_folder() -> None:
    shown = text.render(REPORT, width=100)
    total = "3 programs: 1 CRASH, 1 ERROR, 1 warning, 1 note, 1 allowed, 3 NOT CHECKED"
    lines = shown.splitlines()
    assert lines[0] == total
    assert lines.count(total) == 2
    assert "pad-2.ngc: no findings, 0 not checked" in lines
    assert "  not checked for want of material in 2 programs: give [stock] material in the shop file" in shown
    assert "Set-up" not in shown
    assert "Set-up" in text.render(REPORT, full=True)


def test_a_file_nobody_looked_at_does_not_bury_the_rest_under_names() -> None:
    names = [f"rule-{i}" for i in range(65)]
    unseen = tuple(replace(MISSING, rule=name, cause="not-a-program", reason="the file is not a program") for name in names)
    nothing = replace(BAD, findings=(replace(ERROR, rule="not-a-program"),), not_checked=unseen)
    for full in (True, False):
        shown = page(nothing, full=full)
        assert "all 65 rules that look into programs" in shown
        assert "rule-7" not in shown
    listed = page(replace(nothing, findings=(ERROR,)), full=True)
    assert all(name in listed for name in names)
    two = replace(nothing, path="z.nc")
    assert "not checked as the file is no program in 2 programs" in text.render(Report(version="0", programs=(nothing, two)))


def test_two_reasons_that_stop_the_same_rules_name_them_once() -> None:
    more = replace(MISSING, cause="unknown-position", reason="the position is not known")
    shown = page(replace(CLEAN, not_checked=(MISSING, more)), full=False, width=200)
    assert f"not checked: {MISSING.reason}; the position is not known: {MISSING.rule}\n" in shown


def test_allowed_findings_are_counted_and_told_on_request() -> None:
    assert "opened hole" not in page(BAD)
    shown = page(BAD, show_suppressed=True)
    assert "Allowed (1): found, and put aside by somebody's decision" in shown
    assert "side-1/hatch ring.ngc:5:1: plunge-feed (program): opened hole" in shown


def test_many_alike_are_counted_with_their_lines() -> None:
    notes = tuple(replace(NOTE, line=n, fingerprint=str(n)) for n in range(1, 9))
    warnings = tuple(replace(WARNING, line=n, fingerprint=str(n)) for n in range(1, 7))
    errors = tuple(replace(ERROR, line=n, fingerprint=str(n)) for n in range(100, 1100))
    for full in (True, False):
        shown = page(replace(BAD, findings=errors + warnings + notes), full=full, width=100)
        assert "note no-program-end: 5 more at lines 4, 5, 6, 7, 8\n" in shown
        assert "hatch ring.ngc:6:1:" in shown  # a sixth warning alone is told rather than counted
        assert "ERROR no-feed: 950 more at lines 150, 151" in shown
        assert "and 910 further on" in shown.replace("\n    ", " ")
        assert shown.count("mend: add F") == 50
        assert shown.count("care: check the feed before starting") == 1
    assert counts([replace(BAD, findings=errors)]).errors == 1000


@pytest.mark.parametrize("width", [40, 60, 80, 120])
@pytest.mark.parametrize("full", [True, False])
def test_lines_keep_to_the_width_and_places_stay_whole(width: int, full: bool) -> None:
    shown = text.render(REPORT, width=width, full=full, show_suppressed=True)
    for line in shown.splitlines():
        assert cells(line) <= width or " " not in line.strip(), line
    assert page(replace(BAD, path="a/" * 60 + "x.ngc")).count("a/" * 60 + "x.ngc:27:1:") == 1


def test_every_finding_has_a_place_editors_can_link() -> None:
    places = re.findall(r"^ *side-1/hatch ring\.ngc:(\d+):(\d+):", page(BAD, width=200), re.MULTILINE)
    assert sorted((int(a), int(b)) for a, b in places) == [(3, 4), (9, 1), (27, 1), (40, 1)]


def test_plain_ascii() -> None:
    signs = replace(BAD, findings=(replace(CRASH, message="3 × 7 mm ≥ 2° … ü 木"),))
    assert page(signs, plain_ascii=True).isascii()
    assert "3 x 7 mm >= 2 deg ... \\xfc \\u6728" in page(signs, plain_ascii=True)
    assert "3 × 7 mm ≥ 2° … ü 木" in page(signs)


def test_colour_never_speaks_alone() -> None:
    """Without its colours the coloured page is the plain one: every meaning is in the words."""
    for full in (True, False):
        coloured = text.render(REPORT, colour=True, full=full)
        assert re.search("\x1b\\[[0-9;]*38;5;166m", coloured)
        assert re.sub("\x1b\\[[0-9;]*m", "", coloured) == text.render(REPORT, full=full)
        assert "1 CRASH, 1 ERROR, 1 warning" in coloured  # one run of colour, not one for each word
        for line in coloured.splitlines():
            assert line.count("\x1b[0m") * 2 == line.count("\x1b[")


def test_the_card_says_how_low_it_goes_and_what_each_tool_needs() -> None:
    card = {
        "datum": "G54: lowest X, lowest Y, on the stock's top",
        "zero": [0.0, 0.0, 18.0],
        "stock": {"material": None, "size": [300.0, 200.0, 18.0], "thickness": [17.1, 18.1], "assumed": True},
        "tools": [
            {"tool": 1, "cutter": "endmill", "diameter": 6.0, "stickout": 30.0, "stickout_needed": 24.0},
            {"tool": None, "cutter": None, "lowest_z": -1.0},
        ],
        "box": {"min": {"x": 0, "y": None, "z": -0.4}, "max": {"x": 300, "y": None, "z": 15}},
        "lowest_z": -0.4,
        "below_stock": 0.4,
        "first_moves": ["line 3: rapid to Z15"],
        "left_over": ["G91 incremental distance"],
        "made up later": {"b": 1, "a": [1, 2]},
    }
    shown = page(replace(CLEAN, setup=card), width=120)
    for line in (
        "program zero X0 Y0 Z18 mm from the stock's lowest corner",
        "material not given, 300 x 200 x 18 mm, measured 17.1 to 18.1 mm thick, ASSUMED from the extents of the cut",
        "T1, endmill, diameter 6, stick-out 30, stick-out needed 24",
        "T not named, cutter NOT KNOWN, lowest Z -1 mm",
        "X 0 to 300, Y ? to ?, Z -0.4 to 15 mm",
        "-0.4 mm: 0.4 mm below the stock's bottom",
        "left on at the end G91 incremental distance",
        "a: 1, 2",
    ):
        assert line in re.sub(r"\s+", " ", shown)
    assert "0.4 mm above the stock's bottom" in page(
        replace(CLEAN, setup={**card, "lowest_z": 0.4, "below_stock": 0.0}), width=120
    )


# --- the small parts -------------------------------------------------------------------------------------------------


def test_numbers_for_people() -> None:
    assert [number(v) for v in (0.0, -0.0, 1.0, 1.23456, -0.0001, 1e6, None, float("nan"))] == [
        "0",
        "0",
        "1",
        "1.235",
        "0",
        "1000000",
        "?",
        "?",
    ]
    assert number(14.26, 1) == "14.3"
    assert against(replace(CRASH, limit=None, unit="")) == "measured 3"
    assert against(replace(CRASH, measured=float("nan"))) == "limit 0 mm"


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e9, max_value=1e9))
def test_rounding_to_six_decimals(value: float) -> None:
    assert abs(rounded(value) - value) <= 0.5000001e-6 + abs(value) * 1e-15
    assert str(rounded(value)) != "-0.0"


WORDS = st.text(st.sampled_from("ab 木é\u0301🚣-"), max_size=60)


@given(st.lists(st.tuples(WORDS, st.sampled_from(["", "error"])), max_size=4), st.integers(20, 50), WORDS)
def test_wrapping_keeps_every_word_and_the_width(spans: list[tuple[str, str]], width: int, lead: str) -> None:
    lead = lead[:4]
    lines = wrap(spans, width, lead, "  ")
    shown = ["".join(t for t, _ in line) for line in lines]
    whole = "".join(t for t, _ in spans).replace(" ", "")
    assert shown[0].startswith(lead)
    flat = shown[0][len(lead) :] + "".join(line.removeprefix("  ") for line in shown[1:])
    assert flat.replace(" ", "") == whole
    for line in shown[1:]:
        assert cells(line) <= width
    if " " in shown[0][len(lead) :].strip():
        assert cells(shown[0].rstrip()) <= width or cells(shown[0].split(" ")[0]) > width - 8


def test_nothing_acts_in_a_line_whoever_made_it() -> None:
    lines = wrap([("a\x1b[1m b\nc", "")], 20, "\x1b[2J", "\u202e")
    assert "\x1b" not in write(lines)
    assert "\u202e" not in write(lines)


def test_a_defused_line_is_written_without_colour() -> None:
    assert write([(("::error::x", "error"),)], colour=True) == "\\::error::x\n"
