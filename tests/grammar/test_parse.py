"""Lines to templates: the plain way held equal to lark, tokens that give the bytes back, places, shapes, slips."""

# ruff: noqa: E501 - a row of a table is a line

from __future__ import annotations

import itertools
from dataclasses import fields

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grammar import parse
from grammar.dialect import dialect
from grammar.moves import Program
from grammar.parse import Template, build, grammar, plain_tree, shape, squeeze, tokens_of
from grammar.read import read_program
from grammar.source import Edit, Source, Token, apply, write

NUMBER = st.one_of(st.sampled_from(["0", "1", "-1", "+2.5", ".5", "5.", "-0.0", "59.1", "0101", "1.05", "99999", "000001"]),
                   st.floats(-1e4, 1e4, allow_nan=False).map(lambda x: f"{x:.4f}"))
PLAIN = st.lists(st.tuples(st.sampled_from("GMXYZABCIJKRFSTHDLPQE"), NUMBER).map("".join) | st.just(parse.COMMENT), max_size=7)


def same(a: Template, b: Template) -> None:
    for field in fields(Template):
        if field.name in ("number", "reject"):
            continue
        assert getattr(a, field.name) == getattr(b, field.name), field.name
    assert (a.reject is None) == (b.reject is None)
    if a.reject is not None and b.reject is not None:
        assert (a.reject.rule, a.reject.message, a.reject.numbers) == (b.reject.rule, b.reject.message, b.reject.numbers)


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(["", "N10", "N123456"]), PLAIN, st.sampled_from(["strict", "shop"]))
def test_plain_blocks_are_read_as_lark_reads_them(head: str, items: list[str], name: str) -> None:
    text = head + "".join(items)
    key, _ = shape(text)
    tree = plain_tree(text)
    assert tree is not None
    mine = build(itertools.count(), key, text, dialect(name), 64)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parse, "plain_tree", lambda _: None)
        same(mine, build(itertools.count(), key, text, dialect(name), 64))
    theirs = grammar().parse(text)
    assert [getattr(i, "data", "COMMENT") for i in tree.children] == [getattr(i, "data", "COMMENT") for i in theirs.children]


@pytest.mark.parametrize("text", ["X1.2.3", "X", "N10N20", "DO1", "END1", "GOTO5", "O5", "/X1", "X[1]", "X#1", "#1=2", "N-5X1", "X1\x022", "N5.5"])
def test_lark_judges_all_else(text: str) -> None:
    assert plain_tree(text) is None


@settings(max_examples=300, deadline=None)
@given(PLAIN, PLAIN)
def test_blocks_of_one_shape_have_one_template(one: list[str], two: list[str]) -> None:
    a, b = "".join(one), "".join(two)
    if shape(a)[0] != shape(b)[0]:
        a = b
    key, numbers = shape(a)
    first, second = (build(itertools.count(), key, text, dialect("shop"), 64) for text in (a, b))
    if first.reject is None or "squeezed" not in first.reject.numbers:
        same(first, second)
    if first.reject is None:
        assert len(numbers) == len(first.letters)


# ---------------------------------------------------------------- tokens, edits, places


BYTES = st.one_of(
    st.binary(max_size=120),
    st.lists(st.sampled_from(["G1 X1.5", "N10 G0x-2 (c)", "; text", "%", "#1=[2+3]", "\r\n", "\n", "\r", "\t", "X", "(open", "o1 call [1]", "/G0", "é"]),
             max_size=20).map(lambda p: "".join(p).encode()),
)


@settings(max_examples=300, deadline=None)
@given(BYTES)
def test_tokens_give_the_same_bytes(data: bytes) -> None:
    source = Source(data)
    for name in ("strict", "shop"):
        tokens = list(tokens_of(source, dialect(name)))
        assert write(source, tokens) == data
        assert all(t.start < t.end for t in tokens)
        assert [t.end for t in tokens[:-1]] == [t.start for t in tokens[1:]]


def test_kinds_of_tokens() -> None:
    source = Source(b"\xef\xbb\xbf/N10 G1 x-2.5 #1=[2+3] (note)\r\n%\nG0 X..")
    kinds = [(source.data[t.start : t.end], t.kind) for t in tokens_of(source, dialect("shop"))]
    assert kinds == [
        (b"\xef\xbb\xbf", "bom"), (b"/", "block-delete"), (b"N10", "line-number"), (b" ", "space"), (b"G", "letter"), (b"1", "code"), (b" ", "space"),
        (b"x", "letter"), (b"-2.5", "number"), (b" ", "space"), (b"#", "operator"), (b"1", "number"), (b"=", "operator"), (b"[", "bracket"),
        (b"2", "number"), (b"+", "operator"), (b"3", "number"), (b"]", "bracket"), (b" ", "space"), (b"(note)", "comment"), (b"\r\n", "end-of-line"),
        (b"%", "percent"), (b"\n", "end-of-line"), (b"G0 X..", "unread")]


def test_edits() -> None:
    assert apply(b"G0 X1 Y2", [Edit(6, 8, b"Y3"), Edit(0, 2, b"G1"), Edit(8, 8, b" F100")]) == b"G1 X1 Y3 F100"
    with pytest.raises(ValueError, match="overlaps"):
        apply(b"G0 X1", [Edit(0, 3, b""), Edit(2, 4, b"")])
    with pytest.raises(ValueError, match="outside"):
        apply(b"G0", [Edit(1, 9, b"")])
    assert Source(b"G0").apply([Edit(1, 2, b"1")]).data == b"G1"
    assert Token(0, 1, "letter").kind == "letter"


@pytest.mark.parametrize(("data", "encoding", "column"), [
    (b"G0 X1 (a) Q..", "ascii", 11), ("G0 X1 (é) Q..".encode(), "utf-8", 11), ("G0 X1 (é) Q..".encode("cp1252"), "cp1252", 11),
    (b"\xef\xbb\xbfG0 X1 (a) Q..", "utf-8-sig", 11)])
def test_encoding_is_told_and_columns_count_characters(data: bytes, encoding: str, column: int) -> None:
    program = read_program(data, fragment=True)
    assert program.source.encoding == encoding
    fault = next(f for f in program.faults if f.severity == "error")
    assert (fault.line, fault.column) == (1, column + 1)


def test_words_and_text_of_a_block() -> None:
    program = read_program(b"G0 x - 1 . 5 (Y9)\nX[1+2] #1=3 T0101")
    assert [(w.letter, w.text, w.value) for w in program.words(0)] == [("G", "G0", 0.0), ("X", "x - 1 . 5", -1.5)]
    assert [(w.letter, w.text, w.value) for w in program.words(1)] == [("X", "X[1+2]", None), ("T", "T0101", 101.0)]
    assert program.text(1) == "X[1+2] #1=3 T0101"


@pytest.mark.parametrize(("line", "words"), [
    ("XSIN[30] Y-#1 Z[[1]+2]", ["XSIN[30]", "Y-#1", "Z[[1]+2]"]), ("G1 XATAN[1]/[2] F##3", ["G1", "XATAN[1]/[2]", "F##3"]),
    ("#1=ABS[2]+3 X5", ["X5"]), ("#[1]=2 X#<a>", ["X#<a>"]), ("IF [#1 GT 2] THEN #3=4 S5", ["S5"]), ("WHILE [#1 LT 2] DO1 X4", ["X4"]),
    ("GOTO 10", []), ("o6 call [1] [2]", []), ("N10 O5 G90", ["G90"]), ("G28 X", ["G28", "X"]), ("% X5", []), ("X1.5e-3 Y2", ["X1.5e-3", "Y2"]),
    ("(X9) G0", ["G0"]), ("N5 M6 T1", ["M6", "T1"])])
def test_words_of_odd_blocks(line: str, words: list[str]) -> None:
    program = read_program(line.encode())
    assert [w.text for w in program.words(0)] == words


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from(["G1", "X1", "Y-2.5", "F100", "(c)", "Z.5"]), max_size=6), st.sampled_from(["", " ", "\t", "  "]))
def test_spacing_and_case_change_nothing(items: list[str], gap: str) -> None:
    loose = gap.join(items)
    one, two = squeeze("".join(items), dialect("strict")).text, squeeze(loose, dialect("strict")).text
    assert one == two == squeeze(loose.lower(), dialect("strict")).text


# ---------------------------------------------------------------- the twenty commonest slips

SLIPS = [  # block, rule, column, words the message must hold
    ("G1 X1..5 F100", "unreadable-block", 7, "two decimal points"),
    ("G1 X1,5 F100", "unreadable-block", 6, "','"),
    ("G1 X Y5 F100", "unreadable-block", 4, "X has no number"),
    ("G1 X1O.5 F100", "unreadable-block", 6, "O"),
    ("GO X5", "unreadable-block", 2, "O"),
    ("G1 X5 X6 F100", "repeated-word", 7, "X stands twice"),
    ("G0 G1 X5 F100", "conflicting-codes", 4, "G0 and G1"),
    ("G11 X5 F100", "unknown-code", 1, "G11"),
    ("G2 X10 Y0 F100", "missing-word", 1, "neither I, J nor R"),
    ("G2 X10 Y0 I4 F100", "arc-mismatch", 1, "no circle"),
    ("G2 X10 Y0 R4 F100", "arc-impossible", 11, "farther than twice the radius"),
    ("G1 X[1+2 F100", "unreadable-block", 10, "F"),
    ("G1 X#1+2 F100", "unreadable-block", 7, "outside brackets"),
    ("G83 X1 Y1 Z-5 R1 F100", "cycle-fault", 1, "Q (the peck) is missing"),
    ("G81 X1 Y1 Z5 R1 F100", "cycle-fault", 14, "below the bottom"),
    ("G4", "missing-word", 1, "G4 needs P"),
    ("G1 X5 F-100", "bad-value", 7, "negative"),
    ("5 X10", "unreadable-block", 1, "without a letter"),
    ("X10 Y5", "missing-word", 1, "no motion code"),
    ("G1 X5 $ F100", "unreadable-block", 7, "'$'"),
]


@pytest.mark.parametrize(("block", "rule", "column", "words"), SLIPS, ids=[s[0] for s in SLIPS])
def test_slip(block: str, rule: str, column: int, words: str) -> None:
    program: Program = read_program(f"G21 G90\nG92 X0 Y0 Z0\n{block}\n".encode(), fragment=True)
    found = [f for f in program.faults if f.severity == "error"]
    assert [(f.rule, f.line, f.column) for f in found] == [(rule, 3, column)], found
    assert words in found[0].message
    assert found[0].fix and found[0].fix.endswith(".")


@pytest.mark.parametrize(
    ("block", "message", "fix"),
    [
        ("G1 X1,5 F100", "',' cannot stand here", "Write a decimal point, not a comma"),
        ("G1 X1O F100", "O cannot stand here", "the digit 0"),
        ("GO X5", "O cannot stand here", "the digit 0"),
        ("G1 X--5 F100", "a number has two signs", "one sign"),
    ],
)
def test_a_slip_of_the_finger_is_named_with_its_remedy(block: str, message: str, fix: str) -> None:
    program = read_program(f"G21 G90\nG92 X0 Y0 Z0\n{block}\n".encode(), fragment=True)
    found = [f for f in program.faults if f.severity == "error"]
    assert [f.rule for f in found] == ["unreadable-block"]
    assert message in found[0].message
    assert fix in found[0].fix


def test_many_bad_blocks_of_one_kind_keep_to_little_memory() -> None:
    """What is kept of a refused shape must not hold on to the programs it was met in."""
    import tracemalloc

    def peak(lines: int) -> int:
        data = b"G11 X1\nG1 X..5\nG0 G1 X1\n" * lines
        tracemalloc.start()
        assert len(read_program(data, fragment=True).faults) == 3 * lines
        found = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return found

    peak(10)
    assert (peak(600) - peak(200)) / (3 * 400) < 3000  # bytes a refused block


def test_a_kept_refusal_has_no_traceback() -> None:
    from grammar.interpret import language

    read_program(b"G11 X1\nG0\nX1\nG4", dialect="strict")
    known = language(dialect("strict"), 64)
    kept = [t.reject for t in known.templates.known.values()] + [s.reject for s in known.memo.values()]
    assert [r for r in kept if r is not None and r.__traceback__ is not None] == []
    assert any(r is not None for r in kept)
