"""A code without a word it needs.

What it checks
    Codes whose form requires a word that is not in the block and not in force: G4 without P, a radius or centre
    for an arc, H for G43, axis words for a motion.

Why it matters
    The control stops there, or fills in zero.

What it cannot see
    The value that was meant.

How to mend
    Write the missing word in the block.

Example
        G4     dwell, but how long?

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="missing-word", severity="error", group="reading", check=FromReader("missing-word"))
