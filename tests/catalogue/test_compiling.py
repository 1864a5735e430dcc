"""The loader refuses what lacks range, unit or source, and says where and how to mend it; compiled text is kept fresh."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from advisor import catalogue
from advisor.catalogue.compiling import CatalogueError, check, compiled_text
from advisor.sources import REFERENCES, SourceError, parts, reference, tag

GOOD = {file: (catalogue.DATA / file).read_bytes() for file in catalogue.FILES}
FORCE = 'specific_force = { low = 11, chosen = 20, high = 35.1, unit = "N/mm2", source = "estimate, no source" }'


def spoiled(file: str, old: str, new: str) -> dict[str, bytes]:
    text = GOOD[file].decode("utf-8")
    at = text.index("[birch-plywood]") if file == "materials.toml" else 0
    assert old in text[at:], old
    return {**GOOD, file: (text[:at] + text[at:].replace(old, new, 1)).encode()}


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("materials.toml", FORCE, "specific_force = 20", "specific_force: is a bare number; write { low"),
        ("materials.toml", FORCE, FORCE.replace(", source = \"estimate, no source\"", ""), "has no source; add source"),
        ("materials.toml", FORCE, FORCE.replace(", unit = \"N/mm2\"", ""), "specific_force: has no unit; add unit"),
        ("materials.toml", FORCE, FORCE.replace("low = 11, ", ""), "specific_force: has no low; add low"),
        ("materials.toml", FORCE, FORCE.replace("high = 35.1, ", ""), "specific_force: has no high; add high"),
        ("materials.toml", FORCE, FORCE.replace("N/mm2", "psi"), 'has the unit "psi"; write it in "N/mm2"'),
        ("materials.toml", FORCE, FORCE.replace("low = 11", "low = 21"), "not in order; put them in ascending order"),
        ("materials.toml", FORCE, FORCE.replace("low = 11", "low = \"eleven\""), "'eleven' is not a number; write a plain"),
        ("materials.toml", FORCE, FORCE.replace("low = 11", "low = nan"), "nan is not a number"),
        ("materials.toml", FORCE, FORCE.replace("estimate, no source", "TODO"), "placeholder, not a source; name a key"),
        ("materials.toml", FORCE, FORCE.replace("estimate, no source", "our home page"), "not a known source; give"),
        ("materials.toml", FORCE, FORCE.replace("estimate, no source", "from memory: "), "tells nothing"),
        ("materials.toml", FORCE, FORCE.replace("specific_force", "specific_farce"), "specific_farce: is not a known key"),
        ("materials.toml", FORCE, FORCE.replace("specific_force", "specific_farce"), "specific_force: is missing; add"),
        ("materials.toml", FORCE, FORCE.replace("unit =", "note = \"x\", unit ="), '"note" is not known here; use only'),
        ("materials.toml", '"6" = [0.1, 0.167, 0.28]', '"6" = [0.1, 0.28]', "chip_load.6: is not three numbers"),
        ("materials.toml", '"6" = [0.1, 0.167, 0.28]', '"six" = [0.1, 0.2, 0.28]', "chip_load.six: is not a diameter"),
        ("materials.toml", 'unit = "mm"\nsource', "source", "chip_load: has no unit mm; add unit"),
        ("materials.toml", 'family = "wood"', 'family = "timber"', '"timber" is not known; use one of wood, board'),
        ("materials.toml", 'title = "birch plywood"\n', "", "birch-plywood.title: is missing; add title"),
        ("materials.toml", "cutting_speed_hss =", "density_of_hss =", "cutting_speed_hss: is missing; add it, or say why not"),
        ("cutters.toml", 'unit = "mm", low', 'unit = "in", low', "has the unit \"in\"; write it in \"mm\""),
        ("cutters.toml", "{size}", "size", "has no {size} in its name"),
        ("cutters.toml", '["1mm", 1, 4, 3, 8]', '["1mm", 1, 4, 3]', "another number of columns"),
        ("cutters.toml", '["1mm", 1, 4, 3, 8]', '["1.5mm", 1, 4, 3, 8]', "endmill-upcut-1.5mm-1f: is there twice; remove one"),
        ("cutters.toml", 'form = "flat"', 'form = "round"', '"round" is not known; use one of flat, ball'),
        ("machines.toml", 'kind = "router"', 'kind = "lathe"', '"lathe" is not known; use one of router, mill'),
        ("machines.toml", "[[10000, 180], [20000, 360]", "[[20000, 360], [10000, 180]", "is not ascending; sort the points"),
        ("machines.toml", "stiffness = {", "softness = {", "belt-router.values.stiffness: is missing; add stiffness"),
    ],
)  # fmt: skip
def test_refused(file: str, old: str, new: str, told: str) -> None:
    with pytest.raises(CatalogueError) as caught:
        check(spoiled(file, old, new))
    assert any(mistake.startswith(f"{file}: ") and told in mistake for mistake in caught.value.mistakes), caught.value


def test_all_mistakes_at_once() -> None:
    texts = spoiled("materials.toml", FORCE, "specific_force = 20")
    texts["machines.toml"] = spoiled("machines.toml", 'kind = "router"', 'kind = "lathe"')["machines.toml"]
    with pytest.raises(CatalogueError) as caught:
        check(texts)
    assert len(caught.value.mistakes) == 2


@pytest.mark.parametrize("broken", [b"[birch", b"\xff\xfe"])
def test_not_toml(broken: bytes) -> None:
    with pytest.raises(CatalogueError, match=r"materials\.toml: cannot be read as TOML"):
        check({**GOOD, "materials.toml": broken})


@pytest.mark.parametrize("source", ["", "todo", "?", "unknown", "web", "carvill; ", "from memory:", "my own", "TBD"])
def test_placeholder_sources(source: str) -> None:
    with pytest.raises(SourceError):
        parts(source)


def test_tags_go_by_the_weakest_part() -> None:
    assert tag("carvill") == "published"
    assert tag("carvill; from memory: Wood Handbook") == "memory"
    assert tag("carvill; common practice, no source") == "practice"
    assert tag("common practice, no source; estimate, no source") == "estimate"
    assert tag("stated by the user") == "stated"
    assert "Carvill" in reference("carvill; estimate, no source")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for file, text in GOOD.items():
        (tmp_path / file).write_bytes(text)
    return tmp_path


def test_compiled_once_then_read(folder: Path) -> None:
    first = catalogue.load(folder)
    kept = folder / "__pycache__" / catalogue.COMPILED
    assert kept.read_bytes() == first
    assert list(kept.parent.iterdir()) == [kept]  # nothing half-written left beside it
    kept.write_bytes(first.replace(b"birch plywood", b"BIRCH PLYWOOD"))
    assert b"BIRCH PLYWOOD" in catalogue.load(folder)  # read, not made again


def test_changed_data_is_compiled_again(folder: Path) -> None:
    before = json.loads(catalogue.load(folder).split(b"\n")[0])["revision"]
    toml = folder / "materials.toml"
    toml.write_bytes(toml.read_bytes().replace(b"birch plywood", b"birch PLYWOOD"))  # the same length
    after = catalogue.load(folder)
    assert b"birch PLYWOOD" in after
    assert json.loads(after.split(b"\n")[0])["revision"] != before


@pytest.mark.parametrize("rubbish", [b"", b"{}", b"\n", b"\xff\xff\n", b'{"stamps": 1}\n', b"[1]\n", None])
def test_damaged_text_is_compiled_again(folder: Path, rubbish: bytes | None) -> None:
    good = catalogue.load(folder)
    kept = folder / "__pycache__" / catalogue.COMPILED
    kept.write_bytes(good[: len(good) // 2] if rubbish is None else rubbish)
    assert catalogue.load(folder) == good
    assert kept.read_bytes() == good


def test_a_folder_that_can_t_be_written_is_no_fault(folder: Path) -> None:
    (folder / "__pycache__").write_bytes(b"a file where the folder should be")
    assert catalogue.load(folder) == compiled_text(GOOD)
    assert (folder / "__pycache__").read_bytes() == b"a file where the folder should be"


def test_shipped_text_is_read_where_it_lies(folder: Path) -> None:
    (folder / catalogue.COMPILED).write_bytes(compiled_text(GOOD).replace(b"birch plywood", b"BIRCH PLYWOOD"))
    assert b"BIRCH PLYWOOD" in catalogue.load(folder)
    assert not (folder / "__pycache__").exists()


def test_missing_data_is_told(folder: Path) -> None:
    shutil.rmtree(folder / "__pycache__", ignore_errors=True)
    (folder / "cutters.toml").unlink()
    with pytest.raises(FileNotFoundError, match=r"cutters\.toml"):
        catalogue.load(folder)


def test_same_data_same_bytes() -> None:
    assert compiled_text(GOOD) == compiled_text(dict(reversed(GOOD.items())))


def test_no_reference_is_dead_wood() -> None:
    """Every key of the list of references stands beside some value, formula or worked example."""
    root = Path(__file__).resolve().parents[2]
    files = [
        *(root / "advisor" / "cutting").glob("*.py"),
        *catalogue.DATA.glob("*.toml"),
        *(root / "tests" / "tables").glob("*.toml"),
    ]
    written = "\n".join(path.read_text(encoding="utf-8") for path in files)
    assert [key for key in REFERENCES if key not in written] == []
