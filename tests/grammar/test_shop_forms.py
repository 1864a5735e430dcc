"""The shop dialect: forms met in real programs, each with what it must do and which relaxation it leans on."""

# ruff: noqa: E501 - a row of a table is a line

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import grammar
from grammar.dialect import dialect, reasons
from grammar.moves import Bounds, Flag, Kind, Program
from grammar.read import read_program
from tests.grammar.conftest import errors, rows, story

NAN = math.nan


def read(text: str | bytes, **how: Any) -> Program:
    data = text if isinstance(text, bytes) else text.encode("latin-1")
    return read_program(data, fragment=True, **how)


def relaxed(program: Program) -> set[str]:
    return {f.message.split(":")[0].replace(" ", "-") for f in program.faults if f.rule == "dialect-relaxed"}


def ends(program: Program) -> list[tuple[float, ...]]:
    return [tuple(round(float(x), 6) for x in row[1:]) for row in rows(program)]


# form, program, ends of the moves (None: any), relaxations told, rules of the other faults told
FORMS: list[tuple[int, str | bytes, list[tuple[float, ...]], set[str], list[str]]] = [
    (1, b"\xef\xbb\xbf%\nG0 X1 Y1 Z1", [(1, 1, 1)], {"byte-order-mark"}, []),
    (2, "G0 X1 Y1 Z1\n% free text\nX2\n%(text)\nY1", [(1, 1, 1), (2, 1, 1)], {"percent-text"}, []),
    (3, "// text\nG0 X1 Y1 Z1", [(1, 1, 1)], {"slash-comment"}, []),
    (4, "G0 X1 Y1 Z1\nM0 /text with [brackets], commas.\nX2", [(1, 1, 1), (2, 1, 1)], {"slash-text"}, []),
    (5, "M0 free text\nG0 X1 Y1 Z1\nM117 X9 free text\nX2", [(1, 1, 1), (2, 1, 1)], {"free-text"}, ["unknown-code"]),
    (6, "G70\nG0 X1 Y1 Z1\nG71 X1", [(25.4, 25.4, 25.4), (1, 25.4, 25.4)], {"older-unit-codes"}, []),
    (7, ":1234 (text);\n: (text)\n:T3 M6\nG0 X1 Y1 Z1", [(1, 1, 1)], {"colon", "semicolon-comment"}, []),
    (8, "G0 X100 Y37 Z0\nF100\nG3 X108 Y37 Z0.9 I104 J36 K0.2", [(100, 37, 0)], set(), ["arc-mismatch", "arc-mismatch"]),
    (
        9,
        "G0 X0 Y0 Z0\n#101=3 #106=100\nG1 Y[-#101] F#106 (text; more",
        [(0, 0, 0), (0, -3, 0)],
        {"unclosed-comment", "sign-before-expression"},
        [],
    ),
    (10, "#104=2\nG40 P[#104/2] (text);", [], {"semicolon-comment"}, ["unused-word"]),
    (
        11,
        "G0 Y0 Z0\n#1=5 #2=1 #3=2\nIF [[#1-#2] GE #3] THEN #4=#3;\nIF [#4 EQ 2] THEN #7=[#1*0.9] S[#2*0.85]\nX#7",
        [(NAN, 0, 0), (4.5, 0, 0)],
        {"flow", "comparison", "semicolon-comment"},
        [],
    ),
    (
        12,
        "G0 Y0 Z0\n#1=5 #2=1 #3=1.5\nWHILE [#1 GT #2] DO1 #1=#1-#3 IF [#1 LT #2] THEN #1=#2\nX#1\nEND1\nY1",
        [(NAN, 0, 0), (3.5, 0, 0), (2, 0, 0), (1, 0, 0), (1, 1, 0)],
        {"flow", "comparison", "bare-expression"},
        [],
    ),
    (13, '(text))\n(a (b) c)\n3/8" = 0.375")\nG0 X1 Y1 Z1', [(1, 1, 1)], {"stray-bracket", "nested-comment"}, []),
    (14, "G0 X4.59e-17 Y1 Z1", [(0, 1, 1)], {"exponent"}, []),
    (
        15,
        "G0 X1 Y1 Z1\nG28 X\nM18 Z\nT M6\nF M8",
        [(1, 1, 1), (NAN, 1, 1)],
        {"letter-without-number", "named-axes-home"},
        ["unknown-code"],
    ),
    (16, "X XStart Y YStart", [], set(), ["unreadable-block"]),
    (17, "G0 X0 Y0\nG43 H 03(text) Z1.0", [(0, 0, NAN), (0, 0, 1)], set(), []),
    (
        18,
        "G0 Y0\n#1=1 #2=2 #6=3 #4=4\nG0 Z [ #1 + #2 ] X - [ #6 + #4 (text) ]",
        [(NAN, 0, NAN), (-7, 0, 3)],
        {"sign-before-expression", "comment-in-brackets"},
        [],
    ),
    (19, "G0 Y0 Z0\n#2= -10. + 0.1 (text)\nX#2", [(NAN, 0, 0), (-9.9, 0, 0)], {"bare-expression"}, []),
    (
        20,
        "G0 Y0 Z0\n#10=20 #8=21 #20=5 #21=6 #12=.5 #11=1 #13=2\n#14 = [##10 + [##8 - ##10] * #12]\n#[#11*7+#13+500] = #5063\nX#14",
        [(NAN, 0, 0), (5.5, 0, 0)],
        set(),
        [],
    ),
    (
        21,
        "G0 X0 Y0 Z0\no6 sub\nG1 X#1 Y#2 Z#3 F100\no6 endsub\no6 call [18.4] [7.2] [-0.07]\no6 call [1] [2] [3]",
        [(0, 0, 0), (18.4, 7.2, -0.07), (1, 2, 3)],
        {"o-words"},
        [],
    ),
    (
        22,
        "G0 X0 Y0 Z0\nG91 G2 F100 X0.1 Y0 R1\n#1=2 #11=8\n  X-[#1/2] Y[#1/2] Z[#11/8] R[#1/2]",
        [(0, 0, 0), (0.1, 0, 0), (-0.9, 1, 1)],
        {"sign-before-expression"},
        [],
    ),
    (
        23,
        "G0 X1 Y1 Z1\nM97 P15\nG0 X9\nM30\nN15 G0 X2\nG0 X3\nM99",
        [(1, 1, 1), (2, 1, 1), (3, 1, 1), (9, 1, 1)],
        {"subprograms"},
        [],
    ),
    (24, "G0 X0 Y0 Z0\nG80\nN17 Z15.", [(0, 0, 0)], set(), ["missing-word"]),
    (25, "N99990 G0 X1 Y1 Z1\nN10 X2", [(1, 1, 1), (2, 1, 1)], set(), []),
    (26, "N155 (text)", [], set(), []),
    (27, "M6 T3 G43 H3 M3 S5000", [], set(), []),
    (28, "M6 T0101", [], {"tool-with-offset"}, []),
    (29, "G0 X0 Y0 Z0\nG1 G41.2 X4. Y-2. D1 F6.", [(0, 0, 0), (4.172205, -1.53059, 0)], {"compensation-by-diameter"}, []),
    (
        30,
        "G0 X0 Y0 Z0\nG13 I0.25 K0.35 Q0.25 F10.",
        [(0, 0, 0), (0.25, 0, 0), (0.25, 0, 0), (0.35, 0, 0), (0.35, 0, 0), (0, 0, 0)],
        {"circular-pocket"},
        [],
    ),
    (31, "G0 X0 Y0 Z1\nG81 G98 Z-0.45 F85. (text)", [(0, 0, 1), (0, 0, -0.45), (0, 0, 1)], {"cycle-retract-missing"}, []),
    (
        32,
        "G0 X0 Y0 Z1\nG82 X1 Z-1 R1 P.5 F100\nG82 X-0.3 Y0.25",
        [(0, 0, 1), (1, 0, 1), (1, 0, -1), (1, 0, 1), (-0.3, 0.25, 1), (-0.3, 0.25, -1), (-0.3, 0.25, 1)],
        set(),
        [],
    ),
    (33, "G0 F0.000 X0 Y0 Z5.000", [(0, 0, 5)], set(), []),
    (34, "G0Z10Y100X0", [(0, 100, 10)], set(), []),
    (35, "G1 X0 Y0 Z10.000 f250", [(0, 0, 10)], set(), []),
    (36, "G0 X8 Y0 Z0 F10\nG2 X8 Y-2 Z0 I-0.000 J-1.000 K0.000", [(8, 0, 0), (8, -2, 0)], {"helix-pitch-word"}, []),
]


@pytest.mark.parametrize(
    ("number", "text", "want", "options", "rules"), FORMS, ids=lambda v: str(v) if isinstance(v, int) else ""
)
def test_form(number: int, text: str | bytes, want: list[tuple[float, ...]], options: set[str], rules: list[str]) -> None:
    program = read(text)
    np.testing.assert_allclose(np.array(ends(program)).reshape(-1, 3), np.array(want).reshape(-1, 3), atol=1e-5)
    assert relaxed(program) == options
    assert [f.rule for f in program.faults if f.rule != "dialect-relaxed"] == rules
    strict = read(text, dialect="strict")
    if options - {"named-axes-home"}:
        assert errors(strict), "a relaxation that strict does not refuse"


def test_every_option_has_a_use_and_a_reason() -> None:
    sources = "".join(p.read_text(encoding="utf-8") for p in Path(grammar.__file__).parent.glob("*.py"))
    lark = Path(grammar.__file__).with_name("rs274.lark").read_text(encoding="utf-8")
    for option, reason in reasons("shop").items():
        assert f'"{option}"' in sources, option
        assert reason and not reason.endswith("."), option
    for option in re.findall(r"// \+ ([a-z-]+)", lark):
        assert option in reasons("shop"), option
    assert dialect("strict").options == frozenset()


def test_a_relaxation_is_told_once_a_program() -> None:
    assert len([f for f in read("; a\n; b\nG0 X1 ; c").faults if f.rule == "dialect-relaxed"]) == 1


def test_an_option_can_be_switched_off_and_must_exist() -> None:
    assert errors(read("; a", options={"semicolon-comment": False})) == [("unreadable-block", 1)]
    with pytest.raises(ValueError, match="no option 'colons'"):
        read("G0", options={"colons": True})
    with pytest.raises(ValueError, match="there is no dialect 'loose'"):
        read("G0", dialect="loose")


# ---------------------------------------------------------------- motion


def test_named_axes_go_home_and_the_others_stay() -> None:
    program = read("G0 X1 Y2 Z3\nG91 G28 Z0\nG90 X5")
    assert ends(program)[-1][:2] == (5, 2)
    assert math.isnan(ends(program)[-1][2])
    assert program.moves.flags[-1] & Flag.HIGH_Z
    assert not program.moves.flags[1] & Flag.BARE_HOME
    everything = read("G0 X1 Y2 Z3\nG91 G28 Z0", options={"named-axes-home": False})
    assert np.isnan(everything.moves.end[-1]).all()


def test_bare_home_is_marked() -> None:
    program = read("G0 X1 Y2 Z3\nG28")
    assert program.moves.flags[-1] & Flag.BARE_HOME
    assert read("G0 X1 Y2 Z3\nG28 X0 Y0").moves.flags[-1] & Flag.BARE_HOME
    assert read("G0 X1 Y2 Z3\nG91 G28 X0 Y0 Z0").moves.flags[-1] & Flag.BARE_HOME
    for lifted in ("G28 Z5", "G91 G28 Z0\nG28 X0 Y0", "G91 G28 X0 Y0 Z9", "G53 G0 Z0\nG28"):
        assert not read(f"G0 X1 Y2 Z3\n{lifted}").moves.flags[-1] & Flag.BARE_HOME, lifted


def test_after_a_probe_the_axis_is_unknown_until_it_is_declared() -> None:
    program = read("G0 X1 Y1 Z5 F50\nG38.2 Z-10\nG92 Z0\nG0 Z5")
    assert math.isnan(program.moves.start[-1, 2]) is False and program.moves.start[-1, 2] == 0
    assert rows(program)[-1] == ["r", 1, 1, 5]
    assert math.isnan(read("G0 X1 Y1 Z5 F50\nG38.2 Z-10\nG0 X2").moves.end[-1, 2])


def test_full_circle_without_end() -> None:
    program = read("G0 X0 Y0 Z0\nG2 I5 F100\nI-5")
    assert program.moves.sweep == pytest.approx([-2 * math.pi, -2 * math.pi])
    assert "circle-without-end" in relaxed(program)


def test_absolute_centres_by_code_and_by_option() -> None:
    text = "G0 X100 Y37 Z0\nF100\n{}G3 X108 Y37 I104 J36"
    assert errors(read(text.format("")))
    for program in (read(text.format("G90.1 ")), read(text.format(""), options={"absolute-centres": True})):
        assert not errors(program)
        assert program.moves.centre[0, :2] == pytest.approx([104, 36])
    warned = [f for f in read(text.format("")).faults if "positions" in f.message]
    assert [(f.rule, f.severity, f.line) for f in warned] == [("arc-mismatch", "warning", 3)]


def test_arc_within_the_shop_tolerance_keeps_its_start_radius_and_end() -> None:
    program = read("G0 X0 Y0 Z0\nG2 X10.015 Y0 I5 F100")
    assert not errors(program)
    assert program.moves.end[1, 0] == 10.015 and program.moves.centre[0, 0] == 5
    fault = next(f for f in read("G0 X0 Y0 Z0\nG2 X10 Y0 I4 F100").faults if f.rule == "arc-mismatch")
    assert fault.measured == pytest.approx(2) and fault.limit == pytest.approx(0.024) and fault.unit == "mm"


def test_dwell_units_and_letters() -> None:
    assert story(read("G4 P500")) == ["dwell 500"]
    assert story(read("G4 P500", options={"dwell-milliseconds": True})) == ["dwell 0.5"]
    program = read("G0 X1\nG4 X2\nX5")
    assert [Kind(k).name for k in program.moves.kind] == ["RAPID", "DWELL", "RAPID"]
    assert "dwell-other-letter" in relaxed(program)


def test_length_offset_without_motion_or_declaration() -> None:
    program = read("G0 X0 Y0 Z5\nG43 H1\nG1 X1 F100\nZ-1")
    assert math.isnan(program.moves.end[1, 2]) and program.moves.end[2, 2] == -1
    assert [(g.cause, g.axes, g.from_line, g.to_line) for g in program.gaps] == [("unknown-position", "z", 2, 4)]
    declared = read_program(b"G0 X0 Y0 Z5\nG43 H1\nG1 X1 F100", fragment=True, start=_start(lengths={1: 50.0}))
    assert declared.moves.end[1, 2] == -45
    assert declared.moves.machine_shift is not None and declared.moves.machine_shift[1, 2] == 50


def _start(**what: Any) -> Any:
    from grammar.moves import Start

    return Start(**what)


def test_declared_origins_make_machine_moves_known() -> None:
    start = _start(origins={"G54": (100.0, 200.0, -50.0)})
    program = read_program(b"G54 G0 X0 Y0 Z5\nG53 G0 Z0\nG53 X0 Y0", fragment=True, start=start)
    assert program.moves.end[0] == pytest.approx([100, 200, -45])
    assert program.moves.end[2] == pytest.approx([0, 0, 0])
    assert not program.moves.flags[1] & Flag.HIGH_Z


def test_shift_at_an_unknown_place_makes_it_program_zero() -> None:
    program = read("G92 X0 Y0 Z0\nG1 X1 F100\nG92 X5\nX6")
    assert [r[1:] for r in rows(program)] == [[1, 0, 0], [6, 0, 0]]
    assert program.moves.end[-1, 0] == 2


def test_other_systems_are_unknown_until_stated() -> None:
    program = read("G54 G0 X1 Y1 Z1\nG55 X2\nY2 Z2")
    assert np.isnan(program.moves.end[1, 1:]).all()
    assert [f.known for f in program.moves.frames] == [True, False]


def test_local_shift() -> None:
    assert ends(read("G0 X1 Y0 Z0\nG52 X10\nX1\nG52 X0\nX1")) == [(1, 0, 0), (1, 0, 0), (1, 0, 0)]
    assert read("G0 X1 Y0 Z0\nG52 X10\nX1").moves.end[-1, 0] == 11


def test_chip_break_and_left_hand_tap() -> None:
    program = read("G0 X0 Y0 Z1 F100\nG73 Z-2 R1 Q1.5\nG80")
    assert [round(r[3], 6) for r in rows(program)] == [1, -0.5, -0.25, -2, 1]
    assert "spindle ccw" in story(read("M4 S100\nG0 X0 Y0 Z1 F100\nG74 Z-2 R1"))[-1]


def test_cycle_from_an_unknown_height_goes_back_to_it() -> None:
    program = read("G53 G0 Z0\nG0 X0 Y0\nG98 G81 X1 Y1 Z-2 R1 F100")
    assert math.isnan(program.moves.end[-1, 2]) and program.moves.flags[-1] & Flag.HIGH_Z
    assert not read("G53 G0 Z0\nG0 X0 Y0\nG98 G83 X1 Y1 Z-2 Q.5 F100").moves.flags[0] & Flag.CYCLE  # ends


def test_inside_corner_is_trimmed() -> None:
    text = b"G0 X0 Y-10 Z0 F100\nG41 D1 G1 X0 Y0\nY20\nX-20\nG40"
    program = read_program(text, fragment=True, start=_start(diameters={1: 4.0}))
    assert not errors(program)
    assert rows(program)[-2][1:3] == pytest.approx([-2, 18])
    assert rows(program)[-1][1:3] == pytest.approx([-20, 18])
    assert "trimmed-inside-corner" in relaxed(program)


def test_undeclared_cutter_leaves_x_and_y_unknown() -> None:
    program = read("G0 X0 Y-10 Z0 F100\nG41 D1 G1 X0 Y0\nY20\nG40\nG0 X5 Y5")
    assert np.isnan(program.moves.end[1, :2]).all() and program.moves.end[-1, 0] == 5
    assert {g.cause for g in program.gaps} == {"compensation"}


def test_tool_word_alone_names_the_tool() -> None:
    assert read("T3\nG0 X1").end.mode.tool == 3
    assert read("T3\nG0 X1\nM6").moves.modes[0].tool is None


def test_spindle_with_coolant_and_auxiliary_codes() -> None:
    end = read("M13 S100\nM10\nM31\nM41\nM19").end.mode
    assert (end.spindle, end.flood) == ("off", True)


def test_cancel_and_move() -> None:
    assert ends(read("G0 X0 Y0 Z1 F100\nG81 Z-1 R1\nG80 G0 X5\nX6"))[-2:] == [(5, 0, 1), (6, 0, 1)]


# ---------------------------------------------------------------- what is refused


def test_unknown_code_loses_the_axes_it_names_or_may_name() -> None:
    named = read("G0 X1 Y1 Z1\nG68 X5 R30\nG0 Y2")
    assert math.isnan(named.moves.end[-1, 0]) and named.moves.end[-1, 1] == 2
    assert errors(named) == [("unknown-code", 2)]
    bare = read("G0 X1 Y1 Z1\nG101\nG0 Y2")
    assert np.isnan(bare.moves.end[-1]).tolist() == [True, False, True]


def test_unknown_m_code_is_told_once_and_the_move_made() -> None:
    program = read("G0 X1 Y1 Z1\nM62 X2\nM62 X3")
    assert ends(program)[-1] == (3, 1, 1)
    assert [(f.rule, f.severity, f.line) for f in program.faults] == [("unknown-code", "warning", 2)]


def test_no_feed_is_told_once_and_the_move_made() -> None:
    program = read("G0 X0 Y0 Z0\nG1 X1\nX2\nX3 F100")
    assert errors(program) == [("no-feed", 2)]
    assert np.isnan(program.moves.feed[1:3]).all() and program.moves.feed[3] == 100


def test_unset_parameter_is_told_and_the_axis_unknown() -> None:
    program = read("G0 X0 Y0 Z0\nX#5\nX#5 Y1\nX2")
    assert errors(program) == [("expression-fault", 2)]
    assert [(g.cause, g.axes, g.from_line, g.to_line) for g in program.gaps] == [("parameter", "x", 2, 4)]


def test_rotary_is_a_gap() -> None:
    program = read("G0 X0 Y0 Z0\nA90\nX1\nA0")
    assert [(g.cause, g.from_line, g.to_line) for g in program.gaps] == [("rotary", 2, 4)]
    assert program.moves.rotary is not None and program.moves.rotary[:, 0].tolist() == [0, 90, 90, 0]


@pytest.mark.parametrize(
    "block",
    [
        "M0 X1.2.3",
        "T1 M6 G43 H1 Z..5",
        "G1 X[5]/3 Y2",
        "G1 X5 /3 Y2",
        "G1 X..5) Y3",
        "G1 X1 / Y2",
        "M6 X1..",
        "M0 G0 X1 Y",
        "M30 X1 X2",
    ],
)
def test_a_slip_is_never_read_as_text(block: str) -> None:
    program = read(f"G0 X0 Y0 Z0 F9\n{block}")
    assert [line for _, line in errors(program)] == [2]
    assert not relaxed(program) & {"free-text", "slash-text"}


# ---------------------------------------------------------------- jumps, loops, subprograms


@pytest.mark.parametrize(
    ("text", "want"),
    [
        ("#1=0\nN10 #1=[#1+1]\nG91 X1\nIF [#1 LT 3] GOTO 10\nG90", 3),
        ("#1=0\nWHILE [#1 LT 3] DO1\nG91 X1\n#1=[#1+1]\nEND1", 3),
        ("#1=0\nWHILE [#1 LT 2] DO1\n#2=0\nWHILE [#2 LT 3] DO2\nG91 X1\n#2=[#2+1]\nEND2\n#1=[#1+1]\nEND1", 6),
        ("WHILE [0] DO1\nX9\nEND1", 0),
        ("GOTO 5\nX9\nN5 X1", 1),
        ("M98 P100 L3\nM30\nO100\nG91 X1\nM99", 3),
        ("M98 P30100\nM30\nO0100\nG91 X1\nM99", 3),
        ("M98 P100\nM30\nO100\nM98 P200\nM98 P200\nM99\nO200\nG91 X1\nM99", 2),
        ("M97 P7 L2\nM30\nN7 G91 X1\nM99", 2),
        ("M98 P100\nX9\nN8 G90\nM30\nO100\nG91 X1\nM99 P8", 1),
        ("M98 P100 L0\nM30\nO100\nX9\nM99", 0),
        ("o1 sub\nG91 X#1\no1 endsub\no1 call [2]\no1 call [3]", 5),
        ("o1 sub\no2 if [#1 GT 1]\nG91 X1\no2 elseif [#1 EQ 1]\nX5\no2 else\nX7\no2 endif\no1 endsub\no1 call [2]", 1),
        ("o1 sub\no2 if [#1 GT 1]\nG91 X1\no2 elseif [#1 EQ 1]\nX5\no2 else\nX7\no2 endif\no1 endsub\no1 call [1]", 5),
        ("o1 sub\no2 if [#1 GT 1]\nG91 X1\no2 elseif [#1 EQ 1]\nX5\no2 else\nX7\no2 endif\no1 endsub\no1 call [0]", 7),
        ("G91\no1 repeat [4]\nX1\no1 endrepeat", 4),
        ("G91\n#1=0\no1 while [#1 LT 3]\nX1\n#1=[#1+1]\no1 endwhile", 3),
        ("G91\n#1=0\no1 do\nX1\n#1=[#1+1]\no1 while [#1 LT 3]", 3),
        ("G91\n#1=0\no1 while [#1 LT 9]\nX1\n#1=[#1+1]\no2 if [#1 EQ 2]\no1 break\no2 endif\no1 endwhile", 2),
        ("G91\no1 repeat [2]\no2 repeat [3]\nX1\no2 endrepeat\no1 endrepeat", 6),
        ("o1 sub\nG91 X1\no1 return\nX9\no1 endsub\no1 call", 1),
        ("#<depth>=4\nX#<depth>", 4),
        ("o<side> sub\nG91 X[#1+#2]\no<side> endsub\no<side> call [1] [2]", 3),
        ("#1=3\no1 sub\n#1=9\no1 endsub\no1 call [5]\nX#1", 3),
        ("#1=1\nIF [#1 EQ 1 AND #1 LT 2] THEN #2=4\nX#2", 4),
        ("#1=1\nIF [#1 NE 1] THEN #2=4\nX1", 1),
    ],
)
def test_order_of_running(text: str, want: float) -> None:
    program = read("G0 X0 Y0 Z0\n" + text)
    assert not errors(program), program.faults
    assert program.moves.end[-1, 0] == want


def test_calls_are_known_move_by_move() -> None:
    moves = read("G0 X0 Y0 Z0\nM98 P100 L2\nM30\nO100\nG91 X1\nM99").moves
    assert [moves.calls[c].name for c in moves.call] == ["", "O100", "O100"]
    assert moves.calls[1].parent == 0 and moves.calls[1].block == 1


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("N1 G91 G0 X1\nGOTO 1", "runaway-program"),
        ("WHILE [1] DO1\nEND1", "runaway-program"),
        ("WHILE [1] DO1\n#1=[#1+1]\nEND1", "runaway-program"),
        ("M98 P1\nM30\nO1\nM98 P1\nM99", "subprogram-fault"),
        ("o1 sub\no1 call\no1 endsub\no1 call", "subprogram-fault"),
        ("M98 P77", "subprogram-fault"),
        ("M97 P77", "subprogram-fault"),
        ("GOTO 77", "subprogram-fault"),
        ("END1", "subprogram-fault"),
        ("WHILE [0] DO3", "subprogram-fault"),
        ("o5 endsub", "subprogram-fault"),
        ("o5 call", "subprogram-fault"),
        ("o5 endwhile", "subprogram-fault"),
        ("M98", "missing-word"),
        ("o5 repeat", "missing-word"),
        ("G81 X1 Y1 Z-1 R1 F100 L900000", "runaway-program"),
        ("G83 X1 Y1 Z-1 R1 Q0.000000001 F100", "cycle-fault"),
    ],
)
def test_bounds_and_missing_ends(text: str, rule: str) -> None:
    bounds = Bounds(jumps=2000, blocks_again=5000, moves_made=10_000)
    program = read("G0 X0 Y0 Z5\n#1=0\n" + text, bounds=bounds)
    assert rule in [r for r, _ in errors(program)]
    if rule == "runaway-program":
        assert "bound" in {g.cause for g in program.gaps}


def test_missing_subprogram_leaves_all_axes_unknown() -> None:
    program = read("G0 X0 Y0 Z5\nM98 P77\nX1")
    assert np.isnan(program.moves.end[-1]).tolist() == [False, True, True]


def test_main_program_that_starts_again_is_followed_once() -> None:
    program = read("G0 X1\nM99\nX2")
    assert len(program.moves) == 1
    assert [f.rule for f in program.faults if f.rule != "dialect-relaxed"] == ["no-program-end"]


def test_modes_of_a_refused_block_still_count() -> None:
    """The block will be mended; what follows must not be read as rapids, in inches or as increments because of it."""
    program = read("G0 X0 Y0 Z0\nG1 Z-..5 F200\nX5")
    assert errors(program) == [("unreadable-block", 2)]
    assert Kind(program.moves.kind[-1]) == Kind.FEED and program.moves.feed[-1] == 200
    assert read("G21 G0 X0 Y0 Z0\nG20 G91 X1..\nG0 Y1").moves.end[-1, 1] == pytest.approx(25.4)
    strict = read("G0 X1\nG1 X..\nX5", dialect="strict")
    assert Kind(strict.moves.kind[-1]) == Kind.RAPID


def test_a_refused_cycle_is_told_once() -> None:
    program = read("G0 X0 Y0 Z5\nG83 X1 Y1 Z-5 R1 F100\nX2\nX3\nG80\nG0 X4 Y4 Z5")
    assert errors(program) == [("cycle-fault", 2)]
    assert ends(program) == [(0, 0, 5), (4, 4, 5)]
    assert [(g.axes, g.from_line, g.to_line) for g in program.gaps] == [("xyz", 2, 6)]


def test_conflicting_modes_of_a_refused_block_are_not_taken() -> None:
    program = read("G0 X0 Y0 Z5\nG0 G1 X5 F9\nX6")
    assert Kind(program.moves.kind[-1]) == Kind.RAPID and program.end.feed == 9


def test_a_refused_arc_is_told_once() -> None:
    program = read("G0 X0 Y0 Z5 F9\nG2 X10 Y0 I4\nX12 Y2\nX14 Y0 I0 J2\nG1 X0 Y0\nX5\nG3 X10 I2.5\nX15 I2.5")
    assert errors(program) == [("arc-mismatch", 2)]
    assert [Kind(k).name for k in program.moves.kind] == ["RAPID", "ARC", "FEED", "FEED", "ARC", "ARC"]


@pytest.mark.parametrize(
    ("block", "rule"),
    [
        ("G2 X60 Y30 R2", "arc-impossible"),
        ("G2 X60 Y30 I-4 J0", "arc-mismatch"),
    ],
)
def test_a_block_refused_under_compensation_is_told_once(block: str, rule: str) -> None:
    """The path goes on from the refused block's end: what follows lies beside it again, by the radius of 3 mm."""
    square = "G1 X20 Y-20\nX60\nG3 X70 Y-10 R10\nG1 Y20\n{}\nG1 X20 Y30\nG3 X10 Y20 R10\nG1 Y-10\nG3 X20 Y-20 R10\nG40\n"
    text = "F500\nG0 X0 Y-20 Z1\nG42.2 D6\n" + square + "G1 X0 Y-40\nM2"
    good, spoilt = read(text.format("G3 X60 Y30 R10")), read(text.format(block))
    assert errors(good) == []
    assert errors(spoilt) == [(rule, 8)]
    assert np.allclose(ends(spoilt)[-5:], ends(good)[-5:])
