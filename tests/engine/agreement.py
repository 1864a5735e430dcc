"""What ``speeds`` advises, written as a program by hand, must be silent under ``check`` and within the limits of ``rate``.

The programs are written here without any knowledge of the rules: spin-up dwell, safe heights, the advised entry, equal
passes, the advised stepover, finish and pecks; the gentler first cut too; in millimetres and in inches.
The long form: ``python -m tests.engine.agreement --count 1500 --seed 2`` prints a table by operation and class of material.
"""

from __future__ import annotations

import argparse
import math
import random
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from advisor import catalogue
from advisor.advice import Advice, BadRequest, Refusal, Request
from advisor.check import check_program
from advisor.findings import Finding
from advisor.limits import plunge_depth
from advisor.rate import rate
from advisor.recommend import recommend
from advisor.values import Hold, Setting, Workpiece

CLASSES = {
    "wood": "wood", "board": "wood", "plastic": "plastic", "foam": "plastic", "composite": "composite",
    "aluminium": "soft metal", "copper": "soft metal", "steel": "hard metal", "iron": "hard metal", "titanium": "hard metal",
}  # fmt: skip
OPERATIONS = ("slot", "side", "pocket", "face", "drill", "bore", "engrave")
SAFE, NEAR, SKIN = 3.0, 1.0, 0.3  # mm above the work: across, down to by rapid, down to by feed


@dataclass(frozen=True, slots=True)
class Settings:
    """Spindle speed, feed and stepdown of the advice or of its first cut."""

    rpm: float
    feed: float
    stepdown: float


def both(advice: Advice) -> tuple[Settings, Settings]:
    """The advised cut and the gentler first one."""
    first = advice.first_cut
    return (
        Settings(advice.spindle_rpm, advice.feed, advice.stepdown),
        Settings(first.spindle_rpm, first.feed, first.stepdown),
    )


class Writer:
    """Writes one program for one advice."""

    def __init__(self, advice: Advice, cut: Settings, entry: str, inch: bool) -> None:
        self.advice, self.cut, self.entry, self.inch = advice, cut, entry, inch
        request = advice.request
        assert request.machine is not None and request.depth is not None and advice.cut is not None
        self.machine, self.depth, self.limits = request.machine, request.depth, advice.cut
        self.d = request.cutter.diameter
        self.down = cut.stepdown
        self.passes = max(1, round(self.depth / cut.stepdown))
        self.lines: list[str] = []
        feeds = (advice.helix.feed if advice.helix else None, advice.plunge_feed, cut.feed, self.limits.feed_max_z)
        self.slow = min(f for f in feeds if f)  # down through air to the work
        # Moves long enough to reach their feed: a small pocket is no place for a fast one.
        self.run_up = (cut.feed / 60.0) ** 2 / self.machine.acceleration[0]

    def length(self, value: float) -> str:
        text = f"{value / 25.4 if self.inch else value:.4f}".rstrip("0").rstrip(".")
        return "0" if text in ("-0", "") else text

    def speed(self, feed: float) -> str:
        if not self.inch:
            return f"{feed:g}" if feed < 100000 else f"{feed:.0f}"
        return f"{feed / 25.4:.2f}" if feed > 127 else f"{feed / 25.4:.4f}"

    def go(
        self,
        code: str,
        x: float | None = None,
        y: float | None = None,
        z: float | None = None,
        *,
        i: float | None = None,
        j: float | None = None,
        f: float | None = None,
    ) -> None:
        words = [code]
        words += [a + self.length(v) for a, v in zip("XYZIJ", (x, y, z, i, j), strict=True) if v is not None]
        self.lines.append(" ".join([*words, *(["F" + self.speed(f)] if f is not None else [])]))

    def lead(self, x: float, y: float) -> None:
        """Over the place, down by rapid, then by feed to just above the work."""
        self.go("G0", x, y)
        self.go("G0", z=SAFE)
        self.go("G0", z=NEAR)
        self.go("G1", z=SKIN, f=self.slow)

    def enter(self, x: float, y: float, top: float, floor: float, room: float) -> float:
        """Into the material at a place from one height to another; the X it ends at."""
        a = self.advice
        if self.entry == "helix":
            assert a.helix is not None
            r = a.helix.path_diameter / 2
            turns = math.ceil((top - floor) / a.helix.pitch - 1e-9)
            for turn in range(1, turns + 1):
                self.go("G3", x + r, y, top + (floor - top) * turn / turns, i=-r, j=0, f=a.helix.feed if turn == 1 else None)
            self.go("G3", x + r, y, i=-r, j=0)
            return x + r
        if self.entry == "ramp":
            assert a.ramp_angle is not None
            run = (top - floor) / math.tan(math.radians(a.ramp_angle))
            legs = max(2, math.ceil(run / room))
            legs += legs % 2
            for leg in range(1, legs + 1):
                z = top + (floor - top) * leg / legs
                self.go("G1", x + (run / legs if leg % 2 else 0.0), y, z, f=a.ramp_feed if leg == 1 else None)
            return x
        self.go("G1", z=floor, f=a.plunge_feed)
        return x

    def levels(self) -> Iterator[tuple[float, float]]:
        for k in range(self.passes):
            yield (SKIN if k == 0 else -k * self.down), -(k + 1) * self.down

    def ring(self, x: float, y: float, h: float, longer: float, rounded: bool) -> None:
        """Once round inside a pocket, against the clock, from the right."""
        q = h - self.d / 2 if rounded else h
        left = x - longer
        corners = (
            ((x + h, y + q), (x + q, y + h), (-1, 0)),
            ((left - q, y + h), (left - h, y + q), (0, -1)),
            ((left - h, y - q), (left - q, y - h), (1, 0)),
            ((x + q, y - h), (x + h, y - q), (0, 1)),
        )
        for start, end, (i, j) in corners:
            self.go("G1", *start)
            if rounded:
                self.go("G3", *end, i=i * self.d / 2, j=j * self.d / 2)

    def program(self) -> bytes:
        head = [
            ("G20" if self.inch else "G21") + " G90 G17 G94 G40 G49 G80", "G53 G0 Z0", "T1 M6", f"S{self.cut.rpm:.0f} M3",
            f"G4 P{math.ceil(self.machine.spin_up) + 1}", *(["M8"] if self.limits.metal else []),
        ]  # fmt: skip
        WRITERS[self.advice.request.operation](self)
        self.go("G0", z=25.0)
        return "\n".join([*head, *self.lines, "M9", "M5", "M30", ""]).encode()


def slot(w: Writer) -> None:
    x, y, length = 4 * w.d, 3 * w.d, 10 * w.d
    w.lead(x + (w.advice.helix.path_diameter / 2 if w.entry == "helix" and w.advice.helix else 0.0), y)
    for top, floor in w.levels():
        back = w.enter(x, y, top, floor, length)
        w.go("G1", x + length, y, f=w.cut.feed)
        w.go("G1", back, y)
    w.go("G0", z=SAFE)


def side(w: Writer) -> None:
    """Two widths off the front edge, from right to left, and the finish."""
    long = math.ceil(10 * w.d)
    rows = [(-w.d / 2 + w.advice.stepover * lap, w.passes, w.cut.feed) for lap in (1, 2)]
    if w.advice.finish is not None:
        finish = w.advice.finish
        rows.append((rows[-1][0] + finish.allowance, max(1, math.ceil(w.depth / finish.stepdown - 1e-9)), finish.feed))
    for y, passes, feed in rows:
        for k in range(1, passes + 1):
            w.go("G0", long + w.d, y)
            w.go("G0", z=-w.depth * k / passes)
            w.go("G1", -w.d, y, f=feed)
            w.go("G0", z=SAFE)


def pocket(w: Writer) -> None:
    a, s = w.advice, w.advice.stepover
    x, y = (v / 2 for v in box_of(w)[:2])
    longer = 5 * w.run_up
    rings = 3 if s > 0.3 * w.d else 5
    start = x + (a.helix.path_diameter / 2 if w.entry == "helix" and a.helix else 0.0)
    w.lead(start, y)
    for top, floor in w.levels():
        w.enter(x, y, top, floor, 2 * w.d)
        for m in range(1, rings + 1):
            w.go("G1", x + s * m, y, f=w.cut.feed)
            w.ring(x, y, s * m, longer, rounded=m == rings and s * m > 0.6 * w.d)
            w.go("G1", x + s * m, y)
        w.go("G1", start, y)
    w.go("G0", z=SAFE)
    if a.finish is None:
        return
    h = s * rings + a.finish.allowance
    passes = max(1, math.ceil(w.depth / a.finish.stepdown - 1e-9))
    for k in range(1, passes + 1):
        z = -w.depth * k / passes
        w.go("G0", x, y)
        w.go("G0", z=min(z + NEAR, NEAR))
        w.go("G1", z=z, f=w.slow)
        w.go("G1", x + h - a.finish.allowance, y, f=a.finish.feed)
        w.go("G1", x + h, y + min(h / 2, 4 * a.finish.allowance))
        w.ring(x, y, h, longer, rounded=h > 0.6 * w.d)
        w.go("G1", x + h, y + h / 4)
        w.go("G1", x, y)
        w.go("G0", z=SAFE)


def face(w: Writer) -> None:
    long, wide, _ = box_of(w)
    strips = round(wide / w.advice.stepover)
    for k in range(1, w.passes + 1):
        for strip in range(1, strips + 1):
            y = -w.d / 2 + w.advice.stepover * strip
            w.go("G0", long + w.d, y)
            w.go("G0", z=-k * w.down)
            w.go("G1", -w.d, y, f=w.cut.feed)
            w.go("G0", z=SAFE)


def drill(w: Writer) -> None:
    for hole in range(3):
        w.go("G0", 3 * w.d * (hole + 1), 3 * w.d)
        w.go("G0", z=2.0)
        z = 0.0
        for k, bite in enumerate(w.advice.pecks):
            if k:
                w.go("G0", z=2.0)
                w.go("G0", z=z + 0.5)
            z -= bite
            w.go("G1", z=z, f=w.cut.feed)
        w.go("G0", z=SAFE)


def bore(w: Writer) -> None:
    helix = w.advice.helix
    assert helix is not None
    x, y, r = 4 * w.d, 3 * w.d, helix.path_diameter / 2
    w.lead(x + r, y)
    turns = math.ceil((w.depth + SKIN) / w.down - 1e-9)
    for turn in range(1, turns + 1):
        z = SKIN - (w.depth + SKIN) * turn / turns
        w.go("G3", x + r, y, z, i=-r, j=0, f=w.cut.feed if turn == 1 else None)
    w.go("G3", x + r, y, i=-r, j=0)
    w.go("G0", z=SAFE)


def engrave(w: Writer) -> None:
    x, y, long = 3 * w.d, 3 * w.d, 6 * w.d
    for top, floor in w.levels():
        w.lead(x, y) if top > 0 else (w.go("G0", x, y), w.go("G0", z=NEAR), w.go("G1", z=top, f=w.slow))
        w.enter(x, y, top, floor, long / 2)
        w.go("G1", x + long, y, f=w.cut.feed)
        w.go("G1", x + long, y + 3 * w.d)
        w.go("G1", x, y + 3 * w.d)
        w.go("G0", z=SAFE)


WRITERS: dict[str, Callable[[Writer], None]] = {
    "slot": slot, "side": side, "pocket": pocket, "face": face, "drill": drill, "bore": bore, "engrave": engrave,
}  # fmt: skip


def box_of(w: Writer) -> tuple[float, float, float]:
    """The stock: wide enough for the work, and a floor is left."""
    d, operation = w.d, w.advice.request.operation
    size = {"slot": (18, 6), "side": (10, 5), "face": (6, 2.2), "drill": (12, 6), "bore": (8, 6), "engrave": (12, 9)}
    if operation == "pocket":
        room = 2 * (5 * w.advice.stepover + d + 2) + 4 * d
        wide = (room + 10 * (w.advice.feed / 60.0) ** 2 / w.machine.acceleration[0] + 2, room)
    elif operation == "face":  # whole strips: a last narrow one would be another cut than the one advised
        strips = math.ceil(size[operation][1] * d / w.advice.stepover)
        return float(math.ceil(size[operation][0] * d)), strips * w.advice.stepover, w.depth + max(4.0, 0.6 * d + 1.5)
    else:
        wide = (size[operation][0] * d, size[operation][1] * d)
    return float(math.ceil(wide[0])), float(math.ceil(wide[1])), w.depth + max(4.0, 0.6 * d + 1.5)


def entries(advice: Advice) -> list[str]:
    """The ways into the material that were advised; straight down only as deep as was said."""
    cutter, material = advice.request.cutter, advice.request.material
    assert material is not None
    found = (["helix"] if advice.request.operation in ("slot", "pocket") else []) + ["ramp"] if advice.helix else []
    if advice.plunge_feed and (cutter.form == "vee" or advice.stepdown <= plunge_depth(cutter, material.family) + 1e-6):
        found.append("plunge")
    return found if advice.request.operation in ("slot", "pocket", "engrave") else ["none"]


def alarms(advice: Advice, cut: Settings, entry: str, inch: bool) -> list[Finding]:
    """Errors and warnings of ``check`` on the program of one cut, with the same cutter, material and machine."""
    writer = Writer(advice, cut, entry, inch)
    request = advice.request
    assert request.material is not None
    x, y, z = box_of(writer)
    setting = Setting(
        machine=request.machine,
        cutters={1: replace(request.cutter, tool=1)},
        material=request.material,
        workpiece=Workpiece(material=request.material.name, size=(x, y, z), zero=(0.0, 0.0, z)),
        hold=Hold(method="vise", spoilboard=0.5),
    )
    report = check_program(writer.program(), path="advised.ngc", setting=setting)
    return [f for f in report.findings if f.severity != "note"]


def over(advice: Advice) -> list[str]:
    """Limits ``rate`` calls exceeded by the advised settings and by the first cut."""
    request = advice.request
    wide = request.operation in ("slot", "drill", "bore", "engrave")
    asked = replace(request, stepover=None if wide else advice.stepover)
    plunge = None if request.operation == "drill" else advice.plunge_feed
    found = []
    for cut in both(advice):
        answer = rate(asked, rpm=cut.rpm, feed=cut.feed, stepdown=cut.stepdown, plunge_feed=plunge)
        found += [u.name for u in answer.limits if u.exceeded]
    return found


def drawn(chance: random.Random) -> Request:
    """A question from the whole catalogue."""
    cutter = catalogue.cutter(chance.choice(catalogue.names("cutters")))
    d, operation = cutter.diameter, chance.choice(OPERATIONS)
    depth = chance.choice((0.3, 1.0, 0.2 * d, 0.5 * d) if operation == "engrave" else (1.0, 0.5 * d, d, 3 * d))
    more: dict[str, Any] = {}
    if operation in ("side", "pocket", "face") and chance.random() < 0.4:
        more["stepover"] = round(chance.choice((0.05, 0.1, 0.2, 0.4) if operation == "side" else (0.25, 0.4, 0.5)) * d, 3)
    if operation == "bore" and chance.random() < 0.5:
        more["bore_diameter"] = round(chance.uniform(1.15, 1.95) * d, 2)
    return Request(
        cutter=cutter,
        material=catalogue.material(chance.choice(catalogue.names("materials"))),
        machine=catalogue.machine(chance.choice(catalogue.names("machines"))),
        operation=operation,
        depth=round(depth, 3),
        **more,
    )


def answers(seed: int) -> Iterator[tuple[Request, Advice | Refusal | None, random.Random]]:
    """Questions and their answers without end; None where the question can't be asked."""
    chance = random.Random(seed)
    while True:
        request = drawn(chance)
        try:
            yield request, recommend(request, helps=False), chance
        except BadRequest:
            yield request, None, chance


def main(count: int, seed: int, show: bool) -> None:
    table: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    rules: Counter[str] = Counter()
    advised = 0
    for request, answer, chance in answers(seed):
        assert request.material is not None
        row = table[request.operation, CLASSES[request.material.family]]
        if not isinstance(answer, Advice):
            row["not possible" if answer is None else "refused"] += 1
            continue
        advised += 1
        row["advised"] += 1
        row["over"] += len(over(answer))
        ways = entries(answer)
        for cut in both(answer) if ways else ():
            row["checked"] += 1
            found = alarms(answer, cut, chance.choice(ways), chance.random() < 0.35)
            row["error"] += any(f.severity == "error" for f in found)
            row["warning"] += bool(found) and not any(f.severity == "error" for f in found)
            rules.update({f"{f.severity} {f.rule}" for f in found})
            for f in found if show else ():
                names = request.cutter.name, request.material.name, request.machine.name if request.machine else ""
                print(request.operation, *names, request.depth, f.severity, f.rule, f.line, f.message)
        if advised == count:
            break
    columns = ("advised", "refused", "not possible", "checked", "error", "warning", "over")
    print(f"{'operation and class':<24}" + "".join(f"{c:>13}" for c in columns))
    total: Counter[str] = Counter()
    for key in sorted(table):
        total.update(table[key])
        print(f"{' '.join(key):<24}" + "".join(f"{table[key][c]:>13}" for c in columns))
    print(f"{'all':<24}" + "".join(f"{total[c]:>13}" for c in columns))
    for name, times in rules.most_common():
        print(f"{times:>6} {name}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--show", action="store_true", help="list each alarm")
    given = parser.parse_args()
    main(given.count, given.seed, given.show)
