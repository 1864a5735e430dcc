"""The command line as a user meets it: every end is a clear message, and its exit status is the contract's."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from advisor import __version__, cli
from advisor.files import load_shop_file

CLEAN = """%
(CLEAT, FLAT CUTTER 6 MM)
G21 G90 G17 G94 G54
T1 M6
G0 Z15
M3 S18000
G4 P5
G0 X20 Y20
G0 Z2
G1 Z-2 F300
G1 X60 F1500
G0 Z15
M5
M30
%
"""
SHOP = """
[machine]
like = "ballscrew-router"
[[cutter]]
tool = 1
like = "endmill-upcut-6mm-2f"
[stock]
material = "birch-plywood"
size = [100, 60, 18]
"""

CRASH = CLEAN.replace("G0 Z2\n", "G0 Z-2\n")

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs the command in an empty folder; exit status, stdout, stderr. Every message is held to the manners."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("FORCE_COLOR", raising=False)

    def run(*arguments: str | Path) -> tuple[int, str, str]:
        status = cli.main([str(argument) for argument in arguments])
        out, err = capfd.readouterr()
        assert "Traceback" not in out + err
        assert status in (0, 1, 2)
        if status == 2:
            assert out or err
        return status, out, err

    return run


def write(text: str | bytes, name: str = "a.nc") -> Path:
    """A file in the working folder."""
    path = Path(name)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def rules_found(out: str) -> set[str]:
    """The rules of all findings of a JSON report."""
    return {item["rule"] for program in json.loads(out)["programs"] for item in program["findings"]}


# ----------------------------------------------------------------------------------------------------------- wrong use


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["chek"], "No such command"),
        (["speeds", "--diametr", "6"], "No such option"),
        (["speeds"], "which cutter?"),
        (["speeds", "--diameter", "30 kg"], '--diameter: "30 kg" is a mass; a length is wanted, for example "30 mm"'),
        (["speeds", "--diameter", "0"], '--diameter: "0" is not above zero'),
        (["speeds", "--diameter=-6"], '--diameter: "-6" is not above zero'),
        (["speeds", "--diameter", "nan"], "--diameter"),
        (["speeds", "--diameter", "6"], "--flutes"),
        (["speeds", "--diameter", "6", "--flutes", "0"], "0 teeth can't cut"),
        (["speeds", "--diameter", "6", "--flutes", "two"], "--flutes"),
        (["speeds", "--cutter", "endmill-upcut-6mm-3", "--material", "mdf"], "endmill-upcut-6mm-3f"),
        (["speeds", "--diameter", "6", "--flutes", "2", "--material", "birch-plywod"], "birch-plywood"),
        (["speeds", "--diameter", "6", "--flutes", "2", "--form", "bal"], 'did you mean "ball"'),
        (["speeds", "--diameter", "6", "--flutes", "2", "--operation", "slott"], 'did you mean "slot"'),
        (["speeds", "--diameter", "6", "--flutes", "2", "--material", "mdf", "--machine", "belt-ruter"], "belt-router"),
        (["speeds", "--diameter", "6", "--flutes", "2", "--material", "mdf", "--depth=-3"], "--depth"),
        (["speeds", "--cutter", "drill-3mm", "--spindle-min", "9", "--spindle-max", "8"], "is above the fastest"),
        (["speeds", "--cutter", "drill-3mm", "--output", "xml"], "--output"),
        (["rate", "--rpm", "18000"], "--feed"),
        (["rate", "--rpm", "1 kg", "--feed", "1", "--cutter", "drill-3mm"], "--rpm"),
        (["check"], "nothing to check"),
        (["check", "gone.nc"], "gone.nc can't be read: there is no such file"),
        (["check", "."], "no program found"),
        (["check", "a", "--fail-on", "never ever"], "--fail-on"),
        (["check", "a", "--shard", "9/8"], "--shard"),
        (["check", "a", "--jobs", "0"], "--jobs"),
        (["check", "a", "--select", "no-fed"], "no-feed"),
        (["check", "a", "--ignore", "internal-error"], "can't be left out"),
        (["check", "a", "--output", "json", "--output", "text"], "only one format can go to stdout"),
        (["check", "a", "--output", "json:x", "--output", "text:./x"], "named twice"),
        (["check", "a", "--output", "json:"], "missing"),
        (["check", "a", "--stock", "300x200"], "--stock"),
        (["check", "--show-config", "--machine", "knee-mill"], "--show-config PROGRAM"),
        (["check", "a", "--stdin-filename", "b.nc"], "--stdin-filename goes with -"),
        (["check", "-", "a"], "stands alone"),
        (["check", "a", "--config", "gone.toml"], "gone.toml"),
        (["check", "a", "--dialect", "loose"], "--dialect"),
        (["check", "a", "--baseline", "gone.jsonl"], "gone.jsonl"),
        (["trace", "gone.nc"], "gone.nc can't be read"),
        (["explain", "no-fed"], 'did you mean "no-feed"'),
        (["catalogue", "birch-plywood"], "feedwright catalogue materials birch-plywood"),
        (["catalogue", "material"], 'did you mean "materials"'),
        (["catalogue", "materials", "plywod"], "is not among"),
        (["init", "nofolder"], "is not a folder"),
        (["init", "--stock", "1x2"], "--stock"),
        (["baseline", "create"], "which programs?"),
        (["baseline", "create", "-"], "stdin"),
        (["baseline", "show"], "feedwright-baseline.jsonl"),
    ],
)
def test_wrong_use_is_told_on_stderr_with_exit_2(run: Run, arguments: list[str], said: str) -> None:
    if "a" in arguments and "." not in arguments:
        write(CLEAN, "a")
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    assert said in err
    assert "internal-error:" not in err


def test_an_internal_error_is_told_with_what_to_report(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise ZeroDivisionError("by\nnothing")

    monkeypatch.setattr("advisor.gate.run_check", broken)
    write(CLEAN)
    status, out, err = run("check", "a.nc")
    assert (status, out) == (2, "")
    assert "internal-error: ZeroDivisionError: by nothing" in err
    assert __version__ in err
    assert "report" in err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_behind_stdout_is_told(tmp_path: Path) -> None:
    program = tmp_path / "a.nc"
    program.write_text(CLEAN)
    with open("/dev/full", "w") as full:  # noqa: PTH123 - a device, not a path of ours
        command = [sys.executable, "-m", "advisor.cli", "trace", str(program)]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert (done.returncode, done.stderr) == (2, "feedwright: stdout can't be written: the disk is full\n")


def test_mistakes_of_flags_are_not_put_down_to_the_shop_file(run: Run) -> None:
    write(CLEAN, "a.nc")
    write(SHOP, "feedwright.toml")
    status, _, said = run("check", "a.nc", "--cutter", "1=nope")
    assert status == 2
    assert said.startswith("feedwright: what the flags say has a mistake:\n  --cutter:")


def test_an_interrupt_ends_with_130(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:
    def interrupted(*_: Any, **__: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("advisor.pages.rule_list", interrupted)
    assert cli.main(["explain"]) == 130
    assert "Traceback" not in capfd.readouterr().err


# ------------------------------------------------------------------------------------------------------ help and pages


@pytest.mark.parametrize(
    "command", [[], ["speeds"], ["rate"], ["check"], ["trace"], ["explain"], ["catalogue"], ["init"], ["baseline"]]
)
def test_help_is_plain_and_fits(run: Run, command: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    status, out, _ = run(*command, "--help")
    assert status == 0
    assert out.startswith("Usage: feedwright")
    out.encode("ascii")
    assert max(map(len, out.splitlines())) <= 90
    if command != ["baseline"] and command != ["explain"]:
        assert "Examples:" in out


def test_the_version(run: Run) -> None:
    assert run("--version") == (0, f"feedwright {__version__}\n", "")


def test_the_list_of_rules_and_every_page(run: Run) -> None:
    from advisor.rules import book

    status, out, _ = run("explain")
    assert status == 0
    assert all(f"  {name} " in out for name in book())
    for name in book():
        status, page, _ = run("explain", name)
        assert status == 0
        assert page.startswith(f"{name}\n")
        assert "Safety" in page
    made = json.loads(run("explain", "--output", "json")[1])
    assert [rule["name"] for rule in made["rules"]] == list(book())


def test_the_catalogue_shows_range_and_source_of_every_value(run: Run) -> None:
    from advisor import catalogue

    assert "materials" in run("catalogue")[1]
    for kind in ("materials", "cutters", "machines"):
        _, out, _ = run("catalogue", kind)
        assert all(name in out for name in catalogue.names(kind))
        name = catalogue.names(kind)[0]
        _, out, _ = run("catalogue", kind, name)
        made = json.loads(run("catalogue", kind, name, "--output", "json")[1])[kind][name]
        assert made["values"]
        for key, value in made["values"].items():
            assert key in out
            assert set(value) == {"low", "chosen", "high", "unit", "source"}
            assert value["source"] in " ".join(out.split())
    assert set(json.loads(run("catalogue", "--output", "json")[1])) >= set(catalogue.KINDS)


# ---------------------------------------------------------------------------------------------------------------- init


def test_init_writes_a_file_that_is_read_and_keeps_one_that_stands(run: Run) -> None:
    status, _, _ = run(
        "init", "--no-ask", "--machine", "ballscrew-router", "--cutter", "1=endmill-upcut-6mm-2f",
        "--cutter", "2=drill-3mm",
        "--material", "birch-plywood", "--stock", "300x200x18", "--zero", "0,0,-3",
    )  # fmt: skip
    assert status == 0
    shop = load_shop_file(Path("feedwright.toml"))
    assert shop.base.data["stock"]["zero"] == (0.0, 0.0, -3.0)
    assert set(shop.base.data["cutter"]) == {"1", "2"}
    before = Path("feedwright.toml").read_bytes()
    status, _, err = run("init", "--no-ask")
    assert status == 2
    assert "--force" in err
    assert Path("feedwright.toml").read_bytes() == before
    assert run("init", "--no-ask", "--force")[0] == 0
    assert Path("feedwright.toml").read_bytes() != before


def test_every_commented_line_of_the_starter_can_be_taken_in(run: Run) -> None:
    """With each ``# key = ...`` put in force the file is still read without a mistake."""
    import re

    run("init", "--no-ask")
    lines = Path("feedwright.toml").read_text().splitlines()
    whole = "\n".join(re.sub(r"^# (?=[a-zA-Z0-9_-]+ = |\[)", "", line) for line in lines)
    Path("whole.toml").write_text(whole)
    shop = load_shop_file(Path("whole.toml"))
    assert {"machine", "cutter", "stock", "hold", "checks", "offsets"} <= set(shop.base.data)
    assert len(shop.jobs) == len(shop.overrides) == len(shop.allowances) == 1


def test_init_asks_and_asks_again(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    answers = "belt-ruter\nbelt-router\n1=drill-3mm\n\n300x200x18\n\n"
    monkeypatch.setattr(sys, "stdin", io.StringIO(answers))
    status, _, err = run("init", "--ask")
    assert status == 0
    assert 'did you mean "belt-router"' in err
    data = load_shop_file(Path("feedwright.toml")).base.data
    assert data["machine"] == {"like": "belt-router"}
    assert data["stock"] == {"size": (300.0, 200.0, 18.0)}


def test_the_schema_is_json(run: Run) -> None:
    assert json.loads(run("init", "--schema")[1])["title"] == "feedwright.toml"


# --------------------------------------------------------------------------------------------------------------- check


def test_a_program_is_checked_and_bad_ones_are_not_green(run: Run) -> None:
    write(SHOP, "feedwright.toml")
    write(CLEAN, "clean.nc")
    status, out, err = run("check", "clean.nc", "--output", "json")
    assert status == 0, out
    assert err == ""
    assert json.loads(out)["schema"] == "feedwright.check/1"
    write(CRASH, "crash.nc")
    status, out, _ = run("check", "crash.nc", "--output", "json")
    assert status == 1
    assert "rapid-into-stock" in rules_found(out)
    status, out, _ = run("check", ".", "--output", "json")
    assert status == 1
    assert [program["path"] for program in json.loads(out)["programs"]] == ["clean.nc", "crash.nc"]


@pytest.mark.parametrize(
    ("content", "rule"),
    [
        (b"", "not-a-program"),
        (b"\n\n  \n", "not-a-program"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\1\0\0\0\1\0", "not-a-program"),
        (b"Dear rower, the oars are ready. Yours, the shed\n", None),
        (b"\0" * 5000, "not-a-program"),
    ],
)
def test_what_is_no_program_is_a_finding(run: Run, content: bytes, rule: str | None) -> None:
    write(content)
    status, out, _ = run("check", "a.nc", "--output", "json")
    assert status == 1
    assert rule is None or rule in rules_found(out)
    assert rules_found(out)


def test_a_folder_with_a_file_nobody_can_read_is_a_finding_a_named_one_is_wrong_use(run: Run) -> None:
    write(CLEAN, "shed/a.nc")
    os.mkfifo("shed/pipe.nc")
    status, out, _ = run("check", "shed", "--output", "json")
    assert status == 1
    assert "file-skipped" in rules_found(out)
    assert len(json.loads(out)["programs"]) == 2
    status, out, err = run("check", "shed/pipe.nc", "shed/a.nc")
    assert (status, out) == (2, "")
    assert "shed/pipe.nc can't be read: it is a pipe" in err


def test_three_mistakes_in_one_shop_file_are_all_told(run: Run) -> None:
    write(CLEAN)
    write('[machine]\nlike = "belt-ruter"\n[stock]\nsize = ["30 kg", 2, 3]\n[hold]\nspoilbord = 1\n', "feedwright.toml")
    status, out, err = run("check", "a.nc")
    assert (status, out) == (2, "")
    assert "3 mistakes" in err
    for said in (
        "feedwright.toml:2: machine.like",
        "feedwright.toml:4: stock.size[1]",
        "feedwright.toml:6: hold.spoilbord",
    ):
        assert said in err


def test_mistakes_of_several_shop_files_are_told_in_one_run(run: Run) -> None:
    for folder in ("one", "two"):
        write(CLEAN, f"{folder}/a.nc")
        write(f"[{folder}]\n", f"{folder}/feedwright.toml")
    status, _, err = run("check", ".")
    assert status == 2
    assert "one/feedwright.toml:1: one:" in err
    assert "two/feedwright.toml:1: two:" in err


def test_values_that_do_not_fit_are_told_as_a_mistake_of_the_file(run: Run) -> None:
    write(CLEAN)
    write("[[cutter]]\ntool = 1\nflutes = 2\n", "feedwright.toml")
    status, _, err = run("check", "a.nc")
    assert status == 2
    assert 'neither like = "NAME" nor a diameter' in err


def test_stdin_is_checked_under_the_name_given(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    write(SHOP, "shed/feedwright.toml")
    for name, found in (("shed/new.nc", True), ("elsewhere.nc", False)):
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(CRASH.encode())))
        _, out, _ = run("check", "-", "--stdin-filename", name, "--output", "json")
        assert json.loads(out)["programs"][0]["path"] == name
        assert ("rapid-into-stock" in rules_found(out)) is found


def test_fail_on_select_and_ignore(run: Run) -> None:
    write(CLEAN.replace("M30\n", "").replace("G21 G90", "G90"))
    status, out, _ = run("check", "a.nc", "--output", "json")
    found = rules_found(out)
    assert {"no-program-end", "units-not-stated"} <= found
    assert run("check", "a.nc", "--fail-on", "note", "--output", "json")[0] == 1
    assert run("check", "a.nc", "--fail-on", "never", "--output", "json")[0] == 0
    status, out, _ = run("check", "a.nc", "--select", "no-program-end", "--output", "json")
    assert (status, rules_found(out)) == (0, {"no-program-end"})
    _, out, _ = run("check", "a.nc", "--ignore", "no-program-end,units-not-stated", "--output", "json")
    assert rules_found(out) == found - {"no-program-end", "units-not-stated"}
    write(b"", "b.nc")
    status, out, _ = run("check", "b.nc", "--select", "no-program-end", "--output", "json")
    assert (status, rules_found(out)) == (1, {"not-a-program"})


def test_several_outputs_at_once_and_a_report_that_can_not_be_written(run: Run) -> None:
    write(CLEAN)
    Path("old.json").write_text("old")
    status, out, _ = run("check", "a.nc", "--output", "text", "--output", "json:r.json", "--output", "sarif:r.sarif")
    assert status == 0
    assert "NOT CHECKED" in out
    assert json.loads(Path("r.json").read_text())["schema"] == "feedwright.check/1"
    assert json.loads(Path("r.sarif").read_text())["version"] == "2.1.0"
    status, _, err = run("check", "a.nc", "--output", "json:nowhere/r.json")
    assert status == 2
    assert "nowhere/r.json can't be written: there is no such file or folder" in err


def test_what_a_shop_file_says_in_vain_is_told_when_its_whole_folder_was_checked(run: Run) -> None:
    write(
        SHOP + "[[allow]]\nrule = 'no-feed'\nbecause = 'never needed'\n"
        "[[allow]]\nrule = 'rapid-into-stock'\nfiles = ['crash.nc']\nbecause = 'a demonstration'\n"
        "[[program]]\nfiles = ['gone-*']\nstart = { tool = 1 }\n"
        "[[job]]\nname = 'cleat'\n[[job.setup]]\nprograms = ['clean.nc', 'crash.nc', 'lost.nc']\n",
        "shed/feedwright.toml",
    )
    write(CLEAN, "shed/clean.nc")
    write(CRASH.replace("Y20", "Y40"), "shed/crash.nc")  # beside what clean.nc has cleared
    _, out, _ = run("check", "shed", "--output", "json")
    found = {p["path"]: p for p in json.loads(out)["programs"]}
    assert [(f["rule"], f["line"]) for f in found["shed/feedwright.toml"]["findings"]] == [("unused-allowance", 10)]
    assert all(f["why"] and f["fix"] and f["safety"] for f in found["shed/feedwright.toml"]["findings"])
    assert [s["rule"] for s in found["shed/crash.nc"]["suppressed"]] == ["rapid-into-stock"]
    assert any("comes after clean.nc in the job cleat" in text for text in found["shed/crash.nc"]["assumptions"])
    assert not any("in the job" in text for text in found["shed/clean.nc"]["assumptions"])
    _, out, _ = run("check", "shed")
    assert "gone-*" in out
    assert "shed/lost.nc" in out
    _, out, _ = run("check", "shed/clean.nc", "--output", "json")
    assert [p["path"] for p in json.loads(out)["programs"]] == ["shed/clean.nc"]


def test_allowed_findings_are_told_in_sarif_only_on_request_and_junit_knows_fail_on(run: Run) -> None:
    write(CLEAN.replace("M30\n", ""), "b.nc")
    _, out, _ = run("check", "b.nc", "--output", "junit", "--fail-on", "note")
    assert 'failures="1"' in out
    _, out, _ = run("check", "b.nc", "--output", "junit")
    assert 'failures="0"' in out
    write(SHOP, "feedwright.toml")
    write(CRASH.replace("G0 Z-2", "G0 Z-2 (feedwright: allow rapid-into-stock because a demonstration)"), "c.nc")
    for more, count in (((), 0), (("--include-suppressed",), 1)):
        _, out, _ = run("check", "c.nc", "--output", "sarif", *more)
        results = json.loads(out)["runs"][0]["results"]
        assert sum(bool(result.get("suppressions")) for result in results) == count


def test_show_config_tells_value_and_origin(run: Run) -> None:
    write(SHOP, "feedwright.toml")
    status, out, _ = run("check", "--show-config", "a.nc", "--machine", "knee-mill")
    assert status == 0
    rows = {line.split()[0]: line for line in out.splitlines() if line}
    assert "knee-mill" in rows["machine.name"]
    assert "--machine" not in rows["machine.spindle_max"]
    assert rows["machine.spindle_max"].endswith("catalogue knee-mill")
    assert rows["stock.size"].endswith("feedwright.toml:9")
    assert "[100, 60, 18] mm" in rows["stock.size"]
    for given in (("--zero", "-3,0,18"), ("--zero=-3,0,18",)):
        _, out, _ = run("check", "--show-config", ".", *given)
        assert "[-3, 0, 18] mm" in out


def test_the_parts_of_a_shard_are_the_whole(run: Run) -> None:
    for i in range(5):
        write(CLEAN, f"shed/{i}.nc")
    seen: list[str] = []
    for part in range(1, 9):
        status, out, err = run("check", "shed", "--shard", f"{part}/8", "--output", "json")
        assert status == 0, err
        seen += [program["path"] for program in json.loads(out)["programs"]]
    assert sorted(seen) == [f"shed/{i}.nc" for i in range(5)]


def test_a_line_of_100_mb_ends_soon_in_bounded_memory(tmp_path: Path) -> None:
    path = tmp_path / "long.nc"
    path.write_bytes(b"G1 X1 F100\n" + b"X" * 100_000_000)
    code = (
        "import resource, sys\nfrom advisor.cli import main\n"
        "resource.setrlimit(resource.RLIMIT_CPU, (60, 60))\nstatus = main(sys.argv[1:])\n"
        "sys.stderr.write(str(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss))\nsys.exit(status)"
    )
    arguments = ("check", str(path), "--output", "json", "--no-cache")
    done = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "line-too-long" in rules_found(done.stdout)
    assert len(done.stdout) < 1_000_000
    assert int(done.stderr) < 2_000_000  # KiB


def test_a_name_with_a_control_character_does_not_reach_the_terminal(run: Run) -> None:
    write(b"", "a\x1b[31mb.nc")
    _, out, err = run("check", ".")
    assert "\x1b" not in out + err
    _, out, err = run("check", "gone\x1b[31m.nc")
    assert "\x1b" not in out + err


# ------------------------------------------------------------------------------------------------------------ baseline


def test_a_folder_with_findings_adopts_the_gate(run: Run) -> None:
    write(SHOP, "feedwright.toml")
    write(CRASH, "shed/old.nc")
    assert run("check", "shed", "--fail-on", "warning")[0] == 1
    status, out, _ = run("baseline", "create", "shed")
    assert status == 1
    assert "--include-errors" in out
    assert run("baseline", "create", "shed", "--include-errors", "proved in air", "--force")[0] == 0
    given = ("check", "shed", "--baseline", "feedwright-baseline.jsonl", "--output", "json", "--fail-on", "warning")
    assert run(*given)[0] == 0
    write(CLEAN.replace(" F1500", "").replace(" F300", ""), "shed/new.nc")
    status, out, _ = run(*given)
    assert status == 1
    assert {p["path"] for p in json.loads(out)["programs"] if p["findings"]} == {"shed/new.nc"}
    assert "no-feed" in rules_found(out)
    assert "proved in air" in run("baseline", "show")[1]
    write(CLEAN, "shed/old.nc")
    status, out, _ = run("baseline", "update", "shed")
    assert status == 0
    assert " 0 removed" not in out
    Path("shed/old.nc").unlink()
    assert run("baseline", "prune")[0] == 0


# --------------------------------------------------------------------------------------------------- the real terminal


def real(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """The command as its own process."""
    base = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR")}
    return subprocess.run(
        [sys.executable, "-m", "advisor.cli", *arguments], capture_output=True, check=False, env=base | environment
    )


def test_colour_ascii_and_the_pipe(tmp_path: Path) -> None:
    path = tmp_path / "a.nc"
    path.write_text(CLEAN)
    plain = real("check", str(path), "--no-cache", PYTHONIOENCODING="ascii")
    assert plain.returncode == 0, plain.stderr
    plain.stdout.decode("ascii")
    assert b"\x1b" not in plain.stdout
    assert b"\\u" not in plain.stdout
    assert b"\x1b[" in real("check", str(path), FORCE_COLOR="1").stdout
    assert b"\x1b" not in real("check", str(path), FORCE_COLOR="1", NO_COLOR="1").stdout
    assert b"\x1b" not in real("check", str(path), "--output", "json", FORCE_COLOR="1").stdout


def test_the_shell_can_complete_commands_and_flags() -> None:
    for words, at, wanted in (("feedwright che", "1", b"check"), ("feedwright check --fa", "2", b"--fail-on")):
        done = real(_FEEDWRIGHT_COMPLETE="complete_bash", COMP_WORDS=words, COMP_CWORD=at)
        assert done.stdout.split() == [wanted]


def test_a_reader_that_goes_away_is_no_traceback(tmp_path: Path) -> None:
    command = f"{sys.executable} -m advisor.cli catalogue --output json | head -c 10"
    done = subprocess.run(command, shell=True, capture_output=True, check=False)
    assert len(done.stdout) == 10
    assert b"Traceback" not in done.stderr
    assert b"Exception" not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "kept_out"),
    [
        (["--version"], {"numpy", "pint", "numba", "lark", "rich", "matplotlib", "advisor.rules"}),
        (["explain", "no-feed"], {"pint", "numba", "lark", "rich", "matplotlib"}),
        (["catalogue", "machines"], {"numpy", "pint", "numba", "lark", "rich", "matplotlib"}),
    ],
)
def test_each_command_loads_only_what_it_needs(arguments: list[str], kept_out: set[str]) -> None:
    code = (
        f"import sys\nfrom advisor.cli import main\nstatus = main({arguments!r})\n"
        f"sys.stderr.write(','.join(sorted({kept_out!r} & set(sys.modules))))\nsys.exit(status)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stderr == ""
