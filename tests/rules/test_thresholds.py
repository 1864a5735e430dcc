"""Both sides of the thresholds of the rules on motion, against numbers worked out by hand.

Limits that are common practice, no source: up to 1.5 times the high end a warning, beyond an error. Programs begin with
``HEAD``, so the first line of a body is line 6. ``words`` are those of tests/rules/setting.py.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from advisor.check import check_program
from advisor.findings import Finding, ProgramReport
from advisor.rules import book
from advisor.values import Hold, Keepout, Setting
from tests.rules.setting import of_program

HEAD = "G21 G90 G17 G40 G49 G80 G94 G54\nG53 G0 Z0\nT{tool} M6\nS{rpm} M3\nG4 P5\n"
TAIL = "G0 Z30\nM5\nM30\n"
ALUMINIUM = "stock 300x200x18 aluminium-wrought"
STEEL = "stock 300x200x18 mild-steel"
ACRYLIC = "stock 300x200x18 acrylic"


def report(
    rule: str, body: str, *, words: str = "", rpm: int = 16000, tool: int = 1, setting: Setting | None = None
) -> ProgramReport:
    """What one rule says of a program."""
    text = HEAD.format(rpm=rpm, tool=tool) + body + TAIL
    if setting is None:
        setting = of_program(f"(setting: {words})" if words else "")
    return check_program(text.encode(), path="program.ngc", setting=setting, rules=[book()[rule]])


def found(rule: str, body: str, *, words: str = "", rpm: int = 16000, tool: int = 1) -> list[Finding]:
    """The findings of one rule."""
    return [f for f in report(rule, body, words=words, rpm=rpm, tool=tool).findings if f.rule == rule]


def only(findings: list[Finding]) -> Finding:
    """The one finding there must be."""
    assert len(findings) == 1, [(f.line, f.message) for f in findings]
    return findings[0]


def facts(finding: Finding, names: str) -> tuple[Any, ...]:
    """Some of what a finding says."""
    return tuple(getattr(finding, name) for name in names.split())


# ---- rapids ---------------------------------------------------------------------------------------------------------


def across(height: float, reach: float = 200.0) -> str:
    return f"G0 X20 Y20\nG0 Z5\nG1 X26 Z-1.5 F800\nG1 X60 F1600\nG0 Z{height}\nG0 X{reach}\nG0 Z10\n"


@pytest.mark.parametrize(
    ("words", "least"),
    [("", 2.0), (ALUMINIUM, 1.0), ("thickness 17.4 18.6", 2.2), ("option rapid-clearance least 1", 1.0)],
)
def test_height_of_rapids_across(words: str, least: float) -> None:
    assert not found("rapid-clearance", across(least), words=words)
    low = only(found("rapid-clearance", across(round(least - 0.01, 2)), words=words))
    assert facts(low, "severity line unit") == ("warning", 11, "mm")
    assert low.measured == pytest.approx(least - 0.01, abs=1e-4)
    assert low.limit == pytest.approx(least)


def test_a_rapid_of_less_than_half_a_diameter_is_let_pass() -> None:
    assert not found("rapid-clearance", across(1.0, 62.9))
    assert found("rapid-clearance", across(1.0, 63.1))


@pytest.mark.parametrize(("height", "told"), [(0.5, False), (0.49, True)])
def test_a_rapid_down_ends_half_a_millimetre_above_uncut_stock(height: float, told: bool) -> None:
    assert bool(found("rapid-clearance", f"G0 X20 Y20\nG0 Z{height}\nG1 X26 Z-1.5 F800\nG1 X60\n")) is told


def test_a_rapid_down_into_a_slot_may_end_lower() -> None:
    slot = "G0 X20 Y20\nG0 Z5\nG1 X26 Z-1.5 F800\nG1 X60 F1600\nG0 Z10\nG0 X40\nG0 Z-1.2\nG1 X60 Z-3 F800\n"
    assert not found("rapid-clearance", slot)


def test_rapids_close_above_a_keepout_are_told_once() -> None:
    clamp = "keepout clamp 100 80 0 130 110 45"
    there_and_back = "G0 X20 Y90\nG0 Z{}\nG0 X200\nG0 X50\nG0 X200\nG0 Z5\n"
    assert not found("rapid-clearance", there_and_back.format(32), words=clamp)
    close = only(found("rapid-clearance", there_and_back.format(31.5), words=clamp))
    assert facts(close, "line end_line measured limit") == (8, 10, 4.5, 5.0)


def test_a_rapid_touches_from_a_twentieth_of_a_millimetre() -> None:
    assert not found("rapid-into-stock", across(-0.04))
    deep = only(found("rapid-into-stock", across(-0.06)))
    assert facts(deep, "severity line measured limit") == ("error", 11, pytest.approx(0.06, abs=1e-4), 0.0)


def test_a_rapid_straight_up_out_of_a_cut_that_could_not_be_followed_hits_nothing() -> None:
    body = "G0 X40 Y40\nG0 Z5\nG1 X60 Z-2 F800\nG1 X10 Y=3\nG1 X100 Y90\nG0 Z30\n"
    said = report("rapid-into-stock", body)
    assert not [f for f in said.findings if f.rule == "rapid-into-stock"]
    assert [n for n in said.not_checked if n.rule == "rapid-into-stock" and n.from_line <= 10 <= n.to_line]
    assert found("rapid-into-stock", body.replace("G0 Z30", "G0 X120"))


# ---- going down -----------------------------------------------------------------------------------------------------


def plunge(depth: float, feed: float) -> str:
    return f"G0 X40 Y40\nG0 Z2\nG1 Z{-depth} F{feed}\nG1 X120 F1600\nG0 Z5\n"


@pytest.mark.parametrize(
    ("words", "turn"),  # greatest descent per turn, mm: 0.015, 0.01, 0.004, 0.002 of the diameter
    [("", 0.09), (ACRYLIC, 0.06), (ALUMINIUM, 0.024), (STEEL, 0.012)],
)
def test_plunge_feed_by_material(words: str, turn: float) -> None:
    limit = turn * 10000
    assert not found("plunge-feed", plunge(0.5, limit), words=words, rpm=10000)
    fast = only(found("plunge-feed", plunge(0.5, 1.01 * limit), words=words, rpm=10000))
    assert facts(fast, "severity line unit") == ("warning", 8, "mm/min")
    assert facts(fast, "measured limit") == (pytest.approx(1.01 * limit), pytest.approx(limit))
    assert only(found("plunge-feed", plunge(0.5, 1.49 * limit), words=words, rpm=10000)).severity == "warning"
    assert only(found("plunge-feed", plunge(0.5, 1.52 * limit), words=words, rpm=10000)).severity == "error"


def test_only_a_tenth_of_a_millimetre_is_no_plunge() -> None:
    assert not found("plunge-feed", plunge(0.1, 3000))
    assert found("plunge-feed", plunge(0.12, 3000))


def test_ramps_count_with_their_downward_part() -> None:
    down = 4.0 * math.tan(math.radians(30))
    ramp = f"G0 X40 Y40\nG0 Z1\nG1 Z0 F300\nG1 X44 Z{-down:.4f} F{{}}\nG1 X80\n"
    assert not found("plunge-feed", ramp.format(2 * 1440))  # sin 30 = 1/2
    assert found("plunge-feed", ramp.format(2 * 1460))


def test_a_descent_too_fast_for_the_axis_alone_is_no_error() -> None:
    slow = only(found("plunge-feed", plunge(5, 4100), rpm=24000, words="T1 diameter 12"))  # 0.18 mm * 24000 = 4320
    assert facts(slow, "severity limit") == ("warning", 4000.0)


def test_fast_plunges_one_after_another_are_told_once() -> None:
    holes = "".join(f"G0 X{x} Y40\nG0 Z2\nG1 Z-3 F{f}\nG0 Z5\n" for x, f in ((40, 1600), (60, 1900), (80, 1700)))
    one = only(found("plunge-feed", holes))
    assert facts(one, "line end_line measured") == (8, 16, pytest.approx(1900.0))
    assert "3 such places down to line 16; the worst of them, at line 12" in one.message
    sound = holes.replace("F1900", "F900")
    assert [(f.line, f.end_line) for f in found("plunge-feed", sound)] == [(8, 8), (16, 16)]


def ramp(angle: float, drop: float, feed: float = 200.0) -> str:
    run = drop / math.tan(math.radians(angle))
    return f"G0 X40 Y40\nG0 Z1\nG1 Z0 F100\nG1 X{40 + run:.5f} Z{-drop} F{feed}\nG1 X40\n"


RIGID = "machine machining-centre"


@pytest.mark.parametrize(("stock", "most"), [(ALUMINIUM, 5.0), (STEEL, 3.0)])
def test_ramps_in_metal_on_a_rigid_machine(stock: str, most: float) -> None:
    words = f"{stock},{RIGID}"
    assert not found("ramp-too-steep", ramp(most - 0.01, 1.0), words=words, rpm=6000)
    steep = only(found("ramp-too-steep", ramp(most + 0.02, 1.0), words=words, rpm=6000))
    assert facts(steep, "severity line unit") == ("warning", 9, "deg")
    assert facts(steep, "measured limit") == (pytest.approx(most + 0.02, abs=2e-3), pytest.approx(most))
    assert only(found("ramp-too-steep", ramp(1.49 * most, 1.0), words=words, rpm=6000)).severity == "warning"
    assert only(found("ramp-too-steep", ramp(1.51 * most, 1.0), words=words, rpm=6000)).severity == "error"


def test_shallow_ramps_and_ramps_in_wood_are_let_pass() -> None:
    assert not found("ramp-too-steep", ramp(20, 0.5), words=ALUMINIUM)  # a core of less than a tenth of the diameter
    assert not found("ramp-too-steep", ramp(25, 4.0, 1600))


def test_a_cutter_that_does_not_cut_at_its_centre_keeps_to_its_makers_angle() -> None:
    words = "T1 centre_cutting false,T1 dead_diameter 2,T1 ramp_angle 4"
    assert not found("ramp-too-steep", ramp(3.95, 3.1, 1600), words=words)
    assert only(found("ramp-too-steep", ramp(4.05, 3.1, 1600), words=words)).severity == "error"
    assert not found("ramp-too-steep", ramp(4.05, 2.9, 1600), words=words)  # the drop of a tab: at most half a diameter
    said = report("ramp-too-steep", ramp(4.05, 3.1, 1600), words=words.rsplit(",", 1)[0])
    assert [(n.cause, n.from_line) for n in said.not_checked] == [("cutter", 9)] and not said.findings


def helix(bore: float, pitch: float, *, turns: int = 3, x: float = 100.0, feed: float = 300.0, diameter: float = 6.0) -> str:
    r = (bore - diameter) / 2
    start = f"G0 X{x + r:.5f} Y100\nG0 Z1\nG1 Z0 F100\n"
    arcs = "".join(f"G3 X{x + r:.5f} Y100 I{-r:.5f} J0 Z{-pitch * (k + 1):.5f} F{feed}\n" for k in range(turns))
    return start + arcs + f"G3 X{x + r:.5f} Y100 I{-r:.5f} J0\nG0 Z5\n"


@pytest.mark.parametrize(("words", "most"), [("", 3.0), (ALUMINIUM, 0.6), (STEEL, 0.3)])
def test_pitch_of_helices(words: str, most: float) -> None:
    assert not found("helix-too-tight", helix(10, most), words=words)
    coarse = only(found("helix-too-tight", helix(10, most + 0.01), words=words))
    assert facts(coarse, "severity line end_line unit") == ("warning", 9, 11, "mm")
    assert facts(coarse, "measured limit") == (pytest.approx(most + 0.01, abs=1e-4), pytest.approx(most))
    assert only(found("helix-too-tight", helix(10, 1.52 * most), words=words)).severity == "error"


@pytest.mark.parametrize(
    ("words", "narrow", "wide", "severity"),
    [
        (ALUMINIUM, 6.59, 6.61, "warning"),
        ("T1 centre_cutting false,T1 dead_diameter 2", 7.99, 8.01, "error"),
    ],
)
def test_bore_of_helices(words: str, narrow: float, wide: float, severity: str) -> None:
    tight = only(found("helix-too-tight", helix(narrow, 0.3), words=words))
    assert facts(tight, "severity measured") == (severity, pytest.approx(narrow))
    assert not found("helix-too-tight", helix(wide, 0.3), words=words)


def test_a_post_is_noted_and_an_opened_bore_let_pass() -> None:
    assert not found("helix-too-tight", helix(12, 1.0))
    post = only(found("helix-too-tight", helix(14, 1.0)))
    assert facts(post, "severity measured limit") == ("note", 14.0, 12.0)
    opened = helix(10, 1.0, turns=5) + helix(11, 4.9, turns=1)
    assert not found("helix-too-tight", opened)


def test_helices_with_one_fault_are_told_once() -> None:
    holes = "".join(helix(10, pitch, turns=2, x=60 + 20 * k) for k, pitch in enumerate((3.5, 4.2, 3.6)))
    one = only(found("helix-too-tight", holes))
    assert facts(one, "line end_line measured") == (9, 24, pytest.approx(4.2))
    assert "3 such places" in one.message


# ---- drilling -------------------------------------------------------------------------------------------------------


def drilled(code: str, depth: float, peck: float = 0.0, holes: int = 1) -> str:
    first = f"G98 {code} X50 Y50 Z-{depth} R2" + (f" Q{peck}" if peck else "") + " F300\n"
    return "G0 Z5\n" + first + "".join(f"X{50 + 30 * k}\n" for k in range(1, holes)) + "G80\n"


THICK = "stock 300x200x60 {}"


@pytest.mark.parametrize(
    ("material", "first", "then"),  # diameters: the high end of the table of the material
    [
        ("birch-plywood", 3.0, 2.0),
        ("acrylic", 1.0, 1.0),
        ("fr4", 1.0, 1.0),
        ("foam", 10.0, 10.0),
        ("aluminium-wrought", 3.0, 1.0),
        ("mild-steel", 3.0, 1.0),
    ],
)
def test_bites_of_drills(material: str, first: float, then: float) -> None:
    words = THICK.format(material)
    if first < 9:
        assert not found("peck-too-deep", drilled("G81", 1.04 * 6 * first), words=words, rpm=6000, tool=4)
        deep = only(found("peck-too-deep", drilled("G81", 1.1 * 6 * first), words=words, rpm=6000, tool=4))
        assert facts(deep, "severity line unit") == ("warning", 7, "mm")
        assert facts(deep, "measured limit") == (pytest.approx(1.1 * 6 * first, abs=0.05), pytest.approx(6 * first))
        gross = only(found("peck-too-deep", drilled("G81", 1.6 * 6 * first), words=words, rpm=6000, tool=4))
        assert gross.severity == "error"
        # The second bite counts from where the first one ended.
        depth = 2.2 * 6 * then
        assert not found("peck-too-deep", drilled("G83", depth, 1.04 * 6 * then), words=words, rpm=6000, tool=4)
        again = only(found("peck-too-deep", drilled("G83", depth, 1.1 * 6 * then), words=words, rpm=6000, tool=4))
        assert again.limit == pytest.approx(6 * then)
    else:
        assert not found("peck-too-deep", drilled("G81", 50), words=words, rpm=6000, tool=4)


def test_beyond_six_diameters_metal_takes_half_a_diameter() -> None:
    words = THICK.format("aluminium-wrought")
    assert not found("peck-too-deep", drilled("G83", 45, 3.1), words=words, rpm=6000, tool=4)
    deep = only(found("peck-too-deep", drilled("G83", 45, 3.3), words=words, rpm=6000, tool=4))
    assert facts(deep, "measured limit") == (pytest.approx(3.3, abs=0.01), pytest.approx(3.0))


@pytest.mark.parametrize(("material", "most"), [("birch-plywood", 6.0), ("aluminium-wrought", 3.0)])
def test_end_mills_used_as_drills(material: str, most: float) -> None:
    words = THICK.format(material)
    assert not found("peck-too-deep", drilled("G81", 1.04 * most), words=words)
    assert only(found("peck-too-deep", drilled("G81", 1.07 * most), words=words)).limit == pytest.approx(most)


def test_deep_holes_in_metal_want_a_lift_at_each_bite() -> None:
    words = THICK.format("aluminium-wrought")
    assert not found("peck-too-deep", drilled("G73", 25, 3), words=words, rpm=6000, tool=4)  # 4.2 diameters
    deep = only(found("peck-too-deep", drilled("G73", 30, 3, holes=2), words=words, rpm=6000, tool=4))
    assert facts(deep, "severity line end_line limit") == ("warning", 7, 8, pytest.approx(24.0))
    assert "without being lifted" in deep.message and "2 such places" in deep.message
    assert not found("peck-too-deep", drilled("G83", 30, 3), words=words, rpm=6000, tool=4)
    assert not found("peck-too-deep", drilled("G73", 30, 12), words=THICK.format("birch-plywood"), rpm=6000, tool=4)


def test_moves_down_without_a_lift_are_one_bite() -> None:
    steps = "G0 X50 Y50\nG0 Z2\nG1 Z-10 F300\nG1 Z-18\nG1 Z{}\nG0 Z5\n"
    words = THICK.format("birch-plywood")
    assert not found("peck-too-deep", steps.format(-18.5), words=words, rpm=6000, tool=4)
    deep = only(found("peck-too-deep", steps.format(-26), words=words, rpm=6000, tool=4))
    assert facts(deep, "line measured limit") == (10, pytest.approx(26, abs=0.05), pytest.approx(18.0))
    lifted = "G0 X50 Y50\nG0 Z2\nG1 Z-15 F300\nG0 Z2\nG0 Z-14\nG1 Z-26\nG0 Z5\n"
    assert not found("peck-too-deep", lifted, words=words, rpm=6000, tool=4)


# ---- dwells ---------------------------------------------------------------------------------------------------------


def dwell(words: str, before: str = "") -> str:
    return f"G0 X40 Y40\nG0 Z2\nG1 Z-1 F300\nG1 X80 F1600\n{before}{words}\nG0 Z10\n"


@pytest.mark.parametrize(("words", "most"), [("", 0.2), (ACRYLIC, 0.2), (ALUMINIUM, 1.0), (STEEL, 1.0)])
def test_dwells_in_the_cut(words: str, most: float) -> None:
    assert not found("dwell-in-cut", dwell(f"G4 P{most}"), words=words)
    long = only(found("dwell-in-cut", dwell(f"G4 P{most + 0.05}"), words=words))
    assert facts(long, "line measured limit unit") == (10, pytest.approx(most + 0.05), most, "s")
    assert "milliseconds" not in long.message
    assert "milliseconds" in only(found("dwell-in-cut", dwell("G4 P500"), words=words)).message
    assert not found("dwell-in-cut", dwell("G4 P5", before="G0 Z5\n"), words=words)


def test_stops_in_the_cut() -> None:
    assert only(found("dwell-in-cut", dwell("M0"))).line == 10
    assert only(found("dwell-in-cut", dwell("M1"))).line == 10
    for quiet in (dwell("M0", before="M5\n"), dwell("M5 M0"), dwell("M0", before="G0 Z5\n")):
        assert not found("dwell-in-cut", quiet)


def test_the_dwell_of_a_drilling_cycle_may_last_three_turns_or_half_a_second() -> None:
    cycle = "G0 Z5\nG82 X50 Y50 Z-10 R2 P{} F300\nG80\n"
    assert not found("dwell-in-cut", cycle.format(0.5), rpm=6000, tool=4)
    assert found("dwell-in-cut", cycle.format(0.55), rpm=6000, tool=4)
    slow = "machine benchtop-mill"
    assert not found("dwell-in-cut", cycle.format(0.85), rpm=200, tool=4, words=slow)  # three turns take 0.9 s
    assert found("dwell-in-cut", cycle.format(0.95), rpm=200, tool=4, words=slow)


def test_without_a_material_dwells_between_wood_and_metal_are_not_judged() -> None:
    bare = replace(of_program(""), material=None)
    for seconds, told, cause in ((0.2, 0, []), (0.5, 0, ["material"]), (1.5, 1, [])):
        text = (HEAD.format(rpm=16000, tool=1) + dwell(f"G4 P{seconds}") + TAIL).encode()
        said = check_program(text, path="p.ngc", setting=bare, rules=[book()["dwell-in-cut"]])
        assert len(said.findings) == told
        assert [n.cause for n in said.not_checked] == cause


# ---- feeds ----------------------------------------------------------------------------------------------------------


def test_an_arc_whose_start_is_not_known_is_not_held_to_the_axes() -> None:
    body = "G0 X40 Y40\nG0 Z5\nG1 X60 Z-2 F800\nG1 X10 Y=3\nG2 X80 Y60 I10 J0 F13000\nG1 X100 F12001\n"
    fast = only(found("feed-over-machine", body))
    assert facts(fast, "line end_line measured limit") == (11, 11, 12001.0, 12000.0)


# ---- speeds, changes and what was not looked at ---------------------------------------------------------------------

CUT = "G0 X40 Y40\nG0 Z5\nG1 X60 Z-2 F800\nG1 X120 F1600\n"


def missed(said: ProgramReport) -> list[tuple[str, int, int]]:
    """Cause and lines of what was not checked."""
    return [(n.cause, n.from_line, n.to_line) for n in said.not_checked]


def test_the_mark_on_a_cutter() -> None:
    assert not found("cutter-over-speed", CUT, words="T1 max_rpm 16000")
    fast = only(found("cutter-over-speed", CUT, words="T1 max_rpm 15999"))
    assert facts(fast, "severity line measured limit unit") == ("error", 4, 16000.0, 15999.0, "rpm")


@pytest.mark.parametrize(("rpm", "severity"), [(12000, None), (12100, "warning"), (18000, "warning"), (18100, "error")])
def test_large_cutters_without_a_mark_stay_below_twelve_thousand(rpm: int, severity: str | None) -> None:
    setting = of_program("(setting: T1 diameter 25.4)")
    bare = replace(setting, cutters={1: replace(setting.cutters[1], max_rpm=None)})
    said = report("cutter-over-speed", CUT, rpm=rpm, setting=bare)
    assert [f.severity for f in said.findings] == ([] if severity is None else [severity])
    assert not said.not_checked
    assert all(f.limit == 12000.0 for f in said.findings)


def test_a_smaller_cutter_without_a_mark_is_not_checked() -> None:
    setting = of_program("")
    bare = replace(setting, cutters={1: replace(setting.cutters[1], max_rpm=None)})
    said = report("cutter-over-speed", CUT, setting=bare)
    assert not said.findings and missed(said) == [("mark", 8, 9)]


def test_travel_without_offsets_is_told() -> None:
    assert not report("outside-travel", CUT).not_checked
    said = report("outside-travel", CUT, words="no offsets")
    assert not said.findings and missed(said) == [("offsets", 6, 10)]
    over = report("outside-travel", CUT + "G0 Z20\nG0 X1241\n", words="no offsets")
    assert [(f.line, f.measured, f.limit) for f in over.findings] == [(11, 1201.0, 1200.0)]


@pytest.mark.parametrize(
    ("hold", "looked"),
    [
        (Hold(), False),
        (Hold(method="vacuum"), True),
        (Hold(method="tape"), True),
        (Hold(method="screws", points=((10.0, 10.0),)), True),
        (Hold(method="screws"), False),
        (Hold(method="clamps", points=((10.0, 10.0),)), False),
        (Hold(method="vise"), False),
        (Hold(method="vise", keepouts=(Keepout("jaw", (0.0, -20.0, 0.0), (300.0, 0.0, 12.0)),)), True),
    ],
)
def test_clamps_nobody_declared_are_not_checked(hold: Hold, looked: bool) -> None:
    said = report("keepout-hit", CUT, setting=replace(of_program(""), hold=hold))
    assert not said.findings
    assert [n.cause for n in said.not_checked] == ([] if looked else ["hold"])


def test_a_holder_nobody_described_matters_only_below_the_stickout() -> None:
    deep = "G0 X40 Y40\nG0 Z2\nG1 Z-3 F600\nG1 X80 F1600\nG1 Z-6 F600\nG1 X40 F1600\n"
    words = "T1 flute_length 3,T1 stickout {}"
    assert not report("holder-contact", deep, words=words.format(6)).not_checked
    assert missed(report("holder-contact", deep, words=words.format(5.9))) == [("holder", 10, 12)]
    described = report("holder-contact", deep, words=words.format(5.5) + ",T1 holder_diameter 20")
    assert facts(only(list(described.findings)), "line measured") == (10, pytest.approx(0.5, abs=1e-4))


def test_a_shank_nobody_described_matters_only_below_the_flutes() -> None:
    deep = "G0 X40 Y40\nG0 Z2\nG1 Z-3 F600\nG1 X80 F1600\nG1 Z-6 F600\nG1 X40 F1600\n"
    setting = of_program("")
    for flutes, wanted in ((6.0, []), (5.5, [("shank", 10, 11)])):
        cutter = replace(setting.cutters[1], flute_length=flutes, shank=None)
        said = report("flute-length-exceeded", deep, setting=replace(setting, cutters={1: cutter}))
        assert not said.findings and missed(said) == wanted


def test_material_higher_than_the_flutes() -> None:
    deep = "G0 X40 Y40\nG0 Z2\nG1 Z-5 F600\nG1 X80 F1600\n"
    assert not found("flute-length-exceeded", deep, words="T1 flute_length 5")
    short = only(found("flute-length-exceeded", deep, words="T1 flute_length 4.9"))
    assert facts(short, "severity line measured limit") == ("error", 9, pytest.approx(5.0), 4.9)


@pytest.mark.parametrize(
    ("stop", "told"),
    [
        ("M0 (change to the 3 mm cutter)", True),
        ("M0 ; T2", True),
        ("T2 M0", True),
        ("(change tool)\nM0", True),
        ("M0\n(put in T2)", True),
        ("M0 (turn the board)", False),
        ("(tool 1 is 6 mm)\nG4 P1\nM0", False),
        ("M0", False),
    ],
)
def test_stops_that_speak_of_a_tool_are_changes(stop: str, told: bool) -> None:
    assert bool(found("unsafe-tool-change", CUT + f"G0 Z5\nM5\n{stop}\n")) is told


def test_the_height_at_a_change() -> None:
    change = CUT + "G0 Z{}\nM5\nT2 M6\n"
    assert not found("unsafe-tool-change", change.format(10))
    low = only(found("unsafe-tool-change", change.format(9.9)))
    assert facts(low, "severity line measured limit unit") == ("error", 12, pytest.approx(9.9), 10.0, "mm")
    assert "the spindle still turns" in only(found("unsafe-tool-change", change.format(10).replace("M5\n", ""))).message
    assert missed(report("unsafe-tool-change", change.format(10), words="no stock")) == [("stock", 12, 12)]
    assert not found("unsafe-tool-change", change.format(1), words="change automatic")


def test_without_stock_returns_and_first_heights_are_not_checked() -> None:
    home = CUT + "G0 Z5\nG28\n"
    assert missed(report("unsafe-home", home, words="no stock")) == [("stock", 11, 11)]
    assert not report("unsafe-home", home).not_checked
    text = "G21 G90 G17\nG0 Z5\nG0 X40 Y40\nS16000 M3\nG1 Z-2 F600\nG0 Z20\nM30\n"
    for words, wanted in (("no stock", [("stock", 2, 2)]), ("", [])):
        setting = of_program(f"(setting: {words})" if words else "")
        said = check_program(text.encode(), path="p.ngc", setting=setting, rules=[book()["first-move-unsafe"]])
        assert not said.findings and missed(said) == wanted


# ---- numbers --------------------------------------------------------------------------------------------------------


def test_a_position_set_by_increments_is_not_told_at_the_next_block() -> None:
    walk = CUT + "G91 G1 Y400\nG90\nG1 X40 Z-4 F800\nG1 Y40 F1600\nG1 X120\n"
    assert not found("missing-point", walk)
    point = only(found("missing-point", walk.replace("G91 G1 Y400\nG90", "G1 Y400")))
    assert facts(point, "line measured limit") == (10, 400.0, 40.0)


def test_one_wrong_unit_is_one_finding() -> None:
    body = CUT + "G1 Y80\nG1 X40 Z-4 F800\nG1 Y40 F1600\nG1 X120\n"
    text = (HEAD.format(rpm=16000, tool=1) + body + TAIL).replace("G21", "G20").encode()
    rules = [book()["unit-mix-up"], book()["missing-point"]]
    said = check_program(text, path="p.ngc", setting=of_program(""), rules=rules)
    assert [(f.rule, f.line) for f in said.findings] == [("unit-mix-up", 1)]


def test_a_wrong_unit_is_told_for_a_cutter_no_table_knows() -> None:
    setting = of_program(f"(setting: {ACRYLIC},T1 diameter 60)")
    body = "G0 X1.5 Y1.5\nG0 Z.2\nG1 X2.4 Z-.08 F30\nG1 X4.7 F60\nG1 Y3\nG1 X1.5\nG1 Y1.5\n"
    said = report("unit-mix-up", body, setting=setting)
    assert [(f.rule, f.line) for f in said.findings] == [("unit-mix-up", 1)]


# ---- pieces that come loose -----------------------------------------------------------------------------------------


def ring(bottom: float, tab: tuple[float, float] | None = None, *, x: float = 60, w: float = 80, h: float = 60) -> str:
    """A piece cut out in passes of 6 mm; ``tab``: height and length of one tab, made by lifting the cutter."""
    text = f"G0 X{x} Y60\nG0 Z2\nG1 Z0 F300\n"
    for z in (-6.0, -12.0, bottom):
        text += f"G1 X{x + w / 2} Z{z} F800\nG1 X{x + w} F1600\n"
        if tab is not None and z < tab[0] - 18:
            half = tab[1] / 2 + 3
            text += f"G1 Y{60 + h / 2 - half}\nG1 Z{tab[0] - 18:.3f}\nG1 Y{60 + h / 2 + half}\nG1 Z{z}\n"
        text += f"G1 Y{60 + h}\nG1 X{x}\nG1 Y60\nG1 X{x + w / 2}\nG1 X{x}\n"
    return text + "G0 Z5\n"


@pytest.mark.parametrize(("skin", "loose"), [(-0.3, True), (0.14, True), (0.16, False), (0.5, False)])
def test_a_skin_of_less_than_fifteen_hundredths_counts_as_cut(skin: float, loose: bool) -> None:
    told = found("part-freed", ring(skin - 18))
    assert bool(told) is loose
    for piece in told:
        assert (piece.severity, piece.unit) == ("warning", "cm2")
        assert piece.measured == pytest.approx(7.4 * 5.4, rel=0.02)
        assert piece.limit == pytest.approx(0.36)
        assert "possibly" not in piece.message


def test_a_skin_within_the_spread_of_the_thickness_is_possibly_cut() -> None:
    maybe = only(found("part-freed", ring(-17.8), words="thickness 17.9 18.2"))
    assert maybe.severity == "warning" and "possibly" in maybe.message
    assert not found("part-freed", ring(-17.65), words="thickness 17.9 18.2")


def test_pieces_up_to_the_square_of_the_diameter_are_let_go() -> None:
    assert not found("part-freed", ring(-18.3, w=11.8, h=11.8))
    assert found("part-freed", ring(-18.3, w=12.4, h=12.4))


def test_a_piece_that_is_held_or_cut_again() -> None:
    assert not found("part-freed", ring(-18.3), words="point 100 90")
    again = ring(-18.3) + "G0 X90 Y90\nG0 Z2\nG1 Z0 F300\nG1 X110 Z-2 F800\nG1 X90 F1600\n"
    assert only(found("part-freed", again)).severity == "error"


@pytest.mark.parametrize(
    ("words", "tab", "told"),
    [
        ("", (0.9, 6.0), ("mm", 0.9, 1.0)),
        ("", (1.0, 6.0), None),
        ("", (1.5, 2.5), ("mm", 2.5, 3.0)),
        ("", (1.5, 3.2), None),
        ("stock 300x200x18 aluminium-wrought", (0.25, 6.0), ("mm", 0.25, 0.3)),
        ("stock 300x200x18 aluminium-wrought", (0.32, 6.0), None),
        ("", (0.1, 6.0), ("cm2", 39.96, 0.36)),  # lower than a skin: no tab at all
    ],
)
def test_tabs_too_small_to_hold(words: str, tab: tuple[float, float], told: tuple[str, float, float] | None) -> None:
    findings = found("part-freed", ring(-18.3, tab), words=words)
    if told is None:
        assert not findings
    else:
        piece = only(findings)
        assert piece.severity == "warning"
        assert facts(piece, "unit measured limit") == (told[0], pytest.approx(told[1], abs=0.15), told[2])


def test_a_wedge_is_a_tab_as_long_as_it_is_high_enough() -> None:
    """In the last pass the cutter rises along a ramp and goes down again: what it leaves is high enough at one end only."""
    before, after = ring(-18.3).rsplit("G1 Y120\n", 1)

    def wedge(top: float) -> list[Finding]:
        return found("part-freed", f"{before}G1 Y90\nG1 Y110 Z{top}\nG1 Z-18.3\nG1 Y120\n{after}")

    told = only(wedge(-16.3))
    assert (told.severity, told.unit, told.limit) == ("warning", "mm", 3.0) and 0.5 < told.measured < 2.5
    assert not wedge(-12.0)


def test_vacuum_holds_by_friction() -> None:
    words = "hold vacuum"
    small = only(found("part-freed", ring(-18.3, w=46, h=46), words=words))
    assert small.measured == pytest.approx(16.0, rel=0.02)
    # 2 x 55 N want 110 / (0.25 * 0.01) = 440 cm2; lighter passes want less.
    assert found("part-freed", ring(-18.3, w=200, h=100), words=words)
    setting = of_program(f"(setting: {words})")
    large = "stock 600x400x18 birch-plywood,hold vacuum"
    assert not found("part-freed", ring(-18.3, w=400, h=250), words=large)
    said = report("part-freed", ring(-18.3, w=46, h=46), setting=replace(setting, material=None))
    assert not said.findings and [n.cause for n in said.not_checked] == ["limits"]


def test_a_vise_holds_what_reaches_its_jaws_and_tape_everything() -> None:
    assert only(found("part-freed", ring(-18.3), words="hold vise")).severity == "warning"
    halves = "".join(f"G0 X-5 Y100\nG0 Z{z}\nG1 X305 F1600\nG0 Z5\n" for z in (-6, -12, -18.3))
    assert not found("part-freed", halves, words="hold vise")
    assert not found("part-freed", ring(-18.3), words="hold tape")


@pytest.mark.parametrize("y", [100, 80, 130])
def test_what_is_left_of_the_workpiece_comes_loose_where_all_that_is_held_is_cut_away(y: int) -> None:
    halves = "".join(f"G0 X-5 Y{y}\nG0 Z{z}\nG1 X305 F1600\nG0 Z5\n" for z in (-6, -12, -18.3))
    setting = of_program("")
    for point, area in (((10.0, 10.0), (197 - y) * 3.0), ((10.0, 190.0), (y - 3) * 3.0)):
        hold = replace(setting.hold, points=(point,))
        piece = only(report_findings("part-freed", halves, replace(setting, hold=hold)))
        assert (piece.line, piece.severity) == (16, "warning")
        assert piece.measured == pytest.approx(area, rel=0.01)


def report_findings(rule: str, body: str, setting: Setting) -> list[Finding]:
    """The findings of one rule in a setting."""
    return list(report(rule, body, setting=setting).findings)


# ---- depth ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "most", "severity"),
    [
        ("", 6.0, "warning"),
        (ACRYLIC, 6.0, "warning"),
        (ALUMINIUM, 0.6, "warning"),
        (STEEL, 0.6, "warning"),
        ("T1 twist down", 0.2, "warning"),
        ("T1 twist compression", 0.2, "warning"),
        (f"{ACRYLIC},T1 twist down", 6.0, "warning"),
        ("T1 centre_cutting false,T1 dead_diameter 2", 0.2, "error"),
        ("T1 form vee,T1 tip_angle 60", 6.0, "warning"),
    ],
)
def test_plunges_straight_down(words: str, most: float, severity: str) -> None:
    assert not found("straight-plunge", plunge(most, 100), words=words)
    deep = only(found("straight-plunge", plunge(round(1.02 * most + 0.01, 3), 100), words=words))
    assert facts(deep, "severity line limit unit") == (severity, 8, pytest.approx(most), "mm")
    assert deep.measured == pytest.approx(1.02 * most + 0.01, abs=0.06 if "vee" in words else 1e-4)


def test_drills_foam_and_opened_holes_are_no_plunges() -> None:
    assert not found("straight-plunge", plunge(15, 100), tool=4)
    assert not found("straight-plunge", plunge(15, 100), words="stock 300x200x18 foam")
    steps = "".join(f"G1 Z-{z / 10} F100\nG0 Z2\n" for z in range(5, 31, 5))
    assert not found("straight-plunge", f"G0 X40 Y40\nG0 Z2\n{steps}", words=ALUMINIUM)


@pytest.mark.parametrize(("reach", "told"), [(1.76, False), (1.70, True)])  # 3 mm down: 59.6 and 60.5 degrees
def test_sixty_degrees_are_a_plunge(reach: float, told: bool) -> None:
    steep = f"G0 X40 Y40\nG0 Z1\nG1 Z0 F100\nG1 X{40 + reach} Z-3 F100\nG1 X80\n"
    assert bool(found("straight-plunge", steep, words=ALUMINIUM)) is told


def test_plunges_with_one_fault_are_told_once() -> None:
    holes = "".join(f"G0 X{x} Y40\nG0 Z2\nG1 Z-{z} F300\nG0 Z5\n" for x, z in ((40, 7), (60, 9), (80, 8)))
    one = only(found("straight-plunge", holes))
    assert facts(one, "line end_line measured") == (8, 16, pytest.approx(9.0))
    assert "3 such places" in one.message
    assert len(found("straight-plunge", holes.replace("Z-9", "Z-5"))) == 2


def test_without_a_material_plunges_are_not_judged() -> None:
    bare = replace(of_program(""), material=None)
    said = report("straight-plunge", plunge(3, 300), setting=bare)
    assert not said.findings and missed(said) == [("material", 8, 8)]


def slot(depth: float, top: float = 0.0) -> str:
    """A ramp of 80 mm, then the level pass on and back."""
    ramp = f"G0 X40 Y40\nG0 Z{top + 2}\nG1 Z{top} F300\nG1 X120 Z{top - depth} F1600\n"
    return f"{ramp}G1 X200\nG1 X40\nG0 Z{top + 10}\n"


@pytest.mark.parametrize(
    ("words", "most"),  # birch plywood on a stiff router: 1.2 D; down-cut at most 1 D; 18 mm of flutes or less
    [("", 7.2), ("T1 twist down", 6.0), ("T1 twist compression", 7.2), ("T1 flute_length 5", 5.0)],
)
def test_slots_by_cutter(words: str, most: float) -> None:
    assert not found("stepdown-over-limit", slot(1.04 * most), words=words)
    deep = only(found("stepdown-over-limit", slot(1.07 * most), words=words))
    assert facts(deep, "severity end_line unit") == ("warning", 10, "mm")
    assert facts(deep, "measured limit") == (pytest.approx(1.07 * most, abs=1e-3), pytest.approx(most, abs=1e-3))
    assert only(found("stepdown-over-limit", slot(1.49 * most), words=words)).severity == "warning"
    assert only(found("stepdown-over-limit", slot(1.52 * most), words=words)).severity == "error"


def test_a_light_machine_takes_less() -> None:
    assert not found("stepdown-over-limit", slot(6.4), words="machine screw-router")  # 6.155 + 5 %
    assert found("stepdown-over-limit", slot(6.5), words="machine screw-router")
    assert found("stepdown-over-limit", slot(5.0), words="machine belt-router")  # 0.75 D


@pytest.mark.parametrize(
    ("depth", "words", "taken"),
    [
        (6.7, "thickness 17.6 18.4", None),  # 7.5 < 7.56
        (6.8, "thickness 17.6 18.4", 7.6),
        (6.8, "thickness 17.6 18.4,zero 0 0 0", None),  # zero on the table: 0.4 above the declared 18 mm
        (7.2, "thickness 17.6 18.4,zero 0 0 0", 7.6),
        (7.2, "thickness 17.0 17.9,zero 0 0 0", None),
    ],
)
def test_the_first_pass_takes_the_spread_of_the_thickness_too(depth: float, words: str, taken: float | None) -> None:
    told = found("stepdown-over-limit", slot(depth, top=18.0 if "zero" in words else 0.0), words=words)
    if taken is None:
        assert not told
    else:
        assert only(told).measured == pytest.approx(taken, abs=1e-3)


def test_the_second_pass_does_not() -> None:
    passes = slot(6.0) + "G1 Z-6 F300\nG1 X120 Z-13 F1600\nG1 X40\n"
    assert not found("stepdown-over-limit", passes, words="thickness 17.6 18.4")


@pytest.mark.parametrize(
    ("depth", "width", "told"), [(12.0, 1.75, False), (17.9, 1.9, True), (8.5, 2.6, False), (12, 2.6, True)]
)
def test_light_side_cuts_may_be_deeper(depth: float, width: float, told: bool) -> None:
    """Depth times width up to half the diameter times the slot's 7.2 mm; less than 0.3 D wide is not judged."""
    side = f"G0 X-10 Y{width - 3}\nG0 Z{-depth}\nG1 X310 F3000\nG0 Y-20\n"
    findings = found("stepdown-over-limit", side)
    assert bool(findings) is told
    for deep in findings:
        assert deep.limit == pytest.approx(7.2 * 3 / width, rel=0.03)


def pocket(floor: float, width: float, top: float = 0.0) -> str:
    """A pocket 40 mm long and so wide, in passes down to a floor above the stock's underside."""
    text = f"G0 X60 Y60\nG0 Z{top + 2}\nG1 Z{top} F300\n"
    for z in (-6.0, -12.0, floor - 18):
        text += f"G1 X100 Z{top + z:.3f} F800\nG1 X60 F1600\n"
        y, way = 0.0, True
        while y < width - 6:
            y = min(y + 2.4, width - 6)
            text += f"G1 Y{60 + y:.3f}\nG1 X{100 if way else 60}\n"
            way = not way
        text += "G1 X60\nG1 Y60\n"
    return text + "G0 Z30\n"


@pytest.mark.parametrize(
    ("words", "floor", "limit"),
    [
        ("", 1.45, 1.5),
        ("", 1.55, None),
        (ALUMINIUM, 0.62, 0.65),  # a fortieth of 26 mm
        (ALUMINIUM, 0.7, None),
        ("thickness 17.1 18.9", 1.95, 2.0),  # the spread and 0.2 mm
        ("thickness 17.1 18.9", 2.05, None),
        ("thickness 17.1 18.9,zero 0 0 0", 1.95, None),  # measured from the table
        ("thickness 17.1 18.9,zero 0 0 0", 1.45, 1.5),
    ],
)
def test_thin_floors(words: str, floor: float, limit: float | None) -> None:
    told = found("thin-floor", pocket(floor, 26, top=18.0 if "zero" in words else 0.0), words=words)
    if limit is None:
        assert not told
        return
    thin = only(told)
    assert facts(thin, "severity measured unit") == ("warning", pytest.approx(floor, abs=1e-3), "mm")
    assert thin.limit == pytest.approx(limit, abs=0.08)
    assert ("break through" in thin.message) is (limit == 2.0)


def test_the_skin_under_a_slot_is_a_note() -> None:
    assert only(found("thin-floor", slot(17.4))).severity == "note"


# ---- chips ----------------------------------------------------------------------------------------------------------


def test_a_feed_not_reached_is_a_warning_where_chips_get_too_thin() -> None:
    def zigzag(step: float) -> str:
        walk = "".join(f"G1 X{40 + k * step / 2:.3f} Y{40 + (step if k % 2 else 0):.3f}\n" for k in range(300))
        return f"G0 X40 Y40\nG0 Z2\nG1 Z-1 F300\nF6000\n{walk}"

    fine, coarse = (only(found("feed-not-reached", zigzag(step))) for step in (0.5, 2.0))
    assert facts(fine, "severity unit limit") == ("warning", "%", 70.0)
    assert "chips fall too thin" in fine.message
    assert coarse.severity == "note" and "thin" not in coarse.message
    assert not found("feed-not-reached", zigzag(20.0).replace("F6000", "F1600"))


# ---- [checks] -------------------------------------------------------------------------------------------------------


def test_a_shop_may_let_small_excesses_pass() -> None:
    """``least`` in [checks]: how far past its limit a finding must be; rapid-clearance has its limit there."""
    deep = slot(8.0)  # 0.8 mm past the limit of 7.2 mm
    assert found("stepdown-over-limit", deep, words="option stepdown-over-limit least 0.7")
    assert not found("stepdown-over-limit", deep, words="option stepdown-over-limit least 0.9")
    assert not found("plunge-feed", plunge(2, 1500), words="option plunge-feed least 100")
    assert found("plunge-feed", plunge(2, 1600), words="option plunge-feed least 100")
    assert found("rapid-clearance", across(2.9), words="option rapid-clearance least 3")


def test_the_page_of_a_rule_tells_what_may_be_set() -> None:
    from advisor.pages import rule_page
    from advisor.rules import page

    assert "least: how far past its limit, in mm, a finding is told" in rule_page(page("stepdown-over-limit"), width=100)
    assert "option least = 2 mm" in rule_page(page("rapid-clearance"), width=100)
    assert "least" not in rule_page(page("no-feed"), width=100)


@pytest.mark.parametrize(
    ("rule", "once", "words"),
    [
        ("plunge-feed", "G1 Z-3 F3000", ""),
        ("straight-plunge", "G1 Z-9 F300", ""),
        ("peck-too-deep", "G81 R2 Z-40 F300", "stock 300x200x60 birch-plywood,cutter T1 = drill-6mm"),
    ],
)
def test_what_is_allowed_in_one_place_is_not_allowed_in_the_next(rule: str, once: str, words: str) -> None:
    def holes(*notes: str) -> list[Finding]:
        text = "".join(f"G80 G0 X{40 + 20 * k} Y40\nG0 Z2\n{once}{note}\nG80 G0 Z5\n" for k, note in enumerate(notes))
        return found(rule, text, words=words, rpm=6000 if "drill" in words else 16000)

    allow = f" (feedwright: allow {rule} because of the soft core)"
    assert [(f.line, f.end_line) for f in holes("", "", "")] == [(8, 16)]
    assert [(f.line, f.end_line) for f in holes(allow, "", "")] == [(12, 16)]
    assert [(f.line, f.end_line) for f in holes("", allow, "")] == [(8, 8), (16, 16)]
    assert not holes(allow, allow, allow)


# ---- a fault that comes back ----------------------------------------------------------------------------------------


def slots(*blocks: str, before: str = "") -> str:
    """A slot beside the other; each block makes its level pass after a ramp of ``before`` or 2 mm."""
    ramp = before or "G1 X120 Z-2 F1600"
    return "".join(f"G0 X40 Y{30 + 20 * k}\nG0 Z2.5\nG1 Z0 F300\n{ramp}\n{block}\nG0 Z5\n" for k, block in enumerate(blocks))


@pytest.mark.parametrize(
    ("rule", "body", "words", "lines"),
    [
        ("rapid-clearance", slots(*["G1 X200\nG0 Z1.5\nG0 X260"] * 3).replace("G0 Z5\n", ""), "", (12, 26)),
        (
            "rapid-clearance",
            "".join(f"G0 X40 Y{30 + 20 * k}\nG0 Z0.3\nG1 X60 Z-1 F800\nG0 Z5\n" for k in range(3)),
            "",
            (7, 15),
        ),
        ("chip-too-thick", slots(*["G1 X200 F12000"] * 3), "", (10, 22)),
        ("stepdown-over-limit", slots(*["G1 X200"] * 3, before="G1 X120 Z-9 F1600"), "", (10, 22)),
        ("power-over-limit", slots(*["G1 X200 F6000"] * 3, before="G1 X120 Z-6 F1600"), "machine belt-router", (10, 22)),
        ("deflection-over-limit", slots(*["G1 X200 F2000"] * 3), "T1 diameter 3,T1 stickout 60,T1 shank 3", (10, 22)),
    ],
)
def test_a_fault_that_comes_back_is_told_once(rule: str, body: str, words: str, lines: tuple[int, int]) -> None:
    one = only(found(rule, body, words=words))
    assert (one.line, one.end_line) == lines
    assert "3 such places" in one.message


def test_dwells_and_depths_that_come_back_are_told_once() -> None:
    dwells = "".join(
        f"G0 X40 Y{30 + 20 * k}\nG0 Z2\nG1 Z-1 F300\nG1 X80 F1600\nG4 P{p}\nG0 Z5\n" for k, p in enumerate((1, 3, 2))
    )
    one = only(found("dwell-in-cut", dwells))
    assert facts(one, "line end_line measured") == (10, 22, 3.0)
    assert "3 such places down to line 22; the worst of them, at line 16" in one.message
    assert len(found("dwell-in-cut", dwells.replace("P3", "P.1"))) == 2
    holes = "".join(f"G0 X{40 + 20 * k} Y40\nG0 Z2\nG1 Z-{z} F300\nG0 Z5\n" for k, z in enumerate((19, 21, 20)))
    deep = only(found("below-spoilboard", holes))
    assert facts(deep, "severity line end_line measured limit") == ("error", 8, 16, 3.0, 0.5)
    assert "3 such places" in deep.message
    assert len(found("below-spoilboard", holes.replace("Z-21", "Z-18.4"))) == 2
    allowed = holes.replace("Z-19 F300", "Z-19 F300 (feedwright: allow below-spoilboard because of a hole below)")
    assert [(f.line, f.end_line) for f in found("below-spoilboard", allowed)] == [(12, 16)]


def test_a_sound_pass_between_makes_two() -> None:
    assert len(found("chip-too-thick", slots("G1 X200 F12000", "G1 X200 F3000", "G1 X200 F12000"))) == 2
    low, right = "G1 X200\nG0 Z1.5\nG0 X260", "G1 X200\nG0 Z3\nG0 X260"
    assert len(found("rapid-clearance", slots(low, right, low))) == 2


def test_each_crash_is_told() -> None:
    crash = slots("G1 X200\nG0 X230", "G1 X200\nG0 X230")
    assert [f.line for f in found("rapid-into-stock", crash)] == [11, 18]


# ---- set-up ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dwell", "words", "rpm", "severity"),
    [
        (2.7, "", 16000, None),  # a router: 4 s at 24000, in proportion 2.667 s
        (2.6, "", 16000, "warning"),
        (4.0, "", 24000, None),
        (3.9, "", 24000, "warning"),
        (1.0, "machine benchtop-mill", 3000, "note"),
        (1.6, "machine benchtop-mill", 3000, None),  # a mill: 2 s at 4000
        (0.1, "spindle_start hand", 16000, None),
        (0.1, "spindle_start interlock", 16000, None),
    ],
)
def test_time_for_the_spindle_to_start(dwell: float, words: str, rpm: int, severity: str | None) -> None:
    text = f"G21 G90 G17\nG53 G0 Z0\nT1 M6\nG0 X40 Y40\nG0 Z5\nS{rpm} M3\nG4 P{dwell}\nG1 X60 Z-2 F800\nG1 X120\nG0 Z30\nM30\n"
    setting = of_program(f"(setting: {words})" if words else "")
    said = check_program(text.encode(), path="p.ngc", setting=setting, rules=[book()["spindle-no-settle"]])
    assert [f.severity for f in said.findings] == ([] if severity is None else [severity])
    for early in said.findings:
        assert (early.line, early.unit, early.measured) == (8, "s", dwell)


def test_a_change_of_speed_by_a_fifth_needs_no_time() -> None:
    assert not found("spindle-no-settle", CUT + "S19900\nG1 Y50\n")  # 16000 is 0.804 of it
    faster = only(found("spindle-no-settle", CUT + "S20100\nG1 Y50\n"))
    assert faster.limit == pytest.approx(4 * 4100 / 24000, abs=1e-3)


@pytest.mark.parametrize(("rpm", "limit"), [(6000, None), (5999, 6000.0), (24000, None), (24001, 24000.0)])
def test_range_of_the_spindle(rpm: int, limit: float | None) -> None:
    told = found("spindle-out-of-range", CUT, rpm=rpm)
    assert [facts(f, "severity line measured limit") for f in told] == ([] if limit is None else [("error", 4, rpm, limit)])


@pytest.mark.parametrize(("feed", "told"), [(12000, False), (12001, True)])
def test_feed_of_the_machine(feed: int, told: bool) -> None:
    findings = found("feed-over-machine", f"G0 X40 Y40\nG0 Z5\nG1 X60 Z-2 F800\nG1 X120 F{feed}\n")
    assert [facts(f, "severity line measured limit unit") for f in findings] == (
        [("warning", 9, feed, 12000.0, "mm/min")] if told else []
    )
    down = found("feed-over-machine", "G0 X40 Y40\nG0 Z5\nG1 Z-2 F4001\nG0 Z5\nG1 Z4 F4000\nG1 Z10 F9000\n")
    assert [facts(f, "line limit") for f in down] == [(8, 4000.0)]  # up at any feed


@pytest.mark.parametrize(("x", "told"), [(990.0, False), (990.01, True)])
def test_travel(x: float, told: bool) -> None:
    findings = found("outside-travel", CUT + f"G0 Z20\nG0 X{x}\n")
    assert [facts(f, "severity line measured limit") for f in findings] == (
        [("error", 11, pytest.approx(1200.01), 1200.0)] if told else []
    )


@pytest.mark.parametrize(("height", "told"), [(1.0, False), (0.99, True)])
def test_where_the_cutter_is_left(height: float, told: bool) -> None:
    text = f"G21 G90 G17\nG53 G0 Z0\nT1 M6\nS16000 M3\nG4 P5\n{CUT}G0 Z{height}\nM5\nM30\n"
    said = check_program(text.encode(), path="p.ngc", setting=of_program(""), rules=[book()["first-move-unsafe"]])
    assert [facts(f, "severity line measured limit") for f in said.findings] == (
        [("warning", 10, pytest.approx(0.99), 1.0)] if told else []
    )


@pytest.mark.parametrize(
    ("head", "words", "line"),
    [
        ("G0 X40 Y40\nG0 Z5\n", "", 4),  # X and Y before Z
        ("G0 X40 Y40 Z5\n", "", 4),  # together
        ("G0 Z0.9\nG0 X40 Y40\n", "", 4),  # Z down first
        ("G0 Z5\nG0 X40 Y40\n", "", None),
        ("G53 G0 Z0\nG0 X40 Y40\n", "", None),
        ("G91 G28 Z0\nG90\nG0 X40 Y40\n", "", None),
        ("G0 X40 Y40\nG0 Z5\n", "change automatic", None),
        ("G91 G0 X40\nG90 G0 Z5\nG0 X40 Y40\n", "", 4),
    ],
)
def test_first_moves(head: str, words: str, line: int | None) -> None:
    text = f"G21 G90 G17\nT1 M6\nS16000 M3\n{head}G1 X60 Z-2 F800\nG1 X120\nG0 Z30\nM30\n"
    setting = of_program(f"(setting: {words})" if words else "")
    said = check_program(text.encode(), path="p.ngc", setting=setting, rules=[book()["first-move-unsafe"]])
    assert [f.line for f in said.findings] == ([] if line is None else [line])
    assert all(f.severity == "warning" for f in said.findings)


@pytest.mark.parametrize(
    ("stickout", "severity"),
    [(10.0, None), (9.9, "warning"), (7.0, "warning"), (6.9, "error")],  # 7 mm deep and 3 mm to spare
)
def test_stickout(stickout: float, severity: str | None) -> None:
    told = found("stickout-too-short", slot(7.0), words=f"T1 flute_length 6,T1 stickout {stickout}")
    assert [f.severity for f in told] == ([] if severity is None else [severity])
    for short in told:
        assert facts(short, "measured limit unit") == (stickout, pytest.approx(10.0), "mm")


@pytest.mark.parametrize(
    ("depth", "words", "tool", "limit", "severity"),
    [
        (18.5, "", 1, None, ""),
        (18.51, "", 1, 0.5, "error"),
        (18.45, "thickness 17.9 18.1", 1, 0.5, "warning"),  # where it is thinnest
        (18.35, "thickness 17.9 18.1", 1, None, ""),
        (21.3, "", 4, None, ""),  # 0.5, 0.3 D and 1 mm for the point of a drill
        (21.35, "", 4, 3.3, "error"),
        (32.7, "pin 50 50 6 12", 4, None, ""),
        (32.9, "pin 50 50 6 12", 4, 14.8, "error"),
        (32.7, "pin 60 50 6 12", 4, 3.3, "error"),
    ],
)
def test_depth_below_the_stock(depth: float, words: str, tool: int, limit: float | None, severity: str) -> None:
    told = found("below-spoilboard", f"G0 X50 Y50\nG0 Z2\nG1 Z-{depth} F300\nG0 Z5\n", words=words, tool=tool, rpm=6000)
    assert [facts(f, "severity line limit unit") for f in told] == (
        [] if limit is None else [(severity, 8, pytest.approx(limit), "mm")]
    )
    rise = 0.1 if severity == "warning" else 0.0
    assert all(f.measured == pytest.approx(depth - 18 + rise) for f in told)


# ---- notes ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("times", "told"), [(3, False), (5, True)])  # 400 mm at F1600 are a quarter of a minute
def test_a_minute_and_a_quarter_of_the_feeds_in_air(times: int, told: bool) -> None:
    body = "G0 X40 Y40\nG0 Z20\nG1 Z3 F1600\n" + "G1 X240\nG1 X40\n" * times + "G1 Z0 F300\nG1 X200 Z-3 F1600\nG1 X40\n"
    findings = found("air-cutting", body)
    assert [f.severity for f in findings] == (["note"] if told else [])
    assert all((f.unit, f.limit) == ("%", 25.0) and (f.measured or 0) > 25 for f in findings)
    assert not found("air-cutting", body + "G1 X240 Y45 Z-3\nG1 X40\nG1 Y50\nG1 X240\n" * 40)


def side(way: int, width: float, passes: int = 2, depth: float = 2.0) -> str:
    """Cuts along the front of the stock from one side; ``way`` 1: the material on the left."""
    a, b = (-10, 310) if way > 0 else (310, -10)
    cuts = (f"G0 X{a} Y{width * (k + 1) - 3}\nG0 Z-{depth}\nG1 X{b} F900\nG0 Z5\n" for k in range(passes))
    return "M8\n" + "".join(cuts)


@pytest.mark.parametrize(
    ("body", "words", "told"),
    [
        (side(1, 1.0), ALUMINIUM, True),
        (side(-1, 1.0), ALUMINIUM, False),
        (side(1, 0.32), ALUMINIUM, True),
        (side(1, 0.25), ALUMINIUM, False),  # less than a twentieth of the diameter
        (side(1, 2.3), ALUMINIUM, True),
        (side(1, 2.5), ALUMINIUM, False),  # more than four tenths
        (side(1, 1.0), ACRYLIC, True),
        (side(1, 1.0), "", False),  # wood
        (side(1, 1.0), f"{ALUMINIUM},machine screw-router", False),  # a light frame
        (side(1, 1.0, 1) + side(-1, 1.0, 2), ALUMINIUM, False),  # zigzag
        (side(-1, 1.0).replace("M8", "M8\nM4"), ALUMINIUM, True),
    ],
)
def test_cutting_against_the_feed(body: str, words: str, told: bool) -> None:
    findings = found("conventional-cut", body, words=words)
    assert [f.severity for f in findings] == (["note"] if told else [])
    assert all((f.unit, f.limit) == ("%", 80.0) for f in findings)


@pytest.mark.parametrize(
    ("depth", "length", "words", "told"),
    [(2.0, 60.0, ALUMINIUM, False), (2.1, 60.0, ALUMINIUM, True), (2.5, 11.5, ALUMINIUM, False), (2.5, 13.0, ALUMINIUM, True)],
)
def test_full_slots_in_metal(depth: float, length: float, words: str, told: bool) -> None:
    """Half of the 4.083 mm a slot may be deep; two diameters."""
    reach = 40 + depth * 20
    body = f"M8\nG0 X40 Y40\nG0 Z2\nG1 Z0 F100\nG1 X{reach} Z-{depth} F300\nG1 X{reach + length} F900\nG0 Z5\n"
    findings = found("full-width-cut", body, words=words)
    assert [f.severity for f in findings] == (["note"] if told else [])
    assert all(f.limit == pytest.approx(2.042, abs=1e-3) and f.measured == pytest.approx(depth, abs=1e-3) for f in findings)
    assert not found("full-width-cut", body)


@pytest.mark.parametrize(
    ("wall", "depth", "words", "told"),
    [(1.5, 10, "", True), (2.4, 10, "", False), (0.6, 15, ALUMINIUM, True), (0.95, 15, ALUMINIUM, False)],
)
def test_thin_walls(wall: float, depth: float, words: str, told: bool) -> None:
    """2 mm or a tenth of the height in wood; 0.5 mm or a twentieth in metal. Walls are measured to a sixth of that."""
    levels = [min(depth, 4 * (k + 1)) for k in range(-(-int(depth) // 4))]
    grooves = ""
    for y in (60.0, 66.0 + wall):
        passes = "".join(f"G1 X60 F900\nG1 X160 Z-{z}\n" for z in levels)
        grooves += f"G0 X160 Y{y}\nG0 Z2\nG1 Z0 F300\n{passes}G1 X60\nG0 Z5\n"
    findings = found("thin-wall", grooves, words=words)
    assert [f.severity for f in findings] == (["warning"] if told else [])
    assert all(f.measured == pytest.approx(wall, abs=0.3) for f in findings)


# ---- chips, power, bending ------------------------------------------------------------------------------------------


def quick() -> Setting:
    """A machine that reaches every feed, so that the feed asked for is the feed of the cut."""
    setting = of_program("")
    assert setting.machine is not None
    machine = replace(setting.machine, feed_max=60000.0, feed_max_z=60000.0, acceleration=(2e4, 2e4, 2e4), spindle_power=9000.0)
    return replace(setting, machine=machine)


def level_slot(chip: float, depth: float = 3.0, rpm: int = 16000) -> str:
    """A slot 6 mm wide at a chip load of two flutes."""
    return f"G0 X40 Y40\nG0 Z2\nG1 Z0 F300\nG1 X64 Z-{depth} F1600\nG1 X240 F{chip * 2 * rpm:.1f}\nG1 Y60\nG1 X64\n"


@pytest.mark.parametrize(
    ("chip", "severity"),  # the table's high end for 6 mm in birch plywood: 0.28 mm; 1.25 and 2 times that
    [(0.345, None), (0.355, "warning"), (0.555, "warning"), (0.565, "error")],
)
def test_thick_chips(chip: float, severity: str | None) -> None:
    told = list(report("chip-too-thick", level_slot(chip), setting=quick()).findings)
    assert [f.severity for f in told] == ([] if severity is None else [severity])
    for thick in told:
        assert facts(thick, "line unit measured limit") == (10, "mm", pytest.approx(chip, rel=1e-3), pytest.approx(0.35))


def test_thick_chips_in_the_corners_of_a_contour_do_not_add_up() -> None:
    """A finishing pass of 0.6 mm inside a rectangle: 0.24 mm along the walls, the whole chip of 0.4 mm over 0.6 to 1.2 mm of
    path in each of four corners, half of three turns. Along a wall wider by half a diameter it is told."""
    frame = "G1 X{1}\nG1 Y{2}\nG1 X{0}\nG1 Y{0}\n"
    slot = "G0 X40 Y40\nG0 Z2\nG1 Z-3 F300\nF3000\n" + frame.format(40, 100, 90)
    finish = "G1 X39.4 Y45\nF12800\nG1 Y90.6\nG1 X100.6\nG1 Y39.4\nG1 X39.4\nG1 Y46\n"
    assert not report("chip-too-thick", slot + finish, setting=quick()).findings
    wide = finish.replace("Y90.6", "Y93")
    assert report("chip-too-thick", slot + wide, setting=quick()).findings


def test_a_chip_is_too_thick_only_over_three_turns() -> None:
    turn = 0.8  # mm, two chips of 0.4 mm
    short, long = (
        f"G0 X40 Y40\nG0 Z2\nG1 Z0 F300\nG1 X64 Z-3 F1600\nG1 X240\nG1 Y{40 + d} F12800\nG1 X64 F3000\n" for d in (1, 4)
    )
    assert 1 < 3 * turn < 4
    assert not report("chip-too-thick", short, setting=quick()).findings
    assert report("chip-too-thick", long, setting=quick()).findings


@pytest.mark.parametrize(("chip", "told"), [(0.0295, False), (0.0275, True)])  # half of 0.1 mm, times 0.57 in a slot
def test_thin_chips_in_a_slot(chip: float, told: bool) -> None:
    straight = level_slot(chip).replace("G1 Y60\nG1 X64\n", "")
    findings = list(report("chip-too-thin", straight, setting=quick()).findings)
    assert [f.severity for f in findings] == (["warning"] if told else [])
    assert all(f.limit == pytest.approx(0.0285, rel=0.02) and f.measured == pytest.approx(chip, rel=0.03) for f in findings)


@pytest.mark.parametrize("width", [0.6, 1.2])
def test_thin_chips_beside_the_stock(width: float) -> None:
    """h = f_z * 2 sqrt(w/D (1 - w/D)) against 0.05 mm (circular path)."""
    share = 2 * math.sqrt(width / 6 * (1 - width / 6))

    def beside(thickest: float) -> str:
        return f"G0 X-10 Y{width - 3}\nG0 Z-6\nG1 X310 F{thickest / share * 32000:.1f}\nG0 Y-20\n"

    assert not report("chip-too-thin", beside(0.052), setting=quick()).findings
    thin = only(list(report("chip-too-thin", beside(0.047), setting=quick()).findings))
    assert thin.severity == ("note" if width < 0.9 else "warning")  # a finishing pass
    assert (thin.measured or 0) == pytest.approx(0.047, rel=0.04)


@pytest.mark.parametrize(("feed", "told"), [(241, False), (239, True)])  # half of 0.02 D a turn at 4000 turns
def test_drills_that_rub(feed: int, told: bool) -> None:
    body = drilled("G83", 15, 12, holes=2).replace("F300", f"F{feed}")
    findings = found("chip-too-thin", body, rpm=4000, tool=4)
    assert [facts(f, "severity limit") for f in findings] == ([("warning", pytest.approx(0.06))] if told else [])


def test_power_up_to_half_more_is_a_warning() -> None:
    setting = quick()
    assert setting.machine is not None

    def at(power: float) -> list[Finding]:
        machine = replace(setting.machine, spindle_power=power)  # type: ignore[type-var]
        return list(report("power-over-limit", level_slot(0.1, 6.0), setting=replace(setting, machine=machine)).findings)

    need = only(at(10.0)).measured
    assert need is not None
    # four fifths of 0.85 of the shaft's power, with constant torque up to 24000 turns
    given = 0.8 * 0.85 * 16000 / 24000
    assert not at(1.01 * need / given)
    assert [f.severity for f in at(need / given / 1.1)] == ["warning"]
    assert [f.severity for f in at(need / given / 1.45)] == ["warning"]
    assert [f.severity for f in at(need / given / 1.55)] == ["error"]
    assert only(at(need / given / 1.1)).limit == pytest.approx(need / 1.1)


def test_bending_is_told_from_half_more_than_the_allowance() -> None:
    """By its stickout a cutter bends more; 0.1 mm is allowed in birch plywood."""
    for stickout in range(40, 90, 2):
        told = found("deflection-over-limit", level_slot(0.06), words=f"T1 diameter 3,T1 shank 3,T1 stickout {stickout}")
        if told:
            break
        quiet = stickout
    assert quiet >= 40 and only(told).severity == "warning"
    assert facts(told[0], "limit unit") == (pytest.approx(0.15), "mm")
    assert told[0].measured is not None and 0.15 < told[0].measured < 0.18
