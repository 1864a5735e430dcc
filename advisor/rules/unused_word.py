"""A word that no code of its block can use.

What it checks
    Words whose letter belongs to none of the codes in the block or in force.

Why it matters
    It is often a slip of the finger for another letter, and the value it carries is then missing elsewhere.

What it cannot see
    Words that only a certain control uses.

How to mend
    Take the word out, or correct its letter.

Example
        G1 X10 Q5     a feed move has no Q

Safety
    Compare the block with the drawing: the value may be missing at another axis.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="unused-word", severity="warning", group="reading", check=FromReader("unused-word"))
