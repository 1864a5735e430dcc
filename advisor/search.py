"""The search for the cut of highest removal rate: equal passes, width, spindle speed and feed per tooth."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from functools import lru_cache

from advisor.limits import CutLimits, ForceLaw, chip_load_at
from advisor.operations import Engagement, cone_height, edge_angle, effective_diameter, engage, helix_lag, side_section
from grammar.classes import dataclass

THINNING_MOST = 3.0  # feed per tooth never above this multiple of the chip it is to make
RUNOUT_MARGIN = 1.25  # one tooth's chip with run-out may reach this multiple of the table's high end, any machine
PUSH_SHARE = 0.5  # of the force an axis drive can hold
FIRST_CUT_SHARE = 0.6
ENTRY_SHARE = 0.6  # helical entry feed / slot feed; practice is 0.3 to 0.7
ENTRY_BORE = 1.7  # x diameter
POCKET_WIDTH = 0.5
FACE_WIDTH = 0.7
LEAST_PITCH = 0.005  # mm a turn of a helix
LEAST_STEPDOWN = 0.1  # mm, wood and plastics: below it nothing is gained
LEAST_SHARE = 0.25  # metals: of the slot stepdown the tables give for light machines; below it the cut is not worth it
WIDTHS = (0.02, 0.025, 0.03, 0.035, 0.04, 0.05, 0.06, 0.07, 0.08, 0.09, 0.1, 0.115, 0.13, 0.15, 0.175, 0.2, 0.225, 0.25,
          0.275, 0.3, 0.325, 0.35, 0.4, 0.45, 0.5)  # fmt: skip


SHALLOWER_IS_LESS = frozenset({"chip-too-thick", "run-out", "finish-feed"})


def _passes() -> tuple[int, ...]:
    """Counts of equal passes tried: each to 50, then steps of about 2 % (the same for every machine)."""
    counts = list(range(1, 51))
    while counts[-1] < 20000:
        counts.append(max(counts[-1] + 1, round(counts[-1] * 1.02)))
    return tuple(counts)


PASSES = _passes()
FREE_DEPTH = 12  # x the slot stepdown of rigid machines: the total where no depth is given


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
    damping: float | None = None  # of the machine's first mode, where it is given

    @property
    def opening(self) -> str:
        """How the heaviest cut of the operation engages."""
        return "slot" if self.operation == "pocket" else self.operation

    @property
    def groove(self) -> float:
        """Whole depth a V cutter goes to in passes, mm; 0 where one pass is asked for."""
        return 0.0 if self.free_depth else self.depth

    def engaged(self, a_p: float, a_e: float) -> tuple[Engagement, Engagement]:
        """The engagement of a pass, and of the heaviest cut of the operation: a pocket's first lap is a slot."""
        cutter = self.limits.cutter
        e = engage(cutter, self.operation, a_p, a_e, self.bore, self.groove)
        return e, engage(cutter, "slot", a_p, cutter.diameter) if self.operation == "pocket" else e


@dataclass(frozen=True, slots=True)
class Caps:
    """Bounds of the feed per tooth (mm) at one depth and width, spindle speed aside; ``name`` sets ``most``."""

    least: float
    most: float
    name: str


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


def chip_range(limits: CutLimits, e: Engagement, *, wide: bool) -> tuple[float, float, float, float]:
    """Least, low, chosen and high greatest chip thickness (mm) for an engagement; V cutters by the diameter they have
    at that depth. The least is that of the edge: a weak machine does not make a thin chip cut."""
    d = limits.cutter.diameter
    if limits.cutter.form == "vee":
        table = limits.material.chip_load
        here = max(e.effective_diameter, min(table))
        share = chip_load_at(limits.material, here)[1] / chip_load_at(limits.material, d)[1]
        _, low, chosen, high = limits.chip_range(d)
        return limits.chip_floor(d) * share, low * share, chosen * share, high * share
    width = d if wide else min(e.a_e, d)
    _, low, chosen, high = limits.chip_range(width, e.a_p)
    return limits.chip_floor(width), low, chosen, high


def thin_finish(limits: CutLimits) -> float:
    """Least chip (mm) of a finishing pass with a sharp edge: the slot's."""
    return limits.chip_floor(limits.cutter.diameter)


def stress_force(limits: CutLimits, ratio: float, a_p: float, d_eff: float, flute: float) -> float:
    """Greatest tangential force (N) by stress at the end of the flutes and at the holder. The tip of a V cutter is not
    judged: there the chip load of a cutter as thin as the cut holds the force down."""
    arm = a_p / 2
    turn = 3.0 * (8.0 * d_eff) ** 2
    lean = 32.0 * ratio
    lever = lean * max(flute - arm, 0.0)
    most = math.pi * limits.core_diameter**3 / math.sqrt(lever * lever + turn)
    lever = lean * max(limits.stickout - arm, 0.0)
    most = min(most, math.pi * limits.shank**3 / math.sqrt(lever * lever + turn))
    return limits.stress_allowed * most


def force_allowed(limits: CutLimits, e: Engagement, deflection: float) -> tuple[tuple[str, float], ...]:
    """Greatest tangential force (N) of the cut by deflection, by stress in the cutter and by the axis drives."""
    ratio = math.sqrt(1.0 + limits.radial_ratio**2)
    flute = min(limits.flute_length, limits.stickout)
    found = [
        ("deflection", deflection / (limits.compliance(e.a_p / 2) * ratio)),
        ("tool-stress", stress_force(limits, ratio, e.a_p, e.effective_diameter, flute)),
    ]
    if limits.machine.axis_push is not None:
        found.append(("axis-push", PUSH_SHARE * limits.machine.axis_push / ratio))
    return tuple(found)


class Row:
    """Bounds of the feed per tooth at one width: what hangs on the width alone is worked out once.

    The same numbers as ``engage``, ``chip_range`` and ``force_allowed`` give, a test holds them equal.
    """

    def __init__(self, task: Task, ends: Ends, a_e: float) -> None:
        limits = task.limits
        cutter = limits.cutter
        self.task, self.limits, self.ends, self.a_e = task, limits, ends, a_e
        self.wide = task.opening in ("slot", "bore", "engrave")
        self.width = cutter.diameter if self.wide else a_e
        e = engage(cutter, task.opening, 1.0, self.width, task.bore)
        self.start, self.end, self.angle = e.start, e.end, e.angle
        self.top = 1.0 if e.end >= math.pi / 2 else math.sin(e.end)
        self.least_top = side_thinning(e.a_e / cutter.diameter) if task.operation == "face" else self.top
        self.ratio = math.sqrt(1.0 + limits.radial_ratio**2)
        push = limits.machine.axis_push
        self.push = math.inf if push is None else PUSH_SHARE * push / self.ratio
        self.plain = cutter.form in ("flat", "drill")
        self.chips = limits.chip_range(self.width) if cutter.form != "vee" else None
        self.floor = limits.chip_floor(self.width)
        # The laps of a pocket after its first take their width only: their thinner chip must cut too.
        lap = task.operation == "pocket"
        self.lap = limits.chip_floor(a_e) / side_thinning(min(1.0, a_e / cutter.diameter)) if lap else 0.0

    def each(self, a_p: float) -> tuple[tuple[str, float], ...]:
        """Feed per tooth (mm) each limit allows by itself at ``a_p`` mm deep: for pictures, not for the search."""
        e = engage(self.limits.cutter, self.task.opening, a_p, self.width, self.task.bore)
        chips = chip_range(self.limits, e, wide=self.wide)
        cap, uneven = chips[self.ends.chip], RUNOUT_MARGIN * chips[3] / self.limits.machine_scale
        found = [
            ("chip-too-thick", min(cap / e.greatest, THINNING_MOST * cap)),
            (
                "run-out",
                max((uneven - self.limits.runout) / e.greatest, uneven / (self.limits.cutter.flutes * e.greatest)),
            ),
        ]
        if self.task.finish:
            least = thin_finish(self.limits)
            slot = self.limits.chip_range(self.limits.cutter.diameter)[2]
            found.append(("finish-feed", max(slot, 1.05 * least / e.across)))
        for name, force in force_allowed(self.limits, e, self.task.deflection):
            found.append((name, self.ends.bend.thickness(force * e.greatest / e.side_section) / e.greatest))
        return tuple(found)

    def caps(self, a_p: float) -> Caps:
        """The bounds at ``a_p`` mm deep."""
        limits, ends, task = self.limits, self.ends, self.task
        cutter = limits.cutter
        d = cutter.diameter
        sine = 1.0 if self.plain else edge_angle(cutter, a_p)[0]
        greatest = self.top * sine
        across = greatest if cutter.form == "vee" else self.least_top
        if self.chips is None:
            chips = chip_range(limits, engage(cutter, task.opening, a_p, self.width, task.bore), wide=self.wide)
        elif a_p <= d:
            chips = self.chips
        else:
            chips = limits.chip_range(self.width, a_p)
        high, cap = chips[3], chips[ends.chip]
        least = self.floor if self.chips is not None else chips[0]
        if task.finish:
            least = thin_finish(limits)
        z = cutter.flutes
        most, name = min(cap / greatest, THINNING_MOST * cap), "chip-too-thick"
        uneven = RUNOUT_MARGIN * high / limits.machine_scale
        other = max((uneven - limits.runout) / greatest, uneven / (z * greatest))
        if other < most:
            most, name = other, "run-out"
        if task.finish:
            other = max(limits.chip_range(d)[2], 1.05 * least / across)
            if other < most:
                most, name = other, "finish-feed"
        # Force: the least allowed by bending, stress and axis drives, turned into a chip.
        side = side_section(a_p, z, self.start, self.end, helix_lag(cutter, a_p))
        arm = a_p / 2
        flute = min(limits.flute_length, limits.stickout)
        force, by = task.deflection / (limits.compliance(arm) * self.ratio), "deflection"
        if self.push < force:
            force, by = self.push, "axis-push"
        d_eff = d if self.plain else effective_diameter(cutter, a_p)
        allowed = stress_force(limits, self.ratio, a_p, d_eff, flute)
        if allowed < force:
            force, by = allowed, "tool-stress"
        other = ends.bend.thickness(force * greatest / side) / greatest
        if other < most:
            most, name = other, by
        return Caps(max(least / across, self.lap), most, name)


def feed_by_power(limits: CutLimits, e: Engagement, law: ForceLaw, rpm: float) -> float:
    """Greatest feed per tooth (mm) the spindle's power allows at ``rpm``."""
    width = 60000.0 * limits.power_allowed(rpm) / (e.section * rpm * limits.cutter.flutes)
    return law.thickness(width * e.least_mean) / e.least_mean


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
            return (
                slowest,
                top,
                name,
                (
                    f"the slowest spindle speed ({slowest:g} rev/min) is too fast for this cutter: at most {hard:.0f} rev/min "
                    f"({name.replace('-', ' ')}, {limits.cutting_speed_high:g} m/min at {e_diameter:.4g} mm)"
                ),
            )
        return slowest, slowest, name, None
    return slowest, top, name, None


def ends_of(limits: CutLimits) -> tuple[Ends, Ends, Ends]:
    low = Ends(1, limits.force_high, limits.force_bend, limits.cutting_speed_chosen)
    chosen = Ends(2, limits.force_high, limits.force_bend, limits.cutting_speed_chosen)
    mild = limits.force_nominal
    bend = mild if limits.force_bend.k11 > mild.k11 or limits.force_bend.edge > 0 else limits.force_bend
    high = Ends(3, mild, bend, limits.cutting_speed_high)
    return low, chosen, high


def best_speed(
    task: Task, e: Engagement, heavy: Engagement, bound: Caps, ends: Ends, beat: float
) -> tuple[float, float, float] | None:
    """(removal mm3/min, rpm, feed) of the best spindle speed at one depth and width that beats ``beat``, or None."""
    limits = task.limits
    low, top, _, why = spindle_bounds(limits, e.effective_diameter, ends.speed)
    if why is not None or bound.most < bound.least:
        return None
    z = limits.cutter.flutes
    feed_max = feed_ceiling(task)
    found: tuple[float, float, float] | None = None
    section = e.section
    curve = limits.machine.power_curve
    steady = curve[0][0] if curve else math.inf
    # Feed (mm/min) allowed at each speed; from the fastest down, so that of equals the slowest speed is kept.
    for rpm in reversed(speeds_between(low, top)):
        teeth = rpm * z
        most = min(bound.most * teeth, feed_max)
        if section * most < beat:
            if bound.most * teeth < feed_max:
                break  # slower speeds only remove less
            continue
        drop = descent(task, e, rpm)
        feed = round_feed(min(most, drop, feed_by_power(limits, heavy, ends.power, rpm) * teeth))
        if feed < bound.least * teeth - 1e-9 or feed <= 0:
            continue
        removal = section * feed
        if removal > beat or (found is not None and removal >= beat):
            beat, found = removal, (removal, rpm, feed)
        elif rpm <= steady:
            break  # below constant power every slower speed removes less
    return found


def _held(task: Task, e: Engagement, heavy: Engagement, bound: Caps, ends: Ends) -> tuple[str, float]:
    """What keeps even the slowest spindle speed from the least chip: its name and the share of that chip it allows."""
    limits = task.limits
    low, _, _, why = spindle_bounds(limits, e.effective_diameter, ends.speed)
    if why is not None:
        return "spindle-slowest", 0.0
    rpm = speeds_between(low, max(low, limits.spindle_max))[0]
    teeth = rpm * limits.cutter.flutes
    machine = "feed-machine" if feed_ceiling(task) >= limits.machine.feed_max else "arc-acceleration"
    each = {
        machine: feed_ceiling(task) / teeth,
        "plunge-feed": descent(task, e, rpm) / teeth,
        "spindle-power": feed_by_power(limits, heavy, ends.power, rpm),
    }
    name = min(each, key=lambda key: each[key])
    return name, min(each[name] / bound.least, 0.99)


def feed_ceiling(task: Task) -> float:
    """Greatest feed of the machine, mm/min; on a helix also what its acceleration allows round the circle."""
    machine = task.limits.machine
    if task.bore is None:
        return machine.feed_max
    around = 60.0 * math.sqrt(min(machine.acceleration[0], machine.acceleration[1]) * task.bore[1] / 2)
    return min(machine.feed_max, around)


def descent(task: Task, e: Engagement, rpm: float) -> float:
    """Greatest centre feed of a helix so that it goes down no faster than a straight plunge, mm/min."""
    if task.bore is None:
        return math.inf
    sine = e.a_p / math.hypot(e.a_p, math.pi * task.bore[1])
    return min(task.limits.plunge_per_rev * rpm, task.limits.feed_max_z) / sine


def least_stepdown(task: Task) -> float:
    """Axial depth (mm) below which a cut is not worth advising, the same for every machine (common practice, no source)."""
    limits = task.limits
    if task.bore is not None:
        return LEAST_PITCH
    if limits.metal and not task.finish:
        light = limits.material.values.get("stepdown_slot_light")
        return LEAST_SHARE * light.low * limits.cutter.diameter if light is not None else 0.05
    return 0.05 if limits.metal else LEAST_STEPDOWN


def depth_limits(task: Task, a_e: float) -> tuple[tuple[str, float], ...]:
    """Limits of the axial depth at a width, mm."""
    limits = task.limits
    if task.bore is not None:
        return ((task.pitch_name, task.pitch_most),)
    cone = cone_height(limits.cutter)
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
    if cone < limits.flute_length:
        found.append(("cone-height", cone))
    return tuple(found)


def stable_depth(task: Task, e: Engagement) -> float:
    """Depth (mm) stable at every spindle speed; infinite without modal data.

    Zero-order border (Altintas and Budak 1995) with the same mode along and across the feed: its least depth is
    proportional to stiffness / cutting constant and does not hang on the frequency.
    """
    limits = task.limits
    if task.damping is None or e.angle <= 0:
        return math.inf
    law = limits.force_bend
    constant = law.k11 if law.edge > 0 else law.at(max(limits.chip_chosen, 1e-6))
    valley = valley_depth(limits.cutter.flutes, task.damping, limits.radial_ratio_nominal, e.start, e.end)
    return valley / (limits.compliance() * constant)


@lru_cache(maxsize=4096)
def valley_depth(flutes: int, damping: float, ratio: float, start: float, end: float) -> float:
    """Least stable depth (mm) for a stiffness of 1 N/mm in both directions and a cutting constant of 1 N/mm2."""
    from advisor.cutting.stability import Mode, border

    mode = (Mode(frequency=100.0, damping=damping, stiffness=1000.0),)
    found = border(
        x_modes=mode,
        y_modes=mode,
        flutes=flutes,
        cutting_constant=1.0,
        radial_ratio=ratio,
        entry=math.degrees(start),
        exit=math.degrees(end),
        count=200,
    )
    return found.least()


def _fastest(task: Task, ends: Ends, a_e: float) -> float:
    """An upper bound of the feed (mm/min) at a width from chip thickness, speed and machine alone: cheap, and never
    below what the full limits allow."""
    limits = task.limits
    cutter = limits.cutter
    chip = (limits.chip_least, limits.chip_low, limits.chip_chosen, limits.chip_high)[ends.chip]
    if cutter.form not in ("flat", "ball", "corner") or task.finish:
        return limits.machine.feed_max
    f_z = chip * THINNING_MOST
    top = limits.spindle_max
    if cutter.form == "flat":
        f_z = chip if task.opening != "side" else chip * min(THINNING_MOST, 1.0 / side_thinning(a_e / cutter.diameter))
        top = min(top, 1000.0 * ends.speed / (math.pi * cutter.diameter))
    return min(limits.machine.feed_max, max(top, limits.spindle_min) * cutter.flutes * f_z)


def side_thinning(ratio: float) -> float:
    """h_max / f_z of a one-sided cut: 2 sqrt(x (1 - x)) below half width, 1 from there on."""
    return 1.0 if ratio >= 0.5 else 2.0 * math.sqrt(ratio * (1.0 - ratio))


def search(task: Task, ends: Ends) -> tuple[Best | None, dict[str, float]]:
    """The best setting, or None with, for each limit that stood in the way at the shallowest depth, the share of the
    least chip it allowed.

    Every count of equal passes and every width is tried unless a bound shows that it can't beat the best so far.
    """
    limits = task.limits
    # Per width: an upper bound of removal per mm of depth, the greatest depth, and the bounds of feed.
    rows: list[tuple[float, float, Row]] = []
    for a_e in task.widths:
        deepest = min(most for _, most in depth_limits(task, a_e))
        per_depth = a_e * _fastest(task, ends, a_e)
        if task.bore is not None:
            per_depth = engage(limits.cutter, "bore", 1.0, a_e, task.bore).section * feed_ceiling(task)
        rows.append((per_depth, deepest, Row(task, ends, a_e)))
    rows.sort(key=lambda row: (-row[0], -row[1]))
    deepest = max(row[1] for row in rows)
    blocked: dict[str, float] = {}
    if deepest <= 0:
        return None, blocked
    counts = PASSES[bisect_left(PASSES, math.ceil(task.depth / deepest - 1e-9)) :]
    return _scan(task, ends, rows, counts, blocked), blocked


def _scan(
    task: Task,
    ends: Ends,
    rows: list[tuple[float, float, Row]],
    counts: tuple[int, ...],
    blocked: dict[str, float],
) -> Best | None:
    """The best these counts of passes and widths give; ``blocked`` tells what stood in the way at the last depth."""
    limits = task.limits
    cutter = limits.cutter
    z = cutter.flutes
    full_width = task.operation in ("slot", "engrave")
    least_depth = min(least_stepdown(task), task.depth)
    feed_max = feed_ceiling(task)
    knots = tuple(n for n, _ in limits.machine.power_curve if n > limits.spindle_min)
    best: Best | None = None
    beat = 0.0
    for passes in counts:
        a_p = task.depth / passes
        if not rows or a_p < least_depth - 1e-9 or rows[0][0] * a_p <= beat:
            break
        done: list[Row] = []
        here: dict[str, float] = {}
        d_eff = effective_diameter(cutter, a_p)
        _, top, _, why = spindle_bounds(limits, d_eff, ends.speed)
        for per_depth, most, row in rows:
            if per_depth * a_p <= beat:
                break
            if a_p > most + 1e-9:
                continue
            width = d_eff if full_width else row.a_e
            bound = row.caps(a_p)
            if bound.most < bound.least:
                if why is None:
                    here[bound.name] = max(here.get(bound.name, 0.0), bound.most / bound.least)
                continue
            simple = task.bore is None and cutter.form != "vee"
            if simple and a_p * width * min(bound.most * top * z, feed_max) <= beat:
                # Where chips set the feed, a shallower cut at this width only removes less.
                if bound.name in SHALLOWER_IS_LESS and row.plain and a_p <= cutter.diameter:
                    done.append(row)
                continue
            e, heavy = task.engaged(a_p, width)
            if a_p > stable_depth(task, heavy) + 1e-9:
                here.setdefault("chatter", 0.0)
                continue
            low = max(limits.spindle_min, 1.0)
            # Between the points of the curve the feed that power allows has no greater value than at them.
            fast = max(low, top)
            held = max(n * feed_by_power(limits, heavy, ends.power, n) for n in (low, fast, *knots) if n <= fast)
            if e.section * z * held <= beat:
                continue
            found = best_speed(task, e, heavy, bound, ends, beat)
            if found is not None:
                beat = found[0]
                best = Best(found[0], passes, a_p, width, found[1], found[2], e, heavy)
            elif best is None:
                name, share = _held(task, e, heavy, bound, ends)
                here[name] = max(here.get(name, 0.0), share)
        if here and best is None:
            blocked.clear()
            blocked.update(here)
        if done:
            rows = [row for row in rows if row[2] not in done]
    return best
