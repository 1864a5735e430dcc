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

from advisor.rules.base import FromReader, rule

RULE = rule(__doc__, name="odd-characters", severity="note", group="reading", check=FromReader("odd-characters"))
