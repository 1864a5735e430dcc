"""What is kept from run to run is never believed without proof, and its loss costs only time."""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import cache
from advisor.cache import Cache, canonical, digest, from_text, open_cache, program_key, to_text
from advisor.findings import Finding, NotChecked, ProgramReport, Suppressed
from advisor.run import Task, run_check
from advisor.values import Checks, Cutter, Hold, Machine, Material, Pin, Setting, Value, Workpiece
from tests.gate import checks

TEXT = st.text(st.characters(exclude_categories=[]), max_size=10)
NUMBER = st.none() | st.floats(allow_nan=False, allow_infinity=False)
FINDINGS = st.builds(
    Finding,
    rule=TEXT,
    message=TEXT,
    block=st.none() | st.integers(),
    severity=TEXT,
    line=st.integers(),
    measured=NUMBER,
    limit=NUMBER,
    at=st.none() | st.tuples(NUMBER, NUMBER, NUMBER),
    fingerprint=TEXT,
)
REPORTS = st.builds(
    ProgramReport,
    path=TEXT,
    dialect=TEXT,
    findings=st.lists(FINDINGS, max_size=3).map(tuple),
    not_checked=st.lists(
        st.builds(NotChecked, rule=TEXT, reason=TEXT, cause=TEXT, from_line=st.integers(), to_line=st.integers()),
        max_size=2,
    ).map(tuple),
    suppressed=st.lists(st.builds(Suppressed, finding=FINDINGS, reason=TEXT, kind=TEXT), max_size=2).map(tuple),
    assumptions=st.lists(TEXT, max_size=2).map(tuple),
    setup=st.dictionaries(TEXT, st.none() | st.booleans() | TEXT | NUMBER | st.lists(NUMBER, max_size=2), max_size=3),
    summary=st.dictionaries(TEXT, st.dictionaries(TEXT, NUMBER, max_size=2), max_size=2),
    blocks_text=st.dictionaries(st.integers(1, 99), TEXT, max_size=3),
    rules_looked=st.lists(TEXT, max_size=2).map(tuple),
)


@given(REPORTS)
def test_a_report_comes_back_as_it_was(report: ProgramReport) -> None:
    assert from_text(to_text(report)) == report


def test_every_field_of_a_report_is_kept() -> None:
    """A field added later must be carried too, or a run from the cache would differ from the first one."""
    kept = set(cache._plain(ProgramReport(path="x")))
    assert kept == {f.name for f in dataclasses.fields(ProgramReport)}
    assert [f.name for f in dataclasses.fields(NotChecked)] == ["rule", "reason", "cause", "from_line", "to_line"]
    assert [f.name for f in dataclasses.fields(Suppressed)] == ["finding", "reason", "kind"]


# --- keys ------------------------------------------------------------------------------------------------------------

FULL = Setting(
    machine=Machine("m", travel={"x": (0.0, 10.0)}, power_curve=((1.0, 2.0),)),
    cutters={1: Cutter("c")},
    material=Material("m", "M", "wood", {"k": Value(1.0, 2.0, 3.0, "mm", "s")}, {6.0: Value(1.0, 2.0, 3.0, "mm", "s")}),
    workpiece=Workpiece("m", (1.0, 2.0, 3.0), (0.0, 0.0, 3.0)),
    hold=Hold(pins=(Pin(1.0, 2.0, 6.0, 12.0),)),
    start={"tool": 1, "parameters": {5161: 10.0}},
    checks=Checks(severity={"plunge-feed": "error"}, options={"rapid-clearance": {"least": 1.0}}),
    allowances=(("plunge-feed", "because"),),
    origins={"machine": "feedwright.toml:1"},
)


def other_values(value: Any) -> Iterator[Any]:
    """The value with one thing changed, each thing once, however deep."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        for f in dataclasses.fields(value):
            for changed in other_values(getattr(value, f.name)):
                yield dataclasses.replace(value, **{f.name: changed})
    elif isinstance(value, dict):
        yield {**value, "new key": 1}
        for key, held in value.items():
            yield {k: v for k, v in value.items() if k != key}
            for changed in other_values(held):
                yield {**value, key: changed}
    elif isinstance(value, tuple):
        yield (*value, 1)
        for i, held in enumerate(value):
            for changed in other_values(held):
                yield (*value[:i], changed, *value[i + 1 :])
    elif isinstance(value, bool):
        yield not value
    elif isinstance(value, (int, float)):
        yield value + 1
        yield str(value)
    elif isinstance(value, str):
        yield value + "'"
    elif value is None:
        yield ""
        yield 0


def test_every_part_of_the_setting_is_part_of_the_key() -> None:
    changed = list(other_values(FULL))
    assert len(changed) > 150
    digests = {digest(s) for s in changed}
    assert digest(FULL) not in digests
    assert digest(FULL) == digest(dataclasses.replace(FULL))


def test_order_of_keys_does_not_matter_and_unknown_values_are_refused() -> None:
    assert digest({"a": 1, "b": 2}) == digest({"b": 2, "a": 1})
    assert digest({1: "x"}) != digest({"1": "x"})
    assert digest([1]) != digest([1.0])
    assert digest((frozenset({"b", "a"}),)) == digest((frozenset({"a", "b"}),))
    with pytest.raises(TypeError, match="no place in a cache key"):
        canonical(object())


def test_a_setting_that_has_no_key_is_checked_every_time(tmp_path: Path) -> None:
    odd = Setting(start={"tool": object()})
    kept = open_cache(tmp_path)
    for _ in range(2):
        report = run_check([Task("x", odd, data=b"X1")], cache=kept, check=checks.count_lines)
        assert len(report.programs[0].findings) == 1
    assert not any(p.is_file() for p in tmp_path.rglob("*"))


def test_all_that_a_report_depends_on_is_in_the_key() -> None:
    base = (b"G0 X1", "setting", "engine", ("before",))
    keys = {
        program_key(*base),
        program_key(b"G0 X2", *base[1:]),
        program_key(base[0], "other", *base[2:]),
        program_key(*base[:2], "new engine", base[3]),
        program_key(*base[:3], ("another",)),
        program_key(*base[:3], ()),
        program_key(*base[:3], ("before", "before")),
        program_key(b"before\0" + base[0], *base[1:3], ()),
    }
    assert len(keys) == 8


def test_the_tool_s_own_files_are_part_of_the_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import shutil

    root = Path(cache.__file__).parent
    shutil.copytree(root, tmp_path / "advisor", copy_function=shutil.copyfile, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(
        root.parent / "grammar",
        tmp_path / "grammar",
        copy_function=shutil.copyfile,
        ignore=shutil.ignore_patterns("__pycache__"),
    )
    monkeypatch.setattr(cache, "__file__", str(tmp_path / "advisor" / "cache.py"))
    before = cache.own_state()
    monkeypatch.undo()
    assert cache.own_state() == before  # neither the place nor the times of the files count
    monkeypatch.setattr(cache, "__file__", str(tmp_path / "advisor" / "cache.py"))
    module = next((tmp_path / "grammar").glob("*.py"))
    module.write_text(module.read_text() + "\n")
    assert cache.own_state() != before


# --- the folder ------------------------------------------------------------------------------------------------------

KEY = "ab" * 32


def entry_of(kept: Cache) -> Path:
    return kept.folder / KEY[:2] / KEY[2:]


def test_kept_texts_come_back(tmp_path: Path) -> None:
    kept = open_cache(tmp_path)
    assert kept.get(KEY) is None
    for text in ("hello", "", "x\ny\udcff\u2028", "long" * 100_000):
        assert kept.put(KEY, text)
        assert kept.get(KEY) == text
    assert oct(entry_of(kept).stat().st_mode & 0o777) == "0o600"
    assert oct(kept.folder.stat().st_mode & 0o777) == "0o700"


def test_an_entry_cut_off_or_changed_anywhere_is_not_believed(tmp_path: Path) -> None:
    kept = open_cache(tmp_path)
    kept.put(KEY, "a report of some length")
    whole = entry_of(kept).read_bytes()
    for end in range(len(whole)):
        entry_of(kept).write_bytes(whole[:end])
        assert kept.get(KEY) is None
    for i in range(len(whole)):
        entry_of(kept).write_bytes(whole[:i] + bytes([whole[i] ^ 1]) + whole[i + 1 :])
        assert kept.get(KEY) is None
    entry_of(kept).write_bytes(whole + b"x")
    assert kept.get(KEY) is None
    entry_of(kept).write_bytes(whole)
    assert kept.get(KEY) == "a report of some length"


def test_a_spoiled_entry_is_worked_out_again(tmp_path: Path) -> None:
    kept = open_cache(tmp_path)
    task = [Task("x", Setting(), data=b"X1")]
    first = run_check(task, cache=kept, check=checks.count_lines)
    for file in [p for p in tmp_path.rglob("*") if p.is_file()]:
        file.write_bytes(file.read_bytes()[:50])
    assert run_check(task, cache=kept, check=checks.count_lines) == first
    assert run_check(task, cache=kept, check=checks.must_not_run) == first


def test_a_sealed_entry_of_another_form_is_told_not_believed(tmp_path: Path) -> None:
    kept = open_cache(tmp_path)
    task = Task("x", Setting(), data=b"X1")
    key = program_key(b"X1", digest(Setting()), "e")
    for text in ("{}", "[]", "null", '{"path": 1}', "not json"):
        kept.put(key, text)
        (program,) = run_check([task], cache=kept, check=checks.must_not_run, engine="e").programs
        assert [f.rule for f in program.findings] == ["internal-error"]
        assert "--no-cache" in program.findings[0].message


def test_another_users_entry_or_one_others_may_write_is_not_believed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = open_cache(tmp_path)
    kept.put(KEY, "text")
    entry_of(kept).chmod(0o666)
    assert kept.get(KEY) is None
    entry_of(kept).chmod(0o600)
    assert kept.get(KEY) == "text"
    monkeypatch.setattr(os, "geteuid", lambda: entry_of(kept).stat().st_uid + 1)
    assert kept.get(KEY) is None
    assert "another user" in (open_cache(tmp_path).problem or "")


def test_a_folder_others_may_write_to_is_not_used(tmp_path: Path) -> None:
    (tmp_path / "check-1").mkdir()
    (tmp_path / "check-1").chmod(0o777)
    kept = open_cache(tmp_path)
    assert "others may write" in (kept.problem or "")
    assert not kept.put(KEY, "x")
    assert kept.get(KEY) is None
    assert kept.trim() == 0


def test_links_pipes_and_folders_in_the_place_of_an_entry(tmp_path: Path) -> None:
    kept = open_cache(tmp_path)
    kept.put(KEY, "text")
    real = tmp_path / "elsewhere"
    entry_of(kept).rename(real)
    entry_of(kept).symlink_to(real)
    assert kept.get(KEY) is None
    entry_of(kept).unlink()
    os.mkfifo(entry_of(kept))
    assert kept.get(KEY) is None  # and does not wait for a writer
    entry_of(kept).unlink()
    entry_of(kept).mkdir()
    assert kept.get(KEY) is None
    assert not kept.put(KEY, "text")
    (tmp_path / "b").symlink_to(tmp_path)
    (tmp_path / "b2").mkdir()
    (tmp_path / "b2" / "check-1").symlink_to(tmp_path)
    assert "link" in (open_cache(tmp_path / "b2").problem or "")


def test_a_place_that_can_not_be_written_costs_only_time(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for folder in (tmp_path / "file", Path("/dev/null"), Path("/proc/none")):
        kept = open_cache(folder)
        assert kept.problem
        report = run_check([Task("x", Setting(), data=b"X1")], cache=kept, check=checks.count_lines)
        assert len(report.programs[0].findings) == 1


def test_a_full_disk_leaves_no_half_entry(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = open_cache(tmp_path)
    kept.put(KEY, "old")

    def full(*_: object, **__: object) -> Any:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", full)
        assert not kept.put(KEY, "new")
    with monkeypatch.context() as patched:
        patched.setattr(os, "fdopen", full)
        assert kept.get(KEY) is None
        assert not kept.put(KEY, "new")
    assert kept.get(KEY) == "old"
    assert [p.name for p in entry_of(kept).parent.iterdir()] == [KEY[2:]]


def test_the_size_is_bounded_oldest_first(tmp_path: Path) -> None:
    kept = open_cache(tmp_path, size_limit=10_000)
    keys = [f"{i:02x}" * 32 for i in range(20)]
    for i, key in enumerate(keys):
        kept.put(key, "x" * 900)
        os.utime(kept.folder / key[:2] / key[2:], (i, i))
    assert kept.trim() > 0
    assert [k for k in keys if kept.get(k)] == keys[-10:]
    assert sum(p.stat().st_size for p in tmp_path.rglob("*") if p.is_file()) <= 10_000


def test_a_run_trims_what_it_made_too_big(tmp_path: Path) -> None:
    kept = open_cache(tmp_path, size_limit=2_000)
    tasks = [Task(f"{i}", Setting(), data=b"X%d" % i) for i in range(30)]
    run_check(tasks, cache=kept, check=checks.count_lines)
    assert sum(p.stat().st_size for p in tmp_path.rglob("*") if p.is_file()) <= 2_000


def test_a_very_long_report_is_not_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "ENTRY_LIMIT", 100)
    kept = open_cache(tmp_path)
    assert not kept.put(KEY, "x" * 101)
    assert kept.put(KEY, "x" * 100)
    assert kept.get(KEY) == "x" * 100


def test_where_the_users_cache_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """XDG Base Directory Specification 0.8: $XDG_CACHE_HOME if absolute, else $HOME/.cache."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache.default_folder() == tmp_path / "feedwright"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert cache.default_folder() == tmp_path / "home" / ".cache" / "feedwright"


TOGETHER = """
import sys
from pathlib import Path
from advisor.cache import open_cache
from advisor.report import json
from advisor.run import Task, run_check
from advisor.values import Setting
from tests.gate import checks
kept = open_cache(Path(sys.argv[1]), size_limit=3000)
for turn in range(15):
    tasks = [Task(f"{i}", Setting(), data=b"X%d" % i) for i in range(40)]
    text = json.render(run_check(tasks, cache=kept, check=checks.count_lines, workers=1))
    assert text.count("plunge-feed") == 40, text
    assert "internal-error" not in text
print(len(text))
"""


def test_two_runs_at_once_on_one_cache(tmp_path: Path) -> None:
    """Both write, read and trim the same small cache; both reports stay right."""
    root = Path(__file__).resolve().parents[2]
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", TOGETHER, str(tmp_path)], cwd=root, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        for _ in range(2)
    ]
    results = [run.communicate(timeout=60) for run in runs]
    assert [run.returncode for run in runs] == [0, 0], results
    assert results[0] == results[1]


def test_a_full_hit_loads_nothing_heavy(tmp_path: Path) -> None:
    """The second run over an unchanged folder must cost little more than reading it."""
    code = """
import sys
from pathlib import Path
from advisor.cache import open_cache
from advisor.report import json, text
from advisor.run import Task, run_check
from advisor.values import Setting
from tests.gate import checks
kept = open_cache(Path(sys.argv[1]))
report = run_check([Task("x", Setting(), data=b"X1")], cache=kept, check=checks.must_not_run)
assert len(report.programs[0].findings) == 1, report
text.render(report), json.render(report)
heavy = {"numpy", "pint", "numba", "lark", "rich", "typer", "pydantic", "matplotlib", "multiprocessing.context"}
print(sorted(heavy & set(sys.modules)))
"""
    root = Path(__file__).resolve().parents[2]
    run_check([Task("x", Setting(), data=b"X1")], cache=open_cache(tmp_path), check=checks.count_lines)
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path)], cwd=root, capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("[]\n", "")
