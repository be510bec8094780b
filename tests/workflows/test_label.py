"""What stands on a label is what the shelf believes, and the verdict that the bench gave."""

from __future__ import annotations

from datetime import date
from importlib.resources import files

import pytest

from linewright.core.errors import UnknownNameError
from linewright.verbs.label import label_pieces
from linewright.verbs.prove import prove_cable
from linewright.verbs.shelf import add, archive, file_sheet, open_ledger, show_piece

ON = date(2026, 6, 1)
CUT = {"tag": "blue 3", "line": "RG-58C/U", "length": "3 m", "stock": "blue drum"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    for name in ("harbour-ridge.toml", "harbour-ridge.csv"):
        (folder / name).write_bytes(files("linewright.verbs.demo_data").joinpath(name).read_bytes())
    return folder / "harbour-ridge.toml"


@pytest.fixture(scope="module")
def shelf(demo, tmp_path_factory):
    with open_ledger(tmp_path_factory.mktemp("ledger") / "ledger.sqlite") as found:
        file_sheet(found, demo, on=date(2026, 4, 2))
        add(found, "piece", {"tag": "new 30", "line": "RG-213/U", "length": "30 m"})
        add(found, "piece", {"tag": "strange", "length": "4 m"})
        add(found, "piece", CUT)
        yield found


def test_the_verdict_is_the_one_the_bench_gave(shelf, demo):
    given = {p.piece: p.verdict for p in prove_cable(demo).pieces}
    labels = label_pieces(shelf, list(given), on=ON).labels
    assert {label.tag: label.standing for label in labels} == given


def test_losses_are_those_of_the_shelf_at_the_bands_it_shows(shelf):
    shown = show_piece(shelf, "blue 7", on=ON).losses
    (label,) = label_pieces(shelf, ["blue 7"], bands_hz=[x.frequency_hz for x in shown], on=ON).labels
    for mine, its in zip(label.losses, shown, strict=True):
        assert (mine.loss_db, mine.loss_db_low, mine.loss_db_high) == pytest.approx(
            (its.loss_db, its.loss_db_low, its.loss_db_high)
        )
        assert mine.ratio == pytest.approx(its.ratio)


def test_the_bands_are_those_it_was_measured_on(shelf):
    (label,) = label_pieces(shelf, ["blue 7"], on=ON).labels
    assert [x.frequency_hz for x in label.losses] == [14.2e6, 28.5e6, 50.1e6, 144.3e6, 432.1e6]


def test_a_piece_never_measured_says_so_and_its_stock_is_named(shelf):
    new, strange, cut = label_pieces(shelf, ["new 30", "strange", "blue 3"], on=ON).labels
    assert {x.standing for x in (new, strange, cut)} == {"not measured"}
    assert (new.ratio, bool(new.losses), new.tested_on) == (None, True, None)
    assert (strange.line, strange.losses) == (None, ())
    assert cut.ratio is not None
    assert cut.ratio > 1.2


def test_labels_come_in_the_order_asked_for_each_once(shelf):
    tags = ["blue 7", "black 20", "blue 7"]
    assert [x.tag for x in label_pieces(shelf, tags, on=ON).labels] == ["blue 7", "black 20"]
    assert [x.tag for x in label_pieces(shelf, on=ON).labels] == sorted(
        ["black 20", "blue 18", "blue 3", "blue 7", "new 30", "strange"]
    )


def test_the_day_to_test_again_is_that_of_the_reminder(shelf):
    (label,) = label_pieces(shelf, ["black 20"], on=ON).labels
    assert (label.tested_on, label.retest_on) == ("2026-04-02", "2028-04-01")


def test_every_figure_has_its_working(shelf):
    made = label_pieces(shelf, ["blue 7", "black 20"], on=ON)
    assert len(made.workings) == sum(len(x.losses) for x in made.labels)
    assert made.to_dict()["schema"] == "linewright/labels/1"


def test_a_piece_put_away_keeps_its_label_with_a_word(shelf):
    add(shelf, "piece", {"tag": "old", "line": "RG-58C/U", "length": "2 m"})
    archive(shelf, "piece", "old")
    assert "old is put away." in label_pieces(shelf, ["old"], on=ON).remarks


def test_nobody_has_no_label(shelf):
    with pytest.raises(UnknownNameError):
        label_pieces(shelf, ["blue 77"], on=ON)
