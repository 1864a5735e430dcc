"""Chatter: zero-order stability of milling (Altintas and Budak) and the simple bound (Tlusty).

SI inside the frequency responses: m/N, Hz, N/m2; depths are mm. Only the depth of the valleys is worth advising on: the
peaks hang on modal data that is seldom known well enough, and low radial engagement (below about 0.1 to 0.2 D with few
teeth) has lobes this theory does not see.
"""

from __future__ import annotations

from cmath import sqrt as complex_sqrt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import atan, cos, pi, radians, sin, sqrt

from advisor.cutting.validity import covers, positive, within


@dataclass(frozen=True, slots=True)
class Mode:
    """One mode of vibration: frequency Hz, damping ratio, and a stiffness N/m or a residue sigma + j nu, m/(N s)."""

    frequency: float
    damping: float
    stiffness: float | None = None
    residue: complex | None = None

    def response(self, frequency: float) -> complex:
        """Displacement for a unit force at a frequency in Hz, m/N."""
        natural, turn = 2.0 * pi * self.frequency, 2.0 * pi * frequency
        s = 1j * turn
        below = s * s + 2.0 * self.damping * natural * s + natural * natural
        if self.residue is not None:
            damped = natural * sqrt(1.0 - self.damping**2)
            sigma, nu = self.residue.real, self.residue.imag
            return (2.0 * (self.damping * natural * sigma - damped * nu) + 2.0 * sigma * s) / below
        if self.stiffness is None:
            raise ValueError("a mode needs a stiffness or a residue")
        return natural * natural / self.stiffness / below


def response(*, modes: Sequence[Mode], frequency: float) -> complex:
    """Sum of the modes at a frequency, G.

    Symbols:
        modes  -  -  modes of one direction
        frequency  f  Hz  frequency of the force
    Returns:
        G, m/N (complex)
    Range:
        f >= 0; without modes 0 (rigid)
    Source:
        altintas-2012
    """
    return sum((mode.response(frequency) for mode in modes), 0j)


def directional_factors(*, entry: float, exit: float, radial_ratio: float) -> tuple[float, float, float, float]:
    """Directional factors of zero order, alpha_xx, alpha_xy, alpha_yx, alpha_yy.

    Symbols:
        entry  phi_st  deg  entry angle
        exit  phi_ex  deg  exit angle
        radial_ratio  K_r  -  radial / tangential cutting constant
    Returns:
        four factors, no unit
    Range:
        0 <= phi_st < phi_ex <= 180
    Source:
        altintas-budak-1995
    """
    within(0.0, 180.0, entry=entry, exit=exit)
    positive(engagement=exit - entry)

    def brackets(phi: float) -> tuple[float, float, float, float]:
        c, s, k = cos(2.0 * phi), sin(2.0 * phi), radial_ratio
        return (
            c - 2.0 * k * phi + k * s,
            -s - 2.0 * phi + k * c,
            -s + 2.0 * phi + k * c,
            -c - 2.0 * k * phi - k * s,
        )

    start, end = brackets(radians(entry)), brackets(radians(exit))
    xx, xy, yx, yy = (0.5 * (b - a) for a, b in zip(start, end, strict=True))
    return xx, xy, yx, yy


def eigenvalues(*, x: complex, y: complex, factors: tuple[float, float, float, float]) -> tuple[complex, ...]:
    """Eigenvalues Lambda of the oriented response; one when only one direction is flexible.

    Symbols:
        x  G_xx  m/N  response along the feed
        y  G_yy  m/N  response across the feed
        factors  alpha  -  directional factors
    Returns:
        Lambda, N/m (complex), one or two; none when both directions are rigid
    Range:
        any responses
    Source:
        altintas-budak-1995
    """
    xx, xy, yx, yy = factors
    if x == 0 and y == 0:
        return ()
    if y == 0:
        return (-1.0 / (xx * x),) if xx else ()
    if x == 0:
        return (-1.0 / (yy * y),) if yy else ()
    square = x * y * (xx * yy - xy * yx)
    line = xx * x + yy * y
    if square == 0:
        return (-1.0 / line,) if line else ()
    root = complex_sqrt(line * line - 4.0 * square)
    return -(line + root) / (2.0 * square), -(line - root) / (2.0 * square)


@dataclass(frozen=True, slots=True)
class Limit:
    """One point of the border of stability: eigenvalue, depth in mm, phase angle rad."""

    eigenvalue: complex
    depth: float
    phase: float

    def speeds(self, frequency: float, flutes: int, lobes: Sequence[int]) -> tuple[float, ...]:
        """Spindle speeds, rev/min, of the lobes at a chatter frequency in Hz."""
        turn = 2.0 * pi * frequency
        return tuple(60.0 * turn / (flutes * (self.phase + 2.0 * pi * lobe)) for lobe in lobes)


def limits_at(
    *,
    frequency: float,
    x_modes: Sequence[Mode],
    y_modes: Sequence[Mode],
    flutes: int,
    cutting_constant: float,
    radial_ratio: float,
    entry: float,
    exit: float,
) -> tuple[Limit, ...]:
    """Border depths at a chatter frequency, a = -(2 pi Re Lambda/(N K_t))(1 + kappa^2), those above zero.

    Symbols:
        frequency  f_c  Hz  chatter frequency
        x_modes  -  -  modes along the feed
        y_modes  -  -  modes across the feed
        flutes  N  -  number of teeth
        cutting_constant  K_t  N/mm2  tangential cutting constant
        radial_ratio  K_r  -  radial / tangential constant
        entry  phi_st  deg  entry angle
        exit  phi_ex  deg  exit angle
    Returns:
        points of the border, smallest depth first
    Range:
        f_c > 0, N >= 1, K_t > 0, 0 <= phi_st < phi_ex <= 180
    Source:
        altintas-budak-1995
    """
    positive(frequency=frequency, cutting_constant=cutting_constant)
    within(1, 1000, flutes=flutes)
    factors = directional_factors(entry=entry, exit=exit, radial_ratio=radial_ratio)
    x, y = response(modes=x_modes, frequency=frequency), response(modes=y_modes, frequency=frequency)
    found = []
    for value in eigenvalues(x=x, y=y, factors=factors):
        if value.real >= 0.0:
            continue
        kappa = value.imag / value.real
        depth = -(2.0 * pi * value.real / (flutes * cutting_constant * 1e6)) * (1.0 + kappa * kappa) * 1000.0
        found.append(Limit(value, depth, pi - 2.0 * atan(kappa)))
    return tuple(sorted(found, key=lambda limit: limit.depth))


def _frequencies(modes: Sequence[Mode], count: int) -> list[float]:
    """Chatter frequencies to look at: from below the lowest mode to well above the highest, denser near modes."""
    low, high = min(mode.frequency for mode in modes), max(mode.frequency for mode in modes)
    grid = [low * 0.5 + (high * 2.0 - low * 0.5) * i / count for i in range(count + 1)]
    for mode in modes:
        width = max(mode.damping, 1e-4) * mode.frequency
        grid += [mode.frequency + width * 20.0 * (i / count - 0.25) for i in range(count + 1)]
    return sorted(frequency for frequency in grid if frequency > 0.0)


class Border:
    """The border of stability of one cut, sampled once over chatter frequencies, asked by spindle speed."""

    def __init__(self, flutes: int, frequencies: Sequence[float], at: Callable[[float], tuple[Limit, ...]]) -> None:
        self.flutes = flutes
        self.at = at
        self.points = [(frequency, at(frequency)) for frequency in frequencies]

    def least(self) -> float:
        """Depth stable at every speed, mm; infinite when nothing vibrates."""
        depths = [limits[0].depth if limits else float("inf") for _, limits in self.points]
        if not depths:
            return float("inf")
        place = depths.index(min(depths))
        low = self.points[max(0, place - 1)][0]
        high = self.points[min(len(depths) - 1, place + 1)][0]
        least = depths[place]
        for _ in range(40):  # close in by thirds
            one, two = low + (high - low) / 3.0, high - (high - low) / 3.0
            first, second = self.at(one), self.at(two)
            a = first[0].depth if first else float("inf")
            b = second[0].depth if second else float("inf")
            least = min(least, a, b)
            low, high = (low, two) if a < b else (one, high)
        return least

    def depth(self, rpm: float) -> float:
        """Depth stable at one speed, mm: the least over all lobes.

        Along one branch the lobe number at this speed, k(f) = f 60/(N n) - phase/(2 pi), moves steadily with the
        frequency; wherever it passes a whole number the border is met, and the place is closed in on by halving.
        """
        positive(rpm=rpm)
        scale = 60.0 / (self.flutes * rpm)
        least = float("inf")
        before: list[float] = []
        start = 0.0
        for frequency, limits in self.points:
            here = [frequency * scale - limit.phase / (2.0 * pi) for limit in limits]
            if len(here) == len(before):
                for branch, (lobe_a, lobe_b) in enumerate(zip(before, here, strict=True)):
                    whole = float(int(max(lobe_a, lobe_b)))
                    if min(lobe_a, lobe_b) < whole <= max(lobe_a, lobe_b) and abs(lobe_b - lobe_a) < 0.5:
                        least = min(least, self._meet(start, frequency, branch, whole, scale, rising=lobe_b > lobe_a))
            before, start = here, frequency
        return least

    def _meet(self, low: float, high: float, branch: int, whole: float, scale: float, *, rising: bool) -> float:
        """Depth where a branch passes a whole lobe number between two frequencies."""
        depth = float("inf")
        for _ in range(20):
            middle = (low + high) / 2.0
            limits = self.at(middle)
            if len(limits) <= branch:
                break
            limit = limits[branch]
            depth = limit.depth
            if (middle * scale - limit.phase / (2.0 * pi) < whole) == rising:
                low = middle
            else:
                high = middle
        return depth


@covers(width_ratio=(0.15, 1.0, "at low radial engagement other lobes appear that this theory does not see"))
def border(
    *,
    x_modes: Sequence[Mode],
    y_modes: Sequence[Mode],
    flutes: int,
    cutting_constant: float,
    radial_ratio: float,
    entry: float,
    exit: float,
    width_ratio: float = 1.0,
    count: int = 500,
) -> Border:
    """The border of stability of a cut; good in the valleys, up to 30 % off on the peaks.

    Symbols:
        x_modes  -  -  modes along the feed
        y_modes  -  -  modes across the feed
        flutes  N  -  number of teeth
        cutting_constant  K_t  N/mm2  tangential cutting constant
        radial_ratio  K_r  -  radial / tangential constant
        entry  phi_st  deg  entry angle
        exit  phi_ex  deg  exit angle
        width_ratio  a_e/D  -  width over diameter, only for the caveat
        count  -  -  frequencies looked at for each mode
    Returns:
        a Border: least() is stable at any speed, depth(rpm) at one
    Range:
        as limits_at; without modes nothing vibrates
    Source:
        altintas-budak-1995
    """
    if not x_modes and not y_modes:
        return Border(flutes, (), lambda frequency: ())

    def at(frequency: float) -> tuple[Limit, ...]:
        return limits_at(
            frequency=frequency,
            x_modes=x_modes,
            y_modes=y_modes,
            flutes=flutes,
            cutting_constant=cutting_constant,
            radial_ratio=radial_ratio,
            entry=entry,
            exit=exit,
        )

    return Border(flutes, _frequencies([*x_modes, *y_modes], count), at)


def least_real(*, stiffness: float, damping: float) -> float:
    """Least real part of one mode's response, -1/(4 k zeta (1 + zeta)).

    Symbols:
        stiffness  k  N/um  stiffness of the mode
        damping  zeta  -  damping ratio
    Returns:
        Re G, mm/N
    Range:
        k > 0, 0 < zeta < 1
    Source:
        from memory: Schmitz and Smith, Machining Dynamics
    """
    positive(stiffness=stiffness, damping=damping)
    within(0.0, 1.0, damping=damping)
    return -1.0 / (4.0 * stiffness * 1000.0 * damping * (1.0 + damping))


def simple_bound(*, cutting_constant: float, least_real: float, teeth: float = 1.0) -> float:
    """Width of chip stable at any speed, b = -1/(2 K_s Re G_min), shared among the teeth in cut.

    Symbols:
        cutting_constant  K_s  N/mm2  specific cutting force
        least_real  Re G_min  mm/N  least real part of the response
        teeth  -  -  mean number of teeth in cut, at least 1
    Returns:
        b_lim, mm
    Range:
        K_s > 0, Re G_min < 0, teeth > 0
    Source:
        from memory: Tlusty; from memory: Schmitz and Smith, Machining Dynamics
    """
    positive(cutting_constant=cutting_constant, teeth=teeth, opposite_of_least_real=-least_real)
    return -1.0 / (2.0 * cutting_constant * least_real * max(1.0, teeth))


@covers(width_ratio=(0.15, 1.0, "at low radial engagement other lobes appear that this theory does not see"))
def one_mode_depth(
    *,
    stiffness: float,
    damping: float,
    flutes: int,
    cutting_constant: float,
    directional_factor: float,
    width_ratio: float = 1.0,
) -> float:
    """Depth stable at every speed when one mode in one direction vibrates: 8 pi k zeta (1 +- zeta)/(N K_t |alpha|).

    The closed form of the zero-order border of one mode: + where alpha is below zero (the border runs above the natural
    frequency), - where it is above. Quick enough for a search.

    Symbols:
        stiffness  k  N/um  stiffness of the mode
        damping  zeta  -  damping ratio
        flutes  N  -  number of teeth
        cutting_constant  K_t  N/mm2  tangential cutting constant
        directional_factor  alpha  -  alpha_xx along the feed, alpha_yy across it
        width_ratio  a_e/D  -  width over diameter, only for the caveat
    Returns:
        a_lim, mm; infinite where the factor is 0
    Range:
        k, K_t > 0, 0 < zeta < 1, N >= 1
    Source:
        altintas-budak-1995
    """
    positive(stiffness=stiffness, damping=damping, cutting_constant=cutting_constant)
    within(0.0, 1.0, damping=damping)
    within(1, 1000, flutes=flutes)
    within(-1e6, 1e6, directional_factor=directional_factor)
    if directional_factor == 0.0:
        return float("inf")
    side = 1.0 + damping if directional_factor < 0.0 else 1.0 - damping
    return 8.0 * pi * stiffness * 1000.0 * damping * side / (flutes * cutting_constant * abs(directional_factor))


def best_speeds(*, natural_frequency: float, flutes: int, count: int = 6) -> tuple[float, ...]:
    """Spindle speeds whose teeth strike in time with the vibration, 60 f_n/(N k), k = 1, 2, 3 ...

    Symbols:
        natural_frequency  f_n  Hz  natural frequency, or a chatter tone that was recorded
        flutes  N  -  number of teeth
        count  -  -  how many
    Returns:
        speeds, rev/min, fastest first
    Range:
        f_n > 0, N >= 1
    Source:
        from memory: Altintas, Manufacturing Automation
    """
    positive(natural_frequency=natural_frequency)
    within(1, 1000, flutes=flutes)
    return tuple(60.0 * natural_frequency / (flutes * lobe) for lobe in range(1, count + 1))
