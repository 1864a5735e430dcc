"""The build step that ships the compiled catalogue, run as setuptools runs it."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor import catalogue
from advisor.catalogue.compiling import compiled_text

ROOT = Path(__file__).resolve().parents[2]


def test_the_compiled_text_is_built_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("setuptools")
    from setuptools import Distribution

    from advisor.catalogue.build import BuildPy

    monkeypatch.chdir(ROOT)
    told = Distribution({"packages": ["advisor"], "package_data": {"advisor": ["data/*.toml"]}})
    told.script_name = "setup.py"
    step = BuildPy(told)
    step.build_lib = str(tmp_path)
    step.ensure_finalized()
    step.run()
    data = tmp_path / "advisor" / "data"
    built = (data / catalogue.COMPILED).read_bytes()
    assert built == compiled_text({file: (data / file).read_bytes() for file in catalogue.FILES})
    assert catalogue.load(data) == built
    assert not (data / "__pycache__").exists()  # read as it was shipped, nothing written
