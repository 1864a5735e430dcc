"""Steps of a program as plain values, and the many ways in which shops write them down.

A step's coordinates are absolute, in mm, from the corner of the stock at the top; ``write`` turns a list of steps into
a program in one style and tells the line of each step.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

INCH = 25.4


@dataclass(frozen=True, slots=True)
class Step:
    """One block.

    do: rapid, line, arc, drill (a cycle's first block), again (its next holes), words (``text`` as it stands), note.
    role says what the block is for, and planted faults look for it: ramp, helix, cut, link, retract, cross, approach,
    spindle, change, modes, ... ``cycle`` holds a drilling block's own words (R mm, Q mm, P s).
    """

    do: str
    x: float | None = None
    y: float | None = None
    z: float | None = None
    centre: tuple[float, float] | None = None
    clockwise: bool = False
    feed: float | None = None
    text: str = ""
    role: str = ""
    code: str = ""
    cycle: tuple[tuple[str, float], ...] = ()
    part: int = 0  # which hole, pass or contour it belongs to
    tool: int = 0


@dataclass(frozen=True, slots=True)
class Style:
    """How a program is written."""

    inch: bool = False
    incremental: bool = False  # feed moves in G91
    radius_arcs: bool = False
    numbers: bool = False
    spaces: bool = True
    lower: bool = False
    modal: bool = True
    percent: bool = False
    padded: bool = False  # G01 for G1
    comments: bool = True
    points: bool = False  # X5. for X5
    exact: bool = False  # inches with so many digits that they are the millimetres

    @classmethod
    def any(cls, chance: random.Random) -> Style:
        """A style drawn at random."""
        flags = {name: chance.random() < share for name, share in SHARES.items()}
        return cls(**flags)


SHARES = {
    "inch": 0.35,
    "incremental": 0.15,
    "radius_arcs": 0.2,
    "numbers": 0.3,
    "spaces": 0.8,
    "lower": 0.15,
    "modal": 0.6,
    "percent": 0.5,
    "padded": 0.4,
    "comments": 0.8,
    "points": 0.3,
}


@dataclass(frozen=True, slots=True)
class Written:
    """A program's text, and the 1-based line of each step."""

    text: str
    lines: tuple[int, ...]

    def without_comments(self) -> str:
        """The text with its comments cut out and its lines kept."""
        import re

        return re.sub(r"\([^()\n]*\)", "", self.text)


@dataclass
class _Pen:
    style: Style
    zero: tuple[float, float, float]
    at: dict[str, int] = field(default_factory=dict)  # last written coordinates, in counts of the least digit
    motion: str = ""
    distance: str = "G90"

    @property
    def digits(self) -> int:
        """Decimals written."""
        if not self.style.inch:
            return 3
        return 8 if self.style.exact else 4

    @property
    def scale(self) -> int:
        """Counts of the least digit per unit written."""
        return int(10**self.digits)

    def counts(self, value: float) -> int:
        """A length in counts of the least digit."""
        if self.style.exact:
            value = round(value, 3)
        return round(value / (INCH if self.style.inch else 1.0) * self.scale)

    def show(self, letter: str, counts: int) -> str:
        """A word from counts."""
        text = f"{abs(counts) / self.scale:.{self.digits}f}".rstrip("0")
        if text.endswith(".") and not self.style.points:
            text = text[:-1]
        return f"{letter}{'-' if counts < 0 else ''}{text}"

    def plain(self, letter: str, value: float, digits: int = 3) -> str:
        """A word that is no length."""
        text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
        return letter + (text or "0")

    def feed(self, value: float) -> str:
        """An F word."""
        if not self.style.inch:
            return self.plain("F", value, 1)
        return self.plain("F", round(value, 1) / INCH, 8) if self.style.exact else self.plain("F", value / INCH, 2)

    def code(self, name: str) -> str:
        """A G code, padded where the style says so."""
        return name[0] + "0" + name[1:] if self.style.padded and len(name) == 2 else name

    def axes(self, step: Step, incremental: bool) -> list[str]:
        """The coordinate words of a step; remembers the new position."""
        words = []
        for letter, value, shift in zip("XYZ", (step.x, step.y, step.z), self.zero, strict=True):
            if value is None:
                continue
            new = self.counts(value - shift)
            old = self.at.get(letter)
            always = not self.style.modal or (step.do == "arc" and letter != "Z")  # an arc names its end
            if incremental:
                assert old is not None
                if new != old or always:
                    words.append(self.show(letter, new - old))
            elif new != old or always:
                words.append(self.show(letter, new))
            self.at[letter] = new
        return words

    def arc_words(self, step: Step, before: dict[str, int]) -> list[str]:
        """I and J, or R where the style says so and the arc is well under a half turn."""
        assert step.centre is not None
        i = self.counts(step.centre[0] - self.zero[0]) - before["X"]
        j = self.counts(step.centre[1] - self.zero[1]) - before["Y"]
        if self.style.radius_arcs and _under_half_turn(step, before, self.at, i, j):
            return [self.show("R", self.counts(_radius(i, j) / self.scale * (INCH if self.style.inch else 1.0)))]
        return [self.show("I", i), self.show("J", j)]


def _radius(i: int, j: int) -> float:
    return float((i * i + j * j) ** 0.5)


def _under_half_turn(step: Step, before: dict[str, int], after: dict[str, int], i: int, j: int) -> bool:
    from math import atan2, degrees

    cx, cy = before["X"] + i, before["Y"] + j
    a = atan2(before["Y"] - cy, before["X"] - cx)
    b = atan2(after["Y"] - cy, after["X"] - cx)
    sweep = degrees(a - b if step.clockwise else b - a) % 360
    return 3 < sweep < 160


def write(steps: Sequence[Step], style: Style, zero: tuple[float, float, float]) -> Written:
    """The program. ``zero`` is program zero in the steps' frame."""
    pen = _Pen(style, zero)
    out: list[str] = ["%"] if style.percent else []
    lines = []
    number = 10
    for step in steps:
        words = _words(step, pen)
        if step.do == "note":
            block = f"({step.text})" if style.comments else ""
        else:
            block = (" " if style.spaces else "").join(words)
        if style.numbers and block and step.do != "note":
            block = f"N{number}{' ' if style.spaces else ''}{block}"
            number += 10
        out.append(block.lower() if style.lower and step.do != "note" else block)
        lines.append(len(out))
    if style.percent:
        out.append("%")
    return Written("\n".join(out) + "\n", tuple(lines))


def _words(step: Step, pen: _Pen) -> list[str]:
    style = pen.style
    if step.do == "note":
        return []
    if step.do == "words":
        text = step.text.replace("UNITS", "G20" if style.inch else "G21")
        if "G53" in text or "G28" in text or "G80" in text:
            pen.motion = ""
            if "Z" in text or "G28" in text:
                pen.at.pop("Z", None)
        words = text.split()
        pen.distance = next((word for word in reversed(words) if word in ("G90", "G91")), pen.distance)
        return words
    if step.do in ("drill", "again"):
        words = pen.axes(replace(step, z=None), False)
        if step.do == "again":
            return words or [pen.show("X", pen.at["X"])]
        lengths = {"R", "Q"}
        tail = [
            pen.show(letter, pen.counts(value - (pen.zero[2] if letter == "R" else 0)))
            if letter in lengths
            else pen.plain(letter, value)
            for letter, value in step.cycle
        ]
        assert step.z is not None and step.feed is not None
        depth = pen.show("Z", pen.counts(step.z - pen.zero[2]))
        pen.motion = ""
        return ["G98", step.code, *words, depth, *tail, pen.feed(step.feed)]

    incremental = style.incremental and step.do in ("line", "arc")
    before = dict(pen.at)
    words = pen.axes(step, incremental)
    if step.do == "arc":
        words += pen.arc_words(step, before)
    if not words and step.feed is None:
        return []
    motion = {"rapid": "G0", "line": "G1"}.get(step.do) or ("G2" if step.clockwise else "G3")
    head = []
    wanted = "G91" if incremental else "G90"
    if style.incremental and wanted != pen.distance:
        head.append(wanted)
        pen.distance = wanted
    if motion != pen.motion or not style.modal:
        head.append(pen.code(motion))
    pen.motion = motion
    tail = [pen.feed(step.feed)] if step.feed is not None else []
    return head + words + tail
