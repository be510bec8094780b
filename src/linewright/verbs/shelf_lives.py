"""Pieces that change: cut in two, joined, shortened, fitted with new connectors; what was known of them passes on.

What comes of it is a piece of its own with a tag of its own, for the old tag's tests were of another cable. Its field
``origin`` says what it came of: ``{how = "cut", pieces = ["blue 7"], on = "2026-04-02"}``. What it came of is put away.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any
from zlib import crc32

from linewright.core.errors import InputError
from linewright.core.formatting import metres
from linewright.core.messages import mark, say, together
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.shelf import Kept, PieceBelief
from linewright.files import fields
from linewright.store import items
from linewright.store.ledger import Ledger, Writing
from linewright.verbs import shelf_nouns as nouns
from linewright.verbs.shelf_items import NOW
from linewright.verbs.shelf_open import By, today, writing
from linewright.verbs.shelf_renames import free

if TYPE_CHECKING:
    from linewright.core.arrays import Floats
    from linewright.core.nouns.belief import Belief
    from linewright.core.nouns.bench import Piece
    from linewright.verbs.shelf_evidence import Shelved

HOW = (mark("cut"), mark("joined"), mark("shortened"), mark("fitted with connectors"))
LETTERS = "abcdefghijklmnopqrstuvwxyz"
CARRIED = ("line", "stock", "exposure")
"""What a piece takes from the one it came of."""
ALONG_U = 0.05
"""How far the law of one half of a line departs from that of the whole, as a logarithm (common practice, no source)."""
MOST_ALONG_U = 0.2
"""No part departs further, however short it is."""

# What is done to a piece


def cut(
    ledger: Ledger, tag: str, length: str, tags: Sequence[str] = (), *, on: date | None = None, by: By = NOW
) -> Kept:  # fmt: skip
    """Cut a piece in two; the first part is as long as said, and the connectors stay at their ends.

    Parameters
    ----------
    tag : str
        The piece.
    length : str
        Of the first part, "3 m".
    tags : sequence of str
        The tags of the two; without them the old one with a letter behind it.
    on : date, optional
        When; without it, today.

    Returns
    -------
    Kept
        The first part, the second with it.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    InputError
        If it is not longer than that, is put away, or a tag is taken.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     kept = cut(ledger, "blue 18", "5 m")
    ...     kept.item.key, [item.key for item in kept.with_it]
    ('blue 18 a', ['blue 18 b'])
    """
    with writing(ledger, by) as w:
        old = _on_hand(w, tag)
        first, rest = _split(old, length)
        named = _tags(w, old.key, tags, 2)
        ends = old.body.get("connectors", 2)
        made = [{"length": first, "connectors": (ends + 1) // 2}, {"length": rest, "connectors": ends // 2}]
        return _made(w, [old], "cut", list(zip(named, made, strict=True)), _day(on, by))


def shorten(
    ledger: Ledger, tag: str, length: str, new: str | None = None, *, on: date | None = None, by: By = NOW
) -> Kept:  # fmt: skip
    """Shorten a piece to a length; the connector of the end that was cut off is fitted again.

    Runs that lie on it follow.

    Parameters
    ----------
    tag : str
        The piece.
    length : str
        What is left of it, "6 m".
    new : str, optional
        The tag of what is left; without it, the old one with a letter behind it.

    Returns
    -------
    Kept
        What is left.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    InputError
        If it is not longer than that, is put away, or the tag is taken.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     shorten(ledger, "blue 7", "6 m").item.body["length"]
    '6 m'
    """
    with writing(ledger, by) as w:
        old = _on_hand(w, tag)
        left, _ = _split(old, length)
        (name,) = _tags(w, old.key, [new] if new else [], 1)
        told = {"length": left, "connectors": old.body.get("connectors", 2)}
        return _followed(w, old, _made(w, [old], "shortened", [(name, told)], _day(on, by)))


def fit_connectors(
    ledger: Ledger, tag: str, count: int, new: str | None = None, *, on: date | None = None, by: By = NOW
) -> Kept:  # fmt: skip
    """Fit a piece with new connectors, so many in all; the old ones are gone, and their faults with them.

    Parameters
    ----------
    tag : str
        The piece.
    count : int
        How many connectors are on it then.
    new : str, optional
        Its tag from then on; without it, the old one with a letter behind it.

    Returns
    -------
    Kept
        The piece.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    InputError
        If it is put away, the count cannot be, or the tag is taken.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     fit_connectors(ledger, "blue 7", 2).item.key
    'blue 7 a'
    """
    with writing(ledger, by) as w:
        old = _on_hand(w, tag)
        (name,) = _tags(w, old.key, [new] if new else [], 1)
        told = {"length": old.body["length"], "connectors": fields.whole(count, "connectors")}
        return _followed(w, old, _made(w, [old], "fitted with connectors", [(name, told)], _day(on, by)))


def join(
    ledger: Ledger, tags: Sequence[str], new: str | None = None, *, connectors: int | None = None,
    on: date | None = None, by: By = NOW,
) -> Kept:  # fmt: skip
    """Join pieces of one type end to end for good.

    Parameters
    ----------
    tags : sequence of str
        Two or more, in order.
    new : str, optional
        The tag of the whole; without it, that of the first piece.
    connectors : int, optional
        How many are on it then, those between the pieces too; without it, all that they had.

    Returns
    -------
    Kept
        The whole.

    Raises
    ------
    UnknownNameError
        If there is no such piece.
    InputError
        If they are of different types, or a tag is taken.

    >>> from linewright.verbs.examples import example_ledger
    >>> with example_ledger() as ledger:
    ...     join(ledger, ["blue 7", "blue 18"], "blue 25").item.body["length"]
    '25.1 m'
    """
    with writing(ledger, by) as w:
        old = [_on_hand(w, tag) for tag in tags]
        if len(old) < 2 or len({i.key for i in old}) < len(old):
            raise InputError(
                "pieces", say("must be two or more, each once; got {value}", value=", ".join(tags) or "none")
            )
        lines = {i.body.get("line") for i in old}
        if len(lines) > 1:
            cure = say("Keep both, and name both in the chain of a run.")
            raise InputError(
                "pieces", say("must be of one type; got {value}", value=" and ".join(map(str, lines))), cure=cure
            )
        (name,) = _tags(w, " and ".join(i.key for i in old), [new] if new else [], 1, plain=True)
        ends = sum(i.body.get("connectors", 2) for i in old) if connectors is None else connectors
        told = {"length": f"{sum(map(_length_m, old)):.10g} m", "connectors": fields.whole(ends, "connectors")}
        return _made(w, old, "joined", [(name, told)], _day(on, by))


def _on_hand(w: Writing, tag: str) -> Item:
    item = items.needed(w.connection, "piece", tag)
    if item.archived:
        raise InputError(
            "piece", say("must be on the shelf; {tag} is put away", tag=repr(tag)), cure=say("Restore it first.")
        )
    return item


def _length_m(item: Item) -> float:
    return fields.length(item.body["length"], "length")


def _split(item: Item, length: str) -> tuple[str, str]:
    """Return a length and what is left, as written."""
    whole, first = _length_m(item), fields.length(length, "length")
    if not first < whole:
        raise InputError(
            "length",
            say(
                "must be less than the {whole} of {key}; got {value}",
                whole=metres(whole),
                key=item.key,
                value=repr(length),
            ),
        )
    return length, f"{whole - first:.10g} m"


def _tags(w: Writing, old: str, given: Sequence[str], count: int, *, plain: bool = False) -> list[str]:
    """Return as many new tags: those given, else the old one with a letter behind it that nobody has."""
    if given and len(given) != count:
        raise InputError("tags", say("must be {count}; got {value}", count=count, value=len(given)))
    if given:
        found = [fields.tag(tag, "tag") for tag in given]
    else:
        taken = {i.key for i in items.every(w.connection, "piece")}
        wanted = [*([old] if plain else []), *(f"{old} {letter}" for letter in LETTERS)]
        found = [tag for tag in wanted if tag not in taken][:count]
    for tag in found:
        free(w.connection, tag)
    return found


def _day(on: date | None, by: By) -> str:
    return today(on) if on else by.day


def _made(w: Writing, old: Sequence[Item], how: str, new: Sequence[tuple[str, Mapping[str, Any]]], day: str) -> Kept:
    """Keep what came of pieces, and put these away."""
    origin = {"how": how, "pieces": [i.key for i in old], "on": day}
    carried = {k: old[0].body[k] for k in CARRIED if all(i.body.get(k) == old[0].body.get(k) for i in old)
               and k in old[0].body}  # fmt: skip
    made = []
    for tag, told in new:
        _, body = nouns.checked_piece(
            {"tag": tag, **carried, **told, "origin": origin}, nouns.own_lines_of(w.connection)
        )
        made.append(items.put(w, "piece", tag, body, expect=0))
    for item in old:
        items.archive(w, "piece", item.key)
    runs = _lying_in(w, [i.key for i in old])
    said = [f"{run} of {station} names {tag}, which is no more: change it." for station, run, tag in runs]
    return Kept(made[0], tuple(made[1:]), tuple(said))


def _lying_in(w: Writing, tags: Sequence[str]) -> list[tuple[str, str, str]]:
    """Return where pieces lie, as (station, run, tag)."""
    return [
        (i.key, str(run.get("name")), part["piece"])
        for i in items.every(w.connection, "station", archived=False)
        for run in i.body["station"].get("run", ())
        for part in run.get("chain", ())
        if part.get("piece") in tags
    ]


def _followed(w: Writing, old: Item, kept: Kept) -> Kept:
    """Let every run that lies on a piece lie on what came of it."""
    from linewright.verbs.shelf_renames import Names

    names = Names({old.key: kept.item.key})
    stations = {station for station, _, _ in _lying_in(w, [old.key])}
    for name in stations:
        item = items.needed(w.connection, "station", name)
        items.put(w, "station", name, names.anew(item.body))
    return replace(kept, remarks=tuple(f"The runs of {name} name {kept.item.key} now." for name in sorted(stations)))


# What was known of it passes on


def origins(shelf: Shelved, tag: str) -> list[Item]:
    """Return the pieces that a piece came of, under the tags they have now."""
    told = shelf.pieces[tag].body.get("origin", {}).get("pieces", ())
    found = [shelf.names.pieces.get(one, one) for one in told]
    return [shelf.pieces[one] for one in found if one in shelf.pieces and one != tag]


def passed_on(shelf: Shelved, piece: Piece, judge: Callable[[Piece], PieceBelief]) -> PieceBelief | None:
    """Return what a piece has from those it came of; None for one that came of none, or of some nobody knows.

    Its law is theirs with its own length. What may sit in one place (a bad joint) is in either part of what was cut;
    the shorter a part, the further its law may depart from the whole's. New connectors are sound.
    """
    came = origins(shelf, piece.tag)
    if not came or piece.line is None:
        return None
    origin = shelf.pieces[piece.tag].body["origin"]
    known = [judge(noun) for noun in shelf.nouns(came)]
    beliefs = [k.belief for k in known if k.belief is not None]
    if len(beliefs) < len(came):
        return None
    belief = _joined(beliefs, piece) if origin["how"] == "joined" else _part(beliefs[0], piece, origin["how"])
    basis = say("{pieces}, of which it came, {basis}", pieces=together([i.key for i in came], ", "),
                basis=together(dict.fromkeys(b.basis for b in beliefs), ", "))  # fmt: skip
    evidence = tuple(sorted({e for k in known for e in k.evidence}, key=lambda e: (e.measured_on, e.kind, e.key)))
    said = say("{piece} was made from {pieces} on {day}: what was known carries over, by length.", piece=piece.tag,
               pieces=together([i.key for i in came], ", "), day=origin["on"])  # fmt: skip
    return PieceBelief(replace(belief, basis=basis), evidence, (said,))


def _part(whole: Belief, piece: Piece, how: str) -> Belief:
    """Return the belief of a part of a piece, or of all of it under new connectors."""
    import numpy as np

    from linewright.inference.bench.findings import connectors_db
    from linewright.inference.priors import DEFAULT

    rng = np.random.default_rng(crc32(piece.tag.encode()))
    sound = np.full(whole.draws, connectors_db(piece, 1e6, DEFAULT))
    nothing = np.zeros(whole.draws)
    if how == "fitted with connectors":
        return replace(
            whole, piece=piece, connector_db_per_sqrt_mhz=sound, joint_db=nothing, joint_db_per_sqrt_mhz=nothing
        )
    here = rng.random(whole.draws) < 0.5  # a bad joint sits at either end
    apart = min(ALONG_U * np.sqrt(max(whole.piece.length_m / piece.length_m - 1.0, 0.0)), MOST_ALONG_U)
    share = piece.connectors / whole.piece.connectors if whole.piece.connectors else 0.0
    return replace(
        whole, piece=piece, growth=whole.growth * np.exp(apart * rng.standard_normal(whole.draws)),
        connector_db_per_sqrt_mhz=whole.connector_db_per_sqrt_mhz * share,
        joint_db=np.where(here, whole.joint_db, 0.0),
        joint_db_per_sqrt_mhz=np.where(here, whole.joint_db_per_sqrt_mhz, 0.0),
    )  # fmt: skip


def _joined(beliefs: Sequence[Belief], piece: Piece) -> Belief:
    """Return the belief of pieces of one type end to end: their losses add, draw by draw."""
    import numpy as np

    rows = np.arange(min(b.draws for b in beliefs))
    some = [b.taken(rows) for b in beliefs]

    def mean(values: Sequence[Floats], weights: Floats) -> Floats:
        return np.asarray((np.stack(values) * weights).sum(axis=0) / weights.sum(axis=0))

    lengths = np.array([[b.piece.length_m] for b in some])
    growth = mean([b.growth for b in some], lengths)
    grown = lengths * np.stack([b.growth for b in some])
    at = np.array(sorted({f for b in some for f, _ in b.measured}))
    there = mean([np.broadcast_to(b.departure_at(at[:, None]), (len(at), len(rows))) for b in some], grown[:, None, :])
    return replace(
        some[0],
        piece=piece,
        growth=growth,
        wet=mean([b.wet for b in some], grown),
        departure=mean([b.departure for b in some], grown),
        measured=tuple((float(f), there[i]) for i, f in enumerate(at)),
        connector_db_per_sqrt_mhz=np.sum([b.connector_db_per_sqrt_mhz for b in some], axis=0),
        joint_db=np.sum([b.joint_db for b in some], axis=0),
        joint_db_per_sqrt_mhz=np.sum([b.joint_db_per_sqrt_mhz for b in some], axis=0),
    )
