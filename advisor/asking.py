"""What can be asked: mistakes named with place and remedy, what the cutter can't do or reach, what was left open."""

from __future__ import annotations

import math
from dataclasses import replace

from advisor.advice import OPERATIONS, BadRequest, Request
from advisor.limits import CutLimits
from advisor.operations import cone_height, effective_diameter
from advisor.values import Cutter, Material


def _positive(value: float | None, name: str, what: str, remedy: str) -> None:
    if value is not None and not (math.isfinite(value) and value > 0):
        raise BadRequest(f"{what} must be above zero, not {value:g}", place=name, remedy=remedy)


def validate(request: Request) -> None:
    """Raise BadRequest for what can't be asked; every sentence names the place and the remedy."""
    c, m = request.cutter, request.machine
    if request.operation not in OPERATIONS:
        from difflib import get_close_matches

        near = get_close_matches(request.operation, OPERATIONS, n=1, cutoff=0.4)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        raise BadRequest(
            f'unknown operation "{request.operation}"',
            place="operation",
            remedy=hint + "known: " + ", ".join(OPERATIONS),
        )
    _positive(c.diameter, "diameter", "the cutter's diameter", "give the cutting diameter, for example 6 mm")
    if c.flutes < 1 or c.flutes != int(c.flutes):
        raise BadRequest(
            f"a cutter with {c.flutes} flutes can't cut",
            place="flutes",
            remedy="give the number of cutting edges, 1 or more",
        )
    _positive(c.flute_length, "flute-length", "the flute length", "give the length of the cutting edges")
    _positive(c.stickout, "stickout", "the stickout", "give the length from the holder's face to the tip")
    _positive(c.shank, "shank", "the shank's diameter", "give the diameter the holder grips")
    _positive(c.max_rpm, "cutter-max-rpm", "the speed marked on the cutter", "give it as marked, or leave it out")
    if c.flute_length is not None and c.stickout is not None and c.flute_length > c.stickout + 1e-9:
        raise BadRequest(
            f"the flutes ({c.flute_length:g} mm) are longer than the stickout ({c.stickout:g} mm), so the holder would "
            f"grip the cutting edges",
            place="flute-length",
            remedy=f"let the cutter stand out at least {c.flute_length:g} mm, or give the true flute length",
        )
    if c.form == "corner" and not 0 < c.corner_radius <= c.diameter / 2:
        raise BadRequest(
            f"a corner radius of {c.corner_radius:g} mm does not fit a {c.diameter:g} mm cutter",
            place="corner-radius",
            remedy=f"give a radius above 0 and at most {c.diameter / 2:g} mm",
        )
    if c.tip_angle is not None and not 0 < c.tip_angle < 180:
        raise BadRequest(
            f"a tip angle of {c.tip_angle:g} degrees is no point",
            place="tip-angle",
            remedy="give the included angle, 1 to 179",
        )
    if c.dead_diameter < 0 or c.dead_diameter >= c.diameter:
        raise BadRequest(
            f"an uncut core of {c.dead_diameter:g} mm does not fit a {c.diameter:g} mm cutter",
            place="dead-diameter",
            remedy="give the diameter at the middle that does not cut, below the cutter's diameter",
        )
    if c.form == "vee" and not 0 <= c.tip_diameter < c.diameter:
        raise BadRequest(
            f"a tip flat of {c.tip_diameter:g} mm does not fit a {c.diameter:g} mm cutter",
            place="tip-diameter",
            remedy="give the flat at the tip, below the cutter's diameter",
        )
    _positive(request.depth, "depth", "the depth", "give how deep the cut goes, as a positive length")
    _positive(request.stepover, "stepover", "the stepover", "give the width of cut, above 0 and at most the diameter")
    if request.stepover is not None and request.stepover > c.diameter + 1e-9:
        raise BadRequest(
            f"a stepover of {request.stepover:g} mm is wider than the {c.diameter:g} mm cutter",
            place="stepover",
            remedy=f"give at most {c.diameter:g} mm",
        )
    _positive(request.bore_diameter, "bore-diameter", "the bore's diameter", "give the diameter of the hole")
    if request.bore_diameter is not None and request.bore_diameter <= c.diameter:
        raise BadRequest(
            f"a {c.diameter:g} mm cutter can't circle in a {request.bore_diameter:g} mm bore",
            place="bore-diameter",
            remedy=f"give more than {c.diameter:g} mm, a smaller cutter, or drill it",
        )
    if request.helix_angle is not None and not 0 < request.helix_angle < 90:
        raise BadRequest(
            f"a helix angle of {request.helix_angle:g} degrees is no ramp",
            place="helix-angle",
            remedy="give 0.1 to 45 degrees",
        )
    _positive(request.tolerance, "tolerance", "the tolerance", "give the wall error allowed, for example 0.05 mm")
    _positive(request.specific_force, "specific-force", "the specific force", "give N/mm2, for example 700")
    if m is not None:
        _positive(m.spindle_max, "spindle-max", "the top spindle speed", "give rev/min, for example 24000")
        _positive(m.spindle_power, "spindle-power", "the spindle's power", "give the rated power at the shaft in W")
        _positive(m.feed_max, "feed-max", "the greatest feed", "give mm/min, for example 5000")
        _positive(m.feed_max_z, "feed-max-z", "the greatest feed of Z", "give mm/min, for example 2000")
        _positive(m.stiffness, "stiffness", "the stiffness", "give N/um at the tool, for example 2")
        _positive(m.holder_stiffness, "holder-stiffness", "the holder's stiffness", "give N/um, for example 20")
        if m.spindle_min < 0 or m.spindle_min > m.spindle_max:
            raise BadRequest(
                f"the slowest spindle speed ({m.spindle_min:g}) is above the fastest ({m.spindle_max:g})",
                place="spindle-min",
                remedy="give the slowest speed with useful torque, at most the fastest",
            )
    _able(request)


def _able(request: Request) -> None:
    """The cutter must be able to do the operation at all."""
    c, operation = request.cutter, request.operation

    def cannot(why: str, remedy: str) -> BadRequest:
        return BadRequest(f"{why}, so it can't do the operation {operation}", place="operation", remedy=remedy)

    if c.form == "drill" and operation != "drill":
        raise cannot("a drill cuts at its point only", "use --operation drill, or an end mill")
    if c.form == "vee" and operation not in ("engrave", "slot"):
        raise cannot("a V cutter cuts a groove of its own shape", "use --operation engrave, or a flat end mill")
    if operation == "drill" and c.form != "drill":
        if not c.centre_cutting:
            raise cannot("the cutter does not cut at its centre", "use a drill, or --operation bore with a larger hole")
        if c.twist in ("down", "compression"):
            raise cannot("a cutter that pushes chips down packs the hole", "use a drill, an up-cut cutter, or --operation bore")
    if operation in ("slot", "engrave") and request.stepover is not None and c.form != "vee":
        full = effective_diameter(c, request.depth or c.diameter)
        if request.stepover < full - 1e-6:
            raise BadRequest(
                f"a {operation} is as wide as the cutter ({full:g} mm), not {request.stepover:g} mm",
                place="stepover",
                remedy="leave the stepover out, or use --operation side or pocket",
            )
    if operation == "bore" and request.bore_diameter is not None and not c.centre_cutting:
        least = c.diameter + c.dead_diameter
        if request.bore_diameter < least - 1e-9:
            raise cannot(
                f"the uncut core ({c.dead_diameter:g} mm) would stand on the floor of a {request.bore_diameter:g} mm bore",
                f"bore at least {least:g} mm, or use a centre-cutting cutter",
            )


GRIP_CLEARANCE = 3.0  # mm between holder and work at the deepest (common practice, no source)


def reach(request: Request, limits: CutLimits) -> str | None:
    """Why the cutter does not reach ``depth``, or None when it does."""
    depth = request.depth
    if depth is None:
        return None
    if depth + GRIP_CLEARANCE > limits.stickout + 1e-6:
        return (
            f"the cutter stands out {limits.stickout:g} mm and the cut is {depth:g} mm deep: the holder would come within "
            f"{GRIP_CLEARANCE:g} mm of the work or hit it; let it stand out at least {depth + GRIP_CLEARANCE:g} mm or take a "
            "longer cutter"
        )
    cone = cone_height(limits.cutter)
    if depth > cone + 1e-6:
        return (
            f"the cone of the cutter is {cone:.4g} mm high and the groove is {depth:g} mm deep: above the cone it cuts a "
            f"straight wall; take a larger V cutter, or go at most {math.floor(100 * cone) / 100:g} mm deep"
        )
    thick = limits.shank > 0.95 * limits.cutter.diameter  # no neck that stays free of the wall
    if depth > limits.flute_length + 1e-6 and (thick or request.operation == "drill"):
        return (
            f"the flutes are {limits.flute_length:g} mm long and the cut is {depth:g} mm deep: the shank would rub or the "
            f"chips jam; take a cutter with flutes of at least {depth:g} mm"
        )
    return None


def made_for(cutter: Cutter, material: Material) -> str | None:
    """Why a cutter made for other materials is not advised here, or None. Hard materials only."""
    if not cutter.use or material.family in cutter.use:
        return None
    if material.family in ("steel", "iron", "titanium", "copper", "aluminium", "composite"):
        return (
            f"{cutter.name} is made for {', '.join(cutter.use)}; no data supports it in {material.title}: take a cutter "
            f"made for {material.family}"
        )
    return None


DEFAULT_MACHINE = "screw-router"


def filled(request: Request, stepdown: float | None = None) -> tuple[Request, tuple[str, ...]]:
    """The request with what was left open of cutter and machine filled in, each filling told."""
    from advisor.catalogue import machine as machine_named

    told: list[str] = []
    cutter, machine = request.cutter, request.machine
    if cutter.flute_length is None:
        flute = max((8.0 if cutter.form == "drill" else 3.0) * cutter.diameter, request.depth or 0.0, stepdown or 0.0)
        if cutter.stickout is not None:
            flute = min(flute, cutter.stickout)
        cutter = replace(cutter, flute_length=flute)
        told.append(f"flute length not given: {flute:g} mm taken")
    if cutter.tip_angle is None and cutter.form in ("vee", "drill"):
        angle = 90.0 if cutter.form == "vee" else 118.0
        cutter = replace(cutter, tip_angle=angle)
        told.append(f"tip angle not given: {angle:g} degrees taken")
    if machine is None:
        machine = machine_named(DEFAULT_MACHINE)
        told.append(
            f"no machine named: {DEFAULT_MACHINE} taken ({machine.stiffness:g} N/um, {machine.spindle_power:g} W, "
            f"{machine.spindle_min:g} to {machine.spindle_max:g} rev/min); name yours with --machine"
        )
    elif not machine.name:
        told.append(
            f"of the machine, what was not given is taken as {machine.stiffness:g} N/um, {machine.spindle_power:g} W, "
            f"{machine.spindle_min:g} to {machine.spindle_max:g} rev/min, feed to {machine.feed_max:g} mm/min"
        )
    if not told:
        return request, ()
    return replace(request, cutter=cutter, machine=machine), tuple(told)
