"""The bytes of a program: lines, encoding, tokens and edits.

Syntax is read from ``text``, in which one byte is one character (latin-1); the declared or found encoding serves the
display only, so a strange byte in a comment can never shift a position.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from grammar.classes import dataclass

BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True, slots=True)
class Token:
    """A stretch of a program: byte offsets ``[start, end)`` and what it is.

    Kinds: bom, space, end-of-line, percent, block-delete, line-number, letter, number, code, comment, text, operator,
    name, bracket, unread.
    """

    start: int
    end: int
    kind: str


@dataclass(frozen=True, slots=True)
class Edit:
    """Replace the bytes ``[start, end)`` by ``new``."""

    start: int
    end: int
    new: bytes


@dataclass(frozen=True, eq=False)
class Source:
    """A program as it lies on the disk.

    ``starts`` and ``ends`` are the byte offsets of each line without its line end; line ends are LF, CR LF or CR.
    A last line without a line end counts; an empty file has no line.
    """

    data: bytes
    name: str = "program"

    @cached_property
    def encoding(self) -> str:
        """"ascii", "utf-8", "utf-8-sig" (with a byte-order mark) or "cp1252"."""
        if self.data.startswith(BOM):
            return "utf-8-sig"
        if self.data.isascii():
            return "ascii"
        try:
            self.data.decode("utf-8")
        except UnicodeDecodeError:
            return "cp1252"
        return "utf-8"

    @cached_property
    def text(self) -> str:
        """The whole program, one character a byte."""
        return self.data.decode("latin-1")

    @cached_property
    def _bounds(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        raw = np.frombuffer(self.data, dtype=np.uint8)
        first = len(BOM) if self.data.startswith(BOM) else 0
        line_feed = raw == 10
        if b"\r" in self.data:
            carriage = raw == 13
            pair = np.zeros(len(raw), dtype=bool)
            pair[:-1] = carriage[:-1] & line_feed[1:]  # the CR of a CR LF does not end a line by itself
            stops = np.flatnonzero(line_feed | (carriage & ~pair))
            ends = stops - (line_feed[stops] & (stops > 0) & carriage[np.maximum(stops - 1, 0)])
        else:
            stops = np.flatnonzero(line_feed)
            ends = stops
        starts = np.concatenate(([first], stops + 1)).astype(np.int64)
        ends = np.concatenate((ends, [len(raw)])).astype(np.int64)
        if starts[-1] >= len(raw):  # nothing after the last line end
            starts, ends = starts[:-1], ends[:-1]
        return starts, ends

    def know_lines(self, starts: NDArray[np.int64], ends: NDArray[np.int64]) -> None:
        """Take the line bounds from somebody who has found them already."""
        self.__dict__["_bounds"] = (starts, ends)

    @property
    def starts(self) -> NDArray[np.int64]:
        """Byte offset of the first character of each line."""
        return self._bounds[0]

    @property
    def ends(self) -> NDArray[np.int64]:
        """Byte offset after the last character of each line, line end not counted."""
        return self._bounds[1]

    def __len__(self) -> int:
        return len(self._bounds[0])

    def line(self, number: int) -> str:
        """The text of a line (1-based), one character a byte, without its line end."""
        return self.data[int(self.starts[number - 1]) : int(self.ends[number - 1])].decode("latin-1")

    def show(self, start: int, end: int) -> str:
        """The bytes ``[start, end)`` as a reader should see them."""
        encoding = "utf-8" if self.encoding in ("utf-8", "utf-8-sig", "ascii") else "cp1252"
        return self.data[start:end].decode(encoding, errors="replace")

    def show_line(self, number: int) -> str:
        """A line (1-based) as a reader should see it."""
        return self.show(int(self.starts[number - 1]), int(self.ends[number - 1]))

    def line_at(self, offset: int) -> int:
        """The 1-based line a byte offset lies in."""
        return max(1, int(np.searchsorted(self.starts, offset, side="right")))

    def column_at(self, line: int, index: int) -> int:
        """The 1-based column, in shown characters, of the character ``index`` (0-based, in bytes) of a line."""
        start = int(self.starts[line - 1])
        return len(self.show(start, start + max(0, index))) + 1

    def apply(self, edits: Iterable[Edit]) -> Source:
        """A new source with the edits made. Raises ValueError where two edits overlap."""
        return Source(apply(self.data, edits), self.name)


def apply(data: bytes, edits: Iterable[Edit]) -> bytes:
    """The bytes with the edits made. Raises ValueError where edits overlap or lie outside."""
    parts: list[bytes] = []
    done = 0
    for edit in sorted(edits, key=lambda e: (e.start, e.end)):
        if edit.start < done or edit.end < edit.start or edit.end > len(data):
            raise ValueError(f"edit {edit.start}..{edit.end} overlaps another one or lies outside the program")
        parts += (data[done : edit.start], edit.new)
        done = edit.end
    parts.append(data[done:])
    return b"".join(parts)


def write(source: Source, tokens: Iterable[Token]) -> bytes:
    """The bytes the tokens stand for, one after the other."""
    return b"".join(source.data[token.start : token.end] for token in tokens)
