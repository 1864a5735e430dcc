"""The limits follow the rulings of the trade; each is common practice, no source, unless marked."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from advisor import catalogue
from advisor.cutting import bending, power, speed
from advisor.limits import (
    MAX_UNMARKED,
    NoData,
    chip_load_at,
    cut_limits,
    spindle_power,
    stepped_compliance,
)
from advisor.operations import effective_diameter
from advisor.values import Cutter

PLY, ALUMINIUM, STEEL = "birch-plywood", "aluminium-wrought", "mild-steel"


def limits(cutter: str | Cutter, material: str, machine: str = "ballscrew-router"):  # type: ignore[no-untyped-def]
    tool = catalogue.cutter(cutter) if isinstance(cutter, str) else cutter
    return cut_limits(cutter=tool, material=catalogue.material(material), machine=catalogue.machine(machine))


def test_birch_plywood_slots_to_1_2_diameters_on_rigid_machines() -> None:
    """Common practice, no source; three equal passes in 21 mm need 1.17 to 1.31 D with 6 mm cutters (computed)."""
    assert limits("endmill-upcut-6mm-2f", PLY).slot_stepdown == pytest.approx(7.2)
    assert limits("endmill-upcut-6mm-2f", PLY, "belt-router").slot_stepdown < 5.0


def test_side_cut_keeps_the_area_of_the_slot() -> None:
    """a_p * a_e <= 0.5 * D * a_slot, never above the flutes (computed: a deep light cut loads straight flutes x3)."""
    found = limits("endmill-upcut-6mm-2f", PLY)
    for a_e in (0.5, 1.0, 2.0, 2.4):
        assert found.stepdown(a_e) == pytest.approx(min(22.0, 0.5 * 6 * 7.2 / a_e))
    assert found.stepdown(6.0) == pytest.approx(7.2)
    straight = limits("endmill-straight-6mm-2f", PLY)
    assert straight.stepdown(0.1) == pytest.approx(2 * straight.slot_stepdown_material)


def test_slots_of_birch_plywood_take_thinner_chips_and_deep_ones_thinner_still() -> None:
    """6 mm: 0.06 to 0.15 in slots; x0.75 at 2 D, x0.5 at 3 D. Common practice, no source."""
    found = limits("endmill-upcut-6mm-2f", PLY)
    _, low, chosen, high = found.chip_range(6.0)
    assert low == pytest.approx(0.06, rel=0.06)
    assert high == pytest.approx(0.15, rel=0.08)
    assert found.chip_range(6.0, 12.0)[2] == pytest.approx(0.75 * chosen)
    assert found.chip_range(6.0, 18.0)[2] == pytest.approx(0.50 * chosen)
    assert found.chip_range(2.0)[1:] == (found.chip_low, found.chip_chosen, found.chip_high)


def test_least_chip_is_half_the_low_end_and_leaves_room() -> None:
    """A fixed least of 0.05 mm would forbid every small cutter in acrylic; half the low end does not."""
    for material in catalogue.names("materials"):
        entry = catalogue.material(material)
        for diameter in entry.chip_load:
            low, _, high = chip_load_at(entry, diameter)
            assert 0.5 * low < high, (material, diameter)
    assert limits("endmill-upcut-1.5mm-2f", "acrylic").chip_least == pytest.approx(0.01)


def test_weak_machines_take_thinner_chips() -> None:
    """x0.4-0.6 in metals and x0.6-0.8 in wood below about 2 N/um (estimate, no source)."""
    belt, screw, ball = (
        limits("endmill-upcut-6mm-2f", ALUMINIUM, m).chip_scale for m in ("belt-router", "screw-router", "ballscrew-router")
    )
    assert 0.4 <= belt <= 0.6 < screw < ball == 1.0
    assert 0.6 <= limits("endmill-upcut-6mm-2f", PLY, "belt-router").chip_scale <= 0.8


def test_straight_plunge() -> None:
    """Wood 0.015 D a turn (6 mm at 18000: 1620), plastics 0.01, aluminium 0.004, steel 0.002."""
    assert limits("endmill-upcut-6mm-2f", PLY).plunge_feed_max(18000) == pytest.approx(1620)
    for cutter, material, share in (
        ("endmill-upcut-6mm-2f", "acrylic", 0.01),
        ("endmill-metal-6mm-2f", ALUMINIUM, 0.004),
        ("endmill-metal-6mm-4f", STEEL, 0.002),
    ):
        assert limits(cutter, material, "machining-centre").plunge_per_rev_max == pytest.approx(6 * share)


def test_ramps_are_capped() -> None:
    """10 degrees in wood, 5 in aluminium, 3 in steel."""
    for material, most in ((PLY, 10), ("softwood", 10), (ALUMINIUM, 5), (STEEL, 3)):
        for machine in catalogue.names("machines"):
            found = limits("endmill-metal-6mm-4f", material, machine)
            assert found.ramp_angle is not None and found.ramp_angle_max is not None
            assert 0 < found.ramp_angle <= found.ramp_angle_max <= most


def test_no_ramp_without_a_known_core_height() -> None:
    tool = replace(catalogue.cutter("endmill-metal-10mm-4f"), centre_cutting=False, dead_diameter=3.0)
    found = limits(tool, STEEL, "knee-mill")
    assert found.ramp_angle is None and not found.centre_entry
    assert found.bore_min == pytest.approx(13.0)
    assert found.bore_max == pytest.approx(20.0)
    known = limits(replace(tool, core_height=0.05), STEEL, "knee-mill")
    assert known.ramp_angle == pytest.approx(math.degrees(math.atan(0.05 / 3.0)))  # tan = g / d_nc (geometry)
    told = limits(replace(tool, ramp_angle=0.8), STEEL, "knee-mill")
    assert told.ramp_angle_max == 0.8


def test_cutters_that_push_chips_down() -> None:
    """Slots 0.5 to 1 D, no plunge."""
    found = limits("endmill-downcut-6mm-2f", PLY)
    assert 3.0 <= found.slot_stepdown <= 6.0
    assert not found.centre_entry
    assert limits("endmill-downcut-6mm-2f", PLY, "belt-router").slot_stepdown < found.slot_stepdown


def test_router_cutters_bend_more_than_mills() -> None:
    """0.65 to 0.7 of the diameter for one- and two-flute router cutters, 0.8 for metal mills (Kops & Vo 1990); the
    core carries 0.45 to 0.55 of the diameter."""
    router, mill = limits("endmill-upcut-6mm-2f", PLY), limits("endmill-metal-6mm-4f", STEEL, "knee-mill")
    assert 0.65 <= router.equivalent_diameter / 6 <= 0.7
    assert 0.45 <= router.core_diameter / 6 <= 0.55
    assert mill.equivalent_diameter / 6 == pytest.approx(0.8)


def test_worn_edge_in_plywood() -> None:
    """80 to 100 N/mm2 at a chip of 0.1 mm for power and holding."""
    assert 80 <= limits("endmill-upcut-6mm-2f", PLY).force_high.at(0.1) <= 100.5


def test_large_cutters_without_a_mark_stay_slow() -> None:
    tool = replace(catalogue.cutter("endmill-upcut-20mm-2f"), diameter=26.0)
    assert limits(tool, PLY).spindle_max == MAX_UNMARKED
    assert limits(replace(tool, max_rpm=16000.0), PLY).spindle_max == 16000.0
    assert limits(replace(tool, max_rpm=9000.0), PLY).spindle_max_name == "cutter-speed-mark"


def test_no_data_is_told_not_extrapolated() -> None:
    with pytest.raises(NoData, match="blunt"):
        limits("endmill-hss-6mm-2f", "mdf")
    with pytest.raises(NoData, match="too far outside"):
        limits(replace(catalogue.cutter("endmill-upcut-20mm-2f"), diameter=60.0), PLY)
    with pytest.raises(NoData, match="rigid"):
        limits("endmill-metal-6mm-4f", "titanium-6al4v", "belt-router")


def test_every_limit_names_its_source() -> None:
    for machine in catalogue.names("machines"):
        found = limits("endmill-metal-6mm-3f", ALUMINIUM, machine)
        assert all(found.sources.values())
        assert {"chip_load", "specific_force", "stepdown_slot_rigid", "plunge_per_rev"} <= set(found.sources)


def test_limits_are_remembered() -> None:
    assert limits("endmill-upcut-6mm-2f", PLY) is limits("endmill-upcut-6mm-2f", PLY)


def test_inlined_formulas_equal_the_formula_modules() -> None:
    """The search inlines a few formulas for speed; they are those of advisor.cutting."""
    for rpm in (500.0, 6000.0, 12000.0, 24000.0, 30000.0):
        for name in catalogue.names("machines"):
            machine = catalogue.machine(name)
            if rpm > machine.spindle_max:
                continue
            expected = power.spindle_power(
                rpm=rpm, rated_power=machine.spindle_power, rated_speed=machine.spindle_max, curve=machine.power_curve
            )
            assert spindle_power(machine, rpm) == pytest.approx(expected, rel=1e-12), (name, rpm)
    found = bending.stepped_deflection(
        force=10.0, flute_length=12.0, flute_diameter=2.4, stickout=30.0, shank=6.0, modulus=580000.0
    )
    assert 10 * stepped_compliance(d_1=2.4, d_2=6.0, l_1=12.0, l_2=30.0, modulus=580000.0) == pytest.approx(found)
    assert found * 1000 == pytest.approx(8.381, abs=0.001)  # beam theory
    ball = Cutter("", form="ball", diameter=6.0)
    assert effective_diameter(ball, 0.5) == pytest.approx(speed.ball_diameter(diameter=6.0, depth=0.5))
