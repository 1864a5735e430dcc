"""The pipeline: bytes of a program and its setting -> what was found, what was not checked, card and summary. Pure."""

from __future__ import annotations

import contextlib
import re
import traceback
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from advisor.allowances import Allowance
from advisor.evidence import Evidence, Left
from advisor.findings import Finding, NotChecked, ProgramReport, Suppressed
from advisor.fingerprint import stamp
from advisor.rules import book
from advisor.rules.base import FromReader, Rule
from advisor.values import Hold, Setting

if TYPE_CHECKING:
    from advisor.stock import Field
    from grammar.moves import Program, Start

MOST_PER_RULE = 1000  # findings of one rule told for one program; the rest are counted
MOST_GAPS = 20  # stretches that could not be followed told one by one
# Rules about rapids; the others miss nothing where only a rapid could not be followed.
JUDGE_RAPIDS = frozenset(
    {"rapid-into-stock", "rapid-clearance", "rapid-bent-path", "keepout-hit", "holder-contact", "outside-travel"}
)
# Rules about what is left at the end, which is not what was meant where a rapid went through the stock.
JUDGE_REST = frozenset({"thin-floor", "thin-wall"})
NEVER_ALLOWED = frozenset({"internal-error", "required-not-checked", "unused-allowance", "not-a-program", "file-skipped"})

MISSING = {
    "stock": "no stock is declared: give [stock] size and zero in the shop file, --stock and --zero, or --assume-stock",
    "cutter": "no cutter is known: give [[cutter]] in the shop file, or --cutter",
    "material": "no material is given: give [stock] material in the shop file, or --material",
    "machine": "no machine is given: give [machine] in the shop file, or --machine",
    "travel": "the machine's travel is not given: give [machine] travel in the shop file",
    "hold": "how the workpiece is held is not given: give [hold] in the shop file",
    "offsets": "where program zero sits on the machine is not given: give [offsets] in the shop file",
    "moves": "the program makes no move",
}


def check_program(
    data: bytes,
    *,
    path: str,
    setting: Setting,
    rules: Iterable[Rule] | None = None,
    threads: int | None = None,
    progress: Callable[[float], None] | None = None,
    before: Field | None = None,
) -> ProgramReport:
    """Checks one program. Never raises: what fails inside becomes the finding ``internal-error``.

    ``rules``: those to run, all of the rule book by default. ``threads`` and ``progress`` go to the stock model;
    ``before`` is the workpiece as earlier programs left it (``advisor.job`` follows a whole job). Of a program that
    comes later in a job, what needs the stock is not checked where nobody says what the earlier ones left.
    """
    return check_with_evidence(
        data, path=path, setting=setting, rules=rules, threads=threads, progress=progress, before=before
    )[0]


def check_with_evidence(
    data: bytes,
    *,
    path: str,
    setting: Setting,
    rules: Iterable[Rule] | None = None,
    threads: int | None = None,
    progress: Callable[[float], None] | None = None,
    before: Field | None = None,
    left: Callable[[Program], Left] | None = None,
) -> tuple[ProgramReport, Evidence | None]:
    """``check_program`` with the evidence it rests on, for pictures and for the next program of its job.

    The evidence is None where none was made. ``left``, asked once the program is read, says what the programs before
    it in its job left, instead of ``before``.
    """
    every = book()
    chosen = sorted(every.values() if rules is None else rules, key=lambda rule: rule.name)
    run = _Run(path=path, setting=setting, rules=chosen, known=every)
    from advisor.rules.not_a_program import not_text

    reason = not_text(data)
    if reason is not None:
        return run.nothing(reason, lines=1), None
    try:
        program = _read(data, setting, path)
    except Exception as error:
        return run.broken(error, "reading the program"), None
    found = run.left(program, left) if before is None else None
    if found is not None:
        before = found.field
        if found.workpiece is not None:
            setting = run.setting = replace(setting, workpiece=found.workpiece)
    evidence = Evidence(
        program=program,
        setting=setting,
        data=data,
        path=path,
        threads=threads,
        progress=progress,
        before=before,
        left=found,
    )
    if not program.codes and len(program.moves) == 0:
        reason = "it holds no motion and no code of the language"
        first = next((fault for fault in program.faults if fault.severity == "error"), None)
        if first is not None:
            reason += f" (line {first.line}: {first.message})"
        return run.nothing(reason, lines=max(1, evidence.line_count), evidence=evidence), evidence
    return run.all(evidence), evidence


def _read(data: bytes, setting: Setting, path: str) -> Program:
    """The program in ``data`` as its setting reads it."""
    from grammar.read import read_program

    return read_program(
        data,
        name=path,
        dialect=setting.checks.dialect,
        options=setting.checks.dialect_options,
        start=start_of(setting),
        fragment=setting.fragment,
    )


def read(data: bytes, setting: Setting, path: str) -> Program:
    """A program that is only followed, read as it is when it is checked."""
    return _read(data, setting, path)


def start_of(setting: Setting) -> Start:
    """The machine before the first block, as the reader of programs wants it."""
    from grammar.read import default_start

    usual = default_start(setting.checks.dialect)
    given = dict(setting.start)
    fields: dict[str, Any] = {}
    for key in ("tool", "slots", "feed", "speed", "block_delete", "optional_stop", "position", "mode"):
        if key in given and given[key] is not None:
            fields[key] = given[key]
    fields["parameters"] = {
        **usual.parameters,
        **{int(k): float(v) for k, v in dict(given.get("parameters", {})).items()},
    }
    lengths = {t: c.length_offset for t, c in setting.cutters.items() if c.length_offset is not None}
    diameters = {t: c.offset_diameter if c.offset_diameter is not None else c.diameter for t, c in setting.cutters.items()}
    for tool, (length, diameter) in setting.tool_table.items():
        lengths.update({} if length is None else {tool: length})
        diameters.update({} if diameter is None else {tool: diameter})
    if setting.any_cutter is not None and not setting.cutters:
        size = setting.any_cutter
        own = size.offset_diameter if size.offset_diameter is not None else size.diameter
        diameters = {**dict.fromkeys(range(100), own), **diameters}
    return replace(
        usual,
        lengths={**usual.lengths, **lengths},
        diameters={**usual.diameters, **diameters},
        origins={**usual.origins, **setting.offsets},
        **fields,
    )


def gaps(evidence: Evidence) -> list[tuple[str, str, int, int, bool]]:
    """Stretches of a program the reader, the placing or the stock model could not follow.

    (reason, cause, first line, last line, whether anything but rapids lies in it).
    """
    found = [
        (g.reason, g.cause, g.from_line, g.to_line, True)
        for g in evidence.program.gaps
        if g.cause != "unknown-position" or evidence.feeds_blindly(g.from_line, g.to_line)
    ]
    with contextlib.suppress(Exception):  # told by the rules that need the stock
        found += evidence.unlooked
    return sorted(set(found), key=lambda g: (g[2], g[3], g[1], g[0], g[4]))


class _Run:
    """One run over one program: gathers what the rules say."""

    def __init__(self, *, path: str, setting: Setting, rules: Sequence[Rule], known: Mapping[str, Rule]) -> None:
        self.path = path
        self.setting = setting
        self.rules = rules
        self.known = known
        self.findings: list[Finding] = []
        self.not_checked: list[NotChecked] = []
        self.failures: dict[tuple[str, ...], list[str]] = {}
        self.approaches: set[NotChecked] = set()  # rapids from where the machine stands: nobody can know them
        self.last_line = 1
        self.unassumed = ""  # why no stock could be assumed, once asked

    def left(self, program: Program, ask: Callable[[Program], Left] | None) -> Left | None:
        """What the programs before this one in its job left; None for a program that comes after none."""
        job = self.setting.job
        if job is None or not job.before:
            return None
        if ask is None:
            return Left(unknown=f"what {job.before[-1]}, before it in the job {job.job}, left standing was not looked at")
        try:
            found = ask(program)
        except Exception as error:
            found = Left(
                unknown=f"what {job.before[-1]} left standing could not be worked out because of an internal error",
                failed=((f"the job {job.job}", error),),
            )
        for name, failure in found.failed:
            self._failed(name, failure, "following the programs before this one in its job")
        return found

    # ---- whole reports -------------------------------------------------------------------------------------------

    def nothing(self, reason: str, *, lines: int, evidence: Evidence | None = None) -> ProgramReport:
        """The report on bytes that are no program."""
        self.last_line = lines
        self._whole("not-a-program", "the file is not a program")
        self.findings.append(Finding(rule="not-a-program", message=f"This is not a program: {reason}.", line=1))
        self._require()
        return self._report(evidence, set())

    def broken(self, error: Exception, doing: str) -> ProgramReport:
        """The report where even the reading failed."""
        self._failed("the reader", error, doing)
        self._whole("internal-error", "the program could not be read because of an internal error")
        self._require()
        return self._report(None, set())

    def all(self, evidence: Evidence) -> ProgramReport:
        """The report of every rule."""
        self.last_line = max(1, self._lines(evidence))
        gaps = self._gaps(evidence)
        looked: set[str] = set()
        for rule in self.rules:
            if self.setting.checks.severity.get(rule.name) == "off":
                self._whole_rule(rule.name, "turned off in [checks]", "off")
                continue
            if self._lacking(rule, evidence):
                continue
            before = len(self.not_checked)
            self._look(rule, evidence)
            if evidence.left is not None and "engagement" in rule.needs:
                for doubt in evidence.left.doubts:
                    self._whole_rule(rule.name, doubt, "job")
            if rule.follows:
                for reason, cause, first, last, cuts in gaps:
                    if cuts or rule.name in JUDGE_RAPIDS:
                        missed = NotChecked(rule.name, reason, cause, first, last)
                        self.not_checked.append(missed)
                        if not cuts and cause == "unknown-position":
                            self.approaches.add(missed)
            whole = any(
                n.from_line <= 1 and n.to_line >= self.last_line for n in self.not_checked[before:] if n.rule == rule.name
            )
            if not whole:
                looked.add(rule.name)
        self._strangers(evidence)
        self._require()
        return self._report(evidence, looked)

    # ---- rules ---------------------------------------------------------------------------------------------------

    @staticmethod
    def _lines(evidence: Evidence) -> int:
        lines = evidence.program.block_line
        return int(lines[-1]) if len(lines) else 1

    def _look(self, rule: Rule, evidence: Evidence) -> None:
        found: list[Finding] = []
        extra = 0
        try:
            for said in rule.check(evidence):
                if isinstance(said, NotChecked):
                    self.not_checked.append(said)
                elif self._slight(rule, said):
                    continue
                elif len(found) < MOST_PER_RULE:
                    found.append(self._filled(rule, said, evidence))
                else:
                    extra += 1
        except Exception as error:
            self._failed(rule.name, error, "looking at the program")
            self._whole_rule(rule.name, "the rule failed", "internal-error")
        if extra:
            last = found[-1]
            found[-1] = replace(last, message=f"{last.message} ({extra} more findings of this rule are not listed.)")
        self.findings += found

    def _slight(self, rule: Rule, finding: Finding) -> bool:
        """True where the shop file wants findings of this rule only further past their limit (``least``)."""
        least = self.setting.checks.options.get(rule.name, {}).get("least")
        if least is None or "least" in rule.options or finding.measured is None or finding.limit is None:
            return False
        same = finding.unit in ("", rule.unit)
        return same and abs(finding.measured - finding.limit) < float(least) - rule.tolerance

    def _filled(self, rule: Rule, finding: Finding, evidence: Evidence) -> Finding:
        program = evidence.program
        line, end_line = finding.line, finding.end_line
        if line == 0 and finding.block is not None:
            line = program.line_of(finding.block)
            if finding.end_block is not None:
                end_line = program.line_of(finding.end_block)
        line = max(1, line)
        return replace(
            finding,
            severity=self._severity(rule, finding),
            line=line,
            end_line=max(line, end_line),
            unit=finding.unit or (rule.unit if finding.measured is not None or finding.limit is not None else ""),
            why=finding.why or rule.why,
            fix=finding.fix or rule.fix,
            safety=finding.safety or rule.safety,
        )

    def _severity(self, rule: Rule, finding: Finding) -> str:
        return self.setting.checks.severity.get(rule.name) or finding.severity or rule.severity

    def _strangers(self, evidence: Evidence) -> None:
        """Faults of the reading that no chosen rule reads: of rules that also judge by themselves, or unknown ones."""
        names = {rule.name for rule in self.rules}
        for name in evidence.faults:
            rule = self.known.get(name)
            if rule is None:
                self._failed("the reader", KeyError(f"fault of an unknown rule {name}"), "telling its faults")
                for finding in FromReader(name)(evidence):
                    self.findings.append(replace(finding, rule="internal-error", severity="error"))
            elif name in names and not isinstance(rule.check, FromReader):
                if self.setting.checks.severity.get(name) == "off":
                    continue
                self._look(replace(rule, check=FromReader(name)), evidence)

    # ---- what could not be looked at -----------------------------------------------------------------------------

    def _whole_rule(self, name: str, reason: str, cause: str) -> None:
        self.not_checked.append(NotChecked(name, reason, cause, 1, self.last_line))

    def _whole(self, cause: str, reason: str) -> None:
        for rule in self.rules:
            if rule.group != "housekeeping":
                self._whole_rule(rule.name, reason, cause)

    def _lacking(self, rule: Rule, evidence: Evidence) -> bool:
        """Notes what a rule needs and hasn't got; True where it can't look at all."""
        setting = self.setting
        for need in rule.needs:
            absent = (
                (need == "stock" and setting.workpiece is None and not setting.assume_stock)
                or (need == "engagement" and setting.workpiece is None and not setting.assume_stock)
                or (need in ("cutter", "engagement") and not setting.cutters and setting.any_cutter is None)
                or (need == "material" and setting.material is None)
                or (need in ("machine", "travel") and setting.machine is None)
                or (need == "travel" and setting.machine is not None and not setting.machine.travel)
                or (need == "hold" and setting.hold == Hold())
                or (need == "offsets" and not setting.offsets)
                or (need == "moves" and len(evidence.moves) == 0)
            )
            if absent:
                key = need
                if need == "engagement":
                    key = "stock" if setting.workpiece is None and not setting.assume_stock else "cutter"
                if need == "travel" and setting.machine is None:
                    key = "machine"
                self._whole_rule(rule.name, self._reason(key, evidence), key)
                return True
        if {"stock", "engagement"} & set(rule.needs) and setting.workpiece is None and evidence.placed is None:
            if not self.unassumed:
                from advisor.place import assume

                self.unassumed = assume(evidence.program, setting)[1]
            self._whole_rule(rule.name, self.unassumed, "stock")
            return True
        left = evidence.left
        if left is not None and left.unknown and "engagement" in rule.needs:
            self._whole_rule(rule.name, left.unknown, "job")
            return True
        if left is not None and left.crashed and rule.name in JUDGE_REST:
            reason = f"a rapid of {left.crashed[0]} went through the stock: what is left is not what was meant"
            self._whole_rule(rule.name, reason, "crash")
            return True
        if {"cutter", "engagement"} & set(rule.needs):
            for tool, first, last in evidence.unknown_cutters:
                name = "the tool in the spindle is never named" if tool is None else f"the cutter of T{tool} is not known"
                key = f"[[cutter]] with tool = {tool}"
                if tool is None:
                    key = "[start] tool, its number," if setting.cutters else "[[cutter]]"
                self.not_checked.append(
                    NotChecked(rule.name, f"{name}: give {key} in the shop file, or --cutter", "cutter", first, last)
                )
        return False

    def _reason(self, key: str, evidence: Evidence) -> str:
        """What to give so that a rule can look; asks for program zero where it seems to be on the table."""
        from advisor.setup_card import zero_question

        question = zero_question(evidence) if key == "stock" else None
        return MISSING[key] if question is None else f"{MISSING[key]}; {question}"

    def _gaps(self, evidence: Evidence) -> list[tuple[str, str, int, int, bool]]:
        """Stretches the reader, the placing or the stock model could not follow; many are told as one."""
        found = gaps(evidence)
        if len(found) <= MOST_GAPS:
            return found
        by_cause: dict[tuple[str, bool], list[tuple[str, str, int, int, bool]]] = {}
        for gap in found:
            by_cause.setdefault((gap[1], gap[4]), []).append(gap)
        merged = []
        for (cause, cuts), each in by_cause.items():
            reason = each[0][0] if len(each) == 1 else f"{each[0][0]} (and {len(each) - 1} more places)"
            merged.append((reason, cause, min(g[2] for g in each), max(g[3] for g in each), cuts))
        return sorted(merged, key=lambda g: (g[2], g[3], g[1], g[4]))

    def _require(self) -> None:
        """Rules the shop file requires that could not look, wholly or in part."""
        for name in self.setting.checks.require:
            if name not in self.known:
                self._add("required-not-checked", f"[checks] requires the rule {name}, which does not exist.", 1, 1)
                continue
            missed = [n for n in self.not_checked if n.rule == name and n not in self.approaches]
            if missed:
                first = missed[0]
                where = (
                    ""
                    if first.from_line <= 1 and first.to_line >= self.last_line
                    else (f" at lines {first.from_line} to {first.to_line}")
                )
                more = f" ({len(missed) - 1} more places)" if len(missed) > 1 else ""
                self._add(
                    "required-not-checked",
                    f"[checks] requires {name}, which could not look{where}: {first.reason}{more}.",
                    first.from_line,
                    first.to_line,
                )

    # ---- failures ------------------------------------------------------------------------------------------------

    def _failed(self, who: str, error: Exception, doing: str) -> None:
        frames = traceback.extract_tb(error.__traceback__)
        place = f"{_tail(frames[-1].filename)}:{frames[-1].lineno}" if frames else "unknown place"
        text = " ".join(str(error).split())[:200]
        self.failures.setdefault((type(error).__name__, text, place, doing), []).append(who)

    def _tell_failures(self) -> None:
        from advisor import __version__

        for (kind, text, place, doing), names in self.failures.items():
            self._add(
                "internal-error",
                f"Feedwright failed while {doing}: {', '.join(names)}. Report this program and the line: "
                f"feedwright {__version__}, {kind} at {place}: {text}",
                1,
                1,
            )
        self.failures.clear()

    def _add(self, name: str, message: str, line: int, end_line: int) -> None:
        self.findings.append(Finding(rule=name, message=message, line=line, end_line=max(line, end_line)))

    # ---- the report ----------------------------------------------------------------------------------------------

    def _report(self, evidence: Evidence | None, looked: set[str]) -> ProgramReport:
        card: Mapping[str, Any] = {}
        summed: Mapping[str, Any] = {}
        told: tuple[str, ...] = ()
        if evidence is not None:
            try:
                from advisor.setup_card import assumptions, summary
                from advisor.setup_card import card as make_card

                card, summed, told = make_card(evidence), summary(evidence), assumptions(evidence)
            except Exception as error:
                self._failed("the set-up card", error, "summing up the program")
        self._tell_failures()
        stamped = stamp(self._complete(self.findings), evidence)
        kept, suppressed = self._allowances(stamped, evidence)
        findings = sorted(kept, key=lambda f: (f.line, f.column, f.rule, f.fingerprint))
        texts: dict[int, str] = {}
        if evidence is not None:
            for finding in (*findings, *(s.finding for s in suppressed)):
                if 1 <= finding.line <= evidence.line_count:
                    texts[finding.line] = evidence.text(finding.line)[:1000]
        return ProgramReport(
            path=self.path,
            dialect=self.setting.checks.dialect,
            findings=tuple(findings),
            not_checked=tuple(sorted(set(self.not_checked), key=lambda n: (n.rule, n.from_line, n.to_line, n.reason))),
            suppressed=tuple(sorted(suppressed, key=lambda s: (s.finding.line, s.finding.column, s.finding.rule))),
            assumptions=told,
            setup=card,
            summary=summed,
            blocks_text=texts,
            rules_looked=tuple(sorted(looked)),
        )

    def _complete(self, findings: Sequence[Finding]) -> list[Finding]:
        """The runner's own findings with the texts of their rules; one that is turned off is left out."""
        done = []
        for finding in findings:
            rule = self.known.get(finding.rule)
            if rule is not None and not finding.severity:
                severity = self.setting.checks.severity.get(rule.name, "")
                if severity == "off" and rule.name != "internal-error":
                    continue
                finding = replace(
                    finding,
                    severity=severity if severity not in ("", "off") else rule.severity,
                    why=finding.why or rule.why,
                    fix=finding.fix or rule.fix,
                    safety=finding.safety or rule.safety,
                    end_line=max(finding.line, finding.end_line),
                )
            done.append(finding)
        return done

    def _allowances(self, findings: Sequence[Finding], evidence: Evidence | None) -> tuple[list[Finding], list[Suppressed]]:
        """Findings that stay, and those put aside by the program's own words or by the shop file."""
        if evidence is None:
            return list(findings), []
        kept: list[Finding] = []
        suppressed: list[Suppressed] = []
        in_program = evidence.allowances
        used: set[int] = set()
        from_file = dict(self.setting.allowances)
        for finding in findings:
            held: Suppressed | None = None
            if finding.rule not in NEVER_ALLOWED:
                for index, allowance in enumerate(in_program):
                    if allowance.rule == finding.rule and allowance.line == finding.line and allowance.reason:
                        used.add(index)
                        held = Suppressed(finding=finding, reason=allowance.reason, kind="program")
                if held is None and finding.rule in from_file:
                    held = Suppressed(finding=finding, reason=from_file[finding.rule], kind="shop-file")
            if held is None:
                kept.append(finding)
            else:
                suppressed.append(held)
        kept += stamp(self._complete(self._unused(in_program, used)), evidence)
        return kept, suppressed

    def _unused(self, in_program: Sequence[Allowance], used: set[int]) -> list[Finding]:
        """What is wrong with the program's allowances."""
        running = {rule.name for rule in self.rules}
        unseen = {n.rule for n in self.not_checked}
        if "unused-allowance" not in running:
            return []
        found = []
        for index, allowance in enumerate(in_program):
            message = allowance.fault
            if not message and allowance.rule not in self.known:
                message = f"There is no rule named {allowance.rule}, so nothing is allowed here."
            elif not message and allowance.rule in NEVER_ALLOWED:
                message = f"{allowance.rule} can't be allowed in a program."
            elif not message and index not in used and allowance.rule in running and allowance.rule not in unseen:
                message = f"The allowance of {allowance.rule} is not used: this block has no such finding."
            if message:
                found.append(Finding(rule="unused-allowance", message=message, line=allowance.line, column=allowance.column))
        return found


def _tail(filename: str) -> str:
    """The end of a source path, from its package on: tells the place and nothing of the user's disk."""
    parts = re.split(r"[/\\]", filename)
    for package in ("advisor", "grammar"):
        if package in parts:
            return "/".join(parts[len(parts) - 1 - parts[::-1].index(package) :])
    return parts[-1]
