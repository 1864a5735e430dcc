"""The command line: reads flags, hands values to the rest, prints what comes back, and decides the exit status.

Only typer and the standard library are imported here at the top; each command loads what it needs.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from advisor import __version__
from advisor.units import WrongUse, one_of

if TYPE_CHECKING:
    from advisor.findings import Report
    from advisor.gate import Shop
    from advisor.setting import Flags

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
baseline_app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Adopt the gate in a folder that already has findings.",
)


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
    try:
        _write(sys.stdout, text)
    except BrokenPipeError:
        raise  # the reader has seen enough
    except OSError as error:
        from advisor.files import why_not

        raise WrongUse(f"stdout can't be written: {why_not(error, doing='writing')}") from None


def complain(text: str) -> None:
    """Print a message to stderr; control characters somebody put into a name are shown, not obeyed."""
    from advisor.escape import visible

    _write(sys.stderr, "\n".join(visible(line) for line in f"feedwright: {text}".split("\n")))


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
            raise WrongUse(
                f'--output: "{form}" is not one of {", ".join(known)}; write for example --output json:report.json'
            )
        if colon and not name:
            raise WrongUse(f'--output: the file after "{form}:" is missing')
        made.append(Target(form, Path(name) if name else None))
    if sum(target.file is None for target in made) > 1:
        raise WrongUse(
            "--output: only one format can go to stdout; give the others a file, for example sarif:report.sarif"
        )
    files = [os.path.abspath(target.file) for target in made if target.file is not None]  # noqa: PTH100
    if len(set(files)) != len(files):
        raise WrongUse("--output: one file is named twice")
    return made


def put(target: Target, text: str | bytes) -> None:
    """Write one result to its file, whole or not at all, or to stdout."""
    if target.file is None:
        say(text if isinstance(text, str) else text.decode())
        return
    from advisor.files import shown, why_not, write_whole

    try:
        write_whole(target.file, text)
    except OSError as error:
        problem = f"{shown(target.file)} can't be written: {why_not(error, doing='writing')}; what stood there is unchanged"
        raise WrongUse(problem) from None


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
SpeedsConfig = Annotated[
    Path | None,
    typer.Option("--config", help="a shop file: its machine, material and cutters stand in for flags", metavar="FILE"),
]
Tool = Annotated[int | None, typer.Option("--tool", help="the cutter of this T number in --config", metavar="T")]
Finish = Annotated[bool, typer.Option("--finish", help="advise the finishing cut itself")]
Outputs = Annotated[
    list[str] | None, typer.Option("--output", help="FORMAT[:FILE]; may be repeated", metavar="FORMAT[:FILE]")
]


def _setting_of(config: Path | None, material: str | None) -> Any:
    """What a shop file says, for ``speeds`` and ``rate``; None without one."""
    if config is None:
        return None
    from advisor.files import load_shop_file
    from advisor.setting import Flags, setting_for

    shop = load_shop_file(config)
    own = material if material in shop.materials else None
    return setting_for(shop, None, Flags(material=own))


def _put_advice(answer: Any, outputs: Sequence[Target], given: dict[str, Any]) -> None:
    from advisor.request import assumed

    more = assumed(given)
    if more:
        from dataclasses import replace

        answer = replace(answer, assumptions=(*more, *answer.assumptions))
    for target in outputs:
        if target.form == "json":
            import json

            text = json.dumps(answer.to_dict(), indent=1, allow_nan=False) + "\n"
        else:
            from advisor.report import advice_text

            to_screen = target.file is None
            text = advice_text.render(
                answer,
                width=screen_width() if to_screen else 100,
                colour=to_screen and wants_colour(sys.stdout),
                plain_ascii=to_screen and not takes_unicode(sys.stdout),
            )
        put(target, text)


@app.command(short_help="Speeds, feeds and depths for a cut.")
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
    config: SpeedsConfig = None,
    tool: Tool = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", help="draw the operating window into FILE (.svg or .png)", metavar="FILE")
    ] = None,
    output: Outputs = None,
) -> int:
    """Recommend spindle speed, feed, plunge feed, depth and number of passes, stepover and entry.

    Name a cutter of the catalogue or give its diameter and flutes; flags override the catalogue entry they refine.
    What limits the cut, how much of each limit is used, the range and a gentler first cut are told with it. What can't
    be cut well is refused with the reason, with exit status 1.

    \b
    Examples:
      feedwright speeds --diameter 6 --flutes 2 --material birch-plywood --depth 18
      feedwright speeds --cutter endmill-metal-1-4in-3f --material aluminium-wrought \\
          --machine benchtop-mill --operation side --depth 1/2in --stickout 1in
      feedwright speeds --cutter drill-5mm --material mild-steel --machine knee-mill \\
          --operation drill --depth 20 --output json
    """
    given = dict(locals())
    outputs = targets(output or (), ("text", "json"))
    if plot is not None and plot.suffix.lower() not in (".svg", ".png"):
        raise WrongUse(f'--plot: "{plot}" ends neither in .svg nor in .png; the ending says what is drawn')
    from advisor.request import request_from

    request = request_from(given, _setting_of(config, material))
    from advisor.recommend import recommend

    answer = recommend(request)
    if plot is not None:
        _plot(answer, plot)
    _put_advice(answer, outputs, given)
    return FOUND if hasattr(answer, "reasons") else 0


def _plot(answer: Any, file: Path) -> None:
    if hasattr(answer, "reasons"):
        complain("--plot: there is no window to draw, since the cut is refused")
        return
    from advisor.plot import draw

    try:
        picture = draw(answer, file.suffix.lower().lstrip("."))
    except ImportError as error:
        if "matplotlib" not in str(error):
            raise
        remedy = 'install it with: pip install "feedwright[plot]"'
        raise WrongUse(f"--plot needs matplotlib, which is not installed; {remedy}") from None
    put(Target("plot", file), picture)


@app.command(short_help="Judge settings you already have.")
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
    config: SpeedsConfig = None,
    tool: Tool = None,
    output: Outputs = None,
) -> int:
    """Judge settings you already have: chip thickness, force, torque, power, deflection, margins, what is wrong.

    \b
    Examples:
      feedwright rate --rpm 18000 --feed 3600 --stepdown 6 \\
          --cutter endmill-upcut-6mm-2f --material birch-plywood --machine screw-router
      feedwright rate --rpm "300 m/min" --feed "60 in/min" --stepdown 1/8in \\
          --diameter 1/4in --flutes 2 --specific-force "700 N/mm2" --output json
    """
    given = dict(locals())
    outputs = targets(output or (), ("text", "json"))
    from advisor.request import request_from

    request = request_from(given, _setting_of(config, material))
    from advisor import units
    from advisor.rate import rate as judge

    answer = judge(
        request,
        rpm=units.spindle(rpm, request.cutter.diameter, key="--rpm"),
        feed=units.quantity(feed, "feed", key="--feed", positive=True),
        plunge_feed=None
        if plunge_feed is None
        else units.quantity(plunge_feed, "feed", key="--plunge-feed", positive=True),
        stepdown=None if stepdown is None else units.quantity(stepdown, "length", key="--stepdown", positive=True),
    )
    _put_advice(answer, outputs, given)
    return 0


# --------------------------------------------------------------------------------------------------------------- check

FORMATS = ("text", "json", "sarif", "junit", "github", "gitlab", "html")
FAIL_ON = ("error", "warning", "note", "never")
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
Jobs = Annotated[int | None, typer.Option("--jobs", help="processes at most; default the cores", metavar="N")]
NoCache = Annotated[bool, typer.Option("--no-cache", help="neither use nor keep earlier results")]
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
        dialect=one_of(dialect, "--dialect", ("shop", "strict")),
        assume_stock=assume_stock,
        fragment=fragment,
    )


@app.command(short_help="Check programs and folders before they are run.")
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
    jobs: Jobs = None,
    shard: Annotated[str | None, _text("--shard", "only part K of N of the programs, for example 2/8", "K/N")] = None,
    no_cache: NoCache = False,
) -> int:
    """Check programs and folders before they are run.

    Machine, cutters, stock and rules come from the nearest feedwright.toml above each program; flags win over it. A
    rule that could not look, for want of a value or for a code it can't follow, is told as not checked with the reason.
    A program of a [[job]] is checked in the stock that the programs before it leave; they are followed for it.

    \b
    Examples:
      feedwright check pad-1.ngc
      feedwright check programs/ --fail-on warning --jobs 2
      feedwright check pad-1.ngc --cutter 1=endmill-upcut-6mm-2f --cutter 2=drill-3mm \\
          --material birch-plywood --stock 300x200x18 --zero 0,0,18
      feedwright check programs/ --output text --output sarif:report.sarif
      feedwright check - --stdin-filename programs/pad-1.ngc < pad-1.ngc
      feedwright check --show-config programs/pad-1.ngc

    \b
    Formats of --output: text, json, sarif, junit, github, gitlab, html.
    """

    from advisor.gate import Shop, filtered, rules_given, run

    one_of(fail_on, "--fail-on", FAIL_ON)
    shop = Shop(config, _flags(material, machine, cutter, stock, zero, dialect, assume_stock, fragment))
    if show_config is not None:
        return _show_config(shop, show_config)
    if not paths:
        raise WrongUse("nothing to check: name a program or a folder, or - for stdin")
    outputs = targets(output or (), FORMATS)
    chosen, left_out = rules_given(select, "--select"), rules_given(ignore, "--ignore")
    report, empty_shard = run(
        shop,
        paths,
        stdin=_stdin(paths, stdin_filename),
        jobs=jobs,
        shard=shard,
        no_cache=no_cache,
        progress=_progress,
        warn=complain,
    )
    report = filtered(report, chosen, left_out)
    if baseline is not None:
        report = _baselined(report, baseline)
    for target in outputs:
        put(target, _rendered(report, target, include_suppressed, fail_on))
    from advisor.run import exit_status

    return 0 if empty_shard else exit_status(report, fail_on)


def _stdin(paths: Sequence[str], name: str | None) -> tuple[str, bytes] | None:
    """Name and bytes of what comes by stdin, where ``-`` asks for it."""
    if "-" not in paths:
        if name is not None:
            raise WrongUse("--stdin-filename goes with - as the path")
        return None
    if len(paths) > 1:
        raise WrongUse("- reads stdin and stands alone; name the files in a run of their own")
    return name or "stdin", _all_of_stdin()


def _all_of_stdin() -> bytes:
    """What comes by stdin, up to the bound of any program."""
    from advisor.files import MAX_PROGRAM

    data = sys.stdin.buffer.read(MAX_PROGRAM + 1)
    if len(data) > MAX_PROGRAM:
        raise WrongUse(f"what comes by stdin is larger than {MAX_PROGRAM} bytes; part the program")
    return data


class _Quiet:
    """No progress."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, *_: object) -> None:
        return None


PATIENCE = 1.0  # s a person waits before a bar is shown


def _progress(count: int) -> Any:
    """A progress bar on stderr for a person watching, when it takes more than a second; else nothing."""
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        return _Quiet()
    import time
    from contextlib import contextmanager

    @contextmanager
    def bar() -> Any:
        begin = time.monotonic()
        shown: Any = None

        def tell(done: float, of: int) -> None:
            nonlocal shown
            if shown is None and time.monotonic() - begin >= PATIENCE:
                from rich.console import Console
                from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

                columns = (TextColumn("checking"), BarColumn(), TaskProgressColumn())
                shown = Progress(*columns, console=Console(stderr=True), transient=True)
                shown.add_task("", total=count)
                shown.start()
            if shown is not None:
                shown.update(shown.task_ids[0], completed=done, total=of)

        try:
            yield tell
        finally:
            if shown is not None:
                shown.stop()

    return bar()


def _rendered(report: Report, target: Target, include_suppressed: bool, fail_on: str) -> str:
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

    renderer = importlib.import_module(f"advisor.report.{target.form}")
    given: dict[str, Any] = {}
    if target.form == "junit":
        given["fail_on"] = fail_on
    if target.form == "sarif":
        from advisor import rules

        given = {"include_suppressed": include_suppressed, "pages": rules.page}
    made: str = renderer.render(report, **given)
    return made


def _baselined(report: Report, file: Path) -> Report:
    from advisor import baseline

    return baseline.apply(report, baseline.load(file), file=file)


def _show_config(shop: Shop, program: Path) -> int:
    from advisor.files import short, shown
    from advisor.gate import absolute, named
    from advisor.pages import config_text

    whole = absolute(program)
    if str(program).startswith("-") and not whole.exists():
        raise WrongUse(f"--show-config: for which program? {shown(program)} is none; write --show-config PROGRAM")
    if whole.is_dir():
        whole = whole / "program"  # any program in the folder
    setting = shop.fitting(whole)
    shop.stop_if_broken()
    path = shop.shops.path_for(whole)
    say(config_text(setting, program=named(program), shop_file=shown(short(path)) if path is not None else None))
    return 0


# --------------------------------------------------------------------------------------------------------------- trace


@app.command(short_help="What each block does: state, move, end point.")
def trace(
    program: Annotated[str, typer.Argument(help="a program; - reads stdin", metavar="PROGRAM")],
    dialect: Dialect = None,
    fragment: Fragment = False,
    config: Config = None,
    stdin_filename: StdinName = None,
    output: Outputs = None,
) -> int:
    """Tell what each block does: state, move, end point.

    \b
    Examples:
      feedwright trace pad-1.ngc
      feedwright trace pad-1.ngc --dialect strict --output json
    """
    from advisor.files import NamedPathError, read_named
    from advisor.gate import Shop, absolute, named

    shop = Shop(config, _flags(None, None, None, None, None, dialect, False, fragment))
    if program == "-":
        name, data = stdin_filename or "stdin", _all_of_stdin()
    else:
        name = program
        try:
            data = read_named(Path(program))
        except NamedPathError as error:
            raise WrongUse(str(error)) from None
    setting = shop.fitting(absolute(name))
    shop.stop_if_broken()
    outputs = targets(output or (), ("text", "json"))
    import json

    from advisor.check import start_of
    from advisor.trace import trace_dict, trace_text
    from grammar.read import read_program

    read = read_program(
        data,
        name=named(Path(name)),
        dialect=setting.checks.dialect,
        start=start_of(setting),
        options=setting.checks.dialect_options,
        fragment=fragment,
    )
    for target in outputs:
        if target.form == "json":
            text = json.dumps(trace_dict(read, named(Path(name))), indent=1, allow_nan=False) + "\n"
        else:
            text = _fit(trace_text(read, screen_width()), target)
        put(target, text)
    return 0


# -------------------------------------------------------------------------------------------------- explain, catalogue


@app.command(short_help="All about a rule, or the list of rules.")
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
        raise WrongUse(f'there is no rule named "{rule}"; {hint}')
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


@app.command(short_help="What is known, every value with range and source.")
def catalogue(
    kind: Annotated[str | None, typer.Argument(help="materials, cutters or machines", metavar="[KIND]")] = None,
    name: Annotated[str | None, typer.Argument(help="one entry of that kind", metavar="[NAME]")] = None,
    output: Outputs = None,
) -> int:
    """Show what is known, every value with its range and source.

    \b
    Examples:
      feedwright catalogue materials
      feedwright catalogue cutters endmill-upcut-6mm-2f
      feedwright catalogue machines --output json
    """
    from advisor import catalogue as known
    from advisor import pages

    outputs = targets(output or (), ("text", "json"))
    if kind is not None and kind not in known.KINDS:
        holders = [each for each in known.KINDS if kind in known.names(each)]
        if holders:
            raise WrongUse(f'"{kind}" is one of the {holders[0]}; write: feedwright catalogue {holders[0]} {kind}')
        one_of(kind, "catalogue", known.KINDS)
    for target in outputs:
        if target.form == "json":
            import json

            text = json.dumps(pages.catalogue_dict(kind, name), indent=1, allow_nan=False) + "\n"
        else:
            text = pages.catalogue_text(kind, name, width=screen_width())
        put(target, _fit(text, target))
    return 0


# ---------------------------------------------------------------------------------------------------------------- init


@app.command(short_help="Write a commented starter feedwright.toml.")
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
    """Write a commented starter feedwright.toml; asks on a terminal for what no flag gives.

    \b
    Examples:
      feedwright init
      feedwright init programs/ --no-ask --machine ballscrew-router \\
          --cutter 1=endmill-upcut-6mm-2f --material birch-plywood --stock 300x200x18
      feedwright init --schema > feedwright.schema.json
    """
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
        raise WrongUse(f"{shown(file)} stands there already; --force puts a new one in its place")
    if not folder.is_dir():
        raise WrongUse(f"{shown(folder)} is not a folder; make it first")
    flags = _flags(material, machine, cutter, stock, zero, None, False, False)
    asking = ask if ask is not None else sys.stdin.isatty() and sys.stdout.isatty()
    if asking:
        flags = _asked(flags)
    try:
        write_whole(file, starter.text(flags))
    except OSError as error:
        raise WrongUse(f"{shown(file)} can't be written: {why_not(error, doing='writing')}") from None
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


# ------------------------------------------------------------------------------------------------------------ baseline

BaselineFile = Annotated[
    Path, typer.Option("--file", help="the baseline; paths in it are relative to its folder", metavar="FILE")
]
IncludeErrors = Annotated[
    str, _text("--include-errors", "take findings of severity error too, for this REASON", "REASON")
]
DEFAULT_BASELINE = Path("feedwright-baseline.jsonl")


@baseline_app.command("create", short_help="Take today's findings into a new baseline.")
def baseline_create(
    paths: Paths = None,
    file: BaselineFile = DEFAULT_BASELINE,
    include_errors: IncludeErrors = "",
    force: Annotated[bool, typer.Option("--force", help="put it in the place of one that stands there")] = False,
    material: MaterialName = None,
    cutter: Cutters = None,
    machine: MachineName = None,
    stock: Stock = None,
    zero: Zero = None,
    assume_stock: AssumeStock = False,
    dialect: Dialect = None,
    fragment: Fragment = False,
    config: Config = None,
    jobs: Jobs = None,
    no_cache: NoCache = False,
) -> int:
    """Take today's findings into a new baseline, so that only new ones are told from now on.

    Findings of severity error are taken only with --include-errors and a reason; what nobody could look at is never
    taken.

    \b
    Examples:
      feedwright baseline create programs/
      feedwright check programs/ --baseline feedwright-baseline.jsonl
    """
    from advisor import baseline
    from advisor.files import shown
    from advisor.gate import Shop

    if file.exists() and not force:
        raise WrongUse(
            f"{shown(file)} stands there already; feedwright baseline update takes out what is mended, --force makes "
            "it anew"
        )
    shop = Shop(config, _flags(material, machine, cutter, stock, zero, dialect, assume_stock, fragment))
    outcome = baseline.create(_checked(shop, paths, jobs, no_cache), file=file, include_errors=include_errors)
    baseline.save(file, outcome.entries)
    say(outcome.told() + f"wrote {shown(file)}; use it with: feedwright check ... --baseline {shown(file)}")
    return FOUND if outcome.refused else 0


@baseline_app.command("update", short_help="Take out what is mended; with --add take in what is new.")
def baseline_update(
    paths: Paths = None,
    file: BaselineFile = DEFAULT_BASELINE,
    add: Annotated[bool, typer.Option("--add", help="take in new findings too")] = False,
    include_errors: IncludeErrors = "",
    material: MaterialName = None,
    cutter: Cutters = None,
    machine: MachineName = None,
    stock: Stock = None,
    zero: Zero = None,
    assume_stock: AssumeStock = False,
    dialect: Dialect = None,
    fragment: Fragment = False,
    config: Config = None,
    jobs: Jobs = None,
    no_cache: NoCache = False,
) -> int:
    """Take out of the baseline what is mended; only --add takes in what is new."""
    from advisor import baseline
    from advisor.gate import Shop

    old = baseline.load(file)
    shop = Shop(config, _flags(material, machine, cutter, stock, zero, dialect, assume_stock, fragment))
    report = _checked(shop, paths, jobs, no_cache)
    outcome = baseline.update(old, report, file=file, add=add, include_errors=include_errors)
    baseline.save(file, outcome.entries)
    say(outcome.told())
    return FOUND if outcome.refused else 0


@baseline_app.command("prune", short_help="Take out programs and rules that are gone.")
def baseline_prune(file: BaselineFile = DEFAULT_BASELINE) -> int:
    """Take out of the baseline the entries of programs that are gone and of rules that no longer exist."""
    from advisor import baseline
    from advisor.rules import book

    outcome = baseline.prune(baseline.load(file), file=file, known_rules=frozenset(book()))
    baseline.save(file, outcome.entries)
    say(outcome.told())
    return 0


@baseline_app.command("show", short_help="What the baseline holds.")
def baseline_show(file: BaselineFile = DEFAULT_BASELINE) -> int:
    """Show what the baseline holds: counts by rule, then each entry with its reason."""
    from advisor import baseline

    say(baseline.show(baseline.load(file)))
    return 0


def _checked(shop: Shop, paths: Sequence[str] | None, jobs: int | None, no_cache: bool) -> Report:
    if not paths:
        raise WrongUse("which programs? Name the programs or folders the baseline is about")
    if "-" in paths:
        raise WrongUse("a baseline is about files; stdin has no path to be found under again")
    from advisor.gate import run

    return run(shop, paths, jobs=jobs, no_cache=no_cache, progress=_progress, warn=complain)[0]


app.add_typer(baseline_app, name="baseline")


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
    """Speeds, feeds and depths for precise routing and milling, and a check of RS-274 programs before they are run.

    Values may carry units: 6mm, 1/4in, "0.25 in", 18000rpm, "300 m/min", "600 sfm". A bare number is mm, mm/min,
    rev/min or degrees. Results go to stdout, messages to stderr.

    \b
    Examples:
      feedwright speeds --cutter endmill-upcut-6mm-2f --material birch-plywood \\
          --machine ballscrew-router --depth 18mm
      feedwright check hatch-ring.ngc --cutter 1=endmill-upcut-6mm-2f \\
          --material birch-plywood --machine ballscrew-router --stock 300x200x18
      feedwright check programs/ --output sarif:report.sarif --output github
      feedwright explain rapid-into-stock

    \b
    Exit status:
      0  nothing at or above --fail-on (default error)
      1  findings
      2  wrong use, a named path that can't be read, a mistake in the shop
         file, no program found, an internal error; 2 outranks 1

    \b
    Files and environment:
      feedwright.toml     machine, cutters, stock and rules of the shop; the
                          nearest one above a program counts
      NO_COLOR            set and not empty: no colour
      FORCE_COLOR         set and not empty: colour also into a pipe
      COLUMNS             width of the text
      XDG_CACHE_HOME      where earlier results are kept, under feedwright/
      FEEDWRIGHT_TRACE    set: an internal error prints where it came from

    What is printed is advice from what was given, not a release for cutting: the limits marked by the makers of
    cutter and machine, local rules and trained practice go first.
    """


def _expected() -> tuple[type[BaseException], ...]:
    """The errors that are sentences for the user; loaded only once something was raised."""
    from advisor.advice import BadRequest
    from advisor.baseline import BaselineError
    from advisor.catalogue import UnknownName

    if "advisor.shopfile" in sys.modules:
        from advisor.shopfile import ShopFileError

        return (WrongUse, UnknownName, BadRequest, BaselineError, ShopFileError)
    return (WrongUse, UnknownName, BadRequest, BaselineError)


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


def _only(given: Sequence[str]) -> typer.Typer:
    """The application with just the command that is named first, which saves building all the others."""
    named = [item for item in app.registered_commands if item.callback is not None and item.callback.__name__ in given[:1]]
    if not named:
        return app
    lean = typer.Typer(
        name="feedwright",
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        add_completion=False,
        context_settings=app.info.context_settings,
    )
    lean.registered_callback = app.registered_callback
    lean.registered_commands = named
    return lean


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; the exit status. Never raises."""
    if arguments is not None:
        return _run(list(arguments))
    # loading modules makes many objects and no garbage: looking through them is a twentieth of a short run
    gc.set_threshold(100_000, 50, 100)
    # nothing here multiplies matrices: numpy's threads for that would only spin, a tenth of a second of a core
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        return _run(None)
    finally:
        gc.freeze()  # the process ends: looking through all objects once more is another tenth of a short run


def _run(given: list[str] | None) -> int:
    """The exit status of one command; ``None`` for the process's own arguments."""
    try:
        result = _only(sys.argv[1:] if given is None else given)(
            args=given, prog_name="feedwright", standalone_mode=False
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
        place = getattr(error, "place", "")  # of a question that can't be asked: the flag without its dashes
        complain(f"--{error}" if place.replace("-", "_") in rate.__annotations__ else str(error))
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
