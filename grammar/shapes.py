"""The bulk reader: runs of plain motion blocks carried out as arrays.

``grammar.scan`` finds each line's shape and numbers; each shape has one template, each (state, template) one ``Step``
(``grammar.step``). Where the step is *plain* (one straight or circular move whose numbers come from the line) a whole run
of lines is resolved at once here; every line that asks for more, or whose numbers would be refused, is left to
``Machine.resolve``. The reader without this module is the twin it is tested against: both give the same ``Program``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from grammar.moves import Event, Kind
from grammar.scan import OTHER, Lines, compiled

if TYPE_CHECKING:
    from collections.abc import Callable

    from grammar.interpret import Machine
    from grammar.parse import Template
    from grammar.state import Step

LONGEST = 200  # bytes of a line
LEAST_RUN = 8  # shorter runs are quicker line by line
_UNKNOWN, _NOT_PLAIN = -1, -2
_FIELDS = 16  # integers that describe a plain move for the kernel, see _describe


def walk(shape: Any, at: int, stop: int, state: int, following: Any, combos: Any, out: Any) -> tuple[int, int]:
    """Follow the discrete state over lines whose step is known and plain; ``out`` receives each line's combination,
    -1 for blank lines. Returns the first line not followed and the state before it."""
    i = at
    while i < stop:
        s = shape[i]
        if s == -2:
            out[i - at] = -1
        else:
            if s < 0 or following[state, s] < 0:
                break
            out[i - at] = combos[state, s]
            state = following[state, s]
        i += 1
    return i, state


def carry_out(
    combo: Any, first: Any, numbers: Any, fields: Any, scales: Any, pos: Any, shift: Any, f: float, unit: float,
    tolerance: float, ratio: float, near: float, kind: Any, line: Any, used: Any, end: Any, feed: Any, arc: Any, centre: Any,
    feeds: Any,
) -> tuple[int, int, int, int, float]:
    """Resolve the lines of a run one after the other.

    ``fields`` and ``scales`` describe each combination (see ``_describe``). Fills, per recorded move, kind, line, used
    (combination), end (n, 3) and feed; per arc its move and centre (k, 3) in arc and centre; per new feed its line and
    number of the next move in feeds (k, 2). Stops before the first line whose numbers ask for a closer look. Returns
    (lines done, moves, arcs, new feeds, F in force).
    """
    moves = arcs = fs = 0
    to = np.empty(3)
    c = np.empty(3)
    for i in range(len(combo)):
        k = combo[i]
        if k < 0:
            continue
        base = first[i]
        what = fields[k, 0]
        slot = fields[k, 1]
        new_f = f
        if slot >= 0:
            new_f = numbers[base + slot]
            if not (0.0 < new_f < 1e12):
                return i, moves, arcs, fs, f
        new = new_f != f
        if what != 0 and not new_f > 0.0:
            return i, moves, arcs, fs, f
        absolute = fields[k, 2] == 1
        same = True
        for a in range(3):
            to[a] = pos[a]
            slot = fields[k, 3 + a]
            if slot >= 0:
                value = numbers[base + slot] * scales[k, a]
                to[a] = shift[a] + value if absolute else pos[a] + value
                if math.isinf(to[a]):
                    return i, moves, arcs, fs, f
            if not (to[a] == pos[a] or (to[a] != to[a] and pos[a] != pos[a])):
                same = False
        if what == 2:
            p = fields[k, 6]
            q = fields[k, 7]
            for a in range(3):
                c[a] = pos[a]
            if fields[k, 11] >= 0:
                radius = numbers[base + fields[k, 11]] * scales[k, 6]
                da = to[p] - pos[p]
                db = to[q] - pos[q]
                half = math.sqrt(da * da + db * db) / 2
                height2 = radius * radius - half * half
                if not (height2 >= 0.0) or radius == 0.0 or (abs(da) <= near and abs(db) <= near):
                    return i, moves, arcs, fs, f
                side = fields[k, 12] if radius > 0 else -fields[k, 12]
                scale = side * math.sqrt(height2) / (2 * half)
                c[p] = (pos[p] + to[p]) / 2 - db * scale
                c[q] = (pos[q] + to[q]) / 2 + da * scale
            else:
                for a in range(3):
                    slot = fields[k, 8 + a]
                    if slot >= 0:
                        value = numbers[base + slot] * scales[k, 3 + a]
                        c[a] = shift[a] + value if fields[k, 13] == 1 else pos[a] + value
                ra = pos[p] - c[p]
                rb = pos[q] - c[q]
                ea = to[p] - c[p]
                eb = to[q] - c[q]
                begin = math.sqrt(ra * ra + rb * rb)
                finish = math.sqrt(ea * ea + eb * eb)
                if not (begin > 0.0) or not (abs(begin - finish) <= tolerance + ratio * begin):
                    return i, moves, arcs, fs, f
        f = new_f
        if new:
            feeds[fs, 0] = i
            feeds[fs, 1] = moves
            fs += 1
        if same and what != 2:
            continue
        if what == 2:
            arc[arcs] = moves
            for a in range(3):
                centre[arcs, a] = c[a]
            arcs += 1
        kind[moves] = what
        line[moves] = i
        used[moves] = k
        feed[moves] = f * unit if what != 0 else np.nan
        for a in range(3):
            end[moves, a] = to[a]
            pos[a] = to[a]
        moves += 1
    return len(combo), moves, arcs, fs, f


class Bulk:
    """The runs of one program. ``template_of(line)`` gives a line's template and the relaxations it leans on."""

    def __init__(
        self, lines: Lines, machine: Machine, template_of: Callable[[int], tuple[Template, tuple[str, ...]]]
    ) -> None:
        self.lines = lines
        self.machine = machine
        self.template_of = template_of
        self.templates: dict[int, tuple[Template, tuple[str, ...]]] = {}
        shapes = max(1, len(self.lines.founder))
        self.following = np.full((8, shapes), _UNKNOWN, dtype=np.int32)
        self.combos = np.full((8, shapes), -1, dtype=np.int32)
        self.made: list[tuple[Step, int]] = []  # each combination's step and shape
        self.fields = np.full((16, _FIELDS), -1, dtype=np.int32)
        self.scales = np.ones((16, 7))
        self.walk, self.carry_out = compiled(walk), compiled(carry_out)
        # Lines long enough to be told as such are for the plain reader; so is all that is not plain words.
        self.lines.shape[self.lines.end - self.lines.start > LONGEST] = OTHER
        self.stops = np.append(np.flatnonzero(self.lines.shape == OTHER), len(self.lines.shape))

    def ready(self, at: int) -> bool:
        """Whether a run of some length may begin at line ``at`` in the present state."""
        m = self.machine
        if m.lost or m.high or self.lines.shape[at] < 0:
            return False
        return self._stop(at) - at >= LEAST_RUN

    def _stop(self, at: int) -> int:
        """The first line from ``at`` on that is not plain words."""
        return int(self.stops[np.searchsorted(self.stops, at)])

    def run(self, at: int) -> tuple[int, list[tuple[Template, int]], int]:
        """Carry out as many lines from ``at`` on as are plain. Returns (lines done, templates with the line each was
        first used in, blocks run); 0 lines where the first is for ``Machine.resolve``."""
        m = self.machine
        stop = self._stop(at)
        out = np.empty(stop - at, dtype=np.int32)
        done, state = at, m.state_id
        self._make_room(state)
        while True:
            done, state = self.walk(self.lines.shape, done, stop, state, self.following, self.combos, out[done - at :])
            if done == stop or self.lines.shape[done] < 0 or not self._learn(state, int(self.lines.shape[done])):
                break
        if done - at < LEAST_RUN:
            return 0, [], 0
        return self._resolve(at, out[: done - at])

    def _make_room(self, state: int) -> None:
        """Rows in the tables for a state."""
        if state >= len(self.following):
            grown = max(2 * len(self.following), state + 1)
            for name, fill in (("following", _UNKNOWN), ("combos", -1)):
                old = getattr(self, name)
                new = np.full((grown, old.shape[1]), fill, dtype=np.int32)
                new[: len(old)] = old
                setattr(self, name, new)

    def _learn(self, state: int, shape: int) -> bool:
        """Work out the step of a shape in a state; False where it isn't plain."""
        if self.following[state, shape] != _UNKNOWN:
            return False
        if shape not in self.templates:
            self.templates[shape] = self.template_of(int(self.lines.founder[shape]))
        template, _ = self.templates[shape]
        step = self.machine.language.step(state, template) if template.values is None and not template.delete else None
        if step is None or step.plain is None or step.reject is not None or any(a[0] > 2 for a in step.plain.axes):
            self.following[state, shape] = _NOT_PLAIN
            return False
        combo = len(self.made)
        self.made.append((step, shape))
        if combo >= len(self.fields):
            self.fields = np.concatenate([self.fields, np.full_like(self.fields, -1)])
            self.scales = np.concatenate([self.scales, np.ones_like(self.scales)])
        self._describe(combo, step)
        self._make_room(step.state)
        self.following[state, shape] = step.state
        self.combos[state, shape] = combo
        return True

    def _describe(self, combo: int, step: Step) -> None:
        """Fields: 0 kind (0 rapid, 1 feed, 2 arc), 1 slot of F, 2 absolute, 3-5 slots of X Y Z, 6-7 the plane's axes,
        8-10 slots of I J K, 11 slot of R, 12 sense, 13 absolute centre. Scales: 0-2 axes, 3-5 offsets, 6 radius."""
        from grammar.lexicon import PLANE_AXES

        plain = step.plain
        assert plain is not None
        row, scale = self.fields[combo], self.scales[combo]
        row[0] = {Kind.RAPID: 0, Kind.FEED: 1, Kind.ARC: 2}[plain.kind]
        row[1] = plain.feed
        row[2] = plain.absolute
        for axis, slot, unit in plain.axes:
            row[3 + axis], scale[axis] = slot, unit
        row[6], row[7], _ = PLANE_AXES[plain.plane]
        for axis, slot, unit in plain.offsets:
            row[8 + axis], scale[3 + axis] = slot, unit
        if plain.radius is not None:
            row[11], scale[6] = plain.radius
        row[12] = plain.sense
        row[13] = plain.centre_absolute

    def _resolve(self, at: int, combo: NDArray[np.int32]) -> tuple[int, list[tuple[Template, int]], int]:
        from grammar.record import NEAR

        m, n = self.machine, len(combo)
        states = m.language.states
        inch = m.state_now.units == 20
        room = m.bounds.moves - len(m.record)
        tolerance = m.dialect.value("arc_tolerance_inch_mm" if inch else "arc_tolerance_mm")
        if m.state_now.feed_mode != 94 or room < n:
            return 0, [], 0
        kind, line = np.empty(n, dtype=np.int8), np.empty(n, dtype=np.int32)
        used, end = np.empty(n, dtype=np.int32), np.empty((n, 3))
        feed, arc = np.empty(n), np.empty(n, dtype=np.int32)
        centre, feeds = np.empty((n, 3)), np.empty((n, 2), dtype=np.int64)
        before = np.array(m.pos[:3])
        pos = before.copy()
        done, moves, arcs, fs, f = self.carry_out(
            combo, self.lines.first[at : at + n], self.lines.numbers, self.fields, self.scales, pos, np.array(m.shift[:3]),
            m.f if m.f is not None else -1.0, m.feed_unit, tolerance, m.dialect.value("arc_tolerance_ratio"), NEAR, kind, line,
            used, end, feed, arc, centre, feeds,
        )  # fmt: skip
        if done == 0:
            return 0, [], 0
        combo = combo[:done]
        # Each combination in the order of its first use: modes, templates and relaxations are told as line by line.
        first_line = {k: at + i for k, i in _first_uses(combo, len(self.made)).items()}
        order = sorted(first_line, key=first_line.__getitem__)
        mode_of = np.zeros(len(self.made), dtype=np.int32)
        for k in _first_uses(used[:moves], len(self.made)):
            m.state_now = states[self.made[k][0].state]
            mode_of[k] = m.mode()
        base = len(m.record)
        numbers, firsts = self.lines.numbers, self.lines.first
        for i, move in feeds[:fs].tolist():
            slot = int(self.fields[combo[i], 1])
            m.events.append(Event("feed", at + i, base + move, float(numbers[firsts[at + i] + slot])))
        if moves:
            senses, planes = self.fields[:, 12], np.array(
                [s.plain.plane if s.plain is not None else 17 for s, _ in self.made], dtype=np.int32
            )
            arc_used = used[arc[:arcs]]
            m.record.extend(
                kind=kind[:moves], block=line[:moves] + at, call=m.call, mode=mode_of[used[:moves]], frame=m.frame(),
                before=before, end=end[:moves], feed=feed[:moves], arc=arc[:arcs], centre=centre[:arcs],
                sense=senses[arc_used], plane=planes[arc_used],
            )  # fmt: skip
            m.pos = (float(pos[0]), float(pos[1]), float(pos[2]), *m.pos[3:])
        if fs:
            m.f = float(f)
        last = int(combo[np.flatnonzero(combo >= 0)[-1]])
        m.state_id = self.made[last][0].state
        m.state_now = states[m.state_id]
        m.block = at + done - 1
        for k in order:
            step, shape = self.made[k]
            m.block = first_line[k]
            for option in (*self.templates[shape][1], *step.relaxed):
                m.relaxed(option)
        m.block = at + done - 1
        templates = [(self.templates[self.made[k][1]][0], first_line[k]) for k in order]
        return done, templates, int((combo >= 0).sum())


def _first_uses(used: NDArray[np.int32], most: int) -> dict[int, int]:
    """Where each combination is used first, in that order; blank lines (below 0) left out."""
    there = np.flatnonzero(np.bincount(used[used >= 0], minlength=most))
    found = {int(k): int(np.argmax(used == k)) for k in there}
    return dict(sorted(found.items(), key=lambda item: item[1]))
