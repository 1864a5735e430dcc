"""Many small straight sweeps at once, in numpy.

What the cutter's underside does to a cell does not depend on the material, so it is worked out for the windows of many
sweeps together; only then are the windows lowered one after the other, in program order, and what was removed is summed
for all of them together. The formulas are those of advisor/kernels/sweep.py for one sweep, which tests hold this to.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.plan import CUTS, FLAT, LINE, RAPID, SLOPE, TORUS, VERTICAL, Plan
from advisor.kernels.sweep import EDGE, SPECK, Lattice, Tally, contact_radius, form_height, lead
from grammar.classes import dataclass

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int32]
Longs = NDArray[np.int64]
Bools = NDArray[np.bool_]

TOGETHER = 24_000  # cells of the windows taken at once: their arrays stay in the processor's cache
LARGEST = 2_500  # cells of a window; with more, one sweep at a time costs no more
NEARLY = 1e-5  # mm; more than rounding can move an edge
FEWEST = 4  # sweeps in a row that are worth it


def batchable(plan: Plan, boxes: Ints) -> Bools:
    """(s,) sweeps that may be taken together: straight, cutting, with a small window."""
    s = plan.sweeps
    profiles = plan.profiles[s.profile]
    form, flat, radius = profiles[:, 1], profiles[:, 2], profiles[:, 0]
    area = (boxes[:, 1] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 2])
    good = (s.use == CUTS) & (s.what <= SLOPE) & (area <= LARGEST) & (boxes[:, 0] < boxes[:, 1]) & (boxes[:, 2] < boxes[:, 3])
    # a slope of one piece, of a cutter whose lowest point has a plain formula
    good &= (s.what != SLOPE) | ((s.count == 1) & ((form == FLAT) | ((form == TORUS) & (flat == 0.0))))
    # long oblique lines are looked at in strips
    way = np.abs(s.p1[:, :2] - s.p0[:, :2]).min(axis=1)
    good &= (s.what == VERTICAL) | (way < 4 * radius)
    return np.asarray(good)


def trailing(plan: Plan, boxes: Ints, lattice: Lattice) -> Ints:
    """The boxes of the sweeps, less what lies so far behind the start of a line that goes on from the sweep before it
    that the stock is already down there."""
    s = plan.sweeps
    going = np.zeros(len(s), dtype=bool)
    going[1:] = (s.p1[:-1] == s.p0[1:]).all(axis=1) & (s.profile[1:] == s.profile[:-1]) & (s.use[:-1] <= RAPID)
    going &= (s.use == CUTS) & ((s.what == LINE) | (s.what == SLOPE))
    k = np.flatnonzero(going)
    if not len(k) or len(lattice.x) < 2 or len(lattice.y) < 2:
        return boxes
    radius, form, flat, corner = (plan.profiles[s.profile[k], c] for c in (0, 1, 2, 3))
    way = s.p1[k] - s.p0[k]
    run = np.hypot(way[:, 0], way[:, 1])
    down = np.maximum(-way[:, 2] / run, 0.0)
    # how far behind its axis a cutter that goes down still lowers the stock
    behind = np.where(form == TORUS, flat + corner * down / np.sqrt(1 + down * down), radius)
    behind = np.where(down == 0, 0.0, np.minimum(radius, behind)) + 1e-6
    chord = np.sqrt(np.maximum(radius * radius - behind * behind, 0.0))
    found = boxes.copy()
    for axis, samples in ((0, lattice.x), (1, lattice.y)):
        u, w = way[:, axis] / run, np.abs(way[:, 1 - axis]) / run
        # the least coordinate along the axis, in its sense of travel, of what is left of the circle round the start
        back = np.where(np.abs(u) * radius < behind, radius, np.minimum(behind * np.abs(u) + chord * w, radius))
        step = samples[1] - samples[0]
        from_low = np.floor((s.p0[k, axis] - back - NEARLY) / step)
        from_high = np.ceil((s.p0[k, axis] + back + NEARLY) / step)
        least, most = np.minimum(s.p0[k, axis], s.p1[k, axis]), np.maximum(s.p0[k, axis], s.p1[k, axis])
        low = np.maximum(found[k, 2 * axis], np.floor((least - radius - NEARLY) / step))
        high = np.minimum(found[k, 2 * axis + 1], np.ceil((most + radius + NEARLY) / step))
        found[k, 2 * axis] = np.where(u > 0, np.maximum(low, np.minimum(from_low, high)), low)
        found[k, 2 * axis + 1] = np.where(u < 0, np.minimum(high, np.maximum(from_high, low)), high)
    return found


def batches(plan: Plan, boxes: Ints) -> Iterator[tuple[int, int, bool]]:
    """Stretches of sweeps (first, stop, whether they are taken together) that cover the plan in order."""
    good = batchable(plan, boxes)
    profile = plan.sweeps.profile
    edges = np.flatnonzero((good[1:] != good[:-1]) | (good[1:] & (profile[1:] != profile[:-1]))) + 1
    wide, high = (boxes[:, 1] - boxes[:, 0]).tolist(), (boxes[:, 3] - boxes[:, 2]).tolist()
    ends = [0, *edges.tolist(), len(good)]
    for first, stop in pairwise(ends):
        if first == stop:
            continue
        if not good[first] or stop - first < FEWEST:
            yield first, stop, False
            continue
        begin, wi, wj, used = first, 0, 0, 0
        for k in range(first, stop):
            a, b = max(wi, wide[k]), max(wj, high[k])
            filled = used + wide[k] * high[k]
            # all windows are held as large as the largest
            if k > begin and (a * b * (k + 1 - begin) > TOGETHER or a * b * (k + 1 - begin) > 2 * filled):
                yield begin, k, True
                begin, a, b, filled = k, wide[k], high[k], wide[k] * high[k]
            wi, wj, used = a, b, filled
        yield begin, stop, True


@dataclass(frozen=True, eq=False)
class _Windows:
    """The windows of a batch, all as large as the largest: shapes (b, wi, wj) unless said otherwise, mm.

    along, across: of each cell from the start of its sweep; near2: squared distance from its path; x, shift_x, y,
    shift_y (b, wi) or (b, wj): its sample point from the start of the sweep; surface: height the sweep leaves.
    """

    along: Floats
    across: Floats
    surface: Floats
    x: Floats
    y: Floats
    shift_x: Floats
    shift_y: Floats
    length: Floats  # (b,)


def _windows(plan: Plan, part: slice, box: Longs, lattice: Lattice, shape: tuple[float, ...]) -> _Windows:
    radius, form, flat, corner, slope, _ = shape
    s = plan.sweeps
    what, p0, p1 = s.what[part], s.p0[part], s.p1[part]
    reach2 = (radius + EDGE) ** 2
    wi, wj = int((box[:, 1] - box[:, 0]).max()), int((box[:, 3] - box[:, 2]).max())
    i = np.minimum(box[:, 0, None] + np.arange(wi), len(lattice.x) - 1)
    j = np.minimum(box[:, 2, None] + np.arange(wj), len(lattice.y) - 1)
    x, y = lattice.x[i] - p0[:, 0, None], lattice.y[j] - p0[:, 1, None]
    shift_x, shift_y = lattice.shift_x[j], lattice.shift_y[i]
    upright = what == VERTICAL
    way = np.where(upright[:, None], [1.0, 0.0], p1[:, :2] - p0[:, :2])
    length = np.sqrt(way[:, 0] * way[:, 0] + way[:, 1] * way[:, 1])
    ux, uy = (way[:, 0] / length)[:, None], (way[:, 1] / length)[:, None]
    length = np.where(upright, 0.0, length)
    along = (x * ux + shift_y * uy)[:, :, None] + (shift_x * ux + y * uy)[:, None, :]
    across = (shift_y * ux - x * uy)[:, :, None] + (y * ux - shift_x * uy)[:, None, :]
    most = length[:, None, None]
    v2 = across * across
    low = np.where(what == SLOPE, p0[:, 2], np.minimum(p0[:, 2], p1[:, 2]))[:, None, None]
    if (what == SLOPE).any():
        m = np.where(what == SLOPE, (p1[:, 2] - p0[:, 2]) / np.where(upright, 1.0, length), 0.0)[:, None, None]
        rest = reach2 - v2
        np.maximum(rest, 0.0, out=rest)
        ahead = lead(rest, v2, np.abs(m), form, flat, corner, slope)  # type: ignore[arg-type]
        if form == FLAT:
            ahead = ahead * (m != 0)
        u = np.subtract(along, np.where(m > 0, 1.0, -1.0) * ahead, out=rest)
        np.maximum(u, 0.0, out=u)
        np.minimum(u, most, out=u)
        climb = m * u
        np.subtract(along, u, out=u)
        np.multiply(u, u, out=u)
        d2 = np.add(u, v2, out=u)
        out = d2 > reach2 * (1 + 1e-12)
        surface = form_height(np.minimum(d2, reach2, out=d2), radius, int(form), flat, corner, slope)
        np.add(surface, np.add(low, climb, out=climb), out=surface)
    else:
        u = np.maximum(along, 0.0)
        np.minimum(u, most, out=u)
        np.subtract(along, u, out=u)
        np.multiply(u, u, out=u)
        near2 = np.add(u, v2, out=u)
        out = near2 > reach2
        if form == FLAT:
            surface = np.broadcast_to(low, along.shape).copy()
        else:
            surface = low + form_height(np.minimum(near2, reach2, out=near2), radius, int(form), flat, corner, slope)
    np.copyto(surface, np.inf, where=out)
    return _Windows(along, across, surface, x, y, shift_x, shift_y, length)


def sweep_batch(
    plan: Plan,
    part: slice,
    boxes: Ints,
    lattice: Lattice,
    shape: tuple[float, int, float, float, float, float],
    top: Singles,
    bottom: Singles,
    mover: Ints,
    tally: Tally,
) -> None:
    """Sweep the straight sweeps ``part`` of one profile in order; ``top``, ``mover`` and ``tally`` are changed."""
    s = plan.sweeps
    box = boxes[part].astype(np.int64)
    windows = _windows(plan, part, box, lattice, shape)
    surface = windows.surface
    held = np.zeros(surface.shape)
    removed = np.zeros(surface.shape)
    cut = np.zeros(surface.shape, dtype=bool)
    if any(bottom.strides):
        for k, (i0, i1, j0, j1) in enumerate(box.tolist()):
            new = surface[k, : i1 - i0, : j1 - j0]
            np.maximum(new, bottom[i0:i1, j0:j1], out=new)
    else:
        np.maximum(surface, float(bottom.flat[0]), out=surface)
    kept = surface.astype(np.float32)
    for k, ((i0, i1, j0, j1), row) in enumerate(zip(box.tolist(), s.row[part].tolist(), strict=True)):
        window, field = (k, slice(i1 - i0), slice(j1 - j0)), top[i0:i1, j0:j1]
        before, less, mask = held[window], removed[window], cut[window]
        before[:] = field
        np.subtract(before, surface[window], out=less)
        np.greater(less, SPECK, out=mask)
        np.copyto(field, kept[window], where=mask)
        np.copyto(mover[i0:i1, j0:j1], row, where=mask)
    found = np.flatnonzero(cut)
    if len(found):
        counts = np.count_nonzero(cut.reshape(len(box), -1), axis=1)
        _account(plan, part, box, lattice, shape, windows, held, removed, found, counts, top.shape[1], tally)


def _account(
    plan: Plan,
    part: slice,
    box: Longs,
    lattice: Lattice,
    shape: tuple[float, int, float, float, float, float],
    windows: _Windows,
    held: Floats,
    removed: Floats,
    found: Longs,
    counts: Longs,
    ny: int,
    tally: Tally,
) -> None:
    """Add up what a batch removed in the cells ``found`` of its windows, ``counts`` of each."""
    radius, form, flat, corner, slope, core_radius = shape
    args = (form, flat, corner, slope)
    s = plan.sweeps
    what, first, count = s.what[part], s.first[part], s.count[part].astype(np.int64)
    z0, z1 = s.p0[part, 2], s.p1[part, 2]
    low_z = np.minimum(z0, z1)
    reach2 = (radius + EDGE) ** 2
    wi, wj = removed.shape[1:]
    k = np.repeat(np.arange(len(box)), counts)
    rest = found - k * (wi * wj)
    h, less = held.ravel()[found], removed.ravel()[found]
    along, v = windows.along.ravel()[found], windows.across.ravel()[found]
    v2 = v * v
    # whether the leading front met the cell
    front = np.zeros(len(found), dtype=bool)
    ahead = along
    if (what == LINE).any():
        rc = contact_radius(np.maximum(h - low_z[k], 0.0), radius, *args)
        ahead = along - np.sqrt(np.maximum(rc * rc - v2, 0.0))
        front = ahead > 0
    if (what == SLOPE).any():
        d0 = along * along + v2
        met = (d0 > reach2) | (z0[k] + form_height(np.minimum(d0, reach2), radius, *args) >= h)
        front = np.where((what == SLOPE)[k], met, front) if (what != SLOPE).any() else met
    if (what == VERTICAL).any():
        front &= (what != VERTICAL)[k]
    # what goes down under the axis: first all that may be, then exactly
    past = along - windows.length[k]
    np.multiply(past, past, out=past)
    np.add(past, v2, out=past)
    down = np.flatnonzero(past <= 1.01 * core_radius * core_radius)
    down = down[(z1 < z0)[k[down]]]
    if len(down):
        d, r = k[down], rest[down]
        fi, fj = r // wj, r % wj
        p0, p1 = s.p0[part], s.p1[part]
        cx = windows.x[d, fi] + windows.shift_x[d, fj] - (p1[d, 0] - p0[d, 0])
        cy = windows.y[d, fj] + windows.shift_y[d, fi] - (p1[d, 1] - p0[d, 1])
        under = np.flatnonzero(cx * cx + cy * cy <= core_radius * core_radius)
        d = d[under]
        depth = np.minimum(less[down[under]], z0[d] - z1[d]).astype(np.float32)
        np.maximum.at(tally.core, first[d], depth)
    # the pieces of the batch one after the other
    begin = np.cumsum(count) - count
    if (count > 1).any():
        piece = begin[k]
        share = (count / np.where(windows.length > 0, windows.length, 1.0))[k]
        bins = np.minimum((np.maximum(ahead, 0.0) * share).astype(np.int64), count[k] - 1)
        piece = piece + np.where(count[k] > 1, bins, 0)
        order = np.argsort(piece, kind="stable")
        piece, k, rest, less, v, front = piece[order], k[order], rest[order], less[order], v[order], front[order]
        starts = np.flatnonzero(np.diff(piece, prepend=-1))
        met_pieces = piece[starts]
        sizes = np.diff(starts, append=len(piece))
    else:
        piece, met_pieces = k, np.flatnonzero(counts)
        sizes = counts[met_pieces]
        starts = np.cumsum(sizes) - sizes
    owner = k[starts]
    into = first[owner] + (met_pieces - begin[owner])
    tally.volume[into] += np.add.reduceat(less, starts) * lattice.area
    tally.cells[into] += sizes.astype(np.int32)
    single = less.astype(np.float32)
    most = np.maximum.reduceat(single, starts)
    deepest = np.flatnonzero(single == np.repeat(most, sizes))
    deepest = deepest[np.flatnonzero(np.diff(piece[deepest], prepend=-1))]  # the first of equals
    deeper = most > tally.depth[into]
    where = rest[deepest]
    at = (box[owner, 0] + where // wj) * ny + box[owner, 2] + where % wj
    tally.depth[into[deeper]] = most[deeper]
    tally.at[into[deeper]] = at[deeper]
    ahead_of = np.flatnonzero(front)
    if len(ahead_of):
        v, piece = v[ahead_of], piece[ahead_of]
        runs = np.flatnonzero(np.diff(piece, prepend=-1))
        into = into[np.searchsorted(met_pieces, piece[runs])]
        tally.front[into] += np.diff(runs, append=len(piece)).astype(np.int32)
        tally.low[into] = np.minimum(tally.low[into], np.minimum.reduceat(v, runs))
        tally.high[into] = np.maximum(tally.high[into], np.maximum.reduceat(v, runs))
