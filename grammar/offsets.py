"""Actions of coordinate systems and offsets: G43, G49, G52, G54 to G59.3, G10, G92 (3.5.5, 3.5.11, 3.5.13, 3.5.18)."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from grammar import lexicon
from grammar.lexicon import SYSTEMS
from grammar.moves import Flag
from grammar.parse import Reject
from grammar.state import AxisWords

if TYPE_CHECKING:
    from grammar.interpret import Machine

NAN = math.nan


def length(m: Machine, v: list[float], slot: int) -> None:
    if slot >= 0:
        number = m.whole("H", v[slot])
        if m.strict and number > m.start.slots:
            raise Reject("bad-value", f"there is no tool slot {number}", f"Use a slot from 0 to {m.start.slots}.", "H")
    else:
        number = m.tool if m.tool is not None else 0
    undeclared = NAN if m.dialect.allows("undeclared-length") else 0.0
    length = 0.0 if number == 0 and (m.strict or slot >= 0) else m.start.lengths.get(number, undeclared)
    if length != length and m.length_number == number and m.length != m.length:
        return
    set_length(m, length, number)


def length_off(m: Machine, v: list[float]) -> None:
    if m.length != 0.0 or m.length_number is not None:
        set_length(m, 0.0, None)


def set_length(m: Machine, length: float, number: int | None) -> None:
    """Change the length offset: the gauge point stays, the tip's coordinate changes (2.1.2.3)."""
    x, y, z, *rest = m.pos
    m.pos = (x, y, z + m.length - length, *rest)
    if m.pos[2] != m.pos[2] and z == z:
        m.lost = {**m.lost, 2: ("unknown-position", "a tool length that is not declared was applied", m.block)}
    m.length, m.length_number = length, number
    m.frame_id = -1
    m.event("length-offset", None if number is None else float(number))


def system(m: Machine, v: list[float], system: int, scale: float) -> None:
    origin = list(m.origins[system - 1])
    base = lexicon.ORIGINS + 20 * (system - 1)
    for axis in range(6):
        if base + axis in m.parameters.fresh:
            origin[axis] = m.parameters.values[base + axis] * (scale if axis < 3 else 1.0)
            m.parameters.fresh.discard(base + axis)
            m.declared |= {system}
    m.origins = (*m.origins[: system - 1], tuple(origin), *m.origins[system:])
    m.set_parameter(lexicon.SELECTED, float(system))
    before = m.language.states[m.state_id].system
    m.set_shift(system)
    if system != before and not {system, before} <= m.declared and m.first_system:
        m.lose({0, 1, 2} & {a for a in range(3) if m.pos[a] == m.pos[a]}, "unknown-position",
                  f"where {SYSTEMS[system - 1]} lies from {SYSTEMS[before - 1]} is not declared")
    m.event("system", SYSTEMS[system - 1])


def origin(m: Machine, v: list[float], key: int, place: int, axes: AxisWords, scale: float) -> None:
    kind, number = v[key], v[place]
    present = abs(kind - 20) <= lexicon.WHOLE_TOLERANCE and m.dialect.allows("shift-to-position")
    if abs(kind - 2) > lexicon.WHOLE_TOLERANCE and not present:
        raise Reject("bad-value", f"G10 L{kind:g} is not in the language", "Write G10 L2.", "L")
    system = round(number) if abs(number) < 100 else 0
    if present and system == 0:
        system = m.state_now.system
    if not 1 <= system <= 9 or abs(number - round(number)) > lexicon.WHOLE_TOLERANCE:
        raise Reject("bad-value", f"G10 P{number:g}: coordinate systems are numbered 1 to 9", "Use P1 to P9.", "P")
    origin = list(m.origins[system - 1])
    base = lexicon.ORIGINS + 20 * (system - 1)
    for axis, slot, unit in axes:
        value = v[slot] * unit
        if present:
            at = m.pos[axis]
            value = at - value - m.g92[axis] - m.local[axis] if at == at else origin[axis]
        origin[axis] = value
        m.set_parameter(base + axis, value / unit)
        m.parameters.fresh.discard(base + axis)
        if present and m.pos[axis] != m.pos[axis]:
            to = list(m.pos)
            to[axis] = origin[axis] + m.g92[axis] + m.local[axis] + v[slot] * unit
            m.pos = tuple(to)
            m.found(m.pos)
    m.origins = (*m.origins[: system - 1], tuple(origin), *m.origins[system:])
    if system == m.state_now.system:
        m.set_shift(system)
    m.event("shift", f"G10 {SYSTEMS[system - 1]}")


def shift(m: Machine, v: list[float], axes: AxisWords, scale: float) -> None:
    g92, to, moved = list(m.g92), list(m.pos), list(m.g92_moved)
    touched = m.strict or _touched(m)
    origin = m.origins[m.state_now.system - 1]
    for axis, slot, unit in axes:
        wanted = v[slot] * unit
        if to[axis] == to[axis]:
            g92[axis] = to[axis] - origin[axis] - m.local[axis] - wanted
            moved[axis] = 0.0 if touched else g92[axis]
        else:
            g92[axis] = -origin[axis] - m.local[axis]
            to[axis], moved[axis] = wanted, 0.0
    m.pos = tuple(to)
    m.found(m.pos)
    m.g92 = m.g92_kept = tuple(g92)
    m.g92_moved = tuple(moved)
    for axis in range(6):
        m.set_parameter(lexicon.SHIFTS + axis, g92[axis] / (scale if axis < 3 else 1.0))
        m.parameters.fresh.discard(lexicon.SHIFTS + axis)
    m.set_shift(m.state_now.system)
    m.event("shift", "G92")


def _touched(m: Machine) -> bool:
    """Whether the place is not one of the program's own: the machine was stopped since its last move, so that the operator
    may have gone to a new zero by hand, or that move was in machine coordinates or to the reference point."""
    if m.record.rows and m.record.rows[-1][5] & (Flag.HOME | Flag.MACHINE):
        return True
    for event in reversed(m.events):
        if event.move < len(m.record):
            return False
        if event.kind in ("stop", "tool-change"):
            return True
    return False


def shift_clear(m: Machine, v: list[float], parameters: bool) -> None:
    m.g92 = (0.0,) * 6
    if parameters:
        m.g92_kept = m.g92_moved = m.g92
        for axis in range(6):
            m.set_parameter(lexicon.SHIFTS + axis, 0.0)
            m.parameters.fresh.discard(lexicon.SHIFTS + axis)
    m.set_shift(m.state_now.system)
    m.event("shift", "G92.1" if parameters else "G92.2")


def shift_restore(m: Machine, v: list[float], scale: float) -> None:
    kept = list(m.g92_kept)
    for axis in range(6):
        index = lexicon.SHIFTS + axis
        if index in m.parameters.fresh or (index in m.parameters.values and not any(m.g92_kept)):
            kept[axis] = m.parameters.values[index] * (scale if axis < 3 else 1.0)
    m.g92 = m.g92_kept = tuple(kept)
    m.set_shift(m.state_now.system)
    m.event("shift", "G92.3")


def local_shift(m: Machine, v: list[float], axes: AxisWords, scale: float) -> None:
    local = list(m.local)
    for axis, slot, unit in axes:
        local[axis] = v[slot] * unit
    m.local = tuple(local)
    m.set_shift(m.state_now.system)
    m.event("shift", "G52")
