"""A block that is not in the language.

What it checks
    Each block is read by the grammar of RS274/NGC (NISTIR 6556, 3.3) and, in the dialect shop, by the named
    relaxations real programs need. A block that fits neither is told with the place where reading stopped.

Why it matters
    A control that meets such a block may stop in the middle of a cut, skip it, or read something else out of
    it.

What it cannot see
    What the block was meant to do. The axes it names, or may name, count as unknown until they are stated
    again; rules that need them are not checked there.

How to mend
    Correct the block at the column told; letters that came from a broken transfer are best mended by sending
    the file again.

Example
        G1 X10 Y=3     a value can't begin with =

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="unreadable-block", severity="error", group="reading", check=FromReader("unreadable-block"))
