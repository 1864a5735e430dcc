"""The discrete state machine: (state, template) -> (state, actions), worked out once for each pair.

Everything that does not depend on numbers is decided here, in the order of execution (3.8, Table 8): which codes go
together, which words a code needs or cannot use, which motion the block makes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from grammar import compensation, lexicon, offsets, words
from grammar import motion as moving
from grammar.dialect import Dialect
from grammar.lexicon import AXES, CYCLES, MOTIONS, OFFSET_LETTERS, PLANE_AXES, SYSTEMS, code_name
from grammar.moves import Kind
from grammar.parse import Reject, Template, Templates
from grammar.state import INCH, LOST_MOTION, NO_MOTION, Action, CycleCall, Plain, State, Step

__all__ = ["Language", "Plain", "State", "Step", "language"]


_STEPS_KEPT = 100_000


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
            if len(self.memo) >= _STEPS_KEPT:
                self.memo.clear()
            try:
                found = _Stepper(self, self.states[state], template).run()
            except Reject as reject:
                found = Step(state, reject=reject.again())
            self.memo[key] = found
        return found


@lru_cache(maxsize=16)
def language(dialect: Dialect, bracket_limit: int = 64) -> Language:
    """The state machine of a dialect."""
    return Language(dialect, bracket_limit)


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
        t = self.t
        if t.reject is not None:
            raise t.reject.again()
        if t.percent:
            return Step(self.language.id_of(self.old))
        if t.settings and not t.flow:
            self.act(words.settings, t.settings)
        if t.comments:
            self.act(words.comment)
        motion, user = self.motion_of_block()
        modal = {g: c for c in t.codes_g for g in (lexicon.G_CODES[c].group if c in lexicon.G_CODES else "",)}
        if "G5" in modal:
            self.s["feed_mode"] = modal["G5"] // 10
        feed = self.slot("F") if "F" in self.have else -1
        cutting = motion in (10, 20, 30)
        inverse = self.s["feed_mode"] == 93
        if feed >= 0 and (not inverse or cutting):
            self.act(words.feed_word, feed)
        if "S" in self.have and self.slot("S") >= 0:
            self.act(words.speed, t.slots["S"])
        if "T" in self.have:
            self.used.add("T")
            if t.tool is not None:
                self.act(words.tool_number, t.tool, t.tool_digits)
            elif self.slot("T") >= 0:
                self.act(words.tool_word, t.slots["T"])
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
            if self.allow("path-tolerance") and self.have & {"P", "Q"} and self.g(40) < 0:
                self.relaxed.append("path-tolerance")
                self.used |= {"P", "Q"}
        if "G3" in modal:
            self.s["distance"] = modal["G3"] // 10
        if "G4" in modal:
            self.s["arc_positions"] = modal["G4"] == 901
        if "G10" in modal:
            self.s["cycle_return"] = modal["G10"] // 10
        if user >= 0 or self.g(921, 922, 923, 100, 120, 130) >= 0:
            self.group_zero()
        self.move(motion)
        self.stop()
        unused = "".join(sorted(self.have - self.used))
        quiet = "".join(c for c in unused if c in t.bare)
        unused = "".join(c for c in unused if c not in quiet)
        if unused:
            if not self.allow("word-without-use"):
                raise Reject("unused-word", f"no code of the block can use the word {unused[0]}",
                             f"Take {unused[0]} out, or add the code it belongs to.", unused[0])
            self.act(words.unused, unused)
        after = State(**self.s)
        plain = self.plain
        only = [a for a in self.actions if a[0] not in (words.feed_word, moving.straight, moving.circular)]
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
            if row is not None and row.group == "G1" and (code < 0 or c != 800):
                code = c
        if 800 in t.codes_g and code in (0, 10):
            self.s["kept"] = ""  # G80 beside G0 or G1: see cancel-and-move in parse.py
        if user >= 0 and code in MOTIONS:
            raise Reject("conflicting-codes",
                         f"{code_name('G', user)} and {code_name('G', code)} both want the axis words of the block",
                         "Make two blocks.", code_name("G", code))
        axis_words = self.have & set(AXES)
        if any(c not in lexicon.M_CODES for c in t.codes_m) and axis_words <= set(t.bare):
            axis_words = set()
        if self.g(40) >= 0 and "P" not in self.have and code < 0 and axis_words <= {"X"}:
            axis_words = set()
        if user >= 0 or self.g(120, 130) >= 0:
            return NO_MOTION, user
        if code >= 0:
            if code == 800 and axis_words:
                raise Reject("conflicting-codes", "G80 ends all motion, but the block has axis words",
                             "Take the axis words out, or write the motion code that is meant.", "G80")
            return (code if code != 800 else NO_MOTION), user
        offsets = self.have & set(OFFSET_LETTERS)
        modal = self.old.motion
        if modal in (-20, -30):
            modal = -modal if offsets or "R" in self.have else LOST_MOTION
        if axis_words:
            return modal if modal != NO_MOTION else 800, user
        if offsets and modal in (20, 30) and self.g(530) < 0 and "P" not in self.have:
            return modal, user
        return NO_MOTION, user

    def m_codes(self) -> None:
        t, s = self.t, self.s
        codes = set(t.codes_m)
        if 60 in codes:
            self.act(words.tool_change)
            s["spindle"] = "off"
        for code, way in ((30, "cw"), (40, "ccw"), (50, "off"), (130, "cw"), (140, "ccw"), (190, "off")):
            if code in codes:
                s["spindle"] = way
                self.act(words.spindle, way)
        if codes & {130, 140}:
            s["flood"] = True
            self.act(words.coolant, "8")
        for code, name in ((70, "mist"), (80, "flood")):
            if code in codes:
                s[name] = True
                self.act(words.coolant, str(code // 10))
        if 90 in codes:
            s["mist"] = s["flood"] = False
            self.act(words.coolant, "9")
        if 480 in codes:
            s["overrides"] = True
        if 490 in codes:
            s["overrides"] = False
        if codes & {970, 980, 990}:
            self.used |= {"P", "L"} | ({"K"} if "L" not in self.have else set())
        for code in t.codes_m:
            if code not in lexicon.M_CODES:
                lost = frozenset(AXES.index(c) for c in t.bare if c in AXES)
                self.act(words.unknown_m, code, lost)
                self.used |= {"P", "S"}  # its own parameters: what it does with them only the machine's manual says

    def dwell(self) -> None:
        if "P" in self.t.slots:
            self.act(words.dwell_word, self.slot("P"))
            return
        if "X" in self.t.slots and not self.have & set("YZABC") and self.g(*MOTIONS) < 0:
            self.relax("dwell-other-letter", self.missing("P", "G4", "Add P with the seconds."))
            self.act(words.dwell_word, self.slot("X"))
            return
        raise self.missing("P", "G4", "Add P with the seconds to wait.")

    def units(self, modal: Mapping[str, int]) -> None:
        if "G6" not in modal:
            return
        units = {200: 20, 210: 21, 700: 20, 710: 21}[modal["G6"]]
        if units != self.s["units"] and self.compensating:
            raise self.comp_fault(modal["G6"], "the length unit cannot change")
        self.s["units"] = units
        self.act(words.units, units)

    def comp_fault(self, code: int, what: str) -> Reject:
        return Reject("compensation-fault", f"{code_name('G', code)}: {what} while cutter radius compensation is on",
                      "Write G40 in a block before it.", code_name("G", code))

    def compensation(self, modal: Mapping[str, int]) -> None:
        if "G7" not in modal:
            return
        code = modal["G7"]
        if code == 400:
            self.s["compensation"] = 40
            self.act(compensation.switch_off)
            return
        side = code // 10
        if self.s["plane"] != 17:
            raise Reject("compensation-fault", f"{code_name('G', code)} works in the XY plane only",
                         "Write G17 in a block before it.", code_name("G", code))
        if self.compensating:
            same = self.s["compensation"] == side
            self.relax("restated-compensation" if same else "", Reject(
                "compensation-fault", f"{code_name('G', code)}: compensation is already on",
                "Write G40 in a block before it.", code_name("G", code)))
        self.s["compensation"] = side
        self.act(compensation.switch_on, side, self.slot("D") if "D" in self.have else -1, code in (412, 422),
                 self.scale)

    def length(self, modal: Mapping[str, int]) -> None:
        if "G8" not in modal:
            return
        if self.compensating:
            self.act(words.warn, "compensation-fault", "the length offset changes while cutter radius compensation is on; the"
                     " standard does not say what happens", "Change it before G41 or G42.", code_name("G", modal["G8"]))
        if modal["G8"] == 490:
            self.s["length"] = 49
            if "H" in self.have and self.allow("word-without-use"):
                self.used.add("H")
            self.act(offsets.length_off)
            return
        if "H" not in self.t.slots:
            self.relax("length-offset-without-number", self.missing("H", "G43", "Add H with the number of the tool."))
        self.s["length"] = 43
        self.act(offsets.length, self.slot("H") if "H" in self.have else -1)

    def system(self, modal: Mapping[str, int]) -> None:
        if "G12" not in modal:
            return
        code = modal["G12"]
        if self.compensating:
            raise self.comp_fault(code, "the coordinate system cannot be chosen")
        self.s["system"] = SYSTEMS.index(code_name("G", code)) + 1
        self.act(offsets.system, self.s["system"], self.scale)

    def group_zero(self) -> None:
        if self.g(120, 130) >= 0:
            self.pocket()
            return
        code = self.g(280, 300, 100, 920, 921, 922, 923, 520)
        if code < 0:
            return
        name = code_name("G", code)
        if code in (280, 300):
            if self.compensating:
                raise self.comp_fault(code, "a return to reference cannot be made")
            named = "".join(c for c in AXES if c in self.have)
            self.used |= set(named)
            self.act(moving.home, code, self.axes(), self.s["distance"] == 90, named, self.scale)
            return
        if code == 100:
            self.origin()
            return
        if self.compensating:
            raise self.comp_fault(code, "the axis offsets cannot change")
        if code == 921:
            self.act(offsets.shift_clear, True)
        elif code == 922:
            self.act(offsets.shift_clear, False)
        elif code == 923:
            self.act(offsets.shift_restore, self.scale)
        else:
            axes = self.axes()
            if not axes:
                raise self.missing("at least one axis word", name)
            self.act(offsets.local_shift if code == 520 else offsets.shift, axes, self.scale)

    def pocket(self) -> None:
        """G12, G13: not of the standard."""
        code = self.g(120, 130)
        name = code_name("G", code)
        if self.s["plane"] != 17:
            raise Reject("conflicting-codes", f"{name} works in the XY plane only", "Write G17 in a block before it.", name)
        if self.compensating:
            raise self.comp_fault(code, "no pocket can be cut")
        if "I" not in self.t.slots:
            raise self.missing("I", name, "Add I with the radius of the first circle.")
        slots = {c: self.slot(c) for c in "IKQD" if c in self.t.slots}
        self.act(moving.pocket, -1 if code == 120 else 1, slots, self.scale)

    def origin(self) -> None:
        if "L" not in self.t.slots:
            raise self.missing("L", "G10", "Write G10 L2 P1 with the axes.")
        if "P" not in self.t.slots:
            raise self.missing("P", "G10", "Add P with the number of the coordinate system, 1 to 9.")
        if self.compensating:
            self.act(words.warn, "compensation-fault", "an origin is set while cutter radius compensation is on; the standard"
                     " does not say what happens", "Set it before G41 or G42.", "G10")
        self.act(offsets.origin, self.slot("L"), self.slot("P"), self.axes(), self.scale)

    # -- motion

    def move(self, motion: int) -> None:
        t = self.t
        if 800 in t.codes_g and motion == NO_MOTION:
            self.s["motion"] = 800
            self.s["kept"] = ""
        if motion == NO_MOTION:
            if self.g(530) >= 0:
                raise self.missing("at least one axis word", "G53")
            return
        if motion == LOST_MOTION:
            raise Reject("", "the block that sets the motion was refused", "Mend that block first.")
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
        plain = Plain(Kind.RAPID if motion == 0 else Kind.FEED, axes, self.s["distance"] == 90, t.slots.get("F", -1),
                      self.scale)
        if self.g(530) >= 0:
            self.act(moving.machine_straight, plain)
        elif self.compensating:
            self.act(compensation.compensated, plain, motion)
        else:
            self.plain = plain
            self.act(moving.straight, plain)

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
            self.act(compensation.compensated, plain, motion)
        else:
            self.plain = plain
            self.act(moving.circular, plain)

    def probe(self) -> None:
        axes = self.axes()
        if self.compensating:
            raise self.comp_fault(382, "the probe cannot be used")
        if self.s["feed_mode"] == 93:
            raise Reject("conflicting-codes", "G38.2 cannot be used in inverse time (G93)", "Write G94 before it.", "G38.2")
        if not any(a < 3 for a, _, _ in axes):
            raise self.missing("X, Y or Z", "G38.2")
        self.act(moving.probe, axes, self.s["distance"] == 90, self.s["spindle"])

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
        self.act(moving.cycle, CycleCall(
            motion, s["plane"], hole, rotary, stored, repeats, s["distance"] == 90, self.scale, s["cycle_return"],
            self.old.motion not in CYCLES, same, way, bool(linear)))

    def stop(self) -> None:
        s = self.s
        codes = self.t.codes_m
        for code in (0, 10, 600):
            if code in codes:
                self.act(words.program_stop, code // 10)
        if 20 in codes or 300 in codes:
            s.update(motion=10, plane=17, distance=90, feed_mode=94, compensation=40, system=1, spindle="off",
                     mist=False, flood=False, overrides=True, kept="")
            self.act(words.program_end, 2 if 20 in codes else 30)


