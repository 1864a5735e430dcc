"""The state machine: block by block, in the standard's order of execution (NISTIR 6556 3.8, Table 8).

There is one state machine, in two halves. ``Language.step(state id, template)`` (grammar.step) decides everything that
does not depend on numbers, once for each pair, and gives a ``Step``: the id of the next discrete state and a row of
actions, functions of grammar.words, offsets, motion and compensation. ``Machine.resolve(step, numbers)`` carries the
actions out for one block: all of it, or, where a number is refused (``Reject``), nothing.

How a bulk reader uses them on runs of blocks:

1. One template a shape (``Templates.of``), one step a (state, template). ``step.plain`` is None unless the block is one
   straight or circular move in G94 with no comment, no expression, no compensation and no other code; then the block
   does nothing but take F (``plain.feed``, the slot of its number, -1 for none) and make the move, and the state after
   it differs from the state before at most in the motion code. The steps of a run follow by
   ``state = step.state``; a run ends at the first step whose ``plain`` is None.
2. ``Plain`` says where each number goes: ``axes`` (axis, slot, scale), ``absolute``, and for arcs ``offsets``,
   ``radius``, ``sense``, ``plane``. An absolute end is ``machine.shift[axis] + number * scale``, an incremental one
   ``position + number * scale``, in that order of operations, so that both readers agree to the last bit; an axis
   without a word keeps its position. The feed of a move is F times ``machine.feed_unit``.
3. Whatever the block-by-block way would tell or refuse must be left to ``Machine.resolve``: a negative or missing F on a
   cutting move, a number beyond 1e12, an arc outside ``machine.arc_limits`` and ``arc_ratio``, a zero radius, an end at
   the start in radius format, any rotary word, and every block while ``machine.lost`` or ``machine.high`` is set.
   Stop the run before such a block and go on after it.
4. Moves in which no axis moves are left out; arcs are never left out. Hand finished stretches to
   ``machine.record.extend`` and put ``pos``, ``f``, ``state_id``, ``state_now`` and ``block`` of the machine right;
   an F word that changes the feed is an ``Event`` of kind "feed" at its block.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NoReturn

from grammar import lexicon, path
from grammar.dialect import Dialect, reasons
from grammar.evaluate import Parameters
from grammar.lexicon import AXES, SYSTEMS, code_name
from grammar.moves import Bounds, Call, EndState, Event, Fault, Flag, Frame, Gap, Kind, Mode, Start
from grammar.parse import Reject
from grammar.record import Recorder
from grammar.state import INCH, NO_MOTION, AxisWords, CycleCall, Plain, State, Step
from grammar.step import Language, language

NAN = math.nan

__all__ = ["CycleCall", "Language", "Machine", "Plain", "State", "Step", "Stop", "language", "path"]


class Stop(Exception):  # noqa: N818 - an end, not an error
    """Following the program ends here."""


_SAVED = ("pos", "f", "rpm", "tool", "selected", "shift", "origins", "g92", "g92_kept", "g92_moved", "local", "length",
          "length_number", "comp", "sticky", "high", "old_z", "lost", "declared", "ended", "first_system", "moved_in")


class Machine:
    """The numeric part of the machine's state, and the record of what it does.

    Positions are tip coordinates (mm) and rotary angles without offsets (degrees); NaN is unknown. Attributes named in
    ``_SAVED`` hold values that are replaced, never changed in place, so that a refused block is taken back by putting
    the old ones back.
    """

    def __init__(self, dialect: Dialect, start: Start, bounds: Bounds) -> None:
        self.dialect, self.start, self.bounds = dialect, start, bounds
        self.strict = dialect.name == "strict"
        self.language = language(dialect, bounds.brackets)
        self.parameters = Parameters(_start_parameters(start), strict=self.strict,
                                     many=dialect.allows("many-parameters"))
        self.record = Recorder()
        self.events: list[Event] = []
        self.faults: list[Fault] = []
        self.gaps: list[Gap] = []
        self.told: dict[tuple[str, ...], None] = {}
        self.block = 0
        self.line = ""
        self.comments: tuple[tuple[int, int], ...] = ()  # of the present line
        self.call = 0
        self.record.calls.append(Call(-1, -1, ""))
        self.journal: list[tuple[int, float | None, bool]] = []  # what a refused block takes back
        self.mode_key: tuple[Any, ...] = (None,) * 6
        self.mode_id = 0
        self.frame_id = -1
        self.state_id = 0
        mode = start.mode
        system = SYSTEMS.index(mode.system) + 1
        chosen = start.parameters.get(lexicon.SELECTED)
        if chosen is not None:
            if chosen in range(1, 10):
                system = int(chosen)
            else:
                self.fault("bad-value", f"parameter 5220 is {chosen:g}: no coordinate system has that number",
                           "Give parameter 5220 a number from 1 to 9.", severity="error")
        motion = round(float(mode.motion[1:]) * 10) if mode.motion else NO_MOTION
        self.state = State(
            motion, int(mode.plane[1:]), int(mode.units[1:]), int(mode.distance[1:]), int(mode.feed_mode[1:]),
            int(mode.compensation[1:]), int(mode.length_offset[1:]), system, round(float(mode.path[1:]) * 10),
            int(mode.cycle_return[1:]), mode.spindle, mode.mist, mode.flood, mode.overrides)
        self.state_id = self.language.id_of(self.state)
        unit = INCH if self.state.units == 20 else 1.0
        self.origins: tuple[tuple[float, ...], ...] = tuple(
            (*start.origins.get(name, (0.0, 0.0, 0.0)), 0.0, 0.0, 0.0) for name in SYSTEMS)
        self.declared = frozenset(i + 1 for i, name in enumerate(SYSTEMS) if self.strict or name in start.origins)
        for n in range(9):
            for axis in range(6):
                value = start.parameters.get(lexicon.ORIGINS + 20 * n + axis)
                if value is not None:
                    row = list(self.origins[n])
                    row[axis] = value * (unit if axis < 3 else 1.0)
                    self.origins = (*self.origins[:n], tuple(row), *self.origins[n + 1 :])
                    self.declared |= {n + 1}
        for n, row_ in enumerate(self.origins):
            for axis, value in enumerate(row_):
                if value:
                    self.parameters.values[lexicon.ORIGINS + 20 * n + axis] = value / (unit if axis < 3 else 1.0)
        zero = (0.0,) * 6
        self.g92: tuple[float, ...] = zero
        self.g92_kept: tuple[float, ...] = zero
        self.g92_moved: tuple[float, ...] = zero  # the part of g92_kept on axes whose position was known
        self.local: tuple[float, ...] = zero
        self.shift: tuple[float, ...] = self.origins[system - 1]
        self.length = 0.0
        self.length_number: int | None = mode.length_number
        self.comp: Any = ()  # grammar.compensation.Comp while radius compensation is on
        self.goal = (-1, math.nan, math.nan)  # the block compensated last, and its programmed end
        self.f: float | None = start.feed / unit if start.feed is not None else None
        self.rpm = start.speed
        self.tool: int | None = start.tool if start.tool is not None else mode.tool
        self.selected: int | None = mode.selected
        self.pos: tuple[float, ...] = tuple(NAN if p is None else p for p in (*start.position, 0.0, 0.0, 0.0)[:6])
        self.high = False
        self.old_z = NAN
        self.sticky: dict[str, float] = {}
        self.lost: dict[int, tuple[str, str, int]] = {}
        self.ended = False
        self.first_system = 0
        self.moved_in: frozenset[int] = frozenset()
        self.tool_word_counts: Callable[[], bool] = lambda: False
        self.arc_limits = (dialect.value("arc_tolerance_mm"), dialect.value("arc_tolerance_inch_mm"))
        self.arc_ratio = dialect.value("arc_tolerance_ratio")
        self.move_limit = bounds.moves
        self.misfits = (0, 0, 0)  # first block, arcs that do not fit, those of them that fit with I J K as positions
        self.state_now = self.state
        self.feed_unit = INCH if self.state.units == 20 else 1.0


    def fault(self, rule: str, message: str, fix: str = "", *, severity: str = "", at: str | int | None = None,
              once: tuple[str, ...] | None = None, **numbers: Any) -> None:
        """Note a fault at the present block; with ``once`` at most once for that key."""
        if once is not None:
            if once in self.told:
                return
            self.told[once] = None
        self.faults.append(Fault(rule, severity or "error", 0, 0 if not isinstance(at, int) else at + 1,
                                 message if at is None or isinstance(at, int) else f"\x00{at}\x00{message}", fix,
                                 measured=numbers.get("measured"), limit=numbers.get("limit"), unit=numbers.get("unit"),
                                 block=self.block))

    def unclear(self, rule: str, message: str, fix: str, at: str) -> None:
        """Warn once, in strict, of what the standard leaves open and how it is taken here."""
        if self.strict:
            self.fault(rule, message, fix, severity="warning", at=at, once=(rule, message))

    def event(self, kind: str, value: float | str | None = None, text: str = "") -> None:
        """Note an event."""
        self.events.append(Event(kind, self.block, len(self.record), value, text))

    def mode(self) -> int:
        """The number of the mode in force."""
        key = self.mode_key
        if (key[0] is not self.state_now or key[1] != self.rpm or key[2] != self.tool or key[3] != self.selected
                or key[4] != self.length_number or key[5] is not self.comp):
            self.mode_key = (self.state_now, self.rpm, self.tool, self.selected, self.length_number, self.comp)
            self.mode_id = self.record.mode(self.describe(self.state_now))
        return self.mode_id

    def describe(self, s: State) -> Mode:
        """The modal state in the words of ``Mode``."""
        return Mode(
            tool=self.tool, selected=self.selected, spindle=s.spindle, rpm=self.rpm, mist=s.mist, flood=s.flood,
            motion="" if s.motion < 0 else code_name("G", s.motion), plane=f"G{s.plane}", units=f"G{s.units}",
            distance=f"G{s.distance}", feed_mode=f"G{s.feed_mode}", compensation=f"G{s.compensation}",
            compensation_number=self.comp[0] if self.comp else None, length_offset=f"G{s.length}",
            length_number=self.length_number if s.length == 43 else None, system=SYSTEMS[s.system - 1],
            path=code_name("G", s.path), cycle_return=f"G{s.cycle_return}", overrides=s.overrides)

    def frame(self) -> int:
        """The number of the frame in force."""
        if self.frame_id < 0:
            system = self.state_now.system
            if not self.first_system:
                self.first_system = system
            known = system == self.first_system or system in self.declared
            sx, sy, sz, ra, rb, rc = self.shift
            x, y, z = (c + (k if g else 0.0) for c, k, g in zip(self.local[:3], self.g92_moved[:3], self.g92[:3], strict=True))
            self.frame_id = self.record.frame(
                Frame(SYSTEMS[system - 1], (sx, sy, sz), known, self.length, (ra, rb, rc), (x, y, z)))
        return self.frame_id

    def move(self, kind: Kind, to: tuple[float, ...], flags: int = 0, feed: float = NAN, minutes: float = NAN,
             *, always: bool = False) -> bool:
        """Record a move to ``to`` and go there; False where no axis moves. Unknown to unknown is no move."""
        at = self.pos
        if not always and (to == at or all(a == b or (a != a and b != b) for a, b in zip(at, to, strict=True))):
            return False
        if self.high and to[2] != to[2]:
            flags |= Flag.HIGH_Z
        if kind not in (Kind.RAPID, Kind.ARC) and math.isnan(minutes) and self.feed_unit != 1.0 and at[:3] == to[:3]:
            feed /= self.feed_unit  # degrees a minute
        n = self.room()
        self.record.rows.append((kind, self.block, self.call, self.mode(), self.frame(), flags, at[0], at[1], at[2],
                                 to[0], to[1], to[2], feed, minutes))
        if at[3:] != to[3:]:
            if not self.record.rotary and any(at[3:]):
                self.record.rotary.append((0, at[3], at[4], at[5]))
            self.record.rotary.append((n, to[3], to[4], to[5]))
        self.pos = to
        if self.lost:
            self.found(to)
        if self.high and to[2] == to[2]:
            self.high = False
        return True

    def tidy(self) -> None:
        """Between blocks: pack the moves made so far, so that a long program keeps to little memory."""
        if not self.comp and len(self.record.rows) > 50_000:
            self.record.pack()

    def runaway(self, message: str, limit: int | None = None) -> NoReturn:
        """Stop following the program."""
        self.fault("runaway-program", f"{message}; following it stops here",
                   "Look for a loop that never ends or a repeat count that is too large.",
                   measured=None if limit is None else float(limit + 1), limit=None if limit is None else float(limit))
        raise Stop

    def fingerprint(self) -> str:
        """Everything a loop may change, as text."""
        p = self.parameters
        return repr((self.pos, self.state_id, self.f, self.rpm, self.tool, self.selected, self.shift, self.length,
                     len(self.record), p.values, p.names, p.locals))

    def room(self) -> int:
        """The number of the next move. Ends the program where no more may be made."""
        n = len(self.record)
        if n >= self.move_limit:
            self.runaway(f"the program makes more than {self.move_limit} moves", self.move_limit)
        return n

    def found(self, to: tuple[float, ...]) -> None:
        """Axes known again end their gap."""
        for axis in [a for a in self.lost if to[a] == to[a]]:
            lost = dict(self.lost)
            cause, reason, block = lost.pop(axis)
            self.lost = lost
            self.gaps.append(Gap(cause, reason, block + 1, self.block + 1, AXES[axis].lower()))

    def lose(self, axes: set[int], cause: str, reason: str) -> None:
        """Axes become unknown."""
        self.pos = tuple(NAN if a in axes else p for a, p in enumerate(self.pos))
        lost = dict(self.lost)
        for axis in axes:
            lost.setdefault(axis, (cause, reason, self.block))
        self.lost = lost
        if 2 in axes:
            self.high = False

    def resolve(self, step: Step, numbers: list[float]) -> None:
        """Carry a step out. Raises Reject, with everything as it was, where a number is refused."""
        # A plain move is refused before it changes anything but F; all else may have changed much by then.
        saved = [getattr(self, name) for name in (_SAVED if step.plain is None else ("f",))]
        marks = self.record.marks()
        events, journal, gaps = len(self.events), len(self.journal), len(self.gaps)
        faults, told = len(self.faults), len(self.told)
        if step.state != self.state_id:
            self.take_state(step.state)
        try:
            for method, arguments in step.actions:
                method(self, numbers, *arguments)
        except Reject:
            for name, value in zip(_SAVED if step.plain is None else ("f",), saved, strict=True):
                setattr(self, name, value)
            self.record.truncate(marks)
            del self.events[events:], self.gaps[gaps:], self.faults[faults:]
            while len(self.told) > told:
                self.told.popitem()
            while len(self.journal) > journal:
                index, old, known = self.journal.pop()
                if not known:
                    self.parameters.written.discard(index)
                if old is None:
                    self.parameters.values.pop(index, None)
                else:
                    self.parameters.values[index] = old
            self.take_state(self.state_id)
            self.frame_id = -1
            raise
        self.state_id = step.state
        self.journal.clear()

    def take_state(self, state: int) -> None:
        """Put a discrete state in force."""
        self.state_now = self.language.states[state]
        self.feed_unit = INCH if self.state_now.units == 20 else 1.0

    def set_parameter(self, index: int, value: float) -> None:
        """Set a parameter so that a refused block can take it back."""
        store = self.parameters
        self.journal.append((index, store.values.get(index), index in store.written))
        store.values[index] = value
        if index != lexicon.SELECTED:
            store.written.add(index)

    def whole(self, letter: str, value: float) -> int:
        """A value that must be whole and not negative (3.3.2.1, Table 14)."""
        if value != value:
            raise Reject("bad-value", f"the value of {letter} is not known here",
                         "Set the parameters it depends on before this block.", letter)
        number = round(value) if abs(value) < 1e9 else -1
        if number < 0 or abs(value - number) > lexicon.WHOLE_TOLERANCE:
            raise Reject("bad-value", f"{letter}{value:g}: a whole number is wanted, not a negative one",
                         f"Write {letter} with a whole number.", letter)
        return number

    def dwell(self, seconds: float) -> None:
        """Wait where the tool is."""
        self.room()
        self.event("dwell", seconds)
        at = self.pos
        self.record.rows.append((Kind.DWELL, self.block, self.call, self.mode(), self.frame(), 0, at[0], at[1], at[2],
                                 at[0], at[1], at[2], NAN, seconds / 60.0))

    def relaxed(self, option: str) -> None:
        """Tell once that the program leans on a relaxation."""
        if ("relaxed", option) not in self.told:
            self.told["relaxed", option] = None
            self.fault("dialect-relaxed", f"{option.replace('-', ' ')}: {reasons(self.dialect.name)[option]}",
                       "Nothing needs to be done if the machine takes it.", severity="note")


    def set_shift(self, system: int) -> None:
        """Work the shift out anew: origin of the system, G92 and local shifts."""
        origin = self.origins[system - 1]
        self.shift = tuple(o + g + c for o, g, c in zip(origin, self.g92, self.local, strict=True))
        self.frame_id = -1

    def feed(self, plain_kind: Kind = Kind.FEED) -> tuple[float, float]:
        """(feed in mm/min, minutes) of a cutting move. Raises Reject in strict where there is none."""
        f = self.f
        mode = self.state_now.feed_mode
        if not f:
            message = "the move has no feed: no F came before it" if f is None else "the feed is 0: nothing would move"
            if self.strict or mode == 93:
                raise Reject("no-feed", message, "Write F with the feed in this block or before it.")
            self.fault("no-feed", message, "Write F with the feed in this block or before it.", once=("no-feed", str(f)))
            return NAN, NAN
        if mode == 93:
            return NAN, 1.0 / f
        if mode == 95:
            return f * self.feed_unit * self.rpm, NAN
        return f * self.feed_unit, NAN

    def programmed(self) -> tuple[float, ...]:
        """The present point of the programmed path: where the tool is, but for compensation."""
        if self.comp and self.comp.at is not None:
            return (*self.comp.at, *self.pos[2:])
        return self.pos

    @property
    def arc_least(self) -> float:
        """How far an arc's radii may differ, mm (3.5.3.2), before the part that grows with the radius."""
        return self.arc_limits[self.state_now.units == 20]

    def target(self, v: list[float], axes: AxisWords, absolute: bool) -> tuple[float, ...]:
        """The end point axis words name, tip coordinates."""
        here = self.programmed()
        to = list(here)
        base = self.shift if absolute else here
        for axis, slot, unit in axes:
            to[axis] = base[axis] + v[slot] * unit
        return tuple(to)

    def refuse_or_tell(self, rule: str, message: str, fix: str, at: str) -> None:
        """Strict refuses the block; shop tells it as a warning."""
        if self.strict:
            raise Reject(rule, message, fix, at)
        self.fault(rule, message, fix, severity="warning", at=at, once=(rule, message))

    def end_state(self) -> EndState:
        """The state after the last block."""
        position = tuple(p - s for p, s in zip(self.pos, self.shift, strict=True))
        machine = (*self.pos[:2], self.pos[2] + self.length, *self.pos[3:])
        if not self.strict and self.state_now.system not in self.declared:
            machine = (NAN, NAN, NAN, *machine[3:])
        start = _start_parameters(self.start)
        store = self.parameters
        told = {i: x for i, x in sorted(store.values.items()) if i in store.written or start.get(i, 0.0) != x}
        unit = INCH if self.state_now.units == 20 else 1.0
        return EndState(position, machine, self.describe(self.state_now), None if self.f is None else self.f * unit,
                        told, self.ended)


def _start_parameters(start: Start) -> dict[int, float]:
    return {lexicon.SELECTED: 1.0, **start.parameters}
