"""Cutting force: Kienzle and edge-force models, corrections, mean and peak tooth force, orthogonal models."""

from __future__ import annotations

from math import atan, cos, degrees, radians, sin, sqrt, tan

from advisor.cutting.validity import RangeError, covers, not_negative, positive, within

THIN = "below it the edge radius rules and the power law is extrapolated; the edge-force form is better founded there"
THICK = "the power law was not fitted to chips so thick"


@covers(thickness=(0.05, 2.5, THIN))
def specific_force(*, unit_force: float, exponent: float, thickness: float) -> float:
    """Specific cutting force after Kienzle, k_c = k_c1.1 h^-m_c.

    Symbols:
        unit_force  k_c1.1  N/mm2  specific force at 1 mm chip
        exponent  m_c  -  Kienzle exponent
        thickness  h  mm  chip thickness
    Returns:
        k_c, N/mm2
    Range:
        k_c1.1 >= 0, 0 <= m_c < 1, h > 0; fitted for 0.05 to 2.5 mm
    Source:
        from memory: Kienzle 1952; from memory: DIN 6584
    """
    not_negative(unit_force=unit_force)
    within(0.0, 0.999, exponent=exponent)
    positive(thickness=thickness)
    return float(unit_force * thickness**-exponent)


@covers(thickness=(0.05, 2.5, THIN))
def kienzle_force(*, unit_force: float, exponent: float, thickness: float, chip_width: float, factor: float = 1.0) -> float:
    """Tangential force after Kienzle, F_c = k_c1.1 b h^(1 - m_c) times corrections.

    Symbols:
        unit_force  k_c1.1  N/mm2  specific force at 1 mm chip
        exponent  m_c  -  Kienzle exponent
        thickness  h  mm  chip thickness
        chip_width  b  mm  chip width
        factor  -  -  product of the corrections
    Returns:
        F_c, N
    Range:
        k_c1.1 >= 0, 0 <= m_c < 1, h >= 0, b >= 0; fitted for 0.05 to 2.5 mm
    Source:
        from memory: Kienzle 1952; from memory: DIN 6584
    """
    not_negative(unit_force=unit_force, chip_width=chip_width, factor=factor, thickness=thickness)
    within(0.0, 0.999, exponent=exponent)
    return float(unit_force * chip_width * thickness ** (1.0 - exponent) * factor)


def edge_model_force(*, shear_force: float, edge_force: float, thickness: float, chip_width: float) -> float:
    """Tangential force in the edge-force form, F_t = (K_tc h + K_te) b; zero without a chip.

    Symbols:
        shear_force  K_tc  N/mm2  force per chip section
        edge_force  K_te  N/mm  force per length of edge
        thickness  h  mm  chip thickness
        chip_width  b  mm  chip width
    Returns:
        F_t, N
    Range:
        all >= 0; also for chips below 0.05 mm
    Source:
        from memory: Altintas, Manufacturing Automation; cjme-2021
    """
    not_negative(shear_force=shear_force, edge_force=edge_force, thickness=thickness, chip_width=chip_width)
    return 0.0 if thickness == 0.0 else (shear_force * thickness + edge_force) * chip_width


def edge_model_specific_force(*, shear_force: float, edge_force: float, thickness: float) -> float:
    """Specific force the edge-force form amounts to, k_c(h) = K_tc + K_te/h.

    Symbols:
        shear_force  K_tc  N/mm2  force per chip section
        edge_force  K_te  N/mm  force per length of edge
        thickness  h  mm  chip thickness
    Returns:
        k_c, N/mm2
    Range:
        K_tc, K_te >= 0, h > 0
    Source:
        from memory: Altintas, Manufacturing Automation; cjme-2021
    """
    not_negative(shear_force=shear_force, edge_force=edge_force)
    positive(thickness=thickness)
    return shear_force + edge_force / thickness


@covers(rake=(-20.0, 30.0, "the rake correction is a straight line through small angles"))
def rake_factor(*, rake: float, reference_rake: float) -> float:
    """Correction for rake, 1 - (gamma - gamma_0)/66.7: about 1.5 % a degree.

    Symbols:
        rake  gamma  deg  rake of the cutter
        reference_rake  gamma_0  deg  rake of the table: 6 steel, 2 cast iron, 0 aluminium
    Returns:
        factor, no unit
    Range:
        |gamma - gamma_0| < 60
    Source:
        from memory: Tschaetsch, Praxis der Zerspantechnik
    """
    within(-60.0, 60.0, rake=rake - reference_rake)
    return 1.0 - (rake - reference_rake) / 66.7


@covers(cutting_speed=(20.0, 250.0, "the speed correction was stated up to 250 m/min; 1 is used above 100"))
def speed_factor(*, cutting_speed: float) -> float:
    """Correction for slow cutting, (100/v_c)^0.1 below 100 m/min, else 1.

    Symbols:
        cutting_speed  v_c  m/min  cutting speed
    Returns:
        factor, no unit
    Range:
        v_c > 0
    Source:
        from memory: Tschaetsch, Praxis der Zerspantechnik
    """
    positive(cutting_speed=cutting_speed)
    return float((100.0 / cutting_speed) ** 0.1) if cutting_speed < 100.0 else 1.0


@covers(wear_land=(0.0, 0.6, "wear lands so wide are past the end of the edge's life"))
def wear_factor(*, wear_land: float, component: str = "tangential") -> float:
    """Correction for a flank wear land: +10 % tangential, +25 % feed, +30 % passive force a 0.1 mm.

    Symbols:
        wear_land  VB  mm  width of the flank wear land
        component  -  -  tangential, feed or passive
    Returns:
        factor, no unit
    Range:
        VB >= 0
    Source:
        from memory: Tschaetsch, Praxis der Zerspantechnik
    """
    not_negative(wear_land=wear_land)
    slope = {"tangential": 1.0, "feed": 2.5, "passive": 3.0}.get(component)
    if slope is None:
        raise ValueError(f'component is "{component}"; use tangential, feed or passive')
    return 1.0 + slope * wear_land


def process_factor(*, process: str) -> float:
    """Correction for chip compression: 1.0 outside turning, 1.2 drilling, milling and inside turning.

    Symbols:
        process  -  -  turning, milling, drilling or boring
    Returns:
        factor, no unit
    Range:
        the four processes named
    Source:
        from memory: Tschaetsch, Praxis der Zerspantechnik
    """
    factor = {"turning": 1.0, "milling": 1.2, "drilling": 1.2, "boring": 1.2}.get(process)
    if factor is None:
        raise ValueError(f'process is "{process}"; use turning, milling, drilling or boring')
    return factor


def mean_force(*, tooth_force: float, teeth_in_cut: float) -> float:
    """Mean tangential force of the whole cutter, F = F_cm z_e.

    Symbols:
        tooth_force  F_cm  N  mean force of a tooth in cut
        teeth_in_cut  z_e  -  mean number of teeth in the work
    Returns:
        F, N
    Range:
        both >= 0
    Source:
        geometry
    """
    not_negative(tooth_force=tooth_force, teeth_in_cut=teeth_in_cut)
    return tooth_force * teeth_in_cut


def runout_chip(*, thickness: float, runout: float) -> float:
    """Chip of the tooth that stands out most, h + e.

    Symbols:
        thickness  h  mm  greatest chip without runout
        runout  e  mm  total indicator reading at the tip
    Returns:
        h, mm
    Range:
        both >= 0
    Source:
        common practice, no source
    """
    not_negative(thickness=thickness, runout=runout)
    return thickness + runout


def side_force(*, tangential: float, radial_ratio: float) -> float:
    """Force square to the axis from its tangential part and the ratio radial / tangential.

    Symbols:
        tangential  F_c  N  tangential force
        radial_ratio  F_r/F_c  -  0.3 to 0.6 in metals, 0.2 to 0.8 in wood
    Returns:
        F, N
    Range:
        F_c >= 0; a negative ratio pulls the cutter in
    Source:
        geometry; iskra-2012
    """
    not_negative(tangential=tangential)
    return tangential * sqrt(1.0 + radial_ratio * radial_ratio)


def overlapping_teeth(*, flutes: int, engagement: float, lag: float = 0.0) -> int:
    """Greatest number of teeth that touch the work at once, with the lag of the helix.

    Symbols:
        flutes  z  -  number of teeth
        engagement  phi_s  deg  engaged angle
        lag  psi  deg  helix lag over the depth
    Returns:
        number of teeth
    Range:
        z >= 1, 0 <= phi_s <= 360, psi >= 0
    Source:
        geometry
    """
    within(1, 1000, flutes=flutes)
    within(0.0, 360.0, engagement=engagement)
    not_negative(lag=lag)
    if engagement + lag == 0.0:
        return 0
    return min(flutes, int((engagement + lag) * flutes / 360.0 - 1e-9) + 1)


def peak_depth(*, depth: float, diameter: float, helix: float, engagement: float) -> float:
    """Length of one helical tooth in the work at once: the depth, or less where the arc is shorter than the lag.

    Symbols:
        depth  a_p  mm  axial depth
        diameter  D  mm  cutter diameter
        helix  lambda  deg  helix angle
        engagement  phi_s  deg  engaged angle
    Returns:
        axial length, mm
    Range:
        a_p >= 0, D > 0, 0 <= lambda < 90, 0 <= phi_s <= 180
    Source:
        geometry
    """
    not_negative(depth=depth)
    positive(diameter=diameter)
    within(0.0, 89.0, helix=helix)
    within(0.0, 180.0, engagement=engagement)
    if helix == 0.0:
        return depth
    return min(depth, radians(engagement) * diameter / (2.0 * tan(radians(helix))))


@covers(shear_angle=(5.0, 60.0, "a shear angle so far out does not occur"))
def orthogonal_forces(
    *, shear_stress: float, thickness: float, chip_width: float, rake: float, friction_angle: float, shear_angle: float
) -> tuple[float, float]:
    """Cutting and thrust force of orthogonal cutting on a shear plane.

    F_c = tau t w cos(lambda - alpha)/(sin phi cos(phi + lambda - alpha)), F_t with sin.

    Symbols:
        shear_stress  tau  N/mm2  shear strength on the plane
        thickness  t  mm  chip thickness before the cut
        chip_width  w  mm  width of cut
        rake  alpha  deg  rake
        friction_angle  lambda  deg  arctan of the coefficient of friction
        shear_angle  phi  deg  angle of the shear plane
    Returns:
        (F_c, F_t), N
    Range:
        tau, t, w >= 0, 0 < phi < 90, phi + lambda - alpha < 90
    Source:
        ghosh-mallik
    """
    not_negative(shear_stress=shear_stress, thickness=thickness, chip_width=chip_width)
    if not 0.0 < shear_angle < 90.0 or not shear_angle + friction_angle - rake < 90.0:
        raise RangeError("shear_angle", shear_angle, "it must lie above 0 and below 90 degrees less friction plus rake")
    phi, lean = radians(shear_angle), radians(friction_angle - rake)
    base = shear_stress * thickness * chip_width / (sin(phi) * cos(phi + lean))
    return base * cos(lean), base * sin(lean)


def merchant_shear_angle(*, rake: float, friction_angle: float) -> float:
    """Shear angle of least energy, phi = (90 + alpha - lambda)/2.

    Symbols:
        rake  alpha  deg  rake
        friction_angle  lambda  deg  arctan of the coefficient of friction
    Returns:
        phi, deg
    Range:
        0 < result < 90
    Source:
        ghosh-mallik
    """
    angle = (90.0 + rake - friction_angle) / 2
    if not 0.0 < angle < 90.0:
        raise RangeError("rake", rake, "rake and friction leave no shear angle between 0 and 90 degrees")
    return angle


def friction_angle(*, coefficient: float) -> float:
    """Friction angle, arctan(mu).

    Symbols:
        coefficient  mu  -  coefficient of friction
    Returns:
        lambda, deg
    Range:
        mu >= 0
    Source:
        ghosh-mallik
    """
    not_negative(coefficient=coefficient)
    return degrees(atan(coefficient))


@covers(
    thickness=(0.01, 0.2, "the data base was fitted to thin chips"),
    rake=(0.0, 15.0, "the data base was fitted to rakes of 0 to 15 degrees"),
)
def titanium_orthogonal(*, rake: float, thickness: float) -> dict[str, float]:
    """Cutting constants of Ti-6Al-4V from the orthogonal data base of Budak, Altintas and Armarego.

    Symbols:
        rake  gamma  deg  rake
        thickness  h  mm  chip thickness
    Returns:
        chip_ratio (no unit), shear_angle and friction_angle (deg), shear_force and feed_force (K_tc, K_fc, N/mm2),
        edge_force and edge_feed_force (K_te, K_fe, N/mm)
    Range:
        h > 0, 0 <= gamma < 45
    Source:
        from memory: Budak, Altintas, Armarego 1996
    """
    positive(thickness=thickness)
    within(0.0, 45.0, rake=rake)
    lean = radians(rake)
    ratio = (1.755 - 0.028 * rake) * thickness ** (0.331 - 0.0082 * rake)
    shear = atan(ratio * cos(lean) / (1.0 - ratio * sin(lean)))
    friction = radians(19.1 + 0.29 * rake)
    base = 613.0 / (sin(shear) * cos(shear + friction - lean))
    return {
        "chip_ratio": float(ratio),
        "shear_angle": degrees(shear),
        "friction_angle": degrees(friction),
        "shear_force": float(base * cos(friction - lean)),
        "feed_force": float(base * sin(friction - lean)),
        "edge_force": 24.0,
        "edge_feed_force": 43.0,
    }


def lee_shaffer_shear_angle(*, rake: float, friction_angle: float) -> float:
    """Shear angle after Lee and Shaffer, phi = 45 + alpha - lambda.

    Symbols:
        rake  alpha  deg  rake
        friction_angle  lambda  deg  arctan of the coefficient of friction
    Returns:
        phi, deg
    Range:
        0 < result < 90
    Source:
        ghosh-mallik; from memory: Lee and Shaffer 1951
    """
    angle = 45.0 + rake - friction_angle
    if not 0.0 < angle < 90.0:
        raise RangeError("rake", rake, "rake and friction leave no shear angle between 0 and 90 degrees")
    return angle
