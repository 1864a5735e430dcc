"""A cutter goes straight down into material it should not plunge into.

What it checks
    Descents of 60 degrees and more through material under the axis (more than 0.2 mm of it). Told are: cutters that
    do not cut at their centre, always; in metal, plunges deeper than a tenth of the diameter; in wood and boards,
    down-cut and compression cutters, and others deeper than one diameter. Drills, V cutters up to half their
    diameter deep, holes already opened, and foam are left out (common practice, no source).

Why it matters
    At the centre the cutting speed is zero. End mills rub there, pack chips, burn wood and break in metal; a cutter
    without centre edges cannot go down at all.

What it cannot see
    Whether a hole was drilled before by another program, unless that program is declared in the same job.

How to mend
    Enter by a ramp or a helix, or drill the place first; `feedwright speeds` gives the entry.

Example
        G1 Z-8 F300     straight into aluminium with an end mill

Safety
    The limit given by the cutter's maker for plunging overrides this one.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.limits import plunge_depth
from advisor.rules._motion import METAL, WOOD, Descent, allowed_line, descents, family, series, told, whole_run
from advisor.rules.base import rule

SLACK = 1.005  # inches are written rounded
STEEP = 60.0
LEAST = 0.2


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for each steep descent that takes too much from under the axis; those in a row are told once."""
    unjudged: list[int] = []
    for group in series(_judged(evidence, unjudged)):
        fall, limit, severity, why = max(group, key=lambda fault: fault[0].core)
        deep = round(fall.core, 4)
        yield told(
            "straight-plunge",
            evidence,
            whole_run(evidence, group[0][0].first, group[-1][0].last, fall.first, len(group)),
            f"The cutter goes {deep:.2f} mm straight down into material (net {min(fall.angle, 90.0):.0f} degrees); {why}.",
            severity=severity,
            measured=deep,
            limit=limit,
        )
    if unjudged:
        lines = [evidence.program.line_of(b) for b in unjudged]
        reason = "no material is given: give [stock] material or --material"
        yield NotChecked("straight-plunge", reason, "material", min(lines), max(lines))


def _judged(evidence: Evidence, unjudged: list[int]) -> Iterator[tuple[object, tuple[Descent, float, str, str]] | None]:
    """Every steep descent that was judged: too deep ones with limit, severity and reason, None for the others."""
    cuts = evidence.cuts
    material = family(evidence)
    allowed = allowed_line(evidence, "straight-plunge")
    for fall in descents(cuts, steep=STEEP):
        cutter = cuts.placed.cutters[fall.cutter]
        if round(fall.core, 4) <= LEAST or cutter.form == "drill":
            continue
        if cutter.form == "vee" and fall.core <= 0.5 * cutter.diameter:
            continue
        limit, severity, why = LEAST, "error", "this cutter does not cut at its centre"
        if cutter.centre_cutting:
            severity = "warning"
            if not material:
                unjudged.append(int(cuts.block[fall.first]))
                continue
            if material in METAL:
                why = "in metal an end mill should not be used as a drill"
            elif material in WOOD and cutter.twist in ("down", "compression"):
                kind = "down-cut" if cutter.twist == "down" else "compression"
                why = f"a {kind} cutter cannot clear its chips upward"
            else:
                why = "deeper than a diameter the chips pack and burn"
            limit = max(LEAST, plunge_depth(cutter, material))
        if round(fall.core, 4) <= limit * SLACK + 1e-6:
            yield None
        else:
            yield (severity, why, limit, fall.cutter, allowed(fall.first)), (fall, limit, severity, why)


RULE = rule(
    __doc__,
    name="straight-plunge",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement"),
    unit="mm",
)
