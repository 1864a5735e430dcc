"""A touch plate before anything else: the probe's own block can't be followed, what comes after it can."""

from __future__ import annotations

from advisor.check import check_program
from tests.rules.setting import default

PROGRAM = b"G21 G90 G17\nG38.2 Z-20 F50\nG92 Z12\nG0 Z20\nM3 S18000\nG4 P4\nG0 X20 Y20\nG1 Z-3 F600\nG1 X100 F2400\nG0 Z20\nM5\nM30\n"


def test_only_rules_on_rapids_miss_a_probe_from_an_unknown_place() -> None:
    report = check_program(PROGRAM, path="probe.ngc", setting=default())
    missed = {n.rule for n in report.not_checked if n.cause == "unknown-position"}
    assert "rapid-into-stock" in missed
    assert not missed & {"stepdown-over-limit", "plunge-feed", "chip-too-thick", "straight-plunge", "below-spoilboard"}
    assert report.summary["removed_cm3"] > 1
