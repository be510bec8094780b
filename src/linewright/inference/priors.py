"""What the engine believes before it has seen a reading. Every number stands here and nowhere else.

Values without a source are common practice at amateur benches, weighed against simulated benches of known truth
(``benchmarks/``). Standard deviations are in decibels, or of a natural logarithm where a quantity is a factor.
"""

from __future__ import annotations

from linewright.core.frozen import dataclass
from linewright.core.nouns.bench import KnownExponent
from linewright.core.nouns.line import AttenuationLaw


@dataclass(frozen=True, slots=True)
class Priors:
    """Beliefs before the first reading.

    Attributes
    ----------
    exponent_in, exponent_out : float
        Spread of the log detector exponent inside and outside a meter's rated band.
    exponent_shift_in, exponent_shift_out : float
        Mean of the log detector exponent inside and outside the rated band. The drop of a diode takes more of a small
        voltage than of a large one, so what the scale does not make good stretches decibels and never shrinks them.
    exponent_shared : float
        Share of that variance which one meter keeps across its bands.
    good_shift, good_spread, good_wet_spread : float
        A good stock: log multiplier of its law (beside the spread of published tables), and of its dielectric part.
    aged_p, bench_aged_p, aged_shift, aged_spread, wet_p, wet_spread : float
        An aged stock and a wet one: how common, and how far from new; on a bench, where faults have shapes of their
        own, age has less to answer for.
    departure : float
        Small departure of a cable from its law at one frequency (log).
    worn_departure : float
        How much further a worn cable leaves its law: spread per unit of the log by which its loss has grown.
    worn_tilt, worn_tilt_spread : float
        By how much the log of wear grows over a decade of frequency, per unit of that log: a braid that touches badly
        takes more than √f.
    unknown_spread : float
        Spread of the law of a cable of unknown type (log).
    connector_db_per_sqrt_mhz, connector_spread, jumper_spread : float
        Heat loss of one connector at 1 MHz (it grows with √f) and its log spread; log spread of the jumper's loss.
    noise_db, drift_db, card_db, zero_division : float
        Reading noise, random walk per step, error of a conversion card, offset of zero in divisions.
    source_swr, meter_swr, source_swr_high, meter_swr_high, line_reflection : float
        Taken when the sheet gives no SWR, and above 100 MHz; reflection at a cable's own impedance steps.
    plug_reflection : float
        What the plugs of a path reflect at 432 MHz; a plug that is no 50 ohm is a short line, so it goes with f.
    delay_spread : float
        How well the electrical length of a piece is known, as a share: what two paths' echoes have in common.
    level_db : float
        How well a meter shows absolute power: used only where a reference reading is missing.
    misread_p, misread_db, insertion_p, insertion_db, break_p, break_log, bent_in_p, bent_out_p, bent_log : float
        The explanations: chance and size of a misread reading, a bad insertion, a cable that leaves its law at one
        frequency, a badly non-linear meter (in and out of its rated band).
    noise_scales, noise_weights : tuple of float
        Common scale on noise and drift, and its prior weights.
    joint_p, joint_root_p, joint_db, joint_spread_db, joint_usual_db : float
        A bad joint of a piece: its chance (for a loss alike on all bands, as a resistance is, and, seldom, for one that
        grows with √f as the cable's own does), its loss
        at 30 MHz and the spread of that; and how much joints vary when they are sound.
    contact_p, contact_db, contact_spread_db : float
        A contact that bites, or a leak across: alike on all bands.
    open_p, water_p, wet_plug_p, notch_p, notch_db, notch_spread_db : float
        A broken conductor, water in the cable or in a plug, a braid that takes one band (``faults.py``).
    steep_p, steep_shift, steep_spread : float
        A stock that takes far more with f than new: soaked, or with a braid that leaks.
    other_p, other_log : float
        A stock that is not what it is said to be, or not as long: chance and log spread of its law against the claim.
    own_spread, own_p, own_log : float
        A piece against its stock: usual log spread, and the chance and spread of one that is not as long as said.
    mismarked_p, mismarked_spread : float
        A 75-ohm line marked as one of 50 ohm: its chance, and the spread of its echoes as a share.
    wild_p, wild_db : float
        A reading written down wrong by a factor: a decimal, another range, another row.
    shared_p, shared_db, seat_p, seat_db, seat_spread_db : float
        All meters of a band misled alike by one path; a plug seated badly while several bands were read.
    step_p, step_db : float
        A source that stepped, or warmed up, between two insertions: all bands are moved alike from then on.
    jumper_p, jumper_db, jumper_spread_db : float
        A bad contact in the jumper.
    bend_spread, bend_p, bend_log : float
        A bend that all detectors share: its usual spread, and the chance and spread of one worth a name.
    rough_p, rough_exponent, rough_departure, rough_break_p : float
        A rougher bench altogether: its chance, how much wider exponents and departures are, and how often laws break.
    known_exponents : tuple of KnownExponent
        What earlier sessions showed of meters; such a meter takes this in place of ``exponent_in`` or ``exponent_out``.
    """

    exponent_in: float = 0.03
    exponent_out: float = 0.12
    exponent_shift_in: float = 0.012
    exponent_shift_out: float = 0.03
    exponent_shared: float = 0.25
    good_shift: float = 0.01
    good_spread: float = 0.035
    good_wet_spread: float = 0.10
    aged_p: float = 0.8
    bench_aged_p: float = 0.36
    aged_shift: float = 0.42
    aged_spread: float = 0.36
    wet_p: float = 0.30
    wet_spread: float = 0.50
    departure: float = 0.033
    worn_departure: float = 0.08
    worn_tilt: float = 0.22
    worn_tilt_spread: float = 0.20
    unknown_spread: float = 0.9
    connector_db_per_sqrt_mhz: float = 0.0017
    connector_spread: float = 0.5
    jumper_spread: float = 0.25
    noise_db: float = 0.036
    drift_db: float = 0.028
    card_db: float = 0.12
    zero_division: float = 0.15
    source_swr: float = 1.3
    meter_swr: float = 1.2
    source_swr_high: float = 1.45
    meter_swr_high: float = 1.3
    line_reflection: float = 0.03
    plug_reflection: float = 0.08
    delay_spread: float = 0.04
    level_db: float = 1.2
    misread_p: float = 0.05
    misread_db: float = 2.5
    wild_p: float = 0.012
    wild_db: float = 9.0
    insertion_p: float = 0.02
    insertion_db: float = 1.5
    break_p: float = 0.02
    break_log: float = 0.30
    bent_in_p: float = 0.02
    bent_out_p: float = 0.08
    bent_log: float = 0.4
    joint_p: float = 0.03
    joint_root_p: float = 0.008
    joint_db: float = 0.6
    joint_spread_db: float = 0.6
    joint_usual_db: float = 0.01
    contact_p: float = 0.02
    contact_db: float = 2.5
    contact_spread_db: float = 2.5
    open_p: float = 0.03
    water_p: float = 0.03
    wet_plug_p: float = 0.02
    notch_p: float = 0.008
    notch_db: float = 0.8
    notch_spread_db: float = 1.2
    steep_p: float = 0.05
    steep_shift: float = 1.1
    steep_spread: float = 0.6
    other_p: float = 0.09
    other_log: float = 0.7
    own_spread: float = 0.01
    own_p: float = 0.04
    own_log: float = 0.35
    mismarked_p: float = 0.06
    mismarked_spread: float = 0.2
    shared_p: float = 0.004
    shared_db: float = 3.5
    seat_p: float = 0.01
    seat_db: float = 1.0
    seat_spread_db: float = 1.5
    step_p: float = 0.02
    step_db: float = 0.35
    jumper_p: float = 0.03
    jumper_db: float = 0.4
    jumper_spread_db: float = 0.5
    bend_spread: float = 0.025
    bend_p: float = 0.06
    bend_log: float = 0.12
    noise_scales: tuple[float, ...] = (0.5, 1.0, 2.2, 5.0)
    noise_weights: tuple[float, ...] = (0.20, 0.47, 0.23, 0.10)
    rough_p: float = 0.2
    rough_exponent: float = 1.8
    rough_departure: float = 1.6
    rough_break_p: float = 0.06
    known_exponents: tuple[KnownExponent, ...] = ()

    def known_exponent(self, meter: str, frequency_hz: float) -> KnownExponent | None:
        """Return what earlier sessions showed of a meter on a band: within three per cent of the frequency."""
        return next((k for k in self.known_exponents if k.meter == meter and k.covers(frequency_hz)), None)


DEFAULT = Priors()

HIGH_HZ = 100e6
"""Above this, gear that states no SWR is taken to be further from a match."""

UNKNOWN_LAW = AttenuationLaw(k1_db_per_m=0.0095, k2_db_per_m=0.00007, spread=0.9)
"""Midway between thin and thick solid-PE 50-ohm cable: where a piece of unknown type starts from."""

UNKNOWN_VELOCITY, UNKNOWN_VELOCITY_SPREAD = 0.72, 0.12
"""Velocity factor of a piece of unknown type, between solid and foamed insulation, and its spread as a share."""
