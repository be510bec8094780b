"""The panel beside a run's drawing: the thing that was touched, its fields, and its possible replacements."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from linewright.catalogue import line_types
from linewright.catalogue.connectors import connectors
from linewright.core.errors import InputError
from linewright.core.formatting import digits, frequency, interval, metres, plain, quantity
from linewright.core.messages import mark, say
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.plan import BandFinding, Budget, PartFinding
from linewright.core.nouns.station import ConnectorPart, LinePart, LossPart, Part, Run
from linewright.present.compose.plan_words import in_watts
from linewright.web import run_fields as fields
from linewright.web.drawing import Bar, bar
from linewright.web.language import now_written, spelled
from linewright.web.run_edit import Draft, standing
from linewright.web.run_edit import plain as named
from linewright.web.run_fields import HeldField
from linewright.web.run_state import RunState, address, pairs_of, untried
from linewright.web.stations import HeldStation
from linewright.web.workings import word

FEW_DRAWS = 250
"""Draws of a candidate: its watts are written with two figures."""
MOST_OFFERED = 14
TABS = (("shelf", mark("Shelf")), ("line", mark("New line")), ("connector", mark("Connector")), ("part", mark("Part")))
ENDS: Mapping[str, tuple[str, str, Sequence[fields.Field]]] = {
    "radio": (mark("Radio"), "radio", (fields.FREQUENCIES, *fields.RADIO)),
    "antenna": (mark("Antenna"), "antenna", fields.ANTENNA),
    "site": (mark("Site"), "station", fields.OF_STATION),
    "limits": (mark("What it must keep"), "run", (*fields.LIMITS, *fields.ROUTE, *fields.WISHES)),
    "run": (mark("This run"), "run", fields.OF_RUN),
}


@dataclass(frozen=True, slots=True)
class OfferedPart:
    """What could be put here: what it is, what would then arrive, drawn and in words, and what chooses it."""

    to: str
    name: str
    detail: str
    icon: str
    arrives: str = ""
    reach: str = ""
    bar: Bar | None = None
    now: bool = False
    tried: bool = False
    there: str = ""


@dataclass(frozen=True, slots=True)
class Inspector:
    """What was touched. ``close`` is the address without it, ``hidden`` what its forms send beside their fields."""

    kind: str
    label: str
    title: str
    icon: str
    close: str
    hidden: tuple[tuple[str, str], ...]
    said: str = ""
    notes: tuple[str, ...] = ()
    how: str = ""
    shared: str = ""
    users: tuple[str, ...] = ()
    fields: tuple[HeldField, ...] = ()
    folded: tuple[HeldField, ...] = ()
    shape: tuple[HeldField, ...] = ()
    candidates: tuple[OfferedPart, ...] = ()
    load: str = ""
    tabs: tuple[tuple[str, str, str], ...] = ()
    tab: str = ""
    first: bool = False
    last: bool = False
    bands: tuple[tuple[str, str, bool], ...] = ()
    piece: str = ""
    length: str = ""
    problems: tuple[str, ...] = ()
    usual: tuple[tuple[str, str], ...] = ()
    files: tuple[str, ...] = ()
    line: tuple[HeldField, ...] = ()


def inspected(  # noqa: PLR0913 - what is shown hangs on all of it
    state: RunState,
    draft: Draft,
    tables: dict[str, Any],
    run: dict[str, Any],
    found: HeldStation,
    budget: Budget,
    x: BandFinding,
    problems: Sequence[InputError],
    *,
    whole: bool,
) -> Inspector | None:
    """Return what an address opens beside the drawing; None where it opens nothing.

    ``whole`` asks for the candidates at once, else they are left to be asked for by themselves.
    """
    hidden = tuple(pairs_of(untried(state)))
    close = address(untried(state), open="", tab="")
    told = dict(state.typed)
    wrong = {p.argument: p for p in problems}
    if state.number and state.number <= len(x.parts):
        return _part(state, draft, tables, run, found, x, (hidden, close, told, wrong), whole=whole)
    if state.gap is not None and state.gap <= len(x.parts):
        return _gap(state, draft, run, found, x, (hidden, close, told, wrong), whole=whole)
    if state.open in ENDS:
        return _end(state, draft, tables, run, found, (hidden, close, told, wrong))
    if state.open in ("plans", "file"):
        titles = {"plans": say("Keep this as a plan"), "file": say("The station's file")}
        return Inspector(state.open, "", titles[state.open], "run", close, hidden, problems=_unheld(wrong))
    return None


Around = tuple[tuple[tuple[str, str], ...], str, Mapping[str, str], Mapping[str, InputError]]


def _held(wanted: Sequence[fields.Field], table: Mapping[str, Any], around: Around) -> tuple[HeldField, ...]:
    """Return fields with what they hold and what is wrong with them, an error at the field whose key it names."""
    _, _, told, wrong = around
    out = []
    for h in fields.held(wanted, table, told):
        at = next((p for p in wrong.values() if h.field.name in told and _speaks(p, h)), None)
        out.append(h if at is None else replace(h, wrong=_at_field(at, h)))
    return tuple(out)


def _at_field(error: InputError, held: HeldField) -> str:
    """Return an error by the name its field has; of an empty one without the cure, which speaks of a file's line."""
    label, cure = say(held.field.label), error.cure if held.value.strip() else ""
    return spelled(now_written(str(InputError(label, error.rule, cure=cure))), held.field.words)


def _speaks(error: InputError, held: HeldField) -> bool:
    """Return whether an error's argument names a field's key: "run 1 antenna swr" speaks of "antenna.swr"."""
    argument, words = error.argument.lower(), held.field.key.replace(".", " ")
    return argument.endswith(words) or f" {words}," in argument


def _unheld(wrong: Mapping[str, InputError], *held: Sequence[HeldField]) -> tuple[str, ...]:
    """Return the problems that stand at no field."""
    there = [h for some in held for h in some if h.wrong]
    return tuple(str(p) for p in wrong.values() if not any(_speaks(p, h) for h in there))


def _split(held: Sequence[HeldField]) -> tuple[tuple[HeldField, ...], tuple[HeldField, ...]]:
    """Return the fields that are seen at once, and those that are folded away until they hold something."""
    seen = tuple(h for h in held if not h.field.folded)
    return seen, tuple(h for h in held if h.field.folded)


# A part


def _part(  # noqa: PLR0913 - what is shown hangs on all of it
    state: RunState,
    draft: Draft,
    tables: dict[str, Any],
    run: dict[str, Any],
    found: HeldStation,
    x: BandFinding,
    around: Around,
    *,
    whole: bool,
) -> Inspector:
    hidden, close, _, wrong = around
    p = x.parts[state.number - 1]
    places = standing(tables, run)
    at = places[state.number - 1] if state.number <= len(places) else None
    entry: Mapping[str, Any] = at.entry if at else {}
    kind = fields.kind_of(entry) or "part"
    which = fields.SHARED_PART if kind == "part" and "part" not in entry else fields.PARTS[kind]
    more = _of_station(found, draft, entry)
    held = _held(fields.with_options(which, more), entry, around)
    seen, folded = _split(held)
    swap = kind in ("line", "piece", "connector")
    offered = _offered(state, found, x, _swaps(found, x, state, kind, entry)) if swap and whole else ()
    load = f"/runs/offers?{address(state).partition('?')[2]}" if swap and not whole else ""
    return Inspector(
        "part",
        say("Part {number} of {count}", number=state.number, count=len(x.parts)),
        p.name,
        fields.ICONS[kind],
        close,
        hidden,
        _said(p, x),
        tuple(_notes(p, x, entry)),
        address(state, how=word(f"part{state.number}", x.frequency_hz)),
        at.shared if at else "",
        at.users if at else (),
        seen,
        folded,
        (),
        offered,
        load,
        first=state.number == 1,
        last=state.number == len(x.parts),
        piece=str(entry.get("piece", "")),
        length=metres(p.length_m) if p.length_m else "",
        problems=_unheld(wrong, held),
        files=_files(draft),
    )


def _said(p: PartFinding, x: BandFinding) -> str:
    return say(
        "{loss} of the run's {total}.",
        loss=quantity(plain(p.loss_db, 2), "dB"),
        total=quantity(plain(x.total_loss_db, 2), "dB"),
    )


def _notes(p: PartFinding, x: BandFinding, entry: Mapping[str, Any]) -> Iterator[str]:
    inside = interval(p.loss_db, p.loss_db_low, p.loss_db_high)
    if p.loss_db - p.matched_loss_db >= 0.01:
        yield say(
            "Here, with the standing wave: {loss}. Behind a match: {matched}.",
            loss=inside,
            matched=quantity(plain(p.matched_loss_db, 2), "dB"),
        )
    else:
        yield say("{loss} at {frequency}.", loss=inside, frequency=frequency(x.frequency_hz))
    lost = p.power_in_w - p.power_out_w
    said = {
        "enters": quantity(plain(p.power_in_w, 1), "W"),
        "leaves": quantity(plain(p.power_out_w, 1), "W"),
        "heat": quantity(plain(lost, 1), "W"),
    }
    if p.heat_w < 0.95 * lost:
        yield say(
            "{enters} enter, {leaves} leave, {heat} turn to heat; on average, as the mode and the overs are, {mean}.",
            **said,
            mean=quantity(plain(p.heat_w, 1), "W"),
        )
    else:
        yield say("{enters} enter, {leaves} leave, {heat} turn to heat.", **said)
    if p.basis:
        yield say("From the {basis}.", basis=p.basis)
    elif p.kind == "connector":
        yield say("From the catalogue.")
    elif "loss" in entry:
        yield say("As stated.")


def _of_station(found: HeldStation, draft: Draft, entry: Mapping[str, Any]) -> dict[str, fields.Options]:
    """Return what can be chosen of this station: its pieces, and line types of the person's own before all others."""
    pieces = tuple((tag, _piece_words(tag, p)) for tag, p in found.station.pieces.items())
    own = tuple((t.designator, t.designator) for t in (*found.station.lines, *line_types()))
    kept = str(entry.get("line", ""))
    known = {name for name, _ in own}
    first = () if not kept or kept in known else ((kept, kept),)
    return {"piece": pieces, "line": (*first, *dict(own).items())}


def _piece_words(tag: str, piece: Piece) -> str:
    kind = piece.line.designator if piece.line else say("type not known")
    return say("{tag}, {length} of {kind}", tag=tag, length=metres(piece.length_m), kind=kind)


def _files(draft: Draft) -> tuple[str, ...]:
    return tuple(sorted(_named_files(draft.tables)))


def _named_files(value: Any) -> Iterator[str]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if key == "touchstone" and isinstance(inner, str):
                yield inner
            else:
                yield from _named_files(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _named_files(inner)


# A gap


def _gap(  # noqa: PLR0913 - what is shown hangs on all of it
    state: RunState,
    draft: Draft,
    run: dict[str, Any],
    found: HeldStation,
    x: BandFinding,
    around: Around,
    *,
    whole: bool,
) -> Inspector:
    hidden, close, _, wrong = around
    gap = state.gap or 0
    names = [say("radio"), *(p.name for p in x.parts), say("antenna")]
    spare = found.station.pieces.keys() - _used(_noun(found, state))
    tab = state.tab or ("shelf" if spare else "line")
    tabs = tuple((key, say(words), address(untried(state), tab=key)) for key, words in TABS)
    made = [] if tab == "shelf" and not spare else _fills(found, x, tab)
    offered = _offered(state, found, x, made) if whole or tab == "part" else ()
    more = {"line": tuple((t.designator, t.designator) for t in (*found.station.lines, *line_types()))}
    new = {"line": "RG-213/U", "length": "10 m"}
    line = _held(
        fields.with_options([f for f in fields.PARTS["line"] if f.key in ("length", "line")], more), new, around
    )
    load = f"/runs/offers?{address(state).partition('?')[2]}" if made and not offered else ""
    shared = tuple((f"shared:{p['name']}", str(p["name"])) for p in draft.tables.get("part", ()))
    usual = tuple((f"usual:{key}", say(words)) for key, words in fields.USUAL_WORDS.items())
    label = say("Between {one} and {other}", one=names[gap], other=names[gap + 1])
    return Inspector(
        "gap",
        label,
        say("Put in here"),
        "new",
        close,
        hidden,
        candidates=offered,
        load=load,
        tabs=tabs,
        tab=tab,
        problems=_unheld(wrong),
        usual=(*usual, *shared),
        files=_files(draft),
        line=line,
    )


# What could stand in a place, each with what would then arrive

Made = tuple[OfferedPart, tuple[Part, ...]]
"""A candidate, and the chain with it."""


def _swaps(found: HeldStation, x: BandFinding, state: RunState, kind: str, entry: Mapping[str, Any]) -> list[Made]:
    """Return what could lie in the place of a part: as it is, pieces of the shelf, types as long as it."""
    run = _noun(found, state)
    i = state.number - 1
    part = run.chain[i]

    def with_it(new: Part) -> tuple[Part, ...]:
        return (*run.chain[:i], new, *run.chain[i + 1 :])

    now = OfferedPart("", say("{part}, as it lies", part=x.parts[i].name), "", fields.ICONS[kind], now=True)
    out: list[Made] = [(now, run.chain)]
    if isinstance(part, ConnectorPart):
        return [*out, *_connectors(run, with_it, part)]
    if not isinstance(part, LinePart):
        return out
    long, ohm = part.piece.length_m, part.piece.line.impedance_ohm if part.piece.line else 50.0
    used = {p.piece.tag for p in run.chain if isinstance(p, LinePart) and p.measured}
    for tag, piece in found.station.pieces.items():
        if tag not in used:
            detail = _kind_and_length(piece)
            out.append(
                (OfferedPart(f"piece:{tag}", tag, detail, "piece"), with_it(LinePart(tag, piece, measured=True)))
            )
    for t in _types(found, ohm):
        if part.measured or part.piece.line is None or t.designator != part.piece.line.designator:
            new = LinePart(t.designator, Piece(t.designator, long, t, 0))
            name = t.designator
            out.append((OfferedPart(f"line:{name}", name, metres(long), "new"), with_it(new)))
    return out


def _kind_and_length(piece: Piece) -> str:
    kind = piece.line.designator if piece.line else say("type not known")
    return say("{length} {kind}", length=metres(piece.length_m), kind=kind)


def _connectors(run: Run, with_it: Any, part: ConnectorPart | None) -> Iterator[Made]:
    for c in connectors():
        if part is None or c.name != part.family:
            new = ConnectorPart(c.name, c.name, part.pairs if part else 2)
            detail = say("{count} mated pairs", count=new.pairs) if new.pairs > 1 else say("one mated pair")
            yield OfferedPart(f"connector:{c.name}", c.name, detail, "conn"), with_it(new)


def _types(found: HeldStation, ohm: float) -> list[Any]:
    """Return the types of about this impedance, the person's own first, then from thin to thick in equal steps."""
    mine = [t for t in found.station.lines if abs(t.impedance_ohm - ohm) <= 0.1 * ohm]
    alike = [t for t in line_types() if abs(t.impedance_ohm - ohm) <= 0.1 * ohm and t.designator in OFFERED]
    if len(alike) < 3:
        alike = [t for t in line_types() if abs(t.impedance_ohm - ohm) <= 0.15 * ohm][:8]
    return [*mine, *alike]


OFFERED = frozenset(
    {
        "RG-58C/U",
        "RG-8X type",
        "RG-213/U",
        "foam low-loss 5 mm",
        "foam low-loss 7 mm",
        "foam low-loss 10 mm flex",
        "foam low-loss 10 mm",
        "foam low-loss 13 mm",
        "corrugated 1/2 in foam",
        "corrugated 7/8 in foam",
    }
)
"""A ladder of common types from thin to thick; every other stands in the list of types."""


def _fills(found: HeldStation, x: BandFinding, tab: str) -> list[Made]:
    """Return what could be put in: the pieces of the shelf, or connectors."""
    out: list[Made] = []
    if tab == "shelf":
        for tag, piece in found.station.pieces.items():
            out.append(
                (
                    OfferedPart(f"piece:{tag}", tag, _kind_and_length(piece), "piece"),
                    (LinePart(tag, piece, measured=True),),
                )
            )
    elif tab == "connector":
        out += [
            (
                OfferedPart(f"connector:{c.name}", c.name, say("one mated pair"), "conn"),
                (ConnectorPart(c.name, c.name, 1),),
            )
            for c in connectors()
        ]
    elif tab == "part":
        lost = {"arrestor": 0.1, "filter": 0.5, "relay": 0.1, "other": 0.2}
        out += [
            (
                OfferedPart(
                    f"usual:{k}",
                    say(fields.USUAL_WORDS[k]),
                    say("taken to lose {loss}", loss=quantity(digits(db), "dB")),
                    "part",
                ),
                (LossPart(k, ((0.0, db),)),),
            )
            for k, db in lost.items()
        ]
    return out


def _noun(found: HeldStation, state: RunState) -> Run:
    return next(r for r in found.station.runs if named(r.name) == named(state.run))


def offers(
    state: RunState, draft: Draft, tables: dict[str, Any], run: dict[str, Any], found: HeldStation, x: BandFinding
) -> tuple[OfferedPart, ...]:
    """Return what could stand where an address points, each with its watts."""
    if state.number:
        places = standing(tables, run)
        entry = places[state.number - 1].entry if state.number <= len(places) else {}
        return _offered(state, found, x, _swaps(found, x, state, fields.kind_of(entry) or "part", entry))
    tab = state.tab or ("shelf" if found.station.pieces else "line")
    return _offered(state, found, x, _fills(found, x, tab))


def _used(run: Run) -> set[str]:
    return {p.piece.tag for p in run.chain if isinstance(p, LinePart) and p.measured}


def _offered(state: RunState, found: HeldStation, x: BandFinding, made: Sequence[Made]) -> tuple[OfferedPart, ...]:
    """Return candidates with what would arrive, the most first; what lies there now stands first of all."""
    run = _noun(found, state)
    used, told, out = _used(run), dict(state.typed), []
    for c, parts in made:
        chain = parts if state.number else (*run.chain[: state.gap or 0], *parts, *run.chain[state.gap or 0 :])
        if c.to.startswith("piece:") and c.name in used:
            continue
        there = (
            ""
            if c.now
            else address(replace(untried(state), do="swap" if state.number else "put"), typed=(("to", c.to),))
        )
        tried = bool(state.do) and told.get("to") == c.to
        watts = x.power_at_antenna_w, x.power_at_antenna_w_low, x.power_at_antenna_w_high
        if not (c.now and not state.do):
            try:
                watts = _arrive(found, replace(run, chain=chain), x.frequency_hz)
            except InputError:
                continue
        value, low, high = watts
        arrives, reach = in_watts(value, low, high)
        out.append(
            (
                value,
                replace(
                    c,
                    arrives=arrives,
                    reach=reach,
                    bar=bar(value, low, high, run.power_w),
                    tried=tried,
                    there=there,
                ),
            )
        )
    best = sorted(out, key=lambda pair: (not pair[1].now, -pair[0]))
    return tuple(c for _, c in best[:MOST_OFFERED])


def _arrive(found: HeldStation, run: Run, at_hz: float) -> tuple[float, float, float]:
    from linewright.link.figures import fold_back
    from linewright.link.plan import sweep_run

    curve = sweep_run(*found.fresh().of_run(run), [at_hz], FEW_DRAWS)
    given = run.power_w * float(fold_back(run, np.asarray(curve.swr_at_radio.middle))[0])
    value, low, high = (given * float(side[0]) for side in curve.delivered_fraction)
    return value, low, high


# What stands at either end, and about the run


def _end(
    state: RunState, draft: Draft, tables: dict[str, Any], run: dict[str, Any], found: HeldStation, around: Around
) -> Inspector:
    hidden, close, told, wrong = around
    title, icon, wanted = ENDS[state.open]
    table = tables if state.open == "site" else run
    radios = tuple((n, n) for n in _gear(found, draft, "radio"))
    antennas = tuple((n, n) for n in _gear(found, draft, "antenna"))
    more = {"radio": (("", say("none")), *radios), "antenna": (("", say("stated here")), *antennas)}
    wanted = [f for f in wanted if f.key != "radio" or radios]
    own = table
    shape: tuple[HeldField, ...] = ()
    if state.open == "antenna":
        if isinstance(run.get("antenna"), str) and told.get("f.antenna", "x") != "":
            wanted = [f for f in wanted if not f.key.startswith("antenna.")]
        else:
            kind = told.get("f.antenna.kind", str(fields.value_at(run, ("antenna", "kind")) or ""))
            keys = {f"antenna.{key}" for key in fields.OF_KIND.get(kind, ("kind",))}
            shape = _held(fields.with_options([f for f in fields.SHAPE if f.key in keys], more), run, around)
        if antennas:
            wanted = [fields.NAMED_ANTENNA, *wanted]
            own = {**table, "antenna": table["antenna"]} if isinstance(table.get("antenna"), str) else table
    held = _held(fields.with_options(wanted, more), own, around)
    if state.open == "antenna" and not isinstance(run.get("antenna"), str):
        held = tuple(replace(h, value="") if h.field.key == "antenna" and "f.antenna" not in told else h for h in held)
    seen, folded = _split(held)
    bands = _bands(run) if state.open == "radio" else ()
    return Inspector(
        state.open,
        "",
        say(title),
        icon,
        close,
        hidden,
        fields=seen,
        folded=folded,
        shape=shape,
        bands=bands,
        problems=_unheld(wrong, held, shape),
        files=_files(draft),
        notes=_about(state.open, run),
    )


def _about(end: str, run: Mapping[str, Any]) -> tuple[str, ...]:
    if end == "antenna" and isinstance(run.get("antenna"), str):
        return (say("It is the kept antenna {name}.", name=run["antenna"]),)
    return ()


def _gear(found: HeldStation, draft: Draft, kind: str) -> tuple[str, ...]:
    own = tuple(str(t.get("name")) for t in draft.tables.get(kind, ()) if isinstance(t, Mapping))
    return tuple(dict.fromkeys((*own, *draft.gear.get(kind, ()))))


def _bands(run: Mapping[str, Any]) -> tuple[tuple[str, str, bool], ...]:
    """Return the amateur bands, each with its frequency and whether the run is planned there."""
    listed = run.get("frequencies", ())
    there = {listed} if isinstance(listed, str) else set(listed)
    named_bands = run.get("bands", ())
    there |= {named_bands} if isinstance(named_bands, str) else set(named_bands)
    return tuple((name, at, name in there or at in there) for name, at in fields.band_options())
