"""Cutter radius compensation that cannot be followed, or stands on the wrong side.

What it checks
    G41 and G42 with what they need and forbid: plane, register, a lead-in longer than the radius, corners the
    cutter can't enter, codes not allowed while it is on (NISTIR 6556, appendix B). Also, as a warning, closed
    outlines that the cutter must cross, cutting, to get to the side compensation keeps it on.

Why it matters
    The control stops in the cut with the cutter against a wall, or gouges the corner. On the wrong side the part
    comes out too small by the cutter's diameter.

What it cannot see
    Whether the radius in the machine's table is the one in the shop file; the side of outlines that are not
    closed, or that the cutter goes down to from above.

How to mend
    Switch on with a straight move longer than the radius, away from the part, and program inside corners with a
    radius larger than the cutter's. G41 keeps the cutter on the left of the path, G42 on the right.

Example
        G41 D1 G1 X1 Y0     lead-in of 1 mm with a radius of 3 mm

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import mode_flags
from advisor.rules.base import rule
from grammar.moves import Kind

NAME = "compensation-fault"
CLOSED = 0.02  # mm between the ends of a closed outline; estimate, no source
LEAD_OUT = 6  # moves after an outline that may lead the cutter away from it
CHORD = np.pi / 18  # arcs are taken in steps of 10 degrees
Floats = NDArray[np.float64]


def check(evidence: Evidence) -> Iterator[Finding]:
    """Outlines led in from the other side, each once. The pipeline adds the reader's own faults."""
    moves = evidence.moves
    on = mode_flags(evidence, [mode.compensation not in ("G40", "") for mode in moves.modes])
    if not on.any():
        return
    placed, contact = evidence.placed, evidence.contact
    if placed is None or contact is None:
        return
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    for first, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        index = int(placed.cutter[first])
        cutter = placed.cutters[index] if index >= 0 else None
        if cutter is None or (cutter.offset_diameter is not None and cutter.offset_diameter <= 0):
            continue
        radius = (cutter.diameter if cutter.offset_diameter is None else cutter.offset_diameter) / 2
        side = 1.0 if evidence.mode(first).compensation.startswith("G41") else -1.0
        loop = _closed(evidence, first, stop)
        if loop is None:
            continue
        begin, outline = loop
        inside = side * _area(outline) > 0
        entering = [
            row for row in range(first, begin + 1) if contact[row] > 0 and (moves.start[row, :2] != moves.end[row, :2]).any()
        ]
        if not entering or not np.isfinite(moves.start[entering[0], :2]).all():
            continue
        place = moves.start[entering[0], :2]
        if _within(outline, place) == inside or _distance(outline, place) <= 1.1 * radius + CLOSED:
            continue
        said = [event for event in evidence.program.events if event.kind == "compensation" and event.move <= first]
        block = said[-1].block if said else int(moves.block[first])
        yield Finding(
            rule=NAME,
            severity="warning",
            block=block,
            end_block=max(block, int(moves.block[begin])),
            message=f"{evidence.mode(first).compensation} keeps the cutter {'inside' if inside else 'outside'} this outline, "
            f"and it comes, cutting, from {'outside' if inside else 'inside'}, across the outline: G41 and G42 mistaken?",
            at=evidence.point(entering[0]),
        )


def _closed(evidence: Evidence, first: int, stop: int) -> tuple[int, Floats] | None:
    """The longest closed part of a compensated path: the row it closes on, and its points in XY, (m, 2).

    It ends where the path comes to a place it has been at before: lead-out moves after that are left out.
    """
    moves = evidence.moves
    start, end = moves.start[first:stop, :2], moves.end[first:stop, :2]
    if stop - first < 3 or not (np.isfinite(start).all() and np.isfinite(end).all()):
        return None
    along = end - start
    size = np.maximum(np.einsum("ij,ij->i", along, along), 1e-18)
    best: tuple[int, int] | None = None
    for last in range(stop - first - 1, max(1, stop - first - 1 - LEAD_OUT), -1):
        share = np.clip(np.einsum("ij,ij->i", end[last] - start, along) / size, 0.0, 1.0)
        gap = np.hypot(*(start + share[:, None] * along - end[last]).T)
        passed = np.flatnonzero(gap[: last - 1] < CLOSED)
        if len(passed) and (best is None or last - int(passed[0]) > best[1] - best[0]):
            best = (int(passed[0]), last)
    if best is None:
        return None
    points = [_points(evidence, row) for row in range(first + best[0], first + best[1] + 1)]
    return first + best[0], np.concatenate(points)


def _points(evidence: Evidence, row: int) -> Floats:
    """Points of a move after its start, in XY; arcs in chords."""
    moves = evidence.moves
    if moves.kind[row] != Kind.ARC:
        return np.asarray(moves.end[row, :2][None])
    place = int(np.searchsorted(moves.arc_row, row))
    sweep = float(moves.sweep[place])
    centre = moves.centre[place, :2]
    arm = moves.start[row, :2] - centre
    turned = np.linspace(0.0, sweep, max(2, int(abs(sweep) / CHORD) + 2))[1:]
    cos, sin = np.cos(turned), np.sin(turned)
    return np.asarray(centre + np.stack([arm[0] * cos - arm[1] * sin, arm[0] * sin + arm[1] * cos], axis=1))


def _area(outline: Floats) -> float:
    """Area of a closed outline, mm2: plus where it goes counterclockwise."""
    x, y = outline.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _within(outline: Floats, place: Floats) -> bool:
    """Whether a point lies inside a closed outline: a ray to the right crosses it an odd number of times."""
    x, y = (outline - place).T
    after_x, after_y = np.roll(x, -1), np.roll(y, -1)
    crosses = (y > 0) != (after_y > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        right = x + (after_x - x) * (-y) / (after_y - y) > 0
    return bool(np.count_nonzero(crosses & right) % 2)


def _distance(outline: Floats, place: Floats) -> float:
    """Distance of a point from a closed outline, mm."""
    along = np.roll(outline, -1, axis=0) - outline
    size = np.maximum(np.einsum("ij,ij->i", along, along), 1e-18)
    share = np.clip(np.einsum("ij,ij->i", place - outline, along) / size, 0.0, 1.0)
    return float(np.hypot(*(outline + share[:, None] * along - place).T).min())


RULE = rule(__doc__, name=NAME, severity="error", group="reading", check=check)
