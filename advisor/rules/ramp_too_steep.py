"""A ramp into material that is steeper than the cutter can take.

What it checks
    The net angle of a whole descent through material. For cutters that do not cut at their centre: the angle given by
    their maker. In metals: the limit of that material and machine, for drops above 0.1 mm; up to 1.5 times that is a
    warning, beyond an error. In wood and plastics a
    ramp of a centre-cutting cutter is judged by its downward speed alone (plunge-feed): a ramp is never worse than a
    plunge. Left out: descents with little material under the axis, tabs in wood, and helices (helix-too-tight).

Why it matters
    Below its end edges a cutter has nothing that cuts; the core rubs on the floor, then the cutter breaks.

What it cannot see
    The height of the core above the end edges, where the maker does not give it.

How to mend
    Make the ramp longer, or go down in more passes.

Example
        G1 X20 Z-5      from X0 Z0 into steel: 14 degrees

Safety
    The ramp angle given by the cutter's maker overrides these.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import (
    METAL,
    WOOD,
    Descent,
    allowed_line,
    descents,
    family,
    graded,
    no_limits,
    series,
    told,
    whole_run,
)
from advisor.rules.base import rule
from advisor.rules.helix_too_tight import helix_rows
from advisor.rules.straight_plunge import STEEP

LEAST = 0.1


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each descent that is too steep; those that follow each other are told once."""
    yield from no_limits("ramp-too-steep", evidence)
    unknown: list[NotChecked] = []
    for group in series(_faults(evidence, unknown)):
        fall, most, severity = max(group, key=lambda fault: fault[0].angle / fault[1])
        yield told(
            "ramp-too-steep",
            evidence,
            whole_run(evidence, group[0][0].first, group[-1][0].last, fall.first, len(group)),
            f"The cutter goes down at {fall.angle:.2f} degrees ({fall.drop:.2f} mm over {fall.run:.1f} mm); at most "
            f"{most:.2f} degrees are advised.",
            severity=severity,
            measured=round(fall.angle, 3),
            limit=round(most, 3),
        )
    yield from unknown


def _faults(evidence: Evidence, unknown: list[NotChecked]) -> Iterator[tuple[object, tuple[Descent, float, str]] | None]:
    """Every descent that was judged: too steep ones with the steepest angle allowed and severity, None for the others."""
    cuts, along = evidence.cuts, evidence.along
    material = family(evidence)
    helices = helix_rows(evidence)
    allowed = allowed_line(evidence, "ramp-too-steep")
    for fall in descents(cuts, shallow=STEEP):
        cutter, limit = cuts.placed.cutters[fall.cutter], along.limits[fall.cutter]
        if limit is None or cutter.form in ("drill", "vee"):
            continue
        if int(cuts.row[fall.first]) in helices or fall.drop <= LEAST or fall.core <= 0.1 * cutter.diameter:
            continue
        if material in WOOD and fall.drop <= 0.5 * cutter.diameter:
            continue
        if not cutter.centre_cutting:
            most, severity = limit.ramp_angle_max, "error"
            if most is None:
                line = evidence.program.line_of(int(cuts.block[fall.first]))
                reason = f"the ramp angle of {cutter.name} is not known: give its maker's ramp_angle"
                unknown.append(NotChecked("ramp-too-steep", reason, "cutter", line, line))
                continue
        elif material in METAL and limit.ramp_angle_max is not None:
            most = limit.ramp_angle_max
            severity = graded(fall.angle, most)
        else:
            continue
        # Single precision and rounded coordinates leave a ten-thousandth of the angle.
        if fall.angle <= most * (1 + 1e-4) + 1e-6:
            yield None
        else:
            yield (severity, fall.cutter, round(most, 6), allowed(fall.first)), (fall, most, severity)


RULE = rule(
    __doc__,
    name="ramp-too-steep",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="deg",
)
