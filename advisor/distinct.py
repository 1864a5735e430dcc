"""Distinct values and medians. ``numpy.unique`` and ``numpy.median`` load all of numpy's masked arrays at their first use,
which a short check would pay for."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def distinct(values: NDArray[Any]) -> NDArray[Any]:
    """The distinct values, ascending, shape (k,); NaNs count as one and stand last."""
    found = np.sort(values, axis=None)
    if len(found) < 2:
        return found
    new = np.ones(len(found), dtype=bool)
    np.not_equal(found[1:], found[:-1], out=new[1:])
    if found.dtype.kind == "f":
        new[1:] &= ~np.isnan(found[:-1])
    return np.asarray(found[new])


def median(values: NDArray[Any]) -> float:
    """The middle value, or the mean of the two in the middle; NaN where a value is NaN or none is given."""
    found = np.sort(values, axis=None)
    if not len(found) or bool(np.isnan(found[-1])):
        return float("nan")
    half = len(found) // 2
    if len(found) % 2:
        return float(found[half])
    return (float(found[half - 1]) + float(found[half])) / 2
