"""Bytes -> Program: the entry everybody uses."""

from __future__ import annotations

import itertools
import re
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from grammar import lexicon
from grammar.dialect import dialect as make_dialect
from grammar.evaluate import evaluate
from grammar.flow import Flow
from grammar.interpret import Machine, Stop
from grammar.moves import Bounds, Fault, Gap, Mode, Program, Start
from grammar.parse import Reject, Squeezed, Template, build, raw_place, shape, squeeze, without_text, words_of
from grammar.source import BOM, Source
from grammar.state import LOST_MOTION

if TYPE_CHECKING:
    from grammar.scan import Lines

STRICT_START = Start(
    position=(0.0,) * 6, tool=1, slots=20, feed=100.0, lengths={1: 50.0, 2: 75.5, 3: 0.0},
    diameters={1: 6.0, 2: 10.0, 3: -2.0})
SHOP_START = Start()
LINE_LENGTH = 256  # 3.3, line end not counted
CODE_LENGTH = 4096  # a block longer than this, comments and spaces not counted, is none
GREATEST = 1e12  # a number beyond this is a slip; keeps every later computation finite
_SALVAGED = frozenset(
    ["GG1", "GG2", "GG3", "GG4", "GG5", "GG6", "GG7", "GG8", "GG10", "GG12", "GG13", "MM4", "MM6", "MM7", "MM8", "MM9"])
_NOT_SALVAGED = frozenset(("G38.2", "G41", "G42", "G41.2", "G42.2", "G43", "M0", "M1", "M60"))
_CHANGE = re.compile(rb"[Mm][ \t]*0*6(?![0-9])")
KEPT_LINES = 20_000  # lines of loops and subprograms kept as read
EMPTY = Template(-1, "")
BULK_BYTES = 400_000  # below, reading line by line takes less than loading the compiler


def default_start(dialect: str) -> Start:
    """The machine before the first block where nobody says otherwise; ``dataclasses.replace`` what a shop declares."""
    return STRICT_START if dialect == "strict" else SHOP_START


def read_program(data: bytes, *, name: str = "program", dialect: str = "shop", start: Start | None = None,
                 bounds: Bounds = Bounds(), options: Mapping[str, bool] | None = None, fragment: bool = False,
                 plain: bool = False) -> Program:
    """Read and follow a program.

    ``options`` switch relaxations of the dialect on or off; ``fragment`` leaves out the rules about the end of a program;
    ``plain`` keeps the bulk reader out. Raises ValueError for a dialect or option that does not exist; never for what is
    in the bytes: every fault of the program is in ``Program.faults``.
    """
    source = Source(data, name)
    found = None if plain or len(data) < BULK_BYTES else scanned(source)
    reader = _Reader(source, dialect, start or default_start(dialect), bounds, options, fragment)
    if found is not None:
        reader.use_bulk(found)
    return reader.program()


def scanned(source: Source, *, mask: int = (1 << 63) - 1) -> Lines | None:
    """The lines of a program as the bulk pass sees them; None where the compiler can't be loaded. ``mask`` is for tests:
    it is and-ed to the hashes of shapes, to make them collide."""
    from grammar.jit import unavailable

    if unavailable() is not None or not len(source.data):
        return None
    from grammar.memory import keep_freed
    from grammar.scan import read_lines

    keep_freed()
    found = read_lines(source.data, mask=mask)
    if not source.data.startswith(BOM):
        source.know_lines(found.start, found.end)
    return found


class _Lines(Sequence[str]):
    """The lines of a source, made when they are asked for; one character a byte."""

    def __init__(self, source: Source) -> None:
        self.text, self.starts, self.ends = source.text, source.starts, source.ends

    def __len__(self) -> int:
        return len(self.starts)

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> list[str]: ...
    def __getitem__(self, index: int | slice) -> str | list[str]:
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        return self.text[int(self.starts[index]) : int(self.ends[index])]

    def __iter__(self) -> Iterator[str]:
        text = self.text
        return (text[a:b] for a, b in zip(self.starts.tolist(), self.ends.tolist(), strict=True))


class _Reader:
    """Follows one program."""

    def __init__(self, source: Source, dialect: str, start: Start, bounds: Bounds, options: Mapping[str, bool] | None,
                 fragment: bool) -> None:
        self.source, self.bounds, self.fragment = source, bounds, fragment
        self.dialect = make_dialect(dialect, options)
        self.strict = dialect == "strict"
        self.machine = Machine(self.dialect, start, bounds)
        self.language = self.machine.language
        self.start = start
        self.lines: Sequence[str] = _Lines(source)
        if len(source) < 50_000:
            self.lines = list(self.lines)
        self.bulk: Any = None
        self.codes: dict[str, int] = {}
        self.letters: dict[str, int] = {}
        self.seen: set[int] = set()
        self.blocks_run = 0
        self.stopped = False
        self.flow = Flow(self.lines, self.machine)
        self.machine.tool_word_counts = self.no_tool_change
        self._no_tool_change: bool | None = None
        self.ran = bytearray(len(self.lines))  # 1: the line was run
        self.again = 0  # blocks run that had run before
        self.kept: dict[int, tuple[Squeezed, Template, list[float]]] = {}  # lines run again, as read

    def use_bulk(self, lines: Lines) -> None:
        """Let runs of plain blocks be resolved as arrays."""
        from grammar.shapes import Bulk

        self.bulk = Bulk(lines, self.machine, self.template_of)

    def no_tool_change(self) -> bool:
        """Whether the program holds no M6: then T alone says which tool is in the spindle."""
        if self._no_tool_change is None:
            self._no_tool_change = _CHANGE.search(self.source.data) is None
        return self._no_tool_change

    def template_of(self, pc: int) -> tuple[Template, tuple[str, ...]]:
        """The template of a line without expressions, and the relaxations its characters lean on."""
        squeezed = squeeze(self.lines[pc], self.dialect)
        key, _ = shape(squeezed.text)
        return self.language.templates.of(key, squeezed.text), tuple(squeezed.relaxed)

    def program(self) -> Program:
        machine = self.machine
        opened, closed = self.percent()
        if 0 <= opened < len(self.lines) - 1:  # what is wrong with the start is told at the first block
            machine.faults[:] = [replace(f, block=opened + 1) for f in machine.faults]
        machine.move_limit = min(self.bounds.moves, self.bounds.moves_made + 4 * len(self.lines))
        self.deadline = None if self.bounds.seconds is None else time.monotonic() + self.bounds.seconds
        if self.source.data.startswith(BOM):
            self.byte_order_mark()
        pc = 0
        try:
            while pc < len(self.lines):
                if machine.ended or pc == closed:
                    break
                if self.bulk is not None and pc != opened and self.bulk.ready(pc):
                    done, templates, blocks = self.bulk.run(pc)
                    if done:
                        self.blocks_run += blocks
                        self.ran[pc : pc + done] = b"\x01" * done
                        if self.blocks_run > self.bounds.blocks_run:
                            machine.runaway(f"more than {self.bounds.blocks_run} blocks are run", self.bounds.blocks_run)
                        for template, line in templates:
                            self.note_words(line, template)
                        pc += done
                        continue
                pc = self.run_line(pc) if pc != opened else pc + 1
        except Stop:
            self.stopped = True
            machine.gaps.append(Gap("bound", "following the program stopped here", machine.block + 1, len(self.lines)))
        if not self.fragment and not self.stopped:
            self.ending(pc, opened, closed)
        self.afterthoughts()
        for axis, (cause, reason, block) in machine.lost.items():
            machine.gaps.append(Gap(cause, reason, block + 1, max(len(self.lines), 1), lexicon.AXES[axis].lower()))
        faults = tuple(sorted((self.placed(f) for f in machine.faults), key=lambda f: (f.line, f.column, f.rule)))
        return Program(
            source=self.source, dialect=self.dialect.name, moves=machine.record.moves(), events=tuple(machine.events),
            faults=faults, gaps=tuple(_joined(machine.gaps)), end=machine.end_state(),
            block_line=np.arange(1, len(self.lines) + 1, dtype=np.int32), codes=self.codes, letters=self.letters,
            blocks_run=self.blocks_run)

    def byte_order_mark(self) -> None:
        """A byte-order mark is no part of the language."""
        if self.dialect.allows("byte-order-mark"):
            self.machine.relaxed("byte-order-mark")
        else:
            self.machine.fault("unreadable-block", "the file begins with a byte-order mark, which is no character of the"
                               " language", "Save the file as plain text without it.", at=0)

    # -- percent lines and the end (3.1)

    def percent(self) -> tuple[int, int]:
        """The indices of the opening and the closing percent line, -1 where there is none."""
        first = next((i for i in range(len(self.lines)) if self.lines[i].strip(" \t")), -1)
        if first < 0 or not self.lines[first].lstrip(" \t").startswith("%"):
            return -1, -1
        if self.strict and self.lines[first].strip(" \t") != "%":
            return -1, -1  # refused as a block
        if not self.strict:
            return first, -1
        for i in range(first + 1, len(self.lines)):
            if self.lines[i].strip(" \t") == "%":
                return first, i
        return first, -1

    def ending(self, pc: int, opened: int, closed: int) -> None:
        machine = self.machine
        last = max(len(self.lines) - 1, 0)
        machine.block = last
        if self.strict and opened >= 0 and closed < 0:
            machine.fault("no-program-end", "the opening % has no closing %", "Add a line with % at the end.",
                          severity="warning" if machine.ended else "error")
        if (opened < 0 or not self.strict) and not machine.ended:
            machine.fault("no-program-end", "the program has neither M2 nor M30", "Add M2 or M30 at the end.",
                          severity="error" if self.strict else "note")
        if machine.ended:
            rest = [i for i in range(pc, len(self.lines)) if self.lines[i].strip() and not self.lines[i].strip().startswith(
                ("%", "(", ";"))]
            rest = [i for i in rest if not self.ran[i]]
            if rest:
                machine.block = rest[0]
                many = "1 block" if len(rest) == 1 else f"{len(rest)} blocks"
                machine.fault("unreached-blocks", f"never run: {many} after the end of the program",
                              "Take them out, or take the earlier M2 or M30 out.", severity="note")

    def afterthoughts(self) -> None:
        """What can be told only when the whole program has been followed."""
        machine = self.machine
        block, misfits, fit = machine.misfits
        if fit and fit == misfits and misfits >= machine.record.arc_count():
            machine.block = block
            machine.fault("arc-mismatch", f"{misfits} arcs fit only if I, J and K are positions, not offsets from the start",
                          "If the machine reads them so, switch the option absolute-centres on.", severity="warning", at=0)
        if machine.record.rotary:
            blocks = [machine.record.block_of(change[0]) for change in machine.record.rotary]
            machine.gaps.append(Gap("rotary", "a rotary axis turns", min(blocks) + 1, max(blocks) + 1))

    # -- one line

    def run_line(self, pc: int) -> int:
        """Run one line; the line that comes next."""
        machine = self.machine
        line = self.lines[pc]
        machine.block, machine.line = pc, line
        try:
            kept = self.kept.get(pc)
            if kept is not None:
                squeezed, template, numbers = kept
            else:
                squeezed, template, numbers = self.read_line(line)
                if self.ran[pc] and len(self.kept) < KEPT_LINES:
                    self.kept[pc] = squeezed, template, numbers
            if not squeezed.text:
                return pc + 1
            machine.comments = squeezed.comments
            if template.percent:
                if self.strict:
                    raise Reject("unreadable-block", "a % stands where none may be",
                                 "A % line opens the program or closes it, and holds nothing else.", line.index("%"))
                if squeezed.text != "%":
                    machine.relaxed("percent-text")
                return pc + 1
            if template.delete and self.start.block_delete and template.reject is None:
                self.skipped(template)
                return pc + 1
            self.count(pc)
            if template.reject is not None:
                raise template.reject.again()
            after = pc + 1
            if template.flow:
                after = self.flow.clauses(pc, template, self.run_body)
                self.relaxations((*squeezed.relaxed, *template.relaxed))
            elif template.oword is not None and template.oword[1]:
                self.relaxations((*squeezed.relaxed, *template.relaxed))
                after = self.flow.oword(pc, template)
            else:
                words = self.run_template(template, numbers, squeezed.relaxed)
                if self.subprograms.intersection(template.codes_m):
                    after = self.flow.m_code(pc, template, words)
            return after
        except Reject as reject:
            self.refused(pc, line, reject)
            return pc + 1

    def skipped(self, template: Template) -> None:
        """Warn of what is wrong with a block that the block delete switch leaves out: its syntax has been read (A.1)."""
        if self.strict and not template.values and not template.code_values:
            refused = self.language.step(self.machine.state_id, template).reject
            if refused is not None:
                self.machine.fault(refused.rule, f"in a block that is skipped: {refused.message}", refused.fix,
                                   severity="warning", at=refused.at if "squeezed" not in refused.numbers else None)

    subprograms = frozenset((970, 980, 990))

    def read_line(self, line: str) -> tuple[Squeezed, Template, list[float]]:
        """A line's squeezed text, template and numbers; free text is read as such where nothing else fits."""
        if len(line) > LINE_LENGTH:
            self.long_line(line)
        failure: Reject | None = None
        try:
            squeezed = squeeze(line, self.dialect)
            if len(squeezed.text) > CODE_LENGTH:
                raise Reject("line-too-long", f"the block has {len(squeezed.text)} characters; it is not read",
                             "Break it into blocks.", 0, measured=float(len(squeezed.text)), limit=float(CODE_LENGTH))
            key, texts = shape(squeezed.text)
            template = self.language.templates.of(key, squeezed.text) if squeezed.text else EMPTY
            if template.reject is None or template.reject.rule not in ("unreadable-block", "repeated-word", "unknown-code"):
                return squeezed, template, [float(t) for t in texts]
        except Reject as reject:
            failure = reject
        for option, text in without_text(line, self.dialect):
            try:
                other = squeeze(text, self.dialect)
                if len(other.text) > CODE_LENGTH:
                    continue
                key, others = shape(other.text)
                found = self.language.templates.of(key, other.text)
            except Reject:
                continue
            if found.reject is None:
                return other._replace(relaxed=(*other.relaxed, option)), found, [float(t) for t in others]
        if failure is not None:
            raise failure
        return squeezed, template, [float(t) for t in texts]

    def count(self, pc: int) -> None:
        """Count a block; stop at the bounds."""
        self.blocks_run += 1
        if not self.blocks_run % 4096:
            self.machine.tidy()
        if self.blocks_run > self.bounds.blocks_run:
            self.machine.runaway(f"more than {self.bounds.blocks_run} blocks are run", self.bounds.blocks_run)
        if self.ran[pc]:
            self.again += 1
            if self.again > self.bounds.blocks_again:
                self.machine.runaway(f"more than {self.bounds.blocks_again} blocks are run again", self.bounds.blocks_again)
        self.ran[pc] = 1
        if self.deadline is not None and self.blocks_run % 256 == 0 and time.monotonic() > self.deadline:
            self.machine.runaway(f"following the program takes longer than {self.bounds.seconds:g} s")

    def run_body(self, template: Template) -> None:
        """Run the words of one clause."""
        self.run_template(template, [], ())

    def run_template(self, template: Template, numbers: list[float], relaxed: Sequence[str]) -> dict[str, float]:
        """Carry a block's words out; its numbers by letter."""
        machine = self.machine
        if template.values is not None:
            numbers = [evaluate(value, machine.parameters) for value in template.values]
            if template.code_values:
                codes = [(c, evaluate(value, machine.parameters)) for c, value in template.code_values]
                template = self.language.templates.concrete(template, codes)
        if numbers and (max(numbers) > GREATEST or min(numbers) < -GREATEST):
            letter, number = max(zip(template.letters, numbers, strict=True), key=lambda pair: abs(pair[1]))
            raise Reject("bad-value", f"{letter}{number:g} is far beyond any machine",
                         "Write the number again, with its decimal point.", letter)
        if template.number not in self.seen:
            self.note_words(machine.block, template)
        step = self.language.step(machine.state_id, template)
        if step.reject is not None:
            raise step.reject.again()
        before = machine.pos
        machine.resolve(step, numbers)
        if template.values is not None:
            self.unset(before)
        if relaxed or step.relaxed:
            self.relaxations((*relaxed, *step.relaxed))
        return dict(zip(template.letters, numbers, strict=True)) if template.codes_m else {}

    def relaxations(self, options: Sequence[str]) -> None:
        """Tell the relaxations a block leans on, each once a program."""
        for option in options:
            self.machine.relaxed(option)

    def long_line(self, line: str) -> None:
        if len(line) > self.bounds.line_bytes:
            raise Reject("line-too-long", f"the line has {len(line)} characters; it is not read", "Break it into blocks.",
                         0, measured=float(len(line)), limit=float(self.bounds.line_bytes))
        if self.dialect.allows("long-line"):
            self.machine.fault("line-too-long", f"the line has {len(line)} characters; many controls read {LINE_LENGTH}",
                               "Break it into shorter blocks.", severity="note", at=0, once=("line-too-long",),
                               measured=float(len(line)), limit=float(LINE_LENGTH))
            return
        raise Reject("line-too-long", f"the line has {len(line)} characters; {LINE_LENGTH} are allowed",
                     "Break it into shorter blocks.", 0, measured=float(len(line)), limit=float(LINE_LENGTH))

    def note_words(self, pc: int, template: Template) -> None:
        if template.number in self.seen:
            return
        self.seen.add(template.number)
        for code in template.codes_g:
            self.codes.setdefault(lexicon.code_name("G", code), pc)
        for code in template.codes_m:
            self.codes.setdefault(lexicon.code_name("M", code), pc)
        for letter in (*template.letters, *template.bare, *("G" * bool(template.codes_g)), *("M" * bool(template.codes_m)),
                       *("T" * (template.tool is not None))):
            self.letters.setdefault(letter, pc)

    def unset(self, before: tuple[float, ...]) -> None:
        """Tell parameters that were read though nothing has set them, and axes lost to them."""
        machine = self.machine
        names = list(machine.parameters.unset)
        machine.parameters.unset.clear()
        for name in names:
            if name.startswith("#<") or int(name[1:]) < 500:  # the others keep values from run to run, or are the machine's
                machine.fault("expression-fault", f"{name} is read, but nothing has set it", "Set it before this block.",
                              once=("unset", name))
        lost = {a for a in range(3) if machine.pos[a] != machine.pos[a] and before[a] == before[a] and a not in machine.lost}
        if lost and not machine.high:
            machine.lose(lost, "parameter", f"the value of {', '.join(names) or 'a parameter'} is not known")

    def refused(self, pc: int, line: str, reject: Reject) -> None:
        """One fault for a refused block; in shop the axes it names, or may name, become unknown."""
        machine = self.machine
        at = reject.at
        if "squeezed" in reject.numbers:
            at = self.place(line, reject)
        if reject.rule:
            machine.fault(reject.rule, reject.message, reject.fix, at=at,
                          **{k: v for k, v in reject.numbers.items() if k not in ("squeezed", "text")})
        if self.strict:
            return
        if reject.rule and reject.rule != "line-too-long":
            self.salvage(line)
        if reject.rule == "line-too-long":
            machine.lose({0, 1, 2}, "unreadable-block", reject.message)
            return
        words = {w.letter for w in words_of(line, self.dialect)}
        named = {lexicon.AXES.index(c) for c in words & set(lexicon.AXES)}
        if reject.rule in ("unknown-code", "subprogram-fault") and not named:
            named = {0, 1, 2}
        if not words and reject.rule == "unreadable-block":
            named = {lexicon.AXES.index(c) for c in line.upper() if c in "XYZ"}
        cause = "unknown-code" if reject.rule == "unknown-code" else "unreadable-block"
        machine.lose(named, cause, reject.message)
        if machine.comp and named & {0, 1}:
            from grammar.compensation import resume

            machine.lose({0, 1}, cause, reject.message)
            resume(machine)

    def salvage(self, line: str) -> None:
        """Of a refused block, take the modes, F, S, T and M codes that can be read: once the block is mended they hold, and
        what follows must not be read in the modes before it."""
        machine = self.machine
        groups: dict[str, list[str]] = {}
        lost = 0
        for word in words_of(line, self.dialect):
            if word.value is None:
                continue
            name = re.sub(r"[ \t]", "", word.text).upper()
            if word.letter in "FST":
                groups.setdefault(word.letter, []).append(name)
            elif word.letter in "GM" and abs(word.value) < 1000:
                code = round(word.value * 10)
                row = (lexicon.G_CODES if word.letter == "G" else lexicon.M_CODES).get(code)
                if row is None or (row.option and not self.dialect.allows(row.option)):
                    continue
                if word.letter == "G" and code in lexicon.CYCLES:
                    lost = LOST_MOTION
                elif word.letter == "G" and code in (20, 30):
                    lost = -code
                elif word.letter + row.group in _SALVAGED and row.name not in _NOT_SALVAGED:
                    groups.setdefault(word.letter + row.group, []).append(row.name)
        text = "".join(names[0] for names in groups.values() if len(names) == 1)
        if text:
            try:
                key, texts = shape(text)
                template = self.language.templates.of(key, text)
                step = self.language.step(machine.state_id, template)
                if step.reject is None:
                    machine.resolve(step, [float(t) for t in texts])
            except Reject:
                pass
        if lost:
            state = self.language.states[machine.state_id]._replace(motion=lost, kept="")
            machine.state_id = self.language.id_of(state)
            machine.take_state(machine.state_id)

    def place(self, line: str, reject: Reject) -> int:
        """The raw index of a fault found in squeezed text, found again for this very line."""
        try:
            squeezed = squeeze(line, self.dialect)
        except Reject:
            return 0
        index = int(reject.numbers["squeezed"])
        if squeezed.text != reject.numbers.get("text"):
            key, _ = shape(squeezed.text)
            own = build(itertools.count(), key, squeezed.text, self.dialect, self.bounds.brackets).reject
            if own is not None:
                index = int(own.numbers.get("squeezed", index))
        return raw_place(line, squeezed, index)

    def placed(self, fault: Fault) -> Fault:
        """A fault with its line and column."""
        block = fault.block or 0
        line = block + 1
        message, column = fault.message, fault.column
        at: str | None = None
        if message.startswith("\x00"):
            _, at, message = message.split("\x00", 2)
        if not self.lines:
            return replace(fault, line=1, column=1, message=message)
        text = self.lines[block]
        end: int | None = None
        if at is not None:
            for word in words_of(text, self.dialect):
                whole = word.letter + (f"{word.value:g}" if word.value is not None else "")
                if whole == at or (len(at) == 1 and word.letter == at):
                    column, end = self.source.column_at(line, word.start), self.source.column_at(line, word.end)
                    break
        elif column:
            column = self.source.column_at(line, column - 1)
        if not column:
            column = len(text) - len(text.lstrip()) + 1 if text.strip() else 1
        return replace(fault, line=line, column=column, message=message, end_line=line, end_column=end, block=block)


def _joined(gaps: list[Gap]) -> list[Gap]:
    """Gaps of several axes over the same lines as one."""
    found: dict[tuple[str, str, int, int], str] = {}
    for gap in gaps:
        key = (gap.cause, gap.reason, gap.from_line, gap.to_line)
        found[key] = "".join(sorted(set(found.get(key, "")) | set(gap.axes)))
    return sorted((Gap(*key, axes) for key, axes in found.items()), key=lambda g: (g.from_line, g.to_line, g.cause))


__all__ = ["Mode", "Program", "default_start", "read_program"]
