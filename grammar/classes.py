"""``dataclass`` as in the standard library, made in a third of the time.

A short run makes a hundred classes of values before it looks at a program. The standard library writes six functions for
each of them as text and compiles it; here only ``__init__`` is written, the others are closures over the names of the
fields. What comes of it behaves alike, which a test holds, and ``fields``, ``replace`` and ``is_dataclass`` take it. A
class that asks for more than ``frozen``, ``slots`` and ``eq`` is left to the standard library.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from inspect import get_annotations
from operator import attrgetter
from reprlib import recursive_repr
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # for the checker of types it is the standard library's
    from dataclasses import dataclass as dataclass
else:

    def dataclass(cls: type | None = None, /, **wishes: bool) -> Any:
        """Make a class of values, as ``dataclasses.dataclass`` does."""

        def made(given: type) -> type:
            if wishes.keys() <= _KNOWN and _plain(given):
                return _made(given, wishes.get("frozen", False), wishes.get("slots", False), wishes.get("eq", True))
            return dataclasses.dataclass(given, **wishes)

        return made if cls is None else made(cls)


_KNOWN = {"frozen", "slots", "eq"}
_OWN = {"__init__", "__post_init__", "__repr__", "__eq__", "__hash__", "__setattr__", "__delattr__", "__slots__"}
_NO_FIELD = ("ClassVar", "InitVar", "KW_ONLY")
_FIELD = getattr(dataclasses, "_FIELD", None)  # how the standard library marks a field that is no class variable
_FACTORY: Any = type("_Factory", (), {"__repr__": lambda self: "<factory>"})()
_put = object.__setattr__


def _plain(cls: type) -> bool:
    """Whether the short way will do: no base with fields, no method of its own among those that are made."""
    return (
        _FIELD is not None
        and not _OWN & cls.__dict__.keys()
        and not any(hasattr(base, "__dataclass_fields__") for base in cls.__mro__[1:])
        and not any(word in str(kind) for kind in get_annotations(cls).values() for word in _NO_FIELD)
    )


def _made(cls: type, frozen: bool, slots: bool, eq: bool) -> type:
    fields = {name: _field(cls, name, kind) for name, kind in get_annotations(cls).items()}
    names = tuple(fields)
    made: dict[str, Any] = {
        "__dataclass_fields__": fields,
        "__dataclass_params__": SimpleNamespace(
            init=True, repr=True, eq=eq, order=False, unsafe_hash=False, frozen=frozen, match_args=True, kw_only=False,
            slots=slots, weakref_slot=False,
        ),
        "__match_args__": names,
        "__init__": _init(cls, fields, frozen),
        "__repr__": _repr(cls.__qualname__, [name for name, each in fields.items() if each.repr]),
    }  # fmt: skip
    if eq:
        compared = _getter([name for name, each in fields.items() if each.compare])
        made["__eq__"] = _eq(compared)
        made["__hash__"] = _hash(compared) if frozen else None
    if frozen:
        made["__setattr__"], made["__delattr__"] = _unchanging, _staying
    if slots:
        if frozen:
            made["__getstate__"], made["__setstate__"] = _state, _with_state
        rest = {key: value for key, value in cls.__dict__.items() if key not in fields and key not in _OF_PLAIN}
        new = type(cls)(cls.__name__, cls.__bases__, {**rest, "__slots__": names, **made})
        new.__qualname__ = cls.__qualname__
        return new
    for name, each in fields.items():
        if each.default is not dataclasses.MISSING:
            setattr(cls, name, each.default)
        elif name in cls.__dict__:
            delattr(cls, name)
    for name, value in made.items():
        setattr(cls, name, value)
    return cls


_OF_PLAIN = ("__dict__", "__weakref__")  # what a class without slots has of its own


def _field(cls: type, name: str, kind: Any) -> Any:
    given = cls.__dict__.get(name, dataclasses.MISSING)
    made: Any = given if isinstance(given, dataclasses.Field) else dataclasses.field(default=given)
    if made.default.__class__.__hash__ is None:
        raise ValueError(f"{cls.__qualname__}.{name}: one {type(made.default)} would be shared; use default_factory")
    made.name, made.type, made.kw_only, made._field_type = name, kind, False, _FIELD
    return made


def _init(cls: type, fields: Mapping[str, Any], frozen: bool) -> Any:
    given, body, known = ["self"], [], {"_put": _put, "_FACTORY": _FACTORY}
    for name, each in fields.items():
        value = name
        if each.default is not dataclasses.MISSING:
            known[f"_of_{name}"] = each.default
            given.append(f"{name}=_of_{name}")
        elif each.default_factory is not dataclasses.MISSING:
            known[f"_of_{name}"] = each.default_factory
            given.append(f"{name}=_FACTORY")
            value = f"_of_{name}() if {name} is _FACTORY else {name}"
        else:
            given.append(name)
        body.append(f"_put(self, {name!r}, {value})" if frozen else f"self.{name} = {value}")
    exec(f"def __init__({', '.join(given)}):\n " + "\n ".join(body or ["pass"]), known)
    init: Any = known["__init__"]
    init.__qualname__, init.__module__ = f"{cls.__qualname__}.__init__", cls.__module__
    return init


def _getter(names: list[str]) -> Callable[[Any], Any]:
    if len(names) > 1:
        return attrgetter(*names)
    return lambda self: tuple(getattr(self, name) for name in names)


def _repr(title: str, names: list[str]) -> Any:
    @recursive_repr()
    def shown(self: Any) -> str:
        return f"{title}({', '.join([f'{name}={getattr(self, name)!r}' for name in names])})"

    return shown


def _eq(compared: Callable[[Any], Any]) -> Any:
    def same(self: Any, other: Any) -> Any:
        return compared(self) == compared(other) if other.__class__ is self.__class__ else NotImplemented

    return same


def _hash(compared: Callable[[Any], Any]) -> Any:
    def hashed(self: Any) -> int:
        return hash(compared(self))

    return hashed


def _unchanging(self: Any, name: str, value: Any) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _staying(self: Any, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


def _state(self: Any) -> list[Any]:
    return [getattr(self, name) for name in self.__dataclass_fields__]


def _with_state(self: Any, state: list[Any]) -> None:
    for name, value in zip(self.__dataclass_fields__, state, strict=True):
        _put(self, name, value)
