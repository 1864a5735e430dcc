"""Shared helpers of the grammar tests."""

from __future__ import annotations

from typing import Any

from grammar.moves import Kind, Program

KIND_LETTER = {Kind.RAPID: "r", Kind.FEED: "f", Kind.ARC: "a", Kind.PROBE: "p"}
KIND_NAME = {Kind.RAPID: "rapid", Kind.FEED: "feed", Kind.ARC: "arc", Kind.PROBE: "probe"}


def rows(program: Program) -> list[list[Any]]:
    """Moves as [letter, x, y, z] in work coordinates."""
    moves = program.moves
    out = []
    for i in range(len(moves)):
        if moves.kind[i] != Kind.DWELL:
            shift = moves.frames[moves.frame[i]].shift
            out.append([KIND_LETTER[Kind(int(moves.kind[i]))], *(float(moves.end[i, a] - shift[a]) for a in range(3))])
    return out


def story(program: Program) -> list[str]:
    """Events and moves in order of execution, as short texts."""
    told: list[tuple[int, int, str]] = []
    for event in program.events:
        value = f"{event.value:g}" if isinstance(event.value, float) else (event.value or event.text)
        told.append((event.move, 0, f"{event.kind} {value}".rstrip()))
    moves = program.moves
    told += [(i, 1, f"move {KIND_NAME[Kind(int(k))]}") for i, k in enumerate(moves.kind) if k != Kind.DWELL]
    return [text for _, _, text in sorted(told, key=lambda t: t[:2])]


def errors(program: Program) -> list[tuple[str, int]]:
    """(rule, line) of the faults of severity error."""
    return [(f.rule, f.line) for f in program.faults if f.severity == "error"]
