"""Connectors, fittings and bands."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.catalogue.bands import band, bands
from linewright.catalogue.connectors import connector, connectors, fittings, pair_loss_db
from linewright.catalogue.tables import rows
from linewright.core.errors import InputError, UnknownNameError
from linewright.core.formulas.mismatch import line_section, swr_from_reflection


def test_every_figure_says_where_it_comes_from():
    known = [f.provenance for one in (*connectors(), *fittings()) for f in one.figures.values()]
    known += [b.provenance for b in bands()]
    for provenance in known:
        assert provenance.grade in {"read", "memory", "class"}
        assert len(provenance.source) > 8


def test_the_heat_of_a_uhf_pair_is_the_fit_of_what_the_calorimeter_read():
    f, y = (np.array([float(r[c]) for r in rows("connector_points")]) for c in ("frequency_hz", "heat_db"))
    x = np.sqrt(f / 1e6) / y
    assert connector("UHF").heat_db == pytest.approx(x.sum() / (x**2).sum(), rel=0.005)
    assert np.all(abs(connector("UHF").heat_loss_db(f) / y - 1) < 0.37)


def test_only_the_uhf_family_has_an_impedance_step():
    assert [c.name for c in connectors() if c.line_section] == ["UHF"]


@pytest.mark.parametrize(("mhz", "swr"), [(30, 1.03), (50, 1.04), (145, 1.13), (435, 1.43)])
def test_its_section_shows_the_swr_worked_out_from_the_read_dimensions(mhz, swr):
    step = connector("SO-239").line_section
    s11, _ = line_section(mhz * 1e6, step.impedance_ohm, step.electrical_length_m)
    assert swr_from_reflection(s11) == pytest.approx(swr, abs=0.005)


def test_a_measured_uhf_connector_loses_about_what_half_a_pair_should():
    # 0.09 dB at 450 MHz per connector, measured, scale read to 0.01 dB: mailman.qth.net 2012-April message 168498
    assert float(pair_loss_db(connector("UHF"), 450e6)) / 2 == pytest.approx(0.09, abs=0.01)


def test_an_n_pair_stays_within_its_published_limit():
    # 0.15 dB at 10 GHz (from memory)
    assert pair_loss_db(connector("N"), 10e9) == pytest.approx(0.15, abs=0.01)


@pytest.mark.parametrize("name", ["", "XLR", "UHFF", "N75"])
def test_an_unknown_connector_is_an_error_that_lists_the_known(name):
    with pytest.raises(UnknownNameError, match="UHF"):
        connector(name)


def test_a_frequency_below_zero_is_refused():
    with pytest.raises(InputError):
        connector("N").heat_loss_db(-1.0)


def test_bands_rise_and_do_not_overlap():
    edges = [e for b in bands() for e in (b.low_hz, b.high_hz)]
    assert edges == sorted(edges)
    assert len(set(edges)) == len(edges)


@pytest.mark.parametrize(
    ("mhz", "name"), [(1.9, "160 m"), (14.2, "20 m"), (144.3, "2 m"), (432.1, "70 cm"), (27.5, None)]
)
def test_a_frequency_falls_into_its_band(mhz, name):
    assert [b.name for b in bands() if b.holds(mhz * 1e6)] == ([name] if name else [])


def test_every_band_defers_to_the_licence():
    assert all("licence decides" in b.provenance.note for b in bands())
    with pytest.raises(UnknownNameError, match="2 m"):
        band("11 m")
