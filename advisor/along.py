"""The cut along a program: chip, force, power, deflection and stress of every piece of the path.

Geometry comes from the stock model, limits and forces from the chip-load engine. The chip follows the centre's feed per
tooth and the engagement angle: h = f_z * cos(angle from the direction of travel) (circular path approximation). Forces
use the pessimistic, worn-edge end of the material's data, as the advice does. All arrays have one row a piece.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from advisor.limits import CutLimits, NoData, cut_limits

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
    reached = np.asarray(timing.reached, dtype=float)[cuts.row]
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
        h = np.maximum(mean[pick], 1e-4)
        k = _specific(limit, h)
        kb = _specific(limit, h, bend=True)
        depth = np.asarray(cuts.mean_depth[pick], dtype=float)
        force[pick] = k * depth * h
        power[pick] = k * rate[pick] / 60000.0
        # the side force that bends the tool: mean tangential force of the teeth in cut, with its radial part
        side = kb * depth * h * np.maximum(teeth[pick], 1.0 / flutes[pick]) * np.hypot(1.0, limit.radial_ratio)
        compliance = np.array([limit.compliance(d / 2) for d in _levels(depth)])[_level_index(depth)]
        deflection[pick] = side * compliance
        arm = np.maximum(limit.stickout - depth / 2, 1.0)
        arm_core = np.maximum(min(limit.flute_length, limit.stickout) - depth / 2, 1.0)
        with np.errstate(divide="ignore"):
            stress[pick] = np.maximum(
                32 * side * arm / (np.pi * limit.shank**3), 32 * side * arm_core / (np.pi * limit.core_diameter**3)
            )
    return Along(
        rpm=rpm, feed=feed, reached=reached, chip=chip, thickest=thickest, mean=mean, angle=np.degrees(spread),
        teeth=teeth, force=force, power=power, deflection=deflection, stress=stress, minutes=minutes, cutting=cutting,
        limits=tuple(limits), reasons=tuple(reasons),
    )  # fmt: skip


def _levels(depth: Floats) -> Floats:
    """Depths rounded to a hundredth of the range, so that bending is worked out a hundred times at most."""
    return np.linspace(0.0, float(depth.max(initial=0.0)), 101)


def _level_index(depth: Floats) -> NDArray[np.intp]:
    top = float(depth.max(initial=0.0))
    return np.asarray(np.rint(depth * (100.0 / top if top > 0 else 0.0)), dtype=np.intp)


def _specific(limit: CutLimits, h: Floats, *, bend: bool = False) -> Floats:
    """Specific cutting force at chip thickness h, N/mm2, pessimistic end (advisor.limits.ForceLaw on arrays)."""
    law = limit.force_bend if bend else limit.force_high
    if law.edge > 0:
        return np.asarray(law.k11 + law.edge / h)
    return np.asarray(law.k11 * h**-law.m)


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
