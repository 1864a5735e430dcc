"""Tables and pages of the command line on narrow screens."""

from __future__ import annotations

import pytest

from advisor.pages import catalogue_text, table

ROWS = [("name", "what", "where it comes from"), ("pad", "2 mm", "measured in the boat-shed with a vernier caliper")]


def test_a_table_without_a_width_is_as_wide_as_it_needs() -> None:
    assert table(ROWS).splitlines()[1] == "pad   2 mm  measured in the boat-shed with a vernier caliper"


def test_the_last_column_is_folded_first() -> None:
    assert table(ROWS, width=40).splitlines()[1:] == [
        "pad   2 mm  measured in the boat-shed",
        "            with a vernier caliper",
    ]


def test_what_has_no_room_stands_below() -> None:
    assert table(ROWS, width=24).splitlines()[2:] == [
        "pad   2 mm",
        "    measured in the",
        "    boat-shed with a",
        "    vernier caliper",
    ]


@pytest.mark.parametrize("width", [40, 60, 80, 120])
@pytest.mark.parametrize(
    "what",
    [
        (None, None), ("cutters", None), ("machines", None), ("materials", None), ("materials", "birch-plywood"),
        ("cutters", "compression-6mm-2f"), ("machines", "machining-centre"),
    ],
    ids=lambda what: " ".join(str(word) for word in what if word) or "kinds",
)  # fmt: skip
def test_the_catalogue_fits_the_screen(what: tuple[str | None, str | None], width: int) -> None:
    shown = catalogue_text(*what, width=width)
    assert max(map(len, shown.splitlines())) <= width
    assert shown.split() == catalogue_text(*what, width=10_000).split()
