"""An arc whose start and end do not lie on the same circle.

What it checks
    The distance from the centre to the start against that to the end, in the plane of the arc. The language
    allows 0.002 mm or 0.0002 in (NISTIR 6556, 3.5.3.2); the dialect shop allows for the rounding of the numbers
    as written.

Why it matters
    The control stops, or bends the path from one radius to the other: a spiral through the wall of the part.

What it cannot see
    Which of start, end and centre is wrong.

How to mend
    Compute I, J and K again from the start of the arc. They are distances from the start to the centre, not
    positions. Check the sign of each.

Example
        G0 X10 Y0
        G2 X20 Y10 I5 J0     5 mm from the start, 11.18 mm from the end

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="arc-mismatch", severity="error", group="reading", check=FromReader("arc-mismatch"))
