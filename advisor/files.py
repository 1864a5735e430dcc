"""The disk: reading programs and shop files, walking folders, writing whole files or none.

A path somebody named and that can't be read is a ``NamedPathError``; a file met while walking that can't be read is a
``Skipped``, which becomes the finding ``file-skipped``. Only ordinary files are ever opened, so a pipe or a device in a
folder can't hold the run up.
"""

from __future__ import annotations

import errno
import os
import stat
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import field
from pathlib import Path

from advisor.setting import ShopFile, extend, matches
from grammar.classes import dataclass

ENDINGS = (".nc", ".ngc", ".tap", ".cnc", ".gcode", ".min")
MAX_PROGRAM = 1_000_000_000  # bytes; larger files are told, not read
PEEK = 4096
MAX_DEPTH = 64  # folders below the one named


class NamedPathError(Exception):
    """A path the user named can't be read, or holds no program; the message names it and the remedy."""


@dataclass(frozen=True, slots=True)
class Skipped:
    """A file met while walking that was not checked, and why."""

    path: Path
    reason: str


@dataclass(frozen=True, slots=True)
class Walk:
    """What a walk found: programs to read, and files that could not be looked at; both sorted by path."""

    programs: tuple[Path, ...] = ()
    skipped: tuple[Skipped, ...] = ()
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Content:
    """The bytes of a program, or the reason why there are none."""

    data: bytes = field(default=b"", repr=False)
    problem: str = ""


# ----------------------------------------------------------------------------------------------------------- reading


def why_not(error: OSError, *, doing: str = "reading") -> str:
    """An operating system error in plain words; ``doing`` is ``reading`` or ``writing``."""
    words = {
        errno.ENOENT: "there is no such file or folder",
        errno.EACCES: f"{doing} it is not permitted",
        errno.EPERM: "it is not permitted",
        errno.EISDIR: "it is a folder",
        errno.ENOTDIR: "part of the path is not a folder",
        errno.ELOOP: "its links lead in a circle",
        errno.ENOSPC: "the disk is full",
        errno.EROFS: "the disk can only be read",
        errno.EDQUOT: "the disk quota is used up",
        errno.ENAMETOOLONG: "the name is too long",
        errno.EIO: "the disk reports an error",
    }
    return words.get(error.errno or 0, (error.strerror or str(error)).lower())


def read_program(path: Path, *, most: int = MAX_PROGRAM) -> Content:
    """Read the bytes of an ordinary file, once. A file that changes meanwhile is not given: it could be half of two."""
    try:
        # O_NONBLOCK: a pipe put in the file's place between look and opening must not hold us up
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except OSError as error:
        return Content(problem=why_not(error))
    except ValueError:
        return Content(problem="the name holds a NUL character")
    try:
        with os.fdopen(handle, "rb") as file:
            before = os.fstat(file.fileno())
            if not stat.S_ISREG(before.st_mode):
                return Content(problem=f"it is {_sort(before.st_mode)}, not a file")
            if before.st_size > most:
                return Content(problem=f"it is larger than {most:,} bytes".replace(",", " "))
            data = file.read(most + 1)
            after = os.fstat(file.fileno())
    except OSError as error:
        return Content(problem=why_not(error))
    if len(data) > most:
        return Content(problem=f"it is larger than {most:,} bytes".replace(",", " "))
    if len(data) != after.st_size or (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        return Content(problem="it changed while it was being read; run the check again when it is at rest")
    return Content(data)


def _sort(mode: int) -> str:
    for test, name in (
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a pipe"),
        (stat.S_ISSOCK, "a socket"),
        (stat.S_ISCHR, "a device"),
        (stat.S_ISBLK, "a device"),
    ):
        if test(mode):
            return name
    return "something else"


def read_named(path: Path) -> bytes:
    """Read a program the user named. Raises ``NamedPathError``."""
    content = read_program(path)
    if content.problem:
        raise NamedPathError(f"{shown(path)} can't be read: {content.problem}")
    return content.data


def shown(path: Path | str) -> str:
    """A path for a message: control characters and bytes that are no text made visible."""
    text = os.fspath(path)
    return "".join(c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode() for c in text)


# ----------------------------------------------------------------------------------------------------------- shop file


def find_shop_file(program: Path, name: str = "feedwright.toml") -> Path | None:
    """The nearest shop file in the folder of ``program`` or one above it; ``program`` is absolute."""
    for folder in program.parents:
        candidate = folder / name
        if candidate.is_file():
            return candidate
    return None


def load_shop_file(path: Path, *, seen: tuple[Path, ...] = ()) -> ShopFile:
    """Read a shop file and what it extends.

    Raises ``advisor.shopfile.ShopFileError`` with every mistake, also where a file can't be read or extends itself.
    """
    from advisor.shopfile import Mistake, ShopFileError, parse

    name = shown(short(path))
    content = read_program(path, most=8_000_000)
    if content.problem:
        raise ShopFileError([Mistake(name, 0, "", f"the shop file can't be read: {content.problem}")])
    mistakes: list[Mistake] = []
    over: ShopFile | None = None
    try:
        over = parse(content.data, path, shown=name)
        base_path = over.extend
    except ShopFileError as error:
        mistakes += error.mistakes
        base_path = error.extend
    if base_path is not None:
        here = (*seen, path.resolve())
        if base_path.resolve() in here:
            chain = " -> ".join(shown(short(p)) for p in (*here, base_path.resolve()))
            raise ShopFileError([Mistake(name, 0, "extend", f"these files extend each other in a circle: {chain}")])
        try:
            base = load_shop_file(base_path, seen=here)
        except ShopFileError as error:
            mistakes += error.mistakes
        else:
            if over is not None:
                from advisor.shopfile import jobs_in_two_files

                mistakes += jobs_in_two_files(base, over, name)
                if not mistakes:
                    return extend(base, over)
    if mistakes or over is None:
        raise ShopFileError(mistakes)
    return over


class Shops:
    """Shop files by program, each read once."""

    def __init__(self, config: Path | None = None) -> None:
        self.config = config
        self._by_folder: dict[Path, Path | None] = {}
        self._loaded: dict[Path, ShopFile] = {}

    def path_for(self, program: Path) -> Path | None:
        """The shop file that counts for ``program`` (absolute)."""
        if self.config is not None:
            return self.config
        if program.parent not in self._by_folder:
            self._by_folder[program.parent] = find_shop_file(program)
        return self._by_folder[program.parent]

    def used(self) -> tuple[Path, ...]:
        """The shop files read so far, sorted."""
        return tuple(sorted(self._loaded))

    def loaded(self, path: Path) -> ShopFile:
        """A shop file read before."""
        return self._loaded[path]

    def for_program(self, program: Path) -> ShopFile | None:
        """The shop file of ``program``, read at its first use. Raises ``ShopFileError``."""
        path = self.path_for(program)
        if path is None:
            return None
        if path not in self._loaded:
            self._loaded[path] = load_shop_file(path)
        return self._loaded[path]


def short(path: Path) -> Path:
    """A path as seen from the working folder where it lies below it, else as it is."""
    try:
        return path.relative_to(Path.cwd())
    except (ValueError, OSError):
        return path


# ------------------------------------------------------------------------------------------------------------- walking


def walk(
    paths: Sequence[Path],
    *,
    endings_of: Callable[[Path], tuple[tuple[str, ...], Iterable[tuple[Path, str]], bool]] | None = None,
) -> Walk:
    """The programs among ``paths``: named files as they are, folders searched.

    ``endings_of(folder)`` gives file endings, ignore patterns with their folders, and whether programs are recognised
    by content, for the files of a folder. Hidden files and folders are passed over; links are followed only to places
    inside the named folder, and no folder is entered twice. Raises ``NamedPathError`` for a named path that can't be
    read.
    """
    programs: dict[Path, None] = {}
    skipped: dict[Path, str] = {}
    notices: list[str] = []
    for path in paths:
        try:
            mode = path.stat().st_mode
        except OSError as error:
            raise NamedPathError(f"{shown(path)} can't be read: {why_not(error)}") from None
        except ValueError:
            raise NamedPathError(f"{shown(path)} can't be read: the name holds a NUL character") from None
        if stat.S_ISDIR(mode):
            _walk_folder(path, endings_of, programs, skipped, notices)
        elif stat.S_ISREG(mode):
            if not os.access(path, os.R_OK):
                raise NamedPathError(f"{shown(path)} can't be read: reading it is not permitted")
            programs[path] = None
        else:
            raise NamedPathError(f"{shown(path)} can't be read: it is {_sort(mode)}, not a file")
    unreadable = tuple(Skipped(path, reason) for path, reason in sorted(skipped.items()) if path not in programs)
    return Walk(tuple(sorted(programs)), unreadable, tuple(notices))


def _walk_folder(
    top: Path,
    endings_of: Callable[[Path], tuple[tuple[str, ...], Iterable[tuple[Path, str]], bool]] | None,
    programs: dict[Path, None],
    skipped: dict[Path, str],
    notices: list[str],
) -> None:
    root = os.path.realpath(top)
    entered: set[str] = set()

    def enter(folder: Path, depth: int) -> None:
        real = os.path.realpath(folder)
        if real in entered:
            return
        entered.add(real)
        if depth > MAX_DEPTH:
            skipped[folder] = f"it lies more than {MAX_DEPTH} folders deep"
            return
        try:
            with os.scandir(folder) as entries:
                names = sorted(entries, key=lambda entry: os.fsencode(entry.name))
        except OSError as error:
            if depth == 0:
                raise NamedPathError(f"{shown(folder)} can't be read: {why_not(error)}") from None
            skipped[folder] = f"the folder can't be read: {why_not(error)}"
            return
        absolute = Path(os.path.abspath(folder))  # noqa: PTH100 - links stay as they are
        endings, ignored, by_content = endings_of(absolute) if endings_of is not None else (ENDINGS, (), False)
        ignored = list(ignored)
        for entry in names:
            if entry.name.startswith("."):
                continue
            path = folder / entry.name
            if any(matches(absolute / entry.name, base, pattern) for base, pattern in ignored):
                continue
            wanted = Path(entry.name).suffix.lower() in endings
            try:
                if entry.is_symlink():
                    target = os.path.realpath(path)
                    if os.path.commonpath([root, target]) != root:
                        if wanted:
                            skipped[path] = "it is a link that leads out of the folder"
                        elif Path(target).is_dir():
                            notices.append(f"{shown(path)} is a link that leads out of the folder: not entered")
                        continue
                mode = entry.stat().st_mode
            except OSError as error:
                if wanted:
                    skipped[path] = why_not(error)
                continue
            if stat.S_ISDIR(mode):
                enter(path, depth + 1)
            elif not stat.S_ISREG(mode):
                if wanted:
                    skipped[path] = f"it is {_sort(mode)}, not a file"
            elif wanted or (by_content and _is_program(path)):
                programs[path] = None

    enter(top, 0)


def _is_program(path: Path) -> bool:
    """True where the first bytes of a file look like a program: told by content, not by name."""
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(handle, "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                return False
            return looks_like_program(file.read(PEEK))
    except OSError:
        return False


def looks_like_program(start: bytes) -> bool:
    """True where most of the first lines are blocks: a word letter with a number, a comment, ``%`` or empty.

    At least one line must hold a G, M, T, S, F, X, Y or Z word.
    """
    import re

    if b"\0" in start:
        return False
    lines = [line.strip() for line in start.splitlines()[:60]]
    if len(start) == PEEK and len(lines) > 1:
        lines.pop()  # cut off in the middle
    full = [line for line in lines if line]
    comments = re.compile(rb"\([^()]*\)|;.*$|//.*$")
    word = re.compile(rb"[A-Z]\s*[-+]?(?:\d+\.?\d*|\.\d+)\s*", re.IGNORECASE)
    motion = re.compile(rb"(?:^|[\s\d/.])[GMTSFXYZ]\s*[-+]?[.\d]", re.IGNORECASE)
    words = other = 0
    moves = False
    for line in full:
        left = comments.sub(b"", line).lstrip(b"/").strip()
        if left in (b"", b"%") or b"#" in left or b"[" in left:
            other += 1
        elif not word.sub(b"", left):
            words += 1
            moves = moves or motion.search(left) is not None
    return words >= 2 and words + other >= 0.8 * len(full) and moves


# ------------------------------------------------------------------------------------------------------------- writing


def write_whole(path: Path, text: str | bytes) -> None:
    """Write a file whole or not at all: beside it, flushed to the disk, then renamed into its place.

    Raises ``OSError``; the file that stood there is then unchanged and nothing is left beside it. A link is written
    through; a device or pipe (``/dev/stdout``) is written to as it is.
    """
    data = text.encode("utf-8", "surrogateescape") if isinstance(text, str) else text
    target = Path(os.path.realpath(path))
    try:
        mode: int | None = target.stat().st_mode
    except FileNotFoundError:
        mode = None
    if mode is not None and stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if mode is not None and not stat.S_ISREG(mode):
        with target.open("wb") as stream:
            stream.write(data)
        return
    handle, beside = tempfile.mkstemp(prefix=f".{target.name[:40]}.", suffix=".part", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(beside).chmod(stat.S_IMODE(mode) if mode is not None else 0o666 & ~_umask())
        Path(beside).replace(target)
    except BaseException:
        with suppress(OSError):
            Path(beside).unlink()
        raise
    with suppress(OSError):  # some file systems can't flush a folder; the file itself is whole either way
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def programs_sorted(paths: Iterable[Path]) -> Iterator[Path]:
    """Paths in the order reports have them."""
    yield from sorted(paths, key=lambda path: os.fsencode(path))
