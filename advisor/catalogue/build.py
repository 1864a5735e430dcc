"""Puts the compiled catalogue into the wheel; named in ``pyproject.toml`` under ``[tool.setuptools.cmdclass]``.

Loaded by setuptools by its path, before anything is installed: the checkout's root is put on the path first.
"""

from __future__ import annotations

import sys
from pathlib import Path

from setuptools.command.build_py import build_py  # type: ignore[import-untyped, unused-ignore]


class BuildPy(build_py):  # type: ignore[misc, unused-ignore]
    """Copies the packages as always, then writes ``catalogue.jsonl`` beside the copied TOML files."""

    def run(self) -> None:
        """Build, then compile the catalogue; a mistake in its data stops the build."""
        super().run()
        root = str(Path(__file__).resolve().parents[2])
        sys.path.insert(0, root)
        try:
            from advisor.catalogue import COMPILED, FILES
            from advisor.catalogue.compiling import compiled_text
        finally:
            sys.path.remove(root)
        folder = Path(self.build_lib) / "advisor" / "data"
        if folder.is_dir():  # not so in an editable install
            texts = {file: (folder / file).read_bytes() for file in FILES}
            (folder / COMPILED).write_bytes(compiled_text(texts))
