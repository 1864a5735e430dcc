"""Programs for the benchmarks, made anew from formulas.

The large ones, and one small one, are a 3-D finishing pass over a wavy field, X Y Z on every line; ``python -m
tests.bench.programs BLOCKS FILE`` writes one, ``--columns`` writes its numbers as plain columns. Two other small ones are
cut with a flat cutter: a ``plate`` with pockets, bores, drilled holes and an outline with tabs, and a ``rib``, a curved
outline in short lines, pass below pass.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from pathlib import Path

HEAD = "%\n(RUDDER FOIL, FINISHING)\nG21 G90 G17 G94 G54\nT1 M6\nM3 S18000\nG4 P4\nG0 Z10\nG0 X0 Y0\nG1 Z0 F600\n"
TAIL = "G0 Z10\nM5\nM30\n%\n"


def points(blocks: int, *, width: float = 280.0, height: float = 180.0) -> Iterator[tuple[float, float, float]]:
    """Points of a zigzag over a field of ``width`` by ``height`` mm; the lines lie closer the more blocks there are."""
    rows = max(2, round(math.sqrt(blocks / 4.0)))
    per_row = max(2, -(-blocks // rows))
    made = 0
    for row in range(rows):
        y = height * row / (rows - 1)
        for k in range(per_row):
            if made == blocks:
                return
            x = width * k / (per_row - 1)
            if row % 2:
                x = width - x
            yield x, y, -4.0 + 3.0 * math.sin(x / 23.0) * math.cos(y / 17.0)
            made += 1


def write(path: Path, blocks: int, *, columns: bool = False) -> None:
    """Write a program of about ``blocks`` blocks to ``path``, or its numbers as comma-separated columns."""
    with path.open("w", encoding="ascii") as out:
        out.write("x,y,z\n" if columns else HEAD)
        for number, (x, y, z) in enumerate(points(blocks)):
            if columns:
                out.write(f"{x:.3f},{y:.3f},{z:.3f}\n")
            elif number == 0:
                out.write(f"G1 X{x:.3f} Y{y:.3f} Z{z:.3f} F2400\n")
            else:
                out.write(f"X{x:.3f} Y{y:.3f} Z{z:.3f}\n")
        if not columns:
            out.write(TAIL)


def plate() -> Iterator[str]:
    """Blocks of a locker plate, 300 x 200 x 18 mm: T1 a 6 mm flat cutter, T2 a 5 mm drill; zero on the top."""
    yield "%\n(LOCKER PLATE)\nG21 G90 G17 G94 G54\nT1 M6\nG43 H1\nM3 S18000\nG4 P4\nG0 Z20"
    for left in (20.0, 190.0):  # pockets 78 x 107 mm, 4 deep: a ramp, rows 2.4 mm apart, once round
        yield f"G0 X{left + 8:.3f} Y24\nZ2\nG1 Z0 F1200\nX{left + 72:.3f} Z-4 F2000\nX{left + 4:.3f} F3000"
        for k in range(43):
            yield f"X{left + (76 if k % 2 == 0 else 4):.3f}"
            yield f"Y{24 + 2.4 * (k + 1):.3f}" if k < 42 else "Y24"
        yield f"X{left + 4:.3f}\nY{24 + 2.4 * 42:.3f}\nX{left + 76:.3f}\nG0 Z10"
    for k in range(6):  # bores of 10 mm, a turn each 1.2 mm, then one flat turn
        x, y = 25.0 + 46.0 * k, 155.0 + 12.0 * (k % 2)
        yield f"G0 X{x + 2:.3f} Y{y:.3f}\nZ1\nG1 Z0 F1200"
        for turn in range(1, 16):
            yield f"G3 X{x + 2:.3f} Y{y:.3f} Z{-1.2 * turn:.3f} I-2 J0 F900"
        yield f"G3 X{x + 2:.3f} Y{y:.3f} I-2 J0\nG0 Z10"
    # the outline, 3 mm a pass: a ramp, four sides and corners; the last two passes lift over a tab in each side
    sides = (
        ((-3, 95), (-3, 107), (-3, 190), "X10 Y203 I13 J0"),
        ((144, 203), (156, 203), (290, 203), "X303 Y190 I0 J-13"),
        ((303, 105), (303, 93), (303, 10), "X290 Y-3 I-13 J0"),
        ((156, -3), (144, -3), (10, -3), "X-3 Y10 I0 J13"),
    )
    yield "G0 X-3 Y10\nZ2\nG1 Z0 F1200"
    for level in range(1, 7):
        z = -3.0 * level - (0.3 if level == 6 else 0.0)
        yield f"G1 X-3 Y60 Z{z:.3f} F1500"
        for tab, over, end, corner in sides:
            if level > 4:
                yield f"G1 X{tab[0]} Y{tab[1]} F3600\nZ-13\nX{over[0]} Y{over[1]}\nZ{z:.3f} F600"
            yield f"G1 X{end[0]} Y{end[1]} F3600\nG2 {corner} F3000"
    yield "G1 X-3 Y60 F3600"
    yield "G0 Z20\nM5\nT2 M6\nG43 H2\nM3 S6000\nG4 P4\nG0 Z20"
    for k in range(12):
        hole = f"X{24 + 22 * k:.3f} Y{10 if k % 2 else 186}"
        yield f"{hole}" if k else f"G98 G83 {hole} Z-18.4 R2 Q4 F500"
    yield "G80\nG0 Z20\nM5\nM30\n%"


def rib(points: int = 600) -> Iterator[str]:
    """Blocks of a rib of the skiff, cut out of 300 x 200 x 12 mm in three passes of ``points`` short lines, each down a ramp
    and once round: T1, 6 mm flat."""
    yield "%\n(RIB 3)\nG21 G90 G17 G94 G54\nT1 M6\nM3 S18000\nG4 P4\nG0 Z20\nX268.000 Y100.000\nZ2\nG1 Z0 F1200\nF3000"
    for level in range(3):
        for k in range(1, points + (points // 4 if level == 2 else 0) + 1):
            turn = 2 * math.pi * k / points
            size = 1 + 0.12 * math.cos(3 * turn) + 0.06 * math.sin(5 * turn) - 0.12
            down = f" Z{-4.0 * (level + 4 * k / points):.3f}" if 4 * k <= points else ""
            yield f"X{150 + 118 * size * math.cos(turn):.3f} Y{100 + 78 * size * math.sin(turn):.3f}{down}"
    yield "G0 Z20\nM5\nM30\n%"


def main() -> None:
    """Command line of this module."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("blocks", type=int)
    parser.add_argument("file", type=Path)
    parser.add_argument("--columns", action="store_true")
    options = parser.parse_args()
    write(options.file, options.blocks, columns=options.columns)


if __name__ == "__main__":
    main()
