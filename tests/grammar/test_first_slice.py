"""The commonest forms of a milling program, end to end."""

from __future__ import annotations

import math

import numpy as np
import pytest

from grammar.moves import Flag, Kind, Program, geometry_digest
from grammar.read import read_program


def read(text: str, dialect: str = "shop") -> Program:
    return read_program(text.encode(), dialect=dialect, fragment=True)


def test_lines_arcs_and_cycle() -> None:
    program = read("G21 G90\nG0 X0 Y0 Z5\nG1 Z-1 F100\nG2 X10 Y10 I10 J0\nG0 Z5\nG99 G81 X20 Y0 Z-2 R1\nX30\nG80\nM2")
    assert not [f for f in program.faults if f.severity == "error"]
    moves = program.moves
    assert [Kind(k).name for k in moves.kind] == [
        "RAPID", "FEED", "ARC", "RAPID", "RAPID", "RAPID", "FEED", "RAPID", "RAPID", "FEED", "RAPID"]
    assert moves.sweep[0] == pytest.approx(-math.pi / 2)
    np.testing.assert_allclose(moves.end[-1], [30, 0, 1])
    assert all(moves.flags[4:] & Flag.CYCLE)
    assert list(moves.block[-3:]) == [6, 6, 6]


def test_start_is_unknown_axis_by_axis() -> None:
    moves = read("G0 X1\nY2\nZ3").moves
    assert np.isnan(moves.start[0]).all()
    np.testing.assert_array_equal(np.isnan(moves.end), [[False, True, True], [False, False, True], [False, False, False]])


def test_machine_retract_makes_z_high_and_leaves_x_y() -> None:
    moves = read("G0 X1 Y2 Z3\nG53 G0 Z0\nX5").moves
    assert moves.flags[1] & Flag.HIGH_Z and moves.flags[2] & Flag.HIGH_Z
    np.testing.assert_array_equal(moves.end[2, :2], [5, 2])
    assert math.isnan(moves.end[2, 2])


def test_one_bad_block_is_one_fault_and_reading_goes_on() -> None:
    program = read("G21 G90\nG0 X0 Y0 Z5\nG1 X..5 F100\nG0 Y3\nG0 X7")
    errors = [f for f in program.faults if f.severity == "error"]
    assert [(f.rule, f.line) for f in errors] == [("unreadable-block", 3)]
    assert math.isnan(program.moves.end[-2, 0])
    np.testing.assert_array_equal(program.moves.end[-1], [7, 3, 5])
    assert [(g.axes, g.from_line, g.to_line) for g in program.gaps if g.cause == "unreadable-block"] == [("x", 3, 5)]


def test_work_offsets_are_frames() -> None:
    program = read("G54 G0 X1\nG55 X1")
    frames = program.moves.frames
    assert [(f.system, f.known) for f in frames] == [("G54", True), ("G55", False)]


def test_inch_words_are_lengths_in_mm() -> None:
    assert read("G20 G0 X1 Y-0.5").moves.end[0, 0] == pytest.approx(25.4)


def test_digest_ignores_feed() -> None:
    one, two = read("G1 X1 F100\nG1 X2"), read("G1 X1 F200\n\nG1 X2")
    assert geometry_digest(one.moves) == geometry_digest(two.moves)
    assert geometry_digest(one.moves) != geometry_digest(read("G1 X1 F100\nG1 X2.1").moves)
