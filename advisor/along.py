"""The cut along a program: chip, force, power, deflection and stress of every piece of the path.

Geometry comes from the stock model, limits and forces from the chip-load engine. The chip follows the centre's feed per
tooth and the engagement angle: h = f_z * cos(angle from the direction of travel) (circular path approximation). Power
uses the pessimistic, worn-edge end of the material's data, as the advice does; bending and stress its nominal value, since
the sources differ by two to four times and a rule that judges others' programs should be sure. All arrays have one row a
piece.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from advisor.limits import CutLimits, ForceLaw, NoData, cut_limits
from advisor.operations import engage
from advisor.search import stress_force
from grammar.classes import dataclass

if TYPE_CHECKING:
    from advisor.stock import Cuts
    from advisor.timing import Timing
    from advisor.values import Setting

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Along:
    """rpm (m,) rev/min, 0 where the spindle stands; feed (m,) mm/min asked for and reached (m,) mm/min;
    chip (m,) feed per tooth, mm; thickest, mean (m,) undeformed chip thickness, mm, NaN where nothing is removed or the
    move is vertical; angle (m,) engagement, degrees; teeth (m,) mean teeth in cut; force (m,) mean tangential force of
    one tooth, N; power (m,) W; deflection (m,) mm across the tool at its tip; stress (m,) bending stress, N/mm2;
    minutes (m,) time of each piece; cutting (m,) pieces that remove material at feed.
    limits: by cutter index, None where none could be worked out; reasons: why not.
    """

    rpm: Floats
    feed: Floats
    reached: Floats
    chip: Floats
    thickest: Floats
    mean: Floats
    angle: Floats
    teeth: Floats
    force: Floats
    power: Floats
    deflection: Floats
    stress: Floats
    minutes: Floats
    cutting: Bools
    limits: tuple[CutLimits | None, ...]
    reasons: tuple[str, ...]

    def table(self, cuts: Cuts, value: Callable[[CutLimits], float | None]) -> Floats:
        """A limit spread over the pieces, NaN where it is not known."""
        found = [value(limit) if limit is not None else None for limit in self.limits] or [None]
        numbers = np.array([np.nan if v is None else float(v) for v in found])
        return np.asarray(numbers[cuts.cutter])


def along(cuts: Cuts, setting: Setting, timing: Timing) -> Along:
    """Work out the cut along the path."""
    placed = cuts.placed
    limits: list[CutLimits | None] = []
    reasons: list[str] = []
    for cutter in placed.cutters:
        found: CutLimits | None = None
        reason = ""
        if setting.material is None:
            reason = "no material is given"
        elif setting.machine is None:
            reason = "no machine is given"
        else:
            try:
                found = cut_limits(cutter=cutter, material=setting.material, machine=setting.machine)
            except NoData as error:
                reason = str(error)
        limits.append(found)
        reasons.append(reason)
    modes = placed.moves.modes
    speeds = np.array([m.rpm if m.spindle != "off" else 0.0 for m in modes] or [0.0])
    rpm = speeds[placed.mode[cuts.row]]
    flutes = np.array([max(1, c.flutes) for c in placed.cutters] or [1], dtype=float)[cuts.cutter]
    feed = np.asarray(timing.asked, dtype=float)[cuts.row]
    reached = _reached(cuts, timing)
    cutting = ~cuts.rapid & (cuts.volume > 0)
    m = len(cuts)
    with np.errstate(divide="ignore", invalid="ignore"):
        chip = np.where(rpm > 0, feed / (rpm * flutes), np.nan)
        first, second = (np.radians(a) for a in cuts.angles())
        spread = second - first
        nearest = np.where((first <= 0) & (second >= 0), 0.0, np.minimum(np.abs(first), np.abs(second)))
        edge = _edge_factor(cuts)
        thickest = chip * np.cos(nearest) * edge
        mean = chip * edge * (np.sin(second) - np.sin(first)) / np.where(spread > 1e-9, spread, np.nan)
        minutes = np.where(reached > 0, cuts.length / reached, np.nan)
        rate = np.where(feed > 0, cuts.volume * feed / np.where(cuts.length > 0, cuts.length, np.nan), 0.0)
    thickest[~cutting] = np.nan
    mean[~cutting] = np.nan
    teeth = np.nan_to_num(spread) * flutes / (2 * np.pi)
    force, power, deflection, stress = np.zeros(m), np.zeros(m), np.zeros(m), np.zeros(m)
    for index, limit in enumerate(limits):
        pick = cutting & (cuts.cutter == index) & np.isfinite(mean) & (rpm > 0)
        if limit is None or not pick.any():
            continue
        table, row = _bending(limit, np.asarray(cuts.mean_depth[pick]), np.asarray(cuts.width[pick]))
        f_z = chip[pick]
        thick = np.maximum(f_z * table[row, 0], 1e-4)
        force[pick] = _specific(limit.force_high, np.maximum(mean[pick], 1e-4)) * f_z * table[row, 1]
        power[pick] = _specific(limit.force_high, np.maximum(mean[pick], 1e-4)) * rate[pick] / 60000.0
        side = _specific(limit.force_nominal, thick) * f_z * table[row, 2]
        deflection[pick] = side * table[row, 3]
        stress[pick] = side * table[row, 4]
    return Along(
        rpm=rpm, feed=feed, reached=reached, chip=chip, thickest=thickest, mean=mean, angle=np.degrees(spread),
        teeth=teeth, force=force, power=power, deflection=deflection, stress=stress, minutes=minutes, cutting=cutting,
        limits=tuple(limits), reasons=tuple(reasons),
    )  # fmt: skip


def _reached(cuts: Cuts, timing: Timing) -> Floats:
    """Mean speed of the move, or chain of moves, of each piece, mm/min."""
    reached = np.asarray(timing.reached, dtype=float)[cuts.row]
    chained = np.flatnonzero(cuts.last > cuts.row)
    if len(chained):
        way = np.concatenate([[0.0], np.cumsum(np.nan_to_num(timing.length))])
        minutes = np.concatenate([[0.0], np.cumsum(np.nan_to_num(timing.minutes))])
        first, after = cuts.row[chained], cuts.last[chained] + 1
        with np.errstate(divide="ignore", invalid="ignore"):
            speed = (way[after] - way[first]) / (minutes[after] - minutes[first])
        reached[chained] = np.where(np.isfinite(speed), speed, reached[chained])
    return reached


STEPS = 64  # depths and widths are told apart this finely, from nothing to their greatest


def _bending(
    limit: CutLimits, depth: NDArray[np.float32], width: NDArray[np.float32]
) -> tuple[Floats, NDArray[np.intp]]:
    """What the engine says of each depth and width met: h_max / f_z, mean section of a tooth / f_z (mm), side section of
    all teeth / f_z (mm), deflection (mm/N) and stress (1/mm2) per newton of it; and the row of each piece."""
    diameter = limit.cutter.diameter
    deepest = max(float(depth.max(initial=0.0)), 1e-9)
    a_p = np.maximum(np.rint(depth * (STEPS / deepest)), 1.0)
    a_e = np.clip(np.rint(np.nan_to_num(width, nan=diameter) * (STEPS / diameter)), 1.0, STEPS)
    codes, row = np.unique(a_p * (STEPS + 1) + a_e, return_inverse=True)
    ratio = float(np.hypot(1.0, limit.radial_ratio))
    flute = min(limit.flute_length, limit.stickout)
    table = np.empty((len(codes), 5))
    for k, code in enumerate(codes.tolist()):
        high, wide = divmod(code, STEPS + 1)
        a = high * deepest / STEPS
        e = engage(limit.cutter, "side" if wide < STEPS else "slot", a, wide * diameter / STEPS)
        most = stress_force(limit, ratio, a, e.effective_diameter, flute)
        table[k] = (
            e.greatest,
            e.mean_section,
            e.side_section,
            ratio * limit.compliance(a / 2),
            limit.stress_allowed / most if most > 0 else np.inf,
        )
    return table, np.asarray(row, dtype=np.intp)


def _specific(law: ForceLaw, h: Floats) -> Floats:
    """Specific cutting force at chip thickness h, N/mm2 (advisor.limits.ForceLaw on arrays)."""
    return np.asarray(law.k11 + law.edge / h if law.edge > 0 else law.k11 * h**-law.m)


def _edge_factor(cuts: Cuts) -> Floats:
    """What a round or slanted edge leaves of the chip thickness: sin of the cutting-edge angle at the top of the cut."""
    depth = np.asarray(cuts.depth, dtype=float)
    out = np.ones(len(depth))
    for index, cutter in enumerate(cuts.placed.cutters):
        pick = cuts.cutter == index
        radius = cutter.radius if cutter.form == "ball" else cutter.corner_radius
        if cutter.form in ("ball", "corner") and radius > 0:
            share = np.clip(depth[pick] / radius, 0.0, 1.0)
            out[pick] = np.sqrt(np.clip(2 * share - share * share, 1e-6, 1.0))
        elif cutter.form == "vee" and cutter.tip_angle:
            out[pick] = np.sin(np.radians(cutter.tip_angle / 2))
    return out
