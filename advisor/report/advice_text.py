"""The readable page of a recommendation, a refusal or a rating: one page in the order a tired operator needs it.

What was assumed first, then the numbers to set beside a gentler first cut and the range, entry, what limits the cut,
what not to do, how every number came about, and last the caution and the sources.
"""

from __future__ import annotations

from collections.abc import Sequence

from advisor.advice import NEAR, Advice, LimitUse, Rating, Refusal, Request
from advisor.limits import CutLimits
from advisor.report.layout import Line, Span, wrap, write
from advisor.words import figure, limit_words

LEAD = 11  # columns of the left-hand words
LEAST_COLUMN = 20  # columns in which text is still folded rather than left to run on
TWISTS = {"up": "up-cut", "down": "down-cut", "straight": "straight flutes", "compression": "compression"}
FORMS = {"flat": "flat end mill", "ball": "ball end mill", "corner": "end mill with corner radius", "vee": "V cutter",
         "drill": "drill"}  # fmt: skip


def render(answer: Advice | Refusal | Rating, *, width: int = 80, colour: bool = False, plain_ascii: bool = False) -> str:
    """The page as text, lines of at most ``width`` columns."""
    page = _Page(max(width, 60))
    if isinstance(answer, Refusal):
        _refusal(page, answer)
    elif isinstance(answer, Rating):
        _rating(page, answer)
    else:
        _advice(page, answer)
    return write(page.lines, colour=colour, plain_ascii=plain_ascii)


class _Page:
    """Lines as they are written."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[Line] = []

    def blank(self) -> None:
        if self.lines and self.lines[-1]:
            self.lines.append(())

    def heading(self, text: str, style: str = "heading") -> None:
        self.blank()
        self.lines.append(((text, style),))

    def entry(self, word: str, text: str | Sequence[Span], style: str = "") -> None:
        """A word at the left and wrapped text beside it."""
        spans: list[Span] = [(text, style)] if isinstance(text, str) else list(text)
        wrapped = wrap(spans, self.width, " " * LEAD, " " * LEAD)
        first = wrapped[0]
        head = (f"{word:<{LEAD}}"[: max(LEAD, len(word))], "heading")
        self.lines.append((head, *(first[1:] if first and first[0][0] == " " * LEAD else first)))
        self.lines.extend(wrapped[1:])

    def bullet(self, text: str, style: str = "") -> None:
        self.lines.extend(wrap([(text, style)], self.width, "  - ", "    "))

    def table(self, rows: Sequence[Sequence[str]], styles: Sequence[str] = (), right: Sequence[int] = ()) -> None:
        """Columns aligned; ``right`` names the right-aligned ones. What does not fit is folded in the last column."""
        widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
        for n, row in enumerate(rows):
            cells = []
            for i, cell in enumerate(row):
                cells.append(cell.rjust(widths[i]) if i in right else cell.ljust(widths[i]))
            style = styles[n] if n < len(styles) else ""
            text = "  ".join(cells).rstrip()
            lead = "  ".join(cells[:-1]) + "  "
            if len(text) <= self.width or len(lead) > self.width - LEAST_COLUMN:
                self.lines.append(((text, style),))
                continue
            first, *rest = wrap([(row[-1], style)], self.width - len(lead))
            self.lines.append(((lead, style), *first))
            self.lines.extend(((" " * len(lead), ""), *line) for line in rest)


def number(value: float | None, digits: int = 3) -> str:
    """A number with ``digits`` significant figures, whole from 1000 up, ``-`` where unknown."""
    return "-" if value is None else figure(value, digits)


def depth_words(depth: float) -> str:
    """A depth of cut with at least one decimal, as it is set: 7.0, 5.25, 0.231."""
    text = f"{depth:.3f}" if depth < 1 else f"{depth:.2f}"
    whole, _, part = text.partition(".")
    return f"{whole}.{part.rstrip('0') or '0'}"


def _passes(depths: Sequence[float]) -> str:
    if not depths:
        return "-"
    first = depths[0]
    same = [d for d in depths if abs(d - first) < 1e-9]
    text = f"{len(same)} x {depth_words(first)} mm"
    return text if len(same) == len(depths) else f"{text} + {depth_words(depths[-1])} mm"


def _question(page: _Page, request: Request, cut: CutLimits | None, assumptions: Sequence[str]) -> None:
    cutter = cut.cutter if cut is not None else request.cutter
    words = [f"{number(cutter.diameter)} mm {FORMS.get(cutter.form, cutter.form)}", f"{cutter.flutes} flutes"]
    if cutter.flutes == 1:
        words[-1] = "1 flute"
    words.append({"hss": "high speed steel"}.get(cutter.material, cutter.material))
    if cutter.form != "drill":
        words.append(TWISTS.get(cutter.twist, cutter.twist))
    if cutter.flute_length is not None:
        words.append(f"flutes {number(cutter.flute_length)} mm")
    if cutter.stickout is not None:
        words.append(f"stickout {number(cutter.stickout)} mm")
    if not cutter.centre_cutting:
        words.append("not centre-cutting")
    page.entry("Cutter", (cutter.name + ": " if cutter.name else "") + ", ".join(words))
    page.entry("Material", request.material.title if request.material else "not given")
    m = request.machine
    if m is None:
        page.entry("Machine", "not given")
    else:
        page.entry(
            "Machine",
            (m.name + ": " if m.name else "")
            + f"{number(m.stiffness)} N/um at the tool, {number(m.spindle_power)} W, {m.spindle_min:.0f} to "
            f"{m.spindle_max:.0f} rev/min, feed to {m.feed_max:.0f} mm/min",
        )
    what = request.operation + (" (finishing cut)" if request.finish else "")
    if request.depth is not None:
        what += f", {number(request.depth)} mm deep"
    if request.bore_diameter is not None:
        what += f", bore {number(request.bore_diameter)} mm"
    if request.tolerance is not None:
        what += f", wall error at most {number(request.tolerance)} mm"
    page.entry("Cut", what)
    page.heading("ASSUMED", "warning")
    for text in assumptions:
        page.bullet(text)
    if not assumptions:
        page.bullet("nothing beyond what is shown above")


def _advice(page: _Page, a: Advice) -> None:
    _question(page, a.request, a.cut, a.assumptions)
    page.heading("SET", "strong")
    first, drill = a.first_cut, a.request.operation == "drill"
    bore = a.request.operation == "bore"
    rows = [
        ["", "SET THIS", "FIRST CUT", "RANGE OF THE DATA"],
        [
            "Spindle", f"{a.spindle_rpm:.0f} rev/min", f"{first.spindle_rpm:.0f}",
            f"{a.rpm_range[0]:.0f} to {a.rpm_range[1]:.0f}",
        ],
        [
            "Feed", f"{number(a.feed, 4)} mm/min", number(first.feed, 4),
            f"{number(a.feed_range[0], 4)} to {number(a.feed_range[1], 4)}",
        ],
    ]  # fmt: skip
    if drill:
        rows.append(["Pecks", ", ".join(number(x) for x in _few(a.pecks)) + " mm", "", ""])
    else:
        rows.append(["Plunge", f"{number(a.plunge_feed, 4)} mm/min" if a.plunge_feed else "never straight down", "", ""])
        if bore:
            rows.append(["Pitch", f"{number(a.stepdown)} mm a turn", number(first.stepdown), ""])
        else:
            count = round(sum(a.passes) / first.stepdown) if first.stepdown > 0 else 0
            rows.append(["Passes", _passes(a.passes), f"{count} x {depth_words(first.stepdown)}", ""])
            rows.append(["Stepover", f"{number(a.stepover)} mm", "", ""])
    rows.append(
        ["Chip load", f"{number(a.physics.chip_load)} mm a tooth", "", ""],
    )
    rows.append(
        ["Removal", f"{number(a.physics.removal_rate)} cm3/min", number(first.removal_rate), ""],
    )
    page.table(rows, styles=("dim", "strong", "strong", "strong", "strong", "strong"))
    if a.helix is not None or a.ramp_angle is not None:
        page.heading("ENTRY")
        if a.helix is not None:
            h = a.helix
            page.entry(
                "Helix",
                f"bore {number(h.bore_diameter)} mm, path {number(h.path_diameter)} mm, pitch {number(h.pitch)} mm, "
                f"{number(h.angle, 2)} degrees at the centre ({number(h.wall_angle, 2)} at the wall), feed "
                f"{number(h.feed, 4)} mm/min at the cutter's centre",
            )
        if a.ramp_angle is not None and not bore:
            feed = f", feed {number(a.ramp_feed, 4)} mm/min" if a.ramp_feed else ""
            page.entry("Ramp", f"at most {number(a.ramp_angle, 2)} degrees{feed}")
    if a.finish is not None:
        f = a.finish
        text = (
            f"leave {number(f.allowance)} mm, then {number(f.feed, 4)} mm/min at {f.spindle_rpm:.0f} rev/min, "
            f"{number(f.stepdown)} mm deep; bends {number(f.deflection, 2)} mm"
        )
        if f.scallop_stepover is not None:
            text += f"; on a flat a stepover of {number(f.scallop_stepover)} mm leaves ridges of {f.scallop_height:g} mm"
        page.entry("Finish", text)
    page.heading("WHAT LIMITS IT")
    page.entry("Held by", "; ".join(limit_words(name) for name in a.limited_by), "strong")
    if a.helps:
        page.entry("Would help", "; ".join(a.helps))
    _limits(page, a.limits)
    _effects(page, a)
    if a.warnings:
        page.heading("DO NOT FORGET", "warning")
        for text in a.warnings:
            page.bullet(text)
    _tail(page, a)


def _effects(page: _Page, a: Advice | Rating) -> None:
    p = a.physics
    parts = [f"cutting speed {number(p.cutting_speed)} m/min", f"chip at most {number(p.max_chip_thickness)} mm"]
    if isinstance(a, Rating):
        parts.append(f"{number(p.mean_chip_thickness)} mm in the mean")
        parts.append(f"engagement {number(p.engagement)} degrees, teeth in cut {number(p.teeth_in_cut)}")
        parts.append(f"removal {number(p.removal_rate)} cm3/min")
    if p.force is not None:
        parts.append(f"force of a tooth {number(p.force)} N, torque {number(p.torque)} N m, power {number(p.power)} W")
    if p.peak_force is not None and isinstance(a, Rating):
        parts.append(f"peak {number(p.peak_force)} N")
    if p.deflection is not None:
        parts.append(f"deflection {number(p.deflection, 2)} mm")
    if p.thrust is not None:
        parts.append(f"thrust {number(p.thrust)} N")
    page.entry("Effect", ", ".join(parts))


def _few(values: Sequence[float], most: int = 6) -> Sequence[float]:
    return values[:most]


def _limits(page: _Page, limits: Sequence[LimitUse]) -> None:
    if not limits:
        return
    rows = [["  use", "value", "", "limit", "unit", "what"]]
    styles = ["dim"]
    for u in limits:
        share = f"{100 * u.use:.0f} %" if u.use < 10 else "> 999 %"
        rows.append([share, number(u.value), ">=" if u.least else "<=", number(u.limit), u.unit, limit_words(u.name)])
        styles.append("error" if u.exceeded else "")
    page.table(rows, styles, right=(0, 1, 3))


def _refusal(page: _Page, r: Refusal) -> None:
    page.lines.append((("NOT ADVISED", "error"),))
    for text in r.reasons:
        page.bullet(text[:1].upper() + text[1:].rstrip(".") + ".", "strong")
    if r.helps:
        page.entry("Would help", "; ".join(r.helps))
    page.blank()
    _question(page, r.request, None, r.assumptions)
    _caution(page, r.safety, r.sources)


def _rating(page: _Page, r: Rating) -> None:
    words = {"over": "OVER A LIMIT", "near": "NEAR A LIMIT", "within": "WITHIN THE LIMITS JUDGED"}
    style = {"over": "error", "near": "warning", "within": "note"}[r.verdict]
    head = words[r.verdict] + (f"; NOT JUDGED: {len(r.not_judged)}" if r.not_judged else "")
    page.lines.append(((head, style),))
    for text in r.warnings:
        page.bullet(text, "strong")
    for u in r.limits:
        if not u.exceeded and u.use >= NEAR:
            page.bullet(f"{100 * u.use:.0f} % of {limit_words(u.name)}")
    for text in r.not_judged:
        page.bullet("not judged: " + text)
    page.blank()
    _question(page, r.request, r.cut, r.assumptions)
    page.heading("YOUR SETTINGS", "strong")
    rows = [
        ["Spindle", f"{r.spindle_rpm:.0f} rev/min"],
        ["Feed", f"{number(r.feed, 4)} mm/min, {number(r.physics.chip_load)} mm a tooth"],
    ]
    if r.plunge_feed is not None and r.request.operation != "drill":
        rows.append(["Plunge", f"{number(r.plunge_feed, 4)} mm/min"])
    if r.passes:
        rows.append(["Passes", _passes(r.passes)])
    if r.request.operation != "drill":
        rows.append(["Stepover", f"{number(r.stepover)} mm"])
    page.table(rows, styles=("strong",) * len(rows))
    if r.helix is not None:
        h = r.helix
        page.entry(
            "Helix",
            f"path {number(h.path_diameter)} mm, pitch {number(h.pitch)} mm, {number(h.angle, 2)} degrees at the centre, "
            f"{number(h.wall_angle, 2)} at the wall; feed at the wall {number(h.wall_feed, 4)} mm/min",
        )
    _effects(page, r)
    page.heading("LIMITS, AT THE PESSIMISTIC END OF THE DATA")
    _limits(page, r.limits)
    if not r.limits:
        page.bullet("none could be judged: name a material and a machine")
    _tail(page, r)


def _tail(page: _Page, a: Advice | Rating) -> None:
    steps = a.steps()
    if steps:
        page.heading("HOW THESE NUMBERS CAME ABOUT")
        for s in steps:
            page.lines.extend(
                wrap(
                    [(s.name, "strong"), (f": {s.formula} -> ", ""), (f"{number(s.result, 4)} {s.unit}", "strong"),
                     (f" [{s.source}]", "dim")],
                    page.width, "  ", "    ",
                )
            )  # fmt: skip
    if a.spread:
        page.heading("HOW SURE THIS IS")
        page.lines.extend(wrap([(a.spread, "")], page.width, "  ", "  "))
    _caution(page, a.safety, a.sources)


def _caution(page: _Page, safety: Sequence[str], sources: Sequence[str]) -> None:
    page.heading("CAUTION", "warning")
    for text in safety:
        page.bullet(text)
    if sources:
        from advisor.sources import parts, reference

        page.heading("SOURCES")
        single: dict[str, None] = {}
        for joined in sources:
            try:
                single.update(dict.fromkeys(parts(joined)))
            except ValueError:
                single[joined] = None
        for text in single:
            try:
                full = reference(text)
            except ValueError:
                full = text
            page.bullet(text if full == text else f"{text}: {full}")
