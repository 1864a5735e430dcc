"""A piece comes loose while the cutter is still at work.

What it checks
    Whether a cut through the stock frees a piece larger than the cutter's diameter squared that no declared screw,
    clamp, pin or jaw holds. Skin thinner than 0.15 mm counts as cut; skin thinner than the measured spread of the
    thickness may be cut. Vacuum holds a piece when friction is at least twice the side force (10 kPa and a friction of
    0.25 are taken, common practice, no source); tape and a vise hold what they touch and are trusted. A piece that a
    later move touches again is an error. A piece that an earlier program of the job cut loose is told where this one
    cuts it again.

Why it matters
    A loose piece turns into the cutter, is thrown, or is drawn up by an up-cut cutter.

What it cannot see
    Where screws really are, how well vacuum or tape hold, and pieces held only by friction in the kerf.

How to mend
    Leave tabs (at least 1 mm high and 3 mm wide in wood), leave a skin and cut it last, or hold the piece.

Example
        a hatch cut all round to the spoilboard without tabs

Safety
    Never reach for a loose piece while the spindle turns. Stay out of the plane of the cutter.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import spread, whole
from advisor.rules.base import rule

if TYPE_CHECKING:
    from advisor.stock import Parts

SKIN = 0.15
PRESSURE = 10e-3  # N/mm2 under the piece, vacuum through a spoilboard
FRICTION = 0.25


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each piece that comes loose."""
    from advisor.stock import freed_parts, loose_before

    cuts, hold = evidence.cuts, evidence.setting.hold
    if cuts.placed.workpiece.assumed:
        yield whole("part-freed", evidence, "the stock is only assumed", "stock")
        return
    if hold.method in ("tape", "vise"):
        return
    delta = spread(evidence)
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
    for part in parts.freed:
        cutter = int(cuts.placed.cutter[part.row])
        diameter = cuts.placed.cutters[cutter].diameter if cutter >= 0 else 0.0
        if part.area <= diameter**2 or set(part.labels) & held:
            continue
        if hold.method == "vacuum" and _sucked(part.area, float(force.max(initial=0.0))):
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
    if earlier is not None:
        yield from _cut_again(evidence, earlier, SKIN < delta, float(force.max(initial=0.0)))


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
