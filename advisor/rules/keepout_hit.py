"""A part of the tool enters a declared keep-out.

What it checks
    Cutter, shank, holder and spindle nose on every move, against the boxes declared under [hold] keepouts. Work held by
    clamps or in a vise is not checked where no keep-outs are declared, nor is work held by screws nobody located.

Why it matters
    Clamps and screws are steel. Hitting one breaks the cutter and throws parts of it.

What it cannot see
    Clamps, screws and vises that are not declared, and a clamp that was put elsewhere.

How to mend
    Move the clamp, lift over it, or leave a tab where it stands; then bring the keep-outs up to date.

Example
        G0 Z5
        G0 X-10 Y95     a clamp 45 mm high stands there

Safety
    Turn the spindle by hand through the critical place, or run it high in air, before the real run.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import whole
from advisor.rules.base import rule
from advisor.values import Hold


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each keep-out and run of neighbouring moves in it, at the deepest place."""
    cuts, hold = evidence.cuts, evidence.setting.hold
    if not hold.keepouts:
        reason = _unseen(hold)
        if reason is not None:
            yield whole("keepout-hit", evidence, reason, "hold")
        return  # nothing that holds the work stands in the way
    hits = sorted((t for t in cuts.keepouts if t.depth > 1e-6), key=lambda t: (t.keepout, t.row, t.piece))
    group: list[Any] = []
    for k, touch in enumerate(hits):
        group.append(touch)
        nearby = (
            k + 1 < len(hits)
            and hits[k + 1].keepout == touch.keepout
            and int(cuts.placed.block[hits[k + 1].row]) - int(cuts.placed.block[touch.row]) in range(4)
        )
        if nearby:
            continue
        worst = max(group, key=lambda t: t.depth)
        first = group[0]
        box = hold.keepouts[touch.keepout]
        yield Finding(
            rule="keepout-hit",
            message=f"The {worst.part} goes {worst.depth:.2f} mm into the keep-out {box.name!r}.",
            block=int(cuts.placed.block[first.row]),
            end_block=int(cuts.placed.block[touch.row]),
            measured=worst.depth,
            limit=0.0,
            at=worst.at,
        )
        group = []


def _unseen(hold: Hold) -> str | None:
    """Why nothing can be said about what holds the work where no keep-outs are declared; None where nothing stands up."""
    if hold.method is None and not hold.points:
        return "no keep-outs are declared: give [hold] keepouts in the shop file"
    if hold.method in ("clamps", "vise"):
        what = "clamps stand" if hold.method == "clamps" else "jaws of the vise stand"
        return f"where the {what} is not declared: give [hold] keepouts in the shop file"
    if hold.method == "screws" and not hold.points:
        return "where the screws are is not declared: give [hold] points or keepouts in the shop file"
    return None


RULE = rule(
    __doc__,
    name="keepout-hit",
    severity="error",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="mm",
)
