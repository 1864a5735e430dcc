"""How long the command takes to answer, as a ratio to ``hello.py`` run in turn with it.

``python -m tests.bench.startup [--runs 15]`` prints, for each command, the median of the pairwise ratios of wall and of
processor time beside its budget. Each answer is looked at too: a quick wrong answer is no answer.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

HELLO = Path(__file__).with_name("hello.py")
PROGRAM = "G21 G90 G17 G94 G54\nT1 M6\nG0 Z15\nM3 S18000\nG4 P5\n" + "".join(
    f"G0 X{20 + i % 60} Y{20 + i // 60}\nG0 Z2\nG1 Z-2 F300\nG1 X{25 + i % 60} F1500\nG0 Z15\n" for i in range(390)
)
SPEEDS = ("--diameter", "6", "--flutes", "2", "--material", "birch-plywood", "--machine", "ballscrew-router")
SHOP = (
    '[machine]\nlike = "ballscrew-router"\n[[cutter]]\ntool = 1\nlike = "endmill-upcut-6mm-2f"\n'
    '[stock]\nmaterial = "birch-plywood"\nsize = [100, 60, 18]\n'
)


@dataclass(frozen=True, slots=True)
class Case:
    """A command, what its answer must hold, and how many times as long as ``hello`` it may take."""

    name: str
    command: tuple[str, ...]
    right: Callable[[str], bool]
    budget: float


def feedwright(*arguments: str) -> tuple[str, ...]:
    """The command as installed."""
    return (str(Path(sys.executable).with_name("feedwright")), *arguments)


def cases(folder: Path) -> list[Case]:
    """What is measured; the program has 1,955 blocks."""
    (folder / "feedwright.toml").write_text(SHOP)
    program = folder / "a.nc"
    program.write_text(PROGRAM + "M5\nM30\n")

    def advised(out: str) -> bool:
        return float(json.loads(out)["feed_mm_min"]) > 0

    def checked(out: str) -> bool:
        summary = json.loads(out)["programs"][0]["summary"]
        return bool(summary["blocks"] > 1900 and summary["removed_cm3"] > 0)

    json_out = ("--output", "json")
    return [
        Case("speeds, bare numbers", feedwright("speeds", *SPEEDS, "--depth", "18", *json_out), advised, 1.5),
        Case("check, 1,955 blocks", feedwright("check", str(program), "--no-cache", *json_out), checked, 3.0),
        Case("check, from the cache", feedwright("check", str(program), *json_out), checked, 3.0),
        Case("explain", feedwright("explain", "no-feed"), lambda out: out.startswith("no-feed"), 3.0),
        Case("--version", feedwright("--version"), lambda out: out.startswith("feedwright "), 1.0),
    ]


def timed(command: Sequence[str], environment: dict[str, str]) -> tuple[float, float, str]:
    """Wall seconds, processor seconds and output of one run."""
    before = os.times()
    begin = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
    wall = time.perf_counter() - begin
    after = os.times()
    if done.returncode not in (0, 1):
        raise SystemExit(f"{' '.join(command)}: exit status {done.returncode}\n{done.stderr}")
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return wall, used, done.stdout


def measure(case: Case, runs: int, environment: dict[str, str]) -> tuple[float, float]:
    """Median ratios of wall and processor time, after one warm-up of each."""
    hello = (sys.executable, str(HELLO))
    timed(hello, environment)
    timed(case.command, environment)
    wall, used = [], []
    for _ in range(runs):
        own, theirs = timed(case.command, environment), timed(hello, environment)
        if not case.right(own[2]):
            raise SystemExit(f"{case.name}: a wrong answer: {own[2][:200]}")
        wall.append(own[0] / theirs[0])
        used.append(own[1] / theirs[1])
    return statistics.median(wall), statistics.median(used)


def main() -> None:
    """Print one line a command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--runs", type=int, default=15)
    runs = parser.parse_args().runs
    print(f"{'command':<24}{'wall':>7}{'cpu':>7}{'budget':>8}   times hello, median of {runs}")
    with tempfile.TemporaryDirectory() as name:
        # warm means that modules are compiled, as they are wherever a program may keep its compiled modules
        environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
        environment["PYTHONPYCACHEPREFIX"] = str(Path(name) / "compiled")
        environment |= {"XDG_CACHE_HOME": str(Path(name) / "cache"), "COLUMNS": "80"}
        for case in cases(Path(name)):
            wall, used = measure(case, runs, environment)
            verdict = "" if wall <= case.budget else "  over"
            print(f"{case.name:<24}{wall:>7.2f}{used:>7.2f}{case.budget:>8.1f}{verdict}")


if __name__ == "__main__":
    main()
