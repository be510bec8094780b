"""An invented bench to practise on: what one may see of it, what one says of it, and what was true."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, Literal

from linewright.core.errors import InputError
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say
from linewright.core.nouns.bench import BenchSheet, Reading

# Which bench: a level, a number to begin from, and a code to tell a friend

LEVELS: Mapping[int, str] = {
    1: mark("a slip: one reading on the sheet was misread"),
    2: mark("a bent meter: one of them stretches its decibels"),
    3: mark("a wet cable, or one that is badly connected"),
    4: mark("a piece of another type, or of another length, than is written on it"),
    5: mark("any of the four before, two of them, or nothing wrong at all"),
}
SEEDS = 2**20
"""Benches of a level."""
SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Digits of a code: Crockford's base 32, which has no letter that is taken for a figure."""
ALIKE = str.maketrans("ILO", "110")


def code_of(level: int, seed: int) -> str:
    """Return the code of a bench: its level, its seed in four signs, and a sign that gives a mistyped one away.

    >>> code_of(2, 7), read_code("2oo 07k")
    ('200 07K', (2, 7))
    """
    digits = "".join(SIGNS[seed >> 5 * place & 31] for place in (3, 2, 1, 0))
    whole = f"{level}{digits}"
    return f"{whole[:3]} {whole[3:]}{_check(whole)}"


def _check(whole: str) -> str:
    """Return the sign behind the others: by its weights it gives away a wrong sign, and two that changed places.

    All but 0 for Z and Z for 0, which are one modulo 31.
    """
    return SIGNS[sum(w * SIGNS.index(sign) for w, sign in zip((2, 3, 5, 7, 11), whole, strict=True)) % 31]


def read_code(code: str) -> tuple[int, int]:
    """Return level and seed of a code; case and spaces do not matter.

    Raises
    ------
    InputError
        If it is no code of a bench.
    """
    plain = "".join(code.upper().translate(ALIKE).replace("-", " ").split())
    if (
        len(plain) != 6
        or not set(plain) <= set(SIGNS)
        or int(plain[0], 32) not in LEVELS
        or plain[5] != _check(plain[:5])
    ):
        cure = say('Ask for it again, sign by sign: it looks like "{value}".', value=code_of(2, 7))
        raise InputError("code", say("must be the code of a bench; got {value}", value=repr(code)), cure=cure)
    seed = 0
    for sign in plain[1:5]:
        seed = 32 * seed + SIGNS.index(sign)
    return int(plain[0]), seed


# What may be wrong, and what is said of it

FaultKind = Literal["misread", "detector", "water", "resistive joint", "other type", "other length"]
Said = Literal[
    "misread", "detector", "water", "resistive joint", "other type", "other length", "nothing", "cannot tell"
]
Sureness = Literal["sure", "likely"]
OF_A_PIECE: tuple[FaultKind, ...] = ("water", "resistive joint", "other type", "other length")
MOST_FAULTS = 2
"""So many things may be wrong with one bench, and so many may be said of it."""


@dataclass(frozen=True, slots=True)
class HiddenFault:
    """What is wrong: its kind, and of what, any of these: the number of a reading, a meter, the pieces of a drum.

    ``size`` is the misreading in dB, the detector's exponent, the share of the loss at 144 MHz that water adds, the
    resistance of a joint in ohms, or the true length over the stated one; for another type, ``line``, it is 1.
    """

    kind: FaultKind
    of: tuple[str, ...]
    size: float
    line: str | None = None


@dataclass(frozen=True, slots=True)
class Claim:
    """What somebody says of a bench: the kind, of what ("" for nothing wrong and for "cannot tell"), and how sure."""

    kind: Said
    of: str = ""
    sureness: Sureness = "sure"


# What one sees

PAD = "pad"
"""The tag of the attenuator that lies on every bench."""


@dataclass(frozen=True, slots=True)
class PracticeReading:
    """Which reading is taken next: meter, frequency in hertz, and path: "reference", "pad" or the tag of a piece."""

    meter: str
    frequency_hz: float
    path: str


@dataclass(frozen=True, slots=True)
class PracticeBench:
    """An invented bench as a person sees it. What is wrong with it is not in here.

    Attributes
    ----------
    sheet : BenchSheet
        Meters, pieces, the attenuator, and the readings so far.
    given : int
        Readings that stood on the sheet when it was handed over.
    bands : mapping of str to tuple of float
        The frequencies each meter is used at, hertz.
    taken : tuple of PracticeReading
        Which readings were chosen, in their order.
    """

    level: int
    seed: int
    sheet: BenchSheet
    given: int
    bands: Mapping[str, tuple[float, ...]]
    taken: tuple[PracticeReading, ...] = ()

    @property
    def code(self) -> str:
        """What to tell a friend who wants the same bench."""
        return code_of(self.level, self.seed)

    @property
    def paths(self) -> tuple[str, ...]:
        """What may be put between transmitter and meter."""
        return ("reference", *(p.tag for p in self.sheet.pieces), PAD)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/practice/1``, the truth left out."""
        return practice_document(self, None, None, ())


# What was true


@dataclass(frozen=True, slots=True)
class TrueLoss:
    """What a piece loses in truth, and what its type should lose, connectors included."""

    piece: str
    frequency_hz: float
    loss_db: float
    catalogue_db: float


@dataclass(frozen=True, slots=True)
class TrueMeter:
    """The exponent of a detector, 1 for one that shows true ratios."""

    meter: str
    exponent: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What was wrong with a bench, and what everything on it loses."""

    faults: tuple[HiddenFault, ...]
    losses: tuple[TrueLoss, ...]
    meters: tuple[TrueMeter, ...]


# What it earned

Match = Literal["right", "right piece", "wrong", "open", "could be told"]
"""How a claim stands to the truth; the last two are of "cannot tell"."""


@dataclass(frozen=True, slots=True)
class Marked:
    """A claim, how it stands to the truth, and its points."""

    claim: Claim
    match: Match
    points: int


@dataclass(frozen=True, slots=True)
class Score:
    """What somebody said of a bench, marked.

    ``missed`` are the faults no claim spoke of, ``missed_points`` what they cost; ``asked_cost`` is that of asking.
    """

    claims: tuple[Marked, ...]
    missed: tuple[HiddenFault, ...]
    missed_points: int
    asked_cost: int
    points: int


@dataclass(frozen=True, slots=True)
class Odds:
    """How likely an answer is by the readings alone, for one who knows how such benches are made."""

    faults: tuple[tuple[FaultKind, str], ...]
    p: float


@dataclass(frozen=True, slots=True)
class BestReading:
    """The reading that would have told most: ``gain_nats`` is by how much the odds would have become clearer."""

    meter: str
    frequency_hz: float
    path: str
    gain_nats: float


SCALE_HIDES_DB = 0.2
"""By hand nothing smaller is made anything of."""


@dataclass(frozen=True, slots=True)
class HandFigure:
    """A figure by hand: decibels between the mean reference and a reading, and what they should be."""

    row: int
    meter: str
    frequency_hz: float
    path: str
    loss_db: float
    should_db: float

    @property
    def ratio(self) -> float:
        """How many times what it should; what a scale hides counts as right."""
        return 1.0 if abs(self.loss_db - self.should_db) < SCALE_HIDES_DB else self.loss_db / self.should_db


@dataclass(frozen=True, slots=True)
class FigureBeside:
    """The loss of a piece at a frequency: the truth, by hand meter by meter, and the engine's with its interval."""

    piece: str
    frequency_hz: float
    true_db: float
    catalogue_db: float
    by_hand: tuple[tuple[str, float], ...]
    loss_db: float | None
    loss_db_low: float | None
    loss_db_high: float | None


@dataclass(frozen=True, slots=True)
class PracticeOutcome:
    """The end: the truth, what it earned to say so, and how others did with the same readings.

    Attributes
    ----------
    most : int
        What a right and sure answer earns on this bench.
    odds : tuple of Odds
        What the readings hold, the likeliest answer first.
    knowable : bool
        Whether they hold enough: one answer has ``ENOUGH`` of the odds.
    best : BestReading or None
        What should have been read next; None where nothing is left to learn.
    by_hand_error_db, engine_error_db : float or None
        Mean distance of the figures from the truth, decibels.
    """

    bench: PracticeBench
    truth: Truth
    score: Score
    by_hand: Score
    engine: Score
    most: int
    odds: tuple[Odds, ...]
    knowable: bool
    best: BestReading | None
    figures: tuple[FigureBeside, ...]
    by_hand_error_db: float | None
    engine_error_db: float | None
    cautions: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/practice/1``, with truth and outcome."""
        told = {
            "most": self.most,
            "score": asdict(self.score),
            "by_hand": asdict(self.by_hand) | {"error_db": self.by_hand_error_db},
            "engine": asdict(self.engine) | {"error_db": self.engine_error_db},
            "knowable": self.knowable,
            "odds": [{"faults": [{"kind": k, "of": of} for k, of in o.faults], "p": o.p} for o in self.odds],
            "best": None if self.best is None else asdict(self.best),
            "losses": [
                asdict(f) | {"by_hand": [{"meter": m, "loss_db": db} for m, db in f.by_hand]} for f in self.figures
            ],
        }
        return practice_document(self.bench, self.truth, told, self.cautions)


@dataclass(frozen=True, slots=True)
class PracticeShown:
    """A bench as it stands, with its truth where that is asked for, and what to mind."""

    bench: PracticeBench
    truth: Truth | None
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/practice/1``."""
        return practice_document(self.bench, self.truth, None, self.cautions)


def practice_document(
    bench: PracticeBench, truth: Truth | None, outcome: dict[str, Any] | None, cautions: tuple[str, ...]
) -> dict[str, Any]:
    """Return a bench as plain data, with the truth and what was made of it where the end is reached."""
    sheet = bench.sheet
    return {
        "schema": "linewright/practice/1",
        "code": bench.code,
        "level": bench.level,
        "seed": bench.seed,
        "title": sheet.title,
        "power_w": sheet.source.power_w,
        "meters": [
            {"meter": m.name, "scale": m.scale, "division": m.division, "frequencies_hz": list(bench.bands[m.name])}
            for m in sheet.meters
        ],
        "pieces": [
            {"piece": p.tag, "line": p.line.designator if p.line else None, "length_m": p.length_m, "stock": p.stock}
            for p in sheet.pieces
        ],
        "attenuator": {"tag": PAD, "loss_db": sheet.attenuators[0].loss_db},
        "given": bench.given,
        "readings": [_reading(r) for r in sheet.readings],
        "truth": None if truth is None else asdict(truth),
        "outcome": outcome,
        "cautions": list(cautions),
    }


def _reading(r: Reading) -> dict[str, Any]:
    return {
        "row": r.row, "meter": r.meter, "frequency_hz": r.frequency_hz, "path": r.path_name, "reading": r.reading,
        "low": r.low, "high": r.high,
    }  # fmt: skip
