"""A block longer than the language allows.

What it checks
    Characters in a line against 256 (NISTIR 6556, 3.3).

Why it matters
    A control with a fixed buffer may cut the line off and lose its last words.

What it cannot see
    The buffer of the control in use.

How to mend
    Split the block, or shorten its comment.

Example
        G1 X10 (a comment of three hundred characters)

Safety
    Words at the end of the line may be lost: check the axes named there.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="line-too-long", severity="note", group="reading", check=FromReader("line-too-long"))
