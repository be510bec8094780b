"""Reading what a long sweep says takes less time than reading its file."""

from __future__ import annotations

import time

import skrf

from evidence.made_sweeps import Made, sweep_of
from linewright.evidence.sweeps.two_port import read_two_port


def _seconds(work) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def test_a_hundred_thousand_points_are_read_faster_than_their_file(tmp_path):
    network = Made(points=100_000).line()
    network.write_touchstone("long", dir=tmp_path)
    sweep = sweep_of(network, noise=1e-4)
    file_s = min(_seconds(lambda: skrf.Network(str(tmp_path / "long.s2p"))) for _ in range(2))
    read_s = min(_seconds(lambda: read_two_port(sweep)) for _ in range(3))
    assert read_s < file_s
