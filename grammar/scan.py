"""The bulk pass over the bytes: line ends, the shape of each line and its numbers, into flat arrays.

A line's *shape* is what is left of it when each number becomes a mark. The mark keeps what the language may ask of a
number besides its value: whether it has a sign and a point. Values after G, M, T and O stay literal; a line number of
one to five digits at the head of the line is one mark and no number. Spaces and tabs outside comments fall away and
letters are taken as capitals, as the standard has it (NISTIR 6556, 3.3). A longer line number is another mark. A line
with anything else in it (comments, brackets, parameters, free text) is ``OTHER``: it is kept by its exact text and never
read here.

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
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from grammar.classes import dataclass
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
LITERAL = np.zeros(256, dtype=np.bool_)  # letters whose value stays literal in the shape
for _letter in b"GMOTgmot":
    LITERAL[_letter] = True


@dataclass(frozen=True, eq=False)
class Lines:
    """What the bulk pass found. ``b`` lines, ``m`` numbers, ``s`` shapes.

    start, end (b,) int64 byte offsets of each line, line end left out; shape (b,) int32, OTHER and BLANK below 0;
    first (b,) int64 index of the line's first number in ``numbers``; numbers (m,) float64, every number of plain lines
    in order except the literal ones and line numbers (with gaps between parts); founder (s,) int64 the line that founded
    each shape.
    """

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    shape: NDArray[np.int32]
    first: NDArray[np.int64]
    numbers: NDArray[np.float64]
    founder: NDArray[np.int64]


def count_lines(data: Any, begin: int, stop: int) -> tuple[int, int]:
    """Lines and an upper bound of numbers (letters met) in ``data[begin:stop]`` (uint8)."""
    lines = 1
    letters = 0
    n = stop
    for i in range(begin, n):
        byte = data[i]
        if byte == 10 or (byte == 13 and not (i + 1 < n and data[i + 1] == 10)):
            lines += 1
        elif byte >= 65:
            letters += 1
    return lines, letters


def scan(
    data: Any,
    begin: int,
    n: int,
    number_base: int,
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
    powers: Any,
) -> tuple[int, int, int, int]:
    """One pass over ``data[begin:n]``; fills the arrays and returns (lines, numbers, slow numbers, shapes).

    Byte offsets are those of the whole; ``number_base`` is added to the indices in ``first``.

    ``mask`` is and-ed to each hash (a test forces collisions with 0). ``slow`` (k, 3) receives, for each number that
    needs the long way, its index in ``numbers`` and its byte span. ``table`` is the open-addressed hash table (size a
    power of two, -1 empty), ``hashes`` and ``founder`` hold each shape's hash and founding line, ``skeletons`` (s, w)
    uint8 its skeleton behind its length. When the table is full, lines of a new shape are OTHER, and so are lines
    whose skeleton is longer than w - 1.
    """
    lines = 0
    count = 0
    slows = 0
    shapes = 0
    whole_begin = begin
    slots = len(table) - 1
    longest = skeletons.shape[1]
    bones = np.zeros(longest + 8, dtype=np.uint8)
    i = begin
    while i <= n:
        if i == n and lines > 0 and (data[n - 1] == 10 or data[n - 1] == 13):
            break
        if i == n and n > whole_begin and lines == 0:
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
        line_number = False  # the letter is N
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
                line_number = byte | 32 == 110
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
                elif kind != 0 or byte == 10 or byte == 13:
                    break
                i += 1
            if points > 1 or digits == 0:
                plain = False
            mark = 128 + sign * 2 + (1 if points > 0 else 0)
            if line_number:
                mark = 200 if digits <= 5 else 201
                if length != 1 or sign != 0 or points > 0:
                    plain = False
            h = (h ^ np.uint64(mark)) * np.uint64(1099511628211)
            length += 1
            if length < longest:
                bones[length] = mark
            else:
                plain = False
            if plain and not line_number:
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
        first[lines] = number_base + line_first
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
    """What one part of the data holds: its lines, numbers at most, shapes' founders and skeletons."""

    lines: int
    numbers: int
    founder: NDArray[np.int64]
    skeletons: NDArray[np.uint8]


def read_lines(data: bytes, *, mask: int = (1 << 63) - 1, most_shapes: int = 65536, threads: int = 2) -> Lines:
    """Scan ``data``; needs the compiler. Large data is scanned in ``threads`` parts that end at line ends."""
    buffer = np.frombuffer(data, dtype=np.uint8)
    counting, scanning = compiled(count_lines), compiled(scan)
    parts = threads if len(data) > 4_000_000 else 1
    cuts = [0]
    for k in range(1, parts):
        cuts.append(max(data.find(b"\n", len(data) * k // parts) + 1, cuts[-1]))
    cuts.append(len(data))
    spans = [(a, b) for a, b in itertools.pairwise(cuts) if b > a] or [(0, len(data))]
    with ThreadPoolExecutor(len(spans)) as pool:
        counts = list(pool.map(lambda span: counting(buffer, *span), spans))
        # a part that ends with a line end was counted with an empty line after it
        ended = [data[b - 1 : b] in (b"\n", b"\r") for _, b in spans]
        line_base = [0, *itertools.accumulate(n - e for (n, _), e in zip(counts, ended, strict=True))]
        number_base = [0, *itertools.accumulate(letters + 1 for _, letters in counts)]
        start = np.empty(line_base[-1] + 1, dtype=np.int64)
        end = np.empty(line_base[-1] + 1, dtype=np.int64)
        shape = np.empty(line_base[-1] + 1, dtype=np.int32)
        first = np.empty(line_base[-1] + 2, dtype=np.int64)
        numbers = np.empty(number_base[-1], dtype=np.float64)

        def part(k: int) -> _Part:
            begin, stop = spans[k]
            at, low, high = line_base[k], number_base[k], number_base[k + 1]
            slow = np.empty((high - low, 3), dtype=np.int64)
            table = np.full(4 * most_shapes, -1, dtype=np.int32)
            hashes = np.zeros(most_shapes, dtype=np.uint64)
            founder = np.zeros(most_shapes, dtype=np.int64)
            skeletons = np.empty((most_shapes, 120), dtype=np.uint8)
            b, m, n, s = scanning(
                buffer, begin, stop, low, mask, start[at:], end[at:], shape[at:], first[at:], numbers[low:high], slow, table,
                hashes, founder, skeletons, CLASSES, LITERAL, POWERS,
            )  # fmt: skip
            for index, a, z in slow[:n].tolist():
                numbers[low + index] = float(data[a:z].translate(None, b" \t"))
            return _Part(b, m, founder[:s] + at, skeletons[:s])

        found = list(pool.map(part, range(len(spans))))
    total = line_base[len(spans) - 1] + found[-1].lines
    founders = _one_naming(found, line_base, shape)
    first[total] = number_base[len(spans) - 1] + found[-1].numbers
    return Lines(start[:total], end[:total], shape[:total], first[: total + 1], numbers, founders)


def _one_naming(parts: list[_Part], line_base: list[int], shape: NDArray[np.int32]) -> NDArray[np.int64]:
    """Number the shapes of all parts in one way, by their skeletons; returns the founders."""
    known: dict[bytes, int] = {}
    founders: list[int] = []
    for k, part in enumerate(parts):
        renamed = np.empty(len(part.skeletons) + 2, dtype=np.int32)
        renamed[-1], renamed[-2] = OTHER, BLANK
        for number, skeleton in enumerate(part.skeletons):
            key = bytes(skeleton[: skeleton[0] + 1])
            if key not in known:
                known[key] = len(founders)
                founders.append(int(part.founder[number]))
            renamed[number] = known[key]
        if k:
            mine = shape[line_base[k] : line_base[k] + part.lines]
            mine[:] = renamed[mine]
    return np.array(founders, dtype=np.int64)
