"""How the process keeps its memory while it works on a program."""

from __future__ import annotations

import sys
from functools import cache

TOP_PAD, TRIM_THRESHOLD, MMAP_MAX = -2, -1, -4  # mallopt(3)


@cache
def keep_freed() -> bool:
    """Asks the C library to keep what is freed for the next arrays; True where it took the wish.

    Arrays of a hundred kilobytes and more are made and dropped by the hundred. Handed back to the system and fetched
    again, each of their pages is cleared anew, which costs more than the sums on it: a tenth of a short run. Only glibc
    knows these settings (its manual, "Malloc Tunable Parameters"); elsewhere nothing happens.
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        import ctypes

        adjust = ctypes.CDLL(None).mallopt
    except (ImportError, OSError, AttributeError):
        return False
    wishes = ((MMAP_MAX, 0), (TRIM_THRESHOLD, 2**31 - 1), (TOP_PAD, 64 * 2**20))
    return all(adjust(what, value) == 1 for what, value in wishes)
