"""The strict dialect against the published standard, row by row.

``conformance.json`` holds blocks and what NISTIR 6556 (Kramer, Proctor, Messina 2000) says of them: section numbers are
the report's; kind S is stated there, kind D follows from the rules named. The expectation is that of the last block.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from advisor.trace import trace_dict
from grammar.moves import Kind
from grammar.read import default_start, read_program
from tests.grammar.conftest import errors, rows, story

CASES: list[dict[str, Any]] = json.loads(Path(__file__).with_name("conformance.json").read_text(encoding="utf-8"))
_BEYOND = {"start_parameters", "start_diameter", "tol"}


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c['n']}-{c['section']}")
def test_row(case: dict[str, Any]) -> None:
    expect = dict(case["expect"])
    start = replace(default_start("strict"), block_delete=case.get("block_delete", False))
    if "start_parameters" in expect:
        start = replace(start, parameters={int(k): v for k, v in expect["start_parameters"].items()})
    if "start_diameter" in expect:
        start = replace(start, diameters={1: expect["start_diameter"]})
    program = read_program("\n".join(case["blocks"]).encode(), dialect="strict", start=start,
                           fragment=not case.get("whole_file", False))
    found = errors(program)
    if expect.get("error"):
        last = len(case["blocks"])
        assert found
        if not case.get("whole_file"):
            assert [line for _, line in found] == [last], program.faults
        return
    assert not found, program.faults
    tolerance = expect.get("tol", 1e-4)
    trace = trace_dict(program, "case")
    end = trace["end"]
    checked = {"legal"} & set(expect)
    for key, where in (("position", end["position"]), ("position_mm", end["position"]), ("machine", end["machine"])):
        for axis, value in expect.get(key, {}).items():
            assert where[axis] == pytest.approx(value, abs=tolerance)
            checked.add(key)
    for index, value in expect.get("parameters", {}).items():
        assert end["parameters"][index] == pytest.approx(value, abs=1e-9)
        checked.add("parameters")
    for key, value in expect.get("modal", {}).items():
        assert end["modal"][key] == value
        checked.add("modal")
    if "tool" in expect:
        assert end["tool"] == expect["tool"]
        checked.add("tool")
    if "selected_tool" in expect:
        assert end["selected_tool"] == expect["selected_tool"]
        checked.add("selected_tool")
    if "spindle" in expect:
        assert end["spindle"]["direction"] == expect["spindle"]
        checked.add("spindle")
    if "overrides" in expect:
        assert end["overrides"] is expect["overrides"]
        checked.add("overrides")
    if "coolant" in expect:
        assert end["coolant"] == expect["coolant"]
        checked.add("coolant")
    if "moves" in expect:
        got = rows(program)
        assert [g[0] for g in got] == [w[0] for w in expect["moves"]]
        for have, want in zip(got, expect["moves"], strict=True):
            for a, b in zip(have[1:], want[1:], strict=True):
                if isinstance(b, list):  # "a bit above": between the last depth and the level before
                    assert b[0] < a < b[1]
                else:
                    assert a == pytest.approx(b, abs=tolerance)
        checked.add("moves")
    if "events" in expect:
        assert story(program) == expect["events"]
        checked.add("events")
    if "minutes" in expect:
        assert trace["moves"][-1]["minutes"] == pytest.approx(expect["minutes"], abs=1e-5)
        checked.add("minutes")
    if "arcs" in expect:
        arcs = [m for m in trace["moves"] if m["kind"] == "arc"]
        for have, want in zip(arcs, expect["arcs"], strict=True):
            assert have["centre"] == pytest.approx(want["centre"], abs=tolerance)
            assert have["radius_mm"] == pytest.approx(want["radius"], abs=tolerance)
            assert (have["sweep_deg"] < 0) is want["clockwise"]
        checked.add("arcs")
    if "arc" in expect:
        want, have = expect["arc"], trace["moves"][-1]
        assert have["kind"] == "arc"
        for axis, value in want["centre"].items():
            assert have["centre"][axis] == pytest.approx(value, abs=1e-4)
        assert have["radius_mm"] == pytest.approx(want["radius"], abs=1e-4)
        assert have["sweep_deg"] == pytest.approx(want["sweep_deg"], abs=1e-4)
        assert have["length_mm"] == pytest.approx(want["length_mm"], abs=1e-4)
        if "midpoint" in want:
            _midpoint(program, want["midpoint"])
        checked.add("arc")
    assert checked == set(expect) - _BEYOND  # every expectation of the row was looked at


def _midpoint(program: Any, want: dict[str, float]) -> None:
    moves = program.moves
    assert moves.kind[-1] == Kind.ARC and moves.plane[-1] == 17
    cx, cy = moves.centre[-1, :2]
    sx, sy = moves.start[-1, :2]
    half = moves.sweep[-1] / 2
    x = cx + (sx - cx) * math.cos(half) - (sy - cy) * math.sin(half)
    y = cy + (sx - cx) * math.sin(half) + (sy - cy) * math.cos(half)
    assert (x, y) == pytest.approx((want["x"], want["y"]), abs=1e-4)


def test_table_is_whole() -> None:
    assert [c["n"] for c in CASES] == list(range(1, 415, 2))
