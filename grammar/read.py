"""Bytes -> Program: the entry everybody uses."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, overload

import numpy as np

from grammar import lexicon
from grammar.dialect import dialect as make_dialect
from grammar.evaluate import evaluate
from grammar.interpret import Machine, Stop
from grammar.moves import Bounds, Fault, Gap, Mode, Program, Start
from grammar.parse import Reject, Template, raw_place, shape, squeeze, words_of
from grammar.source import BOM, Source

if TYPE_CHECKING:
    from grammar.scan import Lines

STRICT_START = Start(
    position=(0.0,) * 6, tool=1, slots=20, feed=100.0, lengths={1: 50.0, 2: 75.5, 3: 0.0},
    diameters={1: 6.0, 2: 10.0, 3: -2.0})
SHOP_START = Start()
LINE_LENGTH = 256  # 3.3, line end not counted
GREATEST = 1e12  # a number beyond this is a slip; keeps every later computation finite
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
    from grammar.scan import read_lines

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

    def use_bulk(self, lines: Lines) -> None:
        """Let runs of plain blocks be resolved as arrays."""
        from grammar.shapes import Bulk

        self.bulk = Bulk(lines, self.machine, self.template_of)

    def template_of(self, pc: int) -> tuple[Template, tuple[str, ...]]:
        """The template of a line without expressions, and the relaxations its characters lean on."""
        squeezed = squeeze(self.lines[pc], self.dialect)
        key, _ = shape(squeezed.text)
        return self.language.templates.of(key, squeezed.text), tuple(squeezed.relaxed)

    def program(self) -> Program:
        machine = self.machine
        opened, closed = self.percent()
        pc = 0
        try:
            while pc < len(self.lines):
                if machine.ended or pc == closed:
                    break
                if self.bulk is not None and pc != opened and self.bulk.ready(pc):
                    done, templates, blocks = self.bulk.run(pc)
                    if done:
                        self.blocks_run += blocks
                        for template, line in templates:
                            self.note_words(line, template)
                        pc += done
                        continue
                if pc != opened:
                    self.run_line(pc)
                pc += 1
        except Stop:
            self.stopped = True
            machine.gaps.append(Gap("bound", "following the program stopped here", machine.block + 1, len(self.lines)))
        if not self.fragment and not self.stopped:
            self.ending(pc, opened, closed)
        for axis, (cause, reason, block) in machine.lost.items():
            machine.gaps.append(Gap(cause, reason, block + 1, max(len(self.lines), 1), lexicon.AXES[axis].lower()))
        faults = tuple(sorted((self.placed(f) for f in machine.faults), key=lambda f: (f.line, f.column, f.rule)))
        return Program(
            source=self.source, dialect=self.dialect.name, moves=machine.record.moves(), events=tuple(machine.events),
            faults=faults, gaps=tuple(_joined(machine.gaps)), end=machine.end_state(),
            block_line=np.arange(1, len(self.lines) + 1, dtype=np.int32), codes=self.codes, letters=self.letters,
            blocks_run=self.blocks_run)

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
        if opened < 0 or not self.strict:
            if not machine.ended:
                machine.fault("no-program-end", "the program has neither M2 nor M30", "Add M2 or M30 at the end.",
                              severity="error" if self.strict else "note")
        if machine.ended:
            rest = [i for i in range(pc, len(self.lines)) if self.lines[i].strip() and not self.lines[i].strip().startswith(
                ("%", "(", ";"))]
            if rest and not any(i in self.seen for i in rest):
                machine.block = rest[0]
                machine.fault("unreached-blocks", f"{len(rest)} blocks after the end of the program are never run",
                              "Take them out, or take the earlier M2 or M30 out.", severity="note")

    # -- one line

    def run_line(self, pc: int) -> None:
        machine = self.machine
        line = self.lines[pc]
        machine.block, machine.line = pc, line
        try:
            if len(line) > LINE_LENGTH:
                self.long_line(line)
            squeezed = squeeze(line, self.dialect)
            if not squeezed.text:
                return
            key, texts = shape(squeezed.text)
            template = self.language.templates.of(key, squeezed.text)
            if template.percent:
                if self.strict:
                    raise Reject("unreadable-block", "a % stands where none may be",
                                 "A % line opens the program or closes it, and holds nothing else.", line.index("%"))
                return
            if template.delete and self.start.block_delete and template.reject is None:
                return
            self.blocks_run += 1
            if template.reject is not None:
                raise template.reject
            if template.values is None:
                numbers = [float(t) for t in texts]
            else:
                numbers = [evaluate(value, machine.parameters) for value in template.values]
                if template.code_values:
                    codes = [(c, evaluate(value, machine.parameters)) for c, value in template.code_values]
                    template = self.language.templates.concrete(template, codes)
            for letter, number in zip(template.letters, numbers, strict=True):
                if abs(number) > GREATEST:
                    raise Reject("bad-value", f"{letter}{number:g} is far beyond any machine",
                                 "Write the number again, with its decimal point.", letter)
            self.note_words(pc, template)
            step = self.language.step(machine.state_id, template)
            if step.reject is not None:
                raise step.reject
            if machine.parameters.unset:
                self.unset(template)
            machine.resolve(step, numbers)
            for option in (*squeezed.relaxed, *step.relaxed):
                machine.relaxed(option)
        except Reject as reject:
            self.refused(pc, line, reject)

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

    def unset(self, template: Template) -> None:
        machine = self.machine
        for name in machine.parameters.unset:
            machine.fault("expression-fault", f"{name} is read, but nothing has set it", "Set it before this block.",
                          once=("unset", name))
        machine.parameters.unset.clear()

    def refused(self, pc: int, line: str, reject: Reject) -> None:
        """One fault for a refused block; in shop the axes it names, or may name, become unknown."""
        machine = self.machine
        at = reject.at
        if "squeezed" in reject.numbers:
            at = self.place(line, reject)
        machine.fault(reject.rule, reject.message, reject.fix, at=at,
                      **{k: v for k, v in reject.numbers.items() if k != "squeezed"})
        if self.strict:
            return
        words = {w.letter for w in words_of(line, self.dialect)}
        named = {lexicon.AXES.index(c) for c in words & set(lexicon.AXES)}
        if reject.rule == "unknown-code" and not named:
            named = {0, 1, 2}
        if not words and reject.rule == "unreadable-block":
            named = {lexicon.AXES.index(c) for c in line.upper() if c in "XYZ"}
        cause = "unknown-code" if reject.rule == "unknown-code" else "unreadable-block"
        machine.lose(named, cause, reject.message)

    def place(self, line: str, reject: Reject) -> int:
        """The raw index of a fault found in squeezed text, found again for this very line."""
        try:
            if len(line) > LINE_LENGTH:
                self.long_line(line)
            squeezed = squeeze(line, self.dialect)
        except Reject:
            return 0
        index = int(reject.numbers["squeezed"])
        key, _ = shape(squeezed.text)
        from grammar.parse import build

        own = build(0, key, squeezed.text, self.dialect, self.bounds.brackets).reject
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
