"""Many programs in one run: the same report whatever the number of workers, and no program takes others with it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from advisor.cache import open_cache
from advisor.findings import Report
from advisor.report import json as json_report
from advisor.report import text as text_report
from advisor.rules import book
from advisor.run import Task, exit_status, in_shard, parse_shard, run_check, skipped
from advisor.values import Checks, Setting
from tests.gate import checks

SETTING = Setting()


def tasks(*programs: bytes) -> list[Task]:
    return [Task(path=f"p{i:03}.ngc", setting=SETTING, data=data) for i, data in enumerate(programs)]


def both(report: Report) -> str:
    return json_report.render(report) + text_report.render(report, show_suppressed=True)


def test_the_report_is_the_same_with_any_number_of_workers_and_from_the_cache(tmp_path: Path) -> None:
    programs = tasks(*(b"G0 X1\nG1 Y2\n" * (i % 7 + 1) for i in range(40)))
    cache = open_cache(tmp_path)
    alone = both(run_check(programs, workers=1, check=checks.count_lines))
    assert '"line": 13' in alone
    for workers in (2, 3):
        assert both(run_check(programs, workers=workers, check=checks.count_lines)) == alone
    assert both(run_check(programs[::-1], workers=2, check=checks.count_lines, cache=cache)) == alone
    assert both(run_check(programs, workers=1, check=checks.must_not_run, cache=cache)) == alone
    mixed = run_check([*programs[20:], *programs[:20]], workers=2, check=checks.count_lines)
    assert [p.path for p in mixed.programs] == [t.path for t in programs]


@pytest.mark.parametrize(
    ("word", "said"),
    [
        (b"KILL", "SIGKILL"),
        (b"EXIT", "exit status 0"),
        (b"LEAVE", "SystemExit"),
        (b"RAISE", "RuntimeError at gate/checks.py"),
        (b"MEMORY", "MemoryError"),
        (b"DEEP", "RecursionError"),
    ],
)
def test_a_program_that_ends_its_worker_is_a_finding_and_the_others_are_checked(word: bytes, said: str) -> None:
    programs = tasks(b"X1", b"X2", word, b"X4", b"X5", word, b"X7")
    report = run_check(programs, workers=2, check=checks.faulty)
    assert [p.path for p in report.programs] == [t.path for t in programs]
    for i, program in enumerate(report.programs):
        rules = [f.rule for f in program.findings]
        if i in (2, 5):
            assert rules == ["internal-error"]
            assert said in program.findings[0].message
            judging = {name for name, rule in book().items() if rule.group != "housekeeping"}
            assert {n.rule for n in program.not_checked} == judging
        else:
            assert rules == ["plunge-feed"]
    assert exit_status(report, "never") == 2


def test_an_error_inside_the_check_is_told_without_workers_too() -> None:
    report = run_check(tasks(b"X1", b"RAISE", b"LEAVE"), workers=1, check=checks.faulty)
    assert [p.findings[0].rule for p in report.programs] == ["plunge-feed", "internal-error", "internal-error"]
    shown = text_report.render(report)
    assert "\x1b" not in shown
    assert "a bad day" in shown


def test_an_internal_error_is_never_kept(tmp_path: Path) -> None:
    cache = open_cache(tmp_path)
    run_check(tasks(b"RAISE"), check=checks.faulty, cache=cache)
    again = run_check(tasks(b"RAISE"), check=checks.count_lines, cache=cache)
    assert [f.rule for f in again.programs[0].findings] == []
    told = run_check(tasks(b"TOLD"), check=checks.faulty, cache=cache)
    assert [f.rule for f in told.programs[0].findings] == ["internal-error"]
    again = run_check(tasks(b"TOLD"), check=checks.count_lines, cache=cache)
    assert [f.rule for f in again.programs[0].findings] == []


def test_what_can_not_be_read_is_a_finding() -> None:
    def gone() -> bytes:
        raise FileNotFoundError(2, "No such file or directory", "x.ngc")

    report = run_check([Task("x.ngc", SETTING, read=gone), Task("y.ngc", SETTING)], check=checks.count_lines)
    assert [f.rule for p in report.programs for f in p.findings] == ["file-skipped"] * 2
    assert "No such file" in report.programs[0].findings[0].message
    assert exit_status(report) == 1
    quiet = Setting(checks=Checks(severity={"file-skipped": "off"}))
    assert skipped("x", "r", setting=quiet).findings[0].severity == "error"


def test_a_program_that_goes_away_between_two_reads_is_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("advisor.run.HOLD_LIMIT", 0)
    reads: list[int] = []

    def once() -> bytes:
        reads.append(1)
        if len(reads) > 1:
            raise OSError(5, "Input/output error")
        return b"X1"

    report = run_check([Task("x.ngc", SETTING, read=once)], check=checks.count_lines)
    assert [f.rule for f in report.programs[0].findings] == ["file-skipped"]


def test_a_program_that_changes_between_two_reads_is_kept_under_what_was_checked(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("advisor.run.HOLD_LIMIT", 0)
    cache = open_cache(tmp_path)
    texts = [b"X1\nX2", b"X1"]
    report = run_check([Task("x.ngc", SETTING, read=lambda: texts.pop(0))], check=checks.count_lines, cache=cache)
    assert len(report.programs[0].findings) == 1
    old = run_check([Task("x.ngc", SETTING, data=b"X1\nX2")], check=checks.count_lines, cache=cache)
    assert len(old.programs[0].findings) == 2
    kept = run_check([Task("x.ngc", SETTING, data=b"X1")], check=checks.must_not_run, cache=cache)
    assert len(kept.programs[0].findings) == 1


def test_exit_status() -> None:
    report = run_check(tasks(b"X1"), check=checks.count_lines)
    assert exit_status(report) == 0
    assert exit_status(report, "warning") == 1
    assert exit_status(report, "note") == 1
    assert exit_status(report, "never") == 0
    assert exit_status(Report(version="", programs=())) == 2


def test_shards_part_the_programs() -> None:
    paths = [f"shelf {i % 5}/part-{i}.ngc" for i in range(400)]
    parts = [{p for p in paths if in_shard(p, k, 8)} for k in range(1, 9)]
    assert set().union(*parts) == set(paths)
    assert sum(len(part) for part in parts) == len(paths)
    assert min(len(part) for part in parts) > 20
    assert parse_shard("2/8") == (2, 8)
    for bad in ("0/8", "9/8", "2", "a/b", "/", "-1/2", "1/0"):
        with pytest.raises(ValueError, match="for example 2/8"):
            parse_shard(bad)


# What a job in the background starts is deaf to Ctrl-C; the script takes hearing back.
INTERRUPTED = """
import signal, sys
from advisor.run import Task, run_check
from advisor.values import Setting
from tests.gate import checks
if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)
    tasks = [Task(f"{i}.ngc", Setting(), data=name.encode()) for i, name in enumerate(sys.argv[1:])]
    try:
        run_check(tasks, workers=2, check=checks.slow)
    except KeyboardInterrupt:
        print("interrupted")
        raise SystemExit(130)
"""


def _begun(marks: list[Path]) -> list[int]:
    end = time.monotonic() + 30
    while time.monotonic() < end:
        texts = [m.read_text() if m.exists() else "" for m in marks]
        if all(texts):
            return [int(t) for t in texts]
        time.sleep(0.01)
    raise AssertionError("the workers did not start")


def _gone(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    state = Path(f"/proc/{process}/stat")
    return state.exists() and state.read_text().rpartition(")")[2].split()[0] == "Z"


@pytest.mark.skipif(sys.platform == "win32", reason="sends POSIX signals")
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGKILL])
def test_no_worker_outlives_the_run(tmp_path: Path, sent: signal.Signals) -> None:
    """Ctrl-C (to the whole group, as a terminal sends it) ends the run without a word from the workers.

    Where the run is killed outright, a worker ends with the program it is at.
    """
    marks = [tmp_path / "a", tmp_path / "b"]
    seconds = 60 if sent == signal.SIGINT else 1
    root = Path(__file__).resolve().parents[2]
    script = tmp_path / "main.py"
    script.write_text(INTERRUPTED)
    started = subprocess.Popen(
        [sys.executable, str(script), *(f"{seconds} {mark}" for mark in marks)],
        env={**os.environ, "PYTHONPATH": str(root)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    workers = _begun(marks)
    if sent == signal.SIGINT:
        os.killpg(started.pid, signal.SIGINT)
        out, errors = started.communicate(timeout=30)
        assert (started.returncode, out, errors) == (130, "interrupted\n", "")
    else:
        started.kill()
        started.communicate(timeout=30)
    end = time.monotonic() + 15
    while not all(_gone(w) for w in workers) and time.monotonic() < end:
        time.sleep(0.02)
    assert all(_gone(w) for w in workers)


@pytest.mark.parametrize("method", ["fork", "spawn"])
def test_both_ways_of_starting_workers(monkeypatch: pytest.MonkeyPatch, method: str) -> None:
    """With compiled kernels or a second thread in this process, workers are started anew instead of copied."""
    import multiprocessing

    if method not in multiprocessing.get_all_start_methods():
        pytest.skip(f"{method} is not known here")
    monkeypatch.setattr("advisor.run._start_method", lambda: method)
    programs = tasks(b"X1", b"KILL", b"X3\nX4", b"RAISE")
    report = run_check(programs, workers=2, check=checks.faulty)
    assert [len(p.findings) for p in report.programs] == [1, 1, 2, 1]
    assert [p.findings[0].rule for p in report.programs] == [
        "plunge-feed",
        "internal-error",
        "plunge-feed",
        "internal-error",
    ]


def test_workers_are_not_copied_from_a_process_with_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    from advisor import run

    monkeypatch.delitem(sys.modules, "numba", raising=False)
    monkeypatch.setattr("threading.active_count", lambda: 1)
    assert run._start_method() == ("fork" if sys.platform.startswith("linux") else "spawn")
    monkeypatch.setattr("threading.active_count", lambda: 2)
    assert run._start_method() == "spawn"


def test_a_few_small_programs_are_checked_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Workers load their packages anew; for a program or two that takes longer than the check."""
    from advisor import run

    started: list[int] = []
    share = run._Work.share
    monkeypatch.setattr(run, "cores", lambda: 2)
    monkeypatch.setattr(run._Work, "share", lambda self, n, check: (started.append(n), share(self, n, check)))
    for programs, wanted in (
        ((b"X1", b"X2", b"X3"), []),
        ((b"X1", b"X2", b"X3", b"X4"), [2]),
        ((b"X1", b"X" * run.SMALL), [2]),
        ((b"X" * run.SMALL,), []),
    ):
        started.clear()
        assert len(run_check(tasks(*programs), check=checks.count_lines).programs) == len(programs)
        assert started == wanted
    with pytest.raises(ValueError, match="at least 1"):
        run_check(tasks(b"X"), workers=0, check=checks.count_lines)
