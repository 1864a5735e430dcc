"""Where program zero lies on the stock when the first cut runs under G52 or G92."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advisor.place import place
from advisor.values import Cutter, Setting, Workpiece
from grammar.read import default_start, read_program

SETTING = Setting(
    cutters={1: Cutter(name="flat", diameter=6.0, flutes=2, flute_length=22.0, stickout=40.0)},
    workpiece=Workpiece(None, (300.0, 200.0, 18.0), (0.0, 0.0, 18.0)),
)
HEAD = "G21 G90 G17\nT1 M6\nG0 Z20\nM3 S18000\n"
CUT = "G0 X10 Y10\nG1 Z-3 F600\nG1 X60 F2000\nG0 Z20\nM5\nM30\n"


@pytest.mark.parametrize(
    ("before", "x", "z"),
    [
        ("", 60.0, 15.0),
        ("G52 X50\n", 110.0, 15.0),  # a second copy beside the first
        ("G0 X50 Y0\nG92 X0\n", 110.0, 15.0),  # the same by G92 from a place the program went to itself
        ("G92 X0 Y0\n", 60.0, 15.0),  # the operator stands at zero
        ("G38.2 Z-20 F50\nG92 Z12\nG0 Z20\n", 60.0, 15.0),  # a touch plate
        ("G0 X50 Y0\nM0\nG92 X0 Y0 Z0\nG0 Z20\n", 60.0, 15.0),  # moved to a new zero by hand
        ("G0 X50 Y0\nG92 X0\nG92.1\n", 60.0, 15.0),
        ("G52 X50\nG52 X0\n", 60.0, 15.0),
        ("G53 G0 X20 Y30 Z40\nG92 X0 Y0 Z20\n", 60.0, 15.0),  # zero is set from a place of the machine
    ],
)
def test_zero_of_the_stock_under_shifts(before: str, x: float, z: float) -> None:
    start = replace(default_start("shop"), origins={"G54": (210.0, 340.0, -92.0)})  # so that G53 is a known place
    placed = place(read_program((HEAD + before + CUT).encode(), start=start), SETTING)
    assert placed is not None
    cut = placed.end[placed.cutting][-1]
    assert cut.tolist() == pytest.approx([x, 10.0, z])
