"""Yardstick `bare`: a lark LALR grammar whose terminals are whole words, line by line over a file.

Run as ``python -m tests.bench.bare FILE``; prints the number of words, so that nothing can be skipped unseen.
"""

from __future__ import annotations

import sys
from pathlib import Path

from lark import Lark

GRAMMAR = r"""
line: item*
item: WORD | COMMENT | PERCENT
WORD: /[A-Z][+-]?(\d+\.?\d*|\.\d+)/
COMMENT: /\([^)]*\)/
PERCENT: "%"
%ignore /[ \t\r]+/
"""


def main(path: Path) -> int:
    """Parse every line of ``path``; return the count of items."""
    parser = Lark(GRAMMAR, parser="lalr", start="line")
    items = 0
    with path.open(encoding="ascii") as lines:
        for line in lines:
            items += len(parser.parse(line.rstrip("\n")).children)
    return items


if __name__ == "__main__":
    print(main(Path(sys.argv[1])))
