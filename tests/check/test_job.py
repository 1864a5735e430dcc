"""A workpiece through the programs of a job: grid, how it lies, what comes loose, against sums by hand."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from advisor.evidence import Left
from advisor.findings import ProgramReport
from advisor.job import Course, Step
from advisor.setting import Flags, setting_for
from advisor.shopfile import parse
from advisor.stock import StockBounds

HEAD = "G21 G90 G17 G94 G40 G49 G80 G54\nT{tool} M6\nS18000 M3\nG4 P5\nG53 G0 Z0\n"
TAIL = "G0 Z10\nG53 G0 Z0\nM5\nM30\n"
SHOP = """
[machine]
like = "ballscrew-router"
[[cutter]]
tool = 1
like = "endmill-upcut-6mm-2f"
[[cutter]]
tool = 2
like = "endmill-upcut-6mm-2f"
diameter = "2 mm"
flute_length = "6 mm"
stickout = "20 mm"
[[cutter]]
tool = 3
like = "endmill-upcut-6mm-2f"
diameter = "30 mm"
[stock]
material = "birch-plywood"
size = ["100 mm", "80 mm", "18 mm"]
[hold]
method = "screws"
points = [["4 mm", "4 mm"], ["96 mm", "76 mm"]]
spoilboard = "0.5 mm"
"""


def program(body: str, tool: int = 1) -> bytes:
    return (HEAD.format(tool=tool) + body + TAIL).encode()


def course(setups: list[tuple[str, list[bytes]]], *, shop: str = SHOP, bounds: StockBounds | None = None) -> Course:
    """A job with these set-ups: keys of the set-up, and its programs, named a, b, c ... in order."""
    text, names, texts = shop + '[[job]]\nname = "pad"\n', iter("abcdefgh"), []
    for keys, programs in setups:
        named = [f"{next(names)}.ngc" for _ in programs]
        texts += list(zip(named, programs, strict=True))
        text += f"[[job.setup]]\nprograms = {named}\n{keys}\n"
    file = parse(text.encode(), Path("/shed/feedwright.toml"), shown="feedwright.toml")
    return Course([Step(setting_for(file, Path("/shed") / name, Flags()), data) for name, data in texts], bounds=bounds)


def reports(job: Course) -> list[ProgramReport]:
    return [job.check(k, path=step.name) for k, step in enumerate(job.steps)]


def found(report: ProgramReport, *severities: str) -> dict[str, int]:
    """First line by rule."""
    chosen = severities or ("error", "warning")
    return {f.rule: f.line for f in reversed(report.findings) if f.severity in chosen}


def left(job: Course, number: int) -> Left:
    """What the programs before one left."""
    from advisor.check import read

    step = job.steps[number]
    assert step.data is not None
    return job.left(number, read(step.data, step.setting, step.name))


GROOVE = "G0 X20 Y20\nG0 Z5\nG1 Z0 F1200\nG1 X60 Z-3\nG1 X20 F3000\nG1 X60\n"
FINE = "G0 X20 Y60\nG0 Z5\nG1 Z0 F300\nG1 X60 Z-0.8\nG1 X20 F800\nG1 X60\n"


def test_the_grid_suits_the_smallest_cutter_so_far() -> None:
    job = course([("", [program(GROOVE), program(FINE, tool=2), program(GROOVE.replace("Y20", "Y40"))])])
    rough, fine, again = reports(job)
    assert not any("coarser" in text for report in (rough, fine, again) for text in report.assumptions)
    plan = 40 * 2 + math.pi
    assert fine.summary["removed_cm3"] * 1000 == pytest.approx(plan * 0.8, rel=0.005)
    assert again.summary["removed_cm3"] == pytest.approx(rough.summary["removed_cm3"], rel=0.005)
    for number in (1, 2):
        alone = course([("", [program(GROOVE), program(FINE, tool=2), program(GROOVE.replace("Y20", "Y40"))])])
        assert alone.check(number, path=alone.steps[number].name) == (fine, again)[number - 1]
        field = left(alone, number).field
        assert field is not None and max(field.grid.dx, field.grid.dy) <= 2 / 24 * (1 + 1e-9)
    # what the first program cut is the same on its own grid and on the finer one
    field = left(course([("", [program(GROOVE), program(FINE, tool=2)])]), 1).field
    assert field is not None
    gone = float((18 - field.top).sum(dtype=float)) * field.grid.area
    assert gone == pytest.approx((40 * 6 + math.pi * 9) * 3, rel=0.005)


def test_a_grid_too_coarse_for_a_cutter_is_told() -> None:
    bounds = StockBounds(cells=40_000)
    job = course([("", [program(GROOVE), program(FINE, tool=2)])], bounds=bounds)
    field = left(job, 1).field
    assert field is not None and field.grid.nx * field.grid.ny <= 40_000
    _, fine = reports(job)
    assert any("coarser than 1/24 of the smallest cutter" in text for text in fine.assumptions)
    few = StockBounds(visits=1e5)
    field = left(course([("", [program(GROOVE), program(FINE, tool=2)])], bounds=few), 1).field
    assert field is not None and max(field.grid.dx, field.grid.dy) > 2 / 24


def test_a_second_run_over_the_same_groove_cuts_air_and_a_deeper_one_takes_the_rest() -> None:
    deeper = program(GROOVE.replace("Z-3", "Z-5"))
    job = course([("", [program(GROOVE), program(GROOVE), deeper, program(GROOVE.replace("Z-3", "Z-14"))])])
    first, second, third, fourth = reports(job)
    assert "air-cutting" not in found(first, "note")
    assert "air-cutting" in found(second, "note") and second.summary["removed_cm3"] == 0
    assert "stepdown-over-limit" not in found(third)
    assert third.summary["removed_cm3"] == pytest.approx((40 * 6 + math.pi * 9) * 2 / 1000, rel=0.01)
    assert "stepdown-over-limit" in found(fourth)  # 9 mm at once


def test_a_part_that_two_programs_free_together_is_told_in_the_second() -> None:
    one = program("G0 X30 Y20\nG0 Z5\nG1 Z0 F1200\nG1 X70 Z-6\nG1 X30 Z-12\nG1 X70 Z-18.2\nG1 X30\nG1 Y30\nG1 Z0\n")
    two_body = "G0 X30 Y30\nG0 Z5\nG1 Z-17.9 F1200\nG1 Z-18.2\nG1 Y60\nG1 X70\nG1 Y20\n"
    job = course([("", [one, program(two_body)])])
    first, second = reports(job)
    assert "part-freed" not in found(first)
    (freed,) = [f for f in second.findings if f.rule == "part-freed"]
    assert freed.line == 5 + 7  # the move that closes the ring
    assert "34 x 34 mm" in freed.message


def test_a_piece_cut_loose_before_and_cut_again() -> None:
    ring = "G0 X30 Y20\nG0 Z5\nG1 Z0 F1200\n" + "".join(f"G1 X70 Z{-z}\nG1 Y60\nG1 X30\nG1 Y20\n" for z in (6, 12, 18.2, 18.2))
    inside = program("G0 X45 Y40\nG0 Z5\nG1 Z0 F1200\nG1 X55 Z-2\nG1 X45\n")
    _, second = reports(course([("", [program(ring), inside])]))
    (again,) = [f for f in second.findings if f.rule == "part-freed"]
    assert (again.severity, again.line) == ("error", 9)
    assert "was cut loose by an earlier program of the job" in again.message
    # clamped anew where the shop file says so, it is held
    held = 'hold = { points = [["50 mm", "40 mm"]] }'
    _, second = reports(course([("", [program(ring)]), (held, [inside])]))
    assert "part-freed" not in found(second)
    _, second = reports(course([("", [program(ring)]), ("", [inside])]))
    (again,) = [f for f in second.findings if f.rule == "part-freed"]
    assert again.severity == "warning"


FACE = "G0 X-20 Y5\nG0 Z5\nG1 Z-1 F600\n" + "".join(
    f"G1 X{120 if k % 2 == 0 else -20} F3000\nG1 Y{5 + 10 * (k + 1)}\n" for k in range(8)
)


@pytest.mark.parametrize("zero", ["", 'zero = ["0 mm", "0 mm", "18 mm"]'])
def test_a_piece_planed_thinner_lies_on_its_face_after_the_turn(zero: str) -> None:
    """1 mm is taken off the whole top; turned over, the piece is 17 mm thick and program zero is on its top."""
    second = program(GROOVE.replace("Z-3", "Z-4"))
    job = course([("", [program(FACE, tool=3)]), (f'turn = "about-y"\n{zero}', [second, second])])
    _, report, third = reports(job)
    assert report.summary["removed_cm3"] == pytest.approx((40 * 6 + math.pi * 9) * 4 / 1000, rel=0.01)
    assert any("a.ngc leaves the piece 17 mm thick, where 18 mm are declared" in text for text in report.assumptions)
    assert report.setup["stock"]["size"] == [100.0, 80.0, pytest.approx(17, abs=1e-3)]
    assert report.setup["zero"][2] == pytest.approx(17, abs=1e-3)
    assert report.setup["datum"].endswith("on the stock's top")
    assert third.setup["zero"] == report.setup["zero"] and third.summary["removed_cm3"] == 0
    assert any("17 mm thick" in text for text in third.assumptions)
    # told by its owner, nothing is assumed
    job = course([("", [program(FACE, tool=3)]), ('turn = "about-y"\nstock = { size = [100, 80, 17] }', [second])])
    _, report = reports(job)
    assert report.summary["removed_cm3"] == pytest.approx((40 * 6 + math.pi * 9) * 4 / 1000, rel=0.01)
    assert not any("mm thick" in text for text in report.assumptions)


def test_zero_on_the_table_stays_there_after_the_turn() -> None:
    body = GROOVE.replace("Z5", "Z25").replace("Z0", "Z18").replace("Z-3", "Z14")
    job = course([("", [program(FACE, tool=3)]), ('turn = "about-x"\nzero = [0, 0, 0]', [program(body)])])
    _, report = reports(job)
    assert report.summary["removed_cm3"] == pytest.approx((40 * 6 + math.pi * 9) * 3 / 1000, rel=0.01)
    assert any("program zero 0 mm above that face" in text for text in report.assumptions)


def test_stock_that_stands_higher_than_a_set_up_declares_is_seen() -> None:
    """The second set-up is told to be 15 mm thick; 18 mm stand: a rapid at 16.5 hits, and the report says why."""
    body = "G0 X20 Y40\nG0 Z1.5\nG0 X60\n" + GROOVE
    job = course([("", [program(GROOVE)]), ("stock = { size = [100, 80, 15] }", [program(body)])])
    _, report = reports(job)
    assert "rapid-into-stock" in found(report)
    assert any("a.ngc leaves the piece 18 mm thick, where 15 mm are declared" in text for text in report.assumptions)


def test_a_workpiece_that_is_all_chips() -> None:
    shop = SHOP.replace('["100 mm", "80 mm", "18 mm"]', '["20 mm", "10 mm", "3 mm"]')
    away = program("G0 X-20 Y5\nG0 Z5\nG1 Z-3.2 F600\nG1 X50\n", tool=3)
    job = course([("", [away]), ('turn = "about-y"', [program(GROOVE)] * 2)], shop=shop)
    for report in reports(job)[1:]:
        (reason,) = {n.reason for n in report.not_checked if n.cause == "job"}
        assert reason.endswith("before it in the job pad, leaves nothing of the workpiece")
        assert report.setup["stock"]["size"] == [20.0, 10.0, 3.0]


def test_two_turns_about_different_axes_come_one_after_the_other() -> None:
    """X 20 to 60 at Y 20 of 100 x 80, turned about Y, then about X: X 40 to 80 at Y 60, from the same side again."""
    same = program("G0 X40 Y60\nG0 Z5\nG1 Z0 F1200\nG1 X80 Z-3\nG1 X40 F3000\nG1 X80\n")
    other = program(GROOVE.replace("Y20", "Y50"))
    job = course([("", [program(GROOVE)]), ('turn = "about-y"', [other]), ('turn = "about-x"', [same])])
    *_, report = reports(job)
    assert report.summary["removed_cm3"] == 0
    elsewhere = course([("", [program(GROOVE)]), ('turn = "about-y"', [other]), ('turn = "about-x"', [program(GROOVE)])])
    assert reports(elsewhere)[2].summary["removed_cm3"] == pytest.approx((40 * 6 + math.pi * 9) * 3 / 1000, rel=0.01)


def test_checked_outside_its_job_a_later_program_says_that_its_stock_is_not_known() -> None:
    from advisor.check import check_program

    job = course([("", [program(GROOVE), program(GROOVE)])])
    step = job.steps[1]
    assert step.data is not None
    report = check_program(step.data, path="b.ngc", setting=step.setting)
    reasons = {n.reason for n in report.not_checked if n.cause == "job"}
    assert reasons == {"what a.ngc, before it in the job pad, left standing was not looked at"}
    assert "rapid-into-stock" in {n.rule for n in report.not_checked if n.cause == "job"}
    assert report.setup["job"]["stock_left_by"] is None


SAMPLES = Path(__file__).resolve().parents[2] / "sample_programs"


def parted(text: str) -> list[tuple[bytes, bytes]]:
    """A sample program parted in two at each comment of its body: the head and the end stand in both."""
    lines = text.splitlines()
    begin = next(i for i, line in enumerate(lines) if line == "G4 P5") + 1
    end = lines.index("(end)")
    head, body, tail = lines[:begin], lines[begin:end], lines[end:]
    found = []
    for i, line in enumerate(body):
        if i and line.startswith("("):
            one, two = (*head, *body[:i], *tail), (*head, *body[i:], *tail)
            found.append((("\n".join(one) + "\n").encode(), ("\n".join(two) + "\n").encode()))
    return found


@pytest.mark.parametrize(
    ("name", "cut"), [("thwart-socket.ngc", 2), ("thwart-socket.ngc", 5), ("hatch-ring.ngc", 5), ("hatch-ring.ngc", 7)]
)
def test_a_program_parted_in_two_is_judged_like_the_whole(name: str, cut: int) -> None:
    """What the two parts remove and need is what the whole does; nothing is found that was not found before."""
    from advisor.check import check_program
    from advisor.files import load_shop_file

    file = load_shop_file(SAMPLES / "feedwright.toml")
    whole = check_program((SAMPLES / name).read_bytes(), path=name, setting=setting_for(file, SAMPLES / name, Flags()))
    one, two = parted((SAMPLES / name).read_text(encoding="ascii"))[cut]
    stem = name.removesuffix(".ngc")
    job = f'[[job]]\nname = "{stem}"\n[[job.setup]]\nprograms = ["{stem}-a.ngc", "{stem}-b.ngc"]\n'
    shop = parse(((SAMPLES / "feedwright.toml").read_text() + job).encode(), SAMPLES / "feedwright.toml", shown="f.toml")
    paths = [SAMPLES / f"{stem}-{part}.ngc" for part in "ab"]
    first, second = reports(
        Course([Step(setting_for(shop, path, Flags()), data) for path, data in zip(paths, (one, two), strict=True)])
    )
    assert found(whole) == found(first) == found(second) == {}
    assert not first.not_checked and not second.not_checked
    parts = first.summary["removed_cm3"], second.summary["removed_cm3"]
    assert min(parts) > 0.02 * whole.summary["removed_cm3"]
    assert sum(parts) == pytest.approx(whole.summary["removed_cm3"], rel=0.002)
    alone = check_program(two, path="b.ngc", setting=setting_for(file, paths[1], Flags()))
    more = alone.summary["removed_cm3"] / parts[1]  # in the socket there is more to take without the first part
    assert more > 1.02 if stem == "thwart-socket" else more == pytest.approx(1, abs=0.001)
