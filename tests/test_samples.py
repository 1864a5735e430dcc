"""The boat-shed's programs: good ones stay quiet, each spoiled one is found on its line, and the reports are kept.

``pytest tests/test_samples.py --update-golden`` renews the reports under ``tests/golden``.
"""

from __future__ import annotations

import importlib
import math
import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from advisor.check import check_program
from advisor.files import load_shop_file
from advisor.findings import ProgramReport, Report
from advisor.job import Course, Step
from advisor.setting import Flags, job_of, setting_for

SAMPLES = Path(__file__).resolve().parent.parent / "sample_programs"
GOLDEN = Path(__file__).resolve().parent / "golden"
EXPECT = re.compile(r"\(expect ([a-z-]+)\)")
COMMENT = re.compile(rb"\([^()\n]*\)")


def programs(folder: Path) -> list[Path]:
    """The programs of a folder by name."""
    return sorted(path for path in folder.iterdir() if path.suffix in (".ngc", ".nc"))


GOOD = programs(SAMPLES)
SPOILED = programs(SAMPLES / "spoiled")


def each(paths: list[Path]) -> pytest.MarkDecorator:
    """One test for each program; the tests of one program share a worker, which checks it once."""
    rows = [pytest.param(path, id=path.name, marks=pytest.mark.xdist_group(path.name)) for path in paths]
    return pytest.mark.parametrize("path", rows)


@cache
def checked(path: Path, *, bare: bool = False) -> ProgramReport:
    """The report on a program, in its job; ``bare``: comments stripped and under another name."""
    shop = load_shop_file(SAMPLES / "feedwright.toml")
    data = path.read_bytes()
    name = path.relative_to(SAMPLES).as_posix()
    if bare:
        data, name = COMMENT.sub(b"", data), f"renamed-to-a-name-that-tells-nothing{path.suffix}"
    placed = job_of(shop, path)
    if placed is None:
        return check_program(data, path=name, setting=setting_for(shop, path, Flags()))
    plan, number = placed
    earlier = [Step(setting_for(shop, each, Flags()), each.read_bytes()) for each in plan.programs[:number]]
    return Course([*earlier, Step(setting_for(shop, path, Flags()), data)]).check(number, path=name)


def told(report: ProgramReport) -> set[tuple[int, str]]:
    """Line and rule of every error and warning."""
    return {(finding.line, finding.rule) for finding in report.findings if finding.severity in ("error", "warning")}


def expected(path: Path) -> set[tuple[int, str]]:
    """Line and rule of every ``(expect RULE)`` in a program."""
    lines = enumerate(path.read_text(encoding="ascii").splitlines(), start=1)
    return {(number, rule) for number, line in lines for rule in EXPECT.findall(line)}


def written() -> Iterator[tuple[str, str]]:
    """What ``make.py`` would write."""
    sys.path.insert(0, str(SAMPLES))
    try:
        yield from importlib.import_module("make").everything().items()
    finally:
        sys.path.remove(str(SAMPLES))


def test_the_files_are_what_the_generator_writes() -> None:
    files = dict(written())
    for name, text in files.items():
        assert (SAMPLES / name).read_bytes() == text.encode("ascii"), f"{name}: run python sample_programs/make.py"
    present = {path.relative_to(SAMPLES).as_posix() for path in GOOD + SPOILED}
    assert present == set(files)
    assert len(GOOD) >= 6 and len(SPOILED) >= 20


@each(GOOD)
def test_good_programs_have_no_error_or_warning(path: Path) -> None:
    assert told(checked(path)) == set()
    assert told(checked(path, bare=True)) == set()


def test_the_second_side_of_the_pad_takes_what_the_first_left() -> None:
    """By hand: a bore of 10 mm through the 15 mm over the recess, and 10.2 mm of the slot round the outline.

    The outline's path is that of a 106 x 76 mm rectangle with corners of 15 mm; the slot is 6 mm wide.
    """
    report = checked(SAMPLES / "oarlock-pad-2.ngc")
    path = 2 * (106 - 30) + 2 * (76 - 30) + 2 * math.pi * 15
    wanted = math.pi * 25 * 15 + path * 6 * (21 - 4 * 2.7)
    assert report.summary["removed_cm3"] * 1000 == pytest.approx(wanted, rel=0.005)
    assert report.setup["job"]["stock_left_by"] == "oarlock-pad-1.ngc"


@each(SPOILED)
def test_each_spoiled_program_is_found_where_it_is_spoiled(path: Path) -> None:
    wanted = expected(path)
    assert wanted
    assert told(checked(path)) == wanted
    assert told(checked(path, bare=True)) == wanted


@each(GOOD + SPOILED)
def test_golden_report(path: Path, update_golden: bool) -> None:
    from advisor.report import text

    report = Report(version="0", programs=(checked(path),))
    now = text.render(report)
    kept = GOLDEN / path.relative_to(SAMPLES).with_suffix(".txt")
    if update_golden:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text(now, encoding="utf-8", newline="\n")
    assert kept.read_text(encoding="utf-8") == now, "renew with: pytest tests/test_samples.py --update-golden"
