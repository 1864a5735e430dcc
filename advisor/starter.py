"""The commented starter ``feedwright.toml`` that ``feedwright init`` writes. Flags -> text."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from advisor.setting import Flags, flags_layer

_HEAD = """\
# feedwright.toml: this shop's machine, cutters, stock and rules.
# The nearest file above a program counts. "feedwright check --show-config PROGRAM" prints every value in force.
# Values carry units ("6 mm", "1/4 in", "18000 rpm"); a bare number is mm, mm/min or rev/min.
# A line that begins with # is off: take the # away and put your own value in.
"""

_MACHINE = """\
[machine]
{like:<44} # feedwright catalogue machines; any key here overrides it
# travel = {{ x = ["0 mm", "600 mm"], y = ["0 mm", "400 mm"], z = ["-100 mm", "0 mm"] }}   # machine coordinates
# spindle_max = "24000 rpm"
# spindle_power = "800 W"
# feed_max = "5000 mm/min"
# change = "hand"              # or "automatic"
# spindle_start = "program"    # or "hand", "interlock"

# [offsets]                    # where program zero sits on the machine; without it only spans are compared
# G54 = ["210 mm", "340 mm", "-92 mm"]
"""

_CUTTER = """\
[[cutter]]
{tool:<44} # the T number; leave it out for programs that name no tool
{like:<44} # feedwright catalogue cutters
# stickout = "30 mm"           # holder face to tip, as you set it
# max_rpm = "24000 rpm"        # as marked on the cutter
# length_offset = "50 mm"      # tool table, for G43
"""

_STOCK = """\
[stock]
{material:<44} # feedwright catalogue materials
{size:<44} # X, Y, Z
{zero:<44} # program zero from the stock's lowest corner
# thickness = ["17.6 mm", "18.2 mm"]     # as measured: least, greatest; depth rules are run at both ends
# layers = ["1.4 mm", "1.4 mm"]          # veneers from the top down, as measured
"""

_REST = """\
[hold]
# method = "screws"            # screws, clamps, vacuum, tape, vise
# points = [["10 mm", "10 mm"], ["290 mm", "190 mm"]]   # what is held down, in stock coordinates
# spoilboard = "0.5 mm"        # how far below the stock cutting is allowed
# pins = [{ at = ["20 mm", "100 mm"], diameter = "6 mm", depth = "12 mm" }]   # holes meant to go below the stock
# keepouts = [{ name = "left clamp", from = ["-20 mm", "80 mm", "0 mm"], to = ["10 mm", "110 mm", "45 mm"] }]

[checks]
dialect = "shop"               # or "strict": the published standard to the letter
# require = ["rapid-into-stock", "stepdown-over-limit"]   # must have been looked at, else it is a finding
# straight-plunge = "error"    # or "warning", "note", "off"; feedwright explain lists the rules
# rapid-clearance = { severity = "warning", least = "1 mm" }

# [files]
# endings = [".nc", ".ngc", ".tap"]      # which files of a folder are programs
# ignore = ["scrap/", "*-old.ngc"]       # which are not to be checked

# [[allow]]                    # findings put aside, with the reason
# rule = "air-cutting"
# files = ["surfacing-*.ngc"]
# because = "the board's top face is uneven"

# [[material]]                 # a work material of your own: one value, or [low, chosen, high]
# name = "club-plywood"
# like = "birch-plywood"
# specific_force = ["15 N/mm2", "22 N/mm2", "30 N/mm2"]
# chip_load = { "6 mm" = ["0.05 mm", "0.08 mm", "0.11 mm"] }

# [[program]]                  # other values for some files
# files = ["side-2/*.ngc"]
# stock = { zero = ["300 mm", "0 mm", "18 mm"] }

# [[job]]                      # programs that cut one workpiece, in order
# name = "oarlock pad"
# [[job.setup]]
# programs = ["pad-1.ngc"]
# [[job.setup]]
# turn = "about-y"             # how the piece is turned over before this set-up
# programs = ["pad-2.ngc"]
"""


def text(flags: Flags) -> str:
    """The file's text: what the flags say in force, everything else as a comment to fill in.

    Raises ``SettingError`` or ``UnitError`` where a flag can't be read.
    """
    said = flags_layer(flags).data
    parts = [_HEAD, _MACHINE.format(like=_line("like", said.get("machine", {}).get("like"), "ballscrew-router"))]
    cutters: Mapping[str, Any] = said.get("cutter", {})
    for tool, table in cutters.items() if cutters else (("", {}),):
        number = _line("tool", int(tool), 1) if tool.isdigit() else "# tool = 1"
        block = _CUTTER.format(tool=number, like=_line("like", table.get("like"), "endmill-upcut-6mm-2f"))
        parts.append(block if cutters else "# " + block)
    stock: Mapping[str, Any] = said.get("stock", {})
    parts.append(
        _STOCK.format(
            material=_line("material", stock.get("material"), "birch-plywood"),
            size=_line("size", _lengths(stock.get("size")), ["300 mm", "200 mm", "18 mm"]),
            zero=_line("zero", _lengths(stock.get("zero")), ["0 mm", "0 mm", "18 mm"]),
        )
    )
    parts.append(_REST)
    return "\n".join(parts)


def _lengths(values: Any) -> list[str] | None:
    return None if values is None else [f"{value:.10g} mm" for value in values]


def _line(key: str, value: Any, example: Any) -> str:
    """``key = value``, or the example commented out."""
    if value is None:
        return f"# {key} = {json.dumps(example)}"
    return f"{key} = {json.dumps(value)}"
