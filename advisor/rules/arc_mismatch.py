"""An arc whose start and end do not lie on the same circle.

What it checks
    The distance from the centre to the start against that to the end, in the plane of the arc. The language
    allows 0.002 mm or 0.0002 in (NISTIR 6556, 3.5.3.2); the dialect shop allows for the rounding of the numbers
    as written. Two slips that leave a true circle are told as warnings: a whole circle beside its neighbours, whose
    centre with the other sign would be theirs, and an arc that turns back on the path at its start and at its end.

Why it matters
    The control stops, or bends the path from one radius to the other: a spiral through the wall of the part.

What it cannot see
    Which of start, end and centre is wrong. A half circle of a helix that goes the wrong way round.

How to mend
    Compute I, J and K again from the start of the arc. They are distances from the start to the centre, not
    positions. Check the sign of each.

Example
        G0 X10 Y0
        G2 X20 Y10 I5 J0     5 mm from the start, 11.18 mm from the end

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules.base import rule
from grammar.moves import Flag, Kind

NAME = "arc-mismatch"
SAME = 0.05  # mm; estimate, no source
BACK = -0.985  # cosine of 170 degrees; estimate, no source
LEAST = 0.5  # mm of radius


def check(evidence: Evidence) -> Iterator[Finding]:
    """Slips that leave a true circle, each arc once. The pipeline adds the reader's own faults."""
    moves = evidence.moves
    if not len(moves.arc_row):
        return
    rows = moves.arc_row
    level = (moves.plane == 17) & ((moves.flags[rows] & Flag.CYCLE) == 0)
    start, end, centre = moves.start[rows, :2], moves.end[rows, :2], moves.centre[:, :2]
    with np.errstate(invalid="ignore"):
        radius = np.hypot(*(start - centre).T)
        level &= np.isfinite(start).all(axis=1) & np.isfinite(end).all(axis=1) & (radius > LEAST)
        whole = level & (np.hypot(*(end - start).T) < 1e-6)
        told = _mirrored(rows, start, centre, whole)
    for place in np.flatnonzero(told).tolist():
        yield Finding(
            rule=NAME,
            severity="warning",
            block=int(moves.block[rows[place]]),
            message="This circle lies beside the circles before and after it; with the other sign its centre would be "
            "theirs: a lost sign in I or J?",
            at=evidence.point(int(rows[place])),
            fix="Compare the signs of I and J with those of the circles beside it.",
        )
    for place in np.flatnonzero(level & ~whole).tolist():
        if _turns_back(evidence, place):
            row = int(rows[place])
            yield Finding(
                rule=NAME,
                severity="warning",
                block=int(moves.block[row]),
                message="This arc turns back on the path at its start and at its end; the other way round it would go on "
                "smoothly: G2 and G3 mistaken?",
                at=evidence.point(row),
                fix="Compare G2 and G3 with the drawing; trace the program before it is run.",
            )


def _mirrored(rows: np.ndarray, start: np.ndarray, centre: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """Whole circles between two arcs that share the centre it would have with the other sign."""
    told = np.zeros(len(rows), dtype=bool)
    if len(rows) < 3:
        return told
    other = (2 * start - centre)[1:-1]
    near = (np.diff(rows)[:-1] <= 2) & (np.diff(rows)[1:] <= 2)
    before, after = np.hypot(*(centre[:-2] - other).T), np.hypot(*(centre[2:] - other).T)
    told[1:-1] = whole[1:-1] & near & (before < SAME) & (after < SAME)
    return told


def _turns_back(evidence: Evidence, place: int) -> bool:
    """True where an arc starts and ends against the lines beside it. Arcs over the same circle are let go: there and back."""
    moves = evidence.moves
    row = int(moves.arc_row[place])
    if row == 0 or row + 1 >= len(moves) or abs(float(moves.sweep[place])) < 0.1:
        return False
    turn = 1.0 if moves.sweep[place] > 0 else -1.0
    ways = []
    for beside, at in ((row - 1, moves.start[row, :2]), (row + 1, moves.end[row, :2])):
        if moves.kind[beside] != Kind.FEED or moves.block[beside] == moves.block[row]:
            return False
        along = moves.end[beside, :2] - moves.start[beside, :2]
        size = float(np.hypot(*along))
        out = at - moves.centre[place, :2]
        tangent = turn * np.array([-out[1], out[0]]) / max(float(np.hypot(*out)), 1e-9)
        if not size > 1e-3:
            return False
        ways.append(float(along @ tangent) / size)
    return max(ways) < BACK


RULE = rule(__doc__, name=NAME, severity="error", group="reading", check=check)
