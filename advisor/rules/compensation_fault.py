"""Cutter radius compensation that cannot be followed.

What it checks
    G41 and G42 with what they need and forbid: plane, register, a lead-in longer than the radius, corners the
    cutter can't enter, codes not allowed while it is on (NISTIR 6556, appendix B).

Why it matters
    The control stops in the cut with the cutter against a wall, or gouges the corner.

What it cannot see
    Whether the radius in the machine's table is the one in the shop file.

How to mend
    Switch on with a straight move longer than the radius, away from the part, and program inside corners with a
    radius larger than the cutter's.

Example
        G41 D1 G1 X1 Y0     lead-in of 1 mm with a radius of 3 mm

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="compensation-fault", severity="error", group="reading", check=FromReader("compensation-fault"))
