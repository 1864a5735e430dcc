"""A drill goes deeper at once than its chips can leave the hole.

What it checks
    How deep each bite of a drilling move goes into material, from the real surface on, against the high end of the
    table of that material: in metal three diameters for the first bite, then one, half a diameter beyond six; in wood
    three, then two; in plastics one. End mills used as drills: half a diameter in metal, one in wood and plastics. In
    metal also whether the drill is lifted out of the hole between the bites where it is deeper than four diameters
    (common practice, no source). Up to 1.5 times the limit is a warning, beyond an error. The same fault in holes one
    after another is told once.

Why it matters
    Packed chips weld, melt or burn, and the drill breaks in the hole.

What it cannot see
    Whether coolant or air through the tool clears the chips.

How to mend
    Use a pecking cycle with a smaller bite, or a larger number of pecks.

Example
        G81 X10 Y10 Z-30 R2     with a 4 mm drill in aluminium

Safety
    The maker of the drill may allow more or less: that overrides this.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.distinct import distinct
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import METAL, allowed_line, family, graded, series, told, whole_run
from advisor.rules.base import rule
from advisor.values import Cutter
from grammar.classes import dataclass
from grammar.moves import Flag

SLACK = 1.05
DEEP, BEYOND = 6.0, 0.5  # in metal, diameters: below this depth bites of this many; common practice, no source
LIFT = 4.0  # in metal, diameters: in deeper holes the chips are lifted out at each bite; common practice, no source


@dataclass(frozen=True, slots=True)
class Bite:
    """One bite that is too deep, or that follows another in a deep hole without a lift: pieces first..last, mm."""

    first: int
    last: int
    deep: float
    limit: float
    severity: str
    message: str
    fix: str = ""


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding for the bites too deep, and one for those without a lift, of neighbouring holes."""
    judged = list(_judged(evidence))
    allowed = allowed_line(evidence, "peck-too-deep")
    for which in (0, 1):
        for group in series(
            None if (bite := pair[which]) is None else ((bite.severity, allowed(bite.first)), bite) for pair in judged
        ):
            worst = max(group, key=lambda bite: bite.deep / bite.limit)
            places = len({int(evidence.cuts.block[bite.first]) for bite in group})
            yield told(
                "peck-too-deep",
                evidence,
                whole_run(evidence, group[0].first, group[-1].last, worst.first, places),
                worst.message,
                severity=worst.severity,
                measured=round(worst.deep, 3),
                limit=round(worst.limit, 6),
                fix=worst.fix,
            )


def _judged(evidence: Evidence) -> Iterator[tuple[Bite | None, Bite | None]]:
    """Of every hole what is wrong with its bites and with its lifts; the worst bite stands for the hole."""
    cuts = evidence.cuts
    material = family(evidence)
    vertical = ~cuts.rapid & (cuts.run < 1e-6) & (cuts.descent > 1e-6) & (cuts.core > 1e-6)
    hole: tuple[object, ...] | None = None
    surface = old = cuts.placed.top
    before = -1  # row of the move down before
    begun = 0.0  # depth at which the bite began: moves down without a lift between them are one bite
    deep: Bite | None = None
    unlifted: Bite | None = None
    for row in distinct(cuts.row[vertical]).tolist():
        pieces = cuts.of_move(row)
        cutter = cuts.placed.cutters[int(cuts.cutter[pieces.start])]
        is_cycle = bool(cuts.placed.flags[row] & Flag.CYCLE)
        if cutter.form != "drill" and not (is_cycle and cutter.form in ("flat", "corner", "ball")):
            continue
        x, y = (round(float(v), 3) for v in cuts.placed.end[row, :2])
        bite = float(cuts.core[pieces].sum())
        bottom = float(cuts.placed.end[row, 2])
        if (x, y, cutter.name) != hole:
            if hole is not None:
                yield deep, unlifted
            hole, surface, old, before = (x, y, cutter.name), bottom + bite, bottom, -1
            deep = unlifted = None
            begun, short = 0.0, False
        else:
            bite, old = min(bite, max(old - bottom, 0.0)), min(old, bottom)
            short = _reaches(evidence, before, row, float(cuts.placed.end[before, 2]) + 1e-6)
            if short:
                begun = surface - bottom - bite
                short = not _reaches(evidence, before, row, surface - 0.1)
            bite = surface - bottom - begun
        first, last = pieces.start, pieces.stop - 1
        limit = _limit(evidence, cutter, material, begun)
        if bite > limit * SLACK + 1e-6 and (deep is None or bite / limit > deep.deep / deep.limit):
            text = (
                f"This bite goes {bite:.2f} mm deep at once ({bite / cutter.diameter:.1f} diameters); at most {limit:.2f} mm "
                "are advised here."
            )
            deep = Bite(first, last, bite, limit, graded(bite, limit), text)
        depth, most = surface - bottom, LIFT * cutter.diameter
        if material in METAL and short and depth > most * SLACK:
            text = (
                f"The drill goes on {depth:.2f} mm below the surface ({depth / cutter.diameter:.1f} diameters) without being "
                f"lifted out of the hole since the bite before; beyond {most:.2f} mm each bite wants a lift."
            )
            fix = "Use a cycle that lifts the drill out of the hole at each bite (G83)."
            unlifted = Bite(first, last, depth, most, "warning", text, fix)
        before = row
    if hole is not None:
        yield deep, unlifted


def _reaches(evidence: Evidence, before: int, row: int, height: float) -> bool:
    """Whether the tip came up to a height between two moves down."""
    return bool((evidence.placed.end[before + 1 : row, 2] >= height).any())


def _limit(evidence: Evidence, cutter: Cutter, material: str, below: float) -> float:
    """The deepest bite, mm, when the hole is already ``below`` mm deep."""
    metal = material in METAL
    if cutter.form != "drill":
        return cutter.diameter * (0.5 if metal else 1.0)
    assert evidence.setting.material is not None
    values = evidence.setting.material.values
    deep = below / cutter.diameter
    if metal and deep >= DEEP:
        return BEYOND * cutter.diameter
    return values["peck_first" if deep < 0.05 else "peck_next"].high * cutter.diameter


RULE = rule(
    __doc__,
    name="peck-too-deep",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material"),
    unit="mm",
)
