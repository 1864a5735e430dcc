"""Sums over the two or three columns of long tables, column by column.

numpy reduces along a last axis of two or three in an inner loop of that length, which takes some ten times longer.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Bools = NDArray[np.bool_]


def any_of(table: NDArray[Any]) -> Bools:
    """``table.any(axis=1)`` of (n, k) truth values, for a small k."""
    found = table[:, 0].copy()
    for column in range(1, table.shape[1]):
        found |= table[:, column]
    return found


def all_of(table: NDArray[Any]) -> Bools:
    """``table.all(axis=1)`` of (n, k) truth values, for a small k."""
    found = table[:, 0].copy()
    for column in range(1, table.shape[1]):
        found &= table[:, column]
    return found
