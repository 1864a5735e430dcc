"""Power and torque at the cutter and at the motor, and what a spindle gives at a speed."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from math import pi

from advisor.cutting.validity import RangeError, covers, not_negative, positive, within

# feed factor C of the unit-power method: (mm, factor), from memory: Machinery's Handbook
_FEED_FACTOR = (
    (0.02, 1.70), (0.05, 1.40), (0.07, 1.30), (0.10, 1.25), (0.12, 1.20), (0.15, 1.15), (0.18, 1.11), (0.20, 1.08),
    (0.25, 1.04), (0.30, 1.00), (0.40, 0.94), (0.50, 0.90), (0.75, 0.83),
)  # fmt: skip


def cutting_power(*, depth: float, width: float, feed: float, specific_force: float) -> float:
    """Power at the cutter, P = a_p a_e v_f k_c / 60000.

    Symbols:
        depth  a_p  mm  axial depth
        width  a_e  mm  radial engagement
        feed  v_f  mm/min  feed
        specific_force  k_c  N/mm2  specific cutting force at the mean chip
    Returns:
        P_c, W
    Range:
        all >= 0
    Source:
        from memory: Tschaetsch, Praxis der Zerspantechnik
    """
    not_negative(depth=depth, width=width, feed=feed, specific_force=specific_force)
    return depth * width * feed * specific_force / 60000.0


def power_of_force(*, force: float, cutting_speed: float) -> float:
    """Power of a tangential force at a cutting speed, P = F v_c / 60.

    Symbols:
        force  F  N  mean tangential force of all teeth
        cutting_speed  v_c  m/min  cutting speed
    Returns:
        P, W
    Range:
        F, v_c >= 0
    Source:
        geometry
    """
    not_negative(force=force, cutting_speed=cutting_speed)
    return force * cutting_speed / 60.0


def torque(*, power: float, rpm: float) -> float:
    """Torque of a power at a speed, M = P / (2 pi n/60) (9.549 P/n).

    Symbols:
        power  P  W  power
        rpm  n  rev/min  spindle speed
    Returns:
        M, N m
    Range:
        P >= 0, n > 0
    Source:
        geometry
    """
    not_negative(power=power)
    positive(rpm=rpm)
    return power * 60.0 / (2.0 * pi * rpm)


def power_of_torque(*, torque: float, rpm: float) -> float:
    """Power of a torque at a speed, P = M 2 pi n/60.

    Symbols:
        torque  M  N.m  torque
        rpm  n  rev/min  spindle speed
    Returns:
        P, W
    Range:
        M, n >= 0
    Source:
        geometry
    """
    not_negative(torque=torque, rpm=rpm)
    return torque * 2.0 * pi * rpm / 60.0


def motor_power(*, power: float, efficiency: float) -> float:
    """Power the motor must give, P/eta.

    Symbols:
        power  P_c  W  power at the cutter
        efficiency  eta  -  drive efficiency: belt 0.90, back gear 0.75, geared head 0.70 to 0.80
    Returns:
        P_m, W
    Range:
        P_c >= 0, 0 < eta <= 1
    Source:
        from memory: Machinery's Handbook table 4
    """
    not_negative(power=power)
    positive(efficiency=efficiency)
    within(0.0, 1.0, efficiency=efficiency)
    return power / efficiency


def spindle_power(*, rpm: float, rated_power: float, rated_speed: float, curve: Sequence[tuple[float, float]] = ()) -> float:
    """Power a spindle gives at a speed: along its curve, below the curve and without one at constant torque.

    Symbols:
        rpm  n  rev/min  spindle speed
        rated_power  P  W  rated power at the shaft
        rated_speed  n_b  rev/min  speed from which the rated power is there, used without a curve
        curve  -  -  (rpm, W) points, ascending
    Returns:
        P(n), W; the last point's power above the curve
    Range:
        n >= 0, P >= 0, n_b > 0; rated, not short-time
    Source:
        common practice, no source
    """
    not_negative(rpm=rpm, rated_power=rated_power)
    if not curve:
        positive(rated_speed=rated_speed)
        return rated_power * min(1.0, rpm / rated_speed)
    first, last = curve[0], curve[-1]
    if rpm <= first[0]:
        positive(curve_speed=first[0])
        return first[1] * rpm / first[0]
    if rpm >= last[0]:
        return last[1]
    index = bisect_right(curve, (rpm, float("inf")))
    (low, less), (high, more) = curve[index - 1], curve[index]
    return less + (more - less) * (rpm - low) / (high - low)


def power_limit(*, spindle_power: float, efficiency: float, share: float = 0.8) -> float:
    """Greatest power at the cutter to plan with, share eta P(n).

    Symbols:
        spindle_power  P(n)  W  power of the spindle at the speed
        efficiency  eta  -  drive efficiency
        share  -  -  share of the rated power to plan with
    Returns:
        P_c, W
    Range:
        P(n) >= 0, 0 < eta <= 1, 0 < share <= 1
    Source:
        common practice, no source
    """
    not_negative(spindle_power=spindle_power)
    positive(efficiency=efficiency, share=share)
    within(0.0, 1.0, efficiency=efficiency, share=share)
    return share * efficiency * spindle_power


@covers(feed_per_turn=(0.02, 0.75, "the table of feed factors ends there; its last value is used"))
def feed_factor(*, feed_per_turn: float) -> float:
    """Feed factor C of the unit-power method, straight lines between the table's rows.

    Symbols:
        feed_per_turn  f  mm  feed per revolution, or per tooth in milling
    Returns:
        C, no unit
    Range:
        f > 0; table from 0.02 to 0.75 mm
    Source:
        from memory: Machinery's Handbook
    """
    positive(feed_per_turn=feed_per_turn)
    table = _FEED_FACTOR
    if feed_per_turn <= table[0][0]:
        return table[0][1]
    if feed_per_turn >= table[-1][0]:
        return table[-1][1]
    index = bisect_right(table, (feed_per_turn, float("inf")))
    (low, before), (high, after) = table[index - 1], table[index]
    return before + (after - before) * (feed_per_turn - low) / (high - low)


def unit_power(*, power_constant: float, removal_rate: float, feed_factor: float = 1.0, wear: float = 1.0) -> float:
    """Power at the cutter by the unit-power method, P = K_p C Q W.

    Symbols:
        power_constant  K_p  kW.s/cm3  power constant of the material
        removal_rate  Q  cm3/min  removal rate
        feed_factor  C  -  feed factor
        wear  W  -  wear factor: sharp 1.0, end milling 1.10, drilling 1.30
    Returns:
        P_c, W
    Range:
        all >= 0
    Source:
        from memory: Machinery's Handbook; machinerys-handbook-31
    """
    not_negative(power_constant=power_constant, removal_rate=removal_rate, feed_factor=feed_factor, wear=wear)
    return power_constant * feed_factor * removal_rate / 60.0 * wear * 1000.0


def energy_power(*, specific_energy: float, removal_rate: float) -> float:
    """Power from a specific energy, P = U Q (W s/mm3 is J/mm3).

    Symbols:
        specific_energy  U  W.s/mm3  energy per volume
        removal_rate  Q  cm3/min  removal rate
    Returns:
        P, W
    Range:
        both >= 0
    Source:
        carvill
    """
    not_negative(specific_energy=specific_energy, removal_rate=removal_rate)
    return specific_energy * removal_rate * 1000.0 / 60.0


def check_curve(*, curve: Sequence[tuple[float, float]]) -> None:
    """Raise ``RangeError`` unless a power curve ascends in speed and holds no negative power.

    Symbols:
        curve  -  -  (rpm, W) points
    Returns:
        nothing
    Range:
        speeds above zero and strictly ascending, powers >= 0
    Source:
        geometry
    """
    before = 0.0
    for rpm, watts in curve:
        if not rpm > before:
            raise RangeError("spindle speed of the power curve", rpm, "speeds must be above zero and ascend")
        if not watts >= 0.0:
            raise RangeError("power of the power curve", watts, "it must be zero or more")
        before = rpm


def force_of_torque(*, torque: float, diameter: float) -> float:
    """Tangential force of a torque at a diameter, F = 2000 M/d.

    Symbols:
        torque  M  N.m  torque
        diameter  d  mm  diameter the force acts at
    Returns:
        F, N
    Range:
        M >= 0, d > 0
    Source:
        geometry
    """
    not_negative(torque=torque)
    positive(diameter=diameter)
    return 2000.0 * torque / diameter


def removal_per_kilowatt(*, specific_energy: float) -> float:
    """Volume a kilowatt at the cutter removes in a minute, 60/U.

    Symbols:
        specific_energy  U  W.s/mm3  energy per volume
    Returns:
        Q, cm3/min
    Range:
        U > 0
    Source:
        carvill
    """
    positive(specific_energy=specific_energy)
    return 60.0 / specific_energy
