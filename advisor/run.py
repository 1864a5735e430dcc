"""Checks many programs: what is known from an earlier run is taken from the cache, the rest is shared by the cores.

The report is the same to the byte whatever the number of workers, the cache and the order in which they end. A program
that ends its worker (or makes the check fail) becomes the finding ``internal-error``; all the others are still checked.
Programs of one job are checked in their order by one worker, each in the stock that the ones before it left.
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
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

from advisor import __version__
from advisor.cache import Cache, digest, from_text, may_keep, no_cache, own_state, program_key, to_text
from advisor.findings import Finding, NotChecked, ProgramReport, Report
from advisor.values import Setting
from grammar.classes import dataclass
from grammar.memory import keep_freed

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
class JobStep:
    """One program of a job, whether it is to be reported or only followed. ``read`` may raise ``OSError``."""

    setting: Setting
    read: Callable[[], bytes]


@dataclass(frozen=True, eq=False)
class JobRun:
    """The programs of a job in their order, as far as the run needs them."""

    steps: tuple[JobStep, ...]


@dataclass(frozen=True, slots=True)
class Task:
    """One program to check.

    ``path`` is how the report names it. The bytes are ``data``, or what ``read()`` gives; ``read`` may raise
    ``OSError``. ``ready`` is a report that stands already (a file that was skipped). ``depends`` are digests of what
    else the result depends on. ``extra`` goes to the check as keyword arguments and must be part of ``depends``.
    ``job`` and ``number``: the job it belongs to, and which of its steps it is, from 0; its bytes are then that step's.
    """

    path: str
    setting: Setting
    data: bytes | None = None
    read: Callable[[], bytes] | None = None
    ready: ProgramReport | None = None
    depends: tuple[str, ...] = ()
    extra: tuple[tuple[str, Any], ...] = ()
    job: JobRun | None = None
    number: int = 0


def run_check(
    tasks: Sequence[Task],
    *,
    cache: Cache | None = None,
    workers: int | None = None,
    check: Check | None = None,
    engine: str | None = None,
    progress: Callable[[float, int], None] | None = None,
    notices: Sequence[str] = (),
    warn: Callable[[str], None] | None = None,
) -> Report:
    """The report over all tasks, sorted by path.

    ``workers``: how many processes at most; default: the cores this process may use, and none for a few small programs.
    ``check``: ``advisor.check.check_program`` or the like, importable by name. ``engine``: what identifies the tool in
    the cache's keys. ``progress(done, of)`` is called as programs are done, in one process with parts of a program too.
    ``warn(text)`` is told once where results could not be kept. ``KeyboardInterrupt`` ends the workers and goes on to
    the caller.
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
    if kept.refused and warn is not None:
        warn(f"results could not be kept for the next run in {kept.folder}: {kept.refused[0]}")
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


@dataclass(frozen=True, slots=True)
class _Item:
    """One program as it goes to a worker. ``index``: place of its task, None for one that is only followed.

    ``data`` is None for one of the latter that could not be read: ``problem``.
    """

    index: int | None
    path: str
    setting: Setting
    data: bytes | None
    problem: str = ""
    extra: tuple[tuple[str, Any], ...] = ()


_Parcel = tuple[_Item, ...]  # one program, or those of one job from its first one on


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
        self.missing: list[tuple[int, ...]] = []  # tasks that go to a worker together: those of one job
        self.sizes: dict[tuple[int, ...], int] = {}
        self.held: dict[tuple[int, int], bytes] = {}  # by job and number, or -1 and the task
        self.room = HOLD_LIMIT
        self.steps: dict[tuple[int, int], tuple[int, str | None, str]] = {}  # size, trace and problem of steps of jobs
        self.wrote = False
        self.digests: dict[int, tuple[Setting, str | None]] = {}
        self.alike: dict[tuple[int, ...], tuple[Setting, str]] = {}  # by the parts of a setting, apart from the job

    # -- reading and the cache

    def look_up(self) -> None:
        """Reads every program and takes what the cache holds; what is left stands in ``missing``, biggest first."""
        jobs: dict[tuple[int, int], dict[int, int]] = {}  # tasks by job and number; a file named twice makes a second
        for i, task in enumerate(self.tasks):
            if task.ready is not None:
                self.made[i] = task.ready
                self._tell()
                continue
            data = self._first_look(i)
            if data is None:
                continue
            key = self._key(i, data, self._traces(task))
            text = self.cache.get(key) if key is not None else None
            if text is not None:
                self.texts[i] = text
                self._tell()
                continue
            if task.job is None:
                self.missing.append((i,))
                self.sizes[i,] = len(data)
                self._hold((-1, i), data)
                continue
            again = 0
            while task.number in jobs.setdefault((id(task.job), again), {}):
                again += 1
            jobs[id(task.job), again][task.number] = i
        for members in jobs.values():
            together = tuple(members[number] for number in sorted(members))
            if together:
                self.missing.append(together)
                last = self.tasks[together[-1]]
                self.sizes[together] = sum(self._step(last, k)[0] for k in range(last.number + 1))
        self.missing.sort(key=lambda together: (-self.sizes[together], together))

    def _hold(self, place: tuple[int, int], data: bytes) -> None:
        if len(data) <= self.room and place not in self.held:
            self.held[place] = data
            self.room -= len(data)

    def _first_look(self, i: int) -> bytes | None:
        """The bytes of a task; None, and its report made, where they can't be read."""
        task = self.tasks[i]
        if task.job is None:
            return self._read(i)
        problem = self._step(task, task.number)[2]
        if problem:
            self._skip(i, problem)
            return None
        data = self.held.get((id(task.job), task.number))
        return data if data is not None else self._read(i)

    def _skip(self, i: int, why: str) -> None:
        self.made[i] = skipped(self.tasks[i].path, why, setting=self.tasks[i].setting)
        self._tell()

    def _step(self, task: Task, number: int) -> tuple[int, str | None, str]:
        """Size, trace and problem of a step of a task's job, read at its first use."""
        job = task.job
        assert job is not None
        place = (id(job), number)
        if place not in self.steps:
            try:
                data, problem = job.steps[number].read(), ""
            except OSError as error:
                data, problem = b"", error.strerror or str(error)
            else:
                self._hold(place, data)
            self.steps[place] = (len(data), self._trace(job.steps[number].setting, None if problem else data, problem), problem)
        return self.steps[place]

    def _trace(self, setting: Setting, data: bytes | None, problem: str) -> str | None:
        """What a program of a job puts into the keys of those after it; None where that can't be told."""
        mine = self._digest(setting)
        if mine is None:
            return None
        return hashlib.sha256(f"{mine}\0{problem}\0".encode("utf-8", "surrogatepass") + (data or b"")).hexdigest()

    def _traces(self, task: Task) -> list[str | None]:
        return [self._step(task, k)[1] for k in range(task.number)] if task.job is not None else []

    def _read(self, i: int) -> bytes | None:
        task = self.tasks[i]
        try:
            if task.job is not None:
                return task.job.steps[task.number].read()
            if task.data is not None:
                return task.data
            if task.read is None:
                raise OSError("there is nothing to read it from")
            return task.read()
        except OSError as error:
            self._skip(i, error.strerror or str(error))
            return None

    def _digest(self, setting: Setting) -> str | None:
        """The digest of a setting; None where it can't be part of a key."""
        known = self.digests.get(id(setting))
        if known is None:
            try:
                known = (setting, self._digested(setting))
            except TypeError:
                known = (setting, None)
            self.digests[id(setting)] = known  # holds the setting, so that its id stays its own
        return known[1]

    def _digested(self, setting: Setting) -> str:
        """The digest of a setting; programs of a job whose settings share all else share the work for that."""
        if setting.job is None:
            return digest(setting)
        parts = tuple(id(getattr(setting, item.name)) for item in fields(setting) if item.name != "job")
        if parts not in self.alike:
            self.alike[parts] = (setting, digest(replace(setting, job=None)))
        return digest([self.alike[parts][1], setting.job])

    def _key(self, i: int, data: bytes, before: Sequence[str | None]) -> str | None:
        """The cache's key; None where there is no cache or something can't be part of a key.

        ``before``: the traces of the programs before it in its job.
        """
        if self.cache.problem is not None:
            return None
        task = self.tasks[i]
        mine = self._digest(task.setting)
        traces = [trace for trace in before if trace is not None]
        if mine is None or len(traces) < len(before):
            return None
        if self.engine is None:
            self.engine = f"{__version__} {own_state()}"
        return program_key(data, mine, self.engine, (*task.depends, *traces))

    def _done(self, parcel: _Parcel, item: _Item, text: str) -> None:
        i = item.index
        assert i is not None and item.data is not None
        self.texts[i] = text
        self._tell()
        before = [] if self.tasks[i].job is None else parcel[: self.tasks[i].number]
        key = self._key(i, item.data, [self._trace(each.setting, each.data, each.problem) for each in before])
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

    def next_parcel(self) -> Iterator[_Parcel]:
        """What is still to check with its bytes, biggest first; a program that can't be read now is a skipped file."""
        for together in self.missing:
            parcel = self._packed(together)
            if any(item.index is not None for item in parcel):
                yield parcel

    def _packed(self, together: tuple[int, ...]) -> _Parcel:
        last = self.tasks[together[-1]]
        if last.job is None:
            (i,) = together
            data = self.held.pop((-1, i), None)
            data = data if data is not None else self._read(i)
            return () if data is None else (_Item(i, last.path, last.setting, data, extra=last.extra),)
        wanted = {self.tasks[i].number: i for i in together}
        items: list[_Item] = []
        for number, step in enumerate(last.job.steps[: last.number + 1]):
            index = wanted.get(number)
            data, problem = self.held.get((id(last.job), number)), ""
            if data is None:
                try:
                    data = step.read()
                except OSError as error:
                    problem = error.strerror or str(error)
            if index is None or data is None:
                items.append(_Item(None, "", step.setting, data, problem))
                if index is not None:
                    self._skip(index, problem)
            else:
                task = self.tasks[index]
                items.append(_Item(index, task.path, task.setting, data, extra=task.extra))
        return tuple(items)

    # -- here

    def do_all(self, check: Check | None) -> None:
        """Checks what is missing in this process."""
        for parcel in self.next_parcel():
            told = parcel
            if check is None and self.progress is not None:
                told = tuple(replace(item, extra=(*item.extra, ("progress", self._tell))) for item in parcel)
            for k, good, text in _answers(check, told):
                self._take(parcel, k, good, text)

    def _take(self, parcel: _Parcel, k: int, good: bool, text: str) -> None:
        """The answer on item ``k`` of a parcel."""
        index = parcel[k].index
        assert index is not None
        if good:
            self._done(parcel, parcel[k], text)
        else:
            self._failed(index, text)

    # -- shared

    def share(self, count: int, check: Check | None) -> None:
        """Checks what is missing in ``count`` processes."""
        from multiprocessing.connection import wait

        parcels = self.next_parcel()
        crew = _Crew(count, check)
        try:
            while True:
                for worker in crew.idle():
                    upcoming = next(parcels, None)
                    if upcoming is None:
                        break
                    worker.give(upcoming)
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
        parcel, waiting = worker.parcel, worker.waiting
        answer = worker.answer()
        if answer is not None:
            self._take(parcel, *answer)
            return
        how = f"its process ended unexpectedly ({crew.replace(worker)})"
        for place, k in enumerate(waiting):
            index = parcel[k].index
            assert index is not None
            self._failed(index, how if place == 0 else f"at {parcel[waiting[0]].path}, which comes before it in its job, {how}")


def _worker_count(work: _Work, workers: int | None) -> int:
    left = len(work.missing)
    if workers is not None and workers < 1:
        raise ValueError(f"the number of workers must be at least 1, not {workers}")
    if workers is None and left < FEW and sum(work.sizes.values()) < SMALL:
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


def _answers(check: Check | None, parcel: _Parcel) -> Iterator[tuple[int, bool, str]]:
    """Checks the items of a parcel in their order: place, whether the check came to its end, report or what went wrong."""
    course: Any = None

    def in_its_job(number: int) -> Check:
        def checked(_data: bytes, *, path: str, setting: Setting, **more: Any) -> ProgramReport:
            nonlocal course
            if course is None:
                from advisor.job import Course, Step

                course = Course([Step(item.setting, item.data, item.problem) for item in parcel])
            report: ProgramReport = course.check(number, path=path, **more)
            return report

        return checked

    for k, item in enumerate(parcel):
        if item.index is None or item.data is None:
            continue
        chosen = in_its_job(k) if check is None and len(parcel) > 1 else check
        yield k, *_check_one(chosen, item.path, item.data, item.setting, item.extra)


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
        self.parcel: _Parcel = ()
        self.waiting: tuple[int, ...] = ()  # the items of the parcel that are still to be answered, in order

    def give(self, parcel: _Parcel) -> None:
        self.parcel = parcel
        self.waiting = tuple(k for k, item in enumerate(parcel) if item.index is not None)
        # A worker that died while idle is told by ``answer``, so a closed pipe is no matter here.
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            self.pipe.send(parcel)

    def answer(self) -> tuple[int, bool, str] | None:
        """The next answer the worker sent; None where it ended without one."""
        try:
            got: tuple[int, bool, str] | None = self.pipe.recv() if self.pipe.poll() else None
        except (EOFError, OSError):
            got = None
        self.waiting = () if got is None else tuple(k for k in self.waiting if k != got[0])
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
            if not worker.waiting:
                yield worker
        while len(self.workers) < self.count:
            worker = _Worker(self.context, self.workers, self.check, self.threads)
            self.workers.append(worker)
            yield worker

    def busy(self) -> list[_Worker]:
        return [w for w in self.workers if w.waiting]

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
            parcel = pipe.recv()
        except (EOFError, OSError):
            return
        for answer in _answers(check, parcel):
            try:
                pipe.send(answer)
            except (BrokenPipeError, ConnectionResetError):
                return
