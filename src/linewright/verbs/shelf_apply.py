"""A sharing-out or a choice applied: the runs of the kept station then name those pieces, in one undoable step."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from linewright.core.errors import CannotError, InputError
from linewright.core.messages import say
from linewright.core.nouns.choice import Choice, Fed, Shared, Stretch
from linewright.core.nouns.ledger import Item
from linewright.core.nouns.shelf import Kept
from linewright.core.nouns.station import Run
from linewright.store import items
from linewright.store.ledger import Ledger
from linewright.verbs.shelf_items import NOW
from linewright.verbs.shelf_open import By, writing
from linewright.verbs.shelf_stations import put_station

Entry = dict[str, Any]


def apply_share(ledger: Ledger, station: str, shared: Shared, *, by: By = NOW) -> Kept:
    """Let every run that was fed lie on the pieces it gets, and on the line to be bought for it.

    The rest of its chain stays. What it gets lies where its first piece lay, else at the antenna's end.

    Parameters
    ----------
    station : str
        The kept station that was shared out.
    shared : Shared
        As ``share_shelf`` returns it.

    Raises
    ------
    CannotError
        If a run is left short: then it would stand in the ledger as if it reached.
    InputError
        If a piece lies in a part that several runs share.
    """
    with writing(ledger, by) as w:
        item = items.needed(w.connection, "station", station)
        kept = put_station(w, item, fed_tables(item.body["station"], shared))
    return _told(item, kept, [_fed_words(f) for f in shared.fed])


def fed_tables(tables: Mapping[str, Any], shared: Shared) -> Entry:
    """Return a station's tables with its runs on the pieces they get.

    Raises
    ------
    CannotError, InputError
        As ``apply_share``.
    """
    short = [f"{fed.run} lacks {fed.short_m:.1f} m" for fed in shared.fed if fed.short_m > 0]
    if short:
        raise CannotError(
            say("Nothing was applied: {short}. Add pieces to the shelf, or buy with --budget.", short=", ".join(short))
        )
    fed = {f.run.lower(): f for f in shared.fed}
    _none_shared(tables, [tag for f in shared.fed for tag in f.pieces])
    return {**tables, "run": [_fed(dict(run), fed.get(_name(run))) for run in tables.get("run", ())]}


def apply_choice(
    ledger: Ledger, station: str, run: Run, choice: Choice, number: int, *, by: By = NOW
) -> Kept:  # fmt: skip
    """Let a run lie on what one choice puts in place of its line.

    Parameters
    ----------
    station : str
        The kept station the run is of.
    run : Run
        The run as it stood when it was chosen for.
    choice : Choice
        As ``choose_for`` returns it.
    number : int
        Which choice of the trade-off, the cheapest being 1.

    Raises
    ------
    InputError
        If there is no such choice, or the line to be replaced lies in a part that several runs share.
    """
    from linewright.choice.choose import span_of

    if not 1 <= number <= len(choice.trade_off):
        cure = say("Look at the trade-off first.") if choice.trade_off else say("No choice keeps the limits.")
        raise InputError(
            "--apply",
            say("must be one of 1 to {count}; got {value}", count=len(choice.trade_off), value=number),
            cure=cure,
        )
    option = choice.trade_off[number - 1]
    with writing(ledger, by) as w:
        item = items.needed(w.connection, "station", station)
        tables = dict(item.body["station"])
        runs = [dict(r) for r in tables.get("run", ())]
        mine = next(r for r in runs if _name(r) == run.name.lower())
        first, end = _entries(mine.get("chain", ()), _sizes(tables), span_of(run))
        chain = list(mine.get("chain", ()))
        mine["chain"] = [*chain[:first], *laid(option.stretches, run.wishes.connector), *chain[end:]]
        kept = put_station(w, item, tables | {"run": runs})
    return _told(item, kept, [f"{run.name} lies on {option.name}."])


def _told(old: Item, kept: Item, said: Sequence[str]) -> Kept:
    undo = "linewright shelf history numbers the change, linewright shelf undo takes it back."
    return Kept(kept, remarks=(*said, undo) if kept.version != old.version else ("It is so already.",))


def _name(run: Mapping[str, Any]) -> str:
    return " ".join(str(run.get("name", "")).split()).lower()


def _fed(run: Entry, fed: Fed | None) -> Entry:
    """Return a run's table with the pieces it gets."""
    if fed is None:
        return run
    old = list(run.get("chain", ()))
    at = next((i for i, entry in enumerate(old) if "piece" in entry), len(old))
    new: list[Entry] = [{"piece": tag} for tag in fed.pieces]
    if fed.bought is not None:
        new.append({"line": fed.bought.line, "length": f"{fed.bought.length_m:.10g} m", "name": "to buy"})
    rest = [entry for entry in old[at:] if "piece" not in entry]
    return {**run, "chain": [*old[:at], *new, *rest]}


def _fed_words(fed: Fed) -> str:
    bought = [f"{fed.bought.length_m:.1f} m of {fed.bought.line} to buy"] if fed.bought else []
    return f"{fed.run} lies on {', '.join([*fed.pieces, *bought]) or 'nothing'}."


def _none_shared(tables: Mapping[str, Any], tags: Sequence[str]) -> None:
    """Refuse pieces that lie in a part which several runs share: they would lie there twice."""
    for part in tables.get("part", ()):
        for entry in part.get("chain", ()):
            if entry.get("piece") in tags:
                rule = say("holds the piece {entry}, and several runs may share it", entry=repr(entry["piece"]))
                raise InputError(f"part {part.get('name')!r}", rule, cure=say("Write the piece into the run itself."))


def laid(stretches: Sequence[Stretch], family: str) -> Iterator[Entry]:
    """Yield the entries of a chain that a choice stands for: pieces, and new lines each with a joint."""
    for stretch in stretches:
        if stretch.on_hand:
            yield {"piece": stretch.name}
        else:
            yield {"line": stretch.name, "length": f"{stretch.length_m:.10g} m", "name": f"new {stretch.name}"}
            yield {"connector": family}


def _sizes(tables: Mapping[str, Any]) -> dict[str, int]:
    """Return of how many parts each named part consists."""
    chains = {_name(p): p["chain"] for p in tables.get("part", ()) if "chain" in p}

    def size(name: str) -> int:
        return sum(size(_part(entry)) if _part(entry) in chains else 1 for entry in chains[name])

    return {name: size(name) for name in chains}


def _part(entry: Mapping[str, Any]) -> str:
    return "" if "loss" in entry else " ".join(str(entry.get("part", "")).split()).lower()


def _entries(chain: Sequence[Mapping[str, Any]], sizes: Mapping[str, int], span: tuple[int, int]) -> tuple[int, int]:
    """Return which entries of a chain make up a span of its parts, first and behind the last."""
    ends = [0]
    for entry in chain:
        ends.append(ends[-1] + sizes.get(_part(entry), 1))
    if not set(span) <= set(ends):
        rule = say("must be line of the run itself; it lies in a part that several runs share")
        raise InputError("replace", rule, cure=say("Write the line into the run's own chain."))
    return ends.index(span[0]), ends.index(span[1])
