"""Recommendations: facts of the trade, refusals, mistakes told, and the form of the answer."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from advisor import catalogue
from advisor.advice import OPERATIONS, Advice, BadRequest, Rating, Refusal, Request
from advisor.rate import rate
from advisor.recommend import recommend
from advisor.values import Cutter, Machine
from tests.engine.shop import advise, ask, plain, refuse

PLY, ALUMINIUM, STEEL = "birch-plywood", "aluminium-wrought", "mild-steel"

# --- facts of the trade: common practice, no source -------------------------------------------------------------------


@pytest.mark.parametrize("cutter", ["endmill-upcut-6mm-2f", "endmill-upcut-1-4in-2f", "endmill-upcut-8mm-2f"])
def test_21_mm_birch_plywood_is_slotted_in_three_equal_passes(cutter: str) -> None:
    """Common practice, no source."""
    advice = advise(cutter, PLY, "ballscrew-router", "slot", 21.0)
    assert advice.passes == (7.0, 7.0, 7.0)


def test_feed_in_birch_plywood_is_what_shops_use() -> None:
    """6 mm two-flute at 18000 rev/min on a rigid router: about 2000 to 4000 mm/min. Common practice, no source."""
    request = ask("endmill-upcut-6mm-2f", PLY, "ballscrew-router", "slot", 18.0)
    assert request.machine is not None
    slower = replace(request, machine=replace(request.machine, spindle_max=18000.0))
    advice = recommend(slower)
    assert isinstance(advice, Advice)
    assert advice.spindle_rpm == 18000
    assert 2000 <= advice.feed <= 4000
    assert advice.plunge_feed is not None and 800 <= advice.plunge_feed <= 1620


def test_aluminium_on_a_hobby_gantry_is_shallow() -> None:
    """0.02 to 0.04 mm a tooth, a few tenths deep. Common practice, no source."""
    for cutter in ("endmill-upcut-6mm-1f", "endmill-metal-6mm-2f"):
        advice = advise(cutter, ALUMINIUM, "screw-router", "slot", 6.0)
        assert 0.02 <= advice.physics.chip_load <= 0.04
        assert 0.1 <= advice.stepdown <= 1.0


def test_a_light_machine_gets_less() -> None:
    """Common practice, no source."""
    machines = ("belt-router", "screw-router", "ballscrew-router", "industrial-router")
    for cutter, material in (("endmill-upcut-6mm-2f", PLY), ("endmill-metal-3mm-3f", ALUMINIUM)):
        answers = [recommend(ask(cutter, material, machine, "slot", 6.0)) for machine in machines]
        rates = [a.physics.removal_rate if isinstance(a, Advice) else 0.0 for a in answers]
        assert rates == sorted(rates) and rates[1] > 0
        assert rates[0] < 0.5 * rates[-1]


def test_a_belt_driven_router_does_not_slot_metal_with_large_cutters() -> None:
    """What is left is not worth cutting: refused with the reason, not clipped to a scratch. Common practice, no source."""
    answer = refuse("endmill-metal-6mm-3f", ALUMINIUM, "belt-router", "slot", 6.0)
    assert answer.limited_by[0] == "deflection" and "smaller cutter" in answer.helps[0]


def test_helical_entry_is_a_few_degrees_in_plywood_and_at_most_three_in_steel() -> None:
    """Common practice, no source."""
    for machine in ("belt-router", "screw-router", "ballscrew-router", "industrial-router"):
        helix = advise("endmill-upcut-6mm-2f", PLY, machine, "slot", 12.0).helix
        assert helix is not None and 1.5 <= helix.angle <= 6.0
        assert helix.pitch <= 0.5 * 6 and 6 < helix.bore_diameter <= 12
    for machine in ("knee-mill", "machining-centre"):
        helix = advise("endmill-metal-6mm-4f", STEEL, machine, "slot", 6.0).helix
        assert helix is not None and 0.2 <= helix.angle <= 3.0
        assert helix.pitch <= 0.05 * 6


def test_the_feed_of_a_helix_keeps_the_chip_of_its_centre() -> None:
    """The chip follows the centre's feed; it must not fall under the least, nor the descent under a plunge."""
    advice = advise("endmill-upcut-6mm-2f", PLY, "ballscrew-router", "bore", 12.0, bore_diameter=10.2)
    assert advice.helix is not None and advice.cut is not None
    chip = advice.helix.feed / (advice.spindle_rpm * 2)
    assert advice.cut.chip_floor(6.0) <= chip <= advice.cut.chip_range(6.0)[2] + 1e-9
    down = advice.helix.feed * math.sin(math.radians(advice.helix.angle))
    assert down <= advice.cut.plunge_feed_max(advice.spindle_rpm)


def test_one_more_fact_a_down_cut_cutter_never_plunges() -> None:
    advice = advise("endmill-downcut-6mm-2f", PLY, "ballscrew-router", "slot", 12.0)
    assert advice.plunge_feed is None
    assert any("straight down" in text for text in advice.warnings)
    assert advice.stepdown <= 6.0


def test_drilling() -> None:
    """High speed steel drill 5 mm in mild steel: 20 to 30 m/min, 0.01 to 0.02 D a turn. Common practice, no source."""
    advice = advise("drill-5mm", STEEL, "knee-mill", "drill", 10.0)
    assert 15 <= advice.physics.cutting_speed <= 30
    assert 0.05 <= advice.feed / advice.spindle_rpm <= 0.1
    assert sum(advice.pecks) == pytest.approx(10.0)
    deep = advise("drill-5mm", ALUMINIUM, "knee-mill", "drill", 40.0)
    assert deep.pecks[0] <= 15 and all(b <= 5 for b in deep.pecks[1:]) and deep.pecks[-1] <= 2.5 + 1e-9


# --- what can't be cut well is refused --------------------------------------------------------------------------------


def test_refuses_a_drill_too_big_for_the_slowest_spindle() -> None:
    answer = refuse("drill-12mm", STEEL, "screw-router", "drill", 12.0)
    assert "slowest spindle speed (8000 rev/min) is too fast" in answer.reasons[0]
    assert answer.helps


def test_refuses_a_cutter_too_big_for_the_slowest_spindle() -> None:
    answer = refuse("endmill-metal-20mm-4f", STEEL, "screw-router", "slot", 2.0)
    assert "too fast" in answer.reasons[0]


def test_refuses_where_no_chip_lies_between_too_thin_and_too_thick() -> None:
    request = ask("endmill-metal-1mm-2f", STEEL, "machining-centre", "slot", 1.0)
    assert request.machine is not None
    rough = replace(request, machine=replace(request.machine, runout=0.2, stiffness=0.02))
    answer = recommend(rough)
    assert isinstance(answer, Refusal)
    assert "too thin" in answer.reasons[0]


def test_refuses_a_material_without_data_for_the_cutter() -> None:
    assert "blunt" in refuse("endmill-hss-6mm-2f", "mdf", "ballscrew-router").reasons[0]
    assert "no data supports it" in refuse("endmill-upcut-6mm-2f", STEEL, "machining-centre").reasons[0]


def test_refuses_a_cut_the_cutter_does_not_reach() -> None:
    assert "stands out 28 mm" in refuse("endmill-upcut-6mm-2f", PLY, "ballscrew-router", "slot", 35.0).reasons[0]


def test_refuses_a_bore_with_a_core_of_unknown_height() -> None:
    answer = refuse("endmill-hss-10mm-4f", ALUMINIUM, "knee-mill", "bore", 5.0, bore_diameter=18.0)
    assert "core" in answer.reasons[0]


def test_a_refusal_has_the_same_keys() -> None:
    answer = refuse("endmill-hss-6mm-2f", "mdf", "ballscrew-router").to_dict()
    assert set(answer) == set(advise("endmill-upcut-6mm-2f", PLY, "ballscrew-router").to_dict())
    assert answer["refusal"]["reasons"] and answer["feed_mm_min"] is None


# --- mistakes ---------------------------------------------------------------------------------------------------------

GOOD = plain(6.0, 2, flute_length=20.0, stickout=28.0, shank=6.0)


@pytest.mark.parametrize(
    ("place", "change", "more"),
    [
        ("diameter", {"diameter": 0.0}, {}),
        ("diameter", {"diameter": -6.0}, {}),
        ("diameter", {"diameter": math.nan}, {}),
        ("flutes", {"flutes": 0}, {}),
        ("flute-length", {"flute_length": 30.0}, {}),
        ("flute-length", {"flute_length": -1.0}, {}),
        ("stickout", {"stickout": 0.0, "flute_length": None}, {}),
        ("shank", {"shank": -3.0}, {}),
        ("corner-radius", {"form": "corner", "corner_radius": 4.0}, {}),
        ("tip-angle", {"form": "vee", "tip_angle": 180.0}, {"operation": "engrave"}),
        ("dead-diameter", {"dead_diameter": 6.0}, {}),
        ("tip-diameter", {"form": "vee", "tip_diameter": 7.0}, {"operation": "engrave"}),
        ("depth", {}, {"depth": -1.0}),
        ("depth", {}, {"depth": 0.0}),
        ("depth", {}, {"depth": math.inf}),
        ("stepover", {}, {"operation": "side", "stepover": 7.0}),
        ("stepover", {}, {"operation": "side", "stepover": 0.0}),
        ("stepover", {}, {"operation": "slot", "stepover": 2.0}),
        ("bore-diameter", {}, {"operation": "bore", "bore_diameter": 6.0}),
        ("helix-angle", {}, {"operation": "bore", "helix_angle": 95.0}),
        ("tolerance", {}, {"tolerance": 0.0}),
        ("specific-force", {}, {"specific_force": -5.0}),
        ("operation", {}, {"operation": "slott"}),
        ("operation", {"form": "drill"}, {"operation": "slot"}),
        ("operation", {"form": "vee", "tip_angle": 60.0}, {"operation": "pocket"}),
        ("operation", {"centre_cutting": False, "dead_diameter": 2.0}, {"operation": "drill"}),
        ("operation", {"twist": "down"}, {"operation": "drill"}),
        ("operation", {"centre_cutting": False, "dead_diameter": 2.0}, {"operation": "bore", "bore_diameter": 7.0}),
    ],
)
def test_mistakes_are_told_with_place_and_remedy(place: str, change: dict[str, object], more: dict[str, object]) -> None:
    cutter = replace(GOOD, **change)  # type: ignore[arg-type]
    request = Request(cutter, catalogue.material(PLY), catalogue.machine("screw-router"), **more)  # type: ignore[arg-type]
    with pytest.raises(BadRequest) as told:
        recommend(request)
    assert told.value.place == place
    assert told.value.message and told.value.remedy
    with pytest.raises(BadRequest):
        rate(request, rpm=18000, feed=2000, stepdown=3.0)


def test_a_misspelt_operation_is_told_the_nearest() -> None:
    with pytest.raises(BadRequest, match='did you mean "slot"'):
        recommend(ask("endmill-upcut-6mm-2f", PLY, "screw-router", "slott"))


def test_a_machine_that_is_turned_upside_down() -> None:
    machine = Machine("", spindle_min=30000.0, spindle_max=24000.0)
    with pytest.raises(BadRequest) as told:
        recommend(Request(GOOD, catalogue.material(PLY), machine))
    assert told.value.place == "spindle-min"


def test_no_material_no_advice() -> None:
    with pytest.raises(BadRequest) as told:
        recommend(Request(GOOD, None, None))
    assert told.value.place == "material"


# --- the answer -------------------------------------------------------------------------------------------------------


def test_bare_numbers_are_answered_with_what_was_assumed() -> None:
    advice = recommend(Request(plain(6.0, 2), catalogue.material(PLY), None, "slot", 18.0))
    assert isinstance(advice, Advice)
    text = " ".join(advice.assumptions)
    assert "screw-router taken" in text and "flute length not given" in text and "stickout not given" in text


def test_the_same_question_has_the_same_answer_to_the_bit() -> None:
    for args in (
        ("endmill-upcut-6mm-2f", PLY, "screw-router", "side", 12.0),
        ("endmill-metal-10mm-3f", ALUMINIUM, "machining-centre", "pocket", 8.0),
    ):
        first, second = advise(*args), advise(*args)
        assert first == second
        assert json.dumps(first.to_dict()) == json.dumps(second.to_dict())


KEYS = {
    "schema", "inputs", "spindle_rpm", "cutting_speed_m_min", "chip_load_mm", "feed_mm_min", "plunge_feed_mm_min",
    "stepdown_mm", "passes_mm", "stepover_mm", "helix", "ramp_angle_deg", "first_cut", "max_chip_thickness_mm",
    "removal_rate_cm3_min", "force_n", "torque_nm", "power_w", "deflection_mm", "range", "limits", "limited_by",
    "warnings", "assumptions", "safety", "sources",
}  # fmt: skip


def _numbers(value: object) -> list[float]:
    if isinstance(value, dict):
        return [x for v in value.values() for x in _numbers(v)]
    if isinstance(value, list):
        return [x for v in value for x in _numbers(v)]
    return [float(value)] if isinstance(value, (int, float)) and not isinstance(value, bool) else []


@pytest.mark.parametrize("operation", OPERATIONS)
def test_form_of_the_answer(operation: str) -> None:
    cutter = {"drill": "drill-5mm", "engrave": "vee-60deg-6mm-2f"}.get(operation, "endmill-upcut-6mm-2f")
    machine = "ballscrew-router"
    advice = advise(cutter, PLY, machine, operation, 3.0)
    made = advice.to_dict()
    assert set(made) >= KEYS
    assert made["schema"] == "feedwright.speeds/1"
    text = json.dumps(made, allow_nan=False)
    for number in _numbers(json.loads(text)):
        assert round(number, 6) == number
    assert made["safety"] and made["sources"] and made["limited_by"]
    assert sum(advice.passes) == pytest.approx(3.0)
    assert len(set(advice.passes)) == 1
    assert made["feed_mm_min"] == pytest.approx(
        made["chip_load_mm"] * made["spindle_rpm"] * advice.request.cutter.flutes, rel=1e-4
    )
    if made["helix"]:
        assert {"bore_diameter_mm", "path_diameter_mm", "pitch_mm", "angle_deg", "wall_angle_deg", "feed_mm_min"} <= set(
            made["helix"]
        )
        assert made["helix"]["wall_angle_deg"] < made["helix"]["angle_deg"]
    for limit in made["limits"]:
        assert {"name", "value", "limit", "unit", "use", "source"} <= set(limit) and limit["source"]
    named = {limit["name"] for limit in made["limits"]}
    assert set(made["limited_by"]) <= named


def test_range_first_cut_and_finish() -> None:
    for cutter, material, machine, operation in (
        ("endmill-upcut-6mm-2f", PLY, "ballscrew-router", "slot"),
        ("endmill-upcut-6mm-2f", PLY, "belt-router", "pocket"),
        ("endmill-metal-6mm-3f", ALUMINIUM, "machining-centre", "side"),
        ("endmill-metal-6mm-4f", STEEL, "knee-mill", "slot"),
    ):
        advice = advise(cutter, material, machine, operation, 6.0)
        low, high = advice.feed_range
        assert low <= advice.feed <= high and low < high
        assert advice.rpm_range[0] <= advice.spindle_rpm <= advice.rpm_range[1]
        first = advice.first_cut
        assert first.removal_rate <= 0.6 * advice.physics.removal_rate + 1e-9
        assert first.stepdown <= advice.stepdown
        assert advice.finish is not None and advice.cut is not None
        assert 0.1 <= advice.finish.allowance <= 0.5
        assert advice.finish.deflection <= advice.cut.deflection_finish + 1e-9


def test_a_tolerance_holds_the_bending() -> None:
    loose = advise("endmill-upcut-6mm-2f", PLY, "screw-router", "slot", 12.0)
    tight = advise("endmill-upcut-6mm-2f", PLY, "screw-router", "slot", 12.0, tolerance=0.01)
    assert tight.physics.deflection is not None and tight.physics.deflection <= 0.01 + 1e-6
    assert tight.physics.removal_rate < loose.physics.removal_rate
    assert "deflection" in tight.limited_by


def test_what_would_help_is_worked_out_by_searching_again() -> None:
    advice = advise("endmill-metal-6mm-4f", STEEL, "machining-centre", "slot", 6.0)
    words = next(text for text in advice.helps if "less stickout" in text)
    millimetres = float(words.split()[0])
    share = float(words.split(" allows ")[1].split()[0])
    request = advice.request
    assert request.cutter.stickout is not None
    again = recommend(replace(request, cutter=replace(request.cutter, stickout=request.cutter.stickout - millimetres)))
    assert isinstance(again, Advice)
    gain = 100 * (again.physics.removal_rate / advice.physics.removal_rate - 1)
    assert gain == pytest.approx(share, abs=0.51)


def test_a_machine_that_chatters_takes_shallower_cuts() -> None:
    request = ask("endmill-metal-10mm-3f", ALUMINIUM, "machining-centre", "slot", 10.0)
    assert request.machine is not None
    calm = recommend(request)
    known = replace(request.machine, natural_frequency=600.0, damping=0.04)
    rough = recommend(replace(request, machine=known))
    assert isinstance(calm, Advice) and isinstance(rough, Advice)
    assert rough.stepdown < calm.stepdown and "chatter" in rough.limited_by
    assert any(limit.name == "chatter" for limit in rough.limits)
    assert not any(limit.name == "chatter" for limit in calm.limits)


def test_what_speeds_advises_rate_does_not_call_over() -> None:
    for args in (
        ("endmill-upcut-6mm-2f", PLY, "ballscrew-router", "slot", 21.0),
        ("endmill-upcut-6mm-2f", PLY, "belt-router", "pocket", 9.0),
        ("endmill-metal-6mm-3f", ALUMINIUM, "machining-centre", "side", 9.0),
        ("endmill-metal-6mm-4f", STEEL, "knee-mill", "slot", 6.0),
        ("drill-5mm", STEEL, "knee-mill", "drill", 10.0),
        ("vee-60deg-12mm-2f", "softwood", "screw-router", "engrave", 2.0),
    ):
        advice = advise(*args)
        asked = replace(advice.request, stepover=None if args[3] in ("slot", "drill", "engrave") else advice.stepover)
        for rpm, feed, stepdown in (
            (advice.spindle_rpm, advice.feed, advice.stepdown),
            (advice.first_cut.spindle_rpm, advice.first_cut.feed, advice.first_cut.stepdown),
        ):
            answer = rate(asked, rpm=rpm, feed=feed, stepdown=stepdown, plunge_feed=advice.plunge_feed)
            assert isinstance(answer, Rating)
            assert answer.verdict in ("within", "near"), (args, answer.warnings)


def test_rate_tells_what_is_wrong() -> None:
    request = ask("endmill-upcut-6mm-2f", PLY, "ballscrew-router", "slot", 21.0)
    fast = rate(request, rpm=18000, feed=12000, stepdown=7.0)
    assert fast.verdict == "over" and "chip-too-thick" in fast.limited_by
    slow = rate(request, rpm=18000, feed=400, stepdown=7.0)
    assert slow.verdict == "over" and "chip-too-thin" in slow.limited_by
    deep = rate(request, rpm=18000, feed=2000, stepdown=21.0)
    assert "stepdown-material" in deep.limited_by
    down = rate(request, rpm=18000, feed=3000, stepdown=6.0, plunge_feed=3000)
    assert "plunge-feed" in down.limited_by
    assert all(text.endswith(".") for text in fast.warnings)


def test_rate_without_material_or_machine_says_what_was_not_judged() -> None:
    answer = rate(Request(plain(6, 2), None, None, "slot"), rpm=18000, feed=3600, stepdown=3.0)
    made = answer.to_dict()
    assert made["force_n"] is None and made["power_w"] is None and made["deflection_mm"] is None
    assert made["max_chip_thickness_mm"] == 0.1
    assert len(made["not_judged"]) == 3
    named = {limit["name"] for limit in made["limits"]}
    assert not named & {"spindle-power", "chip-too-thick", "deflection", "stepdown-material"}


@pytest.mark.parametrize(("name", "value"), [("rpm", 0.0), ("feed", -1.0), ("stepdown", math.nan), ("plunge_feed", 0.0)])
def test_rate_asks_for_numbers_above_zero(name: str, value: float) -> None:
    given = {"rpm": 18000.0, "feed": 3000.0, "stepdown": 3.0, name: value}
    with pytest.raises(BadRequest):
        rate(ask("endmill-upcut-6mm-2f", PLY, "screw-router"), **given)


def test_a_cutter_by_numbers_in_every_form() -> None:
    for form, operation in (("flat", "slot"), ("ball", "pocket"), ("vee", "engrave"), ("drill", "drill")):
        cutter = Cutter("", form=form, diameter=6.0, flutes=2)
        answer = recommend(Request(cutter, catalogue.material(PLY), catalogue.machine("industrial-router"), operation, 2.0))
        assert isinstance(answer, Advice), form
