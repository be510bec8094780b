"""The shelf: every verb that keeps something and every verb that asks what is kept.

Where something may be written over and stands at another version than ``expect``, ``ConflictError`` tells both sides
and nothing is written. A body is written as in files: ``{"tag": "blue 7", "line": "RG-58C/U", "length": "7.2 m"}``.
What breaks a rule raises ``InputError``. What many take is described here, and not by each:

Parameters
----------
ledger : Ledger
    An open ledger; see ``open_ledger``.
station : str, optional
    Its station, where the ledger keeps several.
on : date, optional
    The day; without it, today.
expect : int, optional
    The version it should stand at; without it, any.
by : By
    When, who, and a note to the change; without it, now and nobody.
progress : callable, optional
    Called with the share done (0 to 1) and what is being done.

Notes
-----
Keeping::

    open_ledger(where=None, *, at=None) -> Ledger           a file, a URL; else LINEWRIGHT_LEDGER; else the usual place
    add(ledger, kind, body, *, by) -> Item                  piece, stock, line, meter: by tag or name
    change(ledger, kind, key, fields, *, expect, by) -> Item    a field of None is taken away
    archive / restore(ledger, kind, key, *, expect, by) -> Item
    rename(ledger, tag, new, *, expect, by) -> Item         a piece under another tag; its tests stay its own
    cut(ledger, tag, length, tags=(), *, on, by) -> Kept    a piece in two; what was known of it passes on
    join(ledger, tags, new=None, *, connectors, on, by) -> Kept     pieces of one type end to end
    shorten(ledger, tag, length, new=None, *, on, by) -> Kept
    fit_connectors(ledger, tag, count, new=None, *, on, by) -> Kept
    add_note(ledger, kind, key, text, *, by) -> Item        a note on an item
    undo(ledger, number, *, by) -> Change                   set one change back, as a change of its own
    file_sheet(ledger, path, *, on, by) -> Kept             a bench sheet with its readings; its files are kept
    file_sheet_files(ledger, files, *, on, by) -> Kept      the same, from names and bytes; the first is the sheet
    file_sweep(ledger, path, piece, far_end, *, on, by) -> Kept
    file_sweep_bytes(ledger, name, content, piece, far_end, *, on, by) -> Kept
    file_lines(ledger, path, *, by) -> tuple[Item, ...]     the person's own line types
    file_gear(ledger, path, *, by) -> Filed                 pieces, meters, pads, loads, radios, antennas of a file
    file_any(ledger, path, piece=None, far_end, *, on, by) -> Filed   whichever of these it is
    keep_station(ledger, path, *, on, by) -> Kept           a station; what it names as evidence is filed as well
    keep_station_files(ledger, files, *, on, by) -> Kept

At the bench::

    start_session(ledger, SessionPlan(title, meters, pieces, ...), *, gear=(), note=None, on=None, by) -> Item
                                                            its key is the session's name
    change_session(ledger, session, tables, *, on=None, expect, by) -> Item
    add_reading(ledger, session, cells, *, token=None, by) -> KeptReading   the same token again adds nothing
    correct_reading(ledger, session, number, cells, *, expect, by) -> KeptReading   cells None withdraws it
    readings_of(ledger, session) -> tuple[KeptReading, ...]
    sheet_of(ledger, session) -> BenchSheet                 a reading's row is its number
    imagined(rows, changes) -> tuple[KeptReading, ...]      rows as if more were kept, for
    sheet_of_rows(ledger, session, rows) -> BenchSheet      what a session would say then
    prove_session(ledger, session, *, progress=None) -> BenchResult

Asking::

    kept(ledger, kind, key) -> Item
    all_kept(ledger, kind, *, archived=False) -> tuple[Item, ...]
    list_shelf(ledger, *, archived=False, on=None) -> Shelf     each piece with its belief, and what to test again
    glance_at_shelf(ledger, *, on=None) -> tuple[Shelf, tuple[str, ...]]    at once; of these tags, as it was before
    show_piece(ledger, tag) -> ShelfPiece
    due_first(ledger, *, on=None) -> DueList                what to test first, by what the plans gain
    evidence_of(ledger, tag) -> tuple[Evidence, ...]
    belief_of_piece(ledger, tag) -> PieceBelief             draws, from every sheet and sweep
    history_of(ledger, tag, *, on=None) -> PieceHistory
    reminders(ledger, *, on=None) -> tuple[Reminder, ...]
    notes_of(ledger, kind, key) -> tuple[Item, ...]
    changes(ledger, *, kind=None, key=None, most=50, after=0) -> Changes
    stations(ledger) -> tuple[Item, ...]                    station_of(ledger, name) -> Station, for plan_station
    the_station(ledger, name=None, *, run=None) -> str      which one is meant, where nobody says more
    change_run(ledger, run, fields, *, station, new, expect, by) -> Kept    a run of it; None takes the run out
    kept_plans(ledger, run=None, *, station=None) -> KeptPlans              plans beside runs, and what each would do
    keep_plan(ledger, run, plan, fields=None, *, station, expect, by) -> Kept   the run with fields changed, beside it
    lay_plan(ledger, run, plan, *, station, expect, by) -> Kept             in the run's place
    drop_plan(ledger, run, plan, *, station, expect, by) -> Kept
    export_station(ledger, path, name=None) -> Path         as a file to write on by hand
    shelf_with_runs(ledger, ...) -> Shelf                   the shelf, and the runs of all of them
    kept_gear(ledger) -> KeptGear                           meters, attenuators, loads, radios, antennas
    kept_runs(ledger) -> KeptRuns                           the runs of all of them, as they are written
    read_station_beside(ledger, path, own=()) -> Station    a file's, its pieces looked for in the ledger
    own_lines(ledger) -> tuple[LineType, ...]
    file_of(ledger, sha256) -> bytes

The whole::

    export_ledger(ledger, path) -> None                     a zip of TOML, CSV, JSON and the files as they came
    import_ledger(ledger, path, *, by) -> int               into an empty ledger
    merge_ledger(ledger, path, *, clash, by) -> Merged      into any ledger; clash: "" refuses, "mine", "both"
    back_up(ledger, *, at=None) -> Path
    check_ledger(where=None) -> Checked                     every page and every row; a damaged file need not open
    recover_ledger(where=None, *, at=None) -> Recovered     a whole ledger in the place of a damaged one
"""

from __future__ import annotations

from linewright.verbs.due import due_first
from linewright.verbs.history import history_of, reminders
from linewright.verbs.ledger_files import export_ledger, import_ledger
from linewright.verbs.ledger_merge import merge_ledger
from linewright.verbs.shelf_beliefs import belief_of_piece, evidence_of, glance_at_shelf, list_shelf, show_piece
from linewright.verbs.shelf_filing import (
    file_any,
    file_gear,
    file_lines,
    file_sheet,
    file_sheet_files,
    file_sweep,
    file_sweep_bytes,
    keep_station,
    keep_station_files,
)
from linewright.verbs.shelf_items import (
    add,
    add_note,
    all_kept,
    archive,
    change,
    changes,
    file_of,
    kept,
    notes_of,
    own_lines,
    restore,
    undo,
)
from linewright.verbs.shelf_lives import cut, fit_connectors, join, shorten
from linewright.verbs.shelf_open import By, back_up, check_ledger, open_ledger, recover_ledger
from linewright.verbs.shelf_plans import drop_plan, keep_plan, kept_plans, lay_plan
from linewright.verbs.shelf_renames import rename
from linewright.verbs.shelf_sessions import (
    add_reading,
    change_session,
    correct_reading,
    imagined,
    prove_session,
    readings_of,
    sheet_of,
    sheet_of_rows,
    start_session,
)
from linewright.verbs.shelf_stations import (
    change_run,
    export_station,
    kept_gear,
    kept_runs,
    read_station_beside,
    shelf_with_runs,
    station_of,
    stations,
    the_station,
)

__all__ = [
    "By", "add", "add_note", "add_reading", "all_kept", "archive", "back_up", "belief_of_piece", "change",
    "change_run", "change_session", "changes", "check_ledger", "correct_reading", "cut", "drop_plan", "due_first",
    "evidence_of", "export_ledger", "export_station", "file_any", "file_gear", "file_lines", "file_of",
    "file_sheet", "file_sheet_files", "file_sweep", "file_sweep_bytes", "fit_connectors", "glance_at_shelf",
    "history_of", "imagined", "import_ledger", "join", "keep_plan", "keep_station", "keep_station_files", "kept",
    "kept_gear", "kept_plans", "kept_runs", "lay_plan", "list_shelf", "merge_ledger", "notes_of", "open_ledger",
    "own_lines", "prove_session", "read_station_beside", "readings_of", "recover_ledger", "reminders", "rename",
    "restore", "sheet_of", "sheet_of_rows", "shelf_with_runs", "shorten", "show_piece", "start_session",
    "station_of", "stations", "the_station", "undo",
]  # fmt: skip
