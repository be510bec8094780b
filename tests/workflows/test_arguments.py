"""Every function of the library names each argument that is of the wrong type, by an error of the project."""

from __future__ import annotations

import inspect
from typing import Any

import numpy as np
import pytest

import linewright as lw
from linewright.core.arguments import _hints

FUNCTIONS = [name for name in lw.__all__ if inspect.isroutine(getattr(lw, name))]
#: Functions that take no argument of one type.
NOTHING = ("line_types", "line_behind", "list_connectors")


class Wrong:
    """A value of no type that any function takes."""

    def __repr__(self):
        return "something else"


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_refuses_wrong_types_by_the_name_of_each_argument(name):
    function = getattr(lw, name)
    one_by_one = [p.name for p in inspect.signature(function).parameters.values() if p.kind != p.VAR_KEYWORD]
    taken = {p for p in one_by_one if _hints(inspect.unwrap(function))[p] is not Any}
    if not taken:
        assert name in NOTHING
        return
    with pytest.raises(lw.InputError) as told:
        function(**{argument: Wrong() for argument in one_by_one})
    named = {p.argument for p in getattr(told.value, "problems", ()) or (told.value,)}
    assert named == taken
    assert "something else" in str(told.value)


def test_every_annotation_can_be_read():
    for name in FUNCTIONS:
        function = inspect.unwrap(getattr(lw, name))
        assert _hints(function).keys() >= inspect.signature(function).parameters.keys(), name


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("RG-213/U", "30 m", [14.2e6]), "length_m must be a number; got '30 m'. Give it in metres"),
        (("RG-213/U", 30.0, 14.2e6), "frequencies_hz must be a sequence, each of it a number"),
        (("RG-213/U", 30.0, ["20 m"]), "frequencies_hz must be a sequence"),
        ((7, 30.0, [14.2e6]), "line must be text or a LineType; got 7"),
        (("RG-213/U", True, [14.2e6]), "length_m must be a number; got True"),
    ],
)
def test_the_argument_the_rule_and_the_cure_are_told(arguments, said):
    with pytest.raises(lw.InputError) as told:
        lw.line_loss(*arguments)
    assert said in str(told.value)


@pytest.mark.parametrize("frequencies", [[14.2e6], (14_200_000,), np.array([14.2e6])])
def test_numbers_of_any_kind_are_numbers(frequencies):
    assert len(lw.line_loss("RG-213/U", np.float64(30), frequencies).rows) == 1
