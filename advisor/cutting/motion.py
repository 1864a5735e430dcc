"""What acceleration allows: feed on arcs, corners and short moves, and the time they take."""

from __future__ import annotations

from math import radians, sin, sqrt

from advisor.cutting.validity import not_negative, positive, within


def arc_speed(*, acceleration: float, radius: float) -> float:
    """Fastest feed on an arc, 60 sqrt(a r).

    Symbols:
        acceleration  a  mm/s2  acceleration allowed
        radius  r  mm  radius of the path
    Returns:
        v, mm/min
    Range:
        a > 0, r >= 0
    Source:
        geometry
    """
    positive(acceleration=acceleration)
    not_negative(radius=radius)
    return 60.0 * sqrt(acceleration * radius)


def corner_speed(*, acceleration: float, deviation: float, angle: float) -> float:
    """Fastest feed through a corner rounded by an inscribed arc that strays no more than ``deviation``.

    Symbols:
        acceleration  a  mm/s2  acceleration allowed
        deviation  e  mm  path deviation allowed
        angle  theta  deg  included angle of the corner, 180 is straight on
    Returns:
        v, mm/min; infinite straight on, 0 for a reversal
    Range:
        a > 0, e >= 0, 0 <= theta <= 180
    Source:
        geometry
    """
    positive(acceleration=acceleration)
    not_negative(deviation=deviation)
    within(0.0, 180.0, angle=angle)
    half = sin(radians(angle) / 2.0)
    if 1.0 - half < 1e-12:
        return float("inf")
    return 60.0 * sqrt(acceleration * deviation * half / (1.0 - half))


def reach_distance(*, feed: float, acceleration: float) -> float:
    """Length of a move from rest to rest that just reaches its feed, v^2/a.

    Symbols:
        feed  v_f  mm/min  feed
        acceleration  a  mm/s2  acceleration allowed
    Returns:
        L, mm
    Range:
        v_f >= 0, a > 0
    Source:
        geometry
    """
    not_negative(feed=feed)
    positive(acceleration=acceleration)
    return (feed / 60.0) ** 2 / acceleration


def peak_speed(*, length: float, feed: float, acceleration: float, start: float = 0.0, end: float = 0.0) -> float:
    """Fastest feed reached in a move, sqrt((2 a L + v_0^2 + v_1^2)/2), at most the feed asked for.

    Symbols:
        length  L  mm  length of the move
        feed  v_f  mm/min  feed asked for
        acceleration  a  mm/s2  acceleration allowed
        start  v_0  mm/min  speed at its start
        end  v_1  mm/min  speed at its end
    Returns:
        v, mm/min
    Range:
        L, v_f, v_0, v_1 >= 0, a > 0
    Source:
        geometry
    """
    not_negative(length=length, feed=feed, start=start, end=end)
    positive(acceleration=acceleration)
    first, last = start / 60.0, end / 60.0
    return min(feed, 60.0 * sqrt((2.0 * acceleration * length + first * first + last * last) / 2.0))


def move_seconds(*, length: float, feed: float, acceleration: float, start: float = 0.0, end: float = 0.0) -> float:
    """Time of a move at constant acceleration: up to the peak, along it, down again.

    Symbols:
        length  L  mm  length of the move
        feed  v_f  mm/min  feed asked for
        acceleration  a  mm/s2  acceleration allowed
        start  v_0  mm/min  speed at its start, at most the feed
        end  v_1  mm/min  speed at its end, at most the feed
    Returns:
        t, s
    Range:
        L, v_0, v_1 >= 0, v_f, a > 0; no limit on jerk
    Source:
        geometry
    """
    positive(feed=feed)
    within(0.0, feed, start=start, end=end)
    if length == 0.0:
        return 0.0
    first, last = start / 60.0, end / 60.0
    top = peak_speed(length=length, feed=feed, acceleration=acceleration, start=start, end=end) / 60.0
    ramps = (2.0 * top * top - first * first - last * last) / (2.0 * acceleration)
    cruise = max(0.0, length - ramps) / top
    return max(0.0, top - first) / acceleration + max(0.0, top - last) / acceleration + cruise


def jerk_distance(*, feed: float, acceleration: float, jerk: float) -> float:
    """Distance to reach a feed with limited jerk, v^2/(2 a) + v a/(2 J).

    Symbols:
        feed  v_f  mm/min  feed
        acceleration  a  mm/s2  acceleration allowed
        jerk  J  mm/s3  jerk allowed
    Returns:
        distance, mm
    Range:
        v_f >= 0, a, J > 0, v_f >= a^2/J (full acceleration is reached)
    Source:
        geometry
    """
    not_negative(feed=feed)
    positive(acceleration=acceleration, jerk=jerk)
    speed = feed / 60.0
    return speed * speed / (2.0 * acceleration) + speed * acceleration / (2.0 * jerk)


def pass_minutes(*, length: float, feed: float, extra: float = 0.0) -> float:
    """Time of a pass at a steady feed, (L + extra)/v_f, the extra being approach and overrun.

    Symbols:
        length  L  mm  length of the work
        feed  v_f  mm/min  feed
        extra  A  mm  approach and overrun
    Returns:
        t, min
    Range:
        L, A >= 0, v_f > 0; acceleration not counted
    Source:
        from memory: Groover, Fundamentals of Modern Manufacturing
    """
    not_negative(length=length, extra=extra)
    positive(feed=feed)
    return (length + extra) / feed
