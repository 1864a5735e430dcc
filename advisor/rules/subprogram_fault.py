"""A call or a loop that cannot be followed.

What it checks
    Calls of subprograms that are not in the file, ends without a beginning, jumps to blocks that are not there,
    calls nested too deep.

Why it matters
    The control stops there, or runs on into blocks that were never meant to be run in order.

What it cannot see
    Subprograms kept in the control's memory or in other files.

How to mend
    Put the subprogram into the file, or write its blocks where they are called.

Example
        M98 P1200     there is no O1200 in this file

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="subprogram-fault", severity="error", group="reading", check=FromReader("subprogram-fault"))
