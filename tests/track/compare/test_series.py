"""A garden line over a year: what sank is told, place by place; what stayed is not."""

from dataclasses import replace

import numpy as np
import pytest

from tests.track.compare.seen import surveyed
from tests.track.synthetic_stations import HO, Noise, random_line, stations
from wayrule.errors import UsageError
from wayrule.model import Stations
from wayrule.track.compare.series import series

QUIET = Noise("quiet", 2e-6, 1e-4, 0.01, 0.0)


def season(noise_seed: int, sunk_mm: float = 0.0) -> Stations:
    """A line whose last third sinks by so much, smoothly over a metre."""
    line = stations(HO, random_line(np.random.default_rng(3), HO), QUIET, np.random.default_rng(noise_seed))
    share = np.clip((line.s_mm / line.length_mm - 0.6) / 0.15, 0.0, 1.0)
    down = -sunk_mm * share**2 * (3 - 2 * share)
    return replace(line, z_mm=line.z_mm + down, gradient=line.gradient + np.gradient(down, line.s_mm))


def test_what_sank_is_told_with_size_and_sign_and_the_rest_is_not() -> None:
    names = ("spring", "summer", "autumn")
    found, pairs = series([surveyed(season(k, 9.0 * k), name) for k, name in enumerate(names)])
    assert (found.names, len(pairs)) == (names, 2)
    low = found.places_mm < 0.55 * found.places_mm[-1]
    high = found.places_mm > 0.8 * found.places_mm[-1]
    step = found.height_mm[:, high].mean(axis=1) - found.height_mm[:, low].mean(axis=1)
    # 18 mm by autumn; noise: 1e-4 of gradient over 65 mm wanders by 0.4 mm on some metres, twice
    np.testing.assert_allclose(step, [0.0, -9.0, -18.0], atol=1.5)
    moved = np.array(found.height_moved)
    assert moved[high].all()
    assert not moved[low][2:].any()
    assert not any(found.plan_moved)
    assert (found.height_mm[0] == 0).all()


def test_a_series_of_one_is_refused() -> None:
    with pytest.raises(UsageError, match="at least two surveys"):
        series([surveyed(season(0))])
