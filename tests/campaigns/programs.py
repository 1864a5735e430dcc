"""Clean programs of many kinds, written with what ``speeds`` advises, each with the setting it is meant for.

Nothing here knows how a rule looks at a program: the programs are what a careful machinist would run.
All lengths mm, feeds mm/min. Steps lie in the stock's frame: corner at 0, 0, top at 0, downward negative.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import pairwise
from math import atan, atan2, ceil, cos, hypot, pi, radians, sin, sqrt, tan
from typing import Any

from advisor import catalogue
from advisor.advice import Advice, BadRequest, Request
from advisor.recommend import recommend
from advisor.values import Cutter, Hold, Keepout, Machine, Material, Setting, Workpiece
from tests.campaigns.writing import Step, Style, Written, write

Point = tuple[float, float]

WOODY = ("birch-plywood", "softwood", "hardwood", "mdf", "softwood-plywood")
PLASTIC = ("acrylic", "hdpe", "pom")
METAL = ("aluminium-wrought", "brass", "mild-steel")
ROUTERS = ("screw-router", "ballscrew-router", "industrial-router")
MILLS = ("benchtop-mill", "knee-mill", "machining-centre")
SIZES = ("3mm", "1-8in", "4mm", "6mm", "1-4in", "8mm")


class Unsuitable(Exception):  # noqa: N818 (not a mistake: the draw is made again)
    """This cutter, material and machine are refused for the operation."""


@dataclass(frozen=True, slots=True)
class Clean:
    """A clean program and everything a planted fault may need to know of it."""

    name: str
    kind: str
    steps: tuple[Step, ...]
    style: Style
    setting: Setting
    zero: tuple[float, float, float]  # program zero in the steps' frame
    facts: Mapping[str, float] = field(default_factory=dict)

    def written(self) -> Written:
        """The program's text."""
        return write(self.steps, self.style, self.zero)


@dataclass(frozen=True, slots=True)
class Habits:
    """How a shop likes its programs to begin, change tools and end; all of them are met in good programs."""

    lift: str = "G53 G0 Z0"  # or G28 G91 Z0 and back to G90
    stop_after_change: bool = False  # M0 while the tool is changed and touched off
    restate_arcs: bool = False  # G91.1
    path: str = ""  # G61, G64

    @classmethod
    def any(cls, chance: random.Random) -> Habits:
        """Habits drawn at random."""
        return cls(
            lift=chance.choice(("G53 G0 Z0", "G53 G0 Z0", "G28 G91 Z0")),
            stop_after_change=chance.random() < 0.2,
            restate_arcs=chance.random() < 0.15,
            path=chance.choice(("", "", "", "G64", "G61")),
        )


@dataclass
class Shop:
    """One draw of machine, material, stock and cutters, and the steps written so far."""

    chance: random.Random
    machine: Machine
    material: Material
    size: tuple[float, float, float]
    spread: float
    clear: float
    cutters: dict[int, Cutter] = field(default_factory=dict)
    steps: list[Step] = field(default_factory=list)
    facts: dict[str, float] = field(default_factory=dict)
    part: int = 0
    tool: int = 0
    high: bool = True  # the spindle is at the top of its travel
    habits: Habits = field(default_factory=lambda: Habits())

    @property
    def metal(self) -> bool:
        """Whether the work is metal."""
        return self.material.name in METAL

    @property
    def wood(self) -> bool:
        """Whether the work is wood or board."""
        return self.material.name in WOODY

    @property
    def bottom(self) -> float:
        """A height that is through the stock wherever it was measured, and little into the board below."""
        return -(self.size[2] + self.spread / 2 + 0.15)

    def advise(self, cutter: Cutter, operation: str, depth: float, **more: float) -> Advice:
        """What ``speeds`` says; refused combinations are drawn again."""
        names = (cutter.name, self.material.name, self.machine.name)
        return advise(*names, operation, round(depth, 4), tuple(sorted(more.items())))

    # ------------------------------------------------------------------------------------------------ writing

    def say(self, text: str, role: str) -> None:
        """A block of plain words."""
        self.steps.append(Step("words", text=text, role=role, part=self.part, tool=self.tool))

    def note(self, text: str) -> None:
        """A comment line."""
        self.steps.append(Step("note", text=text.replace("(", "").replace(")", "")))

    def rapid(self, role: str, x: float | None = None, y: float | None = None, z: float | None = None) -> None:
        """A rapid."""
        self.steps.append(Step("rapid", x, y, z, role=role, part=self.part, tool=self.tool))

    def line(
        self,
        role: str,
        x: float | None = None,
        y: float | None = None,
        z: float | None = None,
        feed: float | None = None,
    ) -> None:
        """A feed move."""
        self.steps.append(Step("line", x, y, z, feed=feed, role=role, part=self.part, tool=self.tool))

    def arc(
        self,
        role: str,
        end: Point,
        centre: Point,
        z: float | None = None,
        feed: float | None = None,
        clockwise: bool = False,
    ) -> None:
        """An arc."""
        self.steps.append(
            Step("arc", *end, z, centre, clockwise, feed, role=role, part=self.part, tool=self.tool)
        )  # fmt: skip

    def header(self, title: str) -> None:
        """Comments and modes."""
        self.note(title)
        if self.chance.random() < 0.5:
            self.say("G17 UNITS G90 G40 G49 G80 G94", "modes")
            self.say("G54", "system")
        else:
            self.say("UNITS G90 G94 G17 G40 G49 G54 G80", "modes")
        if self.habits.restate_arcs:
            self.say("G91.1", "arcs")
        if self.habits.path:
            self.say(self.habits.path, "path")

    def lift(self) -> None:
        """Z to the top of its travel."""
        self.say(self.habits.lift, "lift")
        if "G91" in self.habits.lift:
            self.say("G90", "absolute")

    def change(self, tool: int, rpm: float) -> None:
        """Tool into the spindle, length, spindle up to speed, coolant."""
        if self.tool:
            if self.metal:
                self.say("M9", "coolant-off")
            self.say("M5", "stop")
        self.tool = tool
        self.part += 1
        self.lift()
        self.say(self.chance.choice((f"T{tool} M6", f"M6 T{tool}")), "change")
        if self.habits.stop_after_change and self.machine.change == "hand":
            self.say("M0", "wait")
        self.say(f"G43 H{tool}", "length")
        self.say(self.chance.choice((f"S{rpm:.0f} M3", f"M3 S{rpm:.0f}")), "spindle")
        self.say("G4 P6" if self.machine.kind == "router" else "G4 P3", "settle")
        if self.metal:
            self.say("M8", "coolant")
        self.high = True

    def over(self, x: float, y: float, down_to: float, surface: float, plunge: float, role: str = "touch") -> None:
        """Across at a clear height, rapid down to a little above, feed down to what is there already."""
        self.part += 1
        self.rapid("cross", x, y)
        if self.high:
            self.rapid("approach", z=self.clear)
            self.high = False
        if down_to < self.clear:
            self.rapid("near", z=down_to)
        self.line(role, z=surface, feed=plunge)

    def up(self) -> None:
        """Retract."""
        self.rapid("retract", z=self.clear)

    def close(self) -> None:
        """End of the program."""
        if self.metal:
            self.say("M9", "coolant-off")
        self.say("M5", "stop")
        self.lift()
        self.say(self.chance.choice(("M30", "M2")), "end")

    def finish(self, name: str, kind: str, hold: Hold | None = None) -> Clean:
        """The program with its setting."""
        self.close()
        x, y, thick = self.size
        zero = self.chance.choice(((0.0, 0.0, thick), (0.0, 0.0, thick), (x / 2, y / 2, thick), (0.0, 0.0, 0.0)))
        points = ((7.0, 7.0), (x - 7, 7.0), (7.0, y - 7), (x - 7, y - 7))
        # A clamp stands beside the stock; clean programs stay away from it.
        row = self.chance.uniform(35, 60)
        clamp = Keepout("clamp", (-45.0, row - 15, 0.0), (-22.0, row + 15, thick + 35))
        held = hold or Hold(method="screws", points=points, spoilboard=0.5)
        cutters = {
            tool: replace(cutter, tool=tool, length_offset=55.0 + 5 * tool, max_rpm=cutter.max_rpm or 60000.0)
            for tool, cutter in self.cutters.items()
        }
        setting = Setting(
            machine=replace(
                self.machine,
                travel={"x": (0.0, 1200.0), "y": (0.0, 1000.0), "z": (-380.0, 0.0)},
                chip_clearing=(*self.machine.chip_clearing, "flood") if self.metal else self.machine.chip_clearing,
            ),
            cutters=cutters,
            material=self.material,
            workpiece=Workpiece(
                material=self.material.name,
                size=self.size,
                zero=zero,
                thickness=(thick - self.spread / 2, thick + self.spread / 2) if self.spread else None,
            ),
            hold=replace(held, keepouts=(clamp,)),
            offsets={"G54": (300.0 + zero[0], 250.0 + zero[1], -220.0 - (thick - zero[2]))},
        )
        style = Style.any(self.chance)
        return Clean(name, kind, tuple(self.steps), style, setting, (zero[0], zero[1], zero[2] - thick), self.facts)


@cache
def advise(
    cutter: str,
    material: str,
    machine: str,
    operation: str,
    depth: float,
    more: tuple[tuple[str, float | bool], ...],
) -> Advice:
    """What ``speeds`` advises for catalogue entries; raises ``Unsuitable`` where it refuses."""
    given: dict[str, Any] = dict(more)
    request = Request(
        cutter=catalogue.cutter(cutter),
        material=catalogue.material(material),
        machine=catalogue.machine(machine),
        operation=operation,
        depth=depth,
        **given,
    )
    try:
        answer = recommend(request)
    except BadRequest as error:
        raise Unsuitable(str(error)) from error
    if not isinstance(answer, Advice):
        raise Unsuitable("; ".join(answer.reasons))
    return answer


# ---------------------------------------------------------------------------------------------------- contours


@dataclass(frozen=True, slots=True)
class Piece:
    """A straight piece or an arc of a contour."""

    start: Point
    end: Point
    centre: Point | None = None
    clockwise: bool = False
    sweep: float = 0.0  # radians, above 0

    @property
    def length(self) -> float:
        """Length along the piece."""
        if self.centre is None:
            return hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])
        return self.sweep * hypot(self.start[0] - self.centre[0], self.start[1] - self.centre[1])

    def at(self, share: float) -> Point:
        """A point of the piece."""
        if self.centre is None:
            return (
                self.start[0] + (self.end[0] - self.start[0]) * share,
                self.start[1] + (self.end[1] - self.start[1]) * share,
            )
        radius = hypot(self.start[0] - self.centre[0], self.start[1] - self.centre[1])
        angle = atan2(self.start[1] - self.centre[1], self.start[0] - self.centre[0])
        angle += self.sweep * share * (-1 if self.clockwise else 1)
        return self.centre[0] + radius * cos(angle), self.centre[1] + radius * sin(angle)


@dataclass(frozen=True, slots=True)
class Contour:
    """A closed path of the cutter's centre."""

    pieces: tuple[Piece, ...]

    @property
    def length(self) -> float:
        """Once around."""
        return sum(piece.length for piece in self.pieces)

    def at(self, s: float) -> Point:
        """The point at a distance along the contour."""
        s %= self.length
        for piece in self.pieces:
            if s <= piece.length:
                return piece.at(s / piece.length)
            s -= piece.length
        return self.pieces[-1].end

    def run(self, s0: float, s1: float) -> Iterator[tuple[float, Piece]]:
        """The pieces from ``s0`` to ``s1`` (beyond one turn is allowed), each with the distance at its end."""
        turn = 0.0
        while turn + self.length <= s0 + 1e-9:
            turn += self.length
        while turn < s1 - 1e-9:
            begin = turn
            for piece in self.pieces:
                end = begin + piece.length
                a, b = max(begin, s0), min(end, s1)
                if b - a > 1e-6:
                    p, q = (a - begin) / piece.length, (b - begin) / piece.length
                    yield b, Piece(piece.at(p), piece.at(q), piece.centre, piece.clockwise, piece.sweep * (q - p))
                begin = end
            turn += self.length


def circle(centre: Point, radius: float, *, clockwise: bool, quarters: bool) -> Contour:
    """A circle from its rightmost point."""
    count = 4 if quarters else 1
    sign = -1 if clockwise else 1
    points = [
        (centre[0] + radius * cos(sign * 2 * pi * k / count), centre[1] + radius * sin(sign * 2 * pi * k / count))
        for k in range(count + 1)
    ]
    return Contour(
        tuple(Piece(points[k], points[k + 1], centre, clockwise, 2 * pi / count) for k in range(count))
    )  # fmt: skip


def rounded_box(centre: Point, wide: float, high: float, corner: float) -> Contour:
    """A box with round corners, clockwise, from the middle of its left side."""
    x0, x1 = centre[0] - wide / 2, centre[0] + wide / 2
    y0, y1 = centre[1] - high / 2, centre[1] + high / 2
    c = corner
    quarter = pi / 2

    def turn(start: Point, end: Point, middle: Point) -> Piece:
        return Piece(start, end, middle, True, quarter)

    return Contour(
        (
            Piece((x0, centre[1]), (x0, y1 - c)),
            turn((x0, y1 - c), (x0 + c, y1), (x0 + c, y1 - c)),
            Piece((x0 + c, y1), (x1 - c, y1)),
            turn((x1 - c, y1), (x1, y1 - c), (x1 - c, y1 - c)),
            Piece((x1, y1 - c), (x1, y0 + c)),
            turn((x1, y0 + c), (x1 - c, y0), (x1 - c, y0 + c)),
            Piece((x1 - c, y0), (x0 + c, y0)),
            turn((x0 + c, y0), (x0, y0 + c), (x0 + c, y0 + c)),
            Piece((x0, y0 + c), (x0, centre[1])),
        )
    )


def follow(
    shop: Shop,
    contour: Contour,
    s0: float,
    s1: float,
    heights: Callable[[float], float],
    breaks: Sequence[float],
    role: str,
    feed: float,
) -> None:
    """Steps along a contour; the height is linear between the breaks."""
    marks = sorted({s0, s1, *(b for b in breaks if s0 < b < s1)})
    first: float | None = feed
    for a, b in pairwise(marks):
        for at, piece in contour.run(a, b):
            z = heights(min(at, b) - 1e-9)
            if piece.centre is None:
                shop.line(role, *piece.end, z, feed=first)
            else:
                shop.arc(role, piece.end, piece.centre, z, first, piece.clockwise)
            first = None


# ---------------------------------------------------------------------------------------------------- the kinds


def level(z: float) -> Callable[[float], float]:
    """The same height all along."""
    return lambda _: z


def equal_passes(depth: float, most: float) -> list[float]:
    """Heights below the top of equal passes of at most ``most``."""
    count = max(1, ceil(depth / most - 1e-9))
    return [-depth * (k + 1) / count for k in range(count)]


def keep_limits(shop: Shop, advice: Advice) -> None:
    """Facts a planted fault measures itself against."""
    for limit in advice.limits:
        if limit.name.startswith("stepdown"):
            shop.facts["stepdown-limit"] = max(shop.facts.get("stepdown-limit", 0.0), limit.limit)
    shop.facts["stepdown"] = max(shop.facts.get("stepdown", 0.0), advice.stepdown)


def reach(cutter: Cutter) -> float:
    """How deep a cutter is used: its edges, and 3 mm between work and holder."""
    return min(cutter.flute_length or 20.0, (cutter.stickout or 25.0) - 3.2)


def ramp_of(advice: Advice, metal: bool) -> tuple[float, float]:
    """Ramp angle in degrees, and the feed along it at which the downward speed stays at the plunge feed."""
    angle = advice.ramp_angle or 2.0
    plunge = advice.plunge_feed or advice.feed / 4
    return angle, min(advice.feed, plunge / sin(radians(angle)))


def profile(shop: Shop) -> Clean:
    """An outline in passes with ramped entries: through with tabs where there is room for them, else a groove."""
    cutter = mill_for(shop)
    shop.cutters[1] = cutter
    d = cutter.diameter
    x, y, thick = shop.size
    centre = (x / 2, y / 2)
    if shop.chance.random() < 0.4:
        radius = min(x, y) / 2 - 18 - d / 2
        contour = circle(centre, radius, clockwise=True, quarters=shop.chance.random() < 0.5)
    else:
        corner = shop.chance.uniform(6, 14) + d / 2
        contour = rounded_box(centre, x - 36 - d, y - 36 - d, corner)
    # Through with four tabs: down to the tabs' top in ramped turns, then the last little between the tabs.
    tab_high = min(3.0, d / 2 - 0.4) if shop.wood else 0.8
    shelf = -(thick - tab_high)
    drop = shelf - shop.bottom
    advice = shop.advise(cutter, "slot", min(-shop.bottom, reach(cutter)))
    width = 8.0 + d
    angle, ramp_feed = ramp_of(advice, shop.metal)
    back = drop / tan(radians(angle))
    around = contour.length
    through = not shop.metal and -shop.bottom <= reach(cutter) and drop <= advice.stepdown and width + back + 20 < around / 4
    if not through and not shop.metal and shop.chance.random() < 0.8:
        raise Unsuitable("no room for tabs: mostly drawn again, else there would be few outlines cut through")
    if through:
        passes = equal_passes(-shelf, advice.stepdown)
    else:
        passes = equal_passes(min(thick - 2.0, 3 * advice.stepdown, reach(cutter)), advice.stepdown)
    keep_limits(shop, advice)
    ramp = -passes[0] / tan(radians(angle))
    plunge = advice.plunge_feed or advice.feed / 4

    shop.header(f"outline, {shop.material.title}")
    shop.change(1, advice.spindle_rpm)
    s = 0.0
    shop.over(*contour.at(s), 1.0, 0.0, plunge)
    previous = 0.0
    for z in passes:
        shop.part += 1

        def down(at: float, start: float = s, previous: float = previous, z: float = z) -> float:
            return max(z, previous + (z - previous) * (at - start) / ramp)

        follow(shop, contour, s, s + ramp, down, (), "ramp", ramp_feed)
        s += ramp
        follow(shop, contour, s, s + around, level(z), (), "cut", advice.feed)
        s += around
        previous = z
    if through:
        shop.part += 1
        for _ in range(4):
            edge = s + around / 4 - width
            if shop.wood:
                shop.line("tab-down", z=shop.bottom, feed=plunge)
                here = s
            else:

                def lower(at: float, start: float = s) -> float:
                    return shelf + (shop.bottom - shelf) * (at - start) / back

                follow(shop, contour, s, s + back, lower, (), "tab-ramp", ramp_feed)
                here = s + back
            follow(shop, contour, here, edge, level(shop.bottom), (), "cut", advice.feed)
            shop.line("tab-up", z=shelf, feed=min(advice.feed, shop.machine.feed_max_z))
            follow(shop, contour, edge, edge + width, level(shelf), (), "tab", advice.feed)
            s = edge + width
    shop.up()
    return shop.finish("outline", "profile with tabs" if through else "groove")


def pocket(shop: Shop) -> Clean:
    """A square or round pocket: helix in, rings from the inside out, level by level."""
    cutter = mill_for(shop)
    shop.cutters[1] = cutter
    _pocket(shop, cutter, 0.25, header=True)
    return shop.finish("pocket", "pocket")


def _pocket(shop: Shop, cutter: Cutter, share: float, *, header: bool) -> None:
    d = cutter.diameter
    x, y, thick = shop.size
    deep = min(thick * shop.chance.uniform(0.3, 0.6), thick - 3, reach(cutter))
    slot = shop.advise(cutter, "slot", deep)
    advice = shop.advise(cutter, "pocket", deep)
    keep_limits(shop, slot)
    if advice.helix is None:
        raise Unsuitable("no helical entry")
    stepdown = min(slot.stepdown, advice.stepdown)
    feed = min(slot.feed, advice.feed)
    rpm = advice.spindle_rpm
    feed = min(feed, slot.feed * rpm / slot.spindle_rpm)
    helix = advice.helix
    plunge = advice.plunge_feed or feed / 4
    centre = (x * shop.chance.uniform(0.46, 0.54), y * shop.chance.uniform(0.46, 0.54))
    half = min(x, y) * share
    round_one = shop.chance.random() < 0.5
    stepover = min(advice.stepover, 0.45 * d)
    radius = helix.path_diameter / 2
    rings = max(1, ceil((half - radius) / stepover))
    if header:
        shop.header(f"pocket, {shop.material.title}")
    shop.change(1, rpm)
    entry = (centre[0] + radius, centre[1])
    previous = 0.0
    for z in equal_passes(deep, stepdown):
        shop.over(*entry, previous + 1.0, previous, plunge)
        turns = max(1, ceil((previous - z) / helix.pitch))
        for turn in range(1, turns + 1):
            height = previous + (z - previous) * turn / turns
            shop.arc("helix", entry, centre, height, helix.feed if turn == 1 else None)
        shop.arc("cut", entry, centre)
        for ring in range(1, rings + 1):
            off = radius + (half - radius) * ring / rings
            if round_one:
                shop.line("link", centre[0] + off, feed=feed if ring == 1 else None)
                shop.arc("cut", (centre[0] + off, centre[1]), centre)
            else:
                shop.line("link", centre[0] + off, centre[1], feed=feed if ring == 1 else None)
                for cx, cy in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
                    shop.line("cut", centre[0] + cx * off, centre[1] + cy * off)
                shop.line("cut", centre[0] + off, centre[1])
        shop.up()
        previous = z
    shop.facts["floor"] = previous


def bores(shop: Shop) -> Clean:
    """Holes bored in a helix, through or blind."""
    cutter = mill_for(shop)
    shop.cutters[1] = cutter
    d = cutter.diameter
    x, y, thick = shop.size
    deep = -shop.bottom if not shop.metal and -shop.bottom < reach(cutter) else min(thick * 0.6, reach(cutter))
    bore = round(d * shop.chance.uniform(1.4, 1.8), 2)
    advice = shop.advise(cutter, "bore", deep, bore_diameter=bore)
    if advice.helix is None:
        raise Unsuitable("no helix")
    helix = advice.helix
    keep_limits(shop, advice)
    plunge = advice.plunge_feed or helix.feed / 4
    shop.header(f"bored holes, {shop.material.title}")
    shop.change(1, advice.spindle_rpm)
    radius = (bore - d) / 2
    margin = bore / 2 + 12
    placed: list[Point] = []
    for _ in range(shop.chance.randint(3, 8)):
        centre = (shop.chance.uniform(margin, x - margin), shop.chance.uniform(margin, y - margin))
        if any(hypot(centre[0] - px, centre[1] - py) < bore + 8 for px, py in placed):
            continue
        placed.append(centre)
        start = (centre[0] + radius, centre[1])
        shop.over(*start, 1.0, 0.0, plunge)
        turns = ceil(deep / helix.pitch)
        for turn in range(1, turns + 1):
            shop.arc("helix", start, centre, -deep * turn / turns, helix.feed if turn == 1 else None)
        shop.arc("cut", start, centre)
        shop.line("link", *centre)
        shop.up()
    return shop.finish("bores", "helical bores")


def drilling(shop: Shop) -> Clean:
    """Holes drilled in cycles, spotted first in metal."""
    size = shop.chance.choice(("3mm", "4mm", "5mm", "6mm", "1-4in", "8mm"))
    cutter = catalogue.cutter(f"drill-{size}")
    shop.cutters[1] = cutter
    holes = _drill(shop, cutter, 1, header=True)
    shop.facts["holes"] = holes
    return shop.finish("holes", "drilling")


def _drill(shop: Shop, cutter: Cutter, tool: int, *, header: bool) -> int:
    d = cutter.diameter
    x, y, thick = shop.size
    through = shop.chance.random() < 0.5
    deep = -shop.bottom + 0.3 * d + 0.1 if through else min(thick * 0.7, thick - 0.3 * d - 2)
    if deep <= 1:
        raise Unsuitable("stock too thin for a blind hole")
    advice = shop.advise(cutter, "drill", deep)
    feed = advice.plunge_feed or advice.feed
    if header:
        shop.header(f"drilled holes, {shop.material.title}")
    shop.change(tool, advice.spindle_rpm)
    places = [(20 + (x - 40) * k / 3, row) for row in (20.0, y - 20) for k in range(4)]
    shop.chance.shuffle(places)
    places = places[: shop.chance.randint(3, 8)]
    shop.rapid("cross", *places[0])
    shop.rapid("approach", z=shop.clear)
    shop.high = False
    pecks = advice.pecks
    cycle: list[tuple[str, float]] = [("R", 2.0)]
    if len(pecks) > 1:
        code = "G83"
        cycle.append(("Q", round(d if shop.metal else 2 * d, 2)))  # one peck for all: that of the deepest
    elif shop.chance.random() < 0.4:
        code = "G82"
        cycle.append(("P", 0.2))
    else:
        code = "G81"
    first = places[0]
    shop.steps.append(
        Step("drill", *first, -deep, feed=feed, role="drill", code=code, cycle=tuple(cycle), tool=tool, part=shop.part)
    )
    for place in places[1:]:
        shop.steps.append(Step("again", *place, role="drill-again", tool=tool, part=shop.part))
    shop.say("G80", "cancel")
    shop.up()
    return len(places)


def facing(shop: Shop) -> Clean:
    """The top faced in rows that begin and end outside the stock."""
    size = shop.chance.choice(("8mm", "10mm", "12mm")) if not shop.metal else "12mm"
    name = f"endmill-metal-{size}-3f" if shop.metal else f"endmill-upcut-{size}-2f"
    cutter = catalogue.cutter(name)
    shop.cutters[1] = cutter
    d = cutter.diameter
    x, y, _ = shop.size
    deep = 0.5 if shop.metal else shop.chance.uniform(0.8, 2.0)
    advice = shop.advise(cutter, "face", deep)
    keep_limits(shop, advice)
    plunge = advice.plunge_feed or advice.feed / 4
    shop.header(f"facing, {shop.material.title}")
    shop.change(1, advice.spindle_rpm)
    for z in equal_passes(deep, advice.stepdown):
        count = ceil((y + d / 2) / advice.stepover)
        rows = [-d / 2 + (k + 1) * (y + d / 2) / count for k in range(count)]
        rows = [row - 0.0 for row in rows]
        out = d / 2 + 3
        shop.part += 1
        shop.rapid("cross", -out, rows[0])
        if shop.high:
            shop.rapid("approach", z=shop.clear)
            shop.high = False
        shop.line("touch", z=z, feed=plunge)
        for k, row in enumerate(rows):
            if k:
                shop.line("link", y=row)
            shop.line("cut", x=x + out if k % 2 == 0 else -out, feed=advice.feed if k == 0 else None)
        shop.up()
    hold = Hold(method="vise" if shop.metal else "vacuum", spoilboard=0.5)
    return shop.finish("facing", "facing", hold)


def slots(shop: Shop) -> Clean:
    """Straight slots, each pass ramped along the slot and cleaned on the way back."""
    cutter = mill_for(shop)
    shop.cutters[1] = cutter
    x, y, thick = shop.size
    deep = min(thick * 0.5, thick - 2.5, reach(cutter))
    advice = shop.advise(cutter, "slot", deep)
    keep_limits(shop, advice)
    angle, ramp_feed = ramp_of(advice, shop.metal)
    plunge = advice.plunge_feed or advice.feed / 4
    long = x - 50
    per_pass = min(advice.stepdown, long * tan(radians(angle)))
    shop.header(f"slots, {shop.material.title}")
    shop.change(1, advice.spindle_rpm)
    for k in range(shop.chance.randint(2, 4)):
        row = 20 + (y - 40) * k / 3
        shop.over(25, row, 1.0, 0.0, plunge)
        for z in equal_passes(deep, per_pass):
            shop.line("ramp", 25 + long, z=z, feed=ramp_feed)
            shop.line("cut", 25, feed=advice.feed)
        shop.up()
    return shop.finish("slots", "slots")


def relief(shop: Shop) -> Clean:
    """A wavy face: roughed in levels with a flat cutter from outside the stock, finished with a ball cutter."""
    size = shop.chance.choice(("6mm", "8mm", "1-4in"))
    flat = catalogue.cutter(f"endmill-upcut-{size}-2f")
    ball = catalogue.cutter(f"ballnose-{size}-2f")
    shop.cutters.update({1: flat, 2: ball})
    d = flat.diameter
    x, y = 70.0, 50.0
    shop.size = (x, y, max(shop.size[2], 16.0))
    high = shop.chance.uniform(3.0, 6.0)
    waves = shop.chance.uniform(0.6, 1.1)
    base = -(high + 2.0)

    def surface(px: float, py: float) -> float:
        return base + high * 0.5 * (1 + cos(2 * pi * waves * (px - x / 2) / x)) * (0.75 + 0.25 * cos(2 * pi * py / y))

    def tip(px: float, py: float, round_end: bool, allowance: float) -> float:
        highest = surface(px, py)
        for ring in (0.35, 0.7, 1.0):
            drop = d / 2 * (1 - (1 - ring * ring) ** 0.5) if round_end else 0.0
            for k in range(16):
                angle = k * pi / 8
                there = surface(px + ring * d / 2 * cos(angle), py + ring * d / 2 * sin(angle))
                highest = max(highest, there - drop)
        return highest + allowance

    allowance = 0.4
    rough = shop.advise(flat, "pocket", -base - allowance)
    slot = shop.advise(flat, "slot", -base - allowance)
    keep_limits(shop, slot)
    fine = shop.advise(ball, "side", 1.0, finish=True, stepover=0.8)
    # Downhill the cutter must not go down faster than it may plunge.
    steepest = max(
        abs(tip(px + 1.0, py, end, 0.0) - tip(px, py, end, 0.0))
        for end in (True, False)
        for px in range(-12, 82)
        for py in (0.0, 12.0, 25.0)
    )
    fall = sin(atan(steepest)) * 1.15
    feed = min(rough.feed, slot.feed * rough.spindle_rpm / slot.spindle_rpm)
    feed = min(feed, min(rough.plunge_feed or feed, shop.machine.feed_max_z) / fall)
    fine_feed = min(fine.feed, min(fine.plunge_feed or fine.feed, shop.machine.feed_max_z) / fall)
    # A machine does not reach a great feed over short moves: spindle and feed go down together, the chip stays.
    reachable = 60 * sqrt(4 * shop.machine.acceleration[2])
    rough_rpm = slowed(shop, rough.spindle_rpm, feed, reachable)
    feed *= rough_rpm / rough.spindle_rpm
    fine_rpm = slowed(shop, fine.spindle_rpm, fine_feed, reachable)
    fine_feed *= fine_rpm / fine.spindle_rpm
    out = d / 2 + 3
    shop.header(f"relief, {shop.material.title}")
    shop.change(1, rough_rpm)
    spacing = min(rough.stepover, 0.45 * d)
    count = ceil(y / spacing)
    for level in equal_passes(-base - allowance, min(slot.stepdown, rough.stepdown)):
        shop.part += 1
        shop.rapid("cross", -out, 0.0)
        if shop.high:
            shop.rapid("approach", z=shop.clear)
            shop.high = False
        shop.line(
            "touch",
            z=max(level, tip(-out, 0.0, False, allowance)),
            feed=(rough.plunge_feed or feed / 4) * rough_rpm / rough.spindle_rpm,
        )
        first: float | None = feed
        for k in range(count + 1):
            row = y * k / count
            places = [-out + (x + 2 * out) * i / 36 for i in range(37)]
            if k % 2:
                places.reverse()
            heights = [max(level, tip(p, row, False, allowance)) for p in places]
            if k:
                shop.line("link", y=row, z=heights[0])
            for i, (p, h) in enumerate(zip(places, heights, strict=True)):
                flat_run = 0 < i < 36 and h == level == heights[i - 1] == heights[i + 1]
                if i and not flat_run:
                    shop.line("cut", p, z=h, feed=first)
                    first = None
        shop.up()
    shop.change(2, fine_rpm)
    out = d / 2 + 1
    count = ceil(y / 0.8)
    start = tip(-out, 0.0, True, 0.0)
    shop.part += 1
    shop.rapid("cross", -out, 0.0)
    shop.rapid("approach", z=shop.clear)
    shop.line("touch", z=start, feed=fine_feed / 4)
    first = fine_feed
    for k in range(count + 1):
        row = y * k / count
        places = [-out + (x + 2 * out) * i / 30 for i in range(31)]
        if k % 2:
            places.reverse()
        for i, p in enumerate(places):
            if k or i:
                shop.line("link" if i == 0 else "finish", p, row, tip(p, row, True, 0.0), first)
                first = None
    shop.up()
    return shop.finish("relief", "3-D", Hold(method="vacuum", spoilboard=0.5))


def slowed(shop: Shop, rpm: float, feed: float, reachable: float) -> float:
    """A spindle speed at which the same chip goes with a feed the machine reaches."""
    wanted = rpm * min(1.0, reachable / feed)
    return min(rpm, float(round(max(wanted, shop.machine.spindle_min * 1.2), -2)))


def two_tools(shop: Shop) -> Clean:
    """Drilled holes, then a pocket with another tool."""
    drill = catalogue.cutter(f"drill-{shop.chance.choice(('4mm', '6mm'))}")
    cutter = mill_for(shop)
    shop.cutters.update({1: cutter, 2: drill})
    shop.header(f"holes and pocket, {shop.material.title}")
    _drill(shop, drill, 2, header=False)
    _pocket(shop, cutter, 0.12, header=False)
    return shop.finish("holes and pocket", "two tools")


def sides(shop: Shop) -> Clean:
    """The long sides of a blank trimmed: in from outside the stock, part of the cutter's width, climbing."""
    cutter = mill_for(shop)
    shop.cutters[1] = cutter
    d = cutter.diameter
    x, y, thick = shop.size
    deep = min(thick - 1.5, reach(cutter))
    width = round(0.3 * d, 2)
    advice = shop.advise(cutter, "side", deep, stepover=width)
    keep_limits(shop, advice)
    plunge = advice.plunge_feed or advice.feed / 4
    shop.header(f"sides trimmed, {shop.material.title}")
    shop.change(1, advice.spindle_rpm)
    out = d / 2 + 4
    # The back edge is cut towards plus X, the front edge towards minus X: the wood lies to the right, a climbing cut.
    ways = ((-out, x + out, y + d / 2 - width), (x + out, -out, -d / 2 + width))
    for start, end, row in ways:
        for z in equal_passes(deep, advice.stepdown):
            shop.part += 1
            shop.rapid("cross", start, row)
            if shop.high:
                shop.rapid("approach", z=shop.clear)
                shop.high = False
            shop.line("touch", z=z, feed=plunge)
            shop.line("cut", end, feed=advice.feed)
            shop.up()
    return shop.finish("sides", "sides", Hold(method="vise" if shop.metal else "vacuum", spoilboard=0.5))


def engraving(shop: Shop) -> Clean:
    """Lines and arcs of a letter, cut with the tip of a V cutter."""
    cutter = catalogue.cutter(f"vee-{shop.chance.choice(('60', '90'))}deg-6mm-2f")
    shop.cutters[1] = cutter
    deep = shop.chance.uniform(0.6, 1.5)
    advice = shop.advise(cutter, "engrave", deep)
    plunge = advice.plunge_feed or advice.feed / 4
    y = shop.size[1]
    shop.header(f"engraving, {shop.material.title}")
    shop.change(1, advice.spindle_rpm)
    for k in range(shop.chance.randint(2, 4)):
        left, low, high = 22 + 20.0 * k, 25.0, y - 25
        shop.over(left, low, 1.0, 0.0, plunge)
        for z in equal_passes(deep, advice.stepdown):
            shop.line("ramp", left, high, z, advice.feed)
            shop.line("cut", left, low)
        shop.arc("cut", (left + 12, low), (left + 6, low))
        shop.line("cut", left + 12, high)
        shop.up()
    return shop.finish("engraving", "engraving")


KINDS: tuple[tuple[str, Callable[[Shop], Clean], tuple[str, ...]], ...] = (
    ("profile", profile, WOODY + PLASTIC + METAL),
    ("pocket", pocket, WOODY + PLASTIC + METAL),
    ("bores", bores, WOODY + PLASTIC + METAL),
    ("drilling", drilling, ("hardwood", "birch-plywood", "softwood", *METAL)),
    ("facing", facing, ("softwood", "hardwood", "mdf", "aluminium-wrought", "mild-steel")),
    ("slots", slots, WOODY + PLASTIC + METAL),
    ("relief", relief, ("softwood", "hardwood", "mdf", "foam")),
    ("two tools", two_tools, ("hardwood", "birch-plywood", "softwood", "aluminium-wrought")),
    ("sides", sides, ("hardwood", "softwood", "birch-plywood", *PLASTIC, *METAL)),
    ("engraving", engraving, ("hardwood", "birch-plywood", "acrylic")),
)


def mill_for(shop: Shop) -> Cutter:
    """A cutter such as the shop would take for the material."""
    size = shop.chance.choice(SIZES)
    if shop.material.name == "mild-steel":
        return catalogue.cutter(f"endmill-metal-{size}-4f")
    if shop.metal:
        return catalogue.cutter(f"endmill-metal-{size}-3f")
    flutes = "1f" if shop.material.name in PLASTIC and shop.chance.random() < 0.5 else "2f"
    return catalogue.cutter(f"endmill-upcut-{size}-{flutes}")


def draw(chance: random.Random, kind: Callable[[Shop], Clean], materials: Sequence[str]) -> Clean:
    """One clean program of a kind; refused combinations are drawn again."""
    for _ in range(200):
        material = catalogue.material(chance.choice(materials))
        metal = material.name in METAL
        machines: tuple[str, ...] = MILLS if metal else ROUTERS
        if material.name in ("aluminium-wrought", "brass") and chance.random() < 0.2:
            machines = ("ballscrew-router", "industrial-router")
        thick = chance.choice((6.0, 10.0, 12.7)) if metal else chance.choice((9.2, 12.0, 17.7, 19.0))
        size = (chance.choice((110.0, 140.0)), chance.choice((90.0, 100.0)), thick)
        shop = Shop(
            chance=chance,
            machine=catalogue.machine(chance.choice(machines)),
            material=material,
            size=size,
            spread=chance.choice((0.0, 0.0, 0.2)) if not metal else 0.0,
            clear=chance.choice((4.0, 5.0, 8.0)),
            habits=Habits.any(chance),
        )
        try:
            return kind(shop)
        except (Unsuitable, catalogue.UnknownName):
            continue
    raise AssertionError(f"nothing suitable found for {kind.__name__}")


def clean_programs(count: int, seed: int) -> Iterator[Clean]:
    """``count`` clean programs, the kinds in turn, the same for the same seed."""
    for index in range(count):
        _, kind, materials = KINDS[index % len(KINDS)]
        yield draw(random.Random(f"{seed}/{index}"), kind, materials)
