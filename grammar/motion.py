"""Actions that move axes: straight moves, arcs, machine coordinates, home, probe, cycles (3.5.1 to 3.5.3, 3.5.8 to 3.5.16)."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from grammar import cycles, lexicon, path
from grammar.lexicon import AXES, OFFSET_LETTERS, PLANE_AXES, code_name
from grammar.moves import Flag, Gap, Kind
from grammar.parse import Reject
from grammar.path import NEAR
from grammar.state import AxisWords, CycleCall, Plain

if TYPE_CHECKING:
    from grammar.interpret import Machine

NAN = math.nan


def straight(m: Machine, v: list[float], plain: Plain) -> None:
    to = m.target(v, plain.axes, plain.absolute)
    if plain.kind == Kind.RAPID:
        m.move(Kind.RAPID, to)
    else:
        feed, minutes = m.feed()
        m.move(Kind.FEED, to, 0, feed, minutes)


def machine_straight(m: Machine, v: list[float], plain: Plain) -> None:
    to = list(m.pos)
    declared = m.state_now.system in m.declared
    flags = int(Flag.MACHINE)
    for axis, slot, unit in plain.axes:
        value = v[slot] * unit
        if axis == 2:
            value -= m.length
            if m.length:
                m.unclear("bad-value", "G53: Z is taken as where the gauge point goes; the standard does not say whether it or"
                          " the tip is meant while a length offset is in force", "Write G49 before it.", "Z")
        if axis < 3 and not declared:
            value = NAN
        to[axis] = value
        if axis == 2 and value != value:
            flags |= Flag.HIGH_Z
    go_unknown(m, Kind.RAPID if plain.kind == Kind.RAPID else Kind.FEED, tuple(to), flags)


def go_unknown(m: Machine, kind: Kind, to: tuple[float, ...], flags: int) -> None:
    """A move to a point of which some axes may be unknown."""
    feed, minutes = (NAN, NAN) if kind == Kind.RAPID else m.feed()
    m.move(kind, to, flags, feed, minutes, always=any(value != value for value in to))
    m.high = bool(flags & Flag.HIGH_Z) or (m.high and to[2] != to[2])
    lost = dict(m.lost)
    for axis in range(3):
        if to[axis] != to[axis]:
            lost.setdefault(axis, ("unknown-position", "a move in machine coordinates; the offsets are not declared",
                                   m.block))
    m.lost = lost


def home(m: Machine, v: list[float], code: int, axes: AxisWords, absolute: bool, named: str,
            scale: float) -> None:
    m.event("home", code_name("G", code))
    flags = int(Flag.HOME)
    all_axes = not named or not m.dialect.allows("named-axes-home")
    if not all_axes:
        m.relaxed("named-axes-home")
    lifted = m.high
    if axes:
        before = m.pos[2]
        m.move(Kind.RAPID, m.target(v, axes, absolute), flags)
        lifted = lifted or m.pos[2] > before
    if (all_axes or set(named) & set("XY")) and not lifted:
        flags |= Flag.BARE_HOME
    to_list = list(m.pos)
    declared = m.state_now.system in m.declared
    base = lexicon.HOME[code]
    for axis in range(6) if all_axes else [AXES.index(c) for c in named]:
        stored = m.parameters.values.get(base + axis, 0.0 if m.strict or axis > 2 else NAN)
        value = stored * (scale if axis < 3 else 1.0) - (m.length if axis == 2 else 0.0)
        to_list[axis] = value if declared or axis > 2 else NAN
        if axis == 2 and to_list[2] != to_list[2]:
            flags |= Flag.HIGH_Z
    go_unknown(m, Kind.RAPID, tuple(to_list), flags)


def circular(m: Machine, v: list[float], plain: Plain) -> None:
    to = m.target(v, plain.axes, plain.absolute)
    centre = arc_centre(m, v, plain, m.pos, to)
    feed, minutes = m.feed()
    arc_move(m, to, centre, plain, 0, feed, minutes)


def arc_move(m: Machine, to: tuple[float, ...], centre: tuple[float, float, float], plain: Plain, flags: int, feed: float,
             minutes: float) -> None:
    """Record an arc; one whose ends meet is a full circle."""
    m.move(Kind.ARC, to, flags, feed, minutes, always=True)
    m.record.arcs.append((len(m.record) - 1, *centre, plain.sense, plain.plane))


def arc_centre(m: Machine, v: list[float], plain: Plain, start: tuple[float, ...], to: tuple[float, ...]
               ) -> tuple[float, float, float]:
    """The centre of an arc. Raises Reject where there is none."""
    a, b, _ = PLANE_AXES[plain.plane]
    centre = [start[0], start[1], start[2]]
    name = "G2" if plain.sense < 0 else "G3"
    least = m.arc_least
    if plain.radius is not None:
        radius = v[plain.radius[0]] * plain.radius[1]
        if radius == 0:
            raise Reject("arc-impossible", f"{name}: the radius is 0", "Write the true radius.", "R")
        if abs(to[a] - start[a]) <= NEAR and abs(to[b] - start[b]) <= NEAR:
            raise Reject("arc-impossible", f"{name} with R ends where it begins: any circle would fit",
                         "Write a full circle with the offsets of its centre, or as two half circles.", name)
        ca, cb, over = path.centre_from_radius(start[a], start[b], to[a], to[b], radius, plain.sense)
        if over > least + m.arc_ratio * abs(radius) + 1e-6:
            raise Reject("arc-impossible",
                         f"{name}: the ends are {2 * (over + abs(radius)):.4f} mm apart, farther than twice the radius of"
                         f" {abs(radius):.4f} mm", "Check the end point and R.", "R",
                         measured=float(2 * (over + abs(radius))), limit=float(2 * abs(radius)), unit="mm")
        centre[a], centre[b] = float(ca), float(cb)
        return centre[0], centre[1], centre[2]
    base = m.shift if plain.centre_absolute else start
    for axis, slot, unit in plain.offsets:
        centre[axis] = base[axis] + v[slot] * unit
    first, last = path.radii(start[a], start[b], to[a], to[b], centre[a], centre[b])
    limit = least + m.arc_ratio * first
    if first == 0:
        raise Reject("arc-impossible", f"{name}: the centre is the start point, the radius is 0",
                     "Check the offsets of the centre.", name)
    if abs(first - last) > limit + 1e-6:
        if not m.strict and not plain.centre_absolute:
            _try_positions(m, v, plain, start, to, limit)
        raise Reject("arc-mismatch",
                     f"{name}: the start is {first:.4f} mm from the centre, the end {last:.4f} mm; no circle goes through"
                     " both", "Check the end point, and the offsets from the start point to the centre.", name,
                     measured=float(abs(first - last)), limit=float(limit), unit="mm")
    return centre[0], centre[1], centre[2]


def _try_positions(m: Machine, v: list[float], plain: Plain, start: tuple[float, ...], to: tuple[float, ...], limit: float
                   ) -> None:
    """Count arcs that fit neither as written nor with I J K as positions, and those that fit only with positions."""
    a, b, _ = PLANE_AXES[plain.plane]
    centre = list(m.shift[:3])
    for axis, slot, unit in plain.offsets:
        centre[axis] += v[slot] * unit
    first, last = path.radii(start[a], start[b], to[a], to[b], centre[a], centre[b])
    fits = abs(first - last) <= limit + 1e-6 and first > NEAR
    m.misfits = (m.misfits[0] if m.misfits[1] else m.block, m.misfits[1] + 1, m.misfits[2] + int(fits))


def pocket(m: Machine, v: list[float], sense: int, slots: dict[str, int], scale: float) -> None:
    """G12, G13: a round pocket from its centre, out to radius I, on by steps of Q to radius K, and back to the centre."""
    name = "G12" if sense < 0 else "G13"
    first = v[slots["I"]] * scale
    last = v[slots["K"]] * scale if "K" in slots else first
    step = v[slots["Q"]] * scale if "Q" in slots else max(last - first, 0.0)
    if not first > 0 or last < first or (last > first and not step > 0):
        raise Reject("bad-value", f"{name}: the radii I {first:g} and K {last:g} and the step Q {step:g} mm do not make a"
                     " pocket", "Write I and K above 0, K not below I, and Q above 0.", name)
    own = 0.0
    if "D" in slots:
        own = m.start.diameters.get(m.whole("D", v[slots["D"]]), NAN) / 2
    if own != own:
        m.gaps.append(Gap("compensation", f"{name}: the diameter of D is not declared; the pocket's path is not known",
                          m.block + 1, m.block + 1, "xy"))
        return
    if last > first and (last - first) / step > 10_000:
        raise Reject("bad-value", f"{name}: steps of {step:g} mm would be far too many", "Check Q.", "Q", measured=step)
    if first <= own:
        raise Reject("compensation-fault", f"{name}: the cutter of radius {own:g} mm does not fit into radius {first:g} mm",
                     "Use a smaller cutter.", name, measured=own, limit=first, unit="mm")
    feed, minutes = m.feed()
    x, y, *rest = m.pos
    circle = Plain(Kind.ARC, (), True, -1, 1.0, sense, 17)
    radius = first
    while True:
        m.move(Kind.FEED, (x + radius - own, y, *rest), 0, feed, minutes)
        arc_move(m, m.pos, (x, y, rest[0]), circle, 0, feed, minutes)
        if radius >= last:
            break
        radius = min(radius + step, last)
    m.move(Kind.FEED, (x, y, *rest), 0, feed, minutes)


def probe(m: Machine, v: list[float], axes: AxisWords, absolute: bool, spindle: str) -> None:
    to = m.target(v, axes, absolute)
    if any(abs(to[a] - m.pos[a]) > 1e-9 for a in (3, 4, 5)):
        raise Reject("bad-value", "G38.2: a rotary axis cannot turn while probing", "Take A, B and C out.", "G38.2")
    far = math.sqrt(sum((to[a] - m.pos[a]) ** 2 for a in range(3)))
    if far < 0.254 - 1e-9:
        raise Reject("bad-value", f"G38.2: the point is {far:.4f} mm away; at least 0.254 mm (0.01 in) is needed",
                     "Probe towards a point farther away.", "G38.2", measured=far, limit=0.254, unit="mm")
    if spindle != "off":
        m.refuse_or_tell("conflicting-codes", "G38.2: the spindle turns while the probe is used",
                            "Write M5 before it.", "G38.2")
    feed, _ = m.feed()
    m.event("probe", code_name("G", 382))
    m.move(Kind.PROBE, (*to[:3], *m.pos[3:]), 0, feed)
    for axis in range(6):
        unit = m.feed_unit if axis < 3 else 1.0
        value = (m.pos[axis] - m.shift[axis]) / unit
        m.set_parameter(lexicon.PROBED + axis, value if m.strict else NAN)
    if not m.strict:  # a reader cannot know where it touches
        m.lose({a for a, _, _ in axes if a < 3}, "unknown-position", "the probe stops where it touches")


def cycle(m: Machine, v: list[float], c: CycleCall) -> None:
    first, second, normal = PLANE_AXES[c.plane]
    name = code_name("G", c.code)

    def bad(message: str, fix: str, at: str = name, **numbers: Any) -> Reject:
        return Reject("cycle-fault", f"{name}: {message}", fix, at, **numbers)

    sticky = dict(m.sticky) if not c.first else {}
    if not c.same and not m.dialect.allows("cycle-words-kept"):
        sticky = {}
    depth_letter = AXES[normal]
    for letter, slot in c.stored:
        value = v[slot]
        if letter == "P" and value < 0:
            raise bad("the dwell is negative", "Write P with the seconds to wait.", "P")
        if letter == "Q" and not value > 0:
            raise bad("the peck Q must be more than 0", "Write Q with the depth of a peck.", "Q")
        sticky[letter] = value * (c.scale if letter != "P" else 1.0)
    m.sticky = sticky
    repeats = 1
    if c.repeats >= 0:
        value = v[c.repeats]
        repeats = round(value) if abs(value) < 1e9 else 0
        if value == 0 and m.dialect.allows("zero-repeats"):
            m.relaxed("zero-repeats")
            return
        if abs(value - repeats) > lexicon.WHOLE_TOLERANCE or repeats < 1:
            raise bad(f"the number of repeats must be a positive whole number, not {value:g}",
                      "Write L with a whole number of 1 or more.", "L")
    if not c.run:
        return
    for axis, slot, _ in c.rotary:
        if abs(m.target(v, ((axis, slot, 1.0),), c.absolute)[axis] - m.pos[axis]) > 1e-9:
            raise bad("a rotary axis cannot turn in a cycle", "Turn the axis in a block before it.", AXES[axis])
    here = m.pos
    if c.first:
        m.old_z = here[normal]
    base = m.shift[normal] if c.absolute else (here[normal] if m.strict else m.old_z)
    if "R" in sticky:
        retract = base + sticky["R"]
    else:
        retract = here[normal]
    bottom = (m.shift[normal] if c.absolute else retract) + sticky[depth_letter]
    if retract < bottom - 1e-9:
        raise bad(f"the retract level {retract - m.shift[normal]:g} is below the bottom"
                  f" {bottom - m.shift[normal]:g}", f"Check R and {depth_letter}.", "R",
                  measured=retract - m.shift[normal], limit=bottom - m.shift[normal], unit="mm")
    old = m.old_z
    clear = old if c.cycle_return == 98 and (old > retract or old != old) else retract
    high = m.high if old != old and normal == 2 else False
    if c.cycle_return == 98 and max(old, retract) != max(here[normal], retract):
        m.unclear("cycle-fault", f"{name}: G98 returns to {AXES[normal]} before the first cycle of the row; the standard could"
                  " also mean the level before this block", "Write G80 and a rapid between them.", "G98")
    if c.code == 880:
        m.unclear("cycle-fault", "G88: how far the operator retracts is not known; the clear level is taken",
                  "Move to a known level in the block after it.", name)
    level = 0.0
    if c.code == 870:
        if not set("IJK") <= {letter for letter, _ in c.stored}:
            m.unclear("cycle-fault", "G87: I, J or K is carried over from the block before; the standard does not say that it"
                      " may be", "Write I, J and K again.", name)
        k = sticky[OFFSET_LETTERS[normal]]
        level = (m.shift[normal] if c.absolute else bottom) + k
        if level < bottom:
            m.fault("cycle-fault", "G87: the level K lies below the bottom Z, so nothing is bored on the way up",
                    "Check K and Z.", severity="warning", at="G87", once=("cycle-fault", "G87 K"))
    feed, _ = m.feed()
    gap = m.dialect.value("peck_gap_mm")
    peck = sticky.get("Q", 0.0)
    if c.code in (830, 730) and (retract - bottom) / peck * repeats > m.bounds.moves:
        raise bad(f"pecks of {peck:g} mm would be far too many", "Check Q.", "Q", measured=peck)
    at = list(here)

    def go(kind: Kind, point: tuple[float, float, float], flags: int) -> None:
        at[first], at[second], at[normal] = point
        if point[2] != point[2] and high:
            flags |= Flag.HIGH_Z
        m.move(kind, tuple(at), int(flags) | Flag.CYCLE, NAN if kind == Kind.RAPID else feed)
        if point[2] != point[2]:
            m.high = high

    if here[normal] < retract:
        go(Kind.RAPID, (here[first], here[second], retract), 0)
    for _ in range(repeats):
        recorded = len(m.record)
        present = m.pos
        spot = m.target(v, c.hole, c.absolute)
        go(Kind.RAPID, (spot[first], spot[second], present[normal]), 0)
        go(Kind.RAPID, (spot[first], spot[second], retract), 0)
        hole = cycles.Hole(
            c.code, spot[first], spot[second], retract, bottom, clear, sticky.get("P", 0.0), peck, gap, c.spindle,
            (sticky.get(OFFSET_LETTERS[first], 0.0), sticky.get(OFFSET_LETTERS[second], 0.0)), level)
        for step in cycles.steps(hole):
            if step[0] in "rf":
                go(Kind.RAPID if step[0] == "r" else Kind.FEED, step[1], step[2])
            elif step[0] == "dwell":
                m.dwell(step[1])
            elif step[0] == "spindle":
                m.event("spindle", step[1])
                m.state_now = m.state_now._replace(spindle=step[1])
            else:
                m.event("stop", 0.0, "the operator retracts by hand")
                at[normal] = clear  # how far nobody can know; taken as far as the clear level
                m.pos = tuple(at)
        if len(m.record) == recorded:
            break  # nothing moves here, and nothing would in a further repeat
