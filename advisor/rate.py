"""Settings the user already has, judged: what they do at nominal data, and every limit at the pessimistic end.

The physics (speed, chip, engagement, force, torque, power, bending) follow plainly from the numbers given, at the
nominal value of the material's data or the specific force given. The limits, and the values beside them, are those of
``recommend``: the pessimistic end with a worn edge. What has no material or no machine is *not judged*, in words.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache

from advisor.advice import NEAR, BadRequest, Helix, LimitUse, Physics, Rating, Request
from advisor.asking import filled, made_for, reach, validate
from advisor.limits import CP, CutLimits, ForceLaw, NoData, cut_limits, plunge_depth
from advisor.operations import effective_diameter
from advisor.recommend import helix_of, make_task, physics, uses
from advisor.remarks import safety_of, sources_of, spread_of, wide_side_cut
from advisor.search import Ends
from advisor.values import Machine, Material, Value

__all__ = ["Rating", "rate"]

# Judged only with a work material, and only with a machine.
MATERIAL_LIMITS = frozenset(
    ("chip-too-thick", "chip-too-thin", "run-out", "cutting-speed", "stepdown-material", "side-depth", "side-width",
     "down-cut-slot", "helix-pitch", "ramp-angle", "plunge-feed", "drill-feed", "deflection", "finish-feed", "helix-angle",
     "drill-speed")
)  # fmt: skip
FORCE_LIMITS = frozenset(("deflection", "tool-stress", "axis-push", "spindle-power", "chatter", "thrust"))
MACHINE_LIMITS = frozenset(
    ("deflection", "axis-push", "spindle-power", "feed-machine", "feed-machine-z", "spindle-speed", "spindle-slowest",
     "arc-acceleration", "chatter", "thrust")
)  # fmt: skip


@lru_cache(maxsize=64)
def _open_material(diameter: float) -> Material:
    """A material without limits of its own, to carry a specific force given by the user."""

    def plain(value: float, unit: str = "1") -> Value:
        return Value(value, value, value, unit, "not given")

    far = 1e9
    values: Mapping[str, Value] = {
        "cutting_speed_carbide": plain(far, "m/min"),
        "cutting_speed_hss": plain(far, "m/min"),
        "specific_force": plain(1.0, "N/mm2"),
        "specific_force_exponent": plain(0.0),
        "radial_force_ratio": Value(0.3, 0.5, 0.6, "1", "estimate, no source"),
        "worn_force_factor": plain(1.0),
        "slot_chip_factor": plain(1.0),
        "stepdown_slot_light": plain(far, "D"),
        "stepdown_slot_rigid": plain(far, "D"),
        "side_width": plain(far, "D"),
        "ramp_angle_rigid": plain(5.0, "deg"),
        "plunge_per_rev": plain(far, "D/rev"),
        "helix_pitch": plain(far, "D"),
        "drill_feed": plain(far, "D/rev"),
        "peck_first": plain(3.0, "D"),
        "peck_next": plain(1.0, "D"),
        "finish_allowance": plain(0.2, "mm"),
        "deflection_rough": plain(0.1, "mm"),
        "deflection_finish": plain(0.03, "mm"),
        "density": plain(1.0, "kg/m3"),
    }
    return Material(
        name="not given",
        title="a material not given",
        family="plastic",
        values=values,
        chip_load={diameter: Value(1e-9, far, far, "mm", "not given")},
        source="not given",
    )


_RIGID = Machine(
    name="not given",
    spindle_max=1e6,
    spindle_power=1e12,
    power_curve=((1.0, 1e12), (1e6, 1e12)),
    efficiency=1.0,
    feed_max=1e9,
    feed_max_z=1e9,
    stiffness=1e9,
    holder_stiffness=1e9,
    runout=0.0,
    acceleration=(1e12, 1e12, 1e12),
)


def _given(value: float | None, name: str, what: str) -> float:
    if value is None or not (math.isfinite(value) and value > 0):
        shown = "none is given" if value is None else f"not {value:g}"
        raise BadRequest(f"{what} above zero is needed, {shown}", place=name, remedy=f"give --{name}")
    return value


def rate(
    request: Request,
    *,
    rpm: float,
    feed: float,
    plunge_feed: float | None = None,
    stepdown: float | None = None,
) -> Rating:
    """Judge a setting: ``rpm`` rev/min, ``feed`` mm/min of the cutter's centre (in drilling: of the drill), optional
    ``plunge_feed``, and ``stepdown`` mm (default: the request's depth, in a helix the pitch).

    Raises BadRequest for what can't be asked or told.
    """
    validate(request)
    rpm = _given(rpm, "rpm", "a spindle speed")
    feed = _given(feed, "feed", "a feed")
    if plunge_feed is not None:
        plunge_feed = _given(plunge_feed, "plunge-feed", "a plunge feed")
    if stepdown is not None:
        stepdown = _given(stepdown, "stepdown", "a stepdown")
    given_machine = request.machine
    request, told = filled(request, stepdown)
    request = replace(request, machine=given_machine)
    not_judged: list[str] = []
    material, machine = request.material, request.machine
    if material is None:
        if request.specific_force is None:
            not_judged.append("force, torque, power, deflection: no material and no specific force given")
        not_judged.append("chip thickness, cutting speed, stepdown, entry, deflection: no material given")
    if machine is None:
        not_judged.append("power, feed, spindle speed, deflection: no machine given")
    warnings: list[str] = []
    try:
        limits = _limits(request)
    except NoData as fault:
        # The data does not support this cutter here: the physics can still be told where a force is known.
        warnings.append(str(fault) + ".")
        not_judged.append("every limit of the material: its data does not support this cutter")
        material = None
        force = request.specific_force
        if force is None and request.material is not None:
            force = _constant(request.material)
        limits = cut_limits(
            cutter=request.cutter,
            material=_open_material(request.cutter.diameter),
            machine=request.machine or _RIGID,
            specific_force=force,
        )
    if request.material is not None:
        unfit = made_for(request.cutter, request.material)
        if unfit:
            warnings.append(unfit + ".")
    far = reach(request, limits)
    if far:
        warnings.append(far[:1].upper() + far[1:] + ".")
    forced = material is not None or request.specific_force is not None
    drop = (
        (frozenset() if material is not None else MATERIAL_LIMITS)
        | (frozenset() if forced else FORCE_LIMITS)
        | (frozenset() if machine is not None else MACHINE_LIMITS)
    )
    law = limits.force_nominal if forced else None
    told = tuple(t for t in told if not t.startswith("no machine named"))
    if request.operation == "drill":
        rating = _rate_drill(request, limits, rpm, feed, stepdown, law, drop, tuple(warnings), tuple(not_judged))
        return replace(rating, assumptions=(*told, *rating.assumptions))
    rating = _rate_mill(
        request,
        limits,
        rpm,
        feed,
        plunge_feed,
        stepdown,
        law,
        drop,
        warnings,
        tuple(not_judged),
        known=material is not None,
    )
    return replace(rating, assumptions=(*told, *rating.assumptions))


def _limits(request: Request) -> CutLimits:
    return cut_limits(
        cutter=request.cutter,
        material=request.material if request.material is not None else _open_material(request.cutter.diameter),
        machine=request.machine if request.machine is not None else _RIGID,
        specific_force=request.specific_force,
    )


def _constant(material: Material) -> float:
    """A constant specific force standing for a material whose data does not support the cutter: k_c at h = 0.1 mm."""
    k, m = material.values["specific_force"], material.values["specific_force_exponent"]
    return float(k.chosen * 0.1**-m.chosen)


def _verdict(limits: tuple[LimitUse, ...]) -> str:
    if any(u.exceeded for u in limits):
        return "over"
    return "near" if any(u.use >= NEAR for u in limits if not u.least) or any(u.use >= NEAR for u in limits) else "within"


def _force_free(what: Physics) -> Physics:
    return replace(what, force=None, peak_force=None, torque=None, power=None, deflection=None, stress=None, thrust=None)


def _rate_mill(
    request: Request,
    limits: CutLimits,
    rpm: float,
    feed: float,
    plunge_feed: float | None,
    stepdown: float | None,
    law: ForceLaw | None,
    drop: frozenset[str],
    warnings: list[str],
    not_judged: tuple[str, ...],
    *,
    known: bool,
) -> Rating:
    cutter = limits.cutter
    d = cutter.diameter
    told = list(limits.assumptions)
    bare = replace(request, depth=request.depth or stepdown, helix_angle=None)
    if limits.ramp_angle is None and request.operation == "bore":
        limits = replace(limits, ramp_angle=90.0, ramp_angle_max=90.0)
        warnings.append("The height of the cutter's uncut core is not known: the descent can't be judged.")
    task = make_task(bare, limits)
    helix: Helix | None = None
    if task.bore is not None:
        if request.helix_angle is not None:
            a_p = math.pi * task.bore[1] * math.tan(math.radians(request.helix_angle))
        elif stepdown is not None:
            a_p = stepdown
        else:
            raise BadRequest("the pitch of the helix is not known", place="stepdown", remedy="give --stepdown (the pitch)")
        helix = helix_of(task.bore[0], d, a_p, feed)
    else:
        given = stepdown if stepdown is not None else request.depth
        if given is None:
            raise BadRequest(
                "the depth of a pass is not known",
                place="stepdown",
                remedy="give --stepdown, or --depth for a single pass",
            )
        a_p = given
    if request.depth is not None and a_p > request.depth + 1e-9 and task.bore is None:
        raise BadRequest(
            f"a stepdown of {a_p:g} mm is deeper than the whole cut ({request.depth:g} mm)",
            place="stepdown",
            remedy=f"give at most {request.depth:g} mm, or a greater depth",
        )
    full = effective_diameter(cutter, a_p)
    if request.operation in ("slot", "engrave"):
        a_e = full
    elif task.bore is not None:
        a_e = d
    elif request.stepover is not None:
        a_e = request.stepover
    elif request.operation == "side" and not request.finish:
        raise BadRequest("the width of a side cut is not known", place="stepover", remedy="give --stepover")
    else:
        a_e = max(task.widths)
        told.append(f"stepover not given: {a_e:.3g} mm taken")
    if task.bore is None and request.bore_diameter is not None and request.helix_angle is not None:
        turn = math.pi * (request.bore_diameter - d) * math.tan(math.radians(request.helix_angle))
        helix = helix_of(request.bore_diameter, d, turn, feed)
    e = task.engaged(a_p, a_e)[0]
    what = physics(
        limits,
        e,
        rpm=rpm,
        feed=feed,
        power=law or ForceLaw(1.0),
        bend=law or ForceLaw(1.0),
        ratio=limits.radial_ratio_nominal,
    )
    if law is None:
        what = _force_free(what)
    elif request.machine is None:
        told.append("no machine given: deflection is that of the cutter alone")
    ends = Ends(3, limits.force_high, limits.force_bend, limits.cutting_speed_high)
    if known and task.operation == "side" and a_e > limits.side_width_max + 1e-9:
        warnings.append(wide_side_cut(limits, a_e))
    found = tuple(u for u in uses(task, ends, a_p=a_p, a_e=a_e, rpm=rpm, feed=feed) if u.name not in drop)
    extra: list[LimitUse] = []
    if plunge_feed is not None and known:
        if cutter.form == "vee" or limits.centre_entry:
            most = limits.plunge_feed_max(rpm)
            extra.append(
                LimitUse(
                    "plunge-feed",
                    plunge_feed,
                    most,
                    "mm/min",
                    plunge_feed / most,
                    limits.sources.get("plunge_per_rev", CP),
                )
            )
        else:
            extra.append(
                LimitUse("plunge-feed", plunge_feed, 0.0, "mm/min", math.inf, "the cutter may not go straight down; " + CP)
            )
    if helix is not None and known and task.bore is not None:
        steepest = limits.ramp_angle_max
        extra = [*extra]
        if not cutter.centre_cutting and steepest is not None and steepest < 90:
            extra.append(
                LimitUse("ramp-angle", helix.angle, steepest, "deg", helix.angle / steepest, "geometry of the uncut core")
            )
        if limits.helix_pitch_max < 1e6:
            found = tuple(u for u in found if u.name not in ("helix-pitch", "ramp-angle", "helix-angle"))
            source = limits.sources.get("helix_pitch", CP)
            most = limits.helix_pitch_max
            extra.append(LimitUse("helix-pitch", helix.pitch, most, "mm", helix.pitch / most, source))
    found = tuple(sorted((*found, *extra), key=lambda u: -u.use))
    passes = _equal(request.depth, a_p) if task.bore is None else ((request.depth,) if request.depth else (a_p,))
    return Rating(
        request=request,
        spindle_rpm=rpm,
        feed=feed,
        plunge_feed=plunge_feed,
        stepdown=a_p,
        passes=passes,
        stepover=a_e,
        helix=helix,
        physics=what,
        verdict=_verdict(found),
        limits=found,
        limited_by=tuple(u.name for u in found if u.exceeded) or tuple(u.name for u in found if u.use >= NEAR),
        ramp_angle=request.helix_angle,
        warnings=(*warnings, *_wrong(found)),
        assumptions=(
            *told,
            "force, torque, power and deflection at nominal data; the limits and the values beside them at the "
            "pessimistic end with a worn edge",
        ),
        safety=safety_of(request.material),
        sources=sources_of(limits) if known else (),
        spread=spread_of(limits) if known else "",
        not_judged=not_judged,
        cut=limits,
        engagement=e,
    )


def _equal(depth: float | None, a_p: float) -> tuple[float, ...]:
    """Passes of ``a_p`` down to ``depth``, the last one shallower; one pass when the depth is not given."""
    if depth is None or depth <= a_p + 1e-9:
        return (a_p,)
    whole = int(depth / a_p + 1e-9)
    rest = depth - whole * a_p
    return (a_p,) * min(whole, 10000) + ((rest,) if rest > 1e-6 else ())


def _wrong(found: tuple[LimitUse, ...]) -> tuple[str, ...]:
    """What is wrong, one sentence a limit."""
    from advisor.words import figure, limit_words

    told = []
    for u in found:
        if not u.exceeded:
            continue
        side = "below" if u.least else "beyond"
        words = limit_words(u.name)
        told.append(f"{side[:1].upper()}{side[1:]} {words}: {figure(u.value)} {u.unit} against {figure(u.limit)} {u.unit}.")
    return tuple(told)


def _rate_drill(
    request: Request,
    limits: CutLimits,
    rpm: float,
    feed: float,
    stepdown: float | None,
    law: ForceLaw | None,
    drop: frozenset[str],
    warnings: tuple[str, ...],
    not_judged: tuple[str, ...],
) -> Rating:
    from advisor.cutting.drilling import deep_hole_factors
    from advisor.drilling import drill_physics, drill_uses, feed_bounds, peck_plan

    cutter = limits.cutter
    depth = request.depth or stepdown
    what = drill_physics(limits, rpm=rpm, feed=feed, law=law or ForceLaw(1.0))
    if law is None:
        what = _force_free(what)
    slower, finer = deep_hole_factors(depth_ratio=depth / cutter.diameter) if depth else (1.0, 1.0)
    found = tuple(
        u
        for u in drill_uses(
            limits,
            rpm=rpm,
            feed=feed,
            least=0.5 * feed_bounds(limits)[0] * finer,
            most=feed_bounds(limits)[2] * finer,
            speed=limits.cutting_speed_high * slower,
            law=limits.force_high,
        )
        if u.name not in drop
    )
    known = request.material is not None and "drill-feed" not in drop
    if depth is not None and known:
        first = peck_plan(limits, depth)[0]
        bite = stepdown if stepdown is not None else depth
        most = limits.peck_first if cutter.form == "drill" else first
        found = (*found, LimitUse("peck", bite, most, "mm", bite / most, limits.sources.get("peck_first", CP)))
    if cutter.form != "drill" and limits.metal and depth is not None and known:
        straight = plunge_depth(cutter, limits.material.family)
        found = (*found, LimitUse("straight-plunge", depth, straight, "mm", depth / straight, CP))
    found = tuple(sorted(found, key=lambda u: -u.use))
    return Rating(
        request=request,
        spindle_rpm=rpm,
        feed=feed,
        plunge_feed=feed,
        stepdown=stepdown or depth or 0.0,
        passes=(depth,) if depth else (),
        stepover=cutter.diameter,
        helix=None,
        physics=what,
        verdict=_verdict(found),
        limits=found,
        limited_by=tuple(u.name for u in found if u.exceeded) or tuple(u.name for u in found if u.use >= NEAR),
        warnings=(*warnings, *_wrong(found)),
        assumptions=(
            *limits.assumptions,
            "force, torque, power and thrust at nominal data; the limits at the pessimistic end",
        ),
        safety=safety_of(request.material),
        sources=sources_of(limits) if known else (),
        spread=spread_of(limits) if known else "",
        not_judged=not_judged,
        cut=limits,
    )
