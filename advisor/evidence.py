"""What rules look at: one program placed in its stock, with everything derived from it, each part worked out once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Generic, TypeVar, overload

from advisor.values import Cutter, Setting, Workpiece
from grammar.classes import dataclass

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from advisor.allowances import Allowance
    from advisor.stock import Field
    from grammar.moves import Fault, Mode, Moves, Program

T = TypeVar("T")


class Part(Generic[T]):
    """A value worked out at its first use and kept; a failure is kept too, so that it isn't paid for by every rule."""

    def __init__(self, make: Callable[[Any], T]) -> None:
        self.make = make
        self.name = make.__name__
        self.__doc__ = make.__doc__

    @overload
    def __get__(self, owner: None, kind: type[Any]) -> Part[T]: ...
    @overload
    def __get__(self, owner: object, kind: type[Any] | None = None) -> T: ...
    def __get__(self, owner: object | None, kind: type[Any] | None = None) -> Part[T] | T:
        if owner is None:
            return self
        kept: dict[str, tuple[bool, Any]] = owner.__dict__.setdefault("_parts", {})
        if self.name not in kept:
            try:
                kept[self.name] = (True, self.make(owner))
            except Exception as error:
                kept[self.name] = (False, error)
        good, value = kept[self.name]
        if not good:
            raise value
        return value  # type: ignore[no-any-return]


@dataclass(frozen=True, eq=False)
class Left:
    """The workpiece as the programs before this one in its job left it.

    field: what stands; None where nothing was cut before, or where ``unknown`` says why nobody knows.
    workpiece: the stock in force, as it lies in this set-up; None: as declared.
    doubts: what they cut and nobody could follow, program by program: ``field`` may hold more than stands.
    crashed: those of them in which a rapid went through the stock. failed: those at which the tool itself failed.
    told: sentences for the report.
    """

    field: Field | None = None
    workpiece: Workpiece | None = None
    unknown: str = ""
    doubts: tuple[str, ...] = ()
    crashed: tuple[str, ...] = ()
    failed: tuple[tuple[str, Exception], ...] = ()
    told: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Evidence:
    """A program in its setting. Positions of the parts below are stock coordinates unless they say otherwise."""

    program: Program
    setting: Setting
    data: bytes = b""
    path: str = ""
    threads: int | None = None  # most threads of the stock model; None: all cores
    progress: Callable[[float], None] | None = None  # told the share of the stock model's work that is done
    before: Field | None = None  # the workpiece as earlier programs left it
    left: Left | None = None  # what else is known of what they left

    @property
    def moves(self) -> Moves:
        """The program's moves."""
        return self.program.moves

    @Part
    def placed(self) -> Any:
        """Moves in stock coordinates (advisor.place.Placed), or None when no stock is declared."""
        from advisor.place import place

        return place(self.program, self.setting)

    @Part
    def cuts(self) -> Any:
        """What every piece of the path removed and touched (advisor.stock.Cuts).

        None without stock or cutters, and where it is not known what the programs before this one left.
        """
        from advisor.stock import remove

        if self.left is not None and self.left.unknown:
            return None
        if self.placed is None or not (self.setting.cutters or self.setting.any_cutter is not None):
            return None
        return remove(self.placed, self.setting, threads=self.threads, progress=self.progress, before=self.before)

    @Part
    def along(self) -> Any:
        """Chip, force, power, deflection of every piece (advisor.along.Along); ``cuts`` must be there."""
        from advisor.along import along

        return along(self.cuts, self.setting, self.timing)

    @Part
    def timing(self) -> Any:
        """Acceleration-limited times (advisor.timing.Timing)."""
        from advisor.timing import time_path

        return time_path(self.program.moves, self.setting.machine)

    @Part
    def faults(self) -> Mapping[str, list[Fault]]:
        """Faults of the reading, by rule."""
        by_rule: dict[str, list[Fault]] = {}
        for fault in self.program.faults:
            by_rule.setdefault(fault.rule, []).append(fault)
        return by_rule

    @Part
    def allowances(self) -> list[Allowance]:
        """What the program's own comments allow."""
        from advisor.allowances import allowances_in

        return allowances_in(self.data, dialect=self.setting.checks.dialect)

    @property
    def line_count(self) -> int:
        """Lines of the program's text."""
        return len(self.program.source)

    def text(self, line: int) -> str:
        """A line (1-based) as a reader should see it, without its end; at most 4096 characters, empty where none is."""
        source = self.program.source
        if not 1 <= line <= len(source):
            return ""
        start, end = int(source.starts[line - 1]), int(source.ends[line - 1])
        shown: str = source.show(start, min(end, start + 4096))
        return shown

    @Part
    def feeding(self) -> NDArray[np.bool_]:
        """Rows that move at feed, probes left out: shape (n,), read-only."""
        import numpy as np

        kind = self.moves.kind
        rows = np.asarray((kind == 1) | (kind == 2))
        rows.flags.writeable = False
        return rows

    @Part
    def zero(self) -> tuple[float, float, float]:
        """Where program zero is in the coordinates positions are told in: the stock's ``zero``, else the origin."""
        workpiece = self.setting.workpiece
        return workpiece.zero if workpiece is not None else (0.0, 0.0, 0.0)

    @Part
    def base(self) -> NDArray[np.float64]:
        """What is added to tip coordinates to get stock coordinates: shape (3,), mm.

        With a stock it is what the placing says. Without one, program zero
        is that of the first coordinate system a feed move is programmed in (else of the first move).
        """
        import numpy as np

        moves = self.moves
        if len(moves) and self.placed is not None:
            return np.asarray(self.placed.shift, dtype=float)
        if len(moves) == 0:
            return np.asarray(self.zero, dtype=float)
        row = int(np.argmax(self.feeding))
        shift = moves.frames[int(moves.frame[row])].zero
        return np.subtract(self.zero, shift, dtype=float)

    @Part
    def lengths(self) -> NDArray[np.float64]:
        """Length of each move along its path, mm: shape (n,); NaN where an end is unknown, 0 for dwells."""
        from advisor.timing import path_lengths

        return path_lengths(self.moves)

    @Part
    def boxes(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lowest and highest *tip* coordinates on each move, arcs included: two arrays (n, 3), mm."""
        from advisor.setup_card import boxes

        return boxes(self.moves)

    @Part
    def stretches(self) -> tuple[NDArray[np.intp], NDArray[np.float64], NDArray[np.float64]]:
        """Boxes of the stretches of moves of one kind, mode and frame: see advisor.setup_card.stretches."""
        from advisor.setup_card import stretches

        return stretches(self)

    @Part
    def contact(self) -> NDArray[np.float64] | None:
        """Share of each move in which it removes material, 0 to 1, shape (n,); None without stock or cutters.

        0 for moves the stock model could not follow: see ``followed``.
        """
        import numpy as np

        cuts = self.cuts
        if cuts is None:
            return None
        share = np.where(cuts.volume > 0, cuts.t1 - cuts.t0, 0.0)
        whole = np.bincount(cuts.row, weights=share, minlength=len(self.moves)).astype(np.float64)
        chained = np.flatnonzero(cuts.last > cuts.row)
        if len(chained):
            first, count = cuts.row[chained], cuts.last[chained] - cuts.row[chained]
            rows = np.repeat(first + 1 - np.cumsum(count) + count, count) + np.arange(count.sum())
            whole[rows] = np.repeat(share[chained], count)
        return np.clip(whole, 0.0, 1.0)

    @Part
    def followed(self) -> NDArray[np.bool_]:
        """Moves the stock model could follow, shape (n,); all where there is no stock or cutter."""
        import numpy as np

        rows = np.ones(len(self.moves), dtype=bool)
        cuts = self.cuts
        for run in () if cuts is None else (*self.placed.unlooked, *cuts.unlooked):
            rows[run.first_row : run.last_row + 1] = False
        return rows

    @Part
    def unlooked(self) -> list[tuple[str, str, int, int, bool]]:
        """Stretches the placing or the stock model could not follow.

        (reason, cause, first line, last line, whether a move at feed lies in it).
        """
        placed = self.placed
        runs = list(placed.unlooked) if placed is not None else []
        if self.cuts is not None:
            runs += [run for run in self.cuts.unlooked if run not in runs]
        return [
            (
                run.reason,
                run.cause,
                self.line(run.first_row),
                self.line(run.last_row),
                bool(self.feeding[run.first_row : run.last_row + 1].any()),
            )
            for run in runs
            if run.cause != "unknown-cutter"  # told tool by tool, see unknown_cutters
        ]

    @Part
    def blind_lines(self) -> NDArray[np.int32]:
        """Lines of feed moves with an unknown end, ascending. Rapids from where the machine stands are no gap."""
        import numpy as np

        from advisor.columns import all_of
        from advisor.distinct import distinct

        moves = self.moves
        blind = self.feeding & ~(all_of(np.isfinite(moves.end)) & all_of(np.isfinite(moves.start)))
        return distinct(self.program.block_line[moves.block[blind]])

    def feeds_blindly(self, first: int, last: int) -> bool:
        """True where a feed move between two lines (both included) has an unknown end."""
        import numpy as np

        a, b = np.searchsorted(self.blind_lines, [first, last + 1])
        return bool(b > a)

    @Part
    def unknown_cutters(self) -> list[tuple[int | None, int, int]]:
        """Tools that move at feed while their cutter is not known: (T number, first line, last line)."""
        import numpy as np

        moves = self.moves
        if not len(moves):
            return []
        feeding = self.feeding
        found = []
        tools = {moves.modes[int(m)].tool for m in np.flatnonzero(np.bincount(moves.mode[feeding]))}
        for tool in sorted(tools, key=lambda t: (t is None, t or 0)):
            known = self.setting.any_cutter is not None or (tool is not None and tool in self.setting.cutters)
            if not known:
                with_tool = np.array([m.tool == tool for m in moves.modes], dtype=bool)[moves.mode]
                rows = np.flatnonzero(feeding & with_tool)
                lines = self.program.block_line[moves.block[[rows[0], rows[-1]]]]
                found.append((tool, int(min(lines)), int(max(lines))))
        return found

    def point(self, row: int) -> tuple[float | None, float | None, float | None]:
        """Where a move ends, in stock coordinates; None for an unknown axis."""
        x, y, z = (float(v) for v in self.moves.end[row] + self.base)
        return (x if x == x else None, y if y == y else None, z if z == z else None)

    def mode(self, row: int) -> Mode:
        """The modal state during a move."""
        return self.moves.modes[int(self.moves.mode[row])]

    def line(self, row: int) -> int:
        """1-based line of the block a move comes from."""
        return int(self.program.block_line[int(self.moves.block[row])])

    def option(self, rule: str, name: str, default: float) -> float:
        """An option of a rule from ``[checks]``, or its default."""
        return float(self.setting.checks.options.get(rule, {}).get(name, default))

    def cutter_for(self, mode: Mode) -> Cutter | None:
        """The cutter in the spindle during a move, or None when it is not known."""
        tool = mode.tool
        if tool is not None and tool in self.setting.cutters:
            return self.setting.cutters[tool]
        return self.setting.any_cutter
