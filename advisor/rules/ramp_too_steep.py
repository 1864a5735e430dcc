"""A ramp into material that is steeper than the cutter can take.

What it checks
    The net angle of a whole descent through material. For cutters that do not cut at their centre: the angle given by
    their maker. In metals: the limit of that material and machine, for drops above 0.1 mm. In wood and plastics a
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
from advisor.rules._motion import METAL, WOOD, descents, family, no_limits, told, whole_run
from advisor.rules.base import rule
from advisor.rules.helix_too_tight import helix_rows
from advisor.rules.straight_plunge import STEEP

LEAST = 0.1


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each descent that is too steep."""
    cuts, along = evidence.cuts, evidence.along
    yield from no_limits("ramp-too-steep", evidence)
    material = family(evidence)
    helices = helix_rows(evidence)
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
                yield NotChecked(
                    "ramp-too-steep",
                    f"the ramp angle of {cutter.name} is not known: give its maker's ramp_angle",
                    "cutter",
                    line,
                    line,
                )
                continue
        elif material in METAL:
            most, severity = limit.ramp_angle_max, "warning"
        else:
            continue
        if most is None or fall.angle <= most + 1e-6:
            continue
        yield told(
            "ramp-too-steep",
            evidence,
            whole_run(evidence, fall.first, fall.last),
            f"The cutter goes down at {fall.angle:.1f} degrees ({fall.drop:.2f} mm over {fall.run:.1f} mm); at most "
            f"{most:.1f} degrees are advised.",
            severity=severity,
            measured=fall.angle,
            limit=most,
        )


RULE = rule(
    __doc__,
    name="ramp-too-steep",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="deg",
)
