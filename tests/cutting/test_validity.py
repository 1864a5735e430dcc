"""Out of range: what has no meaning raises with name, value and remedy; what is only not covered is told in words."""

from __future__ import annotations

import inspect
import math
from typing import Any

import pytest

from advisor.cutting import bending, chip, drilling, engagement, entry, force, holding, motion, power, speed, wood
from advisor.cutting.validity import RangeError, caveats, covered
from tests.cutting.docs import formulas

ALL = formulas()


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: speed.spindle_speed(cutting_speed=300.0, diameter=0.0), "diameter"),
        (lambda: speed.spindle_speed(cutting_speed=-1.0, diameter=6.0), "cutting_speed"),
        (lambda: speed.feed_per_tooth(feed=100.0, rpm=0.0, flutes=2), "rpm"),
        (lambda: speed.feed_speed(rpm=100.0, flutes=0, chip_load=0.1), "flutes"),
        (lambda: speed.vee_diameter(tip_angle=180.0, tip_diameter=0.0, depth=1.0), "tip_angle"),
        (lambda: engagement.engagement_angle(width=6.1, diameter=6.0), "width"),
        (lambda: engagement.inside_arc_engagement(wall_radius=3.0, diameter=6.0, width=1.0), "wall_radius"),
        (lambda: engagement.entry_exit_between(near=1.0, far=1.0, diameter=6.0), "near"),
        (lambda: chip.mean_chip(chip_load=0.1, width=0.0, diameter=6.0), "width"),
        (lambda: chip.mean_chip_between(chip_load=0.1, entry=90.0, exit=80.0), "exit"),
        (lambda: force.specific_force(unit_force=700.0, exponent=0.25, thickness=0.0), "thickness"),
        (lambda: force.orthogonal_forces(
            shear_stress=1.0, thickness=1.0, chip_width=1.0, rake=0.0, friction_angle=60.0, shear_angle=40.0
        ), "shear_angle"),
        (lambda: bending.fitted_deflection(
            force=1.0, modulus=580000.0, flute_length=10.0, diameter=6.0, stickout=20.0, shank=6.0, flutes=5
        ), "flutes"),
        (lambda: bending.stepped_deflection(
            force=1.0, modulus=1.0, flute_length=10.0, flute_diameter=4.0, stickout=20.0, shank=6.0, force_distance=20.0
        ), "force_distance"),
        (lambda: entry.helix_pitch(bore=6.0, diameter=6.0, angle=3.0), "bore"),
        (lambda: entry.equal_passes(depth=21.0, greatest=0.0), "greatest"),
        (lambda: power.motor_power(power=100.0, efficiency=0.0), "efficiency"),
        (lambda: power.check_curve(curve=[(1000.0, 10.0), (1000.0, 20.0)]), "spindle speed of the power curve"),
        (lambda: motion.corner_speed(acceleration=500.0, deviation=0.02, angle=181.0), "angle"),
        (lambda: holding.vacuum_force(pressure=150.0, area=100.0), "pressure"),
        (lambda: wood.plywood_thickness(nominal=-18.0), "nominal"),
        (lambda: drilling.pecks(depth=10.0, diameter=5.0, first=1.0, then=0.0), "then"),
    ],
)  # fmt: skip
def test_no_meaning_raises(call: Any, name: str) -> None:
    with pytest.raises(RangeError) as caught:
        call()
    assert caught.value.name == name
    assert name.replace("_", " ") in str(caught.value)
    assert caught.value.wanted in str(caught.value)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", ALL)
def test_not_a_number_never_passes(name: str, bad: float) -> None:
    """Each number a formula must have, in turn not-a-number or infinite: ``RangeError`` (or the formula ignores it)."""
    formula = ALL[name]
    usual: dict[str, Any] = {
        "form": "flat", "curve": (), "parts": (1.0,), "component": "tangential", "process": "milling", "flutes": 2,
        "passes": 1, "count": 2, "climb": True, "inside": False, "x_modes": (), "y_modes": (), "x": 1 + 1j, "y": 1 + 1j,
        "modes": (), "factors": (1.0, 0.0, 0.0, 1.0), "entry": 0.0, "exit": 90.0, "radial_ratio": 0.3, "rake": 5.0,
        "near": 0.5, "far": 0.9, "shear_angle": 30.0, "friction_angle": 20.0, "dead_diameter": 0.1, "bore": 5.0,
        "diameter": 3.0, "wall_radius": 9.0, "stickout": 20.0, "flute_length": 10.0, "efficiency": 0.8, "worn": 2.0,
        "tip_angle": 90.0, "point_angle": 118.0, "factor": 1.5, "damping": 0.05, "least_real": -1e-4,
        "width_ratio": 0.5, "reference_rake": 6.0, "exponent": 0.25, "share": 0.5, "depth_ratio": 2.0,
        "edge_angle": 90.0, "force_distance": 0.0,
    }  # fmt: skip
    parameters = inspect.signature(formula).parameters
    given = {key: usual.get(key, 1.0) for key in parameters}
    formula(**given)  # the usual input is in range
    for key, entry_ in parameters.items():
        if entry_.annotation != "float" or (key.endswith("_ratio") and key != "depth_ratio"):
            continue
        try:
            result = formula(**{**given, key: bad})
        except (RangeError, ValueError):
            continue
        flat = result if isinstance(result, tuple) else tuple(result.values()) if isinstance(result, dict) else (result,)
        assert not any(isinstance(number, float) and math.isnan(number) for number in flat), key


def test_caveats_tell_input_and_effect() -> None:
    (told,) = caveats(force.specific_force, unit_force=700.0, exponent=0.25, thickness=0.02)
    assert told.startswith("thickness 0.02 is below 0.05: ")
    assert "edge radius" in told
    assert caveats(force.specific_force, unit_force=700.0, exponent=0.25, thickness=0.1) == ()
    assert caveats(speed.spindle_speed, cutting_speed=1.0, diameter=1.0) == ()


def test_covered_ranges_are_ordered() -> None:
    for name, formula in ALL.items():
        for low, high, effect in covered(formula).values():
            assert low < high, name
            assert len(effect) > 20, name


def test_answers_outside_the_covered_range_still_come() -> None:
    """Kienzle below 0.05 mm answers (the search needs it) and says so."""
    assert force.kienzle_force(unit_force=700.0, exponent=0.25, thickness=0.01, chip_width=2.0) > 0.0
    assert caveats(force.kienzle_force, thickness=0.01)
