"""The compiled form of joining links in order, for grids with very many runs."""

from __future__ import annotations

import numpy as np

from grammar.jit import kernel


@kernel
def join(count, links, held):  # type: ignore[no-untyped-def]
    """Indices of the links that join two sets which both hold material; see advisor/kernels/remains.py."""
    parent = np.arange(count)
    found = np.empty(len(links), dtype=np.int64)
    n = 0
    for k in range(len(links)):
        a, b = links[k, 0], links[k, 1]
        while parent[a] != a:
            parent[a] = parent[parent[a]]
            a = parent[a]
        while parent[b] != b:
            parent[b] = parent[parent[b]]
            b = parent[b]
        if a == b:
            continue
        if held[a] > 0 and held[b] > 0:
            found[n] = k
            n += 1
        parent[b] = a
        held[a] += held[b]
    return found[:n].copy()
