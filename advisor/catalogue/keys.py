"""What each number of the catalogue means, and the one unit it is written in."""

from __future__ import annotations

# "1" is a plain ratio, "D" a multiple of the cutter's diameter, "D/rev" the same in one revolution.
MATERIAL: dict[str, tuple[str, str]] = {
    "cutting_speed_carbide": ("m/min", "cutting speed with a carbide cutter"),
    "cutting_speed_hss": ("m/min", "cutting speed with a high speed steel cutter"),
    "specific_force": ("N/mm2", "specific cutting force at 1 mm chip thickness and width (k_c1.1), sharp edge"),
    "specific_force_exponent": ("1", "Kienzle exponent m_c: k_c = k_c1.1 * h^-m_c"),
    "shear_force": ("N/mm2", "edge-force model: force per chip section K_tc"),
    "edge_force": ("N/mm", "edge-force model: force per edge length K_te"),
    "radial_force_ratio": ("1", "radial force / tangential force"),
    "worn_force_factor": ("1", "force of a worn edge / force of a sharp one"),
    "chip_load_hss_factor": ("1", "chip load of high speed steel / of carbide"),
    "slot_chip_factor": ("1", "chip load in a slot / in a side cut"),
    "least_chip_share": ("1", "chip below which the edge rubs / low end of the chip load; metals: at least 0.4 x edge radius"),
    "stepdown_slot_light": ("D", "greatest depth of a slot pass on a light machine"),
    "stepdown_slot_rigid": ("D", "greatest depth of a slot pass on a rigid machine"),
    "side_depth": ("D", "greatest depth of a side cut (not given: the flute length)"),
    "side_width": ("D", "greatest width of a side cut"),
    "ramp_angle_light": ("deg", "steepest ramp on a light machine"),
    "ramp_angle_rigid": ("deg", "steepest ramp on a rigid machine"),
    "plunge_per_rev": ("D/rev", "straight descent of a centre-cutting end mill"),
    "helix_pitch": ("D", "greatest pitch of a helical entry"),
    "drill_feed": ("D/rev", "feed of a drill"),
    "drill_speed_hss": ("m/min", "cutting speed of a high speed steel drill"),
    "drill_speed_carbide": ("m/min", "cutting speed of a carbide drill"),
    "drill_rpm_max": ("rpm", "greatest spindle speed for drills"),
    "peck_first": ("D", "greatest first bite of a drill"),
    "peck_next": ("D", "greatest further bite of a drill"),
    "finish_allowance": ("mm", "left for the finishing pass"),
    "deflection_rough": ("mm", "deflection allowed in a roughing cut"),
    "deflection_finish": ("mm", "deflection allowed in a finishing cut"),
    "density": ("kg/m3", "density"),
    "hardness_brinell": ("HB", "Brinell hardness"),
    "hardness_side": ("N", "side hardness (ball pressed in to half its diameter)"),
    "heat_limit": ("degC", "temperature at which it browns, softens or melts"),
}
MATERIAL_NEEDED = (
    "specific_force",
    "specific_force_exponent",
    "radial_force_ratio",
    "worn_force_factor",
    "slot_chip_factor",
    "stepdown_slot_rigid",
    "side_width",
    "ramp_angle_rigid",
    "plunge_per_rev",
    "helix_pitch",
    "drill_feed",
    "peck_first",
    "peck_next",
    "finish_allowance",
    "deflection_rough",
    "deflection_finish",
    "density",
)
FAMILIES = ("wood", "board", "plastic", "foam", "aluminium", "copper", "steel", "iron", "titanium", "composite")

CUTTER: dict[str, tuple[str, str]] = {
    "diameter": ("mm", "cutting diameter"),
    "flutes": ("1", "number of teeth"),
    "flute_length": ("mm", "length of cut"),
    "stickout": ("mm", "from the holder's face to the tip"),
    "shank": ("mm", "shank diameter"),
    "corner_radius": ("mm", "corner radius"),
    "tip_angle": ("deg", "included angle of a V cutter or drill point"),
    "tip_diameter": ("mm", "flat at the tip of a V cutter"),
    "up_length": ("mm", "up-cut part of a compression cutter"),
    "helix": ("deg", "helix angle"),
    "dead_diameter": ("mm", "core that does not cut, of a cutter that is not centre-cutting"),
    "core_ratio": ("1", "core that carries the bending stress / diameter"),
    "stiffness_ratio": ("1", "plain bar of the same bending / diameter, fluted part"),
    "edge_radius": ("mm", "radius of a sharp cutting edge"),
    "runout": ("mm", "total indicator reading at the tip"),
}
CUTTER_NEEDED = (
    "diameter",
    "flutes",
    "flute_length",
    "stickout",
    "shank",
    "helix",
    "core_ratio",
    "stiffness_ratio",
    "edge_radius",
)
FORMS = ("flat", "ball", "corner", "vee", "drill")
TWISTS = ("up", "down", "straight", "compression")

MACHINE: dict[str, tuple[str, str]] = {
    "spindle_min": ("rpm", "slowest spindle speed with useful torque"),
    "spindle_max": ("rpm", "fastest spindle speed"),
    "spindle_power": ("W", "rated power at the shaft"),
    "efficiency": ("1", "power at the cutter / power at the shaft"),
    "feed_max": ("mm/min", "greatest cutting feed, X and Y"),
    "feed_max_z": ("mm/min", "greatest cutting feed, Z"),
    "rapid_xy": ("mm/min", "rapid speed, X and Y"),
    "rapid_z": ("mm/min", "rapid speed, Z"),
    "acceleration_xy": ("mm/s2", "acceleration, X and Y"),
    "acceleration_z": ("mm/s2", "acceleration, Z"),
    "corner_deviation": ("mm", "path deviation allowed at a corner"),
    "stiffness": ("N/um", "static stiffness at the tool, softest horizontal direction"),
    "holder_stiffness": ("N/um", "stiffness of holder and spindle"),
    "spin_up": ("s", "time to full spindle speed"),
    "runout": ("mm", "total indicator reading at the tip"),
    "axis_push": ("N", "force an axis drive can hold against the cut"),
}
MACHINE_NEEDED = tuple(MACHINE)

TOOL_MATERIAL: dict[str, tuple[str, str]] = {
    "modulus": ("N/mm2", "modulus of elasticity"),
    "rupture": ("N/mm2", "transverse rupture strength"),
    "working_stress": ("N/mm2", "stress allowed in use"),
    "density": ("kg/m3", "density"),
}
TOOL_MATERIAL_NEEDED = ("modulus", "rupture", "working_stress")
