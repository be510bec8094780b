"""Frozen classes that cost next to nothing to define.

The standard decorator writes the six methods of a frozen class as text and has each compiled, 0.4 ms a class; a plan
loads two hundred classes, a quarter of its start. Here five of the methods are closures, and ``__init__`` is written
when a class is first called. To whoever looks it is a dataclass: ``fields``, ``replace``, ``asdict``, ``match``,
signatures and pickles are those of the standard decorator, which makes whatever is not of the usual form.
"""

from __future__ import annotations

import dataclasses
from operator import attrgetter
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(cls: type | None = None, /, **how: bool) -> Any:
        """Return a class as ``dataclasses.dataclass`` would, sooner if it is frozen, has slots and no base.

        >>> @dataclass(frozen=True, slots=True)
        ... class Point:
        ...     x: float
        ...     y: float = 0.0
        >>> Point(1.0), dataclasses.replace(Point(1.0), y=2.0) == Point(1.0, 2.0)
        (Point(x=1.0, y=0.0), True)
        """
        if cls is None:
            return lambda given: dataclass(given, **how)
        usual = {"eq": True} | how == {"frozen": True, "slots": True, "eq": how.get("eq", True)}
        if usual and cls.__bases__ == (object,) and not OWN & cls.__dict__.keys():
            return _light(cls, how.get("eq", True))
        return dataclasses.dataclass(cls, **how)


OWN = {
    "__init__", "__post_init__", "__repr__", "__eq__", "__hash__", "__setattr__", "__delattr__", "__getstate__",
    "__setstate__",
}  # fmt: skip
"""A class that brings one of these is left to the standard decorator."""
_MISSING = dataclasses.MISSING
_put = object.__setattr__


class _Factory:
    """Stands in a signature for a value that is made anew for each object."""

    def __repr__(self) -> str:
        return "<factory>"


_FACTORY = _Factory()


def _light(cls: Any, eq: bool) -> Any:
    made: Any = dataclasses.dataclass(cls, init=False, repr=False, eq=False, slots=True)
    params = made.__dataclass_params__
    params.init = params.repr = params.frozen = True
    params.eq = eq
    known = dataclasses.fields(made)
    made.__init__ = _Init(made)
    made.__repr__ = _repr([f.name for f in known if f.repr])
    made.__setattr__, made.__delattr__ = _refusals(made, {f.name for f in known})
    made.__getstate__, made.__setstate__ = _state([f.name for f in known])
    if eq:
        made.__eq__ = _eq([f.name for f in known if f.compare])
        made.__hash__ = _hash([f.name for f in known if (f.compare if f.hash is None else f.hash)])
    return made


class _Init:
    """The ``__init__`` of a class that nobody has called yet; it gives its place to the real one when looked at."""

    def __init__(self, cls: type) -> None:
        self.cls = cls

    def __get__(self, one: object, owner: type | None = None) -> Any:
        written = _init(self.cls)
        type.__setattr__(self.cls, "__init__", written)
        return written.__get__(one, owner)


def _init(cls: Any) -> Any:
    """Write the function that takes the fields of a class and puts each in its place."""
    names: dict[str, Any] = {"_put": _put, "_FACTORY": _FACTORY}
    taken, lines = ["self"], []
    for f in sorted(dataclasses.fields(cls), key=lambda f: bool(f.kw_only)):
        if f.kw_only and "*" not in taken:
            taken.append("*")
        made, given, value = f"_made_{f.name}", f"_given_{f.name}", f.name
        is_made = f.default_factory is not _MISSING
        names |= {made: f.default_factory, given: _FACTORY if is_made else f.default}
        if is_made:
            value = f"{made}() if {f.name} is _FACTORY else {f.name}" if f.init else f"{made}()"
        elif not f.init:
            value = given
        if f.init:
            taken.append(f.name if names[given] is _MISSING else f"{f.name}={given}")
        if value != given or f.default is not _MISSING:
            lines.append(f" _put(self, {f.name!r}, {value})")
    exec(f"def __init__({', '.join(taken)}):\n" + "\n".join(lines or [" pass"]), names)
    written = names["__init__"]
    written.__qualname__ = f"{cls.__qualname__}.__init__"
    written.__annotations__ = {f.name: f.type for f in dataclasses.fields(cls) if f.init} | {"return": None}
    return written


def _values(names: list[str]) -> Any:
    """Return a function that returns the values of these fields as a tuple."""
    return attrgetter(*names) if len(names) > 1 else lambda one: tuple(getattr(one, name) for name in names)


def _eq(names: list[str]) -> Any:
    values = _values(names)

    def is_same(self: object, other: object) -> bool:
        return values(self) == values(other) if other.__class__ is self.__class__ else NotImplemented

    return is_same


def _hash(names: list[str]) -> Any:
    values = _values(names)
    return lambda self: hash(values(self))


def _repr(names: list[str]) -> Any:
    def shown(self: object) -> str:
        return f"{self.__class__.__qualname__}({', '.join(f'{name}={getattr(self, name)!r}' for name in names)})"

    return shown


def _refusals(cls: Any, names: set[str]) -> tuple[Any, Any]:
    """Return what refuses to assign and what refuses to delete; of a class derived from this one, its fields alone."""

    def assign(self: object, name: str, value: object) -> None:
        if type(self) is cls or name in names:
            raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")
        super(cls, self).__setattr__(name, value)

    def delete(self: object, name: str) -> None:
        if type(self) is cls or name in names:
            raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")
        super(cls, self).__delattr__(name)

    return assign, delete


def _state(names: list[str]) -> tuple[Any, Any]:
    """Return what a pickle keeps of an object, a list of its values, and what takes them in again."""

    def kept(self: object) -> list[Any]:
        return [getattr(self, name) for name in names]

    def restored(self: object, values: list[Any]) -> None:
        for name, value in zip(names, values, strict=True):
            _put(self, name, value)

    return kept, restored
