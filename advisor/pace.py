"""The compiled form of the long sums of advisor/timing.py, whose text has the model; tests hold the two together."""

from __future__ import annotations

import math

from grammar.jit import kernel

STRAIGHT = 1e-9  # as in advisor/timing.py


@kernel
def corner_speed(p, q, out, into, length, exact, full, deviation, a, b, c):  # type: ignore[no-untyped-def]
    """Highest speed between moves p and q, mm/s. a, b, c: one over the acceleration of each axis."""
    if full[q]:
        return 0.0
    x0, y0, z0 = into[p, 0], into[p, 1], into[p, 2]
    x1, y1, z1 = out[q, 0], out[q, 1], out[q, 2]
    cosine = min(max(x0 * x1 + y0 * y1 + z0 * z1, -1.0), 1.0)
    if 1 - cosine < STRAIGHT:
        return math.inf
    if exact[q]:
        return 0.0
    sin_half = math.sqrt((1 + cosine) / 2)
    cos_half = math.sqrt((1 - cosine) / 2)
    half = min(length[p], length[q]) / 2
    radius = min(deviation * sin_half / (1 - sin_half), half * sin_half / cos_half)
    grip = 2 * cos_half / max(abs(x1 - x0) * a, max(abs(y1 - y0) * b, abs(z1 - z0) * c))
    return math.sqrt((grip if math.isfinite(grip) else 0.0) * radius)


@kernel
def follow(  # type: ignore[no-untyped-def]
    going, halts, speed, pull, ramp, out, into, length, exact, full, deviation, grip, entry, leave, seconds, peak
):  # fmt: skip
    """Speeds at the ends of every move of ``going`` (mm/s), its time (s) and highest speed (mm/min)."""
    n = len(going)
    a, b, c = 1 / grip[0], 1 / grip[1], 1 / grip[2]
    for k in range(n):  # the squares of the speeds at the end of each move, as the corners allow
        limit = 0.0
        if k + 1 < n:
            p, q = going[k], going[k + 1]
            if halts[p] == halts[q]:
                corner = corner_speed(p, q, out, into, length, exact, full, deviation, a, b, c)
                corner = min(corner, min(speed[p], speed[q]))
                limit = corner * corner
        leave[k] = limit
    for k in range(n - 1, 0, -1):  # what can be braked to
        leave[k - 1] = min(leave[k - 1], leave[k] + ramp[going[k]])
    before = 0.0
    for k in range(n):  # what can be reached
        i = going[k]
        entry[k] = math.sqrt(before)
        before = min(leave[k], before + ramp[i])
        leave[k] = math.sqrt(before)
        v0, v1, force, run = entry[k], leave[k], pull[i], length[i]
        highest = max(min(speed[i], math.sqrt((2 * force * run + v0 * v0 + v1 * v1) / 2)), max(v0, v1))
        ramps = (2 * highest * highest - v0 * v0 - v1 * v1) / (2 * force)
        seconds[i] = (2 * highest - v0 - v1) / force + max(run - ramps, 0.0) / highest
        peak[i] = highest * 60
