"""A code that is in the language but is not followed here, or is not on this machine.

What it checks
    Codes whose meaning is known but depends on what this machine has: turning axes, a pallet, a coolant or an
    auxiliary circuit.

Why it matters
    On a machine without the part the code asks for, the program stops or goes on without it.

What it cannot see
    What is really fitted to the machine, beyond what the shop file says.

How to mend
    Take the code out, or run the program on a machine that has it.

Example
        G95 F0.2     feed per turn on a machine whose spindle has no encoder

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="unsupported-code", severity="error", group="reading", check=FromReader("unsupported-code"))
