"""Arcs that go the other way round than their neighbours ask for.

Arcs are taken in runs: those that follow each other about one centre in one plane, with nothing but feed moves between.
A run goes round and round (every arc in one direction), or there and back over one piece of the circle (the direction
changes from arc to arc). A single arc that breaks such a run is a slip of G2 and G3.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from advisor.columns import all_of
from advisor.evidence import Evidence
from advisor.timing import FIRST, SECOND
from grammar.moves import Fault, Flag, Kind

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SAME = 0.05  # mm; estimate, no source
ROUNDED = 0.02  # of the radius: how far rounding of R may move the centre of an arc of nearly half a circle; estimate
LEAST = 0.5  # mm of radius
RUN = 4  # arcs a run must have, so that one of them can be the odd one
BETWEEN = 3  # the same for arcs there and back between two points
SMOOTH = 0.996  # cosine of 5 degrees; estimate, no source
KINK = 0.866  # cosine of 30 degrees; estimate, no source
BACK = -0.985  # cosine of 170 degrees; estimate, no source
FEW = 200  # arcs of one form that may be slips; where there are more the form is meant
BETWEEN_FAULTS = 12  # lines between two arcs spoilt by one slip; estimate, no source
TWINS = 2  # arcs of the same radius that go on smoothly, beside which one that does not is the odd one


@dataclass(frozen=True, eq=False)
class Arcs:
    """The arcs of a program in their planes, shape (k,) and (k, 2): a right-handed plane, mm and radians."""

    row: NDArray[np.int32]
    plane: NDArray[np.int8]
    start: Floats
    end: Floats
    centre: Floats
    radius: Floats
    sweep: Floats
    whole: Bools
    good: Bools


def arcs_of(evidence: Evidence) -> Arcs:
    """Start, end and centre of each arc in its own plane; canned cycles and unknown positions are not ``good``."""
    moves = evidence.moves
    rows = moves.arc_row
    start, end, centre = (np.empty((len(rows), 2)) for _ in range(3))
    for code in (17, 18, 19):
        pick = np.flatnonzero(moves.plane == code)
        axes = [FIRST[code], SECOND[code]]
        start[pick] = moves.start[rows[pick]][:, axes]
        end[pick] = moves.end[rows[pick]][:, axes]
        centre[pick] = moves.centre[pick][:, axes]
    with np.errstate(invalid="ignore", over="ignore"):
        radius = np.hypot(*(start - centre).T)
        good = (moves.flags[rows] & (Flag.CYCLE | Flag.INSERTED)) == 0
        good &= all_of(np.isfinite(start)) & all_of(np.isfinite(end)) & (radius > LEAST)
        whole = np.hypot(*(end - start).T) < 1e-6
    return Arcs(rows, moves.plane, start, end, centre, radius, np.asarray(moves.sweep), whole, good)


def plane_left(evidence: Evidence, arcs: Arcs) -> Iterator[tuple[int, int]]:
    """Runs of arcs in an upright plane that go along its normal at least as far as in the plane: (first, last) place.

    A helix about a level axis is nothing a milling cutter makes; an arc meant for the XY plane looks like that.
    """
    upright = np.flatnonzero(arcs.good & (arcs.plane != 17))
    if not len(upright):
        return
    rows = arcs.row[upright]
    normal = np.where(arcs.plane[upright] == 18, 1, 0)
    with np.errstate(invalid="ignore"):
        rise = np.abs((evidence.moves.end - evidence.moves.start)[rows, normal])
        within = arcs.radius[upright] * np.abs(arcs.sweep[upright])
        askew = upright[(rise > 1e-3) & (rise >= 0.5 * within)]
    yield from _runs(askew)


def joined_faults(evidence: Evidence, faults: Sequence[Fault]) -> list[Fault]:
    """The reader's faults on arcs: those that follow each other in an upright plane are one, with its span.

    A plane that was left on spoils every arc until it is set back; that is one slip.
    """
    moves = evidence.moves
    if len(faults) < 2 or not len(moves):
        return list(faults)
    reached = np.maximum.accumulate(moves.block)
    found: list[Fault] = []
    counts: list[int] = []
    for fault in faults:
        row = max(0, int(np.searchsorted(reached, fault.block if fault.block is not None else -1)) - 1)
        upright = evidence.mode(row).plane != "G17"
        before = found[-1] if found else None
        near = before is not None and 0 <= fault.line - (before.end_line or before.line) <= BETWEEN_FAULTS
        if before is not None and upright and near and counts[-1]:
            counts[-1] += 1
            found[-1] = replace(before, end_line=fault.end_line or fault.line)
        else:
            found.append(fault)
            counts.append(1 if upright else 0)
    return [
        fault
        if count < 2
        else replace(
            fault,
            message=f"{fault.message}; {count} arcs from here to line {fault.end_line} are no circles in the plane in force",
            fix="Was G17 forgotten after arcs in an upright plane? Write it before arcs in the XY plane.",
        )
        for fault, count in zip(found, counts, strict=True)
    ]


def odd_ones(evidence: Evidence, arcs: Arcs) -> Iterator[tuple[int, int]]:
    """Arcs that go the other way round than the rest of their run: (first, last) place of what may be the odd one."""
    if len(arcs.row) < BETWEEN:
        return
    with np.errstate(invalid="ignore"):
        joined = np.hypot(*np.diff(arcs.centre, axis=0).T) < _reach(arcs.radius[1:])
        alike = joined & (np.abs(np.diff(arcs.radius)) < SAME)
    joined &= arcs.good[1:] & arcs.good[:-1] & (arcs.plane[1:] == arcs.plane[:-1]) & _fed_between(evidence, arcs.row)
    edges = np.flatnonzero(np.concatenate([[True], ~joined, [True]]))
    forward = (arcs.sweep > 0).astype(np.intp)
    counts = np.add.reduceat(forward, edges[:-1])
    sizes = np.diff(edges)
    mixed = (sizes >= BETWEEN) & (counts > 0) & (counts < sizes)
    for begin, size in zip(edges[:-1][mixed].tolist(), sizes[mixed].tolist(), strict=True):
        part = np.arange(begin, begin + size)
        places = [place for place in (_against_the_rest(arcs, part), _other_side(arcs, part)) if place is not None]
        if places:
            yield min(places), max(places)
    # The same with a new centre each time: pairs that follow each other on one circle go on, and one goes back.
    pairs = np.flatnonzero(joined & alike & (np.diff(arcs.row) == 1) & ~arcs.whole[1:] & ~arcs.whole[:-1])
    back = (forward[pairs] != forward[pairs + 1]).astype(bool)
    order = np.argsort(arcs.radius[pairs], kind="stable")
    group = np.zeros(len(pairs), dtype=np.intp)
    group[order] = np.cumsum(np.diff(arcs.radius[pairs][order], prepend=0.0) > SAME)
    turned = np.bincount(group, weights=back)
    going_on = np.bincount(group, weights=~back)
    for pair in pairs[back & (turned[group] == 1) & (going_on[group] >= RUN)].tolist():
        yield pair, pair + 1


def raised(arcs: Arcs) -> Iterator[int]:
    """Arcs in an upright plane that bulge to the other side than all others between the same two points of it."""
    upright = np.flatnonzero(arcs.good & (arcs.plane != 17) & ~arcs.whole & (np.abs(arcs.sweep) < np.pi))
    if len(upright) < RUN:
        return
    with np.errstate(invalid="ignore"):
        chord, arm = (arcs.end - arcs.start)[upright], (arcs.centre - arcs.start)[upright]
        side = (chord[:, 0] * arm[:, 1] - chord[:, 1] * arm[:, 0]) * np.where(_swapped(arcs, upright), -1.0, 1.0) > 0
    low = np.where(_swapped(arcs, upright)[:, None], arcs.end[upright], arcs.start[upright])
    high = np.where(_swapped(arcs, upright)[:, None], arcs.start[upright], arcs.end[upright])
    key = np.round(np.concatenate([low, high], axis=1) / SAME).astype(np.int64)
    key = np.concatenate([arcs.plane[upright, None].astype(np.int64), key], axis=1)
    order = np.lexsort(key.T)
    edges = np.flatnonzero(np.concatenate([[True], (np.diff(key[order], axis=0) != 0).any(axis=1), [True]]))
    for begin, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        part = order[begin:end]
        odd = _odd(side[part]) if len(part) >= RUN else None
        if odd is not None:
            yield int(upright[part[odd]])


def _swapped(arcs: Arcs, places: NDArray[np.intp]) -> Bools:
    """Arcs that run against the order of their end points: by the first axis of the plane, then by the second."""
    chord = arcs.end[places] - arcs.start[places]
    return np.asarray((chord[:, 0] < -SAME) | ((np.abs(chord[:, 0]) <= SAME) & (chord[:, 1] < 0)))


def _fed_between(evidence: Evidence, rows: NDArray[np.int32]) -> Bools:
    """For each arc but the last: nothing but feed moves stand between it and the next."""
    kind = evidence.moves.kind
    others = np.cumsum((kind != Kind.FEED) & (kind != Kind.ARC))
    return np.asarray(others[rows[1:]] == others[rows[:-1]])


def _reach(radius: Floats) -> Floats:
    """How far apart two centres may be told and still be one, mm."""
    return np.maximum(SAME, ROUNDED * radius)


def _odd(values: Bools) -> int | None:
    """The place of the only value that differs from all others, or None."""
    count = int(np.count_nonzero(values))
    if len(values) < BETWEEN:
        return None
    if count == 1:
        return int(np.flatnonzero(values)[0])
    if count == len(values) - 1:
        return int(np.flatnonzero(~values)[0])
    return None


def _against_the_rest(arcs: Arcs, part: NDArray[np.intp]) -> int | None:
    """The one arc of a run that turns against all others, where it goes back over the path of the arc beside it."""
    odd = _odd(arcs.sweep[part] > 0) if len(part) >= RUN else None
    if odd is None or arcs.whole[part[odd]]:
        return None
    place = int(part[odd])
    for beside in (odd - 1, odd + 1):
        if 0 <= beside < len(part):
            other = int(part[beside])
            if abs(int(arcs.row[other]) - int(arcs.row[place])) == 1 and abs(arcs.radius[other] - arcs.radius[place]) < SAME:
                return place
    return None


def _other_side(arcs: Arcs, part: NDArray[np.intp]) -> int | None:
    """The one arc of a run there and back between two points that takes the other side of the circle."""
    start, end = arcs.start[part], arcs.end[part]
    if arcs.whole[part].any() or float(np.ptp(arcs.radius[part])) > SAME:
        return None
    ends = np.where((np.arange(len(part)) % 2 == 0)[:, None], start, end)
    if float(np.hypot(*(ends - ends[0]).T).max()) > SAME or float(np.hypot(*(start[1:] - end[:-1]).T).max()) > SAME:
        return None
    odd = _odd((arcs.sweep[part] > 0) ^ (np.arange(len(part)) % 2 == 1))
    return None if odd is None else int(part[odd])


def overturned(arcs: Arcs) -> Iterator[tuple[int, int]]:
    """Runs of arcs in an upright plane over more than half a circle: above or under themselves, as no milling cutter goes."""
    yield from _runs(np.flatnonzero(arcs.good & (arcs.plane != 17) & (np.abs(arcs.sweep) > np.pi + 0.05)))


def _runs(places: NDArray[np.intp]) -> Iterator[tuple[int, int]]:
    """First and last of places that follow each other, one left out at most between two."""
    if len(places):
        edges = np.flatnonzero(np.concatenate([[True], np.diff(places) > 2, [True]])).tolist()
        for begin, end in pairwise(edges):
            yield int(places[begin]), int(places[end - 1])


def turning_back(evidence: Evidence, arcs: Arcs) -> Iterator[int]:
    """Level arcs with a kink at both ends, where another arc through the same ends would go on smoothly at both.

    With I and J exchanged codes turn the path back on itself: told at once. By R they bend it to the other side, or take
    the long way round; such corners may be meant, and are told only where the program's other arcs of that radius are
    smooth.
    """
    level = np.flatnonzero(arcs.good & (arcs.plane == 17) & ~arcs.whole & (np.abs(arcs.sweep) > 0.1))
    before, after = _tangents(evidence, arcs, level)
    arm_in, arm_out = arcs.start[level] - arcs.centre[level], arcs.end[level] - arcs.centre[level]
    turn = np.sign(arcs.sweep[level])[:, None] / arcs.radius[level][:, None]
    into = turn * np.stack([-arm_in[:, 1], arm_in[:, 0]], axis=1)
    out = turn * np.stack([-arm_out[:, 1], arm_out[:, 0]], axis=1)
    chord = arcs.end[level] - arcs.start[level]
    with np.errstate(invalid="ignore", divide="ignore"):
        chord = chord / np.hypot(*chord.T)[:, None]
        bend = np.stack([_along(before, into), _along(after, out)])
        mirrored = np.stack([_along(before, _mirror(into, chord)), _along(after, _mirror(out, chord))])
        smooth = (bend > SMOOTH).all(axis=0)
        back = (bend < BACK).all(axis=0)
        kinked = (bend < KINK).all(axis=0)
        aside = kinked & ((mirrored > SMOOTH).all(axis=0) | (mirrored < -SMOOTH).all(axis=0))
    yield from level[back].tolist()
    if np.count_nonzero(aside) > FEW:
        return
    for at in np.flatnonzero(aside & ~back).tolist():
        alike = np.abs(arcs.radius[level] - arcs.radius[level[at]]) < SAME
        if np.count_nonzero(alike & smooth) >= TWINS and np.count_nonzero(alike & aside) == 1:
            yield int(level[at])


def other_centre(arcs: Arcs) -> Iterator[int]:
    """Arcs alone about their centre which, mirrored at the chord, would be that of the arc beside it and of others.

    That is what an arc by R becomes with the other sign of R, or with the other code.
    """
    if len(arcs.row) < BETWEEN:
        return
    mirrored = arcs.start + arcs.end - arcs.centre
    with np.errstate(invalid="ignore"):
        reach = _reach(arcs.radius)
        follows = (np.diff(arcs.row) == 1) & (np.diff(arcs.plane) == 0) & (np.abs(np.diff(arcs.radius)) < SAME)
        after = np.append(follows & (np.hypot(*(arcs.centre[1:] - mirrored[:-1]).T) < reach[:-1]), False)
        before = np.append(False, follows & (np.hypot(*(arcs.centre[:-1] - mirrored[1:]).T) < reach[1:]))
        chosen = (before | after) & arcs.good & ~arcs.whole & (np.hypot(*(mirrored - arcs.centre).T) > 4 * reach)
        if np.count_nonzero(chosen) > FEW:
            return
        for place in np.flatnonzero(chosen).tolist():
            alike = (np.abs(arcs.radius - arcs.radius[place]) < SAME) & (arcs.plane == arcs.plane[place])
            own = np.hypot(*(arcs.centre - arcs.centre[place]).T) < reach[place]
            theirs = np.hypot(*(arcs.centre - mirrored[place]).T) < reach[place]
            if np.count_nonzero(alike & own) == 1 and np.count_nonzero(alike & theirs) >= TWINS:
                yield place


def _along(one: Floats, other: Floats) -> Floats:
    return np.asarray(np.einsum("ij,ij->i", one, other))


def _mirror(way: Floats, chord: Floats) -> Floats:
    """Directions mirrored at the chord: those of the arc of the other sense that bends to the other side."""
    return np.asarray(2 * _along(way, chord)[:, None] * chord - way)


def _tangents(evidence: Evidence, arcs: Arcs, level: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Unit directions of the path just before and just after each arc, (n, 2); NaN where no feed move is beside it.

    Arcs back over the same circle count as none: there and back is how slots are cut; runs are looked at for themselves.
    """
    moves = evidence.moves
    place = np.full(len(moves), -1, dtype=np.intp)
    place[arcs.row] = np.arange(len(arcs.row))
    found = []
    for step in (-1, 1):
        way = np.full((len(level), 2), np.nan)
        row = arcs.row[level].astype(np.intp) + step
        inside = (row >= 0) & (row < len(moves))
        beside = np.where(inside, row, 0)
        fed = inside & (moves.block[beside] != moves.block[arcs.row[level]])
        line = fed & (moves.kind[beside] == Kind.FEED)
        along = moves.end[beside, :2] - moves.start[beside, :2]
        with np.errstate(invalid="ignore", divide="ignore"):
            size = np.hypot(*along.T)
            line &= size > 1e-3
            way[line] = along[line] / size[line, None]
        other = place[beside]
        curved = np.flatnonzero(fed & (other >= 0))
        if len(curved):
            that, this = other[curved], level[curved]
            with np.errstate(invalid="ignore"):
                own = (np.hypot(*(arcs.centre[that] - arcs.centre[this]).T) < _reach(arcs.radius[this])) & (
                    np.abs(arcs.radius[that] - arcs.radius[this]) < SAME
                )
                own &= (arcs.sweep[that] > 0) != (arcs.sweep[this] > 0)
                point = arcs.end[that] if step < 0 else arcs.start[that]
                arm = (point - arcs.centre[that]) / arcs.radius[that][:, None]
                arm *= np.sign(arcs.sweep[that])[:, None]
            use = arcs.good[that] & (arcs.plane[that] == 17) & ~own
            way[curved[use]] = np.stack([-arm[use, 1], arm[use, 0]], axis=1)
        found.append(way)
    return found[0], found[1]
