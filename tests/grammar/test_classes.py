"""The quick ``dataclass`` against the standard library's: what is made of the same class behaves alike."""

from __future__ import annotations

import dataclasses
import importlib
import pickle
import pkgutil
import subprocess
import sys
from dataclasses import FrozenInstanceError, field, fields, is_dataclass, replace
from typing import Any, ClassVar

import pytest

import advisor
import grammar
from grammar.classes import dataclass as quick

WISHES = [
    {"frozen": True, "slots": True},
    {"frozen": True},
    {"frozen": True, "eq": False},
    {"frozen": True, "slots": True, "eq": False},
    {"eq": False},
    {"slots": True},
    {},
]


def made(by: Any, wishes: dict[str, bool]) -> Any:
    """One class by one of the two ways."""

    class Plank:
        """A plank of the boat."""

        name: str
        length: float = 2.4
        holes: list[int] = field(default_factory=list)
        marks: dict[str, int] = field(default_factory=dict, compare=False)
        secret: int = field(default=7, repr=False)

        @property
        def half(self) -> float:
            return self.length / 2

    return by(**wishes)(Plank)


@pytest.mark.parametrize("wishes", WISHES, ids=str)
def test_both_ways_behave_alike(wishes: dict[str, bool]) -> None:
    ours, theirs = made(quick, wishes), made(dataclasses.dataclass, wishes)
    assert [(f.name, f.type, f.default, f.compare, f.repr) for f in fields(ours)] == [
        (f.name, f.type, f.default, f.compare, f.repr) for f in fields(theirs)
    ]
    assert ours.__match_args__ == theirs.__match_args__
    assert getattr(ours, "__slots__", None) == getattr(theirs, "__slots__", None)
    assert (ours.__doc__, ours.__name__, ours.__qualname__) == (theirs.__doc__, theirs.__name__, theirs.__qualname__)
    outcomes = []
    for cls in (ours, theirs):
        one, other = cls("garboard", holes=[1]), cls("garboard", 2.4, [1], {"a": 1}, 7)
        assert is_dataclass(one)
        assert cls("a").holes is not cls("a").holes
        longer = replace(one, length=3.0)
        outcomes.append(
            [
                repr(one), repr(longer), one == other, one != longer, one == ("garboard",), one.half, longer.holes is one.holes,
                outcome(lambda one=one, other=other: hash(one) == hash(other)),
                outcome(lambda one=one: setattr(one, "length", 1.0)),
                outcome(lambda one=one: delattr(one, "length")),
                outcome(lambda one=one: setattr(one, "width", 1.0)),
                outcome(cls), outcome(lambda cls=cls: cls("a", thick=1)), outcome(lambda one=one: one.nothing),
            ]
        )  # fmt: skip
    assert outcomes[0] == outcomes[1]


def outcome(act: Any) -> Any:
    """What comes of a call: its result, or the kind of its exception."""
    try:
        return act()
    except FrozenInstanceError:
        return "frozen"
    except (TypeError, AttributeError) as error:
        # setting what is no field of a frozen class with slots: a mishap of the standard library makes it a TypeError
        return "refused" if isinstance(error, AttributeError) or "super" not in str(error) else "frozen"


def test_what_asks_for_more_is_left_to_the_standard_library() -> None:
    @quick(frozen=True, slots=True)
    class Board:
        width: float = 1.0

    class Counted:
        many: ClassVar[int] = 3
        width: float = 1.0

    class Checked:
        width: float = 1.0

        def __post_init__(self) -> None:
            if self.width < 0:
                raise ValueError("no width")

    @quick(frozen=True, slots=True)
    class Wide(Board):
        height: float = 2.0

    assert [f.name for f in fields(quick(frozen=True)(Counted))] == ["width"]
    with pytest.raises(ValueError, match="no width"):
        quick(frozen=True)(Checked)(-1.0)
    assert repr(Wide(height=3.0)).endswith("Wide(width=1.0, height=3.0)")
    Mark = quick(frozen=True, order=True)(type("Mark", (), {"__annotations__": {"at": "int"}}))
    assert Mark(1) < Mark(2)
    with pytest.raises(ValueError, match="default_factory"):
        quick(frozen=True)(type("Shared", (), {"__annotations__": {"a": "list"}, "a": []}))


def test_every_class_of_values_can_be_taken_apart_and_put_together() -> None:
    seen = 0
    for package in (advisor, grammar):
        for info in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if info.name.endswith((".build", "__main__")):
                continue
            for cls in vars(importlib.import_module(info.name)).values():
                if isinstance(cls, type) and is_dataclass(cls) and cls.__module__ == info.name:
                    seen += 1
                    own = [f.name for f in fields(cls)]
                    assert cls.__match_args__ == tuple(own)
                    assert pickle.loads(pickle.dumps(cls)) is cls
    assert seen > 90


def test_a_value_survives_pickling() -> None:
    from advisor.values import Cutter, Hold, Setting

    for value in (Cutter("a", diameter=3.0), Hold(points=((1.0, 2.0),)), Setting()):
        again = pickle.loads(pickle.dumps(value))
        assert again == value
        assert repr(again) == repr(value)


def test_it_is_quicker() -> None:
    """Loading the values' modules with the standard library's way takes longer; counted in calls, not in time."""
    code = (
        "import sys, dataclasses; n = [0]; run = exec\n"
        "import builtins, grammar.classes as c\n"
        "def count(*a): n[0] += 1; return run(*a)\n"
        "builtins.exec = count\n"
        "def load():\n"
        "    for name in [k for k in sys.modules if k.startswith('advisor')]: del sys.modules[name]\n"
        "    n[0] = 0; import advisor.values, advisor.findings, advisor.setting; return n[0]\n"
        "quick = load(); c.dataclass = dataclasses.dataclass; print(quick, load())"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    ours, theirs = (int(v) for v in done.stdout.split())
    assert 0 < ours * 3 < theirs
