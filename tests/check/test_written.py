"""Programs written in ways a single good and bad program beside a rule does not show, each with its twin.

Every case is a pair: what a careful writer may do, of which nothing is said, and the slip that looks like it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from advisor.check import check_program
from advisor.findings import Finding
from tests.rules.setting import default, of_program

HEAD = "G21 G90 G17 G40 G94\nG53 G0 Z0\nT{tool} M6\nS16000 M3\nG4 P5\n"
TAIL = "G0 Z15\nM5\nM30\n"


def told(text: str, *rules: str) -> list[Finding]:
    """The findings of these rules on a program in the default workshop, changed as its comments say."""
    found = check_program(text.encode(), path="p.ngc", setting=of_program(text) if "(setting" in text else default())
    return [f for f in found.findings if f.rule in rules]


# ---------------------------------------------------------------------------------------------- feed-over-machine


def upright(sag: float, feed: float) -> str:
    """An arc in the XZ plane, 40 mm long, that goes down by ``sag`` in its middle and up again, with the ball cutter."""
    down = (20**2 - sag**2) / (2 * sag)  # from the ends to the centre
    return HEAD.format(tool=3) + f"G0 X20 Y20\nG0 Z5\nG1 Z0 F800\nG18 G2 X60 Z0 I20 K{down:.4f} F{feed:g}\nG17\n" + TAIL


def test_a_shallow_arc_in_an_upright_plane_hardly_moves_z() -> None:
    """At the ends Z goes with 2 sag / (20 + sag^2 / 20) of the feed: the ball-screw router's Z reaches 4000 mm/min."""
    share = 2 * 1.0 * 20 / (20**2 + 1.0**2)
    most = 4000 / share
    assert most > 12000  # the greatest feed of X and Y comes first
    assert told(upright(1.0, 11900), "feed-over-machine") == []
    assert len(told(upright(1.0, 12100), "feed-over-machine")) == 1


def test_a_deep_arc_in_an_upright_plane_goes_as_fast_as_z() -> None:
    share = 2 * 8.0 * 20 / (20**2 + 8.0**2)
    most = 4000 / share
    assert told(upright(8.0, 0.99 * most), "feed-over-machine") == []
    (found,) = told(upright(8.0, 1.01 * most), "feed-over-machine")
    assert found.limit == pytest.approx(most, rel=1e-4)
    assert found.line == 9


def test_a_helix_counts_its_rise() -> None:
    """Pitch as long as the way round: Z goes with sin(45 degrees) of the feed."""
    pitch = math.pi * 10
    body = f"G0 X60 Y50\nG0 Z32\nG3 X60 Y50 Z{32 - pitch:.6f} I-5 J0 F{{feed:g}}\n"
    most = 4000 * math.sqrt(2)
    assert told(HEAD.format(tool=1) + body.format(feed=0.99 * most) + TAIL, "feed-over-machine") == []
    assert len(told(HEAD.format(tool=1) + body.format(feed=1.01 * most) + TAIL, "feed-over-machine")) == 1


def test_one_feed_over_slopes_is_one_finding() -> None:
    """Rows over steep ground at F9000: Z reaches 4000 mm/min, so at 45 degrees 5657 mm/min are the most; between them level."""
    ground = "".join(f"G1 X{30 + 20 * n} Z-3\nX{33 + 20 * n} Z0\nX{40 + 20 * n}\nX{47 + 20 * n}\n" for n in range(3))
    text = HEAD.format(tool=3) + "G0 X20 Y20\nG0 Z5\nG1 Z0 F800\nG1 X27 F{}\n" + ground + TAIL
    assert told(text.format(5600), "feed-over-machine") == []
    (found,) = told(text.format(9000), "feed-over-machine")
    assert (found.line, found.end_line) == (10, 19)
    twice = text.format(9000).replace("X53 Z0", "X53 Z0 F2000").replace("G1 X70", "G1 X70 F9000")
    assert [(f.line, f.end_line) for f in told(twice, "feed-over-machine")] == [(10, 14), (18, 19)]


# -------------------------------------------------------------------------------------------------- missing-point


def surface(extra: float, rows: int) -> str:
    """Rows over a hollow that is level at its edges, ``extra`` above the surface, then 0.3 mm deep at the bottom."""
    text = HEAD.format(tool=3) + f"G0 X20 Y20\nG0 Z5\nG1 Z{extra:g} F800\n"
    for row in range(rows):
        near, far = (20, 80) if row % 2 == 0 else (80, 20)
        inner, outer = (35, 65) if row % 2 == 0 else (65, 35)
        text += (
            f"G1 X{inner} Z{extra:g} F2000\nX{(near + far) / 2:g} Z-0.3\nX{outer} Z{extra:g}\nX{far}\nY{20 + 2 * (row + 1)}\n"
        )
    return text + TAIL


def test_a_surface_roughed_with_an_allowance_stands_above_the_work() -> None:
    assert told(surface(0.3, 4), "missing-point") == []


def test_a_lost_sign_above_the_work_is_still_told() -> None:
    """The same height reached once: a pass that should have been 0.3 mm deep."""
    first = "G0 X20 Y20\nG0 Z5\nG1 X26 Z-0.3 F800\nG1 X80 F2000\nG0 Z5\nG0 X20 Y40\n"
    text = HEAD.format(tool=3) + first + "G1 X26 Z0.3 F800\nG1 X80 F2000\n" + TAIL
    assert [f.line for f in told(text, "missing-point")] == [12]


# --------------------------------------------------------------------------------------------------- arc-mismatch


def arc_lines(text: str) -> list[tuple[int, int]]:
    """First and last line of each arc told on a program with this body, cut with the 6 mm cutter; lines of the body."""
    head = HEAD.format(tool=1) + "G0 X20 Y20\nG0 Z5\nG1 Z0.3 F800\n"
    before = head.count("\n")
    return [(f.line - before, f.end_line - before) for f in told(head + text + "G0 Z15\nM5\nM30\n", "arc-mismatch")]


def test_a_half_turn_of_a_helix_that_goes_back() -> None:
    """Half turns of one helix; the fourth goes back over the third instead of on."""
    turns = [f"G3 X{29.2 if n % 2 else 25:g} Y20 Z{-0.3 * n:.1f} I{2.1 if n % 2 else -2.1} J0" for n in range(6)]
    start = "G1 X29.2 F2000\n"
    good = start + "\n".join(turns) + "\n"
    assert arc_lines(good) == []
    turns[3] = turns[3].replace("G3", "G2")
    assert arc_lines(start + "\n".join(turns) + "\n") == [(5, 5)]


def test_arcs_there_and_back_are_how_a_curved_slot_is_cut() -> None:
    there, back = "G3 X20 Y60 Z{z} I0 J20", "G2 X20 Y20 Z{z} I0 J-20"
    lines = [(there if n % 2 == 0 else back).format(z=f"{-0.3 * (n + 1):.1f}") for n in range(6)]
    assert arc_lines("F2000\n" + "\n".join(lines) + "\n") == []
    lines[3] = lines[3].replace("G2", "G3")  # the other side of the circle, nowhere near the slot
    assert arc_lines("F2000\n" + "\n".join(lines) + "\n") == [(5, 5)]


def test_rounded_radii_of_nearly_half_a_circle_are_one_circle() -> None:
    """R19.64 and R19.63 over a chord of 38.66 mm: the centres lie 0.06 mm apart."""
    slot = "G1 X63.8 Y100.33 F2000\n" + "G3 X26.01 Y92.16 R19.64\nG2 X63.8 Y100.33 R19.63\n" * 2
    assert arc_lines(slot) == []


def test_a_ring_in_halves_one_of_which_goes_back() -> None:
    """Rings outwards in half circles: the first half of the second ring lies on the side of the second half."""

    def rings(spoil: bool) -> str:
        text = "G1 X30 Y20 F2000\n"
        for n, r in enumerate((3, 5, 7)):
            text += f"G1 X{27 + r}\nG{2 if spoil and n == 1 else 3} X{27 - r} I{-r} J0\nG3 X{27 + r} I{r} J0\n"
        return text

    assert arc_lines(rings(False)) == []
    assert arc_lines(rings(True)) == [(6, 6)]


def test_a_trochoid_with_a_half_circle_that_goes_back() -> None:
    """Each pair of half circles has its own centre; in one of them the way out goes back over the way in."""

    def slot(spoil: bool) -> str:
        text = "G1 X30 Y20 F2000\n"
        for n in range(7):
            x = 30 + 0.5 * n
            text += f"G1 X{x}\nG{2 if spoil and n == 4 else 3} X{x} Y26 I0 J3\nG3 X{x} Y20 I0 J-3\n"
        return text

    assert arc_lines(slot(False)) == []
    assert arc_lines(slot(True)) == [(15, 16)]


def corners(radius: float, odd: str = "", every: str = "G3 X{x} Y{y} R{r}") -> str:
    """A square with four corners by R, going counterclockwise; the third corner may be written otherwise."""
    r = radius
    points = [(80 - r, 20, 80, 20 + r), (80, 60 - r, 80 - r, 60), (20 + r, 60, 20, 60 - r), (20, 20 + r, 20 + r, 20)]
    text = f"G1 X{20 + r} Y20 F2000\n"
    for n, (ax, ay, bx, by) in enumerate(points):
        form = odd if odd and n == 2 else every
        text += f"G1 X{ax} Y{ay}\n" + form.format(x=bx, y=by, r=r) + "\n"
    return text


@pytest.mark.parametrize("odd", ["G2 X{x} Y{y} R{r}", "G3 X{x} Y{y} R-{r}"])
def test_one_corner_of_four_bends_to_the_other_side(odd: str) -> None:
    assert arc_lines(corners(8)) == []
    assert arc_lines(corners(8, odd)) == [(7, 7)]


def test_corners_that_all_bend_inwards_are_meant() -> None:
    assert arc_lines(corners(8, every="G2 X{x} Y{y} R{r}")) == []


def test_the_sign_of_r_in_a_helix_of_quarters() -> None:
    ends = [(27, 27), (20, 20), (27, 13), (34, 20)]

    def turns(spoil: bool) -> str:
        text = "G1 X34 Y20 F2000\n"
        for n in range(8):
            x, y = ends[n % 4]
            text += f"G3 X{x} Y{y} Z{0.3 - 0.1 * (n + 1):.1f} R{'-' if spoil and n == 7 else ''}7\n"
        return text + "G1 X27\n"

    assert arc_lines(turns(False)) == []
    assert arc_lines(turns(True)) == [(9, 9)]


def test_a_lens_is_two_arcs_about_two_centres() -> None:
    one = "G1 X20 Y20 F2000\nG3 X60 Y20 R30\nG3 X20 Y20 R30\n"
    assert arc_lines(one) == []
    assert arc_lines(one * 3) == []


def test_a_trough_arc_that_goes_over_the_top() -> None:
    """Upright arcs there and back over neighbouring rows, by centre and by radius."""

    def rows(by: str, spoil: bool) -> str:
        text = "G1 Z0 F800\nG18\n"
        for n in range(5):
            there = n % 2 == 0
            code = 2 if there else 3
            if spoil and n == 2:
                code = 5 - code
            word = "R101" if by == "R" else f"I{20 if there else -20} K99"
            text += f"G{code} X{60 if there else 20} Z0 {word} F1500\nG1 Y{20 + 2 * (n + 1)}\n"
        return text + "G17\n"

    for by in ("R", "IK"):
        assert arc_lines(rows(by, False)) == []
        assert arc_lines(rows(by, True)) == [(7, 7)]


def test_a_circle_of_a_trochoid_on_the_wrong_side() -> None:
    def loops(spoil: bool) -> str:
        text = "G1 X30 Y20 F2000\n"
        for n in range(6):
            text += f"G1 X{30 + 0.8 * n:.1f}\nG3 I{'' if spoil and n == 5 else '-'}3 J0\n"
        return text

    assert arc_lines(loops(False)) == []
    assert arc_lines(loops(True)) == [(13, 13)]


BORE = "G1 X60 Y50\n" + "G3 X55.8 Y50 Z{} I-2.1 J0 F2000\nG3 X60 Y50 Z{} I2.1 J0\n" * 3
CORNERS = "G1 X60 Y20 F2000\nG3 X70 Y30 R10\nG1 Y50\nG3 X60 Y60 R10\nG1 X30\nG3 X20 Y50 R10\n"


@pytest.mark.parametrize(
    ("body", "severity", "span"),
    [
        (BORE.format(-0.3, -0.9, -1.5, -2.1, -2.7, -3.3), "error", (3, 7)),  # no circle in XZ
        (BORE.format(0.1, -0.1, -0.3, -0.5, -0.7, -0.9), "warning", (4, 8)),  # near enough to one, over the top
        (CORNERS, "warning", (3, 7)),  # by R there is one, about a level axis, going along it
    ],
)
def test_a_plane_left_on_is_one_finding(body: str, severity: str, span: tuple[int, int]) -> None:
    assert arc_lines("G17\n" + body) == []
    head = HEAD.format(tool=1) + "G0 X20 Y20\nG0 Z5\nG1 Z0.3 F800\n"
    before = head.count("\n")
    (found,) = told(head + "G18\n" + body + TAIL, "arc-mismatch")
    assert found.severity == severity
    assert (found.line - before, found.end_line - before) == span


def test_rows_of_upright_arcs_may_step_aside_as_they_go() -> None:
    rows = "".join(f"G{2 + n % 2} X{60 if n % 2 == 0 else 20} Y{20 + 4 * (n + 1)} Z0 R101 F1500\n" for n in range(5))
    assert arc_lines("G1 Z0 F800\nG18\n" + rows + "G17\n") == []


# ----------------------------------------------------------------------------------- cutter-mismatch, length offsets


@pytest.mark.parametrize(
    "words",
    [
        "T1 endmill up-cut 8mm 2f",
        "T1 up-cut 8 mm",
        "endmill 8mm",
        "T1 drill 8mm",
        "T1 drill carbide 8mm",
        "T1 corner mill 8mm 2f",
        "T1 vee 60deg 8mm",
        "T1 8mm endmill",
        "cutter flat 5/16 in",
    ],
)
def test_the_diameter_may_stand_before_or_after_the_word(words: str) -> None:
    text = HEAD.format(tool=1).replace("T1 M6\n", f"({words})\nT1 M6\n") + "G0 X20 Y20\nG0 Z5\n" + TAIL
    assert len(told(text, "cutter-mismatch")) == 1
    twin = text.replace("8mm", "6mm").replace("8 mm", "6 mm").replace("5/16 in", "6 mm")
    assert told(twin, "cutter-mismatch") == []


@pytest.mark.parametrize(
    "words",
    [
        "mill 3mm off the top",
        "T1 drill 20mm deep",
        "T1 endmill 22mm long",
        "bit 8mm shank",
        "cutter for 18mm ply",
        "drill 4 holes 5mm apart",
        "T1 ball nose 3mm radius",
    ],
)
def test_other_lengths_beside_a_word_for_a_cutter(words: str) -> None:
    text = HEAD.format(tool=1).replace("T1 M6\n", f"({words})\nT1 M6\n") + "G0 X20 Y20\nG0 Z5\n" + TAIL
    assert told(text, "cutter-mismatch") == []


def offsets(number: int, lengths: dict[int, float]) -> list[Finding]:
    """A program that cuts with T1 and G43 H``number``, where the shop file declares these length offsets."""
    text = HEAD.format(tool=1).replace("M3\n", f"M3\nG43 H{number}\n") + "G0 X20 Y20\nG0 Z5\nG1 Z-1 F800\nG1 X60 F2000\n" + TAIL
    setting = default()
    cutters = {tool: replace(c, length_offset=lengths.get(tool)) for tool, c in setting.cutters.items()}
    found = check_program(text.encode(), path="p.ngc", setting=replace(setting, cutters=cutters))
    return [f for f in found.findings if f.rule == "length-offset-missing"]


def test_the_length_of_another_tool() -> None:
    assert offsets(1, {1: 50.0, 2: 60.0}) == []
    assert len(offsets(2, {1: 50.0, 2: 60.0})) == 1
    assert len(offsets(21, {1: 50.0})) == 1


@pytest.mark.parametrize(("between", "count"), [("", 1), ("G52 X10 Y10\n", 1), ("G92 Z5\n", 0), ("M0\n", 0), ("G43 H2\n", 0)])
def test_what_stands_in_for_a_length(between: str, count: int) -> None:
    """A shift in X and Y says nothing of how long the second tool is."""
    first = "G43 H1\nG0 X20 Y20\nG0 Z5\nG1 X26 Z-1 F800\nG1 X60 F2000\nG0 Z60\nG49\nM5\nT2 M6\nM3 S16000\nG4 P5\n"
    second = "G0 Z60\nG0 X20 Y60\nG0 Z5\nG1 X60 Z-1 F800\nG1 X20 F2000\n"
    text = HEAD.format(tool=1) + first + between + second + TAIL
    assert len(told(text, "length-offset-missing")) == count


def test_another_number_may_be_meant() -> None:
    """Where no length is declared for the tool, or the same under both numbers."""
    assert offsets(2, {}) == []
    assert offsets(2, {1: 50.0, 2: 50.0}) == []


# ------------------------------------------------------------------------------- missing-point: signs in X, Y and Z


def test_a_lost_sign_at_the_end_of_a_ramp_before_an_outline_with_tabs() -> None:
    """The last way down of a zigzag ramp goes up instead, and the outline up to the first tab is cut in air."""

    def outline(last: str) -> list[int]:
        ramp = "G0 X20 Y20\nG0 Z5\nG1 Z0.2 F800\nG1 X60 Z-2 F1200\nX20 Z-4\nX60 Z-6\nX20 Z" + last + "\n"
        text = HEAD.format(tool=1) + ramp + "X60 F2000\nY60\nZ-6.5\nY70\nZ-8 F800\nY90 F2000\nX20\nY20\n" + TAIL
        return [f.line for f in told(text, "missing-point")]

    assert outline("-8") == []
    assert outline("8") == [12]


def engraved(y: str) -> list[int]:
    """Lines told on a groove that goes from Y36 to ``y`` and back to Y90, on the sheet of 300 x 200 mm."""
    text = HEAD.format(tool=1) + f"G0 X50 Y36\nG0 Z5\nG1 Z-0.5 F800\nG1 X53 Y{y} F2000\nX103 Y90\nX98 Y82\n" + TAIL
    return [f.line for f in told(text, "missing-point")]


def test_a_cut_that_leaves_the_stock_and_comes_back() -> None:
    assert engraved("92.8") == []
    assert engraved("-92.8") == [9]
    assert engraved("-37") == [9]
    assert engraved("-9") == []


def test_a_cut_that_goes_on_outside_is_meant() -> None:
    """A groove that runs out of the stock and ends there, and rows that overhang."""
    out = "G0 X50 Y36\nG0 Z5\nG1 Z-0.5 F800\nG1 X53 Y-60 F2000\n"
    lead = "G0 X50 Y-28\nG0 Z-0.5\nG1 X53 Y40 F2000\n"
    rows = "G0 X-60 Y40\nG0 Z-0.5\nG1 X360 F2000\nY44\nX-60\nY48\nX360\n"
    assert told(HEAD.format(tool=1) + out + TAIL, "missing-point") == []
    assert told(HEAD.format(tool=1) + rows + TAIL, "missing-point") == []
    assert told(HEAD.format(tool=1) + lead + TAIL, "missing-point") == []


def test_a_lost_sign_in_the_last_turn_of_a_helix() -> None:
    def bore(last: str) -> list[int]:
        turns = "".join(f"G3 Z{z} I-2.1 J0\n" for z in ("-0.4", "-0.8", "-1.2", last))
        text = HEAD.format(tool=1) + "G0 X60 Y50\nG0 Z5\nG1 Z0.2 F800\n" + turns.replace("J0", "J0 F2000", 1)
        return [f.line for f in told(text + "G3 I-2.1 J0\nG1 X57.9\n" + TAIL, "missing-point")]

    assert bore("-1.6") == []
    assert bore("1.6") == [12]


# ------------------------------------------------------------------------------------------------ compensation-fault


def outlined(code: str, turn: str, start: str) -> list[tuple[int, int]]:
    """Lines told on a square of 40 mm cut with compensation, clockwise or not, led in from a point beside it or in it."""
    begin = "X80 Y60"  # the middle of its front edge
    corners = ["X100 Y60", "X100 Y100", "X60 Y100", "X60 Y60"]
    path = (corners if turn == "ccw" else corners[::-1]) + [begin]
    first, lead = ("X80 Y40", "X80 Y50") if start == "outside" else ("X80 Y80", "X80 Y70")
    text = HEAD.format(tool=1) + f"G0 {first}\nG0 Z5\nG1 Z-1 F800\n{code} D1\nG1 {lead} F2000\nG1 {begin}\n"
    text += "".join(f"G1 {p}\n" for p in path) + f"G1 {lead}\nG40\nG1 {first}\n" + TAIL
    return [(f.line, f.end_line) for f in told(text, "compensation-fault") if f.severity == "warning"]


@pytest.mark.parametrize(
    ("code", "turn", "start", "wrong"),
    [
        ("G42", "ccw", "outside", False),
        ("G41", "ccw", "outside", True),
        ("G41", "cw", "outside", False),
        ("G42", "cw", "outside", True),
        ("G41", "ccw", "inside", False),
        ("G42", "ccw", "inside", True),
        ("G42", "cw", "inside", False),
        ("G41", "cw", "inside", True),
    ],
)
def test_an_outline_led_in_from_the_other_side(code: str, turn: str, start: str, wrong: bool) -> None:
    found = outlined(code, turn, start)
    assert bool(found) is wrong, found
    assert all(first == 9 for first, _ in found)


def test_outlines_with_compensation_count_as_places() -> None:
    """An outline beside the declared stock: the point it is led in from lies near it, not far outside everything."""
    body = (
        "G0 X36.4 Y17.9\nG0 Z5\nG1 Z0.4 F800\n"
        + "G3 X35.5 Y18.8 R0.9 F2000\nX34.6 Y17.9 R0.9\nX35.5 Y17 R0.9\nX36.4 Y17.9 R0.9\n"
    )
    body += "G3 I-0.9 J0 Z-1\nG0 Z5\nG0 X-30.6 Y-33.2\nG1 Z0.3\nG1 X-20.4 Z-1\nX-30.6\nG41 D1\nG1 Y-30.2\n"
    body += "G3 X-35.7 Y-25.1 R5.1\nG1 X-43.1\nY-10.3\nX-28.3\nY-25.1\nX-35.7\nG3 X-40.8 Y-30.2 R5.1\nG40\nG1 Y-33.2\n"
    text = HEAD.format(tool=1) + body + TAIL
    assert told(text, "missing-point") == []


def drilled(cycle: str, *more: str) -> list[tuple[int, int]]:
    """Lines told on holes by the 6 mm drill in the sheet of 300 x 200 mm."""
    text = (
        HEAD.format(tool=4).replace("S16000", "S6000")
        + "G0 X200 Y50\nG0 Z5\n"
        + "".join(f"{b}\n" for b in (cycle, *more))
        + "G80\nG90\n"
    )
    return [(f.line, f.end_line) for f in told(text + TAIL, "missing-point") if "beside" in f.message]


def test_holes_beside_the_stock() -> None:
    """Beyond the edge by more than the drill's radius and 1 mm."""
    assert drilled("G99 G81 X290 Y50 Z-6 R2 F600", "X303.9") == []
    assert drilled("G99 G81 X290 Y50 Z-6 R2 F600", "X304.1") == [(9, 9)]
    assert drilled("G91", "G99 G81 X20 Y0 Z-8 R-3 F600 L4") == []
    assert drilled("G91", "G99 G81 X20 Y0 Z-8 R-3 F600 L40") == [(9, 9)]


def test_holes_all_beside_the_stock_belong_to_another_piece() -> None:
    assert drilled("G99 G81 X400 Y50 Z-6 R2 F600", "X420") == []


# ----------------------------------------------------------------------------------------------------- chip-too-thin


def rows_at(feed: float, length: float = 20.0) -> list[Finding]:
    """Thirty rows of 200 mm at F3000, and between the third and the fourth a piece at another feed."""
    text = HEAD.format(tool=1) + "G0 X20 Y20\nG0 Z5\nG1 Z0.2 F800\nG1 X60 Z-3 F1200\nG1 X20\n"
    y = 20.0
    for n in range(30):
        text += f"G1 X{220 if n % 2 == 0 else 20} F3000\n"
        if n == 2:
            y += length
            text += f"G1 Y{y:g} F{feed:g}\n"
        y += 4
        text += f"G1 Y{y:g} F3000\n"
    return told(text + TAIL, "chip-too-thin")


def test_a_feed_that_lost_a_digit_in_a_few_blocks() -> None:
    """Birch plywood, a 6 mm cutter with two teeth at 16000 rev/min: a slot's least chip is 0.0285 mm, as ``speeds`` says."""
    fifth = 0.2 * 0.0285 * 16000 * 2
    assert [f.severity for f in rows_at(0.98 * fifth)] == ["warning"]
    assert rows_at(1.02 * fifth) == []
    assert rows_at(0.5 * fifth, length=11.0) == []  # under two diameters


def test_a_feed_that_lost_a_digit_on_a_surface() -> None:
    """A ball cutter that skims a shallow trough, 0.1 mm deep over 60 mm, after rows at the feed of the cut."""

    def troughs(feed: float) -> list[str]:
        text = HEAD.format(tool=3) + "G0 X20 Y20\nG0 Z5\nG1 Z0.2 F800\nG1 X60 Z-2 F1200\nG1 X20\n"
        text += "".join(f"G1 X{260 if n % 2 == 0 else 20} F3000\nG1 Y{22 + 2 * n}\n" for n in range(20))
        text += f"G0 Z5\nG0 X20 Y120\nG1 Z0 F800\nG18 G2 X80 Z0 I30 K4499.95 F{feed:g}\nG17\n"
        return [f.severity for f in told(text + TAIL, "chip-too-thin") if "lost digit" in f.message]

    assert troughs(3000) == []
    assert troughs(40) == ["warning"]


def test_a_slow_helix_is_how_a_cut_is_entered() -> None:
    """A bore entered at a thin chip for much of its time: a note. At a tenth of that feed it is a slip."""

    def bore(feed: float) -> list[Finding]:
        turns = "".join(f"G3 Z{-0.6 * (n + 1):.1f} I-2.1 J0 F{feed:g}\n" for n in range(8))
        text = HEAD.format(tool=1) + "G0 X60 Y50\nG0 Z5\nG1 Z0.2 F800\n" + turns + "G3 I-2.1 J0\nG1 X57.9\nG1 X70 F3000\n"
        return told(text + TAIL, "chip-too-thin")

    assert bore(2000) == []
    assert [f.severity for f in bore(700)] == ["note"]
    assert [f.severity for f in bore(70)] == ["warning"]


# ---------------------------------------------------------------------------------------------------- chip-too-thick


def carved(feed: float, deep: float = 1.5) -> list[Finding]:
    """A groove by the 60 degree V cutter in hardwood that runs out to nothing, then one at a small depth."""
    text = "(setting: stock 300x200x18 hardwood)\n(setting: cutter T1 = vee-60deg-6mm-2f)\n" + HEAD.format(tool=1)
    text = (
        text.replace("S16000", "S24000") + f"G0 X20 Y20\nG0 Z5\nG1 Z0.2 F800\nG1 X60 Z-{deep:g} F{feed:g}\nG1 X90\nG1 X120 Z0\n"
    )
    return told(text + TAIL, "chip-too-thick")


def test_a_v_cutter_is_as_wide_as_its_groove() -> None:
    """``speeds`` advises F3060 here (0.0638 mm a tooth at 1.5 mm); limits of a 6 mm cutter would let ten times pass."""
    assert carved(3060) == []
    assert carved(1.25 * 3060) == []
    assert len(carved(3 * 3060)) == 1
    assert carved(3 * 3060, deep=4.0) == []  # a groove 4.7 mm wide takes more


def test_a_feed_ten_times_the_others_may_be_rounded() -> None:
    """F45.67 and F456.69 in/min, both of 1160 mm/min."""

    def rows(feed: str) -> list[int]:
        body = "G20\nG0 X1 Y1\nG0 Z0.2\nG1 Z0.01 F30\n"
        for n in range(6):
            start, end = (1, 3) if n % 2 == 0 else (3, 1)
            body += f"G1 X{(start + end) / 2} Z{-0.02 * (n + 1):.3f} F{feed if n == 4 else '45.67'}\nG1 X{end} F40\n"
        return [f.line for f in told(HEAD.format(tool=1) + body + "G0 Z1\nM5\nM30\n", "missing-point")]

    assert rows("45.67") == []
    assert rows("456.69") == [18]
    assert rows("460") == []


# ---------------------------------------------------------------------------------------------------- outside-travel


@pytest.mark.parametrize(
    ("start", "declared", "lines"),
    [
        ("G54\n", ("G54",), []),
        ("G55\n", ("G54", "G55"), []),
        ("G55\n", ("G54",), [9]),
        ("", ("G55",), [8]),  # G54 where nothing is said
        ("G55\n", (), []),  # nothing is declared: it is only not checked
        ("G55\nG10 L2 P2 X210 Y340 Z-92\n", ("G54",), []),  # the program says itself where it is
        ("G55\nG10 L2 P1 X210 Y340 Z-92\n", ("G54",), [10]),  # of another one
    ],
)
def test_the_work_offset_is_one_the_shop_file_declares(start: str, declared: tuple[str, ...], lines: list[int]) -> None:
    text = HEAD.format(tool=1).replace("G53", start + "G53", 1) + "G0 X20 Y20\nG0 Z5\nG1 Z-1 F800\nG1 X60 F2000\n" + TAIL
    places = dict.fromkeys(declared, (210.0, 340.0, -92.0))
    found = check_program(text.encode(), path="p.ngc", setting=replace(default(), offsets=places))
    assert [f.line for f in found.findings if f.rule == "outside-travel"] == lines


# ------------------------------------------------------------------------------------------------- a stock to assume


@pytest.mark.parametrize(
    ("heights", "reason"),
    [
        ("G1 Z10 F800\nG1 X60 F2000\nG1 Z2\nG1 X20\n", "program zero seems to lie on the table"),
        ("G1 Z0 F800\nG1 X60 F2000\n", "nothing is cut below program Z 0"),
    ],
)
def test_where_no_stock_can_be_assumed_the_rules_say_so(heights: str, reason: str) -> None:
    text = HEAD.format(tool=1) + "G0 X20 Y20\nG0 Z30\n" + heights + TAIL
    setting = replace(default(), workpiece=None, assume_stock=True)
    found = check_program(text.encode(), path="p.ngc", setting=setting)
    assert [f.rule for f in found.findings if f.severity != "note"] == []
    told = {n.rule: n.reason for n in found.not_checked}
    assert all(reason in told[rule] for rule in ("rapid-into-stock", "air-cutting", "stepdown-over-limit", "part-freed"))
