"""Actions of words and codes that move no axis: settings, F, S, T, spindle, coolant, dwell, stops (3.5.4, 3.6, 3.7).

Every action takes the machine, the numbers of the block and what the step fixed. It raises Reject where a number is
refused; the machine then takes everything of the block back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from grammar import lexicon
from grammar.evaluate import evaluate
from grammar.lexicon import code_name
from grammar.moves import Gap
from grammar.parse import Reject, message_of

if TYPE_CHECKING:
    from grammar.interpret import Machine


def settings(m: Machine, v: list[float], settings: tuple[tuple[Any, Any], ...]) -> None:
    found = []
    for index, value in settings:
        number = evaluate(value, m.parameters)
        if index[0] == "name":
            found.append((index[1], number))
        else:
            found.append((m.parameters.index(evaluate(index, m.parameters)), number))
    for target, number in found:
        if isinstance(target, str):
            m.parameters.set_named(target, number)
        else:
            if not m.parameters.local(target):
                m.set_parameter(target, number)
                base = lexicon.ORIGINS + 20 * (m.state_now.system - 1)
                if base <= target < base + 6:
                    warn(m, v, "bad-value", f"#{target} is part of the coordinate system in force; it counts from the next"
                         " time the system is chosen", "Choose the system again after it, or use G10.", "")
            m.parameters.set(target, number)


def comment(m: Machine, v: list[float]) -> None:
    start, end = m.comments[-1]
    text = m.line[start:end]
    message = message_of(text)
    if message is not None:
        m.event("message", text=message)
    else:
        m.event("comment", text=text[1:-1] if text.startswith("(") and text.endswith(")") else text.lstrip(";/( "))


def feed_word(m: Machine, v: list[float], slot: int) -> None:
    if v[slot] < 0:
        raise Reject("bad-value", f"the feed is negative: F{v[slot]:g}", "Write a positive feed.", "F")
    if v[slot] != m.f:  # many programs say the same F in every block
        m.event("feed", v[slot])
    m.f = v[slot]


def speed(m: Machine, v: list[float], slot: int) -> None:
    if v[slot] < 0:
        raise Reject("bad-value", f"the spindle speed is negative: S{v[slot]:g}", "Write a positive speed.", "S")
    m.rpm = v[slot]
    m.event("speed", v[slot])


def tool_word(m: Machine, v: list[float], slot: int) -> None:
    tool_number(m, v, v[slot], 0)


def tool_number(m: Machine, v: list[float], value: float, digits: int) -> None:
    number = m.whole("T", value)
    if digits >= 3 and number >= 100 and m.dialect.allows("tool-with-offset"):
        number //= 100
        m.relaxed("tool-with-offset")
    if m.strict and number > m.start.slots:
        raise Reject("bad-value", f"there is no tool slot {number}", f"Use a slot from 0 to {m.start.slots}.", "T",
                     measured=float(number), limit=float(m.start.slots))
    m.selected = number
    m.event("tool-select", float(number))
    if not m.strict and m.tool_word_counts():
        m.tool = number


def tool_change(m: Machine, v: list[float]) -> None:
    if m.selected is None:
        if m.strict:
            raise Reject("missing-word", "M6 changes to the tool chosen by T, but no T came before it",
                         "Add T with the tool's number.", "M6")
    else:
        m.tool = m.selected
    m.event("tool-change", None if m.tool is None else float(m.tool))


def spindle(m: Machine, v: list[float], way: str) -> None:
    m.event("spindle", way)


def coolant(m: Machine, v: list[float], code: str) -> None:
    m.event("coolant", float(code))


def unknown_m(m: Machine, v: list[float], code: int, lost: frozenset[int]) -> None:
    """An M code that is not known moves no axis, as far as the standards leave M codes to the machine; those it names
    by their bare letters are lost."""
    name = code_name("M", code)
    m.fault("unknown-code", f"{name} is not a code this reader knows",
               "Look it up in the machine's manual; what it does is not followed here.", severity="warning", at=name,
               once=("unknown-code", name))
    m.gaps.append(Gap("unknown-code", f"{name} is not known", m.block + 1, m.block + 1, ""))
    if lost:
        m.lose(set(lost), "unknown-code", f"{name} is not known")


def dwell_word(m: Machine, v: list[float], slot: int) -> None:
    seconds = v[slot]
    if seconds < 0:
        raise Reject("bad-value", f"the dwell is negative: {seconds:g}", "Write the seconds to wait.", "P")
    if m.dialect.allows("dwell-milliseconds"):
        seconds /= 1000.0
    m.dwell(seconds)


def warn(m: Machine, v: list[float], rule: str, message: str, fix: str, at: str) -> None:
    """Tell once what the standard leaves open."""
    m.fault(rule, message, fix, severity="warning", at=at, once=(rule, message))


def units(m: Machine, v: list[float], units: int) -> None:
    if m.language.states[m.state_id].units != units and (len(m.record) or any(m.shift) or m.length):
        m.unclear("unit-mix-up", "the length unit changes after a move or an offset; origins stay where they are, F keeps its"
                  " number", "State the unit once, at the start.", f"G{units}")
    m.event("units", f"G{units}")


def unused(m: Machine, v: list[float], letters: str) -> None:
    for letter in letters:
        m.fault("unused-word", f"no code of the block can use the word {letter}",
                   f"Take {letter} out, or add the code it belongs to.", severity="warning", at=letter,
                   once=("unused-word", letter))


def program_stop(m: Machine, v: list[float], code: int) -> None:
    if code == 1:
        m.event("optional-stop", 1.0)
        if not m.start.optional_stop:
            return
    m.event("stop", float(code))


def program_end(m: Machine, v: list[float], code: int) -> None:
    m.g92 = (0.0,) * 6
    m.local = (0.0,) * 6
    m.comp = ()
    m.set_parameter(lexicon.SELECTED, 1.0)
    m.set_shift(1)
    m.ended = True
    m.event("stop", float(code))
    m.event("end", float(code))
