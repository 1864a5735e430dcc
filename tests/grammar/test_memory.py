"""The wish to the C library: it is taken or refused, never an error, and arrays work as before."""

from __future__ import annotations

import sys

import numpy as np
import pytest

from grammar.memory import keep_freed


def test_asked_of_a_c_library_that_knows_it_or_not(monkeypatch: pytest.MonkeyPatch) -> None:
    keep_freed.cache_clear()
    taken = keep_freed()
    assert taken in (True, False)
    for _ in range(20):
        assert np.ones(3_000_000).sum() == 3_000_000
    keep_freed.cache_clear()
    monkeypatch.setattr(sys, "platform", "another")
    assert keep_freed() is False
    keep_freed.cache_clear()
