"""Corrections and peaks of the force, by plain counting."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.cutting import chip, drilling, engagement, force, holding, wear


@settings(max_examples=50, deadline=None)
@given(depth=st.floats(0.1, 30.0), diameter=st.floats(2.0, 20.0), helix=st.floats(5.0, 50.0), arc=st.floats(5.0, 180.0))
def test_length_of_one_tooth_in_the_work(depth: float, diameter: float, helix: float, arc: float) -> None:
    """Turn the cutter and count which slices of one tooth are inside the arc; the most at any moment is told."""
    slices = (np.arange(2000) + 0.5) / 2000 * depth
    lag = np.degrees(2.0 * slices * math.tan(math.radians(helix)) / diameter)
    most = 0.0
    for turn in (*np.linspace(0.0, arc + lag[-1], 200), arc):
        inside = (turn - lag >= 0.0) & (turn - lag <= arc)
        most = max(most, float(inside.mean()) * depth)
    told = force.peak_depth(depth=depth, diameter=diameter, helix=helix, engagement=arc)
    assert told == pytest.approx(most, abs=depth / 1000.0)
    assert force.peak_depth(depth=depth, diameter=diameter, helix=0.0, engagement=arc) == depth


@settings(max_examples=50, deadline=None)
@given(flutes=st.integers(1, 6), arc=st.floats(1.0, 180.0), lag=st.floats(0.0, 170.0))
def test_teeth_that_touch_at_once(flutes: int, arc: float, lag: float) -> None:
    turns = np.linspace(0.0, 360.0 / flutes, 3000, endpoint=False)
    tips = (turns[:, None] + 360.0 / flutes * np.arange(flutes)) % 360.0  # a tooth touches from tip in to top out
    most = int((tips < arc + lag).sum(axis=1).max())
    pitches = (arc + lag) * flutes / 360.0
    if abs(pitches - round(pitches)) > 2e-3:  # nearer than the steps of the turn can tell
        assert force.overlapping_teeth(flutes=flutes, engagement=arc, lag=lag) == most
    steady = engagement.steady_depth(diameter=6.0, flutes=flutes, helix=30.0)
    assert engagement.helix_lag(depth=steady, helix=30.0, diameter=6.0) == pytest.approx(360.0 / flutes)


def test_corrections() -> None:
    """Source, from memory: Tschaetsch: 1.5 % a degree of rake; (100/v)^0.1; wear 10, 25 and 30 % a 0.1 mm; 1.2 in milling."""
    assert force.rake_factor(rake=7.0, reference_rake=6.0) == pytest.approx(0.985, abs=5e-5)
    assert force.rake_factor(rake=6.0, reference_rake=6.0) == 1.0
    assert force.speed_factor(cutting_speed=50.0) == pytest.approx(2.0**0.1)
    assert force.speed_factor(cutting_speed=100.0) == force.speed_factor(cutting_speed=240.0) == 1.0
    for component, factor in (("tangential", 1.10), ("feed", 1.25), ("passive", 1.30)):
        assert force.wear_factor(wear_land=0.1, component=component) == pytest.approx(factor)
    assert [force.process_factor(process=name) for name in ("turning", "milling", "drilling")] == [1.0, 1.2, 1.2]
    with pytest.raises(ValueError, match="use turning, milling"):
        force.process_factor(process="sawing")
    with pytest.raises(ValueError, match="use tangential, feed"):
        force.wear_factor(wear_land=0.1, component="sideways")


def test_edge_force_ends_with_the_chip() -> None:
    assert force.edge_model_force(shear_force=25.0, edge_force=1.5, thickness=0.0, chip_width=7.0) == 0.0
    thin = force.edge_model_force(shear_force=25.0, edge_force=1.5, thickness=0.1, chip_width=7.0)
    assert thin == pytest.approx((2.5 + 1.5) * 7.0)
    assert force.side_force(tangential=30.0, radial_ratio=4.0 / 3.0) == pytest.approx(50.0)
    assert force.runout_chip(thickness=0.1, runout=0.015) == pytest.approx(0.115)


def test_board_edge_force_gives_the_stated_specific_force() -> None:
    """Estimate, no source: K_tc 25 and K_te 1.5 amount to 55, 40 and 30 N/mm2 at 0.05, 0.1 and 0.3 mm."""
    for thickness, told in ((0.05, 55.0), (0.1, 40.0), (0.3, 30.0)):
        found = force.edge_model_specific_force(shear_force=25.0, edge_force=1.5, thickness=thickness)
        assert found == pytest.approx(told)


def test_caps_on_thinning() -> None:
    """Common practice, no source: thinning is not followed beyond 4 times."""
    assert chip.radial_thinning(width=0.01, diameter=10.0) == 4.0
    assert chip.axial_thinning(edge_angle=5.0) == 4.0
    assert chip.axial_thinning(edge_angle=30.0) == pytest.approx(2.0)
    assert chip.rubbing_chip(edge_radius=0.006) == pytest.approx(0.0024)
    assert chip.chip_load_over(thickness=0.05, engagement=30.0) == pytest.approx(0.1)
    assert chip.chip_load_over(thickness=0.05, engagement=120.0) == pytest.approx(0.05)


def test_bites_one_by_one() -> None:
    """Common practice, no source: metal 3 D, then 1 D, 0.5 D beyond 6 D."""
    bites = drilling.pecks(depth=40.0, diameter=5.0, first=3.0, then=1.0, deep=0.5)
    assert bites == pytest.approx((15.0, 5.0, 5.0, 5.0, 2.5, 2.5, 2.5, 2.5))
    assert drilling.pecks(depth=12.0, diameter=5.0, first=1.0, then=1.0) == pytest.approx((5.0, 5.0, 2.0))


def test_wear_and_life() -> None:
    assert wear.worn_force(sharp=40.0, factor=2.0, share=0.5) == pytest.approx(60.0)
    assert wear.worn_edge_radius(sharp=0.006, worn=0.036, share=0.5) == pytest.approx(0.021)
    # source: ti-insert-2020: life falls about 4 % for each 1 % of speed
    assert wear.life_ratio(speed_ratio=1.01) == pytest.approx(0.96, abs=0.002)
    assert wear.edge_travel(engagement=180.0, diameter=6.0, rpm=18000.0, minutes=1.0) == pytest.approx(math.pi * 3.0 * 18.0)


def test_holding() -> None:
    """Common practice, no source: four tabs of 6 x 2 mm at 10 N/mm2 hold 480 N."""
    assert holding.tab_force(width=6.0, thickness=2.0, strength=10.0, count=4) == pytest.approx(480.0)
    assert holding.push_use(force=100.0, axis_push=400.0) == 0.25
