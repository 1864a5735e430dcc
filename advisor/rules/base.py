"""The form of a rule. One rule is one module beside a good and a bad program.

A rule module holds a docstring with the headings What it checks / Why it matters / What it cannot see / How to mend /
Example / Safety, and one ``RULE`` value. Its ``check`` yields ``Finding`` and ``NotChecked``; it never prints.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked

Check = Callable[[Evidence], Iterable[Finding | NotChecked]]


@dataclass(frozen=True, slots=True)
class Rule:
    """``needs`` is a subset of: moves, stock, cutter, material, machine, hold, offsets; what is absent is *not checked*."""

    name: str
    severity: str  # default: error, warning, note
    group: str  # reading, set-up, motion, two-sided, housekeeping
    summary: str  # one line
    why: str  # why it matters, one or two sentences
    safety: str
    check: Check
    needs: tuple[str, ...] = ()
    unit: str = ""
    tolerance: float = 1e-6
    least: float = 0.0  # smallest excess worth telling, in unit
    options: Mapping[str, float] = field(default_factory=dict)  # names a shop file may set, with defaults
