"""An observation left out and predicted from the rest of the bench, or from a part of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.core.arrays import Floats, distinct
from linewright.core.frozen import dataclass
from linewright.inference.bench.design import Ints, Layout, expected_db
from linewright.inference.bench.posterior import Posterior

BLIND_DB = 1.2
"""A prediction less certain than this says nothing."""
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
class ReadingDoubt:
    """How likely an observation is wrong, its insertion bad, and which insertion that is (None for a lone reading)."""

    p_wrong: float
    p_insertion: float
    group: int | None


def own_variance(post: Posterior) -> Floats:
    """Return the variance of each observation's own noise, less the drift its block shares."""
    return post.parts.variance(post.priors.noise_scales[post.bank[0].scale])


def left_out(post: Posterior, i: int, doubt: ReadingDoubt, own: float) -> Expected:
    """Predict an observation from all others; a doubted insertion is left out whole."""
    lay, sites = post.lay, post.sites
    if lay.bottom[i]:
        j = post.point.jacobian[i]
        known = float(np.sqrt(j @ post.covariance @ j))
        level = float(expected_db(lay, post.fits.mode[:1])[0, i])
        return Expected(level, float(np.hypot(known, post.priors.noise_db)), known)
    out, hyper, here = _out(post, i, doubt), _best_hyper(post), sites.misread[i]
    alike = [sites.misread[m] for m in out if m in sites.misread]
    dropped = _dropped(post, out)
    chosen = post.bank[0].chosen
    rest = tuple(s for k, s in enumerate(chosen) if k not in dropped) if dropped else chosen
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


def look_ahead(post: Posterior, doubts: Sequence[ReadingDoubt]) -> None:
    """Look up at once what is left of the likeliest set where leaving an observation out takes one explanation."""
    dropped = [_dropped(post, _out(post, i, d)) for i, d in enumerate(doubts) if not post.lay.bottom[i]]
    single = {k for places in dropped if len(places) == 1 for k in places}
    post.search.see_without([(_best_hyper(post), post.bank[0].chosen, sorted(single))])


def _out(post: Posterior, i: int, doubt: ReadingDoubt) -> list[int]:
    """Return the observations that are left out with one."""
    if doubt.group is None or doubt.p_insertion < 0.5:
        return [i]
    return [int(m) for m in post.sites.members[doubt.group]]


def _dropped(post: Posterior, out: list[int]) -> set[int]:
    """Return the places in the likeliest set of what explains nothing but observations that are left out."""
    chosen, gone = post.bank[0].chosen, set(out)
    met = {k for m in out for k in post.explained.get(m, ())}
    return {k for k in met if set(post.sites.members[chosen[k]].tolist()) <= gone}


def _best_hyper(post: Posterior) -> int:
    best = post.bank[0]
    return best.scale * 2 + best.rough


def _conditional(post: Posterior, hyper: int, rest: tuple[int, ...], alike: list[int]) -> Floats:
    gram = post.search.gram
    block: Floats = gram.whole(hyper, alike)[:, alike].T.copy()
    if rest:
        columns = gram.whole(hyper, rest)
        inner = np.linalg.inv(columns[:, list(rest)].T + np.diag(1.0 / post.sites.variance[list(rest)]))
        block -= columns[:, alike].T @ inner @ columns[:, alike]
    return block


def predict(post: Posterior, i: int, camp: Ints, f: Floats) -> Expected | None:
    """Predict observation ``i`` from the camp alone, taken at its word, through the linearised bench."""
    if not len(camp):
        return None
    lay = post.lay
    rows = np.concatenate([_nearest(lay, i, camp, f), [i]]).astype(int)
    covariance, away = post.features
    felt = _felt(post, rows, covariance)
    private = _private(post, rows)
    v = _felt(post, rows, felt.T) + private
    e = post.point.residual_db[rows] + _felt(post, rows, away[:, None])[:, 0]
    weigh = np.linalg.solve(v[:-1, :-1] + 1e-9 * np.eye(len(rows) - 1), v[:-1, -1])
    variance = float(v[-1, -1] - weigh @ v[:-1, -1])
    noise = float(private[-1, -1])
    level = float(lay.y_db[i] - (e[-1] - weigh @ e[:-1]))
    return Expected(level, float(np.sqrt(max(variance, 1e-6))), float(np.sqrt(max(variance - noise, 0.0))))


def _felt(post: Posterior, rows: Ints, of_features: Floats) -> Floats:
    """Return by how much some readings move with what features do (features, any), (len, any)."""
    lay, exponent = post.lay, post.point.losses.exponent[0, rows, None]
    cell, level = lay.cell[rows], len(lay.cells.fixed) + lay.block[rows]
    loss = post.point.losses.cell_db[0, cell, None]
    bent = of_features[cell] + loss * of_features[level + len(lay.blocks)]
    out: Floats = of_features[level] - exponent * bent
    return out


def _nearest(lay: Layout, i: int, camp: Ints, f: Floats) -> Ints:
    far = np.abs(np.log(f[camp] / f[i])) + 0.1 * (lay.block[camp] != lay.block[i])
    return camp[np.argsort(far, kind="stable")[:MOST_WITNESSES]]


def _private(post: Posterior, rows: Ints) -> Floats:
    """Return the blocks' own covariance among some observations."""
    lay = post.lay
    scale = post.priors.noise_scales[post.bank[0].scale] ** 2
    out = np.zeros((len(rows), len(rows)))
    for b in distinct(lay.block[rows]):
        mine = np.flatnonzero(lay.block[rows] == b)
        local = rows[mine] - int(lay.starts[b])
        whole = scale * post.parts.scaled[b] + post.parts.fixed[b]
        out[np.ix_(mine, mine)] = whole[np.ix_(local, local)]
    return out
