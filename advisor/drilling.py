"""Drilling: the feed, speed and pecks of a drill, or of an end mill that goes straight down.

Symbols: D diameter mm, f feed per revolution mm, sigma point angle, h = (f/2) sin(sigma/2) chip thickness, M torque.
"""

from __future__ import annotations

import math

from advisor.advice import Advice, FirstCut, LimitUse, Physics, Refusal, Request
from advisor.cutting.drilling import deep_hole_factors, drill_removal_rate, drill_torque, pecks
from advisor.limits import CP, CutLimits, ForceLaw, plunge_depth
from advisor.remarks import sources_of, spread_of
from advisor.search import FIRST_CUT_SHARE, PUSH_SHARE, round_feed, speeds_between

THRUST = 0.6  # of k_c f D/2 sin(kappa); published forms run from 0.5 to 0.7 and more (from memory: Tschaetsch)


def point_sine(limits: CutLimits) -> float:
    """sin(sigma/2) of the point; 1 for a flat end mill."""
    if limits.cutter.form != "drill":
        return 1.0
    return math.sin(math.radians((limits.cutter.tip_angle or 118.0) / 2))


def drill_physics(limits: CutLimits, *, rpm: float, feed: float, law: ForceLaw) -> Physics:
    """Speed, chip, force of one edge, torque, power and thrust: M = k_c f D^2 / 8000 (Tschaetsch, DIN 6581)."""
    d, z = limits.cutter.diameter, limits.cutter.flutes
    f = feed / rpm
    sine = point_sine(limits)
    h = f / z * sine
    force_law = law.at(h)
    torque = drill_torque(specific_force=force_law, feed_per_turn=f, diameter=d)
    return Physics(
        cutting_speed=math.pi * d * rpm / 1000.0,
        effective_diameter=d,
        chip_load=f / z,
        engagement=360.0,
        teeth_in_cut=float(z),
        max_chip_thickness=h,
        mean_chip_thickness=h,
        removal_rate=drill_removal_rate(diameter=d, feed=feed),
        force=force_law * f * d / (2.0 * z),
        peak_force=force_law * f * d / (2.0 * z),
        torque=torque,
        power=torque * rpm * 2.0 * math.pi / 60.0,
        deflection=None,
        stress=16.0 * torque * 1000.0 / (math.pi * limits.core_diameter**3),
        thrust=THRUST * force_law * f * d / 2.0 * sine,
    )


def peck_plan(limits: CutLimits, depth: float) -> tuple[float, ...]:
    """Bites down to ``depth``: the first, then the next ones, half a diameter beyond 6 D in metal; an end mill takes
    1 D in wood and 0.5 D elsewhere."""
    d = limits.cutter.diameter
    if limits.cutter.form != "drill":
        share = 1.0 if limits.wood else 0.5
        return pecks(depth=depth, diameter=d, first=share, then=share)
    return pecks(
        depth=depth, diameter=d, first=limits.peck_first / d, then=limits.peck_then / d, deep=0.5 if limits.metal else None
    )


def feed_bounds(limits: CutLimits) -> tuple[float, float, float]:
    """Least, chosen and greatest feed per revolution, mm."""
    if limits.cutter.form == "drill":
        return limits.drill_feed_low, limits.drill_feed_chosen, limits.drill_feed_high
    return 0.3 * limits.plunge_per_rev, limits.plunge_per_rev, limits.plunge_per_rev_max


def drill_uses(
    limits: CutLimits, *, rpm: float, feed: float, least: float, most: float, speed: float, law: ForceLaw
) -> tuple[LimitUse, ...]:
    """Every limit of a drilled hole with its use, fullest first; ``least`` and ``most`` are the feeds per
    revolution allowed."""
    machine, sources = limits.machine, limits.sources
    what = drill_physics(limits, rpm=rpm, feed=feed, law=law)
    f = feed / rpm
    table = sources["drill_feed"] if limits.cutter.form == "drill" else sources["plunge_per_rev"]
    assert what.power is not None and what.thrust is not None and what.stress is not None
    rows: list[tuple[str, float, float, str, str]] = [
        ("drill-feed", f, most, "mm/rev", table),
        ("cutting-speed", what.cutting_speed, speed, "m/min", sources.get("drill_speed", CP)),
        ("spindle-power", what.power, limits.power_allowed(rpm), "W", machine.sources.get("spindle_power", CP)),
        ("feed-machine-z", feed, limits.feed_max_z, "mm/min", machine.sources.get("feed_max_z", CP)),
        (limits.spindle_max_name, rpm, limits.spindle_max, "rev/min", machine.sources.get("spindle_max", CP)),
        ("tool-stress", what.stress, limits.stress_allowed / math.sqrt(3.0), "N/mm2", sources["working_stress"]),
    ]
    if machine.axis_push is not None:
        rows.append(("thrust", what.thrust, PUSH_SHARE * machine.axis_push, "N", machine.sources.get("axis_push", CP)))
    found = [LimitUse(n, v, m, u, v / m if m > 0 else math.inf, s) for n, v, m, u, s in rows]
    found.append(
        LimitUse(
            "chip-too-thin", f, least, "mm/rev", least / f if f > 0 else math.inf,
            "half the low end of the feed (common practice, no source)", least=True,
        )
    )  # fmt: skip
    slow = limits.spindle_min
    found.append(
        LimitUse("spindle-slowest", rpm, slow, "rev/min", slow / rpm, machine.sources.get("spindle_min", CP), least=True)
    )
    return tuple(sorted(found, key=lambda u: -u.use))


def recommend_drill(request: Request, limits: CutLimits, safety: tuple[str, ...]) -> Advice | Refusal:
    """The hole of highest removal rate inside every limit, by search over spindle speed and feed per revolution."""
    cutter, machine = limits.cutter, limits.machine
    d = cutter.diameter
    depth = request.depth if request.depth is not None else min(3 * d, limits.flute_length)
    slower, finer = deep_hole_factors(depth_ratio=depth / d)
    least, chosen, greatest = (finer * x for x in feed_bounds(limits))
    speed = limits.cutting_speed_chosen * slower

    def refuse(reason: str, name: str, helps: tuple[str, ...] = ()) -> Refusal:
        return Refusal(request, (reason,), (name,), helps, safety, sources_of(limits), limits.assumptions)

    straight = plunge_depth(cutter, limits.material.family)
    if cutter.form != "drill" and limits.metal and depth > straight + 1e-9:
        return refuse(
            f"an end mill should not be used as a drill in metal: its end can't clear the chips, and at most {straight:.2g} mm "
            "straight down are advised.",
            "straight-plunge",
            ("a drill", "bore the hole with a smaller end mill (operation bore)"),
        )
    hard = min(limits.spindle_max, 1000.0 * limits.cutting_speed_high * slower / (math.pi * d))
    if limits.spindle_min > hard + 1e-9:
        name = "cutting-speed" if hard < limits.spindle_max else limits.spindle_max_name
        return refuse(
            f"the slowest spindle speed ({limits.spindle_min:g} rev/min) is too fast for a {d:g} mm "
            f"{'drill' if cutter.form == 'drill' else 'cutter'} in {limits.material.title}: at most {hard:.0f} rev/min.",
            name,
            ("bore the hole with a smaller end mill (operation bore)", "a machine with a slower spindle"),
        )

    def best(most: float, law: ForceLaw, fastest: float) -> tuple[float, float] | None:
        """(feed, rpm) of the fastest hole: of equals the slowest speed."""
        top = max(min(limits.spindle_max, 1000.0 * fastest / (math.pi * d)), limits.spindle_min)
        low = max(limits.spindle_min, min(0.3 * top, top))
        share = point_sine(limits) / cutter.flutes  # h / f
        # k_c f (N/mm) allowed by stress and thrust; each gives h through the force law.
        force = 8000.0 * limits.stress_allowed / math.sqrt(3.0) * math.pi * limits.core_diameter**3 / 16e3 / (d * d)
        if machine.axis_push is not None:
            force = min(force, PUSH_SHARE * machine.axis_push / (THRUST * d / 2.0 * point_sine(limits)))
        steady = min(most, law.thickness(force * share) / share)
        found: tuple[float, float] | None = None
        for rpm in reversed(speeds_between(low, top)):
            if found is not None and steady * rpm < found[0]:
                break
            by_power = 8000.0 * limits.torque_allowed(rpm) / (d * d)
            f = min(steady, law.thickness(by_power * share) / share)
            feed = round_feed(min(f * rpm, limits.feed_max_z))
            if feed > 0 and feed / rpm >= 0.5 * least - 1e-12 and (found is None or feed >= found[0]):
                found = (feed, rpm)
        return found

    picked = best(chosen, limits.force_high, speed)
    if picked is None:
        return refuse(
            f"no feed between the least that cuts ({0.5 * least:.3g} mm/rev) and what spindle, Z drive and drill can take.",
            "spindle-power",
            ("a smaller drill and a second pass", "operation bore with a smaller end mill"),
        )
    feed, rpm = picked
    feeds, speeds = [feed], [rpm]
    for most, law, fastest in (
        (least, limits.force_high, speed),
        (greatest, limits.force_nominal, limits.cutting_speed_high * slower),
    ):
        other = best(most, law, fastest)
        if other is not None:
            feeds.append(other[0])
            speeds.append(other[1])
    uses = drill_uses(limits, rpm=rpm, feed=feed, least=0.5 * least, most=chosen, speed=max(speed, 1e-9), law=limits.force_high)
    bites = peck_plan(limits, depth)
    # Slower with the feed, so that it does not rub; at the slowest speed the chip goes before the gentler feed.
    gentle = round_feed(FIRST_CUT_SHARE * feed)
    slow_rpm = rpm
    if gentle / rpm < 0.5 * least:
        slow_rpm = min(rpm, speeds_between(limits.spindle_min, max(gentle / (0.5 * least), limits.spindle_min))[-1])
        if gentle < 0.5 * least * slow_rpm - 1e-9:
            gentle = min(feed, math.ceil(0.5 * least * slow_rpm))
    area = math.pi * d * d / 4.0
    names = tuple(u.name for u in uses if u.use >= 0.97 and u.name not in ("chip-too-thin", "spindle-slowest"))
    if not names:
        names = (next(u.name for u in uses if u.name not in ("chip-too-thin", "spindle-slowest")),)
    warnings: list[str] = []
    if cutter.form != "drill":
        warnings.append("An end mill is no drill: it clears its chips badly; circle in where the hole is wide enough.")
    if len(bites) > 1 and depth > 4 * d and limits.metal:
        warnings.append("Beyond 4 x diameter lift fully out at each peck so that the chips clear.")
    if limits.metal and not machine.chip_clearing:
        warnings.append("Clear the chips with air, mist or flood.")
    if cutter.form == "drill" and math.pi * d * rpm / 1000.0 > speed + 1e-6:
        warnings.append("The spindle can't go slow enough for the usual cutting speed: the drill wears and may burn.")
    if cutter.max_rpm is None:
        warnings.append("No top speed is known for this cutter: look for the mark on it or ask its maker.")
    told = [*limits.assumptions]
    if request.depth is None:
        told.append(f"depth not given: {depth:.3g} mm taken")
    if slower < 1.0:
        told.append(f"deep hole ({depth / d:.1f} D): speed x {slower:g}, feed x {finer:g} (from memory: Machinery's Handbook)")
    told.append("torque, power and thrust are those of a worn edge at the high end of the data; thrust within 40 %")
    return Advice(
        request=request,
        spindle_rpm=rpm,
        feed=feed,
        plunge_feed=feed,
        stepdown=bites[0],
        passes=(depth,),
        stepover=d,
        helix=None,
        ramp_angle=None,
        first_cut=FirstCut(slow_rpm, gentle, bites[0], area * gentle / 1000.0),
        physics=drill_physics(limits, rpm=rpm, feed=feed, law=limits.force_high),
        feed_range=(min(feeds), max(feeds)),
        rpm_range=(min(speeds), max(speeds)),
        limits=uses,
        limited_by=names,
        warnings=tuple(warnings),
        assumptions=tuple(told),
        safety=safety,
        sources=sources_of(limits),
        pecks=bites,
        spread=spread_of(limits),
        cut=limits,
    )
