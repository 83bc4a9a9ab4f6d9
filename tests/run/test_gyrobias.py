"""The gyro's bias against temperature, as it was made."""

import numpy as np
import pytest

from wayrule.errors import UndeterminedError
from wayrule.model import Rest
from wayrule.run.gyrobias import bias_at_rest, bias_text
from wayrule.units import DEG

BIAS, PER_K = np.array([0.4, -1.2, 0.05]) * DEG, np.array([0.01, 0.0, -0.03]) * DEG


def at(temp_c: float, rng: np.random.Generator, wander: float = 3e-5) -> Rest:
    read = BIAS + PER_K * (temp_c - 20.0) + rng.normal(0.0, wander, 3)
    return Rest("a", "", 0.0, 60.0, read, np.full(3, 1e-5), np.zeros(3), np.ones(3), temp_c)


def test_bias_and_its_change_with_temperature_within_their_sds() -> None:
    rng, off = np.random.default_rng(1), []
    for _ in range(60):
        found = bias_at_rest([at(t, rng) for t in (16.0, 18.0, 21.0, 25.0)])
        off.append((found.per_k_rad_s - PER_K) / found.per_k_sd_rad_s)
        assert found.temp_c == 20.0
        assert found.bias_rad_s == pytest.approx(BIAS, abs=4 * found.bias_sd_rad_s.max())
    assert 0.4 < np.sqrt(np.mean(np.square(off))) < 1.2


def test_where_the_rests_scatter_the_next_bias_is_as_unsure() -> None:
    rng = np.random.default_rng(2)
    wild = bias_at_rest([at(20.0, rng, 1e-3) for _ in range(12)])
    assert wild.bias_sd_rad_s.mean() == pytest.approx(1e-3, rel=0.4)
    assert np.isnan(wild.per_k_rad_s).all()


def test_one_rest_or_an_even_room_shows_no_change_with_temperature() -> None:
    rng = np.random.default_rng(3)
    for temps in ((20.0,), (20.0, 20.5, 21.0), (10.0, 30.0), (10.0, 20.0, float("nan"))):
        assert np.isnan(bias_at_rest([at(t, rng) for t in temps]).per_k_rad_s).all()
    text = bias_text(bias_at_rest([at(15.0, rng), at(20.0, rng), at(25.0, rng)]))
    assert text.startswith("Gyro bias x +0.40")
    assert "at 20 degC, from 3 rests; with each kelvin +0.01" in text


def test_no_gyro_is_refused() -> None:
    deaf = Rest("a", "", 0.0, 60.0, np.full(3, np.nan), np.full(3, np.nan), np.zeros(3), np.ones(3))
    with pytest.raises(UndeterminedError, match="expected a rest with a gyro, came none"):
        bias_at_rest([deaf])
