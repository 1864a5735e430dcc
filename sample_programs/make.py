"""Write the boat-shed's sample programs: ``python sample_programs/make.py`` renews every file in this folder.

The shed builds a small rowing skiff in marine plywood. Lengths are mm and feeds mm/min unless a name says inch.
Everything is computed from the few constants at the head of each program, so two runs give the same bytes.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from math import ceil, cos, pi, radians, sin, sqrt
from pathlib import Path

HERE = Path(__file__).resolve().parent
Point = tuple[float, float]
Lines = list[str]


def number(value: float, digits: int = 3) -> str:
    """A coordinate as a machinist writes it: no trailing zeros, no minus zero."""
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def words(digits: int = 3, **values: float) -> str:
    """``X1.5 Y2`` from ``x=1.5, y=2``."""
    return " ".join(letter.upper() + number(value, digits) for letter, value in values.items())


def on_circle(centre: Point, radius: float, degrees: float) -> Point:
    """The point of a circle at an angle."""
    return centre[0] + radius * cos(radians(degrees)), centre[1] + radius * sin(radians(degrees))


def arc(code: str, start: Point, end: Point, centre: Point, z: float | None = None) -> str:
    """An arc block with I and J. The end is rounded as printed, so that both radii agree."""
    block = f"{code} {words(x=end[0], y=end[1])}"
    if z is not None:
        block += " " + words(z=z)
    i, j = centre[0] - round(start[0], 3), centre[1] - round(start[1], 3)
    return f"{block} {words(i=i, j=j)}"


def opening(title: str, *notes: str, tool: int, rpm: int, coordinates: str = "G21") -> Lines:
    """Header, modes, first tool, spindle up to speed."""
    return [
        f"({title})",
        *(f"({note})" for note in notes),
        f"G17 {coordinates} G40 G49 G54 G80 G90 G94",
        "G53 G0 Z0",
        f"T{tool} M6",
        f"G43 H{tool}",
        f"M3 S{rpm}",
        "G4 P5",
    ]


def closing() -> Lines:
    """Lift, stop, end."""
    return ["(end)", "G53 G0 Z0", "M5", "M30"]


def hatch_ring() -> Lines:
    """A ring of 18 mm plywood: six bolt holes, then the inside, then the outside, both held by tabs."""
    centre = (150.0, 150.0)
    inside, outside, bolts = 77.0, 113.0, 95.0  # radii of the cutter's path, and of the bolt circle
    passes, stepdown, bottom = 4, 3.6, -18.0
    slot_feed, plunge_feed, bore_feed = 2600, 900, 1900
    tab, cutter, ramp = 8.0, 6.0, 16.0

    lines = opening(
        "hatch ring, fore-deck of the skiff",
        "birch plywood 300 x 300, measured 17.6 to 17.8",
        "zero: lower left corner, top of the sheet",
        "T1 6 mm upcut, 2 flutes, stick-out 30",
        tool=1,
        rpm=18000,
    )
    for hole in range(6):
        middle = on_circle(centre, bolts, 60 * hole + 30)
        start = (middle[0] + 2.0, middle[1])
        lines += [f"(bolt hole {hole + 1}, 10 mm)", f"G0 {words(x=start[0], y=start[1])}", "G0 Z5", "G0 Z1"]
        lines += [f"G1 Z0 F{plunge_feed}"]
        turns = 12
        for turn in range(1, turns + 1):
            feed = f" F{bore_feed}" if turn == 1 else ""
            lines.append(arc("G3", start, start, middle, z=bottom * turn / turns) + feed)
        lines += [arc("G3", start, start, middle), f"G1 {words(x=middle[0], y=middle[1])}", "G0 Z5"]

    for name, radius, code, turn_sign in (("inside", inside, "G3", 1), ("outside", outside, "G2", -1)):
        half_gap = (tab + cutter) / 2 / radius * 180 / pi
        slope = ramp / radius * 180 / pi
        start = on_circle(centre, radius, turn_sign * half_gap)
        shelf = -passes * stepdown
        lines += [f"({name}: down in a helix, {passes} turns of {number(stepdown)})"]
        lines += [f"G0 {words(x=start[0], y=start[1])}", "G0 Z1", f"G1 Z0 F{plunge_feed}"]
        for turn in range(1, passes + 1):
            feed = f" F{slot_feed}" if turn == 1 else ""
            lines.append(arc(code, start, start, centre, z=-turn * stepdown) + feed)
        lines += [arc(code, start, start, centre), f"({name}: last pass, four tabs of {number(tab)} by {3.3})"]
        here = start
        for quarter in range(4):
            stops = (
                (90 * quarter + half_gap + slope, bottom),
                (90 * (quarter + 1) - half_gap, None),
            )
            for degrees, z in stops:
                there = on_circle(centre, radius, turn_sign * degrees)
                lines.append(arc(code, here, there, centre, z=z))
                here = there
            if quarter < 3:
                there = on_circle(centre, radius, turn_sign * (90 * (quarter + 1) + half_gap))
                lines += [f"G1 {words(z=shelf)}", arc(code, here, there, centre)]
                here = there
        lines.append("G0 Z5")
    return lines + closing()


def cleat_plate() -> Lines:
    """An aluminium plate in inches: spotted, drilled with pecks, two lanyard slots milled in thin ramps."""
    holes = [(0.5, 0.5), (0.5, 1.5), (3.5, 1.5), (3.5, 0.5)]
    slots = [(1.25, 0.7), (1.25, 1.3)]
    length, deepest, passes = 1.5, 0.265, 11

    def inch(**values: float) -> str:
        text = []
        for letter, value in values.items():
            digits = f"{value:.4f}".rstrip("0")
            text.append(letter.upper() + digits.replace("0.", ".", 1) if abs(value) < 1 else letter.upper() + digits)
        return "".join(text)

    body = [
        "(CLEAT PLATE, ALUMINIUM 1/4 X 2 X 4, SMALL MILL)",
        "(ZERO: LOWER LEFT CORNER, TOP FACE. CLAMPED ON A BACKING BOARD)",
        "(T4 1/4 SPOT DRILL, T5 .257 DRILL, T6 1/4 END MILL 3 FLUTES)",
        "G17G20G40G49G54G80G90G94",
        "G53G0Z0.",
    ]

    def change(tool: int, rpm: int, title: str) -> Lines:
        return [f"({title})", f"T{tool}M6", f"S{rpm}M3", "G4P3.", f"G43H{tool}"]

    first, *others = holes
    body += change(4, 3000, "SPOT")
    body += [f"G0{inch(x=first[0], y=first[1])}", "Z1.M8", "Z.2", f"G99G82{inch(x=first[0], y=first[1])}Z-.07R.1P.1F8."]
    body += [inch(x=x, y=y) for x, y in others]
    body += ["G80", "M9", "G0Z1.", "M5", "G53G0Z0."]
    body += change(5, 3400, "DRILL THROUGH")
    body += [f"G0{inch(x=first[0], y=first[1])}", "Z1.M8", "Z.2"]
    body += [f"G98G83{inch(x=first[0], y=first[1])}Z-.36R.1Q.12F14."]
    body += [inch(x=x, y=y) for x, y in others]
    body += ["G80", "M9", "G0Z1.", "M5", "G53G0Z0."]
    body += change(6, 4000, "LANYARD SLOTS")
    for index, (x, y) in enumerate(slots):
        body += [f"(SLOT {index + 1})", f"G0{inch(x=x, y=y)}"]
        body += ["Z1.M8", "Z.1"] if index == 0 else ["Z.1"]
        body += ["G1Z0.F3."]
        for step in range(1, passes + 1):
            feed = "F10." if step == 1 else ""
            body += [f"X{number(x + length)}{inch(z=-deepest * step / passes)}{feed}", inch(x=x)]
        body += ["G0Z.2"]
    body += ["(END)", "G0Z1.M9", "M5", "G53G0Z0.", "M30"]
    blocks = [f"N{10 * (index + 1)}{block}" for index, block in enumerate(body)]
    return ["%", "O0412", *blocks, "%"]


# The foil: a lens-shaped section (a circular arc to 0.1 mm) that gets narrower and thinner towards the tip.
BASE = -12.0


def foil(x: float, y: float) -> float:
    """Height of the finished surface."""
    if not 18 <= y <= 102:
        return BASE
    along = (y - 18) / 84
    half_chord, thickness = 30 - 6 * along, 9 - 3 * along
    across = (x - 45) / half_chord
    return BASE + thickness * max(0.0, 1 - across * across)


def tip_height(x: float, y: float, radius: float, ball: bool, allowance: float) -> float:
    """Lowest height of a cutter's tip that nowhere goes below the surface plus an allowance."""
    highest = foil(x, y) + allowance
    for ring in (0.25, 0.5, 0.75, 1.0):
        drop = radius - radius * sqrt(1 - ring * ring) if ball else 0.0
        for step in range(24):
            angle = step * pi / 12
            there = foil(x + ring * radius * cos(angle), y + ring * radius * sin(angle))
            highest = max(highest, there + allowance - drop)
    return highest


def thinned(points: list[Point], tolerance: float) -> list[Point]:
    """The fewest of the points that keep within a height tolerance of all of them."""
    if len(points) < 3:
        return points
    (x0, z0), (x1, z1) = points[0], points[-1]
    gaps = [abs(z0 + (z1 - z0) * (x - x0) / (x1 - x0) - z) for x, z in points]
    worst = max(range(len(points)), key=gaps.__getitem__)
    if gaps[worst] <= tolerance:
        return [points[0], points[-1]]
    return thinned(points[: worst + 1], tolerance)[:-1] + thinned(points[worst:], tolerance)


Height = Callable[[float, float], float]


def rows(spacing: float, inset: float, tolerance: float, height: Height) -> Iterator[tuple[float, list[Point]]]:
    """Zigzag rows over the foil's bay: y, and the points (x, z) in the order they are cut."""
    count = ceil((104 - 2 * inset) / spacing)
    for row in range(count + 1):
        y = 8 + inset + (104 - 2 * inset) * row / count
        places = [8 + inset + (74 - 2 * inset) * step / 74 for step in range(75)]
        points = thinned([(x, height(x, y)) for x in places], tolerance)
        yield y, points if row % 2 == 0 else points[::-1]


def rudder_foil() -> Lines:
    """One face of the rudder's foil in softwood: roughed in four levels with a flat cutter, finished with a ball."""
    levels, allowance = 4, 0.5
    rough_feed, finish_feed, plunge_feed = 2600, 2400, 900
    lines = opening(
        "rudder foil, port face, tip half",
        "softwood 90 x 120 x 24",
        "zero: lower left corner, top of the board",
        "T1 6 mm upcut for roughing, T3 6 mm ball for finishing",
        tool=1,
        rpm=18000,
    )
    for level in range(1, levels + 1):
        floor = (BASE + allowance) * level / levels

        def rough(x: float, y: float, floor: float = floor) -> float:
            return max(floor, tip_height(x, y, 3.0, False, allowance))

        lines += [f"(rough level {level})", "G0 X8 Y8", "G0 Z5" if level == 1 else "G0 Z1"]
        above = (BASE + allowance) * (level - 1) / levels
        lines += [f"G1 {words(z=above)} F{plunge_feed}", f"G1 {words(x=50, z=floor)}", f"G1 X8 F{rough_feed}"]
        for y, points in rows(3.0, 0.0, 0.1, rough):
            lines += [f"G1 {words(y=y)}"] if y > 8 else []
            lines += [f"G1 {words(x=x, z=z)}" for x, z in points[1:]]
        lines.append("G0 Z5")
    lines += ["(change to the ball cutter)", "M5", "G53 G0 Z0", "T3 M6", "G43 H3", "M3 S18000", "G4 P5"]
    lines += ["(finish)", "G0 X8.5 Y8.5", "G0 Z5", "G0 Z-10", f"G1 Z-12 F{plunge_feed}"]
    feed = f" F{finish_feed}"
    for y, points in rows(1.2, 0.5, 0.03, lambda x, y: tip_height(x, y, 3.0, True, 0.0)):
        lines += [f"G1 {words(y=y)}"] if y > 8.5 else []
        for x, z in points[1:]:
            lines.append(f"G1 {words(x=x, z=z)}{feed}")
            feed = ""
    return [*lines, "G0 Z5", *closing()]


def oarlock_pad() -> Lines:
    """Side 1 of an oarlock pad: two pin holes into the spoilboard, a round recess, half the outline."""
    pins = [(15.0, 32.0), (145.0, 32.0)]
    middle = (80.0, 50.0)
    plunge_feed, feed = 900, 2200
    lines = opening(
        "oarlock pad, side 1 of 2",
        "hardwood 160 x 100 x 21, turned over about Y for side 2",
        "zero: lower left corner, top of the blank",
        "T2 6 mm drill, T1 6 mm upcut",
        tool=2,
        rpm=6000,
    )
    (x0, y0), (x1, y1) = pins
    lines += ["(pin holes, 12 mm into the spoilboard)", f"G0 {words(x=x0, y=y0)}", "G0 Z5"]
    lines += [f"G98 G83 {words(x=x0, y=y0)} Z-33 R2 Q10 F900", words(x=x1, y=y1), "G80"]
    lines += ["(change to the end mill)", "M5", "G53 G0 Z0", "T1 M6", "G43 H1", "M3 S18000", "G4 P5"]

    depth, turns = 6.0, 4
    lines += ["(recess, 40 mm, 6 deep)"]
    start = (middle[0] + 3.0, middle[1])
    lines += [f"G0 {words(x=start[0], y=start[1])}", "G0 Z5", "G0 Z1", f"G1 Z0 F{plunge_feed}"]
    for half in range(2):  # two levels, each entered by a helix of four turns
        top = -depth * half / 2
        here = start
        if half:
            lines.append(f"G1 {words(x=start[0], y=start[1])}")
        for turn in range(1, turns + 1):
            tail = " F1500" if turn == 1 else ""
            lines.append(arc("G3", start, start, middle, z=top - depth / 2 * turn / turns) + tail)
        lines.append(arc("G3", start, start, middle))
        for radius in (5.5, 8.0, 10.5, 13.0, 15.5, 17.0):
            there = (middle[0] + radius, middle[1])
            tail = f" F{feed}" if radius == 5.5 else ""
            lines += [f"G1 {words(x=there[0])}{tail}", arc("G3", there, there, middle)]
            here = there
    lines += [f"G1 {words(x=here[0] - 2)}", "G0 Z5"]

    lines += ["(outline, half depth, four turns of 2.7)", *pad_outline(2.7, plunge_feed, feed)]
    return [*lines, "G0 Z5", *closing()]


def pad_outline(stepdown: float, plunge_feed: int, feed: int) -> Lines:
    """Half the depth of the oarlock pad's outline, which is the same from both sides: down in four ramps."""
    left, right, low, high, corner = 27.0, 133.0, 12.0, 88.0, 15.0
    lines = [f"G0 {words(x=left, y=50)}", "G0 Z1", f"G1 Z0 F{plunge_feed}"]
    for turn in range(1, 6):  # the fifth turn is level and clears the ramp
        z = -stepdown * min(turn, 4)
        ramp = f" {words(z=z)}" if turn < 5 else ""
        tail = f" F{feed}" if turn == 1 else ""
        lines += [
            f"G1 {words(y=high - corner)}{ramp}{tail}",
            f"G2 {words(x=left + corner, y=high, r=corner)}",
            f"G1 {words(x=right - corner)}",
            f"G2 {words(x=right, y=high - corner, r=corner)}",
            f"G1 {words(y=low + corner)}",
            f"G2 {words(x=right - corner, y=low, r=corner)}",
            f"G1 {words(x=left + corner)}",
            f"G2 {words(x=left, y=low + corner, r=corner)}",
            "G1 Y50",
        ]
    return lines


def oarlock_pad_turned() -> Lines:
    """Side 2 of the oarlock pad: a bore that opens into the recess of side 1, and the other half of the outline."""
    middle, plunge_feed, feed = (80.0, 50.0), 900, 2200
    depth, turns = 15.2, 16  # 15 mm stand over the recess
    lines = opening(
        "oarlock pad, side 2 of 2",
        "turned over about Y, on the two pins, held by tape",
        "zero: lower left corner, top of the blank",
        "T1 6 mm upcut",
        tool=1,
        rpm=18000,
    )
    start = (middle[0] + 2.0, middle[1])
    lines += ["(bore, 10 mm, into the recess)", f"G0 {words(x=start[0], y=start[1])}"]
    lines += ["G0 Z5", "G0 Z1", f"G1 Z0 F{plunge_feed}"]
    for turn in range(1, turns + 1):
        tail = " F1500" if turn == 1 else ""
        lines.append(arc("G3", start, start, middle, z=-depth * turn / turns) + tail)
    lines += [arc("G3", start, start, middle), f"G1 {words(x=middle[0], y=middle[1])}", "G0 Z5"]
    lines += ["(outline, the other half, four turns of 2.6)", *pad_outline(2.6, plunge_feed, feed)]
    return [*lines, "G0 Z5", *closing()]


def thwart_socket() -> Lines:
    """A pocket for the end of a thwart, zero on the table: cleared from the middle out, wall finished in one pass."""
    top, floor, passes = 32.0, 18.0, 5
    cx, cy, half_x, half_y = 70.0, 55.0, 35.0, 22.0
    feed, plunge_feed = 2200, 900
    lines = opening(
        "thwart socket, knee blank",
        "hardwood 140 x 110 x 32",
        "zero: lower left corner, on the spoilboard",
        "T1 6 mm upcut",
        tool=1,
        rpm=18000,
    )
    stepover, wall = 2.4, 0.4
    reach_x, reach_y = half_x - 3 - wall, half_y - 3 - wall  # of the cutter's centre, before the finishing pass
    rings = ceil(reach_y / stepover)
    start = (cx - (reach_x - reach_y), cy)
    entry = (start[0] + 2.5, cy)
    lines += ["(clear the pocket)", f"G0 {words(x=entry[0], y=cy)}", "G0 Z40", "G0 Z33"]
    lines += [f"G1 {words(z=top)} F{plunge_feed}"]
    for level in range(1, passes + 1):
        previous = top - (top - floor) * (level - 1) / passes
        z = top - (top - floor) * level / passes
        lines += [f"(level {level})"]
        if level > 1:
            lines += ["G0 Z40", f"G0 {words(x=entry[0], y=cy)}", f"G0 {words(z=previous + 1)}"]
            lines += [f"G1 {words(z=previous)} F{plunge_feed}"]
        for turn in (1, 2):
            tail = " F1200" if turn == 1 else ""
            lines.append(arc("G3", entry, entry, start, z=previous + (z - previous) * turn / 2) + tail)
        lines += [arc("G3", entry, entry, start), f"G1 {words(x=2 * cx - start[0])} F{feed}", f"G1 {words(x=start[0])}"]
        for ring in range(1, rings + 1):
            off = reach_y * ring / rings
            dx, dy = reach_x - reach_y + off, off
            lines += [
                f"G1 {words(x=cx - dx, y=cy - dy)}",
                f"G1 {words(x=cx + dx)}",
                f"G1 {words(y=cy + dy)}",
                f"G1 {words(x=cx - dx)}",
                f"G1 {words(y=cy - dy)}",
            ]
    lines += ["(finish the wall)", "G0 Z40", f"G0 {words(x=cx, y=cy)}", "G0 Z19", f"G1 {words(z=floor)} F{plunge_feed}"]
    x, y, r = half_x - 3, half_y - 3, 5.0
    lines += [
        f"G1 {words(y=cy - y + 8)} F{feed}",
        f"G3 {words(x=cx + 8, y=cy - y, r=8)} F1500",
        f"G1 {words(x=cx + x - r)}",
        f"G3 {words(x=cx + x, y=cy - y + r, r=r)}",
        f"G1 {words(y=cy + y - r)}",
        f"G3 {words(x=cx + x - r, y=cy + y, r=r)}",
        f"G1 {words(x=cx - x + r)}",
        f"G3 {words(x=cx - x, y=cy + y - r, r=r)}",
        f"G1 {words(y=cy - y + r)}",
        f"G3 {words(x=cx - x + r, y=cy - y, r=r)}",
        f"G1 {words(x=cx + 12)}",
        f"G3 {words(x=cx + 20, y=cy - y + 8, r=8)}",
    ]
    return [*lines, "G0 Z40", *closing()]


def transom_face() -> Lines:
    """The transom's blank faced flat with a wide cutter, entering from outside the wood."""
    feed, depth, width, length, step = 4000, -0.8, 180.0, 260.0, 15.0
    lines = opening(
        "transom blank, facing",
        "softwood 260 x 180 x 22, glued up",
        "zero: lower left corner, top of the blank",
        "T7 22 mm surfacing cutter, 2 flutes",
        tool=7,
        rpm=12000,
    )
    count = ceil((width - 8) / step)
    lines += ["(face)", "G0 X-16 Y4", "G0 Z5", f"G1 {words(z=depth)} F900"]
    for row in range(count + 1):
        y = 4 + (width - 8) * row / count
        end = length + 16 if row % 2 == 0 else -16
        tail = f" F{feed}" if row == 0 else ""
        if row:
            lines.append(f"G1 {words(y=y)}")
        lines.append(f"G1 {words(x=end)}{tail}")
    return [*lines, "G0 Z5", *closing()]


def sheer_groove() -> Lines:
    """A V groove with small scallops along the sheer moulding, written in incremental distances."""
    lines = opening(
        "sheer moulding, scalloped V groove",
        "hardwood 400 x 40 x 18",
        "zero: lower left corner, top of the moulding",
        "T8 60 degree V cutter, 6 mm",
        tool=8,
        rpm=18000,
    )
    lines += ["(groove)", "G0 X20 Y14", "G0 Z5", "G0 Z1", "G91", "G1 Z-1 F600", "G1 X12 Z-1.2 F1500"]
    lines += ["G2 X24 R20"] * 14
    lines += ["G1 X12 Z1.2", "G90", "G0 Z5"]
    return lines + closing()


PROGRAMS: dict[str, Callable[[], Lines]] = {
    "hatch-ring.ngc": hatch_ring,
    "cleat-plate.nc": cleat_plate,
    "rudder-foil.ngc": rudder_foil,
    "oarlock-pad-1.ngc": oarlock_pad,
    "oarlock-pad-2.ngc": oarlock_pad_turned,
    "thwart-socket.ngc": thwart_socket,
    "transom-face.ngc": transom_face,
    "sheer-groove.ngc": sheer_groove,
}


def everything() -> dict[str, str]:
    """All files of the folder that this script writes: path within the folder -> text."""
    from spoil import SPOILED  # beside this file

    good = {name: program() for name, program in PROGRAMS.items()}
    files = {name: "\n".join(lines) + "\n" for name, lines in good.items()}
    for spoiling in SPOILED:
        files[f"spoiled/{spoiling.name}"] = "\n".join(spoiling.apply(good[spoiling.base])) + "\n"
    return files


def main() -> None:
    """Write the files and remove spoiled programs that are no longer in the list."""
    files = everything()
    (HERE / "spoiled").mkdir(exist_ok=True)
    for old in (HERE / "spoiled").iterdir():
        if old.suffix in (".ngc", ".nc") and f"spoiled/{old.name}" not in files:
            old.unlink()
    for name, text in files.items():
        (HERE / name).write_text(text, encoding="ascii", newline="\n")
    print(f"{len(files)} programs written to {HERE}")


if __name__ == "__main__":
    sys.path.insert(0, str(HERE))
    main()
