"""The trace: its keys, numbers as JSON may hold them, and the words for somebody who is learning."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from advisor.trace import trace_dict, trace_text
from grammar.read import read_program

PROGRAM = """%
O7 (pad)
G21 G90 G17
T2 M6
S12000 M3 M8
G0 X10 Y5
Z5
G1 Z-1 F200
G2 X20 Y15 I10 J0 F800
G4 P0.5
(MSG, look)
G1 A90
G53 G0 Z0
Q3
G1 X..
M30
%"""


def trace(text: str, **how: Any) -> dict[str, Any]:
    made = trace_dict(read_program(text.encode(), fragment=True, **how), "pad.ngc")
    return dict(json.loads(json.dumps(made, allow_nan=False)))


def test_keys() -> None:
    made = trace(PROGRAM)
    assert list(made) == ["schema", "path", "dialect", "faults", "moves", "events", "end"]
    assert made["schema"] == "feedwright.trace/1" and made["path"] == "pad.ngc"
    for move in made["moves"]:
        assert list(move) == ["line", "kind", "to", "centre", "radius_mm", "sweep_deg", "length_mm", "feed_mm_min", "minutes",
                              "spindle_rpm"]
        assert move["kind"] in ("rapid", "feed", "arc", "probe")
        assert list(move["to"]) == list("xyzabc")  # a rotary axis is used
    assert list(made["end"]) == ["position", "machine", "modal", "spindle", "coolant", "tool", "selected_tool", "overrides",
                                 "feed", "parameters"]
    assert list(made["end"]["modal"]) == ["motion", "plane", "units", "distance", "feed_mode", "compensation", "length_offset",
                                          "system", "path", "cycle_return"]
    assert list(made["end"]["position"]) == list("xyzabc") and list(made["end"]["machine"]) == list("xyz")


def test_values() -> None:
    made = trace("G92 X0 Y0 Z5\nS100 M3\nG1 Z-1 F200\nG2 X20 Y0 I10 F800\nG0 X0")
    down, arc, back = made["moves"]
    assert down["to"] == {"x": 0, "y": 0, "z": -1} and down["minutes"] == 0.03 and down["centre"] is None
    assert arc["centre"] == {"x": 10, "y": 0} and arc["radius_mm"] == 10 and arc["sweep_deg"] == -180
    assert arc["length_mm"] == pytest.approx(10 * math.pi, abs=1e-6) and arc["spindle_rpm"] == 100
    assert back["minutes"] is None and back["feed_mm_min"] is None and back["length_mm"] == 20
    assert [e["kind"] for e in made["events"]] == ["shift", "speed", "spindle", "feed", "feed"]
    assert [e["before_move"] for e in made["events"]] == [0, 0, 0, 0, 1]


def test_unknown_is_null_and_zero_has_no_sign() -> None:
    made = trace("G0 X-0.0\nG91 Y1")
    assert made["moves"][0]["to"] == {"x": 0, "y": None, "z": None}
    assert "-0.0" not in json.dumps(made)
    assert made["end"]["machine"] == {"x": None, "y": None, "z": None}
    assert trace("")["end"]["modal"]["motion"] is None


def test_arc_centre_has_the_axes_of_its_plane() -> None:
    assert trace("G92 X0 Y0 Z0\nG18 G2 X10 Z10 I10 F9")["moves"][0]["centre"] == {"x": 10, "z": 0}
    assert trace("G92 X0 Y0 Z0\nG19 G2 Y10 Z10 J10 F9")["moves"][0]["centre"] == {"y": 10, "z": 0}


def test_work_and_machine_positions() -> None:
    made = trace("G10 L2 P1 X10 Y20\nG0 X1 Y2", dialect="strict")
    assert made["moves"][0]["to"] == {"x": 1, "y": 2, "z": 0}
    assert made["end"]["machine"] == {"x": 11, "y": 22, "z": 0}


def test_words() -> None:
    text = trace_text(read_program(PROGRAM.encode()))
    lines = [line.strip() for line in text.splitlines()]
    for said in (
        "choose tool 2; tool 2 goes into the spindle",
        "spindle speed 12000 rev/min; spindle on, clockwise; flood on",
        "rapid to X10 Y5 (Z not known)",
        "feed 200; feed to Z-1, 6.0 mm, 200 mm/min",
        "feed 800; clockwise arc, 90.0 degrees, radius 10.000 mm, to X20 Y15, 15.7 mm, 800 mm/min",
        "wait 0.5 s",
        "message to the operator: look",
        "WARNING unused-word: no code of the block can use the word Q",
        "ERROR unreadable-block: a number has two decimal points, or none of its digits",
        "the program ends",
    ):
        assert said in lines, said
    assert lines[-1].startswith("end  at X?")
    assert [line for line in text.splitlines() if line.startswith("     6  ")] == ["     6  G0 X10 Y5"]


def test_the_example_of_a_learner() -> None:
    text = trace_text(read_program(b"G92 X0 Y0 Z0\nG0 X10 Y5\nG1 X11 F100"))
    assert "rapid to X10 Y5, 11.2 mm; spindle off" in text
    assert "feed to X11, 1.0 mm, 100 mm/min; spindle off" in text


def test_control_characters_never_pass() -> None:
    text = trace_text(read_program(b"(\x1b[31mred)\nG0 X1\nM0 \x07 X\x9b\n\x1bG0"))
    assert all(c.isprintable() or c == "\n" for c in text)


def test_loops_are_told_each_time_round() -> None:
    text = trace_text(read_program(b"G92 X0\nM98 P1 L2\nM30\nO1\nG91 G0 X1\nM99"))
    assert text.count("rapid to X1") == 1 and text.count("rapid to X2") == 1
    assert text.count("run O1") == 1 and "back to the caller" in text


@pytest.mark.parametrize("width", [40, 60, 80])
def test_the_words_are_folded_to_the_screen(width: int) -> None:
    program = read_program(b"G28 G91 Z0\nG90\nG0 X1\nG1 Y2 (unclosed\n")
    folded = trace_text(program, width)
    assert max(map(len, folded.splitlines())) <= width
    assert folded.split() == trace_text(program).split()  # nothing but the line ends changes


def test_blocks_jumped_over_are_told_where_they_run() -> None:
    lines = trace_text(read_program(b"G92 X0\nM98 P1\nG0 X5\nM30\nO1\n(in the subprogram)\nG0 X1\nM99\n")).splitlines()
    numbers = [int(line[:6]) for line in lines if line[:6].strip().isdigit()]
    assert numbers == [1, 2, 5, 6, 7, 8, 3, 4]
    assert lines[[line[:6].strip() for line in lines].index("3") + 1].strip().startswith("rapid to X5")
