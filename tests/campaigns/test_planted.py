"""The campaign in its short, seeded form, and the twins: however a program is written down, the findings are the same.

The long form prints the table: ``python -m tests.campaigns.planted --programs 200 --seed 1``.
"""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import pytest

from tests.campaigns.planted import KINDS, Tally, campaign, check, serious
from tests.campaigns.programs import Clean, clean_programs
from tests.campaigns.writing import Style

SEED = 7


@cache
def short() -> Tally:
    """Twenty programs, two of every kind, three faults in each."""
    return campaign(20, SEED, 3)


@pytest.mark.xdist_group("campaign")
def test_every_planted_fault_is_found_where_it_is() -> None:
    tally = short()
    assert len(tally.planted) >= 25
    assert sum(tally.planted.values()) >= 55
    assert tally.missed == []


@pytest.mark.xdist_group("campaign")
def test_clean_programs_have_neither_errors_nor_warnings() -> None:
    assert short().clean == 20
    assert short().alarms == []


@pytest.mark.xdist_group("campaign")
def test_the_rules_really_looked_at_clean_programs() -> None:
    assert short().looked >= 0.95


@pytest.mark.xdist_group("campaign")
def test_findings_belong_to_the_fault_that_was_planted() -> None:
    assert sum(short().strays.values()) <= 1, short().stray_places


def test_the_same_seed_gives_the_same_programs() -> None:
    first = [clean.written().text for clean in clean_programs(10, SEED)]
    assert first == [clean.written().text for clean in clean_programs(10, SEED)]
    assert first != [clean.written().text for clean in clean_programs(10, SEED + 1)]
    assert len(set(first)) == 10


STYLES = {
    "inch": Style(inch=True, exact=True),
    "incremental": Style(incremental=True),
    "radius arcs": Style(radius_arcs=True),
    "bare": Style(modal=False, spaces=False),
    "lower case, padded": Style(lower=True, padded=True),
    "numbered, points": Style(numbers=True, points=True),
}
FAULTS = ("retract left out", "rapid down into stock", "pass too deep", "helix pitch too great", "G0 instead of G1")


@cache
def spoiled() -> tuple[tuple[str, Clean], ...]:
    """Programs with a fault in their steps, so that there is something to find in every style."""
    out = []
    programs = list(clean_programs(10, SEED))
    for kind in FAULTS:
        for clean in programs:
            plain = replace(clean, style=Style())
            fault = KINDS[kind](plain, random.Random(SEED))
            if fault is not None:
                out.append((kind, plain))
                break
    assert len(out) == len(FAULTS)
    return tuple(out)


@pytest.mark.xdist_group("twins")
@pytest.mark.parametrize("name", STYLES)
def test_findings_do_not_depend_on_how_a_program_is_written(name: str) -> None:
    different = 0
    for kind, plain in spoiled():
        wanted = KINDS[kind](plain, random.Random(SEED))
        other = KINDS[kind](replace(plain, style=STYLES[name]), random.Random(SEED))
        assert wanted is not None and other is not None
        different += other.text != wanted.text
        told = {(finding.rule, finding.line) for finding in serious(check(wanted.text, wanted.setting, "a.ngc"))}
        assert told
        assert {(f.rule, f.line) for f in serious(check(other.text, other.setting, "b.ngc"))} == told, kind
    assert different >= 2
