"""Forms of real programs whose reports once said something wrong: probes, two coordinate systems, inches, stops, macros.

The forms are those met in real programs of many origins; the programs here are made up.
"""

from __future__ import annotations

from dataclasses import replace

from advisor.check import check_program
from advisor.findings import ProgramReport, Report
from advisor.report.text import render
from advisor.values import Hold, Setting
from tests.rules.setting import default

CUT = "S18000 M3\nG4 P4\nG0 X40 Y40\nG0 Z3\nG1 X60 Z-4 F1200\nG1 X40\nG1 Y120 F2200\nG1 X100\nG0 Z20\nM5\nM2\n"
TOUCH_PLATE = "(plate 19.05 mm thick)\nG21\nG91\nG38.2 Z-40 F100\nG92 Z19.05\nG0 Z5\nG90\nM0 (take the plate away)\n" + CUT
PROBE_FIRST = "G21 G90 G17 G40 G49\nG38.2 Z-50 F120\nG10 L20 P1 Z12.7\nG0 Z20\n" + CUT


def report(program: str, setting: Setting | None = None) -> ProgramReport:
    return check_program(program.encode(), path="p.nc", setting=default() if setting is None else setting)


def alarms(found: ProgramReport) -> list[tuple[str, int, str]]:
    return [(f.rule, f.line, f.message) for f in found.findings if f.severity != "note"]


def shown(found: ProgramReport) -> str:
    return " ".join(render(Report("0", (found,)), width=80, full=True).split())


def one_tool() -> Setting:
    setting = default()
    return replace(setting, cutters={}, any_cutter=setting.cutters[1])


def test_a_probe_is_no_crash_and_its_end_is_no_place_the_cutter_goes_to() -> None:
    for program in (TOUCH_PLATE, PROBE_FIRST):
        found = report(program, one_tool())
        assert alarms(found) == []
        adrift = [n.reason for n in found.not_checked if n.rule == "outside-travel" and "zeroes Z" in n.reason]
        assert len(adrift) == (program is TOUCH_PLATE)
        assert found.setup["lowest_z"] == 14.0 and found.setup["below_stock"] == 0.0
        assert found.summary["extent"]["min"]["z"] == 14.0


def test_straight_down_first_is_told_above_or_below() -> None:
    found = report("G21 G90 G17 G40 G49\nG0 Z-2\n" + CUT, one_tool())
    assert ("first-move-unsafe", 2, "Z goes to 2.0 mm below the stock's top before X and Y are in place.") in alarms(found)


def test_the_card_says_what_the_display_shows() -> None:
    found = report("G20 G90 G17 G40\nT1 M6\nG0 Z20\n" + CUT.replace("Z-4", "Z-.1").replace("X100", "X2"))
    assert found.setup["display"].endswith("Z -0.1 to 20 in")
    metric = report("G21 G90 G17 G40\nG53 G0 Z0\nT1 M6\n" + CUT)
    assert metric.setup["display"] == "X 40 to 100, Y 40 to 120, Z -4 to 92 mm"
    assert report(CUT, Setting()).setup["display"] is None  # the box itself


def test_a_system_whose_place_is_not_declared_is_not_called_the_datum() -> None:
    program = "G21 G90 G17 G40\nG53 G0 Z0\nT1 M6\nG54\n" + CUT.replace("M5\nM2\n", "G55\nG0 X40 Y40\nG0 Z3\nG0 Z20\nM5\nM2\n")
    found = report(program, replace(default(), offsets={}))
    assert found.setup["datum"].startswith("G54: lowest X, lowest Y, on the stock's top; where G55 lies is NOT KNOWN")


def test_the_spoilboard_is_asked_for_only_where_the_cutter_goes_below_the_stock() -> None:
    setting = replace(default(), hold=Hold(method="tape"))
    assert "below-spoilboard" not in {n.rule for n in report("G21 G90 G17\nG53 G0 Z0\nT1 M6\n" + CUT, setting).not_checked}
    deep = report("G21 G90 G17\nG53 G0 Z0\nT1 M6\n" + CUT.replace("Z-4", "Z-18.3"), setting)
    assert [(n.from_line, n.to_line) for n in deep.not_checked if n.rule == "below-spoilboard"] == [(8, 11)]
    thin = replace(setting, workpiece=replace(setting.workpiece, thickness=(17.5, 18.0)))  # type: ignore[type-var]
    board = report("G21 G90 G17\nG53 G0 Z0\nT1 M6\n" + CUT.replace("Z-4", "Z-17.8"), thin)
    assert "below-spoilboard" in {n.rule for n in board.not_checked}


def test_words_of_a_code_that_is_not_known_are_its_own() -> None:
    found = report("G21 G90 G17\nG53 G0 Z0\nT1 M6\nM300 S440 P200\n" + CUT)
    assert [(rule, line) for rule, line, _ in alarms(found)] == [("unknown-code", 4)]


def test_times_without_a_machine_are_those_of_the_feeds() -> None:
    page = shown(report(CUT, Setting()))
    assert "rapids not counted" in page and "No machine is given: times are those of the feeds" in page
    assert "whose length or feed is not known" not in page


def test_a_tool_without_a_number_is_not_asked_for_its_number() -> None:
    found = report(CUT, Setting())
    told = next(f for f in found.findings if f.rule == "cutter-unknown")
    assert "--cutter NAME" in told.fix and "T=NAME" not in told.fix
    shop = report(CUT, default())
    told = next(f for f in shop.findings if f.rule == "cutter-unknown")
    assert "which of the shop file's cutters" in told.message
    assert any("[start] tool, its number, in the shop file" in n.reason for n in shop.not_checked)
    assert "cutter-unknown" not in {f.rule for f in report(CUT, replace(default(), start={"tool": 1})).findings}


def test_reasons_that_keep_the_same_rules_from_looking_stand_together() -> None:
    setting = replace(default(), machine=replace(default().machine, travel=None))  # type: ignore[type-var]
    program = "G21 G90 G17\nG53 G0 Z0\nT1 M6\n" + CUT.replace("M2\n", "M300\nM117\nG0 Z21\nM2\nG0 X1\n")
    page = shown(report(program, setting))
    assert "M117 is not known (line 15) M300 is not known (line 14)" in page and "(lines 1 to" not in page
    assert "never run: 1 block after the end" in page
