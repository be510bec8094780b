"""A bench as somebody might lay it out: which meters, pieces and bands, and in what order things are read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from cables import Cable, Stock, draw_cable, draw_stock
from chain import Section, phase_rad
from instruments import Dial, draw_dial
from lines import BANDS_HZ, LINES, catalogue_db, connector_db
from linewright.core.nouns.bench import Attenuator, Piece, Reference, Source

Path = tuple[str, ...]
_TAGS = ("blue", "grey", "long", "spare")


class Sizes(NamedTuple):
    """How large a bench is."""

    dials: int
    bands: int
    cables: int
    repeats: int


@dataclass(frozen=True, slots=True)
class Setup:
    """All that is on the table. ``order`` lists (meter index, frequency, path) in the order things are read."""

    source: Source
    power_w: float
    source_swr: float
    reference: Reference
    jumper: Cable
    dials: tuple[Dial, ...]
    cables: dict[str, Cable]
    pad: Attenuator | None
    pad_db: float
    frequencies_hz: tuple[float, ...]
    order: tuple[tuple[int, float, Path], ...]

    def parts(self, path: Path, frequency_hz: float) -> list[Section]:
        """Return the sections in line when a path is read: an adapter at each joint heats like a connector."""
        sections = [self._part(tag, frequency_hz) for tag in path]
        joint = Section(50.0, connector_db(frequency_hz), 0.0)
        sections += [joint] * (len(path) - 1)
        if not path or self.reference.in_place == "stays":
            sections.insert(0, self.jumper.section(frequency_hz))
        return sections

    def _part(self, tag: str, frequency_hz: float) -> Section:
        if self.pad is not None and tag == self.pad.tag:
            return Section(50.0, self.pad_db, phase_rad(0.06, 0.7, frequency_hz))
        return self.cables[tag].section(frequency_hz)


def lay_out(
    rng: np.random.Generator,
    model: str,
    *,
    single: bool = False,
    coarse: bool = False,
    exact: bool = False,
    sizes: Sizes | None = None,
) -> Setup:
    """Draw a bench; ``exact`` has a jumper that is just what its type says. ``sizes`` None draws them too."""
    sizes = Sizes(1, 1, 1, 1) if single else sizes
    power = float(np.exp(rng.uniform(np.log(2.0), np.log(50.0))))
    swr = float(1 + rng.uniform(0.05, 0.7))
    n_dials = sizes.dials if sizes else int(rng.integers(1, 4))
    dials = tuple(
        draw_dial(rng, f"meter {i + 1}", power, coarse=coarse or bool(rng.random() < 0.06)) for i in range(n_dials)
    )
    bands = _bands(rng, dials, sizes.bands if sizes else int(rng.integers(1, 6)))
    cables = _cables(rng, model, sizes.cables if sizes else int(rng.integers(1, 5)), max(bands), coarse)
    line = LINES[rng.choice([0, 0, 1, 4])]
    length = round(float(rng.uniform(0.3, 1.5)), 1)
    jumper = Piece("jumper", length, line)
    in_place = "replaced" if rng.random() < 0.75 else "stays"
    has_pad = not single and rng.random() < 0.15
    pad = Attenuator("pad", float(rng.choice([3.0, 6.0])), 0.1) if has_pad else None
    stated = Source(round(power) * 1.0 if rng.random() < 0.8 else None, round(swr, 1) if rng.random() < 0.6 else None)
    return Setup(
        source=stated, power_w=power, source_swr=swr,
        reference=Reference(line, length, in_place),  # type: ignore[arg-type]
        jumper=Cable(jumper, Stock(line), length) if exact else _jumper(rng, model, jumper),
        dials=dials, cables=cables, pad=pad,
        pad_db=0.0 if pad is None else pad.loss_db + 0.04 * float(rng.normal()),
        frequencies_hz=bands, order=_order(rng, dials, cables, pad, bands, sizes),
    )  # fmt: skip


def _bands(rng: np.random.Generator, dials: tuple[Dial, ...], n: int) -> tuple[float, ...]:
    """Pick bands somebody with these meters would try: mostly in range, some out of it, VHF and up twice as often."""
    near = [f for f in BANDS_HZ if any(d.rated_hz[0] / 3 <= f <= d.rated_hz[1] * 3 for d in dials)]
    inside = np.array([(3.0 if any(d.rated(f) for d in dials) else 1.0) * (1.0 if f < 40e6 else 2.0) for f in near])
    n = min(n, len(near))
    return tuple(sorted(float(f) for f in rng.choice(near, size=n, replace=False, p=inside / inside.sum())))


def _cables(rng: np.random.Generator, model: str, n: int, top_hz: float, coarse: bool) -> dict[str, Cable]:
    """Draw pieces of one to three stocks (more of many), none too long to be put on the top band by a sane person.

    Where every meter is coarse the pieces are longer, so that some readings fall to the bottom of a scale.
    """
    stocks = [draw_stock(rng, model) for _ in range(max(min(n, int(rng.integers(1, 4))), n // 6))]
    unknown = rng.random() < 0.05
    out: dict[str, Cable] = {}
    for i in range(n):
        which = int(rng.integers(len(stocks)))
        stock = stocks[which]
        longest = min(60.0 if coarse else 25.0, (16.0 if coarse else 8.0) / float(stock.line.law.db_per_m(top_hz)))
        length = round(float(rng.uniform(2.0, max(longest, 3.0))), 1)
        tag = f"{_TAGS[i % 4]} {length:g}" + (f" no {i}" if i >= 4 else "")
        named = None if rng.random() < 0.15 else f"drum {which + 1}"
        line = None if unknown and i == 0 else stock.line
        out[tag] = draw_cable(rng, Piece(tag, length, line, 2, named), stock, model)
    return out


def _jumper(rng: np.random.Generator, model: str, piece: Piece) -> Cable:
    """Draw the jumper: a short piece with two connectors, seldom quite what its type says."""
    assert piece.line is not None
    wear = float(np.exp(rng.normal(0, 0.25))) if model == "nominal" else float(np.exp(abs(rng.normal(0, 0.2))))
    return draw_cable(rng, piece, Stock(piece.line, wear, wear), "nominal")


def _order(
    rng: np.random.Generator, dials: tuple[Dial, ...], cables: dict[str, Cable], pad: Attenuator | None,
    bands: tuple[float, ...], sizes: Sizes | None,
) -> tuple[tuple[int, float, Path], ...]:  # fmt: skip
    """Draw the order of reading: per meter and band a reference, the paths, and most often the reference again."""
    tags = list(cables)
    paths: list[Path] = [(t,) for t in tags]
    if len(tags) > 1 and rng.random() < 0.3:
        paths.append(tuple(str(t) for t in rng.choice(tags, 2, replace=False)))
    if pad is not None:
        paths.append((pad.tag,))
    repeats, bracket = (
        (sizes.repeats, sizes.repeats > 1) if sizes else (int(rng.integers(1, 4)), bool(rng.random() < 0.75))
    )
    order: list[tuple[int, float, Path]] = []
    for m in range(len(dials)):
        for f in bands:
            if m and not dials[m].rated(f) and rng.random() < 0.3:
                continue
            for _ in range(repeats):
                order.append((m, f, ()))
                order += [(m, f, paths[i]) for i in rng.permutation(len(paths))]
            if bracket:
                order.append((m, f, ()))
    return tuple(order)


def good_db(cable: Cable, frequency_hz: float) -> float | None:
    """Return the catalogue loss of a piece, None when its type is not known."""
    p = cable.piece
    return None if p.line is None else catalogue_db(p.line, p.length_m, p.connectors, frequency_hz)
