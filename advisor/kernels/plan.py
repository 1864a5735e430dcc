"""From placed moves to sweeps: what the stock model has to look at, in order, as flat arrays.

A sweep is one stretch of a move whose effect on the field has a closed form: a vertical stroke, a level or sloped line,
a level arc, a stretch of a helix. Sweeps of level moves and of flat cutters hold many accounting pieces, others one. Pieces
are half a diameter long at most, those of level moves a tenth within a diameter of a corner.
Besides the cutter's own sweeps there are probes, which look and take nothing away: shank, holder and nose above the
cutter, and the bent path of rapids.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.columns import all_of, any_of
from advisor.kernels.chains import CHORD, chains
from advisor.place import Placed
from advisor.values import Cutter, Machine
from grammar.classes import dataclass
from grammar.moves import Kind

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Longs = NDArray[np.int64]

VERTICAL, LINE, SLOPE, ARC, HELIX = 0, 1, 2, 3, 4
FLAT, TORUS, CONE = 0, 1, 2
CUTS, RAPID, BENT, ABOVE = 0, 1, 2, 3  # what a sweep is for; an ABOVE sweep adds its part number minus one

NEAR = 10.0  # mm; rapids higher than this above the stock are not measured more closely
CHUNK = 50_000  # moves planned at a time
NOTHING = 1e-9  # mm or radians; less is no way and no turn
TURN = np.pi / 3  # radians; longest helical piece
MOST_PIECES = 20_000  # of one move
FINE = 10  # short pieces on each side of a corner; together as long as two others, a diameter
BEND = np.radians(30.0)  # a path that turns by more within half a diameter has a corner
HEAD, TAIL, ALL = 1, 2, 4  # where a stroke has corners; all its pieces are short, and as long as each other


@dataclass(frozen=True, eq=False)
class Sweeps:
    """Arrays of one row a sweep: what (VERTICAL ... HELIX), use (CUTS ...), row of the move, profile index, p0 and p1
    (s, 3) mm, first piece and piece count, fine: corners and short pieces (HEAD, TAIL, ALL). Arcs are kept apart: arc is a
    row of arcs (-1 for straight sweeps), which holds centre x, y and radius in mm, angle of the start and signed sweep in
    radians."""

    what: NDArray[np.int8]
    use: NDArray[np.int8]
    row: Ints
    profile: Ints
    p0: Floats
    p1: Floats
    arc: Ints
    first: Longs
    count: Ints
    fine: NDArray[np.int8]
    arcs: Floats

    def __len__(self) -> int:
        return len(self.what)


@dataclass(frozen=True, eq=False)
class PlannedPieces:
    """Arrays of one row a piece; see advisor.stock.Cuts. bent: the piece is a stretch of a rapid's bent path; fine: it is a
    short one beside a corner."""

    row: Ints
    last: Ints
    t0: NDArray[np.float32]
    t1: NDArray[np.float32]
    start: NDArray[np.float32]
    end: NDArray[np.float32]
    direction: NDArray[np.float32]
    run: NDArray[np.float32]
    length: NDArray[np.float32]
    rapid: NDArray[np.bool_]
    bent: NDArray[np.bool_]
    fine: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Plan:
    """Sweeps in order, the pieces they account to, and the profiles: (p, 6) rows of radius, form (FLAT, TORUS, CONE),
    flat radius, corner radius, slope of the cone, core radius; mm."""

    sweeps: Sweeps
    pieces: PlannedPieces
    profiles: Floats
    lengthened: float  # pieces are this many times longer than wanted (1: as wanted)
    cornered: bool = True  # pieces beside corners are short


@dataclass(eq=False)
class _Strokes:
    """Stretches of moves, or chains of moves row..last, before they are cut into pieces."""

    row: NDArray[np.int64]
    last: NDArray[np.int64]
    what: NDArray[np.int8]
    p0: Floats
    p1: Floats
    centre: Floats
    radius: Floats
    angle: Floats
    sweep: Floats
    t0: Floats
    t1: Floats
    bent: NDArray[np.bool_]

    def take(self, index: NDArray[np.int64] | NDArray[np.bool_]) -> _Strokes:
        return _Strokes(*(getattr(self, name)[index] for name in self.__dataclass_fields__))


def _join(parts: list[_Strokes]) -> _Strokes:
    if len(parts) == 1:
        return parts[0]
    return _Strokes(*(np.concatenate([getattr(p, name) for p in parts]) for name in _Strokes.__dataclass_fields__))


def profile_of(cutter: Cutter) -> tuple[float, float, float, float, float, float]:
    """Radius, form, flat radius, corner radius, cone slope and core radius of a cutter (mm).

    A drill point without a stated angle is taken as 118 degrees, a V cutter as 90 (common practice, no source).
    """
    radius = max(cutter.radius, 1e-9)
    core = radius / 4
    if not cutter.centre_cutting and cutter.dead_diameter > 0:
        core = cutter.dead_diameter / 2
    if cutter.form == "ball":
        return radius, TORUS, 0.0, radius, 0.0, core
    if cutter.form == "corner":
        corner = min(max(cutter.corner_radius, 0.0), radius)
        if corner > 1e-6:
            return radius, TORUS, radius - corner, corner, 0.0, core
    if cutter.form in ("vee", "drill"):
        angle = cutter.tip_angle if cutter.tip_angle is not None else (118.0 if cutter.form == "drill" else 90.0)
        half = np.radians(min(max(angle, 1.0), 179.9) / 2)
        tip = min(max(cutter.tip_diameter / 2, 0.0), radius) if cutter.form == "vee" else 0.0
        return radius, CONE, tip, 0.0, float(1 / np.tan(half)), core
    return radius, FLAT, radius, 0.0, 0.0, core


def make_plan(placed: Placed, machine: Machine | None, cell: float, most_pieces: int) -> Plan:
    """Cut the moves into sweeps and pieces for a grid of ``cell`` mm."""
    table = np.array([profile_of(c) for c in placed.cutters] or [(1e-9, 0, 1e-9, 0, 0, 0)], dtype=np.float64)
    lengthened, before = 1.0, np.inf
    most, more = _most(placed, table, cell)
    cornered = most + more <= most_pieces
    while most > most_pieces:  # only then is it worth counting
        count = sum(part.count.sum() for part in _chunks(placed, machine, table, cell, lengthened, cornered))
        if count <= max(most_pieces, 3 * len(placed)) or count == before:
            break
        before = count
        lengthened *= max(2.0, 2.0 ** int(np.log2(count / most_pieces)))
    pieces: list[PlannedPieces] = []
    sweeps: list[Sweeps] = []
    done = 0
    arcs = 0
    for chunk in _chunks(placed, machine, table, cell, lengthened, cornered):
        one, inner = _pieces(chunk)
        some = _sweeps(chunk, inner, done, arcs)
        done += len(one.row)
        arcs += len(some.arcs)
        pieces.append(one)
        sweeps.append(some)
    joined = PlannedPieces(**_joined(pieces, PlannedPieces))
    with_parts, profiles = _with_parts(Sweeps(**_joined(sweeps, Sweeps)), joined, placed, machine, table)
    return Plan(with_parts, joined, profiles, lengthened, cornered)


def _most(placed: Placed, table: Floats, cell: float) -> tuple[float, float]:
    """More pieces than the moves can have, and more than corners can add to them."""
    with np.errstate(invalid="ignore"):
        way = np.abs(placed.end - placed.start)
    way[~np.isfinite(way)] = 0.0
    length = way[:, 0] + way[:, 1] + way[:, 2]
    if len(placed.arc_row):
        arm = np.hypot(*(placed.start[placed.arc_row, :2] - placed.centre[:, :2]).T)
        length[placed.arc_row] += np.nan_to_num(np.abs(placed.sweep) * (np.maximum(arm, 0.0) + 10.0), nan=0, posinf=0)
    wanted = np.maximum(table[placed.cutter, 0], 4 * cell)
    level = placed.start[:, 2] == placed.end[:, 2]
    corners = np.minimum(length[level] / wanted[level] * (FINE / 2), 2.0 * FINE)
    return float((length / wanted).sum() * 2 + 3 * len(placed)), float(corners.sum())


def _joined(parts: list[Any], kind: type) -> dict[str, Any]:
    """The fields of many parts one after the other; the parts are used up, so that little is held twice."""
    names = [f.name for f in fields(kind)]
    if len(parts) == 1:
        return {name: getattr(parts[0], name) for name in names}
    found = {}
    for name in names:
        found[name] = np.concatenate([getattr(part, name) for part in parts])
        for part in parts:
            object.__setattr__(part, name, None)
    return found


@dataclass(eq=False)
class _Chunk:
    """Strokes of some moves, with the pieces each is cut into."""

    strokes: _Strokes
    count: Longs
    fine: NDArray[np.int8]
    share: Floats  # of a short piece
    run: Floats
    length: Floats
    whole: NDArray[np.bool_]
    touches: NDArray[np.bool_]
    profile: Ints
    rapid: NDArray[np.bool_]


def _chunks(
    placed: Placed, machine: Machine | None, table: Floats, cell: float, lengthened: float, cornered: bool
) -> Iterator[_Chunk]:
    """The strokes of the moves, some ten thousand moves at a time so that the memory for the steps stays small."""
    longest = np.maximum(table[:, 0], 4 * cell) * lengthened
    for first in range(0, max(1, len(placed)), CHUNK):
        strokes = _strokes(placed, table, longest, first, min(first + CHUNK, len(placed)))
        strokes = _with_bent(strokes, placed, machine)
        rapid = placed.kind[strokes.row] == Kind.RAPID
        profile = placed.cutter[strokes.row]
        # strokes that are swept whole: level ones, and what a flat cutter cuts on a slope
        flat = table[profile, 1] == FLAT
        whole = (strokes.what == LINE) | (strokes.what == ARC) | (strokes.what == HELIX)
        whole |= (strokes.what == SLOPE) & flat & ~rapid
        run = np.where(
            strokes.what >= ARC,
            np.abs(strokes.sweep) * strokes.radius,
            np.hypot(strokes.p1[:, 0] - strokes.p0[:, 0], strokes.p1[:, 1] - strokes.p0[:, 1]),
        )
        length = np.hypot(run, strokes.p1[:, 2] - strokes.p0[:, 2])
        touches = _touches(strokes, placed, table[profile, 0], rapid)
        count = np.clip(np.ceil(np.where(touches, length / longest[profile], 0.0) - 1e-9), 1, MOST_PIECES)
        count[strokes.bent & (strokes.what == LINE)] = 1
        count[rapid & (strokes.what == VERTICAL)] = 1  # what a rapid stroke up or down meets, it meets at its end
        fine, share = np.zeros(len(count), dtype=np.int8), np.ones(len(count))
        if cornered and lengthened == 1:
            level = touches & ~rapid & ((strokes.what == LINE) | (strokes.what == ARC))
            radius = table[profile, 0]
            short = 2 * radius / FINE
            # short pieces are of use on a grid that is fine enough, and where a stroke is longer than one of them
            level &= (length > 1.5 * short) & (longest[profile] == radius)
            if level.any():
                fine = np.where(level, _corners(strokes, run, profile, radius, rapid), 0).astype(np.int8)
                share = np.where(fine > 0, short / np.where(level, length, 1.0), 1.0)
                ends = FINE * ((fine & HEAD) + (fine & TAIL) // TAIL)
                whole_fine = (fine > 0) & (share * (ends + 1) >= 1)
                rest = np.ceil(length * (1 - share * ends) / longest[profile] - 1e-9)
                count = np.where(fine > 0, ends + np.clip(rest, 1, MOST_PIECES), count)
                count = np.where(whole_fine, np.ceil(length / short - 0.25), count)
                fine[whole_fine] |= ALL
        yield _Chunk(strokes, count.astype(np.int64), fine, share, run, length, whole, touches, profile, rapid)


def _corners(strokes: _Strokes, run: Floats, profile: Ints, radius: Floats, rapid: NDArray[np.bool_]) -> Longs:
    """Which ends of each stroke lie beside a corner: HEAD, TAIL, both or none.

    The path turns by more than BEND within half a diameter behind the end, or before the start, of a stroke.
    """
    flat = run > NOTHING
    delta = (strokes.p1 - strokes.p0)[:, :2]
    out = np.arctan2(delta[:, 1], delta[:, 0])
    into = out.copy()
    curved = np.flatnonzero(strokes.what >= ARC)
    sense = np.sign(strokes.sweep[curved]) * np.pi / 2
    out[curved] = strokes.angle[curved] + sense
    into[curved] = strokes.angle[curved] + strokes.sweep[curved] + sense
    goes_on = flat[1:] & flat[:-1] & ~rapid[1:] & ~rapid[:-1] & (profile[1:] == profile[:-1])
    goes_on &= all_of(strokes.p0[1:] == strokes.p1[:-1])
    turn = np.abs(np.mod(out[1:] - into[:-1] + np.pi, 2 * np.pi) - np.pi)
    # the way and all that the path has turned up to the start and the end of each stroke; a break is a long way
    way = np.where(flat, run, 0.0)
    gap = np.concatenate([[0.0], np.cumsum(np.where(goes_on, 0.0, 10 * radius[1:]))])
    end = np.cumsum(way) + gap
    start = end - way
    joint = np.concatenate([[0.0], np.cumsum(np.where(goes_on, turn, 0.0))])
    bend = np.where(strokes.what >= ARC, np.abs(strokes.sweep), 0.0)
    turned = joint + np.cumsum(bend)  # at the end
    places = np.column_stack([start, end]).ravel()
    angles = np.column_stack([turned - bend, turned]).ravel()
    # of the places at one distance (both sides of a joint) the last is taken ahead, the first behind
    ahead = _at(end + radius, places, angles, "right") - turned
    behind = (turned - bend) - _at(start - radius, places, angles, "left")
    return np.asarray(HEAD * (behind > BEND) + TAIL * (ahead > BEND))


def _at(x: Floats, places: Floats, angles: Floats, side: str) -> Floats:
    """The angle at the places x, on the given side of a jump."""
    k = np.searchsorted(places, x, side=side)  # type: ignore[call-overload]
    k = np.clip(k, 1, len(places) - 1)
    width = places[k] - places[k - 1]
    part = np.clip((x - places[k - 1]) / np.where(width > 0, width, 1.0), 0.0, 1.0)
    return np.asarray(angles[k - 1] + (angles[k] - angles[k - 1]) * part)


def knots(count: Any, fine: Any) -> tuple[Any, Any]:
    """How many of a sweep's pieces are short at its head and at its tail (of numbers or arrays alike)."""
    some = (fine > 0) & (fine < ALL)
    return FINE * (fine & HEAD) * some, FINE * (fine & TAIL) // TAIL * some


def bins_along(at: Floats, length: float, count: int, fine: int, short: float) -> Longs:
    """Piece in which each place of one sweep lies, ``at`` from its start; see ``knots``.

    length: of the sweep, short: of a short piece, in the unit of ``at``.
    """
    if fine >= ALL:
        share = at * (count / length)
    else:
        head, tail = knots(count, fine)
        share = np.interp(at, (0.0, head * short, length - tail * short, length), (0, head, count - tail, count))
    return np.asarray(np.minimum(share.astype(np.int64), count - 1))


def _edges(k: Longs, many: Longs, chunk: _Chunk) -> Floats:
    """Share of the way of stroke ``many`` at which its k-th piece begins."""
    u: Floats = k / chunk.count[many]
    pick = np.flatnonzero((chunk.fine[many] > 0) & (chunk.fine[many] < ALL))
    if len(pick):
        of, at = many[pick], k[pick]
        head, tail = knots(chunk.count[of], chunk.fine[of])
        count, short = chunk.count[of], chunk.share[of]
        rest = (1 - (head + tail) * short) / (count - head - tail)
        inner = head * short + (at - head) * rest
        u[pick] = np.where(at <= head, at * short, np.where(at >= count - tail, 1 - (count - at) * short, inner))
    return u


def _strokes(placed: Placed, table: Floats, longest: Floats, first: int, stop: int) -> _Strokes:
    """The followed moves of rows first..stop as lines, level arcs and helices; other curves as chords.

    Short moves on one line are taken together, to at most ``longest`` mm by cutter.
    """
    start, end = placed.start[first:stop].copy(), placed.end[first:stop].copy()
    top = placed.top
    kind = placed.kind[first:stop]
    rapid = kind == Kind.RAPID
    moving = rapid | (kind == Kind.FEED) | (kind == Kind.ARC)
    # what is not known of a start is taken from the end: at least the end of the move is looked at
    for axis in range(3):
        gap = np.isnan(start[:, axis]) & ~np.isnan(end[:, axis])
        start[gap, axis] = end[gap, axis]
    high0, high1 = np.isposinf(start[:, 2]), np.isposinf(end[:, 2])
    # from "high" the tool comes down over the end; up to "high" it leaves what it has already looked at
    down = high0 & ~high1
    start[down, :2] = end[down, :2]
    start[down, 2] = np.maximum(end[down, 2], top) + 1
    moving &= ~high1
    moving &= ~any_of(np.isnan(start)) & ~any_of(np.isnan(end)) & (placed.cutter[first:stop] >= 0)
    turned = np.zeros(len(kind), dtype=bool)
    for lost in placed.unlooked:
        if lost.cause == "rotary":
            turned[max(lost.first_row - first, 0) : max(lost.last_row + 1 - first, 0)] = True
    moving &= ~turned
    is_arc = np.zeros(len(kind), dtype=bool)
    a, b = np.searchsorted(placed.arc_row, [first, stop])
    is_arc[placed.arc_row[a:b] - first] = True
    is_line = moving & ~is_arc
    is_line &= any_of(start != end)
    rows = np.flatnonzero(is_line)
    parts = [_chained(_lines(rows + first, start[rows], end[rows], 0.0, 1.0), placed, longest)]
    if b > a:
        parts += _arcs(placed, slice(int(a), int(b)), first, start, end, moving, table)
    joined = _join(parts)
    if len(parts) > 1:
        joined = joined.take(np.lexsort((joined.t0, joined.row)))
    return joined


def _chained(lines: _Strokes, placed: Placed, longest: Floats) -> _Strokes:
    """Straight moves at feed, chains of them as one stroke where that is what they are."""
    row, p0, p1 = lines.row, lines.p0, lines.p1
    if len(row) < 2:
        return lines
    most = longest[placed.cutter[row]]
    delta = p1 - p0
    short = (np.einsum("ij,ij->i", delta, delta) <= most * most) & (placed.kind[row] == Kind.FEED)
    may = np.zeros(len(row), dtype=bool)
    may[1:] = short[1:] & short[:-1]
    if not may.any():
        return lines
    what, block, feed = lines.what, placed.block[row], placed.feed[row]
    mode, flags = placed.mode[row], placed.flags[row]
    may[1:] &= (what[1:] == what[:-1]) & (what[1:] != VERTICAL) & (np.diff(row) == 1) & (np.diff(block) == 1)
    may[1:] &= (mode[1:] == mode[:-1]) & (flags[1:] == flags[:-1]) & (feed[1:] == feed[:-1])
    may[1:] &= all_of(p0[1:] == p1[:-1])
    first = chains(p0, p1, may, most)
    if len(first) == len(row):
        return lines
    last = np.append(first[1:], len(row)) - 1
    joined = _lines(row[first], p0[first], p1[last], 0.0, 1.0)
    joined.last = row[last]
    return joined


def _lines(rows: NDArray[np.int64], p0: Floats, p1: Floats, t0: Floats | float, t1: Floats | float) -> _Strokes:
    n = len(rows)
    level = p0[:, 2] == p1[:, 2]
    dx, dy = p1[:, 0] - p0[:, 0], p1[:, 1] - p0[:, 1]
    upright = dx * dx + dy * dy < NOTHING * NOTHING
    what = np.where(upright, VERTICAL, np.where(level, LINE, SLOPE)).astype(np.int8)
    nothing = np.zeros(n)
    return _Strokes(
        rows, rows, what, p0, p1, np.zeros((n, 2)), nothing, nothing, nothing,
        np.broadcast_to(np.asarray(t0, dtype=float), (n,)), np.broadcast_to(np.asarray(t1, dtype=float), (n,)),
        np.zeros(n, dtype=bool),
    )  # fmt: skip


def _arcs(
    placed: Placed,
    part: slice,
    first: int,
    start: Floats,
    end: Floats,
    moving: NDArray[np.bool_],
    table: Floats,
) -> list[_Strokes]:
    """Level arcs and the helices of flat cutters whole, everything else as chords; start and end begin at ``first``."""
    rows = placed.arc_row[part].astype(np.int64)
    pick = moving[rows - first]
    rows = rows[pick]
    centre, sweep, plane = placed.centre[part][pick], placed.sweep[part][pick], placed.plane[part][pick]
    good = np.isfinite(sweep) & (np.abs(sweep) < 1e6)
    for code, axes in ((17, (0, 1)), (18, (2, 0)), (19, (1, 2))):
        good &= (plane != code) | np.isfinite(centre[:, axes]).all(axis=1)
    # an arc without radius or sweep is the line between its ends
    arm = np.hypot(*(np.nan_to_num(start[rows - first] - centre)[:, :2]).T)
    point = good & ((np.abs(np.nan_to_num(sweep)) < NOTHING) | ((plane == 17) & (arm < NOTHING)))
    degenerate = rows[point]
    good &= ~point
    rows, centre, sweep, plane = rows[good], centre[good], sweep[good], plane[good]
    p0, p1 = start[rows - first], end[rows - first]
    flat_plane = plane == 17
    level = flat_plane & (p0[:, 2] == p1[:, 2])
    flat_tool = table[placed.cutter[rows], 1] == FLAT
    whole = level | (flat_plane & flat_tool)
    found = [_lines(degenerate, start[degenerate - first], end[degenerate - first], 0.0, 1.0)]
    if whole.any():
        r, c, s, a, b = rows[whole], centre[whole, :2], sweep[whole], p0[whole], p1[whole]
        # start and end may lie at slightly different radii: the mean is used
        radius = (np.hypot(*(a[:, :2] - c).T) + np.hypot(*(b[:, :2] - c).T)) / 2
        angle = np.arctan2(a[:, 1] - c[:, 1], a[:, 0] - c[:, 0])
        # arcs in stretches of some four diameters where the circle is large, so that their windows stay small; a
        # stretch of a small helix must not come back to what it has left
        tool = table[placed.cutter[r], 0]
        large = radius > 2 * tool
        stretch = np.minimum(np.pi / 4, 8 * tool / np.maximum(radius, 1e-9))
        most = np.where(large, np.maximum(stretch, 1e-3), np.where(level[whole], 2 * np.pi, TURN))
        turns = np.clip(np.ceil(np.abs(s) / most - 1e-9), 1, MOST_PIECES).astype(np.int64)
        k = np.arange(turns.sum()) - np.repeat(np.cumsum(turns) - turns, turns)
        many = np.repeat(np.arange(len(r)), turns)
        u0, u1 = k / turns[many], (k + 1) / turns[many]
        q0, q1 = a[many].copy(), b[many].copy()
        for q, u in ((q0, u0), (q1, u1)):
            inner = (u > 0) & (u < 1)
            turn = angle[many] + s[many] * u
            q[inner, 0] = (c[many, 0] + radius[many] * np.cos(turn))[inner]
            q[inner, 1] = (c[many, 1] + radius[many] * np.sin(turn))[inner]
            q[:, 2] = a[many, 2] + (b[many, 2] - a[many, 2]) * u
        what = np.where(q0[:, 2] == q1[:, 2], ARC, HELIX).astype(np.int8)
        found.append(
            _Strokes(
                row=r[many],
                last=r[many],
                what=what,
                p0=q0,
                p1=q1,
                centre=c[many],
                radius=radius[many],
                angle=angle[many] + s[many] * u0,
                sweep=s[many] / turns[many],
                t0=u0,
                t1=u1,
                bent=np.zeros(len(many), dtype=bool),
            )
        )
    rest = ~whole
    if rest.any():
        found.append(_chords(rows[rest], p0[rest], p1[rest], centre[rest], sweep[rest], plane[rest]))
    return found


def _chords(
    rows: NDArray[np.int64], p0: Floats, p1: Floats, centre: Floats, sweep: Floats, plane: NDArray[np.int8]
) -> _Strokes:
    """Arcs as chords that stray at most CHORD from them (never less than 6 degrees apart on large counts)."""
    first = np.choose(plane - 17, [0, 2, 1])
    second = np.choose(plane - 17, [1, 0, 2])
    normal = 3 - first - second
    each = np.arange(len(rows))
    a0, b0 = p0[each, first], p0[each, second]
    ca, cb = centre[each, first], centre[each, second]
    radius0 = np.hypot(a0 - ca, b0 - cb)
    radius1 = np.hypot(p1[each, first] - ca, p1[each, second] - cb)
    angle = np.arctan2(b0 - cb, a0 - ca)
    step = 2 * np.sqrt(2 * CHORD / np.maximum(np.maximum(radius0, radius1), 2 * CHORD))
    count = np.clip(np.ceil(np.abs(sweep) / step - 1e-9), 1, MOST_PIECES).astype(np.int64)
    many = np.repeat(each, count)
    k = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    ends = []
    for u, exact in (((k + 0.0) / count[many], p0), ((k + 1.0) / count[many], p1)):
        turn = angle[many] + sweep[many] * u
        radius = radius0[many] + (radius1 - radius0)[many] * u
        q = np.empty((len(many), 3))
        line = np.arange(len(many))
        q[line, first[many]] = ca[many] + radius * np.cos(turn)
        q[line, second[many]] = cb[many] + radius * np.sin(turn)
        n = normal[many]
        q[line, n] = p0[many, n] + (p1[many, n] - p0[many, n]) * u
        edge = (u <= 0) | (u >= 1)
        q[edge] = exact[many][edge]
        ends.append((u, q))
    (u0, q0), (u1, q1) = ends
    return _lines(rows[many], q0, q1, u0, u1)


def _touches(strokes: _Strokes, placed: Placed, radius: Floats, rapid: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Strokes that come low enough and near enough to the stock to be looked at."""
    low_z = np.minimum(strokes.p0[:, 2], strokes.p1[:, 2])
    limit = np.where(rapid, placed.top + NEAR, placed.top)
    (x0, x1), (y0, y1) = _reach(strokes.p0, strokes.p1, strokes.centre, strokes.radius, strokes.what)
    size = placed.workpiece.size
    near = (x1 + radius > 0) & (x0 - radius < size[0]) & (y1 + radius > 0) & (y0 - radius < size[1])
    return np.asarray((low_z < limit) & near)


def _reach(
    p0: Floats, p1: Floats, centre: Floats, radius: Floats, what: NDArray[np.int8]
) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Least and greatest X and Y of each stroke's path (the whole circle for arcs)."""
    arc = what >= ARC
    spans = []
    for axis in (0, 1):
        low = np.minimum(p0[:, axis], p1[:, axis])
        high = np.maximum(p0[:, axis], p1[:, axis])
        low = np.where(arc, np.minimum(low, centre[:, axis] - radius), low)
        high = np.where(arc, np.maximum(high, centre[:, axis] + radius), high)
        spans.append((low, high))
    return spans[0], spans[1]


def _pieces(chunk: _Chunk) -> tuple[PlannedPieces, tuple[NDArray[np.int64], Floats, Floats, Floats, Floats]]:
    """All pieces, and for the sweeps: stroke of each piece, its shares of it, its exact ends."""
    strokes, count, flat_run, length, rapid = chunk.strokes, chunk.count, chunk.run, chunk.length, chunk.rapid
    many = np.repeat(np.arange(len(count)), count)
    k = np.arange(len(many)) - np.repeat(np.cumsum(count) - count, count)
    u0, u1 = _edges(k, many, chunk), _edges(k + 1, many, chunk)
    p0, p1 = strokes.p0[many], strokes.p1[many]
    delta = p1 - p0
    q0, q1 = p0 + delta * u0[:, None], p0 + delta * u1[:, None]
    whole_first, whole_last = u0 <= 0, u1 >= 1
    q1[whole_last] = p1[whole_last]
    direction = np.zeros((len(many), 2))
    run, way = flat_run[many] / count[many], length[many] / count[many]
    fine = chunk.fine[many] >= ALL
    uneven = np.flatnonzero((chunk.fine[many] > 0) & ~fine)
    if len(uneven):
        of, part = many[uneven], (u1 - u0)[uneven]
        run[uneven], way[uneven] = flat_run[of] * part, length[of] * part
        fine[uneven] = part < 1.5 * chunk.share[of]
    straight = (strokes.what[many] < ARC) & (flat_run[many] > 0)
    direction[straight] = delta[straight, :2] / flat_run[many][straight, None]
    round_ = strokes.what[many] >= ARC
    if round_.any():
        c, r = strokes.centre[many][round_], strokes.radius[many][round_]
        a, s = strokes.angle[many][round_], strokes.sweep[many][round_]
        for q, u, keep in ((q0, u0, whole_first), (q1, u1, whole_last)):
            turn = a + s * u[round_]
            inner = ~keep[round_]
            rows = np.flatnonzero(round_)[inner]
            q[rows, 0] = (c[:, 0] + r * np.cos(turn))[inner]
            q[rows, 1] = (c[:, 1] + r * np.sin(turn))[inner]
        middle = a + s * (u0 + u1)[round_] / 2
        sign = np.sign(s)
        direction[round_, 0] = -np.sin(middle) * sign
        direction[round_, 1] = np.cos(middle) * sign
    t_span = (strokes.t1 - strokes.t0)[many]
    t0 = strokes.t0[many]
    pieces = PlannedPieces(
        row=strokes.row[many].astype(np.int32),
        last=strokes.last[many].astype(np.int32),
        t0=(t0 + t_span * u0).astype(np.float32),
        t1=(t0 + t_span * u1).astype(np.float32),
        start=q0.astype(np.float32),
        end=q1.astype(np.float32),
        direction=direction.astype(np.float32),
        run=run.astype(np.float32),
        length=way.astype(np.float32),
        rapid=rapid[many],
        bent=strokes.bent[many],
        fine=fine,
    )
    return pieces, (many, u0, u1, q0, q1)


def _sweeps(chunk: _Chunk, inner: tuple[NDArray[np.int64], Floats, Floats, Floats, Floats], pieces: int, arcs: int) -> Sweeps:
    """Strokes swept whole as one sweep, the others one sweep a piece; strokes that touch nothing have none.

    pieces, arcs: how many there are before this chunk.
    """
    strokes, count = chunk.strokes, chunk.count
    many, u0, u1, q0, q1 = inner
    first = np.cumsum(count) - count
    at_start = np.zeros(len(many), dtype=bool)
    at_start[first] = True
    keep = np.flatnonzero(chunk.touches[many] & (~chunk.whole[many] | at_start))
    stroke = many[keep]
    whole = chunk.whole[stroke]
    use = np.where(strokes.bent[stroke], BENT, np.where(chunk.rapid[stroke], RAPID, CUTS))
    curved = np.flatnonzero(strokes.what[stroke] >= ARC)
    arc = np.full(len(stroke), -1, dtype=np.int32)
    arc[curved] = arcs + np.arange(len(curved))
    of = stroke[curved]
    begin = np.where(whole[curved], 0.0, u0[keep][curved])
    share = np.where(whole[curved], 1.0, (u1 - u0)[keep][curved])
    table = np.column_stack(
        [
            strokes.centre[of],
            strokes.radius[of],
            strokes.angle[of] + strokes.sweep[of] * begin,
            strokes.sweep[of] * share,
        ]
    )
    return Sweeps(
        what=strokes.what[stroke],
        use=use.astype(np.int8),
        row=strokes.row[stroke].astype(np.int32),
        profile=chunk.profile[stroke].astype(np.int32),
        p0=q0[keep],
        p1=np.where(whole[:, None], strokes.p1[stroke], q1[keep]),
        arc=arc,
        first=pieces + keep.astype(np.int64),
        count=np.where(whole, count[stroke], 1).astype(np.int32),
        fine=np.where(whole, chunk.fine[stroke], 0).astype(np.int8),
        arcs=table,
    )


def _with_bent(strokes: _Strokes, placed: Placed, machine: Machine | None) -> _Strokes:
    """Before each rapid that would not run straight, the path it takes when every axis runs at its own speed."""
    if machine is None:
        return strokes
    rapid = placed.kind[strokes.row] == Kind.RAPID
    delta = strokes.p1 - strokes.p0
    low = np.minimum(strokes.p0[:, 2], strokes.p1[:, 2])
    pick = np.flatnonzero(rapid & (low < placed.top + NEAR))
    pick = pick[(np.abs(delta[pick]) > 1e-9).sum(axis=1) > 1]
    if not len(pick):
        return strokes
    speed = np.maximum(np.array(machine.rapid, dtype=float), 1e-6)
    times = np.abs(delta[pick]) / speed
    bends = np.sort(times, axis=1)
    total = bends[:, 2]
    found = []
    begin = strokes.p0[pick]
    for k in range(3):
        share = np.minimum(bends[:, k : k + 1] / np.maximum(times, 1e-300), 1.0)
        reach = strokes.p0[pick] + delta[pick] * np.where(times > 0, share, 1.0)
        if k == 2:
            reach = strokes.p1[pick]
        real = (np.abs(reach - begin) > 1e-9).any(axis=1)
        t0 = (bends[:, k - 1] / total) if k else np.zeros(len(pick))
        one = _lines(strokes.row[pick], begin, reach, t0, bends[:, k] / total)
        one.bent = np.ones(len(pick), dtype=bool)
        found.append(one.take(real & (np.ptp(times, axis=1) > 1e-9)))
        begin = reach
    joined = _join([*found, strokes])
    return joined.take(np.lexsort((joined.t0, ~joined.bent, joined.row)))


def parts_above(cutter: Cutter, machine: Machine | None) -> list[tuple[int, float, float]]:
    """(part, radius, height of its lower face above the tip) of shank 1, holder 2 and nose 3, as far as known; mm."""
    found = []
    if cutter.shank is not None and cutter.flute_length is not None and cutter.shank > cutter.diameter + 1e-6:
        found.append((1, cutter.shank / 2, cutter.flute_length))
    if cutter.stickout is not None:
        if cutter.holder_diameter is not None:
            found.append((2, cutter.holder_diameter / 2, cutter.stickout))
        length = cutter.holder_length
        if machine is not None and machine.nose_diameter is not None:
            below = machine.nose_length if machine.nose_length is not None else length
            if below is not None:
                found.append((3, machine.nose_diameter / 2, cutter.stickout + below))
    return found


def _with_parts(
    sweeps: Sweeps, pieces: PlannedPieces, placed: Placed, machine: Machine | None, table: Floats
) -> tuple[Sweeps, Floats]:
    """Add the probes of shank, holder and nose to the pieces that bring them below the top of the stock."""
    profiles = [table]
    added: list[tuple[NDArray[np.int64], int, int, float]] = []  # rows, part, profile, height
    cutter = placed.cutter[pieces.row]
    low = np.minimum(pieces.start[:, 2], pieces.end[:, 2])
    size = placed.workpiece.size
    count = len(table)
    for index, tool in enumerate(placed.cutters):
        for part, radius, height in parts_above(tool, machine):
            profiles.append(np.array([[radius, FLAT, radius, 0.0, 0.0, 0.0]]))
            near = (cutter == index) & ~pieces.bent & (low + height < placed.top - 1e-4)
            for axis in (0, 1):
                least = np.minimum(pieces.start[:, axis], pieces.end[:, axis]) - radius
                most = np.maximum(pieces.start[:, axis], pieces.end[:, axis]) + radius
                near &= (most > 0) & (least < size[axis])
            added.append((np.flatnonzero(near), part, count, height))
            count += 1
    total = sum(len(rows) for rows, *_ in added)
    if not total:
        return sweeps, np.concatenate(profiles)
    rows = np.concatenate([a[0] for a in added])
    part_of = np.concatenate([np.full(len(a[0]), a[1]) for a in added])
    profile = np.concatenate([np.full(len(a[0]), a[2]) for a in added])
    heights = np.concatenate([np.full(len(a[0]), a[3]) for a in added])
    p0, p1 = pieces.start[rows].astype(float), pieces.end[rows].astype(float)
    p0[:, 2] += heights
    p1[:, 2] += heights
    lines = _lines(rows, p0, p1, 0.0, 1.0)
    probes = Sweeps(
        what=lines.what,
        use=(ABOVE + part_of - 1).astype(np.int8),
        row=pieces.row[rows],
        profile=profile.astype(np.int32),
        p0=p0,
        p1=p1,
        arc=np.full(total, -1, dtype=np.int32),
        first=rows.astype(np.int64),
        count=np.ones(total, dtype=np.int32),
        fine=np.zeros(total, dtype=np.int8),
        arcs=sweeps.arcs,
    )
    # a probe comes after the sweep its piece belongs to
    owner = np.concatenate([sweeps.first, rows])
    if len(sweeps):
        place = np.searchsorted(sweeps.first, rows, side="right") - 1
        last = sweeps.first + sweeps.count - 1
        inside = (place >= 0) & (rows <= last[np.maximum(place, 0)])
        owner[len(sweeps) :] = np.where(inside, sweeps.first[np.maximum(place, 0)], rows)
    order = np.lexsort((np.concatenate([np.zeros(len(sweeps)), part_of]), owner))
    both = {
        f.name: np.concatenate([getattr(sweeps, f.name), getattr(probes, f.name)])[order]
        for f in fields(Sweeps)
        if f.name != "arcs"
    }
    return Sweeps(**both, arcs=sweeps.arcs), np.concatenate(profiles)


def windows(sweeps: Sweeps, profiles: Floats, nx: int, ny: int, dx: float, dy: float) -> Ints:
    """(s, 4) first and past-last cell in X and Y that a sweep may look at, clipped to the grid."""
    radius = profiles[sweeps.profile, 0]
    found = np.empty((len(sweeps), 4), dtype=np.int32)
    arc = np.flatnonzero(sweeps.arc >= 0)
    arcs = sweeps.arcs[sweeps.arc[arc]]
    for axis, n, size in ((0, nx, dx), (1, ny, dy)):
        low = np.minimum(sweeps.p0[:, axis], sweeps.p1[:, axis])
        high = np.maximum(sweeps.p0[:, axis], sweeps.p1[:, axis])
        if len(arc):
            centre, r, a, s = arcs[:, axis], arcs[:, 2], arcs[:, 3], arcs[:, 4]
            for quarter, sign in ((np.pi / 2 * axis, 1), (np.pi / 2 * axis + np.pi, -1)):
                ahead = np.mod((quarter - a) * np.sign(s), 2 * np.pi)
                passes = (ahead <= np.abs(s) + 1e-6) | (ahead >= 2 * np.pi - 1e-6)
                if sign > 0:
                    high[arc] = np.where(passes, np.maximum(high[arc], centre + r), high[arc])
                else:
                    low[arc] = np.where(passes, np.minimum(low[arc], centre - r), low[arc])
        found[:, 2 * axis] = np.clip(np.floor((low - radius) / size) - 1, 0, n)
        found[:, 2 * axis + 1] = np.clip(np.ceil((high + radius) / size) + 1, 0, n)
    return found
