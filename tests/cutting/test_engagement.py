"""Engagement and chip thickness against shapely: the cutter as a polygon, the work as what earlier cuts left."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box, contains_xy, prepare
from shapely.affinity import translate

from advisor.cutting import chip, engagement, power, speed
from advisor.cutting import force as forces

SIDES = 2048


def rim_in(work: Polygon, centre: tuple[float, float], radius: float, heading: float) -> float:
    """Degrees of the leading half of the rim that lie inside the work."""
    count = 20_000
    angle = heading - math.pi / 2.0 + math.pi * (np.arange(count) + 0.5) / count
    prepare(work)
    inside = contains_xy(work, centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle))
    return float(inside.mean()) * 180.0


def disc(x: float, y: float, radius: float) -> Polygon:
    return Point(x, y).buffer(radius, quad_segs=SIDES // 4)


@given(diameter=st.sampled_from([3.0, 3.175, 6.0, 6.35, 12.0]), ratio=st.floats(0.02, 0.98))
@settings(max_examples=30, deadline=None)
def test_straight_cut(diameter: float, ratio: float) -> None:
    radius, width = diameter / 2.0, ratio * diameter
    work = box(-100.0, radius - width, 100.0, 100.0)
    told = engagement.engagement_angle(width=width, diameter=diameter)
    assert told == pytest.approx(rim_in(work, (0.0, 0.0), radius, 0.0), abs=0.15)


@given(diameter=st.sampled_from([3.0, 6.0, 12.0]), near=st.floats(-0.9, 0.5), part=st.floats(0.1, 1.0))
@settings(max_examples=30, deadline=None)
def test_work_under_the_middle(diameter: float, near: float, part: float) -> None:
    radius = diameter / 2.0
    low = near * radius
    high = low + part * (radius - low)
    entry, leave = engagement.entry_exit_between(near=low, far=high, diameter=diameter)
    work = box(-100.0, low, 100.0, high)
    assert leave - entry == pytest.approx(rim_in(work, (0.0, 0.0), radius, 0.0), abs=0.15)


@given(diameter=st.sampled_from([3.0, 6.0]), reach=st.floats(1.1, 20.0), part=st.floats(0.02, 0.95))
@settings(max_examples=40, deadline=None)
def test_inside_arc(diameter: float, reach: float, part: float) -> None:
    """The wall bounds a round hole; what was cut before reaches to R_w - a_e."""
    radius = diameter / 2.0
    wall = reach * radius
    width = part * min(wall, diameter)
    centre = wall - radius
    work = disc(0.0, 0.0, wall + 50.0).difference(disc(0.0, 0.0, wall - width))
    # the cutter runs tangentially: counterclockwise at (R_c, 0) it heads up; its own earlier trail lies behind
    found = rim_in(work, (centre, 0.0), radius, math.pi / 2.0)
    told = engagement.inside_arc_engagement(wall_radius=wall, diameter=diameter, width=width)
    assert told == pytest.approx(found, abs=0.2)


@given(diameter=st.sampled_from([3.0, 6.0]), wall=st.floats(0.5, 60.0), part=st.floats(0.02, 0.95))
@settings(max_examples=40, deadline=None)
def test_outside_arc(diameter: float, wall: float, part: float) -> None:
    radius = diameter / 2.0
    width = part * diameter
    work = disc(0.0, 0.0, wall + width)
    found = rim_in(work, (wall + radius, 0.0), radius, math.pi / 2.0)
    told = engagement.outside_arc_engagement(wall_radius=wall, diameter=diameter, width=width)
    assert told == pytest.approx(found, abs=0.2)


def test_arcs_become_straight_lines() -> None:
    straight = engagement.engagement_angle(width=2.0, diameter=6.0)
    for arc in (engagement.inside_arc_engagement, engagement.outside_arc_engagement):
        assert arc(wall_radius=1e7, diameter=6.0, width=2.0) == pytest.approx(straight, abs=1e-4)


@given(diameter=st.sampled_from([3.0, 6.35, 12.0]), ratio=st.floats(0.05, 1.0), load=st.floats(0.02, 0.2))
@settings(max_examples=15, deadline=None)
def test_chip_is_what_two_discs_leave(diameter: float, ratio: float, load: float) -> None:
    """One tooth's chip is the disc less the disc one feed per tooth behind; its area and greatest thickness."""
    radius, width = diameter / 2.0, ratio * diameter
    work = box(-100.0, radius - width, 100.0, 100.0)
    here = disc(0.0, 0.0, radius)
    piece = here.intersection(work).difference(translate(here, -load, 0.0))
    mean = chip.mean_chip(chip_load=load, width=width, diameter=diameter)
    arc = math.radians(engagement.engagement_angle(width=width, diameter=diameter)) * radius
    # area f_z a_e exactly, whatever the shape of the chip's ends: compared along the full lunes
    assert mean * arc == pytest.approx(load * width)
    assert piece.area == pytest.approx(load * width, rel=0.03)
    if width < radius:
        rim = 1e-9 + radius
        top = math.radians(engagement.engagement_angle(width=width, diameter=diameter))
        # thickness along the ray at the thickest place: from the earlier disc to this one
        direction = (math.sin(top), math.cos(top))
        back = direction[0] * -load
        along = back + math.sqrt(radius**2 - (load**2 - back**2))
        thick = rim - along
        assert chip.greatest_chip(chip_load=load, width=width, diameter=diameter) == pytest.approx(
            thick, abs=load * load / diameter
        )


@given(ratio=st.floats(0.01, 1.0), load=st.floats(0.001, 0.5), angle=st.floats(10.0, 90.0))
def test_thinning_undoes_itself(ratio: float, load: float, angle: float) -> None:
    wide = chip.chip_load_for(thickness=load, width=ratio, diameter=1.0, edge_angle=angle, cap=1e6)
    back = chip.greatest_chip(chip_load=wide, width=ratio, diameter=1.0, edge_angle=angle)
    assert back == pytest.approx(load)


@given(ratio=st.floats(0.001, 1.0), load=st.floats(0.001, 0.5))
def test_mean_is_below_the_greatest(ratio: float, load: float) -> None:
    mean = chip.mean_chip(chip_load=load, width=ratio, diameter=1.0)
    top = chip.greatest_chip(chip_load=load, width=ratio, diameter=1.0)
    assert 0.5 * top <= mean <= top


def test_mean_is_the_mean() -> None:
    """Against plain averaging of h = f_z sin(phi)."""
    for entry, leave in ((0.0, 53.13), (120.0, 180.0), (30.0, 150.0), (0.0, 180.0), (0.0, 0.3)):
        grid = np.linspace(entry, leave, 20_001)
        middle = (grid[1:] + grid[:-1]) / 2.0
        plain = np.mean([chip.chip_at(chip_load=0.1, angle=float(angle)) for angle in middle[::20]])
        told = chip.mean_chip_between(chip_load=0.1, entry=entry, exit=leave)
        assert told == pytest.approx(float(plain), rel=2e-3)


@given(
    diameter=st.floats(1.0, 20.0),
    ratio=st.floats(0.02, 1.0),
    depth=st.floats(0.1, 20.0),
    load=st.floats(0.01, 0.3),
    rpm=st.floats(500.0, 24000.0),
    flutes=st.integers(1, 6),
)
def test_power_is_force_times_speed(diameter: float, ratio: float, depth: float, load: float, rpm: float, flutes: int) -> None:
    """P = a_p a_e v_f k_c = F z_e v_c, identically."""
    width = ratio * diameter
    mean = chip.mean_chip(chip_load=load, width=width, diameter=diameter)
    specific = forces.specific_force(unit_force=700.0, exponent=0.24, thickness=mean)
    feed = speed.feed_speed(rpm=rpm, flutes=flutes, chip_load=load)
    of_volume = power.cutting_power(depth=depth, width=width, feed=feed, specific_force=specific)
    tooth = forces.kienzle_force(unit_force=700.0, exponent=0.24, thickness=mean, chip_width=depth)
    teeth = engagement.teeth_in_cut(flutes=flutes, engagement=engagement.engagement_angle(width=width, diameter=diameter))
    around = speed.cutting_speed(diameter=diameter, rpm=rpm)
    of_force = power.power_of_force(force=forces.mean_force(tooth_force=tooth, teeth_in_cut=teeth), cutting_speed=around)
    assert of_force == pytest.approx(of_volume, rel=1e-9)
    turning = power.torque(power=of_volume, rpm=rpm)
    assert power.power_of_torque(torque=turning, rpm=rpm) == pytest.approx(of_volume)


def test_arc_chip_follows_the_centre() -> None:
    """In a bore of 10.2 mm cut full with 6 mm the chip at the centre's feed is the feed per tooth, not less."""
    angle = engagement.inside_arc_engagement(wall_radius=5.1, diameter=6.0, width=5.1)
    assert angle == 180.0
    assert chip.greatest_chip_over(chip_load=0.10, engagement=angle) == pytest.approx(0.10)


@given(wall=st.floats(6.0, 200.0), width=st.floats(0.05, 0.3))
def test_arc_factor_keeps_the_chip_at_light_widths(wall: float, width: float) -> None:
    """sqrt(R_c/R_w) makes the greatest chip of a light inside cut that of the straight cut, within 6 %."""
    diameter = 6.0
    factor = engagement.arc_feed_factor(wall_radius=wall, centre_radius=wall - 3.0)
    assert 0.5 <= factor <= 1.2
    inside = engagement.inside_arc_engagement(wall_radius=wall, diameter=diameter, width=width)
    bent = chip.greatest_chip_over(chip_load=0.1 * factor, engagement=inside)
    straight = chip.greatest_chip(chip_load=0.1, width=width, diameter=diameter)
    assert bent == pytest.approx(straight, rel=0.06)
