"""The verb: what it refuses, with the row, and what its document holds."""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf, nan

import pytest

from linewright.core.errors import InputError, SheetError
from linewright.core.nouns.one_end import OneEndReading, OneEndTest
from linewright.files.tables import to_json
from linewright.verbs.one_end import prove_one_end

OPEN = OneEndReading(4, "open", 144e6, "swr", 7.1)
LOAD = OneEndReading(5, "load", 144e6, "swr", 1.8, direct=3.0)
KEYS = "tag line length_m verdict why losses readings law ratio ratio_low ratio_high p_worse_1_1 p_worse_1_25 remarks"
LOSS_KEYS = "frequency_hz loss_db loss_db_low loss_db_high delivered_fraction by_hand_db catalogue_db ratio methods"


@pytest.mark.parametrize(
    ("reading", "argument"),
    [
        (replace(OPEN, value=0.8), "swr"),
        (replace(OPEN, value=nan), "swr"),
        (replace(OPEN, quantity="return_loss_db", value=-1.9), "return_loss_db"),
        (replace(OPEN, quantity="return_loss_db", value=inf), "return_loss_db"),
        (replace(OPEN, quantity="resistance_ohm", value=-5.0), "resistance_ohm"),
        (replace(OPEN, frequency_hz=0.0), "frequency_hz"),
        (replace(OPEN, step=-0.1), "step"),
        (replace(LOAD, direct=0.5), "direct"),
        (replace(LOAD, direct=inf), "direct"),
        (replace(LOAD, direct=None), "load"),
        (replace(LOAD, load_swr=1.0), "load_swr"),
        (replace(LOAD, quantity="resistance_ohm", value=5.0), "resistance_ohm"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_with_its_row(reading: OneEndReading, argument: str) -> None:
    with pytest.raises(InputError) as caught:
        prove_one_end(OneEndTest((reading,), source="roof.csv"))
    assert caught.value.argument == argument
    assert (caught.value.where.file, caught.value.where.row) == ("roof.csv", reading.row)


@pytest.mark.parametrize(
    "test",
    [
        OneEndTest(()),
        OneEndTest((OPEN,), length_m=0.0),
        OneEndTest((OPEN,), impedance_ohm=-50.0),
        OneEndTest((OPEN,), directivity_db=nan),
        OneEndTest((OPEN,), source_swr=0.5),
    ],
)
def test_a_test_that_cannot_be_is_refused(test: OneEndTest) -> None:
    with pytest.raises(InputError):
        prove_one_end(test)


def test_everything_wrong_is_said_at_once() -> None:
    with pytest.raises(SheetError) as caught:
        prove_one_end(OneEndTest((replace(OPEN, value=0.8), replace(LOAD, direct=None))))
    assert [p.where.row for p in caught.value.problems] == [4, 5]


def test_the_document_holds_what_the_contract_names() -> None:
    document = json.loads(to_json(prove_one_end(OneEndTest((OPEN, LOAD)))))
    assert next(iter(document)) == "schema"
    assert document["schema"] == "linewright/one-end/1"
    assert set(KEYS.split()) <= set(document)
    (loss,) = document["losses"]
    assert set(LOSS_KEYS.split()) <= set(loss)
    assert [m["method"] for m in loss["methods"]] == ["open and short", "known load"]
    assert document["verdict"] == "cannot tell"
    assert all(w["source"] and w["formula"] for w in document["workings"])
