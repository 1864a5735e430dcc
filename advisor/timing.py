"""How long a path takes on a machine that must accelerate, and the feed each move really reaches.

The model: along each move the speed rises and falls with the greatest acceleration every axis on it can give, up to
the feed asked for or what the axes can follow (a trapezoid). Between two moves the speed is at most that of a circle
tangent to both which stays within the machine's allowed corner deviation, and touches each within its nearer half.
On an arc the speed is at most sqrt(a r). A pass backward and a pass forward over the whole path make all speeds
reachable. Geometry and the constant-acceleration formulas are textbook kinematics; no jerk limit, and no limit to how
far a control looks ahead, so real machines are somewhat slower.

Lengths mm, feeds mm/min, times minutes; inside the module mm/s and s.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from advisor.columns import all_of
from grammar import jit
from grammar.classes import dataclass

if TYPE_CHECKING:
    from advisor.values import Machine
    from grammar.moves import Moves

Floats = NDArray[np.float64]

RAPID, FEED, ARC, DWELL, PROBE = range(5)
FIRST = {17: 0, 18: 2, 19: 1}  # the plane's first axis in right-handed order: X-Y, Z-X, Y-Z
SECOND = {17: 1, 18: 0, 19: 2}
NORMAL = {17: 2, 18: 1, 19: 0}
LONGEST = 1e7  # mm: a longer move is timed at its feed without ramps; keeps the sums exact
MANY = 200_000  # moves from which compiled code pays
STRAIGHT = 1e-9  # 1 - cos of an angle that counts as none


@dataclass(frozen=True, eq=False)
class Timing:
    """Times of every move, shape (n,).

    minutes: NaN where the move's length or feed is unknown. reached: mean speed along the move, mm/min. peak: highest
    speed on it, mm/min. asked: the feed asked for after the limits of the axes, mm/min. length: mm.
    accelerated: False when no machine is known and moves are timed at their feed alone (rapids NaN).
    """

    minutes: Floats
    reached: Floats
    peak: Floats
    asked: Floats
    length: Floats
    accelerated: bool

    @property
    def total(self) -> float:
        """Minutes of all moves whose time is known."""
        return float(np.nansum(self.minutes))

    @property
    def unknown(self) -> int:
        """How many moves have no known time."""
        return int(np.isnan(self.minutes).sum())


def path_lengths(moves: Moves) -> Floats:
    """Length of each move along its path, mm, shape (n,): NaN where an end is unknown, 0 for dwells."""
    with np.errstate(over="ignore", invalid="ignore"):
        step = moves.end - moves.start
        length: Floats = np.sqrt(np.einsum("ij,ij->i", step, step))
        if len(moves.arc_row):
            radius, rise = _arc_shape(moves)
            length[moves.arc_row] = np.hypot(radius * np.abs(moves.sweep), rise)
    length[moves.kind == DWELL] = 0.0
    return length


def _arc_shape(moves: Moves) -> tuple[Floats, Floats]:
    """Mean radius and rise along the plane's normal of each arc, mm, shape (k,)."""
    rows = moves.arc_row
    radius = np.empty(len(rows))
    rise = np.empty(len(rows))
    for code in (17, 18, 19):
        pick = moves.plane == code
        if not pick.any():
            continue
        a, b, n = FIRST[code], SECOND[code], NORMAL[code]
        start, end, centre = moves.start[rows[pick]], moves.end[rows[pick]], moves.centre[pick]
        radius[pick] = 0.5 * (
            np.hypot(start[:, a] - centre[:, a], start[:, b] - centre[:, b])
            + np.hypot(end[:, a] - centre[:, a], end[:, b] - centre[:, b])
        )
        rise[pick] = end[:, n] - start[:, n]
    return radius, rise


def _directions(moves: Moves, length: Floats) -> tuple[Floats, Floats]:
    """Unit vectors along the path at the start and at the end of each move, shape (n, 3); zero where undefined."""
    out = np.empty((len(moves), 3))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for axis in range(3):
            out[:, axis] = (moves.end[:, axis] - moves.start[:, axis]) / length
    out[~all_of(np.isfinite(out))] = 0.0
    into = out.copy() if len(moves.arc_row) else out
    rows = moves.arc_row
    for code in (17, 18, 19):
        pick = np.flatnonzero(moves.plane == code)
        if not len(pick):
            continue
        a, b, n = FIRST[code], SECOND[code], NORMAL[code]
        at = rows[pick]
        with np.errstate(invalid="ignore", divide="ignore"):
            slope = (moves.end[at, n] - moves.start[at, n]) / length[at]
            flat = np.sqrt(np.clip(1 - slope * slope, 0.0, 1.0)) * np.sign(moves.sweep[pick])
            for place, point in ((out, moves.start), (into, moves.end)):
                p = point[at, a] - moves.centre[pick, a]
                q = point[at, b] - moves.centre[pick, b]
                r = np.hypot(p, q)
                place[at, a] = -q / r * flat
                place[at, b] = p / r * flat
                place[at, n] = slope
                vague = at[~np.isfinite(place[at]).all(axis=1)]
                place[vague] = 0.0
    return out, into


def _along(limits: tuple[float, float, float], direction: Floats) -> Floats:
    """What axes with these limits can do together along unit directions: min of limit / |component|, shape (n,)."""
    share = np.abs(direction[:, 0]) * (1 / limits[0])
    for axis in (1, 2):
        np.maximum(share, np.abs(direction[:, axis]) * (1 / limits[axis]), out=share)
    with np.errstate(divide="ignore"):
        return np.asarray(np.divide(1.0, share, out=share))


def _stops(moves: Moves) -> NDArray[np.bool_]:
    """True for each move before which the machine stands still: change of tool, spindle or coolant, dwells, probes."""
    n = len(moves)
    stop = np.zeros(n + 1, dtype=bool)
    stop[0] = stop[n] = True
    keys: dict[tuple[object, ...], int] = {}
    number = np.array([keys.setdefault((m.tool, m.spindle, m.rpm, m.mist, m.flood), len(keys)) for m in moves.modes] or [0])
    state = number[moves.mode]
    stop[1:n] |= state[1:] != state[:-1]
    still = (moves.kind == DWELL) | (moves.kind == PROBE)
    stop[:n] |= still
    stop[1:] |= still
    return stop


def time_path(moves: Moves, machine: Machine | None) -> Timing:
    """Acceleration-limited times of every move; without a machine, length over feed."""
    n = len(moves)
    length = path_lengths(moves)
    programmed = np.where((moves.kind == RAPID) | (moves.kind == DWELL), np.nan, moves.feed)
    timed = (moves.kind != DWELL) & np.isfinite(moves.minutes) & (moves.minutes > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        programmed = np.where(timed, length / moves.minutes, programmed)
    if machine is None or n == 0:
        asked = programmed
        with np.errstate(invalid="ignore", divide="ignore"):
            minutes = np.where(length == 0, 0.0, length / asked)
        minutes[~np.isfinite(minutes)] = np.nan
        minutes = _still(moves, length, minutes, timed)
        return Timing(minutes, asked, asked, asked, length, accelerated=False)

    compiled = n >= MANY and jit.unavailable() is None
    out, into = _directions(moves, length)
    feeds = (machine.feed_max, machine.feed_max, machine.feed_max_z)
    rapid = np.flatnonzero(moves.kind == RAPID)
    arcs = moves.arc_row
    top = _along(feeds, out)
    top[rapid] = _along(machine.rapid, out[rapid])
    acceleration = _along(machine.acceleration, out)
    if len(arcs):
        top[arcs] = np.minimum(top[arcs], _along(feeds, into[arcs]))
        acceleration[arcs] = np.minimum(acceleration[arcs], _along(machine.acceleration, into[arcs]))
        radius, _ = _arc_shape(moves)
        for code in (17, 18, 19):
            pick = np.flatnonzero(moves.plane == code)
            if not len(pick):
                continue
            a, b = FIRST[code], SECOND[code]
            rows = moves.arc_row[pick]
            plane_speed = min(feeds[a], feeds[b])
            grip = min(machine.acceleration[a], machine.acceleration[b])
            acceleration[rows] = np.minimum(acceleration[rows], grip)
            with np.errstate(invalid="ignore"):
                curve = 60 * np.sqrt(grip * radius[pick])
            top[rows] = np.minimum(np.minimum(top[rows], plane_speed), curve)
    with np.errstate(invalid="ignore"):
        asked = np.where(moves.kind == RAPID, top, np.minimum(programmed, top))

    moving = np.isfinite(length) & (length > 0) & np.isfinite(asked) & (asked > 0) & np.isfinite(acceleration)
    speed = np.where(moving, asked, 0.0) / 60
    ramp = np.where(moving & (length < LONGEST), 2 * np.where(moving, acceleration, 0.0) * np.where(moving, length, 0.0), 0.0)

    # Speeds squared at the n + 1 junctions. Moves of no length are looked through: they don't stop the path.
    stop = _stops(moves)
    resting = ~moving & ~((length == 0) & (moves.kind != DWELL))
    stop[:n] |= resting
    stop[1:] |= resting
    going = np.flatnonzero(moving)
    exact = np.array([mode.path != "G64" for mode in moves.modes] or [False])[moves.mode]
    full = np.array([mode.path == "G61.1" for mode in moves.modes] or [False])[moves.mode]
    halts = np.cumsum(stop[:n], dtype=np.intp)
    path = _Path(going, halts, speed, acceleration, ramp, out, into, length, exact, full)
    seconds, peak = (_compiled_ramps if compiled else _ramps)(path, machine)
    minutes = np.where(moving | (length == 0), seconds / 60, np.nan)
    minutes = _still(moves, length, minutes, timed)
    with np.errstate(invalid="ignore", divide="ignore"):
        reached = np.where(minutes > 0, length / minutes, np.nan)
    return Timing(minutes, reached, peak, asked, length, accelerated=True)


@dataclass(frozen=True, eq=False)
class _Path:
    """What the passes over the path need: going, the moves that move, ascending; the rest a row a move.

    halts grows by one at each standstill; speed mm/s; pull mm/s2; ramp: how much the square of the speed can change;
    out, into: directions; exact, full: corners are met exactly, with a full stop.
    """

    going: NDArray[np.intp]
    halts: NDArray[np.intp]
    speed: Floats
    pull: Floats
    ramp: Floats
    out: Floats
    into: Floats
    length: Floats
    exact: NDArray[np.bool_]
    full: NDArray[np.bool_]


def _ramps(path: _Path, machine: Machine) -> tuple[Floats, Floats]:
    """Seconds and highest speed (mm/min) of each move."""
    going, n = path.going, len(path.length)
    seconds, peak = np.zeros(n), np.zeros(n)
    if not len(going):
        return seconds, peak
    vm, pull, run = path.speed[going], path.pull[going], path.length[going]
    apart = path.halts[going[1:]] != path.halts[going[:-1]]
    corner = np.minimum(_corner_speed(path, machine), np.minimum(vm[:-1], vm[1:]))
    limit = np.zeros(len(going) + 1)
    limit[1:-1] = np.where(apart, 0.0, corner * corner)
    total = np.concatenate(([0.0], np.cumsum(path.ramp[going])))
    # u[k] = min over j >= k of limit[j] + (sum of ramps from k to j), and the same from the other side
    reach = np.minimum.accumulate((limit + total)[::-1])[::-1] - total
    reach = np.minimum.accumulate(np.clip(reach, 0.0, None) - total) + total
    reach = np.clip(np.minimum(reach, limit), 0.0, None)
    v0, v1 = np.sqrt(reach[:-1]), np.sqrt(reach[1:])
    highest = np.minimum(vm, np.sqrt((2 * pull * run + v0 * v0 + v1 * v1) / 2))
    highest = np.maximum(highest, np.maximum(v0, v1))
    ramps = (2 * highest * highest - v0 * v0 - v1 * v1) / (2 * pull)
    seconds[going] = (2 * highest - v0 - v1) / pull + np.clip(run - ramps, 0.0, None) / highest
    peak[going] = highest * 60
    return seconds, peak


def _compiled_ramps(path: _Path, machine: Machine) -> tuple[Floats, Floats]:
    """``_ramps`` by compiled code."""
    from advisor.pace import follow

    seconds, peak = np.zeros(len(path.length)), np.zeros(len(path.length))
    entry, leave = np.zeros(len(path.going)), np.zeros(len(path.going))
    follow(
        path.going, path.halts, path.speed, path.pull, path.ramp, path.out, path.into, path.length, path.exact, path.full,
        float(machine.corner_deviation), np.array(machine.acceleration, dtype=float), entry, leave, seconds, peak,
    )  # fmt: skip
    return seconds, peak


def _still(moves: Moves, length: Floats, minutes: Floats, timed: NDArray[np.bool_]) -> Floats:
    """Times of moves in which no linear axis moves: dwells, inverse-time moves, turns of rotary axes."""
    dwell = moves.kind == DWELL
    minutes = np.where(dwell, np.nan_to_num(moves.minutes), minutes)
    still = (length == 0) & ~dwell
    minutes = np.where(still & timed, moves.minutes, minutes)
    if moves.rotary is not None and len(moves):
        turn = np.diff(moves.rotary, axis=0, prepend=moves.rotary[:1])
        angle = np.sqrt(np.einsum("ij,ij->i", turn, turn))
        turning = still & ~timed & (angle > 0)
        with np.errstate(invalid="ignore", divide="ignore"):
            minutes = np.where(turning, angle / moves.feed, minutes)
        minutes[~np.isfinite(minutes)] = np.nan
    return minutes


def _corner_speed(path: _Path, machine: Machine) -> Floats:
    """Highest speed between each two moves that follow each other, mm/s, shape (len(going) - 1,).

    A circle of radius R tangent to both moves, with interior angle alpha between them, misses the corner by
    R (1 / sin(alpha/2) - 1) and touches each move R / tan(alpha/2) from the corner; R is the largest that keeps the
    first within the machine's corner deviation and the second within half of each move. Speed = sqrt(a R).
    """
    rows = path.going
    before, after = path.into[rows[:-1]], path.out[rows[1:]]
    cosine = np.clip(np.einsum("ij,ij->i", before, after), -1.0, 1.0)
    # half the angle of deflection: sin(alpha/2) = cos(deflection/2)
    sin_half = np.sqrt((1 + cosine) / 2)
    cos_half = np.sqrt((1 - cosine) / 2)
    straight = 1 - cosine < STRAIGHT
    half = np.minimum(path.length[rows[:-1]], path.length[rows[1:]]) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = np.minimum(machine.corner_deviation * sin_half / (1 - sin_half), half * sin_half / cos_half)
        radius = np.where(path.exact[rows[1:]], 0.0, radius)
        # the turn pulls along after - before, which is 2 sin(deflection / 2) long
        grip = _along(machine.acceleration, after - before) * (2 * cos_half)
        speed = np.sqrt(np.where(np.isfinite(grip), grip, 0.0) * radius)
    speed = np.where(straight, np.inf, speed)
    return np.where(path.full[rows[1:]], 0.0, speed)
