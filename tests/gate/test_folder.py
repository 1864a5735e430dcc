"""The gate over a folder, through the command line: from adopting it to the one fault that an edit adds."""

from __future__ import annotations

import errno
import json
import os
import re
import stat
import subprocess
import sys
import tempfile
import threading
import time
import xml.etree.ElementTree as ET
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from advisor.cli import main
from advisor.report import MACHINE_FORMATS
from tests.gate.programs import CLEAN, CRASHING, NO_FEED, SHOP

ROOT = Path(__file__).resolve().parents[2]
Run = Callable[..., tuple[int, str, str]]
FORMATS = ("text", *MACHINE_FORMATS, "html")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of three programs and a shop file; the working folder and the cache are the test's own."""
    made = tmp_path / "shed"
    (made / "pads").mkdir(parents=True)
    (made / "feedwright.toml").write_text(SHOP)
    (made / "groove.ngc").write_bytes(CLEAN)
    (made / "pads" / "pad.nc").write_bytes(CLEAN.replace(b"X60", b"X50"))
    (made / "old.tap").write_bytes(NO_FEED)
    monkeypatch.chdir(made)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("COLUMNS", "100")
    for name in ("NO_COLOR", "FORCE_COLOR"):
        monkeypatch.delenv(name, raising=False)
    return made


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str]) -> Run:
    """Run the command line here; status, stdout, stderr."""

    def ran(*arguments: str) -> tuple[int, str, str]:
        capfd.readouterr()
        status = main(list(arguments))
        sys.stdout.flush()
        out, err = capfd.readouterr()
        return status, out, err

    return ran


def rules(out: str) -> dict[str, list[str]]:
    """Rules of severity error by path, from the JSON report."""
    made = json.loads(out)
    return {p["path"]: [f["rule"] for f in p["findings"] if f["severity"] == "error"] for p in made["programs"]}


def test_from_adopting_the_gate_to_the_one_fault_an_edit_adds(folder: Path, run: Run) -> None:
    status, out, _ = run("check", ".", "--output", "json")
    assert status == 1
    assert rules(out) == {"groove.ngc": [], "old.tap": ["no-feed"], "pads/pad.nc": []}

    status, out, err = run("baseline", "create", ".")
    assert status == 1, err
    assert "errors are only taken with --include-errors and a reason" in out
    (folder / "feedwright-baseline.jsonl").unlink()
    status, _, err = run("baseline", "create", ".", "--include-errors", "cut by hand feed for years")
    assert status == 0, err
    held = ("check", ".", "--baseline", "feedwright-baseline.jsonl")
    status, out, _ = run(*held)
    assert status == 0
    assert "no-feed" not in out

    (folder / "pads" / "pad.nc").write_bytes(CRASHING.replace(b"X60", b"X50"))
    formats = [f for f in FORMATS if f != "text"]
    status, out, err = run(*held, "--output", "text", *(w for f in formats for w in ("--output", f"{f}:out.{f}")))
    assert status == 1, err
    assert "1 CRASH" in out
    assert out.count("CRASH rapid-into-stock") == 1
    assert "ERROR" not in out
    assert rules((folder / "out.json").read_text())["pads/pad.nc"] == ["rapid-into-stock"]
    (crash,) = [r for r in json.loads((folder / "out.sarif").read_text())["runs"][0]["results"] if r["level"] == "error"]
    assert crash["ruleId"] == "rapid-into-stock"
    suite = ET.fromstring((folder / "out.junit").read_text())
    assert [c.get("name") for c in suite.iter("testcase") if c.find("failure") is not None] == ["pads/pad.nc"]
    errors = [line for line in (folder / "out.github").read_text().splitlines() if line.startswith("::error")]
    assert len(errors) == 1 and "file=pads/pad.nc,line=14," in errors[0]
    issues = json.loads((folder / "out.gitlab").read_text())
    assert [i["check_name"] for i in issues if i["severity"] in ("blocker", "critical")] == ["rapid-into-stock"]
    assert all("rapid-into-stock" in (folder / f"out.{f}").read_text() for f in formats)


def test_the_second_run_says_the_same_and_so_does_any_number_of_workers(folder: Path, run: Run) -> None:
    first = run("check", ".", "--no-cache")
    for more in (("--jobs", "2"), (), (), ("--jobs", "1", "--no-cache")):
        assert run("check", ".", *more) == first


def test_shards_together_are_the_whole(folder: Path, run: Run) -> None:
    for i in range(8):
        (folder / f"p{i}.ngc").write_bytes(CLEAN)
    whole = json.loads(run("check", ".", "--output", "json")[1])["programs"]
    parts = []
    for k in (1, 2, 3):
        status, out, _ = run("check", ".", "--shard", f"{k}/3", "--output", "json")
        assert status in (0, 1)
        parts += json.loads(out)["programs"]
    assert sorted(parts, key=lambda p: p["path"]) == whole


# --- faults ----------------------------------------------------------------------------------------------------------


def test_pipes_devices_and_unreadable_files_are_findings_and_hold_nothing_up(folder: Path, run: Run) -> None:
    os.mkfifo(folder / "pipe.nc")
    (folder / "null.nc").symlink_to("/dev/null")
    (folder / "loop.nc").symlink_to("loop.nc")
    (folder / "gone.nc").symlink_to("nowhere")
    expected = {"pipe.nc": "a pipe", "null.nc": "out of the folder", "loop.nc": "", "gone.nc": ""}
    try:
        os.mknod(folder / "device.nc", stat.S_IFCHR | 0o600, os.makedev(1, 5))
        expected["device.nc"] = "a device"
    except PermissionError:
        pass
    start = time.monotonic()
    status, out, _ = run("check", ".", "--output", "json")
    assert time.monotonic() - start < 30
    assert status == 1
    told = {p["path"]: p for p in json.loads(out)["programs"]}
    assert set(told) == {"groove.ngc", "old.tap", "pads/pad.nc", *expected}
    for name, said in expected.items():
        (finding,) = told[name]["findings"]
        assert finding["rule"] == "file-skipped"
        assert said in finding["message"]
        assert told[name]["not_checked"]


def test_a_named_pipe_or_device_is_wrong_use(folder: Path, run: Run) -> None:
    os.mkfifo(folder / "pipe.nc")
    for name in ("pipe.nc", "/dev/zero", "nowhere.nc", "bad\0name"):
        status, out, err = run("check", name)
        assert (status, out) == (2, "")
        assert "can't be read" in err
        assert "Traceback" not in err


NAMES = [
    b"line\nend.nc",
    b"\xff\xfe raw.nc",
    b"::error::x.nc",
    b"esc\x1b[31m.nc",
    b"a%0Ab,c.nc",
    b"-dash.nc",
    b"\xe2\x80\xae.nc",
]


def test_names_that_would_act_are_shown_harmless_in_all_formats(folder: Path, run: Run) -> None:
    for name in NAMES:
        Path(os.fsdecode(os.fsencode(folder) + b"/" + name)).write_bytes(NO_FEED)
    outputs = [word for f in FORMATS for word in ("--output", f"{f}:../out.{f}")]
    status, _, err = run("check", ".", *outputs)
    assert status == 1, err
    out = {f: (folder.parent / f"out.{f}").read_bytes().decode("utf-8") for f in FORMATS}
    for text in out.values():
        assert "\x1b" not in text
        assert "\u202e" not in text
    assert len(json.loads(out["json"])["programs"]) == 3 + len(NAMES)
    assert len(list(ET.fromstring(out["junit"]).iter("testcase"))) == 3 + len(NAMES)
    uris = {r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for r in _results(out["sarif"])}
    assert {"line%0Aend.nc", "%FF%FE%20raw.nc", "esc%1B%5B31m.nc"} <= uris
    assert not any(line.lstrip().startswith("::") for line in out["text"].splitlines())
    # and again from the cache, to the screen
    for form in FORMATS:
        status, shown, _ = run("check", ".", "--output", form)
        assert status == 1
        assert "\x1b" not in shown


def _results(text: str) -> list[dict[str, list[dict[str, dict[str, dict[str, str]]]]]]:
    results: list[dict[str, list[dict[str, dict[str, dict[str, str]]]]]] = json.loads(text)["runs"][0]["results"]
    return results


def test_a_full_disk_leaves_the_old_report_whole(folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run("check", "groove.ngc", "--output", "json:report.json")[0] == 0
    before = (folder / "report.json").read_bytes()

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    status, _, err = run("check", "old.tap", "--output", "json:report.json")
    assert status == 2
    assert "report.json can't be written: the disk is full; what stood there is unchanged" in err
    assert (folder / "report.json").read_bytes() == before
    assert sorted(p.name for p in folder.iterdir()) == ["feedwright.toml", "groove.ngc", "old.tap", "pads", "report.json"]


def test_a_full_device_is_told(folder: Path, run: Run) -> None:
    status, _, err = run("check", "groove.ngc", "--output", "json:/dev/full")
    assert status == 2
    assert "the disk is full" in err


def test_stdout_that_is_full_or_closed_is_not_a_green_result(folder: Path) -> None:
    command = [sys.executable, "-m", "advisor.cli", "check", "groove.ngc"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, env=environment, check=False)
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr
    assert done.stderr


def test_a_folder_that_can_only_be_read_is_checked(folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing can be made anywhere, as on a disk that can only be read (root may write where others may not)."""

    def refused(*_: object, **__: object) -> tuple[int, str]:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr(tempfile, "mkstemp", refused)
    monkeypatch.setattr(os, "mkdir", refused)
    expected = run("check", ".", "--output", "json", "--no-cache")
    assert expected[0] == 1
    status, out, err = run("check", ".", "--output", "json")
    assert (status, out) == expected[:2]
    assert "none are kept: the cache folder can't be used: Read-only file system" in err
    assert err.count("\n") == 1
    status, _, err = run("check", "groove.ngc", "--output", "json:report.json")
    assert status == 2
    assert "report.json can't be written: the disk can only be read" in err
    status, _, err = run("baseline", "create", ".")
    assert status == 2
    assert "the disk can only be read" in err
    assert sorted(p.name for p in folder.iterdir()) == ["feedwright.toml", "groove.ngc", "old.tap", "pads"]
    assert not (folder.parent / "cache").exists()


def test_a_program_that_changes_while_it_is_read_is_never_judged_by_halves(folder: Path, run: Run) -> None:
    """One of the two texts, or the finding that it was not checked; nothing in between."""
    place = folder / "groove.ngc"
    texts = [CLEAN + b"(x)\n" * 20_000, NO_FEED + b"(y)\n" * 30_000]
    end = threading.Event()

    def write() -> None:
        i = 0
        while not end.is_set():
            place.write_bytes(texts[i % 2])
            i += 1

    writer = threading.Thread(target=write)
    writer.start()
    seen = set()
    try:
        for _ in range(6):
            status, out, err = run("check", ".", "--output", "json", "--no-cache")
            assert status in (0, 1), err
            seen.add(tuple(rules(out)["groove.ngc"]))
    finally:
        end.set()
        writer.join()
    assert seen <= {(), ("no-feed",), ("file-skipped",), ("not-a-program",)}


def test_no_program_is_never_green(folder: Path, run: Run) -> None:
    (folder / "empty").mkdir()
    for arguments in (("check", "empty"), ("check",)):
        status, out, err = run(*arguments)
        assert (status, out) == (2, "")
        assert err


def test_two_runs_at_once_on_one_cache(folder: Path, run: Run) -> None:
    for i in range(10):
        (folder / f"p{i}.ngc").write_bytes(CLEAN.replace(b"X60", b"X%d" % (40 + i)))
    expected = run("check", ".", "--output", "json", "--no-cache")[1]
    runs = _start(["check", ".", "--output", "json"], folder, 2)
    for one in runs:
        out, err = one.communicate(timeout=120)
        assert err == ""
        assert out == expected


def _start(arguments: Sequence[str], folder: Path, count: int) -> list[subprocess.Popen[str]]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return [
        subprocess.Popen(
            [sys.executable, "-m", "advisor.cli", *arguments],
            cwd=folder,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(count)
    ]


def test_a_cache_cut_off_in_the_middle_costs_only_time(folder: Path, run: Run) -> None:
    first = run("check", ".")
    entries = [p for p in (folder.parent / "cache").rglob("*") if p.is_file()]
    assert len(entries) == 3
    for entry in entries:
        entry.write_bytes(entry.read_bytes()[: entry.stat().st_size // 2])
    assert run("check", ".") == first


# --- ready-made for CI -----------------------------------------------------------------------------------------------

SNIPPETS = Path(__file__).parent / "snippets"


def commands(text: str) -> list[str]:
    """The commands of ours that a snippet runs."""
    lines = [line.strip().removeprefix("- ").removeprefix("run: ") for line in text.splitlines()]
    return [line for line in lines if line.startswith("feedwright ")]


def _by_shell(command: str, folder: Path, scratch: Path) -> subprocess.CompletedProcess[str]:
    """A command as the machine that runs a job would run it."""
    shim = scratch / "bin" / "feedwright"
    shim.parent.mkdir(exist_ok=True)
    shim.write_text(f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec "{sys.executable}" -m advisor.cli "$@"\n')
    shim.chmod(0o755)
    environment = {**os.environ, "PATH": f"{shim.parent}:{os.environ['PATH']}"}
    environment |= {"CI_NODE_INDEX": "1", "CI_NODE_TOTAL": "1"}
    shell = ["bash", "-e", "-o", "pipefail", "-c", command]
    return subprocess.run(shell, cwd=folder, env=environment, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("name", ["github-workflow.yml", "gitlab-job.yml"])
def test_the_ready_made_jobs_run_as_written(folder: Path, name: str, tmp_path: Path) -> None:
    (folder.parent / "programs").symlink_to(folder)
    found = commands((SNIPPETS / name).read_text())
    assert found
    for command in found:
        done = _by_shell(command, folder.parent, tmp_path)
        assert done.returncode == 1, done.stderr
        assert "no-feed" in done.stdout
        assert done.stderr == ""
    ET.fromstring((folder.parent / "feedwright.xml").read_text())
    if name.startswith("github"):
        assert json.loads((folder.parent / "feedwright.sarif").read_text())["version"] == "2.1.0"
    else:
        assert json.loads((folder.parent / "quality.json").read_text())


def test_the_hook_takes_every_ending_and_runs_as_one(folder: Path, run: Run) -> None:
    from advisor.files import ENDINGS

    text = (ROOT / ".pre-commit-hooks.yaml").read_text()
    keys = dict(line.strip("- ").split(": ", 1) for line in text.splitlines() if ": " in line)
    pattern = re.compile(keys["files"].strip("'"))
    assert all(pattern.search(f"x{ending}") and pattern.search(f"x{ending.upper()}") for ending in ENDINGS)
    assert not pattern.search("x.ncx") and not pattern.search("nc")
    assert keys["require_serial"] == "true"
    entry = keys["entry"].split()
    assert entry[0] == "feedwright"
    assert run(*entry[1:], "groove.ngc", "pads/pad.nc")[0] == 0
    assert run(*entry[1:], "groove.ngc", "old.tap")[0] == 1


def test_the_jobs_of_the_readme_run_as_written(folder: Path, tmp_path: Path) -> None:
    blocks = re.findall(r"```yaml\n(.*?)```", (ROOT / "README.md").read_text(), re.DOTALL)
    found = [command for block in blocks for command in commands(block)]
    assert found
    (folder.parent / "programs").symlink_to(folder)
    for command in found:
        done = _by_shell(command, folder.parent, tmp_path)
        assert done.returncode == 1, done.stderr
        assert "no-feed" in done.stdout


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shells_are_told_how_a_word_goes_on(shell: str) -> None:
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "_FEEDWRIGHT_COMPLETE": f"complete_{shell}",
        "COMP_WORDS": "feedwright base",
        "COMP_CWORD": "1",
        "_TYPER_COMPLETE_ARGS": "feedwright base",
        "_TYPER_COMPLETE_FISH_ACTION": "get-args",
    }
    done = subprocess.run([sys.executable, "-m", "advisor.cli"], env=environment, capture_output=True, text=True, check=False)
    assert "baseline" in done.stdout
    assert "Traceback" not in done.stderr
