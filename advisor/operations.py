"""How an operation engages the cutter: widths, angles, chip thickness and chip section per mm of feed per tooth.

Conventions: engagement angle from the circular-path approximation, h(phi) = f_z * sin(phi) * sin(kappa); one-sided in
side cuts and pockets (phi_s = arccos(1 - 2 a_e / D)), full width in slots, engraving and helical bores, centred in
facing (phi_s = 2 arcsin(a_e / D)); but strips cut beside each other engage on one side: where that is the worse of the
two (the thin chip, the power of thin chips) it counts. Lengths mm, angles rad.
"""

from __future__ import annotations

import math
from functools import lru_cache

from advisor.values import Cutter
from grammar.classes import dataclass

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
    least_mean: float  # h_m / f_z on one side where facing strips lie beside each other: for the power
    mean_section: float  # mean chip section of one tooth in cut / f_z, mm
    peak_section: float  # greatest chip section of one tooth / f_z, on straight flutes, mm
    side_section: float  # greatest sum over a turn of all teeth in cut, as vectors, the helix counted / f_z, mm
    teeth: float  # mean number of teeth in cut
    section: float  # swept cross-section, mm2: removal = section * feed
    effective_diameter: float


def cone_height(cutter: Cutter) -> float:
    """Height (mm) of the cone of a V cutter: above it the edges run straight up. Infinite for other forms."""
    if cutter.form != "vee":
        return math.inf
    return (cutter.diameter - cutter.tip_diameter) / 2.0 / math.tan(math.radians((cutter.tip_angle or 90.0) / 2))


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


def helix_lag(cutter: Cutter, a_p: float) -> float:
    """Angle by which the edge at the top of the cut runs behind its tip, rad; 0 on straight flutes."""
    if cutter.twist == "straight" or cutter.helix <= 0.0:
        return 0.0
    return 2.0 * a_p * math.tan(math.radians(cutter.helix)) / cutter.diameter


def _swept(angle: float, start: float, end: float) -> tuple[float, float]:
    """Integral of sin(phi) (cos(phi), sin(phi)) from the start of the arc of cut to ``angle``, kept inside it."""
    phi = min(max(angle, start), end)
    return (
        0.5 * (math.sin(phi) ** 2 - math.sin(start) ** 2),
        0.5 * (phi - start) - 0.25 * (math.sin(2.0 * phi) - math.sin(2.0 * start)),
    )


LAG_STEPS = 12  # a pitch
TURN_STEPS = 12  # a pitch


def _vector(first: float, lag: float, pitch: float, start: float, end: float) -> float:
    """Length of the vector sum of all teeth in cut per mm of depth, one tip standing at the angle ``first``."""
    x = y = 0.0
    tip = first
    while tip - lag < end:
        if lag > 0.0:
            high, low = _swept(tip, start, end), _swept(tip - lag, start, end)
            x += (high[0] - low[0]) / lag
            y += (high[1] - low[1]) / lag
        elif tip <= end:
            x += math.sin(tip) * math.cos(tip)
            y += math.sin(tip) ** 2
        tip += pitch
    return math.hypot(x, y)


@lru_cache(maxsize=65536)
def _share(flutes: int, start: float, end: float, step: int) -> float:
    """Greatest vector sum of all teeth in cut per mm of depth over a turn, for a helix lag of ``step`` / 12 pitches."""
    pitch = 2.0 * math.pi / flutes
    lag = step * pitch / LAG_STEPS
    width = pitch / TURN_STEPS
    turns = [start + n * width for n in range(TURN_STEPS)]
    sums = [_vector(turn, lag, pitch, start, end) for turn in turns]
    most = max(sums)
    middle = turns[sums.index(most)]
    for _ in range(5):  # close in on the greatest
        width /= 2.0
        for turn in (middle - width, middle + width):
            found = _vector(turn, lag, pitch, start, end) if turn >= start else 0.0
            if found > most:
                most, middle = found, turn
    return most


def side_section(a_p: float, flutes: int, start: float, end: float, lag: float) -> float:
    """Greatest sum over a turn of the chip sections of all teeth in cut, as vectors, per mm of feed per tooth, mm.

    One tooth at a time: exact, the edge in cut lies best around the thickest chip. Several: read from a table.
    """
    angle = end - start
    pitch = 2.0 * math.pi / flutes
    if angle + lag <= pitch + 1e-12:
        if lag <= 0.0:
            return a_p * (1.0 if end >= math.pi / 2 else math.sin(end))
        window = min(lag, angle)
        low = min(max(math.pi / 2 - window / 2, start), end - window)
        high = low + window
        x = 0.5 * (math.sin(high) ** 2 - math.sin(low) ** 2)
        y = 0.5 * window - 0.25 * (math.sin(2.0 * high) - math.sin(2.0 * low))
        return a_p * math.hypot(x, y) / lag
    place = min(lag / pitch * LAG_STEPS, 3.0 * LAG_STEPS)
    i = min(int(place), 3 * LAG_STEPS - 1)
    low_share, high_share = _share(flutes, start, end, i), _share(flutes, start, end, i + 1)
    return a_p * (low_share + (high_share - low_share) * (place - i))


def engage(
    cutter: Cutter,
    operation: str,
    a_p: float,
    a_e: float,
    bore: tuple[float, float] | None = None,
    groove: float = 0.0,
) -> Engagement:
    """The engagement of ``cutter`` at ``a_p`` deep and ``a_e`` wide. ``bore`` is (bore diameter, path diameter) of a
    helical bore, whose ``a_p`` is the pitch. ``groove`` is the whole depth (mm) a V cutter goes to in passes of ``a_p``:
    its last pass takes a skin off both flanks, the most of all passes."""
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
            deep = max(groove, a_p)
            section = a_p * (effective_diameter(cutter, deep) + effective_diameter(cutter, deep - a_p)) / 2
        if bore is not None:
            post = max(0.0, bore[0] - 2.0 * d)
            section = (bore[0] ** 2 - post**2) * a_p / (4.0 * bore[1])
    top = 1.0 if end >= math.pi / 2 else math.sin(end)
    cosines = math.cos(start) - math.cos(end)
    mean = cosines / angle if angle > 0 else 0.0
    least_top, least_mean = top, mean
    if operation == "face" and ratio > 0:
        one = math.acos(1.0 - 2.0 * ratio)
        least_top, least_mean = math.sin(min(one, math.pi / 2)), min(mean, 2.0 * ratio / one)
    z = cutter.flutes
    lag = helix_lag(cutter, a_p)
    return Engagement(
        a_p=a_p,
        a_e=a_e,
        angle=angle,
        start=start,
        end=end,
        greatest=top * sine,
        across=least_top if cutter.form in ("ball", "corner") else least_top * sine,
        mean=mean * mean_sine,
        least_mean=least_mean * mean_sine,
        mean_section=a_p * mean,
        peak_section=a_p * top,
        side_section=side_section(a_p, z, start, end, lag),
        teeth=z * angle / (2.0 * math.pi),
        section=section,
        effective_diameter=d_eff,
    )
