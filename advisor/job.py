"""A workpiece on its way through the programs of a job: what each of them finds standing.

Every program is looked at on a grid chosen by all cutters up to and including its own, so what is reported of it
depends on the programs before it and on nothing else: not on whether they are reported too, and not on later ones.
Where that grid is finer than the one the earlier programs were followed on, they are followed again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from advisor.check import check_with_evidence, gaps, read
from advisor.evidence import Evidence, Left
from advisor.findings import ProgramReport
from advisor.values import Setting, Workpiece
from grammar.classes import dataclass

if TYPE_CHECKING:
    from advisor.stock import Field, Grid, StockBounds
    from grammar.moves import Program

KEPT = 200_000  # moves of an earlier program kept in memory between looking at its cutters and following it
SAME = 1e-3  # mm; heights no further apart are the same


@dataclass(frozen=True, slots=True)
class Step:
    """One program of a job: its setting tells its place. ``data`` is None where it could not be read: ``problem``."""

    setting: Setting
    data: bytes | None
    problem: str = ""

    @property
    def name(self) -> str:
        """What messages call it."""
        job = self.setting.job
        return job.name if job is not None else "a program"


@dataclass(frozen=True, slots=True)
class _Facts:
    """What the choice of a grid needs: cell size wanted, mm (None: nothing is cut), and area swept, mm2, about.

    ``trouble``: why nobody can tell what this program leaves; ``error``: the tool's own failure behind it.
    """

    cell: float | None = None
    area: float = 0.0
    trouble: str = ""
    error: Exception | None = None


@dataclass(frozen=True, eq=False)
class _Piece:
    """The workpiece after the first ``done`` programs, as it lies in the set-up of the last of them.

    height: as it stands in this set-up, mm, where that is not what was declared; flipped: it was turned over for this
    set-up. told: sentences about how it lies. doubts, crashed: as in ``Left``.
    """

    done: int
    field: Field
    height: float | None = None
    flipped: bool = False
    told: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    crashed: tuple[str, ...] = ()


class Course:
    """Follows one workpiece through the programs of a job, in order, up to the last one that is to be checked."""

    def __init__(self, steps: Sequence[Step], *, bounds: StockBounds | None = None) -> None:
        from advisor.stock import StockBounds

        self.steps = steps
        self.bounds = bounds if bounds is not None else StockBounds()
        self._facts: dict[int, _Facts] = {}
        self._programs: dict[int, Program] = {}
        self._piece: _Piece | None = None
        self._lying: _Piece | None = None  # the same, as it lies when the program that was asked about begins

    def check(self, number: int, *, path: str, **more: Any) -> ProgramReport:
        """The report on program ``number`` (from 0). ``more`` goes to ``check_with_evidence``."""
        step = self.steps[number]
        if step.data is None:
            raise ValueError("a program that could not be read can't be checked")
        report, evidence = check_with_evidence(
            step.data, path=path, setting=step.setting, left=lambda program: self.left(number, program), **more
        )
        if number + 1 < len(self.steps) and evidence is not None:
            self._learn(number, evidence)
        return report

    # ---- what is left --------------------------------------------------------------------------------------------

    def left(self, number: int, program: Program) -> Left:
        """What the programs before ``number`` left for it; ``program`` is what was read of it."""
        step = self.steps[number]
        job, declared = step.setting.job, step.setting.workpiece
        assert job is not None
        after = f"This program comes after {', '.join(job.before)} in the job {job.job}"
        if declared is None:
            if not step.setting.assume_stock:
                return Left()
            return Left(told=(f"{after}; the stock is only assumed, so what they cut away is not counted.",))
        self._facts[number] = _facts(program, step.setting)
        troubles = [(i, self._known(i)) for i in range(number)]
        for i, facts in troubles:
            if facts.trouble:
                failed = tuple((self.steps[k].name, f.error) for k, f in troubles if f.error is not None)
                return self._unknown(number, f"{self.steps[i].name} {facts.trouble}", failed)
        for earlier in self.steps[:number]:
            mine = earlier.setting.workpiece
            assert mine is not None
            if any(abs(a - b) > SAME for a, b in zip(mine.size[:2], declared.size[:2], strict=True)):
                return self._unknown(number, f"{earlier.name} has stock of another size in X and Y", ())
        piece = self._followed(number, self._grid(number))
        if isinstance(piece, Left):
            return piece
        if not (piece.field.top > piece.field.bottom).any():
            return Left(unknown=f"{job.before[-1]}, before it in the job {job.job}, leaves nothing of the workpiece")
        piece = self._lying = self._entered(piece, number)
        self._piece = None  # as large as the other
        turn = f", turned over about {job.turn[-1].upper()}" if job.turn and job.begins else ""
        stands = f"the stock is as {job.before[-1]} left it{turn}"
        sentence = f"{after}: {stands}; pieces cut loose are taken to lie where they were."
        return Left(
            field=piece.field,
            workpiece=self._workpiece(number, piece),
            doubts=piece.doubts,
            crashed=piece.crashed,
            told=(sentence, *piece.told),
        )

    def _unknown(self, number: int, why: str, failed: tuple[tuple[str, Exception], ...]) -> Left:
        job = self.steps[number].setting.job
        assert job is not None
        return Left(
            unknown=f"what stands when this program begins is not known: {why}, which comes before it in the job {job.job}",
            failed=failed,
        )

    def _known(self, number: int) -> _Facts:
        """The facts of an earlier program, read for them where need be."""
        if number not in self._facts:
            self._facts[number] = self._look(number)
        return self._facts[number]

    def _look(self, number: int) -> _Facts:
        from advisor.rules.not_a_program import not_text

        step = self.steps[number]
        if step.data is None:
            return _Facts(trouble=f"could not be read ({step.problem})")
        if not_text(step.data) is not None:
            return _Facts(trouble="is not a program")
        try:
            program = self._program(number)
            return _facts(program, step.setting)
        except Exception as error:
            return _Facts(trouble="could not be followed because of an internal error", error=error)

    def _program(self, number: int) -> Program:
        program = self._programs.get(number)
        if program is None:
            step = self.steps[number]
            assert step.data is not None
            program = read(step.data, step.setting, step.name)
            if len(program.moves) <= KEPT:
                self._programs[number] = program
        return program

    # ---- the grid ------------------------------------------------------------------------------------------------

    def _grid(self, number: int) -> Grid:
        """The grid on which program ``number`` is looked at: fine enough for every cutter so far, within the bounds."""
        from advisor.stock import grid_of

        facts = [self._known(i) for i in range(number + 1)]
        piece = self.steps[0].setting.workpiece
        assert piece is not None
        finest = min((f.cell for f in facts if f.cell is not None), default=1.0)
        bound = max(f.area for f in facts) / self.bounds.visits
        cell = max(finest, 1.1 * bound**0.5)
        grid = grid_of(piece.size, cell, self.bounds.cells)
        if cell == finest and max(grid.dx, grid.dy) <= finest * (1 + 1e-9):
            work = sum(f.area for f in facts) / grid.area
            for finer in (2.0, 1.5, 1.25):
                if work * finer**2 <= self.bounds.fine_visits and grid.nx * grid.ny * finer**2 <= self.bounds.fine_cells:
                    return grid_of(piece.size, cell / finer, self.bounds.cells)
        return grid

    # ---- following -----------------------------------------------------------------------------------------------

    def _followed(self, number: int, grid: Grid) -> _Piece | Left:
        """The workpiece after the programs before ``number`` on a grid; ``Left`` where one of them can't be followed."""
        from advisor.stock import uncut

        first = self.steps[0].setting.workpiece
        assert first is not None
        piece = self._piece
        if piece is None or piece.done > number or _cells(piece.field.grid) != _cells(grid):
            piece = _Piece(0, uncut(first.size, grid))
        while piece.done < number:
            i = piece.done
            piece = self._entered(piece, i)
            step = self.steps[i]
            try:
                setting = replace(step.setting, workpiece=self._workpiece(i, piece))
                evidence = Evidence(program=self._program(i), setting=setting, path=step.name, before=piece.field)
                piece = self._after(piece, evidence)
            except Exception as error:
                self._facts[i] = _Facts(trouble="could not be followed because of an internal error", error=error)
                return self._unknown(number, f"{step.name} {self._facts[i].trouble}", ((step.name, error),))
        self._piece = piece
        return piece

    def _learn(self, number: int, evidence: Evidence) -> None:
        """Keep what a program that was checked leaves, for the next one."""
        setting = self.steps[number].setting
        if number not in self._facts:
            try:
                self._facts[number] = _facts(evidence.program, setting)
            except Exception:
                return  # looked at again, and told, when the next program asks
        if self._facts[number].trouble or setting.workpiece is None:
            return
        try:
            cuts = evidence.cuts
            if cuts is None:
                return
            piece = self._lying if number else _Piece(0, cuts.field)
            self._lying = None
            if piece is not None and piece.done == number:
                self._piece = self._after(piece, evidence)
        except Exception as error:
            self._facts[number] = _Facts(trouble="could not be followed because of an internal error", error=error)

    def _after(self, piece: _Piece, evidence: Evidence) -> _Piece:
        """The workpiece after one more program."""
        from advisor.rules.rapid_into_stock import touching

        name, cuts = self.steps[piece.done].name, evidence.cuts
        doubt = _doubt(name, evidence)
        return replace(
            piece,
            done=piece.done + 1,
            field=cuts.field if cuts is not None else piece.field,
            doubts=(*piece.doubts, doubt) if doubt else piece.doubts,
            crashed=(*piece.crashed, name) if cuts is not None and touching(cuts).any() else piece.crashed,
        )

    # ---- set-ups -------------------------------------------------------------------------------------------------

    def _entered(self, piece: _Piece, number: int) -> _Piece:
        """The workpiece as it lies when program ``number`` begins: turned over where its set-up says so."""
        from advisor.stock import turned

        job, declared = self.steps[number].setting.job, self.steps[number].setting.workpiece
        assert job is not None and declared is not None
        field = piece.field
        flips = job.turn is not None and job.begins and number > 0
        if flips:
            assert job.turn is not None
            field = turned(field, job.turn, _highest(field))
        elif not (job.begins and number > 0) and piece.height is not None:
            return piece
        height = _highest(field)
        size, zero = declared.size[2], declared.zero[2]
        told: tuple[str, ...] = () if flips or job.begins else piece.told
        other: float | None = None
        if number and (height > size + SAME or (flips and height < size - SAME)):
            other = height
            on_top = flips and abs(zero - size) < 1e-6
            told = (
                f"{job.before[-1]} leaves the piece {height:.5g} mm thick, where {size:.5g} mm are declared for this "
                f"set-up: it is taken to lie on its lowest face, with program zero "
                + ("on its top" if on_top else f"{zero:.5g} mm above that face")
                + ". Give the set-up its own stock size and zero.",
            )
        return replace(piece, field=field, height=other, flipped=flips or (piece.flipped and not job.begins), told=told)

    def _workpiece(self, number: int, piece: _Piece) -> Workpiece:
        """The stock of a program in the set-up the piece lies in."""
        declared = self.steps[number].setting.workpiece
        assert declared is not None
        if piece.height is None:
            return declared
        x, y, z = declared.size
        more = piece.height - z
        zero = declared.zero
        if piece.flipped and abs(zero[2] - z) < 1e-6:
            zero = (zero[0], zero[1], piece.height)
        spread = declared.thickness
        if spread is not None:
            spread = (spread[0] + more, spread[1] + more)
        return replace(declared, size=(x, y, piece.height), zero=zero, thickness=spread)


def _cells(grid: Grid) -> tuple[int, int]:
    return grid.nx, grid.ny


def _highest(field: Field) -> float:
    """Height of the highest material, mm; 0 where none is left."""
    import numpy as np

    return float(np.max(field.top, initial=0.0, where=field.top > field.bottom))


def _facts(program: Program, setting: Setting) -> _Facts:
    """What a program wants of the grid, or why what it leaves can't be told."""
    import numpy as np

    from advisor.place import FARTHEST
    from advisor.timing import path_lengths
    from grammar.moves import Kind

    moves = program.moves
    if not program.codes and len(moves) == 0:
        return _Facts(trouble="is not a program")
    if setting.workpiece is None:
        return _Facts(trouble="has no stock declared")
    feeding = (moves.kind == Kind.FEED) | (moves.kind == Kind.ARC)
    if not feeding.any():
        return _Facts()
    if not setting.cutters and setting.any_cutter is None:
        return _Facts(trouble="has no cutter declared")
    known, other = setting.cutters, setting.any_cutter
    cutters = [other if mode.tool is None else known.get(mode.tool, other) for mode in moves.modes]
    diameters = np.array([0.0 if cutter is None else cutter.diameter for cutter in cutters])
    lengths = np.minimum(np.nan_to_num(path_lengths(moves), nan=0.0, posinf=0.0), FARTHEST)
    run = np.bincount(moves.mode, weights=lengths, minlength=len(diameters))
    run += np.bincount(moves.mode, minlength=len(diameters)) * diameters  # each move begins with a whole cutter
    area = float((run * diameters).sum())
    used = diameters[np.flatnonzero(np.bincount(moves.mode[feeding], minlength=len(diameters)))]
    used = used[used > 0]
    return _Facts(cell=min(float(used.min()) / 24, 1.0) if len(used) else None, area=area)


def _doubt(name: str, evidence: Evidence) -> str:
    """What of an earlier program could not be followed and may have cut; empty where all was."""
    found = [(reason, first, last) for reason, _, first, last, cuts in gaps(evidence) if cuts]
    for tool, first, last in evidence.unknown_cutters:
        found.append(("the cutter is not known" if tool is None else f"the cutter of T{tool} is not known", first, last))
    if not found:
        return ""
    reason, first, last = min(found, key=lambda item: item[1:])
    more = f", and {len(found) - 1} more stretches" if len(found) > 1 else ""
    where = f"line {first}" if first == last else f"lines {first} to {last}"
    return f"{name} could not be followed at {where} ({reason}){more}: what it cut there may still stand here"
