"""A piece comes loose while the cutter is still at work.

What it checks
    Whether a cut through the stock frees a piece larger than the cutter's diameter squared that no declared screw,
    clamp, pin or jaw holds. Skin thinner than 0.15 mm counts as cut; where program zero is on the stock's top, skin
    thinner than the measured spread of the thickness may be cut. Vacuum holds a piece when friction is at least twice the
    side force (10 kPa and a friction of 0.25 are taken, common practice, no source); tape holds what lies on it, and a
    vise what reaches an outer side of the stock. A piece that a later move touches again is an error. Tabs hold from 1 mm
    high in wood, 0.5 mm in plastics, 0.3 mm in metal, and 3 mm long; a piece that hangs on lesser ones is told. A piece
    that an earlier program of the job cut loose is told where this one cuts it again.

Why it matters
    A loose piece turns into the cutter, is thrown, or is drawn up by an up-cut cutter.

What it cannot see
    Where screws really are, how well vacuum or tape hold, and pieces held only by friction in the kerf.

How to mend
    Leave tabs (at least 1 mm high and 3 mm long in wood), leave a skin and cut it last, or hold the piece.

Example
        a hatch cut all round to the spoilboard without tabs

Safety
    Never reach for a loose piece while the spindle turns. Stay out of the plane of the cutter.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from advisor.distinct import distinct
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import METAL, WOOD, below_spread, family, whole
from advisor.rules.base import rule

if TYPE_CHECKING:
    from advisor.stock import FreedPart, Parts

SKIN = 0.15
PRESSURE = 10e-3  # N/mm2 under the piece, vacuum through a spoilboard
FRICTION = 0.25
TAB, TAB_METAL, TAB_LENGTH = 1.0, 0.3, 3.0  # mm; common practice, no source
TAB_OTHER = 0.5  # mm, in plastics and the rest; estimate, no source
LONGEST = 30.0  # mm of kerf; what is left over more is a skin or a floor (estimate, no source)
SLIVER = 0.5  # mm of kerf; less is no tab
SLIP = 0.02  # mm


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each piece that comes loose."""
    from advisor.stock import freed_parts, loose_before

    cuts, hold = evidence.cuts, evidence.setting.hold
    if cuts.placed.workpiece.assumed:
        yield whole("part-freed", evidence, "the stock is only assumed", "stock")
        return
    if hold.method == "tape":
        return
    delta = below_spread(evidence)
    parts = freed_parts(cuts, skin=max(SKIN, delta))
    earlier = loose_before(cuts, skin=max(SKIN, delta)) if evidence.before is not None else None
    every = (*parts.freed, *(earlier.freed if earlier is not None else ()))
    if every and hold.method is None and not hold.points:
        yield NotChecked(
            "part-freed",
            "how the workpiece is held is not given: give [hold] method and points",
            "hold",
            min(evidence.line(part.row) for part in every),
            max(evidence.line(part.row) for part in every),
        )
        return
    held = {parts.label_at(x, y) for x, y in hold.points} - {0}
    force = np.nan_to_num(evidence.along.force * np.maximum(evidence.along.teeth, 1.0)) if len(cuts) else np.zeros(0)
    most = float(force.max(initial=0.0))
    for part in parts.freed:
        diameter = _diameter(evidence, part.row)
        if part.area <= diameter**2 or set(part.labels) & held:
            continue
        if hold.method == "vacuum" and _sucked(part.area, most):
            yield from _force_unknown(evidence, part)
            continue
        if hold.method == "vise" and _in_jaws(evidence, part):
            continue
        possibly = "possibly " if part.skin > SKIN or (0 < part.skin <= delta) else ""
        touched = f"; later moves cut it again (first at line {evidence.line(part.later_rows[0])})" if part.later_rows else ""
        width, height = part.high[0] - part.low[0], part.high[1] - part.low[1]
        yield Finding(
            rule="part-freed",
            message=f"Here a piece of about {width:.0f} x {height:.0f} mm {possibly}comes loose; nothing declared holds "
            f"it{touched}.",
            block=int(cuts.placed.block[part.row]),
            severity="error" if part.later_rows and not possibly else "",
            measured=round(part.area / 100.0, 3),
            limit=round(diameter**2 / 100.0, 3),
            at=evidence.point(part.row),
        )
    yield from _rest(evidence, parts, held)
    yield from _weakly_held(evidence, parts, most)
    if earlier is not None:
        yield from _cut_again(evidence, earlier, delta > SKIN, most)


def _diameter(evidence: Evidence, row: int) -> float:
    """The diameter of the cutter of a move, mm."""
    placed = evidence.placed
    cutter = int(placed.cutter[row])
    return float(placed.cutters[cutter].diameter) if cutter >= 0 else 0.0


def _in_jaws(evidence: Evidence, part: FreedPart) -> bool:
    """Whether a piece reaches an outer side of the stock, where the jaws of a vise can be."""
    size = evidence.placed.workpiece.size
    near = 2 * evidence.cuts.cell
    return any(part.low[axis] < near or part.high[axis] > size[axis] - near for axis in (0, 1))


def _force_unknown(evidence: Evidence, part: FreedPart) -> Iterator[NotChecked]:
    """What to say of a piece that vacuum would hold, where the force of some cutter is not known."""
    along = evidence.along
    for index in distinct(evidence.cuts.cutter[along.cutting]).tolist():
        if along.limits[index] is None:
            line = evidence.line(part.row)
            reason = f"whether vacuum holds the piece cut loose here is not known: {along.reasons[index]}"
            yield NotChecked("part-freed", reason, "limits", line, line)
            return


def _rest(evidence: Evidence, parts: Parts, held: set[int]) -> Iterator[Finding]:
    """What every piece was cut from, where all that is held was cut away from it."""
    away = [part for part in parts.freed if set(part.labels) & held]
    if not away:
        return
    sizes = np.bincount(parts.label.ravel())
    sizes[[0, *(name for part in parts.freed for name in part.labels)]] = 0
    largest = int(np.argmax(sizes))
    if largest in held:
        return
    row = max(part.row for part in away)
    diameter, area = _diameter(evidence, row), float(sizes[largest]) * parts.grid.area
    if area <= diameter**2:
        return
    cuts = evidence.cuts
    thin = 1 if parts.label.shape == cuts.mover.shape else 2  # large grids are looked at in every second cell
    again = bool((cuts.mover[::thin, ::thin][parts.label == largest] > row).any())
    yield Finding(
        rule="part-freed",
        message=f"Here the rest of the workpiece, about {area / 100:.0f} cm2, comes loose from what is held; nothing declared "
        f"holds it{'; later moves cut it again' if again else ''}.",
        block=int(cuts.placed.block[row]),
        severity="error" if again else "",
        measured=round(area / 100.0, 3),
        limit=round(diameter**2 / 100.0, 3),
        at=evidence.point(row),
    )


def _weakly_held(evidence: Evidence, parts: Parts, force: float) -> Iterator[Finding]:
    """Pieces that would come loose if the tabs too small to hold were cut."""
    from advisor.kernels.remains import label
    from advisor.stock import Field, freed_parts

    cuts, hold = evidence.cuts, evidence.setting.hold
    material = family(evidence)
    high = TAB_METAL if material in METAL else TAB if material in (*WOOD, "") else TAB_OTHER
    weak, size = _weak_tabs(evidence, high)
    if weak is None:
        return
    if parts.label.shape == weak.shape:
        # most slivers part nothing; to see that takes far less than to find who parts what
        left = label((cuts.field.top - cuts.field.bottom > SKIN) & ~weak)
        whole_before = parts.label if below_spread(evidence) <= SKIN else label(cuts.field.top - cuts.field.bottom > SKIN)
        if int(left.max()) <= len(np.flatnonzero(np.bincount(whole_before[left > 0]))):
            return
    top = np.where(weak, cuts.field.bottom, cuts.field.top)
    without = freed_parts(replace(cuts, field=Field(cuts.field.grid, top, cuts.field.bottom)), skin=SKIN)
    held = {without.label_at(x, y) for x, y in hold.points} - {0}
    loose = {name for part in parts.freed for name in part.labels}
    for part in without.freed:
        diameter = _diameter(evidence, part.row)
        inside = np.isin(without.label, part.labels)
        if part.area <= diameter**2 or set(part.labels) & held or set(distinct(parts.label[inside]).tolist()) <= loose:
            continue
        if (hold.method == "vacuum" and _sucked(part.area, force)) or (hold.method == "vise" and _in_jaws(evidence, part)):
            continue
        width, height = part.high[0] - part.low[0], part.high[1] - part.low[1]
        short = size[0] >= high - SLIP
        tabs = f"tabs {size[0]:.2f} mm high and {size[1]:.1f} mm long" if size[1] >= SLIVER else "slivers"
        yield Finding(
            rule="part-freed",
            message=f"Only {tabs} hold a piece of about {width:.0f} x {height:.0f} mm; tabs at least {high:g} mm high and "
            f"{TAB_LENGTH:g} mm long are advised.",
            block=int(cuts.placed.block[part.row]),
            measured=round(size[1] if short else size[0], 2),
            limit=TAB_LENGTH if short else high,
            unit="mm",
            fix="Make the tabs higher or longer, or hold the piece.",
            at=evidence.point(part.row),
        )


def _weak_tabs(evidence: Evidence, high: float) -> tuple[NDArray[np.bool_] | None, tuple[float, float]]:
    """Cells of tabs too low or too short to hold, and height and length of the best of them; None where there is none.

    A tab is what a cut through the stock left in its kerf: a small spot of cut material beside cells cut through.
    """
    from advisor.kernels.remains import grouped, label
    from advisor.stock import LARGE

    cuts = evidence.cuts
    grid = cuts.field.grid
    every = 2 if grid.nx * grid.ny > LARGE else 1
    mover = cuts.mover[::every, ::every]
    thickness = cuts.field.top[::every, ::every] - cuts.field.bottom[::every, ::every]
    through = (mover >= 0) & (thickness <= SKIN)
    if not through.any():
        return None, (0.0, 0.0)
    i, j = np.flatnonzero(through.any(axis=1)), np.flatnonzero(through.any(axis=0))
    box = (slice(max(int(i[0]) - 1, 0), int(i[-1]) + 2), slice(max(int(j[0]) - 1, 0), int(j[-1]) + 2))
    left = (mover[box] >= 0) & (thickness[box] > SKIN)
    open_ = through[box]
    beside = np.zeros_like(open_)
    beside[1:] |= open_[:-1]
    beside[:-1] |= open_[1:]
    beside[:, 1:] |= open_[:, :-1]
    beside[:, :-1] |= open_[:, 1:]
    names = label(left)
    near = set(distinct(names[beside & left]).tolist())
    weak = np.zeros(mover.shape, dtype=bool)
    best: tuple[float, float] = (0.0, 0.0)
    for cells in grouped(names):
        if int(names.ravel()[cells[0]]) not in near:
            continue
        a, b = np.unravel_index(cells, left.shape)
        diameter = _diameter(evidence, int(mover[box].ravel()[cells].max()))
        area = len(cells) * grid.area * every**2
        if diameter <= 0 or area > LONGEST * diameter:
            continue  # a skin or a floor
        heights = thickness[box].ravel()[cells]
        tall = float(heights.max())
        if tall >= high - SLIP:  # a wedge is as long a tab as it is high enough
            area *= float((heights >= high - SLIP).mean())
        # The cutter leaves round ends: the tab is shortest in the middle of the kerf (geometry).
        length = max(area / diameter - (1 - np.pi / 4) * diameter, 0.0)
        if tall < high - SLIP or length < TAB_LENGTH - 2 * cuts.cell:
            weak[box][a, b] = True
            best = max(best, (round(tall, 2), round(float(length), 1)))
    if not weak.any():
        return None, best
    return weak.repeat(every, axis=0).repeat(every, axis=1)[: grid.nx, : grid.ny], best


def _cut_again(evidence: Evidence, pieces: Parts, unsure: bool, force: float) -> Iterator[Finding]:
    """Pieces an earlier program of the job cut loose that this one is at work on; an error in the same clamping."""
    cuts, hold, job = evidence.cuts, evidence.setting.hold, evidence.setting.job
    held = {pieces.label_at(x, y) for x, y in hold.points} - {0}
    for part in pieces.freed:
        cutter = int(cuts.placed.cutter[part.row])
        diameter = cuts.placed.cutters[cutter].diameter if cutter >= 0 else 0.0
        if part.area <= diameter**2 or set(part.labels) & held or (hold.method == "vacuum" and _sucked(part.area, force)):
            continue
        width, height = part.high[0] - part.low[0], part.high[1] - part.low[1]
        possibly = "may have been" if unsure else "was"
        yield Finding(
            rule="part-freed",
            message=f"A piece of about {width:.0f} x {height:.0f} mm {possibly} cut loose by an earlier program of the job; "
            "here it is cut again, and nothing declared holds it.",
            block=int(cuts.placed.block[part.row]),
            severity="error" if job is not None and job.setup == 1 and not unsure else "",
            measured=round(part.area / 100.0, 3),
            limit=round(diameter**2 / 100.0, 3),
            fix="Cut it before it comes loose, or give [hold] points that hold it in this set-up.",
            at=evidence.point(part.row),
        )


def _sucked(area: float, force: float) -> bool:
    """Whether vacuum holds a piece of ``area`` mm2 against a side force in N, with twice the force to spare."""
    return FRICTION * PRESSURE * area >= 2 * force and PRESSURE * area >= 2 * 0.5 * force


RULE = rule(
    __doc__,
    name="part-freed",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="cm2",
)
