"""The zone to keep clear holds every place where a level is reached, and little more."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.core.nouns.wire_antenna import Dipole, Vertical
from linewright.link.near_exposure import Levels, radiating_w, reach_from_wire, reach_on_ground, solved
from linewright.link.zone import Demand, zone

TEE, DIPOLE = Vertical(10.0, top_m=10.0), Dipole(10.1, 10.0)


def _zone(antenna, frequency_hz, level, power_w=100.0, loss_ohm=0.0):
    power = radiating_w(antenna, frequency_hz, power_w, loss_ohm)
    reach = reach_from_wire(antenna, frequency_hz, power, level).distance_m
    return zone(antenna, frequency_hz, [Demand(tuple(power), level)], reach), reach


@pytest.fixture(scope="module")
def tee():
    return _zone(TEE, 475e3, Levels(83.0, 21.0), loss_ohm=30.0)


def _area(spans):
    return sum((high - low) * (right - left) for low, high, left, right in spans)


def _inside(spans, level, upright):
    return any(low <= upright <= high and left <= level <= right for low, high, left, right in spans)


def test_a_zone_is_as_wide_on_the_ground_as_the_level_reaches_there(tee):
    found, _ = tee
    power = radiating_w(TEE, 475e3, 100.0, 30.0)
    reach = reach_on_ground(TEE, 475e3, power, Levels(83.0, 21.0)).distance_m
    assert max(span[3] for span in found.people) == pytest.approx(reach, rel=0.05)
    assert min(span[2] for span in found.people) == pytest.approx(-reach, rel=0.05)


def test_where_a_level_is_reached_the_picture_says_so(tee):
    found, reach = tee
    rng = np.random.default_rng(3)
    points = rng.uniform((-16, -8, 0.1), (16, 8, 16), (2000, 3))
    e, h = solved(TEE, 475e3).solutions[0].fields(points)
    root = np.sqrt(radiating_w(TEE, 475e3, 100.0, 30.0)[0])
    # Well over the level, so that a place between two rows counts as one or the other.
    for x, y, z in points[np.maximum(e * root / 83.0, h * root / 21.0) > 1.25]:
        assert _inside(found.above, x, y)
        assert _inside(found.side, x, z)
    assert reach > 5


def test_the_view_from_above_is_its_own_mirror_image(tee):
    found, _ = tee
    turned = {(-high, -low, *ends) for low, high, *ends in found.above}
    assert turned == set(found.above)


def test_people_below_a_high_wire_are_outside_its_zone():
    found, _ = _zone(DIPOLE, 14.1e6, Levels(47.1, 0.156))
    assert found.people == ()
    assert found.above
    assert min(low for low, *_ in found.side) > 7.0


def test_more_demands_never_shrink_a_zone():
    power = tuple(radiating_w(DIPOLE, 14.1e6, 100.0, 0.0))
    strict, lax = (Demand(power, Levels(*at)) for at in ((47.1, 0.156), (103.5, 0.348)))
    one, both = (zone(DIPOLE, 14.1e6, demands, 1.3) for demands in ([lax], [lax, strict]))
    assert _area(both.above) > _area(one.above)


def test_the_wires_are_in_the_picture():
    found, _ = _zone(TEE, 1.85e6, Levels(195.0, 1.19))
    assert ((0.0, 0.0, 0.0), (0.0, 0.0, 10.0)) in found.wires_m
