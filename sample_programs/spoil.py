"""The same programs spoiled in ways that happen in shops: one fault each, and where it should be found."""

from __future__ import annotations

import re
from dataclasses import dataclass

NUMBERED = re.compile(r"^(N\d+)?(.*?)( \(expect .*)?$")


@dataclass(frozen=True)
class Spoiling:
    """``edits``: (after, block, new block or ""). ``expect``: (after, block, rule).

    A block is looked for from the first line that holds ``after``; "" deletes it; ``expect`` sees it edited.
    """

    name: str
    base: str
    story: str
    edits: tuple[tuple[str, str, str], ...]
    expect: tuple[tuple[str, str, str], ...]

    def apply(self, lines: list[str]) -> list[str]:
        """The spoiled program, with its story at the top and its expectations in comments."""
        lines = list(lines)
        for after, old, new in self.edits:
            at = find(lines, after, old)
            number = parts(lines[at])[0]
            blocks = new.split("\n") if new else []
            lines[at : at + 1] = [number + block if index == 0 else block for index, block in enumerate(blocks)]
        for after, block, rule in self.expect:
            lines[find(lines, after, block)] += f" (expect {rule})"
        head = 2 if lines[0] == "%" else 0
        return [*lines[:head], f"(spoiled: {self.story})", *lines[head:]]


def parts(line: str) -> tuple[str, str]:
    """Line number and block, without the expectations already added."""
    found = NUMBERED.match(line)
    assert found is not None
    return found[1] or "", found[2]


def find(lines: list[str], after: str, block: str) -> int:
    """Index of the first line whose block is ``block``, from the first line that holds ``after``."""
    start = next((index for index, line in enumerate(lines) if after in line), len(lines))
    for index in range(start, len(lines)):
        if parts(lines[index])[1] == block:
            return index
    raise LookupError(f"no line {block!r} from {after!r} on")


RING, PLATE, FOIL = "hatch-ring.ngc", "cleat-plate.nc", "rudder-foil.ngc"
PAD, SOCKET, FACE, GROOVE = "oarlock-pad-1.ngc", "thwart-socket.ngc", "transom-face.ngc", "sheer-groove.ngc"

SPOILED: tuple[Spoiling, ...] = (
    Spoiling(
        "hatch-ring-no-retract.ngc", RING, "the retract after the third bolt hole was deleted",
        (("G1 X67.728 Y197.5", "G0 Z5", ""),),
        (("(bolt hole 4", "G0 X69.728 Y102.5", "rapid-into-stock"),),
    ),
    Spoiling(
        "hatch-ring-low-retract.ngc", RING, "the retract after the fifth bolt hole lifts only 0.5 mm",
        (("(bolt hole 5", "G1 X150 Y55", "G1 X150 Y55\nG0 Z0.5"), ("G0 Z0.5", "G0 Z5", "")),
        (("(bolt hole 6", "G0 X234.272 Y102.5", "rapid-clearance"),),
    ),
    Spoiling(
        "hatch-ring-lost-point.ngc", RING, "a decimal point is lost in a depth",
        (("(outside: down", "G2 X262.783 Y143.004 Z-3.6 I-112.783 J6.996 F2600",
          "G2 X262.783 Y143.004 Z-36 I-112.783 J6.996 F2600"),),
        (("(outside: down", "G2 X262.783 Y143.004 Z-36 I-112.783 J6.996 F2600", "missing-point"),
         ("(outside: down", "G2 X262.783 Y143.004 Z-36 I-112.783 J6.996 F2600", "below-spoilboard"),
         ("(outside: down", "G2 X262.783 Y143.004 Z-36 I-112.783 J6.996 F2600", "stepdown-over-limit"),
         ("(outside: down", "G2 X262.783 Y143.004 Z-36 I-112.783 J6.996 F2600", "stickout-too-short"),
         ("(outside: down", "G2 X262.783 Y143.004 Z-7.2 I-112.783 J6.996", "part-freed")),
    ),
    Spoiling(
        "hatch-ring-two-passes-in-one.ngc", RING, "two turns of the outside's helix were deleted",
        (("(outside: down", "G2 X262.783 Y143.004 Z-3.6 I-112.783 J6.996 F2600", ""),
         ("(outside: down", "G2 X262.783 Y143.004 Z-7.2 I-112.783 J6.996", ""),
         ("(outside: down", "G2 X262.783 Y143.004 Z-10.8 I-112.783 J6.996",
          "G2 X262.783 Y143.004 Z-10.8 I-112.783 J6.996 F2600")),
        (("(outside: down", "G2 X262.783 Y143.004 Z-10.8 I-112.783 J6.996 F2600", "stepdown-over-limit"),),
    ),
    Spoiling(
        "hatch-ring-no-feed.ngc", RING, "the first feed move has no F",
        (("(bolt hole 1", "G1 Z0 F900", "G1 Z0"),),
        (("(bolt hole 1", "G1 Z0", "no-feed"),),
    ),
    Spoiling(
        "hatch-ring-wrong-centre.ngc", RING, "an arc's centre has lost its minus",
        (("(inside: last pass", "G3 X156.99 Y226.682 I-73.59 J-22.66", "G3 X156.99 Y226.682 I73.59 J-22.66"),),
        (("(inside: last pass", "G3 X156.99 Y226.682 I73.59 J-22.66", "arc-mismatch"),),
    ),
    Spoiling(
        "hatch-ring-into-spoilboard.ngc", RING, "one stretch of the last pass is 1.5 mm too deep",
        (("(outside: last pass", "G2 X260.667 Y127.158 Z-18 I-112.783 J6.996",
          "G2 X260.667 Y127.158 Z-19.5 I-112.783 J6.996"),),
        (("(outside: last pass", "G2 X260.667 Y127.158 Z-19.5 I-112.783 J6.996", "below-spoilboard"),),
    ),
    Spoiling(
        "hatch-ring-no-tabs.ngc", RING, "the inside's tabs were forgotten",
        (("(inside: last pass", "G1 Z-14.4", ""),
         ("(inside: last pass", "G1 Z-14.4", ""),
         ("(inside: last pass", "G1 Z-14.4", ""),
         ("(inside: last pass", "G3 X226.682 Y143.01 I-22.66 J73.59", "G3 X223.59 Y172.66 I-22.66 J73.59")),
        (("(inside: last pass", "G3 X223.59 Y172.66 I-22.66 J73.59", "part-freed"),),
    ),
    Spoiling(
        "hatch-ring-steep-helix.ngc", RING, "two turns of a bolt hole's helix were deleted",
        (("(bolt hole 2", "G3 X152 Y245 Z-1.5 I-2 J0 F1900", ""),
         ("(bolt hole 2", "G3 X152 Y245 Z-3 I-2 J0", ""),
         ("(bolt hole 2", "G3 X152 Y245 Z-4.5 I-2 J0", "G3 X152 Y245 Z-4.5 I-2 J0 F1900")),
        (("(bolt hole 2", "G3 X152 Y245 Z-4.5 I-2 J0 F1900", "helix-too-tight"),),
    ),
    Spoiling(
        "hatch-ring-backwards.ngc", RING, "M4 instead of M3",
        (("T1 M6", "M3 S18000", "M4 S18000"),),
        (("T1 M6", "M4 S18000", "spindle-wrong-way"),),
    ),
    Spoiling(
        "hatch-ring-too-fast-spindle.ngc", RING, "S28000 on a spindle that turns at 24000",
        (("T1 M6", "M3 S18000", "M3 S28000"),),
        (("T1 M6", "M3 S28000", "spindle-out-of-range"),),
    ),
    Spoiling(
        "hatch-ring-stop-block.ngc", RING, "a parking move was added that ends in the stop block",
        (("(outside: last pass", "G0 Z5", "G0 Z5\nG0 X150 Y-10"),),
        (("(outside: last pass", "G0 X150 Y-10", "keepout-hit"),),
    ),
    Spoiling(
        "hatch-ring-mistyped-code.ngc", RING, "G11 instead of G1",
        (("(bolt hole 3", "G1 X67.728 Y197.5", "G11 X67.728 Y197.5"),),
        (("(bolt hole 3", "G11 X67.728 Y197.5", "unknown-code"),),
    ),
    Spoiling(
        "cleat-plate-as-mm.nc", PLATE, "an inch program with G21 at its head",
        (("G17G20", "G17G20G40G49G54G80G90G94", "G17G21G40G49G54G80G90G94"),),
        (("G17G21", "G17G21G40G49G54G80G90G94", "unit-mix-up"),
         ("(SLOT 1)", "Z.1", "rapid-clearance")),
    ),
    Spoiling(
        "cleat-plate-plunge.nc", PLATE, "the end mill goes straight down into aluminium",
        (("(SLOT 1)", "X2.75Z-.0241F10.", "Z-.0482F3.\nX2.75F10."),),
        (("(SLOT 1)", "Z-.0482F3.", "straight-plunge"),),
    ),
    Spoiling(
        "cleat-plate-steep-ramp.nc", PLATE, "the first ramp of a slot is a quarter inch long",
        (("(SLOT 1)", "X2.75Z-.0241F10.", "X1.5Z-.0482F10.\nX2.75"),),
        (("(SLOT 1)", "X1.5Z-.0482F10.", "ramp-too-steep"),),
    ),
    Spoiling(
        "cleat-plate-lost-minus.nc", PLATE, "the drilling depth has lost its minus",
        (("(DRILL THROUGH)", "G98G83X.5Y.5Z-.36R.1Q.12F14.", "G98G83X.5Y.5Z.36R.1Q.12F14."),),
        (("(DRILL THROUGH)", "G98G83X.5Y.5Z.36R.1Q.12F14.", "cycle-fault"),),
    ),
    Spoiling(
        "cleat-plate-no-peck-depth.nc", PLATE, "the peck cycle has no Q",
        (("(DRILL THROUGH)", "G98G83X.5Y.5Z-.36R.1Q.12F14.", "G98G83X.5Y.5Z-.36R.1F14."),),
        (("(DRILL THROUGH)", "G98G83X.5Y.5Z-.36R.1F14.", "cycle-fault"),),
    ),
    Spoiling(
        "cleat-plate-off-the-table.nc", PLATE, "a decimal point is lost in Y",
        (("(DRILL THROUGH)", "X3.5Y1.5", "X3.5Y15"),),
        (("(DRILL THROUGH)", "X3.5Y15", "outside-travel"), ("(DRILL THROUGH)", "X3.5Y15", "missing-point")),
    ),
    Spoiling(
        "cleat-plate-dry.nc", PLATE, "the coolant for the slots was forgotten",
        (("(LANYARD SLOTS)", "Z1.M8", "Z1."),),
        (("(SLOT 1)", "X2.75Z-.0241F10.", "no-chip-clearing"),),
    ),
    Spoiling(
        "rudder-foil-spindle-off.ngc", FOIL, "the spindle is not started after the tool change",
        (("(change to the ball cutter)", "M3 S18000", ""),),
        (("(finish)", "G1 Z-12 F900", "spindle-off-in-cut"),),
    ),
    Spoiling(
        "rudder-foil-no-lift.ngc", FOIL, "the lift before the third level was deleted",
        (("(rough level 2)", "G0 Z5", ""),),
        (("(rough level 3)", "G0 X8 Y8", "rapid-into-stock"),),
    ),
    Spoiling(
        "oarlock-pad-1-no-peck.ngc", PAD, "G81 instead of G83 for a deep hole",
        (("(pin holes", "G98 G83 X15 Y32 Z-33 R2 Q10 F900", "G98 G81 X15 Y32 Z-33 R2 F900"),),
        (("(pin holes", "G98 G81 X15 Y32 Z-33 R2 F900", "peck-too-deep"),),
    ),
    Spoiling(
        "oarlock-pad-1-clamp.ngc", PAD, "the way from the recess to the outline crosses a clamp",
        (("(outline", "G0 X27 Y50", "G0 X80 Y97\nG0 X27 Y50"),),
        (("(outline", "G0 X80 Y97", "keepout-hit"),),
    ),
    Spoiling(
        "oarlock-pad-1-dwell.ngc", PAD, "a stop for a look, with the cutter turning at the bottom of the recess",
        (("(recess", "G1 X88", "G4 P3\nG1 X88"),),
        (("(recess", "G4 P3", "dwell-in-cut"),),
    ),
    Spoiling(
        "oarlock-pad-1-change-turning.ngc", PAD, "the spindle still turns when the tool is changed by hand",
        (("(change to the end mill)", "M5", ""),),
        (("(change to the end mill)", "T1 M6", "unsafe-tool-change"),),
    ),
    Spoiling(
        "thwart-socket-fast-plunge.ngc", SOCKET, "the helix into the second level became a plunge at cutting feed",
        (("(level 2)", "G3 X59.5 Y55 Z27.8 I-2.5 J0 F1200", ""),
         ("(level 2)", "G3 X59.5 Y55 Z26.4 I-2.5 J0", "G1 Z26.4 F2200")),
        (("(level 2)", "G1 Z26.4 F2200", "plunge-feed"),),
    ),
    Spoiling(
        "thwart-socket-home-from-below.ngc", SOCKET, "G28 from the bottom of the pocket",
        (("G3 X90 Y44 R8", "G0 Z40", ""), ("(end)", "G53 G0 Z0", "G28")),
        (("(end)", "G28", "unsafe-home"),),
    ),
    Spoiling(
        "thwart-socket-two-codes.ngc", SOCKET, "G0 and G1 in one block",
        (("(finish the wall)", "G1 X97", "G0 G1 X97"),),
        (("(finish the wall)", "G0 G1 X97", "conflicting-codes"),),
    ),
    Spoiling(
        "thwart-socket-word-twice.ngc", SOCKET, "X twice in one block",
        (("(finish the wall)", "G3 X102 Y41 R5", "G3 X102 X41 R5"),),
        (("(finish the wall)", "G3 X102 X41 R5", "repeated-word"),),
    ),
    Spoiling(
        "transom-face-two-points.ngc", FACE, "a number with two decimal points",
        (("(face)", "G1 X276 F4000", "G1 X27.6. F4000"),),
        (("(face)", "G1 X27.6. F4000", "unreadable-block"),),
    ),
    Spoiling(
        "transom-face-too-far.ngc", FACE, "a nought too many in X",
        (("G1 Y32.667", "G1 X276", "G1 X2760"),),
        (("G1 Y32.667", "G1 X2760", "outside-travel"),
         ("G1 Y32.667", "G1 X2760", "missing-point")),
    ),
    Spoiling(
        "transom-face-too-much-feed.ngc", FACE, "a nought too many in F",
        (("(face)", "G1 X276 F4000", "G1 X276 F40000"),),
        (("(face)", "G1 X276 F40000", "feed-over-machine"),),
    ),
    Spoiling(
        "transom-face-no-lift-first.ngc", FACE, "the lift after the tool change by hand is missing",
        (("(transom", "G53 G0 Z0", ""),),
        (("(face)", "G0 X-16 Y4", "first-move-unsafe"),),
    ),
    Spoiling(
        "sheer-groove-small-radius.ngc", GROOVE, "R2 instead of R20",
        (("(groove)", "G2 X24 R20", "G2 X24 R2"),),
        (("(groove)", "G2 X24 R2", "arc-impossible"),),
    ),
)  # fmt: skip
