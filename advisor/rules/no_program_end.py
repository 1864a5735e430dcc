"""The program has no end code.

What it checks
    Whether M2 or M30 is executed, or the file is closed by a percent line.

Why it matters
    Without an end the spindle and coolant may stay on and modes are not reset; it may also mean that the file
    was cut off in transfer.

What it cannot see
    Whether blocks are missing.

How to mend
    End the program with M30 (or M2) on its last line, and compare the last blocks with the source.

Example
        G0 Z15
        M5     and nothing after it

Safety
    Compare the end of the file with its source before running: a program cut off in transfer looks just like
    this.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="no-program-end", severity="note", group="reading", check=FromReader("no-program-end"))
