"""Lines compared by their electrical length, and where to cut them, as a document."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.core.formatting import fine, frequency, interval, metres, places_for, plain
from linewright.core.messages import say, together
from linewright.core.nouns.cut import CutPiece, CutResult, CutTo, LengthDifference, MatchedSet, Transformed
from linewright.present.compose.provenance import worked
from linewright.present.document import (
    Cautions,
    Column,
    Document,
    Paragraph,
    Row,
    Table,
    points,
    section,
    sections,
    table,
)

NO_REACTANCE_OHM = 0.5
CLOSE_DEG = 2.0
"""Nearer than this no harness asks for: common practice, no source."""


def cut_document(result: CutResult) -> Document:
    """Return how lines differ, and where to cut."""
    title = say("{pieces}: electrical length", pieces=together([p.piece for p in result.pieces], ", "))
    return Document("cut", title, sections=sections(
        section("", Paragraph(result.verdict)),
        section(say("Where to cut"), cut_facts(result)),
        section(say("As a stub"), stub(result)),
        section(say("Against the shortest"), differences(result)),
        section(say("After trimming, over the band"), leftovers(result)),
        section(say("Sets"), sets(result), points(left_over(result))),
        section(say("The lines"), pieces(result)),
        section(say("Remarks"), points(result.remarks)),
        section(say("Cautions"), Cautions(result.cautions)),
        worked(result.workings),
    ), names=tuple(p.piece for p in result.pieces))  # fmt: skip


# The verdict


def verdict(result: CutResult) -> str:
    """Return what was found, in a sentence or two."""
    if result.cut is not None:
        said = [_cut_verdict(result.cut)]
    else:
        said = [_sets_verdict(result)] if result.sets else list(_pair_verdicts(result))
    return together([*said, *_taken(result)])


def _taken(result: CutResult) -> Iterator[str]:
    """Return by which velocity factor metres are reckoned where no length was given."""
    for p in result.pieces:
        if p.length_m is None:
            factor = interval(p.velocity_factor, p.velocity_factor_low, p.velocity_factor_high, "")
            yield say("The length of {piece} was not given: its metres assume a velocity factor of {factor}.",
                      piece=p.piece, factor=factor)  # fmt: skip


def _pair_verdicts(result: CutResult) -> Iterator[str]:
    told = [d for d in result.differences if d.told]
    for d in told[:3]:
        yield say(
            "{longer} is {difference} longer than {shorter} at {frequency}: trim {trim} from {longer}, and the two"
            " match within {left}°.",
            longer=d.longer, shorter=d.shorter, difference=_degrees(d), frequency=frequency(d.frequency_hz),
            trim=fine(d.trim_m, d.trim_m_low, d.trim_m_high), left=_left(d.left_deg),
        )  # fmt: skip
    if any(d.left_deg > CLOSE_DEG for d in told):
        yield say("Trim the least of that first, sweep again, and trim the rest.")
    alike = [d for d in result.differences if not d.told]
    for d in alike[:3]:
        yield say(
            "{one} and {other} cannot be told apart at {frequency}: they differ by {difference}. Trim nothing.",
            one=d.longer, other=d.shorter, frequency=frequency(d.frequency_hz), difference=_degrees(d),
        )  # fmt: skip


def _sets_verdict(result: CutResult) -> str:
    said = []
    for s in result.sets[:3]:
        names = together(s.pieces, say(" and "))
        orders = [say("{trim} from {piece}", trim=fine(t.trim_m, t.trim_m_low, t.trim_m_high), piece=t.piece)
                  for t in s.trims if t.trim_m > 0.0]  # fmt: skip
        said.append(say(
            "{pieces} go together: trim {orders}, and they match within {left}° at {frequency}.",
            pieces=names, orders=together(orders, say(" and ")), left=_left(s.left_deg),
            frequency=frequency(s.frequency_hz),
        ))  # fmt: skip
    return together(said)


def _cut_verdict(c: CutTo) -> str:
    what = {"line": say("a line"), "open stub": say("an open stub"), "shorted stub": say("a shorted stub")}[c.purpose]
    goal = say("{angle}° at {frequency}", angle=_angle(c.target_deg), frequency=frequency(c.frequency_hz))
    if c.way == "too short":
        assert c.trim_m is not None
        return say(
            "{piece} is {missing} too short for {what} of {goal}.",
            piece=c.piece, what=what, goal=goal, missing=fine(-c.trim_m),
        )  # fmt: skip
    assert c.trim_m is not None
    if c.way == "measure" and c.length_m is not None:
        how = say("cut {piece} to {length}", piece=c.piece, length=fine(c.length_m, c.length_m_low, c.length_m_high))
    else:
        how = say("trim {trim} from {piece}", piece=c.piece, trim=fine(c.trim_m, c.trim_m_low, c.trim_m_high))
    first = say("Leave {length} at first, sweep it, and trim the rest.", length=fine(c.length_m_high or 0.0))
    if c.way == "trim":
        first = say("Cut off {first} at first, sweep it, and trim the rest.", first=fine(c.first_m or 0.0))
    return say(
        "For {what} of {goal}, {how}. It is then right within {left}°. {first}",
        what=what, goal=goal, how=how, left=_left(c.left_deg), first=first,
    )  # fmt: skip


def _degrees(d: LengthDifference) -> str:
    return _with_interval(d.difference_deg, d.difference_deg_low, d.difference_deg_high)


def _with_interval(value_deg: float, low_deg: float, high_deg: float) -> str:
    places = min(places_for(low_deg, high_deg), 1)
    value, low, high = (plain(x, places) for x in (value_deg, low_deg, high_deg))
    return say("{value}° ({low} to {high})", value=value, low=low, high=high)


def _left(degrees: float) -> str:
    return plain(degrees, 1 if degrees < 10.0 else 0)


def _angle(degrees: float) -> str:
    return plain(degrees, 0 if abs(degrees - round(degrees)) < 0.05 else 1)


# Tables


def differences(result: CutResult) -> Table:
    """Return how each line differs from the shortest."""
    columns = (
        Column(""), Column(say("longer (95 %)"), "figure"), Column(say("but for whole turns"), "right"),
        Column(say("trim off (95 %)"), "figure"), Column(say("then within"), "right"),
    )  # fmt: skip
    rows = (Row(_difference(d), "" if d.told else "unknown") for d in result.differences)
    return table(columns, rows)


def _difference(d: LengthDifference) -> tuple[str, ...]:
    trim = fine(d.trim_m, d.trim_m_low, d.trim_m_high) if d.told else say("nothing that can be told")
    return (
        say("{longer} against {shorter}, {frequency}", longer=d.longer, shorter=d.shorter,
            frequency=frequency(d.frequency_hz)),
        _degrees(d), say("{angle}°", angle=plain(d.in_step_deg, 1)), trim, say("±{left}°", left=_left(d.left_deg)),
    )  # fmt: skip


def leftovers(result: CutResult) -> Table:
    """Return what is left between lines over the band once the longer one was trimmed."""
    told = [d for d in result.differences if len(d.band) > 1 and result.cut is None]
    heads = [frequency(x.frequency_hz) for x in told[0].band] if told else []
    columns = (Column(""), *(Column(h, "right") for h in heads))
    return table(columns, (
        (say("{longer} against {shorter}", longer=d.longer, shorter=d.shorter),
         *(say("{angle}°", angle=plain(x.left_deg, 1)) for x in d.band)) for d in told
    ))  # fmt: skip


def sets(result: CutResult) -> Table:
    """Return the sets that go together, and what to trim from each line."""
    columns = (
        Column(say("set"), "right"), Column(say("line")), Column(say("trim off (95 %)"), "figure"),
        Column(say("apart now"), "right"), Column(say("then within"), "right"),
    )  # fmt: skip
    return table(columns, (row for i, s in enumerate(result.sets, start=1) for row in _set(i, s)))


def _set(number: int, s: MatchedSet) -> Iterator[tuple[str, ...]]:
    for i, t in enumerate(s.trims):
        trim = fine(t.trim_m, t.trim_m_low, t.trim_m_high) if t.trim_m > 0.0 else say("nothing")
        first = (
            plain(number, 0),
            say("{angle}°", angle=plain(s.spread_deg, 1)),
            say("±{left}°", left=_left(s.left_deg)),
        )
        lead, spread, left = first if i == 0 else ("", "", "")
        yield lead, t.piece, trim, spread, left


def left_over(result: CutResult) -> tuple[str, ...]:
    """Return the lines that no set has room for, in a sentence."""
    if not result.left_over:
        return ()
    return (say("Left over: {pieces}.", pieces=together(result.left_over, ", ")),)


def cut_facts(result: CutResult) -> Table:
    """Return where to cut the first line, figure by figure."""
    columns = (Column(""), Column(""))
    return table(columns, ((name, words) for _, name, words in named_cut(result)))


def named_cut(result: CutResult) -> Iterator[tuple[str, str, str]]:
    """Yield each figure of a cut: what it is called in its working, its name, its words."""
    c = result.cut
    if c is None:
        return
    goal = say("{angle}° at {frequency}", angle=_angle(c.target_deg), frequency=frequency(c.frequency_hz))
    if c.beyond is not None:
        beyond = say("{goal}, counted with {other}", goal=goal, other=c.beyond)
        yield "cut", say("to be"), beyond
    else:
        yield "cut", say("to be"), goal
    if c.way == "too short" or c.trim_m is None:
        yield "cut", say("missing"), fine(-(c.trim_m or 0.0))
        return
    yield "cut", say("trim off"), fine(c.trim_m, c.trim_m_low, c.trim_m_high)
    if c.length_m is not None:
        yield "cut", say("what stays, by tape"), fine(c.length_m, c.length_m_low, c.length_m_high)
    if c.first_m:
        yield "cut", say("cut off at first"), fine(c.first_m)
    elif c.way == "measure" and c.length_m_high is not None:
        yield "cut", say("leave at first"), fine(c.length_m_high)
    yield "cut", say("then right within"), say("±{left}°", left=_left(c.left_deg))
    yield "cut", say("right at"), _megahertz(c)
    if c.transformed is not None:
        yield from _transformed(c.transformed)


def _megahertz(c: CutTo) -> str:
    places = min(3, places_for(c.tuned_hz_low / 1e6, c.tuned_hz_high / 1e6) + 1)
    value, low, high = (plain(f / 1e6, places) for f in (c.tuned_hz, c.tuned_hz_low, c.tuned_hz_high))
    return say("{value} MHz ({low} to {high})", value=value, low=low, high=high)


def _transformed(t: Transformed) -> Iterator[tuple[str, str, str]]:
    name = say("{load} at its end becomes", load=t.load_ohm)
    if t.lines > 1:
        name = say("{count} of them, each with {load}, side by side", count=t.lines, load=t.load_ohm)
    yield "transformed", name, interval(t.resistance_ohm, t.resistance_ohm_low, t.resistance_ohm_high, "ohm")
    if max(abs(t.reactance_ohm_low), abs(t.reactance_ohm_high)) >= NO_REACTANCE_OHM:
        reach = interval(t.reactance_ohm, t.reactance_ohm_low, t.reactance_ohm_high, "ohm")
        yield "transformed", say("with a reactance of"), reach
    yield "transformed", say("SWR of that in 50 ohms"), interval(t.swr, t.swr_low, t.swr_high, "")


def stub(result: CutResult) -> Table:
    """Return what a stub takes from signals, at its frequency and its harmonics."""
    c = result.cut
    columns = (Column(say("signal"), "right"), Column(say("loss on a 50-ohm line (95 %)"), "figure"))
    rows = () if c is None else c.stub
    return table(columns, ((frequency(x.frequency_hz), interval(x.loss_db, x.loss_db_low, x.loss_db_high))
                           for x in rows))  # fmt: skip


def pieces(result: CutResult) -> Table:
    """Return the lines as they are, each at every frequency."""
    several = len(result.pieces[0].phases) > 1
    columns = (
        Column(say("line")), Column(say("electrical (95 %)"), "figure"),
        Column(say("velocity factor (95 %)"), "figure"), Column(say("ends add (95 %)"), "figure"),
        Column(say("by tape"), "right"),
    )  # fmt: skip
    heads = (columns[0], Column(say("at"), "right"), *columns[1:]) if several else columns
    return table(heads, (row for p in result.pieces for row in _piece(p, several=several)))


def _piece(p: CutPiece, *, several: bool) -> Iterator[Row]:
    factor = interval(p.velocity_factor, p.velocity_factor_low, p.velocity_factor_high, "")
    tape = metres(p.length_m) if p.length_m is not None else say("not known")
    ends = fine(p.ends_m, p.ends_m_low, p.ends_m_high)
    last = len(p.phases) - 1
    for i, x in enumerate(p.phases):
        angle = _with_interval(x.phase_deg, x.phase_deg_low, x.phase_deg_high)
        at = (frequency(x.frequency_hz),) if several else ()
        rest = (factor, ends, tape) if i == 0 else ("", "", "")
        why = say("{piece}: {why}.", piece=p.piece, why=p.why) if i == last and p.why else ""
        yield Row((p.piece if i == 0 else "", *at, angle, *rest), "" if p.basis != "its type" else "unknown", why)


# What stands on labels


def order_words(result: CutResult) -> dict[str, str]:
    """Return what to cut off each line, by its name, short enough for a label."""
    if result.cut is not None:
        c = result.cut
        if c.way == "too short" or c.trim_m is None:
            return {}
        if c.way == "measure" and c.length_m is not None:
            return {c.piece: say("cut to {length}", length=fine(c.length_m, c.length_m_low, c.length_m_high))}
        return {c.piece: _trim_words(c.trim_m, c.trim_m_low or 0.0, c.trim_m_high or 0.0)}
    if result.sets:
        leave = say("leave as it is")
        return {t.piece: _trim_words(t.trim_m, t.trim_m_low, t.trim_m_high) if t.trim_m > 0.0 else leave
                for s in result.sets for t in s.trims}  # fmt: skip
    return {d.longer: _trim_words(d.trim_m, d.trim_m_low, d.trim_m_high) for d in result.differences if d.told}


def _trim_words(trim_m: float, low_m: float, high_m: float) -> str:
    return say("trim {trim}", trim=fine(trim_m, low_m, high_m))


def purpose_words(result: CutResult, piece: str) -> str:
    """Return what a line is cut for, short enough for a label."""
    c = result.cut
    if c is not None:
        what = {"line": say("line"), "open stub": say("open stub"), "shorted stub": say("shorted stub")}[c.purpose]
        return say("{what}, {angle}° at {frequency}", what=what, angle=_angle(c.target_deg),
                   frequency=frequency(c.frequency_hz))  # fmt: skip
    at = result.pieces[0].phases[len(result.pieces[0].phases) // 2].frequency_hz
    against = tuple(d.shorter for d in result.differences)
    mates = next((s.pieces for s in result.sets if piece in s.pieces), against)
    names = together([n for n in dict.fromkeys(mates) if n != piece], ", ")
    return say("to match {pieces} at {frequency}", pieces=names, frequency=frequency(at))
