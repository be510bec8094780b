"""Files in and out of the shelf: bench sheets and sweeps filed, the whole ledger exported, imported, backed up."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import get_args
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from linewright.core.errors import InputError
from linewright.core.messages import say, say_many, together
from linewright.files import fields
from linewright.store.recovery import Recovered
from linewright.verbs.ledger_merge import Choice, Merged
from linewright.verbs.shelf import (
    all_kept,
    archive,
    back_up,
    belief_of_piece,
    check_ledger,
    export_ledger,
    file_sheet_files,
    file_sweep_bytes,
    merge_ledger,
    recover_ledger,
)
from linewright.verbs.shelf_open import Checked, today
from linewright.web.ledgers import Opened, by, ledger_of
from linewright.web.pages.bench import SHEET
from linewright.web.pages.shelf import today_of, told
from linewright.web.rendering import page

router = APIRouter(include_in_schema=False)
MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class FilesPage:
    """The page of files; ``trouble`` is what is wrong with one."""

    pieces: tuple[str, ...]
    today: str
    trouble: tuple[str, ...] = ()


@router.get("/shelf/file")
def files(request: Request) -> Response:
    """Show what can be filed, and how the whole goes out and in."""
    return _shown(request)


def _shown(request: Request, cause: InputError | None = None) -> Response:
    tags = tuple(i.key for i in all_kept(ledger_of(request), "piece"))
    problems = tuple(str(p) for p in getattr(cause, "problems", ()) or (cause,)) if cause else ()
    shown = FilesPage(tags, today(), problems)
    return page(request, "shelf_file.html", shown, place="shelf", title=say("Files"), status=422 if cause else 200)


@router.post("/shelf/import/sheet")
async def sheet(request: Request) -> Response:
    """File a bench sheet with the files it names."""
    async with request.form() as form:
        return await run_in_threadpool(_sheet, request, form, await _sent(form, "files"))


def _sheet(request: Request, form: FormData, sent: Sequence[tuple[str, bytes]]) -> Response:
    try:
        found = sheet_first(sent)
        done = file_sheet_files(ledger_of(request), dict(found), on=today_of(str(form.get("on", ""))), by=by(request))
    except InputError as cause:
        return _shown(request, cause)
    return RedirectResponse(SHEET + quote(done.item.key), 303)


def sheet_first(sent: Sequence[tuple[str, bytes]]) -> list[tuple[str, bytes]]:
    """Return files with the sheet, the one TOML that is no list of lines, before those it names."""
    tomls = [f for f in sent if PurePath(f[0]).suffix.lower() == ".toml"]
    if not tomls:
        cure = say("Choose the sheet and, with it, the files it names.")
        raise InputError("sheet", say("must be a TOML file"), cure=cure)
    main = next((f for f in tomls if b"[[meter]]" in f[1] or b"[[one_end]]" in f[1]), tomls[0])
    return [main, *(f for f in sent if f is not main)]


@router.post("/shelf/import/sweep")
async def sweep(request: Request) -> Response:
    """File a sweep of a piece."""
    async with request.form() as form:
        return await run_in_threadpool(_sweep, request, form, await _sent(form, "files"))


def _sweep(request: Request, form: FormData, sent: Sequence[tuple[str, bytes]]) -> Response:
    tag = str(form.get("piece", ""))
    try:
        if not sent:
            raise InputError("sweep", say("must be a Touchstone file"), cure=say("Choose one."))
        for name, content in sent:
            _swept(request, name, content, form)
    except InputError as cause:
        return _shown(request, cause)
    return RedirectResponse(f"/shelf/piece/{quote(tag)}", 303)


def _swept(request: Request, name: str, content: bytes, form: FormData) -> None:
    """File one sweep; one that says nothing of a cable is put away again, so that it spoils no page."""
    ledger, tag, on = ledger_of(request), str(form.get("piece", "")), today_of(str(form.get("on", "")))
    done = file_sweep_bytes(ledger, name, content, tag, str(form.get("far_end", "through")), on=on, by=by(request))
    try:
        belief_of_piece(ledger, tag)
    except InputError:
        archive(ledger, "sweep", done.item.key, by=by(request))
        raise


async def _sent(form: FormData, name: str) -> list[tuple[str, bytes]]:
    """Return the files of a form by their bare names, those without a name left out."""
    found = [f for f in form.getlist(name) if isinstance(f, UploadFile) and f.filename]
    return [(PurePath(str(f.filename)).name, await f.read()) for f in found]


@router.get("/shelf/export")
def export(request: Request) -> Response:
    """Return the whole ledger as a zip of open files."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.zip"
        export_ledger(ledger_of(request), path)
        content = path.read_bytes()
    name = f"linewright-{today()}.zip"
    return Response(
        content, media_type="application/zip", headers={"content-disposition": f'attachment; filename="{name}"'}
    )


@router.post("/shelf/import/ledger")
async def import_whole(request: Request) -> Response:
    """Bring an export into the ledger, whatever that holds."""
    async with request.form() as form:
        return await run_in_threadpool(_import, request, form, await _sent(form, "files"))


def _import(request: Request, form: FormData, sent: Sequence[tuple[str, bytes]]) -> Response:
    try:
        clash: Choice = fields.one_of(str(form.get("clash", "")), "clash", get_args(Choice))
        if len(sent) != 1:
            raise InputError("export", say("must be one zip file"), cure=say("Choose what Export gave."))
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / _plain(sent[0][0])
            path.write_bytes(sent[0][1])
            merged = merge_ledger(ledger_of(request), path, clash=clash, by=by(request))
    except InputError as cause:
        return _shown(request, cause)
    return told(request, _told(merged))


def _plain(name: str) -> str:
    """Return a name that a file can have in a folder of its own: that of the file sent, where it is one."""
    fits = name.isprintable() and name.strip(". ") and len(name.encode(errors="replace")) <= MOST_NAME_BYTES
    return name if fits else "export.zip"


MOST_NAME_BYTES = 200
"""Bytes of a file's name; most systems take 255."""


def _told(merged: Merged) -> str:
    """Return what came of an import, as sentences."""
    mine = [f"{b.kind} {b.key}" for b in merged.clashed if not b.called]
    theirs = [f"{b.kind} {b.called}" for b in merged.clashed if b.called]
    return together((
        say_many("{count} thing came in.", "{count} things came in.", len(merged.came))
        if merged.came else say("Nothing came in."),
        say_many("{count} was here already, just so.", "{count} were here already, just so.", merged.same)
        if merged.same else "",
        say("Kept as here: {names}.", names=_names(mine)) if mine else "",
        say("Came under names of their own: {names}.", names=_names(theirs)) if theirs else "",
    ))  # fmt: skip


def _names(found: Sequence[str]) -> str:
    more = [say("{count} more", count=len(found) - MOST_NAMED)] if len(found) > MOST_NAMED else []
    return together([*found[:MOST_NAMED], *more], ", ")


@router.post("/shelf/backup")
def backup(request: Request) -> Response:
    """Copy the ledger's file now."""
    path = back_up(ledger_of(request))
    return told(request, say("Backed up as {file}, in {folder}.", file=path.name, folder=path.parent.name))


@dataclass(frozen=True, slots=True)
class CheckPage:
    """What a whole check found, or what became of a damaged ledger."""

    found: Checked | None = None
    recovered: Recovered | None = None


@router.get("/shelf/check")
def check(request: Request) -> Response:
    """Check the ledger whole; it need not open for that."""
    found = check_ledger(request.app.state.opened.where)
    return page(request, "shelf_check.html", CheckPage(found), place="shelf", title=say("Check of the ledger"))


@router.post("/shelf/recover")
def recover(request: Request) -> Response:
    """Put a whole ledger in the place of a damaged one; the app closes it first and opens it again."""
    opened: Opened = request.app.state.opened
    opened.close()
    done = recover_ledger(opened.where)
    return page(request, "shelf_check.html", CheckPage(recovered=done), place="shelf", title=say("Check of the ledger"))
