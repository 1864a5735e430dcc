"""Programs for the benchmarks, made anew from a formula: a 3-D finishing pass over a wavy field, X Y Z on every line.

``python -m tests.bench.programs BLOCKS FILE`` writes one, ``--columns`` writes its numbers as plain columns.
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
