"""Who gets which piece: the sharing-out of a shelf among several runs, and how sure of it one may be."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from linewright.catalogue.belief import catalogue_belief
from linewright.choice.sharing import Sharing, SharingSolution, solve
from linewright.core.arrays import Floats
from linewright.core.errors import InputError
from linewright.core.formatting import digits, frequency, metres, plain, quantity
from linewright.core.frozen import dataclass
from linewright.core.messages import say, together
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.choice import Bought, Fed, FedLoss, Need, Offer, Shared, Worth
from linewright.inference.priors import DEFAULT

# What lies near a sharing-out: swaps that would cost little more, and pieces whose measuring might change it

WORTH_DB = 0.01
MOST = 3
NEAR_DB = 3.0
"""Neighbours further off than this weigh nothing in what a measurement is worth."""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A sharing-out one move away: pieces (by index) that change places, None for a place on the shelf.

    ``out`` leaves run ``here`` and goes to ``there`` (None: the shelf); ``into`` comes the other way.
    """

    out: int
    into: int
    here: int
    there: int | None
    more_db: float

    @property
    def runs(self) -> tuple[int, ...]:
        """The runs it touches."""
        return (self.here,) if self.there is None else (self.here, self.there)

    def words(self, tags: Sequence[str], runs: Sequence[str]) -> str:
        """Say what the move is."""
        if self.there is None:
            return say("{one} instead of {other} on {run}",
                       one=tags[self.into], other=tags[self.out], run=runs[self.here])  # fmt: skip
        return say("{one} on {run} and {other} on {further}",
                   one=tags[self.into], run=runs[self.here], other=tags[self.out],
                   further=runs[self.there])  # fmt: skip


def neighbours_of(sharing: Sharing, found: SharingSolution) -> list[Neighbour]:
    """Return every exchange of one piece for another, among runs or with the shelf, that still bridges all routes."""
    return sorted(_exchanges(sharing, found), key=lambda n: n.more_db)


def _exchanges(sharing: Sharing, found: SharingSolution) -> Iterator[Neighbour]:
    where = np.where(found.takes.any(axis=1), found.takes.argmax(axis=1), -1)
    laid = found.takes.T @ sharing.length_m + found.bought_m.sum(axis=0)
    used, db, length = np.flatnonzero(where >= 0), sharing.piece_db, sharing.length_m
    for out in used:
        here = int(where[out])
        for into in range(len(where)):
            there = int(where[into])
            if into == out or there == here or (there >= 0 and into < out):
                continue
            more = db[into, here] - db[out, here]
            fits = _bridges(sharing, laid, here, length[into] - length[out])
            if there >= 0:
                more += db[out, there] - db[into, there]
                fits = fits and _bridges(sharing, laid, there, length[out] - length[into])
            if fits and np.isfinite(more):
                yield Neighbour(int(out), into, here, there if there >= 0 else None, float(more))


def _bridges(sharing: Sharing, laid: Floats, run: int, change_m: float) -> bool:
    return bool(laid[run] + change_m >= sharing.route_m[run] - 1e-9)


def worth_of(near: Sequence[Neighbour], draws: Floats, tags: Sequence[str]) -> tuple[Worth, ...]:
    """Return the pieces whose exact knowledge would gain most, over the plan and its neighbours.

    Expected value of perfect information on one piece: the mean, over its draws, of the least expected loss among the
    plans once it is known (what other pieces then are expected to lose follows by regression), against the least now.
    """
    close = [n for n in near if n.more_db < NEAR_DB]
    if not close:
        return ()
    values = []
    for i in range(len(tags)):
        known = _given(draws, i)
        more = np.array([_move(n, known) for n in close])
        gained = np.minimum(more.min(axis=0), 0.0)
        values.append((-float(gained.mean()), float(np.mean(gained < 0.0)), int(more.mean(axis=1).argmin()), i))
    best = sorted(values, reverse=True)[:MOST]
    return tuple(
        Worth(
            tags[i], gain, change,
            say(
                "An exact measurement of {piece} would change the plan with probability {p} and gain {gain} "
                "weighted dB on average.", piece=tags[i], p=plain(change, 2), gain=plain(gain, 2)),
        )
        for gain, change, _, i in best
        if gain > WORTH_DB
    )  # fmt: skip


def _move(n: Neighbour, known: Floats) -> Floats:
    """Return what a move would cost more, (draws), from (p, r, draws)."""
    more: Floats = known[n.into, n.here] - known[n.out, n.here]
    if n.there is not None:
        more = more + known[n.out, n.there] - known[n.into, n.there]
    return more


def _given(draws: Floats, i: int) -> Floats:
    """Return what every piece is expected to lose in every run once piece ``i`` is known, per draw of it."""
    mean = draws.mean(axis=2, keepdims=True)
    own = draws[i].sum(axis=0)
    own = own - own.mean()
    spread = float(own @ own)
    slope = (draws - mean) @ own / spread if spread > 0 else np.zeros(draws.shape[:2])
    out: Floats = mean + slope[:, :, None] * own
    return out


# Who gets which piece: the sharing-out of a shelf among several runs, and how sure of it one may be

Progress = Callable[[float, str], None]

NEW_DRAWS = 1000
"""How often a bought section is drawn where no piece lies beside it."""
ALIKE_OHM = 5.0
"""Lines whose impedances differ by less may stand in for each other."""


@dataclass(frozen=True, slots=True)
class SharingQuestion:
    """What is to be shared out among whom, and what may be bought."""

    needs: Sequence[Need]
    beliefs: Mapping[str, Belief]
    offers: Sequence[Offer] = ()
    budget: float = 0.0
    most: int = 3


def joint_db(frequency_hz: float | Floats) -> Floats:
    """Return what one more mated joint usually loses, dB: as a connector of the bench engine does."""
    return np.asarray(DEFAULT.connector_db_per_sqrt_mhz * np.sqrt(np.asarray(frequency_hz) / 1e6))


def share_pieces(question: SharingQuestion, *, seconds: float = 9.0, progress: Progress | None = None) -> Shared:
    """Share out the pieces among the runs so that the weighted loss is least.

    The loss of a run is the mean over its frequencies, times its weight. A piece goes to one run at most and is not
    cut; a bought section is cut to measure. ``seconds`` bounds the two searches, by expected loss and by 90th
    percentile, together.

    Raises
    ------
    InputError
        If nothing is to be fed, or a route is not above zero.
    """
    needs, tags = _checked(question), list(question.beliefs)
    tell = progress or (lambda share, what: None)
    tell(0.05, say("weighing pieces"))
    draws = _weighted_draws(question)
    tell(0.10, say("sharing out by expected loss"))
    plain = _sharing(question, draws.mean(axis=2))
    best = solve(plain, 0.6 * seconds)
    tell(0.50, say("sharing out by 90th percentile"))
    wary = solve(_sharing(question, np.quantile(draws, 0.9, axis=2)), 0.3 * seconds)
    tell(0.90, say("comparing with what lies near"))
    near = neighbours_of(plain, best)
    fed = tuple(_fed(question, best, j, near, tags) for j in range(len(needs)))
    taken = {tag for run in fed for tag in run.pieces}
    spent = [run.bought.price for run in fed if run.bought]
    return Shared(
        fed=fed,
        left_over=tuple(t for t in tags if t not in taken),
        weighted_loss_db=_weighted(question, fed),
        gap_db=max(0.0, best.objective_db - best.bound_db),
        price=round(sum(spent), 2),
        currency=question.offers[0].currency if question.offers else "",
        cautious=_where_it_differs(question, best, wary, tags),
        worth=worth_of(near, draws, tags),
        remarks=_remarks(question, fed),
        workings=(*_workings(best), *_losses_worked(question, fed)),
    )


def _checked(question: SharingQuestion) -> Sequence[Need]:
    if not question.needs:
        raise InputError(
            "runs", say("must name at least one run to feed"), cure=say("Give a run its route and its bands.")
        )
    for need in question.needs:
        if not need.route_m > 0:
            raise InputError(
                "route",
                say("must be above zero; got {value} m for {name}", value=format(need.route_m, "g"), name=need.name),
            )
        if not need.weight >= 0:
            raise InputError(
                "weight",
                say("must not be negative; got {value} for {name}", value=format(need.weight, "g"), name=need.name),
            )
    currencies = {o.currency for o in question.offers}
    if len(currencies) > 1:
        raise InputError(
            "currency", say("must be one for all prices; got {value}", value=", ".join(sorted(currencies)))
        )
    return question.needs


def _may_go(impedance_ohm: float, need: Need) -> bool:
    return abs(impedance_ohm - need.impedance_ohm) <= ALIKE_OHM


def _weighted_draws(question: SharingQuestion) -> Floats:
    """Return draws of what each piece would lose in each run, weighted, (p, r, draws)."""
    beliefs = list(question.beliefs.values())
    least = min((b.draws for b in beliefs), default=1)
    out = np.empty((len(beliefs), len(question.needs), least))
    for i, belief in enumerate(beliefs):
        for j, need in enumerate(question.needs):
            out[i, j] = need.weight * belief.loss_db(np.array(need.frequencies_hz)).mean(axis=0)[:least]
    return out


def _sharing(question: SharingQuestion, piece_db: Floats) -> Sharing:
    needs, offers = question.needs, question.offers
    fits = np.array([[_may_go(_ohm(b), n) for n in needs] for b in question.beliefs.values()], dtype=bool)
    joint = np.array([n.weight * joint_db(np.array(n.frequencies_hz)).mean() for n in needs])
    metre = np.full((len(offers), len(needs)), np.inf)
    for k, offer in enumerate(offers):
        for j, n in enumerate(needs):
            if _may_go(offer.line.impedance_ohm, n):
                metre[k, j] = n.weight * offer.line.law.db_per_m(np.array(n.frequencies_hz)).mean()
    return Sharing(
        length_m=np.array([b.piece.length_m for b in question.beliefs.values()]),
        route_m=np.array([n.route_m for n in needs]),
        piece_db=np.where(fits.reshape(piece_db.shape), piece_db, np.inf),
        joint_db=joint,
        plugs_db=2.0 * joint,
        metre_db=metre,
        price_per_m=np.array([o.price_per_m for o in offers]),
        plugs_price=np.array([2.0 * o.connector_price for o in offers]),
        budget=question.budget,
        most=question.most,
    )


def _fed(
    question: SharingQuestion, found: SharingSolution, j: int, near: Sequence[Neighbour], tags: Sequence[str]
) -> Fed:
    need = question.needs[j]
    mine = [tags[int(i)] for i in np.flatnonzero(found.takes[:, j])]
    bought = _bought(question, found, j)
    sections = len(mine) + (bought is not None)
    laid = sum(question.beliefs[t].piece.length_m for t in mine) + (bought.length_m if bought else 0.0)
    short = float(found.short_m[j])
    fed = Fed(
        run=need.name,
        route_m=need.route_m,
        pieces=tuple(mine),
        bought=bought,
        joints=max(0, sections - 1),
        spare_m=round(max(0.0, laid - need.route_m), 3),
        short_m=short,
        losses=tuple(_loss(question, mine, bought, max(0, sections - 1), f) for f in need.frequencies_hz)
        if mine or bought
        else (),
        why="",
    )
    return replace(fed, why=_why(question, fed, j, near, tags))


def _bought(question: SharingQuestion, found: SharingSolution, j: int) -> Bought | None:
    for k, offer in enumerate(question.offers):
        length = float(found.bought_m[k, j])
        if found.buys[k, j] and length > 1e-6:
            price = length * offer.price_per_m + 2.0 * offer.connector_price
            return Bought(offer.line.designator, round(length, 3), round(price, 2))
    return None


def _loss(question: SharingQuestion, pieces: Sequence[str], bought: Bought | None, joints: int, f: float) -> FedLoss:
    draws: Floats = np.zeros(1) + joints * joint_db(f)
    for tag in pieces:
        draws = draws + question.beliefs[tag].loss_db(f)
    if bought:
        offer = next(o for o in question.offers if o.line.designator == bought.line)
        new = catalogue_belief(Piece(bought.line, bought.length_m, offer.line, 0), draws.size if pieces else NEW_DRAWS)
        draws = draws + new.loss_db(f) + 2.0 * joint_db(f)
    low, middle, ninety, high = (float(v) for v in np.quantile(draws, [0.025, 0.5, 0.9, 0.975]))
    return FedLoss(f, middle, low, high, ninety)


def _why(question: SharingQuestion, fed: Fed, j: int, near: Sequence[Neighbour], tags: Sequence[str]) -> str:
    if fed.short_m > 0:
        short, route = metres(fed.short_m), metres(fed.route_m)
        if question.offers:
            return say("{short} of {route} cannot be bridged: no suitable piece is left, and no money.",
                       short=short, route=route)  # fmt: skip
        return say("{short} of {route} cannot be bridged: no suitable piece is left.", short=short, route=route)
    said = []
    if fed.bought:
        said.append(say("Bought because no remaining piece reaches {route} with less loss.", route=metres(fed.route_m)))
    rivals = [n for n in near if j in n.runs]
    if rivals:
        rival = min(rivals, key=lambda n: n.more_db)
        names = [n.name for n in question.needs]
        said.append(say("Next best: {move}, for {more} weighted dB more.",
                        move=rival.words(tags, names), more=plain(rival.more_db, 2)))  # fmt: skip
    elif fed.pieces:
        said.append(say("No other piece reaches without leaving another run short."))
    return together(said)


def _weighted(question: SharingQuestion, fed: Sequence[Fed]) -> float:
    return sum(
        need.weight * float(np.mean([x.loss_db for x in run.losses]))
        for need, run in zip(question.needs, fed, strict=True)
        if run.losses
    )


def _where_it_differs(
    question: SharingQuestion, best: SharingSolution, wary: SharingSolution, tags: Sequence[str]
) -> tuple[Fed, ...]:
    return tuple(
        _fed(question, wary, j, (), tags)
        for j in range(len(question.needs))
        if (best.takes[:, j] != wary.takes[:, j]).any() or (best.buys[:, j] != wary.buys[:, j]).any()
    )


def _remarks(question: SharingQuestion, fed: Sequence[Fed]) -> tuple[str, ...]:
    said = []
    short = [run for run in fed if run.short_m > 0]
    if short:
        missing = together((say("{run} by {length}", run=r.run, length=metres(r.short_m)) for r in short), ", ")
        said.append(say("Not every run can be fed; too short: {missing}. Buy, borrow, or move the radio nearer.",
                        missing=missing))  # fmt: skip
    idle = [t for t, b in question.beliefs.items() if not any(_may_go(_ohm(b), n) for n in question.needs)]
    if idle:
        said.append(say("With an impedance that no run asks for: {pieces}.", pieces=", ".join(idle)))
    return tuple(said)


def _ohm(belief: Belief) -> float:
    return belief.piece.line.impedance_ohm if belief.piece.line else 50.0


def _workings(found: SharingSolution) -> tuple[Working, ...]:
    return (
        Working(
            say("who gets what"),
            say("least sum over runs of weight · mean over its frequencies of (pieces + joints + bought line), dB"),
            (
                (say("objective found"), quantity(plain(found.objective_db, 4), "dB")),
                (say("proven bound"), quantity(plain(found.bound_db, 4), "dB")),
                (say("each metre not bridged counts"), "100 dB"),
            ),
            "Mixed-integer program, branch and cut (HiGHS, through scipy.optimize.milp).",
            ("assignment",),
        ),
        Working(
            say("a joint"),
            say("{loss} · √(f / 1 MHz), a bought section two connectors besides", loss=quantity(digits(0.0017), "dB")),
            (),
            "The connector loss of the bench engine; see docs/how-the-bench-works.md.",
            ("joint",),
        ),
    )


def _losses_worked(question: SharingQuestion, fed: Sequence[Fed]) -> Iterator[Working]:
    """Yield what the loss of each run is made of, at each of its frequencies."""
    for run in fed:
        for x in run.losses:
            joints = float(joint_db(x.frequency_hz))
            inputs = [(tag, _middle(question.beliefs[tag], x.frequency_hz)) for tag in run.pieces]
            if run.bought:
                new = say("new {line}, {length}", line=run.bought.line, length=metres(run.bought.length_m))
                offer = next(o for o in question.offers if o.line.designator == run.bought.line)
                loss = run.bought.length_m * float(offer.line.law.db_per_m(x.frequency_hz))
                inputs += [(new, quantity(plain(loss, 3), "dB")),
                           (say("its two connectors"), quantity(plain(2.0 * joints, 3), "dB"))]  # fmt: skip
            inputs += [
                (say("joints"), say("{count}, {loss} each", count=run.joints, loss=quantity(plain(joints, 3), "dB"))),
                (say("90th percentile"), quantity(plain(x.loss_db_90, 3), "dB")),
            ]
            yield Working(
                say("loss of {run} at {f}", run=run.run, f=frequency(x.frequency_hz)),
                say("sections + connectors + joints, median over draws; interval by their 2.5 % and 97.5 % quantiles"),
                tuple(inputs),
                say("what is believed of each piece: its bench sheets, sweeps and type"),
                ("loss", run.run, x.frequency_hz),
            )


def _middle(belief: Belief, frequency_hz: float) -> str:
    return quantity(plain(float(np.median(belief.loss_db(frequency_hz))), 3), "dB")
