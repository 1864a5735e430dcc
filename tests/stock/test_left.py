"""What is left: freed parts, thin floors, thin walls, and the workpiece turned over."""

from __future__ import annotations

import math

import numpy as np
import pytest

from advisor.kernels.remains import SOLID, connect, eroded, label, least_level, partings, rooms, side_reach, wall_runs
from advisor.stock import StockBounds, freed_parts, lattice_of, remove, thin_floors, thin_walls, turned
from advisor.values import Cutter
from tests.stock.build import Path, cut, placed_of, setting_of

SIZE = (100.0, 80.0, 18.0)
FLAT = Cutter("flat", diameter=6.0)


def around(path: Path, x0: float, y0: float, x1: float, y1: float, z: float) -> Path:
    return path.line(x0, y0).line(z=z).line(x=x1).line(y=y1).line(x=x0).line(y=y0)


def test_a_part_is_freed_by_the_move_that_closes_its_outline() -> None:
    path = Path(20, 20, 5)
    for z in (-9.0, -18.1):
        around(path, 20, 20, 70, 60, z)
    parts = freed_parts(cut(path, setting_of(SIZE, FLAT)), least_area=10)
    (part,) = parts.freed
    assert part.row == len(path.rows) - 1
    assert part.area == pytest.approx(44 * 34, rel=0.005)
    assert part.volume == pytest.approx(44 * 34 * 18, rel=0.005)
    assert part.low == pytest.approx((23, 23, 0), abs=0.3) and part.high == pytest.approx((67, 57, 18), abs=0.3)
    assert part.skin == 0 and part.later_rows == ()
    assert part.rest_area == pytest.approx(100 * 80 - 56 * 46 + (4 - math.pi) * 9, rel=0.005)
    assert parts.label_at(45, 40) in part.labels and parts.label_at(5, 5) not in part.labels
    assert parts.label_at(20, 40) == 0 and parts.label_at(-1, 5) == 0


@pytest.mark.parametrize(("left", "free"), [(0.1, True), (0.2, False)])
def test_a_skin_holds_only_when_it_is_thick_enough(left: float, free: bool) -> None:
    path = around(Path(20, 20, 5), 20, 20, 70, 60, left - 18)
    parts = freed_parts(cut(path, setting_of(SIZE, FLAT)), least_area=10)
    assert bool(parts.freed) == free
    if free:
        assert parts.freed[0].skin == pytest.approx(0.1, abs=1e-4)


def test_tabs_hold_and_cutting_one_of_two_frees_nothing() -> None:
    path = Path(20, 20, 5)
    path.line(z=-18.1).line(x=40).line(z=-14).line(x=48).line(z=-18.1).line(x=70).line(y=60).line(x=20).line(y=45)
    path.line(z=-14).line(y=37).line(z=-18.1).line(y=20)
    setting = setting_of(SIZE, FLAT)
    assert freed_parts(cut(path, setting), least_area=10).freed == ()
    path.rapid(z=5).rapid(39, 20).line(z=-18.1).line(x=49)
    assert freed_parts(cut(path, setting), least_area=10).freed == ()
    path.rapid(z=5).rapid(20, 46).line(z=-18.1).line(y=36)
    (part,) = freed_parts(cut(path, setting), least_area=10).freed
    assert part.row == len(path.rows) - 1


def test_a_slug_inside_a_part_and_later_work_on_it() -> None:
    path = Path(36 + 8, 40, 5).line(z=-18.1).arc(36, 40, 360).rapid(z=5)
    around(path, 20, 20, 70, 60, -18.1).rapid(z=5).rapid(60, 40).line(z=-3)
    parts = freed_parts(cut(path, setting_of(SIZE, FLAT)), least_area=10)
    slug, part = parts.freed
    assert (slug.row, part.row) == (1, 8)
    assert slug.area == pytest.approx(math.pi * 25, rel=0.01)
    assert part.later_rows == (len(path.rows) - 1,)


def test_partings_on_a_small_grid_by_hand() -> None:
    """Two blocks joined by a bridge that move 7 cuts; a hole of move 3 parts nothing."""
    state = np.full((5, 9), SOLID, dtype=np.int32)
    state[:, 4] = [5, 5, 7, 5, 5]
    state[2, 1] = 3
    (one,), labels, boxes = partings(state)
    assert (one.row, one.small_cells, one.large_cells) == (7, 19, 20)
    assert labels[0, 0] == 1 and labels[0, 8] == 2 and labels[2, 4] == 0
    assert boxes[1].tolist() == [0, 4, 0, 3] and boxes[2].tolist() == [0, 4, 5, 8]


def test_labels_are_those_of_scipy() -> None:
    from scipy import ndimage

    rng = np.random.default_rng(3)
    for share in (0.3, 0.55, 0.62, 0.8):
        mask = rng.random((70, 90)) < share
        ours, (theirs, count) = label(mask), ndimage.label(mask)
        pairs = {(a, b) for a, b in zip(ours.ravel().tolist(), theirs.ravel().tolist(), strict=True)}
        assert len(pairs) == count + (1 if (~mask).any() else 0) == len({a for a, _ in pairs})
    assert connect(4, np.array([[2, 3], [0, 2]])).tolist() == [0, 1, 0, 0]


def test_erosion_is_that_of_scipy() -> None:
    from scipy import ndimage

    rng = np.random.default_rng(4)
    mask = ndimage.binary_closing(rng.random((60, 70)) < 0.6, iterations=2)
    distance = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    ours = eroded(mask, 3.0)
    assert not (ours & (distance < 2.5)).any() and ours[distance > 4.5].all() and ours.any()


def test_thin_floors() -> None:
    path = Path(20, 20, 5).line(z=-17.2)
    for k in range(7):
        path.line(x=50 if k % 2 == 0 else 20).line(y=20 + 4.0 * (k + 1))
    path.rapid(z=5).rapid(75, 10).line(z=-17.2).line(y=70)  # a slot as thin, but only 6 wide
    cuts = cut(path, setting_of(SIZE, FLAT))
    (floor,) = thin_floors(cuts, thinner_than=1.5, wider_than=12.0)
    assert floor.thickness == pytest.approx(0.8, abs=1e-4)
    assert floor.width == pytest.approx(30, abs=1)
    assert 20 < floor.at[0] < 50 and 20 < floor.at[1] < 48
    assert thin_floors(cuts, thinner_than=0.7, wider_than=12.0) == ()
    assert thin_floors(cuts, thinner_than=1.5, wider_than=40.0) == ()
    assert len(thin_floors(cuts, thinner_than=1.5, wider_than=5.0)) == 2


def test_the_foot_of_a_slope_is_no_thin_floor() -> None:
    """The flank of a tab rises from nothing by 8.2 in 20: no circle of 5 mm on it is thinner than the slope allows."""
    path = Path(20, 40, 5).line(z=-18.2).line(x=40).line(x=60, z=-10)
    cuts = cut(path, setting_of(SIZE, FLAT))
    assert thin_floors(cuts, thinner_than=1.5, wider_than=5.0) == ()
    (flank,) = thin_floors(cuts, thinner_than=7.5, wider_than=5.0)
    assert flank.thickness > 1.5


def test_two_floors_that_touch_are_told_apart() -> None:
    path = Path(20, 20, 5)
    for x0, z in ((20, -16.0), (40, -17.0)):
        path.rapid(z=5).rapid(x0, 20).line(z=z)
        for k in range(5):
            path.line(x=x0 + (14 if k % 2 == 0 else 0)).line(y=20 + 4.0 * (k + 1))
    floors = thin_floors(cut(path, setting_of(SIZE, FLAT)), thinner_than=3.0, wider_than=10.0)
    assert sorted(round(f.thickness, 3) for f in floors) == [1.0, 2.0]


@pytest.mark.parametrize("angle", [0.0, 90.0, 30.0, 45.0])
def test_thin_walls(angle: float) -> None:
    """A wall of 1 mm between two slots, in any direction; a wall of 3 mm is not told."""
    u = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    n = np.array([-u[1], u[0]])
    middle = np.array([50.0, 40.0])
    for gap, told in ((1.0, True), (3.0, False)):
        a, b = middle - 15 * u, middle + 15 * u
        path = Path(*a, 5).line(z=-8).line(*b).rapid(z=5).rapid(*(a + (6 + gap) * n)).line(z=-8)
        path.line(*(b + (6 + gap) * n))
        walls = thin_walls(cut(path, setting_of(SIZE, FLAT)), thinner_than=1.5, higher_than=3.0)
        assert bool(walls) == told
        if told:
            assert walls[0].thickness == pytest.approx(1.0, abs=0.2)
            assert walls[0].width == pytest.approx(8.0, abs=0.01)
            assert walls[0].length == pytest.approx(30, abs=5)
            assert walls[0].row == 5


@pytest.mark.parametrize("thick", [0.25, 0.3, 0.45])
def test_walls_of_about_one_cell(thick: float) -> None:
    """Between two slots, anywhere and in any direction, on a grid of 0.25 mm; its thickness within half a cell."""
    rng = np.random.default_rng(int(thick * 100))
    for angle in (0.0, math.pi / 2, math.pi / 4, *rng.uniform(0, math.pi, 5)):
        u = np.array([math.cos(angle), math.sin(angle)])
        n, middle = np.array([-u[1], u[0]]), np.array([50.0, 40.0]) + rng.uniform(-1, 1, 2)
        a, b = middle - 15 * u, middle + 15 * u
        path = Path(*a, 5).line(z=-8).line(*b).rapid(z=5).rapid(*(a + (6 + thick) * n)).line(z=-8)
        path.line(*(b + (6 + thick) * n))
        cuts = cut(path, setting_of(SIZE, FLAT), bounds=StockBounds(cell=0.25))
        walls = thin_walls(cuts, thinner_than=2.0, higher_than=2.0)
        assert 1 <= len(walls) <= 2  # where few rows meet it, it may fall apart
        assert sum(wall.length for wall in walls) == pytest.approx(30, abs=6)
        assert max(wall.thickness for wall in walls) == pytest.approx(thick, abs=0.125)


@pytest.mark.parametrize("step", [2.4, 4.1, 5.9, 6.0])
def test_edges_of_pockets_and_steps_are_no_walls(step: float) -> None:
    """A zigzag in any direction, wider and wider steps down, slots that just touch: nothing thin is left standing."""
    rng = np.random.default_rng(int(step * 10))
    for _ in range(6):
        turn = rng.uniform(0, 2 * math.pi)
        u = np.array([math.cos(turn), math.sin(turn)])
        n, corner = np.array([-u[1], u[0]]), np.array([50.0, 40.0]) + rng.uniform(-3, 3, 2)
        path = Path(*corner, 5)
        for z in (-3.0, -6.0, -9.0):
            path.rapid(z=5).rapid(*corner).line(z=z)
            for k in range(6):
                side = corner + step * k * n
                ends = (side + 15 * u, side - (5 + z / 3) * u)
                path.line(*ends[k % 2]).line(*(ends[k % 2] + (step * n if k < 5 else 0)))
        assert thin_walls(cut(path, setting_of(SIZE, FLAT)), thinner_than=2.0, higher_than=2.0) == ()


def test_thin_strip_at_the_edge_of_the_stock_is_a_wall() -> None:
    cuts = cut(Path(10, 4, 5).line(z=-8).line(x=90), setting_of(SIZE, FLAT))
    (wall,) = thin_walls(cuts, thinner_than=1.5, higher_than=3.0)
    assert wall.thickness == pytest.approx(1.0, abs=0.2)
    uncut = cut(Path(10, 4, 5).line(x=90), setting_of(SIZE, FLAT))
    assert thin_walls(uncut, thinner_than=1.5, higher_than=3.0) == ()


@pytest.mark.parametrize("about", ["about-x", "about-y"])
def test_turning_over_maps_cells_to_cells(about: str) -> None:
    """The first side is carried into the second: heights, sample points and what a second program then finds."""
    setting = setting_of(SIZE, FLAT)
    first = cut(Path(20, 15, 5).line(z=-7).line(x=60).line(y=50), setting)
    field = turned(first.field, about, SIZE[2])
    before, after = lattice_of(first.field.grid), lattice_of(field.grid)
    i, j = 37, 121
    gi, gj = (i, field.grid.ny - 1 - j) if about == "about-x" else (field.grid.nx - 1 - i, j)
    x, y = before.x[i] + before.shift_x[j], before.y[j] + before.shift_y[i]
    tx, ty = (x, SIZE[1] - y) if about == "about-x" else (SIZE[0] - x, y)
    assert (after.x[gi] + after.shift_x[gj], after.y[gj] + after.shift_y[gi]) == pytest.approx((tx, ty), abs=1e-9)
    assert field.bottom[gi, gj] == pytest.approx(SIZE[2] - first.field.top[i, j], abs=1e-5)
    assert (field.top == SIZE[2]).all()
    back = turned(turned(first.field, about, SIZE[2]), about, SIZE[2])
    assert np.allclose(back.top, first.field.top, atol=1e-5) and back.grid == first.field.grid
    # the second side meets the slot of the first from below: 11 mm of 18 are left under it
    slot_y = SIZE[1] - 15 if about == "about-x" else 15
    path = Path(50, slot_y, 5).line(z=-20)
    for form in ("numpy", "numba"):
        second = remove(placed_of(path, setting), setting, before=field, form=form)
        assert second.volume.sum() == pytest.approx(math.pi * 9 * 11, rel=0.01)
        assert second.depth.max() < 11 + 1e-4
    with pytest.raises(ValueError, match="about-x or about-y"):
        turned(first.field, "about-z", 18.0)


def test_the_room_round_each_cell_and_the_least_level_are_those_of_erosion() -> None:
    rng = np.random.default_rng(5)
    for _ in range(400):
        nx, ny = (int(v) for v in rng.integers(1, 30, 2))
        radius = float(rng.choice([rng.random() * 8, rng.integers(0, 17) / 2, rng.integers(0, 34) / 4]))
        if int(radius) >= nx:
            continue
        mask = rng.random((nx, ny)) < rng.choice([0.5, 0.9, 0.99, 1.0])
        room = rooms(side_reach(mask), np.arange(mask.size), radius + 3 * rng.random()).reshape(mask.shape)
        assert ((room >= radius) == eroded(mask, radius)).all()
        heights = rng.integers(0, 30, (nx, ny)).astype(np.float32)
        heights[rng.random((nx, ny)) < rng.choice([0.0, 0.02, 0.1])] = np.inf
        levels = [float(v) for v in np.unique(heights[np.isfinite(heights)]) if eroded(heights <= v, radius).any()]
        assert least_level(heights, radius) == (levels[0] if levels else np.inf)


def test_runs_of_walls_are_those_a_walk_along_each_row_finds() -> None:
    rng = np.random.default_rng(7)
    for _ in range(300):
        nx, ny = (int(v) for v in rng.integers(1, 16, 2))
        mask = rng.random((nx, ny)) < rng.choice([0.0, 0.3, 0.7, 1.0])
        heights = rng.integers(0, 6, (nx, ny)).astype(np.float32)
        for axis in (0, 1):
            expected = {}
            for row in range(ny if axis == 0 else nx):
                line = [(k, row) if axis == 0 else (row, k) for k in range(nx if axis == 0 else ny)]
                k = 0
                while k < len(line):
                    end = k
                    while end < len(line) and mask[line[end]]:
                        end += 1
                    if end > k:
                        before = k == 0 or heights[line[k - 1]] <= heights[line[k]] - 2
                        after = end == len(line) or heights[line[end]] <= heights[line[end - 1]] - 2
                        if before and after:
                            expected |= {i * ny + j: end - k for i, j in line[k:end]}
                    k = max(end, k + 1)
            cells, run = wall_runs(mask, heights, 2.0, axis)
            assert dict(zip(cells.tolist(), run.tolist(), strict=True)) == expected
