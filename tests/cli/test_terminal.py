"""A document on a terminal: language, decimal mark and unit of length, width, workings, and names that command."""

import pytest
from click import unstyle
from click.testing import CliRunner

from linewright.cli.main import main
from linewright.core.formatting import interval, manner, metres, plain, quantity
from linewright.core.messages import say
from linewright.core.nouns.bench_result import Working
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Facts,
    Paragraph,
    Part,
    Row,
    Section,
    Table,
    Verdict,
    points,
    section,
    sections,
    table,
)
from linewright.present.writers.terminal import Grid, terminal, width

WORKED = Working(say("loss: {loss}", loss=quantity(plain(3.25, 2), "dB")), "a + b", (("a", plain(1.5, 1)),), "by hand")


def shown(*blocks, **how):
    return unstyle(terminal(Document("loss", "blue 7", sections=(section("What", *blocks),)), **how))


def test_one_document_serves_every_language_decimal_mark_and_unit_of_length():
    losses = table((Column(say("loss (95 %)"), "figure"), Column("", "right")), [
        (interval(3.71, 3.2, 4.2), metres(7.2)), (interval(13.71, 13.2, 14.2), metres(30.48))
    ])  # fmt: skip
    english = shown(losses).splitlines()
    assert [" ".join(line.split()) for line in english[-2:]] == [
        "3.7 dB (3.2 to 4.2) 7.2 m", "13.7 dB (13.2 to 14.2) 30.48 m"
    ]  # fmt: skip
    head, *german = shown(losses, reader=manner("de", lengths="ft")).splitlines()[-3:]
    assert head.split() == ["Dämpfung", "(95", "%)"]
    assert [" ".join(line.split()) for line in german] == [
        "3,7 dB (3,2 bis 4,2) 23,6 ft", "13,7 dB (13,2 bis 14,2) 100 ft"
    ]  # fmt: skip
    assert german[0].index(",") == german[1].index(",")


def test_workings_show_only_when_asked_for():
    whole = Document("loss", "blue 7", sections=sections(section("", Paragraph("Dry.")), worked([WORKED])))
    assert "a + b" not in terminal(whole)
    explained = unstyle(terminal(whole, manner(decimal="comma"), explain=True))
    assert "  loss: 3,25 dB\n    = a + b\n    a: 1,5\n    Source: by hand" in explained


def test_a_block_that_holds_nothing_leaves_no_gap():
    empty = sections(section("Empty", Paragraph(""), table((Column(""),), ())), section("Cautions", Cautions(())))
    assert terminal(Document("loss", "", sections=empty)) == ""


@pytest.mark.parametrize("page_width", [40, 60, 100])
def test_no_line_is_wider_than_the_page(page_width):
    long = "a sentence of many words that goes on beyond every line there is, and further still, to no end at all. "
    noted = Part("a part", (Row(("x" * 50, long), note=long),))
    blocks = (
        Paragraph(long), Verdict("blue 7 at 144 MHz:", long), points([long]), Cautions((long,)), Facts((("a", long),)),
        Table("", (Column("name"), Column("what", "wide")), (noted,), (long,)),
    )  # fmt: skip
    text = shown(*blocks, page_width=page_width)
    assert max(map(width, text.splitlines())) <= page_width


def test_a_name_commands_nothing():
    whole = Document("loss", "blue\x1b[2J 7", sections=(Section("", (Verdict("\x1b[31mred", "is \x07 long."),)),))
    assert "\x1b" not in unstyle(terminal(whole))
    assert "\x07" not in terminal(whole)


@pytest.mark.parametrize(
    "words",
    [
        ["loss", "RG-58C/U", "15.24 m", "14.2 MHz"],
        ["lines", "RG-58C/U"],
        ["lines"],
        ["meaning", "2 dB", "--at", "144 MHz", "--signal", "S7"],
    ],
    ids=" ".join,
)
def test_figures_on_the_terminal_take_the_decimal_mark_that_is_asked_for(words):
    point, comma = (CliRunner().invoke(main, [*words, "--decimal", mark]).stdout for mark in ("point", "comma"))
    assert point != comma
    assert comma.replace(",", ".").count(".") == point.replace(",", ".").count(".")


def test_a_length_reads_in_feet_where_feet_are_asked_for():
    words = ["loss", "RG-58C/U", "15.24 m", "14.2 MHz"]
    assert CliRunner().invoke(main, [*words, "--lengths", "ft"]).stdout.startswith("50 ft of RG-58C/U")
    assert CliRunner().invoke(main, [*words, "--lengths", "ft", "--json"]).stdout == CliRunner().invoke(
        main, [*words, "--json"]
    ).stdout  # fmt: skip


def test_a_head_too_wide_for_its_column_stands_in_two_lines_and_is_not_cut():
    grid = Grid(["", "ICNIRP, public", "Your own limits, public"], "lrr", 34)
    grid.add("7.1 MHz", "7.74 m", "8.04 m")
    assert [" ".join(line.split()) for line in map(unstyle, grid.lines())] == [
        "Your own", "ICNIRP, limits,", "public public", "7.1 MHz 7.74 m 8.04 m",
    ]  # fmt: skip
