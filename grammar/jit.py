"""The one place numba is imported, and only when somebody asks for a compiled function.

Compiled code is kept on disk beside the module, or where NUMBA_CACHE_DIR says; where neither can be written it is
compiled anew in every run, which ``notes`` tells.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

notes: list[str] = []
_state: dict[str, Any] = {}


def unavailable() -> str | None:
    """None when functions can be compiled, else the reason."""
    if os.environ.get("FEEDWRIGHT_NO_NUMBA"):
        return "FEEDWRIGHT_NO_NUMBA is set"
    try:
        _numba()
    except Exception as error:  # a broken installation raises many kinds
        return f"numba cannot be loaded ({type(error).__name__}: {error})"
    return None


def _numba() -> Any:
    if "numba" not in _state:
        import numba

        _state["numba"] = numba
    return _state["numba"]


def kernel(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a function of numbers and arrays: no Python objects, no interpreter lock, no loosened arithmetic."""
    numba = _numba()
    options = {"nogil": True, "fastmath": False, "error_model": "numpy"}
    _choose_cache(Path(function.__code__.co_filename).parent)
    try:
        return numba.njit(cache=True, **options)(function)  # type: ignore[no-any-return]
    except RuntimeError as error:  # no place to keep compiled code
        if not notes:
            notes.append(f"compiled kernels cannot be kept on disk, so every run compiles them again: {error}")
        return numba.njit(**options)(function)  # type: ignore[no-any-return]


def _choose_cache(home: Path) -> None:
    """Where the module's own folder cannot be written and nothing else is said, keep compiled code per user."""
    config = _state["numba"].config
    if config.CACHE_DIR or _state.get("chosen"):
        return
    _state["chosen"] = True
    if _writable(home / "__pycache__") or _writable(home):
        return
    base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    for folder in (Path(base) / "feedwright" / "numba", Path(tempfile.gettempdir()) / f"feedwright-{os.getuid()}"):
        # numba makes the folder itself; here only the nearest folder there is decides
        there = next((p for p in (folder, *folder.parents) if p.exists()), folder)
        if _writable(there):
            config.CACHE_DIR = str(folder)
            return


def _writable(folder: Path) -> bool:
    return folder.is_dir() and os.access(folder, os.W_OK)
