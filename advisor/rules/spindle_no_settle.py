r"""The cutter reaches the work before the spindle has reached its speed.

What it checks
    The time from a spindle start, or a change of speed by more than 20 %, to the first contact with the work,
    against the time the machine's spindle needs (spin_up for its full speed, in proportion for less).

Why it matters
    The first teeth cut too thick a chip at too low a speed: the cutter chips, or the spindle stalls.

What it cannot see
    A control that waits for the spindle by itself; say [machine] spindle_start = interlock then. Moves from an
    unknown position are not counted in the time.

How to mend
    Write a dwell after the start, for example G4 P4 for four seconds.

Example
        S18000 M3\nG1 Z-3 F600     on a spindle that needs 3 s

Safety
    Listen for the spindle to reach its speed before the cutter goes down.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules._common import touching
from advisor.rules.base import rule

NAME = "spindle-no-settle"
CHANGE = 0.2  # of the speed; common practice, no source


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a start that is too short before the cut."""
    machine = evidence.setting.machine
    moves = evidence.moves
    if machine is None or machine.spindle_start != "program" or machine.spin_up <= 0:
        return
    cuts = np.flatnonzero(touching(evidence))
    if not len(cuts):
        return
    seconds = np.concatenate(([0.0], np.cumsum(np.nan_to_num(evidence.timing.minutes) * 60)))
    speed = 0.0  # of the spindle as it turns now
    changes = np.flatnonzero(np.diff(moves.mode, prepend=-1))
    for row in changes:
        mode = evidence.mode(int(row))
        wanted = mode.rpm if mode.spindle != "off" else 0.0
        step = abs(wanted - speed)
        if wanted > 0 and step > CHANGE * max(wanted, speed):
            need = machine.spin_up * min(1.0, step / machine.spindle_max)
            at = int(np.searchsorted(cuts, row))
            if at < len(cuts):
                cut = int(cuts[at])
                until = evidence.mode(cut)
                given = float(seconds[cut] - seconds[row])
                if until.rpm == wanted and until.spindle == mode.spindle and given < need - 1e-6:
                    yield Finding(
                        rule=NAME,
                        block=int(moves.block[cut]),
                        severity="warning" if machine.kind == "router" else "note",
                        message=f"The spindle needs {need:.1f} s to reach {wanted:g} rpm; it cuts after {given:.1f} s.",
                        measured=round(given, 3),
                        limit=round(need, 3),
                        unit="s",
                        at=evidence.point(cut),
                        fix=f"Write a dwell after the spindle start, for example G4 P{np.ceil(need):g}.",
                    )
        speed = wanted


RULE = rule(__doc__, name=NAME, severity="note", group="set-up", check=check, needs=("moves", "machine"), unit="s")
