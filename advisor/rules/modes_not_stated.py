r"""The program relies on modes the last program may have left.

What it checks
    Whether distance mode (G90 or G91) is stated before the first move with axis words, and the plane (G17, G18,
    G19) before the first arc, canned cycle or cutter radius compensation.

Why it matters
    If the last program ended in G91 or in another plane, the first move goes somewhere else, or the arc bends
    in another plane.

What it cannot see
    What the control is set to at power-up, and whether every program of the shop resets it.

How to mend
    Begin every program with a line such as G21 G90 G17 G40 G49 G80 G94.

Example
        G21\nG0 X10 Y10     G90 or G91?

Safety
    Check the active modes on the control's display before pressing start.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import first_code
from advisor.rules.base import rule
from grammar.moves import Flag, Kind

NAME = "modes-not-stated"


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding naming what is not stated, at the first block that depends on it."""
    if evidence.setting.fragment:
        return
    moves = evidence.moves
    missing: list[tuple[int, str]] = []
    plain = ((moves.flags & (Flag.MACHINE | Flag.HOME)) == 0) & (moves.kind != Kind.DWELL)
    if plain.any():
        first = int(moves.block[int(plain.argmax())])
        stated = first_code(evidence, "G90", "G91")
        if stated is None or stated > first:
            missing.append((first, "distance mode (G90 or G91)"))
    needing = [
        *(int(moves.block[row]) for row in moves.arc_row[:1]),
        *(evidence.program.codes[c] for c in ("G41", "G42", "G81", "G82", "G83") if c in evidence.program.codes),
    ]
    if needing:
        stated = first_code(evidence, "G17", "G18", "G19")
        if stated is None or stated > min(needing):
            missing.append((min(needing), "plane (G17)"))
    if missing:
        yield Finding(
            rule=NAME,
            block=min(block for block, _ in missing),
            message=f"Not stated before it is needed: {' and '.join(text for _, text in missing)}.",
        )


RULE = rule(__doc__, name=NAME, severity="note", group="set-up", check=check, needs=("moves",), positions=False)
