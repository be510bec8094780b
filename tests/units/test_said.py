"""A sentence is a value: one text, written in many manners."""

from __future__ import annotations

import copy
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import UnknownNameError
from linewright.core.formatting import (
    chance,
    frequencies,
    frequency,
    interval,
    manner,
    metres,
    percent,
    plain,
)
from linewright.core.locale import ENGLISH, LANGUAGES, Manner
from linewright.core.messages import EITHER, listed, say, say_many, together, written

COMMA = Manner(decimal=",")
GERMAN = manner("de")


def _sentence() -> str:
    return say("It loses {loss} at {f}.", loss=interval(3.7, 3.2, 4.2), f=frequency(14.2e6))


def test_in_english_a_sentence_is_what_it_shows() -> None:
    assert _sentence() == written(_sentence(), ENGLISH) == "It loses 3.7 dB (3.2 to 4.2) at 14.2 MHz."


def test_a_name_keeps_its_point_where_figures_take_a_comma() -> None:
    said = say("{piece} loses {loss}", piece="drum 2.5", loss=interval(2.5, 2.4, 2.6))
    assert written(said, COMMA) == "drum 2.5 loses 2,50 dB (2,40 to 2,60)"


def test_braces_in_a_name_are_just_braces() -> None:
    said = say("{piece} is whole", piece="{0.__class__} {x}")
    assert written(said, GERMAN).startswith("{0.__class__} {x}")


@pytest.mark.parametrize("copied", [copy.copy, copy.deepcopy, lambda x: pickle.loads(pickle.dumps(x))])
def test_a_copy_can_still_be_written_anew(copied) -> None:  # type: ignore[no-untyped-def]
    whole = together([_sentence(), listed([metres(7.2), metres(3.0)])])
    assert written(copied(whole), Manner(decimal=",", lengths="ft")) == written(
        whole, Manner(decimal=",", lengths="ft")
    )


def test_every_language_has_its_words_for_ranges_and_rows() -> None:
    assert written(interval(3.7, 3.2, 4.2), GERMAN) == "3,7 dB (3,2 bis 4,2)"
    assert written(listed(["a", "b", "c"]), GERMAN) == "a, b und c"
    assert written(listed(["a", "b"], EITHER), GERMAN) == "a oder b"
    assert written(percent(0.0), GERMAN) == "unter 0,1 %"
    assert written(chance(1.0), GERMAN) == "über 99 %"


def test_frequencies_in_a_row_stay_apart_where_the_comma_is_a_decimal_mark() -> None:
    assert written(frequencies([14.2e6, 144.3e6]), COMMA) == "14,2; 144,3 MHz"


def test_feet_are_the_international_foot() -> None:
    # NIST SP 811 (2008), appendix B.8: 1 foot = 3.048 E-01 m.
    feet = Manner(lengths="ft")
    assert written(metres(30.48), feet) == "100 ft"


def test_a_count_picks_its_form() -> None:
    assert [say_many("{count} reading", "{count} readings", n) for n in (0, 1, 2)] == [
        "0 readings",
        "1 reading",
        "2 readings",
    ]


@pytest.mark.parametrize("given", [{"language": "xx"}, {"decimal": "dot"}, {"lengths": "yd"}])
def test_a_manner_that_is_not_known_is_refused_with_those_that_are(given: dict[str, str]) -> None:
    with pytest.raises(UnknownNameError, match="must be one of"):
        manner(**given)


def test_a_language_brings_its_decimal_mark_unless_another_is_asked_for() -> None:
    assert {name: manner(name).decimal for name in LANGUAGES} == LANGUAGES
    assert manner("de", "point").decimal == "."


@given(st.floats(-1e5, 1e5), st.integers(0, 6))
def test_a_comma_changes_the_mark_and_nothing_else(value: float, places: int) -> None:
    assert written(plain(value, places), COMMA).replace(",", ".") == plain(value, places)
