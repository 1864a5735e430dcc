"""What the rules on motion share: runs of pieces with the same fault, places, and descents."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.values import Cutter
from grammar.classes import dataclass

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

T = TypeVar("T")

METAL = ("aluminium", "copper", "steel", "iron", "titanium")
WOOD = ("wood", "board")
FAR_BEYOND = 1.5  # of a limit that is common practice only: up to it a warning, beyond it an error


def graded(measured: float, limit: float) -> str:
    """The severity of passing a limit that is common practice only."""
    return "error" if measured > FAR_BEYOND * limit + 1e-6 else "warning"


def exact(values: Any) -> Floats:
    """Heights and lengths of the stock model, which are kept in single precision, without its rounding: to 0.1 um."""
    return np.asarray(np.round(np.asarray(values, dtype=np.float64), 4), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class PieceRun:
    """Faulty pieces that belong together: first and last piece, the worst one, the path length they cover, mm, and how
    many places apart from each other they lie in."""

    first: int
    last: int
    worst: int
    length: float
    block: int
    end_block: int
    places: int = 1


def runs(
    cuts: Any,
    faulty: Bools,
    excess: Floats,
    *,
    gap: int = 2,
    key: NDArray[Any] | None = None,
) -> list[PieceRun]:
    """Join faulty pieces whose blocks follow each other (at most ``gap`` blocks apart) with the same cutter and key."""
    index = np.flatnonzero(faulty)
    if not len(index):
        return []
    block, end_block = cuts.block[index], cuts.end_block[index]
    step = block[1:] - end_block[:-1]
    apart = (step < 0) | (step > gap) | (np.diff(cuts.cutter[index]) != 0)
    if key is not None:
        apart |= key[index][1:] != key[index][:-1]
    starts = np.concatenate([[0], np.flatnonzero(apart) + 1])
    ends = np.concatenate([starts[1:], [len(index)]])
    found = []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        part = index[a:b]
        worst = int(part[int(np.argmax(excess[part]))])
        found.append(
            PieceRun(
                first=int(part[0]),
                last=int(part[-1]),
                worst=worst,
                length=float(cuts.length[part].sum()),
                block=int(block[a]),
                end_block=int(end_block[a:b].max()),
            )
        )
    return found


def recurring(
    evidence: Evidence,
    rule: str,
    found: Sequence[PieceRun],
    *,
    sound: Bools,
    excess: Floats,
    key: NDArray[Any] | None = None,
) -> list[PieceRun]:
    """Runs of one cutter (and key of the worst piece) between which no ``sound`` piece lies, one judged and without the
    fault, as one: a fault that comes back each time, like a wrong height or feed, is one fault."""
    cuts = evidence.cuts
    before = np.cumsum(sound)
    allowed = allowed_line(evidence, rule)
    joined: list[PieceRun] = []
    for run in found:
        last = joined[-1] if joined else None
        if (
            last is None
            or before[run.first] != before[last.last]
            or run.block < last.end_block
            or cuts.cutter[run.first] != cuts.cutter[last.first]
            or allowed(run.first) != allowed(last.first)
            or (key is not None and key[run.worst] != key[last.worst])
        ):
            joined.append(run)
            continue
        joined[-1] = replace(
            last,
            last=run.last,
            worst=run.worst if excess[run.worst] > excess[last.worst] else last.worst,
            length=last.length + run.length,
            end_block=max(last.end_block, run.end_block),
            places=last.places + run.places,
        )
    return joined


def level(cuts: Any) -> Bools:
    """Pieces that go down by less than a hundredth of their length."""
    return np.asarray(np.abs(cuts.descent) < 0.01 * np.maximum(cuts.length, 1e-9))


def allowed_lines(evidence: Evidence, rule: str) -> set[int]:
    """Lines on which the program allows a finding of this rule.

    What is allowed in one place is not joined with the same fault in other places, which nobody has judged.
    """
    return {
        allowance.line
        for allowance in evidence.allowances
        if allowance.rule == rule and not allowance.fault
    }


def allowed_line(evidence: Evidence, rule: str) -> Callable[[int], int]:
    """For a piece the line it stands on where the program allows this rule's finding there, else 0."""
    lines = allowed_lines(evidence, rule)

    def line_of(piece: int) -> int:
        line = evidence.program.line_of(int(evidence.cuts.block[piece]))
        return line if line in lines else 0

    return line_of if lines else lambda piece: 0


def series(found: Iterable[tuple[object, T] | None]) -> Iterator[list[T]]:
    """Faults of the same kind (kind, fault) that follow each other with nothing sound (None) between them."""
    group: list[T] = []
    kind: object = None
    for item in found:
        if group and (item is None or item[0] != kind):
            yield group
            group = []
        if item is not None:
            kind = item[0]
            group.append(item[1])
    if group:
        yield group


def lasting(cuts: Any, faulty: Bools, least: Floats) -> Bools:
    """Of the faulty pieces those that follow each other without a break over at least ``least`` mm of path."""
    index = np.flatnonzero(faulty)
    kept = np.zeros(len(faulty), dtype=bool)
    if not len(index):
        return kept
    starts = np.concatenate([[0], np.flatnonzero((np.diff(index) > 1) | (np.diff(cuts.cutter[index]) != 0)) + 1])
    length = np.add.reduceat(np.asarray(cuts.length, dtype=float)[index], starts)
    counts = np.diff(np.concatenate([starts, [len(index)]]))
    kept[index] = np.repeat(length, counts) >= least[index] - 1e-6
    return kept


def spot(cuts: Any, piece: int) -> tuple[float, float, float]:
    """Where a piece was worst, stock coordinates, mm: the cell that stood highest, at the height of the tip."""
    z = float(min(cuts.start[piece, 2], cuts.end[piece, 2]))
    cell = int(cuts.at[piece])
    if cell >= 0:
        x, y = cuts.place_of(cell)
        return (round(x, 3), round(y, 3), round(z, 3))
    middle = (cuts.start[piece] + cuts.end[piece]) / 2
    return (round(float(middle[0]), 3), round(float(middle[1]), 3), round(z, 3))


def spread(evidence: Evidence) -> float:
    """Spread of the stock's measured thickness, mm; 0 when it was not measured."""
    workpiece = evidence.placed.workpiece if evidence.placed is not None else evidence.setting.workpiece
    if workpiece is None or workpiece.thickness is None:
        return 0.0
    return float(workpiece.thickness[1] - workpiece.thickness[0])


def on_table(evidence: Evidence) -> bool:
    """Whether program zero lies on the underside of the stock: heights above it hold however thick the board is."""
    workpiece = evidence.placed.workpiece if evidence.placed is not None else evidence.setting.workpiece
    return workpiece is not None and abs(workpiece.zero[2]) < 1e-6


def below_spread(evidence: Evidence) -> float:
    """How far what is left below a cut may differ from what was meant, mm: the spread of the thickness, none where zero
    lies on the table."""
    return 0.0 if on_table(evidence) else spread(evidence)


def higher(evidence: Evidence) -> float:
    """How much more than meant the first pass may take, mm: the spread of the measured thickness where zero was taken on
    the top, at whatever place; what the thickest place stands above the declared size where it lies on the table."""
    workpiece = evidence.placed.workpiece
    if workpiece.thickness is None:
        return 0.0
    if on_table(evidence):
        return float(max(0.0, workpiece.thickness[1] - workpiece.size[2]))
    return spread(evidence)


def family(evidence: Evidence) -> str:
    """Family of the work material, "" when none is given."""
    return evidence.setting.material.family if evidence.setting.material is not None else ""


def piece_cutter(cuts: Any, piece: int) -> Cutter:
    """The cutter of a piece."""
    cutter: Cutter = cuts.placed.cutters[int(cuts.cutter[piece])]
    return cutter


def per_cutter(cuts: Any, value: Any) -> NDArray[Any]:
    """A property of each piece's cutter as an array; ``value`` takes the cutter."""
    table = np.array([value(c) for c in cuts.placed.cutters] or [0])
    return np.asarray(table[cuts.cutter])


FILLET = 1.0 - np.pi / 4  # of the square of its radius: what a quarter circle leaves of its corner


def filled_width(cuts: Any, depth: Floats) -> Floats:
    """Width of each cut, mm. Seen from above a round edge spreads its cut sideways under itself: there it is the width
    the material fills at ``depth`` (mm), without the fillet an earlier pass left, and never more than is seen."""
    width = np.asarray(cuts.width, dtype=float)
    edge = per_cutter(cuts, lambda c: {"ball": c.radius, "corner": c.corner_radius}.get(c.form, 0.0)).astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        section = np.asarray(cuts.volume, dtype=float) / np.where(cuts.length > 0, cuts.length, np.nan)
        filled = np.maximum(section - FILLET * edge * edge, 0.0) / np.where(depth > 0, depth, np.nan)
        return np.asarray(np.where(edge > 0, np.fmin(width, filled), width))


def whole(rule: str, evidence: Evidence, reason: str, cause: str) -> NotChecked:
    """A rule that could not look at the program at all."""
    lines = evidence.program.block_line
    return NotChecked(rule, reason, cause, 1, int(lines[-1]) if len(lines) else 1)


def _of_cutter(rule: str, evidence: Evidence, index: int, reason: str, cause: str) -> Iterator[NotChecked]:
    """A rule that could not look where a cutter is at work; nothing where it never is."""
    rows = np.flatnonzero(evidence.cuts.cutter == index)
    if len(rows):
        lines = evidence.program.block_line[evidence.cuts.block[rows[[0, -1]]]]
        yield NotChecked(rule, reason, cause, int(min(lines)), int(max(lines)))


def no_limits(rule: str, evidence: Evidence) -> Iterator[NotChecked]:
    """What to say for cutters whose limits could not be worked out."""
    for index, (limit, reason) in enumerate(zip(evidence.along.limits, evidence.along.reasons, strict=True)):
        if limit is None:
            yield from _of_cutter(rule, evidence, index, reason, "limits")


def no_length(rule: str, evidence: Evidence, key: str) -> Iterator[NotChecked]:
    """What to say for cutters one of whose lengths (a key of the shop file) is not known."""
    for index, cutter in enumerate(evidence.cuts.placed.cutters):
        if getattr(cutter, key) is None:
            reason = f"the {key.replace('_', ' ')} of {cutter.name} is not known: give {key}"
            yield from _of_cutter(rule, evidence, index, reason, "cutter")


def places_told(evidence: Evidence, places: int, last: int, worst: int) -> str:
    """What a message says of a fault that stands in several places; ``last`` and ``worst`` are blocks."""
    lines = evidence.program.line_of(last), evidence.program.line_of(worst)
    return f" {places} such places down to line {lines[0]}; the worst of them, at line {lines[1]}, is told."


def told(rule: str, evidence: Evidence, run: PieceRun, message: str, **more: Any) -> Finding:
    """A finding on a run of pieces; where it lies in several places the message counts them."""
    if run.places > 1:
        message += places_told(evidence, run.places, run.end_block, int(evidence.cuts.block[run.worst]))
    return Finding(
        rule=rule, message=message, block=run.block, end_block=run.end_block, at=spot(evidence.cuts, run.worst), **more
    )


@dataclass(frozen=True, slots=True)
class Descent:
    """Feed moves that follow each other and go down through material. Pieces first..last, drop and run mm, net angle."""

    first: int
    last: int
    drop: float
    run: float
    core: float
    cutter: int

    @property
    def angle(self) -> float:
        """Net angle below the horizontal, degrees."""
        return float(np.degrees(np.arctan2(self.drop, self.run)))


def descents(cuts: Any, *, steep: float | None = None, shallow: float | None = None) -> list[Descent]:
    """Whole descents through material: neighbouring pieces at feed that go down and remove something.

    ``steep``: only pieces at least this steep (degrees); ``shallow``: only pieces less steep.
    """
    down = np.asarray(cuts.descent, dtype=float)
    with np.errstate(invalid="ignore"):
        angle = np.degrees(np.arctan2(down, np.asarray(cuts.run, dtype=float)))
        going = ~cuts.rapid & (down > 1e-6) & (cuts.volume > 0)
    if steep is not None:
        going &= angle >= steep
    if shallow is not None:
        going &= angle < shallow
    index = np.flatnonzero(going)
    if not len(index):
        return []
    apart = (np.diff(index) > 1) | (np.diff(cuts.cutter[index]) != 0) | (cuts.row[index][1:] - cuts.last[index][:-1] > 1)
    starts = np.concatenate([[0], np.flatnonzero(apart) + 1])
    drop = np.add.reduceat(down[index], starts)
    run = np.add.reduceat(np.asarray(cuts.run, dtype=float)[index], starts)
    core = np.add.reduceat(np.asarray(cuts.core, dtype=float)[index], starts)
    ends = np.concatenate([starts[1:], [len(index)]]) - 1
    cutter = cuts.cutter[index[starts]]
    return [
        Descent(int(index[a]), int(index[b]), float(d), float(r), float(c), int(k))
        for a, b, d, r, c, k in zip(starts, ends, drop, run, core, cutter, strict=True)
    ]


def whole_run(evidence: Evidence, first: int, last: int, worst: int | None = None, places: int = 1) -> PieceRun:
    """A run from piece to piece."""
    cuts = evidence.cuts
    blocks = cuts.end_block[first : last + 1]
    return PieceRun(
        first, last, first if worst is None else worst, float(cuts.length[first : last + 1].sum()),
        int(cuts.block[first]), int(blocks.max()), places,
    )  # fmt: skip
