"""All limits a cut must stay inside, for one cutter in one material on one machine, as plain numbers.

The rules that judge a program and the search that recommends a cut use the same ``CutLimits``: what ``speeds`` advises,
``check`` is silent on. Lengths mm, feeds mm/min, speeds rev/min, forces N, specific force N/mm2, angles degrees,
compliance mm/N. Limits are taken at the pessimistic end of their data; the spread stands beside them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field, replace
from itertools import pairwise

from advisor.catalogue import tool_material
from advisor.values import Cutter, Machine, Material, Value
from grammar.classes import dataclass

CP = "common practice, no source"
METALS = frozenset({"aluminium", "copper", "steel", "iron", "titanium"})
WOODS = frozenset({"wood", "board"})

# Stiffness at the tool, N/um, of the machines that the words light and rigid of depth and ramp tables mean; between
# them the tables are read on a logarithmic scale. Screw-driven hobby gantries read 0.5 to 3, heavy gantries 2 to 10,
# machining centres 20 and more (common practice, no source).
LIGHT = 0.5
RIGID_WOOD = 3.0
RIGID_METAL = 20.0
# Chip load tables are for rigid machines; under about 2 N/um they shrink to 0.4-0.6 in metals, 0.6-0.8 in the rest.
CHIP_FULL = 2.0
CHIP_LEAST_METAL = 0.4
CHIP_LEAST_OTHER = 0.6

MAX_UNMARKED = 12000.0  # rev/min for unmarked cutters above 25 mm (common practice, no source)
UNMARKED_DIAMETER = 25.0
POWER_SHARE = 0.8  # of efficiency x shaft power; overloads and gusts of hard grain take the rest
# How far outside the diameters of its table a chip load is still read off (power law), as a ratio.
TABLE_REACH = 1.5
MARKED = "marked on the cutter"


@dataclass(frozen=True, slots=True)
class ForceLaw:
    """Specific cutting force k_c(h) = k11 * h**-m (Kienzle 1952, DIN 6584) or, where ``edge`` is above 0, the
    edge-force form k_c(h) = k11 + edge / h (Altintas, Manufacturing Automation). h mm, k_c N/mm2, edge N/mm."""

    k11: float
    m: float = 0.0
    edge: float = 0.0

    def at(self, h: float) -> float:
        """k_c at chip thickness ``h`` (mm, above 0), N/mm2."""
        if self.edge > 0.0:
            return self.k11 + self.edge / h
        return self.k11 if self.m == 0.0 else self.k11 * h**-self.m

    def thickness(self, force_per_width: float) -> float:
        """The chip thickness (mm) at which one millimetre of edge takes ``force_per_width`` N; 0 when even the
        thinnest chip takes more."""
        if force_per_width <= self.edge:
            return 0.0
        if self.edge > 0.0 or self.m == 0.0:
            return (force_per_width - self.edge) / self.k11
        return float((force_per_width / self.k11) ** (1.0 / (1.0 - self.m)))


@dataclass(frozen=True, slots=True)
class CutLimits:
    """Limits of one cutter, material and machine. ``None`` where the data doesn't say; nothing here guesses."""

    cutter: Cutter
    material: Material
    machine: Machine
    metal: bool
    wood: bool
    rigidity: float  # 0 light, 1 rigid, on the scale of this material's tables
    # depth
    slot_stepdown: float  # greatest a_p of a slot, flute length and twist counted
    slot_stepdown_material: float  # the same from material and machine alone
    side_width_min: float  # narrower is not in the tables
    side_width_max: float
    side_depth_max: float
    flute_length: float
    stickout: float
    # chip thickness after machine scaling
    chip_least: float  # below: rubbing
    chip_low: float
    chip_chosen: float
    chip_high: float
    chip_scale: float  # what machine and cutter material leave of the table
    machine_scale: float  # the machine's part of it
    slot_chip_factor: float  # of the chip load, in slots
    edge_radius: float
    runout: float
    # speed
    cutting_speed_low: float
    cutting_speed_chosen: float
    cutting_speed_high: float
    spindle_min: float
    spindle_max: float  # the least of machine, mark on the cutter, and the rule for unmarked large cutters
    spindle_max_name: str
    feed_max: float
    feed_max_z: float
    # entry
    centre_entry: bool  # may go straight down
    plunge_per_rev: float  # advised, mm
    plunge_per_rev_max: float  # beyond: too fast
    ramp_angle: float | None  # advised; None: no advice (core height of the cutter not known)
    ramp_angle_max: float | None  # steepest
    helix_pitch: float  # advised
    helix_pitch_max: float  # beyond: too tight
    bore_min: float
    bore_max: float  # above: a post is left standing
    peck_first: float
    peck_then: float
    drill_feed_low: float  # mm per rev
    drill_feed_chosen: float
    drill_feed_high: float
    # force
    force_low: ForceLaw
    force_nominal: ForceLaw
    force_high: ForceLaw  # pessimistic, worn edge: for power, torque and holding
    force_bend: ForceLaw  # pessimistic, for bending and stress
    radial_ratio: float  # pessimistic
    radial_ratio_nominal: float
    axial_ratio: float
    # bending
    modulus: float  # N/mm2
    equivalent_diameter: float  # bends like this plain bar
    core_diameter: float  # carries stress like this plain bar
    shank: float
    machine_compliance: float  # holder, spindle and frame together, mm/N
    rupture: float  # N/mm2
    stress_allowed: float
    deflection_rough: float
    deflection_finish: float
    finish_allowance: float
    assumptions: tuple[str, ...] = ()
    sources: Mapping[str, str] = field(default_factory=dict)

    def stepdown(self, a_e: float) -> float:
        """Greatest axial depth at radial width ``a_e``: the slot's, or on light widths a_p*a_e <= 0.5*D*a_slot; never
        above the flute length, nor above twice the slot's depth on straight flutes. mm."""
        slot = self.slot_stepdown_material
        deep = slot * max(1.0, 0.5 * self.cutter.diameter / a_e) if a_e > 0 else slot
        if self.cutter.twist == "straight":
            deep = min(deep, 2 * slot)
        if a_e > 0.5 * self.cutter.diameter:
            deep = min(deep, self.slot_stepdown)
        return min(deep, self.flute_length)

    def chip_factor(self, a_e: float, a_p: float = 0.0) -> float:
        """What width and depth leave of the chip load: 1 up to half the diameter, falling to ``slot_chip_factor`` at
        full width; and in wide cuts x0.75 at 2 D deep, x0.5 at 3 D."""
        d = self.cutter.diameter
        wide = min(1.0, max(0.0, 2.0 * a_e / d - 1.0))
        deep = max(0.25, 1.0 - 0.25 * max(0.0, a_p / d - 1.0))
        return (1.0 - wide * (1.0 - self.slot_chip_factor)) * (1.0 - wide * (1.0 - deep))

    def chip_range(self, a_e: float, a_p: float = 0.0) -> tuple[float, float, float, float]:
        """Greatest chip thickness h_max at this width and depth: least (rubs below), low, chosen, high; mm."""
        factor = self.chip_factor(a_e, a_p)
        least = self.chip_least * self.chip_factor(a_e)
        if self.metal:
            least = max(least, 0.4 * self.edge_radius)
        return least, self.chip_low * factor, self.chip_chosen * factor, self.chip_high * factor

    def chip_floor(self, a_e: float) -> float:
        """Least greatest chip thickness a recommendation may have at this width, mm: that of the edge, whatever the
        machine; so never below ``chip_range``'s least."""
        least = self.chip_least / self.machine_scale * self.chip_factor(a_e)
        return max(least, 0.4 * self.edge_radius) if self.metal else least

    def side_area(self) -> float:
        """Greatest a_p*a_e of a side cut, mm2."""
        return 0.5 * self.cutter.diameter * self.slot_stepdown_material

    def spindle_power(self, rpm: float) -> float:
        """Power at the shaft, W: the machine's curve, else constant torque up to the top speed."""
        return spindle_power(self.machine, rpm)

    def power_allowed(self, rpm: float) -> float:
        """Cutting power allowed at ``rpm``, W: 0.8 x efficiency x shaft power."""
        return POWER_SHARE * self.machine.efficiency * spindle_power(self.machine, rpm)

    def torque_allowed(self, rpm: float) -> float:
        """Cutting torque allowed at ``rpm``, N m."""
        return 9.549296585513721 * self.power_allowed(rpm) / rpm if rpm > 0 else 0.0

    def tool_compliance(self, from_tip: float = 0.0) -> float:
        """Bending of the cutter per newton at ``from_tip`` mm above the tip, mm/N (stepped cantilever, beam theory)."""
        return stepped_compliance(
            d_1=self.equivalent_diameter,
            d_2=self.shank,
            l_1=min(self.flute_length, self.stickout),
            l_2=self.stickout,
            modulus=self.modulus,
            from_tip=from_tip,
        )

    def compliance(self, from_tip: float = 0.0) -> float:
        """Cutter, holder, spindle and frame together, mm/N."""
        return self.tool_compliance(from_tip) + self.machine_compliance

    def plunge_feed_max(self, rpm: float) -> float:
        """Greatest straight plunge feed at ``rpm``, mm/min: per revolution and the machine's Z."""
        return min(self.plunge_per_rev_max * rpm, self.feed_max_z)


class NoData(ValueError):  # noqa: N818 (reads as what it is)
    """No data supports this cutter in this material; the message says why."""


def plunge_depth(cutter: Cutter, family: str) -> float:
    """How deep a cutter may go straight down at once, mm: a tenth of its diameter in metal, a diameter in wood and
    plastics, foam as deep as it likes; nothing where it does not cut at its centre or packs the chips (common practice,
    no source)."""
    if not cutter.centre_cutting or (family in WOODS and cutter.twist in ("down", "compression")):
        return 0.0
    if family in METALS:
        return 0.1 * cutter.diameter
    return math.inf if family == "foam" else cutter.diameter


def spindle_power(machine: Machine, rpm: float) -> float:
    """Shaft power (W) at ``rpm``: straight lines between the points of the power curve, constant torque below its
    first, constant power above its last; without a curve constant torque up to the top speed (motor texts)."""
    if rpm <= 0:
        return 0.0
    curve = machine.power_curve
    if not curve:
        return machine.spindle_power * min(1.0, rpm / machine.spindle_max)
    first, last = curve[0], curve[-1]
    if rpm <= first[0]:
        return first[1] * rpm / first[0]
    for (n_1, p_1), (n_2, p_2) in pairwise(curve):
        if rpm <= n_2:
            return p_1 + (p_2 - p_1) * (rpm - n_1) / (n_2 - n_1)
    return last[1]


def stepped_compliance(*, d_1: float, d_2: float, l_1: float, l_2: float, modulus: float, from_tip: float = 0.0) -> float:
    """Compliance (mm/N) of a stepped cantilever loaded ``from_tip`` mm above its tip: d_1 over l_1 from the tip, d_2 to
    the overhang l_2. (1/3E)[L_1^3/I_1 + (L_2^3 - L_1^3)/I_2], L reduced by from_tip, I = pi d^4/64 (beam theory)."""
    a = max(l_1 - from_tip, 0.0)
    b = max(l_2 - from_tip, a)
    return (a**3 / d_1**4 + (b**3 - a**3) / d_2**4) * 64.0 / (3.0 * math.pi * modulus)


def rigidity_of(machine: Machine, *, metal: bool) -> float:
    """0 for a light machine, 1 for a rigid one, between them by the logarithm of the stiffness."""
    rigid = RIGID_METAL if metal else RIGID_WOOD
    share = math.log(max(machine.stiffness, 1e-9) / LIGHT) / math.log(rigid / LIGHT)
    return min(1.0, max(0.0, share))


def chip_scale_of(machine: Machine, *, metal: bool) -> float:
    """What a machine under 2 N/um leaves of the tables' chip load: 0.4 to 1 in metals, 0.6 to 1 in the rest."""
    least = CHIP_LEAST_METAL if metal else CHIP_LEAST_OTHER
    share = math.log(max(machine.stiffness, 1e-9) / LIGHT) / math.log(CHIP_FULL / LIGHT)
    return least + (1.0 - least) * min(1.0, max(0.0, share))


def chip_load_at(material: Material, diameter: float) -> tuple[float, float, float]:
    """Chip load (low, chosen, high), mm per tooth, at a cutter diameter: power law between the table's diameters.

    Raises NoData beyond 1.5 times the table's ends.
    """
    table = sorted(material.chip_load)
    if not table:
        raise NoData(f"no chip load of {material.title} is known")
    if not table[0] / TABLE_REACH <= diameter <= table[-1] * TABLE_REACH:
        raise NoData(
            f"chip loads of {material.title} are known for cutters of {table[0]:g} to {table[-1]:g} mm; "
            f"{diameter:g} mm is too far outside to read off"
        )
    if len(table) == 1:
        value = material.chip_load[table[0]]
        return value.low, value.chosen, value.high
    i = 0
    while i < len(table) - 2 and diameter > table[i + 1]:
        i += 1
    d_1, d_2 = table[i], table[i + 1]
    v_1, v_2 = material.chip_load[d_1], material.chip_load[d_2]
    share = math.log(diameter / d_1) / math.log(d_2 / d_1)
    return (
        v_1.low * (v_2.low / v_1.low) ** share,
        v_1.chosen * (v_2.chosen / v_1.chosen) ** share,
        v_1.high * (v_2.high / v_1.high) ** share,
    )


def complete(cutter: Cutter) -> tuple[Cutter, tuple[str, ...]]:
    """The cutter with what bending needs filled in where its maker's or user's data is silent, each filling told."""
    told: list[str] = []
    flute = cutter.flute_length
    if flute is None:
        flute = min(3 * cutter.diameter, cutter.stickout) if cutter.stickout is not None else 3 * cutter.diameter
        told.append(f"flute length not given: {flute:g} mm taken (3 x diameter)")
    shank = cutter.shank
    if shank is None:
        shank = max(cutter.diameter, 3.0)
        told.append(f"shank not given: {shank:g} mm taken")
    stickout = cutter.stickout
    if stickout is None:
        stickout = flute + min(max(0.75 * shank, 3.0), 12.0)
        told.append(f"stickout not given: {stickout:g} mm taken")
    if not told:
        return cutter, ()
    return replace(cutter, flute_length=flute, shank=shank, stickout=stickout), tuple(told)


_MEMO: dict[tuple[int, int, int, float | None], tuple[Cutter, Material, Machine, CutLimits]] = {}
_MEMO_MOST = 8192


def cut_limits(*, cutter: Cutter, material: Material, machine: Machine, specific_force: float | None = None) -> CutLimits:
    """The limits of ``cutter`` in ``material`` on ``machine``; ``specific_force`` (N/mm2) overrides the material's.

    Raises NoData when the material's data doesn't support the cutter. Memoised on the identity of its arguments, which
    are frozen values.
    """
    key = (id(cutter), id(material), id(machine), specific_force)
    hit = _MEMO.get(key)
    if hit is not None:
        return hit[3]
    result = fresh_limits(cutter, material, machine, specific_force)
    if len(_MEMO) >= _MEMO_MOST:
        _MEMO.clear()
    _MEMO[key] = (cutter, material, machine, result)  # the arguments are kept so that their ids stay theirs
    return result


def _between(light: float, rigid: float, share: float) -> float:
    return light + (rigid - light) * share


def fresh_limits(cutter: Cutter, material: Material, machine: Machine, specific_force: float | None) -> CutLimits:
    """The limits of one variation, not kept."""
    values = material.values
    refusal = material.refusals.get(cutter.material)
    if refusal:
        raise NoData(f"{material.title} with a cutter of {cutter.material}: {refusal}")
    cutter, assumptions = complete(cutter)
    assert cutter.flute_length is not None and cutter.stickout is not None and cutter.shank is not None
    d = cutter.diameter
    metal, wood = material.family in METALS, material.family in WOODS
    sources: dict[str, str] = {}

    def take(key: str) -> Value:
        value = values[key]
        sources[key] = value.source
        return value

    speed_key = f"cutting_speed_{cutter.material}"
    if cutter.form == "drill" and f"drill_speed_{cutter.material}" in values:
        speed_key = f"drill_speed_{cutter.material}"
    if speed_key not in values:
        raise NoData(f"no cutting speed of {material.title} with a cutter of {cutter.material} is known")
    speed = take(speed_key)

    share = rigidity_of(machine, metal=metal)
    rigid = take("stepdown_slot_rigid")
    if "stepdown_slot_light" in values:
        light = take("stepdown_slot_light").chosen
    elif share >= 0.5:
        light = 0.0
    else:
        raise NoData(
            f"{material.title} is not advised on a machine of {machine.stiffness:g} N/um: the tables know it on rigid "
            f"machines only"
        )
    slot_material = _between(light, rigid.chosen, share) * d
    slot = min(slot_material, cutter.flute_length)
    if wood and cutter.twist == "down":
        slot = min(slot, _between(0.5, 1.0, share) * d)
        sources["down-cut-slot"] = CP

    low, chosen, high = chip_load_at(material, d)
    sources["chip_load"] = material.chip_load[sorted(material.chip_load)[0]].source
    scale = machine_scale = chip_scale_of(machine, metal=metal)
    sources["chip_scale"] = "estimate, no source"
    if cutter.material == "hss" and "chip_load_hss_factor" in values:
        scale *= take("chip_load_hss_factor").chosen
    edge_radius = cutter.edge_radius if cutter.edge_radius is not None else 0.005
    # A material whose table gives no least chip (foam) does not rub: a fiftieth of the low end stands for none.
    least = (take("least_chip_share").chosen if "least_chip_share" in values else 0.02) * low * scale
    if metal:
        least = max(least, 0.4 * edge_radius)
    sources["chip_least"] = values["least_chip_share"].source if "least_chip_share" in values else CP

    if specific_force is not None:
        law_low = law = law_high = law_bend = ForceLaw(k11=specific_force)
        sources["specific_force"] = "given by the user, constant"
    else:
        k, m = take("specific_force"), take("specific_force_exponent")
        worn = take("worn_force_factor")
        law_low = ForceLaw(k11=k.low, m=m.low)
        law = ForceLaw(k11=k.chosen, m=m.chosen)
        law_high = ForceLaw(k11=max(k.high, k.chosen * worn.high), m=m.high)
        law_bend = ForceLaw(k11=k.high, m=m.high)
        if "shear_force" in values and "edge_force" in values:
            law_bend = ForceLaw(k11=take("shear_force").high, edge=take("edge_force").high)
    ratio = take("radial_force_ratio")

    top, top_name = machine.spindle_max, "spindle-speed"
    if cutter.max_rpm is not None and cutter.max_rpm < top:
        top, top_name = cutter.max_rpm, "cutter-speed-mark"
    if cutter.max_rpm is None and d > UNMARKED_DIAMETER and top > MAX_UNMARKED:
        top, top_name = MAX_UNMARKED, "unmarked-cutter-speed"
    if cutter.form == "drill" and "drill_rpm_max" in values and top > take("drill_rpm_max").high:
        top, top_name = take("drill_rpm_max").high, "drill-speed"

    plunge, pitch, feed = take("plunge_per_rev"), take("helix_pitch"), take("drill_feed")
    ramp_rigid = take("ramp_angle_rigid")
    ramp_light = take("ramp_angle_light") if "ramp_angle_light" in values else None
    ramp: float | None = _between(ramp_light.low if ramp_light else ramp_rigid.low, ramp_rigid.low, share)
    ramp_most: float | None = _between(ramp_light.high if ramp_light else ramp_rigid.high, ramp_rigid.high, share)
    dead = 0.0 if cutter.centre_cutting else max(cutter.dead_diameter, 0.0)
    if not cutter.centre_cutting:
        if cutter.ramp_angle is not None:
            ramp_most = cutter.ramp_angle
        elif cutter.core_height is not None and dead > 0:
            ramp_most = math.degrees(math.atan(cutter.core_height / dead))
        else:
            ramp = ramp_most = None
    elif cutter.ramp_angle is not None:
        ramp_most = min(ramp_most or cutter.ramp_angle, cutter.ramp_angle)
    if ramp is not None and ramp_most is not None:
        ramp = min(ramp, ramp_most)

    tool = tool_material(cutter.material)
    modulus, rupture, working = tool["modulus"], tool["rupture"], tool["working_stress"]
    sources["modulus"], sources["working_stress"] = modulus.source, working.source
    return CutLimits(
        cutter=cutter,
        material=material,
        machine=machine,
        metal=metal,
        wood=wood,
        rigidity=share,
        slot_stepdown=slot,
        slot_stepdown_material=slot_material,
        side_width_min=take("side_width").low * d,
        side_width_max=take("side_width").high * d,
        side_depth_max=min(cutter.flute_length, take("side_depth").high * d) if "side_depth" in values else cutter.flute_length,
        flute_length=cutter.flute_length,
        stickout=cutter.stickout,
        chip_least=least,
        chip_low=low * scale,
        chip_chosen=chosen * scale,
        chip_high=high * scale,
        chip_scale=scale,
        machine_scale=machine_scale,
        slot_chip_factor=take("slot_chip_factor").chosen,
        edge_radius=edge_radius,
        runout=max(machine.runout, cutter.runout or 0.0),
        cutting_speed_low=speed.low,
        cutting_speed_chosen=speed.chosen,
        cutting_speed_high=speed.high,
        spindle_min=machine.spindle_min,
        spindle_max=top,
        spindle_max_name=top_name,
        feed_max=machine.feed_max,
        feed_max_z=machine.feed_max_z,
        centre_entry=cutter.centre_cutting and not (wood and cutter.twist in ("down", "compression")),
        plunge_per_rev=plunge.chosen * d,
        plunge_per_rev_max=plunge.high * d,
        ramp_angle=ramp,
        ramp_angle_max=ramp_most,
        helix_pitch=pitch.chosen * d,
        helix_pitch_max=pitch.high * d,
        bore_min=d + dead if dead else 1.1 * d if metal else d,
        # A ball leaves a cusp, not a post: 0.13 R high at 1.5 D (geometry).
        bore_max=1.5 * d if cutter.form == "ball" else 2 * d - 2 * cutter.corner_radius,
        peck_first=take("peck_first").chosen * d,
        peck_then=take("peck_next").chosen * d,
        drill_feed_low=feed.low * d,
        drill_feed_chosen=feed.chosen * d,
        drill_feed_high=feed.high * d,
        force_low=law_low,
        force_nominal=law,
        force_high=law_high,
        force_bend=law_bend,
        radial_ratio=ratio.high,
        radial_ratio_nominal=ratio.chosen,
        axial_ratio=math.sin(math.radians(cutter.helix)) if cutter.twist != "straight" else 0.0,
        modulus=modulus.low,
        equivalent_diameter=(cutter.stiffness_ratio or 0.675) * d,
        core_diameter=(cutter.core_ratio or 0.5) * d,
        shank=cutter.shank,
        machine_compliance=0.001 / machine.stiffness + 0.001 / machine.holder_stiffness,
        rupture=rupture.low,
        stress_allowed=working.chosen,
        deflection_rough=take("deflection_rough").chosen,
        deflection_finish=take("deflection_finish").chosen,
        finish_allowance=take("finish_allowance").chosen,
        assumptions=assumptions,
        sources=sources,
    )
