"""What ``speeds`` advises, ``check`` is silent on: programs written from the advice, first cut and all, are checked."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from advisor.advice import Advice
from advisor.check import check_program
from advisor.values import Setting, Workpiece
from tests.engine.shop import advise

CASES = [
    ("endmill-upcut-6mm-2f", "birch-plywood", "ballscrew-router", "slot", 18.0),
    ("endmill-upcut-6mm-2f", "birch-plywood", "screw-router", "slot", 12.0),
    ("endmill-upcut-8mm-2f", "mdf", "screw-router", "pocket", 15.0),
    ("endmill-upcut-3mm-2f", "softwood", "belt-router", "slot", 6.0),
    ("endmill-upcut-6mm-2f", "acrylic", "screw-router", "slot", 5.0),
    ("endmill-metal-6mm-3f", "aluminium-wrought", "machining-centre", "slot", 4.0),
    ("endmill-metal-8mm-4f", "mild-steel", "knee-mill", "slot", 3.0),
]


def program(advice: Advice, *, feed: float, rpm: float, stepdown: float) -> bytes:
    """A slot along X from a helical entry at its left end, each level entered by the helix again."""
    helix = advice.helix
    assert helix is not None and advice.request.depth is not None
    r = helix.path_diameter / 2
    count = round(advice.request.depth / stepdown)
    lines = [
        "G21 G90 G17 G94 G40 G49 G80",
        "G53 G0 Z0",
        "T1 M6",
        f"S{rpm:.0f} M3",
        "G4 P5",
        f"G0 X{30 + r:.4f} Y40 Z12",
        "G0 Z6",
    ]
    lines.append(f"G1 Z0.5 F{min(helix.feed, advice.plunge_feed or helix.feed):.0f}")
    for level in range(count):
        top, floor = (0.5 if level == 0 else -level * stepdown), -(level + 1) * stepdown
        turns = math.ceil((top - floor) / helix.pitch - 1e-9)
        for turn in range(1, turns + 1):
            z = top + (floor - top) * turn / turns
            lines.append(f"G3 X{30 + r:.4f} Y40 Z{z:.4f} I{-r:.4f} J0 F{helix.feed:.0f}")
        lines.append(f"G3 X{30 + r:.4f} Y40 I{-r:.4f} J0")
        lines.append(f"G1 X110 F{feed:.0f}")
        lines.append(f"G1 X{30 + r:.4f}")
    return "\n".join([*lines, "G0 Z20", "M5", "M30"]).encode() + b"\n"


@pytest.mark.parametrize("case", CASES, ids=[" ".join(map(str, c)) for c in CASES])
def test_check_is_silent_on_what_speeds_advised(case: tuple[str, str, str, str, float]) -> None:
    advice = advise(*case)
    request = advice.request
    assert request.machine is not None and request.material is not None
    thick = case[4] + 4.0
    setting = Setting(
        machine=replace(request.machine, chip_clearing=("air",)),
        cutters={1: replace(request.cutter, tool=1)},
        material=request.material,
        workpiece=Workpiece(material=request.material.name, size=(150.0, 80.0, thick), zero=(0.0, 0.0, thick)),
    )
    first = advice.first_cut
    for rpm, feed, stepdown in (
        (advice.spindle_rpm, advice.feed, advice.stepdown),
        (first.spindle_rpm, first.feed, first.stepdown),
    ):
        report = check_program(program(advice, feed=feed, rpm=rpm, stepdown=stepdown), path="slot.ngc", setting=setting)
        told = [(f.rule, f.severity, f.line, f.measured, f.limit) for f in report.findings if f.severity != "note"]
        assert told == [], (case, told)
        looked = {"stepdown-over-limit", "plunge-feed", "ramp-too-steep", "chip-too-thick", "chip-too-thin", "power-over-limit"}
        assert looked <= set(report.rules_looked), looked - set(report.rules_looked)


def test_check_is_not_silent_on_far_more() -> None:
    """The slot in one pass, at twice the feed and a quarter of the spindle speed, is found out."""
    advice = advise(*CASES[0])
    request = advice.request
    assert request.material is not None
    setting = Setting(
        machine=request.machine,
        cutters={1: replace(request.cutter, tool=1)},
        material=request.material,
        workpiece=Workpiece(material=request.material.name, size=(150.0, 80.0, 25.0), zero=(0.0, 0.0, 25.0)),
    )
    data = program(advice, feed=2 * advice.feed, rpm=advice.spindle_rpm / 4, stepdown=18.0)
    report = check_program(data, path="slot.ngc", setting=setting)
    assert {"stepdown-over-limit", "chip-too-thick"} <= {f.rule for f in report.findings}
