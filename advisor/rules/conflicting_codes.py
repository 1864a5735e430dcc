"""Two codes in one block that cannot both hold.

What it checks
    Two codes of one modal group in a block, or two codes that both want the axis words (NISTIR 6556, 3.4).

Why it matters
    Which of the two wins differs between controls; the motion that follows is a gamble.

What it cannot see
    Which of the two was meant.

How to mend
    Keep one of the codes, or write them in two blocks in the order you want.

Example
        G0 G1 X10     rapid or feed?

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="conflicting-codes", severity="error", group="reading", check=FromReader("conflicting-codes"))
