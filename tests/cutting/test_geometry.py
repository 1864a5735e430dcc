"""Plain geometry of cutters and paths, held to coordinates worked out another way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.cutting import chip, engagement, entry, motion, power, speed


@given(depth=st.floats(0.05, 2.9), tilt=st.floats(0.0, 80.0))
def test_tilted_ball(depth: float, tilt: float) -> None:
    """The touched circle of a ball of radius 3: farthest point from the spindle's axis among those below the surface."""
    radius = 3.0
    lean = math.radians(tilt)
    # points of the ball's outline in the plane of the tilt, angle from the surface's normal downwards
    angle = np.linspace(-math.acos(1.0 - depth / radius), math.acos(1.0 - depth / radius), 20_001)
    # distance from the spindle's axis, which leans by the tilt
    away = radius * np.abs(np.sin(angle + lean))
    told = speed.tilted_ball_diameter(diameter=6.0, depth=depth, tilt=tilt)
    assert told == pytest.approx(2.0 * float(away.max()), rel=1e-6)


@given(depth=st.floats(0.01, 6.0))
def test_untilted_ball_is_the_plain_one(depth: float) -> None:
    plain = speed.ball_diameter(diameter=12.0, depth=depth)
    assert speed.tilted_ball_diameter(diameter=12.0, depth=depth, tilt=0.0) == pytest.approx(plain, abs=1e-9)


@given(depth=st.floats(0.01, 5.0), radius=st.floats(0.1, 3.0))
def test_round_edge(depth: float, radius: float) -> None:
    """Length and mean chip of a round edge by walking along it."""
    reach = min(depth, radius)
    angle = np.linspace(0.0, math.acos(1.0 - reach / radius), 4001)
    x, y = radius * np.sin(angle), radius * (1.0 - np.cos(angle))
    walked = float(np.hypot(np.diff(x), np.diff(y)).sum()) + max(0.0, depth - radius)
    assert chip.round_edge_length(depth=depth, radius=radius) == pytest.approx(walked, rel=1e-5)
    # h = f_z sin(kappa): its integral along the edge is f_z times the depth
    assert chip.round_mean_chip(chip_load=0.1, depth=depth, radius=radius) * walked == pytest.approx(0.1 * depth, rel=1e-5)
    assert chip.round_greatest_chip(chip_load=0.1, depth=depth, radius=radius) == pytest.approx(
        0.1 * math.sin(angle[-1]) if depth < radius else 0.1
    )


def test_entry_and_exit() -> None:
    """Up-milling enters at zero, climb leaves at 180 (insperger-2003)."""
    assert engagement.entry_exit(width=3.0, diameter=6.0, climb=False) == pytest.approx((0.0, 90.0))
    assert engagement.entry_exit(width=3.0, diameter=6.0, climb=True) == pytest.approx((90.0, 180.0))
    near = engagement.entry_exit_between(near=-3.0, far=-1.5, diameter=6.0)
    assert near == pytest.approx(engagement.entry_exit(width=1.5, diameter=6.0, climb=True))
    assert chip.mean_chip_over(chip_load=0.1, engagement=90.0) == pytest.approx(0.2 / math.pi)


def test_core_that_clears_the_floor() -> None:
    """A core 0.2 mm above the teeth and 3 mm wide meets the ramp's floor where it has risen by 0.2 mm in 3 mm."""
    angle = entry.core_clear_angle(core_height=0.2, dead_diameter=3.0)
    assert 3.0 * math.tan(math.radians(angle)) == pytest.approx(0.2)
    assert entry.core_clear_angle(core_height=0.0, dead_diameter=3.0) == 0.0


def test_arc_speed_is_centripetal() -> None:
    told = motion.arc_speed(acceleration=500.0, radius=3.0)
    assert (told / 60.0) ** 2 / 3.0 == pytest.approx(500.0)


def test_power_to_plan_with() -> None:
    """Common practice, no source: 0.8 of efficiency times the spindle's power."""
    assert power.power_limit(spindle_power=2200.0, efficiency=0.85) == pytest.approx(1496.0)


def test_rim_speed() -> None:
    """Common practice, no source: 40 m/s is n = 764 000/D."""
    assert speed.rim_speed(diameter=50.0, rpm=764000.0 / 50.0) == pytest.approx(40.0, rel=1e-3)


@given(depth=st.floats(0.05, 4.0))
def test_effective_diameters_never_pass_the_cutter(depth: float) -> None:
    for form in ("flat", "ball", "corner", "vee", "drill"):
        told = speed.effective_diameter(
            form=form, diameter=6.0, depth=depth, corner_radius=1.0, tip_angle=60.0, tip_diameter=0.2
        )
        assert 0.0 < told <= 6.0
        edge = speed.lead_edge_angle(form=form, diameter=6.0, depth=depth, corner_radius=1.0, tip_angle=60.0)
        assert 0.0 < edge <= 90.0
    assert speed.lead_edge_angle(form="vee", diameter=6.0, depth=depth, tip_angle=60.0) == 30.0
    assert speed.lead_edge_angle(form="ball", diameter=6.0, depth=3.0) == 90.0
