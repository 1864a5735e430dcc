"""Each format against its published form.

SARIF: the JSON schema of version 2.1.0 (release candidate 4 of the OASIS schema, unchanged, as shipped by the package
``sarif-om`` 1.0.4, MIT licence), with the one name changed that the standard itself changed after it: a suppression's
``state`` became ``status`` (3.35.3). JUnit: the elements and attributes of the schema used by build servers,
``from memory: junit-10.xsd``. GitLab: the keys of the Code Quality report, ``from memory: GitLab documentation``.
Own JSON: the keys promised for ``feedwright.check/1``.
"""

from __future__ import annotations

import gzip
import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes

import jsonschema
import pytest

from advisor.findings import Finding, ProgramReport, Report
from advisor.report import github, gitlab, junit, sarif
from advisor.report import json as json_report
from advisor.run import failed, skipped
from tests.report.samples import BAD, CLEAN, CRASH, EMPTY, MISSING, NOTE, REPORT, WARNING

SARIF_SCHEMA = json.loads((Path(__file__).parent / "schemas" / "sarif-2.1.0-rtm.4.json").read_text("utf-8"))
MANY = Report(
    version="0.1.0",
    programs=tuple(
        ProgramReport(
            path=f"folder {i}/part.ngc",
            findings=tuple(
                replace((CRASH, WARNING, NOTE)[n % 3], line=n + 1, end_line=n + 1, fingerprint=f"{i}-{n}") for n in range(100)
            ),
            not_checked=(MISSING,),
        )
        for i in range(100)
    ),
)  # 10,000 findings
REPORTS = {
    "mixed": REPORT,
    "empty": EMPTY,
    "many": MANY,
    "bare": Report(version="0", programs=(ProgramReport(path="x", findings=(Finding(rule="no-feed", message=""),)),)),
    "unseen": Report(version="0", programs=(skipped("a.nc", "it is a pipe"), failed("b.nc", "KeyError"))),
    "noticed": replace(REPORT, notices=("shard 1/2: 3 of 6 programs",)),
    "not numbers": Report(
        version="0",
        programs=(
            replace(
                BAD,
                findings=(replace(CRASH, measured=float("nan"), limit=float("inf"), at=(float("nan"), None, -0.0)),),
                summary={"minutes": float("nan"), "removed_cm3": 1.23456789, "extent": {"min": {"x": float("-inf")}}},
            ),
        ),
    ),
}
every_report = pytest.mark.parametrize("report", REPORTS.values(), ids=REPORTS.keys())


# --- SARIF -----------------------------------------------------------------------------------------------------------


def sarif_of(report: Report, **options: Any) -> dict[str, Any]:
    made: dict[str, Any] = json.loads(sarif.render(report, **options))
    return made


@pytest.fixture(scope="module")
def validator() -> Any:
    properties = SARIF_SCHEMA["definitions"]["suppression"]["properties"]
    properties["status"] = properties.pop("state")
    return jsonschema.Draft4Validator(SARIF_SCHEMA, format_checker=jsonschema.FormatChecker())


@every_report
def test_sarif_meets_its_schema(report: Report, validator: Any) -> None:
    report = replace(report, programs=report.programs[:3])
    for asked in (False, True):
        made = sarif_of(report, include_suppressed=asked)
        assert [e.message for e in validator.iter_errors(made)] == []


def test_the_schema_would_notice(validator: Any) -> None:
    made = sarif_of(REPORT)
    made["runs"][0]["results"][0]["locations"][0]["physicalLocation"]["region"]["startLine"] = 0
    del made["runs"][0]["tool"]["driver"]["name"]
    assert len(list(validator.iter_errors(made))) == 2


@every_report
def test_sarif_holds_what_code_scanning_asks_for(report: Report) -> None:
    """The properties a large consumer marks as required, no empty strings, exactly one run."""
    made = sarif_of(report)
    assert len(made["runs"]) == 1
    run = made["runs"][0]
    rules = run["tool"]["driver"]["rules"]
    for rule in rules:
        for text in (rule["shortDescription"], rule["fullDescription"], rule["help"]):
            assert text["text"]
    assert isinstance(run["results"], list)
    for result in run["results"]:
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"]
        assert result["message"]["text"]
        place = result["locations"][0]["physicalLocation"]
        assert place["artifactLocation"]["uri"]
        assert place["region"]["startLine"] >= 1
        assert place["region"].get("endLine", 1 << 30) > place["region"]["startLine"]
    assert len({r["id"] for r in rules}) == len(rules)


def test_a_clean_program_gives_empty_results_and_tells_what_was_not_checked() -> None:
    run = sarif_of(Report(version="0.1.0", programs=(CLEAN,)))["runs"][0]
    assert run["results"] == []
    invocation = run["invocations"][0]
    assert invocation["executionSuccessful"] is True
    (told,) = invocation["toolExecutionNotifications"]
    assert told["descriptor"]["id"] == "not-checked"
    assert told["message"]["text"] == "Not checked: chip-too-thin: no material given"
    assert told["locations"][0]["physicalLocation"]["region"] == {"startLine": 1, "endLine": 812}


def test_rule_metadata_comes_from_the_rule_pages() -> None:
    from advisor.rules import page

    report = Report(version="0.1.0", programs=(replace(BAD, findings=(Finding(rule="no-feed", message="m"),)),))
    (rule,) = sarif_of(report)["runs"][0]["tool"]["driver"]["rules"]
    known = page("no-feed")
    assert rule["shortDescription"]["text"] == known.rule.summary
    assert known.sections["How to mend"] in rule["help"]["text"]
    assert rule["defaultConfiguration"]["level"] == known.rule.severity


def test_suppressed_results_only_on_request_with_their_justification() -> None:
    assert all("suppressions" not in r for r in sarif_of(REPORT)["runs"][0]["results"])
    results = sarif_of(REPORT, include_suppressed=True)["runs"][0]["results"]
    (aside,) = [r for r in results if "suppressions" in r]
    assert aside["suppressions"] == [{"kind": "inSource", "status": "accepted", "justification": "opened hole"}]
    assert aside["locations"][0]["physicalLocation"]["region"]["startLine"] == 5


def test_fingerprints_are_the_findings_own() -> None:
    before = sarif_of(REPORT)
    moved = replace(BAD, findings=tuple(replace(f, line=f.line + 7, end_line=f.end_line + 7) for f in BAD.findings))
    after = sarif_of(replace(REPORT, programs=(moved, *REPORT.programs[1:])))
    prints = [[r["partialFingerprints"] for r in m["runs"][0]["results"]] for m in (before, after)]
    assert prints[0] == prints[1]
    assert {"primaryLocationLineHash": "aaaa:1", "feedwrightBlock/1": "aaaa"} in prints[0]


def test_a_failed_program_makes_the_execution_unsuccessful() -> None:
    run = sarif_of(REPORTS["unseen"])["runs"][0]
    assert run["invocations"][0]["executionSuccessful"] is False


@pytest.mark.parametrize(
    ("path", "uri"),
    [
        ("a b/c%d.ngc", "a%20b/c%25d.ngc"),
        ("./x.nc", "x.nc"),
        ("ä#?.nc", "%C3%A4%23%3F.nc"),
        ("a:b.nc", "a%3Ab.nc"),
        ("line\nend.nc", "line%0Aend.nc"),
        ("raw\udcff.nc", "raw%FF.nc"),
        ("/srv/x y.nc", "file:///srv/x%20y.nc"),
        ("../x.nc", "../x.nc"),
    ],
)
def test_paths_as_uris(path: str, uri: str) -> None:
    """RFC 3986, 2.1 and 2.3; the bytes come back."""
    assert sarif.uri(path) == uri
    assert unquote_to_bytes(uri.removeprefix("file://")) == path.removeprefix("./").encode("utf-8", "surrogateescape")


def test_messages_hold_no_placeholders_and_no_links() -> None:
    """SARIF 3.11.5: braces are doubled; 3.11.6: a bracket before a parenthesis would be a link."""
    odd = replace(CRASH, message="{0} and [text](http://example.org) of [stock] size", measured=None, limit=None)
    run = sarif_of(Report(version="0", programs=(replace(BAD, findings=(odd,)),)))["runs"][0]
    text = run["results"][0]["message"]["text"]
    assert text.startswith("{{0}} and [text] (http://example.org) of [stock] size Mend:")


def test_ten_thousand_findings_stay_in_bounds() -> None:
    made = sarif.render(MANY)
    assert len(json.loads(made)["runs"][0]["results"]) == 10_000
    assert len(gzip.compress(made.encode())) < sarif.MOST_BYTES / 10


def test_beyond_the_bounds_the_worst_stay_and_the_rest_is_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    run = json.loads(json.dumps(sarif.value(MANY, most=4000)))["runs"][0]
    assert [r["level"] for r in run["results"]].count("error") == 3400
    assert len(run["results"]) == 4000
    assert run["invocations"][0]["toolExecutionNotifications"][0]["message"]["text"].startswith("6000 further results")
    monkeypatch.setattr(sarif, "MOST_BYTES", 20_000)
    small = sarif.render(MANY)
    assert len(gzip.compress(small.encode(), 6)) <= 20_000
    assert "further results left out" in small


# --- JUnit -----------------------------------------------------------------------------------------------------------

# element -> (required attributes, further attributes, elements inside)
JUNIT: dict[str, tuple[set[str], set[str], set[str]]] = {
    "testsuites": (set(), {"name", "time", "tests", "failures", "errors", "disabled"}, {"testsuite"}),
    "testsuite": (
        {"name", "tests"},
        {"failures", "errors", "time", "disabled", "skipped", "timestamp", "hostname", "id", "package", "file"},
        {"properties", "testcase", "system-out", "system-err"},
    ),
    "testcase": (
        {"name", "classname"},
        {"time", "assertions", "status", "file", "line"},
        {"skipped", "error", "failure", "system-out", "system-err"},
    ),
    "failure": (set(), {"type", "message"}, set()),
    "error": (set(), {"type", "message"}, set()),
    "system-out": (set(), set(), set()),
}


@every_report
@pytest.mark.parametrize("fail_on", ["error", "warning", "note", "never"])
def test_junit_has_the_known_form_and_true_counts(report: Report, fail_on: str) -> None:
    root = ET.fromstring(junit.render(report, fail_on=fail_on))
    assert root.tag == "testsuites"
    for element in root.iter():
        required, further, inside = JUNIT[element.tag]
        assert required <= set(element.attrib) <= required | further
        assert {child.tag for child in element} <= inside
    cases = root.findall("testsuite/testcase")
    assert len(cases) == max(1, len(report.programs))
    for holder in (root, root[0]):
        assert holder.get("tests") == str(len(cases))
        assert holder.get("failures") == str(len(root.findall(".//failure")))
        assert holder.get("errors") == str(len(root.findall(".//error")))


def test_junit_fails_at_the_wanted_severity() -> None:
    def failing(fail_on: str) -> list[str | None]:
        root = ET.fromstring(junit.render(MIXED, fail_on=fail_on))
        return [c.get("name") for c in root.findall("testsuite/testcase") if c.find("failure") is not None]

    one = {"w": WARNING, "n": NOTE, "e": CRASH}
    MIXED = Report(version="0", programs=tuple(ProgramReport(path=k, findings=(f,)) for k, f in one.items()))
    assert failing("error") == ["e"]
    assert failing("warning") == ["e", "w"]
    assert failing("note") == ["e", "n", "w"]
    assert failing("never") == []


def test_junit_of_nothing_is_an_error_and_unseen_files_are_too() -> None:
    root = ET.fromstring(junit.render(EMPTY))
    assert root.find("testsuite/testcase/error") is not None
    root = ET.fromstring(junit.render(REPORTS["unseen"], fail_on="never"))
    assert len(root.findall("testsuite/testcase/error")) == 2


def test_junit_tells_of_a_clean_program_what_was_not_checked() -> None:
    root = ET.fromstring(junit.render(Report(version="0", programs=(CLEAN,))))
    out = root.findtext("testsuite/testcase/system-out") or ""
    assert "no findings, 1 NOT CHECKED" in out
    assert "no material given" in out


# --- GitHub ----------------------------------------------------------------------------------------------------------


def test_github_shows_ten_of_a_kind_worst_first_and_counts_the_rest() -> None:
    errors = (*(replace(CRASH, rule="no-feed", line=n) for n in range(1, 15)), replace(CRASH, line=99))
    report = Report(version="0", programs=(replace(BAD, findings=errors + (WARNING,) * 12 + (NOTE,) * 3),))
    lines = github.render(report).splitlines()
    shown = [line for line in lines if line.startswith("::error ")]
    assert len(shown) == 10
    assert "title=rapid-into-stock" in shown[0]
    assert lines.index(shown[-1]) == 9
    assert sum(line.startswith("::warning ") for line in lines) == 10
    assert lines[-2] == "7 findings not shown as annotations; the other reports hold them all"
    assert lines[-1] == "1 program: 1 CRASH, 14 ERRORS, 12 warnings, 3 notes, 1 allowed, 2 NOT CHECKED"


def test_github_commands_to_the_letter() -> None:
    report = Report(version="0", programs=(replace(BAD, path="a,b:c%.ngc", findings=(CRASH, WARNING)),))
    first, second, *_ = github.render(report).splitlines()
    assert first == (
        "::error file=a%2Cb%3Ac%25.ngc,line=27,endLine=27,col=1,title=rapid-into-stock::"
        "rapid move runs 3 mm deep through stock (measured 3 mm, limit 0 mm) "
        "Mend: lift Z above the stock before this move Care: stand clear of the cutter's plane"
    )
    assert second.startswith("::warning file=a%2Cb%3Ac%25.ngc,line=9,endLine=11,title=plunge-feed::")


def test_github_of_nothing_and_of_clean() -> None:
    assert github.render(EMPTY).startswith("::error title=feedwright::no program was found")
    clean = github.render(Report(version="0", programs=(CLEAN,))).splitlines()
    assert clean[0].startswith("::notice title=NOT CHECKED::")
    assert clean[1] == "1 program: no findings, 1 NOT CHECKED"


# --- GitLab ----------------------------------------------------------------------------------------------------------


@every_report
def test_gitlab_has_the_known_form_and_no_fingerprint_twice(report: Report) -> None:
    issues = json.loads(gitlab.render(report))
    for issue in issues:
        assert set(issue) == {"description", "check_name", "fingerprint", "severity", "location"}
        assert issue["severity"] in ("info", "minor", "major", "critical", "blocker")
        assert issue["location"]["lines"]["begin"] >= 1
        assert set(issue["location"]) == {"path", "lines"}
        assert issue["check_name"]
    assert len({i["fingerprint"] for i in issues}) == len(issues)
    told = sum(len(p.findings) for p in report.programs) + sum(bool(p.not_checked) for p in report.programs)
    assert len(issues) == told


def test_gitlab_keeps_equal_findings_apart_and_lines_out_of_fingerprints() -> None:
    twice = replace(BAD, findings=(CRASH, replace(CRASH, line=90), CRASH))
    issues = gitlab.value(Report(version="0", programs=(twice,)))
    assert len({i["fingerprint"] for i in issues}) == 4
    moved = replace(BAD, findings=(replace(CRASH, line=28),))
    assert (
        gitlab.value(Report(version="0", programs=(moved,)))[0]["fingerprint"]
        == gitlab.value(Report(version="0", programs=(replace(BAD, findings=(CRASH,)),)))[0]["fingerprint"]
    )
    assert issues[0]["severity"] == "blocker"


# --- own JSON --------------------------------------------------------------------------------------------------------

KEYS = {
    "": {"schema", "version", "programs", "totals"},
    "program": {"path", "dialect", "findings", "not_checked", "setup", "assumptions", "suppressed", "summary"},
    "finding": {
        "rule",
        "severity",
        "line",
        "column",
        "end_line",
        "message",
        "measured",
        "limit",
        "unit",
        "why",
        "fix",
        "safety",
        "at",
        "fingerprint",
    },
    "summary": {
        "blocks",
        "moves",
        "tools",
        "minutes",
        "cutting_minutes",
        "rapid_minutes",
        "air_cut_minutes",
        "removed_cm3",
        "extent",
    },
    "setup": {"datum", "lowest_z", "first_moves", "stickout_needed"},
}


def _no_constant(name: str) -> None:
    raise AssertionError(f"{name} is not JSON")


@every_report
def test_json_keys_to_the_letter(report: Report) -> None:
    made = json.loads(json_report.render(report), parse_constant=_no_constant)
    assert set(made) == KEYS[""]
    assert made["schema"] == "feedwright.check/1"
    assert set(made["totals"]) == {"programs", "errors", "warnings", "notes"}
    assert [p["path"] for p in made["programs"]] == sorted(p.path for p in report.programs)
    for p in made["programs"]:
        assert set(p) == KEYS["program"]
        assert set(p["summary"]) == KEYS["summary"]
        assert set(p["setup"]) >= KEYS["setup"]
        assert {end: set(p["summary"]["extent"][end]) for end in ("min", "max")} == {
            "min": {"x", "y", "z"},
            "max": {"x", "y", "z"},
        }
        for f in p["findings"]:
            assert set(f) == KEYS["finding"]
            assert f["severity"] in ("error", "warning", "note")
            assert f["line"] >= 1 <= f["column"]
            assert f["end_line"] >= f["line"]
            assert f["at"] is None or set(f["at"]) == {"x", "y", "z"}
        for n in p["not_checked"]:
            assert set(n) == {"rule", "reason", "cause", "from_line", "to_line"}
        for s in p["suppressed"]:
            assert set(s) == {"rule", "line", "reason"}


def test_json_numbers_have_six_decimals_and_unknown_is_null() -> None:
    made = json.loads(json_report.render(REPORTS["not numbers"]))["programs"][0]
    finding = made["findings"][0]
    assert (finding["measured"], finding["limit"], finding["at"]) == (None, None, {"x": None, "y": None, "z": 0.0})
    assert "-0.0" not in json_report.render(REPORTS["not numbers"])
    assert made["summary"]["removed_cm3"] == 1.234568
    assert made["summary"]["minutes"] is None
    assert made["summary"]["extent"]["min"]["x"] is None


def test_json_sorts_findings_and_counts_them() -> None:
    made = json.loads(json_report.render(REPORT))
    bad = made["programs"][2]
    assert [f["line"] for f in bad["findings"]] == [3, 9, 27, 40]
    assert made["totals"] == {"programs": 3, "errors": 2, "warnings": 1, "notes": 1}


def test_numbers_of_array_packages_are_plain_numbers() -> None:
    import numpy as np

    odd = replace(
        BAD,
        findings=(replace(CRASH, measured=np.float64(1 / 3), line=int(np.int64(3))),),
        summary={"blocks": np.int64(7), "minutes": np.float32("nan"), "tools": np.array([1, 2])},
    )
    made = json.loads(json_report.render(Report(version="0", programs=(odd,))))["programs"][0]
    assert made["findings"][0]["measured"] == 0.333333
    assert (made["summary"]["blocks"], made["summary"]["minutes"], made["summary"]["tools"]) == (7, None, [1, 2])
