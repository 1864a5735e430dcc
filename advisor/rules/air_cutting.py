"""Much of the time at feed is spent in air.

What it checks
    With a declared stock: whether more than a quarter of the feed time, and more than a minute, goes by without
    removing anything. Lead-ins up to two diameters, moves that only retract, and passes over a finished wall are left
    out (common practice, no source). A program that cuts nothing at all is told however short it is.

Why it matters
    It costs time, and it often means that the zero or the stock is not where the program thinks.

What it cannot see
    Stock that is larger than declared.

How to mend
    Check zero and stock; start the passes lower, or use rapids where it is clear.

Example
        roughing that begins 20 mm above the board

Safety
    A pass in air on purpose, as a trial, is good practice: allow the finding there with a reason.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import whole
from advisor.rules.base import rule

SHARE, LEAST_MINUTES = 0.25, 1.0


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """At most one finding a program."""
    placed = evidence.placed
    if placed.workpiece.assumed:
        yield whole("air-cutting", evidence, "the stock is only assumed", "stock")
        return
    minutes = np.nan_to_num(evidence.timing.minutes)
    feeding = evidence.feeding
    contact = evidence.contact
    if contact is None:
        return
    lengths = np.nan_to_num(evidence.lengths)
    diameter = np.array([c.diameter for c in placed.cutters] + [0.0])[placed.cutter]
    rising = (placed.end[:, 2] > placed.start[:, 2] + 1e-6) & (
        np.hypot(placed.end[:, 0] - placed.start[:, 0], placed.end[:, 1] - placed.start[:, 1]) < 1e-6
    )
    lead = lengths <= 2 * diameter
    # A pass that removes nothing below the uncut top runs along what is finished: a spring pass.
    spring = (np.minimum(placed.start[:, 2], placed.end[:, 2]) < placed.top) & _over(evidence)
    air = feeding & ~rising & ~lead & ~spring & placed.known
    spent = float((minutes * (1 - contact))[air].sum())
    total = float(minutes[feeding].sum())
    # A program that touches nothing anywhere is told however short it is: its zero or the stock's may be wrong.
    nothing = bool(placed.known[feeding].all()) and not evidence.cuts.volume.any() and bool((placed.cutter[feeding] >= 0).all())
    if nothing and total > 0:
        row = int(np.argmax(np.where(feeding, minutes, 0.0)))
        yield Finding(
            rule="air-cutting",
            message="Nothing is cut: every move at feed goes by in air. Is the zero of the program and of the stock right?",
            block=int(placed.block[row]),
            measured=100.0,
            limit=100 * SHARE,
            at=evidence.point(row),
        )
        return
    if total <= 0 or spent <= SHARE * total or spent <= LEAST_MINUTES:
        return
    rows = np.flatnonzero(air & (contact < 0.5))
    if not len(rows):
        return
    worst = int(rows[int(np.argmax(minutes[rows]))])
    yield Finding(
        rule="air-cutting",
        message=f"{spent:.1f} of {total:.1f} minutes at feed go by in air (longest move in air here).",
        block=int(placed.block[worst]),
        measured=round(100 * spent / total, 3),
        limit=100 * SHARE,
        at=evidence.point(worst),
    )


def _over(evidence: Evidence) -> NDArray[np.bool_]:
    """Rows that end over the stock's plan."""
    placed = evidence.placed
    x, y = placed.end[:, 0], placed.end[:, 1]
    width, height = placed.workpiece.size[:2]
    with np.errstate(invalid="ignore"):
        return np.asarray((x > 0) & (x < width) & (y > 0) & (y < height))


RULE = rule(
    __doc__,
    name="air-cutting",
    severity="note",
    group="motion",
    check=check,
    needs=("moves", "engagement", "machine"),
    unit="%",
)
