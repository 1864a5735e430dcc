"""What each block of a program does: as ``feedwright.trace/1`` and in plain words. Pure: a Program in, values out."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from grammar.lexicon import PLANE_AXES
from grammar.moves import Event, Fault, Flag, Kind, Moves, Program
from grammar.path import path_lengths

SCHEMA = "feedwright.trace/1"
_KINDS = {Kind.RAPID: "rapid", Kind.FEED: "feed", Kind.ARC: "arc", Kind.DWELL: "dwell", Kind.PROBE: "probe"}
_MODAL = ("motion", "plane", "units", "distance", "feed_mode", "compensation", "length_offset", "system", "path",
          "cycle_return")

# What a code says where neither a move nor an event tells it.
_SAYS = {
    "G17": "arcs lie in the XY plane", "G18": "arcs lie in the XZ plane", "G19": "arcs lie in the YZ plane",
    "G90": "axis words are positions", "G91": "axis words are distances to go",
    "G93": "F is one over the minutes of the move", "G94": "F is length a minute", "G95": "F is length a turn",
    "G61": "follow the path exactly", "G61.1": "stop at each corner", "G64": "keep moving through corners",
    "G80": "no motion code is in force any more", "G98": "cycles return to the level they began at",
    "G99": "cycles return to the level R", "G40": "no cutter radius compensation",
    "G41": "the tool keeps left of the path", "G42": "the tool keeps right of the path",
    "G43": "the tool's length counts", "G49": "the tool's length does not count",
    "M48": "the override knobs work", "M49": "the override knobs are off",
    "G91.1": "I J K are offsets from the start of the arc", "G90.1": "I J K are positions",
}


def _number(value: float | None) -> float | None:
    """A number as JSON may hold it: 6 decimals, unknown None, no minus zero."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), 6) + 0.0


def _named(names: str, values: Any) -> dict[str, float | None]:
    return {name: _number(float(value)) for name, value in zip(names, values, strict=True)}


class _Table:
    """The moves of a program in work coordinates, with lengths and times."""

    def __init__(self, moves: Moves) -> None:
        n = len(moves)
        shifts = np.array([f.shift for f in moves.frames] or [(0.0, 0.0, 0.0)])
        turns = np.array([f.rotary_shift for f in moves.frames] or [(0.0, 0.0, 0.0)])
        shift = shifts[moves.frame] if n else np.zeros((0, 3))
        self.moves = moves
        self.to = moves.end - shift
        self.start = moves.start - shift
        self.length = path_lengths(moves.start, moves.end, moves.arc_row, moves.centre, moves.sweep, moves.plane)
        self.arc_of = {int(row): i for i, row in enumerate(moves.arc_row)}
        self.centre = moves.centre - shift[moves.arc_row]
        self.angles: Any = None
        turned = np.zeros(n)
        if moves.rotary is not None:
            self.angles = moves.rotary - (turns[moves.frame] if n else 0.0)
            before = np.vstack([np.zeros((1, 3)), moves.rotary[:-1]])
            turned = np.sqrt(((moves.rotary - before) ** 2).sum(axis=1))
        with np.errstate(divide="ignore", invalid="ignore"):
            by_feed = np.where(self.length > 0, self.length, turned) / moves.feed
        self.minutes = np.where(np.isnan(moves.minutes), by_feed, moves.minutes)
        self.minutes[moves.kind == Kind.RAPID] = np.nan
        self.turned = turned


def trace_dict(program: Program, path: str) -> dict[str, Any]:
    """The trace as ``feedwright.trace/1``: every key present, unknown values None, numbers to 6 decimals."""
    moves, table = program.moves, _Table(program.moves)
    listed: list[dict[str, Any]] = []
    place = np.zeros(len(moves) + 1, dtype=np.int64)  # how many listed moves come before each move
    for i in range(len(moves)):
        place[i] = len(listed)
        if moves.kind[i] != Kind.DWELL:
            listed.append(_move(program, table, i))
    place[len(moves)] = len(listed)
    end, mode = program.end, program.end.mode
    return {
        "schema": SCHEMA,
        "path": path,
        "dialect": program.dialect,
        "faults": [_fault(f) for f in program.faults],
        "moves": listed,
        "events": [_event(program, e, int(place[min(e.move, len(moves))])) for e in program.events],
        "end": {
            "position": _named("xyzabc", end.position),
            "machine": _named("xyz", end.machine[:3]),
            "modal": {name: getattr(mode, name) or None for name in _MODAL},
            "spindle": {"direction": mode.spindle, "rpm": _number(mode.rpm)},
            "coolant": {"mist": mode.mist, "flood": mode.flood},
            "tool": mode.tool,
            "selected_tool": mode.selected,
            "overrides": mode.overrides,
            "feed": _number(end.feed),
            "parameters": {str(i): _number(v) for i, v in sorted(end.parameters.items())},
        },
    }


def _fault(fault: Fault) -> dict[str, Any]:
    return {"rule": fault.rule, "severity": fault.severity, "line": fault.line, "column": fault.column,
            "message": fault.message, "fix": fault.fix}


def _event(program: Program, event: Event, before: int) -> dict[str, Any]:
    value = event.value
    return {"line": program.line_of(event.block), "kind": event.kind,
            "value": _number(value) if isinstance(value, float) else value, "text": event.text, "before_move": before}


def _move(program: Program, table: _Table, i: int) -> dict[str, Any]:
    moves = table.moves
    to = _named("xyz", table.to[i])
    if table.angles is not None:
        to.update(_named("abc", table.angles[i]))
    centre: dict[str, float | None] | None = None
    radius = sweep = None
    arc = table.arc_of.get(i)
    if arc is not None:
        a, b, _ = PLANE_AXES[int(moves.plane[arc])]
        centre = {"xyz"[axis]: _number(float(table.centre[arc, axis])) for axis in sorted((a, b))}
        radius = _number(math.hypot(table.start[i, a] - table.centre[arc, a], table.start[i, b] - table.centre[arc, b]))
        sweep = _number(math.degrees(float(moves.sweep[arc])))
    mode = moves.modes[int(moves.mode[i])]
    return {"line": program.line_of(int(moves.block[i])), "kind": _KINDS[Kind(int(moves.kind[i]))], "to": to,
            "centre": centre, "radius_mm": radius, "sweep_deg": sweep, "length_mm": _number(float(table.length[i])),
            "feed_mm_min": _number(float(moves.feed[i])), "minutes": _number(float(table.minutes[i])),
            "spindle_rpm": _number(mode.rpm) if mode.spindle != "off" else 0.0}


# ---------------------------------------------------------------- in words


def trace_text(program: Program, width: int | None = None) -> str:
    """Each block with what it does, in words for somebody who is learning; control characters never pass.

    The words are folded to ``width`` columns; a block stays in one piece.
    """

    def folded(lead: str, text: str) -> list[str]:
        if width is None or len(lead) + len(text) <= width:
            return [lead + text]
        import textwrap

        hang = " " * (len(lead) + 2)
        return textwrap.wrap(text, max(width, 40), initial_indent=lead, subsequent_indent=hang, break_on_hyphens=False)

    table = _Table(program.moves)
    faults: dict[int, list[Fault]] = {}
    for fault in program.faults:
        faults.setdefault(fault.line, []).append(fault)
    lines: list[str] = []
    told: set[int] = set()
    for block, said in _blocks(program, table):
        line = program.line_of(block)
        text = _printable(program.text(block).strip())
        if not text and line not in faults:
            continue
        words = "; ".join(said)
        lines.append(f"{line:>6}  {text}")
        if words:
            lines += folded(" " * 8, words)
        if line not in told:
            told.add(line)
            for f in faults.get(line, ()):
                lines += folded(" " * 8, f"{f.severity.upper()} {f.rule}: {f.message}")
    for f in program.faults:
        if f.line not in told:
            lines += folded(f"{f.line:>6}  ", f"{f.severity.upper()} {f.rule}: {f.message}")
    lines += folded("   end  ", _ending(program))
    return "\n".join(lines) + "\n"


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def _blocks(program: Program, table: _Table) -> Iterator[tuple[int, list[str]]]:
    """Blocks in order of running with what each did; blocks that did nothing stand once where they are in the program."""
    moves = program.moves
    happenings: list[tuple[int, int, int, str]] = []  # next move, 0 event / 1 move, block, words
    for event in program.events:
        words = _event_words(event)
        if words:
            happenings.append((event.move, 0, event.block, words))
    for i in range(len(moves)):
        if moves.kind[i] != Kind.DWELL:
            happenings.append((i, 1, int(moves.block[i]), _move_words(table, i)))
    happenings.sort(key=lambda h: h[:2])
    shown = {happening[2] for happening in happenings}  # these stand where they run, or have been told as quiet
    done = -1
    i = 0

    def quiet(first: int, last: int) -> Iterator[tuple[int, list[str]]]:
        for other in range(first, last):
            if other not in shown:
                shown.add(other)
                yield other, _code_words(program, other)

    while i < len(happenings):
        block = happenings[i][2]
        yield from quiet(done + 1, block)
        said = _code_words(program, block)
        while i < len(happenings) and happenings[i][2] == block:
            said.append(happenings[i][3])
            i += 1
        yield block, said
        done = block
    yield from quiet(done + 1, len(program.block_line))


def _code_words(program: Program, block: int) -> list[str]:
    said = []
    for word in program.words(block):
        if word.letter in "GM" and word.value is not None:
            words = _SAYS.get(f"{word.letter}{word.value:g}")
            if words:
                said.append(words)
    return said


def _event_words(event: Event) -> str:
    value = event.value
    amount = value if isinstance(value, float) else 0.0
    if event.kind == "spindle":
        return {"cw": "spindle on, clockwise", "ccw": "spindle on, counterclockwise"}.get(str(value), "spindle off")
    if event.kind == "coolant":
        return {7.0: "mist on", 8.0: "flood on"}.get(amount, "coolant off")
    if event.kind == "stop":
        return {0.0: "stop and wait for the operator", 1.0: "stop if the optional-stop switch is on",
                60.0: "change the pallet and wait"}.get(amount, "the program ends")
    table = {
        "feed": f"feed {amount:g}", "speed": f"spindle speed {amount:g} rev/min", "dwell": f"wait {amount:g} s",
        "tool-select": f"choose tool {amount:g}",
        "tool-change": "change the tool" if value is None else f"tool {amount:g} goes into the spindle",
        "message": f"message to the operator: {_printable(event.text.strip())}",
        "units": f"lengths are in {'inches' if value == 'G20' else 'millimetres'}",
        "system": f"program zero is that of {value}",
        "shift": f"program zero is moved ({value})", "home": "return to reference", "probe": "probe until it touches",
        "call": f"run {_printable(event.text)}", "return": "back to the caller",
    }
    return table.get(event.kind, "")


def _move_words(table: _Table, i: int) -> str:
    moves = table.moves
    kind = Kind(int(moves.kind[i]))
    arc = table.arc_of.get(i)
    to = " ".join(f"{name}{_short(table.to[i, axis])}" for axis, name in enumerate("XYZ")
                  if (arc is not None and axis in PLANE_AXES[int(moves.plane[arc])][:2])
                  or not _same(moves.start[i, axis], moves.end[i, axis]))
    if table.angles is not None and table.turned[i] > 0:
        to = " ".join([to, *(f"{name}{_short(table.angles[i, axis])}" for axis, name in enumerate("ABC"))]).strip()
    unknown = [name for axis, name in enumerate("XYZ") if math.isnan(moves.end[i, axis])]
    words = {Kind.RAPID: "rapid to", Kind.FEED: "feed to", Kind.PROBE: "probe towards", Kind.ARC: "arc to"}[kind]
    if arc is not None:
        degrees = math.degrees(float(moves.sweep[arc]))
        way = "counterclockwise" if degrees > 0 else "clockwise"
        a, b, _ = PLANE_AXES[int(moves.plane[arc])]
        radius = math.hypot(table.start[i, a] - table.centre[arc, a], table.start[i, b] - table.centre[arc, b])
        words = f"{way} {'circle' if abs(abs(degrees) - 360) < 1e-9 else 'arc'}, {abs(degrees):.1f} degrees, radius " \
                f"{radius:.3f} mm, to"
    parts = [f"{words} {to or 'an unknown place'}"]
    if math.isfinite(table.length[i]):
        parts.append(f"{table.length[i]:.1f} mm" if table.length[i] else f"{table.turned[i]:.1f} degrees")
    if kind != Kind.RAPID and math.isfinite(moves.feed[i]):
        parts.append(f"{moves.feed[i]:g} mm/min" if table.length[i] else f"{moves.feed[i]:g} degrees/min")
    words = ", ".join(parts)
    if moves.flags[i] & Flag.HIGH_Z and "Z" in unknown:
        unknown.remove("Z")
        words += " (Z high up, at a height that is not declared)"
    if unknown:
        words += f" ({' '.join(unknown)} not known)"
    mode = moves.modes[int(moves.mode[i])]
    if kind != Kind.RAPID or mode.spindle == "off":
        words += "; spindle off" if mode.spindle == "off" else ""
    return words


def _same(a: float, b: float) -> bool:
    return a == b or (math.isnan(a) and math.isnan(b))


def _short(value: float) -> str:
    return "?" if math.isnan(value) else f"{round(float(value), 4) + 0.0:.4f}".rstrip("0").rstrip(".")


def _ending(program: Program) -> str:
    end = program.end
    at = " ".join(f"{n}{_short(v)}" for n, v in zip("XYZ", end.position[:3], strict=True))
    left = [f"spindle {end.mode.spindle}"]
    if end.mode.distance == "G91":
        left.append("axis words are distances (G91)")
    if end.mode.compensation != "G40":
        left.append(f"compensation {end.mode.compensation}")
    if end.mode.mist or end.mode.flood:
        left.append("coolant on")
    return f"at {at}; {'; '.join(left)}"
