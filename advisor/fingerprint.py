"""Names for findings that survive renumbering, shifted lines, and changes of spacing, case and comments.

A fingerprint is made of the rule, the block's own text and the two motion blocks before it, all without line number,
comments, case and spaces, and an ordinal that tells equal ones apart. Measured values never enter.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from advisor.findings import Finding

if TYPE_CHECKING:
    from advisor.evidence import Evidence

_PARENTHESES = re.compile(r"\([^()]*\)?")
_NUMBER = re.compile(r"^(/?)[N:]\d+(?:\.\d+)?")
_REST = re.compile(r"(;|//).*$")


def normalised(text: str) -> str:
    """A block's text without line number, comments, case and spaces."""
    before = ""
    while text != before:  # from the inside out: nested brackets occur
        before, text = text, _PARENTHESES.sub("", text)
    text = _REST.sub("", text)
    text = "".join(text.split()).upper().replace(")", "")
    return _NUMBER.sub(r"\1", text)


def digest(rule: str, context: Sequence[str], ordinal: int) -> str:
    """Twenty hexadecimal digits of SHA-256 over rule, texts and ordinal."""
    whole = "\x1f".join((rule, *context, str(ordinal)))
    return hashlib.sha256(whole.encode("utf-8", "surrogatepass")).hexdigest()[:20]


def stamp(findings: Iterable[Finding], evidence: Evidence | None) -> list[Finding]:
    """Findings with their fingerprints. Ordinals count equal ones in the order (line, column, message order)."""
    ordered = sorted(findings, key=lambda f: (f.line, f.column, f.rule))
    before = _motion_before(evidence, [f.line for f in ordered]) if evidence is not None else {}
    seen: dict[tuple[str, ...], int] = {}
    stamped = []
    for finding in ordered:
        here = _text(evidence, finding.line)
        context = (*(_text(evidence, line) for line in before.get(finding.line, ())), here)
        key = (finding.rule, *context)
        ordinal = seen.get(key, 0)
        seen[key] = ordinal + 1
        stamped.append(replace(finding, fingerprint=digest(finding.rule, context, ordinal)))
    return stamped


def _text(evidence: Evidence | None, line: int) -> str:
    return "" if evidence is None else normalised(evidence.text(line))


def _motion_before(evidence: Evidence, lines: Sequence[int]) -> Mapping[int, tuple[int, ...]]:
    """The lines of the two motion blocks before each line, nearest last."""
    import numpy as np

    program = evidence.program
    if not len(program.moves) or not lines:
        return {}
    moving = np.zeros(int(program.block_line.max()) + 1, dtype=bool)
    moving[program.block_line[program.moves.block]] = True
    motion = np.flatnonzero(moving)
    found = {}
    for line in set(lines):
        at = int(np.searchsorted(motion, line))
        found[line] = tuple(int(v) for v in motion[max(0, at - 2) : at])
    return found
