"""Lines -> block templates. Lark lives here, and nowhere else.

A line is squeezed (white space out, letters up, each comment one mark), its shape taken (numbers of plain words replaced
by a mark; G, M, T and N values literal; lines with brackets, parameters or names kept by their exact text), and each
distinct shape is parsed once by lark into a ``Template``. Templates are kept per dialect.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping
from dataclasses import field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from grammar import lexicon
from grammar.classes import dataclass
from grammar.dialect import Dialect
from grammar.moves import Word
from grammar.source import BOM, Source, Token

MARK = "\x03"  # stands for a number in a shape
COMMENT = "\x01"  # stands for a comment in squeezed text
EXPONENT = "\x02"  # stands for the e of 4.5e-7
NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"  # as NUMBER in rs274.lark

_PLAIN_WORD = re.compile(rf"([A-FH-LP-SU-Z])({NUMBER})")
_PLAIN_BLOCK = re.compile(rf"(?:N[0-9]+)?(?:[A-MP-Z]{NUMBER}|{COMMENT})*")
_PLAIN_ITEM = re.compile(rf"([A-Z])({NUMBER})|{COMMENT}")
_HEAD = re.compile(r"(/?)N(?:[0-9]{1,5}|([0-9]{6,}))(?![0-9.])")
_EXACT = re.compile(r"[#\[\]=<\x02:%]|END|GOTO|THEN|DO[0-9]")
_SLOW = re.compile(r"[^ \tA-DF-Za-df-z0-9.+#\[\]=<>-]")
_ODD_SPACE = " \t\x00\x0b\x0c\x1a\x7f\xa0\xc2"  # padding, form feed, end of file, no-break space
_TEMPLATES_KEPT = 50_000  # shapes remembered; a program whose every line has its own shape must not fill the memory


class Reject(Exception):  # noqa: N818 - the program is at fault, not the reader
    """A block is refused. ``at`` is a letter or code whose place is meant ("X", "G5"), or an index into the raw line."""

    def __init__(self, rule: str, message: str, fix: str = "", at: str | int | None = None, **numbers: Any) -> None:
        super().__init__(message)
        self.rule = rule
        self.message = message
        self.fix = fix
        self.at = at
        self.numbers = numbers  # measured, limit, unit; where it was found in squeezed text

    def again(self) -> Reject:
        """The same refusal anew: one that is kept must never be raised itself, it would gather tracebacks."""
        return Reject(self.rule, self.message, self.fix, self.at, **self.numbers)


class Squeezed(NamedTuple):
    """A line without white space; ``places`` gives the raw index of each character, None where it was not worked out."""

    text: str
    places: list[int] | None
    comments: tuple[tuple[int, int], ...]
    relaxed: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """What a shape says.

    ``letters`` are the letters of the number slots in order; a plain line's numbers fill them, a line kept by its exact
    text fills them by evaluating ``values``. ``codes_g`` and ``codes_m`` are in tenths. ``bare`` are letters without
    number. ``tool`` is the literal T number. ``steps`` is the block as a row of clauses where it holds flow words.
    """

    number: int  # identity within its dialect
    key: str
    letters: tuple[str, ...] = ()
    values: tuple[Any, ...] | None = None
    codes_g: tuple[int, ...] = ()
    codes_m: tuple[int, ...] = ()
    code_values: tuple[tuple[str, Any], ...] = ()  # G and M words whose value must be evaluated
    tool: float | None = None
    tool_digits: int = 0
    bare: str = ""
    settings: tuple[tuple[Any, Any], ...] = ()
    flow: tuple[Any, ...] = ()
    oword: tuple[Any, ...] | None = None
    delete: int = 0  # 0: no block delete; else the switch, 1 to 9
    percent: bool = False
    comments: int = 0
    relaxed: tuple[str, ...] = ()
    reject: Reject | None = None
    plain: bool = False  # only words whose numbers come from the line
    slots: Mapping[str, int] = field(default_factory=dict)


@lru_cache(maxsize=1)
def grammar() -> Any:
    """The lark parser of a block, built once."""
    from lark import Lark

    text = Path(__file__).with_name("rs274.lark").read_text(encoding="utf-8")
    return Lark(text, parser="lalr", lexer="contextual", start="block", maybe_placeholders=False)


# ---------------------------------------------------------------- white space and comments


def squeeze(line: str, dialect: Dialect) -> Squeezed:
    """The line without white space, in capitals, each comment one mark. Raises Reject for a comment that is not closed."""
    if _SLOW.search(line) is None:
        return Squeezed(line.replace(" ", "").replace("\t", "").upper(), None, (), ())
    return _squeeze_slowly(line, dialect)


def _squeeze_slowly(line: str, dialect: Dialect) -> Squeezed:
    out: list[str] = []
    places: list[int] = []
    comments: list[tuple[int, int]] = []
    relaxed: list[str] = []
    allow = dialect.allows
    length = len(line)
    i = 0

    def comment(start: int, end: int) -> None:
        out.append(COMMENT)
        places.append(start)
        comments.append((start, end))
        if not _printable(line[start:end]):
            if not allow("odd-comment-text"):
                raise Reject("unreadable-block", "the comment holds a character that is no printing character",
                             "Take the character out of the comment.", start)
            relaxed.append("odd-comment-text")

    if allow("percent-text") and line.lstrip().startswith("%"):
        at = line.index("%")
        text = "%" + line[at + 1 :].strip()
        return Squeezed(text, list(range(at, at + len(text))), (), ())
    while i < length:
        c = line[i]
        if c in " \t":
            i += 1
            continue
        if c == "(":
            end, depth = i + 1, 1
            while end < length and depth:
                if line[end] == "(":
                    if not allow("nested-comment"):
                        raise Reject("unreadable-block", "a second ( stands inside a comment",
                                     "Close the comment with ) before another one begins.", end)
                    # a ( that nothing closes is text, not a deeper level
                    depth += 1
                elif line[end] == ")":
                    depth -= 1
                end += 1
            if depth:
                close = line.find(")", i)
                if close < 0:
                    if not allow("unclosed-comment"):
                        raise Reject("unreadable-block", "the comment that begins here is not closed with ) on its line",
                                     "Add ) where the comment ends.", i)
                    relaxed.append("unclosed-comment")
                    end = length
                else:
                    end = line.rfind(")") + 1
                    relaxed.append("nested-comment")
            elif "(" in line[i + 1 : end]:
                relaxed.append("nested-comment")
            comment(i, end)
            i = end
            continue
        if c == ";" and allow("semicolon-comment"):
            relaxed.append("semicolon-comment")
            comment(i, length)
            break
        if c == "/" and line.startswith("//", i) and allow("slash-comment"):
            relaxed.append("slash-comment")
            comment(i, length)
            break
        if c == ")" and allow("stray-bracket"):
            relaxed.append("stray-bracket")
            i += 1
            continue
        if c == "*" and out and allow("checksum") and re.fullmatch(r"\*[0-9]{1,3}\s*", line[i:]) \
                and "[" not in line and "=" not in line:
            relaxed.append("checksum")
            comment(i, length)
            break
        if c in "eE" and out and out[-1] in "0123456789." and i and line[i - 1] == out[-1] \
                and re.match(r"[eE][+-]?[0-9]", line[i:]):
            out.append(EXPONENT)
        elif " " < c <= "~":
            out.append(c.upper())
        else:
            alone = line[i - 1 : i] in _ODD_SPACE or line[i + 1 : i + 2] in _ODD_SPACE  # also true at the line's ends
            if c in _ODD_SPACE and alone and allow("odd-space"):
                relaxed.append("odd-space")
                i += 1
                continue
            raise Reject("unreadable-block", f"{_name(c)} stands outside a comment",
                         "Take the character out, or put it in a comment.", i)
        places.append(i)
        i += 1
    return Squeezed("".join(out), places, tuple(comments), tuple(dict.fromkeys(relaxed)))


def _printable(text: str) -> bool:
    return all(" " <= c <= "~" or c == "\t" for c in text)


def _name(c: str) -> str:
    return f"the character {c!r}" if " " < c <= "~" else f"the byte {ord(c):#04x}, no character of the language,"


_MESSAGE = re.compile(r"\([ \t]*M[ \t]*S[ \t]*G[ \t]*,(.*)\)\Z", re.IGNORECASE | re.DOTALL)


def message_of(comment: str) -> str | None:
    """The text of a comment that is a message to the operator (3.3.4), else None."""
    found = _MESSAGE.match(comment)
    return found.group(1) if found else None


def raw_place(line: str, squeezed: Squeezed, index: int) -> int:
    """The raw index of a character of the squeezed text."""
    if squeezed.places is None:
        places = [i for i, c in enumerate(line) if c not in " \t"]
    else:
        places = squeezed.places
    return places[index] if index < len(places) else len(line)


# ---------------------------------------------------------------- shapes


def shape(text: str) -> tuple[str, list[str]]:
    """The shape of squeezed text and the texts of its numbers in order; no numbers where the exact text counts."""
    if text[:1] in "N/":
        text = _HEAD.sub(_head_mark, text, count=1)
    if _EXACT.search(text) is not None:
        return text, []
    parts = _PLAIN_WORD.split(text)
    numbers = parts[2::3]
    parts[2::3] = [MARK] * len(numbers)
    return "".join(parts), numbers


def _head_mark(head: re.Match[str]) -> str:
    """A line number as its mark: one for up to five digits, two for more."""
    return f"{head[1]}N{MARK if head[2] is None else MARK + MARK}"


class Templates:
    """The templates of one dialect: shape -> template, each parsed once."""

    def __init__(self, dialect: Dialect, bracket_limit: int = 64) -> None:
        self.dialect = dialect
        self.bracket_limit = bracket_limit
        self.known: dict[str, Template] = {}
        self.numbers = itertools.count()  # each template has its own

    def of(self, key: str, text: str) -> Template:
        """The template of a shape; ``text`` is a squeezed line of that shape, for the first time it is met."""
        found = self.known.get(key)
        if found is None:
            if len(self.known) >= _TEMPLATES_KEPT:
                self.known.clear()
            found = self.known[key] = build(self.numbers, key, text, self.dialect, self.bracket_limit)
        return found

    def concrete(self, template: Template, codes: list[tuple[str, float]]) -> Template:
        """A template whose evaluated G and M words have become literal codes."""
        key = template.key + "".join(f"\x04{letter}{value!r}" for letter, value in codes)
        found = self.known.get(key)
        if found is None:
            bare = replace(template, number=next(self.numbers), key=key, code_values=())
            found = self.known[key] = _with_codes(
                bare, [*(("G", c / 10) for c in template.codes_g), *(("M", c / 10) for c in template.codes_m), *codes],
                self.dialect)
        return found


# ---------------------------------------------------------------- one shape -> template


class _Leaf(str):
    """A terminal as lark gives it."""

    type: str
    start_pos: int


class _Branch(NamedTuple):
    """A rule as lark gives it."""

    data: str
    children: list[Any]


def _leaf(kind: str, text: str, place: int) -> _Leaf:
    leaf = _Leaf(text)
    leaf.type, leaf.start_pos = kind, place
    return leaf


def plain_tree(text: str) -> _Branch | None:
    """The tree of a block of nothing but words with numbers and comments; None where lark must judge.

    Most programs hold no other block, and loading lark costs more than reading them. A test holds this equal to lark.
    """
    if _PLAIN_BLOCK.fullmatch(text) is None:
        return None
    items: list[Any] = []
    for found in _PLAIN_ITEM.finditer(text):
        letter, number = found.groups()
        place = found.start()
        if letter is None:
            items.append(_leaf("COMMENT", COMMENT, place))
        elif letter == "N":
            items.append(_Branch("line_number", [_leaf("NUMBERED", found.group(), place)]))
        else:
            items.append(_Branch("word", [_leaf("LETTER", letter, place), _leaf("NUMBER", number, place + 1)]))
    return _Branch("block", items)


def build(numbers: Iterator[int], key: str, text: str, dialect: Dialect, bracket_limit: int) -> Template:
    """Parse squeezed text and make its template; a text that cannot be read gives a template that is refused."""
    depth, deepest, hashes = 0, 0, 0
    for c in text:
        if c == "[":
            depth += 1
            deepest = max(deepest, depth)
        elif c == "]":
            depth -= 1
        hashes = hashes + 1 if c in "#+-" else 0
        deepest = max(deepest, hashes)
    if deepest > bracket_limit:
        return Template(next(numbers), key, reject=Reject(
            "expression-fault", f"brackets or signs are nested {deepest} deep; at most {bracket_limit} are followed",
            "Work the expression out in steps, with parameters.", measured=float(deepest), limit=float(bracket_limit)))
    tree: Any = plain_tree(text)
    if tree is None:
        from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

        try:
            tree = grammar().parse(text)
        except UnexpectedInput as bad:
            place = len(text)
            if isinstance(bad, UnexpectedCharacters) or (isinstance(bad, UnexpectedToken) and bad.token.type != "$END"):
                place = int(bad.pos_in_stream or 0)
            reject = _syntax_fault(text, place, dialect)
            reject.numbers["text"] = text
            return Template(next(numbers), key, reject=reject)
    try:
        return _Builder(numbers, key, dialect).block(tree, text)
    except Reject as refused:
        refused.numbers["text"] = text
        return Template(next(numbers), key, reject=refused.again())


def _syntax_fault(text: str, place: int, dialect: Dialect) -> Reject:
    """A message for the place where lark could not go on. The index is into the squeezed text, marked by ``squeezed``."""
    before, rest = text[:place], text[place:]
    last = before[-1:]
    opened = before.count("[") - before.count("]")
    fix = "Compare the line with the printed program, and write the word again."
    if not rest:
        if opened > 0:
            message, fix = "a bracket [ is not closed", "Add ] where the expression ends."
        elif last == "=":
            message, fix = "a parameter is set to nothing", "Write the value after =."
        elif last == "#" or before.startswith("#"):
            message, fix = "a parameter setting needs = and a value", "Write for example #3=15."
        elif last.isalpha():
            message, fix = f"the letter {last} has no number", f"Write the number after {last}, or take the letter out."
        else:
            message = "the line ends in the middle of a word"
    elif rest[0] == "[" and last == "N":
        message, fix = "a line number takes no expression", "Write N and up to five digits."
    elif rest[0] == "]" and last == "[":
        message, fix = "the brackets are empty", "Write the expression between [ and ]."
    elif rest[0] == "]":
        message, fix = "a bracket ] closes nothing", "Take it out, or add the [ it belongs to."
    elif rest[0] == ".":
        message, fix = "a number has two decimal points, or none of its digits", "Write the number with one point."
    elif rest[0] == "N":
        message = "N stands where no line number can be"
        fix = "A line number comes first, as N and one to five digits without sign."
    elif rest[0] in "+-*/" or (opened == 0 and re.match("MOD|AND|OR|XOR", rest)):
        message = "an operation stands outside brackets" if opened <= 0 else "an operation has nothing to work on"
        fix = "Put the whole expression in square brackets, for example X[#1+2]."
    elif rest[0] in COMMENT + "(":
        message, fix = "a comment stands inside a word", "Move the comment behind the word."
    elif rest[0] == "%":
        message, fix = "% stands among words", "% must have a line to itself."
    elif rest[0].isdigit() and last in tuple("+-"):
        message, fix = "a number has two signs", "Write the number with one sign."
    elif rest[0].isdigit():
        message, fix = "a number stands without a letter", "Write the letter the number belongs to."
    elif opened > 0 and rest[0].isalpha():
        name = re.match("[A-Z]+", rest)
        message = f"{name.group() if name else rest[0]} is no function or operation of the language"
        fix = "Functions are ABS ACOS ASIN ATAN COS EXP FIX FUP LN ROUND SIN SQRT TAN, each with [ ]."
    elif before.endswith("]") and "ATAN[" in before:
        message, fix = "ATAN needs two bracketed values", "Write ATAN[y]/[x]."
    elif rest[0] == EXPONENT or rest[0].isalpha():
        message = f"{rest[0].replace(EXPONENT, 'E')} cannot stand here"
        if rest[0] == "O":
            fix = "Write the digit 0 where a nought is meant: this is the letter O."
    else:
        message = f"{_name(rest[0])} cannot stand here"
        if rest[0] == ",":
            fix = "Write a decimal point, not a comma: 1.5."
    reject = Reject("unreadable-block", message, fix, None)
    reject.numbers["squeezed"] = place
    return reject


class _Builder:
    """Walks one lark tree. Terminals carry their place in the squeezed text as ``start_pos``."""

    def __init__(self, numbers: Iterator[int], key: str, dialect: Dialect) -> None:
        self.numbers, self.key, self.dialect = numbers, key, dialect
        self.relaxed: list[str] = []

    def need(self, option: str, rule: str, message: str, place: int, fix: str = "") -> None:
        """Note a relaxation, or refuse the block where the dialect does not have it."""
        if not self.dialect.allows(option):
            raise self.refuse(rule, message, place, fix)
        if option not in self.relaxed:
            self.relaxed.append(option)

    @staticmethod
    def refuse(rule: str, message: str, place: int, fix: str = "") -> Reject:
        reject = Reject(rule, message, fix or "Write it as the published standard has it, or choose the shop dialect.")
        reject.numbers["squeezed"] = place
        return reject

    def block(self, tree: Any, text: str) -> Template:
        """The template of a whole line: its head, then one body, or a row of clauses where flow words part it."""
        oword: tuple[Any, ...] | None = None
        delete = 0
        clauses: list[tuple[str, Any]] = []
        body: list[Any] = []
        for item in tree.children:
            kind = getattr(item, "type", None) or item.data
            if kind == "PERCENT":
                return Template(next(self.numbers), self.key, percent=True)
            if kind == "SLASH":
                delete = 1
            elif kind == "COLON":
                self.need("colon", "unreadable-block", "a colon is no part of a block", item.start_pos)
                oword = (str(item)[1:], "")
            elif kind == "line_number":
                delete = self.line_number(item) or delete
            elif kind == "LATE_NUMBER":
                self.need("line-number-after-words", "unreadable-block", "a line number stands behind words",
                          item.start_pos, "Put N first on the line.")
            elif kind == "oword":
                oword = self.oword(item)
            elif kind == "flow":
                if body:
                    clauses.append(("body", self.body(body, text)))
                    body = []
                clauses.append(self.flow(item))
            else:
                body.append(item)
        if clauses:
            if body:
                clauses.append(("body", self.body(body, text)))
            for _, clause in clauses:
                if isinstance(clause, Template) and clause.reject is not None:
                    raise clause.reject.again()
            for _, clause in clauses:
                if isinstance(clause, Template):
                    self.relaxed += clause.relaxed
            comments = sum(clause.comments for _, clause in clauses if isinstance(clause, Template))
            return Template(next(self.numbers), self.key, values=(), flow=tuple(clauses), delete=delete, comments=comments,
                            relaxed=tuple(self.relaxed))
        made = self.body(body, text)
        return replace(made, oword=oword, delete=delete, relaxed=tuple(dict.fromkeys((*self.relaxed, *made.relaxed))),
                       plain=_EXACT.search(text) is None and not (oword and oword[1]))

    def line_number(self, item: Any) -> int:
        """Check a line number; the switch of a block delete that follows it."""
        token = item.children[0]
        if len(token) > 6:
            self.need("long-line-number", "unreadable-block", "a line number has more than five digits", token.start_pos,
                      "Use N with one to five digits.")
        if len(item.children) == 1:
            return 0
        late = item.children[1]
        self.need("block-delete-after-number", "unreadable-block", "/ must come before the line number", late.start_pos,
                  "Put / first on the line.")
        return int(late[1:] or 1)

    def body(self, items: list[Any], text: str) -> Template:
        """The template of words, settings and comments."""
        exact = _EXACT.search(text) is not None
        words: list[tuple[str, Any]] = []
        codes: list[tuple[str, float]] = []
        code_values: list[tuple[str, Any]] = []
        bare, seen = "", set[str]()
        bare_places: list[int] = []
        settings: list[tuple[Any, Any]] = []
        tool: float | None = None
        digits = comments = 0

        def repeated(letter: str, place: int) -> None:
            if letter in seen:
                raise self.refuse("repeated-word", f"the letter {letter} stands twice in one block", place,
                                  f"Leave one {letter} word, or make two blocks.")
            seen.add(letter)

        for item in items:
            kind = getattr(item, "type", None) or item.data
            if kind == "COMMENT":
                comments += 1
                continue
            if kind == "setting":
                settings.append(self.setting(item))
                comments += sum(1 for _ in item.scan_values(lambda t: t.type == "COMMENT"))
                continue
            letter, place = str(item.children[0]), item.children[0].start_pos
            if len(item.children) == 1:
                self.bare_letter(letter, place)
                bare_places.append(place)
                self.no_names(bare + letter, bare_places)
                repeated(letter, place)
                bare += letter
                continue
            value = self.real(item.children[1])
            if letter not in lexicon.LETTERS:
                self.unknown_letter(letter, place)
            if letter in "GM":
                if value[0] == "n":
                    codes.append((letter, value[1]))
                else:
                    code_values.append((letter, value))
                continue
            repeated(letter, place)
            if letter == "T" and value[0] == "n":
                tool = value[1]
                digits = sum(c.isdigit() for c in str(item.children[1]).split(".")[0])
            else:
                words.append((letter, value))
        letters = tuple(letter for letter, _ in words)
        template = Template(
            next(self.numbers), self.key, letters=letters, values=tuple(v for _, v in words) if exact else None,
            code_values=tuple(code_values), tool=tool, tool_digits=digits, bare=bare, settings=tuple(settings),
            comments=comments, relaxed=tuple(self.relaxed), plain=not exact, slots={c: i for i, c in enumerate(letters)})
        return _with_codes(template, codes, self.dialect)

    def no_names(self, bare: str, places: list[int]) -> None:
        """Letters without number side by side are a name, a place-holder that was never filled in."""
        axes = set(bare) <= set("XYZABC") and len(set(bare)) == len(bare)
        if len(places) > 1 and places[-1] - places[-2] == 1 and not axes:
            raise self.refuse("unreadable-block", "a name stands where a number is expected", places[-2],
                              "Write the number itself; this looks like a place-holder that was never filled in.")

    def bare_letter(self, letter: str, place: int) -> None:
        if letter not in lexicon.LETTERS:
            self.unknown_letter(letter, place)
        self.need("letter-without-number", "unreadable-block", f"the letter {letter} has no number", place,
                  f"Write the number after {letter}, or take the letter out.")
        if letter in "GM":
            raise self.refuse("unreadable-block", f"the letter {letter} has no number", place, "Write the code's number.")

    def unknown_letter(self, letter: str, place: int) -> None:
        raise self.refuse("unreadable-block", f"{letter} is no letter of the language", place,
                          "Words begin with one of A B C D F G H I J K L M P Q R S T X Y Z.")

    def setting(self, item: Any) -> tuple[Any, Any]:
        index = self.real(item.children[0])
        expression = item.children[1]
        if len(expression.children) > 1:
            self.need("bare-expression", "unreadable-block", "an operation stands outside brackets",
                      _place(expression.children[1]), "Put the expression in square brackets.")
        return index, self.expression(expression, inside=False)

    def flow(self, item: Any) -> tuple[str, Any]:
        """A clause: ("if", condition), ("then", None), ("while", condition), ("do", n), ("end", n), ("goto", number)."""
        token = item.children[0]
        self.need("flow", "unreadable-block", f"{token} is no word of the language", token.start_pos)
        kind = token.type.lower()
        if len(item.children) > 1:
            return kind, self.real(item.children[1])
        return kind, int(str(token).lstrip("DOEN")) if kind in ("do", "end") else None

    def oword(self, item: Any) -> tuple[Any, ...]:
        token = item.children[0]
        name = str(token)[1:]
        if len(item.children) == 1:
            self.need("program-number", "unreadable-block", "O is no letter of the language", token.start_pos)
            return (name, "")
        self.need("o-words", "unreadable-block", "O is no letter of the language", token.start_pos)
        return (name, str(item.children[1]), tuple(self.real(b) for b in item.children[2:]))

    def real(self, node: Any) -> Any:
        """An expression as nested tuples: see grammar.evaluate."""
        kind = getattr(node, "type", None) or node.data
        if kind == "NUMBER":
            return ("n", float(node))
        if kind == "EXPONENT":
            self.need("exponent", "unreadable-block", "a number with an exponent is not in the language", node.start_pos,
                      "Write the number out.")
            return ("n", float(str(node).replace(EXPONENT, "e")))
        if kind == "bracket":
            return self.expression(node.children[0], inside=True)
        if kind == "NAMED":
            self.need("named-parameters", "unreadable-block", "a parameter has a number, not a name", node.start_pos)
            return ("name", str(node)[2:-1])
        if kind == "parameter":
            child = self.real(node.children[0])
            return child if child[0] == "name" else ("p", child)
        if kind == "call":
            return ("f", str(node.children[0]), self.real(node.children[1]))
        if kind == "arctangent":
            return ("atan", self.real(node.children[1]), self.real(node.children[3]))
        sign = node.children[0]
        self.need("sign-before-expression", "unreadable-block", "a sign stands before an expression", sign.start_pos,
                  "A sign belongs to a number; write [0-#1] or [0-[...]].")
        inner = self.real(node.children[1])
        return ("neg", inner) if sign == "-" else inner

    def expression(self, node: Any, inside: bool) -> Any:
        operands: list[Any] = []
        operators: list[str] = []
        last = len(node.children) - 1
        for i, child in enumerate(node.children):
            if child.data == "operator":
                token = child.children[0]
                if token.type == "COMPARISON":
                    self.need("comparison", "unreadable-block", f"{token} is no operation of the language", token.start_pos)
                operators.append(str(token))
                continue
            operands.append(self.real(child.children[0]))
            if len(child.children) > 1 and (inside or i != last):
                self.need("comment-in-brackets", "unreadable-block", "a comment stands inside an expression",
                          child.children[1].start_pos, "Move the comment behind the word.")
        if not operators:
            return operands[0]
        return ("chain", tuple(operands), tuple(operators))


def _place(node: Any) -> int:
    for token in node.scan_values(lambda _: True):
        return int(token.start_pos)
    return 0


def _with_codes(template: Template, codes: list[tuple[str, float]], dialect: Dialect) -> Template:
    """The template with its G and M codes checked against the tables (3.3.5, 3.4). Raises Reject in building."""
    g: list[int] = []
    m: list[int] = []
    relaxed = list(template.relaxed)
    groups: dict[str, str] = {}

    def need(option: str, reject: Reject) -> None:
        if not dialect.allows(option):
            raise reject
        if option not in relaxed:
            relaxed.append(option)

    try:
        unknown: Reject | None = None
        for letter, value in codes:
            tenths = round(value * 10) if abs(value) < 1e6 else -1
            shown = f"{letter}{value:g}"
            scale = 10 if letter == "G" else 1
            if abs(value * scale - round(value * scale)) > lexicon.WHOLE_TOLERANCE if abs(value) < 1e6 else True:
                raise Reject("unknown-code", f"{shown} is no code of the language", "Look the code up.", shown)
            if letter == "M":
                tenths = round(value) * 10
            table = lexicon.G_CODES if letter == "G" else lexicon.M_CODES
            row = table.get(tenths)
            if row is None or (row.option and not dialect.allows(row.option)):
                unknown = unknown or Reject(
                    "unknown-code", f"{shown} is not a code this reader knows",
                    "Look it up in the machine's manual; what it does is not followed here.", shown)
                (g if letter == "G" else m).append(tenths)
                continue
            if row.option and row.option not in relaxed:
                relaxed.append(row.option)
            have = g if letter == "G" else m
            if tenths in have:
                need("same-code-twice", Reject("conflicting-codes", f"{row.name} stands twice in one block",
                                               "Leave one of them.", shown))
                continue
            group = letter + row.group
            if group in groups:
                clash = Reject("conflicting-codes", f"{groups[group]} and {row.name} cannot stand in one block",
                               "They belong to one group: leave one of them, or make two blocks.", shown)
                if group == "GG1" and {groups[group], row.name} in ({"G80", "G0"}, {"G80", "G1"}):
                    need("cancel-and-move", clash)
                elif group == "MM8" and tenths != 90 and 90 not in m:
                    need("mist-and-flood", clash)
                else:
                    raise clash
            groups[group] = row.name
            have.append(tenths)
        if len(m) > 4:
            need("many-m-codes", Reject("conflicting-codes", f"{len(m)} M codes stand in one block; at most 4 may",
                                        "Make two blocks.", "M"))
        if unknown is not None and (not dialect.allows("word-without-use") or any(
                t not in lexicon.G_CODES for t in g)):
            raise unknown
    except Reject as reject:
        return replace(template, codes_g=tuple(g), codes_m=tuple(m), reject=reject.again(), plain=False)
    return replace(template, codes_g=tuple(g), codes_m=tuple(m), relaxed=tuple(relaxed))


# ---------------------------------------------------------------- lines with free text in them


_STOP_AND_TEXT = re.compile(r"[ \t]*(?:N[0-9]+)?[^(;]*?M0*(?:0|1|2|6|30|60)(?![0-9.])[ \t]*([A-Z]{2,}(?![0-9.#\[]).*)",
                            re.IGNORECASE)
_CALL_AND_TEXT = re.compile(r"[ \t]*(?:N[0-9]+)?[ \t]*M[0-9]{3,4}(?![0-9.])[ \t]*(\S.*)", re.IGNORECASE)


_SLASH_AND_TEXT = re.compile(r"/[ \t]*[A-Z]{2,}(?![0-9.#\[])", re.IGNORECASE)
_CODE = re.compile(r"[ \t]*(?:N[0-9]+)?[ \t]*[A-Z][ \t]*[-+.0-9#\[]", re.IGNORECASE)


def without_text(line: str, dialect: Dialect) -> list[tuple[str, str]]:
    """Other ways to read a line that cannot be read: (option, the line with its free text made a comment of one length).

    Only what looks like text is taken for text: a slip in a word must never be read as a note.
    """
    found: list[tuple[str, str]] = []

    def masked(option: str, start: int, end: int) -> None:
        if dialect.allows(option) and end - start >= 2:
            found.append((option, f"{line[:start]}({' ' * (end - start - 2)}){line[end:]}"))

    slash = _SLASH_AND_TEXT.search(line, len(line) - len(line.lstrip(" \t")) + 1)
    if slash is not None and line[: slash.start()].count("[") == line[: slash.start()].count("]"):
        masked("slash-text", slash.start(), len(line))
    for pattern in (_STOP_AND_TEXT, _CALL_AND_TEXT):
        text = pattern.match(line)
        if text is not None:
            masked("free-text", text.start(1), text.end(1))
    if ")" in line and "(" not in line and _CODE.match(line) is None:
        masked("stray-bracket", 0, line.rindex(")") + 1)
    return found


# ---------------------------------------------------------------- on demand


def words_of(line: str, dialect: Dialect) -> tuple[Word, ...]:
    """The words of a raw line with their places; nothing for what cannot be read."""
    try:
        squeezed = squeeze(line, dialect)
    except Reject:
        return ()
    text = squeezed.text
    places = squeezed.places
    if places is None:
        places = [i for i, c in enumerate(line) if c not in " \t"]
    places = [*places, len(line)]
    found: list[Word] = []
    i = 0
    head = _FLOW_HEAD.match(text)
    if head is not None:
        i = head.end()
    while i < len(text):
        c = text[i]
        if c == "%":
            break
        flow = _FLOW_WORD.match(text, i)
        if flow is not None:
            i = _after_value(text, flow.end())
        elif c == "#":
            i = _after_value(text, i)
            if text[i : i + 1] == "=":
                i = _after_value(text, i + 1)
                while (operator := _OPERATOR.match(text, i)) is not None:
                    i = _after_value(text, operator.end())
            i += text[i : i + 1] in ("#", "=")
        elif c.isalpha():
            end = _after_value(text, i + 1)
            if c == "N":  # a line number is no word (3.3.1)
                i = end
                continue
            value_text = text[i + 1 : end].replace(EXPONENT, "e")
            value = float(value_text) if re.fullmatch(NUMBER + "(?:e[+-]?[0-9]+)?", value_text) else None
            stop = places[end - 1] + 1
            found.append(Word(c, line[places[i] : stop], value, places[i], stop))
            i = end
        elif c == "[":
            i = _after_value(text, i)
        else:
            i += 1
    return tuple(found)


_FLOW_HEAD = re.compile(r"(?:N[0-9]+)?O(?:[0-9]+|<[^<>]*>)(?:SUB|ENDSUB|CALL|RETURN|WHILE|ENDWHILE|DO(?![0-9])|IF|ELSEIF|ELSE|"
                        r"ENDIF|REPEAT|ENDREPEAT|BREAK|CONTINUE)?")
_FLOW_WORD = re.compile(r"IF(?=\[)|WHILE(?=\[)|THEN|DO[0-9]+|END[0-9]+|GOTO")
_OPERATOR = re.compile(r"\*\*|[*/+-]|MOD|AND|XOR|OR")
_VALUE = re.compile(rf"[+#-]*(?:<[^<>]*>|(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:{EXPONENT}[+-]?[0-9]+)?|[A-Z]+(?=\[))?")


def _after_value(text: str, i: int) -> int:
    """The index after the value that begins at ``i``: a number, a parameter, a bracket or a function."""
    start = i
    found = _VALUE.match(text, i)
    if found is not None:
        name = found.group().lstrip("+-#")
        if not name.isalpha() or name in ("ATAN", *_FUNCTION_NAMES):
            i = found.end()
        else:
            i += len(found.group()) - len(name)
    pairs = 2 if text[start:i].endswith("ATAN") else 1
    for _ in range(pairs):
        if text[i : i + 1] == "/" and pairs == 2:
            i += 1
        if text[i : i + 1] != "[":
            break
        level = 0
        while i < len(text):
            level += (text[i] == "[") - (text[i] == "]")
            i += 1
            if level == 0:
                break
    return i


_FUNCTION_NAMES = ("ABS", "ACOS", "ASIN", "COS", "EXP", "FIX", "FUP", "LN", "ROUND", "SIN", "SQRT", "TAN")


_TERMINALS = {
    "NUMBER": "number", "EXPONENT": "number", "NUMBERED": "line-number", "LATE_NUMBER": "line-number", "LETTER": "letter",
    "SLASH_LATE": "block-delete", "LSQB": "bracket", "RSQB": "bracket", "NAMED": "name", "FUNCTION": "name", "ATAN": "name",
    "OWORD": "name", "OKEY": "name", "IF": "name", "WHILE": "name", "THEN": "name", "DO": "name", "END": "name",
    "GOTO": "name", "COLON": "text",
}  # fmt: skip


def tokens_of(source: Source, dialect: Dialect) -> Iterator[Token]:
    """The tokens of a whole program, without a gap: writing them one after the other gives the same bytes.

    A line that cannot be read is one token of kind "unread".
    """
    if source.data.startswith(BOM):
        yield Token(0, len(BOM), "bom")
    before = len(BOM) if source.data.startswith(BOM) else 0
    for number in range(1, len(source) + 1):
        start, end = int(source.starts[number - 1]), int(source.ends[number - 1])
        if start > before:
            yield Token(before, start, "end-of-line")
        yield from _line_tokens(source.line(number), start, dialect)
        before = end
    if before < len(source.data):
        yield Token(before, len(source.data), "end-of-line")


def _line_tokens(line: str, offset: int, dialect: Dialect) -> Iterator[Token]:
    if not line:
        return
    bare = line.strip(" \t")
    pieces: list[tuple[int, int, str]] = []
    if bare.startswith("%"):
        at = line.index("%")
        pieces = [(at, at + len(bare), "percent")]
    elif bare:
        found = _lexed(line, dialect)
        if found is None:
            yield Token(offset, offset + len(line), "unread")
            return
        pieces = found
    at = 0
    for start, end, kind in pieces:
        if start > at:
            yield Token(offset + at, offset + start, "space")
        yield Token(offset + start, offset + end, kind)
        at = end
    if at < len(line):
        yield Token(offset + at, offset + len(line), "space")


def _lexed(line: str, dialect: Dialect) -> list[tuple[int, int, str]] | None:
    """The pieces of a line as (start, end, kind), raw places; None where it cannot be read."""
    from lark.exceptions import LarkError

    try:
        squeezed = squeeze(line, dialect)
        tokens = list(grammar().parse_interactive(squeezed.text).exhaust_lexer())
        grammar().parse(squeezed.text)
    except (Reject, LarkError):
        return None
    places = squeezed.places
    if places is None:
        places = [i for i, c in enumerate(line) if c not in " \t"]
    comments = iter(squeezed.comments)
    pieces = []
    letter = ""
    for token in tokens:
        start, end = places[token.start_pos], places[token.end_pos - 1] + 1
        kind = _TERMINALS.get(token.type, "operator")
        if token.type == "COMMENT":
            start, end = next(comments)
            kind = "comment"
        elif token.type == "SLASH" and token.start_pos == 0:
            kind = "block-delete"
        elif kind == "number" and letter in ("G", "M"):
            kind = "code"
        letter = str(token) if token.type == "LETTER" else ""
        pieces.append((start, end, kind))
    return pieces
