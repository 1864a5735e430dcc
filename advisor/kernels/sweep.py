"""The numpy form of the stock kernels: one sweep at a time, whole moves on windows of the grid.

The compiled form (advisor/kernels/compiled.py) does the same sums cell by cell; tests hold the two together.
Both work in double precision and keep heights in single precision.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.plan import ABOVE, ARC, BENT, CONE, FLAT, HELIX, LINE, RAPID, SLOPE, VERTICAL, Plan

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int32]
Longs = NDArray[np.int64]
Bools = NDArray[np.bool_]

SPECK = 1e-4  # mm; less height than this is not material
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
    """What is summed per piece; fields as in advisor.stock.Cuts (cells counted, not areas)."""

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

    @classmethod
    def empty(cls, n: int) -> Tally:
        """A tally of n pieces that touched nothing."""
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

    def columns(self) -> tuple[NDArray[np.generic], ...]:
        """The arrays in order, for the compiled kernel."""
        return tuple(getattr(self, f.name) for f in fields(self))


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


def half_angle(rho: Floats, arc_radius: float, reach: Floats | float) -> Floats:
    """Half the angle of an arc of arc_radius from which a point at rho from its centre is within reach; -1 never."""
    found: Floats
    cosine = (rho * rho + arc_radius * arc_radius - reach * reach) / np.maximum(2 * rho * arc_radius, 1e-300)
    found = np.where(cosine > 1, -1.0, np.arccos(np.minimum(np.maximum(cosine, -1.0), 1.0)))
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
    tally = Tally.empty(len(plan.pieces.row))
    s = plan.sweeps
    rows = list(zip(
        s.what.tolist(), s.use.tolist(), s.row.tolist(), s.profile.tolist(), s.p0.tolist(), s.p1.tolist(),
        s.arc.tolist(), s.first.tolist(), s.count.tolist(), boxes.tolist(), strict=True,
    ))  # fmt: skip
    arcs = s.arcs.tolist()
    no_arc = [0.0, 0.0, 0.0, 0.0, 0.0]
    profiles = [(r, int(form), flat, corner, slope, core) for r, form, flat, corner, slope, core in plan.profiles]
    total = len(s)
    for begin, stop, together in batches(plan, boxes):
        if progress is not None:
            progress(begin / total)
        if together:
            shape = profiles[int(s.profile[begin])]
            sweep_batch(plan, slice(begin, stop), boxes, lattice, shape, top, bottom, mover, tally)
            continue
        for k in range(begin, stop):
            if progress is not None and k & 255 == 0:
                progress(k / total)
            what, use, row, profile, p0, p1, arc, first, count, box = rows[k]
            if box[0] >= box[1] or box[2] >= box[3]:
                continue
            shape = profiles[profile]
            for window in _strips(what, p0, p1, shape[0], box, lattice):
                _sweep(
                    what, use, row, shape, p0, p1, arcs[arc] if arc >= 0 else no_arc, first, count, window,
                    lattice, top, bottom, mover, tally,
                )  # fmt: skip
    return tally


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
    window: tuple[int, int, int, int],
    lattice: Lattice,
    top: Singles,
    bottom: Singles,
    mover: Ints,
    tally: Tally,
) -> None:
    """One sweep on one window. See the module's text for what is summed."""
    radius, form, flat, corner, slope, core_radius = shape
    i0, i1, j0, j1 = window
    part = use - ABOVE + 1 if use >= ABOVE else 0
    si = sj = 1
    if part:
        si = sj = stride_of(radius, lattice.cell)
    ri, rj = slice(i0, i1, si), slice(j0, j1, sj)
    heights = top[ri, rj]
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
    if what == VERTICAL:
        px = x[:, None] + sx
        py = (sy)[:, None] + y
        d2 = px * px + py * py
    elif what < ARC:
        lx, ly = p1[0] - ox, p1[1] - oy
        length = (lx * lx + ly * ly) ** 0.5
        ux, uy = lx / length, ly / length
        along = (x * ux + sy * uy)[:, None] + (sx * ux + y * uy)
        across = (sy * ux - x * uy)[:, None] + (y * ux - sx * uy)
        beyond = along - np.minimum(np.maximum(along, 0.0), length)
        d2 = beyond * beyond + across * across
    else:
        px = x[:, None] + sx
        py = (sy)[:, None] + y
    # cells worth a closer look: under the path, with material above the lowest tip (all material for rapids)
    if looks:
        mask = heights > bottom[ri, rj]
    else:
        mask = heights > low_z + SPECK
    if what < ARC:
        mask &= d2 <= reach2
    else:
        rho2_all = px * px + py * py
        mask &= rho2_all <= (arc_radius + radius + EDGE) ** 2
        if arc_radius > radius:
            mask &= rho2_all >= (arc_radius - radius - EDGE) ** 2
    found = np.flatnonzero(mask)
    if not len(found):
        return
    width = mask.shape[1]
    fi, fj = found // width, found - (found // width) * width
    flat_index = (i0 + fi * si) * top.shape[1] + (j0 + fj * sj)
    h = top.ravel()[flat_index].astype(np.float64)
    args = (form, flat, corner, slope)
    # height of the swept underside over each cell
    if what == VERTICAL:
        d2 = d2.ravel()[found]
        near2 = d2
        surface = low_z + form_height(d2, radius, *args)
    elif what == LINE:
        d2 = d2.ravel()[found]
        near2 = d2
        along, across = along.ravel()[found], across.ravel()[found]
        surface = low_z + form_height(d2, radius, *args)
    elif what == SLOPE:
        near2 = d2.ravel()[found]
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
        rho = np.sqrt(px * px + py * py)
        sign = 1.0 if sweep >= 0 else -1.0
        span = abs(sweep)
        turned = np.mod((np.arctan2(py, px) - angle) * sign, 2 * np.pi)
        q0 = (px - (p0[0] - ox)) ** 2 + (py - (p0[1] - oy)) ** 2
        near2 = (rho - arc_radius) ** 2
        if what == ARC:
            q1 = (px - (p1[0] - ox)) ** 2 + (py - (p1[1] - oy)) ** 2
            near2 = np.where(turned <= span, near2, np.minimum(q0, q1))
            d2 = near2
            surface = low_z + form_height(np.minimum(d2, reach2), radius, *args)
            surface[d2 > reach2] = np.inf
        else:
            # a flat cutter covers the cell while it is within half_angle of it; the lower end of that stretch counts
            turned = np.where(turned > np.pi + span / 2, turned - 2 * np.pi, turned)
            half = half_angle(rho, arc_radius, radius + EDGE)
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
            tally.above_at[first] = flat_index[k]
        return
    floor = bottom.ravel()[flat_index] if bottom.flags.c_contiguous else bottom[i0 + fi, j0 + fj]
    new = np.maximum(surface, floor)
    cut = h - new > SPECK
    if looks:
        gap = (surface - h).astype(np.float32)
        if count == 1:
            tally.clearance[first] = min(tally.clearance[first], gap.min())
        else:
            if what == LINE:
                begin = along - np.sqrt(np.maximum(reach2 - across * across, 0.0))
                share = begin * (count / length)
            else:
                share = (turned - half_angle(rho, arc_radius, radius + EDGE)) * (count / span)
            over = np.isfinite(gap)
            bins = np.minimum(np.maximum(share[over], 0.0).astype(np.int64), count - 1)
            np.minimum.at(tally.clearance[first : first + count], bins, gap[over])
        if p1[2] < p0[2]:
            e2 = (x[fi] + sx[fj] - (p1[0] - ox)) ** 2 + (y[fj] + sy[fi] - (p1[1] - oy)) ** 2
            under = e2 <= reach2
            if under.any():
                rest = p1[2] + form_height(e2[under], radius, *args) - h[under]
                tally.end_clearance[first] = min(tally.end_clearance[first], rest.min())
    keep = np.flatnonzero(cut)
    if not len(keep):
        return
    fi, fj, h, new, surface, near2 = fi[keep], fj[keep], h[keep], new[keep], surface[keep], near2[keep]
    flat_index = flat_index[keep]
    removed = h - new
    # piece of each cell, its offset across the path, and whether the leading front met it
    bins = None
    v = np.zeros(0)
    front = np.zeros(0, dtype=bool)
    if what == LINE:
        along, across = along[keep], across[keep]
        rc = contact_radius(h - low_z, radius, *args)
        ahead = along - np.sqrt(np.maximum(rc * rc - across * across, 0.0))
        front = ahead > 0
        v = across
        if count > 1:
            bins = np.minimum((np.maximum(ahead, 0.0) * (count / length)).astype(np.int64), count - 1)
    elif what == SLOPE:
        along, v = along[keep], across[keep]
        if count > 1:
            half = np.sqrt(np.maximum(reach2 - v * v, 0.0))
            enter, leave = np.maximum(along - half, 0.0) / length, np.minimum(along + half, length) / length
        else:
            d0 = along * along + v * v
            front = (d0 > reach2) | (p0[2] + form_height(np.minimum(d0, reach2), radius, *args) >= h)
    elif what == ARC:
        rho, turned = rho[keep], turned[keep]
        rc = contact_radius(h - low_z, radius, *args)
        half = half_angle(rho, arc_radius, rc)
        enter = turned - np.maximum(half, 0.0)
        front = (enter > 0) & (turned + half < 2 * np.pi) & (half >= 0)
        # a cell only the end of the arc reaches is met where the end comes closest
        enter = np.where(front, np.minimum(enter, span), 0.0)
        v = (arc_radius * arc_radius + rc * rc - rho * rho) / (2 * arc_radius) * sign
        v = np.minimum(np.maximum(v, -rc), rc)
        if count > 1:
            bins = np.minimum((enter * (count / span)).astype(np.int64), count - 1)
    elif what != VERTICAL:
        rho = rho[keep]
        if count > 1:
            enter, leave = enter[keep] / span, leave[keep] / span
        else:
            front = q0[keep] > reach2
        v = (arc_radius * arc_radius + radius * radius - rho * rho) / (2 * arc_radius) * sign
        v = np.minimum(np.maximum(v, -radius), radius)
    if count > 1 and what in (SLOPE, HELIX):
        # the cell goes down bin by bin while the cutter is over it
        step = (p1[2] - p0[2]) / count
        position = np.stack([x[fi] + sx[fj], y[fj] + sy[fi]])
        cells, bins, removed, front = _descend(h, floor[keep], enter * count, leave * count, p0[2], step, count)
        fi, fj, v = fi[cells], fj[cells], v[cells]
        _add(tally, first, count, lattice.area, bins, removed, flat_index[cells], front, v)
        if step < 0:
            share = (bins + 1) / count
            if what == SLOPE:
                tip_x, tip_y = (p1[0] - p0[0]) * share, (p1[1] - p0[1]) * share
            else:
                turn = angle + sweep * share
                tip_x, tip_y = arc_radius * np.cos(turn), arc_radius * np.sin(turn)
            under = (position[0][cells] - tip_x) ** 2 + (position[1][cells] - tip_y) ** 2 <= core_radius**2
            depth = np.minimum(removed[under], -step).astype(np.float32)
            np.maximum.at(tally.core[first : first + count], bins[under], depth)
        top.ravel()[flat_index] = new
        mover.ravel()[flat_index] = row
        return
    if bins is None:
        tally.volume[first] += removed.sum() * lattice.area
        tally.cells[first] += len(keep)
        single = removed.astype(np.float32)
        k = int(np.argmax(single))
        if single[k] > tally.depth[first]:
            tally.depth[first] = single[k]
            tally.at[first] = flat_index[k]
        if what != VERTICAL:
            v = v[front]
            if len(v):
                tally.front[first] += len(v)
                tally.low[first] = min(tally.low[first], v.min())
                tally.high[first] = max(tally.high[first], v.max())
        if p1[2] < p0[2]:
            ex, ey = p1[0] - ox, p1[1] - oy
            cx, cy = x[fi] + sx[fj] - ex, y[fj] + sy[fi] - ey
            under = removed[cx * cx + cy * cy <= core_radius * core_radius]
            if len(under):
                tally.core[first] = max(tally.core[first], min(under.max(), p0[2] - p1[2]))
        if looks:
            tally.inset[first] = max(tally.inset[first], radius - np.sqrt(near2.min()))
    else:
        _add(tally, first, count, lattice.area, bins, removed, flat_index, front, v)
        if looks:
            np.maximum.at(tally.inset[first : first + count], bins, (radius - np.sqrt(near2)).astype(np.float32))
    if use != BENT:
        top.ravel()[flat_index] = new
        mover.ravel()[flat_index] = row


def _add(
    tally: Tally,
    first: int,
    count: int,
    area: float,
    bins: NDArray[np.int64],
    removed: Floats,
    flat_index: Longs,
    front: Bools,
    v: Floats,
) -> None:
    """Account removed heights to the pieces ``bins`` of a sweep."""
    pieces = slice(first, first + count)
    single = removed.astype(np.float32)
    tally.volume[pieces] += np.bincount(bins, removed, count) * area
    tally.cells[pieces] += np.bincount(bins, minlength=count).astype(np.int32)
    most = np.zeros(count, dtype=np.float32)
    np.maximum.at(most, bins, single)
    deeper = most > tally.depth[pieces]
    deepest = np.flatnonzero((single == most[bins]) & deeper[bins])
    at = np.full(count, np.iinfo(np.int32).max, dtype=np.int32)
    np.minimum.at(at, bins[deepest], flat_index[deepest].astype(np.int32))  # the first of equals
    tally.depth[pieces][deeper] = most[deeper]
    tally.at[pieces][deeper] = at[deeper]
    fb, fv = bins[front], v[front].astype(np.float32)
    tally.front[pieces] += np.bincount(fb, minlength=count).astype(np.int32)
    np.minimum.at(tally.low[pieces], fb, fv)
    np.maximum.at(tally.high[pieces], fb, fv)


def _descend(
    h: Floats, floor: Floats, enter: Floats, leave: Floats, z0: float, step: float, count: int
) -> tuple[Longs, Longs, Floats, Bools]:
    """What a flat cutter on a slope takes from cells it is over from ``enter`` to ``leave`` (in bins), bin by bin.

    Returns cell, bin, height removed, and whether the front met the cell there.
    """
    k = np.minimum(enter.astype(np.int64), count - 1)
    cell = np.arange(len(h))
    level = h
    begin = k
    found = []
    while len(cell):
        lowest = np.minimum(leave[cell], k + 1.0) if step < 0 else enter[cell]
        new = np.maximum(z0 + step * lowest, floor[cell])
        removed = level - new
        some = removed > 0
        front = (k == begin[cell]) & (enter[cell] > 0)
        found.append((cell[some], k[some], removed[some], front[some]))
        if step > 0:
            break
        level = np.minimum(level, new)
        k = k + 1
        more = (k < count) & (leave[cell] > k)
        cell, k, level = cell[more], k[more], level[more]
    if not found:
        nothing = np.zeros(0, dtype=np.int64)
        return nothing, nothing, np.zeros(0), np.zeros(0, dtype=bool)
    cells, bins, heights, fronts = (np.concatenate(column) for column in zip(*found, strict=True))
    return cells, bins, heights, fronts
