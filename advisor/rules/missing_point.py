"""A value that makes sense only with a decimal point elsewhere, or with the other sign.

What it checks
    Positions in absolute mode that lie far outside all others, and would lie among their neighbours with the
    decimal point one to three places further left, or with the other sign; depths below the stock that would
    fit the other passes in the same way; feeds of one tool that are exactly ten, a hundred or a thousand times its
    others. Where the whole program reads the wrong unit only unit-mix-up tells it.

Why it matters
    A lost point or sign sends the cutter across the machine or through the table.

What it cannot see
    Values that stay within the range of the others, increments (G91), and arc centres, which arc-mismatch looks
    at.

How to mend
    Compare the value with its neighbours and with the drawing, and write the point or the sign.

Example
        Z-70     where the other passes end at Z-7

Safety
    Do not run the block to see: correct it, then trace the program in air.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from advisor.columns import any_of
from advisor.distinct import distinct as distinct_values
from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules._common import feeding, touching
from advisor.rules.base import rule
from advisor.rules.unit_mix_up import check as unit_mix_up
from grammar.moves import Flag, Kind

NAME = "missing-point"
POINTS = (10.0, 100.0, 1000.0)
FAR = 0.5  # of the span of all other positions; estimate, no source
LEAST = 10.0  # mm beyond all others; estimate, no source
DEEPER = 1.5  # times the stock's thickness, and the depth of the deepest other pass; estimate, no source
PIN = 15.0  # mm below the stock that a hole for a pin may go; estimate, no source
THROUGH = 5.0  # mm below the stock that a hole drilled through may go; estimate, no source
DEEP = 5.0  # times the deepest other pass, where no stock is given; estimate, no source
ROUNDING = 1e-3  # of a feed: a converted feed and the slip of it are rounded apart; estimate, no source
BESIDE = 1.0  # mm beyond the cutter's radius: a hole that touches the edge may be meant; estimate, no source
LEAD = 25.0  # mm beside the stock, and a cutter's diameter: where cuts are led in from; estimate, no source
MOST = 200_000  # moves compared one by one; in longer programs only the depths are
FEW = 300  # heights above the work that may be slips; where there are more they are meant
MEANT = 3  # times a path slopes up or down to one height above the work: a surface with its allowance, and no slip


def check(evidence: Evidence) -> Iterator[Finding | NotChecked]:
    """One finding a block and letter. Without stock only the depths are compared, with each other."""
    if evidence.setting.workpiece is None:
        last = int(evidence.program.block_line[-1])
        yield NotChecked(NAME, "positions in X and Y, and feeds, are compared with the stock: give [stock]", "stock", 1, last)
    if evidence.setting.workpiece is not None and any(unit_mix_up(evidence)):
        return  # every number looks wrong where the unit is
    told: set[tuple[int, str]] = set()
    for finding in (*_depths(evidence), *_places(evidence), *_feeds(evidence)):
        key = (finding.block or 0, finding.message[:1])
        if key not in told:
            told.add(key)
            yield finding
    for finding in _holes(evidence):
        if (finding.block or 0) not in {block for block, _ in told}:
            yield finding


def _plain(evidence: Evidence) -> np.ndarray:
    """Rows programmed in absolute work coordinates whose end is known."""
    moves = evidence.moves
    absolute = np.array([m.distance != "G91" for m in moves.modes] or [False], dtype=bool)[moves.mode]
    return np.asarray(
        absolute & ((moves.flags & (Flag.MACHINE | Flag.HOME | Flag.COMPENSATED)) == 0) & (moves.kind != Kind.DWELL)
    )


def _work(evidence: Evidence, axis: int) -> np.ndarray:
    """One axis of the end points in work coordinates, mm: (n,)."""
    moves = evidence.moves
    shifts = np.array([frame.shift[axis] for frame in moves.frames] or [0.0])
    return np.asarray(moves.end[:, axis] - shifts[moves.frame])


def _text(evidence: Evidence, row: int, letter: str, value: float) -> str:
    """A value as it stands in the program, in its unit."""
    scale = 25.4 if evidence.mode(row).units in ("G20", "G70") else 1.0
    return f"{letter}{value / scale:.6g}"


def _finding(evidence: Evidence, row: int, letter: str, value: float, better: float, where: str, severity: str = "") -> Finding:
    sign = better * value < 0
    return Finding(
        rule=NAME,
        block=int(evidence.moves.block[row]),
        severity=severity,
        message=f"{_text(evidence, row, letter, value)} {where}; {_text(evidence, row, letter, better)} would fit: "
        f"a lost {'sign' if sign else 'decimal point'}?",
        measured=float(value),
        limit=float(better),
        unit="mm/min" if letter == "F" else "mm",
        at=evidence.point(row),
    )


def _depths(evidence: Evidence) -> Iterator[Finding]:
    """Passes far below all others, and passes above the work that repeat a depth with the other sign."""
    moves = evidence.moves
    z = _work(evidence, 2)
    with np.errstate(invalid="ignore"):
        setting = _plain(evidence) & np.isfinite(z) & ~(moves.start[:, 2] == moves.end[:, 2])
    rows = _bottoms(evidence, np.flatnonzero(setting & feeding(evidence)), z)
    if not len(rows):
        return
    levels = z[rows]
    workpiece = evidence.setting.workpiece
    zero = evidence.zero[2]
    pins = max((pin.depth for pin in evidence.setting.hold.pins), default=0.0)
    floor = None if workpiece is None else -max((DEEPER - 1) * workpiece.size[2], pins + 1.0) - zero
    above = None if workpiece is None else workpiece.size[2] - zero
    surface = 0.0 if above is None else above
    distinct = distinct_values(np.round(levels, 6))
    if len(distinct) == 1 and floor is None:
        return
    for place in range(max(1, min(4, len(distinct) - 1))):
        level = float(distinct[place])
        deepest = float(distinct[place + 1]) if place + 1 < len(distinct) else surface
        ratio = DEEP if floor is None else DEEPER
        if level >= 0 or (floor is not None and level >= floor) or level - surface > ratio * (deepest - surface):
            break
        at = int(np.abs(levels - level).argmin())
        higher = np.append(distinct[place + 1 :], max(surface, deepest))
        ground = deepest - max(1.0, 1.5 * float(np.diff(higher).max(initial=0.0)))
        if moves.flags[rows[at]] & Flag.CYCLE and level > -zero - PIN:
            break
        alone = len(distinct) == 1
        drilled = floor is not None and bool(moves.flags[rows[at]] & Flag.CYCLE)
        where = f"is far below the other passes (deepest at {_text(evidence, int(rows[at]), 'Z', deepest)})"
        if alone:
            where = "is far below the stock"
        if floor is None and (level > -LEAST or np.abs(levels - level).min(initial=1.0, where=_others(levels, at)) < 1e-6):
            break
        for factor in POINTS:
            better = level / factor
            if floor is None and not _among(evidence, rows, z, at, better):
                continue
            near = min(abs(better - v) for v in _around(levels, at))
            close = near <= max(2.0, abs(ground)) or np.abs(higher - better).min() < 1e-3
            if (better >= -zero - THROUGH) if alone or drilled else (better >= ground and close):
                yield _finding(evidence, int(rows[at]), "Z", level, better, where)
                break
    yield from _lost_signs(evidence, rows, z, above)


def _others(levels: np.ndarray, at: int) -> np.ndarray:
    """Every place but one."""
    keep = np.ones(len(levels), dtype=bool)
    keep[at] = False
    return keep


def _among(evidence: Evidence, rows: np.ndarray, z: np.ndarray, at: int, better: float) -> bool:
    """True where the same tool's depths before and after a pass (one at least) all lie near a better depth."""
    tool = evidence.mode(int(rows[at])).tool
    near = [rows[i] for i in (at - 1, at + 1) if 0 <= i < len(rows) and evidence.mode(int(rows[i])).tool == tool]
    return bool(near) and all(abs(float(z[row]) - better) <= max(1.0, 0.75 * abs(better)) for row in near)


def _bottoms(evidence: Evidence, rows: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Rows without the upper pecks of canned cycles: of each block of a cycle only the deepest feed counts."""
    moves = evidence.moves
    cycle = (moves.flags[rows] & Flag.CYCLE) != 0
    if not cycle.any():
        return rows
    deepest = np.full(int(moves.block[rows].max()) + 1, np.inf)
    np.minimum.at(deepest, moves.block[rows[cycle]], z[rows[cycle]])
    return np.asarray(rows[~cycle | (z[rows] <= deepest[moves.block[rows]])])


def _around(levels: np.ndarray, place: int) -> list[float]:
    """The levels set before and after one, or that level itself where it stands alone."""
    near = [float(levels[i]) for i in (place - 1, place + 1) if 0 <= i < len(levels)]
    return near or [float(levels[place])]


def _lost_signs(evidence: Evidence, rows: np.ndarray, z: np.ndarray, above: float | None) -> Iterator[Finding]:
    """Feed moves in the air at a height that is a depth of other passes with the other sign."""
    moves = evidence.moves
    surface = 0.0 if above is None else above
    low = z[rows][z[rows] < min(0.0, surface)]
    if not len(low) or surface > 0.5:
        return
    cuts = feeding(evidence)
    lengths = evidence.lengths
    heights = z[rows]
    raised = np.flatnonzero(heights > surface)
    if not len(raised):
        return
    sloped = any_of(moves.start[rows[raised], :2] != moves.end[rows[raised], :2])
    slopes_to = np.sort(np.round(heights[raised[sloped]], 6))
    often = slopes_to[MEANT - 1 :][slopes_to[MEANT - 1 :] == slopes_to[: len(slopes_to) - MEANT + 1]]
    meant = np.zeros(len(rows), dtype=bool)
    meant[raised] = np.isin(np.round(heights[raised], 6), often)
    high = np.flatnonzero((heights > surface + 0.1) & ~meant)
    if len(high) <= FEW:
        for place in high.tolist():
            row = int(rows[place])
            after = int(rows[place + 1]) if place + 1 < len(rows) else len(moves)
            if place > 0 and _above_a_ramp(evidence, cuts, z, int(rows[place - 1]), row, after, surface):
                yield _finding(evidence, row, "Z", float(z[row]), -float(z[row]), "lifts the cutter out of a descent")
    above_it = np.flatnonzero((heights > surface + 1e-6) & ~meant)
    rows, heights = rows[above_it], heights[above_it]
    depths = np.sort(low)
    place_of = np.searchsorted(depths, -heights)
    near = np.minimum(
        np.abs(depths[np.clip(place_of, 0, len(depths) - 1)] + heights),
        np.abs(depths[np.clip(place_of - 1, 0, None)] + heights),
    )
    level_or_down = ~(moves.end[rows, 2] > moves.start[rows, 2])
    mirrored = rows[(near <= 1e-3) & level_or_down]
    if len(mirrored) > FEW:
        return
    for row in mirrored:
        height = float(z[row])
        after = int(row) + 1
        travelled = 0.0
        while after < len(moves) and cuts[after] and moves.end[after, 2] == moves.start[after, 2]:
            travelled += float(np.nan_to_num(lengths[after]))
            after += 1
        if travelled >= LEAST:
            yield _finding(evidence, int(row), "Z", height, -height, "keeps the following cuts above the work")


def _above_a_ramp(
    evidence: Evidence, cuts: np.ndarray, z: np.ndarray, before: int, row: int, after: int, surface: float
) -> bool:
    """True where the way between two depths of a ramp goes up above the work, and with the other sign would go on down."""
    moves = evidence.moves
    height, first = float(z[row]), float(z[before])
    last = float(z[after]) if after < len(moves) else np.inf
    if not (height > surface + 0.1 and -height <= first + 1e-6 and first <= surface + 1e-6):
        return False
    across = (moves.start[row, :2] != moves.end[row, :2]).any() or moves.kind[row] == Kind.ARC
    if not across or not cuts[before : row + 1].all():
        return False
    level = row + 1
    while level < after and cuts[level] and moves.end[level, 2] == moves.start[level, 2]:
        level += 1
    travelled = float(np.nansum(evidence.lengths[row + 1 : level]))
    # The last way down of a ramp: nothing else goes to this height, and the level pass at it is in air.
    if travelled >= LEAST and np.count_nonzero(np.abs(z - height) < 1e-6) == level - row:
        return True
    return bool(cuts[row : after + 1].all() and last < first and last - 1e-6 <= -height)


def _places(evidence: Evidence) -> Iterator[Finding]:
    """X and Y far outside all other positions."""
    moves = evidence.moves
    workpiece = evidence.setting.workpiece
    if len(moves) > MOST or workpiece is None:
        return
    plain = _plain(evidence)
    used = _cut_from(evidence)
    beside = feeding(evidence) & ((moves.flags & Flag.COMPENSATED) != 0)  # not judged, but the work lies there too
    for axis, letter in enumerate("XY"):
        values = _work(evidence, axis)
        rows = np.flatnonzero(plain & np.isfinite(values) & used)
        if len(rows) < 4:
            continue
        v = values[rows]
        order = np.sort(v)
        for place in _suspects(v):
            row = int(rows[place])
            value = float(v[place])
            if moves.start[row, axis] == moves.end[row, axis]:
                continue  # set by a block before that is not absolute
            others = order[np.abs(order - value) > 1e-6]
            if len(others) < 3:
                continue
            low, high = float(others[0]), float(others[-1])
            if beside.any():
                low = min(low, float(np.nanmin(values[beside], initial=np.inf)))
                high = max(high, float(np.nanmax(values[beside], initial=-np.inf)))
            low = min(low, -evidence.zero[axis])
            high = max(high, workpiece.size[axis] - evidence.zero[axis])
            span = high - low
            edge = LEAST + 0.1 * workpiece.size[axis]

            def inside(at: float, axis: int = axis, edge: float = edge, spare: float | None = None) -> bool:
                over = edge if spare is None else spare
                return -over <= at + workpiece.zero[axis] <= workpiece.size[axis] + over

            beyond = max(low - value, value - high)
            near = (*v[max(0, place - 3) : place], *v[place + 1 : place + 4])
            around = [float(x) for x in near if abs(float(x) - value) > 1e-6]
            mirrored = bool(around) and _sign(value, beyond, around, span) and beyond > _run_out(evidence, row)
            # Once outside, and with the other sign a place the program goes to on the stock.
            twin = beyond > LEAST and np.count_nonzero(np.abs(v - value) < 1e-6) == 1 and inside(-value, spare=1.0)
            mirrored |= bool(around) and bool(twin) and float(np.abs(others + value).min()) < 1e-3
            mirrored |= bool(around) and inside(-value, spare=1.0) and _out_and_back(evidence, row, axis, edge)
            if not around or (beyond < max(LEAST, FAR * span) and not mirrored):
                continue
            for better in (*(value / f for f in POINTS), -value):
                if better == -value and not mirrored:
                    continue
                if low <= better <= high and inside(better) and min(abs(better - x) for x in around) <= 0.5 * span:
                    where = f"lies {beyond:.0f} mm outside everything else"
                    yield _finding(evidence, row, letter, value, better, where)
                    break


def _holes(evidence: Evidence) -> Iterator[Finding]:
    """Holes of canned cycles beside the stock, where others of the same coordinate system lie in it."""
    moves, workpiece, placed = evidence.moves, evidence.setting.workpiece, evidence.placed
    if workpiece is None or workpiece.assumed or placed is None:
        return
    with np.errstate(invalid="ignore"):
        bored = feeding(evidence) & ((moves.flags & Flag.CYCLE) != 0) & (moves.end[:, 2] < moves.start[:, 2])
        rows = np.flatnonzero(bored & (placed.cutter >= 0) & placed.known)
    if not len(rows):
        return
    radius = np.array([cutter.diameter / 2 for cutter in placed.cutters])[placed.cutter[rows]]
    at = placed.end[rows, :2]
    size = np.array(workpiece.size[:2])
    beyond = np.maximum(-at, at - size).max(axis=1)
    beside = beyond > radius + BESIDE
    for frame in distinct_values(moves.frame[rows[beside]]).tolist():
        here = moves.frame[rows] == frame
        if not (here & ~beside).any():
            continue
        wrong = np.flatnonzero(here & beside)
        first, last = int(moves.block[rows[wrong[0]]]), int(moves.block[rows[wrong[-1]]])
        worst = int(wrong[int(beyond[wrong].argmax())])
        places = len({(round(float(x), 3), round(float(y), 3)) for x, y in at[wrong]})
        many = f"{places} holes from here on lie" if places > 1 else "This hole lies"
        yield Finding(
            rule=NAME,
            block=first,
            end_block=max(first, last),
            message=f"{many} beside the stock, {'up to ' if places > 1 else ''}{beyond[worst]:.0f} mm from its edge: a lost "
            "point or sign, or too many repeats?",
            fix="Compare the places with the drawing, and L or K with the number of holes.",
            measured=float(beyond[worst]),
            limit=float(radius[worst] + BESIDE),
            unit="mm",
            at=evidence.point(int(rows[worst])),
        )


def _run_out(evidence: Evidence, row: int) -> float:
    """How far outside a cut may begin or end, mm: infinitely where it runs out of the work and the cutter then rises."""
    moves, placed = evidence.moves, evidence.placed
    if moves.kind[row] == Kind.RAPID:
        cutter = int(placed.cutter[row]) if placed is not None else -1
        return LEAD + (placed.cutters[cutter].diameter if placed is not None and cutter >= 0 else 0.0)
    later = row + 1
    ends = later >= len(moves) or moves.kind[later] == Kind.RAPID or bool(moves.end[later, 2] > moves.start[later, 2])
    return float("inf") if ends else 0.0


def _out_and_back(evidence: Evidence, row: int, axis: int, edge: float) -> bool:
    """True where a cut goes from inside the stock far beyond its edge, and the next way along this axis leads in again."""
    moves, workpiece = evidence.moves, evidence.setting.workpiece
    if workpiece is None or workpiece.assumed or evidence.contact is None or moves.kind[row] != Kind.FEED:
        return False
    placed = evidence.placed
    cutter = int(placed.cutter[row]) if placed is not None else -1
    over = edge + (placed.cutters[cutter].diameter if placed is not None and cutter >= 0 else 0.0)
    size, base = workpiece.size[axis], evidence.base[axis]
    later = np.flatnonzero(np.abs(moves.end[row + 1 : row + 9, axis] - moves.end[row, axis]) > 1e-6)
    if not len(later):
        return False
    before, here = moves.start[row, axis] + base, moves.end[row, axis] + base
    after = moves.end[row + 1 + int(later[0]), axis] + base
    beyond = bool(here < -over) or bool(here > size + over)
    return bool(0 <= before <= size) and beyond and bool(0 <= after <= size) and bool(evidence.contact[row] > 0)


def _cut_from(evidence: Evidence) -> np.ndarray:
    """Rows at feed, and rapids across after which the cutter goes down to cut: not those that only park it."""
    moves = evidence.moves
    cuts = feeding(evidence)
    across = any_of(moves.start[:, :2] != moves.end[:, :2])
    # the first row from each on (itself left out) that cuts or goes across
    deciding = np.where(cuts | across, np.arange(len(moves)), len(moves))
    following = np.minimum.accumulate(deciding[::-1])[::-1]
    after = np.append(following[1:], len(moves))
    return np.asarray(cuts | np.append(cuts, False)[after])


def _sign(value: float, beyond: float, around: list[float], span: float) -> bool:
    """True where the value mirrored at zero lies among its neighbours and the value itself far from them."""
    return (
        beyond > max(LEAST, 0.05 * span)
        and max(abs(-value - x) for x in around[:1] + around[-1:]) <= 0.25 * span
        and min(abs(value - x) for x in around) > 0.25 * span
    )


def _suspects(values: np.ndarray) -> list[int]:
    """Positions of the three highest and the three lowest distinct values, first occurrence of each."""
    _, first = np.unique(values, return_index=True)
    return [int(i) for i in (*first[:3], *first[-3:][::-1])]


def _feeds(evidence: Evidence) -> Iterator[Finding]:
    """Feeds in material that are ten, a hundred or a thousand times what the tool is usually fed at, the same way."""
    moves, machine = evidence.moves, evidence.setting.machine
    if evidence.contact is None:
        return
    cuts = touching(evidence) & np.isfinite(moves.feed) & ~np.isfinite(moves.minutes)
    tools_by_mode = [-1 if m.tool is None else m.tool for m in moves.modes]
    tools = np.array(tools_by_mode or [-1])[moves.mode]
    flat = np.isclose(moves.start[:, 2], moves.end[:, 2], rtol=0.0, atol=1e-9)
    for tool in sorted(set(tools_by_mode)):
        for level in (True, False):
            rows = np.flatnonzero(cuts & (tools == tool) & (flat == level))
            feeds, first, counts = np.unique(np.round(moves.feed[rows], 6), return_index=True, return_counts=True)
            if len(feeds) < 2:
                continue
            usual = float(feeds[counts.argmax()])
            for feed, at, count in zip(feeds, first, counts, strict=True):
                if count * 4 > counts.max() or (machine is not None and feed > machine.feed_max):
                    continue
                for factor in POINTS:
                    if abs(feed / factor - usual) <= ROUNDING * usual:
                        where = "is unlike this tool's other feeds in material"
                        yield _finding(evidence, int(rows[int(at)]), "F", float(feed), usual, where)


RULE = rule(__doc__, name=NAME, severity="warning", group="set-up", check=check, needs=("moves",), unit="mm")
