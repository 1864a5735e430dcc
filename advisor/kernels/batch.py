"""Many small straight sweeps at once, in numpy.

What the cutter's underside does to a cell does not depend on the material, so it is worked out for the windows of many
sweeps together; only then are the windows lowered one after the other, in program order, and what was removed is summed
for all of them together. The formulas are those of advisor/kernels/sweep.py for one sweep, which tests hold this to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.plan import ABOVE, ALL, CUTS, FINE, FLAT, LINE, RAPID, SLOPE, TORUS, VERTICAL, Plan, bins_along
from advisor.kernels.sweep import EDGE, SPECK, TOUCH, Lattice, Tally, contact_radius, form_height
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


def seconds(plan: Plan, boxes: Ints, cell_area: float) -> float:
    """How long the numpy form takes for a plan, about, from what sweeps of each kind took (measured); boxes: windows of the
    sweeps; cell_area: mm2."""
    s = plan.sweeps
    together = batchable(plan, boxes)
    radius = plan.profiles[s.profile, 0]
    cells = (boxes[:, 1] - boxes[:, 0]).astype(np.float64) * (boxes[:, 3] - boxes[:, 2])
    # long oblique lines are looked at in strips; probes of what is above the cutter are not looked at in every cell
    way = np.hypot(*(s.p1[:, :2] - s.p0[:, :2]).T) + 2 * radius
    straight = s.arc < 0
    cells[straight] = np.minimum(cells, 4 * radius * way / cell_area)[straight]
    probes, upright = s.use >= ABOVE, s.what == VERTICAL
    apart = ~together & ~probes & ~upright
    cells[probes] = 0.0
    each = 6e-6 * together + 75e-6 * apart + 40e-6 * probes + 15e-6 * (upright & ~together & ~probes)
    return float((each + cells * np.where(apart, 25e-9, 18e-9))[boxes[:, 0] < boxes[:, 1]].sum())


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
    sloped = what == SLOPE
    low = np.where(sloped, p0[:, 2], np.minimum(p0[:, 2], p1[:, 2]))[:, None, None]
    m = np.where(sloped, (p1[:, 2] - p0[:, 2]) / np.where(upright, 1.0, length), 0.0)[:, None, None]
    # what is left of the squared radius beside the path: rest = reach2 - across * across
    rest = across * across
    np.subtract(reach2, rest, out=rest)
    if not sloped.any():
        u = np.maximum(along, 0.0)
    elif form == FLAT:
        # the cutter's edge lies lowest: as far behind or ahead as the circle goes
        u = np.maximum(rest, 0.0)
        np.sqrt(u, out=u)
        np.multiply(u, np.sign(m), out=u)
        np.subtract(along, u, out=u)
        np.maximum(u, 0.0, out=u)
    else:
        # where the underside of the ball slopes as the path does: m / sqrt(1 + m^2) of what is left
        u = np.maximum(rest, 0.0)
        np.sqrt(u, out=u)
        np.multiply(u, m / np.sqrt(1 + m * m), out=u)
        np.subtract(along, u, out=u)
        np.maximum(u, 0.0, out=u)
    np.minimum(u, most, out=u)
    # and what is left beside the nearest point of it
    off = along - u
    np.multiply(off, off, out=off)
    np.subtract(rest, off, out=rest)
    out = rest < -1e-12 * reach2
    if form == FLAT:
        surface = np.multiply(u, m, out=u)
        np.add(surface, low, out=surface)
    elif form == TORUS and flat == 0.0:
        # the ball stands corner - sqrt(corner^2 - d^2) above its tip
        np.maximum(rest, 0.0, out=rest)
        np.subtract(rest, reach2 - corner * corner, out=rest)
        np.maximum(rest, 0.0, out=rest)
        np.sqrt(rest, out=rest)
        surface = np.multiply(u, m, out=u)
        np.subtract(surface, rest, out=surface)
        np.add(surface, low + corner, out=surface)
    else:
        np.subtract(reach2, rest, out=rest)
        surface = form_height(np.clip(rest, 0.0, reach2, out=rest), radius, int(form), flat, corner, slope)
        np.add(surface, np.add(low, np.multiply(u, m, out=u), out=u), out=surface)
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
    look: Callable[[int], None] | None = None,
) -> None:
    """Sweep the straight sweeps ``part`` of one profile in order; ``top``, ``mover`` and ``tally`` are changed.

    look: called with the number of each sweep before it lowers the stock.
    """
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
        if look is not None:
            look(part.start + k)
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
    h, less = held.ravel()[found], removed.ravel()[found]
    along, v = windows.along.ravel()[found], windows.across.ravel()[found]
    v2 = v * v
    # whether the leading front met the cell
    front = np.zeros(0, dtype=bool)
    ahead = along
    flat_lines, slopes = (what == LINE).any(), (what == SLOPE).any()
    if flat_lines:
        rc = contact_radius(np.maximum(h - low_z[k] + TOUCH, 0.0), radius, *args)
        ahead = along - np.sqrt(np.maximum(rc * rc - v2, 0.0))
        front = ahead > 0
    if slopes:
        d0 = along * along
        d0 += v2
        far = d0 > reach2
        np.minimum(d0, reach2, out=d0)
        height = form_height(d0, radius, *args)
        height += z0[k]
        met = height > h + TOUCH
        met |= far
        front = np.where((what == SLOPE)[k], met, front) if flat_lines else met
    if (what == VERTICAL).any():
        front = (front if flat_lines or slopes else np.zeros(len(found), dtype=bool)) & (what != VERTICAL)[k]
    # what goes down under the axis; where rounding might tell, from the sample point itself
    core2 = core_radius * core_radius
    down = np.flatnonzero(v2 <= core2 * (1 + NEARLY))
    down = down[(z1 < z0)[k[down]]]
    if len(down):
        d = k[down]
        past = along[down] - windows.length[d]
        np.multiply(past, past, out=past)
        np.add(past, v2[down], out=past)
        under = past <= core2
        close = np.flatnonzero(np.abs(past - core2) < NEARLY * core2)
        if len(close):
            c = d[close]
            r = found[down[close]] - c * (wi * wj)
            fi, fj = r // wj, r % wj
            p0, p1 = s.p0[part], s.p1[part]
            cx = windows.x[c, fi] + windows.shift_x[c, fj] - (p1[c, 0] - p0[c, 0])
            cy = windows.y[c, fj] + windows.shift_y[c, fi] - (p1[c, 1] - p0[c, 1])
            under[close] = cx * cx + cy * cy <= core2
        d, down = d[under], down[under]
        depth = np.minimum(less[down], z0[d] - z1[d]).astype(np.float32)
        np.maximum.at(tally.core, first[d], depth)
    # the pieces of the batch one after the other
    begin = np.cumsum(count) - count
    if (count > 1).any():
        piece = begin[k]
        way = np.where(windows.length > 0, windows.length, 1.0)
        fine, ends = s.fine[part], np.cumsum(counts)
        bins = np.minimum((np.maximum(ahead, 0.0) * (count / way)[k]).astype(np.int64), count[k] - 1)
        for sweep in np.flatnonzero((fine > 0) & (fine < ALL)).tolist():
            of = slice(int(ends[sweep] - counts[sweep]), int(ends[sweep]))
            bins[of] = bins_along(
                np.maximum(ahead[of], 0.0), float(way[sweep]), int(count[sweep]), int(fine[sweep]), 2 * radius / FINE
            )
        piece = piece + np.where(count[k] > 1, bins, 0)
        order = np.argsort(piece, kind="stable")
        piece, k, found, less, v, front = piece[order], k[order], found[order], less[order], v[order], front[order]
        starts = np.flatnonzero(np.diff(piece, prepend=-1))
        met_pieces = piece[starts]
        sizes = np.diff(starts, append=len(piece))
    else:
        met_pieces = np.flatnonzero(counts)
        sizes = counts[met_pieces]
        starts = np.cumsum(sizes) - sizes
    owner = k[starts]
    into = first[owner] + (met_pieces - begin[owner])
    tally.volume[into] += np.add.reduceat(less, starts) * lattice.area
    tally.cells[into] += sizes.astype(np.int32)
    single = less.astype(np.float32)
    most = np.maximum.reduceat(single, starts)
    deepest = np.flatnonzero(single == np.repeat(most, sizes))
    deepest = deepest[np.searchsorted(deepest, starts)]  # the first of equals
    deeper = most > tally.depth[into]
    where = found[deepest] - owner * (wi * wj)
    at = (box[owner, 0] + where // wj) * ny + box[owner, 2] + where % wj
    tally.depth[into[deeper]] = most[deeper]
    tally.at[into[deeper]] = at[deeper]
    ahead_of = np.flatnonzero(front)
    if len(ahead_of):
        v = v[ahead_of]
        runs = np.searchsorted(ahead_of, starts)
        fronts = np.diff(runs, append=len(ahead_of))
        some = np.flatnonzero(fronts)
        into, runs = into[some], runs[some]
        tally.front[into] += fronts[some].astype(np.int32)
        tally.low[into] = np.minimum(tally.low[into], np.minimum.reduceat(v, runs))
        tally.high[into] = np.maximum(tally.high[into], np.maximum.reduceat(v, runs))
