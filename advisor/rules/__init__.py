"""The rule book: every module of this package that holds a ``RULE``, and the page of each rule.

Adding a rule is adding a module ``<name>.py`` with ``<name>.good.ngc`` and ``<name>.bad.ngc`` beside it. Modules whose
name begins with an underscore, and ``base``, are helpers.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Mapping
from functools import cache
from importlib import resources

from advisor.rules.base import HEADINGS, Rule, sections
from grammar.classes import dataclass


@dataclass(frozen=True, slots=True)
class RulePage:
    """What ``feedwright explain RULE`` tells: the rule, its sections by heading, and its two programs."""

    rule: Rule
    sections: Mapping[str, str]
    good: str
    bad: str


def module_name(rule_name: str) -> str:
    """The module a rule lives in: ``no-feed`` -> ``no_feed``."""
    return rule_name.replace("-", "_")


@cache
def book() -> Mapping[str, Rule]:
    """Every rule by name, sorted. Raises ``RuntimeError`` where a module and its rule disagree on the name."""
    found: dict[str, Rule] = {}
    for info in pkgutil.iter_modules(__path__):
        if info.name == "base" or info.name.startswith("_"):
            continue
        module = importlib.import_module(f"{__name__}.{info.name}")
        rule = getattr(module, "RULE", None)
        if not isinstance(rule, Rule):
            raise RuntimeError(f"rule module {info.name}.py holds no RULE")
        if module_name(rule.name) != info.name:
            raise RuntimeError(f"rule module {info.name}.py holds the rule {rule.name}")
        found[rule.name] = rule
    return dict(sorted(found.items()))


def page(name: str) -> RulePage:
    """The page of a rule. Raises ``KeyError`` with the nearest known names where there is no such rule."""
    rules = book()
    if name not in rules:
        import difflib

        near = difflib.get_close_matches(name, rules, n=3)
        hint = f"; did you mean {', '.join(near)}?" if near else ""
        raise KeyError(f"there is no rule named {name}{hint}")
    module = importlib.import_module(f"{__name__}.{module_name(name)}")
    parts = sections(module.__doc__)
    return RulePage(
        rule=rules[name],
        sections={heading: parts.get(heading, "") for heading in HEADINGS},
        good=example(name, "good"),
        bad=example(name, "bad"),
    )


def example(name: str, which: str) -> str:
    """The text of a rule's ``good`` or ``bad`` program; empty where a rule has none."""
    file = resources.files(__name__) / f"{module_name(name)}.{which}.ngc"
    return file.read_bytes().decode("utf-8", "replace") if file.is_file() else ""
