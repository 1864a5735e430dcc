"""Text that somebody else wrote, made harmless for the place it is printed in.

Comments, file names and values of a shop file may hold anything: terminal controls, marks that turn the writing
direction, markup, commands for the machine that runs the check. Each function takes raw text and returns text for one
kind of place. All of them first make invisible characters visible (``\\x1b``, ``\\u202e``), so nothing is lost and
nothing acts. Only the standard library is imported.
"""

from __future__ import annotations

import re
import unicodedata

_ASCII = {
    "×": "x",
    "°": " deg",
    "µ": "u",
    "μ": "u",
    "²": "2",
    "³": "3",
    "±": "+/-",
    "≤": "<=",
    "≥": ">=",
    "–": "-",
    "—": "-",
    "−": "-",
    "…": "...",
    "·": "*",
    "→": "->",
    "“": '"',
    "”": '"',
    "‘": "'",
    "’": "'",
    "Δ": "d",
    "Ø": "dia ",
    "½": "1/2",
}
_ASCII_TABLE = str.maketrans(_ASCII)

# "##[name]" and "##name[" are read as commands anywhere in a line of a build log; "::name" at its start (leading
# blanks do not count). Common practice of hosted build logs.
_LOG_MARK = re.compile(r"##(?=\w*\[)")


def visible(text: str) -> str:
    """One line without any acting or invisible character.

    Control, format (bidirectional marks, zero width), separator, private, unassigned and surrogate code points become
    ``\\xNN``, ``\\uNNNN`` or ``\\UNNNNNNNN``; a byte that no encoding could read (a lone surrogate U+DC80..U+DCFF, as
    in file names) becomes ``\\xNN``; line ends become ``\\n`` and ``\\r``; tabs and other blanks become one space.
    """
    if text.isprintable():  # str.isprintable is False for all of the above, and for blanks other than the space
        return text
    return "".join(c if c.isprintable() else _escape(c) for c in text)


def _escape(character: str) -> str:
    code = ord(character)
    if character == "\n":
        return "\\n"
    if character == "\r":
        return "\\r"
    if character == "\t" or unicodedata.category(character) == "Zs":
        return " "
    if 0xDC80 <= code <= 0xDCFF:
        return f"\\x{code - 0xDC00:02x}"
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def clip(text: str, limit: int) -> str:
    """At most ``limit`` characters; what is cut off is told as ``… (N more characters)``."""
    if len(text) <= limit:
        return text
    return f"{text[:limit]}… ({len(text) - limit} more characters)"


def ascii_only(text: str) -> str:
    """``visible`` text in plain ASCII: known signs by their usual stand-ins, the rest as escapes."""
    text = visible(text)
    if text.isascii():
        return text
    return text.translate(_ASCII_TABLE).encode("ascii", "backslashreplace").decode("ascii")


def log_line(line: str) -> str:
    """A finished line of output that no build log takes for a command.

    For whole lines, after wrapping: a continuation line may begin with anything.
    """
    if "##" in line:
        line = _LOG_MARK.sub(r"#\\#", line)
    stripped = line.lstrip()
    if stripped.startswith("::"):
        line = line[: len(line) - len(stripped)] + "\\" + stripped
    return line


def xml(text: str) -> str:
    """For XML element content and attribute values in single or double quotes; illegal characters are made visible."""
    return (
        visible(text)
        .replace("&", "&amp;")
        .replace("<", "&lt;")
        .replace(">", "&gt;")
        .replace('"', "&quot;")
        .replace("'", "&#39;")
    )


def html(text: str) -> str:
    """For HTML text and quoted attribute values; not for script, style or URLs."""
    return xml(text)


def command_data(text: str) -> str:
    """For the message of a workflow command (``::error ...::message``)."""
    return visible(text).replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def command_property(text: str) -> str:
    """For a property of a workflow command (``file=...``)."""
    return command_data(text).replace(":", "%3A").replace(",", "%2C")


def json_text(text: str) -> str:
    """For JSON strings: lone surrogates, which strict readers refuse, are made visible; all else is kept as it is.

    The JSON writer escapes controls itself (``ensure_ascii``).
    """
    if text.isascii():
        return text
    return "".join(_escape(c) if 0xD800 <= ord(c) <= 0xDFFF else c for c in text)
