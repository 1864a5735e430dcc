"""Lines of styled text: wrapped to a width, then written plain, in plain ASCII, or with colour.

A ``Span`` is text with the name of a style. Renderers only name styles; whether a style is shown is the caller's
decision. The words carry the meaning, colour only repeats it. Hues: Okabe and Ito, "Color Universal Design" (2008),
the nearest of the 256 indexed colours: vermillion #D55E00, orange #E69F00, sky blue #56B4E9.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from itertools import groupby

from advisor.escape import ascii_only, clip, log_line, visible

Span = tuple[str, str]
Line = tuple[Span, ...]

LONGEST = 5_000  # characters of one span; the longest path a system takes stays whole

_SGR = {
    "crash": "1;7;38;5;166",
    "error": "1;38;5;166",
    "warning": "38;5;172",
    "note": "38;5;74",
    "heading": "1",
    "strong": "1",
    "path": "1",
    "dim": "2",
}


def cells(text: str) -> int:
    """Columns the text takes on a terminal."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def wrap(spans: Sequence[Span], width: int, first: str = "", rest: str = "") -> list[Line]:
    """Break spans at spaces into lines of at most ``width`` columns, led by ``first`` and then ``rest``.

    A word longer than the line is broken where the line ends, except a leading one such as a place (file:line:column),
    which stays whole so that editors and terminals can link it. Nothing in the
    texts acts afterwards, whatever they hold.
    """
    first, rest = visible(first), visible(rest)
    lines: list[Line] = []
    line: list[Span] = [(first, "")] if first else []
    used = cells(first)
    room = max(width, 20)
    fresh = True  # nothing but the lead stands on the line
    blank = False  # a space is due before the next word

    def end_line() -> None:
        nonlocal line, used, fresh, blank
        lines.append(tuple(line))
        line = [(rest, "")] if rest else []
        used, fresh, blank = indent, True, False

    indent = cells(rest)
    for text, style in spans:
        for i, word in enumerate(visible(clip(text, LONGEST)).split(" ")):
            if i:
                blank = True
            if not word:
                continue
            wide = cells(word)
            gap = 1 if blank and not fresh else 0
            if not fresh and used + gap + wide > room and (gap or wide <= room - indent):
                end_line()
                gap = 0
            if used + gap + wide > room and not (fresh and not lines):
                *pieces, word = _pieces(word, max(room - used - gap, 1), max(room - indent, 1))
                for piece in pieces:
                    line.append((" " * gap + piece, style))
                    end_line()
                    gap = 0
                wide = cells(word)
            line.append((" " + word if gap else word, style))
            used += gap + wide
            fresh, blank = False, False
    if not fresh or not lines:
        lines.append(tuple(line))
    return lines


def _pieces(word: str, first: int, rest: int) -> list[str]:
    """A long word cut so that the first piece takes at most ``first`` columns and the others at most ``rest``."""
    pieces: list[str] = []
    begin = used = 0
    room = first
    for i, c in enumerate(word):
        wide = 1 if c.isascii() else cells(c)
        if used + wide > room and i > begin:
            pieces.append(word[begin:i])
            begin, used, room = i, 0, rest
        used += wide
    return [*pieces, word[begin:]]


def write(lines: Iterable[Line], *, colour: bool = False, plain_ascii: bool = False) -> str:
    """Lines to one string, each ended by a line feed; no line can act as a command of a build log."""
    out: list[str] = []
    for line in lines:
        spans = [(ascii_only(text), style) for text, style in line] if plain_ascii else list(line)
        text = "".join(part for part, _ in spans).rstrip()
        safe = log_line(text)
        if colour and safe == text:
            out.append(_coloured(spans).rstrip())
        else:  # a line that had to be defused stays without colour: the spans no longer match
            out.append(safe)
    return "".join(f"{line}\n" for line in out)


def _coloured(spans: Iterable[Span]) -> str:
    parts: list[str] = []
    for style, group in groupby(spans, key=lambda span: span[1]):
        text = "".join(part for part, _ in group)
        code = _SGR.get(style)
        parts.append(f"\x1b[{code}m{text}\x1b[0m" if code and text.strip() else text)
    return "".join(parts)
