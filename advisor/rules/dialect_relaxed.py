"""A form the published standard does not allow and the dialect shop accepts.

What it checks
    Each relaxation is told once a program, at its first use.

Why it matters
    Another control, closer to the standard, will refuse the block.

What it cannot see
    Which control the program is meant for.

How to mend
    Nothing, if the control in use takes it; else write the standard's form.

Example
        G1 X10 ; comment     the standard knows comments in parentheses only

Safety
    Try it with the cutter clear of the work the first time it runs on another machine.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="dialect-relaxed", severity="note", group="reading", check=FromReader("dialect-relaxed"))
