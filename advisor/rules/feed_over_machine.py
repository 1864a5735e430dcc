"""A feed the machine's axes cannot reach.

What it checks
    The programmed feed of each move against the greatest feed of the axes that make it, along its direction; straight up
    only against the greatest feed of the machine.

Why it matters
    The control goes slower than programmed: chips get thinner than planned, and the time is not the one told.

What it cannot see
    Limits the control sets for other reasons; short moves and small arcs are looked at by feed-not-reached.

How to mend
    Lower F to what the axis can do, and the spindle speed with it so that the chip keeps its thickness.

Example
        G1 Z-3 F4000     on an axis that reaches 2000 mm/min

Safety
    A feed far above the machine's is often a slip: compare it with the speeds planned for the cutter.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from advisor.columns import all_of
from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import feeding, runs_of, span
from advisor.rules.base import rule
from advisor.timing import FIRST, SECOND

NAME = "feed-over-machine"
SLACK = 0.005 * 25.4  # mm/min: feeds in inches are written with two decimals


def _arc_limit(evidence: Evidence, place: int, row: int, feeds: np.ndarray) -> float:
    """The greatest feed the axes reach everywhere along an arc, mm/min.

    A shallow arc in an upright plane hardly moves Z: each axis counts with its greatest share of the path.
    """
    moves = evidence.moves
    plane, sweep, length = int(moves.plane[place]), float(moves.sweep[place]), float(evidence.lengths[row])
    first, second = FIRST[plane], SECOND[plane]
    normal = 3 - first - second
    start, end, centre = moves.start[row], moves.end[row], moves.centre[place]
    begin = math.atan2(start[second] - centre[second], start[first] - centre[first])
    low, high = sorted((begin, begin + sweep))
    rise = abs(float(end[normal] - start[normal]))
    flat = math.sqrt(max(0.0, 1.0 - (rise / length) ** 2)) if length > 0 else 0.0
    least = float(feeds[normal]) / (rise / length) if rise > 0 else math.inf
    # Along an arc the first axis goes with the sine of the angle of the radius, the second with its cosine.
    for axis, turn in ((first, math.pi / 2), (second, 0.0)):
        crossed = math.floor((high - turn) / math.pi) >= math.ceil((low - turn) / math.pi)
        share = 1.0 if crossed else max(abs(math.cos(low - turn)), abs(math.cos(high - turn)))
        if share > 0:
            least = min(least, float(feeds[axis]) / (share * flat) if flat > 0 else math.inf)
    return least


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a run of moves at one feed."""
    machine = evidence.setting.machine
    moves = evidence.moves
    if machine is None:
        return
    feeds = np.array([machine.feed_max, machine.feed_max, machine.feed_max_z])
    length = evidence.lengths
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        # what the slowest of the axes allows, axis by axis: feeds / (way / length)
        slowest = np.zeros(len(moves))
        for axis in range(3):
            way = np.abs(moves.end[:, axis] - moves.start[:, axis])
            np.maximum(slowest, way / feeds[axis], out=slowest)
        limit = length / slowest
        limit[moves.arc_row] = np.inf
        fast = np.flatnonzero((moves.feed[moves.arc_row] > feeds.min()) & np.isfinite(length[moves.arc_row]))
    for place in fast.tolist():
        row = int(moves.arc_row[place])
        limit[row] = _arc_limit(evidence, place, row, feeds)
    # Straight up at the feed of the cut is how tabs and retracts are written: the machine rises as fast as it can.
    up = all_of(moves.start[:, :2] == moves.end[:, :2]) & (moves.end[:, 2] > moves.start[:, 2])
    limit = np.where(up, machine.feed_max, limit)
    rows = feeding(evidence) & (length > 0) & np.isfinite(limit) & (moves.feed > limit + SLACK)
    excess = np.where(rows, moves.feed / np.where(limit > 0, limit, 1.0), 0.0)
    # One F is one fault, wherever on its way the path turns along the slow axis.
    before = np.maximum.accumulate(np.where(rows, np.arange(len(rows)), -1))
    through = ~feeding(evidence) | (length == 0) | ((before >= 0) & (moves.feed == moves.feed[before]))
    for first, last, worst in runs_of(evidence, rows, excess, through=through, same_mode=False):
        top = float(limit[worst])
        yield span(
            evidence,
            NAME,
            first,
            last,
            worst,
            f"F{moves.feed[worst]:g} mm/min; along this move the axes reach {top:.0f} mm/min.",
            measured=float(moves.feed[worst]),
            limit=top,
            unit="mm/min",
        )


RULE = rule(__doc__, name=NAME, severity="warning", group="set-up", check=check, needs=("moves", "machine"), unit="mm/min")
