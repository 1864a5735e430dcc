"""Worked examples of published books, asked as settings and read back from the dictionary that becomes JSON.

Each row names its source. Tolerance follows the printed digits; without printed digits 0.05 %.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.engine.shop import plain, rated

INCH = 25.4
SIDE = "side"
ALTINTAS = "geometry of the circular-path approximation; from memory: Altintas, Manufacturing Automation"

EXAMPLES: list[tuple[str, dict[str, Any], dict[str, float], float]] = [
    (
        "from memory: Kalpakjian & Schmid, Manufacturing Engineering and Technology, example 24.1 (slab milling)",
        {"cutter": plain(50, 20), "operation": SIDE, "rpm": 100, "feed": 500, "stepdown": 100, "stepover": 3.0,
         "specific_force": 3000.0},
        {"chip_load_mm": 0.25, "removal_rate_cm3_min": 150.0, "power_w": 7500.0, "torque_nm": 716.0},
        0.0005,
    ),
    (
        "from memory: Kalpakjian & Schmid, example 23.4 (drilling magnesium)",
        {"cutter": plain(10, 2, form="drill"), "operation": "drill", "rpm": 800, "feed": 160, "specific_force": 500.0},
        {"removal_rate_cm3_min": 12.57, "power_w": 105.0, "torque_nm": 1.25, "thrust_n": 0.6 * 500 * 0.2 * 5 * 0.857167},
        0.004,
    ),
    (
        "from memory: Groover, Fundamentals of Modern Manufacturing (drill 12.7 mm, 25 m/min, 0.30 mm/rev)",
        {"cutter": plain(12.7, 2, form="drill"), "operation": "drill", "rpm": 626.6, "feed": 188.0, "depth": 60.0,
         "specific_force": 1000.0},
        {"cutting_speed_m_min": 25.0, "removal_rate_cm3_min": 23.8, "chip_load_mm": 0.15},
        0.002,
    ),
    (
        "Kienzle drill, C45 k_c1.1 2220 and m_c 0.14 (from memory: Tschaetsch), k_c 3131.3 at h 0.08572: M 7.828 N m",
        {"cutter": plain(10, 2, form="drill", tip_angle=118.0), "operation": "drill", "rpm": 600, "feed": 120,
         "specific_force": 3131.3},
        {"max_chip_thickness_mm": 0.08572, "torque_nm": 7.828, "power_w": 491.9},
        0.0005,
    ),
    (
        "textbook problem of the Groover kind (peripheral milling, D 60, 5 teeth, d 9)",
        {"cutter": plain(60, 5), "operation": SIDE, "rpm": 291.78, "feed": 437.68, "stepdown": 50.0, "stepover": 9.0,
         "specific_force": 1000.0},
        {"cutting_speed_m_min": 55.0, "chip_load_mm": 0.30, "removal_rate_cm3_min": 196.954},
        0.0005,
    ),
    (
        "textbook problem of the Groover kind, in inches (slab, D 3.5 in, 10 teeth, 125 ft/min, 0.008 in)",
        {"cutter": plain(3.5 * INCH, 10), "operation": SIDE, "rpm": 136.42, "feed": 10.913 * INCH,
         "stepdown": 2.5 * INCH, "stepover": 0.3 * INCH, "specific_force": 1000.0},
        {"cutting_speed_m_min": 125 * 0.3048, "chip_load_mm": 0.008 * INCH, "removal_rate_cm3_min": 8.185 * 16.387064},
        0.0005,
    ),
    (
        "textbook problem (face milling a 3.9 in bar, D 4 in, 4 teeth, 0.006 in, d 0.32 in)",
        {"cutter": plain(4 * INCH, 4), "operation": "face", "rpm": 358.1, "feed": 8.594 * INCH, "stepdown": 0.32 * INCH,
         "stepover": 3.9 * INCH, "specific_force": 1000.0},
        {"removal_rate_cm3_min": 10.726 * 16.387064, "chip_load_mm": 0.006 * INCH,
         "engagement_deg": math.degrees(2 * math.asin(3.9 / 4))},
        0.0005,
    ),
    (
        "Ghosh & Mallik, Manufacturing Science, problem 4.16, exact circular form (h_max 0.08315, mean 0.04255)",
        {"cutter": plain(75, 10), "operation": SIDE, "rpm": 60, "feed": 100, "stepdown": 20.0, "stepover": 5.0,
         "specific_force": 4929.0},
        {"max_chip_thickness_mm": 0.08315, "mean_chip_thickness_mm": 0.04255, "power_w": 821.5},
        0.0005,
    ),
    (
        "Carvill, Mechanical Engineer's Data Handbook, mild steel 2.7 W s/mm3 (w 10, d 2, feed 300: 270 W)",
        {"cutter": plain(20, 4), "operation": SIDE, "rpm": 500, "feed": 300, "stepdown": 10.0, "stepover": 2.0,
         "specific_force": 2700.0},
        {"power_w": 270.0, "removal_rate_cm3_min": 6.0},
        0.0005,
    ),
    (
        ALTINTAS + "; side milling aluminium D 10, z 3, a_p 10, a_e 2, f_z 0.05, n 12000, k_c 2005.9",
        {"cutter": plain(10, 3), "operation": SIDE, "rpm": 12000, "feed": 1800, "stepdown": 10.0, "stepover": 2.0,
         "specific_force": 2005.9},
        {"engagement_deg": 53.130, "max_chip_thickness_mm": 0.0400, "mean_chip_thickness_mm": 0.021568,
         "removal_rate_cm3_min": 36.0, "power_w": 1203.5, "cutting_speed_m_min": 376.99, "force_n": 432.63,
         "teeth_in_cut": 0.44275, "torque_nm": 0.9577, "peak_tooth_force_n": 2005.9 * 0.04 * 10},
        0.0001,
    ),
    (
        ALTINTAS + "; full slot: mean chip 2/pi of the feed per tooth",
        {"cutter": plain(6, 2), "operation": "slot", "rpm": 18000, "feed": 3600, "stepdown": 6.0, "specific_force": 40.0},
        {"engagement_deg": 180.0, "max_chip_thickness_mm": 0.1, "mean_chip_thickness_mm": 0.2 / math.pi,
         "teeth_in_cut": 1.0, "power_w": 40 * 6 * 6 * 3600 / 60000},
        0.0001,
    ),
    (
        "geometry: ball D 6 at a_p 0.5: D_eff 3.3166, edge angle 33.557 deg, greatest chip 0.55277 f_z",
        {"cutter": plain(6, 2, form="ball"), "operation": "slot", "rpm": 10000, "feed": 2000, "stepdown": 0.5},
        {"effective_diameter_mm": 3.3166, "max_chip_thickness_mm": 0.055277,
         "mean_chip_thickness_mm": 0.028457 * 2 / math.pi, "cutting_speed_m_min": math.pi * 33.166},
        0.0001,
    ),
    (
        "geometry: corner radius 1, D 10, a_p 0.3: D_eff 9.4283",
        {"cutter": plain(10, 4, form="corner", corner_radius=1.0), "operation": "slot", "rpm": 5000, "feed": 1000,
         "stepdown": 0.3},
        {"effective_diameter_mm": 9.4283},
        0.0001,
    ),
    (
        "geometry: V 90 deg, a_p 2: D_eff 4.000",
        {"cutter": plain(12, 2, form="vee", tip_angle=90.0), "operation": "engrave", "rpm": 18000, "feed": 2000,
         "stepdown": 2.0},
        {"effective_diameter_mm": 4.0, "stepover_mm": 4.0},
        0.0001,
    ),
    (
        "geometry: V 60 deg with a flat of 0.2, a_p 1.5: D_eff 1.9321",
        {"cutter": plain(6, 2, form="vee", tip_angle=60.0, tip_diameter=0.2), "operation": "engrave", "rpm": 18000,
         "feed": 2000, "stepdown": 1.5},
        {"effective_diameter_mm": 1.9321},
        0.0001,
    ),
    (
        "from memory: Machinery's Handbook, rpm example: 575 ft/min on 4 in is 549 rev/min",
        {"cutter": plain(4 * INCH, 4), "operation": SIDE, "rpm": 549, "feed": 500, "stepdown": 5.0, "stepover": 5.0},
        {"cutting_speed_m_min": 575 * 0.3048},
        0.0005,
    ),
]  # fmt: skip


@pytest.mark.parametrize(("source", "given", "expected", "tolerance"), EXAMPLES, ids=[e[0][:60] for e in EXAMPLES])
def test_worked_example(source: str, given: dict[str, Any], expected: dict[str, float], tolerance: float) -> None:
    answer = rated(**given).to_dict()
    for key, value in expected.items():
        assert answer[key] == pytest.approx(value, rel=tolerance), (source, key)


@pytest.mark.parametrize(
    ("ratio", "greatest", "mean"),
    [
        (0.05, 0.43589, 0.22172), (0.1, 0.6, 0.31080), (0.2, 0.8, 0.43136), (0.25, 0.86603, 0.47746),
        (0.3, 0.91652, 0.51756), (0.4, 0.97980, 0.58418), (0.5, 1.0, 0.63662),
    ],
)  # fmt: skip
def test_chip_thinning(ratio: float, greatest: float, mean: float) -> None:
    """Radial thinning of a one-sided cut (geometry; the same in Altintas and Machinery's Handbook, from memory)."""
    answer = rated(plain(10, 2), SIDE, rpm=10000, feed=2000, stepdown=5.0, stepover=10 * ratio, specific_force=700.0).to_dict()
    assert answer["max_chip_thickness_mm"] / 0.1 == pytest.approx(greatest, abs=6e-6)
    assert answer["mean_chip_thickness_mm"] / 0.1 == pytest.approx(mean, abs=2e-5)


def test_arc_inside_a_bore() -> None:
    """Geometry: 3000 mm/min at the wall of a 50 mm bore is 2280 at the centre of a 12 mm cutter; the chip follows the
    centre."""
    answer = rated(plain(12, 2), "bore", rpm=18000, feed=2280, stepdown=1.0, bore_diameter=50.0, specific_force=40.0).to_dict()
    assert answer["helix"]["wall_feed_mm_min"] == pytest.approx(3000.0)
    assert answer["helix"]["path_diameter_mm"] == 38.0
    assert answer["max_chip_thickness_mm"] == pytest.approx(2280 / 36000, abs=1e-6)


def test_helix_of_a_small_bore() -> None:
    """Geometry: bore 10.2, cutter 6, pitch 0.6: path 4.2, 2.604 deg at the centre, 1.073 at the wall."""
    given = {"rpm": 18000, "feed": 2400, "bore_diameter": 10.2, "material": "birch-plywood"}
    helix = rated(plain(6, 2), "bore", stepdown=0.6, **given).to_dict()["helix"]
    assert helix["path_diameter_mm"] == pytest.approx(4.2)
    assert helix["angle_deg"] == pytest.approx(math.degrees(math.atan(0.6 / (math.pi * 4.2))), abs=1e-6)
    assert helix["wall_angle_deg"] == pytest.approx(math.degrees(math.atan(0.6 / (math.pi * 10.2))), abs=1e-6)
    back = rated(plain(6, 2), "bore", helix_angle=helix["angle_deg"], **given).to_dict()["helix"]
    assert back["pitch_mm"] == pytest.approx(0.6, abs=1e-6)


def test_wall_feed_correction_thins_the_chip_of_a_bore() -> None:
    """Computed: a feed of 0.10 mm a tooth at the wall of a 10.2 mm bore makes chips of only 0.041 mm."""
    centre = 3600 * 4.2 / 10.2
    answer = rated(plain(6, 2), "bore", rpm=18000, feed=centre, stepdown=0.6, bore_diameter=10.2).to_dict()
    assert answer["max_chip_thickness_mm"] == pytest.approx(0.041, abs=0.0005)


def test_power_is_force_times_speed() -> None:
    """Identity: P = F_c * z_e * v_c / 60 (W, N, m/min) for every operation with a flat cutter."""
    for operation, more in (("slot", {}), ("side", {"stepover": 1.5}), ("face", {"stepover": 4.0})):
        answer = rated(
            plain(6, 3), operation, rpm=15000, feed=2500, stepdown=2.0, material="aluminium-wrought", **more
        ).to_dict()
        force = answer["force_n"] * answer["teeth_in_cut"] * answer["cutting_speed_m_min"] / 60
        assert answer["power_w"] == pytest.approx(force, rel=1e-4), operation
        assert answer["torque_nm"] == pytest.approx(9549.296586 * answer["power_w"] / 1000 / 15000, rel=1e-4)


def test_spindle_of_constant_torque() -> None:
    """From memory: motor texts. 2.2 kW at 24000 rev/min is 917 W at 10000; 0.8 x 0.85 of it may be used."""
    from advisor.values import Machine

    answer = rated(
        plain(6, 2), "slot", rpm=10000, feed=1000, stepdown=3.0, material="birch-plywood",
        machine=Machine("", spindle_power=2200.0, spindle_max=24000.0),
    )  # fmt: skip
    power = next(u for u in answer.limits if u.name == "spindle-power")
    assert power.limit == pytest.approx(0.8 * 0.85 * 917, rel=0.0005)
