"""Jobs through the command line: each program finds the workpiece as the ones before it left it."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from advisor.cli import main
from tests.gate.programs import CLEAN, SHOP

Run = Callable[..., tuple[int, str, str]]

JOB = """
[[job]]
name = "thwart"
[[job.setup]]
programs = ["one.ngc", "two.ngc"]
[[job.setup]]
turn = "about-y"
programs = ["three.ngc"]
"""
ONE = CLEAN
# starts by a rapid down into the groove that one.ngc has cut 3 mm deep, and along it
TWO = CLEAN.replace(b"Z10\nG1 Z0 F1200\nG1 X60 Z-3 F1200\n", b"Z10\nG0 Z-2\nG1 Z-2.9 F1200\nG1 X60 Z-5 F1200\n")
# from the other side: a groove at X 30 to 60 lies over X 40 to 70 of the first side, 14 mm deep in 18, 4.5 below the top
THREE = CLEAN.replace(b"X60 Z-3", b"X60 Z-4.5")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A job of three programs in two set-ups; the working folder and the cache are the test's own."""
    made = tmp_path / "shed"
    made.mkdir()
    (made / "feedwright.toml").write_text(SHOP + JOB)
    for name, text in (("one", ONE), ("two", TWO), ("three", THREE)):
        (made / f"{name}.ngc").write_bytes(text)
    monkeypatch.chdir(made)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("COLUMNS", "100")
    return made


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str]) -> Run:
    """Run the command line here; status, stdout, stderr."""

    def ran(*arguments: str) -> tuple[int, str, str]:
        capfd.readouterr()
        status = main(list(arguments))
        sys.stdout.flush()
        out, err = capfd.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    return ran


def by_path(out: str) -> Mapping[str, Any]:
    """The programs of a JSON report by path."""
    return {program["path"]: program for program in json.loads(out)["programs"]}


def told(program: Mapping[str, Any], *severities: str) -> list[tuple[str, int]]:
    """Rule and line of each finding of some severities (error and warning when none are given)."""
    return [(f["rule"], f["line"]) for f in program["findings"] if f["severity"] in (severities or ("error", "warning"))]


def stock_rules(program: Mapping[str, Any], cause: str = "job") -> set[str]:
    """The rules that could not look because of what earlier programs left."""
    return {n["rule"] for n in program["not_checked"] if n["cause"] == cause}


def alone(folder: Path, name: str, run: Run) -> Mapping[str, Any]:
    """The report on a program where the shop file holds no job."""
    (folder / "feedwright.toml").write_text(SHOP)
    report: Mapping[str, Any] = by_path(run("check", name, "--output", "json", "--no-cache")[1])[name]
    (folder / "feedwright.toml").write_text(SHOP + JOB)
    return report


def test_a_rapid_through_what_an_earlier_program_cleared_is_no_crash(folder: Path, run: Run) -> None:
    assert ("rapid-into-stock", 10) in told(alone(folder, "two.ngc", run))
    status, out, err = run("check", ".", "--output", "json")
    assert (status, err) == (0, "")
    found = by_path(out)
    assert set(found) == {"one.ngc", "two.ngc", "three.ngc"}
    assert all(told(program, "error") == [] for program in found.values())
    assert all(not stock_rules(program) for program in found.values())
    (said,) = [text for text in found["two.ngc"]["assumptions"] if "in the job thwart" in text]
    assert said.startswith("This program comes after one.ngc in the job thwart: the stock is as one.ngc left it;")
    assert not any("job" in text for text in found["one.ngc"]["assumptions"])
    assert any("the stock is as two.ngc left it, turned over about Y" in text for text in found["three.ngc"]["assumptions"])
    assert found["three.ngc"]["setup"]["job"] == {
        "name": "thwart",
        "program": 3,
        "programs": 3,
        "setup": 2,
        "setups": 2,
        "turn": "about-y",
        "after": ["one.ngc", "two.ngc"],
        "stock_left_by": "two.ngc",
    }


def test_what_is_removed_is_what_still_stood(folder: Path, run: Run) -> None:
    """Volumes by hand: a groove 6 wide from X 30 to 60, its ends round; the second takes only what is deeper."""
    found = by_path(run("check", ".", "--output", "json")[1])
    plan = 30 * 6 + 3.141593 * 9
    assert found["one.ngc"]["summary"]["removed_cm3"] == pytest.approx(plan * 3 / 1000, rel=0.01)
    assert found["two.ngc"]["summary"]["removed_cm3"] == pytest.approx(plan * 2 / 1000, rel=0.01)
    assert found["three.ngc"]["summary"]["removed_cm3"] == pytest.approx(plan * 4.5 / 1000, rel=0.01)
    whole = alone(folder, "two.ngc", run)["summary"]["removed_cm3"]
    assert whole == pytest.approx(plan * 5 / 1000, rel=0.15)  # less what its rapid takes


def test_the_second_side_meets_the_first(folder: Path, run: Run) -> None:
    """Program zero of the second side at another corner: its groove lies over that of the first side, and opens it."""
    job = JOB.replace('turn = "about-y"', 'turn = "about-y"\nzero = ["100 mm", "0 mm", "18 mm"]')
    (folder / "feedwright.toml").write_text(SHOP.replace('"0.5 mm"', '"20 mm"') + job)
    # X -60 to -30 from the zero at X 100 is X 40 to 70 of the piece as it lies: X 30 to 60 of the first side
    three = CLEAN.replace(b"X30 Y30", b"X-60 Y30").replace(
        b"G1 X60 Z-3 F1200\nG1 X30 F3600\nG1 X60", b"G1 X-30 Z-16 F1200\nG1 X-60\nG1 X-30"
    )
    (folder / "three.ngc").write_bytes(three)
    plan = 30 * 6 + 3.141593 * 9
    found = by_path(run("check", ".", "--output", "json", "--no-cache")[1])
    assert found["three.ngc"]["summary"]["removed_cm3"] == pytest.approx(plan * (18 - 5) / 1000, rel=0.01)
    # about X the grooves lie apart; not turned at all, 20 mm of them overlap on the same side
    for line, volume in (('turn = "about-x"\n', plan * 16), ("", plan * 16 - (20 * 6 + 3.141593 * 9) * 5)):
        (folder / "feedwright.toml").write_text(SHOP.replace('"0.5 mm"', '"20 mm"') + job.replace('turn = "about-y"\n', line))
        found = by_path(run("check", "three.ngc", "--output", "json", "--no-cache")[1])
        assert found["three.ngc"]["summary"]["removed_cm3"] == pytest.approx(volume / 1000, rel=0.01)


def test_a_program_alone_says_the_same_as_in_its_folder(folder: Path, run: Run) -> None:
    whole = by_path(run("check", ".", "--output", "json", "--no-cache")[1])
    for name, program in whole.items():
        for options in (("--no-cache",), (), ()):
            status, out, _ = run("check", name, "--output", "json", *options)
            assert status == 0
            assert by_path(out) == {name: program}
    text = (folder / "two.ngc").read_bytes()
    (folder / "two.ngc").write_bytes(b"(something else)\n" + text)
    reader, writer = os.pipe()
    os.write(writer, text)
    os.close(writer)
    command = [sys.executable, "-m", "advisor.cli", "check", "-", "--stdin-filename", "two.ngc", "--output", "json"]
    import subprocess

    root = str(Path(__file__).resolve().parents[2])
    done = subprocess.run(
        command, stdin=reader, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": root}, check=False
    )
    os.close(reader)
    assert by_path(done.stdout) == {"two.ngc": whole["two.ngc"]}


def test_any_number_of_workers_gives_the_same_bytes(folder: Path, run: Run) -> None:
    """Three jobs and loose programs; from the cache too, wholly and in parts."""
    jobs = ""
    for k in range(3):
        jobs += f'[[job]]\nname = "j{k}"\n[[job.setup]]\nprograms = ["a{k}.ngc", "b{k}.ngc"]\n'
        jobs += f'[[job.setup]]\nturn = "about-x"\nprograms = ["c{k}.ngc"]\n'
        for name, text in (("a", ONE), ("b", TWO), ("c", THREE)):
            (folder / f"{name}{k}.ngc").write_bytes(text.replace(b"Y30", b"Y%d" % (30 + 10 * k)))
        (folder / f"loose{k}.ngc").write_bytes(TWO + b"(loose %d)\n" % k)
    (folder / "feedwright.toml").write_text(SHOP + JOB + jobs)
    for form in ("json", "text", "sarif"):
        one = run("check", ".", "--output", form, "--no-cache", "--jobs", "1")
        assert one[2] == ""
        assert run("check", ".", "--output", form, "--no-cache", "--jobs", "2") == one
        assert run("check", ".", "--output", form, "--no-cache", "--jobs", "3") == one
        assert run("check", ".", "--output", form, "--jobs", "2") == one
        assert run("check", ".", "--output", form, "--jobs", "2") == one
        entries = sorted(p for p in (folder.parent / "cache").rglob("*") if p.is_file())
        assert len(entries) == 15
        for entry in entries[::2]:
            entry.unlink()
        assert run("check", ".", "--output", form, "--jobs", "2") == one
    whole = json.loads(run("check", ".", "--output", "json")[1])["programs"]
    parts = []
    for k in (1, 2, 3):
        parts += json.loads(run("check", ".", "--shard", f"{k}/3", "--output", "json", "--no-cache")[1])["programs"]
    assert sorted(parts, key=lambda p: p["path"]) == whole


def test_workers_started_anew_give_the_same_bytes(folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    (folder / "loose.ngc").write_bytes(TWO)
    one = run("check", ".", "--output", "json", "--no-cache", "--jobs", "1")
    monkeypatch.setattr("advisor.run._start_method", lambda: "spawn")
    assert run("check", ".", "--output", "json", "--no-cache", "--jobs", "2") == one


def _worked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The paths of the programs that are really checked from here on, in this process."""
    import advisor.check
    import advisor.job

    seen: list[str] = []
    real = advisor.check.check_with_evidence

    def noted(data: bytes, *, path: str, **more: Any) -> Any:
        seen.append(path)
        return real(data, path=path, **more)

    monkeypatch.setattr(advisor.check, "check_with_evidence", noted)
    monkeypatch.setattr(advisor.job, "check_with_evidence", noted)
    return seen


def test_a_kept_report_holds_only_for_the_programs_before_it(folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = _worked(monkeypatch)

    def checked() -> list[str]:
        seen.clear()
        assert run("check", ".", "--jobs", "1")[2] == ""
        return list(seen)

    assert checked() == ["one.ngc", "two.ngc", "three.ngc"]
    assert checked() == []
    (folder / "three.ngc").write_bytes(THREE + b"(a word at the end)\n")
    assert checked() == ["three.ngc"]
    (folder / "two.ngc").write_bytes(TWO + b"(a word at the end)\n")
    assert checked() == ["two.ngc", "three.ngc"]
    (folder / "one.ngc").write_bytes(ONE.replace(b"Z-3", b"Z-2"))
    assert checked() == ["one.ngc", "two.ngc", "three.ngc"]
    assert ("rapid-into-stock", 10) not in told(by_path(run("check", ".", "--output", "json")[1])["two.ngc"])
    (folder / "one.ngc").write_bytes(ONE.replace(b"Z-3", b"Z-1"))
    assert ("rapid-into-stock", 10) in told(by_path(run("check", "two.ngc", "--output", "json")[1])["two.ngc"])
    assert checked() == ["one.ngc", "three.ngc"]
    # a setting of the first program alone: its own stock is taken to be thicker at the measured end
    shop = SHOP + '[[program]]\nfiles = ["one.ngc"]\nstock = { thickness = ["17.9 mm", "18.1 mm"] }\n' + JOB
    (folder / "feedwright.toml").write_text(shop)
    assert set(checked()) == {"one.ngc", "two.ngc", "three.ngc"}
    (folder / "feedwright.toml").write_text(shop.replace("about-y", "about-x"))
    assert checked() == ["three.ngc"]
    (folder / "one.ngc").unlink()
    seen.clear()
    run("check", ".", "--jobs", "1")
    assert seen == ["two.ngc", "three.ngc"]


# --- what can't be followed ------------------------------------------------------------------------------------------


def test_where_an_earlier_program_is_missing_the_stock_is_not_known(folder: Path, run: Run) -> None:
    (folder / "one.ngc").unlink()
    status, out, err = run("check", ".", "--output", "json")
    assert (status, err) == (1, "")
    found = by_path(out)
    (finding,) = found["feedwright.toml"]["findings"]
    line = (SHOP + JOB).splitlines().index("[[job.setup]]") + 1
    assert (finding["rule"], finding["severity"], finding["line"]) == ("file-skipped", "error", line)
    assert "The job thwart names one.ngc, which can't be read: there is no such file or folder" in finding["message"]
    for name in ("two.ngc", "three.ngc"):
        assert {"rapid-into-stock", "air-cutting", "part-freed", "stepdown-over-limit"} <= stock_rules(found[name])
        assert "rapid-into-stock" not in {rule for rule, _ in told(found[name])}
        reasons = {n["reason"] for n in found[name]["not_checked"] if n["cause"] == "job"}
        assert reasons == {
            "what stands when this program begins is not known: one.ngc could not be read (there is no such file or "
            "folder), which comes before it in the job thwart"
        }
        assert found[name]["setup"]["job"]["stock_left_by"] is None
        assert found[name]["summary"]["removed_cm3"] is None
        below = {n["rule"] for n in found[name]["not_checked"]}
        assert "below-spoilboard" not in below  # what needs only the declared stock is looked at
    assert run("check", ".", "--output", "json", "--jobs", "2", "--no-cache") == (status, out, err)
    status, text, _ = run("check", "two.ngc")
    assert status == 1
    assert "mend or give the programs before it" in " ".join(text.split())
    # a later one that is missing matters to nobody before it
    (folder / "one.ngc").write_bytes(ONE)
    (folder / "three.ngc").unlink()
    status, out, _ = run("check", ".", "--output", "json")
    assert status == 0
    assert set(by_path(out)) == {"one.ngc", "two.ngc"}
    assert "the job thwart names what was not checked: three.ngc" in " ".join(run("check", ".")[1].split())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"\x00\x01\x02", "one.ngc is not a program"),
        (b"only words here\n", "one.ngc is not a program"),
    ],
)
def test_where_an_earlier_file_is_no_program(folder: Path, run: Run, text: bytes, said: str) -> None:
    (folder / "one.ngc").write_bytes(text)
    found = by_path(run("check", ".", "--output", "json")[1])
    assert told(found["one.ngc"], "error")[0][0] == "not-a-program"
    assert all(said in n["reason"] for n in found["two.ngc"]["not_checked"] if n["cause"] == "job")
    assert "rapid-into-stock" in stock_rules(found["two.ngc"])
    assert by_path(run("check", "two.ngc", "--output", "json", "--no-cache")[1])["two.ngc"] == found["two.ngc"]
    assert "what the programs before it left is NOT KNOWN" in " ".join(run("check", "two.ngc")[1].split())


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ((b"G1 X30 F3600\n", b"G1 X30 F3600\nT7 M6\nG1 X40\nT1 M6\n"), "the cutter of T7 is not known"),
        (
            (b"G1 X30 F3600\n", b"G1 X30 F3600\nG1 X[#1 Y40\nX50 Y50\nG53 G0 Z0\nG0 X30 Y30\n"),
            "one.ngc could not be followed at",
        ),
    ],
)
def test_where_an_earlier_program_can_not_be_followed_in_part(
    folder: Path, run: Run, change: tuple[bytes, bytes], said: str
) -> None:
    """Its model may hold more than stands: later rules look, but what they did not find is not told as looked at."""
    (folder / "one.ngc").write_bytes(ONE.replace(*change))
    found = by_path(run("check", ".", "--output", "json")[1])
    for name in ("two.ngc", "three.ngc"):
        reasons = {n["reason"] for n in found[name]["not_checked"] if n["cause"] == "job"}
        assert len(reasons) == 1 and said in reasons.pop()
        assert {"rapid-into-stock", "air-cutting", "part-freed"} <= stock_rules(found[name])
        assert found[name]["setup"]["job"]["stock_left_by"] is not None
    (folder / "feedwright.toml").write_text(SHOP + '[checks]\nrequire = ["rapid-into-stock"]\n' + JOB)
    found = by_path(run("check", "two.ngc", "--output", "json")[1])
    assert ("required-not-checked", 1) in told(found["two.ngc"], "error")


def test_an_earlier_file_that_is_skipped_is_told_once(folder: Path, run: Run) -> None:
    (folder / "one.ngc").unlink()
    os.mkfifo(folder / "one.ngc")
    found = by_path(run("check", ".", "--output", "json")[1])
    assert set(found) == {"one.ngc", "two.ngc", "three.ngc"}
    assert told(found["one.ngc"], "error") == [("file-skipped", 1)]
    assert "rapid-into-stock" in stock_rules(found["two.ngc"]) & stock_rules(found["three.ngc"])
    found = by_path(run("check", "three.ngc", "--output", "json")[1])
    assert told(found["feedwright.toml"], "error")[0][0] == "file-skipped"


def test_programs_too_large_to_be_held_are_read_again(folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    expected = run("check", ".", "--output", "json", "--no-cache")
    monkeypatch.setattr("advisor.run.HOLD_LIMIT", 0)
    for options in (("--jobs", "1", "--no-cache"), ("--jobs", "2", "--no-cache"), ("--jobs", "2"), ("--jobs", "1")):
        assert run("check", ".", "--output", "json", *options) == expected


def test_an_earlier_program_that_changes_between_two_reads(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The report is kept under the bytes it was made from, and what goes away meanwhile is a skipped file."""
    from advisor.cache import open_cache
    from advisor.run import JobRun, JobStep, Task, run_check
    from advisor.setting import Flags, setting_for
    from advisor.shopfile import parse

    monkeypatch.setattr("advisor.run.HOLD_LIMIT", 0)
    shop = parse((SHOP + JOB).encode(), tmp_path / "feedwright.toml", shown="feedwright.toml")
    settings = [setting_for(shop, tmp_path / f"{name}.ngc", Flags()) for name in ("one", "two")]
    shallow = ONE.replace(b"Z-3", b"Z-1")

    def tasks(*texts: bytes) -> list[Task]:
        given = iter(texts)
        last = [texts[-1]]

        def read() -> bytes:
            last[0] = next(given, last[0])
            return last[0]

        job = JobRun((JobStep(settings[0], read), JobStep(settings[1], lambda: TWO)))
        return [Task("two.ngc", settings[1], job=job, number=1)]

    cache = open_cache(tmp_path / "cache")
    crashing = run_check(tasks(ONE, shallow), cache=cache, workers=1).programs[0]
    assert "rapid-into-stock" in {f.rule for f in crashing.findings}
    clean = run_check(tasks(ONE), cache=cache, workers=1).programs[0]
    assert "rapid-into-stock" not in {f.rule for f in clean.findings}
    assert run_check(tasks(shallow), cache=cache, workers=1).programs[0] == crashing
    reads: list[int] = []

    def once() -> bytes:
        reads.append(1)
        if len(reads) > 2:
            raise OSError(5, "Input/output error")
        return TWO + b"(new)\n"

    job = JobRun((JobStep(settings[0], lambda: ONE), JobStep(settings[1], once)))
    report = run_check([Task("two.ngc", settings[1], job=job, number=1)], cache=cache, workers=1)
    assert [f.rule for f in report.programs[0].findings] == ["file-skipped"]


def test_a_crash_in_an_earlier_program_is_told_to_the_rules_about_what_is_left(folder: Path, run: Run) -> None:
    (folder / "one.ngc").write_bytes(ONE.replace(b"G0 Z10\nG53 G0 Z0\nM5", b"G0 X80\nG0 Z10\nG53 G0 Z0\nM5"))
    found = by_path(run("check", ".", "--output", "json")[1])
    assert "rapid-into-stock" in {rule for rule, _ in told(found["one.ngc"])}
    assert stock_rules(found["two.ngc"], "crash") == stock_rules(found["three.ngc"], "crash") == {"thin-floor", "thin-wall"}


def test_an_internal_error_in_an_earlier_program_is_never_silent_and_never_kept(
    folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    import advisor.stock as stock

    real = stock.remove

    def failing(placed: Any, *arguments: Any, **more: Any) -> Any:
        if float(placed.end[-3, 2]) == 18 + 12.5:  # only one.ngc ends there
            raise RuntimeError("a bad day")
        return real(placed, *arguments, **more)

    monkeypatch.setattr(stock, "remove", failing)
    (folder / "one.ngc").write_bytes(ONE.replace(b"G0 Z10\nG53", b"G0 Z10\nG0 Z12.5\nG0 X61\nG53"))
    for options in (("two.ngc",), (".",), ("two.ngc",)):
        status, out, _ = run("check", *options, "--output", "json", "--jobs", "1")
        assert status == 2
        two = by_path(out)["two.ngc"]
        (error,) = [f for f in two["findings"] if f["rule"] == "internal-error"]
        assert "following the programs before this one in its job: one.ngc" in error["message"]
        assert "rapid-into-stock" in stock_rules(two)
    monkeypatch.setattr(stock, "remove", real)
    assert run("check", ".", "--output", "json")[0] == 0


def test_a_worker_that_dies_takes_only_its_job_with_it() -> None:
    from advisor.cache import no_cache
    from advisor.run import JobRun, JobStep, Task, run_check
    from advisor.values import Setting
    from tests.gate import checks

    setting = Setting()
    texts = [b"X1", b"KILL", b"X3\nX4"]
    job = JobRun(tuple(JobStep(setting, lambda text=text: text) for text in texts))  # type: ignore[misc]
    tasks = [Task(f"j{k}.ngc", setting, job=job, number=k) for k in range(3)]
    tasks += [Task(f"p{k}.ngc", setting, data=b"X%d" % k) for k in range(3)]
    report = run_check(tasks, workers=2, check=checks.faulty, cache=no_cache())
    found = {p.path: p.findings[0] for p in report.programs}
    assert found["j0.ngc"].rule == "plunge-feed"
    assert "SIGKILL" in found["j1.ngc"].message
    assert "at j1.ngc, which comes before it in its job, its process ended unexpectedly" in found["j2.ngc"].message
    assert {found[f"p{k}.ngc"].rule for k in range(3)} == {"plunge-feed"}


# --- mistakes --------------------------------------------------------------------------------------------------------


def test_mistakes_of_jobs_are_told_with_their_line(folder: Path, run: Run) -> None:
    file = folder / "feedwright.toml"
    shop = SHOP + JOB + '[[program]]\nfiles = ["two.ngc"]\nstock = { size = ["100 mm", "90 mm", "18 mm"] }\n'
    file.write_text(shop)
    line = shop.splitlines().index("[[job.setup]]") + 1
    status, out, err = run("check", ".")
    assert (status, out) == (2, "")
    assert f"feedwright.toml:{line}: the stock of two.ngc in the job thwart is 100 x 90 mm in X and Y, that of one.ngc" in err
    file.write_text(SHOP + JOB + '[[job]]\nname = "again"\n[[job.setup]]\nprograms = ["two.ngc"]\n')
    status, out, err = run("check", ".")
    assert (status, out) == (2, "")
    assert 'job[2].setup[1].programs[1]: the program "two.ngc" is given twice' in err
    file.write_text(SHOP + '[[job]]\nname = "none"\n')
    status, out, err = run("check", ".")
    assert (status, out) == (2, "")
    assert "job[1].setup: this key is missing. Add [[job.setup]]" in err


def test_a_program_of_a_job_with_a_shop_file_of_its_own(folder: Path, run: Run) -> None:
    (folder / "side").mkdir()
    (folder / "one.ngc").rename(folder / "side" / "one.ngc")
    (folder / "feedwright.toml").write_text(SHOP + JOB.replace('"one.ngc"', '"side/one.ngc"'))
    assert run("check", ".")[0] == 0
    own = folder / "side" / "feedwright.toml"
    own.write_text("[checks]\nno-program-end = 'off'\n")
    status, _, err = run("check", ".")
    assert status == 2
    assert "names side/one.ngc, whose shop file is side/feedwright.toml, which does not know the job" in err
    own.write_text("extend = '../feedwright.toml'\n[checks]\nno-program-end = 'off'\n")
    status, out, _ = run("check", ".", "--output", "json")
    assert status == 0
    assert any("the stock is as side/one.ngc left it" in text for text in by_path(out)["two.ngc"]["assumptions"])


def test_stock_that_is_only_assumed_is_not_carried(folder: Path, run: Run) -> None:
    lines = [line for line in (SHOP + JOB).splitlines() if not line.startswith(("size =", "zero ="))]
    (folder / "feedwright.toml").write_text("\n".join(lines))
    found = by_path(run("check", ".", "--output", "json", "--assume-stock")[1])
    assert any("the stock is only assumed, so what they cut away is not counted" in t for t in found["two.ngc"]["assumptions"])
    assert not stock_rules(found["two.ngc"])
    found = by_path(run("check", ".", "--output", "json")[1])
    assert "rapid-into-stock" in stock_rules(found["two.ngc"], "stock")
    assert not stock_rules(found["two.ngc"])


def test_show_config_tells_the_place_in_the_job(folder: Path, run: Run) -> None:
    rows = [
        line.split(None, 1) for line in run("check", "--show-config", "three.ngc")[1].splitlines() if line.startswith("job")
    ]
    values = {key: rest.rsplit("feedwright.toml", 1)[0].strip() for key, rest in rows}
    assert values == {
        "job": "thwart",
        "job.program": "3 of 3, after one.ngc, two.ngc",
        "job.setup": "2 of 2, turned about-y",
    }
    assert "job" not in run("check", "--show-config", "other.ngc")[1].replace("no job", "")


def test_results_that_can_not_be_kept_are_told_on_stderr(folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    expected = run("check", ".", "--no-cache")
    assert expected[2] == ""
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder / "one.ngc"))
    status, out, err = run("check", ".")
    assert (status, out) == expected[:2]
    assert "feedwright: no earlier results are used and none are kept: the cache folder can't be used" in err
    assert run("check", ".", "--no-cache")[2] == ""
    assert "no earlier results" in run("baseline", "create", ".", "--file", "../b.jsonl")[2]
    import errno
    import tempfile

    monkeypatch.setenv("XDG_CACHE_HOME", str(folder.parent / "full"))

    def full(*_: object, **__: object) -> tuple[int, str]:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(tempfile, "mkstemp", full)
    status, out, err = run("check", ".")
    assert (status, out) == expected[:2]
    assert err.count("\n") == 1
    assert "results could not be kept for the next run in" in err and "No space left on device" in err
