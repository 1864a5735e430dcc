"""Dimensions through pint: shrink the units of length, force and time, and every formula must follow its own symbols.

If each input is multiplied by L^a F^b T^c, with a, b and c the exponents of its unit, the result must be multiplied by
those of its own. A missing factor of the wrong dimension, a wrong exponent or a wrong unit in a symbol table shows.
"""

from __future__ import annotations

import inspect
from typing import Any

import pint
import pytest

from tests.cutting.docs import canonical, formulas, page, returned_units

ALL = formulas()
UNITS = pint.UnitRegistry()
# Not homogeneous, and why: fits hold in stated units, tables have their own steps, a cap or a list is no dimension.
FITTED = {
    "force.specific_force": "h counts in mm: k_c1.1 is the value at 1 mm",
    "force.kienzle_force": "h counts in mm",
    "force.speed_factor": "(100 m/min / v_c)^0.1",
    "force.wear_factor": "10 % for each 0.1 mm",
    "force.titanium_orthogonal": "fit in mm and N/mm2",
    "power.feed_factor": "table in mm",
    "power.check_curve": "returns nothing",
    "bending.fitted_deflection": "fit in mm and N/mm2",
    "drilling.handbook_drill_torque": "fit in mm and N m",
    "drilling.shaw_oxford": "fit in inches and pounds",
    "power.removal_per_kilowatt": "for one kilowatt",
    "wood.plywood_thickness": "tolerance in mm",
    "bending.series_stiffness": "takes a list",
    "entry.equal_passes": "tested by counting",
    "drilling.pecks": "tested by counting",
    "stability.response": "complex, held to published values",
    "stability.eigenvalues": "complex, held to published values",
    "stability.limits_at": "complex, held to published values",
    "stability.border": "complex, held to published values",
}
USUAL: dict[str, Any] = {
    "form": "corner", "curve": (), "component": "feed", "process": "milling", "flutes": 3, "passes": 2, "count": 2,
    "climb": True, "inside": True, "entry": 20.0, "exit": 110.0, "radial_ratio": 0.3, "rake": 5.0, "near": 0.4, "far": 0.9,
    "shear_angle": 30.0, "friction_angle": 20.0, "dead_diameter": 0.4, "bore": 5.0, "diameter": 3.0, "wall_radius": 9.0,
    "stickout": 20.0, "flute_length": 10.0, "efficiency": 0.8, "worn": 2.0, "sharp": 0.7, "tip_angle": 90.0,
    "point_angle": 118.0, "factor": 1.5, "damping": 0.05, "least_real": -1e-4, "width_ratio": 0.5, "reference_rake": 6.0,
    "exponent": 0.25, "share": 0.5, "depth_ratio": 2.0, "edge_angle": 70.0, "force_distance": 1.5, "corner_radius": 0.8,
    "depth": 0.3, "width": 0.7, "rpm": 900.0, "feed": 600.0, "chip_load": 0.1, "angle": 40.0, "helix": 30.0, "margin": 2.0,
    "fraction": 0.4, "cap": 4.0, "pressure": 40.0, "area": 100.0, "friction": 0.3, "engagement": 60.0, "stepover": 0.4,
    "height": 0.2, "pitch": 0.3, "length": 25.0, "acceleration": 500.0, "deviation": 0.02, "start": 20.0, "end": 30.0,
    "rated_speed": 1500.0, "moisture_before": 8.0, "moisture_after": 11.0, "tip_diameter": 0.2, "tilt": 10.0, "lag": 10.0,
    "speed_ratio": 1.1, "plunge_feed": 200.0, "core_height": 0.05, "slenderness": 5.0, "radius_share": 0.5,
}  # fmt: skip
SCALES = (1.07, 1.13, 0.91)  # length, force, time: small steps keep every input in its range


def exponents(unit: str) -> tuple[float, float, float]:
    """Exponents of length, force and time in a unit; angles, shares and counts have none."""
    if unit in ("-", "deg", "D", "%", "1/%", "rpm_count"):
        return 0.0, 0.0, 0.0
    found = UNITS.Unit(canonical(unit)).dimensionality
    mass = float(found.get("[mass]", 0))
    # mass is force x time^2 / length
    return float(found.get("[length]", 0)) - mass, mass, float(found.get("[time]", 0)) + 2.0 * mass


def factor(unit: str) -> float:
    result = 1.0
    for scale, power in zip(SCALES, exponents(unit), strict=True):
        result *= scale**power
    return float(result)


def flat(result: Any) -> list[float]:
    if isinstance(result, dict):
        return [float(number) for number in result.values()]
    return [float(number) for number in result] if isinstance(result, tuple) else [float(result)]


@pytest.mark.parametrize("name", [name for name in ALL if name not in FITTED])
def test_follows_its_units(name: str) -> None:
    formula = ALL[name]
    symbols = page(formula).symbols
    given = {key: USUAL.get(key, 1.0) for key in inspect.signature(formula).parameters}
    scaled = {key: value * factor(symbols[key][1]) if isinstance(value, float) else value for key, value in given.items()}
    before, after = flat(formula(**given)), flat(formula(**scaled))
    units = returned_units(formula) or ["-"]
    if len(units) == 1:
        units = units * len(before)
    assert len(units) == len(before)
    for one, other, unit in zip(before, after, units, strict=True):
        assert other == pytest.approx(one * factor(unit), rel=1e-9), unit


def test_the_exceptions_exist() -> None:
    assert set(FITTED) <= set(ALL)
