"""Random jobs of three programs and two turns against exact solids: what each program removes of what still stands.

The solids know no grid and no field: the piece is turned by a half turn about an axis through the middle of the stock
(manifold3d, 256 segments a circle), and each program's cutter sweeps it at its own zero.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from advisor.job import Course, Step
from advisor.setting import Flags, setting_for
from advisor.shopfile import parse
from advisor.values import Cutter
from tests.stock.solids import stock, swept

SIZE = (110.0, 70.0, 18.0)
SHOP = """
[[cutter]]
tool = 1
like = "endmill-upcut-6mm-2f"
[[cutter]]
tool = 2
like = "ballnose-6mm-2f"
[[cutter]]
tool = 3
like = "endmill-upcut-6mm-2f"
diameter = "3 mm"
[stock]
material = "birch-plywood"
size = ["110 mm", "70 mm", "18 mm"]
[[job]]
name = "knee"
"""
CUTTERS = {
    1: Cutter("f", form="flat", diameter=6.0),
    2: Cutter("b", form="ball", diameter=6.0),
    3: Cutter("s", form="flat", diameter=3.0),
}
Points = list[tuple[float, float, float]]


def paths(r: random.Random) -> list[Points]:
    """Four paths in stock coordinates, some through, some beyond the edges, some with a ramp."""
    made = []
    for _ in range(4):
        z = SIZE[2] - r.choice([2.0, 5.0, 9.5, 13.0, 18.3])
        x, y = r.uniform(5, 105), r.uniform(5, 65)
        points = [(x, y, z)]
        for _ in range(r.randint(1, 3)):
            if r.random() < 0.5:
                x = r.uniform(-4, 114)
            else:
                y = r.uniform(-4, 74)
            if r.random() < 0.3:
                z = min(max(z + r.uniform(-3, 3), -0.4), 17.0)
            points.append((x, y, z))
        made.append(points)
    return made


def text(tool: int, cut: list[Points], zero: tuple[float, float, float]) -> bytes:
    """A program for paths in stock coordinates, as seen from a zero; rapids only above the stock."""

    def at(point: tuple[float, float, float]) -> str:
        x, y, z = (p - o for p, o in zip(point, zero, strict=True))
        return f"X{x:.6f} Y{y:.6f} Z{z:.6f}"

    lines = ["G21 G90 G17 G94 G40 G49 G80 G54", f"T{tool} M6", "M3 S18000", "G53 G0 Z0"]
    for points in cut:
        x, y, _ = points[0]
        lines += [f"G0 X{x - zero[0]:.6f} Y{y - zero[1]:.6f}", f"G0 Z{SIZE[2] + 5 - zero[2]:.6f}"]
        lines += [f"G1 {at(point)} F900" for point in points]
        lines += [f"G0 Z{SIZE[2] + 5 - zero[2]:.6f}"]
    return "\n".join([*lines, "G53 G0 Z0", "M5", "M30", ""]).encode()


def removed_by_solids(order: list[tuple[str, int, list[Points]]]) -> list[float]:
    """What each program takes from what stands, cm3; ``order``: turn before it, tool, paths."""
    piece = stock(SIZE)
    middle = tuple(s / 2 for s in SIZE)
    found = []
    for turn, tool, cut in order:
        if turn:
            angles = (180.0, 0.0, 0.0) if turn == "about-x" else (0.0, 180.0, 0.0)
            piece = piece.translate([-m for m in middle]).rotate(angles).translate(middle)
        before = piece.volume()
        for points in cut:
            entry = (points[0][0], points[0][1], SIZE[2] + 5)
            piece = piece - swept(CUTTERS[tool], [entry, *points, (*points[-1][:2], SIZE[2] + 5)])
        found.append((before - piece.volume()) / 1000)
    return found


@pytest.mark.parametrize("seed", range(3))
def test_what_each_program_of_a_job_removes(seed: int) -> None:
    """Within 0.5 % of the volume or 5 mm3, whatever the order of tools, turns and zeros."""
    r = random.Random(seed)
    tools = r.sample([1, 2, 3], 3)
    turns = ["", r.choice(["about-x", "about-y"]), r.choice(["about-x", "about-y"])]
    shop, order, data = SHOP, [], []
    for k, (tool, turn) in enumerate(zip(tools, turns, strict=True)):
        zero = (r.choice([0.0, 110.0, 55.0]), r.choice([0.0, 70.0, 12.5]), r.choice([0.0, 18.0, 18.0]))
        cut = paths(r)
        order.append((turn, tool, cut))
        data.append(text(tool, cut, zero))
        shop += f'[[job.setup]]\nprograms = ["p{k}.ngc"]\nzero = [{zero[0]}, {zero[1]}, {zero[2]}]\n'
        shop += f'turn = "{turn}"\n' if turn else ""
    file = parse(shop.encode(), Path("/shed/feedwright.toml"), shown="feedwright.toml")
    steps = [Step(setting_for(file, Path(f"/shed/p{k}.ngc"), Flags()), data[k]) for k in range(3)]
    course = Course(steps)
    got = [course.check(k, path=f"p{k}.ngc").summary["removed_cm3"] for k in range(3)]
    wanted = removed_by_solids(order)
    assert sum(wanted) > 1
    for one, other in zip(got, wanted, strict=True):
        assert one == pytest.approx(other, rel=0.005, abs=0.005)
    # and the last program alone, from a course of its own
    assert Course(steps).check(2, path="p2.ngc").summary["removed_cm3"] == got[2]
