"""A program placed in its stock: moves in stock coordinates, each with the cutter that makes it.

Stock coordinates: mm, the lowest corner of the stock is (0, 0, 0), its top is at ``workpiece.size[2]``.
Program zero of the first system used for cutting lies at ``workpiece.zero``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor.values import Cutter, Setting, Workpiece
from grammar.classes import dataclass
from grammar.moves import Flag, Kind, Moves, Program

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]

FOREIGN = "where the zero of this coordinate system lies, seen from the first one's, is not declared"
FARTHEST = 1e7  # mm; a coordinate beyond ten kilometres is treated as unknown


@dataclass(frozen=True, slots=True)
class Unlooked:
    """A run of moves the stock model could not follow.

    cause: "unknown-position", "unknown-cutter", "unknown-frame", "rotary", "cutter-form", "bound".
    first_row, last_row: rows of the moves, both included.
    """

    cause: str
    reason: str
    first_row: int
    last_row: int


@dataclass(frozen=True, eq=False)
class Placed:
    """Moves in stock coordinates; row r here is row r of ``program.moves``. All arrays are read-only.

    kind (n,) int8 (grammar.moves.Kind); block, mode (n,) int32; flags (n,) uint16;
    start, end (n, 3) float64, mm: position of the tool tip. NaN marks an unknown axis; z = +inf means "high":
    at an unknown height above everything (Flag.HIGH_Z). Compare with ``>``: inf behaves, NaN never passes.
    feed (n,) mm/min, NaN unknown.
    known (n,) bool: every coordinate of start and end is known (a high z counts as known).
    cutter (n,) int32: index into ``cutters``, -1 = not known which cutter is in the spindle.
    Arcs as in Moves, centre in stock coordinates: arc_row (k,) int32 ascending, centre (k, 3), sweep (k,) radians,
    plane (k,) int8 17, 18, 19.
    workpiece: the stock used (``workpiece.assumed`` when it was taken from the cut's extents).
    frame: index into ``moves.frames`` of the frame that ``workpiece.zero`` belongs to; shift: mm, stock
    coordinate minus tip coordinate.
    unlooked: runs of moves with an unknown position, frame, cutter or a turning rotary axis.
    told: sentences on what was assumed, for the report.
    """

    moves: Moves
    workpiece: Workpiece
    cutters: tuple[Cutter, ...]
    kind: NDArray[np.int8]
    block: Ints
    mode: Ints
    flags: NDArray[np.uint16]
    start: Floats
    end: Floats
    feed: Floats
    known: Bools
    cutter: Ints
    arc_row: Ints
    centre: Floats
    sweep: Floats
    plane: NDArray[np.int8]
    frame: int
    shift: tuple[float, float, float]
    unlooked: tuple[Unlooked, ...] = ()
    told: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.kind)

    @property
    def top(self) -> float:
        """Height of the uncut stock's top, mm."""
        return self.workpiece.size[2]

    @property
    def cutting(self) -> Bools:
        """(n,) rows that move at feed: lines and arcs."""
        return np.asarray((self.kind == Kind.FEED) | (self.kind == Kind.ARC))

    @property
    def rapid(self) -> Bools:
        """(n,) rapid rows."""
        return np.asarray(self.kind == Kind.RAPID)


def place(program: Program, setting: Setting) -> Placed | None:
    """Place a program in the declared stock (an assumed one where ``setting.assume_stock``); None without stock."""
    moves = program.moves
    told: list[str] = []
    workpiece = setting.workpiece
    frame = first_cutting_frame(moves)
    if workpiece is None:
        if not setting.assume_stock:
            return None
        workpiece, sentence = assume(program, setting)
        if workpiece is None:
            return None
        told.append(sentence)
    zero = workpiece.zero
    if moves.frames:
        shift = np.array(zero) - np.array(moves.frames[frame].zero)
    else:
        shift = np.array(zero, dtype=float)
    out_of_reach = np.zeros(len(moves), dtype=bool)
    start, end = (_moved(points, shift, out_of_reach) for points in (moves.start, moves.end))
    _mark_high(moves, start, end)
    strange = _strange_frames(moves, frame)
    start[strange] = np.nan
    end[strange] = np.nan
    turned = _turned(moves)
    centre = moves.centre + shift
    with np.errstate(invalid="ignore"):
        centre[~(np.abs(centre) < FARTHEST)] = np.nan
    known = ~turned
    for points in (start, end):
        known[np.flatnonzero(np.isnan(points)) // 3] = False
    if len(moves.arc_row):
        known[moves.arc_row[np.isnan(centre[:, :2]).any(axis=1) & (moves.plane == 17)]] = False
        known[moves.arc_row[np.isnan(centre).any(axis=1) & (moves.plane != 17)]] = False
    cutters, cutter = _cutters(moves, setting)
    unlooked = _unlooked(moves, start, end, workpiece.size[2], strange, turned, out_of_reach, cutter, known)
    arrays = (start, end, known, cutter, centre)
    for array in arrays:
        array.flags.writeable = False
    return Placed(
        moves=moves,
        workpiece=workpiece,
        cutters=cutters,
        kind=moves.kind,
        block=moves.block,
        mode=moves.mode,
        flags=moves.flags,
        start=start,
        end=end,
        feed=moves.feed,
        known=known,
        cutter=cutter,
        arc_row=moves.arc_row,
        centre=centre,
        sweep=moves.sweep,
        plane=moves.plane,
        frame=frame,
        shift=(float(shift[0]), float(shift[1]), float(shift[2])),
        unlooked=unlooked,
        told=tuple(told),
    )


def _moved(points: Floats, shift: Floats, out_of_reach: Bools) -> Floats:
    """Points (n, 3) shifted; what lies beyond FARTHEST becomes unknown, and its rows are marked."""
    found = np.empty(points.shape)
    for axis in range(3):  # column by column: an inner loop over three would take three times as long
        np.add(points[:, axis], shift[axis], out=found[:, axis])
    with np.errstate(invalid="ignore"):
        odd = np.flatnonzero(~(np.abs(found) < FARTHEST))
    far = odd[~np.isnan(found.ravel()[odd])]
    out_of_reach[far // 3] = True
    found.ravel()[far] = np.nan
    return found


def first_cutting_frame(moves: Moves) -> int:
    """Index of the frame of the first move made at feed (of the first move where nothing cuts); 0 without moves."""
    if not len(moves):
        return 0
    feeds = (moves.kind == Kind.FEED) | (moves.kind == Kind.ARC)
    return int(moves.frame[int(np.argmax(feeds))])


def assume(program: Program, setting: Setting) -> tuple[Workpiece | None, str]:
    """A stock taken from the extents of what is cut, with a sentence that says so; or None with the reason.

    The sides lie where the edges of the cutter reach, the top at program Z 0, the underside at the lowest cut.
    """
    moves = program.moves
    shift = np.array(moves.frames[first_cutting_frame(moves)].zero) if moves.frames else np.zeros(3)
    feeds = ((moves.kind == Kind.FEED) | (moves.kind == Kind.ARC)) & ~_turned(moves)
    feeds &= ~_strange_frames(moves, first_cutting_frame(moves))
    start, end = moves.start[feeds] - shift, moves.end[feeds] - shift
    good = (np.isfinite(start) & (np.abs(start) < FARTHEST) & np.isfinite(end) & (np.abs(end) < FARTHEST)).all(axis=1)
    if not good.any():
        return None, "no stock can be assumed: no move at feed with a known start and end"
    start, end = start[good], end[good]
    low_z = float(min(start[:, 2].min(), end[:, 2].min()))
    high_z = float(end[:, 2].max())
    if low_z > -0.5 and high_z > max(0.5, -low_z):
        return None, (
            f"no stock can be assumed: the lowest cut is at Z{low_z:g} and cuts go up to Z{high_z:g}, so program zero "
            "seems to lie on the table; give size and zero under [stock]"
        )
    cutting = (start[:, 2] < 0) | (end[:, 2] < 0)
    points = np.concatenate([start[cutting, :2], end[cutting, :2], _arc_corners(moves, feeds, good, shift)])
    if not len(points) or low_z >= 0:
        return None, "no stock can be assumed: nothing is cut below program Z 0"
    used = [c.radius for c in _cutters(moves, setting)[0]]
    radius = max(used, default=0.0)
    low, high = points.min(axis=0) - radius, points.max(axis=0) + radius
    size = (float(high[0] - low[0]), float(high[1] - low[1]), -low_z)
    zero = (float(-low[0]), float(-low[1]), -low_z)
    sentence = (
        f"stock assumed from the cut: {size[0]:.1f} x {size[1]:.1f} x {size[2]:.1f} mm, top at program Z 0, "
        "underside at the lowest cut"
    )
    return Workpiece(material=None, size=size, zero=zero, assumed=True), sentence


def _arc_corners(moves: Moves, feeds: Bools, good: Bools, shift: Floats) -> Floats:
    """Points on the arcs of the cut, every twelfth of the turn."""
    ok = np.zeros(len(moves), dtype=bool)
    ok[np.flatnonzero(feeds)[good]] = True
    pick = ok[moves.arc_row] & (moves.plane == 17) & np.isfinite(moves.centre[:, :2]).all(axis=1)
    pick &= (moves.start[moves.arc_row, 2] < shift[2]) | (moves.end[moves.arc_row, 2] < shift[2])
    rows = moves.arc_row[pick]
    centre = moves.centre[pick, :2]
    arm = moves.start[rows, :2] - centre
    angle = np.linspace(0, 1, 13)[None, :] * np.clip(moves.sweep[pick], -2 * np.pi, 2 * np.pi)[:, None]
    x = centre[:, :1] + arm[:, :1] * np.cos(angle) - arm[:, 1:] * np.sin(angle) - shift[0]
    y = centre[:, 1:] + arm[:, :1] * np.sin(angle) + arm[:, 1:] * np.cos(angle) - shift[1]
    return np.column_stack([x.ravel(), y.ravel()])


def _mark_high(moves: Moves, start: Floats, end: Floats) -> None:
    """Put +inf where Z is known to be above everything."""
    high = np.flatnonzero(moves.flags & Flag.HIGH_Z)
    if not len(high):
        return
    end[high[np.isnan(end[high, 2])], 2] = np.inf
    if len(end) > 1:
        follows = np.isnan(start[1:, 2]) & np.isposinf(end[:-1, 2])
        start[1:, 2][follows] = np.inf


def _strange_frames(moves: Moves, frame: int) -> Bools:
    """Rows whose coordinate system has no declared relation to the first cutting one."""
    if len(moves.frames) < 2:
        return np.zeros(len(moves), dtype=bool)
    home = moves.frames[frame]
    known = np.array([f.known == home.known if home.known else f.system == home.system for f in moves.frames])
    strange = ~known[moves.frame] & ((moves.flags & (Flag.MACHINE | Flag.HIGH_Z)) == 0)
    return np.asarray(strange)


def _turned(moves: Moves) -> Bools:
    """Rows during or after which a rotary axis stands elsewhere than before the first move that could tell."""
    if moves.rotary is None or not len(moves):
        return np.zeros(len(moves), dtype=bool)
    rotary = np.nan_to_num(moves.rotary, nan=1e99)
    return np.asarray((np.abs(rotary) > 1e-9).any(axis=1))


def _cutters(moves: Moves, setting: Setting) -> tuple[tuple[Cutter, ...], Ints]:
    """The cutters used and, per move, an index into them (-1 unknown)."""
    found: list[Cutter] = []
    table = np.full(max(1, len(moves.modes)), -1, dtype=np.int32)
    for k, mode in enumerate(moves.modes):
        cutter = setting.any_cutter
        if mode.tool is not None and mode.tool in setting.cutters:
            cutter = setting.cutters[mode.tool]
        if cutter is None:
            continue
        if cutter not in found:
            found.append(cutter)
        table[k] = found.index(cutter)
    if not len(moves):
        return tuple(found), np.zeros(0, dtype=np.int32)
    return tuple(found), table[moves.mode]


def _unlooked(
    moves: Moves,
    start: Floats,
    end: Floats,
    top: float,
    strange: Bools,
    turned: Bools,
    far: Bools,
    cutter: Ints,
    known: Bools,
) -> tuple[Unlooked, ...]:
    """Runs of moves that cannot be followed. Rapids that stay above the stock are harmless wherever they are."""
    if not len(moves):
        return ()
    rapid = moves.kind == Kind.RAPID
    still = moves.kind == Kind.DWELL
    above = (end[:, 2] >= top) & ((start[:, 2] >= top) | np.isnan(start[:, 2]))
    harmless = still | (rapid & above)
    air = above & ~np.isnan(start[:, 2])  # no cutter can touch the stock from there
    causes = [
        ("rotary", "a rotary axis turns the workpiece or the tool", turned),
        ("unknown-frame", FOREIGN, strange & ~harmless),
        ("unknown-position", "a coordinate lies beyond 10 km", far),
        ("unknown-position", "the position is not known on every axis", ~known & ~harmless),
        ("unknown-cutter", "no cutter is declared for the tool in the spindle", (cutter < 0) & ~still & ~air),
    ]
    found: list[Unlooked] = []
    taken = np.zeros(len(moves), dtype=bool)
    for cause, reason, mask in causes:
        if not mask.any():
            continue
        mask = mask & ~taken
        taken |= mask
        edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
        firsts, lasts = edges[::2], edges[1::2] - 1
        if len(firsts) > 200:  # one span instead of thousands of runs
            firsts, lasts = firsts[:1], lasts[-1:]
        found += [Unlooked(cause, reason, int(a), int(b)) for a, b in zip(firsts, lasts, strict=True)]
    return tuple(sorted(found, key=lambda u: (u.first_row, u.last_row, u.cause)))
