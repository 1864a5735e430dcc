"""The wheel holds what the tool needs: built without a network, unpacked elsewhere, run from a third folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
KEPT = shutil.ignore_patterns("__pycache__", "*.pyc", "*.egg-info", "build")


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel's contents, built from a copy so that the checkout stays clean."""
    base = tmp_path_factory.mktemp("wheel")
    source = base / "source"
    source.mkdir()
    for package in ("advisor", "grammar"):
        shutil.copytree(ROOT / package, source / package, ignore=KEPT)
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, source / name)
    command = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "--no-index", "-q"]
    done = subprocess.run(
        [*command, "-w", str(base / "wheels"), str(source)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    (wheel,) = (base / "wheels").glob("feedwright-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(base / "unpacked")
    return base / "unpacked"


TOOL = ("-c", "import sys; from advisor.cli import main; sys.exit(main())")


def run(unpacked: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Python with the unpacked wheel first on its path, in another folder."""
    environment = {**os.environ, "PYTHONPATH": str(unpacked), "NO_COLOR": "1", "XDG_CACHE_HOME": str(folder / "cache")}
    return subprocess.run(
        [sys.executable, *arguments], cwd=folder, env=environment, capture_output=True, text=True, check=False
    )


def data_files(package: Path) -> set[str]:
    """All files that are not Python, relative to the package."""
    return {
        path.relative_to(package.parent).as_posix()
        for path in package.rglob("*")
        if path.is_file() and path.suffix not in (".py", ".pyc") and "__pycache__" not in path.parts
    }


def test_every_data_file_is_in_the_wheel(unpacked: Path) -> None:
    for package in ("advisor", "grammar"):
        wanted = data_files(ROOT / package)
        assert wanted, f"no data files found in {package}"
        assert wanted <= data_files(unpacked / package)
    assert not (unpacked / "tests").exists()
    assert not (unpacked / "sample_programs").exists()


def test_the_wheel_advises_and_checks_from_another_folder(unpacked: Path, tmp_path: Path) -> None:
    where = run(unpacked, tmp_path, "-c", "import advisor, grammar; print(advisor.__file__); print(grammar.__file__)")
    assert where.returncode == 0, where.stderr
    assert all(line.startswith(str(unpacked)) for line in where.stdout.split()), where.stdout

    shop = ["--cutter", "endmill-upcut-6mm-2f", "--material", "birch-plywood", "--machine", "ballscrew-router"]
    speeds = run(unpacked, tmp_path, *TOOL, "speeds", *shop, "--operation", "slot", "--depth", "18")
    assert speeds.returncode == 0, speeds.stdout + speeds.stderr

    (tmp_path / "feedwright.toml").write_text("[checks]\n", encoding="ascii")  # so that none further up counts
    program = tmp_path / "crossing.ngc"
    program.write_text("G21 G90\nT1 M6\nM3 S18000\nG0 X-10 Y10\nG0 Z-3\nG0 X60\nM5\nM30\n", encoding="ascii")
    stock = ["--stock", "50x50x18", "--zero", "0,0,18"]
    check = run(unpacked, tmp_path, *TOOL, "check", *shop, *stock, "--output", "json", str(program))
    assert check.returncode == 1, check.stdout + check.stderr
    assert '"rapid-into-stock"' in check.stdout

    page = run(unpacked, tmp_path, *TOOL, "explain", "rapid-into-stock")
    assert page.returncode == 0, page.stdout + page.stderr
