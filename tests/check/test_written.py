"""Programs written in ways a single good and bad program beside a rule does not show, each with its twin.

Every case is a pair: what a careful writer may do, of which nothing is said, and the slip that looks like it.
"""

from __future__ import annotations

import math

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
