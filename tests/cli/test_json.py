"""JSON for programs: the keys of the contract, and the same numbers as the library and the view."""

from __future__ import annotations

import json
import re

import pytest

import linewright as lw
from cli.doors import DEMO_SHEET, ask, run
from linewright.files.tables import to_json
from linewright.present.compose.prove import bench_document
from linewright.present.writers.terminal import terminal

#: The contract: what is there may grow, and never shrinks.
KEYS = {
    "losses": "piece frequency_hz loss_db loss_db_low loss_db_high delivered_fraction catalogue_db ratio ratio_low"
    " ratio_high p_worse_1_1 p_worse_1_25 by_hand",
    "pieces": "piece length_m k1_db_per_m k2_db_per_m ratio ratio_low ratio_high verdict uses why",
    "readings": "row meter frequency_hz path reading expected p_wrong checked why",
    "meters": "meter frequency_hz trust exponent exponent_low exponent_high why",
    "predictions": "piece frequency_hz loss_db loss_db_low loss_db_high",
    "next": "action meter frequency_hz path gain_nats why",
}


@pytest.fixture(scope="module")
def document():
    done = ask("prove", str(DEMO_SHEET), "--json")
    assert done.stderr == ""
    return json.loads(done.stdout)


@pytest.mark.parametrize("part", KEYS)
def test_every_key_of_the_contract_is_there(document, part):
    assert document[part]
    assert all(set(KEYS[part].split()) <= set(entry) for entry in document[part])


def test_inner_parts_and_words_keep_the_contract(document):
    assert next(iter(document)) == "schema"
    assert document["schema"] == "linewright/bench-result/1"
    assert all({"meter", "loss_db", "loss_db_u"} <= set(h) for x in document["losses"] for h in x["by_hand"])
    assert all({"use", "ok", "why"} <= set(u) for p in document["pieces"] for u in p["uses"])
    assert {p["verdict"] for p in document["pieces"]} <= {"good", "worn", "bad", "cannot tell"}
    assert {m["trust"] for m in document["meters"]} <= {"good", "doubtful", "none", "unknown"}
    assert all(isinstance(said, str) for said in document["cautions"])
    assert document["cautions"]


def test_command_and_library_give_the_same_document(document):
    assert document == json.loads(to_json(lw.prove_cable(DEMO_SHEET)))


def test_command_shows_what_the_view_makes_of_the_librarys_result():
    marks = re.compile("\x1b\\[[0-9;]*m")
    assert ask("prove", str(DEMO_SHEET)).stdout.rstrip() == marks.sub(
        "", terminal(bench_document(lw.prove_cable(DEMO_SHEET)))
    )


def test_loss_as_json_is_the_librarys_table():
    given = json.loads(ask("loss", "RG-213/U", "100 ft", "14.2MHz", "0.144 GHz", "--json").stdout)
    assert given["schema"] == "linewright/line-loss/1"
    assert given == json.loads(to_json(lw.line_loss("RG-213/U", 30.48, [14.2e6, 144e6])))


def test_lines_as_json_holds_every_type():
    given = json.loads(ask("lines", "--json").stdout)
    assert given["schema"] == "linewright/lines/1"
    assert [line["line"] for line in given["lines"]] == [line.designator for line in lw.line_types()]
    (one,) = json.loads(ask("lines", "rg58", "--json").stdout)["lines"]
    assert one["line"] == "RG-58C/U"


def test_json_is_utf_8_whatever_the_terminal_speaks():
    assert json.loads(run("lines", "RG-58", "--json", PYTHONIOENCODING="ascii").stdout)["lines"]
