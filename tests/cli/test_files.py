"""The disk: nothing is skipped in silence, nothing holds the run up, no half file is left."""

from __future__ import annotations

import errno
import os
import resource
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from advisor import files
from advisor.files import (
    ENDINGS,
    NamedPathError,
    Shops,
    Walk,
    find_shop_file,
    looks_like_program,
    read_named,
    read_program,
    shown,
    walk,
    write_whole,
)

PROGRAM = b"G21 G90\nG0 X0 Y0\nM30\n"


def names(found: Walk, top: Path) -> list[str]:
    """Paths of the programs found, from the folder."""
    return [str(path.relative_to(top)) for path in found.programs]


def reasons(found: Walk, top: Path) -> dict[str, str]:
    """Reason by path of the files not looked at."""
    return {str(item.path.relative_to(top)): item.reason for item in found.skipped}


# -------------------------------------------------------------------------------------------------------------- walking


def test_a_folder_gives_its_programs_sorted_and_passes_over_the_hidden(tmp_path: Path) -> None:
    for name in ("b.ngc", "a.NC", "c.txt", ".hidden.nc", "sub/d.tap", ".git/e.nc", "z.min"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(PROGRAM)
    found = walk([tmp_path])
    assert names(found, tmp_path) == ["a.NC", "b.ngc", "sub/d.tap", "z.min"]
    assert found.skipped == ()


def test_a_named_file_counts_whatever_its_ending_and_only_once(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_bytes(PROGRAM)
    (tmp_path / "b.nc").write_bytes(PROGRAM)
    assert len(walk([tmp_path / "a.txt", tmp_path / "b.nc", tmp_path / "b.nc", tmp_path]).programs) == 2


def test_what_is_not_there_or_no_file_is_told_when_named(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.nc")
    for path, said in (
        (tmp_path / "gone.nc", "no such file"),
        (tmp_path / "pipe.nc", "a pipe"),
        (Path("/dev/null"), "a device"),
        (Path("a\0b"), "NUL"),
        (tmp_path / ("n" * 300), "too long"),
    ):
        with pytest.raises(NamedPathError, match=said):
            walk([path])


def test_pipes_devices_and_loose_links_in_a_folder_are_skipped_aloud_and_never_opened(tmp_path: Path) -> None:
    (tmp_path / "a.nc").write_bytes(PROGRAM)
    os.mkfifo(tmp_path / "pipe.nc")
    (tmp_path / "lost.nc").symlink_to(tmp_path / "nowhere")
    (tmp_path / "self.nc").symlink_to(tmp_path / "self.nc")
    (tmp_path / "null.nc").symlink_to("/dev/null")
    found = walk([tmp_path])
    assert names(found, tmp_path) == ["a.nc"]
    told = reasons(found, tmp_path)
    assert "pipe" in told["pipe.nc"]
    assert set(told) == {"pipe.nc", "lost.nc", "self.nc", "null.nc"}


def test_links_lead_to_no_loop_and_out_of_no_folder(tmp_path: Path) -> None:
    inside, outside = tmp_path / "in", tmp_path / "out"
    (inside / "deep").mkdir(parents=True)
    outside.mkdir()
    (inside / "deep" / "a.nc").write_bytes(PROGRAM)
    (outside / "b.nc").write_bytes(PROGRAM)
    (inside / "deep" / "loop").symlink_to(inside)
    (inside / "again").symlink_to(inside / "deep")
    (inside / "away").symlink_to(outside)
    (inside / "b.nc").symlink_to(outside / "b.nc")
    (inside / "a.nc").symlink_to(inside / "deep" / "a.nc")
    found = walk([inside])
    assert names(found, inside) == ["a.nc", "again/a.nc"]  # the folder is entered once, by the name that comes first
    assert reasons(found, inside) == {"b.nc": "it is a link that leads out of the folder"}
    assert "away" in found.notices[0]


def test_a_folder_nobody_may_enter_is_a_skipped_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "shut").mkdir()
    (tmp_path / "a.nc").write_bytes(PROGRAM)
    whole = os.scandir

    def scandir(path: str | Path) -> object:
        if Path(path).name == "shut":
            raise PermissionError(errno.EACCES, "Permission denied")
        return whole(path)

    monkeypatch.setattr(files.os, "scandir", scandir)
    found = walk([tmp_path])
    assert names(found, tmp_path) == ["a.nc"]
    assert "not permitted" in reasons(found, tmp_path)["shut"]
    with pytest.raises(NamedPathError, match="not permitted"):
        walk([tmp_path / "shut"])


def test_names_with_line_feeds_and_bytes_that_are_no_text_are_found_and_shown_in_one_line(tmp_path: Path) -> None:
    odd = os.fsencode(tmp_path) + b"/a\nb\xff\x1b[31m.nc"
    Path(os.fsdecode(odd)).write_bytes(PROGRAM)
    found = walk([tmp_path])
    assert read_named(found.programs[0]) == PROGRAM
    text = shown(found.programs[0])
    assert "\n" not in text
    assert "\x1b" not in text
    text.encode("ascii")


def test_endings_and_ignore_rules_of_the_shop_file_count(tmp_path: Path) -> None:
    for name in ("a.txt", "b.nc", "scrap/c.txt", "old-d.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(PROGRAM)
    found = walk([tmp_path], endings_of=lambda _: ((".txt",), ((tmp_path, "scrap/"), (tmp_path, "old-*")), False))
    assert names(found, tmp_path) == ["a.txt"]


def test_programs_can_be_recognised_by_their_content(tmp_path: Path) -> None:
    (tmp_path / "noend").write_bytes(PROGRAM)
    (tmp_path / "letter.txt").write_bytes(b"Dear rower,\nthe oars are ready.\nYours, the shed\n")
    (tmp_path / "picture").write_bytes(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR")
    found = walk([tmp_path], endings_of=lambda _: (ENDINGS, (), True))
    assert names(found, tmp_path) == ["noend"]


@pytest.mark.parametrize(
    ("start", "is_one"),
    [
        (b"%\nO1234 (PAD)\nN10 G21 G90\nN20 G0 X1. Y-.5 (go)\nM30\n", True),
        (b"; pad\ng21\ng1x1y2f300 ; cut\nm2\n", True),
        (b"#1=3\nG1 X[#1+2] F100\nG0 Z5\nM2\n", True),
        (b"x,y,z\n1,2,3\n4,5,6\n", False),
        (b'[machine]\nlike = "a"\n', False),
        (b"T1\nT2\n", True),
        (b"A1\nB2\n", False),
        (b"", False),
        (b"X#1Y#2Z#3" * 300 + b" (", False),
    ],
)
def test_what_looks_like_a_program(start: bytes, is_one: bool) -> None:
    assert looks_like_program(start) is is_one


# -------------------------------------------------------------------------------------------------------------- reading


def test_a_file_that_changes_while_being_read_is_not_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.nc"
    path.write_bytes(PROGRAM)
    whole = os.fstat
    calls = []

    def fstat(handle: int) -> os.stat_result:
        if calls:
            path.write_bytes(PROGRAM * 2)
        calls.append(handle)
        return whole(handle)

    monkeypatch.setattr(files.os, "fstat", fstat)
    assert "changed while" in read_program(path).problem


def test_a_file_larger_than_the_bound_is_told_not_read(tmp_path: Path) -> None:
    path = tmp_path / "a.nc"
    with path.open("wb") as file:
        file.truncate(2_000_000_000)  # sparse: takes no room
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert "larger than 1 000 000 000 bytes" in read_program(path).problem
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000


def test_a_pipe_put_in_the_place_of_a_file_does_not_hold_the_run_up(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.nc")
    done: list[str] = []
    thread = threading.Thread(target=lambda: done.append(read_program(tmp_path / "a.nc").problem), daemon=True)
    thread.start()
    thread.join(5)
    assert done == ["it is a pipe, not a file"]


# ----------------------------------------------------------------------------------------------------------- shop files


def test_the_nearest_shop_file_counts_and_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a" / "b").mkdir(parents=True)
    (tmp_path / "feedwright.toml").write_text("[start]\ntool = 1\n")
    (tmp_path / "a" / "feedwright.toml").write_text("[start]\ntool = 2\n")
    assert find_shop_file(tmp_path / "a" / "b" / "p.nc") == tmp_path / "a" / "feedwright.toml"
    assert find_shop_file(tmp_path / "p.nc") == tmp_path / "feedwright.toml"
    shops = Shops()
    first = shops.for_program(tmp_path / "a" / "b" / "p.nc")
    monkeypatch.setattr(files, "load_shop_file", lambda *_: pytest.fail("read twice"))
    assert shops.for_program(tmp_path / "a" / "q.nc") is first
    named = Shops(tmp_path / "feedwright.toml")
    assert named.path_for(tmp_path / "a" / "q.nc") == tmp_path / "feedwright.toml"


# -------------------------------------------------------------------------------------------------------------- writing


def test_a_file_is_written_whole_with_its_mode_and_through_a_link(tmp_path: Path) -> None:
    real = tmp_path / "report.json"
    real.write_text("old")
    real.chmod(0o640)
    (tmp_path / "link.json").symlink_to(real)
    write_whole(tmp_path / "link.json", "new")
    assert real.read_text() == "new"
    assert real.stat().st_mode & 0o777 == 0o640
    assert sorted(path.name for path in tmp_path.iterdir()) == ["link.json", "report.json"]


def test_a_full_disk_leaves_the_old_file_whole(tmp_path: Path) -> None:
    """The limit on the size of a file stands for the full disk: the kernel refuses the write in the middle."""
    (tmp_path / "report.json").write_text("the old report")
    code = (
        "import resource, signal, sys\nfrom pathlib import Path\nfrom advisor.files import write_whole\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\nresource.setrlimit(resource.RLIMIT_FSIZE, (65536, 65536))\n"
        "try:\n    write_whole(Path(sys.argv[1]), 'x' * 1_000_000)\nexcept OSError as error:\n    sys.exit(7)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path / "report.json")], check=False)
    assert done.returncode == 7
    assert (tmp_path / "report.json").read_text() == "the old report"
    assert [path.name for path in tmp_path.iterdir()] == ["report.json"]


def test_a_rename_that_fails_leaves_nothing_beside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def replace(self: Path, target: Path) -> Path:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "replace", replace)
    with pytest.raises(OSError, match="No space"):
        write_whole(tmp_path / "new.json", "x")
    assert list(tmp_path.iterdir()) == []


def test_writing_onto_a_folder_or_into_none_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(IsADirectoryError):
        write_whole(tmp_path, "x")
    with pytest.raises(FileNotFoundError):
        write_whole(tmp_path / "no" / "report.json", "x")
