"""The small twins of ``numpy.unique`` and ``numpy.median`` give what numpy gives (outside check: numpy itself)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.distinct import distinct, median

NUMBERS = st.lists(st.sampled_from([0.0, -1.5, 2.0, 2.5, 7.0, float("nan"), float("inf")]) | st.floats(width=32), max_size=12)


@given(NUMBERS)
@settings(max_examples=60, deadline=None)
def test_they_agree_with_numpy(values: list[float]) -> None:
    array = np.array(values, dtype=np.float64)
    np.testing.assert_array_equal(distinct(array), np.unique(array))
    if values:
        with np.errstate(invalid="ignore", over="ignore"):
            assert median(array) == pytest.approx(float(np.median(array)), rel=1e-12, nan_ok=True)


def test_whole_numbers_and_tables() -> None:
    table = np.array([[3, 1], [1, 2], [3, 3]])
    assert distinct(table).tolist() == [1, 2, 3]
    assert distinct(np.zeros(0, dtype=np.int32)).tolist() == []
    assert np.isnan(median(np.zeros(0)))
