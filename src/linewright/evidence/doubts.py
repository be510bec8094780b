"""Which readings to doubt, and why: each is left out and predicted from the rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.evidence.layout import Floats, Ints, Layout
from linewright.evidence.mean import expected_db
from linewright.evidence.observations import Block, Observation
from linewright.evidence.posterior import Posterior
from linewright.evidence.scales import shown
from linewright.model.bench import SCALE_UNIT, Meter, Reading
from linewright.model.result import ReadingFinding
from linewright.units.writing import frequency

QUOTE_SIGMA = 2.5
"""A prediction is quoted against a reading when they are this many standard deviations apart."""
BLIND_DB = 1.2
"""A prediction less certain than this says nothing."""
ASK = 0.2
"""Readings at least this likely to be wrong get their reasons worked out."""
MOST_WITNESSES = 200


@dataclass(frozen=True, slots=True)
class Expected:
    """A prediction of one observation in dB, with its standard deviation (own noise included) and that without it."""

    level_db: float
    sd_db: float
    known_db: float

    @property
    def checked(self) -> bool:
        """Whether the prediction says anything."""
        return self.known_db <= BLIND_DB


@dataclass(frozen=True, slots=True)
class _Doubt:
    p_wrong: float
    p_insertion: float
    group: int | None


def reading_findings(post: Posterior, blocks: list[Block]) -> tuple[ReadingFinding, ...]:
    """Return what the rest of the bench says of every reading, in the order of the sheet."""
    lay = post.lay
    found: dict[int, ReadingFinding] = {}
    for block in blocks:
        if block.dead:
            for o in block.observations:
                found |= {i: _of_dead_meter(lay.sheet.readings[i], block) for i in o.rows}
    flat = [(b, o) for b in lay.blocks for o in b.observations]
    doubts = _doubts(post)
    insides = _own_variance(post)
    for i, (block, o) in enumerate(flat):
        expected = _left_out(post, i, doubts[i], insides[i])
        why = _why(post, flat, i, doubts, expected)
        for r in o.rows:
            found[r] = _finding(post, (block, o), lay.sheet.readings[r], doubts[i], expected, why)
    return tuple(found[i] for i in range(len(lay.sheet.readings)))


def _doubts(post: Posterior) -> list[_Doubt]:
    """Return ``P(wrong) = 1 - (1 - P(misread)) (1 - P(bad insertion))`` for every observation."""
    lay, sites = post.lay, post.sites
    misread, insertion = post.bottom_wrong * lay.bottom, np.zeros(lay.n)
    group: list[int | None] = [None] * lay.n
    for s, members in enumerate(sites.members):
        if sites.kind[s] == 0:
            misread[members[0]] = post.chance[s]
        else:
            insertion[members] = post.chance[s]
            for m in members:
                group[int(m)] = s
    return [
        _Doubt(float(1.0 - (1.0 - p) * (1.0 - q)), float(q), g)
        for p, q, g in zip(misread, insertion, group, strict=True)
    ]


def _own_variance(post: Posterior) -> Floats:
    scale = post.priors.noise_scales[post.bank[0].scale] ** 2
    if not post.parts.fixed:
        return np.zeros(0)
    return np.concatenate([
        np.diag(f) + scale * (np.diag(s) - s.min(initial=0.0))
        for s, f in zip(post.parts.scaled, post.parts.fixed, strict=True)
    ])  # fmt: skip


def _left_out(post: Posterior, i: int, doubt: _Doubt, own: float) -> Expected:
    """Predict an observation from all others; a doubted insertion is left out whole."""
    lay, sites = post.lay, post.sites
    if lay.bottom[i]:
        j = post.point.jacobian[i]
        known = float(np.sqrt(j @ post.fits.covariance[0] @ j))
        level = float(expected_db(lay, post.fits.mode[:1])[0, i])
        return Expected(level, float(np.hypot(known, post.priors.noise_db)), known)
    out = [i] if doubt.group is None or doubt.p_insertion < 0.5 else [int(m) for m in sites.members[doubt.group]]
    firm = {int(sites.target[s]): s for s in range(sites.n_data) if sites.kind[s] == 0} if len(out) > 1 else {}
    hyper = _best_hyper(post)
    here = _site_of(post, i)
    alike = [firm[m] for m in out if m in firm] if firm else [here]
    chosen = post.bank[0].chosen
    lone = len(alike) == 1 and doubt.group not in chosen
    rest = chosen if lone else tuple(s for s in chosen if s not in {*alike, doubt.group})
    seen = post.search.look(hyper, rest)
    if len(alike) == 1:
        a, b = float(seen.a[here]), float(seen.b[here])
        a = max(a, 1e-6)
        shift, variance = b / a, 1.0 / a
    else:
        block = _conditional(post, hyper, rest, alike)
        inverse = np.linalg.inv(block + 1e-9 * np.eye(len(alike)))
        at = alike.index(here)
        shift, variance = float((inverse @ seen.b[alike])[at]), float(inverse[at, at])
    return Expected(float(lay.y_db[i]) - shift, float(np.sqrt(variance)), float(np.sqrt(max(variance - own, 0.0))))


def _site_of(post: Posterior, i: int) -> int:
    kinds = post.sites.kind[: post.sites.n_data] == 0
    return int(np.flatnonzero(kinds & (post.sites.target[: post.sites.n_data] == i))[0])


def _best_hyper(post: Posterior) -> int:
    best = post.bank[0]
    return best.scale * 2 + best.rough


def _conditional(post: Posterior, hyper: int, rest: tuple[int, ...], alike: list[int]) -> Floats:
    gram = post.search.grams[hyper]
    block: Floats = gram.columns(tuple(alike))[alike].copy()
    if rest:
        columns = gram.columns(rest)
        inner = np.linalg.inv(columns[list(rest)] + np.diag(1.0 / post.sites.variance[list(rest)]))
        block -= columns[alike] @ inner @ columns[alike].T
    return block


def _of_dead_meter(reading: Reading, block: Block) -> ReadingFinding:
    why = f"The {block.meter.name} is no witness at {frequency(block.frequency_hz)}: {block.dead}."
    return ReadingFinding(
        reading.row, reading.meter, reading.frequency_hz, reading.path_name, reading.reading,
        None, None, None, 0.5, False, why, block.meter.scale,
    )  # fmt: skip


def _span(meter: Meter, level_db: float, sd_db: float) -> str:
    middle, low, high = (shown(meter, level_db + k * 1.96 * sd_db) for k in (0, -1, 1))
    unit = SCALE_UNIT[meter.scale] or "on the scale"
    places = 0 if high >= 100 else max(0, min(3, int(np.ceil(1 - np.log10(max(high - low, 1e-3))))))
    return f"{middle:.{places}f} {unit} ({low:.{places}f} to {high:.{places}f})"


def _finding(
    post: Posterior, at: tuple[Block, Observation], reading: Reading, doubt: _Doubt, expected: Expected, why: str
) -> ReadingFinding:
    reach, level = 1.96 * expected.sd_db, expected.level_db
    scale = [shown(at[0].meter, v) for v in (level, level - reach, level + reach)] if expected.checked else [None] * 3
    return ReadingFinding(
        reading.row, reading.meter, reading.frequency_hz, reading.path_name, reading.reading,
        scale[0], scale[1], scale[2], doubt.p_wrong, expected.checked, why, at[0].meter.scale,
    )  # fmt: skip


def _why(
    post: Posterior, flat: list[tuple[Block, Observation]], i: int, doubts: list[_Doubt], expected: Expected
) -> str:
    block, o = flat[i]
    if not expected.checked:
        return (
            "Cannot tell: nothing else on the bench says what this should be."
            " A repeat with the reference on either side, or a second meter, would tell."
        )
    if doubts[i].p_wrong < ASK:
        return ""
    span = _span(block.meter, expected.level_db, expected.sd_db)
    if o.bottom:
        return f"It shows nothing, where the rest of the bench expects {span}."
    parts = [f"The rest of the bench expects {span}."]
    parts += _witnesses(post, flat, i, doubts[i])
    group = doubts[i].group
    if group is not None and all(doubts[m].p_wrong > 0.5 for m in post.sites.members[group]):
        parts.append(f"All readings of {_name(o)} are off here: a bad insertion, such as a loose plug.")
    else:
        parts += _rivals(post, flat, i, doubts)
    return " ".join(parts)


def _name(o: Observation) -> str:
    return "+".join(o.path) if o.path else "the reference"


def _rivals(post: Posterior, flat: list[tuple[Block, Observation]], i: int, doubts: list[_Doubt]) -> list[str]:
    """Return a sentence naming the other readings that may be the wrong ones instead."""
    if doubts[i].p_wrong > 0.9:
        return []
    rows = [
        post.lay.sheet.readings[o.rows[0]].row
        for j, (b, o) in enumerate(flat)
        if j != i and b is flat[i][0] and ASK < doubts[j].p_wrong <= 0.9
    ]
    if not rows:
        return ["A repeat of it would settle the matter."]
    names = " or ".join(f"row {r}" for r in rows[:3])
    return [f"It may be {names} instead: a repeat of both would tell."]


def _witnesses(post: Posterior, flat: list[tuple[Block, Observation]], i: int, doubt: _Doubt) -> list[str]:
    """Return what repeats, other lengths, other meters and other bands say, where they contradict the reading."""
    lay = post.lay
    same_block, same_path = lay.block == lay.block[i], lay.cell == lay.cell[i]
    f = np.array([b.frequency_hz for b in lay.blocks])[lay.block]
    base = same_block & np.array([not o.path for _, o in flat])
    here = f == f[i]
    others = sorted({b.meter.name for b, _ in flat if b.frequency_hz == f[i]} - {flat[i][0].meter.name})
    camps = {
        "Its repeats": same_block & same_path,
        "Other lengths on this meter": same_block & ~same_path,
        _list(others): (here & ~same_block) | (base & ~same_path if flat[i][1].path else same_block & ~same_path),
        "Other bands": ~here | (base & ~same_path if flat[i][1].path else same_block & ~same_path),
    }
    if not others:
        camps.pop(_list(others))
    if not (~here).any():
        camps.pop("Other bands")
    said = []
    barred = lay.bottom.copy()
    barred[post.sites.members[doubt.group] if doubt.group is not None and doubt.p_insertion > 0.5 else i] = True
    for who, camp in camps.items():
        got = _predict(post, i, np.flatnonzero(camp & ~barred), f)
        if got and got.checked and abs(lay.y_db[i] - got.level_db) > QUOTE_SIGMA * got.sd_db:
            verb = "says" if who == _list(others) and len(others) == 1 else "say"
            said.append(f"{who} {verb} {_span(flat[i][0].meter, got.level_db, got.sd_db)}.")
    return said


def _list(names: list[str]) -> str:
    joined = " and ".join(f"the {n}" for n in names)
    return joined[:1].upper() + joined[1:]


def _nearest(lay: Layout, i: int, camp: Ints, f: Floats) -> Ints:
    far = np.abs(np.log(f[camp] / f[i])) + 0.1 * (lay.block[camp] != lay.block[i])
    return camp[np.argsort(far, kind="stable")[:MOST_WITNESSES]]


def _predict(post: Posterior, i: int, camp: Ints, f: Floats) -> Expected | None:
    """Predict observation ``i`` from the camp alone, through the linearised bench."""
    if not len(camp):
        return None
    lay, sites, best = post.lay, post.sites, post.bank[0]
    rows = np.concatenate([_nearest(lay, i, camp, f), [i]]).astype(int)
    j = post.point.jacobian[rows]
    covariance = post.prior.covariance[best.rough].copy()
    for s in best.chosen:
        if s >= sites.n_data:
            u = int(sites.unknown[s - sites.n_data])
            covariance[u, u] += sites.variance[s]
    v = j @ covariance @ j.T + _private(post, rows)
    place = np.full(lay.n, -1)
    place[rows] = np.arange(len(rows))
    for s in best.chosen:
        if s < sites.n_data and i not in sites.members[s]:
            hit = place[sites.members[s]]
            hit = hit[hit >= 0]
            v[np.ix_(hit, hit)] += sites.variance[s]
    e = post.point.residual_db[rows] + j @ (post.point.x - post.prior.mean)
    weigh = np.linalg.solve(v[:-1, :-1] + 1e-9 * np.eye(len(rows) - 1), v[:-1, -1])
    variance = float(v[-1, -1] - weigh @ v[:-1, -1])
    own = float(_private(post, rows)[-1, -1])
    level = float(lay.y_db[i] - (e[-1] - weigh @ e[:-1]))
    return Expected(level, float(np.sqrt(max(variance, 1e-6))), float(np.sqrt(max(variance - own, 0.0))))


def _private(post: Posterior, rows: Ints) -> Floats:
    """Return the blocks' own covariance among some observations."""
    lay = post.lay
    scale = post.priors.noise_scales[post.bank[0].scale] ** 2
    out = np.zeros((len(rows), len(rows)))
    for b in np.unique(lay.block[rows]):
        mine = np.flatnonzero(lay.block[rows] == b)
        local = rows[mine] - int(lay.starts[b])
        whole = scale * post.parts.scaled[b] + post.parts.fixed[b]
        out[np.ix_(mine, mine)] = whole[np.ix_(local, local)]
    return out
