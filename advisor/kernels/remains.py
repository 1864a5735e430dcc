"""What is left of the workpiece: connected pieces and the move that parts them, thin floors, thin walls.

Grids are worked on as runs: stretches of one row whose cells share a value.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from advisor.distinct import distinct
from grammar.classes import dataclass

Singles = NDArray[np.float32]
Ints = NDArray[np.int32]
Longs = NDArray[np.int64]
Bools = NDArray[np.bool_]

SOLID = np.iinfo(np.int32).max  # later than every move: material that is left
VOID = -1  # nothing was there before the first move
MANY = 200_000  # links from which compiled code pays


@dataclass(frozen=True, eq=False)
class Runs:
    """first (r,) flat index, size (r,) cells, value (r,); links (e, 2) pairs of touching runs."""

    first: Longs
    size: Longs
    value: NDArray[np.int64]
    links: Longs
    shape: tuple[int, int]


def runs_of(values: NDArray[np.int64] | Ints | Bools) -> Runs:
    """Runs of equal values along the rows of a grid, with their links to the left, right, above and below."""
    nx, ny = values.shape
    edge = np.ones((nx, ny), dtype=bool)
    edge[:, 1:] = values[:, 1:] != values[:, :-1]
    first = np.flatnonzero(edge)
    size = np.diff(np.append(first, nx * ny))
    number = np.repeat(np.arange(len(first), dtype=np.int32), size)
    side = np.flatnonzero(first % ny)  # runs with a neighbour before them in their row
    upper = np.flatnonzero(edge[:-1] | edge[1:])
    links = np.concatenate([np.column_stack([side - 1, side]), np.column_stack([number[upper], number[upper + ny]])])
    return Runs(first, size, values.ravel()[first].astype(np.int64), links, (nx, ny))


def connect(count: int, links: Longs) -> Longs:
    """Number of the connected set of each of ``count`` nodes, 0, 1, ... in order of their first node."""
    root = np.arange(count)
    while len(links):  # every node takes the least number among its neighbours, then its number's number
        low = np.minimum(root[links[:, 0]], root[links[:, 1]])
        before = root.copy()
        np.minimum.at(root, root[links[:, 0]], low)
        np.minimum.at(root, root[links[:, 1]], low)
        while True:
            jump = root[root]
            if (jump == root).all():
                break
            root = jump
        if (root == before).all():
            break
        links = links[root[links[:, 0]] != root[links[:, 1]]]
    # every root is its set's first node, so their order is that of the sets
    return np.asarray((np.cumsum(root == np.arange(count)) - 1)[root], dtype=np.int64)


def label(mask: Bools) -> Ints:
    """Connected sets of true cells, numbered from 1; 0 elsewhere."""
    if mask.all():
        return np.ones(mask.shape, dtype=np.int32)
    runs = runs_of(mask)
    solid = runs.value == 1
    both = solid[runs.links].all(axis=1)
    number = connect(len(runs.first), runs.links[both])
    names = np.zeros(len(number), dtype=np.int64)
    used = distinct(number[solid])
    table = np.zeros(len(number) + 1, dtype=np.int64)
    table[used] = np.arange(1, len(used) + 1)
    names[solid] = table[number[solid]]
    return np.repeat(names.astype(np.int32), runs.size).reshape(mask.shape)


@dataclass(frozen=True, slots=True)
class Parting:
    """Move ``row`` parts the labels ``small`` from the labels ``large``; areas in cells."""

    row: int
    small: tuple[int, ...]
    large: tuple[int, ...]
    small_cells: int
    large_cells: int


def partings(state: NDArray[np.int64] | Ints) -> tuple[list[Parting], Ints, Longs]:
    """Which moves part the material, from a grid of SOLID, VOID or the row of the move that cut a cell through.

    The cells are joined again in reverse order of cutting; where two pieces of what is left meet, the move that cut the
    link parted them. Also the labels of what is left (1, 2, ...; 0 cut), numbered by their first cell, and the box of
    each label as a row of first and last cell in X and Y.
    """
    runs = runs_of(state)
    weight = np.minimum(runs.value[runs.links[:, 0]], runs.value[runs.links[:, 1]])
    solid = runs.value == SOLID
    piece = connect(len(runs.first), runs.links[weight == SOLID])
    names = np.zeros(len(piece), dtype=np.int64)
    used = distinct(piece[solid])
    table = np.zeros(len(piece) + 1, dtype=np.int64)
    table[used] = np.arange(1, len(used) + 1)
    names[solid] = table[piece[solid]]
    labels = np.repeat(names.astype(np.int32), runs.size).reshape(state.shape)
    boxes = _boxes(runs, names, len(used))
    if len(used) < 2:
        return [], labels, boxes
    cells = np.zeros(len(piece), dtype=np.int64)
    np.add.at(cells, piece[solid], runs.size[solid])
    keep = (weight < SOLID) & (weight > VOID)
    links, weight = piece[runs.links[keep]], weight[keep]
    order = np.argsort(-weight, kind="stable")
    links, weight = links[order], weight[order]
    differ = links[:, 0] != links[:, 1]
    links, weight = links[differ], weight[differ]
    return _partings(links, weight, names, piece, cells), labels, boxes


def _boxes(runs: Runs, names: Longs, count: int) -> Longs:
    """(count + 1, 4) first and last row, first and last column of each label."""
    ny = runs.shape[1]
    row, column = runs.first // ny, runs.first % ny
    boxes = np.empty((count + 1, 4), dtype=np.int64)
    boxes[:, ::2] = np.iinfo(np.int64).max
    boxes[:, 1::2] = -1
    np.minimum.at(boxes[:, 0], names, row)
    np.maximum.at(boxes[:, 1], names, row)
    np.minimum.at(boxes[:, 2], names, column)
    np.maximum.at(boxes[:, 3], names, column + runs.size - 1)
    return boxes


def grouped(labels: Ints) -> list[Longs]:
    """Flat indices of the cells of label 1, 2, ..."""
    cells = np.flatnonzero(labels)
    names = labels.ravel()[cells]
    few = len(names) > 0 and names.max() < 65536  # numbers that short are sorted by their digits
    order = np.argsort(names.astype(np.uint16) if few else names, kind="stable")
    cells, names = cells[order], names[order]
    ends = np.flatnonzero(np.diff(names, append=-1)) + 1
    return [cells[a:b] for a, b in pairwise([0, *ends.tolist()])]


def _last_meeting(count: int, links: Longs, cells: Longs) -> int:
    """How many of the links, taken in order, there are to the last one that joins two sets which both hold material; all
    of them where that isn't worth finding out."""
    if len(links) > MANY:
        from grammar import jit

        if jit.unavailable() is None:
            from advisor.kernels.joining import join

            meetings = join(count, links, cells.copy())
            return int(meetings[-1]) + 1 if len(meetings) else 0
    return len(links)


def _partings(links: Longs, weight: Longs, names: Longs, piece: Longs, cells: Longs) -> list[Parting]:
    """The links, taken in order, that join two sets which both hold material, as partings."""
    parent = list(range(len(piece)))
    held: dict[int, list[int]] = {}
    solid = np.flatnonzero(names)
    for number, name in zip(piece[solid].tolist(), names[solid].tolist(), strict=True):
        held[number] = [name]
    area = cells.tolist()
    found = []
    for k, (a, b) in enumerate(links[: _last_meeting(len(piece), links, cells)].tolist()):
        while parent[a] != a:  # to the root, with the path halved on the way
            parent[a] = a = parent[parent[a]]
        while parent[b] != b:
            parent[b] = b = parent[parent[b]]
        if a == b:
            continue
        parent[b] = a
        if b not in held:
            continue
        if a not in held:
            held[a], area[a] = held.pop(b), area[b]
            continue
        small, large = (a, b) if area[a] <= area[b] else (b, a)
        found.append(
            Parting(
                int(weight[k]),
                tuple(sorted(held[small])[:64]),
                tuple(sorted(held[large])[:64]),
                area[small],
                area[large],
            )
        )
        area[a] += area[b]
        more, less = held.pop(a), held.pop(b)
        if len(more) < len(less):
            more, less = less, more
        more.extend(less)
        held[a] = more
        if len(held) == 1:
            break
    found.sort(key=lambda p: p.row)
    return found


def side_reach(mask: Bools) -> Longs:
    """How many cells the mask goes on along the row from each cell, to the nearer side; -1 outside it."""
    ny = mask.shape[1]
    along = np.arange(1, ny + 1)
    left = along - np.maximum.accumulate(np.where(mask, 0, along), axis=1)
    back = np.maximum.accumulate(np.where(mask, 0, along[::-1])[:, ::-1], axis=1)[:, ::-1]
    return np.asarray(np.minimum(left, along[::-1] - back) - 1)


def eroded(mask: Bools, radius: float, reach: Longs | None = None) -> Bools:
    """Cells whose disc of ``radius`` cells lies wholly in the mask (outside the grid does not belong to it).

    reach: ``side_reach(mask)`` where it is known.
    """
    nx = mask.shape[0]
    if reach is None:
        reach = side_reach(mask)
    inside = mask.copy()
    for k in range(min(int(radius), nx) + 1):
        need = np.sqrt(max(radius * radius - k * k, 0.0))
        good = reach >= need - 0.5
        inside[: nx - k] &= good[k:]
        inside[k:] &= good[: nx - k]
        if k:
            inside[nx - k :] = False
            inside[:k] = False
    return inside


def rooms(reach: Longs, cells: Longs, most: float) -> NDArray[np.float64]:
    """The greatest radius, up to ``most``, that ``eroded`` leaves each of the cells (n,), flat indices into a mask with
    the ``side_reach`` given; below 0 where none does."""
    nx, ny = reach.shape
    row, column = cells // ny, cells % ny
    flat = reach.ravel()
    found = np.full(len(cells), most)
    for k in range(nx + 1):
        if not len(cells) or k > found.max():
            break
        # k rows away the disc of radius r goes sqrt(r^2 - k^2) to both sides, if it gets there
        short = np.nextafter(k, -1.0) if k else -1.0
        for other in (row - k, row + k) if k else (row,):
            there = (other >= 0) & (other < nx)
            away = np.where(there, flat[np.where(there, other, 0) * ny + column], -1)
            fits = np.sqrt((away + 0.5) ** 2 + k * k)
            np.minimum(found, np.where(away < 0, short, fits), out=found)
    return found


def least_level(values: Singles, radius: float) -> float:
    """The least height at which ``eroded(values <= height, radius)`` leaves a cell; infinite where none does."""
    nx, ny = values.shape
    rows = int(radius)
    if 2 * rows >= nx:
        return float("inf")
    sides = [max(0, int(np.ceil(np.sqrt(max(radius * radius - k * k, 0.0)) - 0.5))) for k in range(rows + 1)]
    if 2 * sides[0] >= ny:
        return float("inf")
    # highest within ``side`` cells of each cell along its row, from narrow to wide; then over the rows of the disc
    high, side = values, 0
    found = np.full((nx - 2 * rows, ny - 2 * sides[0]), -np.inf, dtype=values.dtype)
    for k in range(rows, -1, -1):
        while side < sides[k]:
            high = np.maximum(np.maximum(high[:, :-2], high[:, 2:]), high[:, 1:-1])
            side += 1
        part = high[:, sides[0] - side : ny - sides[0] - side]
        np.maximum(found, part[rows - k : nx - rows - k], out=found)
        np.maximum(found, part[rows + k : nx - rows + k], out=found)
    return float(found.min())


def lowest_within(heights: Singles, k: int, axis: int, outside: float) -> tuple[Singles, Singles]:
    """Lowest height among the k cells before, and among the k cells after each cell, along an axis."""
    pad = [(0, 0), (0, 0)]
    pad[axis] = (k, k)
    wide = np.pad(heights, pad, constant_values=np.float32(outside))
    turned = wide if axis == 0 else wide.T
    n = heights.shape[axis]
    # least of k following cells: of stretches of 1, 2, 4, ... cells, the last one laid twice
    size, least = 1, turned
    while 2 * size <= k:
        least = np.minimum(least[: len(least) - size], least[size:])
        size *= 2
    if size < k:
        least = np.minimum(least[: len(least) - (k - size)], least[k - size :])
    before, after = least[:n], least[k + 1 : k + 1 + n]
    return (before, after) if axis == 0 else (before.T, after.T)


def wall_runs(mask: Bools, heights: Singles, drop: float, axis: int) -> tuple[Longs, Longs]:
    """The true cells (flat indices) of runs along an axis beyond both of whose ends the height is at least ``drop`` lower
    (outside the grid it is), and the number of cells in the run of each."""
    turned = mask.T if axis == 0 else mask
    ny = turned.shape[1]
    cells = np.flatnonzero(turned)
    if not len(cells):
        return cells, cells
    begins = np.flatnonzero((np.diff(cells, prepend=-2) != 1) | (cells % ny == 0))
    size = np.diff(begins, append=len(cells))
    first, last = cells[begins], cells[begins + size - 1]
    # cells of the turned grid where they lie in the grid itself; neighbours along the axis
    flat, step = heights.ravel(), mask.shape[1] if axis == 0 else 1

    def lies(places: Longs) -> Longs:
        return places % ny * step + places // ny if axis == 0 else places

    at_first, at_last = lies(first), lies(last)
    low_first, low_last = flat[at_first] - np.float32(drop), flat[at_last] - np.float32(drop)
    good = (first % ny == 0) | (flat[at_first - step] <= low_first)
    good &= (last % ny == ny - 1) | (flat[np.minimum(at_last + step, flat.size - 1)] <= low_last)
    kept = np.repeat(good, size)
    return lies(cells[kept]), np.repeat(size[good], size[good])
