"""The gate: shop files, settings and programs of one run, its report, and what ``--select`` and ``--ignore`` leave."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

from advisor import __version__
from advisor.cache import open_cache
from advisor.files import ENDINGS, NamedPathError, Shops, read_program, short, shown, walk
from advisor.findings import Finding, ProgramReport, Report
from advisor.run import JobRun, JobStep, Task, in_shard, parse_shard, run_check, skipped
from advisor.setting import Flags, JobPlan, SettingError, ShopFile, job_of, matches, place_in_job, selection, setting_for
from advisor.units import WrongUse, nearest
from advisor.values import Setting

Progress = Callable[[int], AbstractContextManager[Callable[[float, int], None] | None]]

NOT_LEFT_OUT = frozenset({"internal-error", "file-skipped", "not-a-program", "required-not-checked"})


class Shop:
    """Shop files and settings of one run: each file read once, programs with the same values share one setting."""

    def __init__(self, config: Path | None, flags: Flags) -> None:
        self.flags = flags
        self.shops = Shops(absolute(config) if config is not None else None)
        self._settings: dict[Any, Setting] = {}
        self._of_jobs: dict[Path, Setting] = {}
        self.mistakes: list[Any] = []
        self._broken: set[Path] = set()

    def file(self, program: Path) -> ShopFile | None:
        """The shop file of a program; its mistakes are gathered, once."""
        path = self.shops.path_for(program)
        if path is None or path in self._broken:
            return None
        from advisor.shopfile import ShopFileError

        try:
            return self.shops.for_program(program)
        except ShopFileError as error:
            self._broken.add(path)
            self.mistakes += [mistake for mistake in error.mistakes if mistake not in self.mistakes]
            return None

    def setting(self, program: Path) -> Setting:
        """The setting of a program. Raises ``SettingError`` and ``UnitError``."""
        shop = self.file(program)
        key = (id(shop), selection(shop, program))
        if key not in self._settings:
            self._settings[key] = replace(setting_for(shop, program, self.flags), job=None)
        if program not in self._of_jobs:
            place = place_in_job(shop, program)
            if place is None:
                return self._settings[key]
            self._of_jobs[program] = replace(self._settings[key], job=place)
        return self._of_jobs[program]

    def fitting(self, program: Path) -> Setting:
        """The setting of a program; values of the shop file that do not fit are gathered with its other mistakes."""
        try:
            return self.setting(program)
        except SettingError as error:
            if self.shops.path_for(program) is None:
                raise
            self.told_wrong(str(error))
            return Setting()

    def endings(self, folder: Path) -> tuple[tuple[str, ...], tuple[tuple[Path, str], ...], bool]:
        """What counts as a program in a folder: endings, ignore patterns, and whether content decides."""
        file = self.file(folder / "program")
        if file is None:
            return ENDINGS, (), False
        return file.endings if file.endings is not None else ENDINGS, file.ignore, file.by_content

    def told(self) -> str:
        """Which shop files were used, for the report."""
        used = [shown(short(path)) for path in self.shops.used()]
        if not used:
            return "no feedwright.toml stands above these programs: everything beside the flags is at its default"
        more = f" and {len(used) - 3} more" if len(used) > 3 else ""
        return f"values from {', '.join(used[:3])}{more}; --show-config PROGRAM tells each with its origin"

    def told_wrong(self, mistake: str) -> None:
        """Gather one more mistake of a shop file, once."""
        if mistake not in [str(each) for each in self.mistakes]:
            self.mistakes.append(mistake)

    def stop_if_broken(self) -> None:
        """End the run where a shop file has mistakes."""
        if self.mistakes:
            raise WrongUse(_mistakes_text(self.mistakes))


def _mistakes_text(mistakes: Sequence[Any]) -> str:
    count = len(mistakes)
    by_flags = all(str(mistake).startswith("--") for mistake in mistakes)
    where = "what the flags say" if by_flags else "the shop file"
    head = f"{where} has a mistake" if count == 1 else f"{where} has {count} mistakes"
    return head + ":\n" + "\n".join(f"  {mistake}" for mistake in mistakes)


def absolute(path: Path | str) -> Path:
    """A path from the root, without ``..``; links stay as they are."""
    return Path(os.path.abspath(path))  # noqa: PTH100 - links stay as they are


def named(path: Path) -> str:
    """How a report names a program: as it was given, without ``./``, with forward slashes."""
    return Path(os.path.normpath(path)).as_posix()


def rules_given(given: Sequence[str] | None, flag: str) -> frozenset[str]:
    """The rules named by ``--select`` or ``--ignore``. Raises ``WrongUse`` with the nearest names."""
    names = [name.strip() for text in given or () for name in text.split(",") if name.strip()]
    if not names:
        return frozenset()
    from advisor.rules import book

    known = book()
    for name in names:
        if name not in known:
            near = nearest(name, list(known))
            hint = "did you mean " + " or ".join(near) + "?" if near else "feedwright explain lists them"
            raise WrongUse(f'{flag}: "{name}" is not the name of a rule; {hint}')
        if flag == "--ignore" and name in NOT_LEFT_OUT:
            raise WrongUse(f"--ignore: {name} says that something was not looked at, and can't be left out")
    return frozenset(names)


def run(
    shop: Shop,
    paths: Sequence[str],
    *,
    stdin: tuple[str, bytes] | None = None,
    jobs: int | None = None,
    shard: str | None = None,
    no_cache: bool = False,
    progress: Progress | None = None,
    warn: Callable[[str], None] | None = None,
) -> tuple[Report, bool]:
    """The report on everything named, and True beside it where this shard has no program.

    ``stdin`` is the name and the bytes of what came by stdin; there are no paths then. ``warn`` is told where results
    can't be kept for the next run. Raises ``WrongUse`` where a named path can't be read, a shop file has mistakes, or
    there is no program.
    """
    if jobs is not None and jobs < 1:
        raise WrongUse(f"--jobs: {jobs} processes can't work; give 1 or more")
    part = None
    if shard is not None:
        try:
            part = parse_shard(shard)
        except ValueError as error:
            raise WrongUse(str(error)) from None
    tasks, failed, notices = _tasks(shop, paths, stdin)
    tasks, unread = _with_jobs(shop, tasks)
    shop.stop_if_broken()
    if not tasks:
        where = ", ".join(str(path) for path in paths)
        raise WrongUse(
            f"no program found in {where}; programs end in {', '.join(ENDINGS)} unless [files] endings in the "
            "shop file says otherwise, or name the file itself"
        )
    if part is not None:
        of_shard = [task for task in tasks if in_shard(task.path, *part)]
        notices.append(f"shard {part[0]}/{part[1]}: {len(of_shard)} of {len(tasks)} programs")
        if not of_shard:
            return Report(version=__version__, programs=(), notices=tuple(notices)), True
        tasks = of_shard
    notices.append(shop.told())
    cache = None if no_cache else open_cache()
    if cache is not None and cache.problem is not None and warn is not None:
        where = f" ({shown(cache.folder)})" if cache.folder != Path() else ""
        warn(f"no earlier results are used and none are kept: {cache.problem}{where}; XDG_CACHE_HOME names another place")
    with progress(len(tasks)) if progress is not None else nullcontext() as tell:
        report = run_check(tasks, cache=cache, workers=jobs, progress=tell, notices=notices, warn=warn)
    if failed:
        raise WrongUse("\n".join(failed))
    if stdin is None and part is None:
        report = _with_leftovers(shop, [absolute(path) for path in paths], report)
    return _with_unread(shop, unread, report), False


class _Unread:
    """Programs of jobs that are followed but not reported, and could not be read: what is to be told of them.

    ``skipped``: files the report tells of by themselves.
    """

    def __init__(self, skipped: frozenset[Path]) -> None:
        self.skipped = skipped
        self.found: dict[tuple[Path, Path], tuple[JobPlan, int, str]] = {}  # by shop file and program

    def reader(self, file: ShopFile, plan: JobPlan, number: int) -> Callable[[], bytes]:
        """What reads a program of a job that is no task of the run."""
        path = plan.programs[number]

        def read() -> bytes:
            content = read_program(path)
            if content.problem:
                if path not in self.skipped:
                    self.found[file.path, path] = (plan, number, content.problem)
                raise OSError(content.problem)
            return content.data

        return read


def _with_jobs(shop: Shop, tasks: Sequence[Task]) -> tuple[list[Task], _Unread]:
    """The tasks with the jobs they belong to: what is cut before a program is followed whether it is reported or not."""
    unread = _Unread(frozenset(absolute(task.path) for task in tasks if task.ready is not None))
    found: dict[tuple[Path, int], tuple[ShopFile, JobPlan, dict[int, int]]] = {}
    for i, task in enumerate(tasks):
        whole = absolute(task.path)
        file = shop.file(whole)
        placed = job_of(file, whole)
        if file is None or placed is None or task.ready is not None:
            continue
        plan, number = placed
        found.setdefault((file.path, file.placed[whole][0]), (file, plan, {}))[2][i] = number
    made = list(tasks)
    for file, plan, members in found.values():
        last = max(members.values())
        if not last:
            continue  # nothing is cut before the first program
        settings = [_of_job(shop, file, plan, number) for number in range(last + 1)]
        _hold_sizes(shop, plan, settings)
        own = {number: tasks[i] for i, number in members.items()}
        job = JobRun(
            tuple(
                JobStep(setting, _bytes_of(own[number]) if number in own else unread.reader(file, plan, number))
                for number, setting in enumerate(settings)
            )
        )
        for i, number in members.items():
            made[i] = replace(tasks[i], job=job, number=number)
    return made, unread


def _bytes_of(task: Task) -> Callable[[], bytes]:
    data, read = task.data, task.read
    if data is not None:
        return lambda: data
    assert read is not None
    return read


def _of_job(shop: Shop, file: ShopFile, plan: JobPlan, number: int) -> Setting:
    """The setting of a program of a job; one that has a shop file which does not know the job is a mistake."""
    program = plan.programs[number]
    setting = shop.fitting(program)
    if setting.job is None or (setting.job.job, setting.job.program) != (plan.name, number + 1):
        place, nearest_file = plan.place(number), shop.shops.path_for(program)
        if nearest_file is not None and nearest_file != file.path:
            shop.told_wrong(
                f"{place.origin}: the job {plan.name} names {place.name}, whose shop file is {shown(short(nearest_file))}, "
                f'which does not know the job; let that file say extend = "..." to this one'
            )
        return setting_for(file, program, shop.flags)
    return setting


def _hold_sizes(shop: Shop, plan: JobPlan, settings: Sequence[Setting]) -> None:
    """One workpiece has one size in X and Y, whichever way it lies; another one is a mistake of the shop file."""
    sizes = [(n, s.workpiece.size) for n, s in enumerate(settings) if s.workpiece is not None]
    for number, size in sizes[1:]:
        first, other = sizes[0]
        if any(abs(a - b) > 1e-6 for a, b in zip(size[:2], other[:2], strict=True)):
            place = plan.place(number)
            shop.told_wrong(
                f"{place.origin}: the stock of {place.name} in the job {plan.name} is {size[0]:g} x {size[1]:g} mm in X and Y, "
                f"that of {plan.place(first).name} {other[0]:g} x {other[1]:g} mm; one workpiece has one size, turned over or "
                "not: give it once, under [stock] or as the job's stock"
            )
            return


def _with_unread(shop: Shop, unread: _Unread, report: Report) -> Report:
    """The report with a finding on the shop file for each program that a job names, that others come after, and that
    could not be read."""
    if not unread.found:
        return report
    from advisor.fingerprint import digest

    programs = {program.path: program for program in report.programs}
    for (path, program), (plan, number, problem) in sorted(unread.found.items(), key=lambda item: item[0]):
        place = plan.place(number)
        line = int(place.origin.rpartition(":")[2])
        made = skipped(named(short(path)), problem, setting=shop.fitting(program)).findings[0]
        finding = replace(
            made,
            message=f"The job {plan.name} names {place.name}, which can't be read: {problem}. What it leaves is not known to "
            "the programs after it.",
            line=line,
            end_line=line,
            fix="Mend the name in the shop file, or put the program where the job looks for it.",
            safety="Do not run a later program of the job on the strength of this report.",
            fingerprint=digest("file-skipped", (plan.name, place.name), 0),
        )
        name = named(short(path))
        held = programs.get(name, ProgramReport(path=name, rules_looked=("file-skipped",)))
        findings = sorted((*held.findings, finding), key=lambda f: (f.line, f.column, f.rule, f.fingerprint))
        programs[name] = replace(held, findings=tuple(findings))
    return replace(report, programs=tuple(sorted(programs.values(), key=lambda program: program.path)))


def _with_leftovers(shop: Shop, chosen: Sequence[Path], report: Report) -> Report:
    """What the shop files say that came to nothing, where all their folder was checked.

    An allowance that puts nothing aside is the finding ``unused-allowance`` on the shop file; patterns and jobs that
    name no program are notices.
    """
    from advisor.fingerprint import digest

    by_path = {absolute(program.path): program for program in report.programs}
    notices: list[str] = []
    extra: list[ProgramReport] = []
    for path in shop.shops.used():
        if not any(path.parent == top or top in path.parents for top in chosen):
            continue
        file = shop.shops.loaded(path)
        findings: list[Finding] = []
        for item in file.allowances:
            mine = [p for q, p in by_path.items() if any(matches(q, item.folder, pattern) for pattern in item.patterns)]
            if any(s.kind == "shop-file" and s.finding.rule == item.rule for p in mine for s in p.suppressed):
                continue
            if any(item.rule not in p.rules_looked for p in mine):
                continue  # it could not look everywhere: nothing is known of what it would have found
            what = "puts nothing aside" if mine else "names no program"
            from advisor.rules.unused_allowance import RULE

            line = int(item.origin.rpartition(":")[2])
            findings.append(
                Finding(
                    rule="unused-allowance",
                    severity=file.base.data.get("checks", {}).get("severity", {}).get("unused-allowance", "warning"),
                    message=f"The allowance of {item.rule} {what}.",
                    line=line,
                    end_line=line,
                    why=RULE.why,
                    fix="Take it out of the shop file, or mend its rule or pattern.",
                    safety=RULE.safety,
                    fingerprint=digest("unused-allowance", (item.rule, *item.patterns), 0),
                )
            )
        findings = [finding for finding in findings if finding.severity != "off"]
        if findings:
            name = named(short(path))
            extra.append(ProgramReport(path=name, findings=tuple(findings), rules_looked=("unused-allowance",)))
        for override in file.overrides:
            if not any(matches(q, override.folder, pattern) for q in by_path for pattern in override.patterns):
                notices.append(f"{shown(short(path))}: [[program]] files = {list(override.patterns)} names no program")
        for plan in file.jobs:
            gone = [shown(short(each)) for setup in plan.setups for each in setup.programs if each not in by_path]
            if gone:
                notices.append(f"{shown(short(path))}: the job {plan.name} names what was not checked: {', '.join(gone)}")
    if not extra and not notices:
        return report
    programs = sorted((*report.programs, *extra), key=lambda program: program.path)
    return replace(report, programs=tuple(programs), notices=(*report.notices, *notices))


def _tasks(shop: Shop, paths: Sequence[str], stdin: tuple[str, bytes] | None) -> tuple[list[Task], list[str], list[str]]:
    """One task a program; what is said of named files that can't be read gathers in the second list during the run."""
    tasks: list[Task] = []
    failed: list[str] = []
    if stdin is not None:
        name, data = stdin
        return [Task(path=named(Path(name)), setting=shop.fitting(absolute(name)), data=data)], failed, []
    chosen = {absolute(path) for path in paths}
    try:
        found = walk([Path(path) for path in paths], endings_of=shop.endings)
    except NamedPathError as error:
        raise WrongUse(str(error)) from None
    for path in found.programs:
        whole = absolute(path)
        setting = shop.fitting(whole)
        tasks.append(Task(path=named(path), setting=setting, read=_reader(path, whole in chosen, failed)))
    for item in found.skipped:
        tasks.append(
            Task(
                path=named(item.path),
                setting=shop.fitting(absolute(item.path)),
                ready=skipped(named(item.path), item.reason),
            )
        )
    return tasks, failed, list(found.notices)


def _reader(path: Path, named: bool, failed: list[str]) -> Callable[[], bytes]:
    def read() -> bytes:
        content = read_program(path)
        if content.problem:
            if named:
                failed.append(f"{shown(path)} can't be read: {content.problem}")
            raise OSError(content.problem)
        return content.data

    return read


def filtered(report: Report, chosen: frozenset[str], left_out: frozenset[str]) -> Report:
    """Only what ``--select`` and ``--ignore`` leave; that something was not looked at stays, whatever they say."""
    if not chosen and not left_out:
        return report

    def stays(rule: str) -> bool:
        return rule in NOT_LEFT_OUT or ((not chosen or rule in chosen) and rule not in left_out)

    def of(program: ProgramReport) -> ProgramReport:
        return replace(
            program,
            findings=tuple(item for item in program.findings if stays(item.rule)),
            not_checked=tuple(item for item in program.not_checked if stays(item.rule) or item.rule == "every-rule"),
            suppressed=tuple(item for item in program.suppressed if stays(item.finding.rule)),
            rules_looked=tuple(rule for rule in program.rules_looked if stays(rule)),
        )

    said = []
    if chosen:
        said.append(f"only these rules were asked for (--select): {', '.join(sorted(chosen))}")
    if left_out:
        said.append(f"these rules were left out (--ignore): {', '.join(sorted(left_out))}")
    return replace(report, programs=tuple(of(program) for program in report.programs), notices=(*report.notices, *said))
