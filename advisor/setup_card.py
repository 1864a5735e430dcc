"""What to compare with the machine before pressing start, and the summary of a program. Stock coordinates, mm."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from advisor.timing import FIRST, SECOND
from grammar.moves import Flag, Kind

if TYPE_CHECKING:
    from advisor.evidence import Evidence
    from grammar.moves import Moves

Floats = NDArray[np.float64]

GRIP_CLEARANCE = 3.0  # mm of stickout beyond the deepest cut; common practice, no source
TABLE = 0.5  # mm below Z0 that still counts as cutting down to the table; estimate, no source
NEAR_TABLE = 1.0  # mm above Z0 up to which the lowest cut counts as near the table; estimate, no source
AXES = "xyz"


def boxes(moves: Moves) -> tuple[Floats, Floats]:
    """Lowest and highest tip coordinates on each move, arcs included: two arrays (n, 3); NaN where unknown."""
    low = np.fmin(moves.start, moves.end)
    high = np.fmax(moves.start, moves.end)
    for code in (17, 18, 19):
        pick = np.flatnonzero(moves.plane == code)
        if not len(pick):
            continue
        a, b = FIRST[code], SECOND[code]
        rows = moves.arc_row[pick]
        p = moves.start[rows, a] - moves.centre[pick, a]
        q = moves.start[rows, b] - moves.centre[pick, b]
        radius = np.hypot(p, q)
        begin = np.arctan2(q, p)
        sweep = moves.sweep[pick]
        for quarter, (axis, sign) in enumerate(((a, 1), (b, 1), (a, -1), (b, -1))):
            with np.errstate(invalid="ignore"):
                turned = np.where(
                    sweep >= 0, (quarter * np.pi / 2 - begin) % (2 * np.pi), (begin - quarter * np.pi / 2) % (2 * np.pi)
                )
                inside = turned <= np.abs(sweep)
            extreme = moves.centre[pick, axis] + sign * radius
            at = rows[inside]
            target = high if sign > 0 else low
            target[at, axis] = (np.fmax if sign > 0 else np.fmin)(target[at, axis], extreme[inside])
    return low, high


def extent(evidence: Evidence, rows: NDArray[np.bool_] | None = None) -> tuple[list[float | None], list[float | None]]:
    """The box of all motion in stock coordinates; None for an axis nothing is known of."""
    moves = evidence.moves
    if not len(moves):
        return [None] * 3, [None] * 3
    if rows is None and (moves.kind == Kind.PROBE).any():
        rows = moves.kind != Kind.PROBE  # a probe stops where it touches, short of the end it names
    starts, low, high = evidence.stretches
    if rows is not None:
        chosen = np.add.reduceat(rows, starts, dtype=np.int64)
        if not ((chosen == 0) | (chosen == np.diff(starts, append=len(moves)))).all():
            starts, low, high = stretches(evidence, rows)  # cuts some stretches apart
            chosen = rows[starts]
        low, high, starts = low[chosen > 0], high[chosen > 0], starts[chosen > 0]
        if not len(starts):
            return [None] * 3, [None] * 3
    known = np.array([frame.known for frame in moves.frames], dtype=bool)[moves.frame[starts]]
    if not known.any():
        return [None] * 3, [None] * 3
    lows, highs = (
        [float(v + b) if np.isfinite(v) else None for v, b in zip(found, evidence.base, strict=True)]
        for found in (low[known].min(axis=0), high[known].max(axis=0))
    )
    return lows, highs


def stretches(
    evidence: Evidence, rows: NDArray[np.bool_] | None = None
) -> tuple[NDArray[np.intp], NDArray[np.float64], NDArray[np.float64]]:
    """The boxes of stretches of moves of one kind, mode and frame (and all or none of ``rows``).

    First row of each stretch (k,); lowest and highest tip coordinates on it (k, 3), mm: inf and -inf on an axis no move
    of it is known on.
    """
    moves = evidence.moves
    new = np.ones(len(moves), dtype=bool)
    new[1:] = moves.kind[1:] != moves.kind[:-1]
    for column in (moves.mode, moves.frame, *(() if rows is None else (rows,))):
        new[1:] |= column[1:] != column[:-1]
    starts = np.flatnonzero(new)
    found = []
    for table, other, none in ((evidence.boxes[0], evidence.boxes[1], np.inf), (evidence.boxes[1], evidence.boxes[0], -np.inf)):
        least = np.minimum if none > 0 else np.maximum
        ends = np.empty((len(starts), 3))
        for axis in range(3):
            a, b = table[:, axis], other[:, axis]
            good = np.isfinite(a) & np.isfinite(b)
            ends[:, axis] = least.reduceat(a if good.all() else np.where(good, a, none), starts)
        found.append(ends)
    return starts, found[0], found[1]


def tools_used(evidence: Evidence) -> list[int]:
    """T numbers in the spindle during any move, ascending."""
    moves = evidence.moves
    used = {moves.modes[int(m)].tool for m in np.flatnonzero(np.bincount(moves.mode))} if len(moves) else set()
    return sorted(t for t in used if t is not None and t != 0)


def summary(evidence: Evidence) -> dict[str, Any]:
    """The keys of ``summary`` in the check report; None for what is unknown."""
    program, moves = evidence.program, evidence.moves
    timing = evidence.timing
    kind = moves.kind
    low, high = extent(evidence)
    minutes = timing.minutes
    feeding = evidence.feeding
    contact = evidence.contact
    cutting = air = removed = None
    if contact is not None:
        looked = feeding & evidence.followed
        cutting = float(np.nansum((minutes * contact)[looked]))
        air = float(np.nansum((minutes * (1 - contact))[looked]))
        removed = evidence.cuts.removed / 1000
    return {
        "blocks": len(program.block_line),
        "moves": len(moves),
        "tools": tools_used(evidence),
        "minutes": timing.total if timing.accelerated or not (kind == Kind.RAPID).any() else None,
        "cutting_minutes": cutting,
        "rapid_minutes": float(np.nansum(minutes[kind == Kind.RAPID])) if timing.accelerated else None,
        "air_cut_minutes": air,
        "removed_cm3": removed,
        "extent": {"min": dict(zip(AXES, low, strict=True)), "max": dict(zip(AXES, high, strict=True))},
    }


def number(value: float | None) -> str:
    """A length for people: up to three decimals, no trailing zeros, never minus zero."""
    if value is None or value != value:
        return "?"
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _move_text(evidence: Evidence, row: int) -> str:
    """A move in words: its line, what it is, and where it goes."""
    moves = evidence.moves
    names = {Kind.RAPID: "rapid", Kind.FEED: "feed", Kind.ARC: "arc", Kind.PROBE: "probe"}
    kind = Kind(int(moves.kind[row]))
    point = evidence.point(row)
    parts = []
    for axis, value in zip("XYZ", point, strict=True):
        if value is not None:
            parts.append(f"{axis}{number(value)}")
        elif axis == "Z" and int(moves.flags[row]) & Flag.HIGH_Z:
            parts.append("Z high")
        else:
            parts.append(f"{axis} unknown")
    feed = float(moves.feed[row])
    tail = f" at {number(feed)} mm/min" if kind is not Kind.RAPID and feed == feed else ""
    return f"line {evidence.line(row)}: {names[kind]} to {' '.join(parts)}{tail}"


def _datum(evidence: Evidence) -> str:
    """Where program zero is on the stock, in words."""
    moves = evidence.moves
    used: list[str] = []
    lost: list[str] = []
    for index in np.flatnonzero(np.bincount(moves.frame)) if len(moves) else []:
        frame = moves.frames[int(index)]
        if frame.system not in (*used, *lost):
            (used if frame.known else lost).append(frame.system)
    systems = ", ".join(used or lost) or "no coordinate system"
    other = f"; where {' and '.join(lost)} lies is NOT KNOWN: give [offsets]" if used and lost else ""
    workpiece = evidence.setting.workpiece
    if workpiece is None:
        return f"{systems}: program zero; the stock is not declared, so positions are those of the program{other}"
    zero, size = workpiece.zero, workpiece.size
    where = []
    for axis in range(2):
        name = "XY"[axis]
        if abs(zero[axis]) < 1e-6:
            where.append(f"lowest {name}")
        elif abs(zero[axis] - size[axis]) < 1e-6:
            where.append(f"highest {name}")
        elif abs(zero[axis] - size[axis] / 2) < 1e-6:
            where.append(f"middle of {name}")
        else:
            where.append(f"{number(zero[axis])} mm from the lowest {name}")
    if abs(zero[2] - size[2]) < 1e-6:
        height = "on the stock's top"
    elif abs(zero[2]) < 1e-6:
        height = "on the stock's bottom (the table)"
    else:
        height = f"{number(zero[2])} mm above the stock's bottom"
    return f"{systems}: {where[0]}, {where[1]}, {height}{other}"


def _units(evidence: Evidence) -> str:
    """The unit of the program's numbers, in words."""
    units = {mode.units for mode in evidence.moves.modes}
    stated = {code for code in ("G20", "G21", "G70", "G71") if code in evidence.program.codes}
    if not stated:
        return "not stated: read as millimetres" if units <= {"G21", "G71"} else "not stated: read as inches"
    names = sorted({"inches" if unit in ("G20", "G70") else "millimetres" for unit in units})
    return f"{' and '.join(names)} ({', '.join(sorted(stated))})" if names else ", ".join(sorted(stated))


def _display(evidence: Evidence, low: list[float | None], high: list[float | None]) -> str | None:
    """The box of all motion as the machine's display shows it, from program zero and in the program's unit.

    None where that is the box itself, and where zero or unit change on the way.
    """
    moves, workpiece = evidence.moves, evidence.setting.workpiece
    used = np.flatnonzero(np.bincount(moves.frame)).tolist() if len(moves) else []
    frames = {(moves.frames[i].system, tuple(moves.frames[i].shift)) for i in used}
    inches = {mode.units in ("G20", "G70") for mode in moves.modes}
    zero = evidence.zero
    if len(frames) != 1 or len(inches) != 1 or (not any(inches) and (workpiece is None or not any(zero))):
        return None
    unit, per = ("in", 25.4) if any(inches) else ("mm", 1.0)
    parts = []
    for axis, a, b, z in zip("XYZ", low, high, zero, strict=True):
        ends = [None if v is None else (v - z) / per for v in (a, b)]
        parts.append(f"{axis} {number(ends[0])} to {number(ends[1])}")
    return ", ".join(parts) + f" {unit}"


def _hold(evidence: Evidence) -> str | None:
    """How the workpiece is held, in words."""
    hold = evidence.setting.hold
    if hold.method is None:
        return None
    parts = [hold.method]
    if hold.points:
        parts.append(f"{len(hold.points)} places")
    if hold.keepouts:
        parts.append("keep clear of " + ", ".join(keepout.name for keepout in hold.keepouts))
    return "; ".join(parts)


def _job(evidence: Evidence) -> dict[str, Any] | None:
    """The program's place in its job, and which program left the stock as it is."""
    job, left = evidence.setting.job, evidence.left
    if job is None:
        return None
    known = left is not None and not left.unknown and evidence.setting.workpiece is not None
    return {
        "name": job.job,
        "program": job.program,
        "programs": job.programs,
        "setup": job.setup,
        "setups": job.setups,
        "turn": job.turn,
        "after": list(job.before),
        "stock_left_by": job.before[-1] if job.before and known else None,
    }


def zero_question(evidence: Evidence) -> str | None:
    """Asks for program zero where all cuts lie above Z0: the program's zero is then on the table, not on the stock."""
    moves = evidence.moves
    if not len(moves):
        return None
    shifts = np.array([frame.shift[2] for frame in moves.frames])
    z = (moves.end[:, 2] - shifts[moves.frame])[evidence.feeding]
    z = z[np.isfinite(z)]
    workpiece = evidence.setting.workpiece
    if len(z) < 2 or z.min() < -TABLE or float(np.ptp(z)) <= TABLE:
        return None
    if workpiece is None:
        if z.min() > NEAR_TABLE:
            return None
    elif workpiece.zero[2] < workpiece.size[2] - TABLE:
        return None
    return "every cut lies above Z0: program zero seems to be on the table. Give [stock] zero (or --zero) accordingly."


def left_over(evidence: Evidence) -> list[str]:
    """Modes still in force after the last block that the next program would inherit."""
    mode = evidence.program.end.mode
    found = []
    if mode.distance == "G91":
        found.append("G91 incremental distance")
    if mode.compensation != "G40":
        found.append(f"{mode.compensation} cutter radius compensation")
    if mode.plane != "G17":
        found.append(f"{mode.plane} plane")
    if mode.feed_mode == "G93":
        found.append("G93 inverse-time feed")
    if mode.spindle != "off":
        found.append(f"spindle turning {'clockwise' if mode.spindle == 'cw' else 'counterclockwise'}")
    if mode.mist or mode.flood:
        found.append("coolant on")
    if mode.system != "G54":
        found.append(f"{mode.system} coordinate system")
    shifts = [str(event.value) for event in evidence.program.events if event.kind == "shift"]
    shifts = [code for code in shifts if code.startswith("G92")]
    if shifts and shifts[-1] not in ("G92.1", "G92.2") and not evidence.program.end.ended:
        found.append("G92 axis offset")
    return found


def card(evidence: Evidence) -> Mapping[str, Any]:
    """The set-up card of a program."""
    moves, setting = evidence.moves, evidence.setting
    workpiece = setting.workpiece
    low, high = extent(evidence)
    tools = []
    stickout: dict[str, float] = {}
    kind = moves.kind
    tool_of_mode = [mode.tool for mode in moves.modes]
    numbers: list[int | None] = sorted(
        {tool_of_mode[int(m)] for m in np.flatnonzero(np.bincount(moves.mode))} if len(moves) else set(),
        key=lambda t: (t is None, t or 0),
    )
    timing, contact = evidence.timing, evidence.contact
    for tool in numbers:
        rows = np.array([t == tool for t in tool_of_mode], dtype=bool)[moves.mode]
        feeding = rows & evidence.feeding
        cutter = setting.cutters.get(tool, setting.any_cutter) if tool is not None else setting.any_cutter
        tool_low, _ = extent(evidence, feeding)
        name = "unnamed" if tool is None else str(tool)
        needed = None
        if workpiece is not None and tool_low[2] is not None and tool_low[2] < workpiece.size[2]:
            needed = workpiece.size[2] - tool_low[2] + GRIP_CLEARANCE
            stickout[name] = needed
        if not feeding.any() and (tool is None or tool == 0):
            continue
        tools.append(
            {
                "tool": tool,
                "cutter": None if cutter is None else cutter.name,
                "diameter": None if cutter is None else cutter.diameter,
                "stickout": None if cutter is None else cutter.stickout,
                "stickout_needed": needed,
                "lowest_z": tool_low[2],
                "feed_minutes": float(np.nansum(timing.minutes[feeding])),
                "cutting_minutes": None if contact is None else float(np.nansum(timing.minutes[feeding] * contact[feeding])),
                "rapid_minutes": float(np.nansum(timing.minutes[rows & (kind == Kind.RAPID)])) if timing.accelerated else None,
            }
        )
    below = None if workpiece is None or low[2] is None else max(0.0, -low[2])
    return {
        "datum": _datum(evidence),
        "zero": list(evidence.zero) if workpiece is not None else None,
        "units": _units(evidence),
        "hold": _hold(evidence),
        "job": _job(evidence),
        "zero_question": zero_question(evidence),
        "stock": None
        if workpiece is None
        else {
            "material": workpiece.material,
            "size": list(workpiece.size),
            "thickness": None if workpiece.thickness is None else list(workpiece.thickness),
            "assumed": workpiece.assumed,
        },
        "tools": tools,
        "box": {"min": dict(zip(AXES, low, strict=True)), "max": dict(zip(AXES, high, strict=True))},
        "display": _display(evidence, low, high),
        "lowest_z": low[2],
        "below_stock": below,
        "first_moves": [_move_text(evidence, int(row)) for row in np.flatnonzero(kind != Kind.DWELL)[:3]],
        "stickout_needed": stickout,
        "left_over": left_over(evidence),
    }


def _untimed(evidence: Evidence) -> int:
    """Moves whose time is not known; without a machine rapids are left out as such and do not count."""
    timing, moves = evidence.timing, evidence.moves
    if timing.accelerated:
        return int(timing.unknown)
    return int((np.isnan(timing.minutes) & (moves.kind != Kind.RAPID)).sum())


def assumptions(evidence: Evidence) -> tuple[str, ...]:
    """What the report rests on without having been told, in sentences."""
    setting = evidence.setting
    told: list[str] = []
    if evidence.left is not None:
        told += evidence.left.told
    if evidence.placed is not None:
        told += evidence.placed.told
    if evidence.cuts is not None:
        told += [text for text in evidence.cuts.told if text not in told]
    question = zero_question(evidence)
    if question is not None:
        told.append(f"{question[0].upper()}{question[1:]}")
    if setting.machine is None:
        if len(evidence.moves):
            told.append("No machine is given: times are those of the feeds as written, without acceleration and rapids.")
    else:
        told.append(f"Times take the speeds and accelerations of {setting.machine.title or setting.machine.name}.")
    changes = sum(event.kind == "tool-change" for event in evidence.program.events)
    stops = sum(event.kind == "stop" and event.value in (0.0, 1.0, 60.0) for event in evidence.program.events)
    if changes or stops:
        told.append("Times leave out tool changes, stops and the spindle's starts.")
    unknown = _untimed(evidence)
    if unknown:
        moves = "1 move" if unknown == 1 else f"{unknown} moves"
        told.append(f"Times leave out {moves} whose length or feed is not known.")
    return tuple(told)
