"""Stand-ins for the real check, where a test is about the run and not about the rules. Found by name in workers."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from advisor.findings import Finding, NotChecked, ProgramReport
from advisor.values import Setting


def count_lines(data: bytes, *, path: str, setting: Setting) -> ProgramReport:
    """One warning for each line with an X; a note of the length."""
    lines = data.split(b"\n")
    return ProgramReport(
        path=path,
        findings=tuple(
            Finding(
                rule="plunge-feed",
                severity="warning",
                message=f"line {n} of {len(lines)}",
                line=n,
                end_line=n,
                measured=n / 3,
                at=(float(n), None, -1.0),
                fingerprint=f"{n:04x}",
            )
            for n, line in enumerate(lines, 1)
            if b"X" in line
        ),
        not_checked=(NotChecked("chip-too-thin", "no material is given", "material", 1, len(lines)),),
        summary={"blocks": len(lines), "extent": {"min": {"x": float("nan")}, "max": {}}, "tools": (1, 2)},
        blocks_text={n: line.decode("utf-8", "replace") for n, line in enumerate(lines, 1)},
        setup={"stickout_needed": {1: 24.0}},
        rules_looked=("plunge-feed",),
    )


def faulty(data: bytes, *, path: str, setting: Setting) -> ProgramReport:
    """Does what the program's first word says: die, exit, raise, eat the stack, tell of nothing."""
    word = data.split(None, 1)[0] if data.strip() else b""
    if word == b"KILL":
        os.kill(os.getpid(), signal.SIGKILL)
    if word == b"EXIT":
        os._exit(0)
    if word == b"LEAVE":
        raise SystemExit(0)
    if word == b"RAISE":
        raise RuntimeError("a bad\nday \x1b[31m")
    if word == b"TOLD":
        return ProgramReport(path=path, findings=(Finding("internal-error", "a rule failed", severity="error"),))
    if word == b"MEMORY":
        raise MemoryError
    if word == b"DEEP":
        return faulty(data, path=path, setting=setting)
    return count_lines(data, path=path, setting=setting)


def slow(data: bytes, *, path: str, setting: Setting) -> ProgramReport:
    """Says in a file that it has begun, then takes its time. The program: ``SECONDS FILE``."""
    seconds, file = data.decode().split(" ", 1)
    Path(file).write_text(str(os.getpid()))
    time.sleep(float(seconds))
    return count_lines(data, path=path, setting=setting)


def must_not_run(data: bytes, *, path: str, setting: Setting) -> ProgramReport:
    """For runs in which everything comes from the cache."""
    raise AssertionError("the cache was not used")
