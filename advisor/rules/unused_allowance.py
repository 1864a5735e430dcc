"""An allowance that puts nothing aside.

What it checks
    Comments of the form (feedwright: allow RULE because REASON): whether the rule exists, the reason is given,
    and the block they stand on has such a finding. Rules that could not look are left out.

Why it matters
    An allowance left behind hides the next fault on that block, which nobody has judged.

What it cannot see
    Whether the reason given is a good one.

How to mend
    Take the comment out, correct the rule's name, or move it to the first block of the finding.

Example
        G1 X40 (feedwright: allow no-feed because the control keeps it)     but F is given

Safety
    Judge the reason again whenever the program changes.
"""

from __future__ import annotations

from advisor.rules.base import by_runner, rule

RULE = rule(__doc__, name="unused-allowance", severity="warning", group="housekeeping", check=by_runner)
