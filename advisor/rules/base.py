"""The form of a rule. One rule is one module beside a good and a bad program.

A rule module holds a docstring with the headings of ``HEADINGS`` and one ``RULE`` value. Its ``check`` yields
``Finding`` and ``NotChecked``; it never prints. Most modules build their rule with ``rule(__doc__, ...)``, which takes
summary, why, remedy and safety note from the docstring, so that no text stands twice.
"""

from __future__ import annotations

import inspect
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from grammar.classes import dataclass

Check = Callable[[Evidence], Iterable[Finding | NotChecked]]

HEADINGS = ("What it checks", "Why it matters", "What it cannot see", "How to mend", "Example", "Safety")
GROUPS = ("reading", "set-up", "motion", "two-sided", "housekeeping")
NEEDS = ("moves", "stock", "cutter", "material", "machine", "hold", "offsets", "travel", "engagement")


@dataclass(frozen=True, slots=True)
class Rule:
    """``needs`` is a subset of ``NEEDS``; what is absent is *not checked*."""

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
    fix: str = ""  # used where a finding brings no remedy of its own
    positions: bool | None = None  # judges where moves go; None: it does if it needs moves, stock or cutter

    @property
    def follows(self) -> bool:
        """True for a rule that depends on positions: it could not look where the program could not be followed."""
        if self.positions is not None:
            return self.positions
        return bool({"moves", "stock", "cutter", "engagement"} & set(self.needs))


def sections(doc: str | None) -> dict[str, str]:
    """The parts of a rule's docstring by heading; the text before the first heading stands under ``""``.

    The example is indented by four: its line breaks matter.
    """
    found: dict[str, list[str]] = {"": []}
    now = ""
    for line in inspect.cleandoc(doc or "").splitlines():
        if line.rstrip().rstrip(":") in HEADINGS:
            now = line.rstrip().rstrip(":")
            found[now] = []
        else:
            found[now].append(line)
    texts = {name: inspect.cleandoc("\n" + "\n".join(lines)).strip() for name, lines in found.items()}
    if "Example" in texts:
        texts["Example"] = textwrap.indent(texts["Example"], "    ")
    return texts


def one_line(text: str) -> str:
    """Text with every run of white space made one space."""
    return " ".join(text.split())


def rule(
    doc: str | None,
    *,
    name: str,
    severity: str,
    group: str,
    check: Check,
    needs: tuple[str, ...] = (),
    unit: str = "",
    tolerance: float = 1e-6,
    least: float = 0.0,
    options: Mapping[str, float] | None = None,
    positions: bool | None = None,
) -> Rule:
    """A rule whose texts come from its module's docstring."""
    parts = sections(doc)
    return Rule(
        name=name,
        severity=severity,
        group=group,
        summary=one_line(parts[""].split("\n\n")[0]),
        why=one_line(parts.get("Why it matters", "")),
        safety=one_line(parts.get("Safety", "")),
        fix=one_line(parts.get("How to mend", "")),
        check=check,
        needs=needs,
        unit=unit,
        tolerance=tolerance,
        least=least,
        options=dict(options or {}),
        positions=positions,
    )


@dataclass(frozen=True, slots=True)
class FromReader:
    """The check of a rule that the reader of programs judges: each of its faults of this name is a finding."""

    name: str

    def __call__(self, evidence: Evidence) -> Iterator[Finding]:
        faults = evidence.faults.get(self.name, [])
        if self.name.startswith("arc-") and len(faults) > 1:
            from advisor.rules._arcs import joined_faults

            faults = joined_faults(evidence, faults)
        for fault in faults:
            yield Finding(
                rule=fault.rule,
                message=fault.message,
                block=fault.block,
                severity=fault.severity,
                line=fault.line,
                column=fault.column,
                end_line=fault.end_line or fault.line,
                measured=fault.measured,
                limit=fault.limit,
                unit=fault.unit or "",
                fix=fault.fix,
            )


def by_runner(evidence: Evidence) -> tuple[Finding, ...]:
    """The check of a housekeeping rule: its findings come from the pipeline itself."""
    return ()


@dataclass(frozen=True, slots=True)
class Run:
    """Consecutive rows with the same fault: first and last position in the list given, and the worst one."""

    first: int
    last: int
    worst: int


def merge_runs(
    blocks: Sequence[int],
    excess: Sequence[float],
    *,
    keys: Sequence[object] | None = None,
    gap: int = 1,
) -> list[Run]:
    """Groups faulty rows into runs, so that one fault spread over many blocks is told once.

    ``blocks`` are block indices in order of execution, one a faulty row; rows whose blocks differ by at most ``gap``
    and whose ``keys`` (tool, pass ...) are equal belong together. ``excess`` says how bad each row is; the worst row of
    a run is the first with the greatest excess. Positions in the result index the sequences given.
    """
    runs: list[Run] = []
    first = worst = 0
    for i in range(1, len(blocks) + 1):
        joined = i < len(blocks) and 0 <= blocks[i] - blocks[i - 1] <= gap and (keys is None or keys[i] == keys[i - 1])
        if joined:
            if excess[i] > excess[worst]:
                worst = i
        else:
            runs.append(Run(first, i - 1, worst))
            first = worst = i
    return runs if len(blocks) else []
