"""Hand-made reports for the tests of the renderers."""

from __future__ import annotations

from dataclasses import replace

from advisor.findings import Finding, NotChecked, ProgramReport, Report, Suppressed

CRASH = Finding(
    rule="rapid-into-stock",
    severity="error",
    message="rapid move runs 3 mm deep through stock",
    line=27,
    column=1,
    end_line=27,
    measured=3.0,
    limit=0.0,
    unit="mm",
    why="a rapid move through material breaks the cutter or tears the piece loose",
    fix="lift Z above the stock before this move",
    safety="stand clear of the cutter's plane",
    at=(10.0, 5.0, -3.0),
    fingerprint="aaaa",
)
ERROR = Finding(
    rule="no-feed",
    severity="error",
    message="feed move without a feed",
    line=3,
    column=4,
    fix="add F",
    safety="check the feed before starting",
    fingerprint="bbbb",
)
WARNING = Finding(
    rule="plunge-feed",
    severity="warning",
    message="plunges at 3000 mm/min",
    line=9,
    end_line=11,
    measured=3000.0,
    limit=1620.0,
    unit="mm/min",
    why="a cutter clears few chips while it plunges",
    fix="lower F for the plunge",
    safety="listen to the cut",
    at=(1.0, None, -2.0),
    fingerprint="cccc",
)
NOTE = Finding(rule="no-program-end", severity="note", message="no M2 or M30", line=40, fingerprint="dddd")
MISSING = NotChecked(rule="chip-too-thin", reason="no material given", cause="material", from_line=1, to_line=812)

BAD = ProgramReport(
    path="side-1/hatch ring.ngc",
    findings=(CRASH, WARNING, NOTE, ERROR),
    not_checked=(MISSING, replace(MISSING, rule="power-over-limit")),
    suppressed=(Suppressed(replace(WARNING, line=5, fingerprint="eeee"), reason="opened hole"),),
    assumptions=("program zero is the top of the stock",),
    setup={
        "datum": "top of the stock",
        "lowest_z": -18.4,
        "first_moves": ["G0 Z5", "G0 X10 Y10", "G1 Z-3"],
        "stickout_needed": {"1": 24.0},
    },
    summary={
        "blocks": 812,
        "moves": 790,
        "tools": [1, 2],
        "minutes": 14.2,
        "cutting_minutes": 11.0,
        "rapid_minutes": 1.9,
        "air_cut_minutes": 1.3,
        "removed_cm3": 310.5,
        "extent": {"min": {"x": 0, "y": 0, "z": -18.4}, "max": {"x": 300, "y": 200, "z": 15}},
    },
    blocks_text={27: "N270 G0 X10 Y5 (over to the rim)", 3: "G1 X5"},
    rules_looked=("no-feed", "rapid-into-stock"),
)
CLEAN = ProgramReport(path="pad-1.ngc", not_checked=(MISSING,), rules_looked=("no-feed",))
LOOKED = ProgramReport(path="pad-2.ngc", rules_looked=("no-feed",))
REPORT = Report(version="0.1.0", programs=(BAD, CLEAN, LOOKED))
EMPTY = Report(version="0.1.0", programs=())
