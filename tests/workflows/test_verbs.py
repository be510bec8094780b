"""One verb, several doors: the library's functions and the rooms behind them give the same numbers."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest

import linewright as lw
from linewright.cli import main
from linewright.core.quantities import delivered_fraction
from linewright.inference.bench.prove import prove
from linewright.present.compose.bench_workings import workings

VERBS = {
    "check": ("check_installation",),
    "chart": ("charts_of_file", "charts_of_kept", "charts_of_sweep", "render"),
    "choose": ("choose_for",),
    "connectors": ("list_connectors",),
    "cut": ("swept_line", "kept_line", "plan_cut", "cut_labels", "apply_cut"),
    "exposure": ("exposure_at", "exposure_of", "exposure_of_antenna"),
    "label": ("label_pieces", "label_pages", "label_picture"),
    "impedance": ("from_dimensions",),
    "lines": ("line_page", "list_lines"),
    "listen": ("open_channel", "take_number"),
    "loss": ("line_loss",),
    "meaning": ("level_of", "meaning_between", "meaning_of", "radiated_at", "what_it_means"),
    "one-end": ("prove_one_end",),
    "plan": ("plan_run", "plan_station", "what_if"),
    "practise": ("invent_bench", "take_reading", "show_bench", "mark_answer"),
    "prove": ("prove_cable",),
    "reception": ("plan_station",),
    "report": ("report_of_file", "report_of_kept", "write_report"),
    "share": ("share_shelf",),
    "sheet": ("blank_sheet", "sheet_pages", "template_csv"),
    "shelf add": ("add",),
    "shelf archive": ("archive",),
    "shelf backup": ("back_up",),
    "shelf check": ("check_ledger",),
    "shelf recover": ("recover_ledger",),
    "shelf calibrate": ("calibrate_meter",),
    "shelf change": ("change",),
    "shelf export": ("export_ledger",),
    "shelf file": ("file_sheet", "file_sweep"),
    "shelf connectors": ("fit_connectors",),
    "shelf cut": ("cut",),
    "shelf gear": ("kept_gear",),
    "shelf history": ("history_of",),
    "shelf join": ("join",),
    "shelf meter": ("show_meter",),
    "shelf meters": ("list_meters",),
    "shelf plan": ("keep_plan", "lay_plan", "drop_plan"),
    "shelf plans": ("kept_plans",),
    "shelf run": ("change_run",),
    "shelf runs": ("kept_runs",),
    "shelf shorten": ("shorten",),
    "shelf line": ("made_type", "own_type"),
    "shelf import": ("import_ledger", "merge_ledger"),
    "shelf list": ("list_shelf", "due_first"),
    "shelf note": ("add_note",),
    "shelf rename": ("rename",),
    "shelf restore": ("restore",),
    "shelf show": ("show_piece",),
    "shelf sweeps": ("find_sweeps", "sweep_file", "write_sweeps"),
    "shelf undo": ("undo",),
    "sweep": ("read_sweep",),
    "through": ("see_through", "see_antenna"),
}
DOORS = {"demo", "serve", "completion", "manual"}
"""The functions behind each command, and the commands that are doors only."""
DEMO = files("linewright.verbs.demo_data").joinpath("harbour-ridge.toml")


def test_a_path_and_a_sheet_are_proved_alike() -> None:
    sheet = lw.read_bench_sheet(str(DEMO))
    plain = prove(sheet, explain=workings).to_dict()
    assert lw.prove_cable(str(DEMO)).to_dict() == lw.prove_cable(sheet).to_dict() == plain


def test_progress_rises_and_says_what_is_done() -> None:
    heard: list[tuple[float, str]] = []
    lw.prove_cable(str(DEMO), progress=lambda share, what: heard.append((share, what)))
    assert len({what for _, what in heard}) >= 3
    shares = [share for share, _ in heard]
    assert shares == sorted(shares)
    assert 0.0 <= shares[0] <= shares[-1] <= 1.0


def test_losses_are_in_the_ratio_of_lengths() -> None:
    short, long = (lw.line_loss("RG-58C/U", length, [14.2e6, 144e6, 432e6]) for length in (7.0, 21.0))
    for a, b in zip(short.rows, long.rows, strict=True):
        assert b.loss_db == pytest.approx(3 * a.loss_db)
        assert b.delivered_fraction == pytest.approx(a.delivered_fraction**3)


def test_a_loss_is_its_parts_within_its_interval() -> None:
    for row in lw.line_loss("RG-213/U", 30.0, np.geomspace(1.8e6, 1.3e9, 20).tolist()).rows:
        assert row.loss_db == pytest.approx(row.conductor_db + row.dielectric_db)
        assert row.loss_db_low < row.loss_db < row.loss_db_high
        assert row.delivered_fraction == pytest.approx(delivered_fraction(row.loss_db))
        assert row.extrapolated == bool(row.why)


def test_a_persons_own_type_goes_before_the_catalogues() -> None:
    mine = lw.own_type("RG-58C/U", [(10e6, 0.1), (100e6, 0.35)])
    assert lw.line_loss("RG-58C/U", 10.0, [100e6], [mine]).rows[0].loss_db == pytest.approx(3.5, rel=0.05)
    assert lw.list_lines([mine]).types[0] is mine


@pytest.mark.parametrize(("length_m", "frequencies_hz"), [(0.0, [1e6]), (-1.0, [1e6]), (1.0, [0.0]), (1.0, [np.nan])])
def test_what_is_not_above_zero_is_refused(length_m: float, frequencies_hz: list[float]) -> None:
    with pytest.raises(lw.InputError, match="above zero"):
        lw.line_loss("RG-213/U", length_m, frequencies_hz)


def test_every_name_of_the_library_answers() -> None:
    assert all(getattr(lw, name) is not None for name in lw.__all__)
    with pytest.raises(AttributeError, match="no attribute"):
        lw.no_such_thing  # noqa: B018


def test_every_command_is_a_function_of_the_library() -> None:
    groups = {name: getattr(command, "commands", None) for name, command in main.commands.items()}
    commands = {f"{name} {below}" if below else name for name, inner in groups.items() for below in inner or [""]}
    assert commands - DOORS == set(VERBS)
    assert {name for names in VERBS.values() for name in names} <= set(lw.__all__)
