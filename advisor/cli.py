"""The command line: reads flags, hands values to the rest, prints what comes back, and decides the exit status.

Only typer and the standard library are imported here at the top; each command loads what it needs.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from advisor import __version__

if TYPE_CHECKING:
    from advisor.advice import Request
    from advisor.findings import ProgramReport, Report
    from advisor.run import Task
    from advisor.setting import Flags, ShopFile
    from advisor.values import Setting

FOUND = 1
WRONG_USE = 2
INTERRUPTED = 130

app = typer.Typer(
    name="feedwright",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
baseline_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None)
app.add_typer(baseline_app, name="baseline")


class Stop(Exception):  # noqa: N818 - ends the run with a sentence, wherever it is raised
    """Ends the run with exit status 2 and this sentence on stderr."""


# -------------------------------------------------------------------------------------------------------------- output


def takes_unicode(stream: Any) -> bool:
    """True where a stream can print the signs a report may hold."""
    try:
        "×°µ≤≥–…→│─┌".encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def wants_colour(stream: Any) -> bool:
    """NO_COLOR (not empty) forbids, FORCE_COLOR (not empty, not 0) asks for it, else a terminal that is not dumb."""
    if os.environ.get("NO_COLOR"):
        return False
    forced = os.environ.get("FORCE_COLOR")
    if forced is not None and forced not in ("", "0"):
        return True
    return bool(stream.isatty()) and os.environ.get("TERM") != "dumb"


def screen_width() -> int:
    """Columns of the terminal: COLUMNS, the terminal's own word, or 80 for a pipe; 40 to 120."""
    import shutil

    return max(40, min(120, shutil.get_terminal_size((80, 24)).columns))


def say(text: str) -> None:
    """Print a result to stdout; what the stream can't take is written in escapes."""
    _write(sys.stdout, text)


def complain(text: str) -> None:
    """Print a message to stderr."""
    _write(sys.stderr, f"feedwright: {text}")


def _write(stream: Any, text: str) -> None:
    if not text.endswith("\n"):
        text += "\n"
    encoding = stream.encoding or "ascii"
    stream.write(text.encode(encoding, "backslashreplace").decode(encoding))
    stream.flush()


class Target:
    """One ``--output FORMAT[:FILE]``."""

    def __init__(self, form: str, file: Path | None) -> None:
        self.form = form
        self.file = file


def targets(given: Sequence[str], known: Sequence[str]) -> list[Target]:
    """Read every ``--output``; without any, text on stdout."""
    made: list[Target] = []
    for text in given or ["text"]:
        form, colon, name = text.partition(":")
        if form not in known:
            raise Stop(
                f'--output: "{form}" is not one of {", ".join(known)}; write for example --output json:report.json'
            )
        if colon and not name:
            raise Stop(f'--output: the file after "{form}:" is missing')
        made.append(Target(form, Path(name) if name else None))
    if sum(target.file is None for target in made) > 1:
        raise Stop("--output: only one format can go to stdout; give the others a file, for example sarif:report.sarif")
    files = [os.path.abspath(target.file) for target in made if target.file is not None]  # noqa: PTH100
    if len(set(files)) != len(files):
        raise Stop("--output: one file is named twice")
    return made


def put(target: Target, text: str) -> None:
    """Write one result to its file, whole or not at all, or to stdout."""
    if target.file is None:
        say(text)
        return
    from advisor.files import shown, why_not, write_whole

    try:
        write_whole(target.file, text)
    except OSError as error:
        raise Stop(f"{shown(target.file)} can't be written: {why_not(error)}; what stood there is unchanged") from None


# ---------------------------------------------------------------------------------------------------- speeds and rate

Form = Annotated[str | None, typer.Option("--form", help="flat, ball, corner, vee or drill", metavar="FORM")]


def _text(flag: str, help: str, metavar: str = "TEXT") -> Any:
    return typer.Option(flag, help=help, metavar=metavar)


CutterName = Annotated[str | None, _text("--cutter", "a cutter of the catalogue", "NAME")]
Diameter = Annotated[str | None, _text("--diameter", "cutting diameter", "LENGTH")]
Flutes = Annotated[int | None, typer.Option("--flutes", help="number of teeth", metavar="COUNT")]
CornerRadius = Annotated[str | None, _text("--corner-radius", "corner radius", "LENGTH")]
TipAngle = Annotated[str | None, _text("--tip-angle", "included angle of a V cutter or drill point", "ANGLE")]
FluteLength = Annotated[str | None, _text("--flute-length", "length of cut", "LENGTH")]
Stickout = Annotated[str | None, _text("--stickout", "holder face to tip", "LENGTH")]
Shank = Annotated[str | None, _text("--shank", "shank diameter", "LENGTH")]
CutterMaterial = Annotated[str | None, _text("--cutter-material", "carbide or hss", "NAME")]
CentreCutting = Annotated[
    bool | None, typer.Option("--centre-cutting/--no-centre-cutting", help="whether the cutter cuts at its centre")
]
DeadDiameter = Annotated[
    str | None, _text("--dead-diameter", "uncut core of a cutter that is not centre-cutting", "LENGTH")
]
CutterMaxRpm = Annotated[str | None, _text("--cutter-max-rpm", "top speed marked on the cutter", "SPEED")]
MaterialName = Annotated[str | None, _text("--material", "a work material of the catalogue", "NAME")]
SpecificForce = Annotated[
    str | None, _text("--specific-force", "specific cutting force in place of the material's, N/mm2 or J/mm3", "VALUE")
]
MachineName = Annotated[str | None, _text("--machine", "a machine of the catalogue", "NAME")]
SpindlePower = Annotated[str | None, _text("--spindle-power", "rated power at the shaft", "POWER")]
SpindleMin = Annotated[str | None, _text("--spindle-min", "slowest spindle speed", "SPEED")]
SpindleMax = Annotated[str | None, _text("--spindle-max", "fastest spindle speed", "SPEED")]
FeedMax = Annotated[str | None, _text("--feed-max", "greatest feed", "FEED")]
Stiffness = Annotated[str | None, _text("--stiffness", "stiffness at the tool, N/um", "VALUE")]
Operation = Annotated[str, _text("--operation", "slot, side, pocket, face, drill, bore or engrave", "NAME")]
Depth = Annotated[str | None, _text("--depth", "total depth", "LENGTH")]
Stepover = Annotated[str | None, _text("--stepover", "width of cut", "LENGTH")]
BoreDiameter = Annotated[str | None, _text("--bore-diameter", "diameter of a helical bore or entry", "LENGTH")]
HelixAngle = Annotated[str | None, _text("--helix-angle", "angle of the helical entry", "ANGLE")]
Tolerance = Annotated[str | None, _text("--tolerance", "wall error allowed", "LENGTH")]
Finish = Annotated[bool, typer.Option("--finish", help="advise the finishing cut itself")]
Outputs = Annotated[
    list[str] | None, typer.Option("--output", help="FORMAT[:FILE]; may be repeated", metavar="FORMAT[:FILE]")
]


def _one_of(value: str | None, flag: str, known: Sequence[str]) -> str | None:
    if value is not None and value not in known:
        from advisor.units import nearest

        near = nearest(value, known, 1)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        raise Stop(f'{flag}: "{value}" is not one of {", ".join(known)}{hint}')
    return value


def _request(given: dict[str, Any]) -> Request:
    """The question ``speeds`` and ``rate`` ask, from their flags."""
    import dataclasses

    from advisor import units
    from advisor.advice import OPERATIONS, Request
    from advisor.setting import refine
    from advisor.values import Cutter, Machine

    def read(name: str, kind: str, **bounds: Any) -> float | None:
        value = given[name]
        return None if value is None else units.quantity(value, kind, key="--" + name.replace("_", "-"), **bounds)

    form = _one_of(given["form"], "--form", ("flat", "ball", "corner", "vee", "drill"))
    of = _one_of(given["cutter_material"], "--cutter-material", ("carbide", "hss"))
    operation = _one_of(given["operation"], "--operation", OPERATIONS)
    if given["flutes"] is not None and given["flutes"] < 1:
        raise Stop(f"--flutes: {given['flutes']} teeth can't cut; give 1 or more")
    cutting = {
        "form": form,
        "material": of,
        "flutes": given["flutes"],
        "diameter": read("diameter", "length", positive=True),
        "corner_radius": read("corner_radius", "length", least=0.0),
        "tip_angle": read("tip_angle", "angle", positive=True, greatest=180.0),
        "flute_length": read("flute_length", "length", positive=True),
        "stickout": read("stickout", "length", positive=True),
        "shank": read("shank", "length", positive=True),
        "centre_cutting": given["centre_cutting"],
        "dead_diameter": read("dead_diameter", "length", least=0.0),
        "max_rpm": read("cutter_max_rpm", "speed", positive=True),
    }
    cutting = {key: value for key, value in cutting.items() if value is not None}
    if given["cutter"] is not None:
        from advisor import catalogue

        cutter = refine(catalogue.cutter(given["cutter"]), cutting, "command line")
    elif "diameter" not in cutting:
        raise Stop(
            "which cutter? Give --cutter NAME (feedwright catalogue cutters lists them), or --diameter and --flutes"
        )
    else:
        cutter = Cutter(name="", **cutting)
    working: dict[str, Any] = {
        "spindle_power": read("spindle_power", "power", positive=True),
        "spindle_min": read("spindle_min", "speed", least=0.0),
        "spindle_max": read("spindle_max", "speed", positive=True),
        "feed_max": read("feed_max", "feed", positive=True),
        "stiffness": read("stiffness", "stiffness", positive=True),
    }
    working = {key: value for key, value in working.items() if value is not None}
    machine: Machine | None = None
    if given["machine"] is not None:
        from advisor import catalogue

        machine = refine(catalogue.machine(given["machine"]), working, "command line")
    elif working:
        machine = dataclasses.replace(Machine(name=""), **working)
    if machine is not None and machine.spindle_min > machine.spindle_max:
        raise Stop(
            f"the slowest spindle speed, {machine.spindle_min:g} rpm, is above the fastest, {machine.spindle_max:g} "
            "rpm; give --spindle-min and --spindle-max that fit"
        )
    material = None
    if given["material"] is not None:
        from advisor import catalogue

        material = catalogue.material(given["material"])
    return Request(
        cutter=cutter,
        material=material,
        machine=machine,
        operation=operation or "slot",
        depth=read("depth", "length", positive=True),
        stepover=read("stepover", "length", positive=True),
        bore_diameter=read("bore_diameter", "length", positive=True),
        helix_angle=read("helix_angle", "angle", positive=True, greatest=90.0),
        tolerance=read("tolerance", "length", positive=True),
        finish=given["finish"],
        specific_force=read("specific_force", "specific-force", positive=True),
    )


def _advice_text(answer: Any) -> str:
    from advisor.report import advice_text

    made: str = advice_text.render(
        answer, width=screen_width(), colour=wants_colour(sys.stdout), plain_ascii=not takes_unicode(sys.stdout)
    )
    return made


def _put_advice(answer: Any, outputs: Sequence[str] | None) -> None:
    for target in targets(outputs or (), ("text", "json")):
        if target.form == "json":
            import json

            text = json.dumps(answer.to_dict(), indent=1, allow_nan=False) + "\n"
        else:
            text = _advice_text(answer)
        put(target, text)


@app.command()
def speeds(
    cutter: CutterName = None,
    diameter: Diameter = None,
    flutes: Flutes = None,
    form: Form = None,
    corner_radius: CornerRadius = None,
    tip_angle: TipAngle = None,
    flute_length: FluteLength = None,
    stickout: Stickout = None,
    shank: Shank = None,
    cutter_material: CutterMaterial = None,
    centre_cutting: CentreCutting = None,
    dead_diameter: DeadDiameter = None,
    cutter_max_rpm: CutterMaxRpm = None,
    material: MaterialName = None,
    specific_force: SpecificForce = None,
    machine: MachineName = None,
    spindle_power: SpindlePower = None,
    spindle_min: SpindleMin = None,
    spindle_max: SpindleMax = None,
    feed_max: FeedMax = None,
    stiffness: Stiffness = None,
    operation: Operation = "slot",
    depth: Depth = None,
    stepover: Stepover = None,
    bore_diameter: BoreDiameter = None,
    helix_angle: HelixAngle = None,
    tolerance: Tolerance = None,
    finish: Finish = False,
    plot: Annotated[
        Path | None, typer.Option("--plot", help="draw the operating window into FILE (.svg or .png)", metavar="FILE")
    ] = None,
    output: Outputs = None,
) -> int:
    """Recommend spindle speed, feed, plunge feed, depth and number of passes, stepover and entry."""
    given = dict(locals())
    request = _request(given)
    from advisor.recommend import recommend

    answer = recommend(request)
    if plot is not None:
        _plot(answer, plot)
    _put_advice(answer, output)
    return FOUND if hasattr(answer, "reasons") else 0


def _plot(answer: Any, file: Path) -> None:
    if file.suffix.lower() not in (".svg", ".png"):
        raise Stop(f'--plot: "{file}" ends neither in .svg nor in .png; the ending says what is drawn')
    if hasattr(answer, "reasons"):
        complain("--plot: there is no window to draw, since the cut is refused")
        return
    try:
        from advisor.plot import draw
    except ImportError as error:
        if "matplotlib" not in str(error):
            raise
        raise Stop(
            '--plot needs matplotlib, which is not installed; install it with: pip install "feedwright[plot]"'
        ) from None
    put(Target("plot", file), draw(answer, file.suffix.lower().lstrip(".")))


@app.command()
def rate(
    rpm: Annotated[str, _text("--rpm", "your spindle speed, or a cutting speed such as 300 m/min", "SPEED")],
    feed: Annotated[str, _text("--feed", "your feed", "FEED")],
    plunge_feed: Annotated[str | None, _text("--plunge-feed", "your plunge feed", "FEED")] = None,
    stepdown: Annotated[str | None, _text("--stepdown", "your depth of one pass", "LENGTH")] = None,
    cutter: CutterName = None,
    diameter: Diameter = None,
    flutes: Flutes = None,
    form: Form = None,
    corner_radius: CornerRadius = None,
    tip_angle: TipAngle = None,
    flute_length: FluteLength = None,
    stickout: Stickout = None,
    shank: Shank = None,
    cutter_material: CutterMaterial = None,
    centre_cutting: CentreCutting = None,
    dead_diameter: DeadDiameter = None,
    cutter_max_rpm: CutterMaxRpm = None,
    material: MaterialName = None,
    specific_force: SpecificForce = None,
    machine: MachineName = None,
    spindle_power: SpindlePower = None,
    spindle_min: SpindleMin = None,
    spindle_max: SpindleMax = None,
    feed_max: FeedMax = None,
    stiffness: Stiffness = None,
    operation: Operation = "slot",
    depth: Depth = None,
    stepover: Stepover = None,
    bore_diameter: BoreDiameter = None,
    helix_angle: HelixAngle = None,
    tolerance: Tolerance = None,
    finish: Finish = False,
    output: Outputs = None,
) -> int:
    """Judge settings you already have: chip thickness, force, torque, power, deflection, margins."""
    given = dict(locals())
    request = _request(given)
    from advisor import units
    from advisor.rate import rate as judge

    answer = judge(
        request,
        spindle_rpm=units.spindle(rpm, request.cutter.diameter, key="--rpm"),
        feed=units.quantity(feed, "feed", key="--feed", positive=True),
        plunge_feed=None
        if plunge_feed is None
        else units.quantity(plunge_feed, "feed", key="--plunge-feed", positive=True),
        stepdown=None if stepdown is None else units.quantity(stepdown, "length", key="--stepdown", positive=True),
    )
    _put_advice(answer, output)
    return 0


# --------------------------------------------------------------------------------------------------------------- check

FORMATS = ("text", "json", "sarif", "junit", "github", "gitlab", "html")
FAIL_ON = ("error", "warning", "note", "never")
NOT_IGNORED = frozenset({"internal-error", "file-skipped", "not-a-program", "required-not-checked"})

Paths = Annotated[list[str] | None, typer.Argument(help="programs and folders; - reads stdin", metavar="PATH...")]
Cutters = Annotated[
    list[str] | None,
    typer.Option(
        "--cutter", help="a cutter of the catalogue; T=NAME for one tool number; may be repeated", metavar="[T=]NAME"
    ),
]
Stock = Annotated[str | None, _text("--stock", "size of the stock, for example 300x200x18", "XxYxZ")]
Zero = Annotated[
    str | None, _text("--zero", "where program zero is, from the stock's lowest corner; default its top face", "X,Y,Z")
]
AssumeStock = Annotated[bool, typer.Option("--assume-stock", help="take the cut's extents as the stock, and say so")]
Dialect = Annotated[str | None, _text("--dialect", "shop or strict", "NAME")]
Fragment = Annotated[bool, typer.Option("--fragment", help="part of a program: no end-of-program rules")]
Config = Annotated[Path | None, typer.Option("--config", help="this shop file instead of the nearest", metavar="FILE")]
StdinName = Annotated[
    str | None, _text("--stdin-filename", "the name of what comes by stdin: decides the shop file", "NAME")
]


def _flags(
    material: str | None,
    machine: str | None,
    cutter: Sequence[str] | None,
    stock: str | None,
    zero: str | None,
    dialect: str | None,
    assume_stock: bool,
    fragment: bool,
) -> Flags:
    from advisor.setting import Flags

    return Flags(
        material=material,
        machine=machine,
        cutters=tuple(cutter or ()),
        stock=stock,
        zero=zero,
        dialect=_one_of(dialect, "--dialect", ("shop", "strict")),
        assume_stock=assume_stock,
        fragment=fragment,
    )


class Shop:
    """Shop files and settings of one run: each file read once, programs with the same values share one setting."""

    def __init__(self, config: Path | None, flags: Flags) -> None:
        from advisor.files import Shops

        self.flags = flags
        self.shops = Shops(_absolute(config) if config is not None else None)
        self._settings: dict[Any, Setting] = {}
        self.mistakes: list[Any] = []
        self._broken: set[Path] = set()

    def file(self, program: Path) -> ShopFile | None:
        """The shop file of a program; its mistakes are gathered, once."""
        from advisor.shopfile import ShopFileError

        path = self.shops.path_for(program)
        if path is None or path in self._broken:
            return None
        try:
            return self.shops.for_program(program)
        except ShopFileError as error:
            self._broken.add(path)
            self.mistakes += [mistake for mistake in error.mistakes if mistake not in self.mistakes]
            return None

    def setting(self, program: Path) -> Setting:
        """The setting of a program. Raises ``SettingError`` and ``UnitError``."""
        from advisor.setting import selection, setting_for

        shop = self.file(program) if self.shops.path_for(program) is not None else None
        key = (id(shop), selection(shop, program))
        if key not in self._settings:
            self._settings[key] = setting_for(shop, program, self.flags)
        return self._settings[key]

    def stop_if_broken(self) -> None:
        """End the run where a shop file has mistakes."""
        if self.mistakes:
            raise Stop(_mistakes_text(self.mistakes))


def _mistakes_text(mistakes: Sequence[Any]) -> str:
    count = len(mistakes)
    head = "the shop file has a mistake" if count == 1 else f"the shop file has {count} mistakes"
    return head + ":\n" + "\n".join(f"  {mistake}" for mistake in mistakes)


def _absolute(path: Path | str) -> Path:
    return Path(os.path.abspath(path))  # noqa: PTH100 - links stay as they are


def _named(path: Path) -> str:
    """How a report names a program: as it was given, without ``./``, with forward slashes."""
    return Path(os.path.normpath(path)).as_posix()


def _rules_given(given: Sequence[str] | None, flag: str) -> frozenset[str]:
    from advisor.rules import book
    from advisor.units import nearest

    names = [name.strip() for text in given or () for name in text.split(",") if name.strip()]
    known = book()
    for name in names:
        if name not in known:
            near = nearest(name, list(known))
            hint = "did you mean " + " or ".join(near) + "?" if near else "feedwright explain lists them"
            raise Stop(f'{flag}: "{name}" is not the name of a rule; {hint}')
        if flag == "--ignore" and name in NOT_IGNORED:
            raise Stop(f"--ignore: {name} says that something was not looked at, and can't be left out")
    return frozenset(names)


@app.command()
def check(
    paths: Paths = None,
    material: MaterialName = None,
    cutter: Cutters = None,
    machine: MachineName = None,
    stock: Stock = None,
    zero: Zero = None,
    assume_stock: AssumeStock = False,
    dialect: Dialect = None,
    fragment: Fragment = False,
    config: Config = None,
    show_config: Annotated[
        Path | None,
        typer.Option("--show-config", help="print every value in force for PROGRAM with its origin", metavar="PROGRAM"),
    ] = None,
    output: Outputs = None,
    fail_on: Annotated[
        str, _text("--fail-on", "exit 1 from this severity: error, warning, note, never", "SEVERITY")
    ] = "error",
    select: Annotated[list[str] | None, typer.Option("--select", help="only these rules", metavar="RULE,...")] = None,
    ignore: Annotated[list[str] | None, typer.Option("--ignore", help="not these rules", metavar="RULE,...")] = None,
    baseline: Annotated[
        Path | None, typer.Option("--baseline", help="tell only what this baseline does not hold", metavar="FILE")
    ] = None,
    include_suppressed: Annotated[
        bool, typer.Option("--include-suppressed", help="tell allowed and baselined findings too, as such")
    ] = False,
    stdin_filename: StdinName = None,
    jobs: Annotated[
        int | None, typer.Option("--jobs", help="processes at most; default the cores", metavar="N")
    ] = None,
    shard: Annotated[str | None, _text("--shard", "only part K of N of the programs, for example 2/8", "K/N")] = None,
    no_cache: Annotated[bool, typer.Option("--no-cache", help="neither use nor keep earlier results")] = False,
) -> int:
    """Check programs and folders before they are run."""
    _one_of(fail_on, "--fail-on", FAIL_ON)
    shop = Shop(config, _flags(material, machine, cutter, stock, zero, dialect, assume_stock, fragment))
    if show_config is not None:
        return _show_config(shop, show_config)
    if not paths:
        raise Stop("nothing to check: name a program or a folder, or - for stdin")
    outputs = targets(output or (), FORMATS)
    chosen, left_out = _rules_given(select, "--select"), _rules_given(ignore, "--ignore")
    report, empty_shard = _run(shop, paths, stdin_filename, jobs, shard, no_cache)
    report = _filtered(report, chosen, left_out)
    if baseline is not None:
        report = _baselined(report, baseline)
    for target in outputs:
        put(target, _rendered(report, target, include_suppressed))
    from advisor.run import exit_status

    return 0 if empty_shard else exit_status(report, fail_on)


def _run(
    shop: Shop,
    paths: Sequence[str],
    stdin_filename: str | None,
    jobs: int | None,
    shard: str | None,
    no_cache: bool,
) -> tuple[Report, bool]:
    """The report on everything named; True beside it where this shard has no program."""
    from advisor.cache import open_cache
    from advisor.run import in_shard, parse_shard, run_check

    if jobs is not None and jobs < 1:
        raise Stop(f"--jobs: {jobs} processes can't work; give 1 or more")
    part = None
    if shard is not None:
        try:
            part = parse_shard(shard)
        except ValueError as error:
            raise Stop(str(error)) from None
    tasks, failed, notices = _tasks(shop, paths, stdin_filename)
    shop.stop_if_broken()
    if not tasks:
        where = ", ".join(str(path) for path in paths)
        raise Stop(
            f"no program found in {where}; programs end in {', '.join(_endings(None))} unless [files] endings in the "
            "shop file says otherwise, or name the file itself"
        )
    if part is not None:
        of_shard = [task for task in tasks if in_shard(task.path, *part)]
        notices.append(f"shard {part[0]}/{part[1]}: {len(of_shard)} of {len(tasks)} programs")
        if not of_shard:
            from advisor.findings import Report

            return Report(version=__version__, programs=(), notices=tuple(notices)), True
        tasks = of_shard
    cache = None if no_cache else open_cache()
    with _progress(len(tasks)) as progress:
        report = run_check(tasks, cache=cache, workers=jobs, progress=progress, notices=notices)
    if failed:
        raise Stop("\n".join(failed))
    return report, False


def _endings(shop: ShopFile | None) -> tuple[str, ...]:
    from advisor.files import ENDINGS

    return shop.endings if shop is not None and shop.endings is not None else ENDINGS


def _tasks(shop: Shop, paths: Sequence[str], stdin_filename: str | None) -> tuple[list[Task], list[str], list[str]]:
    """One task a program; what is said of named files that can't be read gathers in the second list during the run."""
    from advisor.files import NamedPathError, walk
    from advisor.run import Task, skipped

    def endings_of(folder: Path) -> tuple[tuple[str, ...], Iterable[tuple[Path, str]], bool]:
        file = shop.file(folder / "program")
        return _endings(file), file.ignore if file is not None else (), file.by_content if file is not None else False

    tasks: list[Task] = []
    failed: list[str] = []
    named = {_absolute(path) for path in paths}
    if "-" in paths:
        if len(paths) > 1:
            raise Stop("- reads stdin and stands alone; name the files in a run of their own")
        name = stdin_filename or "stdin"
        data = sys.stdin.buffer.read()
        return [Task(path=_named(Path(name)), setting=_fitting(shop, _absolute(name)), data=data)], failed, []
    if stdin_filename is not None:
        raise Stop("--stdin-filename goes with - as the path")
    try:
        found = walk([Path(path) for path in paths], endings_of=endings_of)
    except NamedPathError as error:
        raise Stop(str(error)) from None
    for path in found.programs:
        absolute = _absolute(path)
        setting = _fitting(shop, absolute)
        tasks.append(Task(path=_named(path), setting=setting, read=_reader(path, absolute in named, failed)))
    for item in found.skipped:
        tasks.append(
            Task(
                path=_named(item.path),
                setting=_fitting(shop, _absolute(item.path)),
                ready=skipped(_named(item.path), item.reason),
            )
        )
    return tasks, failed, list(found.notices)


def _fitting(shop: Shop, program: Path) -> Setting:
    """The setting of a program; what does not fit in the shop file is gathered with its other mistakes."""
    from advisor.setting import SettingError
    from advisor.values import Setting

    try:
        return shop.setting(program)
    except SettingError as error:
        if shop.shops.path_for(program) is None:
            raise
        if str(error) not in [str(mistake) for mistake in shop.mistakes]:
            shop.mistakes.append(str(error))
        return Setting()


def _reader(path: Path, named: bool, failed: list[str]) -> Callable[[], bytes]:
    def read() -> bytes:
        from advisor.files import read_program, shown

        content = read_program(path)
        if content.problem:
            if named:
                failed.append(f"{shown(path)} can't be read: {content.problem}")
            raise OSError(content.problem)
        return content.data

    return read


class _Quiet:
    """No progress."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, *_: object) -> None:
        return None


def _progress(count: int) -> Any:
    """A progress bar on stderr for many programs and a person watching, else nothing."""
    if count < 20 or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        return _Quiet()
    from contextlib import contextmanager

    @contextmanager
    def bar() -> Any:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

        columns = (TextColumn("checking"), BarColumn(), MofNCompleteColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
            task = shown.add_task("", total=count)
            yield lambda done, of: shown.update(task, completed=done, total=of)

    return bar()


def _filtered(report: Report, chosen: frozenset[str], left_out: frozenset[str]) -> Report:
    """Only what ``--select`` and ``--ignore`` leave; that something was not looked at stays, whatever they say."""
    if not chosen and not left_out:
        return report
    from dataclasses import replace

    def stays(rule: str) -> bool:
        return rule in NOT_IGNORED or ((not chosen or rule in chosen) and rule not in left_out)

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


def _rendered(report: Report, target: Target, include_suppressed: bool) -> str:
    if target.form == "text":
        from advisor.report import text

        to_screen = target.file is None
        return text.render(
            report,
            width=screen_width() if to_screen else 100,
            colour=to_screen and wants_colour(sys.stdout),
            plain_ascii=to_screen and not takes_unicode(sys.stdout),
            show_suppressed=include_suppressed,
        )
    import importlib

    try:
        renderer = importlib.import_module(f"advisor.report.{target.form}")
    except ModuleNotFoundError:
        raise Stop(f"--output: the format {target.form} is not part of this version") from None
    made: str = renderer.render(report)
    return made


def _baselined(report: Report, file: Path) -> Report:
    raise Stop("--baseline is not part of this version")


def _show_config(shop: Shop, program: Path) -> int:
    from advisor.pages import config_text

    absolute = _absolute(program)
    setting = _fitting(shop, absolute)
    shop.stop_if_broken()
    path = shop.shops.path_for(absolute)
    from advisor.files import short, shown

    say(config_text(setting, program=_named(program), shop_file=shown(short(path)) if path is not None else None))
    return 0


# --------------------------------------------------------------------------------------------------------------- trace


@app.command()
def trace(
    program: Annotated[str, typer.Argument(help="a program; - reads stdin", metavar="PROGRAM")],
    dialect: Dialect = None,
    fragment: Fragment = False,
    config: Config = None,
    stdin_filename: StdinName = None,
    output: Outputs = None,
) -> int:
    """Tell what each block does: state, move, end point."""
    from advisor.files import NamedPathError, read_named

    shop = Shop(config, _flags(None, None, None, None, None, dialect, False, fragment))
    if program == "-":
        name, data = stdin_filename or "stdin", sys.stdin.buffer.read()
    else:
        name = program
        try:
            data = read_named(Path(program))
        except NamedPathError as error:
            raise Stop(str(error)) from None
    setting = _fitting(shop, _absolute(name))
    shop.stop_if_broken()
    outputs = targets(output or (), ("text", "json"))
    from advisor import trace as tracing
    from advisor.check import start_of

    traced = tracing.trace(
        data,
        dialect=setting.checks.dialect,
        options=setting.checks.dialect_options,
        start=start_of(setting),
        fragment=fragment,
    )
    for target in outputs:
        put(target, tracing.to_json(traced) if target.form == "json" else tracing.to_text(traced))
    return 0


# -------------------------------------------------------------------------------------------------- explain, catalogue


@app.command()
def explain(
    rule: Annotated[str | None, typer.Argument(help="the name of a rule", metavar="[RULE]")] = None,
    output: Outputs = None,
) -> int:
    """Tell all about a rule, or list the rules."""
    from advisor import pages, rules
    from advisor.units import nearest

    outputs = targets(output or (), ("text", "json"))
    book = rules.book()
    if rule is not None and rule not in book:
        near = nearest(rule, list(book))
        hint = (
            "did you mean " + " or ".join(f'"{name}"' for name in near) + "?"
            if near
            else "feedwright explain lists them"
        )
        raise Stop(f'there is no rule named "{rule}"; {hint}')
    for target in outputs:
        if target.form == "json":
            import json

            chosen = [pages.rule_dict(rules.page(name)) for name in (book if rule is None else [rule])]
            text = json.dumps({"schema": "feedwright.rules/1", "rules": chosen}, indent=1) + "\n"
        elif rule is None:
            text = pages.rule_list(book, width=screen_width())
        else:
            text = pages.rule_page(rules.page(rule), width=screen_width())
        put(target, _fit(text, target))
    return 0


def _fit(text: str, target: Target) -> str:
    """The text for where it goes: plain ASCII where the terminal can't take more."""
    if target.file is None and not takes_unicode(sys.stdout):
        from advisor.escape import ascii_only

        return ascii_only(text)
    return text


@app.command()
def catalogue(
    kind: Annotated[str | None, typer.Argument(help="materials, cutters or machines", metavar="[KIND]")] = None,
    name: Annotated[str | None, typer.Argument(help="one entry of that kind", metavar="[NAME]")] = None,
    output: Outputs = None,
) -> int:
    """Show what is known, every value with its range and source."""
    from advisor import catalogue as known
    from advisor import pages

    outputs = targets(output or (), ("text", "json"))
    if kind is not None and kind not in known.KINDS:
        holders = [each for each in known.KINDS if kind in known.names(each)]
        if holders:
            raise Stop(f'"{kind}" is one of the {holders[0]}; write: feedwright catalogue {holders[0]} {kind}')
        _one_of(kind, "catalogue", known.KINDS)
    for target in outputs:
        if target.form == "json":
            import json

            text = json.dumps(pages.catalogue_dict(kind, name), indent=1, allow_nan=False) + "\n"
        else:
            text = pages.catalogue_text(kind, name, width=screen_width())
        put(target, _fit(text, target))
    return 0


# ---------------------------------------------------------------------------------------------------------------- init


@app.command()
def init(
    folder: Annotated[Path, typer.Argument(help="where the file is to stand", metavar="[FOLDER]")] = Path(),
    machine: MachineName = None,
    material: MaterialName = None,
    cutter: Cutters = None,
    stock: Stock = None,
    zero: Zero = None,
    ask: Annotated[
        bool | None, typer.Option("--ask/--no-ask", help="ask for what no flag gives; default on a terminal")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="put it in the place of a file that stands there")] = False,
    schema: Annotated[
        bool, typer.Option("--schema", help="print the JSON Schema of the shop file, for editors")
    ] = False,
) -> int:
    """Write a commented starter feedwright.toml."""
    if schema:
        import json

        from advisor.shopfile import schema as made

        say(json.dumps(made(), indent=1, ensure_ascii=True))
        return 0
    from advisor import starter
    from advisor.files import shown, why_not, write_whole
    from advisor.shopfile import NAME

    file = folder / NAME
    if file.exists() and not force:
        raise Stop(f"{shown(file)} stands there already; --force puts a new one in its place")
    if not folder.is_dir():
        raise Stop(f"{shown(folder)} is not a folder; make it first")
    flags = _flags(material, machine, cutter, stock, zero, None, False, False)
    asking = ask if ask is not None else sys.stdin.isatty() and sys.stdout.isatty()
    if asking:
        flags = _asked(flags)
    try:
        write_whole(file, starter.text(flags))
    except OSError as error:
        raise Stop(f"{shown(file)} can't be written: {why_not(error)}") from None
    say(
        f"wrote {shown(file)}\nnext: feedwright check --show-config PROGRAM   what is in force\n"
        f"      feedwright check {shown(folder)}"
    )
    return 0


def _asked(flags: Flags) -> Flags:
    """The flags with what the user answers put in; an empty answer leaves a value out."""
    from dataclasses import replace

    from advisor.setting import SettingError, flags_layer
    from advisor.units import UnitError

    questions = (
        ("machine", "machine (feedwright catalogue machines)"),
        ("cutters", "cutters by tool number, for example 1=endmill-upcut-6mm-2f 2=drill-3mm"),
        ("material", "material (feedwright catalogue materials)"),
        ("stock", "stock, X x Y x Z, for example 300x200x18"),
        ("zero", "program zero from the stock's lowest corner, X,Y,Z; empty: top face at that corner"),
    )
    for name, question in questions:
        while not getattr(flags, name):
            answer = typer.prompt(question, default="", show_default=False, err=True).strip()
            if not answer:
                break
            changed: dict[str, Any] = {name: tuple(answer.replace(",", " ").split()) if name == "cutters" else answer}
            new = replace(flags, **changed)
            try:
                flags_layer(new)
            except (SettingError, UnitError) as error:
                complain(str(error))
                continue
            flags = new
    return flags


# ------------------------------------------------------------------------------------------------------ ways in and out


def _version(wanted: bool) -> None:
    if wanted:
        say(f"feedwright {__version__}")
        raise typer.Exit(0)


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", help="print the version and end", callback=_version, is_eager=True)
    ] = False,
) -> None:
    """Speeds, feeds and depths for precise routing and milling, and a check of RS-274 programs before they are run."""


def _expected() -> tuple[type[BaseException], ...]:
    """The errors that are sentences for the user; loaded only once something was raised."""
    from advisor.advice import BadRequest
    from advisor.catalogue import UnknownName
    from advisor.setting import SettingError
    from advisor.units import UnitError

    return (Stop, UnitError, SettingError, UnknownName, BadRequest)


def _internal(error: BaseException) -> int:
    """Tell an internal error: what happened, where, and what to report."""
    import traceback

    frames = [
        f for f in traceback.extract_tb(error.__traceback__) if "advisor" in f.filename or "grammar" in f.filename
    ]
    where = f" ({Path(frames[-1].filename).name}:{frames[-1].lineno})" if frames else ""
    said = " ".join(str(error).split())[:300]
    complain(
        f"internal-error: {type(error).__name__}: {said}{where}\n"
        f"Nothing was judged. Please report this line, the version ({__version__}), the command, and if you can the "
        "program and the shop file."
    )
    if os.environ.get("FEEDWRIGHT_TRACE"):
        traceback.print_exception(error)
    return WRONG_USE


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; the exit status. Never raises."""
    try:
        result = app(
            args=list(arguments) if arguments is not None else None, prog_name="feedwright", standalone_mode=False
        )
    except KeyboardInterrupt:
        return INTERRUPTED
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else int(stop.code is not None)
    except BrokenPipeError:
        return _pipe_closed()
    except Exception as error:
        return _told(error)
    return result if isinstance(result, int) else 0


def _told(error: Exception) -> int:
    if isinstance(error, _expected()):
        complain(str(error))
        return WRONG_USE
    show = getattr(error, "show", None)
    if show is not None and hasattr(error, "exit_code"):  # typer's own word on wrong use
        show()
        return WRONG_USE
    if isinstance(error, typer.Abort):
        return INTERRUPTED
    return _internal(error)


def _pipe_closed() -> int:
    """Whoever read our output went away: nothing more can be said, and nothing was approved."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    return WRONG_USE


if __name__ == "__main__":
    sys.exit(main())
