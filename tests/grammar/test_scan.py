"""The bulk pass against an obvious twin: one regular expression a line and Python's own ``float``."""

from __future__ import annotations

import re

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from grammar.scan import BLANK, OTHER, read_lines

NUMBER = re.compile(rb"[+-]?(?:\d+\.?\d*|\.\d+)")


def twin(line: bytes) -> tuple[object, list[float]]:
    """Shape (any hashable value) and numbers of one line."""
    text = line.translate(None, b" \t").upper()
    if not text:
        return BLANK, []
    shape: list[object] = []
    numbers: list[float] = []
    at = 0
    while at < len(text):
        letter = text[at : at + 1]
        if not re.fullmatch(rb"[A-DF-Z]", letter):
            return OTHER, []
        stop = at + 1
        while stop < len(text) and text[stop : stop + 1] in b"0123456789.+-":
            stop += 1
        value = text[at + 1 : stop]
        if letter in b"GMOT":
            shape.append((letter, value))
        elif not value:
            shape.append((letter, None))
        elif letter == b"N":
            if at or not re.fullmatch(rb"[0-9]{1,5}", value):
                return OTHER, []
            shape.append(letter + b"#")
        elif NUMBER.fullmatch(value):
            shape.append((letter, value[:1] in b"+-" and value[:1], b"." in value))
            numbers.append(float(value))
        else:
            return OTHER, []
        at = stop
    return tuple(shape), numbers


def compare(data: bytes, mask: int) -> None:
    found = read_lines(data, mask=mask)
    lines = re.split(rb"\r\n|\r|\n", data)
    if len(lines) > 1 and not lines[-1]:
        lines.pop()
    assert len(found.start) == len(lines)
    shapes: dict[object, int] = {}
    for row, line in enumerate(lines):
        assert data[found.start[row] : found.end[row]] == line
        shape, numbers = twin(line)
        got = found.numbers[found.first[row] : found.first[row + 1]].tolist()
        if shape in (BLANK, OTHER):
            assert found.shape[row] == shape
            assert got == []
        else:
            assert found.shape[row] == shapes.setdefault(shape, int(found.shape[row]))
            assert found.shape[row] >= 0
            assert [g.hex() for g in got] == [n.hex() for n in numbers]
    assert len(set(shapes.values())) == len(shapes)


PIECES = st.sampled_from(
    [b"G1", b"g 01", b"M3", b"X", b"Y-.5", b"Z+5.", b" ", b"\t", b"F1e5", b"(c)", b"#1", b"N10", b"N 00100", b"T0101",
     b"X1.2.3", b"I-0.0", b"J--1", b"K.", b"X0.1234567890123456789", b"Y9007199254740993", b"S18000", b"Z-0", b"5",
     b"X123456789012345678901234567890", b"R1.7976931348623157", b"\n", b"\r\n", b"\r", b"%", b"/", b";", b"\xff"]
)  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(st.lists(PIECES, max_size=30).map(b"".join), st.sampled_from([0, 3, (1 << 63) - 1]))
@example(b"", 0)
@example(b"X1\r\nY2\rZ3\n\n", 0)
def test_scan_of_mixed_pieces(data: bytes, mask: int) -> None:
    compare(data, mask)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=60))
def test_scan_of_any_bytes(data: bytes) -> None:
    compare(data, (1 << 63) - 1)


@settings(max_examples=300, deadline=None)
@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**20), max_value=10**20, places=None))
def test_numbers_round_right_to_the_last_bit(value: object) -> None:
    text = f"{value:f}"
    found = read_lines(f"X{text}\n".encode())
    assert found.numbers.tolist()[0].hex() == float(text).hex()


def test_large_data_in_parts_is_the_same_as_in_one() -> None:
    lines = [f"X{k}.5 Y-{k}\n" if k % 7 else f"G0 Z{k}\n(c{k})\n" for k in range(300_000)]
    data = "".join(lines).encode()
    one, two = read_lines(data, threads=1), read_lines(data, threads=3)
    for name in ("start", "end", "shape", "founder"):
        assert (getattr(one, name) == getattr(two, name)).all(), name
    for row in range(0, len(one.start), 997):
        rows = [found.numbers[found.first[row] : found.first[row + 1]].tolist() for found in (one, two)]
        if two.shape[row] >= 0:
            count = len(twin(data[one.start[row] : one.end[row]])[1])
            rows = [numbers[:count] for numbers in rows]
            assert rows[0] == rows[1] and len(rows[0]) == count


@pytest.mark.parametrize("most", [1, 3])
def test_a_full_table_leaves_the_rest_to_the_plain_reader(most: int) -> None:
    found = read_lines(b"X1\nY1\nZ1\nX2\nI1\nJ1\n", most_shapes=most)
    assert found.shape.tolist()[0] == found.shape.tolist()[3] == 0
    assert (found.shape == OTHER).sum() == 5 - most
