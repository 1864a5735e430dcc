"""What the engine's tests ask with: catalogue entries and plain cutters."""

from __future__ import annotations

from typing import Any

from advisor import catalogue
from advisor.advice import Advice, Rating, Refusal, Request
from advisor.rate import rate
from advisor.recommend import recommend
from advisor.values import Cutter, Machine


def ask(cutter: str, material: str, machine: str, operation: str = "slot", depth: float | None = None, **more: Any) -> Request:
    return Request(catalogue.cutter(cutter), catalogue.material(material), catalogue.machine(machine), operation, depth, **more)


def advise(*args: Any, **more: Any) -> Advice:
    answer = recommend(ask(*args, **more))
    assert isinstance(answer, Advice), answer.reasons
    return answer


def refuse(*args: Any, **more: Any) -> Refusal:
    answer = recommend(ask(*args, **more))
    assert isinstance(answer, Refusal), answer.limited_by
    return answer


def plain(diameter: float, flutes: int, **more: Any) -> Cutter:
    """A cutter given by numbers alone, as by flags."""
    return Cutter(name="", diameter=diameter, flutes=flutes, **more)


def rated(
    cutter: Cutter,
    operation: str,
    *,
    rpm: float,
    feed: float,
    stepdown: float | None = None,
    material: str | None = None,
    machine: Machine | None = None,
    **more: Any,
) -> Rating:
    request = Request(cutter, catalogue.material(material) if material else None, machine, operation, **more)
    return rate(request, rpm=rpm, feed=feed, stepdown=stepdown)
