"""The shop file: read to the letter, every mistake told at once, overrides and origins."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.check import start_of
from advisor.files import load_shop_file
from advisor.setting import Flags, SettingError, jobs, matches, setting_for
from advisor.shopfile import Mistake, ShopFileError, line_index, parse, schema
from advisor.units import UnitError
from advisor.values import Hold, Keepout, Pin

WHOLE = Path(__file__).with_name("whole.toml").read_bytes()
HERE = Path("/shed/feedwright.toml")


def mistakes(text: str | bytes) -> list[Mistake]:
    """The mistakes of a text; there must be some."""
    with pytest.raises(ShopFileError) as caught:
        parse(text.encode() if isinstance(text, str) else text, HERE, shown="feedwright.toml")
    return list(caught.value.mistakes)


def setting(text: str, program: str = "/shed/a.ngc", **flags: Any) -> Any:
    """The setting of a program under a shop file's text."""
    return setting_for(parse(text.encode(), HERE, shown="feedwright.toml"), Path(program), Flags(**flags))


def test_the_whole_file_is_read_to_the_letter() -> None:
    made = setting_for(parse(WHOLE, HERE, shown="feedwright.toml"), Path("/shed/a.ngc"), Flags())
    machine = made.machine
    assert machine is not None
    assert machine.name == "ballscrew-router"
    assert machine.travel == {"x": (0.0, 1200.0), "y": (0.0, 1200.0), "z": (-150.0, 0.0)}
    assert (machine.spindle_max, machine.change, machine.spindle_start) == (24000.0, "hand", "program")
    assert made.offsets == {"G54": (210.0, 340.0, -92.0)}
    cutter = made.cutters[1]
    assert (cutter.diameter, cutter.flutes, cutter.stickout, cutter.twist) == (6.0, 2, 30.0, "up")
    assert (cutter.centre_cutting, cutter.max_rpm, cutter.length_offset, cutter.offset_diameter) == (
        True,
        24000.0,
        50.0,
        6.0,
    )
    assert made.start == {"tool": 1, "slots": 20, "feed": 100.0, "block_delete": False, "parameters": {5161: 10.0}}
    piece = made.workpiece
    assert piece is not None
    assert (piece.material, piece.size, piece.zero) == ("birch-plywood", (300.0, 200.0, 18.0), (0.0, 0.0, 18.0))
    assert piece.thickness == (17.1, 18.1)
    assert [layer.thickness for layer in piece.layers] == [1.4, 1.4]
    assert made.material is not None
    assert made.material.name == "birch-plywood"
    assert made.hold == Hold(
        method="screws",
        points=((10.0, 10.0), (290.0, 190.0)),
        spoilboard=0.5,
        pins=(Pin(20.0, 100.0, 6.0, 12.0),),
        keepouts=(Keepout("left clamp", (-20.0, 80.0, 0.0), (10.0, 110.0, 45.0)),),
    )
    assert made.checks.require == ("rapid-into-stock", "stepdown-over-limit")
    assert made.checks.severity == {"straight-plunge": "error", "rapid-clearance": "warning"}
    assert made.checks.options == {"rapid-clearance": {"least": 1.0}}


def test_an_empty_file_says_nothing() -> None:
    made = setting("")
    assert (made.machine, made.cutters, made.workpiece, made.material) == (None, {}, None, None)


def test_a_program_override_changes_one_key_and_says_where_it_stands() -> None:
    shop = parse(WHOLE, HERE, shown="feedwright.toml")
    made = setting_for(shop, Path("/shed/side-2/b.ngc"), Flags())
    assert made.workpiece is not None
    assert made.workpiece.zero == (300.0, 0.0, 18.0)
    assert made.workpiece.size == (300.0, 200.0, 18.0)
    line = WHOLE.decode().splitlines().index('stock = { zero = ["300 mm", "0 mm", "18 mm"] }') + 1
    assert made.origins["stock.zero"] == f"feedwright.toml:{line}"
    assert made.origins["machine.spindle_power"] == "catalogue ballscrew-router"


def test_jobs_keep_their_order_turn_and_stock() -> None:
    job = jobs(parse(WHOLE, HERE), Flags())[0]
    assert job.name == "oarlock pad"
    assert [setup.programs for setup in job.setups] == [("/shed/pad-1.ngc",), ("/shed/pad-2.ngc",)]
    assert [setup.turn.about if setup.turn else None for setup in job.setups] == [None, "about-y"]
    assert job.setups[0].workpiece is not None
    assert job.setups[0].workpiece.size == (300.0, 200.0, 18.0)


def test_stock_hold_and_zero_may_differ_by_setup() -> None:
    text = """
    [stock]
    size = [100, 50, 20]
    [[job]]
    name = "pad"
    hold = { method = "vise" }
    [[job.setup]]
    programs = ["one.ngc"]
    [[job.setup]]
    turn = "about-x"
    programs = ["sub/two.ngc"]
    zero = [0, 50, 20]
    hold = { method = "screws", points = [[5, 5]] }
    """
    first, second = (setting(text, f"/shed/{name}") for name in ("one.ngc", "sub/two.ngc"))
    assert (first.workpiece.zero, first.hold.method) == ((0.0, 0.0, 20.0), "vise")
    assert (second.workpiece.zero, second.hold.method, second.hold.points) == (
        (0.0, 50.0, 20.0),
        "screws",
        ((5.0, 5.0),),
    )


TWICE = """
[[job]]
name = "pad"
[[job.setup]]
programs = ["one.ngc", "two.ngc"]
[[job.setup]]
turn = "about-y"
programs = ["./one.ngc"]
[[job]]
name = "ring"
[[job.setup]]
programs = ["sub/../two.ngc", "ring.ngc"]
"""


def test_a_program_stands_in_one_place_of_one_job() -> None:
    found = mistakes(TWICE)
    assert [(m.line, m.key) for m in found] == [(8, "job[1].setup[2].programs[1]"), (12, "job[2].setup[1].programs[1]")]
    assert 'the program "./one.ngc" is given twice' in found[0].problem
    assert "It is also job[1].setup[1].programs[2]." in found[1].remedy


def test_a_program_in_a_job_of_two_files_is_a_mistake(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text("[[job]]\nname = 'pad'\n[[job.setup]]\nprograms = ['shed/one.ngc']\n")
    (tmp_path / "shed").mkdir()
    over = tmp_path / "shed" / "feedwright.toml"
    over.write_text("extend = '../base.toml'\n[[job]]\nname = 'ring'\n[[job.setup]]\nprograms = ['one.ngc']\n")
    with pytest.raises(ShopFileError) as caught:
        load_shop_file(over)
    (mistake,) = caught.value.mistakes
    assert mistake.line == 4 and mistake.file.endswith("shed/feedwright.toml")
    assert 'also in the job "pad" of the file it extends' in mistake.remedy


def test_what_is_wrong_inside_a_list_is_told_alone() -> None:
    (found,) = mistakes("[[job]]\nname = 'a'\n[[job.setup]]\nprograms = 'a.ngc'\n")
    assert (found.line, found.key) == (4, "job[1].setup[1].programs")


def test_the_place_of_a_program_in_its_job() -> None:
    text = """
    [[job]]
    name = "pad"
    [[job.setup]]
    programs = ["one.ngc", "sub/two.ngc"]
    [[job.setup]]
    turn = "about-x"
    programs = ["three.ngc"]
    """
    one, two, three, other = (
        setting(text, f"/shed/{name}").job for name in ("one.ngc", "sub/two.ngc", "three.ngc", "four.ngc")
    )
    assert other is None
    assert (one.job, one.program, one.programs, one.setup, one.begins, one.before) == ("pad", 1, 3, 1, True, ())
    assert (two.name, two.program, two.setup, two.begins, two.turn) == ("sub/two.ngc", 2, 1, False, None)
    assert (three.setup, three.setups, three.begins, three.turn) == (2, 2, True, "about-x")
    assert three.before == ("one.ngc", "sub/two.ngc")
    assert three.origin == "feedwright.toml:6"


def test_three_mistakes_are_all_told_with_line_key_and_remedy() -> None:
    found = mistakes('[machine]\nlike = "ballscrew-routr"\nspindle_max = "24000 kg"\n[hold]\nspoilbord = "0.5 mm"\n')
    assert [(m.line, m.key) for m in found] == [(2, "machine.like"), (3, "machine.spindle_max"), (5, "hold.spoilbord")]
    assert 'did you mean "ballscrew-router"' in found[0].problem
    assert '"24000 kg" is a mass; a spindle speed is wanted' in found[1].problem
    assert found[2].remedy == 'Did you mean "spoilboard"?'
    assert str(found[2]).startswith("feedwright.toml:5: hold.spoilbord: there is no such key.")


@pytest.mark.parametrize(
    ("text", "key", "said"),
    [
        ("[machine", "", "this is not TOML"),
        (b"\xff\xfe", "", "not UTF-8"),
        ("machine = 3", "machine", "written [machine]"),
        ("[cutter]\ntool = 1", "cutter", "written [[cutter]]"),
        ("[stok]\n", "stok", "there is no such key"),
        ("[stock]\nsize = [1, 2]", "stock.size[3]", "missing"),
        ("[stock]\nsize = [1, 2, 3, 4]", "stock.size", "4 values are given, 3 are wanted"),
        ("[stock]\nsize = [1, 2, 0]", "stock.size[3]", "not above zero"),
        ("[stock]\nsize = [1, 2, nan]", "stock.size[3]", "not a finite number"),
        ("[stock]\nsize = [1, 2, -inf]", "stock.size[3]", "not a finite number"),
        ('[stock]\nsize = "300x200x18"', "stock.size", "list in square brackets"),
        ('[stock]\nthickness = ["18 mm", "17 mm"]', "stock", "least comes first"),
        ("[machine]\ntravel = { x = [1, 0] }", "machine.travel", "lowest comes first"),
        ("[machine]\nspindle_min = 9\nspindle_max = 8", "machine", "exchange them"),
        ("[machine]\npower_curve = [[100, 5], [50, 5]]", "machine", "rising speeds"),
        ('[machine]\nchange = "robot"', "machine.change", "is not one of hand, automatic"),
        ("[[cutter]]\nflutes = 0\ndiameter = 6", "cutter[1].flutes", "below 1"),
        ('[[cutter]]\nflutes = "2"\ndiameter = 6', "cutter[1].flutes", "whole number"),
        ('[[cutter]]\ncentre_cutting = "yes"', "cutter[1].centre_cutting", "true or false"),
        ("[[cutter]]\ndiameter = 6\nflute_length = 40\nstickout = 30", "cutter[1]", "longer than stickout"),
        ("[[cutter]]\ndiameter = 6\ndead_diameter = 6", "cutter[1]", "not below the diameter"),
        ("[[cutter]]\ntool = 1\ndiameter = 6\n[[cutter]]\ntool = 1\ndiameter = 3", "cutter[2].tool", "given twice"),
        ("[[cutter]]\ndiameter = 6\n[[cutter]]\ndiameter = 3", "cutter[2].tool", "given twice"),
        ("[offsets]\nG53 = [0, 0, 0]", "offsets.G53", "no such coordinate system"),
        ("[start]\nparameters = { 9999 = 1.0 }", "start.parameters.9999", "above 5602"),
        ("[start]\nparameters = { 1 = nan }", "start.parameters.1", "finite"),
        ("[hold]\nkeepouts = [{ name = 'a', from = [0,0,0], to = [0,1,1] }]", "hold.keepouts[1]", "not below"),
        ("[hold]\npins = [{ at = [1, 2], diameter = 6 }]", "hold.pins[1].depth", "missing"),
        ("[checks]\nno-fed = 'error'", "checks.no-fed", "not the name of a rule"),
        ("[checks]\nno-feed = 'loud'", "checks.no-feed", "no severity"),
        ("[checks]\nno-feed = true", "checks.no-feed", "no severity"),
        ("[checks]\nno-feed = { severity = 'error', loudness = 3 }", "checks.no-feed.loudness", "no such option"),
        ("[checks]\nrequire = ['no-fed']", "checks.require[1]", "not the name of a rule"),
        ("[checks]\ndialect = 'loose'", "checks.dialect", "is not one of strict, shop"),
        ("[checks.dialect_options]\nsemicolon-coment = false", "checks.dialect_options.semicolon-coment", "Did you mean"),
        ("[checks]\ndialect = 'strict'\ndialect_options = { flow = true }", "checks.dialect_options.flow", "strict has no"),
        ("[[program]]\nfiles = []", "program[1].files", "at least 1"),
        ("[[program]]\nfiles = ['a']\n[program.checks]\nno-fed = 'off'", "program[1].checks.no-fed", "not the name"),
        ("[[job]]\nname = 'a'\n", "job[1].setup", "missing"),
        ("[[job]]\nname = 'a'\nsetup = []", "job[1].setup", "the job has no set-up Add [[job.setup]]"),
        ("[[job]]\nname = 'a'\n[[job.setup]]\nprograms = []", "job[1].setup[1].programs", "names no program Write"),
        ("[[job]]\nname = 'a'\n[[job.setup]]\nturn = 'about-y'", "job[1].setup[1].programs", "missing Write"),
        ("[[allow]]\nrule = 'no-feed'\n", "allow[1].because", "missing"),
        ("[[allow]]\nrule = 'no-fed'\nbecause = 'old'\n", "allow[1].rule", "not the name of a rule"),
        ("[files]\nendings = ['a/b']", "files.endings[1]", "no file ending"),
        ("x = 1\n" * 2, "", "this is not TOML"),
    ],
)
def test_mistakes(text: str | bytes, key: str, said: str) -> None:
    found = mistakes(text)
    told = [m for m in found if m.key == key and said in m.problem + " " + m.remedy]
    assert told, [str(m) for m in found]
    assert "pydantic" not in str(told[0])


def test_a_file_deeply_nested_or_huge_is_refused() -> None:
    assert mistakes("a = " + "[" * 100_000)
    assert "larger than" in mistakes(b"#" * 5_000_000)[0].problem


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_whole_file_with_one_byte_changed_is_read_or_refused(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(WHOLE) - 1))
    text = bytearray(WHOLE)
    text[at] = data.draw(st.integers(0, 255))
    try:
        shop = parse(bytes(text), HERE, shown="feedwright.toml")
    except ShopFileError as error:
        assert error.mistakes
        assert all(m.problem for m in error.mistakes)
    else:
        try:
            setting_for(shop, Path("/shed/a.ngc"), Flags())
        except SettingError as error:
            assert str(error)


def test_lines_are_found_past_comments_strings_and_nested_tables() -> None:
    text = '# a\n[a]\nb = """\n[c]\nd = 1\n"""\ne.f = [\n  1,\n]\n[[g]]\nh = 1\n[[g.i]]\nj = 2\n[[g]]\nh = 3\n'
    found = line_index(text)
    assert found[("a", "b")] == 3
    assert ("c",) not in found
    assert found[("a", "e", "f")] == 7
    assert found[("g", 0, "i", 0, "j")] == 13
    assert found[("g", 1, "h")] == 15


# ------------------------------------------------------------------------------------------------ flags and overriding


def test_flags_win_over_the_file_and_take_the_place_of_a_whole_cutter() -> None:
    text = '[machine]\nlike = "belt-router"\nspindle_max = 20000\n'
    text += '[[cutter]]\ntool = 1\nlike = "drill-3mm"\nstickout = 40\n'
    made = setting(
        text, machine="knee-mill", cutters=("1=drill-5mm", "T2=drill-6mm"), stock="300x200x18", zero="0,0,-3"
    )
    assert (made.machine.name, made.machine.spindle_max) == ("knee-mill", 4200.0)
    assert (made.cutters[1].diameter, made.cutters[2].diameter) == (5.0, 6.0)
    assert made.cutters[1].stickout != 40.0
    assert made.workpiece.zero == (0.0, 0.0, -3.0)
    assert (made.origins["stock.zero"], made.origins["cutter.1.like"]) == ("--zero", "--cutter")
    alone = setting("", cutters=("drill-5mm",))
    assert alone.any_cutter.diameter == 5.0
    assert not alone.cutters


@pytest.mark.parametrize(
    ("flags", "said"),
    [
        ({"machine": "belt-ruter"}, 'did you mean "belt-router"'),
        ({"material": "plywod"}, "--material"),
        ({"cutters": ("x=drill-3mm",)}, "is not a tool number"),
        ({"cutters": ("1=drill-3mm", "1=drill-5mm")}, "given twice"),
        ({"stock": "300x200"}, "3 lengths are wanted"),
        ({"stock": "300x200x-18"}, "not above zero"),
        ({"zero": "1,2"}, "3 lengths are wanted"),
    ],
)
def test_wrong_flags_are_told(flags: dict[str, Any], said: str) -> None:
    with pytest.raises((SettingError, UnitError), match=said):
        setting("", **flags)


def test_a_cutter_needs_a_likeness_or_a_diameter() -> None:
    with pytest.raises(SettingError, match="neither like"):
        setting("[[cutter]]\ntool = 1\nflutes = 2\n")
    assert setting("[[cutter]]\ntool = 1\ndiameter = '1/4 in'\nflutes = 2\n").cutters[1].diameter == 6.35


def test_a_tool_table_entry_alone_is_enough_to_follow_a_program() -> None:
    made = setting("[[cutter]]\ntool = 3\nlength_offset = '12 mm'\noffset_diameter = '-2 mm'\n")
    assert made.cutters == {} and made.tool_table == {3: (12.0, -2.0)}
    start = start_of(made)
    assert start.lengths[3] == 12.0 and start.diameters[3] == -2.0


def test_the_zero_nobody_gave_says_so() -> None:
    made = setting("[stock]\nsize = [300, 200, 18]\n")
    assert made.workpiece.zero == (0.0, 0.0, 18.0)
    assert made.origins["stock.zero"].startswith("default")


def test_values_given_take_the_place_of_the_catalogues_spread() -> None:
    made = setting(
        '[machine]\nlike = "ballscrew-router"\nspindle_power = "1100 W"\nrapid = [9000, 8000, 2000]\n'
    ).machine
    spread = made.values["spindle_power"]
    assert (spread.low, spread.chosen, spread.high, spread.source) == (1100.0, 1100.0, 1100.0, "feedwright.toml:3")
    assert made.rapid == (9000.0, 8000.0, 2000.0)
    assert made.values["rapid_xy"].chosen == 9000.0
    # the curve keeps its form: at each speed the same share of the rated power
    whole = setting('[machine]\nlike = "ballscrew-router"\n').machine
    assert [w / 1100.0 for _, w in made.power_curve] == pytest.approx(
        [w / whole.spindle_power for _, w in whole.power_curve]
    )


def test_cutters_merge_by_tool_and_lists_are_replaced_whole() -> None:
    text = """
    [[cutter]]
    tool = 1
    like = "drill-3mm"
    stickout = 40
    [[cutter]]
    tool = 2
    like = "drill-5mm"
    [checks]
    require = ["no-feed", "unknown-code"]
    no-feed = "warning"
    [[program]]
    files = ["a.ngc"]
    checks = { require = ["no-feed"], unknown-code = "note" }
    [[program.cutter]]
    tool = 1
    stickout = 45
    """
    made = setting(text)
    assert (made.cutters[1].stickout, made.cutters[1].diameter, made.cutters[2].diameter) == (45.0, 3.0, 5.0)
    assert made.checks.require == ("no-feed",)
    assert made.checks.severity == {"no-feed": "warning", "unknown-code": "note"}
    other = setting(text, "/shed/b.ngc")
    assert (other.cutters[1].stickout, other.checks.require) == (40.0, ("no-feed", "unknown-code"))


def test_allowances_count_for_the_files_they_name() -> None:
    text = "[[allow]]\nrule = 'no-feed'\nfiles = ['old/*']\nbecause = 'kept for the record'\n"
    assert setting(text, "/shed/old/a.ngc").allowances == (("no-feed", "kept for the record"),)
    assert setting(text, "/shed/a.ngc").allowances == ()


@pytest.mark.parametrize(
    ("pattern", "path", "held"),
    [
        ("*.ngc", "a.ngc", True),
        ("*.ngc", "deep/er/a.ngc", True),
        ("./*.ngc", "a.ngc", True),
        ("side-2/*.ngc", "side-2/a.ngc", True),
        ("side-2/*.ngc", "side-2/b/a.ngc", False),
        ("side-2/*.ngc", "x/side-2/a.ngc", False),
        ("**/side-2/*.ngc", "x/side-2/a.ngc", True),
        ("**/side-2/*.ngc", "side-2/a.ngc", True),
        ("side-2/**", "side-2/b/a.ngc", True),
        ("scrap/", "scrap/a.ngc", True),
        ("scrap/", "x/scrap/b/a.ngc", True),
        ("scrap/", "scrap", False),
        ("pad-[12].ngc", "pad-2.ngc", True),
        ("pad-[!12].ngc", "pad-2.ngc", False),
        ("pad-?.ngc", "pad-12.ngc", False),
        ("a+b(1).ngc", "a+b(1).ngc", True),
        ("*", "a.ngc", True),
        ("", "a.ngc", False),
        ("[", "[", True),
        ("a.ngc", "a.ngc\n", False),
    ],
)
def test_patterns(pattern: str, path: str, held: bool) -> None:
    assert matches(Path("/shed") / path, Path("/shed"), pattern) is held


def test_a_pattern_holds_nothing_outside_its_folder() -> None:
    assert not matches(Path("/elsewhere/a.ngc"), Path("/shed"), "*.ngc")


OWN = """
[[material]]
name = "club-plywood"
like = "birch-plywood"
specific_force = ["15 N/mm2", "22 N/mm2", "0.03 J/mm3"]
stepdown_slot_rigid = 1.0
chip_load = { "6 mm" = "0.08 mm", "1/8 in" = [0.03, 0.04, 0.05] }
[stock]
material = "club-plywood"
size = [300, 200, 18]
"""


def test_a_material_of_ones_own_takes_the_rest_from_what_it_is_like() -> None:
    made = setting(OWN).material
    assert made.name == "club-plywood"
    force = made.values["specific_force"]
    assert (force.low, force.chosen, force.high, force.unit) == (15.0, 22.0, 30.0, "N/mm2")
    assert force.source == "feedwright.toml:5"
    assert made.values["stepdown_slot_rigid"].chosen == 1.0
    assert {d: v.chosen for d, v in made.chip_load.items()} == {3.175: 0.04, 6.0: 0.08}
    like = setting('[stock]\nmaterial = "birch-plywood"\n').material
    assert made.values["density"] == like.values["density"]
    assert made.hazards == like.hazards
    assert setting(OWN.replace('material = "club-plywood"', ""), material="club-plywood").material == made


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ("specific_force =", "specific_forc =", "material[1].specific_forc", 'Did you mean "specific_force"'),
        ('"22 N/mm2"', '"22 kg"', "material[1].specific_force", "is a mass"),
        ('"22 N/mm2"', '"52 N/mm2"', "material[1].specific_force", "do not rise"),
        ('"15 N/mm2", ', "", "material[1].specific_force", "2 values are given"),
        ("rigid = 1.0", 'rigid = "deep"', "material[1].stepdown_slot_rigid", "a plain number"),
        ("rigid = 1.0", "rigid = -1.0", "material[1].stepdown_slot_rigid", "above 0"),
        ('"6 mm" =', '"6 kg" =', 'material[1].chip_load."6 kg"', "is a mass"),
        ('"birch-plywood"', '"birch-plywod"', "material[1].like", "did you mean"),
        ('material = "club', 'material = "clib', "stock.material", "is not among"),
        ('name = "club-plywood"', 'name = "The Club"', "material[1].name", "is no name"),
    ],
)
def test_mistakes_in_a_material(old: str, new: str, key: str, said: str) -> None:
    found = mistakes(OWN.replace(old, new, 1))
    assert [m for m in found if m.key == key and said in m.problem + " " + m.remedy], [str(m) for m in found]


def test_a_material_of_the_extended_file_can_be_named(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text(OWN)
    (tmp_path / "a.toml").write_text('extend = "base.toml"\n[stock]\nmaterial = "club-plywood"\n')
    made = setting_for(load_shop_file(tmp_path / "a.toml"), tmp_path / "a.ngc", Flags())
    assert made.material is not None
    assert made.material.name == "club-plywood"
    (tmp_path / "a.toml").write_text('extend = "base.toml"\n[stock]\nmaterial = "clib-plywood"\n')
    with pytest.raises(SettingError, match=r"a.toml:3: stock.material: .clib-plywood. is not among"):
        setting_for(load_shop_file(tmp_path / "a.toml"), tmp_path / "a.ngc", Flags())


# -------------------------------------------------------------------------------------------------------------- extend


def test_extend_merges_and_keeps_the_origin_of_each_file(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text(
        '[machine]\nlike = "belt-router"\n[stock]\nsize = [1, 2, 3]\n'
        '[[program]]\nfiles = ["base-*"]\nstart = { tool = 4 }\n'
    )
    inner = tmp_path / "inner"
    inner.mkdir()
    (inner / "feedwright.toml").write_text('extend = "../base.toml"\n[machine]\nspindle_max = 20000\n')
    shop = load_shop_file(inner / "feedwright.toml")
    made = setting_for(shop, inner / "a.ngc", Flags())
    assert made.machine is not None
    assert (made.machine.name, made.machine.spindle_max) == ("belt-router", 20000.0)
    assert made.origins["machine.like"].endswith("base.toml:2")
    assert made.origins["machine.spindle_max"].endswith("inner/feedwright.toml:3")
    assert len(shop.sources) == 2
    # patterns are seen from the file they stand in
    assert setting_for(shop, tmp_path / "base-1.ngc", Flags()).start == {"tool": 4}


def test_extending_in_a_circle_or_from_nowhere_is_a_mistake(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text('extend = "b.toml"\n')
    (tmp_path / "b.toml").write_text('extend = "a.toml"\n')
    with pytest.raises(ShopFileError, match="circle"):
        load_shop_file(tmp_path / "a.toml")
    (tmp_path / "b.toml").write_text('extend = "c.toml"\n')
    with pytest.raises(ShopFileError, match="no such file"):
        load_shop_file(tmp_path / "a.toml")


def test_mistakes_of_both_files_are_told(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text("[stok]\n")
    (tmp_path / "a.toml").write_text('extend = "base.toml"\n[hold]\nspoilboard = -1\n')
    with pytest.raises(ShopFileError) as caught:
        load_shop_file(tmp_path / "a.toml")
    told = str(caught.value)
    assert "stok" in told
    assert "spoilboard" in told


# -------------------------------------------------------------------------------------------------------------- schema


def test_the_schema_takes_the_whole_file_and_refuses_an_unknown_key() -> None:
    import tomllib

    made = schema()
    jsonschema.Draft202012Validator.check_schema(made)
    validator = jsonschema.Draft202012Validator(json.loads(json.dumps(made)))
    assert not list(validator.iter_errors(tomllib.loads(WHOLE.decode())))
    assert list(validator.iter_errors({"hold": {"spoilbord": 1}}))
    assert list(validator.iter_errors({"machine": {"change": "robot"}}))
