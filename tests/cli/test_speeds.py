"""``speeds`` and ``rate`` from the command line: keys of the contract, units, overriding flags, what they load."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from advisor import cli

SLOT = (
    "--cutter",
    "endmill-upcut-6mm-2f",
    "--material",
    "birch-plywood",
    "--machine",
    "ballscrew-router",
    "--depth",
    "18",
)
KEYS = {
    "schema", "inputs", "spindle_rpm", "cutting_speed_m_min", "chip_load_mm", "feed_mm_min", "plunge_feed_mm_min",
    "stepdown_mm", "passes_mm", "stepover_mm", "helix", "ramp_angle_deg", "first_cut", "max_chip_thickness_mm",
    "removal_rate_cm3_min", "force_n", "torque_nm", "power_w", "deflection_mm", "range", "limits", "limited_by",
    "warnings", "assumptions", "safety", "sources",
}  # fmt: skip


@pytest.fixture
def answer(capfd: pytest.CaptureFixture[str]) -> Any:
    """Runs a command with ``--output json``: exit status and the object."""

    def answer(*arguments: str) -> tuple[int, dict[str, Any]]:
        status = cli.main([*arguments, "--output", "json"])
        out, err = capfd.readouterr()
        assert err == ""
        return status, json.loads(out)

    return answer


def test_speeds_has_every_key_of_the_contract(answer: Any) -> None:
    status, made = answer("speeds", *SLOT)
    assert status == 0
    assert made["schema"] == "feedwright.speeds/1"
    assert set(made) >= KEYS
    assert sum(made["passes_mm"]) == pytest.approx(18.0)
    # v_c = pi D n / 1000: common practice, no source
    assert made["cutting_speed_m_min"] == pytest.approx(3.14159265 * 6 * made["spindle_rpm"] / 1000, rel=1e-6)
    assert made["first_cut"]["feed_mm_min"] <= made["feed_mm_min"]


def test_rate_has_its_own_keys_and_reads_units(answer: Any) -> None:
    metric = ("--rpm", "18000", "--feed", "1524", "--stepdown", "3.175")
    inches = ("--rpm", "18000 rev/min", "--feed", "60 in/min", "--stepdown", "1/8in")
    first, second = (answer("rate", *SLOT, *given)[1] for given in (metric, inches))
    assert set(first) >= {"mean_chip_thickness_mm", "engagement_deg", "peak_tooth_force_n", "teeth_in_cut", "verdict"}
    assert first["verdict"] in ("within", "near", "over")
    assert {k: v for k, v in first.items() if k != "steps"} == {k: v for k, v in second.items() if k != "steps"}
    # f_z = v_f / (n z): common practice, no source
    assert first["chip_load_mm"] == pytest.approx(1524 / (18000 * 2), abs=1e-6)
    _, by_surface = answer("rate", *SLOT, "--rpm", "300 m/min", "--feed", "1524", "--stepdown", "3")
    assert by_surface["cutting_speed_m_min"] == pytest.approx(300.0, abs=1e-4)


def test_a_specific_force_stands_in_for_a_material(answer: Any) -> None:
    _, made = answer(
        "rate", "--rpm", "6000", "--feed", "600", "--stepdown", "2", "--diameter", "10", "--flutes", "2",
        "--specific-force", "0.7 J/mm3",
    )  # fmt: skip
    # P = k_c Q / 60: 700 N/mm2 x (10 x 2 x 600 / 1000) cm3/min / 60 = 140 W; common practice, no source
    assert made["power_w"] == pytest.approx(140.0, rel=1e-4)


def test_flags_refine_the_entry_they_name(answer: Any) -> None:
    base = answer("speeds", *SLOT)[1]
    slower = answer("speeds", *SLOT, "--spindle-max", "12000", "--stiffness", "2 N/um")[1]
    assert slower["spindle_rpm"] <= 12000
    assert slower["removal_rate_cm3_min"] < base["removal_rate_cm3_min"]
    marked = answer("speeds", *SLOT, "--cutter-max-rpm", "16000 rpm")[1]
    assert marked["spindle_rpm"] <= 16000
    assert not any("top speed" in text and "known" in text for text in marked["warnings"])


def test_a_machine_only_flags_describe_is_told_as_assumed(answer: Any) -> None:
    _, made = answer(
        "speeds", "--diameter", "6", "--flutes", "2", "--material", "mdf", "--depth", "6", "--spindle-max", "18000"
    )
    assert "no machine is named" in made["assumptions"][0]
    assert "18000" not in made["assumptions"][0]
    assert not any("no machine is named" in text for text in answer("speeds", *SLOT)[1]["assumptions"])


def test_a_refusal_has_the_keys_and_exit_1(answer: Any) -> None:
    status, made = answer(
        "speeds", "--cutter", "drill-20mm", "--material", "mild-steel", "--machine", "belt-router", "--operation", "drill",
        "--depth", "20",
    )  # fmt: skip
    assert status == 1
    assert set(made) >= KEYS
    assert made["feed_mm_min"] is None
    assert made["refusal"]["reasons"]


def test_a_shop_file_stands_in_for_flags(answer: Any, tmp_path: Path) -> None:
    path = tmp_path / "feedwright.toml"
    path.write_text(
        '[machine]\nlike = "ballscrew-router"\n[[cutter]]\ntool = 3\nlike = "endmill-upcut-6mm-2f"\n'
        '[[material]]\nname = "club-plywood"\nlike = "birch-plywood"\n[stock]\nmaterial = "birch-plywood"\n'
    )
    by_flags = answer("speeds", *SLOT)[1]
    by_file = answer("speeds", "--config", str(path), "--tool", "3", "--depth", "18")[1]
    assert by_file["feed_mm_min"] == by_flags["feed_mm_min"]
    assert by_file["passes_mm"] == by_flags["passes_mm"]
    own = answer("speeds", "--config", str(path), "--material", "club-plywood", "--depth", "18")[1]
    assert own["feed_mm_min"] == by_flags["feed_mm_min"]
    assert cli.main(["speeds", "--config", str(path), "--tool", "4"]) == 2
    path.write_text("[machin]\n")
    assert cli.main(["speeds", "--config", str(path), "--tool", "4"]) == 2


def test_the_page_and_the_picture(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    picture = tmp_path / "window.svg"
    assert cli.main(["speeds", *SLOT, "--plot", str(picture)]) == 0
    out, err = capfd.readouterr()
    assert err == ""
    assert out.index("ASSUMED") < out.index("Spindle") < out.index("CAUTION")
    assert picture.read_bytes().lstrip().startswith(b"<?xml")
    assert cli.main(["speeds", *SLOT, "--plot", str(tmp_path / "window.doc")]) == 2
    assert "ends neither in .svg nor in .png" in capfd.readouterr().err


def test_bare_numbers_load_no_heavy_package() -> None:
    arguments = [
        "speeds",
        "--diameter",
        "6",
        "--flutes",
        "2",
        "--material",
        "birch-plywood",
        "--machine",
        "belt-router",
    ]
    heavy = {"numpy", "pint", "numba", "lark", "rich", "matplotlib", "tomllib", "advisor.shopfile", "advisor.setting"}
    code = (
        f"import sys\nfrom advisor.cli import main\nstatus = main({[*arguments, '--depth', '6']!r})\n"
        f"sys.stderr.write(','.join(sorted({heavy!r} & set(sys.modules))))\nsys.exit(status)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stderr == ""
    assert "SET THIS" in done.stdout
