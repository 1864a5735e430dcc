"""The two halves of the tool agree over the catalogue: see ``tests/engine/agreement.py`` for the programs."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from advisor import catalogue
from advisor.advice import Advice, Refusal
from advisor.limits import plunge_depth
from advisor.operations import cone_height, engage
from advisor.rate import rate
from advisor.recommend import recommend
from advisor.search import FIRST_CUT_SHARE
from tests.engine.agreement import alarms, answers, both, entries, over
from tests.engine.shop import advise, ask, refuse

# Cases in which they once did not agree.
CASES = [
    ("endmill-upcut-1.5mm-1f", "acrylic", "belt-router", "engrave", 0.75, {}),  # one tooth feels no run-out
    ("endmill-metal-1-8in-3f", "brass", "belt-router", "bore", 1.587, {}),  # run-out on a weak machine
    ("cornermill-6mm-2f", "hardwood", "belt-router", "bore", 6.0, {"bore_diameter": 9.38}),  # first cut below the least chip
    ("endmill-upcut-16mm-1f", "mdf", "belt-router", "drill", 16.0, {}),  # the same of a drill
    ("endmill-metal-6mm-4f", "alloy-steel", "benchtop-mill", "side", 3.0, {}),  # bending of the slowed first cut
    ("vee-120deg-20mm-2f", "pom", "ballscrew-router", "slot", 5.7, {}),  # the last pass of a V takes the most
    ("vee-60deg-20mm-2f", "hdpe", "ballscrew-router", "slot", 10.0, {}),
    ("vee-45deg-1-2in-2f", "softwood-plywood", "benchtop-mill", "slot", 6.35, {}),  # thin chips where a V is thin
    ("endmill-upcut-1-2in-3f", "pom", "ballscrew-router", "face", 38.1, {}),  # strips are cut on one side
    ("endmill-upcut-1-8in-2f", "nylon", "ballscrew-router", "pocket", 9.525, {}),  # laps after the first take less
    ("cornermill-4mm-4f", "particleboard", "ballscrew-router", "slot", 12.0, {}),  # ramps that rubbed
    ("endmill-upcut-12mm-1f", "hdpe", "ballscrew-router", "slot", 36.0, {}),  # ramps without the spindle's power
    ("cornermill-3mm-4f", "hardwood", "machining-centre", "side", 9.0, {}),  # a round edge spreads under itself
    ("ballnose-6mm-4f", "stainless-304", "machining-centre", "face", 6.0, {"stepover": 1.5}),
    ("endmill-metal-8mm-3f", "mdf", "machining-centre", "drill", 8.0, {}),  # inches written rounded
    ("endmill-upcut-3mm-2f", "foam", "industrial-router", "slot", 9.0, {}),  # foam does not pack
    ("endmill-upcut-5mm-2f", "softwood-plywood", "belt-router", "slot", 2.5, {}),  # ramps too short for their feed
]  # fmt: skip


@pytest.mark.parametrize("inch", [False, True], ids=["mm", "inch"])
@pytest.mark.parametrize("case", CASES, ids=[" ".join(map(str, case[:5])) for case in CASES])
def test_check_and_rate_agree_with_speeds(case: tuple[str, str, str, str, float, dict[str, float]], inch: bool) -> None:
    advice = advise(*case[:5], **case[5])
    assert over(advice) == []
    ways = entries(advice)
    assert ways
    for cut in both(advice):
        for entry in ways:
            told = [(f.severity, f.rule, f.line, f.message) for f in alarms(advice, cut, entry, inch)]
            assert told == [], (case, entry)


def test_they_agree_over_the_catalogue() -> None:
    """Of a sample of the catalogue: nothing is over, no error, and warnings only where moves are too short for the feed."""
    checked = told = 0
    for _, answer, chance in answers(21):
        if not isinstance(answer, Advice):
            assert not isinstance(answer, Refusal) or answer.reasons[0].strip()
            continue
        assert over(answer) == [], answer.request
        ways = entries(answer)
        for cut in both(answer) if ways else ():
            found = alarms(answer, cut, chance.choice(ways), chance.random() < 0.35)
            assert {f.rule for f in found} <= {"chip-too-thin", "feed-not-reached"}, (answer.request, found)
            checked += 1
            told += bool(found)
        if checked >= 120:
            break
    assert told <= checked / 100


def test_a_v_groove_in_passes_is_as_large_as_in_one() -> None:
    cutter = catalogue.cutter("vee-60deg-12mm-2f")
    whole = engage(cutter, "engrave", 4.0, 1.0).section
    parts = [engage(cutter, "engrave", 1.0, 1.0, groove=deep).section for deep in (1.0, 2.0, 3.0, 4.0)]
    tangent = math.tan(math.radians(30))
    assert whole == pytest.approx(4.0 * (cutter.tip_diameter + 4.0 * tangent), rel=1e-9)  # a trapezium
    assert sum(parts) == pytest.approx(whole, rel=1e-9)


def test_a_groove_deeper_than_the_cone_is_refused() -> None:
    cutter = catalogue.cutter("vee-120deg-20mm-2f")
    assert cone_height(cutter) == pytest.approx((20 - cutter.tip_diameter) / 2 / math.tan(math.radians(60)), rel=1e-9)
    assert "cone" in refuse("vee-120deg-20mm-2f", "pom", "ballscrew-router", "slot", 10.0).reasons[0]
    free = advise("vee-120deg-20mm-2f", "foam", "industrial-router", "slot")
    assert free.stepdown <= cone_height(cutter) + 1e-9


def test_an_end_mill_is_no_drill_in_metal() -> None:
    told = refuse("endmill-metal-6mm-3f", "aluminium-wrought", "machining-centre", "drill", 6.0)
    assert told.limited_by == ("straight-plunge",) and any("bore" in words for words in told.helps)
    judged = rate(ask("endmill-metal-6mm-3f", "aluminium-wrought", "machining-centre", "drill", 6.0), rpm=8000.0, feed=100.0)
    assert judged.verdict == "over" and any("straight down" in words for words in judged.warnings)
    spot = recommend(ask("endmill-metal-6mm-3f", "aluminium-wrought", "machining-centre", "drill", 0.5))
    assert isinstance(spot, Advice)  # a tenth of the diameter


def test_how_deep_straight_down_is_said_where_a_pass_is_deeper() -> None:
    deep = advise("endmill-upcut-3-8in-2f", "softwood", "benchtop-mill", "slot", 28.575)
    assert deep.stepdown > deep.request.cutter.diameter
    assert any("Straight down at most 9.5" in words for words in deep.warnings)
    metal = advise("endmill-metal-6mm-3f", "aluminium-wrought", "machining-centre", "slot", 4.0)
    assert any("Straight down at most 0.6 mm" in words for words in metal.warnings)
    shallow = advise("endmill-upcut-6mm-2f", "birch-plywood", "screw-router", "slot", 3.0)
    assert not any("Straight down" in words for words in shallow.warnings)
    foam = catalogue.material("foam").family
    assert plunge_depth(deep.request.cutter, foam) == math.inf
    assert plunge_depth(replace(deep.request.cutter, centre_cutting=False), foam) == 0.0


def test_the_first_cut_keeps_its_chip_and_its_share() -> None:
    for case in (CASES[2], CASES[4]):
        advice = advise(*case[:5], **case[5])
        assert advice.first_cut.removal_rate <= FIRST_CUT_SHARE * advice.physics.removal_rate + 1e-9
        assert advice.first_cut.stepdown <= advice.stepdown + 1e-9


def test_a_ramp_is_slower_than_the_cut_and_no_faster_down_than_a_plunge() -> None:
    for _, answer, _ in answers(4):
        if not isinstance(answer, Advice) or answer.ramp_feed is None or answer.ramp_angle is None:
            continue
        assert answer.cut is not None
        assert 0 < answer.ramp_feed <= answer.feed
        down = answer.ramp_feed * math.sin(math.radians(answer.ramp_angle))
        assert down <= answer.cut.plunge_per_rev * answer.spindle_rpm + 1e-6
        if answer.request.depth == 1.0:
            break
