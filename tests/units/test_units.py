"""Quantities with units: the literal table equals pint, and what can't be read is told so that it can be mended."""

from __future__ import annotations

import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import units
from advisor.units import KINDS, TABLE, UnitError, WrongUse, lengths, one_of, option, quantity, spindle

# spellings of the table -> pint's own (pint 0.25 default registry, after NIST SP 811 and the SI brochure)
IN_PINT = {
    "sfm": "foot / minute",
    '"': "inch",
    "1/min": "revolution / minute",
    "rpm": "revolution / minute",
    "rev/min": "revolution / minute",
    "rev/s": "revolution / second",
    "°": "degree",
    "um": "micrometer",
    "N/um": "newton / micrometer",
    "J/mm3": "joule / millimeter ** 3",
    "J/mm³": "joule / millimeter ** 3",
    "J/cm3": "joule / centimeter ** 3",
    "N/mm2": "newton / millimeter ** 2",
    "N/mm²": "newton / millimeter ** 2",
    "mm/s2": "millimeter / second ** 2",
    "mm/s²": "millimeter / second ** 2",
    "m/s2": "meter / second ** 2",
    "m/s²": "meter / second ** 2",
    "kg/m3": "kilogram / meter ** 3",
    "kg/m³": "kilogram / meter ** 3",
    "g/cm3": "gram / centimeter ** 3",
    "hp": "horsepower",
    "%": "percent",
}


@pytest.fixture(scope="module")
def ureg() -> pint.UnitRegistry:
    return pint.UnitRegistry()


@pytest.mark.parametrize("spelling", sorted(TABLE))
def test_the_table_equals_pint(spelling: str, ureg: pint.UnitRegistry) -> None:
    dimension, _ = TABLE[spelling]
    kind = "feed" if dimension == "velocity" else dimension
    theirs = ureg.Quantity(3.0, IN_PINT.get(spelling, spelling)).to(KINDS[kind].pint_unit).magnitude
    assert quantity(f"3 {spelling}", kind) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_example_of_every_kind_can_be_read(kind: str) -> None:
    assert quantity(KINDS[kind].example, kind) == pytest.approx(float(KINDS[kind].example.split()[0]), rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("6mm", "length", 6.0),
        ("1/4in", "length", 6.35),
        ("1 1/2 in", "length", 38.1),
        ("1-1/2 in", "length", 38.1),
        ("-1/4in", "length", -6.35),
        ("0.25 in", "length", 6.35),
        ('3/4"', "length", 19.05),
        (".5", "length", 0.5),
        ("-3", "length", -3.0),
        ("+3 mm", "length", 3.0),
        ("6 MM", "length", 6.0),
        ("1e-1 mm", "length", 0.1),
        (6, "length", 6.0),
        (6.5, "length", 6.5),
        ("18000rpm", "speed", 18000.0),
        ("18000 RPM", "speed", 18000.0),
        ("300 rev / min", "speed", 300.0),
        ("300 m/min", "cutting-speed", 300.0),
        ("600 sfm", "cutting-speed", 182.88),
        ("300 m/min", "feed", 300000.0),
        ("60 in/min", "feed", 1524.0),
        ("2 kW", "power", 2000.0),
        ("50 %", "share", 0.5),
        ("2 J/mm3", "specific-force", 2000.0),
        # not in the table: read by pint
        ("3 furlong", "length", 603504.0),
        ("5 lbf/in", "stiffness", 0.00087563),
        ("100 kgf/mm^2", "specific-force", 980.665),
        ("2 turn/s", "speed", 120.0),
    ],
)
def test_reads(text: object, kind: str, value: float) -> None:
    assert quantity(text, kind) == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("30 kg", "length", '"30 kg" is a mass; a length is wanted, for example "30 mm"'),
        ("30 m/min", "length", "is a feed or cutting speed; a length is wanted"),
        ("3 deg", "length", "is an angle; a length is wanted"),
        ("400 Hz", "speed", "is a frequency; a spindle speed is wanted"),
        ("20 degC", "length", "is a temperature; a length is wanted"),
        ("3 mm2", "length", "is an area; a length is wanted"),
        ("6,35 mm", "length", "comma"),
        ("6 mn", "length", 'not a known unit; a length is wanted, for example "30 mm"'),
        ("six", "length", "does not begin with a number"),
        ("", "length", "nothing is given"),
        ("   ", "length", "nothing is given"),
        ("1/0 in", "length", "is wanted"),
        ("nan", "length", "is wanted"),
        (math.nan, "length", "is not a finite number"),
        (math.inf, "length", "is not a finite number"),
        (-math.inf, "length", "is not a finite number"),
        ("1e999 mm", "length", "is not a finite number"),
        (10**400, "length", "is not a finite number"),
        (True, "length", "yes-or-no"),
        (None, "length", "nothing"),
        ([1], "length", "a list"),
        ({"a": 1}, "length", "a table"),
        ("9**9**9**9 mm", "length", "is not a unit"),
        ("1 mm**99999999", "length", "is not a unit"),
        ("1 __import__('os')", "length", "is not a unit"),
        ("1 \x1b[31m", "length", "is not a unit"),
        ("6 mm 7 mm", "length", "wanted"),
    ],
)
def test_refuses_and_teaches(text: object, kind: str, said: str) -> None:
    with pytest.raises(UnitError) as caught:
        quantity(text, kind, key="--depth")
    message = str(caught.value)
    assert message.startswith("--depth: ")
    assert said in message
    assert "\x1b" not in message


def test_bounds_name_the_limit() -> None:
    with pytest.raises(UnitError, match='--depth: "0 mm" is not above zero'):
        quantity("0 mm", "length", key="--depth", positive=True)
    with pytest.raises(UnitError, match="is below 0 mm"):
        quantity("-1 in", "length", key="k", least=0.0)
    with pytest.raises(UnitError, match="is above 90 deg"):
        quantity("91", "angle", key="k", greatest=90.0)
    assert quantity("90", "angle", key="k", greatest=90.0) == 90.0


def test_a_near_unit_is_named_within_its_kind() -> None:
    with pytest.raises(UnitError, match='Did you mean "rpm"'):
        quantity("300 rmp", "speed")


@given(st.floats(-1e6, 1e6), st.sampled_from(["mm", "cm", "m", "in", "ft"]))
def test_a_length_survives_writing_and_reading(value: float, unit: str) -> None:
    factor = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}[unit]
    assert quantity(f"{value!r} {unit}", "length") == pytest.approx(value * factor, rel=1e-12, abs=1e-11)


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        assert math.isfinite(quantity(text, "length", key="k"))
    except UnitError as error:
        assert str(error).startswith("k: ")


def test_lengths_share_the_last_unit() -> None:
    assert lengths("300x200x18", key="--stock", count=3, separators="xX") == (300.0, 200.0, 18.0)
    assert lengths("12x8x0.75in", key="--stock", count=3, separators="xX") == pytest.approx((304.8, 203.2, 19.05))
    assert lengths("-3,0,1/4in", key="--zero", count=3) == pytest.approx((-76.2, 0.0, 6.35))
    with pytest.raises(UnitError, match="has 2 values; 3 lengths are wanted"):
        lengths("300x200", key="--stock", count=3, separators="xX")
    with pytest.raises(UnitError, match="not above zero"):
        lengths("300x0x18", key="--stock", count=3, separators="xX", positive=True)


def test_a_cutting_speed_becomes_a_spindle_speed() -> None:
    # n = 1000 v_c / (pi D): common practice, no source
    assert spindle("300 m/min", 6.0, key="--rpm") == pytest.approx(15915.494, rel=1e-6)
    assert spindle("18000", 6.0, key="--rpm") == 18000.0
    with pytest.raises(UnitError, match="diameter"):
        spindle("300 m/min", None, key="--rpm")


def test_options_take_the_unit_of_their_rule() -> None:
    assert option("1/4 in", "mm", key="least") == 6.35
    assert option("20 %", "", key="least") == 0.2
    assert option("2 s", "", key="settle") == 2.0
    with pytest.raises(UnitError, match="a length is wanted"):
        option("2 s", "mm", key="least")


def test_one_of_names_the_nearest() -> None:
    assert one_of(None, "--form", ("flat", "ball")) is None
    with pytest.raises(WrongUse, match='--form: "bal" is not one of flat, ball; did you mean "ball"'):
        one_of("bal", "--form", ("flat", "ball"))


def test_common_units_do_not_load_pint() -> None:
    code = (
        "import sys; from advisor.units import quantity, lengths\n"
        "quantity('1/4in', 'length'); quantity('600 sfm', 'cutting-speed'); lengths('3x2x1in', key='', count=3, "
        "separators='x')\nassert 'pint' not in sys.modules and 'numpy' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_there_is_one_registry() -> None:
    assert units.registry() is units.registry()
