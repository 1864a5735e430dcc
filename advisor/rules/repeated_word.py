"""A word that stands twice in one block.

What it checks
    Letters other than G and M that occur more than once in a block (NISTIR 6556, 3.3.5).

Why it matters
    One control takes the first value, another the last; the difference is a wrong position or feed.

What it cannot see
    Which value was meant.

How to mend
    Take one of the two words out.

Example
        G1 X10 Y5 X12     X10 or X12?

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="repeated-word", severity="error", group="reading", check=FromReader("repeated-word"))
