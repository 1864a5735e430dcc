"""Plants one fault at a time in clean programs and counts what ``check`` finds.

    python -m tests.campaigns.planted --programs 200 --seed 1

A fault counts as found when a right rule has a finding whose block, or span of blocks, holds a block of the fault.
"""

from __future__ import annotations

import argparse
import itertools
import random
import re
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from math import hypot, radians, tan

from advisor.check import check_program
from advisor.findings import Finding, ProgramReport
from advisor.values import Setting
from tests.campaigns.programs import Clean, clean_programs
from tests.campaigns.writing import Step, write


@dataclass(frozen=True, slots=True)
class Planted:
    """A program with one fault: the lines that hold it, the rules that are right, and those that may follow from it."""

    kind: str
    text: str
    setting: Setting
    lines: tuple[int, ...]
    rules: frozenset[str]
    follow: frozenset[str] = frozenset()


Planter = Callable[[Clean, random.Random], Planted | None]
KINDS: dict[str, Planter] = {}

# What any wrong cut may bring with it, whatever went wrong first.
WRONG_CUT = (
    "chip-too-thick chip-too-thin power-over-limit deflection-over-limit stepdown-over-limit plunge-feed "
    "straight-plunge ramp-too-steep helix-too-tight thin-floor thin-wall part-freed rapid-into-stock rapid-clearance "
    "keepout-hit below-spoilboard flute-length-exceeded holder-contact stickout-too-short peck-too-deep feed-over-machine"
)


def planter(kind: str) -> Callable[[Planter], Planter]:
    """Register a kind of fault."""

    def register(function: Planter) -> Planter:
        KINDS[kind] = function
        return function

    return register


def made(
    kind: str,
    clean: Clean,
    steps: Sequence[Step],
    at: Sequence[int],
    rules: str,
    follow: str = "",
    setting: Setting | None = None,
) -> Planted:
    """A planted fault in steps; ``at`` are the steps that hold it."""
    written = write(steps, clean.style, clean.zero)
    lines = tuple(sorted({written.lines[index] for index in at}))
    return Planted(kind, written.text, setting or clean.setting, lines, frozenset(rules.split()), frozenset(follow.split()))


def made_in_text(
    kind: str, clean: Clean, line: int, change: Callable[[str], str], rules: str, follow: str = ""
) -> Planted | None:
    """A planted fault in the text of one line (1-based)."""
    lines = clean.written().text.split("\n")
    new = change(lines[line - 1])
    if new == lines[line - 1]:
        return None
    lines[line - 1] = new
    return Planted(kind, "\n".join(lines), clean.setting, (line,), frozenset(rules.split()), frozenset(follow.split()))


def where(clean: Clean, *roles: str, test: Callable[[Step], bool] = lambda _: True) -> list[int]:
    """Indices of the steps with one of the roles."""
    return [index for index, step in enumerate(clean.steps) if step.role in roles and test(step)]


def places(steps: Sequence[Step]) -> list[tuple[float | None, float | None, float | None]]:
    """The position before each step."""
    at: list[float | None] = [None, None, None]
    out = []
    for step in steps:
        out.append((at[0], at[1], at[2]))
        if step.do == "words" and step.role == "lift":
            at[2] = None
        elif step.do != "drill":
            for axis, value in enumerate((step.x, step.y, step.z)):
                if value is not None:
                    at[axis] = value
        else:
            at[0], at[1] = step.x, step.y
    return out


def changed(steps: Sequence[Step], index: int, **values: object) -> list[Step]:
    """The steps with one of them changed."""
    out = list(steps)
    out[index] = replace(out[index], **values)  # type: ignore[arg-type]
    return out


def without(steps: Sequence[Step], drop: set[int]) -> tuple[list[Step], dict[int, int]]:
    """The steps less some, and where each of the others went."""
    kept = [(index, step) for index, step in enumerate(steps) if index not in drop]
    return [step for _, step in kept], {index: new for new, (index, _) in enumerate(kept)}


def metal(clean: Clean) -> bool:
    """Whether the work is metal."""
    material = clean.setting.material
    return material is not None and material.family in ("aluminium", "copper", "steel", "iron", "titanium")


def wood(clean: Clean) -> bool:
    """Whether the work is wood or board."""
    material = clean.setting.material
    return material is not None and material.family in ("wood", "board")


def thickness(clean: Clean) -> float:
    """Thickness of the stock."""
    assert clean.setting.workpiece is not None
    return clean.setting.workpiece.size[2]


def diameter(clean: Clean, tool: int) -> float:
    """Diameter of a tool."""
    return clean.setting.cutters[tool].diameter


def speed(step: Step) -> float:
    """The S word of a spindle block."""
    return float(re.sub(r"\D", "", step.text.replace("M3", "")))


def hand_change(clean: Clean) -> bool:
    """Whether tools are changed by hand."""
    return clean.setting.machine is not None and clean.setting.machine.change == "hand"


def crossings(clean: Clean) -> list[tuple[int, int]]:
    """Pairs (retract, cross) where the way between lies over uncut stock: holes and slots apart from each other."""
    if clean.kind not in ("helical bores", "slots"):
        return []
    pairs = []
    for index in where(clean, "retract"):
        after = index + 1
        if after < len(clean.steps) and clean.steps[after].role == "cross":
            pairs.append((index, after))
    return pairs


# ------------------------------------------------------------------------------------------- rapids and clearance


@planter("retract left out")
def _no_retract(clean: Clean, chance: random.Random) -> Planted | None:
    pairs = crossings(clean)
    if not pairs:
        return None
    retract, cross = chance.choice(pairs)
    steps, moved = without(clean.steps, {retract})
    return made("retract left out", clean, steps, [moved[cross]], "rapid-into-stock", "rapid-clearance")


@planter("retract too low")
def _low_retract(clean: Clean, chance: random.Random) -> Planted | None:
    pairs = crossings(clean)
    if not pairs:
        return None
    retract, cross = chance.choice(pairs)
    steps = changed(clean.steps, retract, z=chance.choice((0.2, 0.4, 0.6)))
    return made("retract too low", clean, steps, [cross], "rapid-clearance")


@planter("rapid down into stock")
def _rapid_down(clean: Clean, chance: random.Random) -> Planted | None:
    near = where(clean, "near", test=lambda step: step.z == 1.0)
    if not near:
        return None
    index = chance.choice(near)
    steps = changed(clean.steps, index, z=-chance.choice((0.8, 2.0, 3.5)))
    return made("rapid down into stock", clean, steps, [index], "rapid-into-stock", "rapid-clearance")


@planter("G0 instead of G1")
def _g0(clean: Clean, chance: random.Random) -> Planted | None:
    if clean.kind == "3-D":
        return None
    before = places(clean.steps)

    def long(index: int) -> bool:
        step, at = clean.steps[index], before[index]
        if step.do != "line" or at[0] is None or at[1] is None:
            return False
        end = (step.x if step.x is not None else at[0], step.y if step.y is not None else at[1])
        return hypot(end[0] - at[0], end[1] - at[1]) > diameter(clean, step.tool)

    cuts = [index for index in where(clean, "cut", "ramp") if long(index)]
    if not cuts:
        return None
    index = chance.choice(cuts)
    step = clean.steps[index]
    steps = changed(clean.steps, index, do="rapid", feed=None)
    if step.feed is not None and index + 1 < len(steps) and steps[index + 1].do in ("line", "arc"):
        steps[index + 1] = replace(steps[index + 1], feed=steps[index + 1].feed or step.feed)
    return made("G0 instead of G1", clean, steps, [index], "rapid-into-stock", "rapid-clearance stepdown-over-limit")


@planter("move into a clamp")
def _clamp(clean: Clean, _: random.Random) -> Planted | None:
    lifts = where(clean, "retract")
    if not lifts:
        return None
    index = lifts[-1]
    (clamp,) = clean.setting.hold.keepouts
    steps = list(clean.steps)
    steps.insert(index + 1, Step("rapid", -30.0, (clamp.low[1] + clamp.high[1]) / 2, role="planted"))
    return made("move into a clamp", clean, steps, [index + 1], "keepout-hit", "rapid-clearance")


@planter("first move before a lift")
def _first_move(clean: Clean, _: random.Random) -> Planted | None:
    if not hand_change(clean):
        return None
    lift = where(clean, "lift")[0]
    steps, moved = without(clean.steps, {lift})
    cross = where(clean, "cross")[0]
    return made("first move before a lift", clean, steps, [moved[cross]], "first-move-unsafe", "unsafe-tool-change")


@planter("home from the bottom")
def _home(clean: Clean, _: random.Random) -> Planted | None:
    if clean.kind == "drilling":
        return None
    retract, lift = where(clean, "retract")[-1], where(clean, "lift")[-1]
    steps, moved = without(changed(clean.steps, lift, text="G28"), {retract})
    return made("home from the bottom", clean, steps, [moved[lift]], "unsafe-home", "rapid-into-stock dwell-in-cut")


# ------------------------------------------------------------------------------------------------ depth and entry


@planter("pass too deep")
def _too_deep(clean: Clean, chance: random.Random) -> Planted | None:
    limit = clean.facts.get("stepdown-limit", 0.0)
    wanted = limit * chance.uniform(1.2, 1.4)
    if not limit or wanted > thickness(clean) - 1.0 or clean.kind not in ("slots", "groove", "profile with tabs"):
        return None
    cuts = where(clean, "ramp", "cut")
    right = "stepdown-over-limit flute-length-exceeded"
    if clean.kind == "slots":
        touches = where(clean, "touch")
        first = chance.choice(touches) + 1
        steps = changed(clean.steps, first, z=-wanted)
        return made("pass too deep", clean, steps, [first, first + 1], right, WRONG_CUT)
    part = min(clean.steps[index].part for index in cuts)
    steps = list(clean.steps)
    deepest = min(steps[index].z or 0.0 for index in cuts if steps[index].part == part)
    at = []
    for index in cuts:
        step = steps[index]
        if step.part == part and step.z is not None:
            steps[index] = replace(step, z=step.z * wanted / -deepest)
            at.append(index)
    return made("pass too deep", clean, steps, at, right, WRONG_CUT)


@planter("lost decimal point in a depth")
def _lost_point_z(clean: Clean, chance: random.Random) -> Planted | None:
    if clean.style.incremental:
        return None
    zero = clean.zero[2]
    cuts = where(
        clean, "ramp", "cut", "helix", "drill",
        test=lambda step: step.z is not None and step.z < -0.6 and abs(step.z - zero) > 2 and step.z - zero < 0,
    )  # fmt: skip
    if not cuts or zero < -0.5:
        return None
    index = chance.choice(cuts)
    z = clean.steps[index].z
    assert z is not None
    steps = changed(clean.steps, index, z=(z - zero) * 10 + zero)
    rules = "missing-point below-spoilboard outside-travel"
    return made("lost decimal point in a depth", clean, steps, [index], rules, WRONG_CUT)


@planter("lost decimal point in X")
def _lost_point_x(clean: Clean, chance: random.Random) -> Planted | None:
    if clean.style.incremental:
        return None
    zero = clean.zero[0]

    def clear_miss(step: Step) -> bool:
        return step.do == "line" and step.x is not None and abs(step.x - zero) > 30

    cuts = [
        index
        for index in where(clean, "cut", "ramp", test=clear_miss)
        if clean.steps[index + 1].do != "arc" and clean.steps[index + 1].role != "again"
    ]
    if not cuts:
        return None
    index = chance.choice(cuts)
    x = clean.steps[index].x
    assert x is not None
    steps = changed(clean.steps, index, x=(x - zero) * 10 + zero)
    return made("lost decimal point in X", clean, steps, [index], "missing-point outside-travel", WRONG_CUT)


@planter("lost minus in a drilling depth")
def _lost_minus(clean: Clean, _: random.Random) -> Planted | None:
    cycles = where(clean, "drill")
    if not cycles or clean.zero[2] < -0.5:
        return None
    z = clean.steps[cycles[0]].z
    assert z is not None
    if z > -2.5:  # with the sign lost it would still be below R: a hole in the air, and a legal cycle
        return None
    steps = changed(clean.steps, cycles[0], z=2 * clean.zero[2] - z)
    return made("lost minus in a drilling depth", clean, steps, [cycles[0]], "cycle-fault", "missing-point")


@planter("plunge in metal")
def _plunge_metal(clean: Clean, chance: random.Random) -> Planted | None:
    return _plunge("plunge in metal", clean, chance, fast=False) if metal(clean) else None


@planter("plunge at cutting feed")
def _plunge_fast(clean: Clean, chance: random.Random) -> Planted | None:
    return _plunge("plunge at cutting feed", clean, chance, fast=True) if wood(clean) else None


def _plunge(kind: str, clean: Clean, chance: random.Random, *, fast: bool) -> Planted | None:
    parts = sorted({clean.steps[index].part for index in where(clean, "helix")})
    if not parts:
        return None
    part = chance.choice(parts)
    turns = where(clean, "helix", test=lambda step: step.part == part)
    bottom = clean.steps[turns[-1]].z
    top = places(clean.steps)[turns[0]][2]
    assert bottom is not None and top is not None
    tool = clean.steps[turns[0]].tool
    touch = next(index for index in where(clean, "touch") if clean.steps[index].part == part)
    feed = clean.steps[touch].feed or 0.0
    if fast:
        feed = max((step.feed or 0.0) for step in clean.steps if step.role in ("cut", "link", "helix"))
        rpm = speed(clean.steps[where(clean, "spindle")[-1]])
        if feed / rpm < 0.015 * diameter(clean, tool) * 1.2:
            return None
    if top - bottom < 0.3 * diameter(clean, tool):
        return None
    steps = changed(clean.steps, turns[-1], do="line", x=None, y=None, centre=None, feed=feed)
    steps, moved = without(steps, set(turns[:-1]))
    at = moved[turns[-1]]
    following = at + 1
    steps[following] = replace(steps[following], feed=steps[following].feed or clean.steps[turns[0]].feed)
    rules = "plunge-feed straight-plunge" if fast else "straight-plunge"
    return made(kind, clean, steps, [at], rules, WRONG_CUT)


@planter("ramp too steep in metal")
def _steep(clean: Clean, chance: random.Random) -> Planted | None:
    if not metal(clean) or clean.kind != "slots":
        return None
    before = places(clean.steps)
    index = chance.choice(where(clean, "ramp"))
    step = clean.steps[index]
    x, _, z = before[index]
    assert x is not None and z is not None and step.z is not None
    drop = max(z - step.z, 0.15 * diameter(clean, step.tool))
    if z - drop < -thickness(clean) + 1:
        return None
    steps = changed(clean.steps, index, x=x + drop / tan(radians(chance.uniform(12, 25))), z=z - drop)
    steps.insert(index + 1, replace(step, z=None, feed=None))
    return made("ramp too steep in metal", clean, steps, [index], "ramp-too-steep", WRONG_CUT)


@planter("helix pitch too great")
def _pitch(clean: Clean, chance: random.Random) -> Planted | None:
    parts = sorted({clean.steps[index].part for index in where(clean, "helix")})
    if not parts:
        return None
    part = chance.choice(parts)
    turns = where(clean, "helix", test=lambda step: step.part == part)
    top = places(clean.steps)[turns[0]][2]
    bottom = clean.steps[turns[-1]].z
    assert top is not None and bottom is not None
    family = clean.setting.material.family if clean.setting.material else ""
    share = 0.05 if family == "steel" else 0.1 if metal(clean) else 0.5
    if len(turns) < 2 or top - bottom < share * 1.3 * diameter(clean, clean.steps[turns[0]].tool):
        return None
    steps = changed(clean.steps, turns[-1], feed=clean.steps[turns[0]].feed)
    steps, moved = without(steps, set(turns[:-1]))
    return made("helix pitch too great", clean, steps, [moved[turns[-1]]], "helix-too-tight", WRONG_CUT)


@planter("below the spoilboard's allowance")
def _board(clean: Clean, chance: random.Random) -> Planted | None:
    thick = thickness(clean)
    deep = where(clean, "cut", "helix", "drill", "tab-down", test=lambda step: step.z is not None and step.z < -thick)
    if not deep:
        return None
    index = chance.choice(deep)
    z = clean.steps[index].z
    assert z is not None
    steps = changed(clean.steps, index, z=z - chance.uniform(1.5, 3.0))
    return made("below the spoilboard's allowance", clean, steps, [index], "below-spoilboard", WRONG_CUT)


@planter("floor nearly cut through")
def _thin(clean: Clean, _: random.Random) -> Planted | None:
    if clean.kind not in ("pocket", "two tools"):
        return None
    floor = clean.facts["floor"]
    low = where(clean, "helix", "cut", test=lambda step: step.z is not None and abs(step.z - floor) < 1e-6)
    part = clean.steps[low[-1]].part
    steps = list(clean.steps)
    steps[low[-1]] = replace(steps[low[-1]], z=-(thickness(clean) - 0.3))
    at = [index for index, step in enumerate(steps) if step.part == part and step.role in ("helix", "cut", "link")]
    return made("floor nearly cut through", clean, steps, at, "thin-floor", WRONG_CUT)


@planter("tabs left out")
def _tabs(clean: Clean, _: random.Random) -> Planted | None:
    tabs = set(where(clean, "tab", "tab-up"))
    if not tabs:
        return None
    low = min(step.z for step in clean.steps if step.z is not None)
    steps = [replace(step, z=low) if index in tabs else step for index, step in enumerate(clean.steps)]
    part = max(clean.steps[index].part for index in tabs)
    at = [index for index, step in enumerate(clean.steps) if step.part == part]
    # The first ramp beside a tab leaves a wedge; once around, it is cut away too.
    ramp = list(itertools.takewhile(lambda step: step.role == "tab-ramp", steps[at[0] :]))
    after = max(tabs) + 1
    steps[after:after] = [replace(step, z=low, feed=None) for step in ramp]
    at += range(after, after + len(ramp))
    return made("tabs left out", clean, steps, at, "part-freed", WRONG_CUT)


@planter("cutter too short")
def _short(clean: Clean, _: random.Random) -> Planted | None:
    tool, deep = 0, 0.0
    for step in clean.steps:
        if step.z is not None and -step.z > deep and step.tool:
            tool, deep = step.tool, -step.z
    if deep < 6:
        return None
    cutter = clean.setting.cutters[tool]
    short = replace(cutter, stickout=deep * 0.75, flute_length=min(deep * 0.7, cutter.flute_length or 99.0))
    setting = replace(clean.setting, cutters={**clean.setting.cutters, tool: short})
    at = [index for index, step in enumerate(clean.steps) if step.tool == tool]
    rules = "stickout-too-short holder-contact flute-length-exceeded"
    return made("cutter too short", clean, clean.steps, at, rules, WRONG_CUT, setting)


@planter("deep hole without pecks")
def _no_peck(clean: Clean, _: random.Random) -> Planted | None:
    cycles = where(clean, "drill", test=lambda step: step.code == "G83")
    if not cycles:
        return None
    step = clean.steps[cycles[0]]
    deep = min(-(step.z or 0.0), thickness(clean))
    if deep < 3.3 * diameter(clean, step.tool):
        return None
    cycle = tuple(word for word in step.cycle if word[0] != "Q")
    steps = changed(clean.steps, cycles[0], code="G81", cycle=cycle)
    return made("deep hole without pecks", clean, steps, cycles, "peck-too-deep")


@planter("peck cycle without Q")
def _no_q(clean: Clean, _: random.Random) -> Planted | None:
    cycles = where(clean, "drill", test=lambda step: step.code == "G83")
    if not cycles:
        return None
    cycle = tuple(word for word in clean.steps[cycles[0]].cycle if word[0] != "Q")
    steps = changed(clean.steps, cycles[0], cycle=cycle)
    return made("peck cycle without Q", clean, steps, cycles, "cycle-fault missing-word", "peck-too-deep")


@planter("cycle without R")
def _no_r(clean: Clean, _: random.Random) -> Planted | None:
    cycles = where(clean, "drill")
    if not cycles:
        return None
    cycle = tuple(word for word in clean.steps[cycles[0]].cycle if word[0] != "R")
    steps = changed(clean.steps, cycles[0], cycle=cycle)
    return made("cycle without R", clean, steps, cycles, "cycle-fault missing-word dialect-relaxed", WRONG_CUT)


@planter("dwell in the cut")
def _dwell(clean: Clean, chance: random.Random) -> Planted | None:
    if clean.kind not in ("pocket", "slots", "groove", "profile with tabs", "helical bores"):
        return None
    cuts = [
        index
        for index in where(clean, "cut", "helix")
        if clean.steps[index + 1].role in ("cut", "helix") and clean.steps[index + 1].do != "words"
    ]
    if not cuts:
        return None
    index = chance.choice(cuts)
    steps = list(clean.steps)
    steps.insert(index + 1, Step("words", text="G4 P3", role="planted"))
    return made("dwell in the cut", clean, steps, [index + 1], "dwell-in-cut")


# --------------------------------------------------------------------------------------------------- feed and speed


@planter("no feed")
def _no_feed(clean: Clean, _: random.Random) -> Planted | None:
    first = next(index for index, step in enumerate(clean.steps) if step.feed is not None)
    if clean.steps[first].do == "drill":
        return None
    steps = changed(clean.steps, first, feed=None)
    return made("no feed", clean, steps, [first], "no-feed")


def feed_span(clean: Clean, index: int) -> list[int]:
    """The steps that run at the feed given in a step."""
    out = [index]
    for after in range(index + 1, len(clean.steps)):
        if clean.steps[after].feed is not None:
            break
        out.append(after)
    return out


@planter("a nought too many in F")
def _fast(clean: Clean, chance: random.Random) -> Planted | None:
    cuts = where(clean, "cut", "link", "helix", "ramp", test=lambda step: step.feed is not None)
    if not cuts:
        return None
    index = chance.choice(cuts)
    steps = changed(clean.steps, index, feed=(clean.steps[index].feed or 0.0) * 10)
    rules = "feed-over-machine chip-too-thick power-over-limit plunge-feed missing-point"
    return made("a nought too many in F", clean, steps, feed_span(clean, index), rules, WRONG_CUT + " feed-not-reached")


@planter("a nought missing in every F")
def _slow(clean: Clean, _: random.Random) -> Planted | None:
    foam = clean.setting.material is not None and clean.setting.material.family == "foam"  # cuts at any chip
    if clean.kind in ("drilling", "two tools") or foam:
        return None
    steps = [replace(step, feed=step.feed / 10) if step.feed is not None else step for step in clean.steps]
    at = where(clean, "cut", "link", "helix", "ramp", "finish")
    return made("a nought missing in every F", clean, steps, at, "chip-too-thin unit-mix-up")


@planter("spindle not started after a change")
def _no_spindle(clean: Clean, _: random.Random) -> Planted | None:
    starts = where(clean, "spindle")
    if len(starts) < 2:
        return None
    steps, moved = without(clean.steps, {starts[1]})
    at = [moved[i] for i, step in enumerate(clean.steps) if i > starts[1] and step.do not in ("words", "note")]
    return made("spindle not started after a change", clean, steps, at, "spindle-off-in-cut", "no-chip-clearing")


@planter("spindle stopped too early")
def _stopped(clean: Clean, chance: random.Random) -> Planted | None:
    if clean.kind in ("drilling", "facing"):
        return None
    near = where(clean, "near")
    if not near:
        return None
    index = chance.choice(near)
    steps = list(clean.steps)
    steps.insert(index, Step("words", text="M5", role="planted"))
    at = [i for i in range(index, len(steps)) if steps[i].do in ("line", "arc")]
    return made("spindle stopped too early", clean, steps, at, "spindle-off-in-cut")


@planter("spindle the wrong way")
def _wrong_way(clean: Clean, _: random.Random) -> Planted | None:
    starts = where(clean, "spindle")
    steps = changed(clean.steps, starts[0], text=clean.steps[starts[0]].text.replace("M3", "M4"))
    return made("spindle the wrong way", clean, steps, range(starts[0], len(steps)), "spindle-wrong-way")


@planter("spindle speed too high")
def _too_fast(clean: Clean, _: random.Random) -> Planted | None:
    starts = where(clean, "spindle")
    step = clean.steps[starts[0]]
    rpm = speed(step)
    assert clean.setting.machine is not None
    if rpm * 3 < clean.setting.machine.spindle_max * 1.1:
        return None
    steps = changed(clean.steps, starts[0], text=f"S{rpm * 3:.0f} M3")
    rules = "spindle-out-of-range cutter-over-speed"
    return made("spindle speed too high", clean, steps, range(starts[0], len(steps)), rules, WRONG_CUT)


@planter("spindle speed a nought short")
def _too_slow(clean: Clean, _: random.Random) -> Planted | None:
    starts = where(clean, "spindle")
    step = clean.steps[starts[0]]
    rpm = speed(step)
    steps = changed(clean.steps, starts[0], text=f"S{rpm / 10:.0f} M3")
    rules = "spindle-out-of-range chip-too-thick plunge-feed"
    return made("spindle speed a nought short", clean, steps, range(starts[0], len(steps)), rules, WRONG_CUT)


@planter("dry in aluminium")
def _dry(clean: Clean, _: random.Random) -> Planted | None:
    if clean.setting.material is None or clean.setting.material.family != "aluminium":
        return None
    if {"air", "extraction"} & set(clean.setting.machine.chip_clearing if clean.setting.machine else ()):
        return None
    steps, moved = without(clean.steps, set(where(clean, "coolant", "coolant-off")))
    at = [new for index, new in moved.items() if clean.steps[index].do not in ("words", "note")]
    return made("dry in aluminium", clean, steps, at, "no-chip-clearing")


@planter("tool change with the spindle turning")
def _turning(clean: Clean, _: random.Random) -> Planted | None:
    stops = where(clean, "stop")
    if len(stops) < 2 or not hand_change(clean):
        return None
    change = next(index for index in where(clean, "change") if index > stops[0])
    steps, moved = without(clean.steps, {stops[0]})
    rules = "unsafe-tool-change"
    return made("tool change with the spindle turning", clean, steps, [moved[change]], rules, "spindle-no-settle")


@planter("no length offsets")
def _no_length(clean: Clean, _: random.Random) -> Planted | None:
    if len(clean.setting.cutters) < 2 or where(clean, "wait"):  # at a stop the tool may be touched off
        return None
    steps, moved = without(clean.steps, set(where(clean, "length")))
    return made("no length offsets", clean, steps, list(moved.values()), "length-offset-missing", WRONG_CUT)


@planter("tool not in the table")
def _unknown_tool(clean: Clean, _: random.Random) -> Planted | None:
    change = where(clean, "change")[0]
    tool = clean.steps[change].tool
    steps = changed(clean.steps, change, text=clean.steps[change].text.replace(f"T{tool}", "T19"))
    return made("tool not in the table", clean, steps, range(change, len(steps)), "cutter-unknown", WRONG_CUT)


@planter("wrong units")
def _units(clean: Clean, _: random.Random) -> Planted | None:
    written = clean.written()
    upper, lower = ("G20", "g20") if clean.style.inch else ("G21", "g21")
    other = {"G20": "G21", "g20": "g21", "G21": "G20", "g21": "g20"}
    text = written.text.replace(upper, other[upper], 1) if upper in written.text else written.text
    if text == written.text:
        text = written.text.replace(lower, other[lower], 1)
    lines = tuple(range(1, len(written.text.splitlines()) + 1))
    follow = WRONG_CUT + " outside-travel keepout-hit missing-point dwell-in-cut air-cutting cycle-fault"
    return Planted("wrong units", text, clean.setting, lines, frozenset({"unit-mix-up"}), frozenset(follow.split()))


# --------------------------------------------------------------------------------------------------- the language


TextTest = Callable[[str], bool]


def motion_line(clean: Clean, chance: random.Random, *roles: str, test: TextTest = lambda _: True) -> int | None:
    """The line of a random motion step."""
    written = clean.written()
    lines = written.text.split("\n")
    found = [
        written.lines[index]
        for index in where(clean, *roles, test=lambda step: step.do in ("line", "arc"))
        if test(lines[written.lines[index] - 1])
    ]
    return chance.choice(found) if found else None


# What cannot be read or judged from there on may hide other things; it must not bring errors of its own.
LOST = "arc-mismatch arc-impossible missing-word no-feed unused-word " + WRONG_CUT


@planter("unreadable word")
def _unreadable(clean: Clean, chance: random.Random) -> Planted | None:
    line = motion_line(clean, chance, "cut", "link", "ramp", "helix", "finish")
    if line is None:
        return None
    bad = chance.choice((" X1.2.3", " Y--2", " Z1..5", " X+-3", " &", " Y1.5.", " X@5"))
    rules = "unreadable-block missing-word bad-value odd-characters"
    return made_in_text("unreadable word", clean, line, lambda text: text + bad, rules, LOST + " repeated-word")


@planter("unknown code")
def _unknown_code(clean: Clean, chance: random.Random) -> Planted | None:
    index = chance.choice(where(clean, "cross", "cut"))
    steps = list(clean.steps)
    steps.insert(index, Step("words", text=chance.choice(("G77", "G6", "G35", "M77", "G122", "G17.5")), role="planted"))
    return made("unknown code", clean, steps, [index], "unknown-code unsupported-code", LOST)


@planter("two motion codes")
def _two_codes(clean: Clean, chance: random.Random) -> Planted | None:
    has_g1 = re.compile(r"[gG]0?1(?!\d)")
    line = motion_line(clean, chance, "cut", "link", "ramp", test=lambda text: bool(has_g1.search(text)))
    if line is None:
        return None

    def change(text: str) -> str:
        return re.sub(r"([gG]0?1)(?!\d)", r"G0 \1", text, count=1)

    return made_in_text("two motion codes", clean, line, change, "conflicting-codes", LOST)


@planter("a word twice")
def _twice(clean: Clean, chance: random.Random) -> Planted | None:
    line = motion_line(clean, chance, "cut", "link", "ramp", "helix", test=lambda text: "X" in text.upper())
    if line is None:
        return None

    def change(text: str) -> str:
        found = re.search(r"[xX]-?[\d.]+", text)
        return f"{text} {found[0]}" if found else text

    return made_in_text("a word twice", clean, line, change, "repeated-word", LOST)


@planter("division by nought")
def _division(clean: Clean, chance: random.Random) -> Planted | None:
    line = motion_line(clean, chance, "cut", "link", "ramp", "finish", test=lambda text: "X" in text.upper())
    if line is None:
        return None

    def change(text: str) -> str:
        return re.sub(r"([xX])-?[\d.]+", r"\1[1/0]", text, count=1)

    return made_in_text("division by nought", clean, line, change, "expression-fault bad-value", LOST)


@planter("arc centre off")
def _centre(clean: Clean, chance: random.Random) -> Planted | None:
    if clean.style.radius_arcs:
        return None
    before = places(clean.steps)

    def open_arc(index: int) -> bool:
        step, at = clean.steps[index], before[index]
        if step.do != "arc" or step.x is None or step.y is None or at[0] is None or at[1] is None:
            return False
        return hypot(step.x - at[0], step.y - at[1]) > 2

    arcs = [index for index in where(clean, "cut", "ramp", "tab") if open_arc(index)]
    if not arcs:
        return None
    index = chance.choice(arcs)
    step = clean.steps[index]
    assert step.centre is not None and step.x is not None and step.y is not None
    start = before[index]
    assert start[0] is not None and start[1] is not None
    # Along the chord, so that the two radii really differ.
    chord = hypot(step.x - start[0], step.y - start[1])
    share = chance.choice((0.2, 0.35, -0.3))
    centre = (
        step.centre[0] + (step.x - start[0]) / chord * share * chord,
        step.centre[1] + (step.y - start[1]) / chord * share * chord,
    )
    steps = changed(clean.steps, index, centre=centre)
    return made("arc centre off", clean, steps, [index], "arc-mismatch", WRONG_CUT)


@planter("arc radius too small")
def _radius(clean: Clean, chance: random.Random) -> Planted | None:
    if not clean.style.radius_arcs:
        return None
    line = motion_line(clean, chance, "cut", "ramp", test=lambda text: re.search(r"[rR][\d.]+", text) is not None)
    if line is None:
        return None

    def change(text: str) -> str:
        return re.sub(r"([rR])([\d.]+)", lambda found: f"{found[1]}{float(found[2]) * 0.02:.4f}", text, count=1)

    return made_in_text("arc radius too small", clean, line, change, "arc-impossible", WRONG_CUT)


@planter("call of what is not there")
def _call(clean: Clean, chance: random.Random) -> Planted | None:
    index = chance.choice(where(clean, "cross"))
    steps = list(clean.steps)
    steps.insert(index, Step("words", text="M98 P4711", role="planted"))
    rules = "subprogram-fault unknown-code unsupported-code"
    return made("call of what is not there", clean, steps, [index], rules, LOST)


@planter("no end")
def _no_end(clean: Clean, _: random.Random) -> Planted | None:
    if clean.style.percent:  # a second percent sign ends a program just as well
        return None
    end = where(clean, "end")
    steps, _moved = without(clean.steps, set(end))
    return made("no end", clean, steps, range(len(steps)), "no-program-end")


# ------------------------------------------------------------------------------------------------------ counting


@dataclass
class Tally:
    """What was counted."""

    clean: int = 0
    clean_errors: Counter[str] = field(default_factory=Counter)
    clean_warnings: Counter[str] = field(default_factory=Counter)
    programs_with_error: int = 0
    programs_with_warning: int = 0
    rule_looks: Counter[str] = field(default_factory=Counter)
    planted: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    strays: Counter[str] = field(default_factory=Counter)
    missed: list[str] = field(default_factory=list)
    alarms: list[str] = field(default_factory=list)
    stray_places: list[str] = field(default_factory=list)

    @property
    def share(self) -> float:
        """Share of all planted faults that were found."""
        return sum(self.found.values()) / max(1, sum(self.planted.values()))

    @property
    def looked(self) -> float:
        """Mean share of rules that really looked at the clean programs."""
        from advisor.rules import book

        return sum(self.rule_looks.values()) / max(1, self.clean * len(book()))


def serious(report: ProgramReport) -> list[Finding]:
    """Errors and warnings."""
    return [finding for finding in report.findings if finding.severity in ("error", "warning")]


def caught(report: ProgramReport, fault: Planted) -> bool:
    """Whether a right rule has a finding on a line of the fault."""
    return any(
        finding.rule in fault.rules and any(finding.line <= line <= max(finding.line, finding.end_line) for line in fault.lines)
        for finding in report.findings
    )


def check(text: str, setting: Setting, name: str) -> ProgramReport:
    """The report on a program."""
    return check_program(text.encode("ascii"), path=name, setting=setting)


def from_run(clean: Clean, chance: random.Random, tally: Tally, plants: int) -> Iterator[tuple[str, Planted]]:
    """Faults to plant in a program: the kinds that were planted least come first."""
    order = sorted(KINDS, key=lambda kind: (tally.planted[kind], chance.random()))
    count = 0
    for kind in order:
        if count >= plants:
            return
        fault = KINDS[kind](clean, chance)
        if fault is not None:
            count += 1
            yield kind, fault


def campaign(programs: int, seed: int, plants: int, say: Callable[[str], None] = lambda _: None) -> Tally:
    """Run it."""
    from advisor.rules import book

    tally = Tally()
    every = set(book())
    for index, clean in enumerate(clean_programs(programs, seed)):
        chance = random.Random(f"faults {seed}/{index}")
        name = f"program-{index}.ngc"
        report = check(clean.written().text, clean.setting, name)
        tally.clean += 1
        unchecked = {item.rule for item in report.not_checked}
        tally.rule_looks.update(every - unchecked)
        alarms = serious(report)
        tally.programs_with_error += any(finding.severity == "error" for finding in alarms)
        tally.programs_with_warning += any(finding.severity == "warning" for finding in alarms)
        for finding in alarms:
            counter = tally.clean_errors if finding.severity == "error" else tally.clean_warnings
            counter[finding.rule] += 1
            tally.alarms.append(f"{describe(clean, index)}: {finding.rule} line {finding.line}: {finding.message}")
        known = {finding.rule for finding in alarms}
        for kind, fault in from_run(clean, chance, tally, plants):
            told = check(fault.text, fault.setting, name)
            tally.planted[kind] += 1
            if caught(told, fault):
                tally.found[kind] += 1
            else:
                others = [f"{f.rule}@{f.line}-{f.end_line}" for f in told.findings][:6]
                tally.missed.append(f"{kind}: {describe(clean, index)} lines {fault.lines[:3]}..: {others}")
            for finding in serious(told):
                if finding.rule not in fault.rules | fault.follow | known:
                    tally.strays[f"{kind}: {finding.rule}"] += 1
                    tally.stray_places.append(
                        f"{kind}: {describe(clean, index)}: {finding.rule} line {finding.line}: {finding.message}"
                    )
        say(f"{index + 1}/{programs}")
    return tally


def describe(clean: Clean, index: int) -> str:
    """A program in few words."""
    setting = clean.setting
    machine = setting.machine.name if setting.machine else "?"
    material = setting.material.name if setting.material else "?"
    cutters = "+".join(cutter.name for cutter in setting.cutters.values())
    return f"#{index} {clean.kind}, {material}, {machine}, {cutters}"


def table(tally: Tally) -> str:
    """The counts as a table."""
    rows = [f"{'planted fault':42}{'planted':>8}{'found':>7}{'share':>8}"]
    for kind in KINDS:
        planted, found = tally.planted[kind], tally.found[kind]
        share = f"{100 * found / planted:.1f} %" if planted else "-"
        rows.append(f"{kind:42}{planted:8}{found:7}{share:>8}")
    planted, found = sum(tally.planted.values()), sum(tally.found.values())
    rows.append(f"{'all':42}{planted:8}{found:7}{100 * tally.share:7.1f} %")
    rows += [
        "",
        f"clean programs: {tally.clean}; with an error: {tally.programs_with_error}; "
        f"with a warning: {tally.programs_with_warning}",
        f"errors on clean programs: {dict(tally.clean_errors)}",
        f"warnings on clean programs: {dict(tally.clean_warnings)}",
        f"rules that really looked at a clean program: {100 * tally.looked:.1f} %",
        f"findings the fault did not cause: {sum(tally.strays.values())} in {planted} programs",
    ]
    rows += [f"    {count:4} {name}" for name, count in tally.strays.most_common(15)]
    return "\n".join(rows)


def main(arguments: Sequence[str] | None = None) -> int:
    """The long form."""
    parser = argparse.ArgumentParser(description="plant faults in clean programs and count what is found")
    parser.add_argument("--programs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plants", type=int, default=8, help="faults planted in each program")
    parser.add_argument("--show", action="store_true", help="also print each miss, false alarm and stray finding")
    chosen = parser.parse_args(arguments)
    start = time.perf_counter()

    def say(text: str) -> None:
        print(f"\r{text}", end="", file=sys.stderr, flush=True)

    tally = campaign(chosen.programs, chosen.seed, chosen.plants, say)
    print(file=sys.stderr)
    print(table(tally))
    print(f"{time.perf_counter() - start:.0f} s")
    if chosen.show:
        for title, lines in (
            ("missed", tally.missed), ("false alarms", tally.alarms), ("not caused", tally.stray_places),
        ):  # fmt: skip
            print(f"\n{title}:")
            print("\n".join(f"  {line}" for line in lines))
    return 0


if __name__ == "__main__":
    sys.exit(main())
