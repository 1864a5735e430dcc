"""The operating window as a picture: spindle speed against feed, every limit a labelled line, the chosen point.

matplotlib is loaded only here, when a picture is wanted. Colours are Okabe and Ito's, "Color Universal Design" (2008);
every line also differs in dash and carries its name, so the picture reads in grey.
"""

from __future__ import annotations

import math
from io import BytesIO
from textwrap import fill
from typing import Any

from advisor.advice import Advice, Window, WindowLine
from advisor.drilling import feed_bounds, point_sine
from advisor.limits import CutLimits
from advisor.operations import engage
from advisor.recommend import make_task
from advisor.search import Row, chip_range, descent, ends_of, feed_by_power, feed_ceiling, spindle_bounds, thin_finish
from advisor.words import limit_words

FORMS = ("svg", "png")
SAMPLES = 200
OKABE_ITO = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (8, 2)), (0, (1, 1)))


def window(advice: Advice) -> Window:
    """Feed (mm/min) each limit allows over spindle speed, at the advised stepdown and stepover."""
    limits = advice.cut
    assert limits is not None, "an advice carries its limits"
    request = advice.request
    top = limits.spindle_max
    rpm = tuple(top * 1.08 * (i + 1) / SAMPLES for i in range(SAMPLES))
    if advice.engagement is None:
        lines, bounds = _drill_lines(advice, limits, rpm)
    else:
        lines, bounds = _mill_lines(advice, limits, rpm)
    cutter = request.cutter.name or f"{request.cutter.diameter:g} mm, {request.cutter.flutes} flutes"
    material = request.material.title if request.material else ""
    title = f"{cutter}, {material}, {request.operation}"
    if request.operation == "bore":
        title += f", pitch {advice.stepdown:.3g} mm"
    elif request.operation != "drill":
        title += f", {len(advice.passes)} x {advice.stepdown:.3g} mm deep, {advice.stepover:.3g} mm wide"
    return Window(
        title=title,
        rpm=rpm,
        lines=lines,
        rpm_bounds=bounds,
        chosen=(advice.spindle_rpm, advice.feed),
        feed_range=advice.feed_range,
        rpm_range=advice.rpm_range,
        first_cut=(advice.first_cut.spindle_rpm, advice.first_cut.feed),
    )


def _mill_lines(
    advice: Advice, limits: CutLimits, rpm: tuple[float, ...]
) -> tuple[tuple[WindowLine, ...], tuple[float, float]]:
    task = make_task(advice.request, limits)
    ends = ends_of(limits)[1]
    z = limits.cutter.flutes
    e = advice.engagement
    assert e is not None
    heavy = engage(limits.cutter, "slot", e.a_p, limits.cutter.diameter) if task.operation == "pocket" else e
    row = Row(task, ends, e.a_e)
    each = row.each(e.a_p)
    least = chip_range(limits, heavy, wide=row.wide)[0]
    if task.finish:
        least = thin_finish(limits)
    low, high, _, _ = spindle_bounds(limits, e.effective_diameter, ends.speed)
    thinnest = max(least / heavy.across, row.lap)
    lines = [WindowLine("chip-too-thin", "too thin a chip", tuple(thinnest * n * z for n in rpm), True)]
    names = {"chip-too-thick": "too thick a chip", "deflection": "bending", "tool-stress": "stress in the cutter",
             "run-out": "run-out", "axis-push": "axis force", "finish-feed": "finishing feed"}  # fmt: skip
    for name, f_z in each:
        if math.isfinite(f_z):
            lines.append(WindowLine(name, names.get(name, limit_words(name)), tuple(f_z * n * z for n in rpm)))
    lines.append(
        WindowLine("spindle-power", "spindle power", tuple(feed_by_power(limits, heavy, ends.power, n) * n * z for n in rpm))
    )
    ceiling = feed_ceiling(task)
    arc = task.bore is not None and ceiling < limits.machine.feed_max
    name = "arc-acceleration" if arc else "feed-machine"
    lines.append(WindowLine(name, "acceleration round the circle" if arc else "machine's feed", (ceiling,) * len(rpm)))
    if task.bore is not None:
        lines.append(WindowLine("plunge-feed", "descent", tuple(descent(task, e, n) for n in rpm)))
    return tuple(lines), (max(low, limits.spindle_min), high)


def _drill_lines(
    advice: Advice, limits: CutLimits, rpm: tuple[float, ...]
) -> tuple[tuple[WindowLine, ...], tuple[float, float]]:
    least, chosen, _ = feed_bounds(limits)
    d = limits.cutter.diameter
    share = point_sine(limits) / limits.cutter.flutes
    law = limits.force_high

    def by_power(n: float) -> float:
        return law.thickness(8000.0 * limits.torque_allowed(n) / (d * d) * share) / share * n

    high = min(limits.spindle_max, 1000.0 * limits.cutting_speed_chosen / (math.pi * d))
    lines = (
        WindowLine("chip-too-thin", "too little feed", tuple(0.5 * least * n for n in rpm), True),
        WindowLine("drill-feed", "drill's feed", tuple(chosen * n for n in rpm)),
        WindowLine("spindle-power", "spindle power", tuple(by_power(n) for n in rpm)),
        WindowLine("feed-machine-z", "feed of Z", (limits.feed_max_z,) * len(rpm)),
    )
    return lines, (limits.spindle_min, max(high, limits.spindle_min))


def figure(shown: Window) -> Any:
    """The matplotlib figure of a window; drawn without a display."""
    from matplotlib.figure import Figure

    made = Figure(figsize=(8.0, 5.6), dpi=150, layout="constrained")
    ax = made.subplots()
    n_low, n_high = shown.rpm_bounds
    upper = [min(line.feed[i] for line in shown.lines if not line.least) for i in range(len(shown.rpm))]
    lower = [max(line.feed[i] for line in shown.lines if line.least) for i in range(len(shown.rpm))]
    inside = [n_low - 1e-9 <= n <= n_high + 1e-9 for n in shown.rpm]
    ceiling = 1.35 * max(shown.chosen[1], shown.feed_range[1], 1e-9)
    ax.fill_between(
        shown.rpm, lower, upper, where=[ok and u > lo for ok, u, lo in zip(inside, upper, lower, strict=True)],
        color="#56B4E9", alpha=0.25, linewidth=0, hatch="..", edgecolor="#56B4E9", label="allowed",
    )  # fmt: skip
    span = shown.rpm[-1]
    boxes = [  # (left, low, right, high) in shares of the picture, where no name may stand
        *((n / span - 0.025, 0.80, n / span + 0.005, 1.0) for n in (n_low, n_high)),
        _box(shown.chosen[0] / span, shown.chosen[1] / ceiling, 2, "centre"),
    ]
    beyond: list[str] = []
    for i, line in enumerate(shown.lines):
        met = [f for f, ok in zip(line.feed, inside, strict=True) if ok]
        if met and min(met) > ceiling:
            beyond.append(line.label)
            continue
        colour, dash = OKABE_ITO[i % len(OKABE_ITO)], DASHES[i % len(DASHES)]
        ax.plot(shown.rpm, line.feed, color=colour, linestyle=dash, linewidth=1.6)
        _label(ax, shown, line, colour, ceiling, boxes)
    for n, words in ((n_low, "slowest"), (n_high, "fastest")):
        ax.axvline(n, color="0.25", linewidth=1.0, linestyle=(0, (3, 3)))
        ax.annotate(
            f"{words} {n:.0f}", (n, ceiling), xytext=(-3, -4), textcoords="offset points", rotation=90, va="top",
            ha="right", fontsize=8, color="0.25",
        )  # fmt: skip
    rpm, feed = shown.chosen
    low, high = min(shown.feed_range[0], feed), max(shown.feed_range[1], feed)
    left, right = min(shown.rpm_range[0], rpm), max(shown.rpm_range[1], rpm)
    ax.plot(
        [shown.first_cut[0]], [shown.first_cut[1]], marker="D", markersize=12, markerfacecolor="white",
        markeredgecolor="black", linestyle="none", zorder=4, label=f"first cut: {shown.first_cut[1]:.0f} mm/min",
    )  # fmt: skip
    ax.errorbar(
        [rpm], [feed], yerr=[[feed - low], [high - feed]], xerr=[[rpm - left], [right - rpm]], fmt="o", color="black",
        markersize=6, capsize=4, linewidth=1.4, zorder=5, label=f"set: {rpm:.0f} rev/min, {feed:.0f} mm/min, with range",
    )  # fmt: skip
    ax.set_xlim(0, span)
    ax.set_ylim(0, ceiling)
    notes = ["Starting values: limits marked on the cutter and the machine come first."]
    if beyond:
        notes.append("Beyond the picture: " + ", ".join(beyond) + ".")
    small = "\n".join(fill(text, 120) for text in notes)
    ax.set_xlabel("spindle speed, rev/min\n" + small, fontsize=8)
    ax.set_ylabel("feed, mm/min", fontsize=9)
    ax.set_title(shown.title, fontsize=10)
    ax.grid(True, color="0.9", linewidth=0.6)
    ax.set_axisbelow(True)
    made.legend(loc="outside lower center", ncols=3, fontsize=8)
    return made


def _box(x: float, y: float, length: int, align: str) -> tuple[float, float, float, float]:
    """Room a name of ``length`` letters takes, in shares of the picture."""
    width, height = 0.0125 * length, 0.036
    left = {"right": x - width, "left": x, "centre": x - width / 2}[align]
    return left, y, left + width, y + height


def _label(
    ax: Any,
    shown: Window,
    line: WindowLine,
    colour: str,
    ceiling: float,
    boxes: list[tuple[float, float, float, float]],
) -> None:
    """The line's name beside it, from its right-hand end backwards, at the first place clear of other names."""
    span = shown.rpm[-1]
    count = len(shown.rpm)
    best: tuple[float, float, str] | None = None
    for at in range(count - 2, 3, -2):
        x, y = shown.rpm[at] / span, line.feed[at] / ceiling
        if y > 0.955:
            continue
        for align, lift in (("right", 0.008), ("left", -0.046)):
            box = _box(x, y + lift, len(line.label), align)
            inside = box[0] > 0.005 and box[2] < 0.995 and box[1] > 0.005 and box[3] < 0.995
            clear = all(box[2] < o[0] or box[0] > o[2] or box[3] < o[1] or box[1] > o[3] for o in boxes)
            if inside and clear:
                best = (x, y + lift, align)
                boxes.append(box)
                break
        if best is not None:
            break
    if best is None:
        return
    ax.annotate(
        line.label, (best[0], best[1]), xycoords="axes fraction", ha=best[2], va="bottom", fontsize=8, color=colour,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.7}, zorder=6,
    )  # fmt: skip


def draw(advice: Advice, form: str) -> bytes:
    """The picture of an advice's operating window as bytes of an "svg" or "png" file; the same bytes every time."""
    if form not in FORMS:
        raise ValueError(f'a picture is drawn as {" or ".join(FORMS)}, not "{form}"')
    import matplotlib

    made = figure(window(advice))
    out = BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "feedwright", "svg.fonttype": "none"}):
        metadata = {"Date": None} if form == "svg" else {"Software": None}
        made.savefig(out, format=form, metadata=metadata)
    return out.getvalue()
