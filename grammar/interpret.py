"""The state machine: block by block, in the standard's order of execution (NISTIR 6556 3.8, Table 8).

``Language.step(state, template)`` decides everything that does not depend on numbers, once for each pair, and gives the
next discrete state and a row of actions. ``Machine.resolve(step, numbers)`` carries the actions out for one block.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from grammar import cycles, lexicon
from grammar.dialect import Dialect
from grammar.evaluate import Parameters, evaluate
from grammar.lexicon import AXES, CYCLES, MOTIONS, OFFSET_LETTERS, PLANE_AXES, SYSTEMS, code_name
from grammar.moves import (
    Bounds,
    Call,
    EndState,
    Event,
    Fault,
    Flag,
    Frame,
    Gap,
    Kind,
    Mode,
    Start,
)
from grammar.parse import Reject, Template, Templates
from grammar.record import NEAR, Recorder

INCH = 25.4
NAN = math.nan
NO_MOTION = -1
_PROBE_LEAST = {21: 0.254, 20: 0.254}  # 3.5.9.1: 0.254 mm or 0.01 in


class State(NamedTuple):
    """The discrete part of the machine's state. Codes in tenths where two of a group differ by a tenth."""

    motion: int = NO_MOTION
    plane: int = 17
    units: int = 21
    distance: int = 90
    feed_mode: int = 94
    compensation: int = 40
    length: int = 49
    system: int = 1
    path: int = 640
    cycle_return: int = 98
    spindle: str = "off"
    mist: bool = False
    flood: bool = False
    overrides: bool = True
    arc_positions: bool = False
    kept: str = ""  # letters whose numbers the cycle in force keeps


class Plain(NamedTuple):
    """One straight or circular move whose numbers come from the line: all a bulk reader needs.

    ``axes`` are (axis 0..5, slot, scale) of the words present; ``offsets`` (axis, slot, scale) of I J K present;
    ``radius`` (slot, scale) or None; ``feed`` the slot of F or -1. ``sense`` +1 counterclockwise, -1 clockwise, 0 straight.
    """

    kind: Kind
    axes: tuple[tuple[int, int, float], ...]
    absolute: bool
    feed: int
    scale: float  # mm a length unit
    sense: int = 0
    plane: int = 17
    offsets: tuple[tuple[int, int, float], ...] = ()
    radius: tuple[int, float] | None = None
    centre_absolute: bool = False


Action = tuple[Callable[..., None], tuple[Any, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """What a block does in a state: the next state, and actions in order; or why the block is refused.

    ``plain`` is set when the block is one plain move: then F (if present) and the move are all there is, and the next
    state differs from the state at most in the motion code, so that ``step`` of the next block of the same shape gives
    a ``Step`` with the same ``plain``.
    """

    state: int
    actions: tuple[Action, ...] = ()
    reject: Reject | None = None
    plain: Plain | None = None
    relaxed: tuple[str, ...] = ()
    unused: str = ""


class Language:
    """The discrete state machine of a dialect: states, and the memo of steps. Shared by all programs of the dialect."""

    def __init__(self, dialect: Dialect, bracket_limit: int) -> None:
        self.dialect = dialect
        self.templates = Templates(dialect, bracket_limit)
        self.states: list[State] = []
        self.ids: dict[State, int] = {}
        self.memo: dict[tuple[int, int], Step] = {}

    def id_of(self, state: State) -> int:
        """The number of a state."""
        found = self.ids.get(state)
        if found is None:
            found = self.ids[state] = len(self.states)
            self.states.append(state)
        return found

    def step(self, state: int, template: Template) -> Step:
        """The step of a template in a state, worked out once."""
        key = (state, template.number)
        found = self.memo.get(key)
        if found is None:
            try:
                found = _Stepper(self, self.states[state], template).run()
            except Reject as reject:
                found = Step(state, reject=reject)
            self.memo[key] = found
        return found


@lru_cache(maxsize=16)
def language(dialect: Dialect, bracket_limit: int = 64) -> Language:
    """The state machine of a dialect."""
    return Language(dialect, bracket_limit)


# ---------------------------------------------------------------- numbers of plain moves, one block or a run


def arc_centre_from_radius(
    a0: Any, b0: Any, a1: Any, b1: Any, radius: Any, sense: int
) -> tuple[Any, Any, Any]:
    """Centre of a radius-format arc (3.5.3.1), and by how much half the chord exceeds the radius. Floats or arrays, mm."""
    da, db = a1 - a0, b1 - b0
    half = np.sqrt(da * da + db * db) / 2
    over = half - np.abs(radius)
    height = np.sqrt(np.maximum(radius * radius - half * half, 0.0))
    side = np.where(radius > 0, sense, -sense)  # the centre lies left of the travel for a short G3, right for a short G2
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = side * height / (2 * half)
    return (a0 + a1) / 2 - db * scale, (b0 + b1) / 2 + da * scale, over


# ---------------------------------------------------------------- the discrete part


class _Stepper:
    """Works out one step: walks the block in the order of execution."""

    def __init__(self, language: Language, state: State, template: Template) -> None:
        self.language, self.old, self.t = language, state, template
        self.dialect = language.dialect
        self.allow = language.dialect.allows
        self.s = state._asdict()
        self.actions: list[Action] = []
        self.used: set[str] = set()
        self.have = set(template.letters) | set(template.bare) | ({"T"} if template.tool is not None else set())
        self.relaxed: list[str] = list(template.relaxed)
        self.plain: Plain | None = None

    # -- helpers

    def slot(self, letter: str) -> int:
        """The slot of a letter's number, or -1; the letter counts as used."""
        self.used.add(letter)
        return self.t.slots.get(letter, -1)

    def act(self, method: Callable[..., None], *arguments: Any) -> None:
        self.actions.append((method, arguments))

    def relax(self, option: str, reject: Reject) -> None:
        """Use a relaxation, or refuse the block."""
        if not self.allow(option):
            raise reject
        if option not in self.relaxed:
            self.relaxed.append(option)

    def g(self, *codes: int) -> int:
        """The first of these G codes on the block, or -1."""
        for code in self.t.codes_g:
            if code in codes:
                return code
        return -1

    @property
    def scale(self) -> float:
        return INCH if self.s["units"] == 20 else 1.0

    @property
    def compensating(self) -> bool:
        return bool(self.s["compensation"] != 40)

    def axis_scale(self, axis: int) -> float:
        return self.scale if axis < 3 else 1.0

    def axes(self) -> tuple[tuple[int, int, float], ...]:
        """The axis words with numbers: (axis, slot, scale)."""
        found = []
        for axis, letter in enumerate(AXES):
            if letter in self.t.slots:
                found.append((axis, self.slot(letter), self.axis_scale(axis)))
        return tuple(found)

    def missing(self, letter: str, who: str, fix: str = "") -> Reject:
        return Reject("missing-word", f"{who} needs {letter}", fix or f"Add {letter} to the block.", who)

    # -- the block

    def run(self) -> Step:
        t, m = self.t, Machine
        if t.reject is not None:
            raise t.reject
        if t.percent:
            return Step(self.language.id_of(self.old))
        if t.settings and not t.flow:
            self.act(m.do_settings, t.settings)
        if t.comments:
            self.act(m.do_comment)
        motion, user = self.motion_of_block()
        modal = {g: c for c in t.codes_g for g in (lexicon.G_CODES[c].group if c in lexicon.G_CODES else "",)}
        if "G5" in modal:
            self.s["feed_mode"] = modal["G5"] // 10
        feed = self.slot("F") if "F" in self.have else -1
        cutting = motion in (10, 20, 30)
        inverse = self.s["feed_mode"] == 93
        if feed >= 0 and (not inverse or cutting):
            self.act(m.do_feed, feed)
        if "S" in self.have and self.slot("S") >= 0:
            self.act(m.do_speed, t.slots["S"])
        if "T" in self.have:
            self.used.add("T")
            if t.tool is not None:
                self.act(m.do_tool_number, t.tool, t.tool_digits)
            elif self.slot("T") >= 0:
                self.act(m.do_tool, t.slots["T"])
        self.m_codes()
        if 40 in t.codes_g:
            self.dwell()
        if "G2" in modal:
            plane = lexicon.PLANES[modal["G2"]]
            if self.compensating and plane != 17:
                raise self.comp_fault(modal["G2"], "the plane cannot change")
            self.s["plane"] = plane
        self.units(modal)
        self.compensation(modal)
        self.length(modal)
        self.system(modal)
        if "G13" in modal:
            self.s["path"] = modal["G13"]
        if "G3" in modal:
            self.s["distance"] = modal["G3"] // 10
        if "G4" in modal:
            self.s["arc_positions"] = modal["G4"] == 901
        if "G10" in modal:
            self.s["cycle_return"] = modal["G10"] // 10
        if user >= 0 or self.g(921, 922, 923, 100, 120, 130) >= 0:
            self.group_zero()
        self.motion(motion, user)
        self.stop()
        unused = "".join(sorted(self.have - self.used))
        quiet = "".join(c for c in unused if c in t.bare)
        unused = "".join(c for c in unused if c not in quiet)
        if unused:
            self.relax("word-without-use", Reject(
                "unused-word", f"no code of the block can use the word {unused[0]}",
                f"Take {unused[0]} out, or add the code it belongs to.", unused[0]))
            self.act(m.do_unused, unused)
        after = State(**self.s)
        plain = self.plain
        only = [a for a in self.actions if a[0] not in (m.do_feed, m.do_line, m.do_arc)]
        if plain is not None and (only or self.old._replace(motion=after.motion) != after or not t.plain
                                  or inverse or self.compensating or t.comments):
            plain = None
        return Step(self.language.id_of(after), tuple(self.actions), None, plain,
                    tuple(dict.fromkeys(self.relaxed)), unused)

    def motion_of_block(self) -> tuple[int, int]:
        """The motion the block makes (tenths, NO_MOTION for none) and its group 0 user of axis words, or -1 (3.3.7, 3.4)."""
        t = self.t
        user = self.g(*lexicon.AXIS_USERS)
        code = -1
        for c in t.codes_g:
            row = lexicon.G_CODES.get(c)
            if row is not None and row.group == "G1":
                code = c
        if user >= 0 and code in MOTIONS:
            raise Reject("conflicting-codes",
                         f"{code_name('G', user)} and {code_name('G', code)} both want the axis words of the block",
                         "Make two blocks.", code_name("G", code))
        axis_words = self.have & set(AXES)
        if self.g(40) >= 0 and "P" not in self.have and code < 0 and axis_words <= {"X"}:
            axis_words = set()
        if user >= 0 or self.g(120, 130) >= 0:
            return NO_MOTION, user
        if code >= 0:
            if code == 800 and axis_words:
                raise Reject("conflicting-codes", "G80 ends all motion, but the block has axis words",
                             "Take the axis words out, or write the motion code that is meant.", "G80")
            return (code if code != 800 else NO_MOTION), user
        if axis_words:
            return self.old.motion if self.old.motion != NO_MOTION else 800, user
        offsets = self.have & set(OFFSET_LETTERS)
        if offsets and self.old.motion in (20, 30) and self.g(530) < 0 and "P" not in self.have:
            return self.old.motion, user
        return NO_MOTION, user

    def m_codes(self) -> None:
        t, m, s = self.t, Machine, self.s
        codes = set(t.codes_m)
        if 60 in codes:
            self.act(m.do_tool_change)
            s["spindle"] = "off"
        for code, way in ((30, "cw"), (40, "ccw"), (50, "off"), (130, "cw"), (140, "ccw"), (190, "off")):
            if code in codes:
                s["spindle"] = way
                self.act(m.do_spindle, way)
        if codes & {130, 140}:
            s["flood"] = True
            self.act(m.do_coolant, "8")
        for code, name in ((70, "mist"), (80, "flood")):
            if code in codes:
                s[name] = True
                self.act(m.do_coolant, str(code // 10))
        if 90 in codes:
            s["mist"] = s["flood"] = False
            self.act(m.do_coolant, "9")
        if 480 in codes:
            s["overrides"] = True
        if 490 in codes:
            s["overrides"] = False
        for code in t.codes_m:
            if code not in lexicon.M_CODES:
                self.act(m.do_unknown_m, code)

    def dwell(self) -> None:
        if "P" in self.t.slots:
            self.act(Machine.do_dwell, self.slot("P"))
            return
        if "X" in self.t.slots and not self.have & set("YZABC") and self.g(*MOTIONS) < 0:
            self.relax("dwell-other-letter", self.missing("P", "G4", "Add P with the seconds."))
            self.act(Machine.do_dwell, self.slot("X"))
            return
        raise self.missing("P", "G4", "Add P with the seconds to wait.")

    def units(self, modal: Mapping[str, int]) -> None:
        if "G6" not in modal:
            return
        units = {200: 20, 210: 21, 700: 20, 710: 21}[modal["G6"]]
        if units != self.s["units"]:
            if self.compensating:
                raise self.comp_fault(modal["G6"], "the length unit cannot change")
        self.s["units"] = units
        self.act(Machine.do_units, units)

    def comp_fault(self, code: int, what: str) -> Reject:
        return Reject("compensation-fault", f"{code_name('G', code)}: {what} while cutter radius compensation is on",
                      "Write G40 in a block before it.", code_name("G", code))

    def compensation(self, modal: Mapping[str, int]) -> None:
        if "G7" not in modal:
            return
        code = modal["G7"]
        if code == 400:
            self.s["compensation"] = 40
            self.act(Machine.do_compensation_off)
            return
        side = code // 10
        if self.s["plane"] != 17:
            raise Reject("compensation-fault", f"{code_name('G', code)} works in the XY plane only",
                         "Write G17 in a block before it.", code_name("G", code))
        if self.compensating:
            same = self.s["compensation"] == side
            self.relax("compensation-restated" if same else "compensation-side-change", Reject(
                "compensation-fault", f"{code_name('G', code)}: compensation is already on",
                "Write G40 in a block before it.", code_name("G", code)))
        self.s["compensation"] = side
        self.act(Machine.do_compensation_on, side, self.slot("D") if "D" in self.have else -1, code in (412, 422),
                 self.scale)

    def length(self, modal: Mapping[str, int]) -> None:
        if "G8" not in modal:
            return
        if modal["G8"] == 490:
            self.s["length"] = 49
            if "H" in self.have and self.allow("word-without-use"):
                self.used.add("H")
            self.act(Machine.do_length_off)
            return
        if "H" not in self.t.slots:
            self.relax("length-offset-without-number", self.missing("H", "G43", "Add H with the number of the tool."))
        self.s["length"] = 43
        self.act(Machine.do_length, self.slot("H") if "H" in self.have else -1)

    def system(self, modal: Mapping[str, int]) -> None:
        if "G12" not in modal:
            return
        code = modal["G12"]
        if self.compensating:
            raise self.comp_fault(code, "the coordinate system cannot be chosen")
        self.s["system"] = SYSTEMS.index(code_name("G", code)) + 1
        self.act(Machine.do_system, self.s["system"], self.scale)

    def group_zero(self) -> None:
        m = Machine
        code = self.g(280, 300, 100, 920, 921, 922, 923, 520)
        if code < 0:
            return
        name = code_name("G", code)
        if code in (280, 300):
            if self.compensating:
                raise self.comp_fault(code, "a return to reference cannot be made")
            named = "".join(c for c in AXES if c in self.have)
            self.used |= set(named)
            self.act(m.do_home, code, self.axes(), self.s["distance"] == 90, named, self.scale)
            return
        if code == 100:
            self.origin()
            return
        if self.compensating:
            raise self.comp_fault(code, "the axis offsets cannot change")
        if code == 921:
            self.act(m.do_shift_clear, True)
        elif code == 922:
            self.act(m.do_shift_clear, False)
        elif code == 923:
            self.act(m.do_shift_restore, self.scale)
        else:
            axes = self.axes()
            if not axes:
                raise self.missing("at least one axis word", name)
            self.act(m.do_local_shift if code == 520 else m.do_shift, axes, self.scale)

    def origin(self) -> None:
        if "L" not in self.t.slots:
            raise self.missing("L", "G10", "Write G10 L2 P1 with the axes.")
        if "P" not in self.t.slots:
            raise self.missing("P", "G10", "Add P with the number of the coordinate system, 1 to 9.")
        self.act(Machine.do_origin, self.slot("L"), self.slot("P"), self.axes(), self.scale)

    # -- motion

    def motion(self, motion: int, user: int) -> None:
        t = self.t
        if 800 in t.codes_g:
            self.s["motion"] = 800
            self.s["kept"] = ""
        if motion == NO_MOTION:
            if self.g(530) >= 0:
                raise self.missing("at least one axis word", "G53")
            return
        if motion == 800:
            dead = "G80 has ended all motion" if self.old.motion == 800 or self.s["motion"] == 800 else \
                "no motion code is in force"
            letter = next(c for c in AXES if c in self.have)
            raise Reject("missing-word", f"the block has axis words, but {dead}", "Write G0 or G1 in the block.", letter)
        if self.old.motion == 800 and motion == 800:
            return
        explicit = motion in t.codes_g
        self.s["motion"] = motion
        if motion not in CYCLES:
            self.s["kept"] = ""
        name = code_name("G", motion)
        axis_words = self.have & set(AXES)
        for letter in axis_words & set(t.bare):
            raise Reject("unreadable-block", f"the letter {letter} has no number", f"Write the number after {letter}.", letter)
        if self.g(530) >= 0:
            if motion not in (0, 10):
                raise Reject("conflicting-codes", f"G53 goes with G0 or G1, not with {name}",
                             "Write G0 or G1 in the block.", "G53")
            if self.compensating:
                raise self.comp_fault(530, "no move in machine coordinates can be made")
        if motion in CYCLES:
            self.cycle(motion, explicit)
            return
        if motion == 382:
            self.probe()
            return
        if motion in (20, 30):
            self.arc(motion, explicit)
            return
        axes = self.axes()
        if not axes:
            self.relax("idle-motion-code", self.missing("at least one axis word", name))
            if self.g(530) >= 0:
                raise self.missing("at least one axis word", "G53")
            return
        if motion == 10:
            self.inverse_needs_feed(name)
        plain = Plain(Kind.RAPID if motion == 0 else Kind.FEED, axes, self.s["distance"] == 90, t.slots.get("F", -1), self.scale)
        if self.g(530) >= 0:
            self.act(Machine.do_machine_line, plain)
        elif self.compensating:
            self.act(Machine.do_compensated, plain, motion)
        else:
            self.plain = plain
            self.act(Machine.do_line, plain)

    def inverse_needs_feed(self, name: str) -> None:
        if self.s["feed_mode"] == 93 and "F" not in self.t.slots:
            raise Reject("missing-word", f"{name} in inverse time (G93) needs its own F in the block",
                         "Add F with one over the minutes of the move.", name)

    def arc(self, motion: int, explicit: bool) -> None:
        t = self.t
        name = code_name("G", motion)
        self.inverse_needs_feed(name)
        first, second, normal = PLANE_AXES[self.s["plane"]]
        in_plane = [c for c in (AXES[first], AXES[second]) if c in t.slots]
        own = [OFFSET_LETTERS[first], OFFSET_LETTERS[second]]
        offsets = [c for c in own if c in t.slots]
        radius = "R" in t.slots
        if not (self.have & set(AXES)) and not offsets and not radius:
            self.relax("idle-motion-code", self.missing("an end point", name))
            return
        if radius and offsets:
            raise Reject("conflicting-codes", f"{name} has both R and {offsets[0]}", "Leave either R or the offsets.", "R")
        if not radius and not offsets:
            raise Reject("missing-word", f"{name} has neither {own[0]}, {own[1]} nor R: the circle is not known",
                         f"Add {own[0]} and {own[1]} from the start point to the centre, or R.", name)
        pair = f"{AXES[first]} or {AXES[second]}"
        if not in_plane:
            if radius:
                raise self.missing(pair, name)
            self.relax("circle-without-end", self.missing(pair, name))
        third = OFFSET_LETTERS[normal]
        if third in t.slots and self.allow("helix-pitch-word"):
            self.slot(third)
            if "helix-pitch-word" not in self.relaxed:
                self.relaxed.append("helix-pitch-word")
        plain = Plain(
            Kind.ARC, self.axes(), self.s["distance"] == 90, t.slots.get("F", -1), self.scale,
            -1 if motion == 20 else 1, self.s["plane"],
            tuple((OFFSET_LETTERS.index(c), self.slot(c), self.scale) for c in offsets),
            (self.slot("R"), self.scale) if radius else None,
            self.s["arc_positions"] or self.allow("absolute-centres"))
        if self.compensating:
            self.act(Machine.do_compensated, plain, motion)
        else:
            self.plain = plain
            self.act(Machine.do_arc, plain)

    def probe(self) -> None:
        axes = self.axes()
        if self.compensating:
            raise self.comp_fault(382, "the probe cannot be used")
        if self.s["feed_mode"] == 93:
            raise Reject("conflicting-codes", "G38.2 cannot be used in inverse time (G93)", "Write G94 before it.", "G38.2")
        if not any(a < 3 for a, _, _ in axes):
            raise self.missing("X, Y or Z", "G38.2")
        self.act(Machine.do_probe, axes, self.s["distance"] == 90, self.s["spindle"])

    def cycle(self, motion: int, explicit: bool) -> None:
        t, s = self.t, self.s
        name = code_name("G", motion)

        def bad(message: str, fix: str, at: str = name) -> Reject:
            return Reject("cycle-fault", f"{name}: {message}", fix, at)

        first, second, normal = PLANE_AXES[s["plane"]]
        depth = AXES[normal]
        if self.compensating:
            raise self.comp_fault(motion, "no cycle can be run")
        if s["feed_mode"] == 93:
            raise bad("a cycle cannot be run in inverse time (G93)", "Write G94 before it.")
        linear = [c for c in "XYZ" if c in t.slots]
        if not linear:
            self.relax("idle-motion-code", bad("X, Y and Z are all missing", "Add the place of the hole."))
        same = self.old.motion == motion and bool(self.old.kept)
        kept = set(self.old.kept) if same or (self.allow("cycle-words-kept") and self.old.motion in CYCLES) else set()
        if depth not in t.slots and depth not in kept and linear:
            raise bad(f"{depth} (the bottom of the hole) is missing", f"Add {depth} to the block.")
        if "R" not in t.slots and "R" not in kept and linear:
            self.relax("cycle-retract-missing", bad("R (the retract level) is missing", "Add R to the block."))
        if motion in lexicon.DWELL_CYCLES and "P" not in t.slots and "P" not in kept and linear:
            self.relax("cycle-dwell-missing", bad("P (seconds of dwell) is missing", "Add P to the block."))
        if motion in (830, 730) and "Q" not in t.slots and "Q" not in kept and linear:
            raise bad("Q (the peck) is missing", "Add Q to the block.")
        offsets: tuple[int, ...] = ()
        if motion == 870:
            i, j, k = OFFSET_LETTERS[first], OFFSET_LETTERS[second], OFFSET_LETTERS[normal]
            for c in (i, j, k):
                if c not in t.slots and c not in kept:
                    raise bad(f"{c} is missing", f"Add {c} to the block.")
        way = s["spindle"]
        if motion == 840 and way != "cw":
            raise bad("the spindle must turn clockwise before it", "Write M3 with a speed before it.")
        if motion == 740 and way != "ccw":
            raise bad("the spindle must turn counterclockwise before it", "Write M4 with a speed before it.")
        if motion in (860, 870, 880) and way == "off":
            raise bad("the spindle must turn before it", "Write M3 or M4 with a speed before it.")
        letters = depth + "R" + ("P" if motion in lexicon.DWELL_CYCLES else "") + ("Q" if motion in (830, 730) else "")
        letters += "IJK" if motion == 870 else ""
        stored = tuple((c, self.slot(c)) for c in letters if c in t.slots)
        repeats = self.slot("L") if "L" in t.slots else -1
        if repeats < 0 and "K" in t.slots and motion != 870 and self.allow("repeats-with-k"):
            repeats = self.slot("K")
            self.relaxed.append("repeats-with-k")
        if "P" in t.slots and "P" not in letters and self.allow("word-without-use"):
            self.used.add("P")  # a dwell on a cycle that has none
        s["kept"] = "".join(sorted(kept | {c for c, _ in stored}))
        if not linear:
            self.used |= {c for c in "RPQLIJK" if c in t.slots}
        hole = tuple((a, self.slot(AXES[a]), self.axis_scale(a)) for a in (first, second) if AXES[a] in t.slots)
        rotary = tuple((a, self.slot(AXES[a]), 1.0) for a in (3, 4, 5) if AXES[a] in t.slots)
        del offsets
        self.act(Machine.do_cycle, CycleCall(
            motion, s["plane"], hole, rotary, stored, repeats, s["distance"] == 90, self.scale, s["cycle_return"],
            self.old.motion not in CYCLES, same, way, bool(linear)))

    def stop(self) -> None:
        s = self.s
        codes = self.t.codes_m
        for code in (0, 10, 600):
            if code in codes:
                self.act(Machine.do_stop, code // 10)
        if 20 in codes or 300 in codes:
            s.update(motion=10, plane=17, distance=90, feed_mode=94, compensation=40, system=1, spindle="off",
                     mist=False, flood=False, overrides=True, kept="")
            self.act(Machine.do_end, 2 if 20 in codes else 30)


class CycleCall(NamedTuple):
    """A canned cycle on a block: its words as (letter or axis, slot), and what of the state it depends on."""

    code: int
    plane: int
    hole: tuple[tuple[int, int, float], ...]
    rotary: tuple[tuple[int, int, float], ...]
    stored: tuple[tuple[str, int], ...]
    repeats: int
    absolute: bool
    scale: float
    cycle_return: int
    first: bool  # first of its row
    same: bool  # the same cycle was in force
    spindle: str
    run: bool


# ---------------------------------------------------------------- the numeric part


class Stop(Exception):
    """Following the program ends here."""


_SAVED = ("pos", "f", "rpm", "tool", "selected", "shift", "origins", "g92", "g92_kept", "local", "length", "length_number",
          "comp", "sticky", "high", "old_z", "lost", "declared", "ended", "first_system", "moved_in")


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
        self.parameters = Parameters(_start_parameters(start, self.strict), strict=self.strict)
        self.record = Recorder()
        self.events: list[Event] = []
        self.faults: list[Fault] = []
        self.gaps: list[Gap] = []
        self.told: set[tuple[str, ...]] = set()
        self.block = 0
        self.line = ""
        self.call = 0
        self.record.calls.append(Call(-1, -1, ""))
        self.journal: list[tuple[int, float | None]] = []
        self.mode_key: tuple[Any, ...] = ()
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
            tuple(start.origins.get(name, (0.0, 0.0, 0.0))) + (0.0, 0.0, 0.0) for name in SYSTEMS)
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
        self.local: tuple[float, ...] = zero
        self.shift: tuple[float, ...] = self.origins[system - 1]
        self.length = 0.0
        self.length_number: int | None = mode.length_number
        self.comp: tuple[Any, ...] = ()
        self.f: float | None = start.feed / unit if start.feed is not None else None
        self.rpm = start.speed
        self.tool: int | None = start.tool if start.tool is not None else mode.tool
        self.selected: int | None = mode.selected if mode.selected is not None else self.tool
        self.pos: tuple[float, ...] = tuple(NAN if p is None else p for p in (*start.position, 0.0, 0.0, 0.0)[:6])
        self.high = False
        self.old_z = NAN
        self.sticky: dict[str, float] = {}
        self.lost: dict[int, tuple[str, str, int]] = {}
        self.ended = False
        self.first_system = 0
        self.moved_in: frozenset[int] = frozenset()
        self.tool_word_counts: Callable[[], bool] = lambda: False

    # -- the record

    def fault(self, rule: str, message: str, fix: str = "", *, severity: str = "", at: str | int | None = None,
              once: tuple[str, ...] | None = None, **numbers: Any) -> None:
        """Note a fault at the present block; with ``once`` at most once for that key."""
        if once is not None:
            if once in self.told:
                return
            self.told.add(once)
        self.faults.append(Fault(rule, severity or "error", 0, 0 if not isinstance(at, int) else at + 1,
                                 message if at is None or isinstance(at, int) else f"\x00{at}\x00{message}", fix,
                                 measured=numbers.get("measured"), limit=numbers.get("limit"), unit=numbers.get("unit"),
                                 block=self.block))

    def event(self, kind: str, value: float | str | None = None, text: str = "") -> None:
        """Note an event."""
        self.events.append(Event(kind, self.block, len(self.record), value, text))

    def mode(self) -> int:
        """The number of the mode in force."""
        key = (self.state_now, self.tool, self.selected, self.rpm, self.length_number, self.comp[:1])
        if key != self.mode_key:
            self.mode_key = key
            self.mode_id = self.record.mode(self.describe(self.state_now))
        return self.mode_id

    def describe(self, s: State) -> Mode:
        """The modal state in the words of ``Mode``."""
        return Mode(
            tool=self.tool, selected=self.selected, spindle=s.spindle, rpm=self.rpm, mist=s.mist, flood=s.flood,
            motion="" if s.motion == NO_MOTION else code_name("G", s.motion), plane=f"G{s.plane}", units=f"G{s.units}",
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
            self.frame_id = self.record.frame(Frame(SYSTEMS[system - 1], (sx, sy, sz), known, self.length, (ra, rb, rc)))
        return self.frame_id

    def move(self, kind: Kind, to: tuple[float, ...], flags: int = 0, feed: float = NAN, minutes: float = NAN,
             *, always: bool = False) -> bool:
        """Record a move to ``to`` and go there; False where no axis moves. Unknown to unknown is no move."""
        at = self.pos
        if to == at or (not always and all(a == b or (a != a and b != b) for a, b in zip(at, to, strict=True))):
            return False
        if self.high and to[2] != to[2]:
            flags |= Flag.HIGH_Z
        if kind != Kind.RAPID and math.isnan(minutes) and self.feed_unit != 1.0 and at[:3] == to[:3]:
            feed /= self.feed_unit  # degrees a minute
        n = len(self.record.rows)
        if n >= self.bounds.moves:
            self.fault("runaway-program", f"the program makes more than {self.bounds.moves} moves; reading stops here",
                       "Look for a loop that never ends or a repeat count that is too large.", measured=float(n + 1),
                       limit=float(self.bounds.moves))
            raise Stop
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

    # -- one block

    def resolve(self, step: Step, numbers: list[float]) -> None:
        """Carry a step out. Raises Reject, with everything as it was, where a number is refused."""
        record = self.record
        saved = [getattr(self, name) for name in _SAVED]
        marks = (len(record.rows), len(record.arcs), len(record.rotary))
        events, journal = len(self.events), len(self.journal)
        self.state_now = self.language.states[step.state]
        self.feed_unit = INCH if self.state_now.units == 20 else 1.0
        self.frame_id = -1 if self.frame_id < 0 else self.frame_id
        try:
            for method, arguments in step.actions:
                method(self, numbers, *arguments)
        except Reject:
            for name, value in zip(_SAVED, saved, strict=True):
                setattr(self, name, value)
            record.truncate(*marks)
            del self.events[events:]
            while len(self.journal) > journal:
                index, old = self.journal.pop()
                if old is None:
                    self.parameters.values.pop(index, None)
                else:
                    self.parameters.values[index] = old
            self.state_now = self.language.states[self.state_id]
            self.feed_unit = INCH if self.state_now.units == 20 else 1.0
            self.frame_id = -1
            raise
        self.state_id = step.state
        self.journal.clear()

    def set_parameter(self, index: int, value: float) -> None:
        """Set a parameter so that a refused block can take it back."""
        self.journal.append((index, self.parameters.values.get(index)))
        self.parameters.set(index, value)

    # -- actions: words and codes

    def do_settings(self, v: list[float], settings: tuple[tuple[Any, Any], ...]) -> None:
        found = []
        for index, value in settings:
            number = evaluate(value, self.parameters)
            if index[0] == "name":
                found.append((index[1], number))
            else:
                found.append((self.parameters.index(evaluate(index, self.parameters)), number))
        for target, number in found:
            if isinstance(target, str):
                self.parameters.set_named(target, number)
            else:
                self.set_parameter(target, number)

    def do_comment(self, v: list[float]) -> None:
        from grammar.parse import message_of, squeeze

        start, end = squeeze(self.line, self.dialect).comments[-1]
        text = self.line[start:end]
        message = message_of(text)
        if message is not None:
            self.event("message", text=message)
        else:
            self.event("comment", text=text[1:-1] if text.startswith("(") and text.endswith(")") else text.lstrip(";/( "))

    def do_feed(self, v: list[float], slot: int) -> None:
        if v[slot] < 0:
            raise Reject("bad-value", f"the feed is negative: F{v[slot]:g}", "Write a positive feed.", "F")
        self.f = v[slot]
        self.event("feed", v[slot])

    def do_speed(self, v: list[float], slot: int) -> None:
        if v[slot] < 0:
            raise Reject("bad-value", f"the spindle speed is negative: S{v[slot]:g}", "Write a positive speed.", "S")
        self.rpm = v[slot]
        self.event("speed", v[slot])

    def do_tool(self, v: list[float], slot: int) -> None:
        self.do_tool_number(v, v[slot], 0)

    def do_tool_number(self, v: list[float], value: float, digits: int) -> None:
        number = self.whole("T", value)
        if digits >= 3 and number >= 100 and self.dialect.allows("tool-with-offset"):
            number //= 100
            self.relaxed("tool-with-offset")
        if self.strict and number > self.start.slots:
            raise Reject("bad-value", f"there is no tool slot {number}", f"Use a slot from 0 to {self.start.slots}.", "T",
                         measured=float(number), limit=float(self.start.slots))
        self.selected = number
        self.event("tool-select", float(number))
        if not self.strict and self.tool_word_counts():
            self.tool = number

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

    def do_tool_change(self, v: list[float]) -> None:
        if self.selected is None:
            if self.strict:
                raise Reject("missing-word", "M6 changes to the tool chosen by T, but no T came before it",
                             "Add T with the tool's number.", "M6")
        else:
            self.tool = self.selected
        self.event("tool-change", None if self.tool is None else float(self.tool))

    def do_spindle(self, v: list[float], way: str) -> None:
        self.event("spindle", way)

    def do_coolant(self, v: list[float], code: str) -> None:
        self.event("coolant", float(code))

    def do_unknown_m(self, v: list[float], code: int) -> None:
        name = code_name("M", code)
        self.fault("unknown-code", f"{name} is not a code this reader knows",
                   "Look it up in the machine's manual; what it does is not followed here.", severity="warning", at=name,
                   once=("unknown-code", name))
        self.gaps.append(Gap("unknown-code", f"{name} is not known", self.block + 1, self.block + 1, ""))

    def do_dwell(self, v: list[float], slot: int) -> None:
        seconds = v[slot]
        if seconds < 0:
            raise Reject("bad-value", f"the dwell is negative: {seconds:g}", "Write the seconds to wait.", "P")
        if self.dialect.allows("dwell-milliseconds"):
            seconds /= 1000.0
        self.dwell(seconds)

    def dwell(self, seconds: float) -> None:
        """Wait where the tool is."""
        self.event("dwell", seconds)
        at = self.pos
        self.record.rows.append((Kind.DWELL, self.block, self.call, self.mode(), self.frame(), 0, at[0], at[1], at[2],
                                 at[0], at[1], at[2], NAN, seconds / 60.0))

    def do_units(self, v: list[float], units: int) -> None:
        self.event("units", f"G{units}")

    def do_compensation_on(self, v: list[float], side: int, slot: int, direct: bool, scale: float) -> None:
        raise Reject("unsupported-code", "cutter radius compensation is not followed yet", "", f"G{side}")

    def do_compensation_off(self, v: list[float]) -> None:
        self.comp = ()
        self.event("compensation", "G40")

    def do_compensated(self, v: list[float], plain: Plain, motion: int) -> None:
        raise Reject("unsupported-code", "cutter radius compensation is not followed yet")

    def do_unused(self, v: list[float], letters: str) -> None:
        for letter in letters:
            self.fault("unused-word", f"no code of the block can use the word {letter}",
                       f"Take {letter} out, or add the code it belongs to.", severity="warning", at=letter,
                       once=("unused-word", letter))

    def relaxed(self, option: str) -> None:
        """Tell once that the program leans on a relaxation."""
        if ("relaxed", option) not in self.told:
            self.told.add(("relaxed", option))
            from grammar.dialect import reasons

            self.fault("dialect-relaxed", f"{option.replace('-', ' ')}: {reasons(self.dialect.name)[option]}",
                       "Nothing needs to be done if the machine takes it.", severity="note")

    # -- actions: offsets and systems

    def set_shift(self, system: int, *, axes: set[int] | None = None) -> None:
        """Work the shift out anew: origin of the system, G92 and local shifts."""
        origin = self.origins[system - 1]
        self.shift = tuple(o + g + c for o, g, c in zip(origin, self.g92, self.local, strict=True))
        self.frame_id = -1

    def do_length(self, v: list[float], slot: int) -> None:
        if slot >= 0:
            number = self.whole("H", v[slot])
            if self.strict and number > self.start.slots:
                raise Reject("bad-value", f"there is no tool slot {number}", f"Use a slot from 0 to {self.start.slots}.", "H")
        else:
            number = self.tool if self.tool is not None else 0
        table = self.start.lengths
        length = 0.0 if number == 0 and (self.strict or slot >= 0) else table.get(number, 0.0 if self.strict else NAN)
        if not self.strict and self.length_number == number and self.length != self.length and length != length:
            return
        self.set_length(length, number)

    def do_length_off(self, v: list[float]) -> None:
        if self.length != 0.0 or self.length_number is not None:
            self.set_length(0.0, None)

    def set_length(self, length: float, number: int | None) -> None:
        """Change the length offset: the gauge point stays, the tip's coordinate changes (2.1.2.3)."""
        x, y, z, *rest = self.pos
        self.pos = (x, y, z + self.length - length, *rest)
        if self.pos[2] != self.pos[2] and z == z:
            self.lost = {**self.lost, 2: ("unknown-position", "a tool length that is not declared was applied", self.block)}
        self.length, self.length_number = length, number
        self.frame_id = -1
        self.event("length-offset", None if number is None else float(number))

    def do_system(self, v: list[float], system: int, scale: float) -> None:
        origin = list(self.origins[system - 1])
        base = lexicon.ORIGINS + 20 * (system - 1)
        for axis in range(6):
            if base + axis in self.parameters.written:
                origin[axis] = self.parameters.values[base + axis] * (scale if axis < 3 else 1.0)
                self.parameters.written.discard(base + axis)
                self.declared |= {system}
        self.origins = (*self.origins[: system - 1], tuple(origin), *self.origins[system:])
        self.set_parameter(lexicon.SELECTED, float(system))
        self.set_shift(system)
        self.event("system", SYSTEMS[system - 1])

    def do_origin(self, v: list[float], key: int, place: int, axes: tuple[tuple[int, int, float], ...], scale: float) -> None:
        kind, number = v[key], v[place]
        present = abs(kind - 20) <= lexicon.WHOLE_TOLERANCE and self.dialect.allows("shift-to-position")
        if abs(kind - 2) > lexicon.WHOLE_TOLERANCE and not present:
            raise Reject("bad-value", f"G10 L{kind:g} is not in the language", "Write G10 L2.", "L")
        system = round(number) if abs(number) < 100 else 0
        if present and system == 0:
            system = self.state_now.system
        if not 1 <= system <= 9 or abs(number - round(number)) > lexicon.WHOLE_TOLERANCE:
            raise Reject("bad-value", f"G10 P{number:g}: coordinate systems are numbered 1 to 9", "Use P1 to P9.", "P")
        origin = list(self.origins[system - 1])
        base = lexicon.ORIGINS + 20 * (system - 1)
        for axis, slot, unit in axes:
            value = v[slot] * unit
            if present:
                at = self.pos[axis]
                value = at - value - self.g92[axis] - self.local[axis] if at == at else origin[axis]
            origin[axis] = value
            self.set_parameter(base + axis, value / unit)
            self.parameters.written.discard(base + axis)
            if present and self.pos[axis] != self.pos[axis]:
                to = list(self.pos)
                to[axis] = origin[axis] + self.g92[axis] + self.local[axis] + v[slot] * unit
                self.pos = tuple(to)
                self.found(self.pos)
        self.origins = (*self.origins[: system - 1], tuple(origin), *self.origins[system:])
        if system == self.state_now.system:
            self.set_shift(system)
        self.event("shift", f"G10 {SYSTEMS[system - 1]}")

    def do_shift(self, v: list[float], axes: tuple[tuple[int, int, float], ...], scale: float) -> None:
        g92, to = list(self.g92), list(self.pos)
        origin = self.origins[self.state_now.system - 1]
        for axis, slot, unit in axes:
            wanted = v[slot] * unit
            if to[axis] == to[axis]:
                g92[axis] = to[axis] - origin[axis] - self.local[axis] - wanted
            else:
                g92[axis] = -origin[axis] - self.local[axis]
                to[axis] = wanted
        self.pos = tuple(to)
        self.found(self.pos)
        self.g92 = self.g92_kept = tuple(g92)
        for axis in range(6):
            if g92[axis] != 0 or lexicon.SHIFTS + axis in self.parameters.values:
                self.set_parameter(lexicon.SHIFTS + axis, g92[axis] / (scale if axis < 3 else 1.0))
                self.parameters.written.discard(lexicon.SHIFTS + axis)
        self.set_shift(self.state_now.system)
        self.event("shift", "G92")

    def do_shift_clear(self, v: list[float], parameters: bool) -> None:
        self.g92 = (0.0,) * 6
        if parameters:
            self.g92_kept = self.g92
            for axis in range(6):
                if lexicon.SHIFTS + axis in self.parameters.values:
                    self.set_parameter(lexicon.SHIFTS + axis, 0.0)
        self.set_shift(self.state_now.system)
        self.event("shift", "G92.1" if parameters else "G92.2")

    def do_shift_restore(self, v: list[float], scale: float) -> None:
        kept = list(self.g92_kept)
        for axis in range(6):
            index = lexicon.SHIFTS + axis
            if index in self.parameters.written or (index in self.parameters.values and not any(self.g92_kept)):
                kept[axis] = self.parameters.values[index] * (scale if axis < 3 else 1.0)
        self.g92 = self.g92_kept = tuple(kept)
        self.set_shift(self.state_now.system)
        self.event("shift", "G92.3")

    def do_local_shift(self, v: list[float], axes: tuple[tuple[int, int, float], ...], scale: float) -> None:
        local = list(self.local)
        for axis, slot, unit in axes:
            local[axis] = v[slot] * unit
        self.local = tuple(local)
        self.set_shift(self.state_now.system)
        self.event("shift", "G52")

    # -- actions: motion

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

    def target(self, v: list[float], axes: tuple[tuple[int, int, float], ...], absolute: bool) -> tuple[float, ...]:
        """The end point axis words name, tip coordinates."""
        to = list(self.pos)
        base = self.shift if absolute else self.pos
        for axis, slot, unit in axes:
            to[axis] = base[axis] + v[slot] * unit
        return tuple(to)

    def do_line(self, v: list[float], plain: Plain) -> None:
        to = self.target(v, plain.axes, plain.absolute)
        if plain.kind == Kind.RAPID:
            self.move(Kind.RAPID, to)
        else:
            feed, minutes = self.feed()
            self.move(Kind.FEED, to, 0, feed, minutes)

    def do_machine_line(self, v: list[float], plain: Plain) -> None:
        to = list(self.pos)
        declared = self.state_now.system in self.declared
        flags = int(Flag.MACHINE)
        for axis, slot, unit in plain.axes:
            value = v[slot] * unit
            if axis == 2:
                value -= self.length
            if axis < 3 and not declared:
                value = NAN
            to[axis] = value
            if axis == 2 and value != value:
                flags |= Flag.HIGH_Z
        self.go_unknown(Kind.RAPID if plain.kind == Kind.RAPID else Kind.FEED, tuple(to), flags)

    def go_unknown(self, kind: Kind, to: tuple[float, ...], flags: int) -> None:
        """A move to a point of which some axes may be unknown."""
        feed, minutes = (NAN, NAN) if kind == Kind.RAPID else self.feed()
        self.move(kind, to, flags, feed, minutes, always=True)
        self.high = bool(flags & Flag.HIGH_Z) or (self.high and to[2] != to[2])
        lost = dict(self.lost)
        for axis in range(3):
            if to[axis] != to[axis]:
                lost.setdefault(axis, ("unknown-position", "a move in machine coordinates; the offsets are not declared",
                                       self.block))
        self.lost = lost

    def do_home(self, v: list[float], code: int, axes: tuple[tuple[int, int, float], ...], absolute: bool, named: str,
                scale: float) -> None:
        self.event("home", code_name("G", code))
        flags = int(Flag.HOME)
        all_axes = not named or not self.dialect.allows("named-axes-home")
        if not named or not set(named) & {"Z"}:
            flags |= Flag.BARE_HOME if all_axes or set(named) & set("XY") else 0
        if axes:
            to = self.target(v, axes, absolute)
            self.move(Kind.RAPID, to, flags)
        to_list = list(self.pos)
        declared = self.state_now.system in self.declared
        base = lexicon.HOME[code]
        for axis in range(6) if all_axes else [AXES.index(c) for c in named]:
            stored = self.parameters.values.get(base + axis, 0.0 if self.strict or axis > 2 else NAN)
            value = stored * (scale if axis < 3 else 1.0) - (self.length if axis == 2 else 0.0)
            to_list[axis] = value if declared or axis > 2 else NAN
            if axis == 2 and to_list[2] != to_list[2]:
                flags |= Flag.HIGH_Z
        self.go_unknown(Kind.RAPID, tuple(to_list), flags)

    def do_arc(self, v: list[float], plain: Plain) -> None:
        to = self.target(v, plain.axes, plain.absolute)
        feed, minutes = self.feed()
        centre = self.arc_centre(v, plain, self.pos, to)
        self.arc_move(to, centre, plain, 0, feed, minutes)

    def arc_move(self, to: tuple[float, ...], centre: tuple[float, float, float], plain: Plain, flags: int, feed: float,
                 minutes: float) -> None:
        """Record an arc; one whose ends meet is a full circle."""
        n = len(self.record.rows)
        if to == self.pos:  # a full circle: no axis ends elsewhere, but all move
            at = self.pos
            self.record.rows.append((Kind.ARC, self.block, self.call, self.mode(), self.frame(), flags, *at[:3], *to[:3],
                                     feed, minutes))
        else:
            self.move(Kind.ARC, to, flags, feed, minutes)
        self.record.arcs.append((n, *centre, plain.sense, plain.plane))

    def arc_centre(self, v: list[float], plain: Plain, start: tuple[float, ...], to: tuple[float, ...]
                   ) -> tuple[float, float, float]:
        """The centre of an arc. Raises Reject where there is none."""
        a, b, _ = PLANE_AXES[plain.plane]
        inch = self.state_now.units == 20
        least = self.dialect.value("arc_tolerance_inch_mm" if inch else "arc_tolerance_mm")
        centre = [start[0], start[1], start[2]]
        name = "G2" if plain.sense < 0 else "G3"
        if plain.radius is not None:
            radius = v[plain.radius[0]] * plain.radius[1]
            if radius == 0:
                raise Reject("arc-impossible", f"{name}: the radius is 0", "Write the true radius.", "R")
            if abs(to[a] - start[a]) <= NEAR and abs(to[b] - start[b]) <= NEAR:
                raise Reject("arc-impossible", f"{name} with R ends where it begins: any circle would fit",
                             "Write a full circle with the offsets of its centre, or as two half circles.", name)
            ca, cb, over = arc_centre_from_radius(start[a], start[b], to[a], to[b], radius, plain.sense)
            limit = least + self.dialect.value("arc_tolerance_ratio") * abs(radius)
            if over > limit + 1e-6:
                raise Reject("arc-impossible",
                             f"{name}: the ends are {2 * (over + abs(radius)):.4f} mm apart, farther than twice the radius"
                             f" {abs(radius):.4f} mm", "Check the end point and R.", "R",
                             measured=float(2 * (over + abs(radius))), limit=float(2 * abs(radius)), unit="mm")
            centre[a], centre[b] = float(ca), float(cb)
            return centre[0], centre[1], centre[2]
        if plain.centre_absolute:
            for axis, slot, unit in plain.offsets:
                centre[axis] = self.shift[axis] + v[slot] * unit
        else:
            for axis, slot, unit in plain.offsets:
                centre[axis] = start[axis] + v[slot] * unit
        ra, rb = start[a] - centre[a], start[b] - centre[b]
        ea, eb = to[a] - centre[a], to[b] - centre[b]
        first, last = math.sqrt(ra * ra + rb * rb), math.sqrt(ea * ea + eb * eb)
        limit = least + self.dialect.value("arc_tolerance_ratio") * first
        if first == 0:
            raise Reject("arc-impossible", f"{name}: the centre is the start point, the radius is 0",
                         "Check the offsets of the centre.", name)
        if abs(first - last) > limit + 1e-6:
            raise Reject("arc-mismatch",
                         f"{name}: the start is {first:.4f} mm from the centre, the end {last:.4f} mm; no circle goes through"
                         " both", "Check the end point, and the offsets from the start point to the centre.", name,
                         measured=abs(first - last), limit=limit, unit="mm")
        return centre[0], centre[1], centre[2]

    def do_probe(self, v: list[float], axes: tuple[tuple[int, int, float], ...], absolute: bool, spindle: str) -> None:
        to = self.target(v, axes, absolute)
        if any(abs(to[a] - self.pos[a]) > 1e-9 for a in (3, 4, 5)):
            raise Reject("bad-value", "G38.2: a rotary axis cannot turn while probing", "Take A, B and C out.", "G38.2")
        far = math.sqrt(sum((to[a] - self.pos[a]) ** 2 for a in range(3)))
        if far < 0.254 - 1e-9:
            raise Reject("bad-value", f"G38.2: the point is {far:.4f} mm away; at least 0.254 mm (0.01 in) is needed",
                         "Probe towards a point farther away.", "G38.2", measured=far, limit=0.254, unit="mm")
        if spindle != "off":
            self.refuse_or_tell("conflicting-codes", "G38.2: the spindle turns while the probe is used",
                                "Write M5 before it.", "G38.2")
        feed, _ = self.feed()
        self.event("probe", code_name("G", 382))
        self.move(Kind.PROBE, (*to[:3], *self.pos[3:]), 0, feed)
        for axis in range(6):
            unit = self.feed_unit if axis < 3 else 1.0
            value = (self.pos[axis] - self.shift[axis]) / unit
            self.set_parameter(lexicon.PROBED + axis, value if self.strict else NAN)

    def refuse_or_tell(self, rule: str, message: str, fix: str, at: str) -> None:
        """Strict refuses the block; shop tells it as a warning."""
        if self.strict:
            raise Reject(rule, message, fix, at)
        self.fault(rule, message, fix, severity="warning", at=at, once=(rule, message))

    def do_cycle(self, v: list[float], c: CycleCall) -> None:
        first, second, normal = PLANE_AXES[c.plane]
        name = code_name("G", c.code)

        def bad(message: str, fix: str, at: str = name, **numbers: Any) -> Reject:
            return Reject("cycle-fault", f"{name}: {message}", fix, at, **numbers)

        sticky = dict(self.sticky) if not c.first else {}
        if not c.same and not self.dialect.allows("cycle-words-kept"):
            sticky = {}
        depth_letter = AXES[normal]
        for letter, slot in c.stored:
            value = v[slot]
            if letter == "P" and value < 0:
                raise bad("the dwell is negative", "Write P with the seconds to wait.", "P")
            if letter == "Q" and not value > 0:
                raise bad("the peck Q must be more than 0", "Write Q with the depth of a peck.", "Q")
            sticky[letter] = value * (c.scale if letter != "P" else 1.0)
        self.sticky = sticky
        repeats = 1
        if c.repeats >= 0:
            value = v[c.repeats]
            repeats = round(value) if abs(value) < 1e9 else 0
            if abs(value - repeats) > lexicon.WHOLE_TOLERANCE or repeats < 1:
                raise bad(f"the number of repeats must be a positive whole number, not {value:g}",
                          "Write L with a whole number of 1 or more.", "L")
        if not c.run:
            return
        for axis, slot, _ in c.rotary:
            if abs(self.target(v, ((axis, slot, 1.0),), c.absolute)[axis] - self.pos[axis]) > 1e-9:
                raise bad("a rotary axis cannot turn in a cycle", "Turn the axis in a block before it.", AXES[axis])
        here = self.pos
        if c.first:
            self.old_z = here[normal]
        base = self.shift[normal] if c.absolute else (here[normal] if self.strict else self.old_z)
        if "R" in sticky:
            retract = base + sticky["R"]
        else:
            retract = here[normal]
        bottom = (self.shift[normal] if c.absolute else retract) + sticky[depth_letter]
        if retract < bottom - 1e-9:
            raise bad(f"the retract level {retract - self.shift[normal]:g} is below the bottom"
                      f" {bottom - self.shift[normal]:g}", f"Check R and {depth_letter}.", "R",
                      measured=retract - self.shift[normal], limit=bottom - self.shift[normal], unit="mm")
        old = self.old_z
        clear = old if c.cycle_return == 98 and (old > retract or old != old) else retract
        high = self.high if old != old and normal == 2 else False
        level = 0.0
        if c.code == 870:
            k = sticky[OFFSET_LETTERS[normal]]
            level = (self.shift[normal] if c.absolute else bottom) + k
        feed, _ = self.feed()
        gap = self.dialect.value("peck_gap_mm")
        peck = sticky.get("Q", 0.0)
        if c.code in (830, 730) and (retract - bottom) / peck * repeats > self.bounds.moves:
            raise bad(f"pecks of {peck:g} mm would be far too many", "Check Q.", "Q", measured=peck)
        at = list(here)

        def go(kind: Kind, point: tuple[float, float, float], flags: int) -> None:
            at[first], at[second], at[normal] = point
            if point[2] != point[2] and high:
                flags |= Flag.HIGH_Z
            self.move(kind, tuple(at), int(flags) | Flag.CYCLE, NAN if kind == Kind.RAPID else feed)
            if point[2] != point[2]:
                self.high = high

        if here[normal] < retract:
            go(Kind.RAPID, (here[first], here[second], retract), 0)
        for _ in range(repeats):
            present = self.pos
            spot = self.target(v, c.hole, c.absolute)
            go(Kind.RAPID, (spot[first], spot[second], present[normal]), 0)
            go(Kind.RAPID, (spot[first], spot[second], retract), 0)
            hole = cycles.Hole(
                c.code, spot[first], spot[second], retract, bottom, clear, sticky.get("P", 0.0), peck, gap, c.spindle,
                (sticky.get(OFFSET_LETTERS[first], 0.0), sticky.get(OFFSET_LETTERS[second], 0.0)), level)
            for step in cycles.steps(hole):
                if step[0] in "rf":
                    go(Kind.RAPID if step[0] == "r" else Kind.FEED, step[1], step[2])
                elif step[0] == "dwell":
                    self.dwell(step[1])
                elif step[0] == "spindle":
                    self.event("spindle", step[1])
                    self.state_now = self.state_now._replace(spindle=step[1])
                else:
                    self.event("stop", 0.0, "the operator retracts by hand")

    def do_stop(self, v: list[float], code: int) -> None:
        if code == 1:
            self.event("optional-stop", 1.0)
            if not self.start.optional_stop:
                return
        self.event("stop", float(code))

    def do_end(self, v: list[float], code: int) -> None:
        self.g92 = (0.0,) * 6
        self.local = (0.0,) * 6
        self.comp = ()
        self.set_parameter(lexicon.SELECTED, 1.0)
        self.set_shift(1)
        self.ended = True
        self.event("stop", float(code))
        self.event("end", float(code))

    # -- the end

    def end_state(self) -> EndState:
        """The state after the last block."""
        position = tuple(p - s for p, s in zip(self.pos, self.shift, strict=True))
        machine = (*self.pos[:2], self.pos[2] + self.length, *self.pos[3:])
        start = _start_parameters(self.start, self.strict)
        if not self.strict and self.state_now.system not in self.declared:
            machine = (NAN, NAN, NAN, *machine[3:])
        changed = {i: x for i, x in sorted(self.parameters.values.items()) if start.get(i, 0.0) != x and i != lexicon.SELECTED
                   or i in self.parameters.written}
        unit = INCH if self.state_now.units == 20 else 1.0
        return EndState(position, machine, self.describe(self.state_now), None if self.f is None else self.f * unit,
                        changed, self.ended)


def _start_parameters(start: Start, strict: bool) -> dict[int, float]:
    values = {lexicon.SELECTED: 1.0} if strict else {}
    values.update(start.parameters)
    return values
