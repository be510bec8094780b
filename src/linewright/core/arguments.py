"""Arguments of the library's functions, held against their annotations before anything is worked out with them.

The command line and the pages read text by strict readers; who calls the library passes values. Each wrong one is named
with the rule and what came instead, all of them at once.
"""

from __future__ import annotations

import collections.abc
import functools
import inspect
import numbers
import types
import typing
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from linewright.core.errors import InputError, gathered

F = TypeVar("F", bound=Callable[..., Any])
UNITS = {
    "m": "metres", "hz": "hertz", "s": "seconds", "db": "decibels", "dbi": "decibels", "w": "watts", "ohm": "ohms",
}  # fmt: skip
"""What the last word of a name says its number is in."""
PLAIN = {str: "text", bool: "True or False", int: "a whole number", float: "a number", complex: "a number",
         bytes: "bytes", Path: "a path", type(None): "None"}  # fmt: skip
MAX_LOOKED_AT = 1000
"""Elements of a sequence that are looked at."""


def checked(function: F) -> F:
    """Return a function that raises InputError where an argument is not of the type it is annotated with.

    >>> @checked
    ... def double(length_m: float) -> float:
    ...     return 2 * length_m
    >>> double(1)
    2
    >>> double("30 m")
    Traceback (most recent call last):
        ...
    linewright.core.errors.InputError: length_m must be a number; got '30 m'. Give it in metres, as in 30.0.
    """
    signature = inspect.signature(function)

    @functools.wraps(function)
    def call(*given: Any, **named: Any) -> Any:
        bound = signature.bind(*given, **named)
        problems = []
        for name, value in bound.arguments.items():
            kind = signature.parameters[name].kind
            hint = _hints(function).get(name, Any)
            if kind in (inspect.Parameter.VAR_POSITIONAL, inspect.Parameter.VAR_KEYWORD):
                continue
            if not fits(value, hint):
                problems.append(InputError(name, f"must be {described(hint)}; got {value!r}", cure=_cure(name, hint)))
        if problems:
            raise gathered(problems)
        return function(*given, **named)

    return typing.cast("F", call)


@functools.cache
def _hints(function: Callable[..., Any]) -> Mapping[str, Any]:
    """Return the annotations of a function; a class imported for the type checker only is known by its name."""
    names = {**vars(typing), **vars(inspect.getmodule(function))}
    found = {}
    for name, hint in getattr(function, "__annotations__", {}).items():
        try:
            found[name] = eval(hint, names) if isinstance(hint, str) else hint
        except NameError:
            found[name] = ClassName(hint)
    return found


class ClassName(str):
    """The name of a class that is not loaded where it is named; of several with a bar between, or None."""

    __slots__ = ()


def fits(value: Any, hint: Any) -> bool:
    """Return whether a value is of an annotated type; what cannot be looked into without using it up counts as fitting.

    >>> fits(3, float), fits(True, float), fits("a", str | None), fits("abc", collections.abc.Sequence[str])
    (True, False, True, False)
    """
    if isinstance(hint, ClassName):
        names = {name.strip() for name in hint.split("|")}
        return (value is None and "None" in names) or any(kind.__name__ in names for kind in type(value).__mro__)
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (typing.Union, types.UnionType):
        return any(fits(value, one) for one in inner)
    if origin is typing.Literal:
        return value in inner if isinstance(value, str | int) else False
    if origin is not None:
        return _container_fits(value, origin, inner)
    if hint in (float, int, complex):
        kind = {float: numbers.Real, int: numbers.Integral, complex: numbers.Complex}[hint]
        return isinstance(value, kind) and not isinstance(value, bool)
    unseen = getattr(hint, "_is_protocol", False) and not getattr(hint, "_is_runtime_protocol", False)
    if hint is Any or not isinstance(hint, type) or unseen:
        return True
    return isinstance(value, hint)


def _container_fits(value: Any, origin: Any, inner: tuple[Any, ...]) -> bool:
    if origin is typing.Annotated:
        return fits(value, inner[0])
    if origin is collections.abc.Callable:
        return callable(value)
    if not isinstance(origin, type):
        return True
    if issubclass(origin, collections.abc.Sequence) and not issubclass(origin, str | bytes):
        if isinstance(value, str | bytes) or not (isinstance(value, origin) or _is_array(value)):
            return False
        return all(fits(one, inner[0]) for one in value[:MAX_LOOKED_AT]) if inner else True
    return isinstance(value, origin)


def _is_array(value: Any) -> bool:
    """Return whether a value is an array of one axis at least, or a list where a tuple is asked for."""
    return isinstance(value, list) or bool(getattr(value, "ndim", 0))


def described(hint: Any) -> str:
    """Return a type in words.

    >>> described(collections.abc.Sequence[float]), described(str | None)
    ('a sequence, each of it a number', 'text or None')
    """
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (typing.Union, types.UnionType):
        return " or ".join(described(one) for one in inner)
    if origin is typing.Literal:
        return f"one of {', '.join(map(str, inner))}"
    if origin is collections.abc.Callable:
        return "a function"
    if isinstance(origin, type) and issubclass(origin, collections.abc.Sequence):
        return f"a sequence, each of it {described(inner[0])}"
    return PLAIN.get(hint) or f"a {getattr(hint, '__name__', hint)}"


def _cure(name: str, hint: Any) -> str:
    unit = UNITS.get(name.rpartition("_")[2])
    return f"Give it in {unit}, as in 30.0." if unit and "number" in described(hint) else ""
