"""Numbers that only make sense in the other unit.

What it checks
    The box of all cuts against the stock, as the program states its unit and as if it were the other: a part
    that covers an eighth of the stock or less, with feeds far too slow for the cutter, and fits it 25.4 times
    larger; or one whose cuts lie far outside the stock on several axes, that fits it 25.4
    times smaller.

Why it matters
    The part comes out 25.4 times too large or too small: the cutter leaves the stock and meets clamps, or
    crawls and burns.

What it cannot see
    A few single numbers in the other unit; lost decimal points are looked at by missing-point.

How to mend
    Correct G20 or G21 at the head of the program.

Example
        G21
        G0 X3.5 Y1.5     a plate of 4 by 2 inches

Safety
    Compare the box of all motion on the set-up card with the stock before the first run.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import feeding, first_code
from advisor.rules.base import rule
from advisor.setup_card import extent
from advisor.values import Workpiece

NAME = "unit-mix-up"
INCH = 25.4  # exact (international yard and pound agreement, 1959)
SMALL = 1 / 8  # of the stock; estimate, no source
FEW = 3  # places outside the stock, at least; estimate, no source
MOST = 0.5  # share of the cuts outside the stock; estimate, no source
CRAWL = 150.0  # mm/min, where the cutter's limits are not known; estimate, no source
SLOW = 0.3  # of the least chip load the material's table names; estimate, no source


def check(evidence: Evidence) -> Iterator[Finding]:
    """At most one finding, at the block that states the unit (else the first move)."""
    workpiece = evidence.setting.workpiece
    rows = feeding(evidence)
    if workpiece is None or not rows.any():
        return
    low, high = extent(evidence, rows)
    if any(v is None for v in (*low, *high)):
        return
    ends = [(a or 0.0, b or 0.0) for a, b in zip(low, high, strict=True)]
    sizes = [b - a for a, b in ends]
    first = int(rows.argmax())
    inch = evidence.mode(first).units in ("G20", "G70")
    block = first_code(evidence, "G20", "G70") if inch else first_code(evidence, "G21", "G71")
    at = int(evidence.moves.block[0]) if block is None else block
    spans = f"{sizes[0]:.1f} x {sizes[1]:.1f} mm"
    stock = f"{workpiece.size[0]:g} x {workpiece.size[1]:g} mm"
    if not inch and all(size <= SMALL * whole for size, whole in zip(sizes[:2], workpiece.size, strict=False)):
        if fits(ends, evidence.zero, workpiece, INCH) and _too_slow(evidence, rows):
            yield Finding(
                rule=NAME,
                block=at,
                message=f"The cuts cover {spans} of a stock of {stock}, at feeds too slow for the cutter; "
                "read as inches both fit: is this an inch program?",
                measured=max(sizes[:2]),
                limit=SMALL * max(workpiece.size[:2]),
                unit="mm",
            )
    elif inch and _far_outside(evidence, rows, workpiece) and fits(ends, evidence.zero, workpiece, 1 / INCH):
        yield Finding(
            rule=NAME,
            block=at,
            message=f"The cuts cover {spans} of a stock of {stock}; read as millimetres they fit: "
            "is this a millimetre program?",
            measured=max(sizes[:2]),
            limit=max(workpiece.size[:2]),
            unit="mm",
        )


def fits(ends: list[tuple[float, float]], zero: tuple[float, float, float], workpiece: Workpiece, factor: float) -> bool:
    """True where the box, scaled about program zero, stays on the stock.

    A tenth over its edges, and any height above it, is allowed.
    """
    for axis, ((a, b), z, size) in enumerate(zip(ends, zero, workpiece.size, strict=True)):
        spare = 0.1 * size + 3.0
        if (a - z) * factor + z < -spare or (axis < 2 and (b - z) * factor + z > size + spare):
            return False
    return True


def _far_outside(evidence: Evidence, rows: np.ndarray, workpiece: Workpiece) -> bool:
    """True where the cuts lie beyond the stock by more than half its size, most of them or on several axes.

    One wrong point, or one wrong depth used by many holes, does not count.
    """
    ends = evidence.moves.end[rows] + evidence.base
    ends = np.unique(np.round(ends[np.isfinite(ends).all(axis=1)], 1), axis=0)
    if not len(ends):
        return False
    size = np.array(workpiece.size)
    below = ends < -0.5 * size
    beyond = below | (ends > 1.5 * size)
    beyond[:, 2] = below[:, 2]  # high above the stock is no sign of anything
    across = beyond[:, :2].any(axis=1)
    return bool(across.mean() > MOST or (across.sum() >= FEW and beyond.any(axis=0).sum() >= 2))


def _too_slow(evidence: Evidence, rows: np.ndarray) -> bool:
    """True where even the fastest feed is far below what the cutter needs."""
    moves, setting = evidence.moves, evidence.setting
    feeds = np.where(rows, np.nan_to_num(moves.feed), 0.0)
    row = int(feeds.argmax())
    mode = evidence.mode(row)
    cutter = evidence.cutter_for(mode)
    if cutter is None or setting.material is None or setting.machine is None or mode.rpm <= 0:
        return bool(feeds[row] < CRAWL)
    from advisor.limits import NoData, cut_limits

    try:
        limits = cut_limits(cutter=cutter, material=setting.material, machine=setting.machine)
    except NoData:
        return bool(feeds[row] < CRAWL)
    return bool(feeds[row] / (mode.rpm * cutter.flutes) < SLOW * limits.chip_low)


RULE = rule(
    __doc__,
    name=NAME,
    severity="warning",
    group="set-up",
    check=check,
    needs=("moves", "stock"),
    unit="mm",
    positions=False,
)
