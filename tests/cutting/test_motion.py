"""Moves and corners against sums along the way; entries and passes against counting."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.cutting import drilling, entry, motion, surface


def along_the_way(length: float, feed: float, acceleration: float) -> float:
    """Seconds of a move from rest to rest: dx/v with v the least of the feed and what either end allows at x."""
    turn = (np.arange(20_000) + 0.5) / 20_000 * np.pi / 2.0
    way = length * np.sin(turn) ** 2  # dense at both ends, where v is small
    part = length * 2.0 * np.sin(turn) * np.cos(turn) * (np.pi / 2.0 / 20_000)
    fastest = np.minimum(feed / 60.0, np.sqrt(2.0 * acceleration * np.minimum(way, length - way)))
    return float(np.sum(part / fastest))


@settings(max_examples=40, deadline=None)
@given(length=st.floats(1.0, 60.0), feed=st.floats(600.0, 6000.0), acceleration=st.floats(300.0, 3000.0))
def test_move_against_the_sum_along_its_way(length: float, feed: float, acceleration: float) -> None:
    told = motion.move_seconds(length=length, feed=feed, acceleration=acceleration)
    assert told == pytest.approx(along_the_way(length, feed, acceleration), rel=1e-4)


@given(length=st.floats(0.01, 100.0), feed=st.floats(100.0, 20000.0), acceleration=st.floats(50.0, 5000.0))
def test_a_move_of_reach_distance_just_reaches(length: float, feed: float, acceleration: float) -> None:
    reach = motion.reach_distance(feed=feed, acceleration=acceleration)
    assert motion.peak_speed(length=reach, feed=feed, acceleration=acceleration) == pytest.approx(feed)
    assert motion.peak_speed(length=0.99 * reach, feed=feed, acceleration=acceleration) < feed
    two = motion.move_seconds(length=length, feed=feed, acceleration=acceleration)
    assert two >= length / (feed / 60.0)


@given(angle=st.floats(5.0, 175.0), deviation=st.floats(0.001, 0.5))
def test_corner_arc_strays_as_allowed(angle: float, deviation: float) -> None:
    """The inscribed arc of radius r lies r/sin(theta/2) - r from the corner's point."""
    fastest = motion.corner_speed(acceleration=500.0, deviation=deviation, angle=angle)
    radius = (fastest / 60.0) ** 2 / 500.0
    half = math.sin(math.radians(angle) / 2.0)
    assert radius / half - radius == pytest.approx(deviation, rel=1e-6)


def test_straight_on_and_back_again() -> None:
    assert motion.corner_speed(acceleration=500.0, deviation=0.02, angle=180.0) == math.inf
    assert motion.corner_speed(acceleration=500.0, deviation=0.02, angle=0.0) == 0.0


def test_jerk_only_adds_way() -> None:
    plain = motion.reach_distance(feed=6000.0, acceleration=500.0) / 2.0
    assert motion.jerk_distance(feed=6000.0, acceleration=500.0, jerk=1e12) == pytest.approx(plain)
    assert motion.jerk_distance(feed=6000.0, acceleration=500.0, jerk=5000.0) > plain


@given(bore=st.floats(6.5, 12.0), pitch=st.floats(0.05, 3.0))
def test_helix_angle_and_pitch_undo_each_other(bore: float, pitch: float) -> None:
    angle = entry.helix_angle(bore=bore, diameter=6.0, pitch=pitch)
    assert entry.helix_pitch(bore=bore, diameter=6.0, angle=angle) == pytest.approx(pitch)
    assert entry.helix_wall_angle(bore=bore, pitch=pitch) < angle


def test_a_tight_bore_is_steep_and_harmless() -> None:
    """Common practice, no source: a 6.6 mm bore of 0.6 mm pitch reads 18 degrees at the centre, a tenth of D a turn."""
    assert entry.helix_angle(bore=6.6, diameter=6.0, pitch=0.6) == pytest.approx(17.7, abs=0.05)


def test_bore_limits_by_covering() -> None:
    """Every point of the floor passes under a live edge from D + d_nc on, and none is left beyond 2 D."""
    diameter, dead = 10.0, 3.0
    least, greatest = entry.bore_limits(diameter=diameter, dead_diameter=dead)

    def covered(bore: float) -> bool:
        path = (bore - diameter) / 2.0
        for radius in (i / 100.0 * bore / 2.0 for i in range(101)):
            # distances of the cutter's axis from the point over a turn: |path - radius| to path + radius
            if path + radius < dead / 2.0 - 1e-9 or abs(path - radius) > diameter / 2.0 + 1e-9:
                return False
        return True

    assert covered(least + 1e-6)
    assert not covered(least - 0.05)
    assert covered(greatest - 1e-6)
    assert not covered(greatest + 0.05)
    assert entry.bore_limits(diameter=10.0, corner_radius=1.0)[1] == 18.0


@given(depth=st.floats(0.1, 100.0), greatest=st.floats(0.05, 20.0))
def test_equal_passes(depth: float, greatest: float) -> None:
    passes = entry.equal_passes(depth=depth, greatest=greatest)
    assert sum(passes) == pytest.approx(depth)
    assert max(passes) - min(passes) == 0.0
    assert passes[0] <= greatest * (1.0 + 1e-8)
    assert len(passes) == 1 or depth / (len(passes) - 1) > greatest


def test_equal_passes_of_a_board() -> None:
    """Common practice, no source: 21 mm of birch plywood, 1.2 D in slots, 6 and 8 mm cutters: three passes of 7 mm."""
    for diameter in (6.0, 8.0):
        assert entry.equal_passes(depth=21.0, greatest=1.2 * diameter) == pytest.approx((7.0, 7.0, 7.0))
    assert entry.equal_passes(depth=18.0, greatest=6.0) == (6.0, 6.0, 6.0)


def test_ramp_no_faster_than_a_plunge() -> None:
    angle = entry.steepest_angle(feed=3600.0, plunge_feed=1080.0)
    assert entry.descent_speed(feed=3600.0, angle=angle) == pytest.approx(1080.0)
    assert entry.descent_per_turn(feed=1080.0, rpm=18000.0) == pytest.approx(0.06)
    assert entry.steepest_angle(feed=500.0, plunge_feed=1080.0) == 90.0
    assert entry.ramp_length(depth=7.0, angle=3.0) == pytest.approx(7.0 / math.tan(math.radians(3.0)))


@given(depth=st.floats(0.5, 120.0), diameter=st.floats(1.0, 20.0))
def test_pecks(depth: float, diameter: float) -> None:
    bites = drilling.pecks(depth=depth, diameter=diameter, first=3.0, then=1.0, deep=0.5)
    assert sum(bites) == pytest.approx(depth)
    assert bites[0] <= 3.0 * diameter * (1.0 + 1e-12)
    reached = bites[0]
    for bite in bites[1:]:
        assert bite <= (1.0 if reached < 6.0 * diameter else 0.5) * diameter * (1.0 + 1e-9)
        reached += bite


def test_deep_holes_are_drilled_slower() -> None:
    """Source, from memory: Machinery's Handbook: 3 d -10 %, 4 d -20 %, 5 d -30 % speed."""
    factors = [drilling.deep_hole_factors(depth_ratio=ratio)[0] for ratio in (1.0, 3.0, 4.0, 5.0, 7.0)]
    assert factors == [1.0, 0.9, 0.8, 0.7, 0.65]


def test_thrust_is_below_the_cutting_force() -> None:
    thrust = drilling.drill_thrust(specific_force=3000.0, feed_per_turn=0.2, diameter=10.0)
    cutting = 3000.0 * 0.2 * 10.0 / 2.0
    assert 0.4 * cutting < thrust < 0.7 * cutting


@given(diameter=st.floats(1.0, 20.0), share=st.floats(1e-6, 1.0))
def test_scallops_undo_themselves(diameter: float, share: float) -> None:
    height = surface.scallop_height(diameter=diameter, stepover=share * diameter)
    assert surface.scallop_stepover(diameter=diameter, height=height) == pytest.approx(share * diameter, rel=1e-6)
