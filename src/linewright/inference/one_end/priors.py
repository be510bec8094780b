"""What is believed of a near-end test before its first reading. Every number stands here.

Values without a source are common practice at amateur benches, weighed against simulated tests of known truth
(``benchmarks/one_end.py``). Spreads are standard deviations, of a natural logarithm where a quantity is a factor.
"""

from __future__ import annotations

from linewright.core.frozen import dataclass


@dataclass(frozen=True, slots=True)
class OneEndPriors:
    """Beliefs before the first reading.

    Attributes
    ----------
    directivity_db, analyser_directivity_db : float
        Of an instrument nobody stated it for: a cheap bridge, or an analyser that shows resistances and sweeps.
    directivity_size, directivity_spread : float
        Root mean square of the true directivity over the stated one, and the log spread of that.
    source_over_directivity : float
        Reflection of the instrument's own port over its directivity, where no source SWR is stated.
    tracking_share, knee_share, knee_spread : float
        Spread of the log scale error over the directivity; median over it, and log spread, of the reflection below
        which the detector turns square (diodes show small reflections too small).
    delay_s : float
        The most by which errors of the instrument turn with frequency.
    impedance_known, impedance_unknown : float
        Log spread of the line's impedance about its type's, and about the reference.
    connector_reflection, connector_most, connector_spread : float
        Root mean square reflection of a connector's reactance at 144 MHz; it grows with frequency up to a most. Its
        log spread.
    opposite_rad : float
        Spread at 144 MHz of the angle by which short and open fail to be opposite; it grows with frequency.
    load_resistor, load_delay_s : float
        Chance that a load is a plain resistor, real at its own terminals; the most by which its leads turn it.
    load_spread, load_floor : float
        Spread of the reflection of a load of known SWR: a share of it, and a floor.
    antenna_db, antenna_spread, antenna_shared : float
        Median return loss of an antenna at a peak of SWR away from its band, its log spread, and the share of that
        variance which all peaks of one antenna have in common.
    peak_rad, peak_strays : float
        Spread of the phase about the top of the ripple, at a peak a person picked; the chance that it is no ripple's
        top.
    noise_floor, noise_directivity, noise_step, noise_crowd : float
        Reading noise as a reflection: a floor, a share of the directivity, a share of half the step; and a share of
        all errors for each reading beyond two at one frequency, as a limited number of draws fits many no closer.
    misread_p : float
        Chance of a misread reading.
    ripple : float
        Departure of a line from its law at one frequency (log), and ``ripple_db`` in dB.
    service_db : float
        Lines that lose much more are not in service: a prior of ``exp(-(A/service_db)²/2)`` on every loss.
    usual_length_m, length_spread : float
        Length of a run nobody measured, and its log spread.
    share, share_spread : float
        k2/k1 at 1 MHz of a line of unknown type, and its log spread.
    stranger_p, stranger_spread : float
        Chance that the line is not what it is said to be in type or length, and how far off it is then (log).
    broken_p : float
        Chance that the line is open or shorted on its way: what is heard is then a share of its length.
    """

    directivity_db: float = 25.0
    analyser_directivity_db: float = 35.0
    directivity_size: float = 0.7
    directivity_spread: float = 0.4
    source_over_directivity: float = 2.0
    tracking_share: float = 0.4
    knee_share: float = 0.25
    knee_spread: float = 0.9
    delay_s: float = 1.5e-9
    impedance_known: float = 0.02
    impedance_unknown: float = 0.03
    connector_reflection: float = 0.025
    connector_most: float = 0.1
    connector_spread: float = 0.6
    opposite_rad: float = 0.15
    load_resistor: float = 0.7
    load_delay_s: float = 0.5e-9
    load_spread: float = 0.03
    load_floor: float = 0.01
    antenna_db: float = 0.7
    antenna_spread: float = 0.95
    antenna_shared: float = 0.85
    peak_rad: float = 0.9
    peak_strays: float = 0.15
    noise_floor: float = 0.002
    noise_directivity: float = 0.05
    noise_step: float = 0.3
    noise_crowd: float = 0.2
    misread_p: float = 0.03
    ripple: float = 0.033
    ripple_db: float = 0.01
    service_db: float = 12.0
    usual_length_m: float = 20.0
    length_spread: float = 0.7
    share: float = 0.008
    share_spread: float = 1.0
    stranger_p: float = 0.02
    stranger_spread: float = 1.0
    broken_p: float = 0.02


DEFAULT = OneEndPriors()
