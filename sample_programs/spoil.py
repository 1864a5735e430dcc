"""The same programs spoiled in ways that happen in shops: one fault each, and where it should be found."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Spoiling:
    """``edits``: (section heading, block, new block or ""). ``expect``: (section heading, block, rule).

    A block is looked for after the first line that holds the heading; "" deletes it; ``expect`` sees it edited.
    """

    name: str
    base: str
    story: str
    edits: tuple[tuple[str, str, str], ...]
    expect: tuple[tuple[str, str, str], ...]

    def apply(self, lines: list[str]) -> list[str]:
        """The spoiled program, with its story at the top and its expectations in comments."""
        lines = list(lines)
        for section, old, new in self.edits:
            at = find(lines, section, old)
            lines[at : at + 1] = new.split("\n") if new else []
        for section, block, rule in self.expect:
            lines[find(lines, section, block)] += f" (expect {rule})"
        head = 2 if lines[0] == "%" else 0
        return [*lines[:head], f"(spoiled: {self.story})", *lines[head:]]


def find(lines: list[str], section: str, block: str) -> int:
    """Index of the first line equal to ``block``, apart from added expectations, after the heading."""
    start = next(index for index, line in enumerate(lines) if section in line)
    for index in range(start, len(lines)):
        if lines[index].split(" (expect")[0] == block:
            return index
    raise LookupError(f"no line {block!r} after {section!r}")


SPOILED: tuple[Spoiling, ...] = ()
