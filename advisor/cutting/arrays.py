"""The formulas used along whole programs, for numpy arrays: the same symbols and sources as their scalar forms.

Elements out of range do not raise here, a program is not a dialogue: they are clipped to the nearest meaningful input,
and not-a-number stays not-a-number. Every function broadcasts its arguments. A test holds them equal to the scalars.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]


def _array(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)


def _divided(above: ArrayLike, below: ArrayLike, empty: float = 0.0) -> Floats:
    """above / below, ``empty`` where below is zero."""
    top, bottom = np.broadcast_arrays(_array(above), _array(below))
    result: Floats = np.divide(top, bottom, out=np.full(top.shape, empty), where=bottom != 0.0)
    return result


def cutting_speed(*, diameter: ArrayLike, rpm: ArrayLike) -> Floats:
    """v_c in m/min, as ``speed.cutting_speed``."""
    return np.pi * _array(diameter) * _array(rpm) / 1000.0


def feed_per_tooth(*, feed: ArrayLike, rpm: ArrayLike, flutes: ArrayLike) -> Floats:
    """f_z in mm, as ``speed.feed_per_tooth``; infinite where the spindle stands and the feed does not."""
    turning = _array(rpm) * _array(flutes)
    moving = _array(feed)
    return np.where(turning > 0.0, _divided(moving, turning), np.where(moving > 0.0, np.inf, 0.0))


def engagement_angle(*, width: ArrayLike, diameter: ArrayLike) -> Floats:
    """phi_s in degrees, as ``engagement.engagement_angle``; width clipped to the cutter."""
    return np.degrees(np.arccos(np.clip(1.0 - 2.0 * _divided(width, diameter), -1.0, 1.0)))


def greatest_chip(*, chip_load: ArrayLike, width: ArrayLike, diameter: ArrayLike, edge_angle: ArrayLike = 90.0) -> Floats:
    """h_max in mm, as ``chip.greatest_chip``."""
    ratio = np.clip(_divided(width, diameter), 0.0, 1.0)
    share = np.where(ratio >= 0.5, 1.0, 2.0 * np.sqrt(ratio * (1.0 - ratio)))
    return _array(chip_load) * share * np.sin(np.radians(_array(edge_angle)))


def greatest_chip_over(*, chip_load: ArrayLike, engagement: ArrayLike, edge_angle: ArrayLike = 90.0) -> Floats:
    """h_max in mm at a known engaged angle, as ``chip.greatest_chip_over``."""
    angle = np.clip(_array(engagement), 0.0, 90.0)
    return _array(chip_load) * np.sin(np.radians(angle)) * np.sin(np.radians(_array(edge_angle)))


def greatest_chip_between(*, chip_load: ArrayLike, entry: ArrayLike, exit: ArrayLike, edge_angle: ArrayLike = 90.0) -> Floats:
    """h_max in mm between two angles: the sine's greatest value from entry to exit."""
    start, end = np.clip(_array(entry), 0.0, 180.0), np.clip(_array(exit), 0.0, 180.0)
    top = np.where((start <= 90.0) & (end >= 90.0), 90.0, np.where(end < 90.0, end, start))
    share = np.where(end > start, np.sin(np.radians(top)), 0.0)
    return _array(chip_load) * share * np.sin(np.radians(_array(edge_angle)))


def mean_chip_between(*, chip_load: ArrayLike, entry: ArrayLike, exit: ArrayLike, edge_angle: ArrayLike = 90.0) -> Floats:
    """h_m in mm between two angles, as ``chip.mean_chip_between``."""
    start, end = np.radians(np.clip(_array(entry), 0.0, 180.0)), np.radians(np.clip(_array(exit), 0.0, 180.0))
    arc = np.maximum(0.0, end - start)
    area = 2.0 * np.sin((start + end) / 2.0) * np.sin(arc / 2.0)
    mean = np.where(arc < 1e-9, np.sin(start), _divided(area, arc))
    return _array(chip_load) * mean * np.sin(np.radians(_array(edge_angle)))


def mean_chip(*, chip_load: ArrayLike, width: ArrayLike, diameter: ArrayLike, edge_angle: ArrayLike = 90.0) -> Floats:
    """h_m in mm of a one-sided straight cut, as ``chip.mean_chip``."""
    angle = engagement_angle(width=width, diameter=diameter)
    return mean_chip_between(chip_load=chip_load, entry=0.0, exit=angle, edge_angle=edge_angle)


def round_edge_angle(*, depth: ArrayLike, radius: ArrayLike) -> Floats:
    """kappa_1 in degrees of a round corner or ball, as ``chip.round_edge_angle``; 90 where there is no radius."""
    ratio = _divided(depth, radius, empty=1.0)
    return np.degrees(np.arccos(np.clip(1.0 - ratio, 0.0, 1.0)))


def specific_force(*, unit_force: ArrayLike, exponent: ArrayLike, thickness: ArrayLike) -> Floats:
    """k_c in N/mm2, as ``force.specific_force``; 0 without a chip."""
    chip = _array(thickness)
    held = np.where(chip > 0.0, chip, 1.0)
    return np.where(chip > 0.0, _array(unit_force) * held ** -_array(exponent), np.where(np.isnan(chip), np.nan, 0.0))


def kienzle_force(
    *,
    unit_force: ArrayLike,
    exponent: ArrayLike,
    thickness: ArrayLike,
    chip_width: ArrayLike,
    factor: ArrayLike = 1.0,
) -> Floats:
    """F_c in N, as ``force.kienzle_force``."""
    chip = np.maximum(0.0, _array(thickness))
    return _array(unit_force) * _array(chip_width) * chip ** (1.0 - _array(exponent)) * _array(factor)


def edge_model_force(*, shear_force: ArrayLike, edge_force: ArrayLike, thickness: ArrayLike, chip_width: ArrayLike) -> Floats:
    """F_t in N, as ``force.edge_model_force``."""
    chip = np.maximum(0.0, _array(thickness))
    edge = np.where(chip > 0.0, _array(edge_force), np.where(np.isnan(chip), np.nan, 0.0))
    return (_array(shear_force) * chip + edge) * _array(chip_width)


def cutting_power(*, removal_rate: ArrayLike, specific_force: ArrayLike) -> Floats:
    """P_c in W from the removal rate in cm3/min, as ``power.cutting_power`` with Q = a_p a_e v_f/1000."""
    return _array(removal_rate) * _array(specific_force) / 60.0


def torque(*, power: ArrayLike, rpm: ArrayLike) -> Floats:
    """M in N m, as ``power.torque``; 0 where the spindle stands."""
    return _divided(_array(power) * 60.0, 2.0 * np.pi * _array(rpm))


def spindle_power(
    *, rpm: ArrayLike, rated_power: float, rated_speed: float, curve: tuple[tuple[float, float], ...] = ()
) -> Floats:
    """P(n) in W, as ``power.spindle_power``."""
    speed = _array(rpm)
    if not curve:
        return rated_power * np.minimum(1.0, speed / rated_speed)
    points = np.array([(0.0, 0.0), *curve])
    power: Floats = np.interp(speed, points[:, 0], points[:, 1])
    return power


def stepped_deflection(
    *,
    force: ArrayLike,
    modulus: float,
    flute_length: float,
    flute_diameter: float,
    stickout: float,
    shank: float,
    force_distance: ArrayLike = 0.0,
) -> Floats:
    """Deflection in mm at the force, as ``bending.stepped_deflection``; the distance clipped to the stickout."""
    distance = np.clip(_array(force_distance), 0.0, stickout)
    first = np.maximum(0.0, min(flute_length, stickout) - distance)
    whole = stickout - distance
    fluted, plain = np.pi * flute_diameter**4 / 64.0, np.pi * shank**4 / 64.0
    compliance: Floats = (first**3 / fluted + (whole**3 - first**3) / plain) / (3.0 * modulus)
    return _array(force) * compliance


def compliance_deflection(*, force: ArrayLike, stiffness: float) -> Floats:
    """Deflection in mm of a spring in N/um, as ``bending.compliance_deflection``."""
    return _array(force) / stiffness / 1000.0
