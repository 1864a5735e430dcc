"""The compiled form of the stock kernels: every sweep cell by cell, on bands of the grid.

A band is a fixed number of rows of the grid. Bands do not touch each other's cells, so threads take them in any order;
their sums are added in band order, and the result is the same to the bit whatever the number of threads. The formulas
are those of advisor/kernels/sweep.py, which tests hold this form to.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from advisor.columns import all_of
from advisor.kernels.plan import Plan
from advisor.kernels.rim import rim_rows
from advisor.kernels.sweep import Lattice, Tally, stride_of
from grammar.jit import kernel

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int32]

BAND = 64  # rows of the grid

# as in plan and sweep; plain numbers, so that the compiled code is complete in itself
VERTICAL, LINE, SLOPE, ARC, HELIX = 0, 1, 2, 3, 4
FLAT, TORUS, CONE = 0, 1, 2
CUTS, RAPID, BENT, ABOVE = 0, 1, 2, 3
SPECK = 1e-4
TOUCH = 2e-5
EDGE = 1e-7
NEWTON = 3
RIM = 0.07
FINE, HEAD, TAIL, ALL = 10, 1, 2, 4
TWO_PI = 2 * math.pi


@kernel
def form_height(d2, form, flat, corner, slope):  # type: ignore[no-untyped-def]
    """Height of the cutter's underside above its tip at squared distance d2 from the axis."""
    if form == FLAT:
        return 0.0
    over = max(math.sqrt(d2) - flat, 0.0)
    if form == CONE:
        return slope * over
    return corner - math.sqrt(max(corner * corner - over * over, 0.0))


@kernel
def contact_radius(height, radius, form, flat, corner, slope):  # type: ignore[no-untyped-def]
    """Radius at which the cutter's underside stands ``height`` above its tip."""
    if form == FLAT:
        return radius
    if form == CONE:
        return min(radius, flat + height / slope)
    left = max(corner - height, 0.0)
    return flat + math.sqrt(max(corner * corner - left * left, 0.0))


@kernel
def lead(rho2, v2, m, form, flat, corner, slope, kick):  # type: ignore[no-untyped-def]
    """How far ahead of the axis a sloped line is lowest over a cell at squared offset v2 from it."""
    most = math.sqrt(rho2)
    if form == FLAT:
        return most
    if form == CONE:
        if m >= slope:
            return most
        cone = m * math.sqrt(v2) / math.sqrt(slope * slope - m * m)
        return min(most, max(cone, math.sqrt(max(flat * flat - v2, 0.0))))
    if flat == 0.0:
        return m * most / math.sqrt(1 + m * m)
    m2 = m * m
    least = m / math.sqrt(1 + m2)
    v = math.sqrt(v2)
    turn = min(1.0, v / (flat + corner * least))
    sine = min(m / math.sqrt(m2 + 1 - turn * turn), max((v - flat) / corner, 0.0) + kick)
    sine = min(max(sine, least), 1.0)
    for _ in range(NEWTON):
        a = (1 + m2) * sine * sine - m2
        b = flat + corner * sine
        value = a * b * b - v2 * sine * sine
        slant = 2 * (1 + m2) * sine * b * b + 2 * corner * a * b - 2 * v2 * sine
        if slant > 0:
            sine = min(max(sine - value / slant, least), 1.0)
    r = flat + corner * sine
    return min(math.sqrt(max(r * r - v2, 0.0)), most)


@kernel
def half_angle(rho, arc_radius, reach):  # type: ignore[no-untyped-def]
    """Half the angle of an arc from which a point at rho from its centre is within reach; -1 never."""
    cosine = (rho * rho + arc_radius * arc_radius - reach * reach) / max(2 * rho * arc_radius, 1e-300)
    if cosine > 1:
        return -1.0
    return math.acos(max(cosine, -1.0))


@kernel
def row_span(what, x0, x1, ax, ay, bx, by, reach, low, high, behind):  # type: ignore[no-untyped-def]
    """Least and greatest Y a straight sweep reaches for X between x0 and x1; low > high where it does not.

    (ax, ay), (bx, by): ends of its path; reach: radius. Points more than ``behind`` behind the start are left out.
    """
    least, most = math.inf, -math.inf
    for k in range(2):
        cx = ax if k == 0 else bx
        cy = ay if k == 0 else by
        off = max(0.0, max(x0 - cx, cx - x1))
        if off <= reach:
            half = math.sqrt(reach * reach - off * off)
            least = min(least, cy - half)
            most = max(most, cy + half)
    lx, ly = bx - ax, by - ay
    length = math.sqrt(lx * lx + ly * ly)
    if what != VERTICAL and length > 0:
        # the strip between the ends: corners of the rectangle, and its sides where they pass x0..x1
        nx, ny = -ly / length * reach, lx / length * reach
        for side in range(2):
            sign = 1.0 if side == 0 else -1.0
            px, py, qx, qy = ax + sign * nx, ay + sign * ny, bx + sign * nx, by + sign * ny
            lo, hi = min(px, qx), max(px, qx)
            u0, u1 = max(lo, x0), min(hi, x1)
            if u0 <= u1:
                if hi - lo < 1e-12:
                    least = min(least, min(py, qy))
                    most = max(most, max(py, qy))
                else:
                    for k in range(2):
                        u = u0 if k == 0 else u1
                        y = py + (qy - py) * (u - px) / (qx - px)
                        least = min(least, y)
                        most = max(most, y)
        if behind < reach:
            ux, uy = lx / length, ly / length
            # along = (x - ax) ux + (y - ay) uy > -behind
            rest = -behind - max((x0 - ax) * ux, (x1 - ax) * ux)
            if uy > 1e-9:
                least = max(least, ay + rest / uy)
            elif uy < -1e-9:
                most = min(most, ay + rest / uy)
            elif rest > 0:
                return 1.0, 0.0
    return max(least, low), min(most, high)


@kernel
def trail(m, radius, form, flat, corner, slope):  # type: ignore[no-untyped-def]
    """How far behind its axis a cutter still lowers the stock when it goes on along a line of rise m per run."""
    if m >= 0:
        return 0.0
    m = -m
    if form == FLAT:
        return radius
    if form == CONE:
        return min(radius, max(flat, m * radius / slope))
    return min(radius, flat + m * corner / math.sqrt(1 + m * m))


@kernel
def bin_of(share, count, fine, short):  # type: ignore[no-untyped-def]
    """Piece in which a share (0 to 1) of the way of a sweep lies; see advisor/kernels/plan.py."""
    if fine == 0 or fine >= ALL:
        return min(int(share * count), count - 1)
    head, tail = FINE * (fine & HEAD), FINE * (fine & TAIL) // TAIL
    if share < head * short:
        return int(share / short)
    if share >= 1 - tail * short:
        return count - tail + min(int((share - (1 - tail * short)) / short), tail - 1)
    middle = count - head - tail
    return head + min(int((share - head * short) * (middle / (1 - (head + tail) * short))), middle - 1)


@kernel
def look_at_rim(  # type: ignore[no-untyped-def]
    band0, band1, ex, ey, ux, uy, radius, floor, xs, ys, shift_x, shift_y, dx, dy, area, top, bottom, bottom_i, bottom_j, row
):  # fmt: skip
    """Where the rim of a cutter at (ex, ey) that moves along (ux, uy) meets material; see advisor/kernels/rim.py."""
    nx, ny = top.shape
    width = 2 * RIM * radius
    reach = radius + width
    # the box that the other form looks at, to tell alike whether all of it lies on the grid
    ci, cj, wide, high = int(ex // dx), int(ey // dy), int(reach / dx) + 2, int(reach / dy) + 2
    inside = ci >= wide and ci + wide < nx and cj >= high and cj + high < ny
    for i in range(max(band0, int((ex - reach) / dx) - 1), min(band1, int((ex + reach) / dx) + 2)):
        for j in range(max(0, int((ey - reach) / dy) - 1), min(ny, int((ey + reach) / dy) + 2)):
            px, py = xs[i] + shift_x[j] - ex, ys[j] + shift_y[i] - ey
            along = px * ux + py * uy
            if along <= 0 or abs(math.sqrt(px * px + py * py) - radius) > width:
                continue
            if inside:
                row[0] += 1
            h = float(top[i, j])
            if h > floor and h > float(bottom[i * bottom_i, j * bottom_j]) + SPECK:
                angle = math.atan2(py * ux - px * uy, along)
                row[1] += 1
                row[2] += angle
                row[3] = min(row[3], angle)
                row[4] = max(row[4], angle)
    if not inside and band0 <= int(min(max(ex / dx, 0.0), nx - 1.0)) < band1:
        row[0] += 4 * math.pi * RIM * radius * radius / area


@kernel
def straight_piece(  # type: ignore[no-untyped-def]
    what, row, first, i0, i1, j0, j1, ax, ay, az, bx, by, bz, length, ux, uy, m, behind,
    radius, form, flat, corner, slope, core2, xs, ys, shift_x, shift_y, dx, dy, area,
    top, bottom, bottom_i, bottom_j, mover, near,
    t_volume, t_cells, t_front, t_depth, t_at, t_low, t_high, t_core,
):  # fmt: skip
    """A line of one piece that cuts: what most moves of a long program are. Does what sweep_band does, faster.

    near: room for a number a column.
    """
    ny = top.shape[1]
    low_z = min(az, bz)
    descent = az - bz
    reach2 = (radius + EDGE) ** 2
    steep = abs(m)
    tilt = steep / math.sqrt(1 + steep * steep)
    ball = form == TORUS and flat == 0.0
    ball2 = corner * corner
    most2 = reach2 * (1 + 1e-12)
    ahead = math.copysign(tilt, m)  # of the axis, over the root of what the offset leaves of the radius
    kick = (m * m * flat / (2 * corner)) ** (1 / 3) if form == TORUS else 0.0
    volume = 0.0
    cells = front_cells = 0
    depth, at, core = t_depth[first], t_at[first], t_core[first]
    low, high = float(t_low[first]), float(t_high[first])
    over_uy = 1 / uy if abs(uy) > 1e-9 else 0.0
    reach = radius + EDGE
    compact = min(abs(bx - ax), abs(by - ay)) < radius  # its box holds little but what it reaches
    x_low, x_high, y_low, y_high = min(ax, bx), max(ax, bx), min(ay, by), max(ay, by)
    for i in range(i0, i1):
        if compact:
            off = max(xs[i] - x_high, max(x_low - xs[i] - dx, 0.0))
            if off > reach:
                continue
            half = math.sqrt(reach * reach - off * off)
            least, most = max(y_low - half, ys[j0]), min(y_high + half, ys[j1 - 1] + dy)
            if behind < reach:
                rest = -behind - max((xs[i] - ax) * ux, (xs[i] + dx - ax) * ux)
                if over_uy > 0:
                    least = max(least, ay + rest * over_uy)
                elif over_uy < 0:
                    most = min(most, ay + rest * over_uy)
                elif rest > 0:
                    continue
        else:
            least, most = row_span(what, xs[i], xs[i] + dx, ax, ay, bx, by, reach, ys[j0], ys[j1 - 1] + dy, behind)
        if least > most:
            continue
        ja = max(j0, int(least / dy) - 1)
        jb = min(j1, int(most / dy) + 2)
        rx, ry = xs[i] - ax, shift_y[i] - ay
        # a first loop without branches over plain stretches, which compiles to vector instructions, finds the height of
        # the swept underside of a ball, or for other forms the cells that may be met
        n = jb - ja
        heights, x_shifts, y_of, found = top[i, ja:jb], shift_x[ja:jb], ys[ja:jb], near[:n]
        if ball:
            for k in range(n):
                px, py = rx + x_shifts[k], y_of[k] + ry
                along = px * ux + py * uy
                across = py * ux - px * uy
                v2 = across * across
                u = min(max(along - ahead * math.sqrt(max(reach2 - v2, 0.0)), 0.0), length)
                beyond = along - u
                d2 = beyond * beyond + v2
                found[k] = az + m * u + corner - math.sqrt(max(ball2 - d2, 0.0)) if d2 <= most2 else math.inf
        else:
            for k in range(n):
                px, py = rx + x_shifts[k], y_of[k] + ry
                along = px * ux + py * uy
                across = py * ux - px * uy
                beyond = along - min(max(along, 0.0), length)
                found[k] = low_z if beyond * beyond + across * across <= reach2 else math.inf
        for k in range(n):
            h = float(heights[k])
            surface = found[k]
            if not h - surface > SPECK:
                continue
            j = ja + k
            rise = h - low_z
            px, py = rx + x_shifts[k], y_of[k] + ry
            along = px * ux + py * uy
            across = py * ux - px * uy
            v2 = across * across
            if not ball and (form != FLAT or what != LINE):
                beyond = along - min(max(along, 0.0), length)
                near2 = beyond * beyond + v2
                surface = low_z + form_height(near2, form, flat, corner, slope)
                if h <= surface:
                    continue
                if what != LINE:
                    w = lead(max(reach2 - v2, 0.0), v2, steep, form, flat, corner, slope, kick)
                    u = min(max(along - (w if m > 0 else -w), 0.0), length)
                    d2 = (along - u) ** 2 + v2
                    if d2 > most2:
                        continue
                    surface = az + m * u + form_height(min(d2, reach2), form, flat, corner, slope)
            new = max(surface, float(bottom[i * bottom_i, j * bottom_j]))
            removed = h - new
            if not removed > SPECK:
                continue
            volume += removed * area
            cells += 1
            single = np.float32(removed)
            if single > depth:
                depth = single
                at = i * ny + j
            # met by the front: above the cutter where the line began; without branches, since it is a toss-up
            d0 = along * along + v2
            if ball:
                left = corner - (h - az) - TOUCH
                front = (d0 > reach2) | ((left >= 0) & (ball2 - d0 <= left * left))
                if what == LINE:
                    front &= along > 0
            elif what == LINE:
                rc = contact_radius(rise + TOUCH, radius, form, flat, corner, slope)
                front = (along > 0) & (d0 > rc * rc)
            else:
                front = d0 > reach2 or az + form_height(d0, form, flat, corner, slope) > h + TOUCH
            front_cells += 1 if front else 0
            low = min(low, across if front else math.inf)
            high = max(high, across if front else -math.inf)
            if descent > 0:
                ex, ey = px - length * ux, py - length * uy
                if ex * ex + ey * ey <= core2:
                    core = max(core, np.float32(min(removed, descent)))
            top[i, j] = new
            mover[i, j] = row
    if cells:
        t_volume[first] += volume
        t_cells[first] += cells
        t_front[first] += front_cells
        t_depth[first], t_at[first], t_low[first], t_high[first], t_core[first] = depth, at, low, high, core


@kernel
def sweep_band(  # type: ignore[no-untyped-def]
    band0, band1, chosen, local,
    what_of, use_of, row_of, profile_of, p0_of, p1_of, arc_of, arcs, count_of, fine_of, boxes, goes_on,
    rim_of, rims, profiles, xs, ys, shift_x, shift_y, dx, dy, cell, area, stride_table,
    top, bottom, bottom_i, bottom_j, mover,
    t_volume, t_cells, t_front, t_depth, t_at, t_low, t_high, t_core, t_inset, t_clearance, t_end_clearance,
    t_above, t_above_part, t_above_at,
):  # fmt: skip
    """All sweeps ``chosen`` on rows band0..band1 of the grid; ``local`` is the first piece of each in the tally."""
    ny = top.shape[1]
    near = np.zeros(ny)
    for order in range(len(chosen)):
        s = chosen[order]
        what, use, row = what_of[s], use_of[s], row_of[s]
        profile = profile_of[s]
        radius, flat = profiles[profile, 0], profiles[profile, 2]
        corner, slope, core_radius = profiles[profile, 3], profiles[profile, 4], profiles[profile, 5]
        form = int(profiles[profile, 1])
        ax, ay, az = p0_of[s, 0], p0_of[s, 1], p0_of[s, 2]
        bx, by, bz = p1_of[s, 0], p1_of[s, 1], p1_of[s, 2]
        count = count_of[s]
        first = local[order]
        part = use - ABOVE + 1 if use >= ABOVE else 0
        looks = use in (RAPID, BENT)
        low_z = min(az, bz)
        reach2 = (radius + EDGE) ** 2
        core2 = core_radius * core_radius
        descent = az - bz
        stride = stride_table[profile] if part else 1
        i0, i1 = max(boxes[s, 0], band0), min(boxes[s, 1], band1)
        if stride > 1:  # the same cells whatever the bands
            i0 = boxes[s, 0] + (i0 - boxes[s, 0] + stride - 1) // stride * stride
        j0, j1 = boxes[s, 2], boxes[s, 3]
        arc = what >= ARC
        lx, ly = bx - ax, by - ay
        length = math.sqrt(lx * lx + ly * ly)
        ux = uy = m = 0.0
        if not arc and what != VERTICAL:
            ux, uy = lx / length, ly / length
            m = (bz - az) / length
        kick = (m * m * flat / (2 * corner)) ** (1 / 3) if form == TORUS else 0.0
        cx = cy = arc_radius = angle = sweep = 0.0
        if arc:
            a = arc_of[s]
            cx, cy, arc_radius, angle, sweep = arcs[a, 0], arcs[a, 1], arcs[a, 2], arcs[a, 3], arcs[a, 4]
        # where a line goes on from the sweep before it, the stock behind its start is already down
        behind = 2 * radius
        if goes_on[s] and not arc and what != VERTICAL and not looks:
            behind = trail(m, radius, form, flat, corner, slope) + 1e-6
        if not arc and what != VERTICAL and not looks and part == 0 and count == 1:
            straight_piece(
                what, row, first, i0, i1, j0, j1, ax, ay, az, bx, by, bz, length, ux, uy, m, behind,
                radius, form, flat, corner, slope, core2, xs, ys, shift_x, shift_y, dx, dy, area,
                top, bottom, bottom_i, bottom_j, mover, near,
                t_volume, t_cells, t_front, t_depth, t_at, t_low, t_high, t_core,
            )  # fmt: skip
            continue
        span = abs(sweep)
        sign = 1.0 if sweep >= 0 else -1.0
        fine, short = fine_of[s], 0.0
        if fine:
            short = 2 * radius / (FINE * (arc_radius * span if arc else length))
            if rim_of[s] >= 0:
                if arc:
                    ux, uy = -math.sin(angle + sweep) * sign, math.cos(angle + sweep) * sign
                look_at_rim(
                    band0, band1, bx, by, ux, uy, radius, bz + (corner if form == TORUS else 0.0) + SPECK,
                    xs, ys, shift_x, shift_y, dx, dy, area, top, bottom, bottom_i, bottom_j, rims[rim_of[s]],
                )  # fmt: skip
        outer2 = (arc_radius + radius + EDGE) ** 2
        inner2 = (arc_radius - radius - EDGE) ** 2 if arc_radius > radius else -1.0
        for i in range(i0, i1, stride):
            ja, jb = j0, j1
            if not arc:
                # X of this row's points lies between xs[i] and xs[i] + dx
                least, most = row_span(what, xs[i], xs[i] + dx, ax, ay, bx, by, radius + EDGE, ys[j0], ys[j1 - 1] + dy, behind)
                if least > most:
                    continue
                ja = max(ja, int(least / dy) - 1)
                jb = min(jb, int(most / dy) + 2)
            if stride > 1:
                ja = j0 + (ja - j0 + stride - 1) // stride * stride
            sy = shift_y[i]
            for j in range(ja, jb, stride):
                h = float(top[i, j])
                if looks:
                    if h <= bottom[i * bottom_i, j * bottom_j]:
                        continue
                elif h <= low_z + SPECK:
                    continue
                x, y = xs[i] + shift_x[j], ys[j] + sy
                along = across = rho = turned = half = 0.0
                q0 = 0.0
                surface = math.inf
                if what == VERTICAL:
                    px, py = x - ax, y - ay
                    near2 = px * px + py * py
                    if near2 > reach2:
                        continue
                    surface = low_z + form_height(near2, form, flat, corner, slope)
                elif not arc:
                    px, py = x - ax, y - ay
                    along = px * ux + py * uy
                    across = py * ux - px * uy
                    beyond = along - min(max(along, 0.0), length)
                    near2 = beyond * beyond + across * across
                    if near2 > reach2:
                        continue
                    if what == LINE:
                        surface = low_z + form_height(near2, form, flat, corner, slope)
                    else:
                        # nothing can be lower than the nearest point of the path at the lowest end
                        if not looks and h <= low_z + form_height(near2, form, flat, corner, slope):
                            continue
                        v2 = across * across
                        w = lead(max(reach2 - v2, 0.0), v2, abs(m), form, flat, corner, slope, kick)
                        u = min(max(along - (w if m > 0 else -w), 0.0), length)
                        d2 = (along - u) ** 2 + v2
                        if d2 <= reach2 * (1 + 1e-12):
                            surface = az + m * u + form_height(min(d2, reach2), form, flat, corner, slope)
                else:
                    px, py = x - cx, y - cy
                    rho2 = px * px + py * py
                    if rho2 > outer2 or rho2 < inner2:
                        continue
                    rho = math.sqrt(rho2)
                    turned = (math.atan2(py, px) - angle) * sign
                    turned -= math.floor(turned / TWO_PI) * TWO_PI
                    q0 = (x - ax) ** 2 + (y - ay) ** 2
                    q1 = (x - bx) ** 2 + (y - by) ** 2
                    near2 = (rho - arc_radius) ** 2 if turned <= span else min(q0, q1)
                    if what == ARC:
                        if near2 <= reach2:
                            surface = low_z + form_height(near2, form, flat, corner, slope)
                    else:
                        if turned > math.pi + span / 2:
                            turned -= TWO_PI
                        half = half_angle(rho, arc_radius, radius + EDGE)
                        enter, leave = max(turned - half, 0.0), min(turned + half, span)
                        if half >= 0 and enter <= leave:
                            surface = az + (bz - az) * ((leave if bz < az else enter) / span)
                if surface == math.inf:
                    continue
                if part:
                    depth = h - surface
                    if depth > SPECK and np.float32(depth) > t_above[first]:
                        t_above[first] = depth
                        t_above_part[first] = part
                        t_above_at[first] = i * ny + j
                    continue
                if looks:
                    gap = np.float32(surface - h)
                    k = 0
                    if count > 1:
                        if what == LINE:
                            begin = along - math.sqrt(max(reach2 - across * across, 0.0))
                            share = begin * (count / length)
                        else:
                            share = (turned - half_angle(rho, arc_radius, radius + EDGE)) * (count / span)
                        k = min(int(max(share, 0.0)), count - 1)
                    if gap < t_clearance[first + k]:
                        t_clearance[first + k] = gap
                    if descent > 0:
                        e2 = (x - bx) ** 2 + (y - by) ** 2
                        if e2 <= reach2:
                            rest = np.float32(bz + form_height(e2, form, flat, corner, slope) - h)
                            if rest < t_end_clearance[first]:
                                t_end_clearance[first] = rest
                new = max(surface, float(bottom[i * bottom_i, j * bottom_j]))
                removed = h - new
                if not removed > SPECK:
                    continue
                if count > 1 and what in (SLOPE, HELIX):
                    # the cell goes down bin by bin while the cutter is over it
                    if what == SLOPE:
                        v = across
                        half = math.sqrt(max(reach2 - v * v, 0.0))
                        enter = max(along - half, 0.0) / length * count
                        leave = min(along + half, length) / length * count
                    else:
                        v = (arc_radius * arc_radius + radius * radius - rho * rho) / (2 * arc_radius) * sign
                        v = min(max(v, -radius), radius)
                        enter = max(turned - half, 0.0) / span * count
                        leave = min(turned + half, span) / span * count
                    floor = float(bottom[i * bottom_i, j * bottom_j])
                    step = (bz - az) / count
                    side = np.float32(v)
                    k0 = min(int(enter), count - 1)
                    k = k0
                    level = h
                    while True:
                        lowest = min(leave, k + 1.0) if step < 0 else enter
                        new_level = max(az + step * lowest, floor)
                        taken = level - new_level
                        if taken > 0:
                            b = first + k
                            t_volume[b] += taken * area
                            t_cells[b] += 1
                            single = np.float32(taken)
                            if single > t_depth[b]:
                                t_depth[b] = single
                                t_at[b] = i * ny + j
                            if k == k0 and enter > 0:
                                t_front[b] += 1
                                t_low[b] = min(t_low[b], side)
                                t_high[b] = max(t_high[b], side)
                            if step < 0:
                                share = (k + 1) / count
                                if what == SLOPE:
                                    ex, ey = (bx - ax) * share, (by - ay) * share
                                    qx, qy = x - ax, y - ay
                                else:
                                    turn = angle + sweep * share
                                    ex, ey = arc_radius * math.cos(turn), arc_radius * math.sin(turn)
                                    qx, qy = x - cx, y - cy
                                if (qx - ex) ** 2 + (qy - ey) ** 2 <= core2:
                                    under = np.float32(min(taken, -step))
                                    if under > t_core[b]:
                                        t_core[b] = under
                        if step > 0:
                            break
                        level = min(level, new_level)
                        k += 1
                        if k >= count or leave <= k:
                            break
                    top[i, j] = new
                    mover[i, j] = row
                    continue
                k = 0
                front = False
                v = 0.0
                if what == LINE:
                    rc = contact_radius(h - low_z + TOUCH, radius, form, flat, corner, slope)
                    ahead = along - math.sqrt(max(rc * rc - across * across, 0.0))
                    front = ahead > 0
                    v = across
                    if count > 1:
                        k = bin_of(max(ahead, 0.0) / length, count, fine, short)
                elif what == SLOPE:
                    v = across
                    d0 = along * along + across * across
                    front = d0 > reach2 or az + form_height(d0, form, flat, corner, slope) > h + TOUCH
                elif what == ARC:
                    rc = contact_radius(h - low_z + TOUCH, radius, form, flat, corner, slope)
                    half = half_angle(rho, arc_radius, rc)
                    enter = turned - max(half, 0.0)
                    front = enter > 0 and turned + half < TWO_PI and half >= 0
                    enter = min(enter, span) if front else 0.0
                    v = (arc_radius * arc_radius + rc * rc - rho * rho) / (2 * arc_radius) * sign
                    v = min(max(v, -rc), rc)
                    if count > 1:
                        k = bin_of(enter / span, count, fine, short)
                elif what == HELIX:
                    front = q0 > reach2
                    v = (arc_radius * arc_radius + radius * radius - rho * rho) / (2 * arc_radius) * sign
                    v = min(max(v, -radius), radius)
                k += first
                t_volume[k] += removed * area
                t_cells[k] += 1
                single = np.float32(removed)
                if single > t_depth[k]:
                    t_depth[k] = single
                    t_at[k] = i * ny + j
                if front:
                    t_front[k] += 1
                    side = np.float32(v)
                    if side < t_low[k]:
                        t_low[k] = side
                    if side > t_high[k]:
                        t_high[k] = side
                if descent > 0 and (x - bx) ** 2 + (y - by) ** 2 <= core2:
                    under = np.float32(min(removed, descent))
                    if under > t_core[k]:
                        t_core[k] = under
                if looks:
                    inset = np.float32(radius - math.sqrt(near2))
                    if inset > t_inset[k]:
                        t_inset[k] = inset
                if use != BENT:
                    top[i, j] = new
                    mover[i, j] = row


def run_numba(
    plan: Plan,
    boxes: Ints,
    lattice: Lattice,
    top: Singles,
    bottom: Singles,
    mover: Ints,
    threads: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> Tally:
    """Sweep everything in order, band by band; ``top`` and ``mover`` are changed in place."""
    s = plan.sweeps
    nx, ny = top.shape
    dx = float(lattice.x[1] - lattice.x[0]) if nx > 1 else lattice.area / max(_step(lattice.y), 1e-300)
    dy = float(lattice.y[1] - lattice.y[0]) if ny > 1 else lattice.area / max(dx, 1e-300)
    rows = max(BAND, -(-nx // 256))
    bands = [(a, min(a + rows, nx)) for a in range(0, nx, rows)]
    level = 0 in bottom.strides
    held = np.ascontiguousarray(bottom[:1, :1] if level else bottom)
    step = 0 if level else 1
    strides = np.array([stride_of(r, lattice.cell) for r in plan.profiles[:, 0]], dtype=np.int64)
    what, count = s.what, s.count
    real = (boxes[:, 0] < boxes[:, 1]) & (boxes[:, 2] < boxes[:, 3])
    goes_on = np.zeros(len(s), dtype=np.bool_)
    if len(s) > 1:
        goes_on[1:] = all_of(s.p1[:-1] == s.p0[1:]) & (s.profile[1:] == s.profile[:-1])
        goes_on[1:] &= (s.use[:-1] <= RAPID) & (s.use[1:] == CUTS)
    rim_of = rim_rows(s, plan.profiles)
    rims = int(rim_of.max(initial=-1)) + 1
    # where the rim is looked at, it reaches a little beyond what is swept
    rim_wide = np.where(rim_of >= 0, int(2 * RIM * plan.profiles[:, 0].max() / dx) + 1, 0).astype(np.int32) if rims else 0
    tally = Tally.empty(len(plan.pieces.row), rims)

    def one(band: tuple[int, int]) -> tuple[Tally, NDArray[np.int64]]:
        chosen = np.flatnonzero(real & (boxes[:, 0] - rim_wide < band[1]) & (boxes[:, 1] + rim_wide > band[0]))
        into, local = pieces_of(s.first[chosen], count[chosen])
        mine = Tally.empty(len(into), rims)
        if len(chosen):
            sweep_band(
                band[0], band[1], chosen, local,
                what, s.use, s.row, s.profile, s.p0, s.p1, s.arc, s.arcs, count, s.fine, boxes, goes_on,
                rim_of, mine.rims, plan.profiles, lattice.x, lattice.y, lattice.shift_x, lattice.shift_y, dx, dy, lattice.cell,
                lattice.area, strides, top, held, step, step, mover, *mine.columns(),
            )  # fmt: skip
        return mine, into

    workers = max(1, min(threads if threads is not None else (os.cpu_count() or 1), len(bands), 64))
    with ThreadPoolExecutor(workers) as pool:
        # a few bands ahead of the merging, so that little waits in memory
        waiting = [pool.submit(one, band) for band in bands[: workers + 1]]
        for k in range(len(bands)):
            mine, into = waiting[k].result()
            waiting[k] = None  # type: ignore[call-overload]
            if k + workers + 1 < len(bands):
                waiting.append(pool.submit(one, bands[k + workers + 1]))
            tally.merge(mine, into)
            if progress is not None:
                progress((k + 1) / len(bands))
    return tally


def pieces_of(first: NDArray[np.int64], count: Ints) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The distinct pieces of some sweeps, ascending, and where each sweep's first piece stands among them.

    Sweeps of one piece (its cutter, its shank, its holder) share that piece.
    """
    if not len(first):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    start = np.repeat(first, count)
    every = start + np.arange(len(start)) - np.repeat(np.cumsum(count) - count, count)
    if (np.diff(every) > 0).all():
        return every, np.cumsum(count) - count
    distinct = np.unique(every)
    return distinct, np.searchsorted(distinct, first)


def _step(values: Floats) -> float:
    return float(values[1] - values[0]) if len(values) > 1 else 1.0
