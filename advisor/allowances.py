"""Findings a program itself allows: ``(feedwright: allow RULE because REASON)`` in a comment on the block."""

from __future__ import annotations

import re

from grammar.classes import dataclass

_MARK = re.compile(rb"feedwright\s*:", re.IGNORECASE)
_WORDS = re.compile(r"^\s*feedwright\s*:\s*(.*?)\s*$", re.IGNORECASE | re.DOTALL)
_ALLOW = re.compile(r"^allow\s+([A-Za-z0-9_-]+)(?:\s+because\b\s*(.*))?$", re.IGNORECASE | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Allowance:
    """One allowance: the rule, the reason, and where it stands; ``fault`` says what is wrong with it."""

    rule: str
    reason: str
    line: int  # 1-based
    column: int  # 1-based
    fault: str = ""


def comments(text: str, *, dialect: str = "shop") -> list[tuple[int, str]]:
    """The comments of one line: (0-based column of the opening sign, text inside).

    ``strict`` knows parentheses only (NISTIR 6556, 3.3.4); ``shop`` also ``;``, ``//`` and ``%`` up to the line's end.
    """
    found = []
    at = 0
    while at < len(text):
        sign = text[at]
        if sign == "(":
            end = text.find(")", at)
            found.append((at, text[at + 1 : end if end >= 0 else len(text)]))
            at = end + 1 if end >= 0 else len(text)
        elif dialect != "strict" and (sign in ";%" or text.startswith("//", at)):
            found.append((at, text[at + (2 if sign == "/" else 1) :].strip().removeprefix("(").removesuffix(")")))
            at = len(text)
        else:
            at += 1
    return found


def allowances_in(data: bytes, *, dialect: str = "shop") -> list[Allowance]:
    """Every allowance of a program, in order; also those that miss their reason."""
    if b"feedwright" not in data.lower():
        return []
    found: list[Allowance] = []
    line, counted = 1, 0
    for mark in _MARK.finditer(data):
        begin = max(data.rfind(b"\n", 0, mark.start()), data.rfind(b"\r", 0, mark.start())) + 1
        line += _line_ends(data, counted, begin)
        counted = begin
        ends = [e for e in (data.find(b"\n", mark.start()), data.find(b"\r", mark.start())) if e >= 0]
        text = data[begin : min(ends) if ends else len(data)][:4096].decode("utf-8", "replace")
        if found and found[-1].line == line:
            continue  # the whole line was read at its first mark
        for column, words in comments(text, dialect=dialect):
            match = _WORDS.match(words)
            if match:
                found.append(_allowance(match.group(1), line, column + 1))
    return found


def _allowance(words: str, line: int, column: int) -> Allowance:
    match = _ALLOW.match(words)
    if match is None:
        return Allowance("", "", line, column, "This comment speaks to Feedwright, but not as: allow RULE because REASON.")
    name, reason = match.group(1).lower(), (match.group(2) or "").strip()
    if not reason:
        return Allowance(name, "", line, column, f"The allowance of {name} gives no reason, so it does not count.")
    return Allowance(name, reason, line, column)


def _line_ends(data: bytes, start: int, stop: int) -> int:
    """How many line ends (LF, CRLF or CR) stand in a stretch that begins and ends at line starts."""
    piece = data[start:stop]
    return piece.count(b"\n") + piece.count(b"\r") - piece.count(b"\r\n")
