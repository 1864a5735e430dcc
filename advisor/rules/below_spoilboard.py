"""The cutter goes deeper below the stock than is allowed.

What it checks
    The lowest point of every move against the underside of the stock and the depth allowed below it ([hold]
    spoilboard). Holes at declared pins may go to their own depth; drills may go 0.3 diameters and 1 mm further for
    their point. Where the thickness was measured, the thinnest counts.

Why it matters
    Below the spoilboard is the table. A cutter that meets it is lost, and so is the table's truth.

What it cannot see
    How thick the spoilboard is, and parallels or a vise that are not declared.

How to mend
    Check the sign and the decimal point of Z, the stock's zero and its thickness.

Example
        G1 Z-185        where 18.5 was meant

Safety
    Touch off Z again after every tool change, and look at the lowest Z on the set-up card before starting.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import allowed_lines, places_told
from advisor.rules.base import merge_runs, rule
from grammar.moves import Kind


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each run of moves that go too low."""
    hold, placed = evidence.setting.hold, evidence.placed
    if placed is None:
        return
    z = np.minimum(placed.end[:, 2], np.where(placed.kind == Kind.ARC, placed.start[:, 2], np.inf))
    upright = placed.plane != 17
    if upright.any():
        boxes = evidence.boxes[0][:, 2] + placed.shift[2]
        rows = placed.arc_row[upright]
        z[rows] = np.minimum(z[rows], boxes[rows])
    drill = np.array([c.form == "drill" for c in placed.cutters] + [False])[placed.cutter]
    diameter = np.array([c.diameter for c in placed.cutters] + [0.0])[placed.cutter]
    workpiece = placed.workpiece
    rise = 0.0  # program zero on the stock's top: a thinner board lets the cutter go lower below it
    if workpiece.thickness is not None and abs(workpiece.zero[2] - workpiece.size[2]) < 1e-6:
        rise = max(0.0, workpiece.size[2] - workpiece.thickness[0])
    cutting = (placed.kind != Kind.DWELL) & (placed.kind != Kind.PROBE)  # a probe stops where it touches
    if hold.spoilboard is None:
        with np.errstate(invalid="ignore"):
            rows = np.flatnonzero(cutting & (rise - z > 1e-6))
        if len(rows):
            lines = [evidence.line(int(row)) for row in rows[[0, -1]]]
            yield NotChecked(
                "below-spoilboard",
                "the cutter goes below the stock, and how deep it may is not given: give [hold] spoilboard",
                "hold",
                min(lines),
                max(lines),
            )
        return
    allowed = hold.spoilboard + np.where(drill, 0.3 * diameter + 1.0, 0.0)
    for pin in hold.pins:
        with np.errstate(invalid="ignore"):
            near = np.hypot(placed.end[:, 0] - pin.x, placed.end[:, 1] - pin.y) <= pin.diameter / 2 + 0.05
        point = np.where(drill, 0.3 * diameter + 1.0, 0.0)
        allowed = np.where(near, np.maximum(allowed, pin.depth + point), allowed)
    with np.errstate(invalid="ignore"):
        below = -z
        faulty = np.flatnonzero((below > allowed + 1e-6) & cutting)
        maybe = np.flatnonzero((rise > 0) & cutting & (below + rise > allowed + 1e-6) & (below <= allowed + 1e-6))
        sound = np.cumsum(cutting & (below > 1e-6) & (below <= allowed + 1e-6))
    permitted = allowed_lines(evidence, "below-spoilboard")
    for rows, thin in ((faulty, False), (maybe, True)):
        excess = (below + (rise if thin else 0.0) - allowed)[rows]
        blocks = placed.block[rows]
        lines = [evidence.line(int(row)) for row in rows] if permitted else [0] * len(rows)
        # The same depth again is one fault, until a cut through stays within what is allowed.
        keys = [(count, line if line in permitted else 0) for count, line in zip(sound[rows].tolist(), lines, strict=True)]
        for run in merge_runs(blocks.tolist(), excess.tolist(), keys=keys, gap=len(evidence.program.block_line)):
            places = 1 + int(np.count_nonzero(np.diff(blocks[run.first : run.last + 1]) > 2))
            row = int(rows[run.worst])
            depth = float(below[row]) + (rise if thin else 0.0)
            if thin and workpiece.thickness is not None:
                text = f"Where the board is thinnest ({workpiece.thickness[0]:g} mm) the tip goes {depth:.2f} mm below it"
            else:
                text = f"The tip goes {depth:.2f} mm below the stock"
            yield Finding(
                rule="below-spoilboard",
                message=f"{text}; {float(allowed[row]):.2f} mm are allowed."
                + (places_told(evidence, places, int(blocks[run.last]), int(placed.block[row])) if places > 1 else ""),
                block=int(placed.block[rows[run.first]]),
                end_block=int(placed.block[rows[run.last]]),
                severity="warning" if thin else "",
                measured=round(depth, 6),
                limit=float(allowed[row]),
                at=evidence.point(row),
            )


RULE = rule(
    __doc__,
    name="below-spoilboard",
    severity="error",
    group="motion",
    check=check,
    needs=("moves", "stock"),
    unit="mm",
)
