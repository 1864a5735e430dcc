"""Hostile inputs thrown at the reader of programs, and a share of them at the whole check.

``python -m tests.campaigns.hostile --inputs 200000 --seed 1`` runs the long form on all cores and prints a table; the suite
runs a short one. Counted as failures: an exception, a reading that takes longer than ``SLOWEST`` seconds, a trace that is
no JSON or holds NaN, and a check that yields ``internal-error``. Memory is watched by the peak of the whole process.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import time
import traceback
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from advisor.check import check_program
from advisor.trace import trace_dict
from grammar.moves import Bounds
from grammar.read import read_program
from tests.rules.setting import default

BOUNDS = Bounds(
    blocks_run=20_000, moves=20_000, calls=16, brackets=32, line_bytes=20_000, jumps=300, blocks_again=600,
    moves_made=2_000,
)  # fmt: skip
SLOWEST = 5.0  # seconds for one input, generous on a loaded machine
CHECKED = 400  # one input in so many goes through the whole check
SAMPLES = sorted(
    p.read_bytes() for p in (Path(__file__).parents[2] / "sample_programs").rglob("*") if p.suffix in (".ngc", ".nc")
)

TOKENS = (
    b"G0 G1 G2 G3 G4 G10 G17 G18 G19 G20 G21 G28 G30 G38.2 G40 G41 G42 G43 G49 G52 G53 G54 G59.3 G61 G64 G70 G71 G73 G80 "
    b"G81 G82 G83 G84 G85 G86 G87 G88 G89 G90 G91 G90.1 G91.1 G92 G92.1 G93 G94 G95 G98 G99 G12 G13 M0 M1 M2 M3 M4 M5 M6 M7 "
    b"M8 M9 M30 M48 M49 M97 M98 M99 O1 o<a> sub endsub call [ ] # = ** / MOD AND OR XOR + - * ATAN SIN SQRT LN EXP FIX "
    b"IF WHILE DO1 END1 GOTO10 THEN EQ NE GT LE X Y Z A B C I J K R Q P L F S T D H N % ( ) ; // : < > . e17 -0 1e308 \x00 "
    b"\xff \xef\xbb\xbf \xed\xa0\x80 \t 1 10 0.001 99999 -5 5399 5400 #5220 #[#1] #<x>"
).split(b" ")


def random_bytes(r: random.Random) -> bytes:
    """Nothing but noise."""
    return r.randbytes(r.randrange(0, 400))


def random_tokens(r: random.Random) -> bytes:
    """Pieces of the language in no order."""
    lines = []
    for _ in range(r.randrange(1, 30)):
        lines.append(r.choice((b"", b" ")).join(r.choice(TOKENS) for _ in range(r.randrange(0, 12))))
    return r.choice((b"\n", b"\r\n", b"\r", b"\n\r")).join(lines)


def mutated(r: random.Random) -> bytes:
    """A real program with bytes changed, dropped, doubled, or lines shuffled."""
    sample = r.choice(SAMPLES)
    begin = r.randrange(0, max(1, len(sample) - 2000))
    data = bytearray(sample[begin : begin + r.randrange(50, 2000)])
    for _ in range(r.randrange(1, 12)):
        at = r.randrange(0, max(1, len(data)))
        what = r.randrange(6)
        if what == 0:
            data[at : at + 1] = bytes([r.randrange(256)])
        elif what == 1:
            del data[at : at + r.randrange(1, 20)]
        elif what == 2:
            data[at:at] = data[at : at + r.randrange(1, 40)]
        elif what == 3:
            data[at:at] = r.choice(TOKENS)
        elif what == 4:
            lines = bytes(data).split(b"\n")
            r.shuffle(lines)
            data = bytearray(b"\n".join(lines))
        else:
            data[at:at] = str(r.choice((1e300, -1e300, 10**40, 1e-300))).encode()
    return bytes(data)


def deep(r: random.Random) -> bytes:
    """Brackets, signs and indirections nested deep."""
    n = r.choice((3, 30, 33, 300, 5000))
    kind = r.randrange(4)
    if kind == 0:
        return b"G1 F9 X" + b"[" * n + b"1" + b"]" * r.choice((n, n - 1, n + 1))
    if kind == 1:
        return b"#1=" + b"-" * n + b"1\nX" + b"#" * n + b"1"
    if kind == 2:
        return b"X[" + b"1+" * n + b"1]"
    return b"X" + b"SIN[" * n + b"1" + b"]" * n


def loops(r: random.Random) -> bytes:
    """Loops without end, programs that call themselves, repeats without measure."""
    return r.choice(
        (
            b"O1\nM98 P1\nM99\n",
            b"O1\nG91 G1 F9 X1\nM99\n",
            b"M97 P10 L999999\nM30\nN10 G91 G1 X1 F9\nM99\n",
            b"N10 G91 G1 X1 F9\nGOTO 10\n",
            b"WHILE [1 EQ 1] DO1\n#1=[#1+1]\nEND1\n",
            b"WHILE [1] DO1\nWHILE [1] DO2\nEND2\nEND1\n",
            b"IF [1 EQ 1] GOTO 5\nN5 IF [#1 LT 1e9] GOTO 5\n",
            b"o1 sub\no1 call\no1 endsub\no1 call\nM2\n",
            b"o1 while [1]\nG91 G0 X1\no1 endwhile\n",
            b"o1 repeat [1e12]\nG91 G0 X1\no1 endrepeat\n",
            b"o1 do\no1 while [1]\n",
            b"G91 G81 X1 Y1 Z-1 R1 L999999999 F9\n",
            b"G83 X1 Y1 Z-1e9 R1 Q1e-9 F9\n",
            b"G98 G83 Z-10 R2 Q0.0000001 F9 X1\n",
            b"o1 sub\no2 call\no1 endsub\no2 sub\no1 call\no2 endsub\no1 call\n",
        )
    ) * r.randrange(1, 3)


def numbers(r: random.Random) -> bytes:
    """Numbers of every size and form."""
    digits = "".join(r.choice("0123456789") for _ in range(r.choice((1, 17, 20, 400))))
    number = r.choice(("", "-", "+", "--")) + r.choice((digits, digits + ".", "." + digits, digits[:9] + "." + digits))
    number += r.choice(("", "", "e5", "E-999", "e400", "nan", "inf"))
    word = r.choice("XYZIJKRFSTPQLDHNGMABC#")
    return f"G1 F100 X1\n{word}{number}\n#{number}=1\nX[{number}/0]\nG4 P{number}\nG2 X1 Y1 R{number}\n".encode()


def parameters(r: random.Random) -> bytes:
    """Parameters at the edges of their range, and origins moved by them."""
    index = r.choice((0, 1, 5161, 5220, 5221, 5399, 5400, 5401, -1, 10**9, 1.5))
    value = r.choice(("1", "1e300", "-0", "[1/0]", "#0", "ln[0]", "[2**9999]", "10"))
    code = r.choice((28, 30, 54, 55, 92))
    return f"#{index}={value}\nG0 X#{index}\nG{code} X1\n#[#{index}]={value}\nG1 F#1 X[#2-#3]\n".encode()


def large(r: random.Random) -> bytes:
    """Many moves of no length, long lines, many lines of one byte."""
    return r.choice(
        (
            b"G1 F1 X1\n" + b"X1\n" * r.randrange(1000, 30_000),
            b"X" * r.randrange(1000, 300_000),
            b"(" * 3000 + b"\n" + b")" * 3000,
            b"\r" * r.randrange(10, 30_000),
            b"G1 F1 " + b" " * 100_000 + b"X1",
            b"%" * 2000,
            b"N1" * 2000,
        )
    )


KINDS: dict[str, Callable[[random.Random], bytes]] = {
    f.__name__.replace("_", " "): f
    for f in (random_bytes, random_tokens, mutated, deep, loops, numbers, parameters, large)
}
WEIGHTS = (15, 25, 37, 6, 1, 9, 7, 0.5)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one share of the inputs gave: inputs by kind, failures with the input that caused them, slowest seconds."""

    counts: Counter[str]
    failures: tuple[str, ...]
    slowest: float
    faults: Counter[str]
    peak_mib: float


def throw(seed: int, inputs: int) -> Outcome:
    """Throw ``inputs`` seeded inputs and gather what went wrong."""
    r = random.Random(seed)
    counts: Counter[str] = Counter()
    faults: Counter[str] = Counter()
    failures: list[str] = []
    slowest = 0.0
    setting = default()
    for number in range(inputs):
        kind = r.choices(list(KINDS), WEIGHTS)[0]
        data = KINDS[kind](r)
        dialect = r.choice(("strict", "shop"))
        counts[kind] += 1
        begin = time.perf_counter()
        try:
            program = read_program(data, dialect=dialect, bounds=BOUNDS)
            faults.update(f.rule for f in program.faults)
            if len(data) < 3000:
                json.dumps(trace_dict(program, "hostile.ngc"), allow_nan=False)
            if number % CHECKED == 0 and kind != "loops":
                report = check_program(data, path="hostile.ngc", setting=setting)
                broken = [f.message for f in report.findings if f.rule == "internal-error"]
                if broken:
                    failures.append(f"internal-error on {kind} {data[:300]!r}: {broken[0][:300]}")
        except Exception:
            failures.append(f"{kind} ({dialect}) {data[:300]!r}: {traceback.format_exc()[-600:]}")
        took = time.perf_counter() - begin
        slowest = max(slowest, took)
        if took > SLOWEST:
            failures.append(f"{took:.1f} s on {kind} ({dialect}) {data[:300]!r}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return Outcome(counts, tuple(failures), slowest, faults, peak)


def main() -> int:
    """Command line: the long form."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=200_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    share = 2000
    seeds = [options.seed * 100_000 + k for k in range(-(-options.inputs // share))]
    counts: Counter[str] = Counter()
    faults: Counter[str] = Counter()
    failures: list[str] = []
    slowest = peak = 0.0
    with ProcessPoolExecutor(options.jobs) as pool:
        for outcome in pool.map(throw, seeds, [share] * len(seeds)):
            counts += outcome.counts
            faults += outcome.faults
            failures += outcome.failures
            slowest, peak = max(slowest, outcome.slowest), max(peak, outcome.peak_mib)
    print(f"{sum(counts.values())} inputs, {len(failures)} failures, slowest {slowest:.2f} s, peak {peak:.0f} MiB a process")
    for kind, count in counts.most_common():
        print(f"  {count:7} {kind}")
    print("  faults told: " + ", ".join(f"{rule} {count}" for rule, count in faults.most_common(12)))
    for failure in failures[:20]:
        print("FAILED", failure)
    return 1 if failures else 0


if __name__ == "__main__":
    raise SystemExit(main())
