"""External noise by the kind of site, after ITU-R P.372, and what a sky adds to it.

Man-made noise and the sky are added as powers, the medians too: our choice. The sky hardly varies, and then that is the
median of the sum. ITU-R P.372-10, section 8, matches the moments of log-normal distributions instead, which puts the
median of a city as loud as the sky 1.1 dB above either, where the sum is 3 dB.
"""

from __future__ import annotations

from functools import cache
from typing import Final, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewright.catalogue.names import key
from linewright.catalogue.tables import Row, placed, rows
from linewright.core.arrays import Floats, distinct
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formatting import digits, frequency
from linewright.core.formulas.noise import external_noise_db, external_temperature_kelvin, median_noise_db, spread_db
from linewright.core.formulas.sky import COSMIC_KELVIN, galactic_kelvin
from linewright.core.frozen import dataclass
from linewright.core.messages import mark, say, together
from linewright.core.nouns.line import Grade, Provenance

LEAST_KELVIN: Final = 145.0
"""No level antenna hears less: half of what it sees is ground at 290 K. Our choice; a sky temperature overrides it."""
THUNDER_HZ: Final = 20e6
"""Below this, noise of distant thunderstorms may be louder than all that is counted here (common practice)."""


@dataclass(frozen=True, slots=True)
class NoiseSite:
    """Noise of a kind of site: median ``c - d log10(f / 1 MHz)``, its deciles in time, the range it is stated for."""

    name: str
    c_db: float
    d_db: float
    upper_decile_db: float
    lower_decile_db: float
    low_hz: float
    high_hz: float
    provenance: Provenance

    def median_db(self, frequency_hz: ArrayLike) -> Floats:
        """Return the median external noise figure in dB above k T0 B, shaped as the frequency."""
        return median_noise_db(frequency_hz, self.c_db, self.d_db)

    def covers(self, frequency_hz: ArrayLike) -> NDArray[np.bool_]:
        """Return where the curve is stated; elsewhere it is an extrapolation."""
        f = np.asarray(frequency_hz, dtype=np.float64)
        return np.asarray((f >= self.low_hz) & (f <= self.high_hz))


@dataclass(frozen=True, slots=True)
class ExternalNoise:
    """What a lossless antenna at a site hears, arrays shaped as the frequency.

    ``temperature_kelvin`` is the median of the antenna noise temperature, ``noise_db`` the same as Fa;
    ``man_made_kelvin`` and ``sky_kelvin`` are its parts, and ``least_kelvin`` what it is never below. ``extrapolated``
    says where the site's curve is used beyond its range. ``site`` is None where a stated antenna temperature is all
    that comes in. ``remarks`` are sentences a person should read with it.
    """

    site: NoiseSite | None
    frequency_hz: Floats
    man_made_kelvin: Floats
    sky_kelvin: Floats
    least_kelvin: float
    temperature_kelvin: Floats
    noise_db: Floats
    extrapolated: NDArray[np.bool_]
    remarks: tuple[str, ...]

    def drawn_kelvin(self, normal: ArrayLike) -> Floats:
        """Return draws of the antenna noise temperature in time, frequency first and then the shape of ``normal``.

        The man-made part swings between the deciles of its site; the sky stays (its own deciles are 2 dB).

        >>> noise = external_noise(noise_site("quiet rural"), [14.2e6, 144e6])
        >>> external_noise_db(noise.drawn_kelvin([-1.28, 0.0, 1.28])).round(1)
        array([[26. , 26.7, 31.2],
               [ 1.8,  2.1,  4.4]])
        """
        up, down = (0.0, 0.0) if self.site is None else (self.site.upper_decile_db, self.site.lower_decile_db)
        swing = spread_db(normal, up, down)
        lifted = np.multiply.outer(self.man_made_kelvin, 10.0 ** (swing / 10.0))
        sky = np.reshape(self.sky_kelvin, self.sky_kelvin.shape + (1,) * swing.ndim)
        return np.asarray(np.maximum(lifted + sky, self.least_kelvin))


@cache
def noise_sites() -> tuple[NoiseSite, ...]:
    """Return the kinds of site, loudest first.

    >>> [site.name for site in noise_sites()]
    ['city', 'residential', 'rural', 'quiet rural']
    """
    return tuple(_site(row) for row in rows("noise_sites") if row["kind"] == "site")


@cache
def galactic_noise() -> NoiseSite:
    """Return galactic noise, which has the same form.

    >>> float(galactic_noise().median_db(50e6).round(2))
    12.92
    """
    (row,) = (row for row in rows("noise_sites") if row["kind"] == "sky")
    return _site(row)


def noise_site(name: str) -> NoiseSite:
    """Return a kind of site by its name, or by the older one ("business" is city).

    Raises
    ------
    UnknownNameError
        If there is no such kind; the message lists them.

    >>> float(noise_site("residential").median_db(14.2e6).round(2))
    40.58
    """
    for row in rows("noise_sites"):
        if row["kind"] == "site" and key(str(name)) in {key(n) for n in (row["name"], *_aliases(row))}:
            return _site(row)
    cure = f"Known: {', '.join(site.name for site in noise_sites())}."
    raise UnknownNameError("noise", f"must be a kind of site of ITU-R P.372; got {name!r}", cure=cure)


def external_noise(
    site: NoiseSite | None, frequency_hz: ArrayLike, sky_temperature_kelvin: ArrayLike | None = None
) -> ExternalNoise:
    """Return what a lossless antenna at a site hears: man-made noise, and the sky.

    The sky is galactic noise from 10 MHz up and the cosmic background; the sum is never below ``LEAST_KELVIN``. A sky
    temperature given, one for all or one a frequency, takes the place of all three, and of the site's curve where that
    has ended; without a site it is all that comes in, at every frequency. Noise of thunderstorms is not counted.

    Raises
    ------
    InputError
        If a frequency is not above zero, the sky temperature is not, or neither a site nor a temperature is given.

    >>> noise = external_noise(noise_site("rural"), [14.2e6, 432e6])
    >>> noise.noise_db.round(1), noise.extrapolated
    (array([35.7, -3. ]), array([False,  True]))
    >>> external_noise(noise_site("rural"), [432e6], sky_temperature_kelvin=60.0).temperature_kelvin
    array([60.])
    >>> external_noise(None, [145e6, 432e6], sky_temperature_kelvin=580.0).temperature_kelvin
    array([580., 580.])
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    given = None if sky_temperature_kelvin is None else np.asarray(sky_temperature_kelvin, dtype=np.float64)
    if given is not None and not np.all(np.isfinite(given) & (given > 0)):
        raise InputError("sky_temperature_kelvin", f"must be above zero and finite; got {sky_temperature_kelvin!r}")
    if site is None:
        return _stated(f, given)
    man_made = external_temperature_kelvin(site.median_db(f))
    if given is None:
        sky, least, beyond = _sky_kelvin(f), LEAST_KELVIN, ~site.covers(f)
    else:
        man_made = np.where(f <= site.high_hz, man_made, 0.0)
        sky, least, beyond = np.broadcast_to(given, f.shape), 0.0, np.asarray(f < site.low_hz)
    total = np.asarray(np.maximum(man_made + sky, least))
    remarks = _remarks(site, f, beyond, man_made + sky < least)
    return ExternalNoise(site, f, man_made, sky, least, total, external_noise_db(total), beyond, remarks)


def _stated(f: Floats, given: Floats | None) -> ExternalNoise:
    """Return the noise where an antenna temperature is stated and no site: that temperature, and nothing else."""
    if given is None:
        raise InputError("noise", "must name a site, or an antenna temperature must be given")
    if not np.all(np.isfinite(f) & (f > 0)):
        raise InputError("frequency_hz", "must be above zero and finite")
    none, kelvin = np.zeros(f.shape), np.broadcast_to(given, f.shape)
    return ExternalNoise(None, f, none, kelvin, 0.0, kelvin, external_noise_db(kelvin), none > 0, ())


def _sky_kelvin(f: Floats) -> Floats:
    return np.asarray(np.where(f >= galactic_noise().low_hz, galactic_kelvin(f), 0.0) + COSMIC_KELVIN)


SITES: Final = (mark("city"), mark("residential"), mark("rural"), mark("quiet rural"), mark("galactic"))
"""The names of the table, for the catalogue of messages."""


def _remarks(site: NoiseSite, f: Floats, beyond: NDArray[np.bool_], held: NDArray[np.bool_]) -> tuple[str, ...]:
    said = []
    if np.any(beyond):
        said.append(say(
            "At {frequencies} the noise is extrapolated: the {site} curve is stated for {low} to {high}.",
            frequencies=_list(f[beyond]), site=say(site.name), low=frequency(site.low_hz),
            high=frequency(site.high_hz),
        ))  # fmt: skip
    if np.any(held):
        said.append(say(
            "At {frequencies} the noise is held at {noise} K: half of what a level antenna sees is ground. Give a sky"
            " temperature for an antenna that looks up.",
            frequencies=_list(f[held]), noise=digits(LEAST_KELVIN),
        ))  # fmt: skip
    if np.any(f < THUNDER_HZ):
        said.append(say(
            "At {frequencies} thunderstorms may be louder than this; the line then matters less still.",
            frequencies=_list(f[f < THUNDER_HZ]),
        ))  # fmt: skip
    return tuple(said)


def _list(hertz: Floats) -> str:
    return together((frequency(float(f)) for f in distinct(hertz)), ", ")


def _aliases(row: Row) -> tuple[str, ...]:
    return tuple(filter(None, row["aliases"].split("|")))


def _site(row: Row) -> NoiseSite:
    return NoiseSite(
        name=row["name"],
        c_db=float(row["c_db"]),
        d_db=float(row["d_db"]),
        upper_decile_db=float(row["upper_decile_db"]),
        lower_decile_db=float(row["lower_decile_db"]),
        low_hz=float(row["low_hz"]),
        high_hz=float(row["high_hz"]),
        provenance=Provenance(cast("Grade", row["grade"]), placed(row["source"], row["place"]), row["note"]),
    )
