"""How the figures of a choice were worked out: losses, prices, longest runs, and what may be done instead."""

from __future__ import annotations

from collections.abc import Iterator

from linewright.core.formatting import digits, frequency, interval, metres, plain, quantity, reach, signed
from linewright.core.messages import say
from linewright.core.nouns.bench_result import Working
from linewright.core.nouns.choice import LongestRun, Option, Remedy

WALKED = say("each part walked from the antenna to the radio as in a plan, with the same draws")


def losses_worked(option: Option) -> Iterator[Working]:
    """Yield how the loss of a choice was worked out at each frequency."""
    for b in option.bands:
        loss = interval(b.loss_db, b.loss_db_low, b.loss_db_high)
        yield Working(
            say("loss of {choice} at {f}", choice=option.name, f=frequency(b.frequency_hz)),
            say("10 lg(power into the run / power the antenna takes), in the middle of the draws"),
            (
                (say("limit"), quantity(digits(b.limit_db), "dB")),
                (say("loss"), quantity(plain(b.loss_db, 3), "dB")),
                (say("95 % of the draws"), loss),
                (say("90th percentile"), quantity(plain(b.loss_db_90, 3), "dB")),
                (say("kept with p"), plain(b.p_meets, 2)),
            ),
            WALKED,
            ("loss", option.name, b.frequency_hz),
        )


def prices_worked(option: Option, currency: str) -> Iterator[Working]:
    """Yield what each section of a choice costs; one on hand costs nothing."""
    for s in option.stretches:
        if s.price is not None and not s.on_hand:
            price = plain(s.price, 2)
            yield Working(
                say("price of {line}", line=s.name),
                say("length · price by length + 2 · price of a connector"),
                ((say("length"), metres(s.length_m)),
                 (say("price"), quantity(price, currency) if currency else price)),
                say("Your own prices."),
                ("price", s.name),
            )  # fmt: skip


def longest_worked(r: LongestRun) -> Working:
    """Return how the longest run of a line was worked out at one frequency."""
    return Working(
        say("longest run of {line} at {f}", line=r.line, f=frequency(r.frequency_hz)),
        say("the length at which the mean loss of the whole run meets its limit"),
        (
            (say("limit"), quantity(digits(r.limit_db), "dB")),
            (say("length"), metres(r.length_m)),
            (say("95 %, by the 97.5 % and 2.5 % quantiles of the loss"), reach(r.length_m_low, r.length_m_high)),
        ),
        WALKED,
        ("longest", r.line, r.frequency_hz),
    )


def remedy_worked(r: Remedy, sent_db: tuple[float, float], heard_db: tuple[float, float] | None) -> Working:
    """Return how a remedy was held against the run as it is; pairs are decibels lost before and after it."""
    inputs = [(say("loss on sending, before and after"), _pair(sent_db)),
              (say("gained on sending"), quantity(signed(r.transmit_gain_db, 3), "dB"))]  # fmt: skip
    if heard_db is not None and r.reception_gain_db is not None:
        inputs += [(say("signal-to-noise lost, before and after"), _pair(heard_db)),
                   (say("gained on reception"), quantity(signed(r.reception_gain_db, 3), "dB"))]  # fmt: skip
    if r.price is not None:
        inputs.append((say("price"), plain(r.price, 2)))
    return Working(
        say("instead of another line: {what}", what=r.what),
        say("decibels lost as it is less decibels lost with the remedy, means over the bands; price over the larger"),
        tuple(inputs),
        WALKED,
        ("remedy", r.kind),
    )


def _pair(db: tuple[float, float]) -> str:
    return say("{before}, {after}", before=quantity(plain(db[0], 3), "dB"), after=quantity(plain(db[1], 3), "dB"))
