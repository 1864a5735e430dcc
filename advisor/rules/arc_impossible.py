"""An arc that no circle can make.

What it checks
    Arcs by radius whose end is further away than the diameter, whose end is the start, or that have no radius
    at all.

Why it matters
    There is no such path; the control stops or invents one.

What it cannot see
    What was meant.

How to mend
    Give the centre by I, J and K, or correct radius and end.

Example
        G0 X0 Y0
        G2 X30 Y0 R10     the chord is 30 mm, the diameter 20 mm

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="arc-impossible", severity="error", group="reading", check=FromReader("arc-impossible"))
