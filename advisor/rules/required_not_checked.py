"""A rule the shop file requires could not look.

What it checks
    Each rule named in [checks] require against what was not checked, wholly or in part.

Why it matters
    The shop said that no program runs without this check; it was not made.

What it cannot see
    What the rule would have found.

How to mend
    Give what the rule needs: the reason names the key of the shop file or the flag.

Example
        [checks] requires rapid-into-stock, which could not look: no stock is declared

Safety
    Treat the program as not checked.
"""

from __future__ import annotations

from advisor.rules.base import by_runner, rule

RULE = rule(__doc__, name="required-not-checked", severity="error", group="housekeeping", check=by_runner)
