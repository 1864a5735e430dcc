"""Programs made to break the check: each ends in a report that can be written, with no failure inside."""

from __future__ import annotations

import json

import pytest

from advisor.check import check_program
from advisor.findings import Report
from advisor.report.json import render
from advisor.values import Setting
from tests.rules.setting import default

HEAD = "G21 G90 G17 G40 G94\nG53 G0 Z0\nT1 M6\nS16000 M3\nG4 P5\nG0 X20 Y20\nG0 Z5\n"
TAIL = "G0 Z15\nM5\nM30\n"
HUGE = "1" + "0" * 300

CASES = {
    "a coordinate of 1e300": HEAD + f"G1 X{HUGE} F800\nG1 Z-1\nG1 X1\n" + TAIL,
    "a depth of 1e300": HEAD + f"G1 Z-{HUGE} F800\nG1 X1\n" + TAIL,
    "a coordinate of ten thousand kilometres": HEAD + "G1 X9999999999 F800\nG1 X20\n" + TAIL,
    "a feed of nearly nothing": HEAD + "G1 X30 Z-1 F0.0000000000000000000001\n" + TAIL,
    "an arc with a far centre": HEAD + f"G2 X30 Y20 I{HUGE} J0 F800\n" + TAIL,
    "a dwell without end": HEAD + f"G4 P{HUGE}\n" + TAIL,
    "a tool number of 20 digits": HEAD.replace("T1", "T99999999999999999999") + "G1 X30 Z-1 F800\n" + TAIL,
    "a speed of 1e300": HEAD.replace("16000", HUGE) + "G1 X30 Z-1 F800\n" + TAIL,
    "moves of no length": HEAD + "G1 X20 Y20 F800\n" * 5000 + TAIL,
    "moves from nowhere": "G91\n" + "G1 X1 F100\n" * 2000,
    "inverse time with F0": HEAD + "G93\nG1 X30 F2\nG1 X60 F0\n" + TAIL,
    "turning axes": HEAD + "G1 A30 F100\nG1 X40 A50\n" + TAIL,
    "ninety tools": HEAD + "".join(f"T{i} M6\nG1 X{i} F100\n" for i in range(2, 92)) + TAIL,
    "a division by nought in every block": HEAD + "G1 X[1/0]\n" * 300 + TAIL,
    "unreadable blocks": HEAD + "G1 X=1\n" * 1200 + TAIL,
    "a zero byte inside": HEAD + "G1 X1\x00 F1\n" + TAIL,
    "a long line": "G1 X1 (" + "a" * 300_000 + ")\n",
    "terminal controls": HEAD + "G1 X40 X50 (\x1b[2J\x07)\n" + TAIL,
    "only an end": "M30\n",
    "only a dwell": "G4 P1\nM30\n",
}


@pytest.mark.parametrize("setting", [default(), Setting()], ids=["full", "none"])
@pytest.mark.parametrize("name", sorted(CASES))
def test_ends_in_a_report(name: str, setting: Setting) -> None:
    found = check_program(CASES[name].encode("latin-1"), path="p.ngc", setting=setting)
    assert [f.message for f in found.findings if f.rule == "internal-error"] == []
    if name != "moves of no length":  # nothing is wrong with those
        assert found.findings or found.not_checked
    assert "NaN" not in render(Report("0", (found,)))
    json.loads(render(Report("0", (found,))))


def test_faults_past_the_bound_are_counted() -> None:
    found = check_program(CASES["unreadable blocks"].encode(), path="p.ngc", setting=default())
    told = [f for f in found.findings if f.rule == "unreadable-block"]
    assert len(told) == 1000 and "200 more findings" in told[-1].message
