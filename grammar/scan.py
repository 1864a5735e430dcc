"""The bulk pass over the bytes: line ends, the shape of each line and its numbers, into flat arrays.

A line's *shape* is what is left of it when each number becomes a mark. The mark keeps what the language may ask of a
number besides its value: whether it has a sign, a point, a digit at all, and, after N, T, D and H, how many digits.
G and M values stay literal. Spaces and tabs outside comments fall away and letters are taken as capitals, as the
standard has it (NISTIR 6556, 3.3). A line with anything else in it (comments, brackets, parameters, free text) is
``OTHER``: it is kept by its exact text and never read here.

Shapes are found through a hash table; a hit is accepted only after the line's skeleton (its letters and marks, a byte
each) was compared with the shape's, so a collision costs time and never a wrong reading.

Numbers are correctly rounded: up to 19 significant digits are gathered as a whole number; where that number is below
2**53 and the power of ten at most 22 one IEEE division or multiplication gives the nearest double (Clinger 1990); all
others are listed and read by the caller with Python's ``float``.

The passes are written for the compiler; where it is missing the plain reader reads everything and this module rests.
"""

from __future__ import annotations

import itertools
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from grammar.jit import kernel

compiled = cache(kernel)  # each pass is compiled once a run

OTHER = -1  # shape of a line that is not plain words and numbers
BLANK = -2  # shape of a line with nothing on it

# What a byte is, once; the kernel asks this table only.
_SKIP, _LETTER, _DIGIT, _POINT, _PLUS, _MINUS, _ELSE = range(7)


def _byte_classes() -> NDArray[np.uint8]:
    table = np.full(256, _ELSE, dtype=np.uint8)
    for byte in b" \t":
        table[byte] = _SKIP
    for byte in b"ABCDFGHIJKLMNOPQRSTUVWXYZabcdfghijklmnopqrstuvwxyz":  # E may be an exponent: kept by its text
        table[byte] = _LETTER
    for byte in b"0123456789":
        table[byte] = _DIGIT
    table[ord(".")] = _POINT
    table[ord("+")] = _PLUS
    table[ord("-")] = _MINUS
    return table


CLASSES = _byte_classes()
POWERS = np.array([10.0**k for k in range(23)])
# Letters whose value stays literal in the shape, and those whose count of digits is kept.
LITERAL = np.zeros(256, dtype=np.bool_)
COUNTED = np.zeros(256, dtype=np.bool_)
for _letter in b"GMgm":
    LITERAL[_letter] = True
for _letter in b"NTDHntdh":
    COUNTED[_letter] = True


@dataclass(frozen=True, eq=False)
class Lines:
    """What the bulk pass found. ``b`` lines, ``m`` numbers, ``s`` shapes.

    start, end (b,) int64 byte offsets of each line, line end left out; shape (b,) int32, OTHER and BLANK below 0;
    first (b,) int64 index of the line's first number in ``numbers``; numbers (m,) float64, every number of plain lines
    in order except the literal ones after G and M; founder (s,) int64 the line that founded each shape.
    """

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    shape: NDArray[np.int32]
    first: NDArray[np.int64]
    numbers: NDArray[np.float64]
    founder: NDArray[np.int64]


def count_lines(data: Any) -> tuple[int, int]:
    """Lines and an upper bound of numbers (letters met) in ``data`` (uint8)."""
    lines = 1
    letters = 0
    n = len(data)
    for i in range(n):
        byte = data[i]
        if byte == 10 or (byte == 13 and not (i + 1 < n and data[i + 1] == 10)):
            lines += 1
        elif byte >= 65:
            letters += 1
    return lines, letters


def scan(
    data: Any,
    mask: int,
    start: Any,
    end: Any,
    shape: Any,
    first: Any,
    numbers: Any,
    slow: Any,
    table: Any,
    hashes: Any,
    founder: Any,
    skeletons: Any,
    classes: Any,
    literal: Any,
    counted: Any,
    powers: Any,
) -> tuple[int, int, int, int]:
    """One pass over ``data``; fills the arrays and returns (lines, numbers, slow numbers, shapes).

    ``mask`` is and-ed to each hash (a test forces collisions with 0). ``slow`` (k, 3) receives, for each number that
    needs the long way, its index in ``numbers`` and its byte span. ``table`` is the open-addressed hash table (size a
    power of two, -1 empty), ``hashes`` and ``founder`` hold each shape's hash and founding line, ``skeletons`` (s, w)
    uint8 its skeleton behind its length. When the table is full, lines of a new shape are OTHER, and so are lines
    whose skeleton is longer than w - 1.
    """
    n = len(data)
    lines = 0
    count = 0
    slows = 0
    shapes = 0
    slots = len(table) - 1
    longest = skeletons.shape[1]
    bones = np.zeros(longest + 8, dtype=np.uint8)
    i = 0
    while i <= n:
        if i == n and lines > 0 and (data[n - 1] == 10 or data[n - 1] == 13):
            break
        if i == n and n > 0 and lines == 0:
            break
        begin = i
        line_first = count
        line_slow = slows
        h = np.uint64(14695981039346656037)
        length = 0
        plain = True
        empty = True
        letter = False  # a letter was met, so a number may follow
        keep = False
        counts = False
        while i < n:
            byte = data[i]
            if byte == 10 or byte == 13:
                break
            kind = classes[byte]
            if kind == 0:
                i += 1
                continue
            empty = False
            if kind == 1:
                letter = True
                keep = literal[byte]
                counts = counted[byte]
                h = (h ^ np.uint64(byte | 32)) * np.uint64(1099511628211)
                length += 1
                if length < longest:
                    bones[length] = byte | 32
                else:
                    plain = False
                i += 1
                continue
            if kind == 6 or not letter:
                plain = False
                i += 1
                continue
            if keep:
                h = (h ^ np.uint64(byte)) * np.uint64(1099511628211)
                length += 1
                if length < longest:
                    bones[length] = byte
                else:
                    plain = False
                i += 1
                continue
            # A number that becomes a mark.
            number_begin = i
            sign = 0
            points = 0
            digits = 0
            mantissa = np.uint64(0)
            significant = 0
            scale = 0
            good = True
            while i < n:
                byte = data[i]
                kind = classes[byte]
                if kind == 2:
                    digits += 1
                    if significant < 19:
                        mantissa = mantissa * np.uint64(10) + np.uint64(byte - 48)
                        if mantissa > np.uint64(0):
                            significant += 1
                        if points > 0:
                            scale += 1
                    else:
                        good = False
                elif kind == 3:
                    points += 1
                elif kind == 4 or kind == 5:
                    if sign != 0 or points > 0 or digits > 0:
                        plain = False
                    sign = 1 if kind == 4 else 2
                elif kind != 0:
                    break
                elif byte == 10 or byte == 13:
                    break
                i += 1
            if points > 1 or digits == 0:
                plain = False
            mark = 128 + sign * 2 + (1 if points > 0 else 0)
            if counts:
                mark += 8 * (1 + min(digits, 14))
            h = (h ^ np.uint64(mark)) * np.uint64(1099511628211)
            length += 1
            if length < longest:
                bones[length] = mark
            else:
                plain = False
            if plain:
                value = 0.0
                if good and mantissa < np.uint64(9007199254740992) and scale <= 22:
                    value = float(mantissa) / powers[scale]
                elif slows < len(slow):
                    slow[slows, 0] = count
                    slow[slows, 1] = number_begin
                    slow[slows, 2] = i
                    slows += 1
                else:
                    plain = False
                numbers[count] = -value if sign == 2 else value
                count += 1
            letter = False
        stop = i
        if i < n:
            if data[i] == 13 and i + 1 < n and data[i + 1] == 10:
                i += 1
            i += 1
        else:
            i = n + 1
        start[lines] = begin
        end[lines] = stop
        if not plain:
            count = line_first
            slows = line_slow
        first[lines] = line_first
        if empty:
            shape[lines] = -2
        elif not plain:
            shape[lines] = -1
        else:
            h = (h ^ (h >> np.uint64(29))) & np.uint64(mask)
            slot = np.int64(h & np.uint64(slots))
            found = -1
            while table[slot] >= 0:
                candidate = table[slot]
                if hashes[candidate] == h and skeletons[candidate, 0] == length:
                    k = 1
                    while k <= length and skeletons[candidate, k] == bones[k]:
                        k += 1
                    if k > length:
                        found = candidate
                        break
                slot = (slot + 1) & slots
            if found < 0:
                if shapes < len(founder):
                    table[slot] = shapes
                    hashes[shapes] = h
                    founder[shapes] = lines
                    skeletons[shapes, 0] = length
                    for k in range(1, length + 1):
                        skeletons[shapes, k] = bones[k]
                    found = shapes
                    shapes += 1
                else:
                    count = line_first
                    slows = line_slow
            shape[lines] = found
        lines += 1
    return lines, count, slows, shapes


@dataclass(frozen=True, slots=True)
class _Part:
    lines: Lines
    skeletons: NDArray[np.uint8]


def read_lines(data: bytes, *, mask: int = (1 << 63) - 1, most_shapes: int = 65536, threads: int = 2) -> Lines:
    """Scan ``data``; needs the compiler. Large data is scanned in ``threads`` parts that end at line ends."""
    parts = threads if len(data) > 4_000_000 else 1
    cuts = [0]
    for k in range(1, parts):
        cut = data.find(b"\n", len(data) * k // parts) + 1
        cuts.append(max(cut, cuts[-1]))
    cuts.append(len(data))
    spans = [(a, b) for a, b in itertools.pairwise(cuts) if b > a] or [(0, len(data))]
    if len(spans) == 1:
        return _scan_part(data, 0, len(data), mask, most_shapes).lines
    with ThreadPoolExecutor(len(spans)) as pool:
        found = list(pool.map(lambda span: _scan_part(data, *span, mask, most_shapes), spans))
    return _join(found, [a for a, _ in spans])


def _scan_part(data: bytes, begin: int, stop: int, mask: int, most_shapes: int) -> _Part:
    buffer = np.frombuffer(data, dtype=np.uint8)[begin:stop]
    counting, scanning = compiled(count_lines), compiled(scan)
    lines, letters = counting(buffer)
    start = np.empty(lines + 1, dtype=np.int64)
    end = np.empty(lines + 1, dtype=np.int64)
    shape = np.empty(lines + 1, dtype=np.int32)
    first = np.empty(lines + 2, dtype=np.int64)
    numbers = np.empty(letters + 1, dtype=np.float64)
    slow = np.empty((letters + 1, 3), dtype=np.int64)
    table = np.full(4 * most_shapes, -1, dtype=np.int32)
    hashes = np.zeros(most_shapes, dtype=np.uint64)
    founder = np.zeros(most_shapes, dtype=np.int64)
    skeletons = np.empty((most_shapes, 120), dtype=np.uint8)
    b, m, k, s = scanning(
        buffer, mask, start, end, shape, first, numbers, slow, table, hashes, founder, skeletons,
        CLASSES, LITERAL, COUNTED, POWERS,
    )  # fmt: skip
    for index, low, high in slow[:k].tolist():
        numbers[index] = float(bytes(buffer[low:high]).translate(None, b" \t"))
    first[b] = m
    return _Part(Lines(start[:b], end[:b], shape[:b], first[: b + 1], numbers[:m], founder[:s]), skeletons[:s])


def _join(parts: list[_Part], begins: list[int]) -> Lines:
    """One ``Lines`` of several parts; shapes are the same where their skeletons are the same."""
    known: dict[bytes, int] = {}
    founders: list[int] = []
    shapes, starts, ends, firsts = [], [], [], []
    line_base = number_base = 0
    for part, begin in zip(parts, begins, strict=True):
        renamed = np.empty(len(part.skeletons) + 2, dtype=np.int32)
        renamed[-1], renamed[-2] = OTHER, BLANK
        for k, skeleton in enumerate(part.skeletons):
            key = bytes(skeleton[: skeleton[0] + 1])
            if key not in known:
                known[key] = len(founders)
                founders.append(line_base + int(part.lines.founder[k]))
            renamed[k] = known[key]
        shapes.append(renamed[part.lines.shape])
        starts.append(part.lines.start + begin)
        ends.append(part.lines.end + begin)
        firsts.append(part.lines.first[:-1] + number_base)
        line_base += len(part.lines.start)
        number_base += len(part.lines.numbers)
    return Lines(
        np.concatenate(starts),
        np.concatenate(ends),
        np.concatenate(shapes),
        np.concatenate([*firsts, np.array([number_base], dtype=np.int64)]),
        np.concatenate([part.lines.numbers for part in parts]),
        np.array(founders, dtype=np.int64),
    )
