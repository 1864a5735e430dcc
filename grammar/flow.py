"""The order in which blocks run: loops, jumps, conditions, subprograms. None of it is of the published standard.

``Flow`` finds labels and the ends of loops in the text, keeps the call stack, and says for each block that steers which
block runs next. Every way round is bounded (``Bounds``), and a way round that changes nothing is told at once.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import field
from typing import TYPE_CHECKING, Any

from grammar.classes import dataclass
from grammar.evaluate import evaluate
from grammar.moves import Call
from grammar.parse import Reject, Template

if TYPE_CHECKING:
    from grammar.interpret import Machine

_LABEL = re.compile(r"[ \t]*/?[ \t]*N[ \t]*([0-9][0-9 \t]*)", re.IGNORECASE)
_PROGRAM = re.compile(r"[ \t]*(?:N[ \t]*[0-9]+[ \t]*)?(?:O[ \t]*|:[ \t]*)([0-9]+)", re.IGNORECASE)
_OWORD = re.compile(
    r"[ \t]*(?:N[ \t]*[0-9]+[ \t]*)?O[ \t]*([0-9]+|<[^<>]*>)[ \t]*"
    r"(SUB|ENDSUB|WHILE|ENDWHILE|DO|IF|ELSEIF|ELSE|ENDIF|REPEAT|ENDREPEAT)(?![A-Z])", re.IGNORECASE)
_LOOP = re.compile(r"(?<![A-Z])(DO|END)[ \t]*([0-9]+)", re.IGNORECASE)
_COMMENT = re.compile(r"\([^()]*\)|;.*")


@dataclass(slots=True)
class Level:
    """One level of the call stack: where to go back to, and what of the caller waits."""

    call: int
    kind: str  # "main", "file" (M97, M98) or "word" (O-word)
    first: int = 0
    back: int = 0
    repeats: int = 1
    counts: dict[str, int] = field(default_factory=dict)  # O-word repeats still to do
    taken: set[str] = field(default_factory=set)  # O-word conditions of which a branch has run


def _fault(message: str, fix: str) -> Reject:
    return Reject("subprogram-fault", message, fix, 0)


class Flow:
    """Where to go next. Lines are 0-based."""

    def __init__(self, lines: Sequence[str], machine: Machine) -> None:
        self.lines, self.m = lines, machine
        self.stack: list[Level] = [Level(0, "main")]
        self.jumps = 0
        self.marks: dict[tuple[int, int], tuple[int, str]] = {}
        self.found: dict[tuple[Any, ...], Any] = {}
        self._index: dict[str, Any] | None = None

    # -- what the text holds

    @property
    def index(self) -> dict[str, Any]:
        """Labels, program numbers, O-words and loop ends, found once."""
        if self._index is None:
            labels: dict[int, list[int]] = {}
            programs: dict[int, int] = {}
            owords: dict[str, list[tuple[int, str]]] = {}
            loops: list[tuple[int, str, int]] = []
            for i, line in enumerate(self.lines):
                found = _LABEL.match(line)
                if found is not None:
                    labels.setdefault(int(re.sub(r"[ \t]", "", found.group(1))[:9]), []).append(i)
                upper = line.upper()
                if "O" in upper or ":" in upper:
                    found = _OWORD.match(line)
                    if found is not None:
                        owords.setdefault(_name(found.group(1)), []).append((i, found.group(2).upper()))
                    else:
                        found = _PROGRAM.match(line)
                        if found is not None:
                            programs.setdefault(int(found.group(1)[:9]), i)
                if "DO" in upper or "END" in upper:
                    plain = _COMMENT.sub(" ", line)
                    loops += [(i, m.group(1).upper(), int(m.group(2)[:9])) for m in _LOOP.finditer(plain)]
            self._index = {"labels": labels, "programs": programs, "owords": owords, "loops": loops}
        return self._index

    def label(self, number: float, pc: int) -> int:
        """The line of a label: the next one from here, else the first of the program."""
        lines: list[int] = self.index["labels"].get(round(number) if abs(number) < 1e9 else -1, [])
        if not lines:
            raise _fault(f"there is no block N{number:g}", f"Add N{number:g} to the block that is meant.")
        return next((i for i in lines if i > pc), lines[0])

    # -- jumps

    def jump(self, pc: int, to: int) -> int:
        """Go from one line to another; on the way back, look whether anything changed since the last time."""
        if to <= pc:
            self.jumps += 1
            if self.jumps > self.m.bounds.jumps:
                self.m.runaway(f"the program goes back more than {self.m.bounds.jumps} times", self.m.bounds.jumps)
            made, before = len(self.m.record), self.marks.get((pc, to))
            mark = ""
            if before is not None and before[0] == made:  # no move since the last time: look closer
                mark = self.m.fingerprint() + repr([(level.first, level.repeats, level.counts) for level in self.stack])
                if before[1] == mark:
                    self.m.runaway("the loop changes nothing and never ends")
            self.marks[pc, to] = made, mark
        return to

    def clauses(self, pc: int, template: Template, run: Callable[[Template], None]) -> int:
        """Run a block of clauses (IF, WHILE, GOTO, ...); the next line."""
        parameters = self.m.parameters
        condition: float | None = None
        for kind, what in template.flow:
            if kind == "body":
                run(what)
            elif kind == "if":
                if not _true(evaluate(what, parameters)):
                    return pc + 1
            elif kind == "goto":
                return self.jump(pc, self.label(evaluate(what, parameters), pc))
            elif kind == "while":
                condition = evaluate(what, parameters)
            elif kind == "do":
                if condition is not None and not _true(condition):
                    return self.loop(pc, "END", what, 1) + 1
                condition = None
            elif kind == "end":
                return self.jump(pc, self.loop(pc, "DO", what, -1))
        return pc + 1

    def loop(self, pc: int, word: str, number: int, way: int) -> int:
        """The line of the DO or END that belongs to one of the other."""
        key = (pc, word, number)
        if key in self.found:
            return int(self.found[key])
        other = {"DO": "END", "END": "DO"}[word]
        depth = 0
        loops = self.index["loops"] if way > 0 else reversed(self.index["loops"])
        for line, kind, n in loops:
            if n != number or (line - pc) * way <= 0:
                continue
            if kind == word:
                if depth == 0:
                    self.found[key] = line
                    return int(line)
                depth -= 1
            else:
                depth += 1
        raise _fault(f"{other}{number} has no {word}{number}", f"Add {word}{number}, or take {other}{number} out.")

    # -- M97, M98, M99

    def m_code(self, pc: int, template: Template, words: dict[str, float]) -> int:
        """Carry out M97, M98 or M99 after the rest of its block; the next line."""
        if 990 in template.codes_m:
            return self.give_back(pc, words.get("P"))
        local = 970 in template.codes_m
        name = "M97" if local else "M98"
        number = words.get("P")
        if number is None or math.isnan(number):
            raise Reject("missing-word", f"{name} needs P with the number of the subprogram", "Add P.", name)
        repeats = words.get("L", words.get("K", 1.0))
        wanted = round(number) if 0 <= number < 1e9 else -1
        if local:
            first = self.label(number, pc)
        else:
            programs = self.index["programs"]
            if wanted not in programs and wanted > 9999 and wanted % 10000 in programs:
                repeats, wanted = float(wanted // 10000), wanted % 10000  # P holds repeats and number
            if wanted not in programs:
                raise _fault(f"the subprogram {wanted} is not in this file; what it does is not followed",
                             f"Put the subprogram O{wanted} into this file, or check it by itself.")
            first = programs[wanted]
        if repeats != repeats or abs(repeats - round(repeats)) > 1e-4 or repeats < 0:
            raise Reject("bad-value", f"{name}: the number of repeats must be a whole number, not {repeats:g}",
                         "Write L with a whole number.", "L")
        if round(repeats) == 0:
            return pc + 1
        return self.enter(pc, Level(0, "file", first, pc + 1, round(repeats)), f"{'N' if local else 'O'}{wanted}", first)

    def enter(self, pc: int, level: Level, name: str, first: int) -> int:
        """Go one level down."""
        m = self.m
        if len(self.stack) > m.bounds.calls:
            raise _fault(f"subprograms call one another more than {m.bounds.calls} deep", "Look for one that calls itself.")
        self.jumps += 1
        if self.jumps > m.bounds.jumps:
            m.runaway(f"the program jumps and calls more than {m.bounds.jumps} times", m.bounds.jumps)
        calls = m.record.calls
        calls.append(Call(m.call, pc, name))
        level.call = m.call = len(calls) - 1
        self.stack.append(level)
        m.event("call", text=name)
        return first

    def give_back(self, pc: int, label: float | None) -> int:
        """M99: again where repeats are left, else back to the caller; in the main program the end."""
        m = self.m
        while self.stack[-1].kind == "word":
            self.leave()
        level = self.stack[-1]
        if level.kind == "main":
            m.fault("no-program-end", "M99 in the main program starts it again; it is followed once",
                    "Write M30 where the program should end.", severity="note", at="M99")
            m.ended = True
            m.event("end", 99.0)
            return pc + 1
        level.repeats -= 1
        if level.repeats > 0:
            return self.jump(pc, level.first)
        back = level.back
        self.leave()
        if label is not None and not math.isnan(label):
            return self.jump(pc, self.label(label, back))
        return back

    def leave(self) -> None:
        """Go one level up."""
        level = self.stack.pop()
        m = self.m
        if level.kind == "word":
            m.parameters.locals.pop()
            m.parameters.names.pop()
        m.call = self.stack[-1].call
        m.event("return")

    # -- O-words

    def oword(self, pc: int, template: Template) -> int:
        """Carry out an O-word; the next line."""
        assert template.oword is not None
        name, key, arguments = template.oword
        name = _name(name)
        values = [evaluate(a, self.m.parameters) for a in arguments]
        return int(getattr(self, f"_{key.lower()}")(pc, name, values))

    def other(self, pc: int, name: str, keys: tuple[str, ...], way: int = 1) -> tuple[int, str]:
        """The next (or last) line of the same O-word with one of the keys."""
        known = (pc, name, keys, way)
        if known in self.found:
            line, key = self.found[known]
            return line, key
        lines = self.index["owords"].get(name, [])
        for line, key in lines if way > 0 else reversed(lines):
            if (line - pc) * way > 0 and key in keys:
                self.found[known] = line, key
                return line, key
        raise _fault(f"O{name} has no {' or '.join(keys).lower()}", f"Add O{name} {keys[-1].lower()}.")

    def _sub(self, pc: int, name: str, values: list[float]) -> int:
        return self.other(pc, name, ("ENDSUB",))[0] + 1

    def _call(self, pc: int, name: str, values: list[float]) -> int:
        lines = [line for line, key in self.index["owords"].get(name, []) if key == "SUB"]
        if not lines:
            raise _fault(f"the subroutine O{name} is not in this file; what it does is not followed",
                         f"Put O{name} sub into this file.")
        first = self.enter(pc, Level(0, "word", lines[0], pc + 1), f"O{name}", lines[0] + 1)
        self.m.parameters.locals.append({i + 1: v for i, v in enumerate(values[:30])})
        self.m.parameters.names.append({})
        return first

    def _endsub(self, pc: int, name: str, values: list[float]) -> int:
        level = self.stack[-1]
        if level.kind != "word":
            raise _fault(f"O{name} endsub ends nothing", f"Add O{name} sub before it, or take it out.")
        if values:
            self.m.parameters.names[0]["_VALUE"] = values[0]
        self.leave()
        return level.back

    _return = _endsub

    def _if(self, pc: int, name: str, values: list[float]) -> int:
        self.stack[-1].taken.discard(name)
        return self._branch(pc, name, values)

    def _branch(self, pc: int, name: str, values: list[float]) -> int:
        if not values:
            raise Reject("missing-word", f"O{name} if needs a condition", f"Write O{name} if [#1 GT 0].", 0)
        if _true(values[0]):
            self.stack[-1].taken.add(name)
            return pc + 1
        line, key = self.other(pc, name, ("ELSEIF", "ELSE", "ENDIF"))
        if key == "ELSE":
            self.stack[-1].taken.add(name)
            return line + 1
        return line if key == "ELSEIF" else line + 1

    def _elseif(self, pc: int, name: str, values: list[float]) -> int:
        if name in self.stack[-1].taken:
            return self.other(pc, name, ("ENDIF",))[0] + 1
        return self._branch(pc, name, values)

    def _else(self, pc: int, name: str, values: list[float]) -> int:
        return self.other(pc, name, ("ENDIF",))[0] + 1

    def _endif(self, pc: int, name: str, values: list[float]) -> int:
        return pc + 1

    def _while(self, pc: int, name: str, values: list[float]) -> int:
        if not values:
            raise Reject("missing-word", f"O{name} while needs a condition", f"Write O{name} while [#1 GT 0].", 0)
        lines = self.index["owords"].get(name, [])
        before = [line for line, key in lines if key == "DO" and line < pc]
        if before and not any(key == "ENDWHILE" for _, key in lines):  # the end of a do loop
            return self.jump(pc, before[-1] + 1) if _true(values[0]) else pc + 1
        if _true(values[0]):
            return pc + 1
        return self.other(pc, name, ("ENDWHILE",))[0] + 1

    def _endwhile(self, pc: int, name: str, values: list[float]) -> int:
        return self.jump(pc, self.other(pc, name, ("WHILE",), -1)[0])

    def _do(self, pc: int, name: str, values: list[float]) -> int:
        return pc + 1

    def _repeat(self, pc: int, name: str, values: list[float]) -> int:
        count = values[0] if values else math.nan
        if count != count:
            raise Reject("missing-word", f"O{name} repeat needs a number", f"Write O{name} repeat [5].", 0)
        end = self.other(pc, name, ("ENDREPEAT",))[0]
        if count < 1:
            return end + 1
        self.stack[-1].counts[name] = round(min(count, 1e9)) - 1
        return pc + 1

    def _endrepeat(self, pc: int, name: str, values: list[float]) -> int:
        counts = self.stack[-1].counts
        if counts.get(name, 0) > 0:
            counts[name] -= 1
            return self.jump(pc, self.other(pc, name, ("REPEAT",), -1)[0] + 1)
        counts.pop(name, None)
        return pc + 1

    def _break(self, pc: int, name: str, values: list[float]) -> int:
        line, _ = self.other(pc, name, ("ENDWHILE", "ENDREPEAT", "WHILE"))
        self.stack[-1].counts.pop(name, None)
        return line + 1

    def _continue(self, pc: int, name: str, values: list[float]) -> int:
        return self.other(pc, name, ("ENDWHILE", "ENDREPEAT", "WHILE"))[0]


def _name(text: str) -> str:
    return text.upper() if text.startswith("<") else str(int(text[:18]))


def _true(value: float) -> bool:
    return value == value and value != 0
