"""The engine writes its arithmetic out for speed; this holds it to the formulas, symbol by symbol."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor import catalogue, limits, operations
from advisor.cutting import bending, chip, drilling, engagement, entry, force, power, speed
from advisor.drilling import drill_physics
from advisor.recommend import helix_of, physics

CUTTERS = ("endmill-upcut-6mm-2f", "endmill-metal-10mm-3f", "endmill-straight-1-4in-2f", "ballnose-6mm-2f",
           "cornermill-12mm-4f", "vee-90deg-12mm-2f")  # fmt: skip
MACHINES = catalogue.names("machines")


@given(
    flute=st.floats(5.0, 40.0),
    extra=st.floats(0.0, 30.0),
    thin=st.floats(1.0, 12.0),
    thick=st.floats(3.0, 16.0),
    share=st.floats(0.0, 0.9),
)
def test_bending(flute: float, extra: float, thin: float, thick: float, share: float) -> None:
    told = limits.stepped_compliance(
        d_1=thin, d_2=thick, l_1=flute, l_2=flute + extra, modulus=580000.0, from_tip=share * flute
    )
    assert told == pytest.approx(
        bending.stepped_deflection(
            force=1.0, modulus=580000.0, flute_length=flute, flute_diameter=thin, stickout=flute + extra, shank=thick,
            force_distance=share * flute,
        )
    )  # fmt: skip


@pytest.mark.parametrize("name", MACHINES)
def test_spindle(name: str) -> None:
    machine = catalogue.machine(name)
    for share in (0.01, 0.1, 0.3, 0.5, 0.77, 1.0):
        rpm = share * machine.spindle_max
        told = power.spindle_power(
            rpm=rpm, rated_power=machine.spindle_power, rated_speed=machine.spindle_max, curve=machine.power_curve
        )
        assert limits.spindle_power(machine, rpm) == pytest.approx(told)


@given(h=st.floats(0.001, 1.0))
def test_force_laws(h: float) -> None:
    kienzle = limits.ForceLaw(k11=700.0, m=0.24)
    assert kienzle.at(h) == pytest.approx(force.specific_force(unit_force=700.0, exponent=0.24, thickness=h))
    edged = limits.ForceLaw(k11=631.0, edge=13.0)
    told = force.edge_model_specific_force(shear_force=631.0, edge_force=13.0, thickness=h)
    assert edged.at(h) == pytest.approx(told)


@pytest.mark.parametrize("name", CUTTERS)
@pytest.mark.parametrize("operation", ["side", "slot", "face"])
@settings(max_examples=20, deadline=None)
@given(depth=st.floats(0.1, 5.0), ratio=st.floats(0.02, 1.0))
def test_engagement(name: str, operation: str, depth: float, ratio: float) -> None:
    cutter = catalogue.cutter(name)
    width = cutter.diameter if operation == "slot" else ratio * cutter.diameter
    e = operations.engage(cutter, operation, depth, width)
    shape = {"form": cutter.form, "diameter": cutter.diameter, "depth": depth, "corner_radius": cutter.corner_radius}
    if cutter.tip_angle is not None:
        shape["tip_angle"] = cutter.tip_angle
    assert e.effective_diameter == pytest.approx(speed.effective_diameter(**shape, tip_diameter=cutter.tip_diameter))
    edge = speed.lead_edge_angle(**shape)
    if operation == "face":
        angle = engagement.face_engagement_angle(width=width, diameter=cutter.diameter)
        assert e.greatest == pytest.approx(chip.greatest_chip_over(chip_load=1.0, engagement=90.0, edge_angle=edge))
    else:
        angle = engagement.engagement_angle(width=width, diameter=cutter.diameter)
        told = chip.greatest_chip(chip_load=1.0, width=width, diameter=cutter.diameter, edge_angle=edge)
        assert e.greatest == pytest.approx(told)
    assert e.angle == pytest.approx(angle * 3.141592653589793 / 180.0)
    assert e.teeth == pytest.approx(engagement.teeth_in_cut(flutes=cutter.flutes, engagement=angle))
    if cutter.form == "flat":
        start = 90.0 - angle / 2.0 if operation == "face" else 0.0
        told = chip.mean_chip_between(chip_load=1.0, entry=start, exit=start + angle)
        assert e.mean == pytest.approx(told)


@pytest.mark.parametrize(("material", "cutter", "machine", "rpm", "feed", "depth", "width"), [
    ("birch-plywood", "endmill-upcut-6mm-2f", "ballscrew-router", 18000.0, 3600.0, 7.0, 6.0),
    ("aluminium-wrought", "endmill-metal-10mm-3f", "machining-centre", 8000.0, 1500.0, 8.0, 2.0),
    ("mild-steel", "endmill-metal-10mm-4f", "knee-mill", 3000.0, 400.0, 3.0, 1.0),
])  # fmt: skip
def test_one_setting(material: str, cutter: str, machine: str, rpm: float, feed: float, depth: float, width: float) -> None:
    """Speed, chips, force, torque and power of a whole setting; power is force times teeth times speed."""
    tool = catalogue.cutter(cutter)
    limit = limits.cut_limits(cutter=tool, material=catalogue.material(material), machine=catalogue.machine(machine))
    law = limit.force_nominal
    operation = "slot" if width == tool.diameter else "side"
    told = physics(limit, operations.engage(tool, operation, depth, width), rpm=rpm, feed=feed, power=law, bend=law, ratio=0.5)
    load = speed.feed_per_tooth(feed=feed, rpm=rpm, flutes=tool.flutes)
    mean = chip.mean_chip(chip_load=load, width=width, diameter=tool.diameter)
    around = speed.cutting_speed(diameter=tool.diameter, rpm=rpm)
    watts = power.cutting_power(depth=depth, width=width, feed=feed, specific_force=law.at(mean))
    assert told.cutting_speed == pytest.approx(around)
    assert told.mean_chip_thickness == pytest.approx(mean)
    assert told.removal_rate == pytest.approx(speed.removal_rate(depth=depth, width=width, feed=feed))
    assert told.power == pytest.approx(watts)
    assert told.torque == pytest.approx(power.torque(power=watts, rpm=rpm))
    assert told.force is not None and told.teeth_in_cut is not None
    whole = force.mean_force(tooth_force=told.force, teeth_in_cut=told.teeth_in_cut)
    assert power.power_of_force(force=whole, cutting_speed=around) == pytest.approx(watts)


def test_drill() -> None:
    drill = catalogue.cutter("drill-6mm")
    limit = limits.cut_limits(
        cutter=drill, material=catalogue.material("aluminium-wrought"), machine=catalogue.machine("knee-mill")
    )
    law = limit.force_nominal
    told = drill_physics(limit, rpm=3000.0, feed=360.0, law=law)
    h = drilling.drill_chip(feed_per_turn=0.12, point_angle=118.0)
    turning = drilling.drill_torque(specific_force=law.at(h), feed_per_turn=0.12, diameter=6.0)
    assert told.max_chip_thickness == pytest.approx(h)
    assert told.torque == pytest.approx(turning)
    assert told.power == pytest.approx(power.power_of_torque(torque=turning, rpm=3000.0))
    assert told.removal_rate == pytest.approx(drilling.drill_removal_rate(diameter=6.0, feed=360.0))
    thrust = drilling.drill_thrust(specific_force=law.at(h), feed_per_turn=0.12, diameter=6.0, point_angle=118.0)
    assert told.thrust == pytest.approx(thrust)


@given(bore=st.floats(6.5, 12.0), pitch=st.floats(0.05, 3.0))
def test_helix(bore: float, pitch: float) -> None:
    told = helix_of(bore, 6.0, pitch, 1200.0)
    assert told.path_diameter == pytest.approx(entry.helix_path_diameter(bore=bore, diameter=6.0))
    assert told.angle == pytest.approx(entry.helix_angle(bore=bore, diameter=6.0, pitch=pitch))
    assert told.wall_angle == pytest.approx(entry.helix_wall_angle(bore=bore, pitch=pitch))
    wall = engagement.wall_feed(feed=1200.0, wall_radius=bore / 2.0, diameter=6.0, inside=True)
    assert told.wall_feed == pytest.approx(wall)
