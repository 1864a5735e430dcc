"""A touch plate before anything else: the probe's own block can't be followed, what comes after it can."""

from __future__ import annotations

from advisor.check import check_program
from tests.rules.setting import default

PROGRAM = b"""G21 G90 G17
T1 M6
G38.2 Z-20 F50
G92 Z12
G0 Z20
M3 S18000
G4 P4
G0 X20 Y20
G1 Z-3 F600
G1 X100 F2400
G0 Z20
M5
M30
"""


def test_only_rules_on_rapids_miss_a_probe_from_an_unknown_place() -> None:
    report = check_program(PROGRAM, path="probe.ngc", setting=default())
    missed = {n.rule for n in report.not_checked if n.cause == "unknown-position"}
    assert "rapid-into-stock" in missed
    assert not missed & {"stepdown-over-limit", "plunge-feed", "chip-too-thick", "straight-plunge", "below-spoilboard"}
    assert report.summary["removed_cm3"] > 1
