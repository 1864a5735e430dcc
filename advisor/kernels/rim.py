"""Where the rim of the cutter is engaged at the end of a stroke that ends in a corner.

In an inside corner the engagement rises steeply over the last tenths of a diameter, so that no count over a stretch of the
path has its height. There the cells just inside and just outside the rim are counted instead, on its leading half: the
share that holds material before the stroke is the share of the rim that cuts at its end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from advisor.kernels.plan import FLAT, TAIL, TORUS, Sweeps

if TYPE_CHECKING:
    from advisor.kernels.sweep import Lattice, Tally

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int32]
Longs = NDArray[np.int64]

RIM = 0.07  # of the diameter; how far from the rim cells are counted
SPECK = 1e-4  # mm; as in advisor/kernels/sweep.py
WAITING = 1_000_000  # cells kept before they are looked at
NOTHING = (0.0, 0.0, 0.0, np.inf, -np.inf)


def rim_rows(sweeps: Sweeps, profiles: Floats) -> Ints:
    """(s,) row in ``Tally.rims`` of sweeps that end in a corner and do not turn far before it; -1 for the others.

    Only for cutters that are flat in the middle: of others the rim in the material changes with its height.
    """
    ends = (sweeps.fine & TAIL) > 0
    k = np.flatnonzero(ends)
    if len(k):
        profile, arc = profiles[sweeps.profile[k]], sweeps.arc[k]
        good = (profile[:, 1] == FLAT) | ((profile[:, 1] == TORUS) & (profile[:, 2] > 0))
        curved = np.flatnonzero(arc >= 0)
        good[curved] &= np.abs(sweeps.arcs[arc[curved], 4]) < np.pi / 2
        ends[k] = good
    return np.where(ends, np.cumsum(ends, dtype=np.int32) - 1, -1).astype(np.int32)


class Rims:
    """Rims of the sweeps of a plan, for the numpy form: heights about the rim are kept when a sweep begins, and counted
    for many sweeps together when ``settle`` is called; to be done after sweeps are accounted, once ``full``."""

    def __init__(
        self, sweeps: Sweeps, profiles: Floats, lattice: Lattice, top: Singles, bottom: Singles, tally: Tally, of: Ints
    ) -> None:
        self.sweeps, self.profiles, self.lattice, self.rims, self.front = sweeps, profiles, lattice, tally.rims, tally.front
        self.top, self.bottom, self.of = top, bottom, of
        self.heights = top.ravel()  # not a copy: the field lies in one piece
        self.dx = float(lattice.x[1] - lattice.x[0]) if len(lattice.x) > 1 else lattice.cell
        self.dy = lattice.area / self.dx
        # of each sweep whose rim is looked at: its profile and the cell its end is in; whether all of the ring is on the grid
        which = np.flatnonzero(of >= 0)
        profile = sweeps.profile[which]
        ends = np.clip(np.floor(sweeps.p1[which, :2] / (self.dx, self.dy)), -1e9, 1e9).astype(np.int64)
        ci, cj = ends[:, 0], ends[:, 1]
        self.rings = {k: self._ring(float(profiles[k, 0])) for k in sorted(set(profile.tolist()))}
        nx, ny = top.shape
        wide = np.array([self.rings[k][0].max() if k in self.rings else 0 for k in range(len(profiles))])[profile]
        high = np.array([self.rings[k][1].max() if k in self.rings else 0 for k in range(len(profiles))])[profile]
        inside = (ci >= wide) & (ci + wide < nx) & (cj >= high) & (cj + high < ny)
        places = zip(profile.tolist(), ci.tolist(), cj.tolist(), inside.tolist(), strict=True)
        self.places = dict(zip(which.tolist(), places, strict=True))
        self.kept: dict[int, list[tuple[int, int, int, Singles]]] = {k: [] for k in self.rings}
        self.waiting = 0

    @property
    def full(self) -> bool:
        """Much is kept."""
        return self.waiting > WAITING

    def look(self, k: int) -> None:
        """Keep the heights about the rim at the end of sweep k, before it is swept."""
        place = self.places.get(k)
        if place is None:
            return
        profile, ci, cj, inside = place
        i, j, flat = self.rings[profile]
        nx, ny = self.top.shape
        if inside:
            heights = self.heights.take(flat + (ci * ny + cj))
        else:
            on = (i + ci >= 0) & (i + ci < nx) & (j + cj >= 0) & (j + cj < ny)
            heights = np.full(len(i), -np.inf, dtype=np.float32)
            heights[on] = self.top[i[on] + ci, j[on] + cj]
        self.kept[profile].append((k, ci, cj, heights))
        self.waiting += len(heights)

    def settle(self) -> None:
        """Count the cells of all rims kept whose last pieces have met material."""
        last = self.sweeps.first + self.sweeps.count - 1
        for profile, kept in self.kept.items():
            real = [one for one in kept if self.front[last[one[0]]] > 0]
            if real:
                which, ci, cj, heights = zip(*real, strict=True)
                self._count(profile, np.array(which), np.array(ci), np.array(cj), np.array(heights))
            kept.clear()
        self.waiting = 0

    def _ring(self, radius: float) -> tuple[Longs, Longs, Longs]:
        """Cells that may lie about the rim, from the one the axis is in."""
        reach, slack = radius * (1 + 2 * RIM), float(np.hypot(self.dx, self.dy))
        wide, high = int(reach / self.dx) + 2, int(reach / self.dy) + 2
        i, j = np.meshgrid(np.arange(-wide, wide + 1), np.arange(-high, high + 1), indexing="ij")
        # the sample point and the axis lie anywhere in their cells
        away = np.hypot(i * self.dx, j * self.dy)
        found = (away <= reach + slack) & (away >= radius * (1 - 2 * RIM) - slack)
        i, j = i[found], j[found]
        return i, j, i * self.top.shape[1] + j

    def _count(self, profile: int, which: Longs, ci: Longs, cj: Longs, heights: Singles) -> None:
        lattice, sweeps = self.lattice, self.sweeps
        radius, form, _, corner, _, _ = self.profiles[profile].tolist()
        nx, ny = self.top.shape
        end = sweeps.p1[which]
        floor = end[:, 2] + (corner if form == TORUS else 0.0) + SPECK
        ux, uy = end_ways(sweeps, which)
        # the leading half, and a little more, of the cells about the rim
        i, j, _ = self.rings[profile]
        ahead = np.outer(ux, i * self.dx)
        ahead += np.outer(uy, j * self.dy)
        of, cell = np.nonzero(ahead > -np.hypot(self.dx, self.dy))
        high, ux, uy = heights[of, cell], ux[of], uy[of]
        i, j = i[cell] + ci[of], j[cell] + cj[of]
        on = (i >= 0) & (i < nx) & (j >= 0) & (j < ny)
        if not on.all():
            of, high, ux, uy, i, j = of[on], high[on], ux[on], uy[on], i[on], j[on]
        px, py = i * self.dx - end[of, 0], j * self.dy - end[of, 1]
        px += lattice.shift_x[j]
        py += lattice.shift_y[i]
        ahead = px * ux + py * uy
        band = np.abs(np.sqrt(px * px + py * py) - radius) <= 2 * RIM * radius
        band &= ahead > 0
        met = band & (high > floor[of])
        if any(self.bottom.strides):
            met &= high > self.bottom[i, j] + np.float32(SPECK)
        rows = self.of[which]
        every = np.bincount(of[band], minlength=len(which)).astype(float)
        # what lies outside the grid is not known cell by cell: there all are taken as their area
        reach = radius * (1 + 2 * RIM)
        wide, deep = int(reach / self.dx) + 2, int(reach / self.dy) + 2
        off = (ci < wide) | (ci + wide >= nx) | (cj < deep) | (cj + deep >= ny)
        every[off] = 4 * np.pi * RIM * radius * radius / lattice.area
        pick = np.flatnonzero(met)
        some = np.bincount(of[pick], minlength=len(which))
        self.rims[rows, 0], self.rims[rows, 1] = every, some
        k = np.flatnonzero(some)
        if len(k):
            angle = np.arctan2(py[pick] * ux[pick] - px[pick] * uy[pick], ahead[pick])
            starts = np.cumsum(some[k]) - some[k]
            self.rims[rows[k], 2] = np.add.reduceat(angle, starts)
            self.rims[rows[k], 3] = np.minimum.reduceat(angle, starts)
            self.rims[rows[k], 4] = np.maximum.reduceat(angle, starts)


def end_ways(sweeps: Sweeps, which: Longs) -> tuple[Floats, Floats]:
    """Unit vectors of travel at the end of some sweeps, X and Y."""
    way = sweeps.p1[which, :2] - sweeps.p0[which, :2]
    arc = sweeps.arc[which]
    curved = np.flatnonzero(arc >= 0)
    if len(curved):
        angle, sweep = sweeps.arcs[arc[curved], 3], sweeps.arcs[arc[curved], 4]
        sign = np.where(sweep >= 0, 1.0, -1.0)
        way[curved] = np.column_stack([-np.sin(angle + sweep) * sign, np.cos(angle + sweep) * sign])
    length = np.hypot(way[:, 0], way[:, 1])
    return way[:, 0] / length, way[:, 1] / length
