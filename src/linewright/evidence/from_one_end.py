"""Tests with one end in hand, put down as losses told directly, so that the bench engine hears them with the rest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import sqrt

from linewright.evidence.one_end.flat import frequency_likelihoods
from linewright.model.bench import BenchSheet, Meter, Reading
from linewright.model.one_end import OneEndTest

LEAST_SD_DB = 0.01
"""No test from one end knows a loss better."""


def with_one_end(sheet: BenchSheet) -> BenchSheet:
    """Return the sheet with every method of every test from one end as readings on a scale of loss.

    A reading stands for an even spread of the mean and standard deviation of its likelihood: the engine needs no more.
    Methods stay apart, so that one may be doubted and the others not.
    """
    told = [reading for test in sheet.one_end for reading in _told(test)]
    names = dict.fromkeys(reading.meter for reading in told)
    return replace(
        sheet,
        meters=(*sheet.meters, *(Meter(name, "loss") for name in names)),
        readings=(*sheet.readings, *told),
        one_end=(),
    )


def _told(test: OneEndTest) -> Iterator[Reading]:
    for method in dict.fromkeys(r.method for r in test.readings):
        some = replace(test, readings=tuple(r for r in test.readings if r.method == method))
        for said in frequency_likelihoods(some):
            half = sqrt(3.0) * max(said.sd_db, LEAST_SD_DB)
            yield Reading(
                said.rows[0], method, said.frequency_hz, (test.tag,), said.mean_db,
                low=said.mean_db - half, high=said.mean_db + half,
            )  # fmt: skip
