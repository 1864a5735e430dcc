"""A value outside what its word may have.

What it checks
    Values against the range of their word: negative feeds and speeds, tool and offset numbers that are not
    whole, numbers beyond the tool table.

Why it matters
    The control stops, or rounds, or takes another tool than was meant.

What it cannot see
    A value that is possible and yet wrong.

How to mend
    Correct the value; the finding names the range.

Example
        F-200     a feed can't be negative

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="bad-value", severity="error", group="reading", check=FromReader("bad-value"))
