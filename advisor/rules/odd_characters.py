"""Characters that many controls cannot read.

What it checks
    Bytes outside printable ASCII, tabs apart: byte-order marks, letters with accents, control characters, zero
    bytes.

Why it matters
    Controls drop them, stop at them, or show something else; inside a word they change a number.

What it cannot see
    How the control in use treats them.

How to mend
    Save the file as plain ASCII text.

Example
        (Länge 120)     a letter outside ASCII in a comment

Safety
    If the character stands inside a word, compare the number with the source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from advisor.evidence import Evidence
from advisor.findings import Finding
from advisor.rules.base import FromReader, rule

NAME = "odd-characters"
ODD = re.compile(rb"[^\t\n\r\x20-\x7e]")
PLAIN = bytes([9, 10, 13, *range(0x20, 0x7F)])
MARK = b"\xef\xbb\xbf"  # byte-order mark of UTF-8


def check(evidence: Evidence) -> Iterator[Finding]:
    """One finding a program, at its first odd byte; the reader's own faults where it tells them."""
    if evidence.faults.get(NAME):
        yield from FromReader(NAME)(evidence)
        return
    data = evidence.data
    # leaving out what is plain is many times quicker than a search
    first = ODD.search(data) if data.translate(None, PLAIN) else None
    if first is None:
        return
    count = len(ODD.findall(data)) if len(data) < 50_000_000 else None
    source = evidence.program.source
    line = source.line_at(first.start())
    what = "a byte-order mark" if data.startswith(MARK) else f"the byte {data[first.start()]:02X} (hexadecimal)"
    more = f", {count} such bytes in all" if count is not None and count > 1 else ""
    yield Finding(
        rule=NAME,
        line=line,
        column=max(1, first.start() - int(source.starts[line - 1]) + 1) if len(source) else 1,
        message=f"This file holds characters outside plain ASCII: {what}{more}.",
    )


RULE = rule(__doc__, name=NAME, severity="note", group="reading", check=check)
