"""Changes in plain words do what they say, to what they name, and say what is wrong when they cannot."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError
from linewright.core.nouns.station import LinePart, PreamplifierPart, Run, Sky, Station
from linewright.verbs.changes import changed, read_change
from workflows.stations import TEXT, station

BEAM = station()


def _beam(*changes: str) -> Run:
    return changed(BEAM, changes, "beam").run("beam")


def _line(run: Run, place: int) -> LinePart:
    part = run.chain[place]
    assert isinstance(part, LinePart)
    return part


def test_a_line_takes_another_type_and_keeps_its_length():
    part = _line(_beam("line 2 = RG-58C/U"), 2)
    assert part.piece.line is not None
    assert (part.name, part.piece.line.designator, part.piece.length_m) == ("RG-58C/U, 20 m", "RG-58C/U", 20.0)


def test_several_changes_are_made_one_after_the_other():
    run = _beam("line 2 length = 40 ft", "line 2 = foam low-loss 10 mm", "power = 100 W", "antenna swr = 2")
    part = _line(run, 2)
    assert part.piece.length_m == pytest.approx(12.192)
    assert part.name.startswith("foam low-loss 10 mm")
    assert (run.power_w, run.antenna.swr) == (100.0, ((0.0, 2.0),))


JUMPER, PAIRS, FEEDER, ARRESTOR = "RG-58C/U, 1 m", "2 pairs of N connectors", "RG-213/U, 20 m", "surge arrestor"


@pytest.mark.parametrize(
    ("change", "names"),
    [
        ("drop part 4", [JUMPER, PAIRS, FEEDER]),
        ('drop part "surge arrestor"', [JUMPER, PAIRS, FEEDER]),
        ("drop line 1", [PAIRS, FEEDER, ARRESTOR]),
        ("part 3 = line RG-213, length 5 m", [JUMPER, PAIRS, "RG-213/U, 5 m", ARRESTOR]),
        ("add part 1 = part filter, loss 0.5 dB", ["filter", JUMPER, PAIRS, FEEDER, ARRESTOR]),
        ('add part = {part = "relay", loss = "0.05 dB"}', [JUMPER, PAIRS, FEEDER, ARRESTOR, "relay"]),
        ("connector = 7-16", [JUMPER, "2 pairs of 7-16 connectors", FEEDER, ARRESTOR]),
        ("add part 3 = preamplifier lna, gain 22 dB, noise figure 0.4 dB", [JUMPER, PAIRS, "lna", FEEDER, ARRESTOR]),
    ],
)
def test_parts_come_and_go(change, names):
    assert [p.name for p in _beam(change).chain] == names


@pytest.mark.parametrize(
    ("change", "attribute", "value"),
    [
        ("power = 37 dBm", "power_w", pytest.approx(5.01, abs=0.01)),
        ("frequency = 144.3 MHz, 145 MHz", "frequencies_hz", (144.3e6, 145e6)),
        ("duty = 0.5", "duty", 0.5),
        ("duty = 1", "duty", 1.0),
        ("mode = SSB", "mode_factor", 0.2),
        ("gain = 10 dBd", "gain_dbi", 12.15),
        ("sky temperature = 200 K", "sky_temperature_kelvin", 200.0),
        ("drop receiver", "receiver", None),
        ('fold back = [[1.5, "100 %"], [3, "50 %"]]', "fold_back", ((1.5, 1.0), (3.0, 0.5))),
    ],
)
def test_settings_are_changed(change, attribute, value):
    assert getattr(_beam(change), attribute) == value


def test_a_preamplifier_in_the_chain_changes_like_any_part():
    run = _beam("add part 1 = preamplifier lna, gain 22 dB, noise temperature 28 K", "part lna gain = 18 dB",
                "part lna loss = 0.2 dB", "part lna noise figure = 1 dB", "part 5 temperature = 77 K")  # fmt: skip
    lna = run.chain[0]
    assert isinstance(lna, PreamplifierPart)
    assert (lna.gain_db, lna.noise_figure_db, lna.loss_db) == (18.0, 1.0, ((0.0, 0.2),))
    assert run.chain[4].temperature_celsius == pytest.approx(77 - 273.15)


def test_a_receiver_and_a_sky_are_stated_in_either_way():
    run = _beam("receiver = 290 K", "sky = elevation 30 deg, ground 10 %")
    assert run.receiver is not None
    assert run.receiver.noise_figure_db == pytest.approx(3.0103, abs=1e-4)
    assert run.sky == Sky(30.0, 0.1)
    warm = changed(BEAM, ["sky = elevation 30 deg, ground 10 %", "sky temperature = 50 K"], "beam").run("beam")
    assert (warm.sky, warm.sky_temperature_kelvin) == (None, 50.0)
    assert changed(BEAM, ["sky = elevation 5 deg, ground 50 %", "drop sky"], "beam").run("beam").sky is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("sky = elevation 120 deg, ground 10 %", "between 0 and 90"), ("sky = elevation 5 deg, ground 150 %", "0 to 1"),
        ("sky = up", "must give elevation, ground"), ("receiver = 35", "noise figure|unit"),
    ],
)  # fmt: skip
def test_what_a_sky_or_a_receiver_cannot_be_is_refused(change, words):
    with pytest.raises(InputError, match=words):
        _beam(change)


def test_a_preamplifier_is_added_whole_and_then_moved():
    run = _beam("add preamplifier = gain 18 dB, noise figure 0.8 dB, at antenna", "preamplifier at = radio")
    assert run.preamplifier is not None
    assert (run.preamplifier.gain_db, run.preamplifier.noise_figure_db, run.preamplifier.at) == (18.0, 0.8, "radio")


def test_the_noise_of_the_site_is_the_stations():
    assert changed(BEAM, ["noise = city"]).noise == "city"


def test_a_change_is_made_in_every_run_it_fits_and_in_the_one_it_names():
    power = changed(BEAM, ["power = 10 W"])
    assert [r.power_w for r in power.runs] == [10.0, 10.0]
    named = changed(BEAM, ["wire: power = 10 W"])
    assert [r.power_w for r in named.runs] == [50.0, 10.0]
    fits = changed(BEAM, ["tuner q inductor = 300"])
    assert fits.run("beam") == BEAM.run("beam")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("lnie 2 = RG-58", 'Did you mean "line"'),
        ("line 7 = RG-58", "part 3 (RG-213/U, 20 m)"),
        ("line 2 = RG-231", "Nearest"),
        ("line 2", "must give a new value"),
        ("drop part 3 = x", "give it no value"),
        ("line 1 colour = red", "It has"),
        ("line 2 length = -3 m", "must be above zero"),
        ("line 2 length = 30", "needs a number with its unit"),
        ("antenna swr = 0.5", "must be at least 1"),
        ("attic: power = 3 W", "must be a run of Test hill"),
        ("preamplifier at = radio", "has no preamplifier"),
        ("drop preamplifier", "must speak of something in the run"),
        ("add part 9 = part x, loss 1 dB", "must speak of something in the run"),
        ("add part = 3", "must be an entry of a chain"),
        ("part 3 = part x, loss 1", "needs a number with its unit"),
        ("", "must say what becomes what"),
        ("noise = loud", "must be one of city"),
        ('antenna impedance = [["7 MHz", "50"]]', "says nothing of 144.3 MHz"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_said_with_what_can(change, words):
    with pytest.raises(InputError) as caught:
        _beam(change)
    assert words in str(caught.value)


WHAT = ["line", "part", "piece", "drop part", "add part", "antenna swr", "power", "preamplifier", "tuner"]
VALUES = ["", " = 3", " = RG-58", " = {}", " = []", " = nan", " = part x, loss 1 dB", " = {line = 3}"]
pieced = st.tuples(
    st.sampled_from(WHAT), st.sampled_from(["", " 1", " 9", ' "x"', " length", " 1 loss"]), st.sampled_from(VALUES)
).map("".join)


def _made_or_refused(text: str) -> Station | InputError:
    try:
        return changed(BEAM, [text])
    except InputError as error:
        return error


@given(st.one_of(st.text(max_size=40), pieced))
def test_any_change_is_made_or_refused_clearly(text):
    found = _made_or_refused(text)
    assert isinstance(found, Station) or (found.argument and found.rule)


def test_a_change_is_read_as_written():
    change = read_change('wire: part "desk tuner" q inductor = 300')
    assert (change.run, change.what, change.value) == ("wire", ("part", "desk tuner", "q", "inductor"), 300)
    assert TEXT.count("[[run]]") == 2
