"""The numpy form of the stock kernels: one sweep at a time, whole moves on windows of the grid.

The compiled form (advisor/kernels/compiled.py) does the same sums cell by cell; tests hold the two together.
Both work in double precision and keep heights in single precision.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields
from math import remainder
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.plan import ABOVE, ARC, BENT, CONE, CUTS, FINE, FLAT, HELIX, LINE, RAPID, SLOPE, VERTICAL, Plan, bins_along
from advisor.kernels.rim import NOTHING, Rims, rim_rows
from grammar.classes import dataclass

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int32]
Longs = NDArray[np.int64]
Bools = NDArray[np.bool_]

SPECK = 1e-4  # mm; less height than this is not material
TOUCH = 2e-5  # mm; a cell the cutter stands on from before is lower than it by rounding only, and not met anew
EDGE = 1e-7  # mm; added to radii so that points on the edge do not depend on rounding
NEWTON = 3


@dataclass(frozen=True, eq=False)
class Lattice:
    """Sample points: x of cell (i, j) = x[i] + shift_x[j], y = y[j] + shift_y[i]; mm."""

    x: Floats
    y: Floats
    shift_x: Floats
    shift_y: Floats
    area: float
    cell: float


@dataclass(eq=False)
class Tally:
    """What is summed per piece; fields as in advisor.stock.Cuts (cells counted, not areas).

    rims (c, 5), a row for each sweep that ends in a corner (``rim_rows``): cells about the leading half of the cutter's
    rim at the end of the sweep, those that held material before it, the sum of their angles from the direction of travel
    (radians, plus to the left), the least and the greatest of them.
    """

    volume: Floats
    cells: Ints
    front: Ints
    depth: Singles
    at: Ints
    low: Singles
    high: Singles
    core: Singles
    inset: Singles
    clearance: Singles
    end_clearance: Singles
    above: Singles
    above_part: NDArray[np.int8]
    above_at: Ints
    rims: Floats

    @classmethod
    def empty(cls, n: int, rims: int = 0) -> Tally:
        """A tally of n pieces that touched nothing, and of ``rims`` corners."""
        return cls(
            volume=np.zeros(n),
            cells=np.zeros(n, dtype=np.int32),
            front=np.zeros(n, dtype=np.int32),
            depth=np.zeros(n, dtype=np.float32),
            at=np.full(n, -1, dtype=np.int32),
            low=np.full(n, np.inf, dtype=np.float32),
            high=np.full(n, -np.inf, dtype=np.float32),
            core=np.zeros(n, dtype=np.float32),
            inset=np.zeros(n, dtype=np.float32),
            clearance=np.full(n, np.inf, dtype=np.float32),
            end_clearance=np.full(n, np.inf, dtype=np.float32),
            above=np.zeros(n, dtype=np.float32),
            above_part=np.zeros(n, dtype=np.int8),
            above_at=np.full(n, -1, dtype=np.int32),
            rims=np.tile(np.array(NOTHING), (rims, 1)),
        )

    def merge(self, part: Tally, into: NDArray[np.int64]) -> None:
        """Add the tally of a band whose pieces are the (distinct) pieces ``into``."""
        self.volume[into] += part.volume
        self.cells[into] += part.cells
        self.front[into] += part.front
        deeper = part.depth > self.depth[into]
        self.at[into[deeper]] = part.at[deeper]
        self.depth[into[deeper]] = part.depth[deeper]
        more = part.above > self.above[into]
        for name in ("above_part", "above_at", "above"):
            getattr(self, name)[into[more]] = getattr(part, name)[more]
        for name in ("low", "clearance", "end_clearance"):
            column = getattr(self, name)
            column[into] = np.minimum(column[into], getattr(part, name))
        for name in ("high", "core", "inset"):
            column = getattr(self, name)
            column[into] = np.maximum(column[into], getattr(part, name))
        self.rims[:, :3] += part.rims[:, :3]
        self.rims[:, 3] = np.minimum(self.rims[:, 3], part.rims[:, 3])
        self.rims[:, 4] = np.maximum(self.rims[:, 4], part.rims[:, 4])

    def columns(self) -> tuple[NDArray[np.generic], ...]:
        """The arrays in order, for the compiled kernel."""
        return tuple(getattr(self, f.name) for f in fields(self) if f.name != "rims")


def form_height(d2: Floats, radius: float, form: int, flat: float, corner: float, slope: float) -> Floats:
    """Height of the cutter's underside above its tip at squared distance d2 from the axis (d2 inside the cutter)."""
    if form == FLAT:
        return np.zeros_like(d2)
    if form != CONE and flat == 0.0:
        ball: Floats = corner - np.sqrt(np.maximum(corner * corner - d2, 0.0))
        return ball
    over = np.maximum(np.sqrt(d2) - flat, 0.0)
    found: Floats
    if form == CONE:
        found = slope * over
    else:
        found = corner - np.sqrt(np.maximum(corner * corner - over * over, 0.0))
    return found


def contact_radius(height: Floats, radius: float, form: int, flat: float, corner: float, slope: float) -> Floats:
    """Radius at which the cutter's underside stands ``height`` above its tip."""
    if form == FLAT:
        return np.full_like(height, radius)
    if form == CONE:
        cone: Floats = np.minimum(radius, flat + height / slope)
        return cone
    left = np.maximum(corner - height, 0.0)
    torus: Floats = np.asarray(flat + np.sqrt(np.maximum(corner * corner - left * left, 0.0)))
    return torus


def lead(rho2: Floats, v2: Floats, m: float, form: int, flat: float, corner: float, slope: float) -> Floats:
    """How far ahead of the axis a sloped line is lowest over a cell at squared offset v2 from it.

    rho2: radius^2 - v2. m: rise per run, its absolute value. The lowest height over the line is where the underside's
    slope along the line equals m.
    """
    most = np.sqrt(rho2)
    ahead: Floats
    if form == FLAT:
        return most
    if form == CONE:
        flat_reach = np.sqrt(np.maximum(flat * flat - v2, 0.0))
        if m >= slope:
            return most
        cone = m * np.sqrt(v2) / np.sqrt(slope * slope - m * m)
        ahead = np.minimum(most, np.maximum(cone, flat_reach))
        return ahead
    if flat == 0.0:
        ahead = m * most / np.sqrt(1 + m * m)
        return ahead
    # the underside touches at the angle whose sine is the greatest root of a quartic; Newton's steps from a start close
    # above it leave less than 0.00001 mm of height
    m2 = m * m
    least = m / np.sqrt(1 + m2)
    v = np.sqrt(v2)
    turn = np.minimum(1.0, v / (flat + corner * least))
    sine = np.minimum(m / np.sqrt(m2 + 1 - turn * turn), np.maximum((v - flat) / corner, 0.0) + kick(m, flat, corner))
    sine = np.minimum(np.maximum(sine, least), 1.0)
    for _ in range(NEWTON):
        a = (1 + m2) * sine * sine - m2
        b = flat + corner * sine
        value = a * b * b - v2 * sine * sine
        slant = 2 * (1 + m2) * sine * b * b + 2 * corner * a * b - 2 * v2 * sine
        sine = np.minimum(np.maximum(sine - value / np.where(slant > 0, slant, np.inf), least), 1.0)
    r = flat + corner * sine
    ahead = np.minimum(np.sqrt(np.maximum(r * r - v2, 0.0)), most)
    return ahead


def kick(m: float, flat: float, corner: float) -> float:
    """Start of the search in ``lead`` where the offset equals the flat radius."""
    return float((m * m * flat / (2 * corner)) ** (1 / 3))


def half_angle(rho2: Floats, rho: Floats, arc_radius: float, reach: Floats | float) -> Floats:
    """Half the angle of an arc of arc_radius from which a point at rho from its centre is within reach; -1 never.

    rho2: the square of rho.
    """
    cosine = rho2 + (arc_radius * arc_radius - reach * reach)
    cosine /= np.maximum(2 * arc_radius * rho, 1e-300)
    never = cosine > 1
    np.maximum(cosine, -1.0, out=cosine)
    np.minimum(cosine, 1.0, out=cosine)
    found: Floats = np.arccos(cosine, out=cosine)
    np.copyto(found, -1.0, where=never)
    return found


def stride_of(radius: float, cell: float) -> int:
    """Shank, holder and nose are looked at in every stride-th cell, about 64 across."""
    return max(1, int(2 * radius / cell / 64))


def run_numpy(
    plan: Plan,
    boxes: Ints,
    lattice: Lattice,
    top: Singles,
    bottom: Singles,
    mover: Ints,
    progress: Callable[[float], None] | None = None,
) -> Tally:
    """Sweep everything in order; ``top`` and ``mover`` are changed in place."""
    from advisor.kernels.batch import batches, sweep_batch, trailing

    boxes = trailing(plan, boxes, lattice)
    s = plan.sweeps
    rim_of = rim_rows(s, plan.profiles)
    tally = Tally.empty(len(plan.pieces.row), int(rim_of.max(initial=-1)) + 1)
    rims = Rims(s, plan.profiles, lattice, top, bottom, tally, rim_of)
    rows = list(zip(
        s.what.tolist(), s.use.tolist(), s.row.tolist(), s.profile.tolist(), s.p0.tolist(), s.p1.tolist(),
        s.arc.tolist(), s.first.tolist(), s.count.tolist(), s.fine.tolist(), boxes.tolist(), strict=True,
    ))  # fmt: skip
    arcs = s.arcs.tolist()
    no_arc = [0.0, 0.0, 0.0, 0.0, 0.0]
    profiles = [(r, int(form), flat, corner, slope, core) for r, form, flat, corner, slope, core in plan.profiles]
    total = len(s)
    level_bottom = None if any(bottom.strides) else float(bottom.flat[0])
    disc: _Disc | None = None
    room: float | None = None  # of the disc, while nothing has been cut since a rapid looked at it
    for begin, stop, together in batches(plan, boxes):
        if progress is not None:
            progress(begin / total)
        if rims.full:
            rims.settle()
        if together:
            room = None
            shape = profiles[int(s.profile[begin])]
            look = rims.look if (rim_of[begin:stop] >= 0).any() else None
            sweep_batch(plan, slice(begin, stop), boxes, lattice, shape, top, bottom, mover, tally, look)
            continue
        for k in range(begin, stop):
            if progress is not None and k & 255 == 0:
                progress(k / total)
            what, use, row, profile, p0, p1, arc, first, count, fine, box = rows[k]
            if rims.full:
                rims.settle()
            rims.look(k)
            if box[0] >= box[1] or box[2] >= box[3]:
                continue
            shape = profiles[profile]
            if what == VERTICAL and use < ABOVE and p0[0] == p1[0] and p0[1] == p1[1]:
                place = (p0[0], p0[1], profile, *box)
                if disc is None or disc.place != place:
                    disc, room = _disc(place, shape, lattice, top.shape[1]), None
                if room is not None and use != CUTS and min(p0[2], p1[2]) + room >= 0:
                    _pass_by(first, p0[2], p1[2], room, tally)
                    continue
                room = _stroke(
                    use, row, shape, p0[2], p1[2], first, disc, lattice.area, top, bottom, level_bottom, mover, tally
                )
                continue
            room = None
            for window in _strips(what, p0, p1, shape[0], box, lattice):
                _sweep(
                    what, use, row, shape, p0, p1, arcs[arc] if arc >= 0 else no_arc, first, count, fine, window,
                    lattice, top, bottom, level_bottom, mover, tally,
                )  # fmt: skip
    rims.settle()
    return tally


class _Disc(NamedTuple):
    """The cells under a cutter that stands still: most vertical strokes come back to where the one before went down.

    place: X, Y, profile and window; cells (n,) flat in the grid; away2 (n,): squared distance from the axis; height (n,):
    of the cutter's underside above its tip; mm.
    """

    place: tuple[float, ...]
    cells: Longs
    away2: Floats
    height: Floats


def _disc(
    place: tuple[float, float, int, int, int, int, int],
    shape: tuple[float, int, float, float, float, float],
    lattice: Lattice,
    ny: int,
) -> _Disc:
    radius, form, flat, corner, slope, _ = shape
    ox, oy, _, i0, i1, j0, j1 = place
    px = (lattice.x[i0:i1] - ox)[:, None] + lattice.shift_x[j0:j1]
    py = lattice.shift_y[i0:i1, None] + (lattice.y[j0:j1] - oy)
    away2 = px * px + py * py
    found = np.flatnonzero(away2 <= (radius + EDGE) ** 2)
    away2 = away2.ravel()[found]
    fi = found // (j1 - j0)
    index = found + (fi * (ny - (j1 - j0)) + (i0 * ny + j0))
    return _Disc(place, index, away2, form_height(away2, radius, form, flat, corner, slope))


def _stroke(
    use: int,
    row: int,
    shape: tuple[float, int, float, float, float, float],
    z0: float,
    z1: float,
    first: int,
    disc: _Disc,
    area: float,
    top: Singles,
    bottom: Singles,
    level_bottom: float | None,
    mover: Ints,
    tally: Tally,
) -> float | None:
    """A vertical stroke; as ``_sweep``. For a rapid that cuts nothing, how high the tip at Z 0 would stand above the
    material: it is the same for the next one here."""
    radius, core_radius = shape[0], shape[5]
    index, away2, height = disc.cells, disc.away2, disc.height
    low_z = min(z0, z1)
    looks = use in (RAPID, BENT)
    single = top.ravel()[index]
    floor: Any = level_bottom
    if level_bottom is None:
        floor = bottom[np.unravel_index(index, bottom.shape)]
    found = np.flatnonzero(single > (floor if looks else low_z + SPECK))
    if not len(found):
        return np.inf if looks else None
    if len(found) < len(index):
        index, away2, height, single = index[found], away2[found], height[found], single[found]
        if level_bottom is None:
            floor = floor[found]
    h = single.astype(np.float64)
    surface = low_z + height
    if looks:
        room = float((height - h).min())
        _pass_by(first, z0, z1, room, tally)
        if low_z + room >= 0:
            return room
    new = np.maximum(surface, floor)
    removed = h - new
    keep = np.flatnonzero(removed > SPECK)
    if not len(keep):
        return None
    index, away2, removed = index[keep], away2[keep], removed[keep]
    tally.volume[first] += removed.sum() * area
    tally.cells[first] += len(keep)
    single = removed.astype(np.float32)
    k = int(np.argmax(single))
    if single[k] > tally.depth[first]:
        tally.depth[first] = single[k]
        tally.at[first] = index[k]
    if z1 < z0:
        under = removed[away2 <= core_radius * core_radius]
        if len(under):
            tally.core[first] = max(tally.core[first], min(under.max(), z0 - z1))
    if looks:
        tally.inset[first] = max(tally.inset[first], radius - np.sqrt(away2.min()))
    if use != BENT:
        top.ravel()[index] = new[keep]
        mover.ravel()[index] = row
    return None


def _pass_by(first: int, z0: float, z1: float, room: float, tally: Tally) -> None:
    """The clearance of a vertical rapid whose tip at Z 0 would stand ``room`` above the material."""
    gap = min(z0, z1) + room
    tally.clearance[first] = min(tally.clearance[first], gap)
    if z1 < z0:
        tally.end_clearance[first] = min(tally.end_clearance[first], gap)


def _strips(
    what: int, p0: list[float], p1: list[float], radius: float, box: list[int], lattice: Lattice
) -> Iterator[tuple[int, int, int, int]]:
    """The window of a sweep, cut into strips where a long oblique line would leave most of it empty."""
    i0, i1, j0, j1 = box
    if what != LINE and what != SLOPE:
        yield i0, i1, j0, j1
        return
    lx, ly = p1[0] - p0[0], p1[1] - p0[1]
    if min(abs(lx), abs(ly)) < 4 * radius:
        yield i0, i1, j0, j1
        return
    step_x = lattice.x[1] - lattice.x[0] if len(lattice.x) > 1 else lattice.cell
    step_y = lattice.y[1] - lattice.y[0] if len(lattice.y) > 1 else lattice.cell
    length = (lx * lx + ly * ly) ** 0.5
    width = max(4, int(4 * radius / step_x))
    reach = (radius + lattice.cell) * length / abs(lx)
    for a in range(i0, i1, width):
        b = min(a + width, i1)
        ends = [p0[1] + (x - p0[0]) * ly / lx for x in (lattice.x[a], lattice.x[b - 1] + step_x)]
        low = max(j0, int((min(ends) - reach - lattice.y[0]) / step_y) - 1)
        high = min(j1, int((max(ends) + reach - lattice.y[0]) / step_y) + 2)
        if low < high:
            yield a, b, low, high


def _sweep(
    what: int,
    use: int,
    row: int,
    shape: tuple[float, int, float, float, float, float],
    p0: list[float],
    p1: list[float],
    arc: list[float],
    first: int,
    count: int,
    fine: int,
    window: tuple[int, int, int, int],
    lattice: Lattice,
    top: Singles,
    bottom: Singles,
    level_bottom: float | None,
    mover: Ints,
    tally: Tally,
) -> None:
    """One sweep on one window. See the module's text for what is summed.

    level_bottom: the height of the stock's underside where it is everywhere the same.
    """
    radius, form, flat, corner, slope, core_radius = shape
    i0, i1, j0, j1 = window
    part = use - ABOVE + 1 if use >= ABOVE else 0
    si = sj = 1
    if part:
        si = sj = stride_of(radius, lattice.cell)
    ri, rj = slice(i0, i1, si), slice(j0, j1, sj)
    heights = np.ascontiguousarray(top[ri, rj])
    low_z = min(p0[2], p1[2])
    looks = use in (RAPID, BENT)  # clearance is measured too
    reach2 = (radius + EDGE) ** 2
    centre_x, centre_y, arc_radius, angle, sweep = arc
    if what >= ARC:
        ox, oy = centre_x, centre_y
    else:
        ox, oy = p0[0], p0[1]
    x, y = lattice.x[ri] - ox, lattice.y[rj] - oy
    sx, sy = lattice.shift_x[rj], lattice.shift_y[ri]
    if LINE <= what < ARC:
        lx, ly = p1[0] - ox, p1[1] - oy
        length = (lx * lx + ly * ly) ** 0.5
        ux, uy = lx / length, ly / length
        along = (x * ux + sy * uy)[:, None] + (sx * ux + y * uy)
        across = (sy * ux - x * uy)[:, None] + (y * ux - sx * uy)
        # squared distance from the path
        d2 = np.maximum(along, 0.0)
        np.minimum(d2, length, out=d2)
        np.subtract(along, d2, out=d2)
        np.multiply(d2, d2, out=d2)
        d2 += across * across
    else:
        px = x[:, None] + sx
        py = sy[:, None] + y
        # squared distance from the axis of a vertical stroke or the centre of an arc
        d2 = px * px
        d2 += py * py
    # cells worth a closer look: under the path, with material above the lowest tip (all material for rapids)
    if looks:
        mask = heights > (bottom[ri, rj] if level_bottom is None else level_bottom)
    else:
        mask = heights > low_z + SPECK
    if what < ARC:
        mask &= d2 <= reach2
    else:
        mask &= d2 <= (arc_radius + radius + EDGE) ** 2
        if arc_radius > radius:
            mask &= d2 >= (arc_radius - radius - EDGE) ** 2
    found = np.flatnonzero(mask)
    if not len(found):
        return
    width = mask.shape[1]
    h = heights.ravel()[found].astype(np.float64)
    level_cut = what <= LINE and form == FLAT and not part  # one height for all cells
    if looks or not level_cut:
        d2 = d2.ravel()[found]
    args = (form, flat, corner, slope)
    # height of the swept underside over each cell
    surface: Any
    if what <= LINE:
        surface = low_z if level_cut else low_z + form_height(d2, radius, *args)
        if what == LINE:
            along, across = along.ravel()[found], across.ravel()[found]
    elif what == SLOPE:
        near2 = d2
        along, across = along.ravel()[found], across.ravel()[found]
        m = (p1[2] - p0[2]) / length
        v2 = across * across
        w = lead(np.maximum(reach2 - v2, 0.0), v2, abs(m), *args)
        u = np.minimum(np.maximum(along - (w if m > 0 else -w), 0.0), length)
        d2 = (along - u) ** 2 + v2
        surface = p0[2] + m * u + form_height(np.minimum(d2, reach2), radius, *args)
        ok = d2 <= reach2 * (1 + 1e-12)
        if not ok.all():
            surface[~ok] = np.inf
    else:
        px, py = px.ravel()[found], py.ravel()[found]
        rho2, rho = d2, np.sqrt(d2)
        sign = 1.0 if sweep >= 0 else -1.0
        span = abs(sweep)
        turned = turn_from(py, px, angle, sign)
        if what == ARC:
            q0 = (px - (p0[0] - ox)) ** 2 + (py - (p0[1] - oy)) ** 2
            q1 = (px - (p1[0] - ox)) ** 2 + (py - (p1[1] - oy)) ** 2
            near2 = np.where(turned <= span, (rho - arc_radius) ** 2, np.minimum(q0, q1))
            d2 = near2
            surface = low_z + form_height(np.minimum(d2, reach2), radius, *args)
            surface[d2 > reach2] = np.inf
        else:
            if looks:
                near2 = (rho - arc_radius) ** 2
            # a flat cutter covers the cell while it is within half_angle of it; the lower end of that stretch counts
            turned -= (turned > np.pi + span / 2) * (2 * np.pi)
            half = half_angle(rho2, rho, arc_radius, radius + EDGE)
            enter, leave = np.maximum(turned - half, 0.0), np.minimum(turned + half, span)
            down = p1[2] < p0[2]
            surface = p0[2] + (p1[2] - p0[2]) * ((leave if down else enter) / span)
            surface[(enter > leave) | (half < 0)] = np.inf
    if part:
        depth = h - surface
        k = int(np.argmax(depth))
        if depth[k] > max(SPECK, float(tally.above[first])):
            tally.above[first] = depth[k]
            tally.above_part[first] = part
            tally.above_at[first] = (i0 + found[k] // width * si) * top.shape[1] + j0 + found[k] % width * sj
        return
    floor: Any = level_bottom
    if level_bottom is None:
        floor = np.ascontiguousarray(bottom[ri, rj]).ravel()[found]
    new = np.maximum(surface, floor)
    removed = h - new
    if looks:
        gap = (surface - h).astype(np.float32)
        if count == 1:
            tally.clearance[first] = min(tally.clearance[first], gap.min())
        else:
            if what == LINE:
                begin = along - np.sqrt(np.maximum(reach2 - across * across, 0.0))
                share = begin * (count / length)
            else:
                share = (turned - half_angle(rho2, rho, arc_radius, radius + EDGE)) * (count / span)
            over = np.isfinite(gap)
            bins = np.minimum(np.maximum(share[over], 0.0).astype(np.int64), count - 1)
            np.minimum.at(tally.clearance[first : first + count], bins, gap[over])
        if p1[2] < p0[2]:
            fi, fj = found // width, found % width
            e2 = (x[fi] + sx[fj] - (p1[0] - ox)) ** 2 + (y[fj] + sy[fi] - (p1[1] - oy)) ** 2
            under = e2 <= reach2
            if under.any():
                rest = p1[2] + form_height(e2[under], radius, *args) - h[under]
                tally.end_clearance[first] = min(tally.end_clearance[first], rest.min())
    cut = removed > SPECK
    # where all of them are cut, as in most level cuts, nothing is copied
    keep: Any = slice(None) if cut.all() else np.flatnonzero(cut)
    found, h, removed = found[keep], h[keep], removed[keep]
    if not len(found):
        return
    if np.ndim(new):
        new = new[keep]
    if level_bottom is None:
        floor = floor[keep]
    fi = found // width
    flat_index = found + (fi * (top.shape[1] - width) + (i0 * top.shape[1] + j0))
    # piece of each cell, its offset across the path, and whether the leading front met it
    bins = None
    v: Any = None  # nothing of the kind for a vertical stroke
    front: Any = None
    if what == LINE:
        along, across = along[keep], across[keep]
        rc = contact_radius(h + (TOUCH - low_z), radius, *args)
        ahead = along - np.sqrt(np.maximum(rc * rc - across * across, 0.0))
        front = ahead > 0
        v = across
        if fine:
            bins = bins_along(np.maximum(ahead, 0.0), length, count, fine, 2 * radius / FINE)
        elif count > 1:
            bins = np.minimum((np.maximum(ahead, 0.0) * (count / length)).astype(np.int64), count - 1)
    elif what == SLOPE:
        along, v = along[keep], across[keep]
        if count > 1:
            half = np.sqrt(np.maximum(reach2 - v * v, 0.0))
            enter, leave = np.maximum(along - half, 0.0) / length, np.minimum(along + half, length) / length
        else:
            d0 = along * along + v * v
            front = (d0 > reach2) | (p0[2] + form_height(np.minimum(d0, reach2), radius, *args) > h + TOUCH)
    elif what == ARC:
        rho2, rho, turned = rho2[keep], rho[keep], turned[keep]
        rc = contact_radius(h + (TOUCH - low_z), radius, *args)
        half = half_angle(rho2, rho, arc_radius, rc)
        enter = turned - np.maximum(half, 0.0)
        front = (enter > 0) & (turned + half < 2 * np.pi) & (half >= 0)
        # a cell only the end of the arc reaches is met where the end comes closest
        enter = np.where(front, np.minimum(enter, span), 0.0)
        v = (arc_radius * arc_radius + rc * rc - rho2) / (2 * arc_radius) * sign
        v = np.minimum(np.maximum(v, -rc), rc)
        if fine:
            bins = bins_along(enter, span, count, fine, 2 * radius / (FINE * arc_radius))
        elif count > 1:
            bins = np.minimum((enter * (count / span)).astype(np.int64), count - 1)
    elif what != VERTICAL:
        rho2 = rho2[keep]
        if count > 1:
            enter, leave = enter[keep] / span, leave[keep] / span
        else:
            front = (px[keep] - (p0[0] - ox)) ** 2 + (py[keep] - (p0[1] - oy)) ** 2 > reach2
        v = (arc_radius * arc_radius + radius * radius - rho2) * (sign / (2 * arc_radius))
        np.maximum(v, -radius, out=v)
        np.minimum(v, radius, out=v)
    if count > 1 and what in (SLOPE, HELIX):
        # the cell goes down bin by bin while the cutter is over it
        step = (p1[2] - p0[2]) / count
        cells, bins, less, front = _descend(h, floor, enter * count, leave * count, p0[2], step, count)
        _add(tally, first, count, lattice.area, bins, less, flat_index[cells], front, v[cells], in_order=True)
        if step < 0:
            share = (np.arange(count) + 1) / count
            if what == SLOPE:
                tip_x, tip_y = (p1[0] - p0[0]) * share, (p1[1] - p0[1]) * share
                fj = found - fi * width
                px, py = x[fi] + sx[fj], y[fj] + sy[fi]
            else:
                tip_x, tip_y = arc_radius * np.cos(angle + sweep * share), arc_radius * np.sin(angle + sweep * share)
                px, py = px[keep], py[keep]
            under = (px[cells] - tip_x[bins]) ** 2 + (py[cells] - tip_y[bins]) ** 2 <= core_radius**2
            depth = np.minimum(less[under], -step).astype(np.float32)
            np.maximum.at(tally.core[first : first + count], bins[under], depth)
        top.ravel()[flat_index] = new
        mover.ravel()[flat_index] = row
        return
    if bins is None:
        tally.volume[first] += removed.sum() * lattice.area
        tally.cells[first] += len(found)
        single = removed.astype(np.float32)
        k = int(np.argmax(single))
        if single[k] > tally.depth[first]:
            tally.depth[first] = single[k]
            tally.at[first] = flat_index[k]
        if v is not None:
            v = v[front]
            if len(v):
                tally.front[first] += len(v)
                tally.low[first] = min(tally.low[first], v.min())
                tally.high[first] = max(tally.high[first], v.max())
        if p1[2] < p0[2]:
            ex, ey = p1[0] - ox, p1[1] - oy
            fj = found - fi * width
            cx, cy = x[fi] + sx[fj] - ex, y[fj] + sy[fi] - ey
            under = removed[cx * cx + cy * cy <= core_radius * core_radius]
            if len(under):
                tally.core[first] = max(tally.core[first], min(under.max(), p0[2] - p1[2]))
        if looks:
            near2 = (d2 if what <= LINE else near2)[keep]
            tally.inset[first] = max(tally.inset[first], radius - np.sqrt(near2.min()))
    else:
        _add(tally, first, count, lattice.area, bins, removed, flat_index, front, v)
        if looks:
            near2 = (d2 if what <= LINE else near2)[keep]
            np.maximum.at(tally.inset[first : first + count], bins, (radius - np.sqrt(near2)).astype(np.float32))
    if use != BENT:
        top.ravel()[flat_index] = new
        mover.ravel()[flat_index] = row


def turn_from(y: Floats, x: Floats, angle: float, sign: float) -> Floats:
    """How far points lie from an angle about the origin, in the sense of ``sign``: 0 to 2 pi radians."""
    turned: Floats = np.arctan2(y, x)
    turned -= remainder(angle, 2 * np.pi)
    if sign < 0:
        np.negative(turned, out=turned)
    turned += (turned < 0) * (2 * np.pi)
    return turned


def _add(
    tally: Tally,
    first: int,
    count: int,
    area: float,
    bins: Longs,
    removed: Floats,
    flat_index: Longs,
    front: Bools,
    v: Floats,
    in_order: bool = False,
) -> None:
    """Account removed heights to the pieces ``bins`` of a sweep; in_order: the bins ascend."""
    if not len(bins):
        return
    if not in_order:
        order = np.argsort(bins.astype(np.uint16) if count <= 65536 else bins, kind="stable")
        bins, removed, flat_index, front, v = bins[order], removed[order], flat_index[order], front[order], v[order]
    sizes = np.bincount(bins, minlength=count)
    met = np.flatnonzero(sizes)
    sizes = sizes[met]
    starts = np.cumsum(sizes) - sizes
    into = first + met
    tally.volume[into] += np.add.reduceat(removed, starts) * area
    tally.cells[into] += sizes.astype(np.int32)
    single = removed.astype(np.float32)
    most = np.maximum.reduceat(single, starts)
    deeper = np.flatnonzero(most > tally.depth[into])
    if len(deeper):
        deepest = np.flatnonzero(single == np.repeat(most, sizes))
        # the first of equals
        at = np.minimum.reduceat(flat_index[deepest], np.searchsorted(deepest, starts))
        tally.depth[into[deeper]] = most[deeper]
        tally.at[into[deeper]] = at[deeper]
    ahead = np.flatnonzero(front)
    if len(ahead):
        begins = np.searchsorted(ahead, starts)
        fronts = np.diff(begins, append=len(ahead))
        some = np.flatnonzero(fronts)
        begins, into, fv = begins[some], into[some], v[ahead].astype(np.float32)
        tally.front[into] += fronts[some].astype(np.int32)
        tally.low[into] = np.minimum(tally.low[into], np.minimum.reduceat(fv, begins))
        tally.high[into] = np.maximum(tally.high[into], np.maximum.reduceat(fv, begins))


def _descend(
    h: Floats, floor: Any, enter: Floats, leave: Floats, z0: float, step: float, count: int
) -> tuple[Longs, Longs, Floats, Bools]:
    """What a flat cutter on a slope takes from cells it is over from ``enter`` to ``leave`` (in bins), bin by bin.

    Returns cell, bin, height removed, and whether the front met the cell there, by ascending bin.
    """
    begin = np.minimum(enter.astype(np.int64), count - 1)
    if step > 0:
        cell = np.argsort(begin, kind="stable")
        k, end = begin[cell], None
    else:
        end = np.minimum(np.ceil(leave).astype(np.int64) - 1, count - 1)
        np.maximum(end, begin, out=end)
        cell, k = _pairs(begin, end, count)
    levels = isinstance(floor, float)
    floor_of = floor if levels else floor[cell]
    level = h[cell]
    fresh = k == begin[cell]
    if end is None:
        new = np.maximum(z0 + step * enter[cell], floor_of)
    else:
        new = np.maximum(z0 + step * np.minimum(leave[cell], k + 1.0), floor_of)
        # what the bin before left; the cutter was over the cell to its end
        before = np.maximum(z0 + step * np.arange(count), floor if levels else -np.inf)[k]
        if not levels:
            before = np.maximum(before, floor_of)
        np.copyto(before, np.inf, where=fresh)
        level = np.minimum(level, before)
    removed = level - new
    some = np.flatnonzero(removed > 0)
    cell = cell[some]
    return cell, k[some], removed[some], fresh[some] & (enter[cell] > 0)


def _pairs(begin: Longs, end: Longs, count: int) -> tuple[Longs, Longs]:
    """Cell and bin of every cell in every one of its bins from ``begin`` to ``end``, by ascending bin, then cell."""
    n = len(begin)
    if count <= 32:
        bins = np.arange(count, dtype=np.uint8)[:, None]
        over = (bins >= begin.astype(np.uint8)) & (bins <= end.astype(np.uint8))
        place = np.flatnonzero(over)
        k = np.repeat(np.arange(count), np.count_nonzero(over, axis=1))
        return place - k * n, k
    many = end - begin + 1
    cell = np.repeat(np.arange(n), many)
    k = np.arange(len(cell)) - np.repeat(np.cumsum(many) - many, many) + begin[cell]
    order = np.argsort(k.astype(np.uint16) if count <= 65536 else k, kind="stable")
    return cell[order], k[order]
