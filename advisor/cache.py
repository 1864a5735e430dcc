"""Reports of programs already checked, kept from run to run.

An entry is found by everything its report depends on: the bytes of the program, the setting in force, what was cut
before it in its job, the version of the tool and the state of its own files. It holds the unfiltered report as JSON
behind a checksum. An entry that is cut off, changed, of another user, or open to others' writing is not used. Nothing
here is needed for a right result: any failure of the disk means only that the work is done again.

Light on purpose: a run in which every program is found here loads no array package and no parser.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import stat
import sys
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import field, fields, is_dataclass
from pathlib import Path
from typing import Any

from advisor.findings import Finding, NotChecked, ProgramReport, Suppressed
from grammar.classes import dataclass

SCHEMA = "feedwright.cache/1"
SIZE_LIMIT = 256 * 1024 * 1024  # bytes
ENTRY_LIMIT = 16 * 1024 * 1024  # bytes; a longer report is worked out again

_NEVER_KEPT = frozenset({"internal-error"})


def default_folder() -> Path:
    """The user's cache folder (XDG Base Directory Specification 0.8; LOCALAPPDATA on Windows), not made yet."""
    root = os.environ.get("XDG_CACHE_HOME", "")
    if root and Path(root).is_absolute():  # the specification: relative paths are invalid and are to be ignored
        return Path(root) / "feedwright"
    if sys.platform == "win32" and os.environ.get("LOCALAPPDATA"):
        return Path(os.environ["LOCALAPPDATA"]) / "feedwright" / "cache"
    return Path.home() / ".cache" / "feedwright"


# --- keys ------------------------------------------------------------------------------------------------------------


def canonical(value: Any) -> Any:
    """A value as lists and strings that are equal exactly when the values are; dataclasses by field name."""
    if value is None or isinstance(value, (str, bool, int, float)):
        return value  # JSON text tells 1 from 1.0 and gives floats in full
    if is_dataclass(value) and not isinstance(value, type):
        return {"": type(value).__name__, **{f.name: canonical(getattr(value, f.name)) for f in fields(value)}}
    if isinstance(value, Mapping):
        pairs = [[canonical(k), canonical(v)] for k, v in value.items()]
        return {"map": sorted(pairs, key=lambda pair: json.dumps(pair[0], sort_keys=True))}
    if isinstance(value, (list, tuple)):
        return [canonical(v) for v in value]
    if isinstance(value, (set, frozenset)):
        return {"set": sorted((canonical(v) for v in value), key=lambda v: json.dumps(v, sort_keys=True))}
    raise TypeError(f"a {type(value).__name__} has no place in a cache key")


def digest(value: Any) -> str:
    """SHA-256 of the canonical form, hexadecimal."""
    text = json.dumps(canonical(value), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def own_state() -> str:
    """A digest of the tool itself: names and contents of its files, so that an edited checkout starts afresh.

    Times don't count: on a machine made anew for each run every file is new, and the cache it is handed still holds.
    """
    seen = hashlib.sha256()
    root = Path(__file__).resolve().parent
    for folder in (root, root.parent / "grammar"):
        for entry in _files_below(str(folder)):
            with Path(entry.path).open("rb") as file:
                content = file.read()
            name = os.path.relpath(entry.path, root.parent).replace(os.sep, "/")
            seen.update(f"{name}\0{len(content)}\n".encode("utf-8", "surrogateescape"))
            seen.update(content)
    return seen.hexdigest()


def _files_below(folder: str) -> Iterable[os.DirEntry[str]]:
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda e: e.name):
            if entry.is_dir(follow_symlinks=False):
                if entry.name != "__pycache__":
                    yield from _files_below(entry.path)
            elif entry.name.endswith((".py", ".lark", ".toml", ".json")):
                yield entry


def program_key(data: bytes, setting_digest: str, engine: str, before: Iterable[str] = ()) -> str:
    """The name of an entry. ``before``: keys of the programs this one depends on (same job, called), in order."""
    seen = hashlib.sha256(f"{SCHEMA}\0{engine}\0{setting_digest}\0{len(data)}\0".encode())
    for key in before:
        seen.update(f"{key}\0".encode())
    seen.update(data)
    return seen.hexdigest()


# --- reports as text -------------------------------------------------------------------------------------------------


def to_text(report: ProgramReport) -> str:
    """A report as JSON; ``from_text`` gives back an equal one but for plain lists and string keys in the mappings."""
    return json.dumps(_plain(report), separators=(",", ":"), allow_nan=False)


def from_text(text: str) -> ProgramReport:
    """The report of ``to_text``. Raises ``ValueError``, ``KeyError`` or ``TypeError`` on anything else."""
    made: dict[str, Any] = json.loads(text)
    return ProgramReport(
        path=made["path"],
        dialect=made["dialect"],
        findings=tuple(_finding(f) for f in made["findings"]),
        not_checked=tuple(NotChecked(*n) for n in made["not_checked"]),
        suppressed=tuple(Suppressed(_finding(s[0]), s[1], s[2]) for s in made["suppressed"]),
        assumptions=tuple(made["assumptions"]),
        setup=made["setup"],
        summary=made["summary"],
        blocks_text={int(line): text for line, text in made["blocks_text"].items()},
        rules_looked=tuple(made["rules_looked"]),
    )


_FINDING_FIELDS = tuple(f.name for f in fields(Finding))
_AT = _FINDING_FIELDS.index("at")


def _finding(values: list[Any]) -> Finding:
    if values[_AT] is not None:
        values[_AT] = tuple(values[_AT])
    return Finding(*values)


def _plain(report: ProgramReport) -> dict[str, Any]:
    return {
        "path": report.path,
        "dialect": report.dialect,
        "findings": [[_number(getattr(f, name)) for name in _FINDING_FIELDS] for f in report.findings],
        "not_checked": [[n.rule, n.reason, n.cause, _number(n.from_line), _number(n.to_line)] for n in report.not_checked],
        "suppressed": [
            [[_number(getattr(s.finding, name)) for name in _FINDING_FIELDS], s.reason, s.kind] for s in report.suppressed
        ],
        "assumptions": list(report.assumptions),
        "setup": _number(report.setup),
        "summary": _number(report.summary),
        "blocks_text": {str(line): text for line, text in sorted(report.blocks_text.items())},
        "rules_looked": list(report.rules_looked),
    }


def _number(value: Any) -> Any:
    """Any value as JSON holds it exactly; what is not a finite number is None; array values by ``tolist``."""
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        return None if value != value or value in (float("inf"), float("-inf")) else float(value)
    if isinstance(value, Mapping):
        return {str(k): _number(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_number(v) for v in value]
    if isinstance(value, (set, frozenset)):
        return [_number(v) for v in sorted(value)]
    if hasattr(value, "tolist"):
        return _number(value.tolist())
    raise TypeError(f"a report can't hold a {type(value).__name__}")


# --- the folder ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Cache:
    """A folder of entries. All methods are quiet about the disk.

    ``problem`` says why the cache is not in use; ``refused`` gathers why entries could not be written.
    """

    folder: Path
    problem: str | None = None
    size_limit: int = SIZE_LIMIT
    refused: list[str] = field(default_factory=list, compare=False)

    def get(self, key: str) -> str | None:
        """The text kept under a key, or None where there is none that can be trusted."""
        if self.problem is not None:
            return None
        try:
            handle = os.open(self._entry(key), os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
        except OSError:
            return None
        try:
            with os.fdopen(handle, "rb") as file:
                if not _is_own(os.fstat(handle)):
                    return None
                raw = file.read(ENTRY_LIMIT + 1024)
        except OSError:
            return None
        return _unseal(raw)

    def put(self, key: str, text: str) -> bool:
        """Keep a text; whole or not at all. False where it could not be kept."""
        if self.problem is not None or len(text) > ENTRY_LIMIT:
            return False
        entry = self._entry(key)
        try:
            entry.parent.mkdir(mode=0o700, exist_ok=True)
            _place(entry, _seal(text))
        except OSError as error:
            self.refused.append(error.strerror or str(error))
            return False
        return True

    def trim(self) -> int:
        """Remove the entries written longest ago until the rest fits; returns how many. For after a run that wrote."""
        if self.problem is not None:
            return 0
        found: list[tuple[float, int, str]] = []
        try:
            for part in list(os.scandir(self.folder)):
                if part.is_dir(follow_symlinks=False):
                    for entry in os.scandir(part.path):
                        with contextlib.suppress(OSError):
                            info = entry.stat(follow_symlinks=False)
                            found.append((info.st_mtime, info.st_size, entry.path))
        except OSError:
            return 0
        total = sum(size for _, size, _ in found)
        removed = 0
        for _, size, path in sorted(found):
            if total <= self.size_limit:
                break
            with contextlib.suppress(OSError):
                Path(path).unlink()
                removed += 1
            total -= size
        return removed

    def _entry(self, key: str) -> Path:
        return self.folder / key[:2] / key[2:]


def open_cache(folder: Path | None = None, size_limit: int = SIZE_LIMIT) -> Cache:
    """The cache in a folder (default: the user's), made if need be. Never raises: see ``Cache.problem``."""
    try:
        chosen = (folder if folder is not None else default_folder()) / "check-1"
    except RuntimeError as error:  # no home folder
        return Cache(Path(), problem=str(error))
    try:
        chosen.mkdir(mode=0o700, parents=True, exist_ok=True)
        info = chosen.lstat()
    except OSError as error:
        return Cache(chosen, problem=f"the cache folder can't be used: {error.strerror or error}")
    if not stat.S_ISDIR(info.st_mode):
        return Cache(chosen, problem="the cache folder is a link or a file")
    if not _is_own(info, folder=True):
        return Cache(chosen, problem="the cache folder belongs to another user, or others may write to it")
    return Cache(chosen, size_limit=size_limit)


def default_cache() -> Cache:
    """The user's own cache."""
    return open_cache()


def no_cache() -> Cache:
    """A cache that keeps nothing."""
    return Cache(Path(), problem="switched off")


def may_keep(report: ProgramReport) -> bool:
    """False for what a second try may answer differently."""
    return not any(f.rule in _NEVER_KEPT for f in report.findings)


def _is_own(info: os.stat_result, folder: bool = False) -> bool:
    if not folder and not stat.S_ISREG(info.st_mode):
        return False
    if not hasattr(os, "geteuid"):
        return True
    return info.st_uid == os.geteuid() and not info.st_mode & 0o022


def _seal(text: str) -> bytes:
    body = text.encode("utf-8", "surrogatepass")
    return f"{SCHEMA} {len(body)} {hashlib.sha256(body).hexdigest()}\n".encode() + body


def _unseal(raw: bytes) -> str | None:
    head, line_end, body = raw.partition(b"\n")
    if not line_end or head != f"{SCHEMA} {len(body)} {hashlib.sha256(body).hexdigest()}".encode():
        return None
    try:
        return body.decode("utf-8", "surrogatepass")
    except UnicodeDecodeError:
        return None


def _place(entry: Path, data: bytes) -> None:
    """Put an entry in its place at once, so that a run beside this one sees it whole or not at all.

    Nothing waits for the disk: an entry lost by a power cut is worked out again, and half of one fails its checksum.
    """
    handle, name = tempfile.mkstemp(prefix=".new-", dir=entry.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(name).replace(entry)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
