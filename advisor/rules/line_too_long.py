"""A block longer than the language allows.

What it checks
    Characters in a line against 256 (NISTIR 6556, 3.3).

Why it matters
    A control with a fixed buffer may cut the line off and lose its last words.

What it cannot see
    The buffer of the control in use.

How to mend
    Split the block, or shorten its comment.

Example
        G1 X10 (a comment of three hundred characters)

Safety
    Words at the end of the line may be lost: check the axes named there.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules.base import FromReader, rule

NAME = "line-too-long"
MOST = 256  # characters (NISTIR 6556, 3.3)


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a program, at its first long line; the reader's own faults where it tells them."""
    if evidence.faults.get(NAME):
        yield from FromReader(NAME)(evidence)
        return
    source = evidence.program.source
    lengths = np.asarray(source.ends) - np.asarray(source.starts)
    long = np.flatnonzero(lengths > MOST)
    if not len(long):
        return
    line = int(long[0]) + 1
    longest = int(lengths.max())
    more = f" {len(long)} lines are too long; the longest has {longest}." if len(long) > 1 else ""
    yield Finding(
        rule=NAME,
        line=line,
        column=MOST + 1,
        message=f"{int(lengths[line - 1])} characters; the language allows {MOST} a line.{more}",
        measured=float(longest),
        limit=float(MOST),
        unit="characters",
    )


RULE = rule(__doc__, name=NAME, severity="note", group="reading", check=check, unit="characters")
