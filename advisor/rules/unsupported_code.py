"""A code or axis that is in the language but not on this machine.

What it checks
    Turning axes (A, B, C) on a machine whose travel in the shop file does not list them, feed per turn (G95) on
    a router whose spindle does not measure its turn, and codes the reader knows but does not follow. Codes the
    shop file lists for the machine are left out.

Why it matters
    On a machine without the part the code asks for, the program stops, or goes on without it.

What it cannot see
    What is really fitted to the machine, beyond what the shop file says.

How to mend
    Take the code out, run the program on a machine that has it, or list it in the shop file.

Example
        G1 X40 A30     on a machine with X, Y and Z only

Safety
    Do not run a program with this finding: what the machine will do there is not known.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules.base import FromReader, rule

NAME = "unsupported-code"


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a code or axis, at its first use."""
    yield from FromReader(NAME)(evidence)
    machine, program = evidence.setting.machine, evidence.program
    if machine is None:
        return
    if machine.travel:
        for letter in "ABC":
            if letter in program.letters and letter.lower() not in machine.travel and letter not in machine.codes:
                yield Finding(
                    rule=NAME,
                    block=program.letters[letter],
                    message=f"The program turns the {letter} axis, which the machine's travel does not list.",
                    fix=f"Take {letter} out, or give its travel under [machine] in the shop file.",
                )
    if machine.kind == "router" and "G95" in program.codes and "G95" not in machine.codes:
        yield Finding(
            rule=NAME,
            block=program.codes["G95"],
            message="G95 asks for feed per turn, and a router's spindle does not measure its turn.",
            fix="Write G94 and a feed in millimetres (or inches) a minute.",
        )


RULE = rule(__doc__, name=NAME, severity="error", group="reading", check=check)
