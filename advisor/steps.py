"""How the numbers came about: every formula with its numbers, result and source, so that a reader can retrace it."""

from __future__ import annotations

import math

from advisor.advice import Advice, Rating, Step
from advisor.limits import CP, POWER_SHARE, CutLimits, ForceLaw
from advisor.operations import Engagement

HANDBOOK = "from memory: Machinery's Handbook"
KIENZLE = "Kienzle 1952, DIN 6584 (from memory)"
BEAM = "beam theory; equivalent diameter kops-vo-1990 for metal cutters"
GEOMETRY = "geometry"


def steps_of(answer: Advice | Rating) -> tuple[Step, ...]:
    """The steps of an answer, in the order they were worked out."""
    if answer.cut is None:
        return ()
    if answer.engagement is None:
        return _drilling(answer, answer.cut)
    return _milling(answer, answer.cut, answer.engagement)


def _law(law: ForceLaw, h: float) -> str:
    if law.edge > 0:
        return f"k_c = K_tc + K_te / h = {law.k11:g} + {law.edge:g} / {h:.4g}"
    if law.m == 0:
        return f"k_c = {law.k11:g}, constant"
    return f"k_c = k_c1.1 * h^-m = {law.k11:g} * {h:.4g}^-{law.m:g}"


def _ratings_law(answer: Advice | Rating, limits: CutLimits) -> ForceLaw:
    return limits.force_nominal if isinstance(answer, Rating) else limits.force_high


def _milling(answer: Advice | Rating, limits: CutLimits, e: Engagement) -> tuple[Step, ...]:
    p, n, v_f = answer.physics, answer.spindle_rpm, answer.feed
    cutter, material, machine = limits.cutter, limits.material, limits.machine
    d, z = cutter.diameter, cutter.flutes
    told: list[Step] = []

    def step(name: str, formula: str, result: float, unit: str, source: str) -> None:
        told.append(Step(name, formula, result, unit, source))

    if abs(e.effective_diameter - d) > 1e-9:
        step("effective diameter", _effective(limits, e.a_p), e.effective_diameter, "mm", GEOMETRY)
    step(
        "cutting speed",
        f"v_c = pi * D * n / 1000 = pi * {e.effective_diameter:.5g} * {n:g} / 1000",
        p.cutting_speed,
        "m/min",
        HANDBOOK,
    )
    step("feed per tooth", f"f_z = v_f / (n * z) = {v_f:g} / ({n:g} * {z})", p.chip_load, "mm", HANDBOOK)
    step("engagement angle", _engaged(answer, e, d), p.engagement, "deg", GEOMETRY)
    step(
        "greatest chip thickness",
        f"h_max = f_z * {e.greatest:.5g} (sin of the angle where it is greatest, sin of the edge angle)",
        p.max_chip_thickness,
        "mm",
        "circular-path approximation, from memory: Altintas, Manufacturing Automation",
    )
    step(
        "mean chip thickness",
        f"h_m = f_z * (cos phi_st - cos phi_ex) / phi_s = {p.chip_load:.5g} * {e.mean:.5g}",
        p.mean_chip_thickness,
        "mm",
        "the same",
    )
    known = material.source != "not given"
    if known:
        chip = limits.chip_range(e.a_e, e.a_p) if cutter.form != "vee" else None
        if chip is not None:
            step(
                "chip thickness allowed",
                f"table at {d:g} mm x machine {limits.chip_scale:.3g} x width and depth "
                f"{limits.chip_factor(e.a_e, e.a_p):.3g}: low {chip[1]:.4g}, chosen {chip[2]:.4g}, high {chip[3]:.4g}; "
                f"least {chip[0]:.4g}",
                chip[2],
                "mm",
                limits.sources["chip_load"],
            )
        if answer.helix is None or answer.request.operation != "bore":
            step(
                "greatest stepdown of a slot",
                f"a_slot = D * (light + (rigid - light) * {limits.rigidity:.3g}) for {machine.stiffness:g} N/um",
                limits.slot_stepdown_material,
                "mm",
                limits.sources["stepdown_slot_rigid"],
            )
    step(
        "removal rate",
        f"Q = section * v_f / 1000 = {e.section:.5g} * {v_f:g} / 1000",
        p.removal_rate,
        "cm3/min",
        GEOMETRY,
    )
    if p.force is not None and p.power is not None and p.torque is not None and p.deflection is not None:
        law = _ratings_law(answer, limits)
        k = law.at(p.mean_chip_thickness)
        source = limits.sources.get("specific_force", "given")
        step("specific force", _law(law, p.mean_chip_thickness), k, "N/mm2", f"{KIENZLE}; values: {source}")
        step(
            "mean force of a tooth in cut",
            f"F = k_c * b * h_m = {k:.5g} * {e.mean_section * p.chip_load:.5g}",
            p.force,
            "N",
            KIENZLE,
        )
        step("cutting power", f"P = k_c * Q / 60 = {k:.5g} * {p.removal_rate:.5g} / 60", p.power, "W", HANDBOOK)
        step("torque", f"M = 60 * P / (2 pi n) = 60 * {p.power:.5g} / (2 pi * {n:g})", p.torque, "N m", HANDBOOK)
        if math.isfinite(machine.stiffness) and machine.spindle_power < 1e9:
            step(
                "power allowed",
                f"P_max = {POWER_SHARE:g} * efficiency * P(n) = {POWER_SHARE:g} * {machine.efficiency:g} * "
                f"{limits.spindle_power(n):.5g}",
                limits.power_allowed(n),
                "W",
                machine.sources.get("spindle_power", CP),
            )
        bend = limits.force_nominal if isinstance(answer, Rating) else limits.force_bend
        ratio = limits.radial_ratio_nominal if isinstance(answer, Rating) else limits.radial_ratio
        side = bend.at(p.max_chip_thickness) * p.chip_load * e.side_section
        whole = side * math.sqrt(1 + ratio * ratio)
        step(
            "side force",
            f"F_s = k_c(h_max) * f_z * {e.side_section:.4g} mm (helix and teeth in cut) * sqrt(1 + {ratio:g}^2); "
            + _law(bend, p.max_chip_thickness),
            whole,
            "N",
            "; ".join(
                dict.fromkeys(
                    limits.sources.get(key, "given") for key in ("shear_force", "radial_force_ratio") if key in limits.sources
                )
            )
            or source,
        )
        arm = e.a_p / 2
        step(
            "compliance",
            f"1/k = cutter {1000 * limits.tool_compliance(arm):.4g} + holder, spindle and frame "
            f"{1000 * limits.machine_compliance:.4g} um/N (stepped bar {limits.equivalent_diameter:.4g} mm to "
            f"{min(limits.flute_length, limits.stickout):g} mm, {limits.shank:g} mm to {limits.stickout:g} mm, load "
            f"{arm:.4g} mm above the tip)",
            1000 * limits.compliance(arm),
            "um/N",
            BEAM,
        )
        step(
            "deflection",
            f"delta = F_s / k = {whole:.4g} N * {limits.compliance(arm):.4g} mm/N",
            p.deflection,
            "mm",
            BEAM,
        )
        if p.stress is not None:
            step(
                "stress in the cutter",
                f"sigma = sqrt((32 F_s L)^2 + 3 (16 M)^2) / (pi d^3), d = {limits.core_diameter:.4g} mm at the flutes, "
                f"{limits.shank:g} mm at the holder; the greater",
                p.stress,
                "N/mm2",
                "beam theory (von Mises)",
            )
    if answer.plunge_feed is not None and isinstance(answer, Advice):
        step(
            "plunge feed",
            f"least of {limits.plunge_per_rev:.4g} mm a turn * {n:g} and Z's {limits.feed_max_z:g} mm/min",
            answer.plunge_feed,
            "mm/min",
            limits.sources.get("plunge_per_rev", CP),
        )
    if answer.helix is not None:
        h = answer.helix
        step(
            "helix angle",
            f"theta = atan(P / (pi (D_h - D))) = atan({h.pitch:.4g} / (pi * {h.path_diameter:.4g}))",
            h.angle,
            "deg",
            GEOMETRY,
        )
        step(
            "wall feed",
            f"v_w = v_f * D_h / (D_h - D); the chip follows the centre's feed {h.feed:g}",
            h.wall_feed,
            "mm/min",
            GEOMETRY,
        )
    return tuple(told)


def _effective(limits: CutLimits, a_p: float) -> str:
    c = limits.cutter
    if c.form == "ball":
        return f"D_eff = 2 sqrt(a_p (D - a_p)), a_p = {a_p:.4g}, D = {c.diameter:g}"
    if c.form == "corner":
        return f"D_eff = D - 2 r + 2 sqrt(a_p (2 r - a_p)), a_p = {a_p:.4g}, r = {c.corner_radius:g}"
    return f"D_eff = d_0 + 2 a_p tan(theta / 2), a_p = {a_p:.4g}, theta = {c.tip_angle:g}, d_0 = {c.tip_diameter:g}"


def _engaged(answer: Advice | Rating, e: Engagement, d: float) -> str:
    if e.angle >= math.pi - 1e-12:
        return "phi_s = 180, full width"
    if answer.request.operation == "face":
        return f"phi_s = 2 arcsin(a_e / D) = 2 arcsin({e.a_e:.4g} / {d:g})"
    return f"phi_s = arccos(1 - 2 a_e / D) = arccos(1 - 2 * {e.a_e:.4g} / {d:g})"


def _drilling(answer: Advice | Rating, limits: CutLimits) -> tuple[Step, ...]:
    p, n, v_f = answer.physics, answer.spindle_rpm, answer.feed
    d = limits.cutter.diameter
    f = v_f / n
    told = [
        Step("cutting speed", f"v_c = pi * D * n / 1000 = pi * {d:g} * {n:g} / 1000", p.cutting_speed, "m/min", HANDBOOK),
        Step("feed per turn", f"f = v_f / n = {v_f:g} / {n:g}", f, "mm", HANDBOOK),
        Step(
            "chip thickness",
            f"h = f / z * sin(sigma / 2), sigma = {limits.cutter.tip_angle or 180:g}",
            p.max_chip_thickness,
            "mm",
            "from memory: Tschaetsch; DIN 6581",
        ),
        Step("removal rate", f"Q = pi D^2 / 4 * v_f / 1000, D = {d:g}", p.removal_rate, "cm3/min", GEOMETRY),
    ]
    if p.torque is not None and p.power is not None:
        law = _ratings_law(answer, limits)
        k = law.at(p.max_chip_thickness)
        source = limits.sources.get("specific_force", "given")
        told += [
            Step("specific force", _law(law, p.max_chip_thickness), k, "N/mm2", f"{KIENZLE}; values: {source}"),
            Step("torque", f"M = k_c f D^2 / 8000 = {k:.5g} * {f:.4g} * {d:g}^2 / 8000", p.torque, "N m",
                 "from memory: Tschaetsch; DIN 6581"),
            Step("power", f"P = 2 pi n M / 60 = 2 pi * {n:g} * {p.torque:.4g} / 60", p.power, "W", HANDBOOK),
        ]  # fmt: skip
        if p.thrust is not None:
            told.append(
                Step(
                    "thrust",
                    "T = 0.6 k_c f D / 2 sin(sigma / 2), within 40 %",
                    p.thrust,
                    "N",
                    "from memory: Tschaetsch",
                )
            )
    return tuple(told)
