"""Station files: what the contract allows is read as meant, and what is wrong is named with its row and its cure."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.core.errors import InputError, SheetError, UnitError, UnknownNameError
from linewright.core.nouns.station import (
    ConnectorPart,
    LinePart,
    LossPart,
    SplitterPart,
    Station,
    SweepPart,
    TransformerPart,
    TunerPart,
)
from linewright.files.station import read_station, read_station_text
from linewright.files.station_chain import KINDS

CONTRACT = """\
[station]
name = "Harbour Ridge"
noise = "residential"
[[run]]
name = "two-metre beam"
frequencies = ["144.3 MHz"]
power = "50 W"
duty = 0.4
chain = [
  {line = "RG-58C/U", length = "1 m"},
  {connector = "N", pairs = 2},
  {piece = "blue 7"},
  {part = "surge arrestor", loss = "0.1 dB"},
  {touchstone = "filter.s2p"},
]
antenna = {swr = 1.5}
gain = "11 dBi"
receiver = {noise_figure = "4 dB"}
preamplifier = {gain = "18 dB", noise_figure = "0.8 dB", at = "antenna"}
evidence = ["spring.toml", "drum.s2p"]
"""
SPRING = """\
[[meter]]
name = "m"
[[piece]]
tag = "blue 7"
line = "RG-58C/U"
length = "7.2 m"
[[reading]]
meter = "m"
frequency = "14 MHz"
path = "blue 7"
reading = 5
"""
TWO_PORT = "# MHz S DB R 50\n100 -30 0 -0.4 -20 -0.5 -20 -25 0\n200 -30 0 -0.6 -40 -0.6 -40 -25 0\n"
ONE_PORT = "# MHz S MA R 50\n140 0.2 10\n150 0.25 20\n"
FILES = {
    "spring.toml": SPRING, "filter.s2p": TWO_PORT, "drum.s2p": TWO_PORT, "beam.s1p": ONE_PORT,
    "other.toml": SPRING.replace("7.2 m", "9.2 m"), "station2.toml": CONTRACT,
}  # fmt: skip


def _read(text: str = CONTRACT) -> Station:
    return read_station_text(text, FILES)


def _problems(text: str) -> list[InputError]:
    with pytest.raises(InputError) as caught:
        _read(text)
    error = caught.value
    return list(error.problems) if isinstance(error, SheetError) and error.problems else [error]


def _one(text: str) -> InputError:
    found = _problems(text)
    assert len(found) == 1, [str(e) for e in found]
    return found[0]


def _chain(entries: str, more: str = "") -> str:
    return (
        '[[run]]\nname = "r"\nfrequencies = "144 MHz"\npower = "50 W"\n'
        f'chain = [\n{entries}\n]\nantenna = {{swr = 1.5}}\n{more}'
    )  # fmt: skip


def test_the_station_of_the_contract_is_read_as_meant():
    station = _read()
    assert (station.name, station.noise, set(station.sheets)) == ("Harbour Ridge", "residential", {"spring.toml"})
    (run,) = station.runs
    assert (run.name, run.frequencies_hz, run.power_w, run.duty) == ("two-metre beam", (144.3e6,), 50.0, 0.4)
    line, connector, piece, arrestor, swept = run.chain
    assert isinstance(line, LinePart)
    assert (line.piece.length_m, line.piece.connectors, line.measured) == (1.0, 0, False)
    assert isinstance(connector, ConnectorPart)
    assert (connector.family, connector.pairs) == ("N", 2)
    assert isinstance(piece, LinePart)
    assert (piece.piece.tag, piece.piece.length_m, piece.measured) == ("blue 7", 7.2, True)
    assert isinstance(arrestor, LossPart)
    assert arrestor.loss_db == ((0.0, 0.1),)
    assert isinstance(swept, SweepPart)
    assert (swept.name, swept.sweep.ports) == ("filter.s2p", 2)
    assert run.antenna.swr == ((0.0, 1.5),)
    assert run.gain_dbi == 11.0
    assert run.receiver is not None
    assert run.receiver.noise_figure_db == 4.0
    assert run.preamplifier is not None
    assert (run.preamplifier.gain_db, run.preamplifier.at) == (18.0, "antenna")


def test_a_sweep_named_alone_is_of_the_only_piece_there_is_and_that_is_said():
    station = _read()
    assert [(e.piece, e.far_end) for e in station.sweeps] == [("blue 7", "through")]
    assert any("drum.s2p is taken as a sweep through blue 7" in said for said in station.remarks)


def test_every_kind_of_part_is_read():
    station = _read(
        _chain("""
  {tuner = "desk tuner", q_inductor = 100, q_capacitor = 500, match = "50 ohm", power = "200 W"},
  {transformer = "4:1", loss = [["100 MHz", "0.2 dB"], ["200 MHz", "0.3 dB"]], voltage = "1 kV"},
  {splitter = 2, kind = "tee", loss = "0.1 dB"},
  {touchstone = "filter.s2p", name = "filter", turned = true},
  {line = "window line", length = "50 ft", name = "feeder", temperature = "95 °F", cut = "half wave"},
  {line = "RG-213", length = "2 m", cut = "90 deg"},
  {line = "RG-213", length = "2 m"},
""")
    )
    tuner, balun, splitter, swept, feeder, first, second = station.runs[0].chain
    assert isinstance(tuner, TunerPart)
    assert (tuner.q_inductor, tuner.q_capacitor, tuner.match_ohm) == (100, 500, 50)
    assert tuner.ratings.power_w == ((0.0, 200.0),)
    assert isinstance(balun, TransformerPart)
    assert (balun.ratio, balun.loss_db) == (4.0, ((100e6, 0.2), (200e6, 0.3)))
    assert balun.ratings.voltage_v == ((0.0, 1000.0),)
    assert isinstance(splitter, SplitterPart)
    assert (splitter.ways, splitter.matched) == (2, False)
    assert isinstance(swept, SweepPart)
    turned = swept.sweep
    assert (abs(turned.s[0, 0, 0]), abs(turned.s[0, 1, 0])) == pytest.approx((10 ** (-25 / 20), 10 ** (-0.5 / 20)))
    assert isinstance(feeder, LinePart)
    assert feeder.piece.line is not None
    assert (feeder.piece.line.designator, feeder.cut_deg) == ("450-ohm windowed", 180.0)
    assert feeder.temperature_celsius == pytest.approx(35.0)
    assert feeder.piece.length_m == pytest.approx(15.24)
    assert [first.name, second.name] == ["RG-213/U, 2 m", "RG-213/U, 2 m (2)"]


def test_bands_are_planned_at_their_middle_and_that_is_said():
    text = _chain('{line = "RG-213", length = "2 m"}').replace('"144 MHz"', '["144.3 MHz"]\nbands = ["2 m", "70cm"]')
    station = _read(text)
    assert station.runs[0].frequencies_hz == (144.3e6, 146e6, 435e6)
    assert any("2 m is planned at 146 MHz" in said for said in station.remarks)


def test_power_fold_back_mode_and_exposure_are_read():
    more = """
duty = "50 %"
mode = "SSB"
fold_back = [[1.5, "100 %"], [3, "50 %"]]
gain = "8.85 dBd"
sky_temperature = "150 K"
temperature = "35 °C"
exposure = {limits = "ICNIRP 2020", ground_factor = 4, antenna_size = "2.3 m"}
"""
    run = _read(_chain('{line = "RG-213", length = "2 m"}', more)).runs[0]
    assert (run.duty, run.mode_factor, run.fold_back) == (0.5, 0.2, ((1.5, 1.0), (3.0, 0.5)))
    assert (run.gain_dbi, run.sky_temperature_kelvin, run.temperature_celsius) == (11.0, 150.0, 35.0)
    assert run.exposure.standards == ("ICNIRP 2020",)
    assert (run.exposure.ground_factor, run.exposure.antenna_size_m) == (4.0, 2.3)


def test_named_parts_stand_for_a_loss_or_for_a_chain():
    more = """
[[part]]
name = "shack end"
chain = [{line = "RG-213", length = "2 m"}, {part = "arrestor"}]
[[part]]
name = "arrestor"
loss = "0.1 dB"
voltage = "600 V"
"""
    first, second, third = _read(_chain('{part = "shack end"}, {part = "arrestor"}', more)).runs[0].chain
    assert isinstance(second, LossPart)
    assert isinstance(third, LossPart)
    assert second.ratings.voltage_v == third.ratings.voltage_v == ((0.0, 600.0),)
    assert (first.name, second.name, third.name) == ("RG-213/U, 2 m", "arrestor", "arrestor (2)")


def test_an_antenna_may_be_impedances_or_a_sweep():
    swept = _read(CONTRACT.replace("{swr = 1.5}", '{touchstone = "beam.s1p"}')).runs[0].antenna
    assert swept.sweep is not None
    listed = _read(CONTRACT.replace("{swr = 1.5}", '{impedance = [["144.3 MHz", "38-12j"]]}')).runs[0].antenna
    assert listed.impedance_ohm == ((144.3e6, 38 - 12j),)


@pytest.mark.parametrize(
    ("old", "new", "row", "words"),
    [
        ('length = "1 m"', 'length = "-1 m"', 10, "part 1 length must be above zero"),
        ('length = "1 m"', "length = 1", 10, "needs a number with its unit"),
        ('"N"', '"Q"', 11, "part 2 connector must be a family"),
        ("pairs = 2", "pairs = 0", 11, "pairs must be above zero"),
        ('piece = "blue 7"', 'piece = "blue 8"', 12, "'blue 8'"),
        ('loss = "0.1 dB"', 'loss = "-0.1 dB"', 13, "must not be negative"),
        (', loss = "0.1 dB"', "", 13, "must state its loss, or be named"),
        ("{touchstone", "{colour", 14, "must be of one kind"),
        ("swr = 1.5", "swr = 0.5", 16, "must be at least 1"),
        ("swr = 1.5", 'swr = 1.5, impedance = "50"', 16, "must be one of swr, impedance, touchstone"),
        ("144.3 MHz", "250 MHz", 9, "swept from 100 MHz to 200 MHz only; 250 MHz lies outside"),
        ("{swr = 1.5}", '{touchstone = "filter.s2p"}', 16, "must be a one-port"),
        ("{swr = 1.5}", '{swr = [["430 MHz", 1.5]]}', 16, "says nothing of 144.3 MHz"),
        ("{swr = 1.5}", '{impedance = "-3+4j"}', 16, "complex impedance"),
        ("{swr = 1.5}", "1.5", 16, "must be a table"),
        ("11 dBi", "11 dB", 17, "11 dBi"),
        ("4 dB", "-4 dB", 18, "must lie between 0 and 60 dB"),
        ('at = "antenna"', 'at = "attic"', 19, "must be one of antenna, radio"),
        ("duty = 0.4", "duty = 40", 8, "at most 1"),
        ("residential", "harbour", 3, "must be one of city"),
        ('frequencies = ["144.3 MHz"]', 'bands = ["3 m"]', 6, "must be an amateur band"),
        ('"spring.toml"', '"summer.toml"', 20, "summer.toml"),
        ('"spring.toml"', '"spring.toml", "other.toml"', 20, "'spring.toml' holds with another type"),
        ('"spring.toml"', '"spring.toml", "station2.toml"', 20, "is a station"),
        ('"spring.toml"', '"spring.toml", "station"', 20, "must be a bench sheet or a sweep"),
        ('"drum.s2p"', '"beam.s1p"', 20, "what was at its far end"),
        ('"drum.s2p"', '{piece = "red 1", touchstone = "drum.s2p"}', 20, "'red 1'"),
        ("noise =", "nose =", 3, "means nothing here"),
        ('{line = "RG-58C/U"', '"x", {line = "RG-58C/U"', 10, "part 1 must be a table"),
    ],
)
def test_what_is_wrong_is_named_with_its_row(old, new, row, words):
    assert old in CONTRACT
    found = _problems(CONTRACT.replace(old, new, 1))
    assert any(words in str(e) and e.where.row in (row, None) for e in found), [str(e) for e in found]
    other_file = ("summer.toml", "filter.s2p")
    assert any(e.where.row == row or e.where.file in other_file for e in found), [str(e) for e in found]


def test_several_problems_are_told_at_once():
    text = CONTRACT.replace('"1 m"', '"1"').replace("swr = 1.5", "swr = 0.2").replace('"50 W"', '"50"')
    assert [e.where.row for e in _problems(text)] == [7, 10, 16]


def test_two_runs_of_one_name_are_refused():
    text = CONTRACT + CONTRACT[CONTRACT.index("[[run]]") :]
    assert "'two-metre beam' stands twice" in str(_one(text))


def test_a_piece_lies_in_one_place_of_a_run():
    twice = CONTRACT.replace('{piece = "blue 7"}', '{piece = "blue 7"}, {piece = "blue 7"}')
    assert "holds the piece 'blue 7' twice" in str(_one(twice))


def test_parts_that_name_each_other_are_a_circle():
    more = '[[part]]\nname = "a"\nchain = [{part = "b"}]\n[[part]]\nname = "b"\nchain = [{part = "a"}]\n'
    (error,) = _problems(_chain('{part = "a"}', more))
    assert "goes round in a circle: a > b > a" in str(error)
    assert error.where.row == 14


def test_parts_that_hold_parts_twice_over_stay_within_reason():
    doubled = "".join(
        f'[[part]]\nname = "p{i}"\nchain = [{{part = "p{i + 1}"}}, {{part = "p{i + 1}"}}]\n' for i in range(40)
    )
    found = _problems(_chain('{part = "p0"}', f'{doubled}[[part]]\nname = "p40"\nloss = "0.1 dB"\n'))
    assert "must hold at most 200 parts" in str(found[0])


def test_a_station_that_names_itself_is_told_so(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(CONTRACT.replace('"spring.toml", "drum.s2p"', '"mine.toml"'), encoding="utf-8")
    with pytest.raises(InputError, match="names the station itself"):
        read_station(path)


def test_files_are_looked_for_beside_the_station(tmp_path):
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "mine.toml").write_text(CONTRACT, encoding="utf-8")
    station = read_station(tmp_path / "mine.toml")
    assert (station.pieces["blue 7"].length_m, len(station.sweeps)) == (7.2, 1)


def test_what_is_wrong_in_a_sheet_keeps_its_own_place():
    with pytest.raises(InputError) as caught:
        read_station_text(CONTRACT, {**FILES, "spring.toml": SPRING.replace('"7.2 m"', '"7.2"')})
    first, *_ = getattr(caught.value, "problems", ()) or (caught.value,)
    assert isinstance(first, UnitError)
    assert (first.where.file, first.where.row) == ("sheet", 6)


def test_a_sweep_that_could_be_of_two_pieces_must_say_of_which():
    text = CONTRACT + '[[piece]]\ntag = "red 3"\nline = "RG-213"\nlength = "3 m"\n'
    assert 'Write {piece = "blue 7", touchstone = "drum.s2p"}' in str(_one(text))
    told = _read(text.replace('"drum.s2p"', '{piece = "red 3", touchstone = "drum.s2p"}'))
    assert [e.piece for e in told.sweeps] == ["red 3"]
    named = read_station_text(text.replace("drum.s2p", "red-3.s2p"), {**FILES, "red-3.s2p": TWO_PORT})
    assert [e.piece for e in named.sweeps] == ["red 3"]


def test_an_unknown_piece_names_the_nearest():
    error = _one(CONTRACT.replace('piece = "blue 7"', 'piece = "blue 77"'))
    assert isinstance(error, UnknownNameError)
    assert "blue 7" in error.cure


def test_own_lines_are_taken():
    own = '[[line]]\nname = "drum wire"\npoints = [["10 MHz", "1.5 dB/100m"], ["1 GHz", "18 dB/100m"]]\n'
    station = _read(_chain('{line = "drum wire", length = "3 m"}', own))
    part = station.runs[0].chain[0]
    assert isinstance(part, LinePart)
    assert part.piece.line is not None
    assert part.piece.line.designator == "drum wire"


def test_tables_with_headers_of_their_own_are_read_as_inline_ones_are():
    text = """
[[run]]
name = "r"
frequencies = "144 MHz"
power = "50 W"
[run.antenna]
swr = 1.5
[[run.chain]]
line = "RG-213"
length = "2 m"
[[run.chain]]
part = "relay"
loss = "0.1 dB"
"""
    assert [p.name for p in _read(text).runs[0].chain] == ["RG-213/U, 2 m", "relay"]


def test_a_bench_sheet_is_no_station():
    assert "this is a bench sheet" in str(_one(SPRING))


value = st.sampled_from([
    '"1 m"', '"-1 m"', '"RG-213"', '"N"', '"0.1 dB"', '"blue 7"', "1", "0", "-1", "1.5", "nan", "1e400", "true", "[]",
    "{}", '""', '"filter.s2p"', '"beam.s1p"', '"none.s2p"', '"4:1"', '"0:0"', '"tee"', '"half wave"', '"35 °C"',
    "[[1]]", '[["144 MHz", "0.1 dB"]]', '[["144 MHz", 1.5], ["100 MHz", 2]]', '"50+j"', '"1..2+3j"', '"\\u0000"',
    "1979-05-27", '["144 MHz"]', '"2 m"', '"50 W"', '{swr = 1.5}', '{noise_figure = "4 dB"}', '{gain = "1 dB"}',
    '"40 %"', '"SSB"', "[{line = 3}]", "[[1.5, 0.5]]", '["other.toml"]', "[3]",
])  # fmt: skip
ENTRY = (
    *KINDS,
    "length",
    "name",
    "pairs",
    "loss",
    "swr",
    "voltage",
    "power",
    "turned",
    "q_inductor",
    "match",
    "kind",
    "x",
)
entry = st.dictionaries(st.sampled_from(ENTRY), value, max_size=4).map(
    lambda keys: "{" + ", ".join(f"{k} = {v}" for k, v in keys.items()) + "}"
)
RUN = (
    "name", "frequencies", "bands", "power", "duty", "mode", "fold_back", "antenna", "gain", "receiver", "preamplifier",
    "sky_temperature", "temperature", "exposure", "evidence", "colour",
)  # fmt: skip


@given(
    st.lists(entry, max_size=4),
    st.dictionaries(st.sampled_from(RUN), value, max_size=8),
    st.dictionaries(st.sampled_from(["name", "noise", "evidence", "colour"]), value, max_size=2),
    st.lists(entry, max_size=2),
)
def test_any_station_is_read_or_refused_clearly(chain, keys, head, shared):
    lines = ["[station]", *(f"{k} = {v}" for k, v in head.items()), "[[run]]", *(f"{k} = {v}" for k, v in keys.items())]
    lines += ["chain = [", *(f"  {e}," for e in chain), "]", "[[part]]", 'name = "N"', f"chain = [{', '.join(shared)}]"]
    found = _read_or_refused("\n".join(lines))
    if isinstance(found, InputError):
        for one in getattr(found, "problems", ()) or (found,):
            assert one.argument
            assert one.rule
            assert one.where.file
    else:
        assert found.runs


def _read_or_refused(text: str) -> Station | InputError:
    try:
        return _read(text)
    except InputError as error:
        return error
