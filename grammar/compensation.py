"""Cutter radius compensation G41, G42 (NISTIR 6556 3.5.10 and Appendix B), XY plane.

``Machine.comp`` is () while it is off, else a ``Comp``. Before the first move the programmed point is where the tool
stands; after it the tool stands a radius beside the programmed point, square to the path.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from grammar import path
from grammar.motion import arc_centre, arc_move
from grammar.moves import Flag, Gap, Kind
from grammar.parse import Reject
from grammar.path import NEAR
from grammar.state import Plain

if TYPE_CHECKING:
    from grammar.interpret import Machine

CORNER = 0.01  # rad: a corner sharper than this is one; arcs are rounded to their tolerance (estimate, no source)
NAN = math.nan
Point = tuple[float, float]


class Comp(NamedTuple):
    """Compensation in force: D number (None: given directly), +1 left or -1 right of the path, radius, programmed point."""

    number: int | None
    side: int
    radius: float
    at: Point | None = None  # None before the first move


def switch_on(m: Machine, v: list[float], side: int, slot: int, direct: bool, scale: float) -> None:
    """G41, G42. D names a table entry; without D the tool in the spindle counts; a negative diameter swaps the side."""
    number: int | None = None
    if direct:
        if slot < 0:
            raise Reject("missing-word", f"G{side}.2 needs D with the diameter", "Add D with the cutter's diameter.", "D")
        diameter = v[slot] * scale
    else:
        if slot >= 0:
            number = m.whole("D", v[slot])
            if m.strict and number > m.start.slots:
                raise Reject("bad-value", f"there is no tool slot {number}", f"Use a slot from 0 to {m.start.slots}.", "D")
        else:
            number = m.tool if m.tool is not None else 0
        diameter = 0.0 if number == 0 and m.strict else m.start.diameters.get(number, 0.0 if m.strict else NAN)
    way = 1 if side == 41 else -1
    if diameter < 0:
        way, diameter = -way, -diameter
    if m.comp and m.comp.side == way and m.comp.radius == diameter / 2:
        return
    m.comp = Comp(number, way, diameter / 2)
    m.event("compensation", f"G{side}")
    if diameter != diameter:
        m.fault("compensation-fault", f"G{side}: the diameter of D{number} is not declared; X and Y are not known until"
                " G40", "Give the cutter's diameter in the shop file.", severity="warning", at=f"G{side}",
                once=("compensation", str(number)))
        m.gaps.append(Gap("compensation", f"the diameter of D{number} is not declared", m.block + 1, m.block + 1, "xy"))


def switch_off(m: Machine, v: list[float]) -> None:
    """G40: no move; the next one starts from where the tool is."""
    if m.comp:
        m.event("compensation", "G40")
    m.comp = ()


def resume(m: Machine) -> None:
    """After a refused block: the programmed path goes on from its end where that could be read, the tool's place is unknown."""
    if m.comp and m.comp.at is not None:
        block, x, y = m.goal
        m.comp = m.comp._replace(at=(x, y) if block == m.block else (NAN, NAN))


def _bad(message: str, fix: str, **numbers: float | str) -> Reject:
    return Reject("compensation-fault", message, fix, None, **numbers)


def compensated(m: Machine, v: list[float], plain: Plain, motion: int) -> None:
    """A move with compensation on: entry, corner, and the path beside the programmed one."""
    comp = m.comp
    start = m.programmed()
    to = m.target(v, plain.axes, plain.absolute)
    feed, minutes = (NAN, NAN) if plain.kind == Kind.RAPID else m.feed()
    flags = int(Flag.COMPENSATED)
    m.goal = (m.block, to[0], to[1])
    if comp.radius != comp.radius:
        m.move(plain.kind if plain.kind != Kind.ARC else Kind.FEED, (NAN, NAN, *to[2:]), flags, feed, minutes)
        m.lost = dict.fromkeys((0, 1), ("compensation", "the diameter is not declared", m.block)) | m.lost
        return
    rows, arcs = len(m.record.rows), len(m.record.arcs)
    if plain.kind == Kind.ARC:
        _arc(m, v, plain, start, to, feed, minutes)
    elif math.hypot(to[0] - start[0], to[1] - start[1]) <= NEAR:
        m.move(plain.kind, (*m.pos[:2], *to[2:]), flags, feed, minutes)
    else:
        _straight(m, plain.kind, start, to, feed, minutes)
    if minutes == minutes and len(m.record.rows) > rows + 1:
        _share(m, rows, arcs, minutes)


def _share(m: Machine, rows: int, arcs: int, minutes: float) -> None:
    """In inverse time the whole block takes 1/F minutes (3.5.19): its corner arc and its own move share them by length."""
    made = np.array([row[6:12] for row in m.record.rows[rows:]])
    start, end = made[:, :3], made[:, 3:]
    new = m.record.arcs[arcs:]
    at = np.array([arc[0] for arc in new]) - (len(m.record) - len(made))
    centre, plane = np.array([arc[1:4] for arc in new]), np.array([arc[5] for arc in new])
    sweep = path.sweeps(start[at], end[at], centre, np.array([float(arc[4]) for arc in new]), plane)
    length = path.path_lengths(start, end, at, centre, sweep, plane)
    share = minutes * length / length.sum()
    m.record.rows[rows:] = [(*row[:13], float(t)) for row, t in zip(m.record.rows[rows:], share, strict=True)]


def _straight(m: Machine, kind: Kind, start: tuple[float, ...], to: tuple[float, ...], feed: float, minutes: float) -> None:
    comp = m.comp
    r, end = comp.radius, (to[0], to[1])
    dx, dy = to[0] - start[0], to[1] - start[1]
    far = math.hypot(dx, dy)
    ux, uy = dx / far, dy / far
    left = (-uy * comp.side, ux * comp.side)  # towards the tool
    if comp.at is None:
        if far < r - 1e-9:
            raise _bad(f"the first point with compensation is {far:.4f} mm away, under the cutter of radius {r:.4f} mm",
                       "Begin farther away, or switch compensation on earlier.", measured=far, limit=r, unit="mm")
        along = r / far if far else 0.0
        across = math.sqrt(max(0.0, 1.0 - along * along))
        centre = (end[0] + r * (-along * ux + across * left[0]), end[1] + r * (-along * uy + across * left[1]))
    else:
        _corner(m, comp.at, (ux, uy), left, feed, ("line", start, end, None))
        centre = (end[0] + r * left[0], end[1] + r * left[1])
    m.move(kind, (*centre, *to[2:]), int(Flag.COMPENSATED), feed, minutes)
    m.comp = comp._replace(at=end)


def _arc(m: Machine, v: list[float], plain: Plain, start: tuple[float, ...], to: tuple[float, ...], feed: float,
         minutes: float) -> None:
    comp = m.comp
    r, end = comp.radius, (to[0], to[1])
    inside = comp.side == plain.sense  # the tool runs between the arc and its centre
    delta = -r if inside else r
    if comp.at is None:
        o, big = _auxiliary(m, v, plain, start, to, delta)
    else:
        centre = arc_centre(m, v, plain, start, to)
        o = (centre[0], centre[1])
        big = math.hypot(start[0] - o[0], start[1] - o[1])
    if inside and big <= r + 1e-9:
        raise _bad(f"the cutter of radius {r:.4f} mm does not fit into the arc of radius {big:.4f} mm",
                   "Use a smaller cutter.", measured=r, limit=big, unit="mm")
    if comp.at is not None:
        px, py = (start[0] - o[0]) / big, (start[1] - o[1]) / big
        tangent = (-py * plain.sense, px * plain.sense)
        left = (-tangent[1] * comp.side, tangent[0] * comp.side)
        _corner(m, comp.at, tangent, left, feed, ("arc", start, end, (o, big + delta)))
    last = math.hypot(end[0] - o[0], end[1] - o[1])
    if comp.at is not None and math.hypot(end[0] - start[0], end[1] - start[1]) <= NEAR:
        centre_to = (m.pos[0], m.pos[1])
    else:
        scale = (big + delta) / last
        centre_to = (o[0] + (end[0] - o[0]) * scale, o[1] + (end[1] - o[1]) * scale)
    arc_move(m, (*centre_to, *to[2:]), (*o, m.pos[2]), plain, int(Flag.COMPENSATED), feed, minutes)
    m.comp = comp._replace(at=end)


def _auxiliary(m: Machine, v: list[float], plain: Plain, start: tuple[float, ...], to: tuple[float, ...], delta: float
               ) -> tuple[Point, float]:
    """Centre and radius of the arc through the programmed end that touches the cutter where it stands (B.6)."""
    name = "G2" if plain.sense < 0 else "G3"
    limit = m.arc_least
    if plain.radius is None:
        base = m.shift if plain.centre_absolute else start
        o = [start[0], start[1]]
        for axis, slot, unit in plain.offsets:
            o[axis] = base[axis] + v[slot] * unit
        here, big = path.radii(start[0], start[1], to[0], to[1], o[0], o[1])
        off = abs(float(here) - (float(big) + delta))
        if off > limit + 1e-6:
            raise _bad(f"{name}: no arc about that centre goes through the end point and touches the cutter"
                       f" ({off:.4f} mm are missing)", "Enter along a straight move, or correct the centre.",
                       measured=off, limit=limit, unit="mm")
        return (o[0], o[1]), float(big)
    signed = v[plain.radius[0]] * plain.radius[1]
    big = abs(signed)
    near = big + delta
    far = math.hypot(to[0] - start[0], to[1] - start[1])
    if far <= NEAR or near <= 0 or far > big + near + limit or far < abs(big - near) - limit:
        raise _bad(f"{name}: no arc of radius {big:.4f} mm goes through the end point and touches the cutter",
                   "Enter along a straight move, or correct R.")
    along = (far * far + near * near - big * big) / (2 * far)  # from the tool towards the end point
    height = math.sqrt(max(0.0, near * near - along * along)) * plain.sense * (1 if signed > 0 else -1)
    ux, uy = (to[0] - start[0]) / far, (to[1] - start[1]) / far
    return (start[0] + along * ux - height * uy, start[1] + along * uy + height * ux), big


def _corner(m: Machine, at: Point, tangent: Point, left: Point, feed: float,
            element: tuple[str, tuple[float, ...], Point, tuple[Point, float] | None]) -> None:
    """Go round a convex corner on an arc about it; refuse a concave one, or trim the path there in the shop dialect."""
    comp = m.comp
    r = comp.radius
    if r == 0 or m.pos[0] != m.pos[0] or m.pos[1] != m.pos[1]:
        return
    ox, oy = (m.pos[0] - at[0]) / r, (m.pos[1] - at[1]) / r
    before = (oy * comp.side, -ox * comp.side)  # direction of travel before the corner
    turn = math.atan2(before[0] * tangent[1] - before[1] * tangent[0], before[0] * tangent[0] + before[1] * tangent[1])
    away = -turn * comp.side  # positive: the path turns away from the tool, convex
    if abs(turn) > math.pi - 1e-6:
        away = math.pi
    if away > CORNER:
        plain = Plain(Kind.ARC, (), True, -1, 1.0, -comp.side, 17)
        to = (at[0] + r * left[0], at[1] + r * left[1], *m.pos[2:])
        arc_move(m, to, (at[0], at[1], m.pos[2]), plain, int(Flag.COMPENSATED | Flag.INSERTED), feed, NAN)
        return
    if away >= -CORNER:
        return
    if not m.dialect.allows("trimmed-inside-corner"):
        raise _bad("the path turns towards the cutter (a concave corner): it cannot be followed without cutting into it",
                   "Round the corner with an arc larger than the cutter's radius.")
    _trim(m, at, left, element)
    m.relaxed("trimmed-inside-corner")


def _trim(m: Machine, at: Point, left: Point, element: tuple[str, tuple[float, ...], Point, tuple[Point, float] | None]
          ) -> None:
    """Shorten the last move to where its offset path meets that of the next one."""
    r = m.comp.radius
    record = m.record
    row, at_row = len(record.rows) - 1, len(record) - 1
    gouge = _bad("the inside corner is too narrow for the cutter", "Use a smaller cutter, or round the corner.")
    if row < 0 or not record.rows[row][5] & Flag.COMPENSATED or record.rows[row][9:12] != m.pos[:3]:
        raise gouge
    last = record.rows[row]
    arc = record.arcs[-1] if record.arcs and record.arcs[-1][0] == at_row else None
    first_start, first_end = (last[6], last[7]), (last[9], last[10])
    _, _, end, ring = element
    second_start = (at[0] + r * left[0], at[1] + r * left[1])
    second_end = (end[0] + r * left[0], end[1] + r * left[1])
    found: list[Point]
    first_ring = ((arc[1], arc[2]), math.hypot(first_end[0] - arc[1], first_end[1] - arc[2])) if arc is not None else None
    if first_ring is None and ring is None:
        found = _lines(first_start, first_end, second_start, second_end)
    elif first_ring is None and ring is not None:
        found = _line_circle(first_start, first_end, *ring)
    elif ring is None and first_ring is not None:
        found = _line_circle(second_start, second_end, *first_ring)
    else:
        assert first_ring is not None and ring is not None
        found = _circles(*first_ring, *ring)
    if first_ring is None:
        found = [p for p in found if _within(p, first_start, first_end)]
    if ring is None:
        found = [p for p in found if _within(p, second_start, second_end)]
    if not found:
        raise gouge
    p = min(found, key=lambda q: math.hypot(q[0] - first_end[0], q[1] - first_end[1]))
    record.rows[row] = (*last[:9], p[0], p[1], *last[11:])
    m.pos = (*p, *m.pos[2:])


def _within(p: Point, a: Point, b: Point) -> bool:
    dx, dy = b[0] - a[0], b[1] - a[1]
    return -1e-9 <= ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / max(dx * dx + dy * dy, 1e-300) <= 1 + 1e-9


def _lines(a: Point, b: Point, c: Point, d: Point) -> list[Point]:
    ux, uy, wx, wy = b[0] - a[0], b[1] - a[1], d[0] - c[0], d[1] - c[1]
    cross = ux * wy - uy * wx
    if abs(cross) < 1e-12:
        return []
    t = ((c[0] - a[0]) * wy - (c[1] - a[1]) * wx) / cross
    return [(a[0] + t * ux, a[1] + t * uy)]


def _line_circle(a: Point, b: Point, o: Point, radius: float) -> list[Point]:
    ux, uy = b[0] - a[0], b[1] - a[1]
    far = math.hypot(ux, uy)
    if far == 0:
        return []
    ux, uy = ux / far, uy / far
    along = (o[0] - a[0]) * ux + (o[1] - a[1]) * uy
    fx, fy = a[0] + along * ux, a[1] + along * uy
    square = radius * radius - (fx - o[0]) ** 2 - (fy - o[1]) ** 2
    if square < 0:
        return []
    half = math.sqrt(square)
    return [(fx + s * half * ux, fy + s * half * uy) for s in (1, -1)]


def _circles(o: Point, r: float, q: Point, s: float) -> list[Point]:
    dx, dy = q[0] - o[0], q[1] - o[1]
    far = math.hypot(dx, dy)
    if far == 0 or far > r + s or far < abs(r - s):
        return []
    along = (far * far + r * r - s * s) / (2 * far)
    height = math.sqrt(max(0.0, r * r - along * along))
    ux, uy = dx / far, dy / far
    return [(o[0] + along * ux - k * height * uy, o[1] + along * uy + k * height * ux) for k in (1, -1)]
