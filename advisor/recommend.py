"""The cut of highest removal rate inside every limit, found by search over equal passes, width, spindle speed and chip.

For each number of equal passes (and each width of a side cut) the feed per tooth allowed by chip thickness, deflection,
stress and axis force is solved; over the spindle speeds a dial can be set to, power and feed are added; the setting with
the highest removal rate wins (ties: fewer revolutions, then fewer passes). Tables of practice (chip load, stepdown) are
read at their chosen value, forces at the pessimistic end of their data, with a worn edge for power.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace

from advisor.advice import (
    OPERATIONS,
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
from advisor.limits import CP, CutLimits, ForceLaw, NoData, chip_load_at, cut_limits
from advisor.operations import Engagement, effective_diameter, engage
from advisor.values import Cutter, Machine, Material

__all__ = ["Advice", "BadRequest", "Refusal", "Request", "recommend", "validate"]

THINNING_MOST = 3.0  # feed per tooth never above this multiple of the chip it is to make
RUNOUT_MARGIN = 1.25  # one tooth's chip with run-out may reach this multiple of the table's high end
PUSH_SHARE = 0.5  # of the force an axis drive can hold
FIRST_CUT_SHARE = 0.6
ENTRY_SHARE = 0.6  # helical entry feed / slot feed; practice is 0.3 to 0.7
ENTRY_BORE = 1.7  # x diameter
POCKET_WIDTH = 0.5
FACE_WIDTH = 0.7
LEAST_STEPDOWN = {True: 0.05, False: 0.1}  # mm, metals and others: below it the corner wears and nothing is gained
WIDTHS = (0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.1, 0.125, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5)


def _passes() -> tuple[int, ...]:
    """Counts of equal passes tried: each to 50, then steps of about 2 % (the same for every machine)."""
    counts = list(range(1, 51))
    while counts[-1] < 20000:
        counts.append(max(counts[-1] + 1, round(counts[-1] * 1.02)))
    return tuple(counts)


PASSES = _passes()
DEEP_HOLE = ((3.0, 1.0, 1.0), (4.0, 0.9, 1.0), (5.0, 0.8, 0.9), (6.0, 0.7, 0.8), (math.inf, 0.62, 0.8))
DEEP_HOLE_SOURCE = "from memory: Machinery's Handbook"


def _dial() -> tuple[float, ...]:
    """Spindle speeds a dial or an S word is set to: steps of 5 rev/min to 200, 10, 50, 100, then 500 from 10000."""
    steps: list[float] = []
    for low, high, step in ((20, 200, 5), (200, 1000, 10), (1000, 3000, 50), (3000, 10000, 100), (10000, 60001, 500)):
        steps.extend(float(n) for n in range(low, high, step))
    return tuple(steps)


DIAL = _dial()


def speeds_between(low: float, high: float) -> tuple[float, ...]:
    """Dial speeds from ``low`` to ``high`` rev/min; where none lies between, ``high`` alone."""
    found = DIAL[bisect_left(DIAL, low - 1e-9) : bisect_right(DIAL, high + 1e-9)]
    return found or (high,)


def round_feed(feed: float) -> float:
    """Feed rounded down to what one would type: steps of 10 above 200 mm/min, 5 above 50, 1 above 10, else 0.1."""
    step = 10.0 if feed >= 200 else 5.0 if feed >= 50 else 1.0 if feed >= 10 else 0.1
    return round(math.floor(feed / step + 1e-9) * step, 6)


def round_width(width: float) -> float:
    """Width of cut rounded down to 0.001 mm."""
    return math.floor(width * 1000.0 + 1e-6) / 1000.0


@dataclass(frozen=True, slots=True)
class Ends:
    """One end of the data: which column of the chip table, which force laws, which top cutting speed."""

    chip: int  # 1 low, 2 chosen, 3 high, as in CutLimits.chip_range
    power: ForceLaw
    bend: ForceLaw
    speed: float


@dataclass(frozen=True, slots=True)
class Task:
    """What is searched for, worked out once from the request."""

    limits: CutLimits
    operation: str  # as engaged
    depth: float
    widths: tuple[float, ...]
    deflection: float
    bore: tuple[float, float] | None = None
    pitch_most: float = math.inf
    pitch_name: str = "helix-pitch"
    free_depth: bool = False  # depth was not given
    finish: bool = False  # a light pass along the wall: the slot's feed per tooth, thinner chips allowed
    stability: float = math.inf  # k*zeta*(1+zeta)*2, N/mm: divided by force and teeth gives the stable depth

    @property
    def opening(self) -> str:
        """How the heaviest cut of the operation engages."""
        return "slot" if self.operation == "pocket" else self.operation


@dataclass(frozen=True, slots=True)
class Caps:
    """Bounds of the feed per tooth at one depth and width, spindle speed aside."""

    least: float
    most: float
    name: str  # the limit that sets ``most``
    each: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Best:
    """The best setting found."""

    removal: float  # mm3/min
    passes: int
    a_p: float
    a_e: float
    rpm: float
    feed: float
    engagement: Engagement
    heavy: Engagement


# --- the question -----------------------------------------------------------------------------------------------------


def _positive(value: float | None, name: str, what: str, remedy: str) -> None:
    if value is not None and not (math.isfinite(value) and value > 0):
        raise BadRequest(f"{what} must be above zero, not {value:g}", place=name, remedy=remedy)


def validate(request: Request) -> None:
    """Raise BadRequest for what can't be asked; every sentence names the place and the remedy."""
    c, m = request.cutter, request.machine
    if request.operation not in OPERATIONS:
        from difflib import get_close_matches

        near = get_close_matches(request.operation, OPERATIONS, n=1, cutoff=0.4)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        raise BadRequest(
            f'unknown operation "{request.operation}"', place="operation", remedy=hint + "known: " + ", ".join(OPERATIONS)
        )
    _positive(c.diameter, "diameter", "the cutter's diameter", "give the cutting diameter, for example 6 mm")
    if c.flutes < 1 or c.flutes != int(c.flutes):
        raise BadRequest(
            f"a cutter with {c.flutes} flutes can't cut", place="flutes", remedy="give the number of cutting edges, 1 or more"
        )
    _positive(c.flute_length, "flute-length", "the flute length", "give the length of the cutting edges")
    _positive(c.stickout, "stickout", "the stickout", "give the length from the holder's face to the tip")
    _positive(c.shank, "shank", "the shank's diameter", "give the diameter the holder grips")
    _positive(c.max_rpm, "cutter-max-rpm", "the speed marked on the cutter", "give it as marked, or leave it out")
    if c.flute_length is not None and c.stickout is not None and c.flute_length > c.stickout + 1e-9:
        raise BadRequest(
            f"the flutes ({c.flute_length:g} mm) are longer than the stickout ({c.stickout:g} mm), so the holder would "
            f"grip the cutting edges",
            place="flute-length",
            remedy=f"let the cutter stand out at least {c.flute_length:g} mm, or give the true flute length",
        )
    if c.form == "corner" and not 0 < c.corner_radius <= c.diameter / 2:
        raise BadRequest(
            f"a corner radius of {c.corner_radius:g} mm does not fit a {c.diameter:g} mm cutter",
            place="corner-radius",
            remedy=f"give a radius above 0 and at most {c.diameter / 2:g} mm",
        )
    if c.tip_angle is not None and not 0 < c.tip_angle < 180:
        raise BadRequest(
            f"a tip angle of {c.tip_angle:g} degrees is no point", place="tip-angle", remedy="give the included angle, 1 to 179"
        )
    if c.dead_diameter < 0 or c.dead_diameter >= c.diameter:
        raise BadRequest(
            f"an uncut core of {c.dead_diameter:g} mm does not fit a {c.diameter:g} mm cutter",
            place="dead-diameter",
            remedy="give the diameter at the middle that does not cut, below the cutter's diameter",
        )
    if c.form == "vee" and not 0 <= c.tip_diameter < c.diameter:
        raise BadRequest(
            f"a tip flat of {c.tip_diameter:g} mm does not fit a {c.diameter:g} mm cutter",
            place="tip-diameter",
            remedy="give the flat at the tip, below the cutter's diameter",
        )
    _positive(request.depth, "depth", "the depth", "give how deep the cut goes, as a positive length")
    _positive(request.stepover, "stepover", "the stepover", "give the width of cut, above 0 and at most the diameter")
    if request.stepover is not None and request.stepover > c.diameter + 1e-9:
        raise BadRequest(
            f"a stepover of {request.stepover:g} mm is wider than the {c.diameter:g} mm cutter",
            place="stepover",
            remedy=f"give at most {c.diameter:g} mm",
        )
    _positive(request.bore_diameter, "bore-diameter", "the bore's diameter", "give the diameter of the hole")
    if request.bore_diameter is not None and request.bore_diameter <= c.diameter:
        raise BadRequest(
            f"a {c.diameter:g} mm cutter can't circle in a {request.bore_diameter:g} mm bore",
            place="bore-diameter",
            remedy=f"give more than {c.diameter:g} mm, a smaller cutter, or drill it",
        )
    if request.helix_angle is not None and not 0 < request.helix_angle < 90:
        raise BadRequest(
            f"a helix angle of {request.helix_angle:g} degrees is no ramp", place="helix-angle", remedy="give 0.1 to 45 degrees"
        )
    _positive(request.tolerance, "tolerance", "the tolerance", "give the wall error allowed, for example 0.05 mm")
    _positive(request.specific_force, "specific-force", "the specific force", "give N/mm2, for example 700")
    if m is not None:
        _positive(m.spindle_max, "spindle-max", "the top spindle speed", "give rev/min, for example 24000")
        _positive(m.spindle_power, "spindle-power", "the spindle's power", "give the rated power at the shaft in W")
        _positive(m.feed_max, "feed-max", "the greatest feed", "give mm/min, for example 5000")
        _positive(m.feed_max_z, "feed-max-z", "the greatest feed of Z", "give mm/min, for example 2000")
        _positive(m.stiffness, "stiffness", "the stiffness", "give N/um at the tool, for example 2")
        _positive(m.holder_stiffness, "holder-stiffness", "the holder's stiffness", "give N/um, for example 20")
        if m.spindle_min < 0 or m.spindle_min > m.spindle_max:
            raise BadRequest(
                f"the slowest spindle speed ({m.spindle_min:g}) is above the fastest ({m.spindle_max:g})",
                place="spindle-min",
                remedy="give the slowest speed with useful torque, at most the fastest",
            )
    _able(request)


def _able(request: Request) -> None:
    """The cutter must be able to do the operation at all."""
    c, operation = request.cutter, request.operation

    def cannot(why: str, remedy: str) -> BadRequest:
        return BadRequest(f"{why}, so it can't do the operation {operation}", place="operation", remedy=remedy)

    if c.form == "drill" and operation != "drill":
        raise cannot("a drill cuts at its point only", "use --operation drill, or an end mill")
    if c.form == "vee" and operation not in ("engrave", "slot"):
        raise cannot("a V cutter cuts a groove of its own shape", "use --operation engrave, or a flat end mill")
    if operation == "drill" and c.form != "drill":
        if not c.centre_cutting:
            raise cannot("the cutter does not cut at its centre", "use a drill, or --operation bore with a larger hole")
        if c.twist in ("down", "compression"):
            raise cannot(
                "a cutter that pushes chips down packs the hole", "use a drill, an up-cut cutter, or --operation bore"
            )
    if operation in ("slot", "engrave") and request.stepover is not None and c.form != "vee":
        full = effective_diameter(c, request.depth or c.diameter)
        if request.stepover < full - 1e-6:
            raise BadRequest(
                f"a {operation} is as wide as the cutter ({full:g} mm), not {request.stepover:g} mm",
                place="stepover",
                remedy="leave the stepover out, or use --operation side or pocket",
            )
    if operation == "bore" and request.bore_diameter is not None and not c.centre_cutting:
        least = c.diameter + c.dead_diameter
        if request.bore_diameter < least - 1e-9:
            raise cannot(
                f"the uncut core ({c.dead_diameter:g} mm) would stand on the floor of a {request.bore_diameter:g} mm bore",
                f"bore at least {least:g} mm, or use a centre-cutting cutter",
            )


def reach(request: Request, limits: CutLimits) -> str | None:
    """Why the cutter does not reach ``depth``, or None when it does."""
    depth = request.depth
    if depth is None:
        return None
    if depth > limits.stickout + 1e-6:
        return (
            f"the cutter stands out {limits.stickout:g} mm and the cut is {depth:g} mm deep: the holder would hit the work; "
            f"let it stand out at least {depth + 3:g} mm or take a longer cutter"
        )
    if depth > limits.flute_length + 1e-6 and (limits.shank > limits.cutter.diameter + 1e-6 or request.operation == "drill"):
        return (
            f"the flutes are {limits.flute_length:g} mm long and the cut is {depth:g} mm deep: the shank would rub or the "
            f"chips jam; take a cutter with flutes of at least {depth:g} mm"
        )
    return None


def made_for(cutter: Cutter, material: Material) -> str | None:
    """Why a cutter made for other materials is not advised here, or None. Hard materials only."""
    if not cutter.use or material.family in cutter.use:
        return None
    if material.family in ("steel", "iron", "titanium", "copper", "aluminium", "composite"):
        return (
            f"{cutter.name} is made for {', '.join(cutter.use)}; no data supports it in {material.title}: take a cutter "
            f"made for {material.family}"
        )
    return None


# --- one setting ------------------------------------------------------------------------------------------------------


def chip_range(limits: CutLimits, e: Engagement, *, wide: bool) -> tuple[float, float, float, float]:
    """Least, low, chosen and high greatest chip thickness (mm) for an engagement; V cutters by the diameter they have
    at that depth."""
    d = limits.cutter.diameter
    if limits.cutter.form == "vee":
        table = limits.material.chip_load
        here = max(e.effective_diameter, min(table))
        share = chip_load_at(limits.material, here)[1] / chip_load_at(limits.material, d)[1]
        least, low, chosen, high = limits.chip_range(d)
        return least * share, low * share, chosen * share, high * share
    return limits.chip_range(d if wide else min(e.a_e, d), e.a_p)


def thin_finish(limits: CutLimits) -> float:
    """Least chip (mm) of a finishing pass with a sharp edge: the slot's."""
    return limits.chip_range(limits.cutter.diameter)[0]


def force_allowed(limits: CutLimits, e: Engagement, deflection: float) -> tuple[tuple[str, float], ...]:
    """Greatest tangential force (N) of the cut by deflection, by stress in the cutter and by the axis drives."""
    ratio = math.sqrt(1.0 + limits.radial_ratio**2)
    arm = e.a_p / 2
    d = limits.cutter.diameter
    bend = deflection / (limits.compliance(arm) * ratio)
    flute = min(limits.flute_length, limits.stickout)
    turn = 3.0 * (8.0 * e.effective_diameter) ** 2
    stress = math.inf
    sections = [(flute - arm, limits.core_diameter), (limits.stickout - arm, limits.shank)]
    if limits.cutter.form == "vee":
        # A cone: the weakest section of what is in the cut lies at three quarters of its depth.
        near = limits.cutter.tip_diameter + 0.75 * (e.effective_diameter - limits.cutter.tip_diameter)
        sections.append((0.25 * e.a_p, limits.core_diameter / d * near))
    for lever, size in sections:
        if size > 0:
            whole = math.sqrt((32.0 * ratio * max(lever, 0.0)) ** 2 + turn) / (math.pi * size**3)
            stress = min(stress, limits.stress_allowed / whole)
    found = [("deflection", bend), ("tool-stress", stress)]
    if limits.machine.axis_push is not None:
        found.append(("axis-push", PUSH_SHARE * limits.machine.axis_push / ratio))
    return tuple(found)


def caps(task: Task, e: Engagement, ends: Ends) -> Caps:
    """Bounds of the feed per tooth at one engagement."""
    limits = task.limits
    least, low, chosen, high = chip_range(limits, e, wide=task.opening in ("slot", "bore", "engrave"))
    cap = (least, low, chosen, high)[ends.chip]
    z = limits.cutter.flutes
    greatest = e.greatest
    if task.finish:
        least = thin_finish(limits)
    uneven = RUNOUT_MARGIN * high
    each = [
        ("chip-too-thick", min(cap / greatest, THINNING_MOST * cap)),
        ("run-out", max((uneven - limits.runout) / greatest, uneven / (z * greatest))),
    ]
    if task.finish:
        each.append(("finish-feed", max(limits.chip_range(limits.cutter.diameter)[2], 1.05 * least / greatest)))
    if e.side_section > 0:
        for name, force in force_allowed(limits, e, task.deflection):
            each.append((name, ends.bend.thickness(force * greatest / e.side_section) / greatest))
    most, name = math.inf, ""
    for what, value in each:
        if value < most:
            most, name = value, what
    return Caps(least=least / greatest, most=most, name=name, each=tuple(each))


def feed_by_power(limits: CutLimits, e: Engagement, law: ForceLaw, rpm: float) -> float:
    """Greatest feed per tooth (mm) the spindle's power allows at ``rpm``."""
    width = 60000.0 * limits.power_allowed(rpm) / (e.section * rpm * limits.cutter.flutes)
    return law.thickness(width * e.mean) / e.mean


def spindle_bounds(limits: CutLimits, e_diameter: float, speed: float) -> tuple[float, float, str, str | None]:
    """Slowest and fastest useful spindle speed, the limit that sets the top, and why there is none (or None)."""
    top, name = limits.spindle_max, limits.spindle_max_name
    by_speed = 1000.0 * speed / (math.pi * e_diameter)
    if by_speed < top:
        top, name = by_speed, "cutting-speed"
    slowest = limits.spindle_min
    if slowest > top + 1e-9:
        hard = min(limits.spindle_max, 1000.0 * limits.cutting_speed_high / (math.pi * e_diameter))
        if slowest > hard + 1e-9:
            return slowest, top, name, (
                f"the slowest spindle speed ({slowest:g} rev/min) is too fast for this cutter: at most {hard:.0f} rev/min "
                f"({name.replace('-', ' ')}, {limits.cutting_speed_high:g} m/min at {e_diameter:.4g} mm)"
            )
        return slowest, slowest, name, None
    low = 1000.0 * limits.cutting_speed_low / (math.pi * e_diameter)
    return max(slowest, min(low, 0.5 * top)), top, name, None


def _ends(limits: CutLimits) -> tuple[Ends, Ends, Ends]:
    low = Ends(1, limits.force_high, limits.force_bend, limits.cutting_speed_chosen)
    chosen = Ends(2, limits.force_high, limits.force_bend, limits.cutting_speed_chosen)
    mild = limits.force_nominal
    bend = mild if limits.force_bend.k11 > mild.k11 or limits.force_bend.edge > 0 else limits.force_bend
    high = Ends(3, mild, bend, limits.cutting_speed_high)
    return low, chosen, high


# --- the search -------------------------------------------------------------------------------------------------------


def best_speed(
    task: Task, e: Engagement, heavy: Engagement, bound: Caps, ends: Ends, beat: float
) -> tuple[float, float, float] | None:
    """(removal mm3/min, rpm, feed) of the best spindle speed at one depth and width that beats ``beat``, or None."""
    limits = task.limits
    low, top, _, why = spindle_bounds(limits, e.effective_diameter, ends.speed)
    if why is not None or bound.most < bound.least:
        return None
    z = limits.cutter.flutes
    feed_max = _feed_max(task)
    found: tuple[float, float, float] | None = None
    section = e.section
    # Feed (mm/min) allowed at each speed; from the fastest down, so that of equals the slowest speed is kept.
    for rpm in reversed(speeds_between(low, top)):
        teeth = rpm * z
        most = min(bound.most * teeth, feed_max)
        if section * most < beat:
            if bound.most * teeth < feed_max:
                break  # slower speeds only remove less
            continue
        drop = _descent(task, e, rpm)
        feed = round_feed(min(most, drop, feed_by_power(limits, heavy, ends.power, rpm) * teeth))
        if feed < bound.least * teeth - 1e-9 or feed <= 0:
            continue
        removal = section * feed
        if removal > beat or (found is not None and removal >= beat):
            beat, found = removal, (removal, rpm, feed)
    return found


def _feed_max(task: Task) -> float:
    """Greatest feed of the machine, mm/min; on a helix also what its acceleration allows round the circle."""
    machine = task.limits.machine
    if task.bore is None:
        return machine.feed_max
    around = 60.0 * math.sqrt(min(machine.acceleration[0], machine.acceleration[1]) * task.bore[1] / 2)
    return min(machine.feed_max, around)


def _descent(task: Task, e: Engagement, rpm: float) -> float:
    """Greatest centre feed of a helix so that it goes down no faster than a straight plunge, mm/min."""
    if task.bore is None:
        return math.inf
    sine = e.a_p / math.hypot(e.a_p, math.pi * task.bore[1])
    return min(task.limits.plunge_per_rev * rpm, task.limits.feed_max_z) / sine


def depth_limits(task: Task, a_e: float) -> tuple[tuple[str, float], ...]:
    """Limits of the axial depth at a width, mm."""
    limits = task.limits
    if task.bore is not None:
        return ((task.pitch_name, task.pitch_most),)
    if task.operation in ("side", "face") and a_e <= 0.5 * limits.cutter.diameter:
        found = [
            ("stepdown-material", max(limits.stepdown(a_e), 0.0)),
            ("side-depth", limits.side_depth_max),
            ("flute-length", limits.flute_length),
        ]
    else:
        found = [("stepdown-material", limits.slot_stepdown_material), ("flute-length", limits.flute_length)]
        if limits.slot_stepdown < min(found[0][1], found[1][1]) - 1e-9:
            found.append(("down-cut-slot", limits.slot_stepdown))
    return tuple(found)


def stable_depth(task: Task, e: Engagement) -> float:
    """Depth (mm) below every lobe: 2 k zeta (1 + zeta) / (k_c z_e); infinite without modal data (Tlusty's bound)."""
    if not math.isfinite(task.stability):
        return math.inf
    force = task.limits.force_high.at(max(task.limits.chip_low, 1e-6))
    return task.stability / (force * max(1.0, e.teeth))


def _fastest(task: Task, ends: Ends, a_p: float, a_e: float) -> float:
    """An upper bound of the feed (mm/min) at a depth and width from chip thickness, speed and machine alone: cheap, and
    never below what the full limits allow."""
    limits = task.limits
    cutter = limits.cutter
    chip = (limits.chip_least, limits.chip_low, limits.chip_chosen, limits.chip_high)[ends.chip]
    if cutter.form != "flat":
        return limits.machine.feed_max
    f_z = chip if task.opening != "side" else chip * min(THINNING_MOST, 1.0 / side_thinning(a_e / cutter.diameter))
    top = min(limits.spindle_max, 1000.0 * ends.speed / (math.pi * cutter.diameter))
    if task.finish:
        return limits.machine.feed_max
    return min(limits.machine.feed_max, max(top, limits.spindle_min) * cutter.flutes * f_z)


def side_thinning(ratio: float) -> float:
    """h_max / f_z of a one-sided cut: 2 sqrt(x (1 - x)) below half width, 1 from there on."""
    return 1.0 if ratio >= 0.5 else 2.0 * math.sqrt(ratio * (1.0 - ratio))


def search(task: Task, ends: Ends) -> tuple[Best | None, dict[str, float]]:
    """The best setting, or None with, for each limit that stood in the way, the share of the least chip it allowed.

    Every count of equal passes and every width is tried unless a bound shows that it can't beat the best so far.
    """
    limits = task.limits
    cutter = limits.cutter
    best: Best | None = None
    blocked: dict[str, float] = {}
    beat = 0.0
    full_width = task.operation in ("slot", "engrave")
    least_depth = min(LEAST_STEPDOWN[limits.metal] if task.bore is None else 0.005, task.depth)
    # Per width: greatest depth, and an upper bound of removal per mm of depth.
    rows: list[tuple[float, float, float]] = []
    for a_e in task.widths:
        deepest = min(most for _, most in depth_limits(task, a_e))
        reach_ = _fastest(task, ends, deepest, a_e)
        per_depth = a_e * reach_
        if task.bore is not None:
            per_depth = engage(cutter, "bore", 1.0, a_e, task.bore).section * min(reach_, _feed_max(task))
        rows.append((per_depth, a_e, deepest))
    rows.sort(reverse=True)
    deepest = max(row[2] for row in rows)
    if deepest <= 0:
        return None, {}
    first = math.ceil(task.depth / deepest - 1e-9)
    for passes in PASSES[bisect_left(PASSES, first) :]:
        a_p = task.depth / passes
        if a_p < least_depth - 1e-9 or rows[0][0] * a_p <= beat:
            break
        for per_depth, a_e, most in rows:
            if per_depth * a_p <= beat:
                break
            if a_p > most + 1e-9:
                continue
            width = effective_diameter(cutter, a_p) if full_width else a_e
            e = engage(cutter, task.operation, a_p, width, task.bore)
            heavy = e if task.operation != "pocket" else engage(cutter, "slot", a_p, cutter.diameter)
            if a_p > stable_depth(task, heavy) + 1e-9:
                blocked.setdefault("chatter", 0.0)
                continue
            bound = caps(task, heavy, ends)
            if bound.most < bound.least:
                blocked[bound.name] = max(blocked.get(bound.name, 0.0), bound.most / bound.least)
                continue
            found = best_speed(task, e, heavy, bound, ends, beat)
            if found is not None:
                beat = found[0]
                best = Best(found[0], passes, a_p, width, found[1], found[2], e, heavy)
            elif best is None:
                blocked.setdefault("spindle-power", 0.0)
    return best, blocked


# --- what a setting does ----------------------------------------------------------------------------------------------


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
    stress = {name: force for name, force in force_allowed(limits, e, 1.0)}["tool-stress"]
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
    e = engage(cutter, task.operation, a_p, a_e, task.bore)
    heavy = engage(cutter, "slot", a_p, cutter.diameter) if task.operation == "pocket" else e
    z = cutter.flutes
    f_z = feed / (rpm * z)
    least, low, chosen, high = chip_range(limits, heavy, wide=task.opening in ("slot", "bore", "engrave"))
    cap = (least, low, chosen, high)[ends.chip]
    if task.finish:
        least = thin_finish(limits)
    h_max = f_z * heavy.greatest
    found = [
        _use("chip-too-thick", h_max, min(cap, THINNING_MOST * cap * heavy.greatest), "mm", sources["chip_load"]),
        _use("chip-too-thin", h_max, least, "mm", sources["chip_least"], least=True),
        _use(
            "run-out", min(h_max + limits.runout, z * h_max), RUNOUT_MARGIN * high, "mm", CP,
            note="the chip of the tooth that stands out",
        ),
    ]  # fmt: skip
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
    watts = ends.power.at(f_z * heavy.mean) * heavy.section * feed / 60000.0
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
    if task.operation == "side" and a_e > 0:
        found.append(_use("side-width", a_e, max(limits.side_width_max, 1e-9), "mm", sources.get("side_width", CP)))
    if task.bore is not None:
        around = 60.0 * math.sqrt(min(machine.acceleration[0], machine.acceleration[1]) * task.bore[1] / 2)
        found.append(_use("arc-acceleration", feed, around, "mm/min", "v = sqrt(a r); " + CP))
        found.append(_use("plunge-feed", feed, _descent(task, e, rpm), "mm/min", sources.get("plunge_per_rev", CP)))
    stable = stable_depth(task, heavy)
    if math.isfinite(stable):
        found.append(_use("chatter", a_p, stable, "mm", "Tlusty's bound, from memory: Schmitz & Smith, Machining Dynamics"))
    return tuple(sorted(found, key=lambda u: -u.use))


# --- the answer -------------------------------------------------------------------------------------------------------


def make_task(request: Request, limits: CutLimits) -> Task:
    """The search behind a request; raises NoData when the entry a bore needs is not known."""
    d = limits.cutter.diameter
    operation = request.operation
    stability = math.inf
    machine = limits.machine
    if machine.natural_frequency is not None and machine.damping is not None:
        stiffness = 1.0 / limits.compliance()
        stability = 2.0 * stiffness * machine.damping * (1.0 + machine.damping)
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
        widths = tuple(round_width(w * d) for w in WIDTHS if w * d <= limits.side_width_max + 1e-9) or (
            round_width(WIDTHS[0] * d),
        )
    else:
        widths = (round_width((POCKET_WIDTH if operation == "pocket" else FACE_WIDTH) * d),)
    depth = request.depth
    if depth is None:
        if bore is not None:
            depth = d
        elif operation == "engrave":
            depth = min(0.2 * d, limits.flute_length)
        else:
            depth = min(most for _, most in depth_limits(Task(limits, operation, 1.0, widths, deflection), max(widths)))
    return Task(
        limits=limits,
        operation=operation,
        depth=depth,
        widths=widths,
        deflection=deflection,
        bore=bore,
        pitch_most=pitch,
        pitch_name=pitch_name,
        free_depth=request.depth is None,
        finish=request.finish and operation == "side",
        stability=stability,
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
    path = hole - diameter
    return Helix(
        bore_diameter=hole,
        path_diameter=path,
        pitch=pitch,
        angle=math.degrees(math.atan(pitch / (math.pi * path))),
        wall_angle=math.degrees(math.atan(pitch / (math.pi * hole))),
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
    chip = limits.chip_range(d)[2] * ENTRY_SHARE
    sine = pitch / math.hypot(pitch, math.pi * path)
    feed = min(
        rpm * limits.cutter.flutes * chip,
        machine.feed_max,
        60.0 * math.sqrt(min(machine.acceleration[0], machine.acceleration[1]) * path / 2),
        min(limits.plunge_per_rev * rpm, machine.feed_max_z) / sine,
    )
    return helix_of(hole, d, pitch, round_feed(feed))


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
    if request.machine is None:
        raise BadRequest("no machine is named", place="machine", remedy="name one, for example ballscrew-router")
    safety = safety_of(request.material)
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

            return recommend_drill(request, limits, safety)
        task = make_task(request, limits)
    except NoData as fault:
        return Refusal(request, (str(fault) + ".",), ("no-data",), safety=safety)
    low, chosen, high = _ends(limits)
    width = effective_diameter(limits.cutter, task.depth)
    why = spindle_bounds(limits, width, limits.cutting_speed_chosen)[3]
    if why is not None:
        return Refusal(
            request, (why,), ("spindle-slowest",), safety=safety, assumptions=limits.assumptions,
            helps=("a smaller cutter, or a machine with a slower spindle",),
        )  # fmt: skip
    best, blocked = search(task, chosen)
    if best is None:
        return _refuse(request, task, blocked, safety)
    return _advise(request, task, (low, chosen, high), best, safety, helps)


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
            + (f"{100 * share:.0f} % of the least feed that still cuts instead of rubbing" if share else "no feed at all")
            + f", down to a stepdown of {max(LEAST_STEPDOWN[limits.metal], 0.0):g} mm"
        )
    else:
        most = max((min(m for _, m in depth_limits(task, w)) for w in task.widths), default=0.0)
        reasons.append(f"the greatest stepdown of this cut is {most:.3g} mm: too little for a {d:g} mm cutter")
    hints = {
        "deflection": "a shorter stickout, a thicker cutter or a stiffer machine",
        "tool-stress": "a thicker cutter or a shorter one",
        "axis-push": "a smaller cutter or a machine with stronger drives",
        "run-out": "a better collet: less run-out",
        "chatter": "a shorter stickout or a stiffer machine",
        "spindle-power": "a smaller cutter or a stronger spindle",
    }
    return Refusal(
        request,
        tuple(reasons),
        names or ("stepdown-material",),
        helps=tuple(hints[name] for name in names if name in hints)[:2],
        safety=safety,
        assumptions=limits.assumptions,
    )


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
    what = physics(
        limits, e, rpm=best.rpm, feed=best.feed, power=chosen.power, bend=chosen.bend, ratio=limits.radial_ratio
    )
    found = uses(task, chosen, a_p=best.a_p, a_e=best.a_e, rpm=best.rpm, feed=best.feed)
    feeds, speeds = [best.feed], [best.rpm]
    for end in (low, high):
        bound = caps(task, best.heavy, end)
        other = best_speed(task, e, best.heavy, bound, end, 0.0)
        if other is not None:
            feeds.append(other[2])
            speeds.append(other[1])
    if task.bore is not None:
        helix: Helix | None = helix_of(task.bore[0], cutter.diameter, best.a_p, best.feed)
        passes: tuple[float, ...] = (task.depth,)
    else:
        helix = entry_helix(request, limits, best.rpm)
        passes = (best.a_p,) * best.passes
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
    the chip would fall too thin the spindle is slowed with the feed."""
    limits = task.limits
    passes = best.passes if task.bore is not None else max(best.passes + 1, math.ceil(best.passes / 0.75 - 1e-9))
    a_p = best.a_p if task.bore is not None else task.depth / passes
    wanted = FIRST_CUT_SHARE * best.a_p / a_p
    feed = round_feed(best.feed * min(1.0, wanted))
    e = engage(limits.cutter, task.operation, a_p, best.a_e, task.bore)
    heavy = engage(limits.cutter, "slot", a_p, limits.cutter.diameter) if task.operation == "pocket" else e
    least = chip_range(limits, heavy, wide=task.opening in ("slot", "bore", "engrave"))[0] / heavy.greatest
    if task.finish:
        least = thin_finish(limits) / heavy.greatest
    rpm = best.rpm
    if feed < least * rpm * limits.cutter.flutes:
        slower = speeds_between(limits.spindle_min, max(feed / (least * limits.cutter.flutes), limits.spindle_min))
        rpm = min(rpm, slower[-1])
    return FirstCut(spindle_rpm=rpm, feed=feed, stepdown=a_p, removal_rate=e.section * feed / 1000.0)


def finish_pass(request: Request, task: Task, best: Best) -> FinishPass | None:
    """The light last pass along the wall, at the same speed; None where there is no wall or it was asked for itself."""
    limits = task.limits
    cutter = limits.cutter
    if request.finish or task.operation in ("engrave", "face") or cutter.form == "vee":
        return None
    allowance = min(limits.finish_allowance, 0.25 * cutter.diameter)
    deflection = limits.deflection_finish if request.tolerance is None else min(limits.deflection_finish, request.tolerance)
    depth = request.depth or task.depth
    light = Task(limits, "side", depth, (allowance,), deflection, finish=True)
    _, chosen, _ = _ends(limits)
    deepest = min(most for _, most in depth_limits(light, allowance))
    counts = PASSES[bisect_left(PASSES, math.ceil(depth / deepest - 1e-9)) :]

    def fits(passes: int) -> tuple[float, float, float, float] | None:
        a_p = depth / passes
        e = engage(cutter, "side", a_p, allowance)
        bound = caps(light, e, chosen)
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
        r = cutter.diameter / 2
        step = 2.0 * math.sqrt(scallop * (2.0 * r - scallop))
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
        need = max(limits.flute_length + 1.0, task.depth + 3.0)
        spare = math.floor(limits.stickout - need)
        if spare >= 1:
            tries.append(
                (f"{spare} mm less stickout", replace(cutter, stickout=limits.stickout - spare), limits.machine)
            )
        short = max(task.depth, best.a_p + 1.0)
        spare = math.floor(limits.flute_length - short)
        if spare >= 2:
            shorter = replace(
                cutter, flute_length=limits.flute_length - spare, stickout=max(limits.stickout - spare, task.depth + 3.0)
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
        tries.append(
            (f"a run-out of {half:.3g} mm", replace(cutter, runout=half), replace(limits.machine, runout=half))
        )
    told: list[tuple[float, str]] = []
    for words, other, machine in tries[:3]:
        try:
            changed = cut_limits_once(other, limits.material, machine, request.specific_force)
            again, _ = search(replace(make_task(request, changed), depth=task.depth), _ends(changed)[1])
        except NoData:
            continue
        if again is not None and again.removal >= 1.05 * best.removal:
            gain = again.removal / best.removal - 1.0
            told.append((gain, f"{words} allows {100 * gain:.0f} % more removal"))
    told.sort(key=lambda pair: (-pair[0], pair[1]))
    return tuple(words for _, words in told)


def cut_limits_once(cutter: Cutter, material: Material, machine: Machine, force: float | None) -> CutLimits:
    """Limits of a variation, not kept."""
    from advisor.limits import _cut_limits

    return _cut_limits(cutter, material, machine, force)


# --- words ------------------------------------------------------------------------------------------------------------


def safety_of(material: Material | None) -> tuple[str, ...]:
    """The caution every answer carries, and the material's hazards."""
    return (
        "Starting values, not instructions: your machine, cutter and material may need less.",
        "The limit marked on the cutter or given by its maker, and your machine's rated limits, override these numbers.",
        "Follow the law and codes where you work (in the US 29 CFR 1910 Subpart O, in the EU the machinery and carcinogen "
        "directives) and trained practice; this is no risk assessment.",
        "Dust extraction and eye, ear and lung protection are assumed; first run above the work, hand on stop.",
        *((material.title[:1].upper() + material.title[1:] + ": " + h for h in material.hazards) if material else ()),
    )


def spread_of(limits: CutLimits) -> str:
    """How far the sources differ, in words."""
    force = limits.material.values["specific_force"]
    chip = limits.chip_high / limits.chip_low
    text = (
        f"Published or estimated cutting forces for {limits.material.title} differ by a factor of "
        f"{force.high / force.low:.1f} ({force.low:g} to {force.high:g} {force.unit}), "
        f"chip loads by {chip:.1f} ({limits.chip_low:.3g} to {limits.chip_high:.3g} mm)"
    )
    if "estimate" in force.source:
        text += "; no measured table of the force was found, so it is an estimate"
    return text + "."


def sources_of(limits: CutLimits) -> tuple[str, ...]:
    """Every source the answer rests on, once, in order."""
    machine = limits.machine.sources
    texts = [*limits.sources.values(), *(machine[k] for k in ("stiffness", "spindle_power") if k in machine)]
    return tuple(dict.fromkeys(texts))


def warnings_of(advice: Advice, task: Task) -> tuple[str, ...]:
    """The don'ts of this cut."""
    limits = task.limits
    cutter, machine, material = limits.cutter, limits.machine, limits.material
    told: list[str] = []
    if cutter.use and material.family not in cutter.use:
        told.append(f"{cutter.name} is made for {', '.join(cutter.use)}, not for {material.family}: chips may not clear.")
    if not cutter.centre_cutting:
        told.append("Never straight down: the cutter does not cut at its centre.")
    elif limits.wood and cutter.twist in ("down", "compression"):
        told.append("Never straight down with a cutter that pushes chips down: ramp or circle in.")
    if limits.ramp_angle is None and cutter.form not in ("drill", "vee"):
        told.append("No ramp advised: the height of the cutter's uncut core is not known; start in an open edge or a hole.")
    if cutter.twist == "compression" and cutter.up_length and advice.stepdown <= cutter.up_length:
        told.append(
            f"The first pass ({advice.stepdown:.2f} mm) is not deeper than the up-cut part ({cutter.up_length:g} mm): the top "
            f"will fray; use an up-cut or down-cut cutter, or one with a shorter up-cut part."
        )
    if cutter.max_rpm is None:
        told.append(
            "No top speed is known for this cutter: look for the mark on it or ask its maker, and stay below it."
        )
    if advice.physics.cutting_speed < limits.cutting_speed_low - 1e-9:
        told.append(
            f"Cutting speed {advice.physics.cutting_speed:.0f} m/min is below the usual "
            f"{limits.cutting_speed_low:g} to {limits.cutting_speed_high:g}: the spindle can't go faster with this cutter."
        )
    elif advice.physics.cutting_speed > limits.cutting_speed_chosen + 1e-6:
        told.append(
            f"Cutting speed {advice.physics.cutting_speed:.0f} m/min is above the usual {limits.cutting_speed_chosen:g}: the "
            f"spindle can't go slower; the cutter wears fast."
        )
    if limits.metal and not machine.chip_clearing:
        told.append("Clear the chips with air, mist or flood: a recut chip welds or breaks the cutter.")
    run_up = (advice.feed / 60.0) ** 2 / machine.acceleration[0]
    if run_up > 5.0:
        told.append(f"The feed is reached only on moves longer than {run_up:.0f} mm; short ones and corners run slower.")
    if task.bore is not None and task.bore[0] > limits.bore_max + 1e-9:
        told.append(
            f"A post of {task.bore[0] - limits.bore_max:.3g} mm is left in the bore: it may come loose and be thrown."
        )
    if limits.stickout > 5 * cutter.diameter:
        told.append(f"The cutter stands out {limits.stickout / cutter.diameter:.1f} x its diameter; 3 to 4 is preferred.")
    if task.operation == "side":
        told.append("Cut the outline with the width named: a full-width first cut is a slot and needs a slot's depth.")
    return tuple(told)


def assumptions_of(advice: Advice, task: Task) -> tuple[str, ...]:
    """What was taken for granted."""
    limits = task.limits
    told = list(limits.assumptions)
    if task.free_depth:
        told.append(f"depth not given: {task.depth:.3g} mm taken")
    if task.operation == "pocket":
        told.append("a pocket's first lap on each level is a full-width cut: its limits are those of a slot")
    if task.operation == "face":
        told.append("the cutter runs with its axis over the middle of the strip it cuts")
    if advice.request.bore_diameter is None and advice.helix is not None:
        told.append(f"entry bore of {advice.helix.bore_diameter:g} mm taken (1.7 x diameter where the cutter allows it)")
    told.append("force, torque, power and deflection are those of a worn edge or the high end of the data")
    if limits.chip_scale < 0.999:
        told.append(
            f"chip loads are scaled by {limits.chip_scale:.2f} for a machine of {limits.machine.stiffness:g} N/um"
            + (" and a high speed steel edge" if limits.cutter.material == "hss" else "")
        )
    table = sorted(limits.material.chip_load)
    if not table[0] <= limits.cutter.diameter <= table[-1]:
        told.append(f"the chip load is read off beyond its table ({table[0]:g} to {table[-1]:g} mm)")
    if advice.request.specific_force is not None:
        told.append(f"specific force {advice.request.specific_force:g} N/mm2, constant, as given")
    return tuple(told)
