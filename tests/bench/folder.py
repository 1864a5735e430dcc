"""Figures of the gate over a folder: ``python -m tests.bench.folder [PROGRAMS] [BLOCKS]`` (default 1000 programs of 500).

Prints, each timed run with its result asserted:

* the first run with one worker and with two (reach: two at least 1.8 times as quick on two free cores);
* the run after it with nothing changed, best of five, against ``hello``
  (reach: at most 3 x hello + 0.5 ms a program);
* SARIF of 10,000 findings: time and size (reach: within the bounds of the format's consumers).
"""

from __future__ import annotations

import gzip
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from tests.bench.programs import HEAD, TAIL, points

ROOT = Path(__file__).resolve().parents[2]
SHOP = """
[machine]
like = "ballscrew-router"

[[cutter]]
tool = 1
like = "endmill-upcut-6mm-2f"

[stock]
material = "birch-plywood"
size = ["300 mm", "200 mm", "18 mm"]
zero = ["0 mm", "0 mm", "18 mm"]
"""


def write_folder(folder: Path, programs: int, blocks: int) -> None:
    """Programs that differ in the height of their field, in folders of a hundred, with one shop file above."""
    (folder / "feedwright.toml").write_text(SHOP, encoding="utf-8")
    path = list(points(blocks))
    for i in range(programs):
        place = folder / f"shelf-{i // 100:02}"
        place.mkdir(exist_ok=True)
        lines = [HEAD]
        for number, (x, y, z) in enumerate(path):
            feed = " F2400" if number == 0 else ""
            lines.append(f"G1 X{x + 8:.3f} Y{y + 8:.3f} Z{z + 0.5 * math.sin(i):.3f}{feed}\n")
        lines.append(TAIL)
        (place / f"part-{i:04}.ngc").write_text("".join(lines), encoding="ascii")


def timed(arguments: list[str], folder: Path, cache: Path) -> tuple[float, bytes]:
    """Wall-clock seconds and standard output of one run of the command line."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": str(cache)}
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-m", *arguments], cwd=folder, env=environment, capture_output=True, check=False)
    took = time.perf_counter() - start
    assert done.returncode in (0, 1), done.stderr.decode()
    assert not done.stderr, done.stderr.decode()
    return took, done.stdout


def folder_figures(programs: int, blocks: int) -> None:
    """First runs and second runs over a folder."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch, "programs")
        folder.mkdir()
        write_folder(folder, programs, blocks)
        check = ["advisor.cli", "check", ".", "--output", "json"]
        timed([*check[:2], "shelf-00/part-0000.ngc"], folder, Path(scratch, "warm-up"))  # kernels compiled
        took: dict[int, float] = {}
        outputs = set()
        for workers in (1, 2):
            took[workers], out = timed([*check, "--jobs", str(workers)], folder, Path(scratch, f"cache-{workers}"))
            outputs.add(out)
            print(f"first run, {workers} worker(s): {took[workers]:.1f} s, {1000 * took[workers] / programs:.1f} ms a program")
        assert len(outputs) == 1, "the report depends on the number of workers"
        assert len(json.loads(outputs.copy().pop())["programs"]) == programs
        print(f"two workers are {took[1] / took[2]:.2f} times as quick as one; reach 1.8 on two free cores")
        hello = min(timed(["tests.bench.hello"], ROOT, Path(scratch))[0] for _ in range(5))
        for form in ("text", "json"):
            runs = [timed([*check[:-1], form], folder, Path(scratch, "cache-2")) for _ in range(5)]
            assert form != "json" or {out for _, out in runs} == outputs
            again = min(seconds for seconds, _ in runs)
            reach = 3 * hello + 0.0005 * programs
            print(
                f"second run, {form}: {again:.3f} s ({1000 * (again - hello) / programs:.2f} ms a program beyond hello); "
                f"reach 3 x hello ({hello:.3f} s) + 0.5 ms a program = {reach:.3f} s"
            )


def sarif_figures() -> None:
    """SARIF of 10,000 findings in a hundred programs."""
    from advisor.findings import ProgramReport, Report
    from advisor.report import sarif
    from tests.report.samples import CRASH, MISSING, NOTE, WARNING

    findings = [replace((CRASH, WARNING, NOTE)[n % 3], line=n + 1, fingerprint=f"{n:020x}") for n in range(100)]
    report = Report(
        version="0",
        programs=tuple(
            ProgramReport(path=f"part-{i}.ngc", findings=tuple(findings), not_checked=(MISSING,)) for i in range(100)
        ),
    )
    start = time.perf_counter()
    text = sarif.render(report)
    took = time.perf_counter() - start
    assert len(json.loads(text)["runs"][0]["results"]) == 10_000
    packed = len(gzip.compress(text.encode("ascii")))
    print(
        f"SARIF of 10,000 findings: {took:.2f} s, {len(text) / 1e6:.1f} MB, {packed / 1e6:.2f} MB compressed; "
        f"bounds {sarif.MOST_RESULTS} results, {sarif.MOST_BYTES / 1e6:.0f} MB"
    )


def main() -> None:
    """Print all figures."""
    numbers = [int(text) for text in sys.argv[1:]]
    programs, blocks = (numbers + [1000, 500][len(numbers) :])[:2]
    folder_figures(programs, blocks)
    sarif_figures()


if __name__ == "__main__":
    main()
