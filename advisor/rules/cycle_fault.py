"""A canned cycle that cannot run as written.

What it checks
    Retract level against depth, peck step, repeats, plane, units, inverse time and compensation while G81 to
    G89 are in force (NISTIR 6556, 3.5.16).

Why it matters
    A cycle with a wrong level drives the cutter down at rapid, or does not retract between holes.

What it cannot see
    Whether the depth is the one of the drawing; clamps between holes are seen by the rules about rapids.

How to mend
    Give R above Z, a depth, a peck step above zero, and a dwell where the cycle wants one.

Example
        G81 X10 Y10 Z5 R2 F200     retract level below the bottom of the hole

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="cycle-fault", severity="error", group="reading", check=FromReader("cycle-fault"))
