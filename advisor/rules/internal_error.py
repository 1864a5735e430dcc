"""Feedwright itself failed on this program.

What it checks
    Whether every part of the check came to its end. A rule, the reading or the stock model that fails is told,
    with where and why.

Why it matters
    What failed did not look; its silence means nothing.

What it cannot see
    Whether the results of the other rules are touched by the same fault.

How to mend
    Send the message, and the smallest part of the program that still shows it, to the makers of Feedwright.

Example
        Feedwright failed while looking at the program: thin-floor

Safety
    Look through this program by hand, as if no check had been run.
"""

from __future__ import annotations

from advisor.rules.base import by_runner, rule

RULE = rule(__doc__, name="internal-error", severity="error", group="housekeeping", check=by_runner)
