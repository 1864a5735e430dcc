"""Checks many programs: what is known from an earlier run is taken from the cache, the rest is shared by the cores.

The report is the same to the byte whatever the number of workers, the cache and the order in which they end. A program
that ends its worker (or makes the check fail) becomes the finding ``internal-error``; all the others are still checked.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from advisor import __version__
from advisor.cache import Cache, digest, from_text, may_keep, no_cache, own_state, program_key, to_text
from advisor.findings import Finding, NotChecked, ProgramReport, Report
from advisor.memory import keep_freed
from advisor.values import Setting

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import BaseContext
    from multiprocessing.process import BaseProcess

Check = Callable[..., ProgramReport]

HOLD_LIMIT = 64 * 1024 * 1024  # bytes of programs kept in memory between the look into the cache and the check
FEW = 4  # fewer programs than this, and
SMALL = 60_000  # fewer bytes than this, are checked in this process: starting others would take longer
MOST_WORKERS = 61  # a limit of waiting on handles on Windows

REPORT_IT = (
    "Tell the makers of Feedwright, with this program or the smallest part of it that still fails, and this message. "
    "Look through this program by hand."
)


@dataclass(frozen=True, slots=True)
class Task:
    """One program to check.

    ``path`` is how the report names it. The bytes are ``data``, or what ``read()`` gives; ``read`` may raise
    ``OSError``. ``ready`` is a report that stands already (a file that was skipped). ``depends`` are digests of what
    else the result depends on. ``extra`` goes to the check as keyword arguments and must be part of ``depends``.
    """

    path: str
    setting: Setting
    data: bytes | None = None
    read: Callable[[], bytes] | None = None
    ready: ProgramReport | None = None
    depends: tuple[str, ...] = ()
    extra: tuple[tuple[str, Any], ...] = ()


def run_check(
    tasks: Sequence[Task],
    *,
    cache: Cache | None = None,
    workers: int | None = None,
    check: Check | None = None,
    engine: str | None = None,
    progress: Callable[[float, int], None] | None = None,
    notices: Sequence[str] = (),
) -> Report:
    """The report over all tasks, sorted by path.

    ``workers``: how many processes at most; default: the cores this process may use, and none for a few small programs.
    ``check``: ``advisor.check.check_program`` or the like, importable by name. ``engine``: what identifies the tool in
    the cache's keys. ``progress(done, of)`` is called as programs are done, in one process with parts of a program too.
    ``KeyboardInterrupt`` ends the workers and goes on to the caller.
    """
    kept = cache if cache is not None else no_cache()
    work = _Work(tasks, kept, engine, progress)
    work.look_up()
    wanted = _worker_count(work, workers)
    if wanted > 1:
        work.share(wanted, check)
    else:
        work.do_all(check)
    if work.wrote:
        kept.trim()
    programs = sorted((work.report(i) for i in range(len(tasks))), key=lambda p: p.path)
    return Report(version=__version__, programs=tuple(programs), notices=tuple(notices))


def cores() -> int:
    """Cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def in_shard(path: str, part: int, of: int) -> bool:
    """Whether a program belongs to part ``part`` (1-based) of ``of``; by its path alone, the same on every machine.

    Every program belongs to exactly one part. Raises ``ValueError`` unless 1 <= part <= of.
    """
    if not 1 <= part <= of:
        raise ValueError(f"the part of --shard must be from 1 to {of}, not {part}: for example 1/{of}")
    name = path.replace(os.sep, "/") if os.sep != "/" else path
    number = int.from_bytes(hashlib.sha256(name.encode("utf-8", "surrogatepass")).digest()[:8], "big")
    return number % of == part - 1


def parse_shard(text: str) -> tuple[int, int]:
    """``2/8`` -> (2, 8). Raises ``ValueError`` with the remedy."""
    part, slash, of = text.partition("/")
    if not slash or not part.isdecimal() or not of.isdecimal() or not 1 <= int(part) <= int(of):
        raise ValueError(f"--shard takes PART/PARTS with 1 <= PART <= PARTS, for example 2/8, not {text!r}")
    return int(part), int(of)


def exit_status(report: Report, fail_on: str = "error") -> int:
    """0; 1 for findings at or above ``fail_on`` (error, warning, note, never); 2 where the check failed or saw none."""
    order = {"error": 0, "warning": 1, "note": 2}
    bar = order.get(fail_on, -1)
    findings = [f for p in report.programs for f in p.findings]
    if not report.programs or any(f.rule == "internal-error" for f in findings):
        return 2
    return int(any(order.get(f.severity, 0) <= bar for f in findings))


# --- findings the run itself makes -----------------------------------------------------------------------------------


def skipped(path: str, reason: str, *, setting: Setting | None = None) -> ProgramReport:
    """The report on a file that could not be read, or was left out: never a clean one."""
    severity = setting.checks.severity.get("file-skipped", "error") if setting is not None else "error"
    finding = Finding(
        rule="file-skipped",
        severity="error" if severity == "off" else severity,
        message=f"This file was not checked: {reason}.",
        line=1,
        end_line=1,
        why="A file that nobody looked at may hold anything.",
        fix="Make it readable, or leave it out with an ignore rule in the shop file.",
        safety="Do not run a program from this file before it has been checked.",
        fingerprint=_fingerprint("file-skipped", reason),
    )
    return _unseen(path, finding, reason, setting)


def failed(path: str, what: str, *, setting: Setting | None = None) -> ProgramReport:
    """The report on a program at which the check itself failed."""
    finding = Finding(
        rule="internal-error",
        severity="error",
        message=f"Feedwright {__version__} failed at this program: {what}",
        line=1,
        end_line=1,
        why="The check did not come to its end, so nothing is known of this program.",
        fix=REPORT_IT,
        safety="Do not run this program on the strength of this report.",
        fingerprint=_fingerprint("internal-error", what),
    )
    return _unseen(path, finding, "the check failed", setting)


def _unseen(path: str, finding: Finding, reason: str, setting: Setting | None) -> ProgramReport:
    from advisor.rules import book

    return ProgramReport(
        path=path,
        dialect=setting.checks.dialect if setting is not None else "shop",
        findings=(finding,),
        not_checked=tuple(
            NotChecked(name, reason, finding.rule, 1, 1)
            for name, rule in book().items()
            if rule.group != "housekeeping"
        ),
    )


def _fingerprint(rule: str, text: str) -> str:
    return hashlib.sha256(f"{rule}\0{text}".encode("utf-8", "surrogatepass")).hexdigest()[:20]


# --- one run ---------------------------------------------------------------------------------------------------------


class _Work:
    """What is known so far of each task, by its place in the list."""

    def __init__(
        self,
        tasks: Sequence[Task],
        cache: Cache,
        engine: str | None,
        progress: Callable[[float, int], None] | None,
    ) -> None:
        self.tasks = tasks
        self.cache = cache
        self.engine = engine
        self.progress = progress
        self.texts: dict[int, str] = {}
        self.made: dict[int, ProgramReport] = {}
        self.missing: list[int] = []
        self.sizes: dict[int, int] = {}
        self.held: dict[int, bytes] = {}
        self.wrote = False
        self.digests: dict[int, tuple[Setting, str | None]] = {}

    # -- reading and the cache

    def look_up(self) -> None:
        """Reads every program and takes what the cache holds; what is left stands in ``missing``, biggest first."""
        held = 0
        for i, task in enumerate(self.tasks):
            if task.ready is not None:
                self.made[i] = task.ready
                self._tell()
                continue
            data = self._read(i)
            if data is None:
                continue
            text = self._cached(task, data)
            if text is not None:
                self.texts[i] = text
                self._tell()
                continue
            self.missing.append(i)
            self.sizes[i] = len(data)
            if held + len(data) <= HOLD_LIMIT or task.data is not None:
                self.held[i] = data
                held += len(data) if task.data is None else 0
        self.missing.sort(key=lambda i: (-self.sizes[i], i))

    def _read(self, i: int) -> bytes | None:
        task = self.tasks[i]
        if task.data is not None:
            return task.data
        try:
            if task.read is None:
                raise OSError("there is nothing to read it from")
            return task.read()
        except OSError as error:
            self.made[i] = skipped(task.path, error.strerror or str(error), setting=task.setting)
            self._tell()
            return None

    def _key(self, task: Task, data: bytes) -> str | None:
        """The cache's key; None where there is no cache or the setting can't be part of a key."""
        if self.cache.problem is not None:
            return None
        known = self.digests.get(id(task.setting))
        if known is None:
            try:
                known = (task.setting, digest(task.setting))
            except TypeError:
                known = (task.setting, None)
            self.digests[id(task.setting)] = known  # holds the setting, so that its id stays its own
        if known[1] is None:
            return None
        if self.engine is None:
            self.engine = f"{__version__} {own_state()}"
        return program_key(data, known[1], self.engine, task.depends)

    def _cached(self, task: Task, data: bytes) -> str | None:
        key = self._key(task, data)
        return self.cache.get(key) if key is not None else None

    def _done(self, i: int, data: bytes, text: str) -> None:
        self.texts[i] = text
        self._tell()
        task = self.tasks[i]
        key = self._key(task, data)
        if key is not None and may_keep(from_text(text)):
            self.wrote |= self.cache.put(key, text)

    def _failed(self, i: int, what: str) -> None:
        task = self.tasks[i]
        self.made[i] = failed(task.path, what, setting=task.setting)
        self._tell()

    def _tell(self, part: float = 0.0) -> None:
        """Tell how many programs are done, and which part of the next one."""
        if self.progress is not None:
            self.progress(len(self.texts) + len(self.made) + part, len(self.tasks))

    def report(self, i: int) -> ProgramReport:
        """The finished report of a task; always by way of its text, so that a kept one and a new one are the same."""
        if i in self.made:
            return self.made[i]
        try:
            return replace(from_text(self.texts[i]), path=self.tasks[i].path)
        except (ValueError, KeyError, TypeError, IndexError):  # sealed, but of another form
            return failed(
                self.tasks[i].path, "its kept report can't be read; try --no-cache", setting=self.tasks[i].setting
            )

    def next_program(self) -> Iterator[tuple[int, bytes]]:
        """The programs still to check with their bytes, biggest first; one that can't be read now is a skipped file."""
        for i in self.missing:
            data = self.held.pop(i, None)
            if data is None:
                data = self._read(i)
            if data is not None:
                yield i, data

    # -- here

    def do_all(self, check: Check | None) -> None:
        """Checks what is missing in this process."""
        for i, data in self.next_program():
            extra = self.tasks[i].extra
            if check is None and self.progress is not None:
                extra = (*extra, ("progress", self._tell))
            good, text = _check_one(check, self.tasks[i].path, data, self.tasks[i].setting, extra)
            if good:
                self._done(i, data, text)
            else:
                self._failed(i, text)

    # -- shared

    def share(self, count: int, check: Check | None) -> None:
        """Checks what is missing in ``count`` processes."""
        from multiprocessing.connection import wait

        programs = self.next_program()
        crew = _Crew(count, check)
        try:
            while True:
                for worker in crew.idle():
                    upcoming = next(programs, None)
                    if upcoming is None:
                        break
                    i, data = upcoming
                    task = self.tasks[i]
                    worker.give(i, data, task.path, task.setting, task.extra)
                busy = crew.busy()
                if not busy:
                    return
                ready = set(wait([*(w.pipe for w in busy), *(w.process.sentinel for w in busy)]))
                for worker in busy:
                    if worker.pipe in ready or worker.process.sentinel in ready:
                        self._collect(crew, worker)
        finally:
            crew.end()

    def _collect(self, crew: _Crew, worker: _Worker) -> None:
        assert worker.task is not None
        i, data = worker.task
        answer = worker.answer()
        if answer is None:
            self._failed(i, f"its process ended unexpectedly ({crew.replace(worker)})")
        elif answer[0]:
            self._done(i, data, answer[1])
        else:
            self._failed(i, answer[1])


def _worker_count(work: _Work, workers: int | None) -> int:
    left = len(work.missing)
    if workers is not None and workers < 1:
        raise ValueError(f"the number of workers must be at least 1, not {workers}")
    if workers is None and left < FEW and sum(work.sizes[i] for i in work.missing) < SMALL:
        return 1
    return min(workers if workers is not None else cores(), left, MOST_WORKERS)


def _check_one(
    check: Check | None, path: str, data: bytes, setting: Setting, extra: tuple[tuple[str, Any], ...]
) -> tuple[bool, str]:
    """The report as text, or what went wrong. Takes everything but a request to stop."""
    try:
        keep_freed()
        if check is None:
            from advisor.check import check_program

            check = check_program
        return True, to_text(check(data, path=path, setting=setting, **dict(extra)))
    except KeyboardInterrupt:
        raise
    except BaseException as error:  # a call of exit inside the check must not look like a clean end
        return False, describe(error)


def describe(error: BaseException) -> str:
    """The error in one line, with the place in the tool's own code it came from."""
    frames = traceback.extract_tb(error.__traceback__)
    place = ""
    if frames:
        file = frames[-1].filename.replace(os.sep, "/").split("/")
        place = f" at {'/'.join(file[-2:])}:{frames[-1].lineno}"
    said = " ".join(str(error).split())[:300]
    return f"{type(error).__name__}{place}" + (f": {said}" if said else "")


# --- processes -------------------------------------------------------------------------------------------------------


class _Worker:
    """One process and this end of its pipe."""

    def __init__(self, context: BaseContext, others: Sequence[_Worker], check: Check | None, threads: int) -> None:
        self.pipe: Connection[Any, Any]
        self.pipe, far = context.Pipe()
        # A forked child also gets the near ends of all pipes. It must close them: otherwise a worker whose parent was
        # killed would never see the end of its pipe, and stay.
        forked = context.get_start_method() == "fork"
        near = [w.pipe for w in others] + [self.pipe] if forked else []
        self.process: BaseProcess = context.Process(  # type: ignore[attr-defined]
            target=_serve, args=(far, near, check, threads), daemon=True
        )
        with _held_back_interrupt():
            self.process.start()
        far.close()
        self.task: tuple[int, bytes] | None = None

    def give(self, i: int, data: bytes, path: str, setting: Setting, extra: tuple[tuple[str, Any], ...]) -> None:
        self.task = (i, data)
        # A worker that died while idle is told by ``answer``, so a closed pipe is no matter here.
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            self.pipe.send((data, path, setting, extra))

    def answer(self) -> tuple[bool, str] | None:
        """What the worker sent; None where it ended without an answer."""
        try:
            got: tuple[bool, str] | None = self.pipe.recv() if self.pipe.poll() else None
        except (EOFError, OSError):
            got = None
        self.task = None
        return got

    def end(self) -> None:
        if self.process.is_alive():
            self.process.terminate()
        self.process.join(2)
        if self.process.is_alive():
            self.process.kill()
            self.process.join()
        self.pipe.close()


class _Crew:
    """The workers of one run, started as they are needed."""

    def __init__(self, count: int, check: Check | None) -> None:
        import multiprocessing

        self.context: BaseContext = multiprocessing.get_context(_start_method())
        self.count = count
        self.check = check
        self.threads = max(1, cores() // count)
        self.workers: list[_Worker] = []

    def idle(self) -> Iterator[_Worker]:
        for worker in list(self.workers):
            if worker.task is None:
                yield worker
        while len(self.workers) < self.count:
            worker = _Worker(self.context, self.workers, self.check, self.threads)
            self.workers.append(worker)
            yield worker

    def busy(self) -> list[_Worker]:
        return [w for w in self.workers if w.task is not None]

    def replace(self, worker: _Worker) -> str:
        """Lets a dead worker go; how it ended, in words. Another takes its place when there is work."""
        worker.process.join(2)
        code = worker.process.exitcode
        worker.end()
        self.workers.remove(worker)
        if code is not None and code < 0:
            try:
                name = signal.Signals(-code).name
            except ValueError:
                name = str(-code)
            return f"signal {name}" + ("; perhaps the memory ran out" if name == "SIGKILL" else "")
        return f"exit status {code}"

    def end(self) -> None:
        for worker in self.workers:
            worker.end()
        self.workers.clear()


def _start_method() -> str:
    """``fork`` where it is quick and sound: one thread, no compiled kernels in use yet; else ``spawn``."""
    if sys.platform.startswith("linux") and threading.active_count() == 1 and "numba" not in sys.modules:
        return "fork"
    return "spawn"


@contextlib.contextmanager
def _held_back_interrupt() -> Iterator[None]:
    """Ctrl-C waits while a process starts, so that the new one is never hit before it can ignore it."""
    if not hasattr(signal, "pthread_sigmask") or threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(pipe: Connection[Any, Any], near: Sequence[Connection[Any, Any]], check: Check | None, threads: int) -> None:
    """The life of a worker: programs in, reports out, until the pipe ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    for other in near:
        other.close()
    os.environ["NUMBA_NUM_THREADS"] = str(threads)  # the cores are taken by the other workers
    while True:
        try:
            data, path, setting, extra = pipe.recv()
        except (EOFError, OSError):
            return
        answer = _check_one(check, path, data, setting, extra)
        try:
            pipe.send(answer)
        except (BrokenPipeError, ConnectionResetError):
            return
