"""How an operation engages the cutter: widths, angles, chip thickness and chip section per mm of feed per tooth.

Conventions: engagement angle from the circular-path approximation, h(phi) = f_z * sin(phi) * sin(kappa); one-sided in
side cuts and pockets (phi_s = arccos(1 - 2 a_e / D)), full width in slots, engraving and helical bores, centred in
facing (phi_s = 2 arcsin(a_e / D)). Lengths mm, angles rad.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from advisor.values import Cutter

OPENING = "slot"  # how a pocket's first lap on each level engages


@dataclass(frozen=True, slots=True)
class Engagement:
    """One cutter at one depth and width. ``greatest`` and ``mean`` are chip thicknesses per mm of feed per tooth."""

    a_p: float
    a_e: float
    angle: float  # phi_s
    start: float
    end: float
    greatest: float  # h_max / f_z
    across: float  # the same without the thinning along a round edge, whose tip always ploughs: for too thin a chip
    mean: float  # h_m / f_z
    mean_section: float  # mean chip section of one tooth in cut / f_z, mm
    peak_section: float  # greatest chip section of one tooth / f_z, on straight flutes, mm
    side_section: float  # the same with the helix counted and all teeth in cut summed as vectors, mm
    teeth: float  # mean number of teeth in cut
    section: float  # swept cross-section, mm2: removal = section * feed
    effective_diameter: float


def effective_diameter(cutter: Cutter, a_p: float) -> float:
    """Diameter at the top of a cut ``a_p`` deep: ball, corner radius and V cutters are thinner there (geometry)."""
    d = cutter.diameter
    if cutter.form == "ball":
        return d if a_p >= d / 2 else 2.0 * math.sqrt(a_p * (d - a_p))
    if cutter.form == "corner":
        r = cutter.corner_radius
        return d if a_p >= r else d - 2.0 * r + 2.0 * math.sqrt(a_p * (2.0 * r - a_p))
    if cutter.form == "vee":
        return min(d, cutter.tip_diameter + 2.0 * a_p * math.tan(math.radians((cutter.tip_angle or 90.0) / 2)))
    return d


def edge_angle(cutter: Cutter, a_p: float) -> tuple[float, float]:
    """Sine of the cutting-edge angle at the top of the cut, and its mean along the edge."""
    if cutter.form == "vee":
        sine = math.sin(math.radians((cutter.tip_angle or 90.0) / 2))
        return sine, sine
    if cutter.form in ("ball", "corner"):
        r = cutter.diameter / 2 if cutter.form == "ball" else cutter.corner_radius
        if 0.0 < a_p < r:
            kappa = math.acos(1.0 - a_p / r)
            return math.sin(kappa), a_p / (r * kappa)
    return 1.0, 1.0


def engage(
    cutter: Cutter, operation: str, a_p: float, a_e: float, bore: tuple[float, float] | None = None
) -> Engagement:
    """The engagement of ``cutter`` at ``a_p`` deep and ``a_e`` wide. ``bore`` is (bore diameter, path diameter) of a
    helical bore, whose ``a_p`` is the pitch."""
    d = cutter.diameter
    d_eff = effective_diameter(cutter, a_p)
    sine, mean_sine = edge_angle(cutter, a_p)
    ratio = min(1.0, a_e / d)
    section = a_p * a_e
    if operation in ("side", "pocket"):
        angle = math.acos(1.0 - 2.0 * ratio)
        start, end = 0.0, angle
    elif operation == "face":
        angle = 2.0 * math.asin(ratio)
        start, end = (math.pi - angle) / 2, (math.pi + angle) / 2
    else:
        angle = math.pi
        start, end = 0.0, math.pi
        if cutter.form == "vee":
            section = a_p * (cutter.tip_diameter + d_eff) / 2
        if bore is not None:
            post = max(0.0, bore[0] - 2.0 * d)
            section = (bore[0] ** 2 - post**2) * a_p / (4.0 * bore[1])
    top = 1.0 if end >= math.pi / 2 else math.sin(end)
    cosines = math.cos(start) - math.cos(end)
    mean = cosines / angle if angle > 0 else 0.0
    z = cutter.flutes
    # Helix: only part of the edge is in cut at once; the window of the edge lies best around the thickest chip.
    peak = a_p * top
    side = peak
    if cutter.twist != "straight" and cutter.helix > 0.0 and a_p > 0:
        lag = min(2.0 * a_p * math.tan(math.radians(cutter.helix)) / d, angle)
        low = min(max(math.pi / 2 - lag / 2, start), end - lag)
        side = (math.cos(low) - math.cos(low + lag)) * d / (2.0 * math.tan(math.radians(cutter.helix)))
    # Several teeth: mean over a turn of the vector sum.
    x = 0.5 * (math.sin(end) ** 2 - math.sin(start) ** 2)
    y = 0.5 * (end - start) - 0.25 * (math.sin(2 * end) - math.sin(2 * start))
    side = max(side, z * a_p * math.hypot(x, y) / (2.0 * math.pi))
    return Engagement(
        a_p=a_p,
        a_e=a_e,
        angle=angle,
        start=start,
        end=end,
        greatest=top * sine,
        across=top if cutter.form in ("ball", "corner") else top * sine,
        mean=mean * mean_sine,
        mean_section=a_p * mean,
        peak_section=peak,
        side_section=side,
        teeth=z * angle / (2.0 * math.pi),
        section=section,
        effective_diameter=d_eff,
    )
