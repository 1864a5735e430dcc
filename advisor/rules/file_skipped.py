"""A file that was to be checked and could not be read.

What it checks
    Files met while walking a folder that can't be opened, are too large, are not plain files, or lead out of
    the folder.

Why it matters
    A file that was left out must not pass for one without findings.

What it cannot see
    Anything in the file.

How to mend
    Give the right to read it, or take it out of the folder or out of the endings the shop file names.

Example
        hatch-ring.ngc: permission denied

Safety
    Nothing of this file was checked.
"""

from __future__ import annotations

from advisor.rules.base import by_runner, rule

RULE = rule(__doc__, name="file-skipped", severity="error", group="housekeeping", check=by_runner)
