"""The cutter does not stick out of its holder as far as it has to cut.

What it checks
    The depth of the tip below the stock's top while a tool cuts, plus 3 mm, against the stickout given. Less
    than the depth itself is an error, the 3 mm between are a warning. Where the holder's diameter is given and
    the stock model saw it touch nothing, the rule is silent.

Why it matters
    The holder, or its nut, meets the stock before the cutter is at its depth.

What it cannot see
    Clamps and vise jaws beside the cut, unless they are declared as keep-outs.

How to mend
    Let the cutter stick out further, if its shank allows it and the bending stays small, or use a longer one.

Example
        Z-25 with a stickout of 20 mm

Safety
    Measure the stickout with the cutter in the collet; keep the grip its maker asks for.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._common import mode_flags, tool_name, top, touching
from advisor.rules.base import rule
from advisor.setup_card import GRIP_CLEARANCE

NAME = "stickout-too-short"


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding a tool, at its deepest cut."""
    moves = evidence.moves
    surface = top(evidence)
    if surface is None:
        return
    cuts = touching(evidence)
    z = np.fmin(moves.start[:, 2], moves.end[:, 2]) + evidence.base[2]
    for tool in sorted({mode.tool for mode in moves.modes}, key=lambda t: (t is None, t or 0)):
        with np.errstate(invalid="ignore"):
            rows = cuts & np.isfinite(z) & mode_flags(evidence, [mode.tool == tool for mode in moves.modes])
        if not rows.any():
            continue
        row = int(np.where(rows, z, np.inf).argmin())
        cutter = evidence.cutter_for(evidence.mode(row))
        if cutter is None:
            continue
        depth = surface - float(z[row])
        name = tool_name(tool)
        if cutter.stickout is None:
            key = "[[cutter]] stickout" if tool is None else f"[[cutter]] stickout of T{tool}"
            line = evidence.line(row)
            yield NotChecked(NAME, f"the stickout of {name} is not given: {key} in the shop file", "cutter", line, line)
            continue
        needed = depth + GRIP_CLEARANCE
        if depth <= 0 or cutter.stickout >= needed - RULE.tolerance:
            continue
        if cutter.holder_diameter is not None and _holder_free(evidence, rows):
            continue
        yield Finding(
            rule=NAME,
            block=int(moves.block[row]),
            severity="error" if cutter.stickout < depth - RULE.tolerance else "warning",
            message=f"{name[0].upper()}{name[1:]} cuts {depth:.1f} mm below the stock's top and sticks out "
            f"{cutter.stickout:g} mm; {needed:.1f} mm are needed.",
            measured=cutter.stickout,
            limit=needed,
            at=evidence.point(row),
        )


def _holder_free(evidence: Evidence, rows: np.ndarray) -> bool:
    """True where the stock model looked at the holder of these moves and it touched nothing."""
    cuts = evidence.cuts
    if cuts is None:
        return False
    return not bool((cuts.above[rows[cuts.row]] > 0).any())


RULE = rule(__doc__, name=NAME, severity="error", group="set-up", check=check, needs=("moves", "stock", "cutter"), unit="mm")
