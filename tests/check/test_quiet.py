"""Right programs that look wrong: no error and no warning, with full inputs and with none.

The forms are those met in real programs of many origins; the programs here are made up.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from advisor.check import check_program
from advisor.findings import ProgramReport
from advisor.values import Setting
from tests.rules.setting import default, of_program

PASS = "G1 X26 Z-1.5 F800\nG1 X120 F1600\nG1 Y60\nG0 Z5\n"
LIFT = "G53 G0 Z0\n"
START = "S16000 M3\nG4 P5\n"

PROGRAMS = {
    "percent lines, program number, line numbers": (
        "%\nO0012 (HATCH)\nN10 G21 G90 G17 G40 G94\nN20 G53 G0 Z0\nN30 T1 M6\nN40 S16000 M3\nN50 G4 P5\nN60 G0 X20 Y20\n"
        "N70 G0 Z5\nN80 G1 X26 Z-1.5 F800\nN90 G1 X120 F1600\nN100 G0 Z15\nN110 M5\nN120 M30\n%\n"
    ),
    "small letters, no spaces, tabs, CR LF": (
        ("g21g90g17g40g94\ng53g0z0\nt1m6\ns16000m3\ng4p5\n\tg0x20y20\ng0z5\ng1x26z-1.5f800\ng1x120f1600\ng0z15\nm5\nm30\n")
        .replace("\n", "\r\n")
    ),
    "T as a note of what is in the spindle": (
        "G21 G90 G17 G40 G94\nT1 (6 mm cutter)\n" + LIFT + START + "G0 X20 Y20\nG0 Z5\n" + PASS + "G0 Z15\nM5\nM30\n"
    ),
    "M6 before T, T0 at the end": (
        "G21 G90 G17 G40 G94\n" + LIFT + "M6 T1\n" + START + "G0 X20 Y20\nG0 Z5\n" + PASS + "G53 G0 Z0\nM5\nT0 M6\nM30\n"
    ),
    "F on a rapid, F0 on a rapid": (
        "G21 G90 G17 G40 G94\n" + LIFT + "T1 M6\n" + START + "G0 X20 Y20 F3000\nG0 F0.000 Z5.000\n" + PASS + "G0 Z15\nM5\nM30\n"
    ),
    "zero-length moves and the same block twice": (
        "G21 G90 G17 G40 G94\n" + LIFT + "T1 M6\n" + START + "G0 X20 Y20\nG0 Z5\nG1 X26 Z-1.5 F800\nG1 X26 Z-1.5\n"
        "G1 X120 F1600\nG1 X120\nG1 X120\nG1 Y60\nG1 Y60\nG0 Z5\nG0 Z15\nM5\nM30\n"
    ),
    "G91.1 restates the default": (
        "G21 G90 G91.1 G17 G40 G94\n" + LIFT + "T1 M6\n" + START + "G0 X20 Y20\nG0 Z5\nG1 X26 Z-1.5 F800\n"
        "G3 X66 Y20 I20 J0 F1600\nG0 Z15\nM5\nM30\n"
    ),
    "cycle lines that hold only X and Y": (
        "G21 G90 G17 G40 G94\n" + LIFT + "T4 M6\nS8000 M3\nG4 P5\nG0 X30 Y30\nG0 Z5\nG99 G83 X30 Y30 Z-10 R2 Q5 F900\nX60\n"
        "X90 Y60\nG80\nG0 Z15\nM5\nM30\n"
    ),
    "return to reference by G28 in incremental": (
        "G21 G90 G17 G40 G94\nG91 G28 Z0\nG90\nT1 M6\n" + START + "G0 X20 Y20\nG0 Z5\n" + PASS + "M5\nG91 G28 Z0\nG28 X0 Y0\n"
        "G90\nM30\n"
    ),
    "length offset without Z, then Z": (
        "G21 G90 G17 G40 G49 G94\n" + LIFT + "T1 M6\nG43 H1\n" + START + "G0 X20 Y20\nG0 Z5\n" + PASS + "G53 G0 Z0\nM5\nM30\n"
    ),
    "parking far away at the end": (
        "G21 G90 G17 G40 G94\n" + LIFT + "T1 M6\n" + START + "G0 X20 Y20\nG0 Z5\n" + PASS + "G0 Z50\nM5\nG0 X0 Y800\nM30\n"
    ),
    "a long move in air between two works": (
        "G21 G90 G17 G40 G94\n" + LIFT + "T1 M6\n" + START + "G0 X20 Y20\nG0 Z5\n" + PASS + "G0 X250 Y150\n"
        "G1 X256 Z-1.5 F800\nG1 X280 F1600\nG0 Z15\nM5\nM30\n"
    ),
    "a comment with sizes of other things": (
        "(6 mm plywood, holes 10 mm, depth 8 mm)\n(T1 upcut 6 mm)\nG21 G90 G17 G40 G94\n" + LIFT + "T1 M6\n" + START
        + "G0 X20 Y20\nG0 Z5\n" + PASS + "G0 Z15\nM5\nM30\n"
    ),
    "a pass one and a half times as deep at the end": (
        "G21 G90 G17 G40 G94\n" + LIFT + "T1 M6\n" + START + "G0 X20 Y20\nG0 Z5\nG1 X60 Z-4 F1000\nG1 X20 F1600\nG1 X60 Z-10\n"
        "G1 X20\nG0 Z15\nM5\nM30\n"
    ),
    "feeds ten times apart for down and along": (
        "G21 G90 G17 G40 G94\n" + LIFT + "T1 M6\n" + START + "G0 X20 Y20\nG0 Z0.5\nG1 Z-1.5 F160\nG1 X120 F1600\n"
        "G0 Z15\nM5\nM30\n"
    ),
}  # fmt: skip
DEPTHS = {
    "a score, then the cut ten times as deep": (
        "G1 Z-0.5 F300\nG1 X60 F1200\nG0 Z5\nG0 X20\nG1 Z-5 F300\nG1 X60 F1200\n", False
    ),
    "a spot, then the hole ten times as deep": (
        "G81 X30 Y30 Z-1 R2 F300\nG80\nG0 Z20\nT4 M6\nG81 X30 Y30 Z-10 R2 F300\nG80\n", False
    ),
    "a point lost between two passes": ("G1 Z-2.5 F300\nG1 X60\nG1 Z-50\nG1 X20\nG1 Z-7.5\nG1 X60\n", True),
    "a point lost in the last pass": ("G1 Z-3.5 F300\nG1 X60\nG1 Z-70\nG1 X20\n", True),
}  # fmt: skip
BY_HAND = {
    "spindle started by hand": (
        "G21 G90 G17 G40 G94\nG0 Z5\nG0 X20 Y20\n" + PASS + "G0 Z15\nM30\n"
    ),
    "no units, no end, no tool": "G90\nG0 Z5\nG0 X20 Y20\n" + PASS + "G0 Z15\n",
}  # fmt: skip


def report(text: str, setting: Setting) -> ProgramReport:
    return check_program(text.encode(), path="p.ngc", setting=setting)


def alarms(found: ProgramReport) -> list[str]:
    return [f"{f.line} {f.rule}: {f.message}" for f in found.findings if f.severity != "note"]


@pytest.mark.parametrize("name", sorted(PROGRAMS))
def test_quiet_with_full_inputs(name: str) -> None:
    assert alarms(report(PROGRAMS[name], default())) == []


@pytest.mark.parametrize("name", sorted({**PROGRAMS, **BY_HAND}))
def test_quiet_with_no_inputs(name: str) -> None:
    found = report({**PROGRAMS, **BY_HAND}[name], Setting())
    assert alarms(found) == []
    assert found.not_checked


@pytest.mark.parametrize("name", sorted(BY_HAND))
def test_by_hand_is_one_note(name: str) -> None:
    setting = default()
    assert setting.machine is not None
    cutters = {}
    setting = replace(setting, cutters=cutters, any_cutter=default().cutters[1])
    found = report(BY_HAND[name], setting)
    assert alarms(found) == []
    told = [f for f in found.findings if f.rule == "spindle-off-in-cut"]
    assert [f.severity for f in told] == ["note"]
    by_hand = replace(setting, machine=replace(setting.machine, spindle_start="hand"))
    assert not [f for f in report(BY_HAND[name], by_hand).findings if f.rule == "spindle-off-in-cut"]


def test_settling_is_not_asked_of_spindles_that_wait() -> None:
    text = "G21 G90 G17 G40 G94\n" + LIFT + "T1 M6\nG0 X20 Y20\nG0 Z1\nS16000 M3\n" + PASS + "G0 Z15\nM5\nM30\n"
    setting = default()
    assert setting.machine is not None
    assert [f.rule for f in report(text, setting).findings if f.severity == "warning"] == ["spindle-no-settle"]
    waiting = replace(setting, machine=replace(setting.machine, spindle_start="interlock"))
    assert alarms(report(text, waiting)) == []


@pytest.mark.parametrize(
    ("setting_words", "tail"),
    [
        ("automatic", "G0 Z15\nM5\nT2 M6\nG43 H2\nS16000 M3\nG4 P5\nG0 X20 Y100\nG0 Z5\n"),
        ("hand", "G0 Z15\nM5\nT2 M6\nM0\nS16000 M3\nG4 P5\nG0 Z15\nG0 X20 Y100\nG0 Z5\n"),
        ("hand", "G0 Z15\nM5\nM0 (change to tool 2)\nT2\nS16000 M3\nG4 P5\nG0 X20 Y100\nG0 Z5\n"),
        ("hand", "G0 Z15\nM5\nT1 M6\nS16000 M3\nG4 P5\nG0 X20 Y100\nG0 Z5\n"),
    ],
)
def test_changes_done_well(setting_words: str, tail: str) -> None:
    setting = default()
    assert setting.machine is not None
    setting = replace(setting, machine=replace(setting.machine, change=setting_words))
    head = "G21 G90 G17 G40 G94\n" + LIFT + "T1 M6\n" + START + "G0 X20 Y20\nG0 Z5\n" + PASS
    second = "G1 X26 Z-1.5 F800\nG1 X120 F1600\nG1 Y140\nG0 Z5\nG0 Z15\nM5\nM30\n"
    assert alarms(report(head + tail + second, setting)) == []


MILL = """%
O1001 (PLATE)
N10 G20 G17 G40 G49 G80 G90
N20 T1 M6
N30 G54 G0 X.5 Y.5 S2500 M3
N40 G43 H1 Z1. M8
N50 G98 G81 Z-.1 R.1 F8.
N60 X3.5
N70 G80
N80 G0 Z1. M9
N90 G91 G28 Z0. M5
N100 G90
N110 M1
N120 T2 M6
N130 G54 G0 X-.3 Y1. S4000 M3
N140 G43 H2 Z1. M8
N150 G0 Z.1
N160 G1 Z-.05 F10.
N170 X4.3 F12.
N180 G0 Z1. M9
N190 G91 G28 Z0. M5
N200 G28 X0. Y0.
N210 G90
N220 M30
%
"""


@pytest.mark.parametrize("offsets", [True, False])
def test_a_program_for_an_automatic_changer(offsets: bool) -> None:
    """X and Y right after M6, Z by the length offset, home in increments: the usual way on machining centres."""
    words = (
        "(setting: stock 101.6x50.8x9 aluminium-wrought, machine machining-centre, cutter T1 = drill-6mm, "
        "cutter T2 = endmill-metal-1-4in-3f, T1 stickout 40, T2 stickout 22)"
    )
    setting = of_program(words)
    found = report(MILL, setting if offsets else replace(setting, offsets={}))
    assert alarms(found) == []
    blind = {(n.rule, n.from_line, n.to_line) for n in found.not_checked if n.cause == "unknown-position"}
    assert ("rapid-into-stock", 5, 5) in blind  # the first rapid comes from where the changer left the tool
    assert all(line == 5 for _, line, _ in blind) and "plunge-feed" not in {rule for rule, _, _ in blind}


def test_without_a_machine_the_changer_is_not_guessed() -> None:
    found = report(MILL, Setting())
    assert alarms(found) == []
    asked = {(n.rule, n.cause) for n in found.not_checked}
    assert {("first-move-unsafe", "machine"), ("unsafe-tool-change", "machine")} <= asked


@pytest.mark.parametrize("name", sorted(DEPTHS))
def test_depths_are_compared_with_each_other_where_no_stock_is_given(name: str) -> None:
    cut, lost = DEPTHS[name]
    found = report("G21 G90 G17 G94\nG0 Z5\nG0 X20 Y20\nT1\n" + cut + "G0 Z15\nM30\n", Setting())
    assert ("missing-point" in {f.rule for f in found.findings}) is lost
    assert ("missing-point", "stock") in {(n.rule, n.cause) for n in found.not_checked}


MIXED = "G90 G17 G40 G94\nG53 G0 Z0\nT1 M6\nS16000 M3\nG4 P5\nG0 X20 Y20\nG0 Z5\n" + PASS + "G0 X40 Y90\nG1 X60 Z-1.5 F800\n"


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("G20 " + MIXED + "G0 Z15\nM5\nM30\n", True),  # millimetres, read as inches
        ("G21 " + MIXED + "G0 Z15\nM5\nM30\n", False),
        ("G21 " + MIXED + "G1 X9000\nG0 Z15\nM5\nM30\n", False),  # one wrong point is no wrong unit
        ("G21 " + MIXED + "G0 Z5\nG81 X50 Y50 Z-150 R2 F800\nX60\nX70\nX80\nG80\nG0 Z15\nM5\nM30\n", False),
    ],
)
def test_mixed_units_are_told_from_single_wrong_values(text: str, found: bool) -> None:
    told = [f for f in report(text, default()).findings if f.rule == "unit-mix-up"]
    assert bool(told) is found
    assert all(f.line == 1 for f in told)


@pytest.mark.parametrize(
    ("cut", "line", "word"),
    [
        ("G1 X26 Z-2 F800\nG1 X60 F1600\nG0 Z5\nG0 X20 Y40\nG1 X26 Z2 F800\nG1 X60 F1600\n", 12, "sign"),
        ("G1 X26 Z-2 F800\nG1 X60 F1600\nG1 X650\nG1 Y40\n", 10, "decimal point"),
        ("G1 X80 Z-2 F800\nG1 Y60 F1600\nG1 X-82\nG1 X84 Y30\nG1 X90\n", 10, "sign"),
        ("G1 X26 Z-2 F800\n" + "".join(f"G1 X{x} F1600\n" for x in (30, 40, 50, 60)) + "G1 X70 F16000\n", 13, ""),
    ],
)
def test_lost_points_and_signs(cut: str, line: int, word: str) -> None:
    text = "G21 G90 G17 G40 G94\n" + LIFT + "T1 M6\n" + START + "G0 X20 Y20\nG0 Z5\n" + cut + "G0 Z15\nM5\nM30\n"
    told = [f for f in report(text, default()).findings if f.rule == "missing-point"]
    if not word:  # a feed beyond the machine is told by feed-over-machine
        assert told == []
        assert "feed-over-machine" in {f.rule for f in report(text, default()).findings}
    else:
        assert [(f.line, word in f.message) for f in told] == [(line, True)], [f.message for f in told]
