"""The one-way flow: who may import whom, who may load which package, who may touch the disk. Read with ``ast``."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

# From the bottom up. A module may import modules of its own line and of the lines above it in this list.
GRAMMAR_LAYERS = (
    ("grammar", "grammar.classes", "grammar.dialect", "grammar.jit", "grammar.lexicon", "grammar.memory", "grammar.source"),
    ("grammar.moves", "grammar.scan"),
    ("grammar.cycles", "grammar.parse", "grammar.path"),
    ("grammar.evaluate", "grammar.record", "grammar.state"),
    ("grammar.flow", "grammar.motion", "grammar.offsets", "grammar.shapes", "grammar.words"),
    ("grammar.compensation",),
    ("grammar.step",),
    ("grammar.interpret",),
    ("grammar.read",),
)
ADVISOR_LAYERS = (
    ("advisor", "advisor.values", "advisor.findings", "advisor.escape", "advisor.sources", "advisor.words", "advisor.distinct"),
    ("advisor.columns", "advisor.pace"),
    ("advisor.units", "advisor.fingerprint", "advisor.allowances"),
    ("advisor.cutting", "advisor.catalogue", "advisor.advice", "advisor.operations", "advisor.refine"),
    ("advisor.limits", "advisor.setting", "advisor.request"),
    ("advisor.asking", "advisor.search", "advisor.steps", "advisor.starter"),
    ("advisor.remarks", "advisor.drilling"),
    ("advisor.recommend", "advisor.rate"),
    ("advisor.place", "advisor.timing", "advisor.trace", "advisor.setup_card"),
    ("advisor.kernels", "advisor.stock"),
    ("advisor.along",),
    ("advisor.evidence",),
    ("advisor.rules",),
    ("advisor.shopfile",),
    ("advisor.check",),
    ("advisor.job",),
    ("advisor.report", "advisor.plot", "advisor.pages"),
    ("advisor.files", "advisor.cache", "advisor.baseline", "advisor.run", "advisor.gate"),
    ("advisor.cli", "advisor.__main__"),
)
# Values that work out a detail of themselves when asked: an import upward inside a function, and no other.
ON_DEMAND = {("grammar.moves", "grammar.parse"), ("advisor.advice", "advisor.steps")}

# Which modules may load a package (a prefix ending in "." allows a whole folder).
ONLY_IN = {
    "pint": ("advisor.units",),
    "lark": ("grammar.parse",),
    "numba": ("grammar.jit",),
    "rich": ("advisor.cli", "advisor.report.terminal"),
    "typer": ("advisor.cli",),
    "pydantic": ("advisor.shopfile", "advisor.catalogue", "advisor.catalogue."),
    "matplotlib": ("advisor.plot",),
}
DISK = ("advisor.files", "advisor.cli", "advisor.cache", "advisor.baseline")
PACKAGE_DATA = ("advisor.catalogue", "advisor.catalogue.", "advisor.rules", "grammar.parse", "grammar.dialect")
DISK_CALLS = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "mkdir", "unlink", "rename", "iterdir"}


def listed(module: str, names: tuple[str, ...]) -> bool:
    """Whether a module is one of the names, or lies in one of the folders."""
    return any(module == name or (name.endswith(".") and module.startswith(name)) for name in names)


def imports(tree: ast.AST) -> Iterator[str]:
    """Every module named by an import, also inside functions; imports for types alone bind nothing and don't count."""
    if isinstance(tree, ast.Import):
        yield from (alias.name for alias in tree.names)
    elif isinstance(tree, ast.ImportFrom) and tree.module and tree.level == 0:
        yield tree.module
        yield from (f"{tree.module}.{alias.name}" for alias in tree.names)
    elif not (isinstance(tree, ast.If) and isinstance(tree.test, ast.Name) and tree.test.id == "TYPE_CHECKING"):
        for child in ast.iter_child_nodes(tree):
            yield from imports(child)


def at_the_top(tree: ast.Module) -> set[str]:
    """Modules imported outside functions and classes."""
    return {name for node in tree.body if isinstance(node, ast.Import | ast.ImportFrom) for name in imports(node)}


def layer_of(module: str, layers: tuple[tuple[str, ...], ...]) -> int | None:
    """Index of the layer of a module; a package's modules belong with it unless they are listed themselves."""
    name = module
    while name and name not in ("advisor", "grammar"):
        for index, layer in enumerate(layers):
            if name in layer:
                return index
        name = name.rpartition(".")[0]
    return 0 if module in ("advisor", "grammar") else None


def disk_calls(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and name of each call that reads or writes a file."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        function = node.func
        if isinstance(function, ast.Name) and function.id == "open":
            yield node.lineno, "open"
        elif isinstance(function, ast.Attribute) and function.attr in DISK_CALLS:
            yield node.lineno, function.attr


def violations(sources: Mapping[str, str]) -> list[str]:
    """Everything that breaks the layers; ``sources`` maps module names to their text."""
    found = []
    for module, text in sources.items():
        tree = ast.parse(text)
        package = module.partition(".")[0]
        layers = GRAMMAR_LAYERS if package == "grammar" else ADVISOR_LAYERS
        own = layer_of(module, layers)
        if own is None:
            found.append(f"{module}: in no layer; put it into the list in tests/test_layers.py")
            continue
        for name in imports(tree):
            top = name.partition(".")[0]
            if top in ONLY_IN and not listed(module, ONLY_IN[top]):
                found.append(f"{module}: loads {top}, which only {', '.join(ONLY_IN[top])} may")
            if package == "grammar" and top == "advisor":
                found.append(f"{module}: grammar must not import advisor")
            if top == package and name != package:
                other = layer_of(name, layers) if name in sources else None
                if (module, name) in ON_DEMAND and name not in at_the_top(tree):
                    continue
                if other is not None and other > own:
                    found.append(f"{module}: imports {name}, which lies above it")
        if not listed(module, DISK) and not listed(module, PACKAGE_DATA):
            found += [f"{module}:{line}: {call}() touches the disk" for line, call in disk_calls(tree)]
    return sorted(set(found))


def project() -> dict[str, str]:
    """All modules of both packages."""
    sources = {}
    for package in ("grammar", "advisor"):
        for path in (ROOT / package).rglob("*.py"):
            parts = path.relative_to(ROOT).with_suffix("").parts
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            sources[name] = path.read_text(encoding="utf-8")
    return sources


def test_the_project_keeps_its_layers() -> None:
    assert violations(project()) == []


def test_planted_violations_are_caught() -> None:
    planted = {
        "grammar.scan": "from advisor.values import Cutter\n",
        "grammar.moves": "def late():\n    from grammar.interpret import run\n",
        "advisor.advice": "from advisor.steps import steps_of\n",
        "advisor.steps": "import math\n",
        "grammar.interpret": "import numba\n",
        "advisor.values": "import advisor.rules.base\n",
        "advisor.rules.base": "import pint\n",
        "advisor.stock": "def load(path):\n    return path.read_text()\n",
        "advisor.surprise": "",
    }
    found = violations(planted)
    for module in planted.keys() - {"advisor.steps"}:
        assert any(line.startswith(module) for line in found), (module, found)
    assert any("grammar.interpret: loads numba" in line for line in found)
    assert any("advisor.rules.base: loads pint" in line for line in found)
    assert any("grammar.moves: imports grammar.interpret" in line for line in found)
    assert len(found) == len(planted) - 1


def test_nothing_else_stands_at_the_top() -> None:
    import subprocess

    listing = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout
    if not listing:  # an unpacked archive without its history
        return
    top = {line.partition("/")[0] for line in listing.splitlines()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "advisor", "grammar", "tests", "sample_programs"}
    assert {name for name in top if not name.startswith(".")} <= allowed
