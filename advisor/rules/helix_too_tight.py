"""A helical entry whose bore or pitch the cutter cannot take.

What it checks
    Helical arcs that go down through material: the bore against the cutter (below the diameter plus the dead diameter
    of a cutter that does not cut at its centre; below 1.1 diameters in metal; above twice the diameter a post is left
    standing), and the descent per turn against the material's limit. The angle at the cutter's centre is no measure:
    in a narrow bore it is steep and harmless. Bores already opened and threads are left out.

Why it matters
    In a bore too narrow the middle is never cut and the cutter stands on it; a pitch too great overloads the end.

What it cannot see
    Threads milled with a thread mill, where its form is not declared.

How to mend
    Widen the helix to 1.2 to 1.8 diameters, or lower the pitch.

Example
        G2 I1 Z-5       with a 10 mm cutter in steel: 5 mm in one turn

Safety
    The limits given by the cutter's maker override these.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import METAL, allowed_line, family, graded, no_limits, series, told, whole_run
from advisor.rules.base import rule
from grammar.classes import dataclass

SLIP = 1e-4  # mm; coordinates are written rounded
METAL_BORE = 1.1  # diameters; common practice, no source


def helix_rows(evidence: Evidence) -> dict[int, tuple[float, float, float]]:
    """Rows of helical arcs that go down, with path radius mm, descent per turn mm and turns of the whole helix.

    Arcs that follow each other about one centre are one helix; what turns less than half a turn is no helix.
    """
    placed = evidence.placed
    with np.errstate(invalid="ignore"):
        fall = placed.start[placed.arc_row, 2] - placed.end[placed.arc_row, 2]
        k = np.flatnonzero((placed.plane == 17) & (fall > 1e-6))
    if not len(k):
        return {}
    rows, centre = placed.arc_row[k], placed.centre[k, :2]
    with np.errstate(invalid="ignore", over="ignore"):
        apart = (np.diff(rows) != 1) | ~(np.hypot(*np.diff(centre, axis=0).T) < 1e-3)
    first = np.flatnonzero(np.concatenate([[True], apart]))
    turn = np.add.reduceat(np.abs(placed.sweep[k]), first) / (2 * np.pi)
    drop = np.add.reduceat(fall[k], first)
    radius = np.hypot(*(placed.start[rows[first], :2] - centre[first]).T)
    last = np.append(first[1:], len(k))
    return {
        row: (float(radius[g]), float(drop[g] / turn[g]), float(turn[g]))
        for g in np.flatnonzero((turn >= 0.5) & (drop > 1e-6)).tolist()
        for row in rows[first[g] : last[g]].tolist()
    }


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """Bore, pitch and post of every helix through material."""
    yield from no_limits("helix-too-tight", evidence)
    judged = list(_judged(evidence))
    # Bore and pitch are judged apart, each over all helices.
    for which in (0, 1):
        for group in series(None if (fault := pair[which]) is None else (fault.kind, fault) for pair in judged):
            worst = max(group, key=lambda fault: fault.excess)
            yield told(
                "helix-too-tight",
                evidence,
                whole_run(evidence, group[0].first, group[-1].last, worst.worst, len(group)),
                worst.message,
                severity=worst.severity,
                measured=round(worst.measured, 4),
                limit=round(worst.limit, 6),
                unit="mm",
                fix=worst.fix,
            )


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one helix: pieces first..last, how many times past its limit, what to tell."""

    kind: tuple[object, ...]
    first: int
    last: int
    worst: int
    excess: float
    severity: str
    message: str
    measured: float
    limit: float
    fix: str = ""


def _judged(evidence: Evidence) -> Iterator[tuple[Fault | None, Fault | None]]:
    """Of every helix through material what is wrong with its bore and with its pitch."""
    cuts, along = evidence.cuts, evidence.along
    metal = family(evidence) in METAL
    allowed = allowed_line(evidence, "helix-too-tight")
    rows = helix_rows(evidence)
    groups: list[list[int]] = []
    for row in sorted(rows):
        if groups and row - groups[-1][-1] == 1 and rows[row] == rows[groups[-1][-1]]:
            groups[-1].append(row)
        else:
            groups.append([row])
    for group in groups:
        first = cuts.of_move(group[0]).start
        last = cuts.of_move(group[-1]).stop - 1
        if last < first:
            continue
        radius, pitch, turns = rows[group[0]]
        pitch = max(pitch, *(_own_pitch(evidence, row) for row in group), 0.0)
        limit = along.limits[int(cuts.cutter[first])] if int(cuts.cutter[first]) >= 0 else None
        volume = float(cuts.volume[first : last + 1].sum())
        if limit is None or volume <= 0:
            continue
        cutter = limit.cutter
        bore = 2 * radius + cutter.diameter
        pieces = slice(first, last + 1)
        # Material inside the path, where the core of the bore stands: an opened bore has only its wall left.
        disc = np.pi * (bore / 2) ** 2 * max(1e-9, float(cuts.start[first, 2] - cuts.end[last, 2]))
        opened = volume < 0.4 * disc
        if opened:
            continue
        where = (first, last, int(first + np.argmax(cuts.depth[pieces])))
        here = allowed(first)
        wrong: Fault | None = None
        coarse: Fault | None = None
        narrowest = cutter.diameter + cutter.dead_diameter
        if not cutter.centre_cutting and bore < narrowest - SLIP:
            wrong = Fault(
                ("dead", cutter.name, here), *where, narrowest / bore, "error",
                f"The bore of {bore:.2f} mm is too narrow for this cutter, which does not cut within "
                f"{cutter.dead_diameter:.2f} mm of its centre.",
                bore, narrowest,
            )  # fmt: skip
        elif metal and bore < METAL_BORE * cutter.diameter - SLIP:
            least = METAL_BORE * cutter.diameter
            wrong = Fault(
                ("narrow", cutter.name, here), *where, least / bore, "warning",
                f"The bore of {bore:.2f} mm is hardly wider than the cutter; in metal at least {least:.2f} mm are advised.",
                bore, least,
            )  # fmt: skip
        elif turns >= 0.99 and bore > limit.bore_max + SLIP and _post(evidence, group[-1]):
            wrong = Fault(
                ("post", cutter.name, here), *where, bore / limit.bore_max, "note",
                f"The bore of {bore:.2f} mm is wider than {limit.bore_max:.2f} mm: a post is left standing in its middle.",
                bore, limit.bore_max, "Clear the post before anything else, or make the helix narrower.",
            )  # fmt: skip
        most = limit.helix_pitch_max
        if pitch > most + SLIP:
            severity = graded(pitch, most)
            coarse = Fault(
                (severity, cutter.name, here), *where, pitch / most, severity,
                f"The helix goes down {pitch:.2f} mm a turn; at most {most:.2f} mm are advised.",
                pitch, most, "Lower the descent of each turn: more turns, or a longer helix.",
            )  # fmt: skip
        yield wrong, coarse


def _own_pitch(evidence: Evidence, row: int) -> float:
    """Descent per turn of one arc, mm; 0 for arcs of less than half a turn."""
    placed = evidence.placed
    turn = abs(float(placed.sweep[int(np.searchsorted(placed.arc_row, row))])) / (2 * np.pi)
    return float(placed.start[row, 2] - placed.end[row, 2]) / turn if turn >= 0.5 else 0.0


def _post(evidence: Evidence, row: int) -> bool:
    """Whether material still stands in the middle of a helix when the program has ended."""
    cuts, placed = evidence.cuts, evidence.placed
    k = int(np.searchsorted(placed.arc_row, row))
    x, y = placed.centre[k, :2]
    grid = cuts.field.grid
    i, j = int(x // grid.dx), int(y // grid.dy)
    if not (0 <= i < grid.nx and 0 <= j < grid.ny):
        return False
    return bool(cuts.field.top[i, j] > placed.end[row, 2] + 0.1)


RULE = rule(
    __doc__,
    name="helix-too-tight",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
)
