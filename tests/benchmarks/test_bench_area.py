"""The bench area's own tools, and its quick rows."""

import numpy as np
import pytest

from benchmarks.benching import bodies, floors, speed
from benchmarks.benching.limits import limit_rows


def test_the_bodies_hold_what_was_promised():
    assert [row.what for row in bodies.body_rows() if not row.ok] == []


def test_the_limits_hold():
    assert [row.what for row in limit_rows(True) if not row.ok] == []


def test_the_yardstick_of_plates_is_the_dipole_where_the_plate_does_nothing():
    x, w = floors.panels(60.0)
    k = x / 10.0
    assert np.sum(k * k * np.exp(-x) * w / 10.0 * floors.plate(k, 1.0, 2.0)) == pytest.approx(2e-3, rel=1e-12)


def test_a_wrong_field_would_be_seen():
    exact = np.array([[1.0, 0.0, 0.0], [0.0, 2.0, 0.0]])
    assert bodies.worst(exact * (1 + 2e-6), exact) > 1e-6


def test_jobs_take_turns():
    order = []
    took = speed.in_turn((lambda: order.append("a"), lambda: order.append("b")), times=3)
    assert order == ["a", "b"] * 3
    assert len(took) == 2
    speed.bare(2, 100)()
