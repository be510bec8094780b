"""Sweeps of the ledger found again by piece, day and hash, drawn over each other, and written out as they came."""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.core.errors import Culprit, InputError
from linewright.core.messages import say
from linewright.core.nouns.kept_sweeps import KeptSweep, KeptSweeps
from linewright.core.nouns.ledger import Item
from linewright.store import items
from linewright.store import items as blobs
from linewright.store.ledger import Ledger, Snapshot
from linewright.verbs.shelf_renames import names_now

if TYPE_CHECKING:
    from linewright.core.nouns.sweep import Sweep
    from linewright.present.charts.overlay import Drawn, OverlaidCurve
    from linewright.present.charts.theme import Spec

LEAST_HASH = 4
MOST_DRAWN = 6


def find_sweeps(
    ledger: Ledger, *, piece: str | None = None, since: date | None = None, until: date | None = None,
    sha256: str | None = None, archived: bool = False,
) -> KeptSweeps:  # fmt: skip
    """Return the sweeps that are kept, newest first.

    Parameters
    ----------
    ledger : Ledger
        Where they are kept.
    piece : str, optional
        Of this piece, by its tag or one it had before.
    since, until : date, optional
        Swept on or after, on or before.
    sha256 : str, optional
        The hash of the file as it was filed, or its first four digits or more.
    archived : bool
        Those put away as well.

    Returns
    -------
    KeptSweeps
        Each with its key, piece, date, hash, ports, points and band in hertz.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    InputError
        If the hash is none.

    >>> from linewright.verbs.examples import demo_file, example_ledger
    >>> from linewright.verbs.shelf_filing import file_sweep
    >>> with example_ledger() as ledger:
    ...     kept = file_sweep(ledger, demo_file("drum.s2p"), "black 20")
    ...     [(sweep.piece, sweep.ports, sweep.points) for sweep in find_sweeps(ledger).sweeps]
    [('black 20', 2, 451)]
    """
    wanted = None if sha256 is None else _hash(sha256)
    with ledger.reads() as snapshot:
        tag = None if piece is None else items.needed(snapshot, "piece", piece).key
        every = [*items.every(snapshot, "sweep", archived=False)]
        if archived:
            every += items.every(snapshot, "sweep", archived=True)
        names = names_now(items.every(snapshot, "piece"))
        found = []
        for item in every:
            body = names.anew(item.body) if names.pieces else item.body
            day = str(body["measured_on"])
            of_day = (since is None or day >= since.isoformat()) and (until is None or day <= until.isoformat())
            of_hash = wanted is None or str(body["files"][0]["sha256"]).startswith(wanted)
            if of_day and of_hash and tag in (None, body["piece"]):
                found.append(_kept(snapshot, item, str(body["piece"])))
    return KeptSweeps(tuple(sorted(found, key=lambda s: (s.measured_on, s.key), reverse=True)))


def _hash(text: str) -> str:
    found = text.strip().lower().removeprefix("sha256:")
    if not re.fullmatch(rf"[0-9a-f]{{{LEAST_HASH},64}}", found):
        rule = say(
            "must be the SHA-256 of a file, or its first {least_hash} digits or more; got {value}",
            least_hash=LEAST_HASH,
            value=repr(text),
        )
        raise InputError("hash", rule, cure=say("sha256sum FILE writes it."))
    return found


def hash_of(path: Path | str) -> str:
    """Return the hash by which the sweep of a file is found again.

    Raises
    ------
    InputError
        If the file cannot be read.
    """
    from linewright.verbs.shelf_filing import read_bytes

    return hashlib.sha256(read_bytes(Path(path), "touchstone file")).hexdigest()


def _kept(snapshot: Snapshot, item: Item, piece: str) -> KeptSweep:
    file = item.body["files"][0]
    sweep = _sweep(snapshot, item)
    f = sweep.frequency_hz
    return KeptSweep(
        item.key, piece, item.body["far_end"], item.body["measured_on"], file["name"], file["sha256"], sweep.ports,
        len(f), float(f[0]), float(f[-1]), item.archived,
    )  # fmt: skip


def _sweep(snapshot: Snapshot, item: Item) -> Sweep:
    from linewright.files.touchstone import read_touchstone_text

    file = item.body["files"][0]
    return read_touchstone_text(blobs.content(snapshot, file["sha256"]), file["name"])


# Drawn over each other


def overlay(ledger: Ledger, keys: Sequence[str], *, width_px: int = 660) -> list[tuple[Drawn, Spec]]:
    """Return kept sweeps drawn over each other: the loss between the ports of those through, return loss of the others.

    Raises
    ------
    UnknownNameError
        If there is no such sweep.
    InputError
        If none is named, or more than six are.
    """
    return [(what, draw(width_px=width_px)) for what, draw in overlays(ledger, keys)]


def overlays(ledger: Ledger, keys: Sequence[str]) -> list[tuple[Drawn, Callable[..., Spec]]]:
    """Return what draws kept sweeps over each other, as ``overlay`` does, in a width and a manner that it is told.

    Raises
    ------
    UnknownNameError
        If there is no such sweep.
    InputError
        If none is named, or more than six are.
    """
    from linewright.present.charts.overlay import overlay_chart

    if not 1 <= len(keys) <= MOST_DRAWN:
        raise InputError(
            "sweeps",
            say(
                "must be one to {most_drawn} to be drawn over each other; got {value}",
                most_drawn=MOST_DRAWN,
                value=len(keys),
            ),
        )
    found: dict[Drawn, list[OverlaidCurve]] = {"loss": [], "return loss": []}
    with ledger.reads() as snapshot:
        for key in dict.fromkeys(keys):
            item = items.needed(snapshot, "sweep", key)
            what: Drawn = "loss" if item.body["far_end"] == "through" else "return loss"
            found[what].append(_curve(_sweep(snapshot, item), item))
    titles = {"loss": say("Loss between the ports"), "return loss": say("Return loss at the near end")}
    return [(what, partial(overlay_chart, curves, what, title=titles[what]))
            for what, curves in found.items() if curves]  # fmt: skip


def _curve(sweep: Sweep, item: Item) -> OverlaidCurve:
    import numpy as np

    from linewright.present.charts.overlay import OverlaidCurve

    wave = sweep.transmission if item.body["far_end"] == "through" else sweep.reflection
    values = -20.0 * np.log10(np.maximum(np.abs(wave), 1e-6))
    return OverlaidCurve(item.key, sweep.frequency_hz.tolist(), values.tolist())


# Written out


def sweep_file(ledger: Ledger, key: str) -> tuple[str, bytes]:
    """Return the Touchstone file of a kept sweep, byte for byte as it was filed, and a name that tells what it is.

    Parameters
    ----------
    ledger : Ledger
        Where it is kept.
    key : str
        The sweep, as :func:`find_sweeps` names it.

    Returns
    -------
    tuple of str and bytes
        A file name, and what is in the file.

    Raises
    ------
    UnknownNameError
        If there is no such sweep.

    >>> from linewright.verbs.examples import demo_file, example_ledger
    >>> from linewright.verbs.shelf_filing import file_sweep
    >>> with example_ledger() as ledger:
    ...     kept = file_sweep(ledger, demo_file("drum.s2p"), "black 20")
    ...     name, data = sweep_file(ledger, find_sweeps(ledger).sweeps[0].key)
    >>> data == demo_file("drum.s2p").read_bytes()
    True
    """
    with ledger.reads() as snapshot:
        item = items.needed(snapshot, "sweep", key)
        file = item.body["files"][0]
        ending = Path(file["name"]).suffix or f".s{_sweep(snapshot, item).ports}p"
        return f"{_plain(item.key)}{ending}", blobs.content(snapshot, file["sha256"])


def _plain(name: str) -> str:
    """Return a name that any file system takes."""
    return re.sub(r"[^\w .+-]+", "_", name).strip(" .") or "sweep"


def sweeps_zip(ledger: Ledger, keys: Sequence[str]) -> bytes:
    """Return several kept sweeps as a zip of Touchstone files; the same sweeps always make the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for key in dict.fromkeys(keys):
            name, content = sweep_file(ledger, key)
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def write_sweeps(ledger: Ledger, keys: Sequence[str], place: Path | str) -> tuple[Path, ...]:
    """Write kept sweeps: one to a file that is named, several into a folder.

    Parameters
    ----------
    ledger : Ledger
        Where they are kept.
    keys : sequence of str
        The sweeps, as :func:`find_sweeps` names them.
    place : Path or str
        A file for one, a folder for several.

    Returns
    -------
    tuple of Path
        The files that were written, in the order of the keys.

    Raises
    ------
    InputError
        If nothing is to be written, a file is there already, or several are to go into one file.

    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from linewright.verbs.examples import demo_file, example_ledger
    >>> from linewright.verbs.shelf_filing import file_sweep
    >>> with TemporaryDirectory() as place, example_ledger() as ledger:
    ...     kept = file_sweep(ledger, demo_file("drum.s2p"), "black 20")
    ...     [path.name for path in write_sweeps(ledger, [find_sweeps(ledger).sweeps[0].key], Path(place) / "it.s2p")]
    ['it.s2p']
    """
    place = Path(place)
    if not keys:
        raise InputError("sweeps", say("must be one at least: none was found"))
    names = [sweep_file(ledger, key) for key in dict.fromkeys(keys)]
    is_file = re.fullmatch(r"\.s\d+p|\.ts", place.suffix.lower()) is not None
    if is_file and len(names) > 1:
        raise InputError(
            "export", say("must be a folder for {count} sweeps", count=len(names)), where=Culprit(str(place))
        )
    paths = [place] if is_file else [place / name for name, _ in names]
    there = next((p for p in paths if p.exists()), None)
    if there is not None:
        raise InputError(
            "export", say("must not be there already"), where=Culprit(str(there)), cure=say("Name another place.")
        )
    paths[0].parent.mkdir(parents=True, exist_ok=True)
    for path, (_, content) in zip(paths, names, strict=True):
        path.write_bytes(content)
    return tuple(paths)


__all__ = ["find_sweeps", "hash_of", "overlay", "overlays", "sweep_file", "sweeps_zip", "write_sweeps"]
