"""Whole programs as shops write them, in several habits: nothing of them may be told as an error or a warning."""

from __future__ import annotations

import numpy as np
import pytest

from grammar.moves import Flag, Kind
from grammar.read import read_program

INCH_DRILLING = """%
O1001 (CLEAT PLATE)
(T1 - 1/4 SPOT DRILL)
N10 G20
N20 G0 G17 G40 G49 G80 G90
N30 T1 M6
N40 G0 G90 G54 X1.25 Y.5 S2400 M3
N50 G43 H1 Z1. M8
N60 G98 G81 Z-.1 R.1 F5.
N70 X2.25
N80 Y1.5
N90 G80
N100 G83 X1.25 Y.5 Z-.6 R.1 Q.15 F4. P0. L1
N110 X2.25
N120 G80 M9
N130 M5
N140 G91 G28 Z0.
N150 G28 X0. Y0.
N160 G90
N170 M30
%
"""

MILLING_CENTRE = """%
(HATCH RING)
G90 G94 G17 G91.1
G21
G53 G0 Z0.
(INSIDE)
T5 M6
S5000 M3
G54
M8
G0 X23.1 Y10.
G43 Z15. H5
G1 Z5. F600.
X25. Z-1.
G3 X15. Y10. Z-2. I-5. J0. K0.
G3 X25. I5.
G1 Y15. F1200.
G2 X30. Y20. R5.
G0 Z15.
M9
M5
G53 G0 Z0.
M30
%
"""

SMALL_ROUTER = """; made for the small router
G21 ; mm
G90 ; absolute
G17
M3 S12000
G4 P3
G0 Z5.0000
G0 X-0.0000 Y0.0000
G1 Z-1.0000 F200.0
G1 X50.0000 F800.0
G1 X50.0000 F800.0
X0.0000
G64 P0.01
G0 Z5.0000 F0.0
G0X0Y0
M5
"""

COMPENSATED = """%
N1 G90 G21 G17 G40 G80 G49
N2 T2 M6
N3 S3000 M3
N4 G0 X-20. Y-20. Z5.
N5 G1 Z-2. F100.
N6 G41 D2 X-10. Y0. F300.
N7 X0. Y0.
N8 Y40.
N9 X40.
N10 Y0.
N11 X-10.
N12 G40 X-20. Y-20.
N13 G0 Z5.
N14 M5
N15 M30
%
"""

WITH_SUBPROGRAM = """O100
G21 G90 G80 G40
T1
M3 S8000
G0 X0 Y0 Z5
M98 P200 L3
G90 G0 Z5
X0 Y0
M5
M30
O200
G91 G1 Z-1 F100
G90 G1 X20 F500
X0
M99
"""


@pytest.mark.parametrize("text", [INCH_DRILLING, MILLING_CENTRE, SMALL_ROUTER, WITH_SUBPROGRAM])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_nothing_is_told(text: str, end: str) -> None:
    program = read_program(text.replace("\n", end).encode())
    assert [f for f in program.faults if f.severity != "note"] == []
    assert {g.cause for g in program.gaps} <= {"unknown-position"}


def test_drilling_in_inches() -> None:
    moves = read_program(INCH_DRILLING.encode()).moves
    holes = moves.end[(moves.kind == Kind.FEED) & (moves.end[:, 2] < -2)]
    assert holes[:3] == pytest.approx(25.4 * np.array([[1.25, 0.5, -0.1], [2.25, 0.5, -0.1], [2.25, 1.5, -0.1]]))
    assert moves.end[:, 2][~np.isnan(moves.end[:, 2])].min() == pytest.approx(-0.6 * 25.4)
    assert not moves.flags[-1] & Flag.BARE_HOME  # Z went home before X and Y


def test_helix_and_circle() -> None:
    moves = read_program(MILLING_CENTRE.encode()).moves
    assert np.degrees(moves.sweep) == pytest.approx([180, 180, -90])
    assert moves.flags[0] & Flag.HIGH_Z and moves.flags[-1] & Flag.HIGH_Z


def test_compensated_square_is_followed_outside() -> None:
    from grammar.moves import Start

    program = read_program(COMPENSATED.encode(), start=Start(diameters={2: 10.0}))
    assert not [f for f in program.faults if f.severity != "note"]
    moves = program.moves
    assert moves.end[:, 0][moves.flags & Flag.COMPENSATED > 0].max() == pytest.approx(45)
    assert moves.end[:, 1].max() == pytest.approx(45)
    assert (moves.flags & Flag.INSERTED > 0).sum() >= 3


def test_subprogram_goes_deeper_each_time() -> None:
    moves = read_program(WITH_SUBPROGRAM.encode()).moves
    cuts = moves.end[moves.kind == Kind.FEED]
    assert sorted(set(cuts[:, 2])) == [2, 3, 4]
    assert {m.tool for m in moves.modes} == {1}
