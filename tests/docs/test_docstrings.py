"""Every public function says what goes in and comes out, in which units and shapes, what is raised, and shows it."""

from __future__ import annotations

import inspect
import re

from demo.tool import tool
from linewright.core.arguments import UNITS
from linewright.verbs import shelf, shelf_plans

library = tool("docs_library")
FUNCTIONS = {name: inspect.unwrap(thing) for name, _, thing in library.public() if not isinstance(thing, type)}
NOUNS = {name: thing for name, _, thing in library.public() if isinstance(thing, type)}
FORMULAS = {
    "choose_for", "deembed", "difference_db", "exposure_at", "exposure_of", "exposure_of_antenna", "from_dimensions",
    "law_belief", "line_loss", "made_type", "meaning_of", "own_type", "plan_run", "plan_station", "prove_cable",
    "prove_one_end", "read_sweep", "read_touchstone", "see_through", "share_shelf", "two_lengths", "write_touchstone",
}  # fmt: skip
"""Functions that work something out by a formula, or read and write by a standard: they name where it stands."""
PLACE = re.compile(r"equation|section|table|pages?|docs/|Recommendation|Specification|As of|by branch and bound")
BARE = {"budget", "duty", "mode_factor", "velocity_factor"}
"""Numbers without a unit: shares, ratios, and money in the currency of the prices."""


def sections(function):
    return library.parted(inspect.getdoc(function))


def offenders(rule, names=None):
    """Return the names of the functions that break a rule."""
    return [name for name in (FUNCTIONS if names is None else names) if not rule(FUNCTIONS[name])]


def test_the_functions_are_those_of_the_package():
    assert len(FUNCTIONS) > 70
    assert FUNCTIONS.keys() >= FORMULAS


def test_every_parameter_is_described():
    assert offenders(lambda f: list(library.described(f)) == list(inspect.signature(f).parameters)) == []


def test_what_the_verbs_of_the_ledger_have_in_common_is_said_once():
    shared = library.described(shelf_plans.lay_plan)
    assert shared["ledger"] in shelf.__doc__
    assert shared["by"] in shelf.__doc__
    assert "ledger :" not in shelf_plans.lay_plan.__doc__


def test_parameters_stand_in_the_order_of_the_call():
    def ordered(function):
        names = re.findall(r"^(?:\w+, )*\w+(?= : )", sections(function)[1].get("Parameters", ""), re.MULTILINE)
        told = [name for group in names for name in group.split(", ")]
        return told == [name for name in inspect.signature(function).parameters if name in told]

    assert offenders(ordered) == []


def test_what_comes_back_is_said():
    def said(function):
        lead, more = sections(function)
        # A section says what it holds, not its type alone.
        return "\n" in more["Returns"] if "Returns" in more else lead.startswith("Return ")

    assert offenders(said) == []


def test_what_is_raised_is_said_and_each_error_says_when():
    def said(function):
        told = sections(function)[1].get("Raises", "")
        errors = [line for line in told.splitlines() if line and not line.startswith(" ")]
        return errors and all(
            error.endswith("Error") and re.search(rf"^{error}\n    (If|With)", told, re.MULTILINE) for error in errors
        )

    assert offenders(said, [name for name, f in FUNCTIONS.items() if inspect.signature(f).parameters]) == []


def test_a_number_has_its_unit_as_the_last_word_of_its_name_or_has_none():
    def named(function):
        given = inspect.signature(function).parameters.values()
        numbers = {one.name for one in given if re.match(r"'?(float|complex)\b", str(one.annotation))}
        return {one for one in numbers if one.rpartition("_")[2] not in UNITS} <= BARE

    assert offenders(named) == []


def test_an_array_has_its_shape():
    arrays = re.compile(r"Floats|Complexes|NDArray|ArrayLike|\bSweep\b|LineStandard|-> 'Belief'")
    taking = [name for name, f in FUNCTIONS.items() if arrays.search(str(inspect.signature(f)))]
    assert {"deembed", "difference_db", "read_touchstone", "law_belief"} <= set(taking)
    assert offenders(lambda f: re.search(r"shape|\(f, ?\d", inspect.getdoc(f)), taking) == []


def test_a_formula_has_its_source_with_the_place_in_it():
    assert offenders(lambda f: PLACE.search(sections(f)[1].get("References", "")), sorted(FORMULAS)) == []


def test_every_function_is_shown_at_work():
    def shown(function):
        examples = sections(function)[1].get("Examples", "")
        return re.search(rf"\b{function.__name__}\(", examples) and "Traceback" not in examples

    assert offenders(shown) == []


def test_every_public_noun_and_error_says_what_it_is():
    short = [name for name, noun in NOUNS.items() if len((inspect.getdoc(noun) or "").split()) < 4]
    assert short == []
