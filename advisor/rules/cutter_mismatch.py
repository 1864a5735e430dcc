"""The program's own words name another cutter than the shop file.

What it checks
    Comments on or next to a tool change, or that begin with the T number: a diameter that stands with a word
    for a cutter, or after D=, against the diameter of the cutter given for that T number. Only clear statements
    are read.

Why it matters
    Either the wrong cutter is in the spindle or the shop file is out of date; slots come out too wide and walls
    too thin.

What it cannot see
    Programs that say nothing about their cutters, and words in other forms.

How to mend
    Put the cutter in that the program was made for, or correct the shop file.

Example
        (T1 8MM ENDMILL)     and T1 is 6 mm in the shop file

Safety
    Measure the cutter in the spindle before you trust either.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from advisor.allowances import comments
from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules.base import rule

NAME = "cutter-mismatch"
HEAD = 200  # lines at the top of a program that may list its tools
NEAR = 2  # lines around a tool change whose comments speak of it
KIND = r"(?:end ?-?mills?|flat|ball ?-?nose|ball|bull|cutter|router|bit|drill|mill|up-?cut|down-?cut|compression|spiral)"
SIZE = r"(\d+(?:\.\d+)?|\.\d+|\d+\s*/\s*\d+)"
UNIT = r"\s*(mm|in\b|inch|\")"
BEFORE = re.compile(SIZE + UNIT + r"\.?\s+(?:dia\w*\.?\s+)?(?:\d+\s*-?\s*fl\w*\s+)?(?:[a-z-]+\s+){0,2}?" + KIND, re.IGNORECASE)
NOUN = r"\b(?:end ?-?mill|corner ?-?mill|ball ?-?nose|bull ?-?nose|vee|bit|cutter|up-?cut|down-?cut|compression)"
KINDS = r"up-?cut|down-?cut|compression|spiral|straight|flat|ball|nose|end ?-?mill|mill|bit|cutter|carbide|hss|metal|dia\w*\.?"
MADE = rf"(?:\d+ ?deg\w*|{KINDS})"
OTHERS = r"deep|depth|wide|long|length|shank|tall|high|thick|ply|stock|sheet|board|stick|apart|radius|corner"
NOT_ITS_OWN = rf"(?!\s*(?:{OTHERS}|holes?\s+deep))"
AFTER = re.compile(NOUN + r"s?(?:\s+" + MADE + r"){0,3}\s+" + SIZE + UNIT + r"(?![a-z0-9])" + NOT_ITS_OWN, re.IGNORECASE)
DRILLS = re.compile(
    r"^\s*(?:tool\s*#?\s*|T\s*)\d+\W+drill\s+(?:carbide\s+|hss\s+)?" + SIZE + UNIT + r"(?![a-z0-9])" + NOT_ITS_OWN,
    re.IGNORECASE,
)
EQUALS = re.compile(r"\b(?:D|DIA|DIAMETER)\s*[=:]\s*" + SIZE + r"\s*(mm|in\b|inch|\")?", re.IGNORECASE)
TOOL = re.compile(r"^\s*(?:tool\s*)?T?\s*(\d+)\b", re.IGNORECASE)
NAMED = re.compile(r"^\s*(?:tool\s*#?\s*|T\s*)(\d+)\b", re.IGNORECASE)
INCH = 25.4


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a tool."""
    told: set[int] = set()
    changes = [
        (evidence.program.line_of(e.block), int(float(e.value)))
        for e in evidence.program.events
        if e.kind in ("tool-change", "tool-select") and isinstance(e.value, (int, float)) and e.value
    ]
    inch = any(mode.units == "G20" for mode in evidence.moves.modes)
    spoken: set[int] = set()
    for line, _ in changes:
        spoken |= set(range(max(1, line - NEAR), min(evidence.line_count, line + NEAR) + 1))
    spoken |= set(range(1, min(HEAD, evidence.line_count) + 1))
    for number in sorted(spoken):
        text = evidence.text(number)[:400]
        for column, words in comments(text, dialect=evidence.setting.checks.dialect):
            named = NAMED.match(words)
            if named:
                tool = int(named.group(1))
            else:
                near = [t for line, t in changes if abs(line - number) <= NEAR]
                if not near or len(set(near)) > 1:
                    continue
                tool = near[0]
            cutter = evidence.setting.cutters.get(tool)
            size = diameter(words, inch=inch)
            if cutter is None or size is None or tool in told:
                continue
            if abs(size - cutter.diameter) > 0.02 + 0.01 * cutter.diameter:
                told.add(tool)
                yield Finding(
                    rule=NAME,
                    line=number,
                    column=column + 1,
                    message=f"The program speaks of {size:g} mm for T{tool}; the shop file gives {cutter.name}, "
                    f"{cutter.diameter:g} mm.",
                    measured=size,
                    limit=cutter.diameter,
                    unit="mm",
                )


def diameter(words: str, *, inch: bool) -> float | None:
    """The cutter diameter a comment clearly states, mm; None where it states none, or several."""
    sizes = set()
    for match in (m for form in (BEFORE, AFTER, DRILLS, EQUALS) for m in form.finditer(words)):
        number, unit = match.group(1), (match.group(2) or ("in" if inch else "mm")).lower()
        above, _, below = number.partition("/")
        if below and float(below) == 0:
            continue
        value = float(above) / float(below) if below else float(above)
        sizes.add(round(value if unit == "mm" else value * INCH, 4))
    return sizes.pop() if len(sizes) == 1 else None


RULE = rule(__doc__, name=NAME, severity="warning", group="set-up", check=check, needs=("cutter",), unit="mm", positions=False)
