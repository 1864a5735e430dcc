"""A program that does not come to an end within the bounds of following it.

What it checks
    Blocks run, moves made, depth of calls and brackets against stated bounds.

Why it matters
    A loop whose condition never comes true runs until somebody stops the machine.

What it cannot see
    Whether the program would have ended after the bound.

How to mend
    Check the condition of the loop and that its counter changes.

Example
        #1=1
        WHILE [#1 GT 0] DO1
        END1     #1 never changes

Safety
    Do not run it unattended: what it does after the bound was not looked at.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="runaway-program", severity="error", group="reading", check=FromReader("runaway-program"))
