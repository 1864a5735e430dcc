"""The short form of the hostile campaign."""

from __future__ import annotations

import pytest

from tests.campaigns.hostile import KINDS, throw


@pytest.mark.parametrize("seed", [1, 2])
def test_nothing_hostile_breaks_the_reader_or_the_check(seed: int) -> None:
    outcome = throw(seed, 250)
    assert outcome.failures == ()
    assert sum(outcome.counts.values()) == 250
    assert len(outcome.counts) >= len(KINDS) - 2 and len(outcome.faults) >= 10
