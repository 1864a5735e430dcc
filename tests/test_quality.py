"""Lint and types are part of the test command."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


def run(*arguments: str) -> tuple[int, str]:
    """Exit status and output of a module run in the checkout."""
    done = subprocess.run([sys.executable, "-m", *arguments], cwd=ROOT, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


def test_ruff_finds_nothing() -> None:
    status, output = run("ruff", "check", "--no-cache", ".")
    assert status == 0, output


@pytest.mark.xdist_group("mypy")
def test_mypy_strict_finds_nothing_in_both_packages() -> None:
    status, output = run("mypy", "--strict", "grammar", "advisor")
    assert status == 0, output


def test_both_checks_would_notice(tmp_path: Path) -> None:
    """A planted fault of each kind makes its tool fail, so a green run means something."""
    bad = tmp_path / "bad.py"
    bad.write_text("import os\n\n\ndef half(value):\n    return value / 2\n", encoding="utf-8")
    assert run("ruff", "check", "--no-cache", "--config", str(ROOT / "pyproject.toml"), str(bad))[0] == 1
    assert run("mypy", "--strict", "--cache-dir", str(tmp_path / "cache"), str(bad))[0] == 1
