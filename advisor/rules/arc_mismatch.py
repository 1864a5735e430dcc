"""An arc whose start and end do not lie on the same circle.

What it checks
    The distance from the centre to the start against that to the end, in the plane of the arc. The language
    allows 0.002 mm or 0.0002 in (NISTIR 6556, 3.5.3.2); the dialect shop allows for the rounding of the numbers
    as written. Slips that leave a true circle are told as warnings: a whole circle beside its neighbours, whose
    centre with the other sign would be theirs; an arc that bends away from the path at its start and at its end,
    and would go on smoothly the other way round; one arc that goes against all others about its centre; an arc over
    more than half a circle in an upright plane, or along the axis it turns about there.

Why it matters
    The control stops, or bends the path from one radius to the other: a spiral through the wall of the part.

What it cannot see
    Which of start, end and centre is wrong. A circle that turns the other way as a whole.

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
from advisor.rules._arcs import (
    BETWEEN_FAULTS,
    SAME,
    Arcs,
    arcs_of,
    odd_ones,
    other_centre,
    overturned,
    plane_left,
    raised,
    turning_back,
)
from advisor.rules.base import rule

NAME = "arc-mismatch"
NEAR = 0.5  # of the radius; estimate, no source
WRONG_WAY = "Compare G2 and G3 with the drawing; trace the program before it is run."


def check(evidence: Evidence) -> Iterator[Finding]:
    """Slips that leave a true circle, each arc once. The pipeline adds the reader's own faults."""
    if not len(evidence.moves.arc_row):
        return
    arcs = arcs_of(evidence)
    whole = arcs.good & arcs.whole & (arcs.plane == 17)
    with np.errstate(invalid="ignore"):
        lost = np.flatnonzero(_mirrored(arcs.row, arcs.start, arcs.centre, arcs.radius, whole))
    for place in lost.tolist():
        yield _slip(
            evidence,
            arcs,
            place,
            place,
            "This circle lies beside the circles before and after it; with the other sign its centre would be theirs: a "
            "lost sign in I or J?",
            "Compare the signs of I and J with those of the circles beside it.",
        )
    told = set(lost.tolist()) | _beside_faults(evidence, arcs)
    for first, last, message, fix in _slips(evidence, arcs):
        places = range(first, last + 1)
        if not told.intersection(places):
            told.update(places)
            yield _slip(evidence, arcs, first, last, message, fix)


def _slips(evidence: Evidence, arcs: Arcs) -> Iterator[tuple[int, int, str, str]]:
    """First and last arc of each slip, what to say of it and how to mend it; the surest kinds first."""
    for first, last in plane_left(evidence, arcs):
        message = f"{_turning(first, last)} about a level axis and go along it (G{arcs.plane[first]}): a plane left over?"
        yield first, last, message, "Write G17 before arcs in the XY plane."
    for first, last in overturned(arcs):
        worst = first + int(np.argmax(np.abs(arcs.sweep[first : last + 1])))
        message = (
            f"{_turning(first, last)} {np.degrees(abs(arcs.sweep[worst])):.0f} degrees in an upright plane "
            f"(G{arcs.plane[worst]}), over or under itself: G2 and G3 mistaken, or a plane left over?"
        )
        yield first, last, message, WRONG_WAY + " Write G17 before arcs in the XY plane."
    for place in raised(arcs):
        message = "This arc bulges to the other side than the other arcs between the same two points: G2 and G3 mistaken?"
        yield place, place, message, WRONG_WAY
    for first, last in odd_ones(evidence, arcs):
        which = "This arc goes" if first == last else "One of these arcs goes"
        message = f"{which} the other way round than the others about this centre: G2 and G3 mistaken?"
        yield first, last, message, WRONG_WAY
    for place in (*other_centre(arcs), *turning_back(evidence, arcs)):
        message = (
            "This arc bends away from the path at its start and at its end; the other way round, or with the other sign "
            "of R, it would go on smoothly: G2 and G3 mistaken?"
        )
        yield place, place, message, WRONG_WAY


def _turning(first: int, last: int) -> str:
    return f"{last - first + 1} arcs from here on turn" if last > first else "This arc turns"


def _beside_faults(evidence: Evidence, arcs: Arcs) -> set[int]:
    """Arcs in an upright plane near one that is no circle there: the same slip, told by the reader's fault."""
    faults = [f for name in (NAME, "arc-impossible") for f in evidence.faults.get(name, ())]
    upright = np.flatnonzero(arcs.plane != 17)
    if not faults or not len(upright):
        return set()
    lines = evidence.program.block_line[evidence.moves.block[arcs.row[upright]]]
    faulty = np.sort(np.array([f.line for f in faults]))
    after = np.minimum(np.searchsorted(faulty, lines), len(faulty) - 1)
    near = np.minimum(np.abs(faulty[after] - lines), np.abs(faulty[np.maximum(after - 1, 0)] - lines))
    return set(upright[near <= BETWEEN_FAULTS].tolist())


def _slip(evidence: Evidence, arcs: Arcs, first: int, last: int, message: str, fix: str) -> Finding:
    """A finding on the arcs from ``first`` to ``last``."""
    block = evidence.moves.block
    a, b = int(block[arcs.row[first]]), int(block[arcs.row[last]])
    return Finding(
        rule=NAME,
        severity="warning",
        block=a,
        end_block=max(a, b),
        message=message,
        at=evidence.point(int(arcs.row[last])),
        fix=fix,
    )


def _mirrored(rows: np.ndarray, start: np.ndarray, centre: np.ndarray, radius: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """Whole circles whose centre, with the other sign, would be that of their neighbours.

    Of the arcs before and after, or of two before or two after; circles that move on a little count too (trochoids).
    """
    told = np.zeros(len(rows), dtype=bool)
    if len(rows) < 3:
        return told
    other = 2 * start - centre
    reach = np.maximum(SAME, NEAR * radius)

    def beside(step: int) -> np.ndarray:
        at = np.arange(len(rows)) + step
        inside = (at >= 0) & (at < len(rows))
        at = np.where(inside, at, 0)
        near = np.abs(rows[at] - rows) <= 2 * abs(step)
        return np.asarray(inside & near & (np.hypot(*(centre[at] - other).T) < reach * abs(step)))

    before, after = beside(-1), beside(1)
    return np.asarray(whole & ((before & after) | (before & beside(-2)) | (after & beside(2))))


RULE = rule(__doc__, name=NAME, severity="error", group="reading", check=check)
