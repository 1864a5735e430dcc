"""Times along the path against closed forms of constant acceleration (textbook kinematics), and laws that must hold."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.timing import path_lengths, time_path
from advisor.values import Machine
from grammar.moves import Frame, Kind, Mode, Moves

PLAIN = Mode()
MACHINE = Machine(
    name="test", feed_max=6000.0, feed_max_z=2000.0, rapid=(6000.0, 6000.0, 2000.0),
    acceleration=(500.0, 500.0, 300.0), corner_deviation=0.02,
)  # fmt: skip


def path(points, *, kinds=None, feed=3000.0, arcs=(), modes=(PLAIN,), mode=None, minutes=None) -> Moves:
    """Moves through points; ``arcs``: (row, centre, sweep, plane)."""
    points = np.array(points, dtype=float)
    n = len(points) - 1
    kind = np.array(kinds if kinds is not None else [Kind.FEED] * n, dtype=np.int8)
    feeds = np.broadcast_to(np.asarray(feed, dtype=float), n).copy()
    feeds[(kind == Kind.RAPID) | (kind == Kind.DWELL)] = np.nan
    return Moves(
        kind=kind,
        block=np.arange(n, dtype=np.int32),
        call=np.zeros(n, np.int32),
        mode=np.zeros(n, np.int32) if mode is None else np.array(mode, np.int32),
        frame=np.zeros(n, np.int32),
        flags=np.zeros(n, np.uint16),
        start=points[:-1],
        end=points[1:],
        feed=feeds,
        minutes=np.full(n, np.nan) if minutes is None else np.array(minutes, dtype=float),
        arc_row=np.array([a[0] for a in arcs], np.int32),
        centre=np.array([a[1] for a in arcs], float).reshape(-1, 3),
        sweep=np.array([a[2] for a in arcs], float),
        plane=np.array([a[3] for a in arcs], np.int8),
        modes=modes,
        frames=(Frame("G54", (0.0, 0.0, 0.0)),),
    )


def trapezoid(length: float, feed: float, acceleration: float) -> float:
    """Seconds for a move from rest to rest: ramps up to ``feed`` (mm/s) and down again."""
    if feed * feed / acceleration >= length:
        return 2 * math.sqrt(length / acceleration)
    return length / feed + feed / acceleration


@pytest.mark.parametrize("length", [0.1, 1.0, 4.9, 5.1, 100.0])
@pytest.mark.parametrize("feed", [60.0, 3000.0, 9000.0])
def test_single_move_is_the_trapezoid(length: float, feed: float) -> None:
    timing = time_path(path([(0, 0, 0), (length, 0, 0)], feed=feed), MACHINE)
    speed = min(feed, 6000.0) / 60
    assert timing.minutes[0] * 60 == pytest.approx(trapezoid(length, speed, 500.0), rel=1e-9)
    assert timing.reached[0] == pytest.approx(length / timing.minutes[0])
    assert timing.peak[0] <= min(feed, 6000.0) + 1e-9


def test_diagonals_use_both_axes() -> None:
    """Along (3, 4): the slower axis share 4/5 binds, so speed and acceleration are 5/4 of one axis's."""
    timing = time_path(path([(0, 0, 0), (300, 400, 0)], kinds=[Kind.RAPID]), MACHINE)
    assert timing.minutes[0] * 60 == pytest.approx(trapezoid(500.0, 125.0, 625.0), rel=1e-9)


def test_z_is_slower() -> None:
    timing = time_path(path([(0, 0, 0), (0, 0, -50)], kinds=[Kind.RAPID]), MACHINE)
    assert timing.minutes[0] * 60 == pytest.approx(trapezoid(50.0, 2000 / 60, 300.0), rel=1e-9)


@pytest.mark.parametrize("pieces", [1, 2, 7, 100, 1000])
def test_a_straight_line_in_pieces_takes_the_time_of_the_whole(pieces: int) -> None:
    points = [(400 * k / pieces, 0, 0) for k in range(pieces + 1)]
    total = time_path(path(points, feed=6000.0), MACHINE).total * 60
    assert total == pytest.approx(trapezoid(400.0, 100.0, 500.0), rel=1e-6)


def test_a_right_angle_slows_to_the_blend_circle() -> None:
    """Circle tangent to both legs and 0.02 mm from the corner: R = d sin(a/2) / (1 - sin(a/2)), v = sqrt(a R).

    The turn's change of direction points along both axes equally, so a = 500 sqrt(2) mm/s2.
    """
    timing = time_path(path([(0, 0, 0), (100, 0, 0), (100, 100, 0)], feed=3000.0), MACHINE)
    s = math.sin(math.pi / 4)
    corner = math.sqrt(500 * math.sqrt(2) * 0.02 * s / (1 - s))
    v, a = 50.0, 500.0
    leg = v / a + (v - corner) / a + (100 - v * v / (2 * a) - (v * v - corner * corner) / (2 * a)) / v
    assert timing.total * 60 == pytest.approx(2 * leg, rel=1e-9)


def test_a_reversal_stops() -> None:
    timing = time_path(path([(0, 0, 0), (50, 0, 0), (0, 0, 0)]), MACHINE)
    assert timing.total * 60 == pytest.approx(2 * trapezoid(50.0, 50.0, 500.0), rel=1e-9)


def test_exact_stop_stops_at_every_corner() -> None:
    moves = path([(0, 0, 0), (50, 0, 0), (100, 0, 0)], modes=(Mode(path="G61.1"),))
    assert time_path(moves, MACHINE).total * 60 == pytest.approx(2 * trapezoid(50.0, 50.0, 500.0), rel=1e-9)


@pytest.mark.parametrize(("plane", "first", "second"), [(17, 0, 1), (18, 2, 0), (19, 1, 2)])
@pytest.mark.parametrize("radius", [0.5, 3.0, 40.0])
def test_circle_keeps_to_its_centripetal_speed(plane: int, first: int, second: int, radius: float) -> None:
    """A full turn from rest to rest at v <= sqrt(a r); 1 % is the reach of the design."""
    start = np.zeros(3)
    start[first] = radius
    moves = path([start, start], feed=6000.0, arcs=[(0, (0, 0, 0), 2 * math.pi, plane)])
    grip = min(MACHINE.acceleration[first], MACHINE.acceleration[second])
    top = min(6000.0, *((6000.0, 6000.0, 2000.0)[k] for k in (first, second))) / 60
    wanted = trapezoid(2 * math.pi * radius, min(top, math.sqrt(grip * radius)), grip)
    assert path_lengths(moves)[0] == pytest.approx(2 * math.pi * radius, rel=1e-12)
    assert time_path(moves, MACHINE).total * 60 == pytest.approx(wanted, rel=0.01)


def test_a_circle_in_short_lines_takes_the_time_of_the_arc() -> None:
    """The same circle as 720 chords: the corner rule must not be much slower or faster than the curve itself."""
    radius = 5.0
    turn = np.linspace(0, 2 * math.pi, 721)
    chords = path([(radius * math.cos(t), radius * math.sin(t), 0) for t in turn], feed=6000.0)
    arc = path([(radius, 0, 0), (radius, 0, 0)], feed=6000.0, arcs=[(0, (0, 0, 0), 2 * math.pi, 17)])
    assert time_path(chords, MACHINE).total == pytest.approx(time_path(arc, MACHINE).total, rel=0.1)


def test_helix_length_is_the_true_one() -> None:
    moves = path([(10, 0, 0), (10, 0, -3)], arcs=[(0, (0, 0, 0), -2 * math.pi, 17)])
    assert path_lengths(moves)[0] == pytest.approx(math.hypot(2 * math.pi * 10, 3), rel=1e-12)


def test_dwells_inverse_time_and_unknown_ends() -> None:
    moves = path(
        [(math.nan, 0, 0), (0, 0, 0), (0, 0, 0), (30, 0, 0)],
        kinds=[Kind.RAPID, Kind.DWELL, Kind.FEED],
        feed=100.0,
        minutes=[math.nan, 0.05, 0.02],
    )
    timing = time_path(moves, MACHINE)
    assert math.isnan(timing.minutes[0]) and timing.unknown == 1
    assert timing.minutes[1] == 0.05
    assert timing.minutes[2] * 60 == pytest.approx(trapezoid(30.0, 30 / 1.2, 500.0), rel=1e-9)


def test_zero_length_moves_do_not_stop_the_path() -> None:
    whole = time_path(path([(0, 0, 0), (50, 0, 0), (100, 0, 0)]), MACHINE).total
    with_zero = time_path(path([(0, 0, 0), (50, 0, 0), (50, 0, 0), (100, 0, 0)]), MACHINE).total
    assert with_zero == pytest.approx(whole, rel=1e-12)


def test_a_spindle_change_stops() -> None:
    modes = (Mode(spindle="cw", rpm=16000), Mode(spindle="cw", rpm=18000))
    moves = path([(0, 0, 0), (50, 0, 0), (100, 0, 0)], modes=modes, mode=[0, 1])
    assert time_path(moves, MACHINE).total * 60 == pytest.approx(2 * trapezoid(50.0, 50.0, 500.0), rel=1e-9)


def test_without_a_machine_time_is_length_over_feed() -> None:
    moves = path([(0, 0, 5), (0, 0, 0), (60, 0, 0)], kinds=[Kind.RAPID, Kind.FEED], feed=600.0)
    timing = time_path(moves, None)
    assert not timing.accelerated
    assert math.isnan(timing.minutes[0])
    assert timing.minutes[1] == pytest.approx(0.1)


def slow_twin(lengths, speeds, corners, acceleration) -> float:
    """Seconds by a plain loop backward and forward over junction speeds; no arrays, no prefix sums."""
    n = len(lengths)
    v = [0.0, *corners, 0.0]
    for k in range(n - 1, -1, -1):
        v[k] = min(v[k], math.sqrt(v[k + 1] ** 2 + 2 * acceleration * lengths[k]))
    for k in range(n):
        v[k + 1] = min(v[k + 1], math.sqrt(v[k] ** 2 + 2 * acceleration * lengths[k]))
    total = 0.0
    for k in range(n):
        top = min(speeds[k], math.sqrt((2 * acceleration * lengths[k] + v[k] ** 2 + v[k + 1] ** 2) / 2))
        top = max(top, v[k], v[k + 1])
        ramps = (2 * top**2 - v[k] ** 2 - v[k + 1] ** 2) / (2 * acceleration)
        total += (2 * top - v[k] - v[k + 1]) / acceleration + max(0.0, lengths[k] - ramps) / top
    return total


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.01, 30.0), st.sampled_from([300.0, 1200.0, 3000.0, 6000.0])), min_size=1, max_size=30
    )
)
def test_look_ahead_against_the_slow_twin_on_a_line(moves: list[tuple[float, float]]) -> None:
    """Straight on, every junction may be passed at the slower feed of its neighbours."""
    lengths = [m[0] for m in moves]
    feeds = [m[1] for m in moves]
    ends = np.concatenate(([0.0], np.cumsum(lengths)))
    timing = time_path(path([(x, 0, 0) for x in ends], feed=feeds), MACHINE)
    corners = [min(a, b) / 60 for a, b in pairwise(feeds)]
    wanted = slow_twin(lengths, [f / 60 for f in feeds], corners, 500.0)
    assert timing.total * 60 == pytest.approx(wanted, rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=2, max_size=20))
def test_laws(points: list[tuple[float, float]]) -> None:
    """Never faster than the feed; a machine that accelerates better is never slower; turned paths agree."""
    moves = path([(x, y, 0.0) for x, y in points])
    timing = time_path(moves, MACHINE)
    ideal = path_lengths(moves).sum() / 3000.0
    assert timing.total >= ideal - 1e-9
    quicker = time_path(moves, replace(MACHINE, acceleration=(1000.0, 1000.0, 600.0)))
    assert quicker.total <= timing.total + 1e-9
    turned = time_path(path([(-y, x, 0.0) for x, y in points]), MACHINE)
    assert turned.total == pytest.approx(timing.total, rel=1e-9)
    back = time_path(path([(x, y, 0.0) for x, y in reversed(points)]), MACHINE)
    assert back.total == pytest.approx(timing.total, rel=1e-6)


def test_hostile_numbers_end_in_numbers() -> None:
    moves = path([(0, 0, 0), (1e300, 0, 0), (1e300, -1e300, 0), (0, 0, 0), (1, 0, 0)], feed=1e-300)
    timing = time_path(moves, MACHINE)
    assert timing.minutes.shape == (4,)
    assert not np.any(timing.minutes < 0)


def wild_path(seed: int) -> Moves:
    """Moves of every kind, with arcs, dwells, rests, repeated points, unknown ends and far ones, in three path modes."""
    rng = np.random.default_rng(seed)
    n = 3000
    points = np.cumsum(rng.normal(0, 1, (n + 1, 3)) * rng.choice([0.0, 0.01, 1.0, 30.0], (n + 1, 1)), axis=0)
    points[rng.integers(0, n, 5)] = np.nan
    points[rng.integers(0, n, 3)] = 1e9
    kinds = rng.choice([Kind.FEED, Kind.FEED, Kind.FEED, Kind.RAPID, Kind.DWELL], n)
    arcs = []
    for row in np.flatnonzero(rng.random(n) < 0.1).tolist():
        kinds[row] = Kind.ARC
        arcs.append((row, points[row] + rng.normal(0, 3, 3), float(rng.normal(0, 3)), int(rng.choice([17, 18, 19]))))
    modes = (PLAIN, replace(PLAIN, path="G61"), replace(PLAIN, path="G61.1"), replace(PLAIN, rpm=5000.0))
    mode = np.repeat(rng.integers(0, 4, n // 100), 100)
    minutes = np.where(kinds == Kind.DWELL, 0.01, np.nan)
    feed = rng.choice([100.0, 3000.0, 1e5], n)
    return path(points, kinds=kinds, feed=feed, arcs=arcs, modes=modes, mode=mode, minutes=minutes)


@pytest.mark.parametrize("seed", range(4))
def test_compiled_and_plain_agree(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    moves = wild_path(seed)
    plain = time_path(moves, MACHINE)
    monkeypatch.setattr("advisor.timing.MANY", 0)
    compiled = time_path(moves, MACHINE)
    assert plain.total > 1.0 and np.isnan(plain.minutes).sum() < 60
    # the plain form takes differences of running sums that reach 1e8 mm2/s2; what that rounds away shows in short moves
    rounding = {"minutes": 1e-8, "reached": 0.2, "peak": 0.2}
    for name in ("minutes", "reached", "peak", "asked", "length"):
        most = rounding.get(name, 1e-9)
        np.testing.assert_allclose(getattr(compiled, name), getattr(plain, name), rtol=1e-9, atol=most, err_msg=name)
