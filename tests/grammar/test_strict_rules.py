"""The strict dialect: facts and errors of NISTIR 6556 beyond the rows of the conformance table, section by section.

Each row: section, blocks, and what is expected of the last block: ERROR, or positions (machine: with M), modal states,
parameters, moves. The start is that of the conformance table: everything at 0, F100, T1 in the spindle, 20 slots.
"""

# ruff: noqa: E501 - a row of a table is a line

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from advisor.trace import trace_dict
from grammar.moves import Program
from grammar.read import default_start, read_program
from tests.grammar.conftest import errors, rows, story

ERROR = "error"


def read(*blocks: str, block_delete: bool = False, fragment: bool = True, **start: Any) -> Program:
    return read_program("\n".join(blocks).encode("latin-1"), dialect="strict", fragment=fragment,
                        start=replace(default_start("strict"), block_delete=block_delete, **start))


REFUSED = [
    # layout
    ("3.3.1", "N123456 G0 X1"), ("3.3.1", "N000001 G0 X1"), ("3.3.1", "N-5 G0 X1"), ("3.3.1", "N1.5 G0 X1"), ("3.3.1", "N G0 X1"),
    ("3.3", "G0 X1 N5"), ("3.3", "N10 /G0 X5"), ("3.3", "/2 G0 X5"), ("3.3", "//G0 X5"), ("3.3", "G0 / X5"),
    ("3.3.4", "(a (b) c)"), ("3.3.4", "G0 X1 )"), ("3.3.4", "(bad \x07 bell)"), ("3.3.4", "G0 X1 ; text"), ("3.3.4", "(open"),
    ("Table 3", "G0 E5"), ("Table 3", "G0 V5"), ("Table 3", "O100"), ("Table 3", ":100"), ("3.3", "G0 X1 $"), ("3.3", "5 G0 X1"),
    ("3.1", "%"), ("3.3", "G0 X" + "1" * 253),
    # repeats
    ("3.3.5", "M3 M7 M48 M0 M6"), ("3.3.5", "M3 M4"), ("3.3.5", "M0 M1"), ("3.3.5", "M48 M49"), ("3.3.5", "M3 M3"),
    ("3.3.5", "G17 G18"), ("3.3.5", "G61 G64"), ("3.3.5", "G93 G94"), ("3.3.5", "G40 G41"), ("3.3.5", "G43 G49"),
    ("3.3.5", "G98 G99"), ("3.4", "G28 G30"), ("3.4", "G4 P1 G92 X1"), ("3.3.5", "F1 F2"), ("3.3.5", "X1 G0 x2"),
    ("3.3.5", "G0 G0 X1"), ("3.3.5", "G61 G61.1"), ("3.3.5", "G80 G0 X1"), ("3.3.5", "M7 M9"),
    ("3.4", "G10 L2 P1 X1 G1"), ("3.4", "G92 X1 G0"), ("3.4", "G28 X1 G0"), ("3.4", "G30 X5 G1"), ("3.4", "G28 G81 X1 Y1 Z-1 R1"),
    # numbers
    ("3.3.2.1", "G0 X--1"), ("3.3.2.1", "G0 X+-1"), ("3.3.2.1", "G0 X1-"), ("3.3.2.1", "G0 X1,5"), ("3.3.2.1", "G0 X"),
    ("3.3.2.1", "G"), ("3.3.2.1", "G59.15"), ("3.3.2.1", "M3.5"), ("3.3.2.1", "T1.5"), ("3.3.2.1", "G-1 X1"), ("3.3.2.1", "M-3"),
    ("Table 5", "G3.1 X1 Y1 R5"), ("Table 5", "G73 X1 Y1 Z-1 R1 Q1"), ("Table 5", "G100"), ("Table 7", "M31"), ("Table 5", "G52 X1"),
    ("Table 5", "G91.1"), ("Table 5", "G70"), ("Table 7", "M99"), ("Table 5", "G95"), ("Table 5", "G12 I5"),
    ("D.8.2", "F-5"), ("D.8.2", "G43 H-1"), ("D.8.2", "G41 D-1"), ("D.8.2", "G81 X1 Y1 Z-1 R1 L-1"), ("3.5.4", "G4 P-1"),
    # parameters
    ("3.3.3", "#0=1"), ("3.3.3", "#-1=1"), ("3.3.3", "#1"), ("3.3.3", "#=5"), ("3.3.3", "#1==3"), ("3.3.3", "#1=#1+1"), ("3.3.3", "#1=G0"),
    ("3.3.2.2", "#1=-#2"), ("3.3.3", "#1+2=3"), ("3.3.3", "#[0]=1"), ("3.3.2.2", "G0 X#5400"), ("3.3.2.2", "G0 X#0"),
    ("3.3.2.2", "G0 X##1"), ("3.3.3", "#<name>=1"), ("3.3.2.2", "G0 X#1.5"), ("3.3.3", "#1 2"),
    # expressions
    ("E.2", "G1 X[1]]"), ("E.2", "G1 X[1 AND]"), ("E.2", "G1 X[* 2]"), ("E.2", "G1 X[- [2]]"), ("E.2", "G1 X[3 EQ 3]"), ("E.2", "G1 XSIN 30"),
    ("E.2", "G1 XSIN30"), ("E.2", "G1 X(1)"), ("E.2", "G1 X[1 (c) + 2]"), ("E.2", "G1 X[1,2]"), ("E.2", "G1 XATAN[1]/2"), ("E.2", "G1 X[[1+2]"),
    ("3.3.2.4", "G1 XLN[0]"), ("3.3.2.4", "G1 XLN[-1]"), ("3.3.2.4", "G1 XASIN[1.1]"), ("3.3.2.3", "G1 X[1/0]"), ("3.3.2.3", "G1 X[5 MOD 0]"),
    ("3.3.2.4", "G1 XATAN[0]/[0]"), ("3.3.2.3", "G1 X[0 ** -1]"), ("3.3.2.3", "G1 X[10 ** 400]"), ("3.3.2.4", "G1 XEXP[1000]"),
    ("3.3.2.3", "IF [#1 EQ 0] GOTO 10"), ("3.3.2.3", "WHILE [1] DO1"), ("3.3.2.1", "G1 X" + "9" * 200),
    # motion
    ("3.5.1", "G0 F100"), ("3.5.2", "G1 F100"), ("3.5.2", "G1 S100"), ("3.3.7", "X1"), ("3.5.15", "G80 X1"), ("3.5.2", "F0 G1 X10"),
    ("App. A", "G0 X1 R5"), ("App. A", "G1 X1 I5"), ("App. A", "G0 X1 P1"), ("App. A", "G0 X1 L1"), ("App. A", "G0 X1 Q1"), ("App. A", "G1 X5 D1"),
    ("App. A", "G0 X1 K1"), ("App. A", "M0 P1"), ("App. A", "G64 P0.1"), ("App. A", "G49 H1"), ("App. A", "G40 D1"), ("App. A", "H1"),
    ("App. A", "I1"), ("App. A", "R1"), ("App. A", "L2"), ("App. A", "Q1"), ("App. A", "P1"), ("App. A", "D1"), ("App. A", "G4 P1 L2"),
    ("3.5.3.2", "G2 X10 Y0 R5 I5"), ("3.5.3.1", "G2 X10 Y0 R0"), ("3.5.3.2", "G2 X10 Y0 I0 J0"), ("3.5.3.2", "G2 Z5 I5"), ("3.5.3.1", "G2 Z5 R5"),
    ("3.5.3.2", "G2 I5"), ("3.5.3.2", "G2"), ("3.5.3.2", "G2 X5"), ("App. A", "G18 G2 X10 Z10 I10 J1"), ("App. A", "G19 G2 Y10 Z10 J10 I1"),
    ("3.5.3.2", "G18 G2 X10 Z10 J5"), ("3.5.3.2", "G2 X10 Y0 K5"), ("App. A", "G2 X10 Y0 I5 P2"), ("3.5.3.2", "G3 X10 Y0 I6"),
    ("3.5.3.2", "G18 G2 Y5 I5"), ("3.5.3.1", "G3 X20.1 Y0 R10"), ("3.5.3.1", "G3 X20.1 Y0 R-10"),
    ("3.5.9.1", "G38.2"), ("3.5.9.1", "G38.2 A5"), ("3.5.9.1", "G38.2 X0.1"), ("3.5.9.1", "G38.2 X0"), ("App. A", "G38.2 X10 R5"),
    ("3.5.12", "G53 X1"), ("3.5.12", "G53 G81 X1 Y1 Z-1 R1"), ("3.5.12", "G53"), ("3.5.12", "G53 G80"),
    # dwell, feed, tools
    ("3.5.4", "G4"), ("3.5.4", "G4 X2"), ("3.7.3", "T21"), ("3.6.3", "M6"), ("3.5.19", "G93 G1 X10"), ("3.5.19", "G93 G2 X10 Y0 I5"),
    ("3.5.19", "G93 G1 X10 F0"), ("3.5.9.1", "G93 G38.2 X10 F2"), ("3.5.16", "G93 G81 X1 Y1 Z-1 R1 F2"),
    # offsets
    ("3.5.5", "G10 L2 P0 X1"), ("3.5.5", "G10 L2 P1.5 X1"), ("3.5.5", "G10 L2 X1"), ("3.5.5", "G10 L3 P1 X1"), ("3.5.5", "G10 L20 P1 X1"),
    ("3.5.5", "G10 L2 P-1 X1"), ("App. A", "G10 L2 P1 X1 R1"), ("3.5.18", "G92 F5"), ("3.5.11", "G43 H21"), ("3.5.11", "G43 H-1"),
    ("App. A", "G43 H1 D1"),
    # compensation
    ("3.5.10", "G41 D21"), ("3.5.10", "G19 G41 D1"), ("B.5", "G41 D1 D2"), ("B.5", "G41 G42 D1"), ("3.5.10", "G42 D-1"),
    ("B.5", "G41 D1 G1 X2 Y0"),
    # cycles
    ("3.5.16", "G81"), ("3.5.16", "G81 X1 Y1 R1"), ("3.5.16", "G81 X1 Y1 Z-1"), ("3.5.16", "G81 R1 L2"), ("3.5.16", "G81 X1 Y1 Z2 R1"),
    ("3.5.16.3", "G82 X1 Y1 Z-1 R1 P-1"), ("3.5.16.4", "G83 X1 Y1 Z-1 R1"), ("3.5.16.4", "G83 X1 Y1 Z-1 R1 Q-1"),
    ("3.5.16.7", "G86 X1 Y1 Z-1 R1"), ("3.5.16.10", "G89 X1 Y1 Z-1 R1"), ("3.5.16.9", "G88 X1 Y1 Z-1 R1"),
    ("3.5.16.9", "G88 X1 Y1 Z-1 R1 P1"), ("App. A", "G81 X1 Y1 Z-1 R1 Q1"), ("App. A", "G81 X1 Y1 Z-1 R1 P1"), ("App. A", "G81 X1 Y1 Z-1 R1 K2"),
    ("App. A", "G83 X1 Y1 Z-1 R1 Q1 P1"), ("3.5.16", "G18 G81 X1 Z1 R1"), ("3.5.16", "G81 X1 Y1 Z-1 R1 B1"),
]


@pytest.mark.parametrize(("section", "block"), REFUSED, ids=lambda v: v[:40].encode("unicode_escape").decode())
def test_refused_block_is_one_error_and_changes_nothing(section: str, block: str) -> None:
    clean = trace_dict(read("F100"), "p")
    program = read("F100", block)
    assert [line for _, line in errors(program)] == [2], section
    trace = trace_dict(program, "p")
    assert trace["end"] == clean["end"]
    assert trace["moves"] == []
    assert all(f.fix and f.message for f in program.faults)


REFUSED_AFTER = [
    ("3.5.15", ["G1 X1", "G80", "X2"]), ("3.3.7", ["G80", "Y2"]), ("B.5", ["G41 D1", "G20"]), ("B.5", ["G41 D1", "G30"]),
    ("B.5", ["G41 D1", "G53 G0 X1"]), ("3.5.13", ["G41 D1", "G54"]), ("B.5", ["G41 D1", "G92.1"]), ("B.5", ["G41 D1", "G92.2"]),
    ("B.5", ["G41 D1", "G92.3"]), ("B.5", ["G41 D1", "G81 X9 Y9 Z-1 R1"]), ("B.5", ["G41 D1", "G42 D1"]), ("B.5", ["G42", "G42"]),
    ("B.5", ["G41 D1", "G19"]), ("B.5", ["G42 D1", "G41 D2"]), ("3.5.19", ["G93 G1 X10 F2", "X20"]), ("3.5.19", ["G93 F2", "G1 X10"]),
    ("3.5.16", ["G81 X1 Y1 Z-1 R1", "L2"]), ("App. A", ["G81 X1 Y1 Z-1 R1", "X2 Q1"]), ("3.5.16", ["G81 X1 Y1 Z-1 R1", "G0 X2", "G81 X3"]),
    ("3.5.16", ["G81 X1 Y1 Z-1 R1", "G82 X2 Z-1 P1"]), ("3.5.16", ["G81 X1 Y1 Z-1 R1", "X5 L0"]), ("3.5.16.5", ["M4 S300", "G84 X1 Y1 Z-1 R1"]),
    ("4.3.6.6", ["M3 S300", "G38.2 X10"]), ("3.5.16.8", ["M3 S1", "G87 X1 Y1 Z-5 R1 I1 J1"]), ("3.5.16.8", ["M3 S1", "G87 X1 Y1 Z-5 R1 I1 K1"]),
    ("3.5.3.2", ["G2 X10 Y0 I5", "X20"]), ("3.5.12", ["G2 X10 Y0 I5", "G53 X0"]), ("D.8.4", ["#1=3", "G0 X#1 #1=[1/0]"]),
    ("3.3.2.3", ["#1=400", "G0 X[10**#1]"]), ("3.5.3.1", ["G1 X1", "G2 X1 Y0 R5"]), ("3.5.11", ["#1=1.5", "G43 H#1"]),
    ("3.5.20", ["G99 G81 X1 Y1 Z-1 R1", "G81 X2 Z5"]), ("B.5.1", ["G0 X0 Y5", "G42 D1 G1 X0 Y0", "Y-20", "X-20"]),
    ("B.6", ["G0 X0 Y5", "G41 D1 G1 X0 Y0", "Y-20", "G3 X2 Y-22 R2"]), ("B.6", ["G41 D1", "G2 X10 Y0 I5"]),
    ("3.6.3", ["T0", "G43 H25"]), ("3.3.5", ["#1=0", "G#1 G1 X1"]), ("3.3.2.1", ["#1=1.05", "G#1 X1"]), ("Table 5", ["#1=77", "G#1 X1"]),
    ("Table 7", ["#1=77", "M#1"]), ("3.7.3", ["#1=25", "T#1"]), ("3.7.2", ["#1=-5", "S#1"]),
]


@pytest.mark.parametrize(("section", "blocks"), REFUSED_AFTER, ids=lambda v: v if isinstance(v, str) else " / ".join(v)[:60])
def test_refused_after_others(section: str, blocks: list[str]) -> None:
    program = read(*blocks)
    assert [line for _, line in errors(program)] == [len(blocks)], (section, program.faults)
    before = trace_dict(read(*blocks[:-1]), "p")
    trace = trace_dict(program, "p")
    assert trace["end"] == before["end"]
    assert trace["moves"] == before["moves"]
    assert trace["events"] == before["events"]


POSITIONS = [
    ("3.3", "N1 0 G0 X1", {"x": 1}), ("3.3", "N10", {}), ("3.3", "/", {}), ("3.3", "/N10", {}), ("3.3.4", "()", {}),
    ("3.3", "g 0 x 1 . 5 y - 2", {"x": 1.5, "y": -2}), ("3.3", "G0\tX1", {"x": 1}), ("3.3.4", "G0 (a) X1 (b)", {"x": 1}),
    ("3.3.2.1", "G0 X+1 Y-0 Z00001", {"x": 1, "y": 0, "z": 1}), ("3.3.2.1", "G00.0 X1", {"x": 1}), ("3.3.2.1", "G0 X1.", {"x": 1}),
    ("3.3.2.1", "G0 X-.5", {"x": -0.5}), ("3.3", "G0 X" + "0" * 250 + "1", {"x": 1}), ("3.3.3", "#5399=1 G0 X1", {"x": 1}),
    ("3.3.3", "# 1 = 5", {}), ("3.3.3", "#1=+3", {}), ("3.3.3", "#[1+1]=4", {}), ("3.3.3", "#1.00001=5", {}), ("3.3.3", "G0 X#1 #1=5", {"x": 0}),
    ("3.3.2.2", "G0 X#[1+1]", {"x": 0}), ("E.2", "G1 ACOS[0]", {"a": 1}), ("3.3.2.3", "G1 X[7 MOD 3]", {"x": 1}), ("3.3.2.3", "G1 X[1 + + 2]", {"x": 3}),
    ("3.3.2.3", "G1 X[1 - - 2]", {"x": 3}), ("3.3.2.3", "G1 X[2 ** -1]", {"x": 0.5}), ("3.3.2.3", "G1 X[1 XOR 2]", {"x": 0}),
    ("3.3.2.3", "G1 X[1 XOR 0]", {"x": 1}), ("3.3.2.4", "G1 XROUND[2.5]", {"x": 3}), ("3.3.2.4", "G1 XROUND[-2.5]", {"x": -3}),
    ("3.3.2.4", "G1 XFIX[-2.8]", {"x": -3}), ("3.3.2.4", "G1 XFUP[2.1]", {"x": 3}), ("3.3.2.4", "G1 XTAN[45]", {"x": 1}), ("3.3.2.4", "G1 XSIN[30]", {"x": 0.5}),
    ("3.3.2.4", "G1 XLN[1]", {"x": 0}), ("3.3.2.4", "G1 XEXP[0]", {"x": 1}), ("3.3.2.4", "G1 XATAN[-1]/[-1]", {"x": -135}), ("3.3.2.3", "G1 X[[1]+[2]]", {"x": 3}),
    ("3.3.2.3", "G1 X[2+3*4**2]", {"x": 50}), ("3.3.2.3", "G1 X[12/3/2]", {"x": 2}), ("3.3.2.3", "G1 X[7 - 5 MOD 3]", {"x": 5}),
    ("3.3.2.3", "G1 X[1 + 1 AND 0]", {"x": 0}), ("3.3.2.3", "G1 X[0 OR 1 - 1]", {"x": 0}), ("3.3.2.1", "G[0+1] X5", {"x": 5}),
    ("3.5.17", "G91 G1 X1 Y1", {"x": 1, "y": 1}), ("3.5.2", "G1 A30 B40", {"a": 30, "b": 40}), ("3.5.3.2", "G2 X10.002 Y0 I5", {"x": 10.002}),
    ("3.5.3.2", "G20 G2 X1.0002 Y0 I0.5", {"x": 25.40508}), ("3.5.3", "G2 X10 Y0 I5 A90", {"x": 10, "a": 90}), ("3.5.12", "G53 G1 X5", {"x": 5}),
    ("3.5.4", "G4 P1 G0 X3", {"x": 3}), ("3.5.5", "G10 L2 P1", {"x": 0}), ("3.5.18", "G92 X1 Y2 Z3 A4", {"x": 1, "y": 2, "z": 3, "a": 4}),
    ("3.5.15", "G80 G92 X3", {"x": 3}), ("3.5.11", "G43 H0", {"z": 0}), ("3.5.11", "G43 H2", {"z": -75.5}), ("3.5.11", "G43 H5", {"z": 0}),
    ("3.5.9.1", "G38.2 X10", {"x": 10}), ("3.5.9.1", "G38.2 X0.254", {"x": 0.254}), ("3.5.16", "G81 X1 Y2 Z-1 R1 A0", {"x": 1, "y": 2, "z": 1}),
    ("3.5.16", "G81 Z-1 R1", {"z": 1}), ("3.5.16", "G81 X1 Z-1 R1 L2.00001", {"x": 1}),
]


@pytest.mark.parametrize(("section", "block", "want"), POSITIONS, ids=lambda v: v[:40] if isinstance(v, str) else "")
def test_position(section: str, block: str, want: dict[str, float]) -> None:
    program = read(block)
    assert not errors(program), (section, program.faults)
    end = trace_dict(program, "p")["end"]["position"]
    for axis in "xyzabc":
        assert end[axis] == pytest.approx(want.get(axis, end[axis] if axis not in "xyz" or "R1" in block else 0), abs=1e-9)


PROGRAMS: list[tuple[str, list[str], dict[str, Any]]] = [
    ("3.5.7", ["G20 G0 X1", "G21"], {"x": 25.4}),
    ("3.5.17", ["G91 G0 X1", "X1", "G90 X5", "G91 X-1"], {"x": 4}),
    ("3.5.17", ["G0 A90", "G91 A10"], {"a": 100}),
    ("3.5.5", ["G10 L2 P2 X10", "G55 G0 X1"], {"x": 1, "Mx": 11}),
    ("3.5.5", ["G92 X5", "G10 L2 P1 X10", "G0 X0"], {"Mx": 5, "x": 0}),
    ("3.2.2", ["#5221=10", "G0 X0"], {"Mx": 0}),
    ("3.2.2", ["#5221=10", "G54", "G0 X0"], {"Mx": 10}),
    ("3.5.12", ["G10 L2 P1 X10", "G91 G53 G0 X3"], {"x": -7, "Mx": 3}),
    ("3.5.12", ["G43 H1", "G53 G0 Z0"], {"Mz": 0, "z": -50}),
    ("3.5.12", ["G1 X5", "G53 X1", "X2"], {"x": 2}),
    ("3.5.18", ["G0 X4", "G92 X0", "G92 X10"], {"x": 10, "Mx": 4, "p5211": -6}),
    ("3.5.18", ["G0 X4", "G92 X0", "G92.2", "G92.3"], {"x": 0, "Mx": 4}),
    ("3.5.18", ["G0 X4", "G92 X0", "G92.1", "G92.3"], {"x": 4, "p5211": 0}),
    ("3.5.18", ["#5211=5", "G92.3 G0 X1"], {"x": 1, "Mx": 6}),
    ("3.6.1", ["G92 X5", "G0 X5", "M2"], {"x": 0, "p5211": -5}),
    ("3.6.1", ["G43 H1 G0 Z5", "M30"], {"z": 5, "Mz": 55}),
    ("3.5.8", ["#5161=10", "G0 X5 Y5 Z5", "G28 X20"], {"x": 10, "y": 0, "z": 0}),
    ("3.5.8", ["#5181=10 #5182=20", "G30 Z5"], {"x": 10, "y": 20, "z": 0}),
    ("3.5.8", ["G10 L2 P1 X5", "#5161=10", "G28"], {"x": 5, "Mx": 10}),
    ("3.5.8", ["#5164=30", "G28"], {"a": 30}),
    ("3.5.11", ["G43 H1", "G43 H2"], {"z": -75.5}),
    ("3.5.11", ["G43 H1 G0 Z10"], {"z": 10, "Mz": 60}),
    ("3.3.3", ["#1=2 #2=[#1+1]"], {"p1": 2, "p2": 1}),
    ("3.3.2.1", ["#1=1", "G#1 X5 F200"], {"x": 5}),
    ("3.5.9.1", ["G10 L2 P1 X5", "G38.2 X10"], {"p5061": 10}),
    ("3.5.16", ["G81 X1 Y1 Z-1 R1", "X2", "Y2 L1"], {"x": 2, "y": 2, "z": 1}),
    ("3.5.16", ["G81 X1 Y1 Z-1 R1", "G1 X9", "X8 Z3"], {"x": 8, "z": 3}),
    ("3.5.16", ["G82 X1 Y1 Z-1 R1 P1", "X2"], {"x": 2}),
    ("3.5.15", ["G81 X1 Y1 Z-1 R1", "G80", "G0 X3"], {"x": 3, "z": 1}),
    ("B.5", ["G41 D1", "T2 M6"], {"tool": 2}),
    ("B.5", ["G41 D1", "G21"], {}),
    ("B.5", ["G41 D1", "G17"], {}),
    ("B.6", ["G0 X0 Y5", "G42 D1 G1 X0 Y0"], {"x": -2.4, "y": 1.8}),
    ("B.6", ["G0 X0 Y5", "G41 D0 G1 X0 Y0", "X10"], {"x": 10, "y": 0}),
    ("B.6", ["G0 X0 Y5", "G41 D1 G1 X0 Y0", "Z-1", "Y-20"], {"x": 3, "y": -20, "z": -1}),
    ("B.6", ["G0 X0 Y5", "G41 D1 G1 X0 Y0", "G91 Y-20"], {"x": 3, "y": -20}),
    ("B.6", ["G0 X0 Y10", "G41 D1 G1 X0 Y5", "Y-5", "G2 X-5 Y-10 I-5"], {"x": -5, "y": -13}),
    ("B.6", ["G0 X0 Y10", "G42 D1 G1 X0 Y5", "Y-5", "G2 X-5 Y-10 I-5"], {"x": -5, "y": -7}),
    ("B.6", ["G0 X-8 Y0", "G41 D1 G2 X0 Y5 I8 J0"], {"x": 0, "y": 8}),
    ("B.6", ["G0 X-2 Y0", "G42 D1 G2 X0 Y5 I2 J0"], {"x": 0, "y": 2}),
    ("B.6", ["G0 X-8 Y0", "G41 D1 G2 X0 Y5 R5"], {"x": 0, "y": 8}),
    ("3.6.3", ["T3", "T0 M6"], {"tool": 0, "selected": 0}),
    ("3.7.3", ["T20"], {"selected": 20, "tool": 1}),
    ("3.5.19", ["G93 G1 X10 F2", "G94 X20 F100"], {"x": 20}),
    ("App. C.2", ["#1=1 #2=[#1]", "#[#1]=7"], {"p1": 7, "p2": 0}),
]


@pytest.mark.parametrize(("section", "blocks", "want"), PROGRAMS, ids=lambda v: " / ".join(v)[:60] if isinstance(v, list) else "")
def test_program(section: str, blocks: list[str], want: dict[str, float]) -> None:
    program = read(*blocks)
    assert not errors(program), (section, program.faults)
    end = trace_dict(program, "p")["end"]
    have = {**end["position"], **{f"M{k}": v for k, v in end["machine"].items()},
            **{f"p{k}": v for k, v in end["parameters"].items()}, "tool": end["tool"], "selected": end["selected_tool"]}
    for key, value in want.items():
        assert have.get(key, 0) == pytest.approx(value, abs=1e-6), key


HOLES: list[tuple[str, list[str], list[list[Any]]]] = [
    ("3.5.16.2", ["G0 X1 Y2 Z3", "G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3"],
     [["r", 1, 2, 3], ["r", 1, 2, 4.8], ["r", 5, 7, 4.8], ["f", 5, 7, 4.2], ["r", 5, 7, 4.8], ["r", 9, 12, 4.8], ["f", 9, 12, 4.2],
      ["r", 9, 12, 4.8], ["r", 13, 17, 4.8], ["f", 13, 17, 4.2], ["r", 13, 17, 4.8]]),
    ("3.5.16.6", ["G0 Z5", "G98 G85 X1 Y0 Z-2 R1"],
     [["r", 0, 0, 5], ["r", 1, 0, 5], ["r", 1, 0, 1], ["f", 1, 0, -2], ["f", 1, 0, 5]]),
    ("3.5.16.10", ["G0 Z5", "G99 G89 X1 Y0 Z-2 R1 P1"], [["r", 0, 0, 5], ["r", 1, 0, 5], ["r", 1, 0, 1], ["f", 1, 0, -2], ["f", 1, 0, 1]]),
    ("3.5.16.8", ["G0 Z5", "M3 S100", "G99 G87 X10 Y0 Z-8 R1 I2 J0 K-3"],
     [["r", 0, 0, 5], ["r", 10, 0, 5], ["r", 10, 0, 1], ["r", 12, 0, 1], ["r", 12, 0, -8], ["r", 10, 0, -8], ["f", 10, 0, -3], ["f", 10, 0, -8],
      ["r", 12, 0, -8], ["r", 12, 0, 1], ["r", 10, 0, 1]]),
    ("3.5.16", ["G0 Z5", "G99 G81 X1 Y0 Z-2 R1", "X2"],
     [["r", 0, 0, 5], ["r", 1, 0, 5], ["r", 1, 0, 1], ["f", 1, 0, -2], ["r", 1, 0, 1], ["r", 2, 0, 1], ["f", 2, 0, -2], ["r", 2, 0, 1]]),
    ("3.5.16", ["G0 Z5", "G98 G81 X1 Y0 Z-2 R1", "X2 R2"],
     [["r", 0, 0, 5], ["r", 1, 0, 5], ["r", 1, 0, 1], ["f", 1, 0, -2], ["r", 1, 0, 5], ["r", 2, 0, 5], ["r", 2, 0, 2], ["f", 2, 0, -2], ["r", 2, 0, 5]]),
    ("3.5.16.4", ["G0 Z1", "G99 G83 X0 Y0 Z-2 R1 Q3"], [["r", 0, 0, 1], ["f", 0, 0, -2], ["r", 0, 0, 1]]),
    ("3.5.16", ["G0 X5", "G19 G99 G81 Y4 Z6 X-3 R2"], [["r", 5, 0, 0], ["r", 5, 4, 6], ["r", 2, 4, 6], ["f", -3, 4, 6], ["r", 2, 4, 6]]),
    ("3.5.8", ["#5161=10", "G0 X1 Y1", "G28 X5"], [["r", 1, 1, 0], ["r", 5, 1, 0], ["r", 10, 0, 0]]),
]


@pytest.mark.parametrize(("section", "blocks", "want"), HOLES, ids=lambda v: v[-1][:40] if isinstance(v, list) and isinstance(v[0], str) else "")
def test_moves(section: str, blocks: list[str], want: list[list[Any]]) -> None:
    program = read(*blocks)
    assert not errors(program), (section, program.faults)
    got = rows(program)
    assert [g[0] for g in got] == [w[0] for w in want]
    for have, expected in zip(got, want, strict=True):
        assert have[1:] == pytest.approx(expected[1:], abs=1e-9)


def test_message_forms() -> None:
    """3.3.4: letters in any case, white space among them, nothing else before."""
    assert story(read("(MSG,)")) == ["message"]
    assert story(read("(msg hello)")) == ["comment msg hello"]
    assert story(read("(MSG,a) (b)")) == ["comment b"]


def test_back_boring_stops_and_turns_the_spindle() -> None:
    """3.5.16.8."""
    told = story(read("M3 S100", "G99 G87 X10 Y0 Z-8 R1 I2 J0 K-3"))
    assert [t for t in told if "spindle" in t] == ["spindle cw", "spindle off", "spindle cw", "spindle off", "spindle cw"]


@pytest.mark.parametrize(("lines", "found"), [
    (["%", "G0 X1", "M2"], [("no-program-end", "warning")]),
    (["G0 X1"], [("no-program-end", "error")]),
    (["%", "G0 X1", "%", "what follows (is ignored"], []),
    (["G0 X1", "M2", "G0 X2"], [("unreached-blocks", "note")]),
    (["G0 X1", "%", "M2"], [("unreadable-block", "error")]),
    (["%", "G0 X1", "M30", "%"], []),
    (["", "\t", "%", "G0 X1", "  %"], []),
])
def test_ends_of_a_program(lines: list[str], found: list[tuple[str, str]]) -> None:
    """3.1 and Appendix A.1; an opening % and M2 without a closing % is told as a warning."""
    assert [(f.rule, f.severity) for f in read(*lines, fragment=False).faults] == found


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    program = read_program(f"G0 X1{end}{end}Y2{end}G0 Z".encode(), dialect="strict", fragment=True)
    assert errors(program) == [("unreadable-block", 4)]
    assert rows(program)[-1] == ["r", 1, 2, 0]


def test_skipped_block_is_still_read() -> None:
    """2.2.2 and Appendix A.1: with the switch on a block is read, but not run."""
    program = read("/G0 X5", "/#1=9", "/G0 X(", block_delete=True)
    assert errors(program) == [("unreadable-block", 3)]
    assert len(program.moves) == 0 and program.end.parameters == {}


def test_wrong_start_up_system() -> None:
    """3.2.2."""
    assert [f.rule for f in read("G0 X1", parameters={5220: 10.0}).faults] == ["bad-value"]


def test_feed_number_is_kept_at_a_change_of_unit() -> None:
    """4.3.3.3: F keeps its number; 100 in/min is 2540 mm/min."""
    moves = trace_dict(read("F100", "G20 G1 X1"), "p")["moves"]
    assert moves[0]["feed_mm_min"] == pytest.approx(2540)
    assert moves[0]["minutes"] == pytest.approx(0.01)


@pytest.mark.parametrize(("blocks", "minutes"), [
    (["G1 X10 A90 F100"], 0.1), (["G1 A30 B40 F50"], 1.0), (["G1 X3 Y4 Z12 F13"], 1.0),
    (["G93 G2 X10 Y0 I5 F4"], 0.25), (["G0 A90", "G91 G1 A-90 F90"], 1.0), (["G20 G1 X1 F1"], 1.0),
])
def test_time_of_a_move(blocks: list[str], minutes: float) -> None:
    """2.1.2.5, 2.1.2.6, 3.5.19."""
    assert trace_dict(read(*blocks), "p")["moves"][-1]["minutes"] == pytest.approx(minutes)


@pytest.mark.parametrize(("blocks", "rule"), [
    (["G41 D1", "G43 H1"], "compensation-fault"), (["G42 D1", "G49"], "compensation-fault"), (["G41 D1", "G10 L2 P2 X1"], "compensation-fault"),
    (["#5221=5"], "bad-value"), (["M3 S1", "G87 X1 Y1 Z-5 R1 I1 J0 K-6"], "cycle-fault"),
])
def test_what_the_standard_leaves_open_is_a_warning(blocks: list[str], rule: str) -> None:
    program = read(*blocks)
    assert [(f.rule, f.severity, f.line) for f in program.faults] == [(rule, "warning", len(blocks))]


def test_after_a_hand_retract_the_tool_is_taken_to_be_clear() -> None:
    """3.5.16.9: how far the operator retracts is not known."""
    program = read("G0 Z5", "M3 S300", "G99 G88 X0 Y0 Z-10 R2 P1", "X4")
    assert rows(program) == [["r", 0, 0, 5], ["r", 0, 0, 2], ["f", 0, 0, -10], ["r", 4, 0, 2], ["f", 4, 0, -10]]
