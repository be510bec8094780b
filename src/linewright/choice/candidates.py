"""What may take the place of a line: types on sale and pieces on hand, each with what bars it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

from linewright.core.formatting import digits, metres, plain
from linewright.core.frozen import dataclass
from linewright.core.messages import say, together
from linewright.core.nouns.belief import Belief
from linewright.core.nouns.bench import Piece
from linewright.core.nouns.choice import Barred, Offer, Prices, Stretch, Wishes
from linewright.core.nouns.line import LineType
from linewright.core.nouns.station import ConnectorPart, LinePart, Part

SAME_OHM = 0.1
"""Impedances nearer to each other than this share are taken as one (50 and 52 ohm); common practice, no source."""


@dataclass(frozen=True, slots=True)
class LineSource:
    """Where a section may come from: an offer, a type nobody prices, or a piece on hand (its belief)."""

    line: LineType
    offer: Offer | None = None
    belief: Belief | None = None

    @property
    def name(self) -> str:
        """The designator, or the tag of the piece."""
        return self.belief.piece.tag if self.belief else self.line.designator

    def laid_m(self, length_m: float) -> float:
        """Return how much of it bridges a length; a piece lies whole."""
        return self.belief.piece.length_m if self.belief else length_m

    def lies(self, length_m: float) -> Stretch:
        """Return it as one section that bridges a length; a piece lies whole, the rest of it in a coil."""
        if self.belief:
            return Stretch(self.name, self.belief.piece.length_m, 0.0, on_hand=True)
        if self.offer is None:
            return Stretch(self.name, length_m, None)
        return Stretch(self.name, length_m, self.offer.price_per_m * length_m + 2.0 * self.offer.connector_price)

    def reaches(self, length_m: float) -> bool:
        """Whether there is enough of it."""
        return self.belief is None or self.belief.piece.length_m >= length_m - 1e-9

    def parts(self, length_m: float, place: str, family: str) -> tuple[Part, ...]:
        """Return it as parts of a chain; a new section has one mated pair of its own, half of it at either end."""
        if self.belief:
            return (LinePart(place, self.belief.piece, measured=True),)
        line = LinePart(place, Piece(f"new {place}", length_m, self.line, 0))
        return line, ConnectorPart(f"connectors of the {place}", family)


@dataclass(frozen=True, slots=True)
class LineCandidate:
    """A main section, and a tail at the antenna's end where one is asked for."""

    main: LineSource
    main_m: float
    tail: LineSource | None = None
    tail_m: float = 0.0

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """Its sections from the radio to the antenna."""
        main = self.main.lies(self.main_m)
        return (main, self.tail.lies(self.tail_m)) if self.tail else (main,)

    @property
    def price(self) -> float | None:
        """What it costs; None where a price is missing."""
        asked = [s.price for s in self.stretches]
        return None if None in asked else float(sum(p for p in asked if p is not None))

    @property
    def name(self) -> str:
        """Its sections in words."""
        main = _called(self.main.name, self.main.laid_m(self.main_m))
        return together((main, _called(self.tail.name, self.tail.laid_m(self.tail_m))), " + ") if self.tail else main

    def parts(self, family: str) -> tuple[Part, ...]:
        """Return what it puts into the chain."""
        main = self.main.parts(self.main_m, "main run", family)
        return (*main, *self.tail.parts(self.tail_m, "tail", family)) if self.tail else main


@cache
def _called(name: str, length_m: float) -> str:
    return say("{length} of {line}", length=metres(length_m), line=name)


def sources(prices: Prices, own: Sequence[LineType], pieces: Mapping[str, Belief]) -> tuple[LineSource, ...]:
    """Return the lines that may be laid: on sale, the person's own without a price, on hand."""
    sold = {offer.line.designator for offer in prices.offers}
    mine = [LineSource(line) for line in own if line.designator not in sold]
    held = [LineSource(b.piece.line, belief=b) for b in pieces.values() if b.piece.line is not None]
    return (*(LineSource(offer.line, offer) for offer in prices.offers), *mine, *held)


def barred(source: LineSource, wishes: Wishes, impedance_ohm: float) -> Barred | None:
    """Return why a line cannot be laid whatever it is joined to; None where it can, or where nobody can tell."""
    line, reasons = source.line, []
    wanted = wishes.impedance_ohm or impedance_ohm
    if not wishes.any_impedance and abs(line.impedance_ohm / wanted - 1.0) > SAME_OHM:
        reasons.append(
            say("{has} ohm, where {asked} ohm is required", has=digits(line.impedance_ohm), asked=digits(wanted))
        )
    if over(line, "outer_diameter_m", wishes.most_diameter_m):
        thick = figure(line, "outer_diameter_m") or 0.0
        most = plain(1e3 * (wishes.most_diameter_m or 0.0), 1)
        reasons.append(say("{has} mm thick, where {most} mm is allowed", has=plain(1e3 * thick, 1), most=most))
    if over(line, "mass_kg_per_m", wishes.most_kg_per_m):
        heavy = figure(line, "mass_kg_per_m") or 0.0
        most = plain(1e3 * (wishes.most_kg_per_m or 0.0), 0)
        reasons.append(say("{has} g/m, where {most} g/m is allowed", has=plain(1e3 * heavy, 0), most=most))
    if wishes.outdoors and source.offer and source.offer.outdoors is False:
        reasons.append(say("not rated for sun and rain"))
    return Barred(source.name, together(reasons, "; ")) if reasons else None


def stiff(source: LineSource, wishes: Wishes) -> Barred | None:
    """Return why a line cannot follow the tightest bend, None where it can or where nobody can tell.

    A tail without a stated bend has a stranded centre (common practice, no source).
    """
    if wishes.bend_radius_m is None and wishes.tail_m > 0 and solid(source.line):
        return Barred(source.name, say("its centre is solid"))
    if not over(source.line, "bend_radius_m", wishes.bend_radius_m):
        return None
    needs = figure(source.line, "bend_radius_m") or 0.0
    has, asked = (plain(1e3 * radius_m, 0) for radius_m in (needs, wishes.bend_radius_m or 0.0))
    why = say("bends to a radius of {has} mm, where {asked} mm is required", has=has, asked=asked)
    return Barred(source.name, why)


def solid(line: LineType) -> bool:
    """Whether the centre of a line is known to be no strand."""
    found = line.figures.get("strands")
    return found is not None and str(found.value).startswith("solid") and "strand" not in str(found.value)


def over(line: LineType, name: str, most: float | None) -> bool:
    """Whether a figure is known to pass a limit."""
    value = figure(line, name)
    return most is not None and value is not None and value > most


def figure(line: LineType, name: str) -> float | None:
    """Return a figure of a line, None where nobody states it."""
    found = line.figures.get(name)
    return float(found.value) if found and isinstance(found.value, float | int) else None


def candidates(found: Sequence[LineSource], wishes: Wishes, length_m: float) -> tuple[LineCandidate, ...]:
    """Return every choice: one line from end to end, and, with a tail, each main run with each tail."""
    bends = [s for s in found if stiff(s, wishes) is None]
    whole = [LineCandidate(s, length_m) for s in bends if s.reaches(length_m)]
    if wishes.tail_m <= 0:
        return tuple(whole)
    main_m = length_m - wishes.tail_m
    mains = [s for s in found if s.reaches(main_m)]
    tails = [s for s in bends if s.reaches(wishes.tail_m)]
    pairs = [LineCandidate(m, main_m, t, wishes.tail_m) for m in mains for t in tails if m.name != t.name]
    return (*whole, *pairs)
