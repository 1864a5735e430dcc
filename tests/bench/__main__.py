"""The benchmark: every figure as a ratio to a yardstick measured in the same run.

``python -m tests.bench`` prints the table (some minutes); ``--quick`` takes a tenth of the blocks; ``--only NAME`` one row.
Each command is a whole process; the least wall time of some runs counts, and each run's result is asserted. What is held
against ``hello`` is run in turn with it, and the least processor time (user and system) of both is told too: it is the
steadier figure on a machine that has other work.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.bench.programs import plate, rib, write

SHOP = """
[machine]
like = "ballscrew-router"
[[cutter]]
tool = 1
like = "ballnose-6mm-2f"
stickout = "30 mm"
[stock]
material = "softwood"
size = ["290 mm", "190 mm", "40 mm"]
zero = ["5 mm", "5 mm", "40 mm"]
[hold]
method = "screws"
points = [["2 mm", "2 mm"]]
spoilboard = "0.5 mm"
"""
PLATE = """
[machine]
like = "ballscrew-router"
[[cutter]]
tool = 1
like = "endmill-upcut-6mm-2f"
stickout = "30 mm"
[[cutter]]
tool = 2
like = "drill-5mm"
[stock]
material = "birch-plywood"
size = ["310 mm", "210 mm", "18 mm"]
zero = ["5 mm", "5 mm", "18 mm"]
[hold]
method = "screws"
points = [["40 mm", "12 mm"], ["155 mm", "8 mm"]]
spoilboard = "0.5 mm"
"""
RIB = (
    "--machine", "ballscrew-router", "--cutter", "endmill-upcut-6mm-2f", "--material", "birch-plywood",
    "--stock", "300x200x12", "--zero", "0,0,12",
)  # fmt: skip
# Warm means that modules are compiled, as they are wherever a program may keep its compiled modules.
ENVIRONMENT = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
READ = (
    "import sys; from grammar.read import read_program; p = read_program(open(sys.argv[1], 'rb').read()); "
    "print(len(p.moves))"
)
CSV = "import sys; import pandas; print(len(pandas.read_csv(sys.argv[1])))"
INSIDE = """
import sys, time
{setup}
best = 9e9
for _ in range({runs}):
    t = time.perf_counter(); n = {call}; best = min(best, time.perf_counter() - t)
print(n, best)
"""


def run(command: list[str], *, times: int = 3, expect: Callable[[str], bool]) -> tuple[float, float]:
    """Least wall seconds of ``times`` runs, and the peak memory (MiB) of the children so far."""
    best = float("inf")
    for _ in range(times):
        begin = time.perf_counter()
        done = subprocess.run(command, capture_output=True, text=True, check=False, env=ENVIRONMENT)
        best = min(best, time.perf_counter() - begin)
        assert expect(done.stdout), (command, done.returncode, done.stdout[-500:], done.stderr[-2000:])
    return best, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def beside_hello(command: list[str], *, expect: Callable[[str], bool], times: int = 7) -> str:
    """A command and ``hello`` in turn: least wall seconds and least processor seconds of both, with their ratios."""
    hello = [sys.executable, "-m", "tests.bench.hello"]
    best = {name: [float("inf"), float("inf")] for name in ("it", "hello")}
    for _ in range(times + 1):  # the first run is to warm up, and counts only if it was the quickest
        for name, each in (("it", command), ("hello", hello)):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            took, _ = run(each, times=1, expect=expect if name == "it" else lambda out: len(out) > 20)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            best[name] = [min(best[name][0], took), min(best[name][1], spent)]
    (wall, spent), (wall_hello, spent_hello) = best["it"], best["hello"]
    return (
        f"{wall:.3f} s = {wall / wall_hello:.2f} x hello ({wall_hello:.3f} s); "
        f"processor {spent:.3f} s = {spent / spent_hello:.2f} x"
    )


def inside(setup: str, call: str, expect: int, runs: int = 6) -> float:
    """Least seconds of a call inside a fresh process, after imports and warm-up."""
    code = INSIDE.format(setup=setup, call=call, runs=runs)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    count, best = done.stdout.split()
    assert int(count) == expect, (count, expect)
    return float(best)


def rows(folder: Path, blocks: int) -> dict[str, Callable[[], str]]:
    """Each row of the table by name."""
    python, feedwright = sys.executable, str(Path(sys.executable).with_name("feedwright"))
    moves = blocks + 5
    foil, shaped = folder / "foil", folder / "rib"
    for place in (foil, folder / "plate", shaped):
        place.mkdir()
    big, columns = foil / "big.ngc", folder / "big.csv"
    write(big, blocks)
    write(columns, blocks, columns=True)
    (foil / "feedwright.toml").write_text(SHOP)
    bare_blocks = min(blocks, 100_000)
    write(folder / "bare.ngc", bare_blocks)
    bare = run([python, "-m", "tests.bench.bare", str(folder / "bare.ngc")], times=1, expect=lambda o: int(o) > bare_blocks)[0]
    bare *= blocks / bare_blocks

    def speeds() -> str:
        command = [feedwright, "speeds", "--diameter", "6", "--flutes", "2", "--material", "birch-plywood"]
        command += ["--machine", "ballscrew-router", "--depth", "18"]
        told = beside_hello(command, expect=lambda out: "rev/min" in out and "SET THIS" in out)
        return f"{told}; reach 1.5"

    def small(path: Path, removed: str, flags: tuple[str, ...] = ()) -> str:
        command = [feedwright, "check", "--no-cache", *flags, str(path)]
        told = beside_hello(command, expect=lambda out: f"removed: {removed} cm3" in out and "internal-error" not in out)
        return f"{told}; reach 3 (up to 4 million cells), else 6"

    def small_foil() -> str:
        write(foil / "small.ngc", 1990)
        return small(foil / "small.ngc", "127.2")

    def small_plate() -> str:
        (folder / "plate" / "feedwright.toml").write_text(PLATE)
        (folder / "plate" / "plate.ngc").write_text("\n".join(plate()) + "\n")
        return small(folder / "plate" / "plate.ngc", "169.5")

    def small_rib() -> str:
        (shaped / "rib.ngc").write_text("\n".join(rib()) + "\n")
        return small(shaped / "rib.ngc", "42", RIB)

    def reading() -> str:
        read = inside(
            f"from grammar.read import read_program; data = open({str(big)!r}, 'rb').read(); read_program(data)",
            "len(read_program(data).moves)", moves,
        )  # fmt: skip
        table = inside("import pandas", f"len(pandas.read_csv({str(columns)!r}))", blocks)
        whole, _ = run([python, "-c", READ, str(big)], expect=lambda out: int(out) == moves)
        return (
            f"{read:.3f} s = {read / table:.2f} x csv ({table:.3f} s; reach 5) = 1/{bare / read:.0f} of bare "
            f"({bare:.1f} s; reach 1/50); whole process {whole:.2f} s = 1/{bare / whole:.0f} of bare"
        )

    def growth() -> str:
        small_path = foil / "tenth.ngc"
        write(small_path, blocks // 10)
        one, ten = (
            inside(
                f"from grammar.read import read_program; data = open({str(path)!r}, 'rb').read(); read_program(data)",
                "len(read_program(data).moves)", n + 5,
            )
            for path, n in ((small_path, blocks // 10), (big, blocks))
        )  # fmt: skip
        return f"10 x the blocks read in {ten / one:.1f} x the time; reach 11"

    def memory() -> str:
        code = (
            "import sys, resource; from grammar.read import read_program; data = open(sys.argv[1], 'rb').read()\n"
            "read_program(b'G0 X1\\n' * 90000); a = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
            "p = read_program(data); b = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss; print(b - a, len(p.moves))"
        )
        done = subprocess.run([python, "-c", code, str(big)], capture_output=True, text=True, check=True)
        more, count = (int(v) for v in done.stdout.split())
        size = big.stat().st_size
        return f"{more * 1024 / size:.1f} x the file, {more * 1024 / count:.0f} bytes a move; reach 12 x or 200 bytes"

    def whole_check() -> str:
        command = [feedwright, "check", "--no-cache", "--output", "json", str(big)]

        def looked(out: str) -> bool:
            found = json.loads(out)["programs"][0]
            return bool(found["summary"]["moves"] >= moves - 3 and found["summary"]["removed_cm3"] > 50)

        run(command, times=1, expect=looked)
        took, peak = run(command, times=1, expect=looked)
        return f"{took:.1f} s = 1/{bare / took:.1f} of bare (reach 1/10); peak {peak:.0f} MiB of all so far (reach 1024)"

    return {
        "speeds, bare numbers": speeds,
        "check of 2,000 blocks, foil": small_foil,
        "check of 430 blocks, plate": small_plate,
        "check of 2,000 blocks, rib": small_rib,
        f"reading {blocks:,} blocks": reading,
        "growth of reading": growth,
        "memory of reading": memory,
        f"check of {blocks:,} blocks": whole_check,
    }


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--blocks", type=int, default=1_000_000)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", default="")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        ENVIRONMENT["PYTHONPYCACHEPREFIX"] = str(Path(folder) / "compiled")
        table = rows(Path(folder), options.blocks // 10 if options.quick else options.blocks)
        for name, row in table.items():
            if options.only in name:
                print(f"{name:28} {row()}", flush=True)


if __name__ == "__main__":
    main()
