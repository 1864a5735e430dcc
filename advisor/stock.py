"""The stock model: what every piece of the path removes and touches, on a height field seen from above.

Two fields, top and bottom, lie on one grid centred on the stock; material is what lies between them. Depths of
flat-bottomed cuts are exact; only outlines are sampled. Each cell is looked at in one point, shifted inside the cell
by golden-ratio fractions of its indices, so that edges parallel to the grid are sampled evenly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from advisor.place import Placed, Unlooked
from advisor.values import Cutter, Setting

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class StockBounds:
    """How much memory and work the stock model may take; what would pass them is coarsened or left, and told.

    cells: most cells of the grid; visits: most cell visits; pieces: most accounting pieces;
    per_diameter: cells across the smallest cutter; cell: cell size in mm wanted instead (None: from the cutter).
    """

    cells: int = 40_000_000
    visits: float = 2e11
    pieces: int = 30_000_000
    per_diameter: float = 24.0
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
    """Contact or closeness on the bent path of a rapid (every axis at its own speed) that the straight line may not show.

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
    """What each piece of the path removed and touched. A piece is a stretch of one move, at most half a diameter long.

    Pieces are in program order; one row of each array a piece, (m,) unless said otherwise; all read-only; mm.
    Rows the model could not follow have no piece (see ``unlooked``). Rapids take material away like feeds do (so one
    fault is one fault), but their volume does not count as cut: use ``rapid`` to tell them apart.

    row int32: the move's row; t0, t1 float32: the stretch of that move, 0 to 1.
    start, end (m, 3) float32: tip positions in stock coordinates; direction (m, 2) float32: unit vector of travel in
    XY in the middle of the piece (0, 0 for a vertical move).
    length float32: length along the path; run float32: its length in XY.
    rapid bool.
    volume float64: material removed, mm3; area float32: plan area of the cells lowered, mm2.
    depth float32: greatest height removed in one cell (a_p; for a rapid the depth of contact).
    at int32: flat cell index of that cell (-1 none): see ``place_of``.
    width float32: engaged width a_e, mm: area over run, on arcs referred to the path; 0 where nothing is removed; NaN
    for vertical pieces (the whole front is engaged). Short pieces are averaged with their neighbours on the same cut
    over at least half a diameter.
    low, high float32: the engaged part of the leading arc as signed offsets across the path, mm, left of travel is
    plus, -R to R (NaN: nothing removed or vertical). With a rib in the middle low..high spans it while ``width`` does not.
    entry, exit are given by ``angles``.
    core float32: height removed under the axis (within the disc of a quarter diameter, or the dead diameter of a cutter
    that does not cut at its centre) by going down in this piece.
    inset float32, rapids only (NaN else): how far material in contact reaches under the cutter from its edge, mm.
    clearance float32, rapids only (NaN else): least vertical distance from the cutter to material under it along the
    piece, mm, negative in contact; inf: no material under it. Judge it only where z is finite.
    end_clearance float32, rapids going down only: the same under the end of the piece.
    above float32: depth of contact of shank, holder or nose with the remaining material, mm (0 none);
    above_part int8: 0 none, 1 shank, 2 holder, 3 nose; above_at int32: flat cell index.

    field: the workpiece after the program; mover (nx, ny) int32: row of the move that removed the last of each cell,
    -1 uncut. cell: mm; coarse: True when the grid is coarser than 1/24 of the smallest cutter (accuracy not claimed).
    keepouts: touches of keep-outs and rapids closely above them. bent: results of the bent path of rapids, None where
    no machine speeds are given (not looked at).
    uncertain_from: first row after which material may be missing that the model still holds (a cutting move that could
    not be followed), None when all were followed.
    form: "numpy" or "numba"; told: sentences for the report (coarsened grid, slower form, bounds met).
    """

    placed: Placed
    row: Ints
    t0: Singles
    t1: Singles
    start: Singles
    end: Singles
    direction: Singles
    length: Singles
    run: Singles
    rapid: Bools
    volume: Floats
    area: Singles
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

    @property
    def cutter(self) -> Ints:
        """(m,) index into ``placed.cutters``."""
        return self.placed.cutter[self.row]

    @property
    def block(self) -> Ints:
        """(m,) block of each piece."""
        return self.placed.block[self.row]

    @property
    def descent(self) -> Singles:
        """(m,) start z minus end z, mm; plus is down."""
        return np.asarray(self.start[:, 2] - self.end[:, 2])

    @property
    def radius(self) -> Singles:
        """(m,) cutter radius, mm."""
        table = np.array([c.radius for c in self.placed.cutters] or [0.0], dtype=np.float32)
        return np.asarray(table[self.cutter])

    @property
    def mean_depth(self) -> Singles:
        """(m,) volume over area: the mean height removed where something was removed, 0 elsewhere."""
        area = self.area
        return np.asarray(np.divide(self.volume, area, out=np.zeros_like(area), where=area > 0, casting="unsafe"))

    def angles(self) -> tuple[Floats, Floats]:
        """(m,), (m,): angles where the engaged part of the leading arc begins and ends, degrees from the direction of
        travel, plus to the left, -90 to 90, first <= second; NaN where nothing is removed or the move is vertical.

        A clockwise spindle carries each tooth from the second angle to the first. One-sided cuts are taken from
        ``width`` at the side the material is on; cuts with gaps from ``low`` and ``high``.
        """
        raise NotImplementedError

    def side(self) -> NDArray[np.int8]:
        """(m,) side of the material: 1 left of travel, -1 right, 0 both or nothing removed."""
        raise NotImplementedError

    def climb(self) -> NDArray[np.int8]:
        """(m,) 1 climb, -1 conventional, 0 neither (both sides, nothing removed, spindle off or unknown)."""
        raise NotImplementedError

    def of_move(self, row: int) -> slice:
        """Pieces of one move."""
        first, last = np.searchsorted(self.row, [row, row + 1])
        return slice(int(first), int(last))

    def place_of(self, cell: int) -> tuple[float, float]:
        """X and Y (mm, stock coordinates) of a flat cell index."""
        raise NotImplementedError


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
    raise NotImplementedError


def freed_parts(cuts: Cuts, *, skin: float = 0.15, least_area: float = 0.0) -> Parts:
    """Pieces of material cut loose, by joining the cut-through cells again in reverse order.

    skin: material thinner than this counts as cut, mm. least_area: smaller pieces are not told, mm2.
    """
    raise NotImplementedError


def thin_floors(cuts: Cuts, *, thinner_than: float, wider_than: float) -> tuple[Thin, ...]:
    """Floors thinner than ``thinner_than`` mm (skin of cut-through cells excluded) whose inscribed circle is at least
    ``wider_than`` mm across."""
    raise NotImplementedError


def thin_walls(cuts: Cuts, *, thinner_than: float, higher_than: float) -> tuple[Thin, ...]:
    """Walls thinner than ``thinner_than`` mm standing at least ``higher_than`` mm above both sides."""
    raise NotImplementedError
