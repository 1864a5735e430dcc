"""The program does not say whether its numbers are millimetres or inches.

What it checks
    Whether G20 or G21 is executed before the first move. It is a note; it becomes a warning where the program
    would fit the stock and the machine in both units, so that nobody would see the mistake at first sight.

Why it matters
    The control then takes the unit the last program left, and one cuts the part 25.4 times too large or too
    small.

What it cannot see
    Which unit was meant. Lengths are read in the unit of the dialect's start, millimetres.

How to mend
    Write G21 (millimetres) or G20 (inches) in the first block.

Example
        G90 G0 X10 Y10     10 mm or 10 in?

Safety
    Read the display of the machine after the first rapid, well above the work.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import feeding, first_code
from advisor.rules.base import rule
from advisor.rules.unit_mix_up import INCH, fits
from advisor.setup_card import extent

NAME = "units-not-stated"
FAST = 1.5  # times the machine's feed: faster ones can't be meant; estimate, no source


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding, at the first block that moves."""
    if evidence.setting.fragment:
        return
    block = int(evidence.moves.block[0])
    stated = first_code(evidence, "G20", "G21", "G70", "G71")
    if stated is not None and stated <= block:
        return
    both = fits_both(evidence)
    yield Finding(
        rule=NAME,
        block=block,
        severity="warning" if both else "note",
        message="No G20 or G21 before the first move: the unit is whatever the last program left."
        + (" The program fits the stock in millimetres and in inches." if both else ""),
    )


def fits_both(evidence: Evidence) -> bool:
    """True where the cut, read in either unit, stays inside the stock and its feeds inside the machine."""
    workpiece, machine = evidence.setting.workpiece, evidence.setting.machine
    rows = feeding(evidence)
    low, high = extent(evidence, rows)
    if workpiece is None or any(v is None for v in (*low, *high)):
        return False
    ends = [(a or 0.0, b or 0.0) for a, b in zip(low, high, strict=True)]
    inch = evidence.mode(int(rows.argmax())).units == "G20"
    top_feed = float(np.nanmax(np.append(evidence.moves.feed[rows], 0.0)))
    for factor in (1.0, 1 / INCH if inch else INCH):
        if not fits(ends, evidence.zero, workpiece, factor):
            return False
        if machine is not None and top_feed * factor > machine.feed_max * FAST:
            return False
    return True


RULE = rule(__doc__, name=NAME, severity="note", group="set-up", check=check, needs=("moves",), positions=False)
