"""The strict dialect against results worked out by hand from NISTIR 6556 (Kramer, Proctor, Messina 2000), block by block.

``cases_by_hand.json``: ``section`` is the report's; "own ruling" marks what the report leaves open. Start: all axes at 0,
G17 G21 G90 G94 G40 G49 G54 G64 G98, F100, T1; tool table 1: 50 long, diameter 6; 2: 75.5, 10; 3: 0, -2. The
expectation is that of the last block; lengths mm, angles degrees, times minutes. A pair in a move is an open interval.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from advisor.trace import trace_dict
from grammar.read import default_start, read_program

CASES: list[dict[str, Any]] = json.loads(Path(__file__).with_name("cases_by_hand.json").read_text(encoding="utf-8"))
LAST_DIGIT = 2e-6  # hand-worked values and the trace are rounded to 6 decimals
TOLD = ("message", "dwell", "speed", "spindle", "coolant", "stop")
NOT_OF_THE_END = {"error", "error_anywhere", "legal", "tol", "moves", "arc", "minutes", "events", "event_kinds", "no_message"}
MOVE = ["line", "kind", "to", "centre", "radius_mm", "sweep_deg", "length_mm", "feed_mm_min", "minutes", "spindle_rpm"]


def trace_of(case: dict[str, Any], *, percent: bool) -> dict[str, Any]:
    """The trace of a case, as a fragment, as a whole file, or between percent lines."""
    start = replace(default_start("strict"), block_delete=case.get("block_delete", False))
    parameters = {int(k): float(v) for k, v in case.get("start", {}).get("parameters", {}).items()}
    table = {int(k): float(v) for k, v in case.get("cutters", {}).items()}
    start = replace(start, parameters=parameters, diameters={**start.diameters, **table})
    whole = case.get("whole_file", False)
    lines = ["%", *case["blocks"], "%"] if percent and not whole else case["blocks"]
    text = "\n".join(lines).encode()
    return trace_dict(read_program(text, dialect="strict", start=start, fragment=not percent and not whole), "case")


def near(found: float | None, wanted: float | list[float], tolerance: float) -> bool:
    """Whether a number is the wanted one, or lies in the wanted interval."""
    if found is None:
        return False
    if isinstance(wanted, list):
        return wanted[0] < found < wanted[1]
    return abs(found - wanted) <= tolerance


def assert_moves(moves: list[dict[str, Any]], expect: dict[str, Any], tolerance: float) -> None:
    if "moves" in expect:
        found = [[m["kind"], *m["to"].values()][:4] for m in moves]
        assert [m[0] for m in found] == [m[0] for m in expect["moves"]]
        for move, point in zip(found, expect["moves"], strict=True):
            assert all(near(a, b, max(tolerance, 1e-5)) for a, b in zip(move[1:], point[1:], strict=True)), (found, point)
    if "arc" in expect:
        made, wanted = moves[-1], expect["arc"]
        assert made["kind"] == "arc"
        assert set(made["centre"]) == set(wanted["centre"])
        assert all(near(made["centre"][axis], value, LAST_DIGIT) for axis, value in wanted["centre"].items()), made
        assert near(made["radius_mm"], wanted["radius"], LAST_DIGIT), made
        if wanted["length"] is None:  # an end off the circle by less than the standard's tolerance, or a helix
            assert near(made["sweep_deg"], wanted["sweep"], 2e-2), made
        else:
            assert near(made["sweep_deg"], wanted["sweep"], LAST_DIGIT), made
            assert near(made["length_mm"], wanted["length"], LAST_DIGIT), made
    if "minutes" in expect:
        assert near(moves[-1]["minutes"], expect["minutes"], LAST_DIGIT), moves[-1]


def assert_events(events: list[dict[str, Any]], expect: dict[str, Any]) -> None:
    said = [[e["kind"], e["text"] if e["kind"] == "message" else e["value"]] for e in events if e["kind"] in TOLD]
    if "events" in expect:
        assert said == expect["events"]
    if "event_kinds" in expect:
        assert [e["kind"] for e in events] == expect["event_kinds"]
    if "no_message" in expect:
        assert not [e for e in events if e["kind"] == "message"]


def assert_end(end: dict[str, Any], expect: dict[str, Any], tolerance: float) -> None:
    found = {"tool": end["tool"], "selected": end["selected_tool"], "spindle": end["spindle"]["direction"],
             "rpm": end["spindle"]["rpm"], "mist": end["coolant"]["mist"], "flood": end["coolant"]["flood"],
             "overrides": end["overrides"], "feed": end["feed"]}
    for key, wanted in expect.items():
        if key in found:
            assert found[key] == wanted, key
        elif key == "modal":
            assert {name: end["modal"][name] for name in wanted} == wanted
        elif key in ("position", "machine", "parameters"):
            for name, value in wanted.items():
                assert near(end[key].get(name), value, tolerance), (key, name, end[key])
        else:
            assert key in NOT_OF_THE_END, f"nothing looks at {key}"


@pytest.mark.parametrize("case", CASES, ids=lambda c: ascii(f"{c['section']}: {' | '.join(c['blocks'])[:60]}"))
def test_case(case: dict[str, Any]) -> None:
    assert_case(case, percent=False)
    if not case.get("whole_file"):
        assert_case(case, percent=True)


def assert_case(case: dict[str, Any], *, percent: bool) -> None:
    trace, expect = trace_of(case, percent=percent), case["expect"]
    last = len(case["blocks"]) + percent
    errors = [fault["line"] for fault in trace["faults"] if fault["severity"] == "error"]
    if expect.get("error_anywhere"):
        assert errors
        return
    if expect.get("error"):
        assert errors and set(errors) == {last}, trace["faults"]
        return
    assert bool(errors) == case.get("earlier_error", False) and last not in errors, trace["faults"]
    tolerance = expect.get("tol", LAST_DIGIT)
    assert_moves(trace["moves"], expect, tolerance)
    assert_events(trace["events"], expect)
    assert_end(trace["end"], expect, tolerance)


def test_every_trace_has_every_key_and_tells_things_in_order() -> None:
    for case in CASES:
        trace = trace_of(case, percent=True)
        json.dumps(trace, allow_nan=False)
        moves, axes = trace["moves"], {frozenset(m["to"]) for m in trace["moves"]}
        assert axes <= {frozenset("xyz")} or axes == {frozenset("xyzabc")}
        assert [m["line"] for m in moves] == sorted(m["line"] for m in moves)
        for move in moves:
            assert list(move) == MOVE
            arc = [move["centre"], move["radius_mm"], move["sweep_deg"]]
            if move["kind"] == "arc":
                assert None not in arc and move["sweep_deg"] != 0, case
            else:
                assert arc == [None] * 3
                assert move["length_mm"] > 0 or "a" in move["to"], case
            assert move["kind"] != "rapid" or move["minutes"] is None
        befores = [event["before_move"] for event in trace["events"]]
        assert befores == sorted(befores) and all(0 <= b <= len(moves) for b in befores)
        lines = [event["line"] for event in trace["events"]]
        assert lines == sorted(lines)
        assert set(trace["end"]["position"]) == set("xyzabc") and set(trace["end"]["machine"]) == set("xyz")


@pytest.mark.parametrize(("block", "sweep"), [("G3 X0.001 Y0 I5", 360.0), ("G2 X0.001 Y0 I5", -360.0),
                                              ("G18 G3 Z0.001 X0 K5", 360.0)])
def test_ends_apart_along_the_radius_only_make_a_full_circle(block: str, sweep: float) -> None:
    """3.5.3.2: radii may differ by 0.002 mm; an arc from a direction to the same direction is once round, not nothing."""
    trace = trace_of({"blocks": [block]}, percent=True)
    assert [m["sweep_deg"] for m in trace["moves"]] == [sweep]


def test_inverse_time_covers_the_whole_block_with_its_corner() -> None:
    """3.5.19, B.1: 1/F minutes for a block; its arc about the corner (3 mm, 36.87 degrees) and its line share them."""
    trace = trace_of({"blocks": ["G41 D1 G93 G1 X5 F2", "X20 F2"]}, percent=False)
    assert [m["kind"] for m in trace["moves"]] == ["feed", "arc", "feed"]
    assert trace["moves"][0]["minutes"] == 0.5
    assert trace["moves"][1]["minutes"] == pytest.approx(0.5 * 1.930503 / 16.930503, abs=LAST_DIGIT)
    assert trace["moves"][1]["minutes"] + trace["moves"][2]["minutes"] == pytest.approx(0.5, abs=LAST_DIGIT)


@pytest.mark.parametrize(("program", "warned"), [
    ("G43 H1|G53 G0 Z5", True), ("G43 H1|G53 G0 X5", False), ("G53 G0 Z5", False),
    ("M3 S100 G87 X1 Y1 Z-2 R1 I1 J1 K-1|X2", True), ("M3 S100 G87 X1 Y1 Z-2 R1 I1 J1 K-1|X2 R1 I1", True),
    ("M3 S100 G87 X1 Y1 Z-2 R1 I1 J1 K-1|X2 I1 J1 K-1", False),
    ("G0 Z5|G99 G81 X1 Y1 Z-3 R2|G98 X2", True), ("G0 Z5|G98 G81 X1 Y1 Z-3 R2|X2", False),
    ("G0 X1|G20", True), ("G20|G0 X1", False), ("G0 X1|G21", False), ("G92 X1|G20", True),
    ("M3 S1|G88 X1 Y1 Z-2 R1 P1", True), ("M3 S1|G86 X1 Y1 Z-2 R1 P1", False),
])
def test_what_the_standard_leaves_open_is_warned_of(program: str, warned: bool) -> None:
    """3.5.12, 3.5.16.8, 3.5.20, 3.5.7, 3.5.16.9: the text can be read in two ways; own rulings, told where they count."""
    trace = trace_of({"blocks": program.split("|")}, percent=False)
    assert [f["severity"] for f in trace["faults"]] == ["warning"] * warned
    assert [f["line"] for f in trace["faults"]] == [len(program.split("|"))] * warned


def test_a_skipped_block_that_could_not_run_is_warned_of() -> None:
    """A.1: a skipped block is still read; what is wrong only in what it does is told, and is no error."""
    trace = trace_of({"blocks": ["/G0", "/G0 X5", "/G1 X1 P1", "G0 Y2"], "block_delete": True}, percent=False)
    assert [(f["line"], f["severity"]) for f in trace["faults"]] == [(1, "warning"), (3, "warning")]
    assert trace["end"]["position"]["y"] == 2.0 and len(trace["moves"]) == 1
