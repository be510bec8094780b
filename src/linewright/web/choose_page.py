"""The page that chooses a line for a run: the answer of the verb, and the addresses that lead on from it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from linewright.choice.workings import longest_start, losses_worked, prices_worked, remedy_start
from linewright.model.choose import Choice, Option, Stretch
from linewright.model.result import Working
from linewright.model.station import LinePart, Run
from linewright.report import choose_words as words
from linewright.units.writing import frequency, interval, metres, plain
from linewright.web.choosing import Limit
from linewright.web.explain import Opens, opens
from linewright.web.run_state import RunState, address, sorted_values

HERE = "/runs/choose"
SHOWN = 8
"""Of the choices that others beat, so many are explained."""


@dataclass(frozen=True, slots=True)
class Row:
    """One choice: what it costs and loses, the address that opens it, and the one that tries it in the run."""

    number: str
    name: str
    tail: str
    price: str
    per_db: str
    loss: str
    loss_90: str
    heard: str
    meets: str
    kept: bool
    mark: str
    look: str
    go: str


@dataclass(frozen=True, slots=True)
class LookedAt:
    """One choice opened: band by band, against each limit, and how its figures were worked out."""

    name: str
    bands: tuple[tuple[str, Opens, str, str, str], ...]
    checks: tuple[tuple[str, bool | None], ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """What the verb answers, as the page shows it."""

    verdict: str
    title: str
    money: str
    binding: tuple[str, ...]
    rows: tuple[Row, ...]
    unpriced: tuple[Row, ...]
    looked: LookedAt | None
    longest: tuple[tuple[str, str, str, Opens, str], ...]
    remedies: tuple[Opens, ...]
    measure: tuple[str, ...]
    barred: tuple[str, ...]
    beaten: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    workings: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class ChoosePage:
    """The form as it stands and the answer to it; None where something asked cannot be read."""

    key: str
    run: str
    back: tuple[str, str]
    run_page: str
    limits: tuple[Limit, ...]
    more: tuple[Limit, ...]
    held: dict[str, str]
    stepped: str
    prices: str
    at: str
    close: str
    asked: str
    state: str
    problems: tuple[str, ...]
    found: Answer | None


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address of the page holds: the station's key, the run, and every field by its name."""

    station: str
    run: str
    fields: tuple[tuple[str, str], ...] = ()
    at: str = ""

    def address(self, at: str = "") -> str:
        """Return the address of this page, one choice opened."""
        pairs = [("station", self.station), ("run", self.run), *self.fields, *([("at", at)] if at else [])]
        return f"{HERE}?{urlencode(pairs)}"


def answer(asked: Asked, choice: Choice, run: Run, span: tuple[int, int]) -> Answer:
    """Return an answer as the page shows it; ``span`` is which parts of the run the new line replaces."""
    shown = _numbered(choice)
    per_db = {step.to_name: plain(step.price_per_db, 0) for step in choice.steps}
    rows = {n: _row(n, o, choice, per_db, asked, _tried(asked, o, run, span)) for n, o in shown.items()}
    looked = _looked(shown[asked.at], choice) if asked.at in shown else None
    return Answer(
        words.verdict(choice), words.title(choice), choice.currency, choice.binding,
        tuple(row for n, row in rows.items() if not n.startswith("u")),
        tuple(row for n, row in rows.items() if n.startswith("u")), looked,
        tuple(_longest(choice)),
        tuple(_remedies(choice)), tuple(m.why for m in choice.measure),
        tuple(f"{b.name}: {b.why}." for b in choice.barred), tuple(words.beaten(b) for b in choice.beaten[:SHOWN]),
        choice.cautions, choice.remarks, choice.workings,
    )  # fmt: skip


def _numbered(choice: Choice) -> dict[str, Option]:
    """Return the choices by the number that opens each: 0 as it is, as in the drawing, u1 without a price."""
    now = {"0": choice.as_it_is} if choice.as_it_is.stretches else {}
    sold = {str(i): o for i, o in enumerate(choice.trade_off, 1)}
    return now | sold | {f"u{i}": o for i, o in enumerate(choice.unpriced, 1)}


def _row(n: str, o: Option, choice: Choice, per_db: Mapping[str, str], asked: Asked, go: str) -> Row:
    line, tail = words.sections(o)
    best = {one.name: mark for one, mark in ((choice.cautious, "cautious"), (choice.cheapest, "cheapest")) if one}
    heard = "" if o.reception_loss_db is None else f"{plain(o.reception_loss_db, 2)} dB"
    return Row(
        n if n.isdigit() and n != "0" else "", line, tail, "?" if o.price is None else plain(o.price, 2),
        per_db.get(o.name, ""), f"{plain(o.loss_db, 2)} dB", f"{plain(o.loss_db_90, 2)} dB", heard,
        words.likely(o.p_meets), o.meets, best.get(o.name, "") if n != "0" else "",
        asked.address("" if asked.at == n else n), go if n != "0" else "",
    )  # fmt: skip


def _looked(o: Option, choice: Choice) -> LookedAt:
    worked = tuple(losses_worked(o))
    bands = tuple(
        (
            frequency(b.frequency_hz), Opens(interval(b.loss_db, b.loss_db_low, b.loss_db_high), (how,)),
            f"{b.limit_db:g} dB", words.likely(b.p_meets),
            f"{plain(b.power_at_antenna_w, 1)} W of {choice.power_w:g} W",
        )
        for b, how in zip(o.bands, worked, strict=True)
    )  # fmt: skip
    workings = (*prices_worked(o, choice.currency), *worked)
    return LookedAt(o.name, bands, tuple((words.check(c), c.ok) for c in o.checks), workings)


def _longest(choice: Choice) -> Iterator[tuple[str, str, str, Opens, str]]:
    for r in choice.longest:
        reach = f"({plain(r.length_m_low, 1)} to {plain(r.length_m_high, 1)})"
        length = opens(metres(round(r.length_m, 1)), choice.workings, longest_start(r))
        yield r.line, frequency(r.frequency_hz), f"{r.limit_db:g} dB", length, reach


def _remedies(choice: Choice) -> Iterator[Opens]:
    for r in choice.remedies:
        yield opens(words.remedy(r, choice.currency), choice.workings, remedy_start(r))


def _tried(asked: Asked, option: Option, run: Run, span: tuple[int, int]) -> str:
    """Return the address of the run's page with a choice laid in it."""
    first, end = span
    places = [i for i in range(first, end) if isinstance(run.chain[i], LinePart)]
    values: dict[str, str] = {}
    added: list[str] = []
    for k, stretch in enumerate(option.stretches):
        if k < len(places):
            values |= _laid(stretch, run.chain[places[k]], places[k] + 1)
        else:
            added.append(f"add part {end + 1 + len(added)} = {_entry(stretch)}")
    values |= {f"out{i + 1}": "on" for i in range(first, end) if i not in places[: len(option.stretches)]}
    values |= {"with": "; ".join(added)} if added else {}
    return address(RunState(asked.station, asked.run, sorted_values(values)))


def _laid(stretch: Stretch, part: object, number: int) -> dict[str, str]:
    """Return the fields that put a section in the place of a line; a piece lies whole."""
    assert isinstance(part, LinePart)
    out = {f"type{number}": stretch.name}
    if not stretch.on_hand and abs(stretch.length_m - part.piece.length_m) > 1e-9:
        out[f"length{number}"] = f"{stretch.length_m:.6g}"
    return out


def _entry(stretch: Stretch) -> str:
    if stretch.on_hand:
        return f"piece {stretch.name}"
    return f"line {stretch.name}, length {stretch.length_m:.6g} m"
