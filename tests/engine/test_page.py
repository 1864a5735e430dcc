"""The page, the picture, the steps and the import budget."""

from __future__ import annotations

import re
import struct
import subprocess
import sys
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from advisor import catalogue
from advisor.advice import Advice, Request
from advisor.plot import draw, window
from advisor.rate import rate
from advisor.recommend import recommend
from advisor.report.advice_text import depth_words, number, render
from tests.engine.shop import advise, ask, plain, refuse

SLOT = ("endmill-upcut-6mm-2f", "birch-plywood", "ballscrew-router", "slot", 21.0)
CUTS = [
    SLOT,
    ("endmill-metal-10mm-4f", "mild-steel", "knee-mill", "side", 10.0),
    ("endmill-upcut-6mm-2f", "birch-plywood", "screw-router", "bore", 12.0),
    ("endmill-upcut-6mm-2f", "acrylic", "belt-router", "pocket", 3.0),
    ("drill-5mm", "aluminium-wrought", "benchtop-mill", "drill", 12.0),
    ("vee-60deg-12mm-2f", "softwood", "screw-router", "engrave", 2.0),
    ("ballnose-6mm-2f", "softwood", "ballscrew-router", "face", 2.0),
]


def test_the_page_follows_the_order_of_a_tired_operator() -> None:
    page = render(advise(*SLOT), width=90)
    order = ["Cutter", "Material", "Machine", "ASSUMED", "SET THIS", "3 x 7.0 mm", "ENTRY", "WHAT LIMITS IT",
             "DO NOT FORGET", "HOW THESE NUMBERS CAME ABOUT", "CAUTION", "SOURCES"]  # fmt: skip
    places = [page.index(word) for word in order]
    assert places == sorted(places)


@pytest.mark.parametrize("cut", CUTS, ids=[c[0] + " " + c[3] for c in CUTS])
@pytest.mark.parametrize("width", [60, 80, 140])
def test_lines_fit_and_can_be_plain_ascii(cut: tuple[str, str, str, str, float], width: int) -> None:
    page = render(advise(*cut), width=width, plain_ascii=True)
    assert page.isascii() and page.endswith("\n")
    assert max(len(line) for line in page.splitlines()) <= width
    assert "\x1b" not in page
    assert "\x1b[" in render(advise(*cut), width=width, colour=True)


@pytest.mark.parametrize("cut", CUTS, ids=[c[0] + " " + c[3] for c in CUTS])
def test_the_page_never_says_all_is_well(cut: tuple[str, str, str, str, float]) -> None:
    advice = advise(*cut)
    own = replace(advice, safety=())  # hazards of materials speak of fine dust
    assert not re.search(r"\b(ok|safe|fine)\b", render(own, width=100), re.IGNORECASE)
    rating = rate(replace(advice.request, stepover=advice.stepover if cut[3] == "side" else None),
                  rpm=advice.spindle_rpm, feed=advice.feed, stepdown=advice.stepdown)  # fmt: skip
    assert not re.search(r"\b(ok|safe|fine)\b", render(replace(rating, safety=()), width=100), re.IGNORECASE)


@pytest.mark.parametrize("cut", CUTS, ids=[c[0] + " " + c[3] for c in CUTS])
def test_every_number_can_be_retraced(cut: tuple[str, str, str, str, float]) -> None:
    advice = advise(*cut)
    steps = {step.name: step for step in advice.steps()}
    assert all(step.source and step.formula and step.unit for step in steps.values())
    made = advice.to_dict()
    shown = {round(step.result, 6) for step in steps.values()}
    for key in ("cutting_speed_m_min", "removal_rate_cm3_min", "power_w", "torque_nm"):
        assert made[key] in shown, key
    if cut[3] != "drill":
        assert {made["chip_load_mm"], made["force_n"], made["deflection_mm"], made["max_chip_thickness_mm"]} <= shown


def test_the_steps_can_be_worked_out_by_hand() -> None:
    """The formulas printed for cutting speed and power really give the result printed."""
    steps = {step.name: step for step in advise(*SLOT).steps()}
    for name in ("cutting speed", "torque", "cutting power", "power allowed"):
        shown = steps[name].formula.split(" = ")[-1].replace("^", "**").replace("2 pi", "2 * 3.141592653589793")
        result = eval(shown.replace("pi", "3.141592653589793"))  # the text is ours, digits and operators only
        assert result == pytest.approx(steps[name].result, rel=1e-3), name


def test_a_refusal_says_so_first() -> None:
    page = render(refuse("drill-12mm", "mild-steel", "screw-router", "drill", 12.0))
    assert page.startswith("NOT ADVISED")
    assert "too fast" in page and "CAUTION" in page


def test_a_rating_says_what_is_over_and_what_was_not_judged() -> None:
    over = render(rate(ask(*SLOT), rpm=18000, feed=12000, stepdown=7.0))
    assert over.startswith("OVER A LIMIT")
    bare = render(rate(Request(plain(6, 2), None, None, "slot"), rpm=18000, feed=3600, stepdown=3.0))
    assert bare.splitlines()[0].endswith("NOT JUDGED: 3")


def test_a_rating_writes_large_numbers_out() -> None:
    advice = advise(*SLOT)
    page = render(rate(advice.request, rpm=50000.0, feed=36000.0, stepdown=7.0), width=120)
    assert "36000 mm/min against 12000 mm/min." in page
    assert "50000 rev/min against 24000 rev/min." in page
    assert not re.search(r"\de[+-]?\d", page.split("CAUTION")[0])


def test_numbers_are_set_as_one_sets_them() -> None:
    assert [depth_words(x) for x in (7.0, 5.25, 0.2308, 12.5, 1 / 3)] == ["7.0", "5.25", "0.231", "12.5", "0.333"]
    assert [number(x) for x in (24000.0, 0.0912, 1e-7, None, 0.0)] == ["24000", "0.0912", "0", "-", "0"]


@pytest.mark.parametrize("cut", CUTS, ids=[c[0] + " " + c[3] for c in CUTS])
def test_the_window_holds_the_chosen_point(cut: tuple[str, str, str, str, float]) -> None:
    advice = advise(*cut)
    shown = window(advice)
    rpm, feed = shown.chosen
    i = min(range(len(shown.rpm)), key=lambda k: abs(shown.rpm[k] - rpm))
    scale = rpm / shown.rpm[i]
    for line in shown.lines:
        at = line.feed[i] * (scale if scale > 1 else 1)
        if line.least:
            assert feed >= line.feed[i] * 0.985, line.name
        else:
            assert feed <= at * 1.015, line.name
    assert shown.rpm_bounds[0] <= rpm <= shown.rpm_bounds[1] * 1.001


def test_pictures() -> None:
    advice = advise(*SLOT)
    picture = draw(advice, "png")
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", picture[16:24]) == (1200, 840)
    drawn = draw(advice, "svg")
    text = "".join(ElementTree.fromstring(drawn).itertext())
    for word in ("spindle speed, rev/min", "feed, mm/min", "too thin a chip", "too thick a chip", "bending", "allowed",
                 "first cut", "24000 rev/min", "slowest 6000", "fastest 24000"):  # fmt: skip
        assert word in text, word
    assert drawn == draw(advise(*SLOT), "svg")
    with pytest.raises(ValueError, match="svg or png"):
        draw(advice, "pdf")


def test_import_budget() -> None:
    """speeds loads neither numpy, pint, numba, lark nor matplotlib."""
    code = (
        "import sys\n"
        "from advisor import catalogue\n"
        "from advisor.recommend import recommend, Request\n"
        "from advisor.report.advice_text import render\n"
        "from advisor.rate import rate\n"
        "r = Request(catalogue.cutter('endmill-upcut-6mm-2f'), catalogue.material('birch-plywood'), None, 'slot', 12.0)\n"
        "a = recommend(r); render(a); a.to_dict(); rate(r, rpm=18000, feed=3000, stepdown=6.0)\n"
        "print([m for m in ('numpy', 'pint', 'numba', 'lark', 'matplotlib', 'pydantic') if m in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_machine_named_is_shown_under_assumed() -> None:
    advice = recommend(Request(plain(6.0, 2), catalogue.material("birch-plywood"), None, "slot", 18.0))
    assert isinstance(advice, Advice)
    page = render(advice, width=100)
    assert page.index("ASSUMED") < page.index("no machine named") < page.index("SET THIS")


def test_how_far_the_sources_differ_is_told_in_words() -> None:
    ply = advise(*SLOT).spread
    assert "differ by a factor of 3.2" in ply and "estimate" in ply
    steel = advise("endmill-metal-6mm-4f", "mild-steel", "knee-mill", "slot", 3.0).spread
    assert "differ by a factor of 1.3" in steel and "estimate" not in steel
    assert "feeds of a drill" in advise("drill-5mm", "mild-steel", "knee-mill", "drill", 5.0).spread
