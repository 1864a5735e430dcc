"""Canned cycles as plain steps (NISTIR 6556 3.5.16).

Coordinates are canonical: (first, second, normal) axis of the plane, tip coordinates, mm. A step is
("r", point, flag), ("f", point, flag), ("dwell", seconds), ("spindle", direction) or ("stop",).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from grammar.classes import dataclass
from grammar.moves import Flag

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Hole:
    """One hole. ``level`` is K of G87; ``offset`` its (I, J)."""

    code: int
    first: float
    second: float
    retract: float
    bottom: float
    clear: float
    dwell: float = 0.0
    peck: float = 0.0
    gap: float = 0.25
    spindle: str = "off"
    offset: tuple[float, float] = (0.0, 0.0)
    level: float = 0.0


def steps(hole: Hole) -> Iterator[tuple[Any, ...]]:
    """The steps after the preliminary moves; the tool stands over the hole at the retract level."""
    a, b, bottom, clear = hole.first, hole.second, hole.bottom, hole.clear
    out: tuple[Any, ...] = ("r", (a, b, clear), 0)
    code = hole.code
    if code in (830, 730):
        yield from _peck(hole)
        return
    if code == 870:
        yield from _back_bore(hole)
        return
    tap = code in (840, 740)
    yield "f", (a, b, bottom), Flag.TAP if tap else 0
    if code in (820, 860, 880, 890):
        yield "dwell", hole.dwell
    if tap:
        back = "ccw" if code == 840 else "cw"
        yield "spindle", "off"
        yield "spindle", back
        yield "f", (a, b, clear), Flag.TAP | Flag.BORE
        yield "spindle", "off"
        yield "spindle", "cw" if code == 840 else "ccw"
    elif code in (850, 890):
        yield "f", (a, b, clear), Flag.BORE
    elif code == 860:
        yield "spindle", "off"
        yield out
        yield "spindle", hole.spindle
    elif code == 880:
        yield "spindle", "off"
        yield ("stop",)
        yield "spindle", hole.spindle
    else:
        yield out


def _peck(hole: Hole) -> Iterator[tuple[Any, ...]]:
    a, b = hole.first, hole.second
    depth = hole.retract
    while True:
        depth = depth - hole.peck if depth - hole.peck > hole.bottom else hole.bottom
        yield "f", (a, b, depth), 0
        if not depth > hole.bottom:  # reached, or not known
            break
        lifted = min(depth + hole.gap, hole.retract)
        if hole.code == 730:
            yield "r", (a, b, lifted), Flag.PECK
        else:
            yield "r", (a, b, hole.clear), Flag.PECK
            yield "r", (a, b, lifted), Flag.PECK
    yield "r", (a, b, hole.clear), 0


def _back_bore(hole: Hole) -> Iterator[tuple[Any, ...]]:
    a, b, (i, j) = hole.first, hole.second, hole.offset
    yield "r", (a + i, b + j, hole.retract), 0
    yield "spindle", "off"
    yield "r", (a + i, b + j, hole.bottom), 0
    yield "r", (a, b, hole.bottom), 0
    yield "spindle", hole.spindle
    yield "f", (a, b, hole.level), Flag.BORE
    yield "f", (a, b, hole.bottom), Flag.BORE
    yield "spindle", "off"
    yield "r", (a + i, b + j, hole.bottom), 0
    yield "r", (a + i, b + j, hole.clear), 0
    yield "r", (a, b, hole.clear), 0
    yield "spindle", hole.spindle
