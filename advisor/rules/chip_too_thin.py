"""The chip is so thin that the cutter rubs instead of cutting.

What it checks
    The greatest chip thickness, at the feed the machine really reaches, against half the low end of the table for that
    cutter and material (in metal not below 0.4 times the edge radius), where that holds for more than a fifth of a
    tool's cutting time. Cuts too light for the stock model (two cells, a twentieth of the diameter) are not judged.
    Entries are judged by the feed they ask for; they, finishing passes and ball cutters are noted once only. Level
    cuts over two diameters and more whose feed per tooth is less than a fifth of that least chip are told wherever
    they are. A drill is judged by its feed a turn, against half the low end of the feed of drills.

Why it matters
    Rubbing makes heat: wood burns, plastics melt, steel hardens, and the edge is gone early.

What it cannot see
    How sharp the edge is.

How to mend
    Raise the feed or lower the spindle speed; use a cutter with fewer flutes.

Example
        G1 X200 F400    with a two-flute 6 mm cutter in plywood at 24 000 turns

Safety
    Smouldering dust in the extraction starts fires: look for burnt edges and smell after the first pass.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.distinct import distinct, median
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._motion import no_limits, runs, told
from advisor.rules.base import rule
from advisor.rules.unit_mix_up import check as unit_mix_up
from advisor.values import Cutter

SHARE = 0.2
LOST = 0.4  # of the least chip; estimate, no source
SLIP = 0.2  # of the least chip: no feed advised for anything is as low, so it is a slip; estimate, no source
SLIP_LENGTH = 2.0  # diameters of path it must govern


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """At most one finding a cutter."""
    cuts, along = evidence.cuts, evidence.along
    yield from no_limits("chip-too-thin", evidence)
    with np.errstate(invalid="ignore", divide="ignore"):
        real = along.thickest * np.where(along.feed > 0, np.minimum(1.0, along.reached / along.feed), np.nan)
    # Ramps and helices are judged by the feed they ask for, and so is the skin they leave for the level pass after them.
    depth = np.asarray(cuts.mean_depth, dtype=float)
    level = np.asarray(cuts.descent) < 0.01 * np.asarray(cuts.length)
    skin = depth < 0.05 * 2 * np.asarray(cuts.radius)
    real = np.where(level & ~skin, real, along.thickest)
    entered = ~level | ~skin
    # Where the whole program reads the wrong unit, unit-mix-up tells it.
    mixed = any(unit_mix_up(evidence))
    for index, limit in enumerate(along.limits):
        if limit is None:
            continue
        if limit.cutter.form == "drill":
            if not mixed:
                yield from _drill(evidence, index, limit.drill_feed_low)
            continue
        cutter = limit.cutter
        width = np.asarray(cuts.width, dtype=float)
        chip = real / _edge(cutter, np.asarray(cuts.depth, dtype=float))
        with np.errstate(invalid="ignore"):
            judged = (
                along.cutting
                & (cuts.cutter == index)
                & (width >= max(2 * cuts.cell, 0.05 * cutter.diameter))
                & np.isfinite(real)
                & (entered | (cutter.form == "flat"))
            )
            wide = np.clip(2 * width / cutter.diameter - 1, 0.0, 1.0) if cutter.form != "vee" else 1.0
            least = np.maximum(
                limit.chip_least * (1 - wide * (1 - limit.slot_chip_factor)),
                0.4 * limit.edge_radius if limit.metal else 0.0,
            )
            if cutter.form == "vee":  # a groove of its own, as wide as it is at that depth
                least = least * vee_share(evidence, cutter, np.asarray(cuts.depth, dtype=float), cuts.cutter == index)
            # A skimming cut is told only where its feed has gone wrong.
            thin = judged & (chip < np.where(level & skin, 0.5, 1.0) * least - 1e-6)
        total = float(np.nansum(along.minutes[along.cutting & (cuts.cutter == index)]))
        spent = float(np.nansum(along.minutes[thin]))
        if total <= 0 or spent <= SHARE * total:
            if not mixed:
                # Round cutters follow surfaces, skimming them up and down: their feed per tooth is judged there too.
                along_it = level if cutter.form == "flat" else np.asarray(cuts.descent) < 0.1 * np.asarray(cuts.length)
                fed = along.cutting & (cuts.cutter == index) & (width >= max(2 * cuts.cell, 0.05 * cutter.diameter))
                yield from _slips(evidence, fed & along_it & (along.chip < SLIP * least), cutter, least)
            continue
        lack = np.where(thin, least / np.maximum(chip, 1e-9), 0.0)
        found = runs(cuts, thin, lack, gap=3)
        longest = max(found, key=lambda r: r.length)
        k = longest.worst
        # No finish is cut with a feed per tooth of four tenths of the least chip: that is a feed gone wrong.
        lost = not mixed and cutter.form == "flat" and spent > 0.5 * total and bool(median((along.chip / least)[thin]) < LOST)
        # What is thin in ramps and helices alone is how they are entered: a note, unless the feed is a slip.
        entries = thin & ~level
        entered_only = float(np.nansum(along.minutes[thin & level])) <= SHARE * total
        entered_only &= not entries.any() or bool(median((along.chip / least)[entries]) >= SLIP)
        gentle = not lost and (
            entered_only
            or cutter.form == "ball"
            or bool(median(cuts.depth[thin]) < 0.25 * cutter.diameter)
            or bool(median(width[thin]) < 0.15 * cutter.diameter)
        )
        yield told(
            "chip-too-thin",
            evidence,
            longest,
            f"For {100 * spent / total:.0f} % of its cutting time this cutter takes chips of less than {least[k]:.3f} mm "
            f"({chip[k]:.3f} mm at worst, F{along.feed[k]:.0f} at {along.rpm[k]:.0f} rev/min): it rubs.",
            severity="note" if gentle else "",
            measured=float(chip[k]),
            limit=float(least[k]),
        )


def _slips(evidence: Evidence, slow: np.ndarray, cutter: Cutter, least: np.ndarray) -> Iterator[Finding]:
    """Level cuts, however few, at a feed per tooth so small that it must be a slip."""
    cuts, along = evidence.cuts, evidence.along
    with np.errstate(invalid="ignore", divide="ignore"):
        lack = np.where(slow, least / np.maximum(along.chip, 1e-9), 0.0)
    for run in runs(cuts, slow, lack, gap=1, key=np.round(along.feed, 6)):
        if run.length >= SLIP_LENGTH * cutter.diameter:
            k = run.worst
            yield told(
                "chip-too-thin",
                evidence,
                run,
                f"Over {run.length:.0f} mm each tooth is fed {along.chip[k]:.4f} mm (F{along.feed[k]:.4g} at "
                f"{along.rpm[k]:.0f} rev/min); {least[k]:.3f} mm is the least chip: a lost digit in F?",
                measured=float(along.chip[k]),
                limit=float(least[k]),
            )


def _edge(cutter: Cutter, depth: np.ndarray) -> np.ndarray:
    """What a round edge leaves of the chip at its top. Near the tip it always ploughs, so its thinning is no fault of the
    feed: the limits of advice leave it out too."""
    radius = {"ball": cutter.radius, "corner": cutter.corner_radius}.get(cutter.form, 0.0)
    if radius <= 0.0:
        return np.ones(len(depth))
    share = np.clip(depth / radius, 0.0, 1.0)
    return np.asarray(np.sqrt(np.clip(2 * share - share * share, 1e-6, 1.0)))


def vee_share(evidence: Evidence, cutter: Cutter, depth: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Chip load of a V cutter as wide as it is at each depth, as a share of that at its whole diameter."""
    from advisor.limits import chip_load_at
    from advisor.operations import effective_diameter

    material = evidence.setting.material
    assert material is not None
    whole = chip_load_at(material, cutter.diameter)[1]
    smallest = min(material.chip_load)
    out = np.ones(len(depth))
    steps = np.round(depth, 2)
    for deep in distinct(steps[rows]).tolist():
        here = max(effective_diameter(cutter, deep), smallest)
        out[rows & (steps == deep)] = chip_load_at(material, here)[1] / whole
    return out


def _drill(evidence: Evidence, index: int, low: float) -> Iterator[Finding]:
    """A drill that goes down at less than half the low end of its feed for more than a fifth of its time in material."""
    cuts, along = evidence.cuts, evidence.along
    boring = along.cutting & (cuts.cutter == index) & (np.asarray(cuts.descent) > 1e-9) & (along.rpm > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        turn = np.where(boring, along.feed / along.rpm, np.inf)
    thin = boring & (turn < 0.5 * low - 1e-6)
    total = float(np.nansum(along.minutes[boring]))
    if total <= 0 or float(np.nansum(along.minutes[thin])) <= SHARE * total:
        return
    longest = max(runs(cuts, thin, np.where(thin, low / np.maximum(turn, 1e-9), 0.0), gap=3), key=lambda r: r.length)
    k = longest.worst
    yield told(
        "chip-too-thin",
        evidence,
        longest,
        f"This drill goes down only {turn[k]:.3f} mm a turn (F{along.feed[k]:.0f} at {along.rpm[k]:.0f} rev/min); "
        f"{low:.3f} mm is the low end for it here: it rubs.",
        measured=float(turn[k]),
        limit=0.5 * low,
    )


RULE = rule(
    __doc__,
    name="chip-too-thin",
    severity="warning",
    group="motion",
    check=check,
    needs=("moves", "engagement", "material", "machine"),
    unit="mm",
)
