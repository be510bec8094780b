"""Fields kept in a folder: what comes back is what went in, or nothing; and a plan that finds them solves nothing."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from linewright.core.nouns.wire_antenna import Dipole
from linewright.files.field_cache import ENDING, FieldCache
from linewright.link import near_exposure
from linewright.link.near_exposure import Levels, radiating_w, reach_from_wire, solved
from linewright.link.zone import Demand, zone
from linewright.verbs.exposure import exposure_as_written
from linewright.verbs.fields_kept import VARIABLE

ARRAYS = {"e": np.linspace(0.0, 1.0, 7, dtype="<f4").reshape(7, 1), "z": np.array([1 + 2j, 3.0])}
ASKED = {"power": "100 W", "antenna": "dipole, length 10.1 m, height 4 m", "at": ["14.1 MHz"], "duty": "100 %",
         "mode": "CW", "ground": "EPA"}  # fmt: skip


def _same(found):
    return found is not None and all(np.array_equal(found[name], ARRAYS[name]) for name in ARRAYS)


def _file(folder):
    (path,) = folder.glob(f"*{ENDING}")
    return path


@pytest.fixture
def forget():
    """Forget what is in memory, before and after; ask no keeper after."""

    def clear():
        for function in ("solved", "_solutions", "_about_wires", "_level_places"):
            getattr(near_exposure, function).cache_clear()

    clear()
    yield clear
    near_exposure.keep_fields_in(None)
    clear()


def test_what_was_kept_comes_back(tmp_path):
    FieldCache(tmp_path / "deep" / "folder", "1").put("a", ARRAYS)
    assert _same(FieldCache(tmp_path / "deep" / "folder", "1").get("a"))
    assert not list(tmp_path.rglob("*.part"))


def test_another_key_or_another_code_finds_nothing(tmp_path):
    FieldCache(tmp_path, "1").put("a", ARRAYS)
    assert FieldCache(tmp_path, "1").get("b") is None
    assert FieldCache(tmp_path, "2").get("a") is None


def test_a_file_in_the_place_of_another_key_is_not_taken(tmp_path):
    kept = FieldCache(tmp_path, "1")
    kept.put("a", ARRAYS)
    _file(tmp_path).rename(kept._path("b"))
    assert kept.get("b") is None


def test_no_damage_is_ever_taken_for_fields(tmp_path):
    kept = FieldCache(tmp_path, "1")
    kept.put("a", ARRAYS)
    path = _file(tmp_path)
    whole = path.read_bytes()
    damaged = [whole[:n] for n in range(0, len(whole), 3)]
    damaged += [whole[:i] + bytes([whole[i] ^ 0x10]) + whole[i + 1 :] for i in range(len(whole))]
    for raw in [*damaged, b"\xff\n", b"[]\n", b'{"key": 1}\n']:
        path.write_bytes(raw)
        assert kept.get("a") is None, raw[:60]
    kept.put("a", ARRAYS)
    assert _same(kept.get("a"))


def test_many_writers_and_readers_never_meet_a_half_written_file(tmp_path):
    large = {"e": np.arange(60_000, dtype="<f4")}
    met = []

    def work():
        kept = FieldCache(tmp_path, "1")
        for _ in range(20):
            kept.put("a", large)
            met.append(kept.get("a"))

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(met) == 80
    assert all(found is not None and np.array_equal(found["e"], large["e"]) for found in met)


def test_the_folder_never_grows_beyond_its_bound_and_the_latest_stays(tmp_path):
    kept = FieldCache(tmp_path, "1", most_bytes=50_000)
    for i in range(40):
        kept.put(str(i), {"e": np.zeros(1000)})
        assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 50_000
    assert kept.get("39") is not None
    assert kept.get("0") is None


def test_a_folder_that_cannot_be_written_stops_nobody(tmp_path):
    (tmp_path / "file").write_text("in the way")
    kept = FieldCache(tmp_path / "file" / "folder", "1")
    kept.put("a", ARRAYS)
    assert kept.get("a") is None


def test_fields_that_were_kept_are_found_again_to_the_last_bit_and_nothing_is_solved(tmp_path, forget, monkeypatch):
    dipole, f, levels = Dipole(10.1, 4.0), 14.1e6, Levels(47.1, 0.156)

    def found():
        power = radiating_w(dipole, f, 100.0, 0.0)
        reach = reach_from_wire(dipole, f, power, levels)
        return reach, zone(dipole, f, [Demand(tuple(power), levels)], 1.2)

    alone = found()
    forget()
    near_exposure.keep_fields_in(FieldCache(tmp_path, "1"))
    fresh = found()
    forget()
    monkeypatch.setattr(near_exposure, "solve_over", None)
    assert found() == fresh == alone
    assert solved(dipole, f).is_short is False


def test_the_variable_names_the_folder_or_switches_it_off(tmp_path, forget, monkeypatch):
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    kept = exposure_as_written(ASKED)
    assert len(list(tmp_path.glob(f"*{ENDING}"))) >= 2
    forget()
    monkeypatch.setattr(near_exposure, "solve_over", None)
    assert exposure_as_written(ASKED) == kept
    forget()
    monkeypatch.setenv(VARIABLE, "off")
    with pytest.raises(TypeError):
        exposure_as_written(ASKED)
