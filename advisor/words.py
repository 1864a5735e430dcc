"""Limits in the words of the trade."""

from __future__ import annotations

LIMITS: dict[str, str] = {
    "chip-too-thick": "the greatest chip thickness",
    "chip-too-thin": "the least chip thickness",
    "run-out": "the chip of the tooth that stands out with run-out",
    "deflection": "the bending of cutter, holder and machine",
    "tool-stress": "the stress in the cutter",
    "axis-push": "the force the axis drives can hold",
    "spindle-power": "the power of the spindle",
    "spindle-torque": "the torque of the spindle",
    "feed-machine": "the greatest feed of the machine",
    "feed-machine-z": "the greatest feed of Z",
    "spindle-speed": "the top speed of the spindle",
    "cutter-speed-mark": "the top speed marked on the cutter",
    "unmarked-cutter-speed": "the top speed for large cutters without a mark",
    "drill-speed": "the top speed of drills in this material",
    "spindle-slowest": "the slowest speed of the spindle",
    "cutting-speed": "the cutting speed",
    "stepdown-material": "the stepdown this material, cutter and machine take",
    "side-depth": "the depth of a side cut",
    "side-width": "the width of a side cut",
    "flute-length": "the flute length",
    "cone-height": "the height of the cutter's cone",
    "straight-plunge": "the depth straight down",
    "down-cut-slot": "the depth of a slot with a cutter that pushes chips down",
    "helix-pitch": "the pitch of a helix",
    "helix-angle": "the helix angle asked for",
    "ramp-angle": "the ramp angle",
    "arc-acceleration": "what the machine's acceleration allows round the circle",
    "plunge-feed": "the feed straight down",
    "finish-feed": "the feed of a finishing pass",
    "chatter": "the depth below chatter",
    "drill-feed": "the feed of a drill",
    "peck": "the bite of a drill",
    "thrust": "the thrust Z can hold",
    "stickout": "the stickout",
    "no-data": "what the data supports",
}


def limit_words(name: str) -> str:
    """A limit's name in words."""
    return LIMITS.get(name, name.replace("-", " "))


def figure(value: float, digits: int = 4) -> str:
    """A number for a sentence: ``digits`` significant figures, whole from 1000 up, no powers of ten."""
    if abs(value) >= 1000:
        return f"{value:.0f}"
    text = f"{value:.{digits}g}"
    return f"{value:.6f}".rstrip("0").rstrip(".") if "e" in text else text
