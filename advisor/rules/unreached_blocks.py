"""Blocks after the end of the program.

What it checks
    Blocks with words that stand after M2, M30 or the closing percent line and are called by nothing.

Why it matters
    They are never run; if they were meant to be, the part is not finished.

What it cannot see
    Whether they were left on purpose.

How to mend
    Take them out, or move the end code behind them.

Example
        M30
        G0 X0 Y0     never run

Safety
    If these blocks were meant to lift the cutter, the program ends with it in the work.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="unreached-blocks", severity="note", group="reading", check=FromReader("unreached-blocks"))
