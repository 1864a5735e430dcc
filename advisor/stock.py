"""The stock model: what every piece of the path removes and touches, on a height field seen from above.

Two fields, top and bottom, lie on one grid centred on the stock; material is what lies between them. Depths of
flat-bottomed cuts are exact; only outlines are sampled. Each cell is looked at in one point, shifted inside the cell
by golden-ratio fractions of its indices, so that edges parallel to the grid are sampled evenly.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.columns import any_of
from advisor.distinct import distinct, median
from advisor.kernels.batch import seconds
from advisor.kernels.plan import CONE, FLAT, NEAR, Plan, PlannedPieces, make_plan, parts_above, profile_of, windows
from advisor.kernels.remains import (
    SOLID,
    eroded,
    grouped,
    label,
    least_level,
    lowest_within,
    partings,
    rooms,
    side_reach,
    wall_runs,
)
from advisor.kernels.rim import rim_rows
from advisor.kernels.sweep import Lattice, Tally, run_numpy
from advisor.place import FARTHEST, Placed, Unlooked
from advisor.values import Setting
from grammar.classes import dataclass

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]

LOADING = 0.4  # s; what loading numba and its kept kernels takes, and a little (measured)
STEP = 0.2  # mm; heights that far apart still make one floor
SKIM = 0.01  # mm; rounded arcs and chords leave less, in the mean, for a second pass
SLIVER = 0.05  # of the greatest height removed: less in the mean is a skim with some slivers at steep walls
STEADY = 1.5  # cells; an edge of a short piece that near to that of its neighbours is theirs
GAP = 0.25  # radians; a rim with so much less material than from its first to its last cell has a gap
SOLID_SHARE = 0.7  # of low to high; a short piece with less material met has gaps
LARGE = 8_000_000  # cells from which what is left is looked at in every second cell


@dataclass(frozen=True, slots=True)
class StockBounds:
    """How much memory and work the stock model may take; what would pass them is coarsened or left, and told.

    cells: most cells of the grid; visits: most cell visits; pieces: most accounting pieces;
    per_diameter: cells across the smallest cutter, at least; small programs get up to twice as many while cells stay
    below ``fine_cells`` and cell visits below ``fine_visits``, since a small feature has few cells to average over;
    cell: cell size in mm wanted instead (None: from the cutter).
    """

    cells: int = 50_000_000
    visits: float = 3e9
    pieces: int = 4_000_000
    per_diameter: float = 24.0
    fine_cells: int = 4_000_000
    fine_visits: float = 1.0e6
    cell: float | None = None


@dataclass(frozen=True, slots=True)
class Grid:
    """nx by ny cells of dx by dy mm that tile the stock exactly, the corner of cell (0, 0) at (0, 0).

    mirror_x, mirror_y: the sample points are mirrored, because the workpiece was turned over.
    """

    nx: int
    ny: int
    dx: float
    dy: float
    mirror_x: bool = False
    mirror_y: bool = False

    @property
    def area(self) -> float:
        """Area of a cell, mm2."""
        return self.dx * self.dy


@dataclass(frozen=True, eq=False)
class Field:
    """The workpiece on its grid: top, bottom (nx, ny) float32 heights in mm, stock coordinates (z = 0 is the uncut
    stock's underside). Material is between them; no material where top <= bottom."""

    grid: Grid
    top: Singles
    bottom: Singles


@dataclass(frozen=True, slots=True)
class KeepoutTouch:
    """A part of the tool in a keep-out, or a rapid close above it.

    part: "cutter", "shank", "holder", "nose". depth: mm the part reaches into the box (the least way out, upward or
    sideways); 0 for a rapid that only passes above, where gap is the vertical clearance, mm.
    """

    row: int
    piece: int
    keepout: int  # index into setting.hold.keepouts
    part: str
    depth: float
    gap: float
    at: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class BentTouch:
    """Contact or closeness on the bent path of a rapid, every axis at its own speed.

    depth: mm of material in the way (0: none); inset: mm the material reaches under the cutter from its edge;
    clearance: least vertical distance to material under the cutter, mm (inf: none under it).
    """

    row: int
    depth: float
    inset: float
    clearance: float
    at: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Cuts:
    """What each piece of the path removed and touched. A piece is a stretch of one move, at most half a diameter long, a
    tenth within a diameter of a corner of a level path.

    Pieces are in program order; one row of each array a piece, (m,) unless said otherwise; all read-only; mm.
    Rows the model could not follow have no piece (see ``unlooked``). Rapids take material away like feeds do (so one
    fault is one fault), but their volume does not count as cut: use ``rapid`` to tell them apart.

    row int32: the move's row; last int32: the same, or the last row of a chain of short moves on one line that are taken
    together (advisor/kernels/chains.py); t0, t1 float32: the stretch of that move or chain, 0 to 1.
    start, end (m, 3) float32: tip positions in stock coordinates; direction (m, 2) float32: unit vector of travel in
    XY in the middle of the piece (0, 0 for a vertical move).
    length float32: length along the path; run float32: its length in XY.
    rapid bool. fine bool: a short piece beside a corner.
    volume float64: material removed, mm3; area float32: plan area of the cells lowered, mm2; front float32: the part
    of it met by the leading front, not lying under the cutter when the piece began, mm2.
    depth float32: greatest height removed in one cell (a_p; for a rapid the depth of contact).
    at int32: flat cell index of that cell (-1 none): see ``place_of``.
    width float32: engaged width a_e, mm: front over run (on arcs: across the leading arc of the cutter); 0 where
    nothing is removed or the surface is only skimmed (SKIM, SLIVER); NaN for vertical pieces (the whole front is
    engaged). Short pieces are averaged with their neighbours on the same cut over at least half a diameter; of fine
    pieces it is the greatest, from low to high, unless there are gaps.
    low, high float32: the engaged part of the leading arc as signed offsets across the path, mm, left of travel is
    plus, -R to R (NaN: width 0 or vertical). With a rib in the middle low..high spans it, ``width`` does not.
    core float32: height removed under the axis (within the disc of a quarter diameter, or the dead diameter of a cutter
    that does not cut at its centre) by going down in this piece.
    inset float32, rapids only (NaN else): how far material in contact reaches under the cutter from its edge, mm.
    clearance float32, rapids only (NaN else): least vertical distance from the cutter to material under it along the
    piece, mm, negative in contact; inf: no material under it. Judge it only where z is finite.
    end_clearance float32, rapids going down only: the same under the end of the piece.
    above float32: depth of contact of shank, holder or nose with the remaining material, mm (0 none);
    above_part int8: 0 none, 1 shank, 2 holder, 3 nose; above_at int32: flat cell index.

    field: the workpiece after the program; mover (nx, ny) int32: row of the move (of a chain's first move) that removed
    the last of each cell, -1 uncut. cell: mm; coarse: True when the grid is coarser than 1/24 of the smallest cutter
    (accuracy not claimed).
    keepouts: touches of keep-outs and rapids closely above them. bent: results of the bent path of rapids, None where
    no machine speeds are given (not looked at).
    uncertain_from: first row after which material may be missing that the model still holds (a cutting move that could
    not be followed), None when all were followed.
    form: "numpy" or "numba"; told: sentences for the report (coarsened grid, slower form, bounds met).
    """

    placed: Placed
    row: Ints
    last: Ints
    t0: Singles
    t1: Singles
    start: Singles
    end: Singles
    direction: Singles
    length: Singles
    run: Singles
    rapid: Bools
    fine: Bools
    volume: Floats
    area: Singles
    front: Singles
    depth: Singles
    at: Ints
    width: Singles
    low: Singles
    high: Singles
    core: Singles
    inset: Singles
    clearance: Singles
    end_clearance: Singles
    above: Singles
    above_part: NDArray[np.int8]
    above_at: Ints
    field: Field
    mover: Ints
    cell: float
    coarse: bool
    keepouts: tuple[KeepoutTouch, ...] = ()
    bent: tuple[BentTouch, ...] | None = None
    unlooked: tuple[Unlooked, ...] = ()
    uncertain_from: int | None = None
    form: str = "numpy"
    told: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.row)

    @property
    def removed(self) -> float:
        """Volume cut at feed, mm3."""
        return float(self.volume[~self.rapid].sum())

    @cached_property
    def cutter(self) -> Ints:
        """(m,) index into ``placed.cutters``."""
        return self.placed.cutter[self.row]

    @cached_property
    def block(self) -> Ints:
        """(m,) block of each piece; of a chain's first move."""
        return self.placed.block[self.row]

    @cached_property
    def end_block(self) -> Ints:
        """(m,) block of each piece; of a chain's last move."""
        return self.placed.block[self.last]

    @cached_property
    def descent(self) -> Singles:
        """(m,) start z minus end z, mm; plus is down."""
        return np.asarray(self.start[:, 2] - self.end[:, 2])

    @cached_property
    def radius(self) -> Singles:
        """(m,) cutter radius, mm."""
        table = np.array([c.radius for c in self.placed.cutters] or [0.0], dtype=np.float32)
        return np.asarray(table[self.cutter])

    @cached_property
    def mean_depth(self) -> Singles:
        """(m,) volume over area: the mean height removed where something was removed, 0 elsewhere."""
        area = self.area
        return np.asarray(np.divide(self.volume, area, out=np.zeros_like(area), where=area > 0, casting="unsafe"))

    def angles(self) -> tuple[Floats, Floats]:
        """(m,), (m,): angles where the engaged part of the leading arc begins and ends, degrees from the direction of
        travel, plus to the left, -90 to 90, first <= second; NaN where nothing is removed or the move is vertical.

        A clockwise spindle carries each tooth from the second angle to the first. One-sided cuts are taken from
        ``width`` at the side the material is on; cuts with gaps, and fine pieces, from ``low`` and ``high``.
        """
        reach = self._reach()
        low, high, width = (column.astype(np.float64) for column in (self.low, self.high, self.width))
        first, second = engaged_part(low, high, width, self.run.astype(np.float64), reach, self.cell)
        with np.errstate(invalid="ignore"):
            low, high = np.where(self.fine, low, first), np.where(self.fine, high, second)
            first = np.degrees(np.arcsin(np.clip(low / reach, -1, 1)))
            second = np.degrees(np.arcsin(np.clip(high / reach, -1, 1)))
        return first, second

    def _reach(self) -> Floats:
        """(m,) radius of the cutter where it meets the top of the material it removes, mm."""
        table = np.array([profile_of(c) for c in self.placed.cutters] or [(1.0, 0, 1.0, 0, 0, 0)])
        return reach_of(table[self.cutter], self.depth)

    def side(self) -> NDArray[np.int8]:
        """(m,) side of the material: 1 left of travel, -1 right, 0 both or nothing removed."""
        first, second = self.angles()
        middle = np.nan_to_num((first + second) / 2)
        return np.where(middle > 5, 1, np.where(middle < -5, -1, 0)).astype(np.int8)

    def climb(self) -> NDArray[np.int8]:
        """(m,) 1 climb, -1 conventional, 0 neither (both sides, nothing removed, spindle off or unknown)."""
        sign = {"cw": -1, "ccw": 1}
        turns = np.array([sign.get(m.spindle, 0) for m in self.placed.moves.modes] or [0], dtype=np.int8)
        # a clockwise spindle climbs with the material on its right
        return np.asarray(self.side() * turns[self.placed.mode[self.row]])

    def of_move(self, row: int) -> slice:
        """Pieces of one move, or the piece of the chain it belongs to."""
        return slice(int(np.searchsorted(self.last, row)), int(np.searchsorted(self.row, row + 1)))

    def place_of(self, cell: int) -> tuple[float, float]:
        """X and Y (mm, stock coordinates) of a flat cell index."""
        i, j = divmod(int(cell), self.field.grid.ny)
        lattice = lattice_of(self.field.grid)
        return float(lattice.x[i] + lattice.shift_x[j]), float(lattice.y[j] + lattice.shift_y[i])


@dataclass(frozen=True, slots=True)
class FreedPart:
    """Material cut loose from the rest: the smaller side of a separation.

    row: the move that cut the last link. area mm2; volume mm3; low, high: box in stock coordinates, mm.
    skin: greatest height of material left in the cells that count as cut, mm (0: cut clean through).
    later_rows: up to 16 rows of later moves that take material from it.
    """

    row: int
    area: float
    volume: float
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    skin: float
    labels: tuple[int, ...]
    rest_area: float
    later_rows: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False)
class Parts:
    """freed: separations in program order. label (nx, ny) int32: connected piece of remaining material, 0 = cut."""

    freed: tuple[FreedPart, ...]
    label: Ints
    grid: Grid

    def label_at(self, x: float, y: float) -> int:
        """Label of the material at X, Y (mm, stock coordinates); 0 where it is cut or outside."""
        i, j = int(x // self.grid.dx), int(y // self.grid.dy)
        if 0 <= i < self.grid.nx and 0 <= j < self.grid.ny:
            return int(self.label[i, j])
        return 0


@dataclass(frozen=True, slots=True)
class Thin:
    """A thin floor or wall that is left.

    kind: "floor" or "wall"; thickness mm (least); width: diameter of the inscribed circle of a floor, or height of a
    wall, mm; length: extent, mm; row: last move that cut there; at: a place on it, stock coordinates.
    """

    kind: str
    thickness: float
    width: float
    length: float
    row: int
    at: tuple[float, float, float]


def engaged_part(low: Floats, high: Floats, width: Floats, run: Floats, reach: Floats, cell: float) -> tuple[Floats, Floats]:
    """Ends of the engaged part of the leading arc, as offsets across the path, from the outermost cells met in a piece of
    length ``run`` and the width; mm."""
    with np.errstate(invalid="ignore", divide="ignore"):
        # the shorter the piece, the further inside the edge its outermost cells may lie
        edge = np.maximum(np.clip(4.5 * cell * cell / run, cell, 2 * cell), 0.06 * reach)
        right, left = low <= edge - reach, high >= reach - edge
        solid = width >= 0.8 * (high - low)
        first, second = np.where(right, -reach, low), np.where(left, reach, high)
        # sampled extremes lie a little inside, so a one-sided cut is measured by its area
        second = np.where(right & ~left & solid, np.minimum(width - reach, reach), second)
        first = np.where(left & ~right & solid, np.maximum(reach - width, -reach), first)
        nearly = right & left & solid & (width < 1.98 * reach - edge)
        wider_right = -low > high
        second = np.where(nearly & wider_right, np.minimum(width - reach, reach), second)
        first = np.where(nearly & ~wider_right, np.maximum(reach - width, -reach), first)
    return first, second


def reach_of(profile: Floats, depth: Singles) -> Floats:
    """(m,) radius at which cutters (rows of ``Plan.profiles``) meet the top of material ``depth`` mm above their tip."""
    deep = depth.astype(np.float64)
    radius, form, flat, corner, slope = (profile[:, k] for k in range(5))
    left = np.maximum(corner - deep, 0.0)
    torus = flat + np.sqrt(np.maximum(corner * corner - left * left, 0.0))
    cone = np.minimum(radius, flat + deep / np.where(slope > 0, slope, 1.0))
    found = np.where(form == FLAT, radius, np.where(form == CONE, cone, torus))
    return np.asarray(np.maximum(found, 1e-9))


def remove(
    placed: Placed,
    setting: Setting,
    *,
    bounds: StockBounds = StockBounds(),
    form: str = "auto",
    threads: int | None = None,
    progress: Callable[[float], None] | None = None,
    before: Field | None = None,
) -> Cuts:
    """Sweep every move of ``placed`` through its stock, in program order.

    form: "numpy", "numba" or "auto" (numba when the estimated work pays for loading it). threads: most threads of the
    numba form (None: all cores); the result is the same to the bit. progress: called with the done share, 0 to 1.
    before: the workpiece as an earlier set-up left it, on a grid of the same stock.
    """
    machine = setting.machine
    told = list(placed.told)
    grid, coarse = choose_grid(placed, setting, bounds, None if before is None else before.grid)
    cell = max(grid.dx, grid.dy)
    plan = make_plan(placed, machine, cell, bounds.pieces)
    boxes = windows(plan.sweeps, plan.profiles, grid.nx, grid.ny, grid.dx, grid.dy)
    work = estimate(plan, grid)
    if work > bounds.visits and before is None:
        scale = float(np.sqrt(work / bounds.visits)) * 1.1
        grid, coarse = grid_of(placed.workpiece.size, cell * scale, bounds.cells), True
        cell = max(grid.dx, grid.dy)
        plan = make_plan(placed, machine, cell, bounds.pieces)
        boxes = windows(plan.sweeps, plan.profiles, grid.nx, grid.ny, grid.dx, grid.dy)
        work = estimate(plan, grid)
    elif before is None and bounds.cell is None and not coarse:
        for finer in (2.0, 1.5, 1.25):
            if work * finer**2 <= bounds.fine_visits and grid.nx * grid.ny * finer**2 <= bounds.fine_cells:
                grid = grid_of(placed.workpiece.size, cell / finer, bounds.cells)
                boxes = windows(plan.sweeps, plan.profiles, grid.nx, grid.ny, grid.dx, grid.dy)
                work *= finer**2
                cell = max(grid.dx, grid.dy)
                break
    if coarse:
        told.append(
            f"stock looked at on a grid of {cell:.3g} mm, coarser than 1/24 of the smallest cutter, to keep memory and "
            "time bounded: widths and volumes may be off, depths are not"
        )
    if plan.lengthened > 1:
        told.append(f"accounting pieces made {plan.lengthened:g} times longer to keep memory bounded")
    if not plan.cornered:
        told.append("accounting pieces beside corners not made shorter, to keep memory bounded: short peaks there are averaged")
    if before is None:
        top = np.full((grid.nx, grid.ny), placed.top, dtype=np.float32)
        bottom = np.broadcast_to(np.float32(0.0), top.shape)
    else:
        top, bottom = before.top.copy(), before.bottom
    mover = np.full(top.shape, -1, dtype=np.int32)
    lattice = lattice_of(grid)
    chosen, reason = choose_form(form, seconds(plan, boxes, grid.area))
    if reason:
        told.append(reason)
    if chosen == "numba":
        from advisor.kernels.compiled import run_numba

        tally = run_numba(plan, boxes, lattice, top, bottom, mover, threads, progress)
    else:
        tally = run_numpy(plan, boxes, lattice, top, bottom, mover, progress)
    if progress is not None:
        progress(1.0)
    pieces, profiles = plan.pieces, plan.profiles
    cornered = np.flatnonzero(rim_rows(plan.sweeps, profiles) >= 0)
    cornered = plan.sweeps.first[cornered] + plan.sweeps.count[cornered] - 1
    del plan, boxes  # as large as all that follows
    field = Field(grid, top, bottom)
    return _collect(placed, setting, pieces, profiles, tally, cornered, field, mover, lattice, coarse, chosen, tuple(told))


def choose_grid(placed: Placed, setting: Setting, bounds: StockBounds, given: Grid | None) -> tuple[Grid, bool]:
    """The grid for a program (or the one given) and whether it is coarser than wanted.

    A cell is 1/24 of the smallest cutter that cuts, at most 1 mm.
    """
    used = distinct(placed.cutter[placed.cutting])
    sizes = [placed.cutters[k].diameter for k in used if k >= 0] or [c.diameter for c in placed.cutters] or [6.0]
    finest = max(min(sizes), 1e-6) / bounds.per_diameter
    wanted = bounds.cell if bounds.cell is not None else min(finest, 1.0)
    grid = given if given is not None else grid_of(placed.workpiece.size, wanted, bounds.cells)
    return grid, max(grid.dx, grid.dy) > max(min(sizes), 1e-6) / 24 * (1 + 1e-9)


def grid_of(size: tuple[float, float, float], cell: float, most: int) -> Grid:
    """A grid of at most ``most`` cells of at most ``cell`` mm (if that is possible) that tiles the stock."""
    sx, sy = (min(max(float(v), 1e-3), FARTHEST) for v in size[:2])
    cell = max(cell, float(np.sqrt(sx * sy / most)) * 1.001, sx / most, sy / most)
    nx, ny = max(1, int(np.ceil(sx / cell - 1e-9))), max(1, int(np.ceil(sy / cell - 1e-9)))
    while nx * ny > most and max(nx, ny) > 1:
        cell *= 1.05
        nx, ny = max(1, int(np.ceil(sx / cell - 1e-9))), max(1, int(np.ceil(sy / cell - 1e-9)))
    return Grid(nx, ny, sx / nx, sy / ny)


def lattice_of(grid: Grid) -> Lattice:
    """The sample points of a grid: shifted in X by a fraction that changes with the row, in Y with the column, so that
    edges in any direction are met at evenly spread distances. The fractions are multiples of powers of the golden
    ratio, less whole numbers."""
    golden = (5**0.5 - 1) / 2
    jx = np.arange(grid.ny)[::-1] if grid.mirror_y else np.arange(grid.ny)
    iy = np.arange(grid.nx)[::-1] if grid.mirror_x else np.arange(grid.nx)
    shift_x = np.mod((jx + 0.5) * golden**2, 1.0)
    shift_y = np.mod((iy + 0.5) * golden**4, 1.0)
    if grid.mirror_x:
        shift_x = 1.0 - shift_x
    if grid.mirror_y:
        shift_y = 1.0 - shift_y
    return Lattice(
        x=np.arange(grid.nx, dtype=np.float64) * grid.dx,
        y=np.arange(grid.ny, dtype=np.float64) * grid.dy,
        shift_x=shift_x * grid.dx,
        shift_y=shift_y * grid.dy,
        area=grid.area,
        cell=max(grid.dx, grid.dy),
    )


def estimate(plan: Plan, grid: Grid) -> float:
    """Cell visits a plan will take, about."""
    s = plan.sweeps
    if not len(s):
        return 0.0
    radius = plan.profiles[s.profile, 0]
    run = np.hypot(s.p1[:, 0] - s.p0[:, 0], s.p1[:, 1] - s.p0[:, 1])
    arc = s.arc >= 0
    arcs = s.arcs[s.arc[arc]]
    run[arc] = np.abs(arcs[:, 4]) * arcs[:, 2]
    # what lies outside the stock is not visited
    across = np.minimum(2 * radius, np.hypot(grid.nx * grid.dx, grid.ny * grid.dy))
    run = np.minimum(run + across, np.hypot(grid.nx * grid.dx, grid.ny * grid.dy) * np.where(arc, 6, 1))
    return float((run * across).sum() / grid.area)


def choose_form(form: str, plain: float) -> tuple[str, str]:
    """The form of the kernels and, where it is not the one that would pay, the reason.

    plain: seconds the numpy form takes, about.
    """
    if form not in ("auto", "numpy", "numba"):
        raise ValueError(f"form must be auto, numpy or numba, not {form!r}")
    pays = plain > LOADING
    if form == "numpy" or (form == "auto" and not pays):
        return "numpy", ""
    from grammar import jit

    reason = jit.unavailable()
    if reason is None:
        return "numba", ""
    return "numpy", f"the stock was swept without compiled kernels, which is slower: {reason}"


def _collect(
    placed: Placed,
    setting: Setting,
    p: PlannedPieces,
    profiles: Floats,
    tally: Tally,
    cornered: NDArray[np.int64],
    field: Field,
    mover: Ints,
    lattice: Lattice,
    coarse: bool,
    form: str,
    told: tuple[str, ...],
) -> Cuts:
    """From sums per piece to what the rules read. cornered: the pieces whose ends ``tally.rims`` belongs to."""
    bent = None
    if setting.machine is not None:
        bent = _bent_touches(p, tally, lattice, field.grid)
    keep = ~p.bent
    if keep.all():
        keep = slice(None)  # type: ignore[assignment]
    rapid = p.rapid[keep]
    low, high = tally.low[keep], tally.high[keep]
    none = ~np.isfinite(low)
    low[none] = np.nan
    high[none] = np.nan
    front = (tally.front[keep] * lattice.area).astype(np.float32)
    start, end, run = p.start[keep], p.end[keep], p.run[keep]
    row = p.row[keep]
    radius = profiles[placed.cutter[row], 0]
    fine = p.fine[keep]
    width = _widths(row, start, end, run, front, rapid, fine, radius, placed)
    beside = np.flatnonzero(fine & (front > 0))
    if len(beside):
        rims = np.zeros((len(p.row), 5), dtype=np.float32)
        rims[cornered] = tally.rims
        reach = reach_of(profiles[placed.cutter[row[beside]]], tally.depth[keep][beside])
        low[beside], high[beside], width[beside] = _beside_corners(
            beside, row[beside], low[beside], high[beside], width[beside], front[beside], run[beside], reach,
            rims[keep][beside], lattice,
        )  # fmt: skip
    # a finished surface gone over again by other chords, or arcs rounded otherwise, is skimmed, not cut
    skim = tally.volume[keep] < np.maximum(tally.depth[keep] * np.float32(SLIVER), np.float32(SKIM)) * front
    skim &= ~rapid & (run > 0)
    width[skim] = 0.0
    low[skim] = np.nan
    high[skim] = np.nan
    clearance, end_clearance, inset = tally.clearance[keep], tally.end_clearance[keep], tally.inset[keep]
    unseen = rapid & (np.minimum(start[:, 2], end[:, 2]) >= placed.top + NEAR)
    clearance[unseen] = (np.minimum(start[:, 2], end[:, 2]) - np.float32(placed.top))[unseen]
    for column in (clearance, inset, end_clearance):
        column[~rapid] = np.nan
    end_clearance[~(end[:, 2] < start[:, 2])] = np.nan
    columns: dict[str, Any] = {
        "row": row,
        "last": p.last[keep],
        "t0": p.t0[keep],
        "t1": p.t1[keep],
        "start": start,
        "end": end,
        "direction": p.direction[keep],
        "length": p.length[keep],
        "run": run,
        "rapid": rapid,
        "fine": fine,
        "volume": tally.volume[keep],
        "area": (tally.cells[keep] * lattice.area).astype(np.float32),
        "front": front,
        "depth": tally.depth[keep],
        "at": tally.at[keep],
        "width": width,
        "low": low,
        "high": high,
        "core": tally.core[keep],
        "inset": inset,
        "clearance": clearance,
        "end_clearance": end_clearance,
        "above": tally.above[keep],
        "above_part": tally.above_part[keep],
        "above_at": tally.above_at[keep],
    }
    for array in (*columns.values(), field.top, mover):
        array.flags.writeable = False
    cutting = placed.cutting
    uncertain = [
        gap.first_row + int(np.argmax(cutting[gap.first_row : gap.last_row + 1]))
        for gap in placed.unlooked
        if cutting[gap.first_row : gap.last_row + 1].any()
    ]
    return Cuts(
        placed=placed,
        **columns,
        field=field,
        mover=mover,
        cell=lattice.cell,
        coarse=coarse,
        keepouts=keepout_touches(placed, setting, columns["row"], start, end, rapid),
        bent=bent,
        unlooked=placed.unlooked,
        uncertain_from=min(uncertain, default=None),
        form=form,
        told=told,
    )


def _widths(
    row: Ints,
    start: Singles,
    end: Singles,
    run: Singles,
    front: Singles,
    rapid: Bools,
    fine: Bools,
    radius: Floats,
    placed: Placed,
) -> Singles:
    """Engaged width per piece: front area over run, short pieces averaged along an unbroken path of one cutter, not over
    corners."""
    if not len(row):
        return np.zeros(0, dtype=np.float32)
    cutter = placed.cutter[row]
    broken = any_of(start[1:] != end[:-1]) | (cutter[1:] != cutter[:-1]) | (rapid[1:] != rapid[:-1])
    broken |= (run[1:] <= 0) | (run[:-1] <= 0)
    if fine.any():
        broken |= (row[1:] != row[:-1]) & fine[1:] & fine[:-1]
    group_first = np.concatenate([[True], broken])
    first = np.flatnonzero(group_first)
    last = np.append(first[1:], len(row))
    way = np.concatenate([[0.0], np.cumsum(run, dtype=np.float64)])
    area = np.concatenate([[0.0], np.cumsum(front, dtype=np.float64)])
    group = np.cumsum(group_first, dtype=np.int32) - 1
    half = np.maximum(radius, run) / 2
    middle = (way[1:] + way[:-1]) / 2
    a = np.maximum(middle - half, way[first][group])
    b = np.minimum(middle + half, way[last][group], out=middle)
    width: Floats = np.interp(b, way, area)
    width -= np.interp(a, way, area)
    span = np.subtract(b, a, out=b)
    moves = (span > 0) & (run > 0)
    np.divide(width, span, out=width, where=moves)
    # at most the whole cutter, nothing where the piece itself removed nothing
    np.minimum(width, 2 * radius, out=width)
    width[~moves | (front <= 0)] = 0.0
    width[run <= 0] = np.nan
    return width.astype(np.float32)


def _beside_corners(
    piece: NDArray[np.int64],
    row: Ints,
    low: Singles,
    high: Singles,
    width: Singles,
    front: Singles,
    run: Singles,
    reach: Floats,
    rims: Singles,
    lattice: Lattice,
) -> tuple[Singles, Singles, Singles]:
    """Engaged part and width of short pieces that remove something.

    In a piece this short the outermost cells say more about the width than the number of its cells does; on average they
    lie half of what one cell takes of the piece's length inside the edge (measured). Where they tell nothing else, the
    edge is that of half a diameter of the stroke round the piece, which is measured more closely. At the end of a stroke
    in a corner, where the engagement may be at its height, the cells about the rim were counted (``Tally.rims``).
    """
    least, most = low.astype(np.float64), high.astype(np.float64)
    for step in (1, 2):
        same = np.flatnonzero((piece[step:] - piece[:-step] == step) & (row[step:] == row[:-step]))
        for a, b in ((same, same + step), (same + step, same)):
            least[a] = np.minimum(least[a], low[b])
            most[a] = np.maximum(most[a], high[b])
    length = run.astype(np.float64)
    steady = engaged_part(least, most, width.astype(np.float64), 5 * length, reach, lattice.cell)
    inside = np.minimum(lattice.area / (2 * length), lattice.cell)
    first, second = np.maximum(low - inside, -reach), np.minimum(high + inside, reach)
    # where the width leaves less than a cell at one of the sides, the side is the one with more room
    close = (least < lattice.cell - reach) & (most > reach - lattice.cell) & (width < 1.98 * reach - lattice.cell)
    more_left = reach - second > first + reach
    follows = (np.diff(piece) == 1) & (row[1:] == row[:-1])
    between = np.flatnonzero(follows[1:] & follows[:-1]) + 1
    for own, other, room in ((first, steady[0], ~more_left), (second, steady[1], more_left)):
        alike = np.abs(own - other) <= STEADY * lattice.cell
        alike[between] |= alike[between - 1] & alike[between + 1]
        np.copyto(own, np.where(close, np.sign(other) * reach, other), where=alike & ~(close & room))
    span, counted = second - first, front / length
    solid = counted >= SOLID_SHARE * span
    met = np.flatnonzero(rims[:, 1] > 0)
    if len(met):
        every, some, turn, least, most = rims[met].T.astype(np.float64)
        half = np.minimum(some / every, 1.0) * (np.pi / 2)
        middle = np.clip(turn / some, half - np.pi / 2, np.pi / 2 - half)
        whole = (most - least) <= 2 * half + GAP
        # with gaps the outermost cells tell, half of a cell's share of the rim further out
        out = np.pi / 2 / every
        left, right = np.where(whole, middle - half, least - out), np.where(whole, middle + half, most + out)
        first[met] = np.sin(np.maximum(left, -np.pi / 2)) * reach[met]
        second[met] = np.sin(np.minimum(right, np.pi / 2)) * reach[met]
        solid[met] = whole
    span = second - first
    wide = np.where(solid, span, np.minimum(counted, span))
    return first.astype(np.float32), second.astype(np.float32), wide.astype(np.float32)


def _bent_touches(p: PlannedPieces, tally: Tally, lattice: Lattice, grid: Grid) -> tuple[BentTouch, ...]:
    """The bent path's results, one a rapid that comes within NEAR of material on it."""
    index = np.flatnonzero(p.bent & (np.isfinite(tally.clearance)))
    found: list[BentTouch] = []
    index = index[np.argsort(p.row[index], kind="stable")]
    for rows in np.split(index, np.flatnonzero(np.diff(p.row[index])) + 1):
        if not len(rows):
            continue
        depth = tally.depth[rows]
        k = rows[int(np.argmax(depth))] if depth.max() > 0 else rows[int(np.argmin(tally.clearance[rows]))]
        if tally.at[k] >= 0:
            i, j = divmod(int(tally.at[k]), grid.ny)
            place = (float(lattice.x[i] + lattice.shift_x[j]), float(lattice.y[j] + lattice.shift_y[i]))
        else:
            place = (float(p.end[k, 0]), float(p.end[k, 1]))
        found.append(
            BentTouch(
                row=int(p.row[k]),
                depth=float(depth.max()),
                inset=float(tally.inset[rows].max()),
                clearance=float(tally.clearance[rows].min()),
                at=(*place, float(min(p.start[k, 2], p.end[k, 2]))),
            )
        )
    return tuple(found)


def keepout_touches(
    placed: Placed, setting: Setting, row: Ints, start: Singles, end: Singles, rapid: Bools
) -> tuple[KeepoutTouch, ...]:
    """Where cutter, shank, holder or nose enter a keep-out box, and rapids that pass close above one.

    One entry a move, keep-out and part: the deepest, else the closest. Each piece near a box is looked at in 17 points.
    """
    found: list[KeepoutTouch] = []
    if not len(row) or not setting.hold.keepouts:
        return ()
    cutter = placed.cutter[row]
    names = {0: "cutter", 1: "shank", 2: "holder", 3: "nose"}
    least, most = np.minimum(start, end), np.maximum(start, end)
    for number, box in enumerate(setting.hold.keepouts):
        low, high = np.minimum(box.low, box.high), np.maximum(box.low, box.high)
        for index, tool in enumerate(placed.cutters):
            upper = tool.flute_length if tool.flute_length is not None else tool.stickout
            parts = [(0, tool.radius, 0.0), *parts_above(tool, setting.machine)]
            if tool.stickout is not None and all(part != 1 for part, _, _ in parts):
                parts.append((1, (tool.shank if tool.shank is not None else tool.diameter) / 2, upper or 0.0))
            for part, radius, height in parts:
                near = (cutter == index) & (least[:, 2] + height < high[2] + (NEAR if part == 0 else 0.0))
                for axis in (0, 1):
                    near &= (most[:, axis] + radius > low[axis]) & (least[:, axis] - radius < high[axis])
                pieces = np.flatnonzero(near)
                for k in range(0, len(pieces), 20_000):
                    some = pieces[k : k + 20_000]
                    depth, gap, at = _keepout_depths(start[some], end[some], low, high, radius, height)
                    if part:
                        gap[:] = np.inf
                    gap[~rapid[some]] = np.inf
                    found += _keepout_worst(row[some], some, number, names[part], depth, gap, at)
    return tuple(sorted(found, key=lambda t: (t.row, t.keepout, t.piece, t.part)))


def _keepout_depths(
    start: Singles, end: Singles, low: Floats, high: Floats, radius: float, height: float
) -> tuple[Floats, Floats, Floats]:
    """For each piece how deep a part reaches into a box (0 not), its least clearance above it (inf beside it), where.

    Only the box's top and sides count: a part cannot pass under a box, the spindle would be in it.
    """
    share = np.linspace(0, 1, 17)[None, :, None]
    points = start[:, None, :].astype(np.float64) * (1 - share) + end[:, None, :] * share
    off = np.maximum(np.maximum(low[:2] - points[:, :, :2], points[:, :, :2] - high[:2]), 0.0)
    sideways = radius - np.hypot(off[:, :, 0], off[:, :, 1])
    upward = high[2] - (points[:, :, 2] + height)
    depth = np.minimum(sideways, upward)
    above = np.where(sideways > 1e-4, -upward, np.inf)
    each = np.arange(len(points))
    deepest, closest = depth.argmax(axis=1), above.argmin(axis=1)
    most = depth[each, deepest]
    hit = most > 1e-4
    place = points[each, np.where(hit, deepest, closest)]
    return np.where(hit, most, 0.0), np.where(hit, 0.0, above[each, closest]), place


def _keepout_worst(
    row: Ints, piece: NDArray[np.int64], number: int, part: str, depth: Floats, gap: Floats, at: Floats
) -> list[KeepoutTouch]:
    """The worst piece of each move that touches a box, or passes above it as a rapid."""
    told = np.flatnonzero((depth > 0) | np.isfinite(gap) & (gap >= 0))
    order = told[np.lexsort((gap[told], -depth[told], row[told]))]
    first = order[np.flatnonzero(np.diff(row[order], prepend=-1))]
    return [
        KeepoutTouch(
            row=int(row[k]),
            piece=int(piece[k]),
            keepout=number,
            part=part,
            depth=float(depth[k]),
            gap=0.0 if depth[k] > 0 else float(gap[k]),
            at=(float(at[k, 0]), float(at[k, 1]), float(at[k, 2])),
        )
        for k in first.tolist()
    ]


def _thinned(cuts: Cuts) -> tuple[Singles, Singles, Grid, Ints]:
    """Top, bottom, grid and mover; of very large grids every second cell in both directions, to save memory."""
    grid = cuts.field.grid
    n = 2 if grid.nx * grid.ny > LARGE else 1
    if n == 1:
        return cuts.field.top, cuts.field.bottom, grid, cuts.mover
    top = np.ascontiguousarray(cuts.field.top[::n, ::n])
    thin = Grid(top.shape[0], top.shape[1], grid.dx * n, grid.dy * n, grid.mirror_x, grid.mirror_y)
    return top, cuts.field.bottom[::n, ::n], thin, np.ascontiguousarray(cuts.mover[::n, ::n])


def freed_parts(cuts: Cuts, *, skin: float = 0.15, least_area: float = 0.0) -> Parts:
    """Pieces of material cut loose, by joining the cut-through cells again in reverse order.

    skin: material thinner than this counts as cut, mm. least_area: smaller pieces are not told, mm2.
    """
    top, bottom, grid, mover = _thinned(cuts)
    gone = top <= bottom + np.float32(skin)
    state = np.where(gone, mover, np.int32(SOLID))
    if not (gone & (mover >= 0)).any():
        return Parts((), label(~gone), grid)
    found, labels, boxes = partings(state)
    freed = []
    margin = 2 * max((c.radius for c in cuts.placed.cutters), default=0.0)
    for parting in found:
        if parting.small_cells * grid.area < least_area:
            continue
        near = boxes[list(parting.small)]
        (i0, j0), (i1, j1) = near[:, ::2].min(axis=0).tolist(), near[:, 1::2].max(axis=0).tolist()
        box = (slice(i0, i1 + 1), slice(j0, j1 + 1))
        inside = np.isin(labels[box], parting.small)
        heights, floors = top[box][inside], bottom[box][inside]
        mi, mj = int(margin / grid.dx) + 1, int(margin / grid.dy) + 1
        round_about = (
            slice(max(box[0].start - mi, 0), box[0].stop + mi),
            slice(max(box[1].start - mj, 0), box[1].stop + mj),
        )
        left = (top[round_about] - bottom[round_about])[gone[round_about]]
        later = distinct(mover[box][inside])
        freed.append(
            FreedPart(
                row=parting.row,
                area=parting.small_cells * grid.area,
                volume=float((heights - floors).sum(dtype=np.float64)) * grid.area,
                low=(i0 * grid.dx, j0 * grid.dy, float(floors.min())),
                high=((i1 + 1) * grid.dx, (j1 + 1) * grid.dy, float(heights.max())),
                skin=float(max(left.max(initial=0.0), 0.0)),
                labels=parting.small,
                rest_area=parting.large_cells * grid.area,
                later_rows=tuple(later[later > parting.row][:16].tolist()),
            )
        )
    return Parts(tuple(freed), labels, grid)


def loose_before(cuts: Cuts, *, skin: float = 0.15, least_area: float = 0.0) -> Parts:
    """Pieces that were loose before the program began and that it cuts: all that is apart from the largest piece.

    ``row`` is the first of the moves that were last at work on them. The labels are those of the pieces before the
    program. skin, least_area: as for ``freed_parts``.
    """
    top, bottom, grid, mover = _thinned(cuts)
    gone = top <= bottom + np.float32(skin)
    names = label(~(gone & (mover < 0)))
    sizes = np.bincount(names.ravel())
    sizes[0] = 0
    cut = np.bincount(names[mover >= 0], minlength=len(sizes))
    cut[int(np.argmax(sizes))] = 0
    found = []
    for name in np.flatnonzero((cut > 0) & (sizes * grid.area >= max(least_area, 1e-9))).tolist():
        inside = names == name
        i, j = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
        heights = (top - bottom)[inside]
        rows = distinct(mover[inside & (mover >= 0)])
        found.append(
            FreedPart(
                row=int(rows[0]),
                area=float(sizes[name] * grid.area),
                volume=float(np.maximum(heights, 0.0).sum(dtype=np.float64)) * grid.area,
                low=(float(i[0]) * grid.dx, float(j[0]) * grid.dy, float(bottom[inside].min())),
                high=(float(i[-1] + 1) * grid.dx, float(j[-1] + 1) * grid.dy, float(top[inside].max())),
                skin=float(skin),
                labels=(name,),
                rest_area=float(sizes.max() * grid.area),
                later_rows=tuple(rows[:16].tolist()),
            )
        )
    return Parts(tuple(sorted(found, key=lambda p: (p.row, p.low))), names, grid)


def thin_floors(cuts: Cuts, *, thinner_than: float, wider_than: float, skin: float = 0.15) -> tuple[Thin, ...]:
    """Floors thinner than ``thinner_than`` mm (thicker than ``skin``) with room for a circle of ``wider_than`` mm.

    A floor's thickness is the least that a whole circle of that size keeps within, so the foot of a slope is no floor;
    its width is that of the largest circle not more than STEP thicker.
    """
    top, bottom, grid, mover = _thinned(cuts)
    thickness = top - bottom
    thin = (thickness < thinner_than) & (thickness > skin) & (mover >= 0)
    i, j = np.flatnonzero(thin.any(axis=1)), np.flatnonzero(thin.any(axis=0))
    if not len(i):
        return ()
    i0, j0 = int(i[0]), int(j[0])
    thin = thin[i0 : i[-1] + 1, j0 : j[-1] + 1]
    # coarser blocks, all of whose cells are thin, keep the search short
    radius = wider_than / 2 / max(grid.dx, grid.dy)
    block = max(1, int(radius / 6))
    nx, ny = -(-thin.shape[0] // block), -(-thin.shape[1] // block)
    padded = np.full((nx * block, ny * block), np.inf, dtype=np.float32)
    inner = (slice(i0, i0 + thin.shape[0]), slice(j0, j0 + thin.shape[1]))
    padded[: thin.shape[0], : thin.shape[1]] = np.where(thin, thickness[inner], np.inf)
    levels: Singles = np.asarray(padded.reshape(nx, block, ny, block).max(axis=(1, 3)))
    # a circle's edge may pass through a block that is not wholly thin
    need = max(radius / block - (1.0 if block > 1 else 0.5), 0.0)
    found = []
    for cells in grouped(label(np.isfinite(levels))):
        a, b = cells // ny, cells % ny
        ia, ja, ib, jb = int(a.min()), int(b.min()), int(a.max()) + 1, int(b.max()) + 1
        if min(ib - ia, jb - ja) < 2 * need or len(cells) < 2.5 * need * need:
            continue
        region = np.full((ib - ia, jb - ja), np.inf, dtype=np.float32)
        region[a - ia, b - ja] = levels.ravel()[cells]
        for order in range(8):  # floors at several heights may be joined
            floor = _thinnest(region, need)
            if floor is None:
                break
            level, size, (si, sj), part = floor
            sloped = level - float(region[part].min()) > 2 * STEP
            region[part] = np.inf
            if order and sloped:  # further up the same slope
                continue
            pi, pj = np.nonzero(part)
            rows = slice(i0 + (ia + pi.min()) * block, i0 + (ia + pi.max() + 1) * block)
            columns = slice(j0 + (ja + pj.min()) * block, j0 + (ja + pj.max() + 1) * block)
            ci = min(i0 + (ia + si) * block + block // 2, grid.nx - 1)
            cj = min(j0 + (ja + sj) * block + block // 2, grid.ny - 1)
            moved = mover[rows, columns][(thickness[rows, columns] <= level + STEP) & (thickness[rows, columns] > skin)]
            found.append(
                Thin(
                    kind="floor",
                    thickness=level,
                    width=2 * (size + 0.5) * block * max(grid.dx, grid.dy),
                    length=float(max(np.ptp(pi) + 1, np.ptp(pj) + 1) * block * max(grid.dx, grid.dy)),
                    row=int(moved.max()),
                    at=((ci + 0.5) * grid.dx, (cj + 0.5) * grid.dy, float(top[ci, cj])),
                )
            )
    return tuple(sorted(found, key=lambda t: (t.row, t.at)))


def _thinnest(region: Singles, need: float) -> tuple[float, float, tuple[int, int], Bools] | None:
    """The thinnest floor with room for a circle of radius ``need``: its thickness, the radius of the largest circle on
    it, that circle's middle, and its cells; None where there is none."""
    level = least_level(region, need)
    if not np.isfinite(level):
        return None
    spots = np.argwhere(eroded(region <= level, need))
    names = label(region <= np.float32(level) + np.float32(STEP))
    part = names == names[tuple(spots[len(spots) // 2])]
    size, above = need, min(region.shape) / 2 + 1
    reach = side_reach(part)
    cells = np.flatnonzero(eroded(part, size, reach))
    room = rooms(reach, cells, above)
    while above - size > 0.3:
        radius = (size + above) / 2
        if (room >= radius).any():
            size = radius
            cells, room = cells[room >= radius], room[room >= radius]
        else:
            above = radius
    spot = divmod(int(cells[len(cells) // 2]), region.shape[1])
    return level, size, spot, part


def thin_walls(cuts: Cuts, *, thinner_than: float, higher_than: float) -> tuple[Thin, ...]:
    """Walls thinner than ``thinner_than`` mm standing at least ``higher_than`` mm above both sides."""
    # every n-th cell is enough to measure a wall to a sixth of its thickness
    n = max(1, int(thinner_than / 6 / max(cuts.field.grid.dx, cuts.field.grid.dy)))
    dx, dy = cuts.field.grid.dx * n, cuts.field.grid.dy * n
    top, bottom, mover = cuts.field.top[::n, ::n], cuts.field.bottom[::n, ::n], cuts.mover[::n, ::n]
    cut = mover >= 0
    i, j = np.flatnonzero(cut.any(axis=1)), np.flatnonzero(cut.any(axis=0))
    if not len(i):
        return ()
    # an oblique wall is thicker along the axes than across
    reach = [max(1, int(np.ceil(thinner_than * 1.5 / d))) for d in (dx, dy)]
    i0, j0 = max(int(i[0]) - 2 * reach[0], 0), max(int(j[0]) - 2 * reach[1], 0)
    window = (slice(i0, int(i[-1]) + 2 * reach[0] + 1), slice(j0, int(j[-1]) + 2 * reach[1] + 1))
    standing = top[window] > bottom[window]
    heights = np.where(standing, top[window], np.float32(0.0))
    across = []
    for axis, step in ((0, dx), (1, dy)):
        before, after = lowest_within(heights, reach[axis], axis, 0.0)
        over = np.subtract(heights, np.maximum(before, after))
        cells, run = wall_runs(standing & (over >= higher_than), heights, higher_than, axis)
        across.append((cells, run * step, over.ravel()[cells]))
    # only the few cells of walls: 1 / thickness^2 is the sum over both axes
    places = distinct(np.concatenate([cells for cells, *_ in across]))
    if not len(places):
        return ()
    rise, thickness = np.zeros(len(places), dtype=np.float32), np.zeros(len(places))
    for cells, lengths, over in across:
        at = np.searchsorted(places, cells)
        rise[at] = np.maximum(rise[at], over)
        thickness[at] += 1 / lengths**2
    thickness = 1 / np.sqrt(thickness)
    wall = np.zeros(heights.shape, dtype=bool)
    wall.ravel()[places[thickness < thinner_than]] = True
    found = []
    ny = heights.shape[1]
    # a wall thinner than a cell is met in some of its rows only: what lies a few cells apart belongs together, but not
    # the single cells that stand out of the edge of thick material, since each row is sampled a little elsewhere
    wall &= ~_beside_bulk(heights, wall, higher_than)
    for cells in grouped(np.where(wall, label(_widened(wall)), np.int32(0))):
        if len(cells) < 6:
            continue
        a, b = cells // ny, cells % ny
        length = float(np.hypot((a.max() - a.min() + 1) * dx, (b.max() - b.min() + 1) * dy))
        # the horns left between round cuts are no walls
        if length < 2 * thinner_than:
            continue
        of = np.searchsorted(places, cells)
        # a straight wall is as thick as its area says; of others a cell and less is not told apart
        thick = min(median(thickness[of]), len(cells) * dx * dy / length)
        if length < 3 * thick:
            continue
        k = len(cells) // 2
        gi, gj = i0 + int(a[k]), j0 + int(b[k])
        near = (
            slice(max(int(a.min()) + i0 - 2, 0), int(a.max()) + i0 + 3),
            slice(max(int(b.min()) + j0 - 2, 0), int(b.max()) + j0 + 3),
        )
        found.append(
            Thin(
                kind="wall",
                thickness=thick,
                width=median(rise[of]),
                length=length,
                row=int(mover[near].max()),
                at=((gi + 0.5) * dx, (gj + 0.5) * dy, float(top[gi, gj])),
            )
        )
    return tuple(sorted(found, key=lambda t: (t.row, t.at)))


def _beside_bulk(heights: Singles, wall: Bools, drop: float) -> Bools:
    """Cells of walls next to a cell that stands nearly as high and is of no wall."""
    found = np.zeros(wall.shape, dtype=bool)
    a, b = np.nonzero(wall)
    for da, db in ((-1, 0), (1, 0), (0, -1), (0, 1)):
        na, nb = a + da, b + db
        k = np.flatnonzero((na >= 0) & (na < wall.shape[0]) & (nb >= 0) & (nb < wall.shape[1]))
        near = ~wall[na[k], nb[k]] & (heights[na[k], nb[k]] > heights[a[k], b[k]] - drop)
        found[a[k[near]], b[k[near]]] = True
    return found


def _widened(mask: Bools) -> Bools:
    """A mask with all neighbours of its cells, at corners too."""
    wide = mask.copy()
    wide[1:] |= mask[:-1]
    wide[:-1] |= mask[1:]
    across = wide.copy()
    wide[:, 1:] |= across[:, :-1]
    wide[:, :-1] |= across[:, 1:]
    return wide


def turned(field: Field, about: str, height: float) -> Field:
    """The workpiece turned over about an axis ("about-x" or "about-y") through its middle; cells map to cells.

    height: z that changes place with 0, mm (the stock's thickness).
    """
    grid = field.grid
    if about == "about-x":
        flip = (slice(None), slice(None, None, -1))
        new = Grid(grid.nx, grid.ny, grid.dx, grid.dy, grid.mirror_x, not grid.mirror_y)
    elif about == "about-y":
        flip = (slice(None, None, -1), slice(None))
        new = Grid(grid.nx, grid.ny, grid.dx, grid.dy, not grid.mirror_x, grid.mirror_y)
    else:
        raise ValueError(f"a turn is about-x or about-y, not {about!r}")
    top = np.float32(height) - field.bottom[flip]
    bottom = np.float32(height) - field.top[flip]
    # A cut-through cell has no material: both its faces go to the new underside, so that nothing seems to stand there.
    gone = top <= bottom
    top[gone] = 0.0
    bottom[gone] = 0.0
    return Field(new, np.ascontiguousarray(top), np.ascontiguousarray(bottom))


def uncut(size: tuple[float, float, float], grid: Grid) -> Field:
    """The workpiece before the first program, on a grid chosen beforehand."""
    shape = (grid.nx, grid.ny)
    return Field(grid, np.full(shape, size[2], dtype=np.float32), np.broadcast_to(np.float32(0.0), shape))
