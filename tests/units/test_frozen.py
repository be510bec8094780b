"""A class that is made sooner is the class that the standard decorator would have made."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
import sys
from dataclasses import FrozenInstanceError, field
from typing import Any

import pytest

from linewright.core.frozen import OWN, dataclass


def _body() -> dict[str, Any]:
    return {
        "__module__": __name__, "__doc__": "A place.", "__annotations__": {
            "x": "float", "tags": "list[str]", "note": "str", "seen": "int", "serial": "int", "label": "str",
        },
        "tags": field(default_factory=list), "note": field(default="", repr=False, compare=False),
        "seen": field(default=0, hash=False), "serial": field(init=False, default=7),
        "label": field(default="here", kw_only=True), "twice": property(lambda self: 2 * self.x),
    }  # fmt: skip


Sooner: Any = dataclass(frozen=True, slots=True)(type("Place", (), _body()))
Standard: Any = dataclasses.dataclass(frozen=True, slots=True)(type("Place", (), _body()))


def _outcome(done: Any) -> Any:
    try:
        return done()
    except Exception as refused:
        return type(refused), str(refused)


USES = {
    "signature": lambda c: str(inspect.signature(c)),
    "match": lambda c: c.__match_args__,
    "slots": lambda c: (c.__slots__, hasattr(c(1.0), "__dict__")),
    "fields": lambda c: [(f.name, f.type, f.init, f.repr, f.compare, f.kw_only) for f in dataclasses.fields(c)],
    "parameters": lambda c: repr(c.__dataclass_params__),
    "words": lambda c: repr(c(1.5, ["a"], "n", 3, label="l")),
    "defaults": lambda c: dataclasses.astuple(c(1.0)),
    "a default of its own": lambda c: c(1.0).tags is c(1.0).tags,
    "equal": lambda c: (c(1.0) == c(1.0, note="other"), c(1.0) == c(1.0, seen=1), c(1.0) == 1.0, c(1.0) != c(2.0)),
    "hash": lambda c: (hash(c(1.0, (), seen=1)) == hash(c(1.0, (), seen=2)), hash(c(1.0, ())) == hash(c(2.0, ()))),
    "unhashable": lambda c: hash(c(1.0)),
    "replace": lambda c: repr(dataclasses.replace(c(1.0, seen=4), x=2.0)),
    "as a dictionary": lambda c: dataclasses.asdict(c(1.0, ["a"])),
    "pickle": lambda c: pickle.dumps(c(1.0, ["a"], "n", 3)),
    "back from a pickle": lambda c: repr(pickle.loads(pickle.dumps(c(1.0, ["a"], "n", 3)))),
    "copy": lambda c: copy.deepcopy(c(1.0, ["a"])) == c(1.0, ["a"]),
    "assign": lambda c: setattr(c(1.0), "x", 2.0),
    "delete": lambda c: delattr(c(1.0), "x"),
    "nothing given": lambda c: c(),
    "too much given": lambda c: c(1.0, [], "n", 3, 4),
    "own property": lambda c: c(1.5).twice,
    "words of the class": lambda c: (c.__name__, c.__qualname__, c.__doc__, c.__module__),
}


@pytest.mark.parametrize("use", USES)
def test_a_class_made_sooner_does_as_the_standard_one(use, monkeypatch):
    found = []
    for cls in (Sooner, Standard):
        monkeypatch.setattr(sys.modules[__name__], "Place", cls, raising=False)
        found.append(_outcome(lambda cls=cls: USES[use](cls)))
    sooner, standard = found
    assert sooner == standard


def test_a_name_that_is_no_field_is_refused_too():
    with pytest.raises(FrozenInstanceError, match="'y'"):
        Sooner(1.0).y = 2.0


def test_a_class_derived_from_it_refuses_its_fields_alone():
    below: Any = type("Below", (Sooner,), {})(1.0)
    below.more = 3
    assert below.more == 3
    with pytest.raises(FrozenInstanceError):
        below.x = 2.0
    with pytest.raises(FrozenInstanceError):
        del below.x


def test_init_is_written_when_a_class_is_first_called():
    made: Any = dataclass(frozen=True, slots=True)(type("Place", (), _body()))
    assert not inspect.isfunction(vars(made)["__init__"])
    assert made(2.0).x == 2.0
    assert inspect.isfunction(vars(made)["__init__"])


@pytest.mark.parametrize("name", sorted(OWN))
def test_a_class_keeps_its_own_method(name):
    calls = []
    own = {"__post_init__": lambda self: calls.append(name)}.get(name, lambda *given: calls.append(name))
    body = {"__module__": __name__, "__annotations__": {"x": "float"}, name: own}
    try:
        expected: Any = dataclasses.dataclass(frozen=True, slots=True)(type("One", (), dict(body)))
    except TypeError as refused:
        with pytest.raises(TypeError, match=str(refused)):
            dataclass(frozen=True, slots=True)(type("One", (), dict(body)))
    else:
        made: Any = dataclass(frozen=True, slots=True)(type("One", (), dict(body)))
        assert vars(made)[name] is vars(expected)[name] is own


def test_identity_counts_where_equality_is_not_asked_for():
    made: Any = dataclass(frozen=True, slots=True, eq=False)(type("One", (), {"__annotations__": {"x": "float"}}))
    assert made(1.0) != made(1.0)
    with pytest.raises(FrozenInstanceError):
        made(1.0).x = 2.0


def test_what_is_not_frozen_is_left_to_the_standard_decorator():
    made: Any = dataclass(slots=True)(type("One", (), {"__annotations__": {"x": "float"}}))
    one = made(1.0)
    one.x = 2.0
    assert one == made(2.0)
