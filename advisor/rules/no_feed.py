"""A cutting move before any feed was given.

What it checks
    G1, G2, G3 and cycles that move at feed while no F was read, or F is zero. In inverse time every cutting
    block needs its own F.

Why it matters
    The cutter moves at whatever feed the last program left in the control, or does not move at all while it
    turns on the spot and burns.

What it cannot see
    A feed the control keeps from the last program; give it as [start] feed where that is meant.

How to mend
    Write F in the first cutting block, for example G1 Z-3 F600.

Example
        G0 X10 Y10
        G1 Z-3     at which feed?

Safety
    Start with the feed override low and a hand on the stop until the first cut has shown its feed.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="no-feed", severity="error", group="reading", check=FromReader("no-feed"))
