"""Small whole programs for the tests of the gate: a groove in plywood, and the same with one fault planted."""

from __future__ import annotations

CLEAN = b"""(groove for a thwart)
G21 G90 G17 G94 G40 G49 G80
G54
T1 M6
S18000 M3
G4 P5
G53 G0 Z0
G0 X30 Y30
Z10
G1 Z0 F1200
G1 X60 Z-3 F1200
G1 X30 F3600
G1 X60
G0 Z10
G53 G0 Z0
M5
M30
"""
CRASHING = CLEAN.replace(b"G0 Z10\nG53 G0 Z0\nM5", b"G0 X80\nG0 Z10\nG53 G0 Z0\nM5")
NO_FEED = CLEAN.replace(b"G1 Z0 F1200", b"G1 Z0").replace(b"Z-3 F1200", b"Z-3")

SHOP = """
[machine]
like = "ballscrew-router"
travel = { x = ["0 mm", "1200 mm"], y = ["0 mm", "1200 mm"], z = ["-150 mm", "0 mm"] }

[offsets]
G54 = ["210 mm", "340 mm", "-92 mm"]

[[cutter]]
tool = 1
like = "endmill-upcut-6mm-2f"

[stock]
material = "birch-plywood"
size = ["100 mm", "100 mm", "18 mm"]
zero = ["0 mm", "0 mm", "18 mm"]

[hold]
method = "screws"
points = [["5 mm", "5 mm"], ["95 mm", "95 mm"]]
spoilboard = "0.5 mm"
keepouts = [{ name = "clamp", from = ["0 mm", "80 mm", "0 mm"], to = ["10 mm", "100 mm", "40 mm"] }]
"""
