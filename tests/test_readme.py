"""What the README shows is what the tool prints. ``pytest tests/test_readme.py --update-golden`` renews it."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
BLOCK = re.compile(
    r"(<!-- output: (?P<command>.*?)(?: \| first (?P<first>\d+))? -->\n```text\n)(?P<shown>.*?)(```\n)", re.DOTALL
)


def printed(command: str, first: str | None) -> str:
    """What the command prints on a plain 80-column terminal."""
    environment = {key: value for key, value in os.environ.items() if key != "FORCE_COLOR"}
    environment.update(NO_COLOR="1", COLUMNS="80", PYTHONPATH=str(ROOT))
    done = subprocess.run(
        [sys.executable, "-c", "import sys; from advisor.cli import main; sys.exit(main())", *shlex.split(command)],
        cwd=ROOT / "sample_programs", env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode in (0, 1) and done.stdout, done.stderr
    lines = done.stdout.splitlines(keepends=True)
    return "".join(lines[: int(first)] if first else lines).rstrip() + "\n"


def test_the_readme_shows_what_the_tool_prints(update_golden: bool) -> None:
    text = README.read_text(encoding="utf-8")
    blocks = list(BLOCK.finditer(text))
    assert len(blocks) == 2
    new = BLOCK.sub(lambda found: found[1] + printed(found["command"], found["first"]) + found[5], text)
    if update_golden:
        README.write_text(new, encoding="utf-8", newline="\n")
    assert README.read_text(encoding="utf-8") == new, "renew with: pytest tests/test_readme.py --update-golden"


def test_the_two_commands_are_one_line_each() -> None:
    text = README.read_text(encoding="utf-8")
    for name in ("first command", "test command"):
        found = re.search(rf"<!-- {name} -->\n```sh\n(.*?)```", text, re.DOTALL)
        assert found is not None
        (line,) = found[1].splitlines()
        assert line.startswith("python3 -m venv .venv && ")
    assert "pytest" in line


def test_the_readme_holds_the_ci_jobs_word_for_word() -> None:
    text = README.read_text(encoding="utf-8")
    jobs = sorted((ROOT / "tests" / "gate" / "snippets").glob("*.yml"))
    assert len(jobs) == 2
    for job in jobs:
        assert f"```yaml\n{job.read_text(encoding='utf-8')}```\n" in text, job.name


def test_every_command_named_in_the_readme_exists() -> None:
    from advisor.cli import app

    known = {command.name or str(command.callback.__name__) for command in app.registered_commands if command.callback}
    known |= {group.name for group in app.registered_groups if group.name}
    named = set(re.findall(r"feedwright ([a-z]+)", README.read_text(encoding="utf-8")))
    assert {"check", "speeds", "rate", "trace", "explain", "catalogue", "init", "baseline"} <= named
    assert named <= known, named - known
