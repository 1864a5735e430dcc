"""What an answer says in words: caution, warnings, assumptions, sources and how far they differ."""

from __future__ import annotations

from advisor.advice import Advice
from advisor.limits import CutLimits, plunge_depth
from advisor.search import Task
from advisor.values import Material


def safety_of(material: Material | None) -> tuple[str, ...]:
    """The caution every answer carries, and the material's hazards."""
    return (
        "Starting values, not instructions: your machine, cutter and material may need less.",
        "The limit marked on the cutter or given by its maker, and your machine's rated limits, override these numbers.",
        "Follow the law and codes where you work (in the US 29 CFR 1910 Subpart O, in the EU the machinery and carcinogen "
        "directives) and trained practice; this is no risk assessment.",
        "Dust extraction and eye, ear and lung protection are assumed; first run above the work, hand on stop.",
        *((material.title[:1].upper() + material.title[1:] + ": " + h for h in material.hazards) if material else ()),
    )


def spread_of(limits: CutLimits) -> str:
    """How far the sources differ, in words."""
    force = limits.material.values["specific_force"]
    if limits.cutter.form == "drill":
        what, low, high = "feeds of a drill", limits.drill_feed_low, limits.drill_feed_high
    else:
        what, low, high = "chip loads", limits.chip_low, limits.chip_high
    text = (
        f"Cutting forces given for {limits.material.title} differ by a factor of {force.high / force.low:.1f} "
        f"({force.low:g} to {force.high:g} {force.unit}), {what} by {high / low:.1f} ({low:.3g} to {high:.3g} mm)"
    )
    if force.source == "estimate, no source":
        text += "; no measured table of the force was found, so it is an estimate"
    return text + "."


def sources_of(limits: CutLimits) -> tuple[str, ...]:
    """Every source the answer rests on, once, in order."""
    machine = limits.machine.sources
    texts = [*limits.sources.values(), *(machine[k] for k in ("stiffness", "spindle_power") if k in machine)]
    return tuple(dict.fromkeys(texts))


def wide_side_cut(limits: CutLimits, stepover: float) -> str:
    """What to say of a side cut wider than the tables know."""
    return (
        f"A side cut {stepover:.3g} mm wide is wider than the tables know ({limits.side_width_max:.3g} mm): its depth is held "
        f"like a slot's."
    )


def warnings_of(advice: Advice, task: Task) -> tuple[str, ...]:
    """The don'ts of this cut."""
    limits = task.limits
    cutter, machine, material = limits.cutter, limits.machine, limits.material
    told: list[str] = []
    if cutter.use and material.family not in cutter.use:
        told.append(f"{cutter.name} is made for {', '.join(cutter.use)}, not for {material.family}: chips may not clear.")
    if not cutter.centre_cutting:
        told.append("Never straight down: the cutter does not cut at its centre.")
    elif limits.wood and cutter.twist in ("down", "compression"):
        told.append("Never straight down with a cutter that pushes chips down: ramp or circle in.")
    elif advice.plunge_feed is not None and cutter.form != "vee" and advice.stepdown > plunge_depth(cutter, material.family):
        straight = plunge_depth(cutter, material.family)
        told.append(
            f"Straight down at most {straight:.3g} mm at a time ({straight / cutter.diameter:.2g} x diameter): deeper, "
            + ("circle or ramp in, or start in a hole." if limits.metal else "the chips pack and burn; circle or ramp in.")
        )
    if limits.ramp_angle is None and cutter.form not in ("drill", "vee"):
        told.append("No ramp advised: the height of the cutter's uncut core is not known; start in an open edge or a hole.")
    if cutter.twist == "compression" and cutter.up_length and advice.stepdown <= cutter.up_length:
        told.append(
            f"The first pass ({advice.stepdown:.2f} mm) is not deeper than the up-cut part ({cutter.up_length:g} mm): the top "
            f"will fray; use an up-cut or down-cut cutter, or one with a shorter up-cut part."
        )
    if cutter.max_rpm is None:
        told.append("No top speed is known for this cutter: look for the mark on it or ask its maker, and stay below it.")
    if advice.physics.cutting_speed < limits.cutting_speed_low - 1e-9:
        told.append(
            f"Cutting speed {advice.physics.cutting_speed:.0f} m/min is below the usual "
            f"{limits.cutting_speed_low:g} to {limits.cutting_speed_high:g}: the spindle can't go faster with this cutter."
        )
    elif advice.physics.cutting_speed > limits.cutting_speed_chosen + 1e-6:
        told.append(
            f"Cutting speed {advice.physics.cutting_speed:.0f} m/min is above the usual {limits.cutting_speed_chosen:g}: the "
            f"spindle can't go slower; the cutter wears fast."
        )
    if limits.metal and not machine.chip_clearing:
        told.append("Clear the chips with air, mist or flood: a recut chip welds or breaks the cutter.")
    run_up = (advice.feed / 60.0) ** 2 / machine.acceleration[0]
    if run_up > 5.0:
        told.append(f"The feed is reached only on moves longer than {run_up:.0f} mm; short ones and corners run slower.")
    if task.bore is not None and task.bore[0] > limits.bore_max + 1e-9:
        told.append(f"A post of {task.bore[0] - limits.bore_max:.3g} mm is left in the bore: it may come loose and be thrown.")
    if cutter.form == "vee":
        told.append("The stress in the tip of a V cutter is not judged: it breaks first; start gently.")
    if limits.stickout > 5 * cutter.diameter:
        told.append(f"The cutter stands out {limits.stickout / cutter.diameter:.1f} x its diameter; 3 to 4 is preferred.")
    if task.operation == "side" and advice.stepover > limits.side_width_max + 1e-9:
        told.append(wide_side_cut(limits, advice.stepover))
    elif task.operation == "side":
        told.append("Cut the outline with the width named: a full-width first cut is a slot and needs a slot's depth.")
    return tuple(told)


def assumptions_of(advice: Advice, task: Task) -> tuple[str, ...]:
    """What was taken for granted."""
    limits = task.limits
    told = list(limits.assumptions)
    if task.free_depth:
        told.append(f"depth not given: one pass of {advice.stepdown:.3g} mm, as deep as pays")
    elif advice.request.depth is None:
        told.append(f"depth not given: {task.depth:.3g} mm taken")
    if task.operation == "pocket":
        told.append("a pocket's first lap on each level is a full-width cut: its limits are those of a slot")
    if task.operation == "face":
        told.append("the cutter runs with its axis over the middle of the strip it cuts")
    if advice.request.bore_diameter is None and advice.helix is not None:
        told.append(f"entry bore of {advice.helix.bore_diameter:g} mm taken (1.7 x diameter where the cutter allows it)")
    told.append("force, torque, power and deflection are those of a worn edge or the high end of the data")
    if limits.chip_scale < 0.999:
        told.append(
            f"chip loads are scaled by {limits.chip_scale:.2f} for a machine of {limits.machine.stiffness:g} N/um"
            + (" and a high speed steel edge" if limits.cutter.material == "hss" else "")
        )
    table = sorted(limits.material.chip_load)
    if not table[0] <= limits.cutter.diameter <= table[-1]:
        told.append(f"the chip load is read off beyond its table ({table[0]:g} to {table[-1]:g} mm)")
    if advice.request.specific_force is not None:
        told.append(f"specific force {advice.request.specific_force:g} N/mm2, constant, as given")
    return tuple(told)
