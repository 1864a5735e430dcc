"""A file that is not a program.

What it checks
    Whether the file holds text at all, and in it at least one move or code of the language: empty files, pictures,
    archives, drawings and other binary files are told.

Why it matters
    A file that was not looked at must not pass for one without findings.

What it cannot see
    Programs in a language other than RS274/NGC, such as conversational or binary formats of a control's maker.

How to mend
    Give the program itself: export it again as text, or take the file out of the folder (or out of the endings that
    the shop file names).

Example
        an empty file

Safety
    Nothing of this file was checked.
"""

from __future__ import annotations

from collections.abc import Iterable

from advisor.evidence import Evidence
from advisor.findings import Finding, NotChecked
from advisor.rules.base import rule

# First bytes of files that end up under a program's name; from the formats' published specifications.
SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG\r\n\x1a\n", "it is a PNG picture"),
    (b"\xff\xd8\xff", "it is a JPEG picture"),
    (b"GIF8", "it is a GIF picture"),
    (b"%PDF-", "it is a PDF document"),
    (b"PK\x03\x04", "it is a ZIP archive or an office document"),
    (b"\x1f\x8b", "it is a gzip archive"),
    (b"\x7fELF", "it is an executable"),
    (b"MZ", "it is an executable"),
    (b"solid ", "it is an STL solid"),
    (b"<?xml", "it is an XML document"),
    (b"<svg", "it is an SVG drawing"),
    (b"<!DOCTYPE", "it is an HTML document"),
    (b"\xd0\xcf\x11\xe0", "it is an office document"),
)
SAMPLE = 65536  # bytes looked at
MOST_CONTROL = 0.02  # share of control characters above which bytes are not text; estimate, no source


def not_text(data: bytes) -> str | None:
    """Why these bytes can't be a program's text, or None."""
    if not data.strip(b" \t\r\n\x00\x1a"):
        return "the file is empty"
    for start, reason in SIGNATURES:
        if data.startswith(start):
            return reason
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "it is text in UTF-16; save it as plain ASCII text"
    sample = data[:SAMPLE]
    control = sum(sample.count(bytes([code])) for code in range(32) if code not in (0, 9, 10, 11, 12, 13, 26))
    # Paper tape leaders are runs of NUL before and after the text: NUL counts only between other bytes.
    control += sample.strip(b"\x00\x1a").count(b"\x00")
    if control > MOST_CONTROL * len(sample):
        return "it is a binary file"
    return None


def check(evidence: Evidence) -> Iterable[Finding | NotChecked]:
    """The runner asks ``not_text`` before reading; nothing is left to find here."""
    return ()


RULE = rule(__doc__, name="not-a-program", severity="error", group="housekeeping", check=check)
