"""Beam formulas against a finite-difference beam that shares nothing with them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.cutting import bending
from advisor.cutting.validity import RangeError


def beam(force: float, modulus: float, steps: list[tuple[float, float]], at: float) -> tuple[float, float]:
    """Deflection at the force and at the tip of a clamped bar, by marching the curvature from the clamp.

    ``steps`` are (length, diameter) from the tip; ``at`` is the force's distance from the tip. The bending moment is a
    straight line, the curvature M/(E I) is integrated twice on a fine grid.
    """
    total = sum(length for length, _ in steps)
    x = np.linspace(0.0, total, 200_001)  # from the clamp
    middle = (x[1:] + x[:-1]) / 2.0
    from_tip = total - middle
    edges = np.cumsum([length for length, _ in steps])
    diameter = np.array([size for _, size in steps])[np.minimum(np.searchsorted(edges, from_tip), len(steps) - 1)]
    moment = force * np.maximum(0.0, from_tip - at)
    curvature = moment / (modulus * np.pi * diameter**4 / 64.0)
    step = x[1] - x[0]
    slope = np.concatenate([[0.0], np.cumsum(curvature) * step])
    shift = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) / 2.0 * step)])
    return float(np.interp(total - at, x, shift)), float(shift[-1])


@settings(max_examples=40, deadline=None)
@given(
    flute=st.floats(5.0, 40.0),
    extra=st.floats(1.0, 40.0),
    thin=st.floats(1.0, 10.0),
    thick=st.floats(3.0, 20.0),
    share=st.floats(0.0, 0.9),
)
def test_stepped_bar(flute: float, extra: float, thin: float, thick: float, share: float) -> None:
    distance = share * flute
    told = {
        "force": 80.0,
        "modulus": 580000.0,
        "flute_length": flute,
        "flute_diameter": thin,
        "stickout": flute + extra,
        "shank": thick,
        "force_distance": distance,
    }
    at_force, at_tip = beam(80.0, 580000.0, [(flute, thin), (extra, thick)], distance)
    assert bending.stepped_deflection(**told) == pytest.approx(at_force, rel=1e-3)
    assert bending.tip_deflection(**told) == pytest.approx(at_tip, rel=1e-3)


@given(length=st.floats(5.0, 80.0), diameter=st.floats(1.0, 20.0))
@settings(max_examples=20, deadline=None)
def test_plain_bar(length: float, diameter: float) -> None:
    plain = bending.cantilever_deflection(force=50.0, length=length, diameter=diameter, modulus=215000.0)
    assert plain == pytest.approx(beam(50.0, 215000.0, [(length, diameter)], 0.0)[1], rel=1e-6)
    stepped = bending.stepped_deflection(
        force=50.0,
        modulus=215000.0,
        flute_length=length / 3.0,
        flute_diameter=diameter,
        stickout=length,
        shank=diameter,
    )
    assert stepped == pytest.approx(plain)


def test_flute_past_the_holder_is_cut_at_the_holder() -> None:
    """A flute longer than the stickout bends as a flute up to the holder, no further."""
    told = {"force": 10.0, "modulus": 580000.0, "flute_diameter": 4.0, "stickout": 20.0, "shank": 6.0}
    assert bending.stepped_deflection(flute_length=50.0, **told) == bending.stepped_deflection(flute_length=20.0, **told)


def test_equivalent_diameter_makes_it_two_and_a_half_times_softer() -> None:
    """Source: kops-vo-1990: 0.8 D; the solid bar would be 1/0.8^4 = 2.441 times too stiff."""
    solid = bending.cantilever_deflection(force=50.0, length=30.0, diameter=6.0, modulus=580000.0)
    fluted = bending.cantilever_deflection(force=50.0, length=30.0, diameter=4.8, modulus=580000.0)
    assert fluted / solid == pytest.approx(2.4414, abs=5e-5)


def test_springs_in_a_row() -> None:
    assert bending.series_stiffness(parts=(2.0, 2.0)) == pytest.approx(1.0)
    assert bending.series_stiffness(parts=(5.0,)) == 5.0
    with pytest.raises(RangeError, match="at least one"):
        bending.series_stiffness(parts=())


def test_stress_is_told_at_both_sections() -> None:
    told = {"force": 60.0, "torque": 0.5, "core_diameter": 3.0, "flute_length": 22.0, "shank": 6.0, "stickout": 28.0}
    flutes, holder = bending.cutter_stress(**told)
    bend, twist = 32.0 * 60.0 * 22.0 / (np.pi * 27.0), 16.0 * 500.0 / (np.pi * 27.0)
    assert flutes == pytest.approx((bend**2 + 3.0 * twist**2) ** 0.5)
    assert holder < flutes
    # clamped on the flutes: the core stands at the holder too
    gripped = bending.cutter_stress(**{**told, "flute_length": 30.0})
    assert gripped[1] == pytest.approx(gripped[0])


def test_spring_passes_take_up_the_error() -> None:
    errors = [bending.spring_pass_error(deflection=0.1, stiffness=2.0, cut_stiffness=1.0, passes=count) for count in range(4)]
    assert errors == pytest.approx([0.1, 0.1 / 3.0, 0.1 / 9.0, 0.1 / 27.0])
