"""Practise on an invented bench: read it, say what is wrong with it, and learn how that compares."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from statistics import mean

from linewright.catalogue.cautions import cautions_of
from linewright.core.errors import InputError
from linewright.core.messages import say
from linewright.core.nouns.bench_result import BenchResult
from linewright.core.nouns.practice import (
    MOST_FAULTS,
    OF_A_PIECE,
    BestReading,
    Claim,
    FigureBeside,
    HiddenFault,
    Marked,
    Match,
    Odds,
    PracticeBench,
    PracticeOutcome,
    PracticeReading,
    PracticeShown,
    Said,
    Score,
    Sureness,
    Truth,
    read_code,
)
from linewright.core.quantities import frequency_hz
from linewright.link.practice_bench import bench_of, truth_of
from linewright.link.practice_odds import ENOUGH, odds_and_best
from linewright.verbs.practise_others import by_hand_claims, engine_claims

# A bench, and a reading of it


def invent_bench(level: int, seed: int) -> PracticeBench:
    """Return an invented bench with something hidden in it, the same for the same level and seed.

    Parameters
    ----------
    level : int
        1 a slip, 2 a bent meter, 3 a wet or badly connected cable, 4 another type or length, 5 any of them or nothing.
    seed : int
        Which bench of the level: a whole number from 0 to 1,048,575.

    Returns
    -------
    PracticeBench
        The bench with the readings that stood on its sheet. What is wrong is not in it.

    Raises
    ------
    InputError
        If there is no such level or seed.

    >>> bench = invent_bench(2, 13)
    >>> bench.code, [piece.tag for piece in bench.sheet.pieces], len(bench.sheet.readings)
    ('200 0DQ', ['blue 6', 'blue 16', 'yellow 22'], 5)
    """
    return bench_of(level, seed)


def take_reading(bench: PracticeBench, meter: str, frequency_hz: float, path: str) -> PracticeBench:
    """Return the bench with one more reading, noise, scale steps and bottom of the scale included.

    The same readings in the same order are the same for everybody.

    Parameters
    ----------
    bench : PracticeBench
        The bench as it stands.
    meter : str
        The name of one of its meters.
    frequency_hz : float
        A frequency the meter is used at, hertz.
    path : str
        "reference", "pad", or the tag of a piece.

    Returns
    -------
    PracticeBench
        The bench with the reading as the last of its sheet.

    Raises
    ------
    InputError
        If the bench has no such meter, band or path, or 40 readings.

    >>> bench = take_reading(invent_bench(2, 13), "pocket meter", 144.3e6, "pad")
    >>> bench.sheet.readings[-1].path
    ('pad',)
    """
    return bench_of(bench.level, bench.seed, (*bench.taken, PracticeReading(meter, frequency_hz, path)))


def show_bench(bench: PracticeBench, *, truth: bool = False) -> PracticeShown:
    """Return a bench as it is shown: with what to mind on a real one, and with the truth where that is asked for.

    Parameters
    ----------
    bench : PracticeBench
        The bench as it stands.
    truth : bool
        Whether to tell what is wrong.

    Returns
    -------
    PracticeShown
        The bench, its truth or None, and the cautions.

    Raises
    ------
    InputError
        If what is given is no bench to practise on.

    >>> [fault.kind for fault in show_bench(invent_bench(2, 13), truth=True).truth.faults]
    ['detector']
    """
    return PracticeShown(bench, truth_of(bench) if truth else None, cautions_of("practise"))


def read_again(level: int, seed: int, taken: Sequence[PracticeReading]) -> PracticeBench:
    """Return a bench after all readings that were chosen, in their order."""
    return bench_of(level, seed, taken)


# What an answer earns

RIGHT: Mapping[Sureness, int] = {"sure": 10, "likely": 6}
RIGHT_PIECE: Mapping[Sureness, int] = {"sure": 3, "likely": 2}
WRONG: Mapping[Sureness, int] = {"sure": -20, "likely": -4}
OPEN = 3
"""For "cannot tell" where the readings did not hold enough."""
MISSED = -4
"""For each fault that none of the claims speaks of."""
ASKED = -2
"""For having asked the engine first."""
# "Sure" pays where one is right in more than 0.8 of such cases: 10 p - 20 (1 - p) > 6 p - 4 (1 - p).


def marked(claims: Sequence[Claim], faults: Sequence[HiddenFault], *, knowable: bool, asked: bool = False) -> Score:
    """Return the points of some claims. A fault is met by one claim; the right kind goes before the right piece."""
    met: set[int] = set()
    matches: dict[int, Match] = {}
    ways: tuple[tuple[Match, Callable[[Claim, HiddenFault], bool]], ...]
    ways = (("right", _is_right), ("right piece", _is_right_piece))
    for match, fits in ways:
        for i, claim in enumerate(claims):
            hit = next((k for k, f in enumerate(faults) if k not in met and i not in matches and fits(claim, f)), None)
            if hit is not None:
                met.add(hit)
                matches[i] = match
    told = tuple(_marked(claim, matches.get(i), faults, knowable) for i, claim in enumerate(claims))
    silent = any(claim.kind in ("cannot tell", "nothing") for claim in claims)
    missed = () if silent else tuple(f for k, f in enumerate(faults) if k not in met)
    cost = ASKED if asked else 0
    gone = MISSED * len(missed)
    return Score(told, missed, gone, cost, sum(m.points for m in told) + gone + cost)


def _is_right(claim: Claim, fault: HiddenFault) -> bool:
    return claim.kind == fault.kind and claim.of in fault.of


def _is_right_piece(claim: Claim, fault: HiddenFault) -> bool:
    return claim.kind in OF_A_PIECE and fault.kind in OF_A_PIECE and claim.of in fault.of


def _marked(claim: Claim, match: Match | None, faults: Sequence[HiddenFault], knowable: bool) -> Marked:
    if claim.kind == "cannot tell":
        return Marked(claim, "could be told", 0) if knowable else Marked(claim, "open", OPEN)
    if match == "right" or (claim.kind == "nothing" and not faults):
        return Marked(claim, "right", RIGHT[claim.sureness])
    if match == "right piece":
        return Marked(claim, match, RIGHT_PIECE[claim.sureness])
    return Marked(claim, "wrong", WRONG[claim.sureness])


def checked_claims(bench: PracticeBench, claims: Sequence[Claim]) -> tuple[Claim, ...]:
    """Return claims that can be made of a bench.

    Raises
    ------
    InputError
        If there are none or too many, they contradict each other, or name what the bench does not have.
    """
    some = tuple(dict.fromkeys(claims))
    if not 1 <= len(some) <= MOST_FAULTS:
        raise InputError(
            "answer", say("must be one claim, or {most_faults}; got {value}", most_faults=MOST_FAULTS, value=len(some))
        )
    if len(some) > 1 and any(c.kind in ("nothing", "cannot tell") for c in some):
        raise InputError(
            "answer", say("must not say that something is wrong and that nothing is, or that one cannot tell")
        )
    for claim in some:
        there = subjects(bench, claim)
        if claim.of not in there:
            rule = (
                say("must be {there}; got {value}", there=" or ".join(there), value=repr(claim.of))
                if any(there)
                else say("takes no name; got {value}", value=repr(claim.of))
            )
            raise InputError(claim.kind, rule)
    return some


def subjects(bench: PracticeBench, claim: Claim) -> tuple[str, ...]:
    """Return of what a claim of its kind may be: readings by number, meters, pieces, or nothing."""
    if claim.kind in ("nothing", "cannot tell"):
        return ("",)
    if claim.kind == "misread":
        return tuple(str(r.row) for r in bench.sheet.readings[: bench.given])
    if claim.kind == "detector":
        return tuple(m.name for m in bench.sheet.meters)
    return tuple(p.tag for p in bench.sheet.pieces)


def mark_answer(bench: PracticeBench, claims: Sequence[Claim], *, asked: bool = False) -> PracticeOutcome:
    """Say what was wrong with a bench, and mark what somebody said of it beside by-hand figures and the engine.

    A sure claim earns 10 points if it is right and costs 20 if it is wrong, a likely one 6 and 4; the right piece for
    the wrong reason earns 3 or 2. "Cannot tell" earns 3 where the readings hold no answer with odds of 0.8, else
    nothing. Each fault that no claim speaks of costs 4, having asked the engine first 2.

    Parameters
    ----------
    bench : PracticeBench
        The bench with the readings taken.
    claims : sequence of Claim
        One claim, or two where two things are thought to be wrong.
    asked : bool
        Whether the engine was asked before.

    Returns
    -------
    PracticeOutcome
        The truth, the points, those of by-hand figures and of the engine, what the readings hold, what to read next.

    Raises
    ------
    InputError
        If the claims contradict each other, or name what the bench does not have.

    References
    ----------
    How benches are made and what their readings hold: ``docs/how-to/practise.md``.

    >>> bench = invent_bench(2, 13)
    >>> outcome = mark_answer(bench, [Claim("detector", "pocket meter")])
    >>> outcome.score.points, outcome.truth.faults[0].of
    (10, ('pocket meter',))
    """
    some = checked_claims(bench, claims)
    truth = truth_of(bench)
    judged, odds, best = _judged(bench.level, bench.seed, bench.taken)
    knowable = odds[0].p >= ENOUGH
    figures = tuple(_figures(truth, judged))
    return PracticeOutcome(
        bench=bench,
        truth=truth,
        score=marked(some, truth.faults, knowable=knowable, asked=asked),
        by_hand=marked(by_hand_claims(bench, judged), truth.faults, knowable=knowable),
        engine=marked(engine_claims(bench, judged), truth.faults, knowable=knowable),
        most=max(RIGHT["sure"], RIGHT["sure"] * len(truth.faults)),
        odds=tuple(o for o in odds if o.p >= 0.01)[:5],
        knowable=knowable,
        best=best,
        figures=figures,
        by_hand_error_db=_error([(mean(db for _, db in f.by_hand), f.true_db) for f in figures if f.by_hand]),
        engine_error_db=_error([(f.loss_db, f.true_db) for f in figures if f.loss_db is not None and f.by_hand]),
        cautions=cautions_of("practise"),
    )


def _error(pairs: Sequence[tuple[float, float]]) -> float | None:
    return mean(abs(a - b) for a, b in pairs) if pairs else None


@lru_cache(maxsize=64)
def _judged(
    level: int, seed: int, taken: tuple[PracticeReading, ...]
) -> tuple[BenchResult, tuple[Odds, ...], BestReading | None]:
    """Return what the engine says of a bench, and what its readings hold; a club asks this once for everybody."""
    from linewright.verbs.prove import prove_cable

    bench = bench_of(level, seed, taken)
    return prove_cable(bench.sheet, explained=False), *odds_and_best(bench)


def ask_engine(bench: PracticeBench) -> BenchResult:
    """Return what the engine says of the readings taken so far."""
    return _judged(bench.level, bench.seed, bench.taken)[0]


def _figures(truth: Truth, judged: BenchResult) -> Iterator[FigureBeside]:
    found = {(loss.piece, loss.frequency_hz): loss for loss in judged.losses}
    for t in truth.losses:
        seen = found.get((t.piece, t.frequency_hz))
        hands = tuple((h.meter, h.loss_db) for h in seen.by_hand) if seen else ()
        said = (seen.loss_db, seen.loss_db_low, seen.loss_db_high) if seen else (None, None, None)
        yield FigureBeside(t.piece, t.frequency_hz, t.loss_db, t.catalogue_db, hands, *said)


# As people write it

WORDS: Mapping[str, Said] = {
    "misread": "misread", "bent": "detector", "wet": "water", "joint": "resistive joint", "type": "other type",
    "length": "other length",
}  # fmt: skip


def written_bench(level: int | None, seed: int | None, code: str | None, *, otherwise: int = 0) -> PracticeBench:
    """Return the bench of a code, or of a level and a seed; ``otherwise`` is the seed where none is given."""
    if code is None:
        return invent_bench(level or 1, otherwise if seed is None else seed)
    if level is not None or seed is not None:
        raise InputError("code", say("names level and seed already"), cure=say("Leave those out."))
    return invent_bench(*read_code(code))


def written_reading(bench: PracticeBench, words: str) -> PracticeBench:
    """Return the bench after one more reading, named by numbers or by names with commas."""
    parts = [part.strip() for part in words.split(",")] if "," in words else words.split()
    if len(parts) != 3:
        cure = say('Write "card meter, 144.3 MHz, pad", or the numbers: "3 1 5".')
        raise InputError(
            "reading", say("must name a meter, a band and a path; got {value}", value=repr(words)), cure=cure
        )
    meter = _chosen("meter", parts[0], list(bench.bands))
    bands = bench.bands[meter]
    hertz = bands[_number("band", parts[1], len(bands))] if parts[1].isdecimal() else frequency_hz(parts[1], "band")
    path = _chosen("path", parts[2], list(bench.paths))
    return take_reading(bench, meter, hertz, path)


def _chosen(what: str, said: str, names: Sequence[str]) -> str:
    if said.isdecimal():
        return names[_number(what, said, len(names))]
    found = [name for name in names if name.casefold() == said.casefold()]
    if not found:
        raise InputError(what, say("must be one of {known}; got {value}", known=", ".join(names), value=repr(said)))
    return found[0]


def _number(what: str, said: str, most: int) -> int:
    if not 1 <= int(said[:9]) <= most:
        raise InputError(what, say("must be a number from 1 to {most}; got {value}", most=most, value=said))
    return int(said) - 1


def written_claims(words: str) -> list[Claim]:
    """Return what somebody claims: "likely wet blue 7; misread 4"."""
    return [_claim(" ".join(part.split())) for part in words.split(";") if part.strip()]


def _claim(words: str) -> Claim:
    first, _, rest = words.partition(" ")
    sureness: Sureness = "sure"
    if first.casefold() in ("sure", "likely"):
        sureness = "likely" if first.casefold() == "likely" else "sure"
        words = rest
        first, _, rest = words.partition(" ")
    if words.casefold() in ("nothing", "cannot tell"):
        return Claim("nothing" if words.casefold() == "nothing" else "cannot tell", "", sureness)
    if first.casefold() not in WORDS or not rest:
        cure = say('Write "wet blue 7", "likely bent card meter", "misread 4", "nothing" or "cannot tell".')
        raise InputError(
            "guess",
            say(
                "must begin with {words}, nothing or cannot tell; got {value}",
                words=", ".join(WORDS),
                value=repr(words),
            ),
            cure=cure,
        )
    return Claim(WORDS[first.casefold()], rest, sureness)
