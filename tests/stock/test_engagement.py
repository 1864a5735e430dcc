"""Width, angles, side and depth of each piece against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from advisor.stock import StockBounds
from advisor.values import Cutter
from tests.stock.build import Path, cut, setting_of

SIZE = (60.0, 60.0, 12.0)
DIAMETERS = (3.0, 3.175, 6.0, 6.35)


@pytest.mark.parametrize("diameter", DIAMETERS)
@pytest.mark.parametrize("cells", [24, 48])
def test_engagement_angle_of_side_cuts(diameter: float, cells: int) -> None:
    """cos(angle) = 1 - 2 a_e / D (closed form), within 5 degrees for widths above 5 % of D and two cells."""
    rng = np.random.default_rng([int(diameter * 1000), cells])
    radius = diameter / 2
    setting = setting_of(SIZE, Cutter("flat", diameter=diameter))
    for _ in range(15):
        angle = float(rng.choice([0.0, 90.0, 45.0, -45.0, 30.0, rng.uniform(0, 360)]))
        u = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
        a = 30 + rng.uniform(-1, 1, 2) - 9 * u
        b = a + 18 * u
        side = int(rng.choice([-1, 1]))
        width = rng.uniform(max(0.05, 2 / cells), 0.95) * diameter
        shift = np.array([-u[1], u[0]]) * width * side
        path = Path(*a, 5).line(z=-2).line(*b).rapid(z=5).rapid(*(a + shift)).line(z=-2).line(*(b + shift))
        cuts = cut(path, setting, bounds=StockBounds(cell=diameter / cells))
        inner = np.flatnonzero(cuts.row == 5)[1:-1]
        engaged = math.degrees(math.acos(1 - width / radius))
        want = (90 - engaged, 90.0) if side > 0 else (-90.0, engaged - 90)
        first, second = cuts.angles()
        assert np.abs(first[inner] - want[0]).max() < 5
        assert np.abs(second[inner] - want[1]).max() < 5
        assert (cuts.side()[inner] == side).all()
        # a clockwise spindle climbs with the material on the right of travel (ISO 3002 names; common practice, no source)
        assert (cuts.climb()[inner] == -side).all()
        assert cuts.width[inner] == pytest.approx(width, abs=0.5 * diameter / cells + 0.02 * diameter)


@pytest.mark.parametrize("diameter", DIAMETERS)
def test_slot_is_engaged_all_over_the_front(diameter: float) -> None:
    setting = setting_of(SIZE, Cutter("flat", diameter=diameter))
    cuts = cut(Path(10.2, 11.7, 5).line(z=-1.5).line(45, 39), setting)
    inner = np.flatnonzero(cuts.row == 1)[:-1]
    first, second = cuts.angles()
    assert first[inner] == pytest.approx(-90, abs=0.01)
    assert second[inner] == pytest.approx(90, abs=0.01)
    assert cuts.width[inner] == pytest.approx(diameter, rel=0.02)
    assert (cuts.side()[inner] == 0).all() and (cuts.climb()[inner] == 0).all()
    assert cuts.depth[inner] == pytest.approx(1.5, abs=1e-5)


def test_arcs_are_engaged_as_their_radius_says() -> None:
    """Widening a bore of radius q by an arc of radius a: the engaged arc ends where the cutter leaves the old wall.

    Law of cosines at the cutter's centre: q^2 = a^2 + R^2 + 2 a R cos(psi), psi from the outward radius.
    """
    radius, arc, bore = 3.0, 6.0, 8.0
    setting = setting_of(SIZE, Cutter("flat", diameter=2 * radius))
    path = Path(30 + bore - radius, 30, 5).line(z=-3).arc(30, 30, 360).line(30 + arc, 30).arc(30, 30, 360)
    cuts = cut(path, setting)
    inner = np.flatnonzero(cuts.row == 3)[2:-2]
    psi = math.degrees(math.acos((bore**2 - arc**2 - radius**2) / (2 * arc * radius)))
    first, second = cuts.angles()
    # counterclockwise inside a bore: the material is outward, right of travel
    assert first[inner] == pytest.approx(-90, abs=0.01)
    assert np.abs(second[inner] - (psi - 90)).max() < 5
    assert (cuts.side()[inner] == -1).all()


def test_a_rib_in_the_middle_is_not_a_light_side_cut() -> None:
    """A rib of 1 mm left between two slots is met head-on, not at a side."""
    setting = setting_of(SIZE, Cutter("flat", diameter=6.0))
    path = Path(10, 20, 5).line(z=-2).line(x=50).rapid(z=5).rapid(10, 27).line(z=-2).line(x=50).rapid(z=5)
    path.rapid(12, 23.5).line(z=-2).line(x=48)
    cuts = cut(path, setting)
    inner = np.flatnonzero(cuts.row == 9)[1:-1]
    first, second = cuts.angles()
    reach = math.degrees(math.asin(0.5 / 3))
    assert first[inner] == pytest.approx(-reach, abs=2)
    assert second[inner] == pytest.approx(reach, abs=2)
    assert cuts.width[inner] == pytest.approx(1.0, abs=0.1)
    assert (cuts.side()[inner] == 0).all()


def test_both_edges_without_the_middle_span_the_whole_front() -> None:
    """A finishing pass that widens a slot on both sides is engaged at both ends of the front."""
    setting = setting_of(SIZE, Cutter("small", diameter=4.0), Cutter("large", diameter=6.0))
    path = Path(10, 20, 5).line(z=-2).line(x=50).rapid(z=5).tool(2).rapid(10, 20).line(z=-2).line(x=50)
    cuts = cut(path, setting)
    inner = np.flatnonzero(cuts.row == 5)[1:-1]
    first, second = cuts.angles()
    assert first[inner] == pytest.approx(-90, abs=0.01)
    assert second[inner] == pytest.approx(90, abs=0.01)
    assert cuts.width[inner] == pytest.approx(2.0, abs=0.2)


def test_plunge_ramp_and_core() -> None:
    """Height removed under the axis by going down: all of it in a plunge, the descent in a ramp, none in a level slot."""
    setting = setting_of(SIZE, Cutter("flat", diameter=6.0))
    path = Path(10, 10, 0).line(z=-4).line(x=40).line(x=20, z=-6).line(x=50)
    cuts = cut(path, setting)
    core = [float(cuts.core[cuts.of_move(k)].sum()) for k in range(4)]
    assert core == pytest.approx([4.0, 0.0, 2.0, 0.0], abs=1e-4)
    assert cuts.descent[cuts.of_move(2)].sum() == pytest.approx(2.0, abs=1e-4)
    assert np.isnan(cuts.width[cuts.of_move(0)]).all()


def test_a_plunge_into_an_opened_hole_cuts_no_core() -> None:
    setting = setting_of(SIZE, Cutter("drill", form="drill", diameter=4.0), Cutter("flat", diameter=6.0))
    path = Path(10, 10, 5).line(z=-11).rapid(z=5).tool(2).rapid(10, 10).line(z=-5)
    cuts = cut(path, setting)
    assert cuts.core[cuts.of_move(3)].max() == 0
    assert cuts.volume[cuts.of_move(3)].sum() == pytest.approx(math.pi * (9 - 4) * 5, rel=0.02)


def test_short_moves_are_averaged() -> None:
    """The width of half-millimetre moves is that of the long move they make together."""
    setting = setting_of(SIZE, Cutter("flat", diameter=6.0))
    path = Path(8, 20, 5).line(z=-2).line(x=52).rapid(z=5).rapid(8, 21.5).line(z=-2)
    for k in range(80):
        path.line(x=8.5 + 0.5 * k)
    cuts = cut(path, setting, bounds=StockBounds(cell=0.25))
    inner = np.flatnonzero(cuts.row >= 5)[8:-8]
    assert cuts.width[inner] == pytest.approx(1.5, abs=0.15)


def test_ball_cutter_angles_use_the_radius_at_the_surface() -> None:
    setting = setting_of(SIZE, Cutter("ball", form="ball", diameter=6.0))
    cuts = cut(Path(10, 20, 5).line(z=-1).line(x=50), setting)
    inner = np.flatnonzero(cuts.row == 1)[1:-1]
    reach = math.sqrt(9 - 4)  # where the ball passes the surface 1 mm above its tip
    assert cuts.high[inner] == pytest.approx(reach, abs=0.06)
    assert cuts.width[inner] == pytest.approx(2 * reach, abs=0.1)
    first, second = cuts.angles()
    assert first[inner] == pytest.approx(-90, abs=0.01)
    assert second[inner] == pytest.approx(90, abs=0.01)
