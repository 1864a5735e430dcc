"""The cut of highest removal rate inside every limit, found by search over equal passes, width, spindle speed and chip.

For each number of equal passes (and each width of a side cut) the feed per tooth allowed by chip thickness, deflection,
stress and axis force is solved; over the spindle speeds a dial can be set to, power and feed are added; the setting with
the highest removal rate wins (ties: fewer revolutions, then fewer passes). Tables of practice (chip load, stepdown) are
read at their chosen value, forces at the pessimistic end of their data, with a worn edge for power.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import replace

from advisor.advice import (
    Advice,
    BadRequest,
    FinishPass,
    FirstCut,
    Helix,
    LimitUse,
    Physics,
    Refusal,
    Request,
)
from advisor.asking import filled, made_for, reach, validate
from advisor.limits import CP, CutLimits, ForceLaw, NoData, cut_limits, fresh_limits
from advisor.operations import Engagement, effective_diameter, engage
from advisor.remarks import assumptions_of, safety_of, sources_of, spread_of, warnings_of
from advisor.search import (
    ENTRY_BORE,
    ENTRY_SHARE,
    FACE_WIDTH,
    FIRST_CUT_SHARE,
    FREE_DEPTH,
    PASSES,
    POCKET_WIDTH,
    RUNOUT_MARGIN,
    THINNING_MOST,
    WIDTHS,
    Best,
    Ends,
    Row,
    Task,
    best_speed,
    chip_range,
    depth_limits,
    descent,
    ends_of,
    feed_by_power,
    force_allowed,
    least_stepdown,
    round_feed,
    round_width,
    search,
    speeds_between,
    spindle_bounds,
    stable_depth,
    thin_finish,
)
from advisor.values import Cutter, Machine, Material

__all__ = ["Advice", "BadRequest", "Refusal", "Request", "recommend", "validate"]


ENTRY_WIDTH = 0.95  # x diameter: an entry is hardly ever quite as wide as the cutter
FINISH_WIDTH = 0.15  # x diameter at most: a wider finish grows too wide in inside corners
LEAST_FIRST = 0.05  # of the best pass: below it the first cut is left as it is


def physics(
    limits: CutLimits, e: Engagement, *, rpm: float, feed: float, power: ForceLaw, bend: ForceLaw, ratio: float
) -> Physics:
    """Speed, chip, force, torque, power and bending of one setting with the given force laws and radial ratio."""
    z = limits.cutter.flutes
    f_z = feed / (rpm * z)
    h_max, h_mean = f_z * e.greatest, f_z * e.mean
    watts = power.at(h_mean) * e.section * feed / 60000.0
    side = bend.at(h_max) * f_z * e.side_section
    whole = math.sqrt(1.0 + ratio * ratio)
    stress = dict(force_allowed(limits, e, 1.0))["tool-stress"]
    return Physics(
        cutting_speed=math.pi * e.effective_diameter * rpm / 1000.0,
        effective_diameter=e.effective_diameter,
        chip_load=f_z,
        engagement=math.degrees(e.angle),
        teeth_in_cut=e.teeth,
        max_chip_thickness=h_max,
        mean_chip_thickness=h_mean,
        removal_rate=e.section * feed / 1000.0,
        force=power.at(h_mean) * f_z * e.mean_section,
        peak_force=power.at(h_max) * f_z * e.peak_section,
        torque=60.0 * watts / (2.0 * math.pi * rpm),
        power=watts,
        deflection=side * whole * limits.compliance(e.a_p / 2),
        stress=limits.stress_allowed * side / stress,
    )


def _use(name: str, value: float, limit: float, unit: str, source: str, *, least: bool = False, note: str = "") -> LimitUse:
    if least:
        use = limit / value if value > 0 else math.inf
    else:
        use = value / limit if limit > 0 else math.inf
    return LimitUse(name, value, limit, unit, use, source, least, note)


def uses(task: Task, ends: Ends, *, a_p: float, a_e: float, rpm: float, feed: float) -> tuple[LimitUse, ...]:
    """Every limit that applies to a setting, with its value at the pessimistic end of the data; fullest first."""
    limits = task.limits
    cutter, machine, sources = limits.cutter, limits.machine, limits.sources
    e, heavy = task.engaged(a_p, a_e)
    z = cutter.flutes
    f_z = feed / (rpm * z)
    least, low, chosen, high = chip_range(limits, heavy, wide=task.opening in ("slot", "bore", "engrave"))
    cap = (least, low, chosen, high)[ends.chip]
    if task.finish:
        least = thin_finish(limits)
    thin, lap = heavy, limits.chip_floor(a_e)
    if task.operation == "pocket" and lap / e.across > least / heavy.across:
        thin, least = e, lap  # the laps after the first take their width only
    h_max = f_z * heavy.greatest
    found = [
        _use("chip-too-thick", h_max, min(cap, THINNING_MOST * cap * heavy.greatest), "mm", sources["chip_load"]),
        _use("chip-too-thin", f_z * thin.across, least, "mm", sources["chip_least"], least=True),
        _use(
            "run-out", min(h_max + limits.runout, z * h_max), RUNOUT_MARGIN * high / limits.machine_scale, "mm", CP,
            note="the chip of the tooth that stands out",
        ),
    ]  # fmt: skip
    if task.finish:
        most = max(limits.chip_range(cutter.diameter)[2], 1.05 * least / heavy.across)
        found.append(_use("finish-feed", f_z, most, "mm", CP, note="feed per tooth of the slot"))
    side = ends.bend.at(h_max) * f_z * heavy.side_section
    ratio = math.sqrt(1.0 + limits.radial_ratio**2)
    for name, force in force_allowed(limits, heavy, task.deflection):
        if name == "deflection":
            value = task.deflection * side / force
            found.append(_use(name, value, task.deflection, "mm", sources.get("deflection_rough", CP)))
        elif name == "tool-stress":
            stress = limits.stress_allowed * side / force
            found.append(_use(name, stress, limits.stress_allowed, "N/mm2", sources["working_stress"]))
        else:
            found.append(_use(name, side * ratio, force * ratio, "N", machine.sources.get("axis_push", CP)))
    watts = ends.power.at(f_z * heavy.least_mean) * heavy.section * feed / 60000.0
    allowed = limits.power_allowed(rpm)
    found.append(_use("spindle-power", watts, allowed, "W", machine.sources.get("spindle_power", CP)))
    found.append(_use("feed-machine", feed, machine.feed_max, "mm/min", machine.sources.get("feed_max", CP)))
    found.append(_use(limits.spindle_max_name, rpm, limits.spindle_max, "rev/min", machine.sources.get("spindle_max", CP)))
    found.append(
        _use("spindle-slowest", rpm, limits.spindle_min, "rev/min", machine.sources.get("spindle_min", CP), least=True)
    )
    speed = math.pi * e.effective_diameter * rpm / 1000.0
    speed_key = f"cutting_speed_{cutter.material}"
    found.append(_use("cutting-speed", speed, max(ends.speed, 1e-9), "m/min", sources.get(speed_key, CP)))
    for name, most in depth_limits(task, a_e):
        found.append(_use(name, a_p, most, "mm", sources.get("stepdown_slot_rigid", CP)))
    if task.operation == "side" and 0 < a_e <= limits.side_width_max + 1e-9:
        found.append(_use("side-width", a_e, max(limits.side_width_max, 1e-9), "mm", sources.get("side_width", CP)))
    if task.bore is not None:
        around = 60.0 * math.sqrt(min(machine.acceleration[0], machine.acceleration[1]) * task.bore[1] / 2)
        found.append(_use("arc-acceleration", feed, around, "mm/min", "v = sqrt(a r); " + CP))
        found.append(_use("plunge-feed", feed, descent(task, e, rpm), "mm/min", sources.get("plunge_per_rev", CP)))
    stable = stable_depth(task, heavy)
    if math.isfinite(stable):
        found.append(_use("chatter", a_p, stable, "mm", "altintas-budak-1995: depth stable at every speed"))
    return tuple(sorted(found, key=lambda u: -u.use))


def make_task(request: Request, limits: CutLimits) -> Task:
    """The search behind a request; raises NoData when the entry a bore needs is not known."""
    d = limits.cutter.diameter
    operation = request.operation
    machine = limits.machine
    deflection = limits.deflection_finish if request.finish else limits.deflection_rough
    if request.tolerance is not None:
        deflection = min(deflection, request.tolerance)
    bore: tuple[float, float] | None = None
    pitch, pitch_name = math.inf, "helix-pitch"
    if operation == "bore":
        hole = entry_bore(request, limits)
        if limits.ramp_angle is None or limits.ramp_angle_max is None:
            raise NoData("the height of the cutter's uncut core is not known, so no ramp or helix can be advised")
        bore = (hole, hole - d)
        pitch, pitch_name = entry_pitch(request, limits, hole)
        widths: tuple[float, ...] = (d,)
    elif request.finish and operation != "engrave":
        operation = "side"
        widths = (request.stepover if request.stepover is not None else min(limits.finish_allowance, 0.5 * d),)
    elif operation in ("slot", "engrave"):
        widths = (d,)
    elif request.stepover is not None:
        widths = (request.stepover,)
    elif operation == "side":
        low, high = limits.side_width_min - 1e-9, limits.side_width_max + 1e-9
        widths = tuple(round_width(w * d) for w in WIDTHS if low <= w * d <= high) or (round_width(high),)
    else:
        widths = (round_width((POCKET_WIDTH if operation == "pocket" else FACE_WIDTH) * d),)
    depth = request.depth
    if depth is None:
        if bore is not None:
            depth = d
        elif operation == "engrave":
            depth = min(0.2 * d, limits.flute_length)
        else:
            # A multiple of what rigid machines take, so that the same depths are tried on every machine.
            depth = FREE_DEPTH * limits.material.values["stepdown_slot_rigid"].chosen * d
    return Task(
        limits=limits,
        operation=operation,
        depth=depth,
        widths=widths,
        deflection=deflection,
        bore=bore,
        pitch_most=pitch,
        pitch_name=pitch_name,
        free_depth=request.depth is None and bore is None and operation != "engrave",
        finish=request.finish and operation == "side",
        damping=machine.damping if machine.natural_frequency is not None else None,
    )


def entry_bore(request: Request, limits: CutLimits) -> float:
    """Diameter of a helical bore or entry: as asked, else 1.7 D inside what the cutter can do."""
    if request.bore_diameter is not None:
        return request.bore_diameter
    d = limits.cutter.diameter
    return round(max(min(ENTRY_BORE * d, limits.bore_max), min(limits.bore_min, 2.0 * d), 1.05 * d), 3)


def entry_pitch(request: Request, limits: CutLimits, hole: float) -> tuple[float, str]:
    """Greatest pitch of a helix (mm) and the limit that sets it."""
    path = math.pi * (hole - limits.cutter.diameter)
    most, name = limits.helix_pitch, "helix-pitch"
    if request.helix_angle is not None:
        angle = request.helix_angle
        most, by = limits.helix_pitch_max, "helix-angle"
    else:
        angle, by = limits.ramp_angle or 0.0, "ramp-angle"
    if path * math.tan(math.radians(angle)) < most:
        most, name = path * math.tan(math.radians(angle)), by
    return most, name


def helix_of(hole: float, diameter: float, pitch: float, feed: float) -> Helix:
    """A helix of ``pitch`` in a bore, its angles at the cutter's centre and along the wall, and the wall's feed."""
    from advisor.cutting import entry

    path = entry.helix_path_diameter(bore=hole, diameter=diameter)
    return Helix(
        bore_diameter=hole,
        path_diameter=path,
        pitch=pitch,
        angle=entry.helix_angle(bore=hole, diameter=diameter, pitch=pitch),
        wall_angle=entry.helix_wall_angle(bore=hole, pitch=pitch),
        feed=feed,
        wall_feed=feed * hole / path,
    )


def entry_helix(request: Request, limits: CutLimits, rpm: float) -> Helix | None:
    """Helical entry at ``rpm``, or None where the cutter allows none."""
    if limits.ramp_angle is None or limits.cutter.form in ("drill", "vee"):
        return None
    d = limits.cutter.diameter
    hole = entry_bore(request, limits)
    pitch, _ = entry_pitch(request, limits, hole)
    digits = 2 if pitch >= 0.1 else 3
    pitch = max(math.floor(pitch * 10**digits + 1e-9) / 10**digits, 10.0**-digits)
    machine = limits.machine
    path = hole - d
    sine = pitch / math.hypot(pitch, math.pi * path)
    feed = min(
        rpm * limits.cutter.flutes * entry_chip(limits),
        machine.feed_max,
        60.0 * math.sqrt(min(machine.acceleration[0], machine.acceleration[1]) * path / 2),
        min(limits.plunge_per_rev * rpm, machine.feed_max_z) / sine,
    )
    return helix_of(hole, d, pitch, round_feed(feed))


def entry_chip(limits: CutLimits) -> float:
    """Feed per tooth (mm) of an entry: part of the slot's, but never a chip that rubs."""
    d = limits.cutter.diameter
    return max(limits.chip_range(d)[2] * ENTRY_SHARE, limits.chip_floor(ENTRY_WIDTH * d))


def ramp_feed(limits: CutLimits, rpm: float, most: float) -> float | None:
    """Feed (mm/min) of a straight ramp at the advised angle: part of that of the cut (``most``), whose depth it reaches
    and passes on its way back, but no chip that rubs; None where no ramp is advised."""
    if limits.ramp_angle is None or limits.cutter.form in ("drill", "vee"):
        return None
    teeth = rpm * limits.cutter.flutes
    down = min(limits.plunge_per_rev * rpm, limits.feed_max_z) / math.sin(math.radians(limits.ramp_angle))
    cut = max(ENTRY_SHARE * most, teeth * limits.chip_floor(ENTRY_WIDTH * limits.cutter.diameter))
    return round_feed(min(teeth * entry_chip(limits), limits.machine.feed_max, down, most, cut))


def plunge_feed(limits: CutLimits, rpm: float) -> float | None:
    """Advised straight plunge, mm/min; None where the cutter may not go straight down."""
    if not limits.centre_entry or limits.cutter.form == "drill":
        return None
    return round_feed(min(limits.plunge_per_rev * rpm, limits.feed_max_z))


def recommend(request: Request, *, helps: bool = True) -> Advice | Refusal:
    """The cut of highest removal rate inside every limit, or a refusal with its reasons.

    ``helps`` also works out what would help most (some further searches). Raises BadRequest for a question that can't
    be asked. The same request gives the same answer to the bit.
    """
    validate(request)
    if request.material is None:
        raise BadRequest("no work material is named", place="material", remedy="name one, for example birch-plywood")
    request, told = filled(request)
    assert request.material is not None and request.machine is not None
    safety = safety_of(request.material)
    answer: Advice | Refusal
    try:
        limits = cut_limits(
            cutter=request.cutter,
            material=request.material,
            machine=request.machine,
            specific_force=request.specific_force,
        )
        unfit = made_for(request.cutter, request.material)
        if unfit is not None:
            raise NoData(unfit)
        far = reach(request, limits)
        if far is not None:
            return Refusal(request, (far,), ("stickout",), safety=safety, assumptions=limits.assumptions)
        if request.operation == "drill":
            from advisor.drilling import recommend_drill

            answer = recommend_drill(request, limits, safety)
            return replace(answer, assumptions=(*told, *answer.assumptions)) if told else answer
        task = make_task(request, limits)
    except NoData as fault:
        return Refusal(request, (str(fault) + ".",), ("no-data",), safety=safety)
    low, chosen, high = ends_of(limits)
    width = effective_diameter(limits.cutter, d_most(task))
    why = spindle_bounds(limits, width, limits.cutting_speed_chosen)[3]
    if why is not None:
        return Refusal(
            request, (why,), ("spindle-slowest",), safety=safety, assumptions=limits.assumptions,
            helps=("a smaller cutter, or a machine with a slower spindle",),
        )  # fmt: skip
    best, blocked = search(task, chosen)
    if best is None:
        answer = _refuse(request, task, blocked, safety)
    else:
        answer = _advise(request, task, (low, chosen, high), best, safety, helps)
    return replace(answer, assumptions=(*told, *answer.assumptions)) if told else answer


def _refuse(request: Request, task: Task, blocked: dict[str, float], safety: tuple[str, ...]) -> Refusal:
    limits = task.limits
    names = tuple(sorted(blocked, key=lambda name: -blocked[name]))
    d = limits.cutter.diameter
    reasons: list[str] = []
    if names:
        from advisor.words import limit_words

        name = names[0]
        share = blocked[name]
        reasons.append(
            f"no room between too thin and too thick a chip: {limit_words(name)} allows "
            + (
                f"{min(100 * share, 99):.0f} % of the least feed that still cuts instead of rubbing"
                if share
                else "no feed at all"
            )
            + f", down to a {'pitch' if task.bore else 'stepdown'} of {min(least_stepdown(task), task.depth):.3g} mm"
        )
    else:
        most = max((min(m for _, m in depth_limits(task, w)) for w in task.widths), default=0.0)
        reasons.append(f"the greatest stepdown of this cut is {most:.3g} mm: too little for a {d:g} mm cutter")
    hints = {
        "deflection": "a smaller cutter, a shorter stickout or a stiffer machine",
        "tool-stress": "a thicker cutter or a shorter one",
        "axis-push": "a smaller cutter or a machine with stronger drives",
        "run-out": "a better collet: less run-out",
        "chatter": "a shorter stickout or a stiffer machine",
        "spindle-power": "a smaller cutter or a stronger spindle",
        "arc-acceleration": "a larger bore, fewer flutes or a slower spindle",
        "feed-machine": "fewer flutes or a slower spindle",
        "plunge-feed": "a larger bore",
    }
    return Refusal(
        request,
        tuple(reasons),
        names or ("stepdown-material",),
        helps=tuple(hints[name] for name in names if name in hints)[:2],
        safety=safety,
        assumptions=limits.assumptions,
    )


def d_most(task: Task) -> float:
    """The deepest a pass could be, mm."""
    return min(task.depth, max(min(most for _, most in depth_limits(task, w)) for w in task.widths))


def binding(task: Task, best: Best, found: tuple[LimitUse, ...]) -> tuple[str, ...]:
    """The limits that hold the removal rate down: used to 97 % or more, and the depth limit that forbids one pass less."""
    names: list[str] = []
    if best.passes > 1:
        deeper = task.depth / (best.passes - 1)
        names = [name for name, most in depth_limits(task, best.a_e) if deeper > most + 1e-9][:1]
    for use in found:
        if use.use >= 0.97 and use.name not in names and use.name not in ("chip-too-thin", "spindle-slowest"):
            names.append(use.name)
    if not names:
        names = [next(u.name for u in found if u.name not in ("chip-too-thin", "spindle-slowest"))]
    return tuple(names)


def _advise(
    request: Request,
    task: Task,
    ends: tuple[Ends, Ends, Ends],
    best: Best,
    safety: tuple[str, ...],
    helps: bool,
) -> Advice:
    limits = task.limits
    low, chosen, high = ends
    e = best.engagement
    cutter = limits.cutter
    what = physics(limits, e, rpm=best.rpm, feed=best.feed, power=chosen.power, bend=chosen.bend, ratio=limits.radial_ratio)
    found = uses(task, chosen, a_p=best.a_p, a_e=best.a_e, rpm=best.rpm, feed=best.feed)
    feeds, speeds = [best.feed], [best.rpm]
    for end in (low, high):
        bound = Row(task, end, best.a_e).caps(best.a_p)
        other = best_speed(task, e, best.heavy, bound, end, 0.0)
        if other is not None:
            feeds.append(other[2])
            speeds.append(other[1])
    if task.bore is not None:
        helix: Helix | None = helix_of(task.bore[0], cutter.diameter, best.a_p, best.feed)
        passes: tuple[float, ...] = (task.depth,)
    else:
        helix = entry_helix(request, limits, best.rpm)
        passes = (best.a_p,) * (1 if task.free_depth else best.passes)
    advice = Advice(
        request=request,
        spindle_rpm=best.rpm,
        feed=best.feed,
        plunge_feed=plunge_feed(limits, best.rpm),
        stepdown=best.a_p,
        passes=passes,
        stepover=best.a_e,
        helix=helix,
        ramp_angle=limits.ramp_angle if cutter.form != "vee" else None,
        ramp_feed=ramp_feed(limits, best.rpm, best.feed) if task.bore is None else None,
        first_cut=first_cut(task, best),
        physics=what,
        feed_range=(min(feeds), max(feeds)),
        rpm_range=(min(speeds), max(speeds)),
        limits=found,
        limited_by=binding(task, best, found),
        safety=safety,
        sources=sources_of(limits),
        pecks=(),
        finish=finish_pass(request, task, best),
        spread=spread_of(limits),
        cut=limits,
        engagement=e,
    )
    return replace(
        advice,
        warnings=warnings_of(advice, task),
        assumptions=assumptions_of(advice, task),
        helps=helps_of(request, task, best, advice.limited_by) if helps else (),
    )


def first_cut(task: Task, best: Best) -> FirstCut:
    """A gentler cut: three quarters of the depth (equal passes), feed down to at most 60 % of the removal rate; where
    the chip would fall too thin the spindle is slowed with the feed, and where it can't go slower less depth is taken."""
    limits = task.limits
    z = limits.cutter.flutes
    chosen = ends_of(limits)[1]
    row = Row(task, chosen, best.a_e)
    passes = best.passes if task.bore is not None else max(best.passes + 1, math.ceil(best.passes / 0.75 - 1e-9))
    share = 1.0 if task.bore is not None else 0.75
    first: FirstCut | None = None
    while share > LEAST_FIRST:
        a_p = share * best.a_p if task.free_depth or task.bore is not None else task.depth / passes
        e, heavy = task.engaged(a_p, best.a_e)
        bound = row.caps(a_p)  # a shallower cut loads the cutter nearer its tip: its own bounds hold too
        gentle = min(best.feed, FIRST_CUT_SHARE * 1000.0 * best_removal(best) / e.section)
        top = min(best.rpm, max(gentle / (bound.least * z), limits.spindle_min))
        for rpm in reversed(speeds_between(limits.spindle_min, top)):
            held = min(bound.most, feed_by_power(limits, heavy, chosen.power, rpm)) * rpm * z
            feed = round_feed(min(gentle, held, descent(task, e, rpm)))
            found = FirstCut(spindle_rpm=rpm, feed=feed, stepdown=a_p, removal_rate=e.section * feed / 1000.0)
            if feed >= bound.least * rpm * z - 1e-9:
                return found
            first = first or found
        passes, share = passes + 1, 0.95 * min(share, a_p / best.a_p)
    assert first is not None
    return first


def best_removal(best: Best) -> float:
    """Removal rate of the best setting, cm3/min."""
    return best.engagement.section * best.feed / 1000.0


def finish_pass(request: Request, task: Task, best: Best) -> FinishPass | None:
    """The light last pass along the wall, at the same speed; None where there is no wall or it was asked for itself."""
    limits = task.limits
    cutter = limits.cutter
    if request.finish or task.operation in ("engrave", "face") or cutter.form == "vee":
        return None
    allowance = min(limits.finish_allowance, FINISH_WIDTH * cutter.diameter)
    deflection = limits.deflection_finish if request.tolerance is None else min(limits.deflection_finish, request.tolerance)
    depth = request.depth or (best.a_p if task.free_depth else task.depth)
    light = Task(limits, "side", depth, (allowance,), deflection, finish=True)
    _, chosen, _ = ends_of(limits)
    deepest = min(most for _, most in depth_limits(light, allowance))
    counts = PASSES[bisect_left(PASSES, math.ceil(depth / deepest - 1e-9)) :]

    row = Row(light, chosen, allowance)

    def fits(passes: int) -> tuple[float, float, float, float] | None:
        a_p = depth / passes
        e = engage(cutter, "side", a_p, allowance)
        bound = row.caps(a_p)
        feed = round_feed(min(bound.most * best.rpm * cutter.flutes, limits.machine.feed_max))
        f_z = feed / (best.rpm * cutter.flutes)
        if bound.most < bound.least or f_z < bound.least or f_z <= 0:
            return None
        side = chosen.bend.at(f_z * e.greatest) * f_z * e.side_section
        return a_p, feed, f_z, side * math.sqrt(1 + limits.radial_ratio**2) * limits.compliance(a_p / 2)

    # Fewest passes that fit: what fits deep also fits shallower.
    low, high = 0, min(len(counts), 160)
    while low < high:
        middle = (low + high) // 2
        if fits(counts[middle]) is None:
            low = middle + 1
        else:
            high = middle
    found = fits(counts[low]) if low < len(counts) else None
    if found is None:
        return None
    a_p, feed, f_z, bend = found
    scallop = step = None
    if cutter.form == "ball":
        scallop = 0.005 if limits.metal else 0.02
        from advisor.cutting.surface import scallop_stepover

        step = scallop_stepover(diameter=cutter.diameter, height=scallop)
    return FinishPass(
        allowance=allowance,
        stepdown=a_p,
        spindle_rpm=best.rpm,
        feed=feed,
        chip_load=f_z,
        deflection=bend,
        source=limits.sources.get("finish_allowance", CP),
        scallop_stepover=step,
        scallop_height=scallop,
    )


def helps_of(request: Request, task: Task, best: Best, names: tuple[str, ...]) -> tuple[str, ...]:
    """What would help most, by searching again with the change; only what brings 5 % or more, best first."""
    limits = task.limits
    cutter = limits.cutter
    tries: list[tuple[str, Cutter, Machine]] = []
    stiff = {"deflection", "tool-stress", "chatter"}
    if stiff & set(names):
        depth = best.a_p if task.free_depth else task.depth
        need = max(limits.flute_length + 1.0, depth + 3.0)
        spare = math.floor(limits.stickout - need)
        if spare >= 1:
            tries.append((f"{spare} mm less stickout", replace(cutter, stickout=limits.stickout - spare), limits.machine))
        short = max(depth, best.a_p + 1.0)
        spare = math.floor(limits.flute_length - short)
        if spare >= 2:
            shorter = replace(
                cutter,
                flute_length=limits.flute_length - spare,
                stickout=max(limits.stickout - spare, depth + 3.0),
            )
            tries.append((f"a cutter with {spare} mm shorter flutes, held as much shorter", shorter, limits.machine))
    if {"chip-too-thick", limits.spindle_max_name, "cutting-speed"} & set(names) and cutter.flutes < (
        4 if limits.metal and limits.material.family not in ("aluminium", "copper") else 3
    ):
        tries.append((f"a cutter with {cutter.flutes + 1} flutes", replace(cutter, flutes=cutter.flutes + 1), limits.machine))
    if "spindle-power" in names:
        stronger = replace(
            limits.machine,
            spindle_power=limits.machine.spindle_power * 1.25,
            power_curve=tuple((n, 1.25 * p) for n, p in limits.machine.power_curve),
        )
        tries.append(("a quarter more spindle power", cutter, stronger))
    if "run-out" in names:
        half = limits.runout / 2
        tries.append((f"a run-out of {half:.3g} mm", replace(cutter, runout=half), replace(limits.machine, runout=half)))
    told: list[tuple[float, str]] = []
    for words, other, machine in tries[:3]:
        try:
            changed = cut_limits_once(other, limits.material, machine, request.specific_force)
            again, _ = search(replace(make_task(request, changed), depth=task.depth), ends_of(changed)[1])
        except NoData:
            continue
        if again is not None and again.removal >= 1.05 * best.removal:
            gain = again.removal / best.removal - 1.0
            told.append((gain, f"{words} allows {100 * gain:.0f} % more removal"))
    told.sort(key=lambda pair: (-pair[0], pair[1]))
    return tuple(words for _, words in told)


def cut_limits_once(cutter: Cutter, material: Material, machine: Machine, force: float | None) -> CutLimits:
    """Limits of a variation, not kept."""
    return fresh_limits(cutter, material, machine, force)
