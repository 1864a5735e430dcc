"""The bulk reader against its twin, the reader that takes every line by itself: both give the same program."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grammar.moves import Bounds, Program
from grammar.read import _Reader, default_start, read_program, scanned
from grammar.source import Source


def bulk(data: bytes, dialect: str, mask: int = (1 << 63) - 1) -> Program:
    """Read with the bulk reader however small the program is."""
    source = Source(data, "program")
    lines = scanned(source, mask=mask)
    reader = _Reader(source, dialect, default_start(dialect), Bounds(), None, False)
    if lines is not None:
        reader.use_bulk(lines)
    return reader.program()


def same(a: Program, b: Program) -> None:
    for field in fields(a.moves):
        one, two = getattr(a.moves, field.name), getattr(b.moves, field.name)
        if isinstance(one, np.ndarray):
            assert one.dtype == two.dtype, field.name
            assert np.array_equal(one, two, equal_nan=one.dtype.kind == "f"), field.name
        else:
            assert repr(one) == repr(two), field.name
    for name in ("events", "faults", "gaps", "codes", "letters", "blocks_run"):
        assert repr(getattr(a, name)) == repr(getattr(b, name)), name
    assert repr(a.end) == repr(b.end)
    assert (a.block_line == b.block_line).all()


NUMBER = st.one_of(
    st.floats(-50, 50, allow_nan=False).map(lambda x: f"{x:.3f}"),
    st.integers(-30, 30).map(str),
    st.sampled_from([".5", "5.", "+3", "-0.0", "0", "1e3", "12 .5", "1234567890.1234567", "0.30000000000000004", "1" * 400]),
)
WORD = st.tuples(st.sampled_from("XYZIJFSGNRx"), NUMBER).map("".join)
PLAIN = st.sampled_from(
    ["G0 X1 Y2", "G1 X3 F200", "X4", "Y5.5", "X1 Y1 Z-1", "G2 X5 Y5 I2 J0", "G3 X0 Y0 R5", "G3 X0 Y2 R-4.5", "G1 Z-2 F90",
     "x2y3", "N10 X7", "G2 X1 I5", "I3", "G1 X1 Y1", "", "F0", "F-3", "G1 X2 F0", "G19", "G91", "G90", "G20", "G21", "(c)",
     "M3 S1000", "G81 X1 Y1 Z-2 R1", "G80", "G55", "G92 X0", "G53 G0 Z0", "T1 M6", "/X9", "#1=4", "X#1", "X[1+2]", "G93",
     "G94", "G41 D1", "G40", "G18 G2 X1 Z1 R3", "G17", "A10", "G0", "X1 X2", "Q5", "G1 X1 M8", "; note", "X", "G61", "G64",
     "N123456 X8", "N1234567G1X9F5", "/N1234560 Y1"]
)  # fmt: skip
LINES = st.lists(st.one_of(PLAIN, PLAIN, PLAIN, st.lists(WORD, min_size=1, max_size=4).map(" ".join)), max_size=60)


@settings(max_examples=120, deadline=None)
@given(LINES, st.sampled_from(["strict", "shop"]), st.sampled_from([0, (1 << 63) - 1]), st.sampled_from(["\n", "\r\n", "\r"]))
def test_both_readers_give_the_same_program(lines: list[str], dialect: str, mask: int, end: str) -> None:
    # Every line is written nine times, so that runs are long enough to be taken at once.
    data = end.join(line for line in lines for _ in range(9)).encode("latin-1")
    same(bulk(data, dialect, mask), read_program(data, dialect=dialect, plain=True))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(["X", "Y", "Z"]), min_size=20, max_size=80), st.data())
def test_long_runs_of_mixed_shapes(letters: list[str], data: st.DataObject) -> None:
    rows = ["G21 G90", "G0 X0 Y0 Z0", data.draw(st.sampled_from(["G91", "G90", "G20", ""])), "G1 F100"]
    for letter in letters:
        rows.append(letter + data.draw(NUMBER) + data.draw(st.sampled_from(["", " F50", " Y1.25", "\tZ-.125"])))
    text = "\n".join(rows).encode()
    same(bulk(text, "shop"), read_program(text, dialect="shop", plain=True))


def test_a_faulty_number_inside_a_run_is_one_fault_and_reading_goes_on() -> None:
    rows = ["G21 G90 G0 X0 Y0 Z0", "G1 F100"] + [f"X{k}.5 Y{k % 3}" for k in range(40)]
    rows[20] = "G2 X50 Y0 I1"
    text = "\n".join(rows).encode()
    program = bulk(text, "shop")
    assert [(f.rule, f.line) for f in program.faults if f.severity == "error"] == [("arc-mismatch", 21)]
    same(program, read_program(text, plain=True))


def test_long_line_numbers_and_an_f_in_every_block_are_taken_in_runs() -> None:
    rows = ["G21 G90 G0 X0 Y0 Z0", "G1 F100"] + [f"N{99_000 + 10 * k} G1 X{k}.5 F{300 if k < 150 else 400}" for k in range(300)]
    text = "\n".join(rows).encode()
    lines = scanned(Source(text, "program"))
    assert lines is not None and len(set(lines.shape[2:].tolist())) == 2 and (lines.shape >= 0).all()
    program = bulk(text, "shop")
    assert [f.line for f in program.faults if "long line number" in f.message] == [103]
    assert [e.value for e in program.events if e.kind == "feed"] == [100.0, 300.0, 400.0]
    same(program, read_program(text, plain=True))


@pytest.mark.parametrize("dialect", ["strict", "shop"])
def test_large_program_through_the_front_door(dialect: str) -> None:
    rows = ["%", "G21 G90 G17", "T1 M6", "M3 S9000", "G0 X0 Y0 Z5", "G1 Z-1 F300"]
    rows += [f"X{k % 977 / 7:.3f} Y{k % 131 / 3:.3f}" + (f" F{300 + k % 5}" if k % 50 == 0 else "") for k in range(30_000)]
    text = ("\n".join([*rows, "M5", "M30", "%"]) + "\n").encode()
    assert len(text) > 400_000
    same(read_program(text, dialect=dialect), read_program(text, dialect=dialect, plain=True))


def test_full_circles_in_inches_keep_their_feed() -> None:
    program = read_program(b"G20 G91 G17\nG0 X0 Y0\nG1 X1 F100\nG3 X0. Y0. I-0.5 J0.\nX1\nG90\nG3 I-.5\nG1 A90\nM30\n")
    assert set(program.moves.feed[program.moves.kind == 2].tolist()) == {2540.0}
    assert program.moves.feed[-1] == 100.0  # degrees a minute have no unit of length
