"""Whatever a log holds, travel comes back whole or is refused with one line; nothing else, and no warning."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wayrule.errors import UndeterminedError
from wayrule.model import Recording, Wagon, Wheel
from wayrule.pipeline import travel

WAGON = Wagon("Van", "N", 160.0, 9.0, 40.0, Wheel(diameter_mm=6.0, ticks_per_turn=12, scale_sd=0.01))
SHAPES = ("noise", "constant", "ramp", "wave", "zeros", "huge", "steps", "nothing")


def signal(shape, rng, n):
    return {
        "noise": lambda: rng.normal(0.0, 5.0, n),
        "constant": lambda: np.full(n, 3.7),
        "ramp": lambda: np.linspace(-50.0, 90.0, n),
        "wave": lambda: 8.0 * np.sin(np.cumsum(rng.uniform(0.0, 3.0, n))),
        "zeros": lambda: np.zeros(n),
        "huge": lambda: rng.normal(0.0, 1e7, n),
        "steps": lambda: np.floor(np.linspace(0.0, 20.0, n)),
        "nothing": lambda: np.full(n, np.nan),
    }[shape]()


def one_line(refusal):
    assert str(refusal).startswith("odd: expected ")
    assert "\n" not in str(refusal)
    assert "; " in str(refusal)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    seed=st.integers(0, 10**6),
    n=st.integers(0, 400),
    wheel=st.sampled_from(["field_mt", "ticks_count", "wheel_mm_s", "wheel_mm", None]),
    shapes=st.lists(st.sampled_from(SHAPES), min_size=9, max_size=9),
    has_gyro=st.booleans(),
    has_acc=st.booleans(),
    holes=st.floats(0.0, 0.9),
    gaps=st.booleans(),
)
def test_whole_or_refused(seed, n, wheel, shapes, has_gyro, has_acc, holes, gaps):
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(1e-4, 0.02, n) * (rng.choice([1.0, 300.0], n, p=[0.98, 0.02]) if gaps else 1.0))

    def group(first, width):
        columns = np.column_stack([signal(shapes[first + k], rng, n) for k in range(width)]).reshape(n, width)
        columns[rng.random(n) < holes] = np.nan
        return columns if width > 1 else columns[:, 0]

    columns = {} if wheel is None else {wheel: group(0, 3 if wheel == "field_mt" else 1)}
    if has_gyro:
        columns["gyro_rad_s"] = group(3, 3)
    if has_acc:
        columns["acc_mm_s2"] = group(6, 3)
    try:
        found = travel(Recording(name="odd", t_s=t, **columns), WAGON)
    except UndeterminedError as refusal:
        one_line(refusal)
        return
    assert np.isfinite(found.distance_mm).all()
    assert np.isfinite(found.distance_sd_mm).all()
    assert np.isfinite(found.speed_mm_s).all()
    assert np.isfinite(found.speed_sd_mm_s).all()
    assert np.all(found.distance_sd_mm >= 0.0)
    assert np.all(found.speed_sd_mm_s >= 0.0)
    assert np.isin(found.state, (0, 1, 2)).all()
    if found.imu is not None:
        np.testing.assert_allclose(found.imu.rotation @ found.imu.rotation.T, np.eye(3), atol=1e-9)
        assert np.linalg.det(found.imu.rotation) == pytest.approx(1.0)
