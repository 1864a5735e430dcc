"""A G or M code that the language does not have.

What it checks
    Every G and M word against the tables of the dialect in force.

Why it matters
    A control stops at a code it does not know, or worse, knows it as something else than its writer did.

What it cannot see
    Codes that a machine's maker added. Positions after an unknown code are not followed, and rules that need
    them say so.

How to mend
    Take the code out, or write the motion it stands for in plain codes. Look it up in the manual of the machine
    the program was made for.

Example
        G77 X10     there is no G77

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="unknown-code", severity="error", group="reading", check=FromReader("unknown-code"))
