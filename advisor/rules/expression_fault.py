"""An expression that has no value.

What it checks
    Parameters and expressions as they are worked out: division by zero, roots of negative numbers, parameters
    outside the table, and, in the dialect shop, parameters that were never set.

Why it matters
    The number decides where the cutter goes; without a number the control stops or takes zero.

What it cannot see
    Whether an expression that has a value has the one meant.

How to mend
    Set the parameters before they are used, and bracket the expression as it is meant.

Example
        #1=0
        G1 X[10/#1]     division by zero

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="expression-fault", severity="error", group="reading", check=FromReader("expression-fault"))
