"""The optimal cut against every possible cut, and against an independent least-squares routine."""

import itertools
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.maths.segmentation import ZERO, Piece, Shape, best_partition

SHAPES = (
    Shape("zero", ZERO, 2.0),
    Shape("flat", 0, 3.0, min_blocks=2),
    Shape("ramp", 1, 4.0, min_blocks=3),
    Shape("unexplained", 0, 1.0, max_blocks=2, cost_per_block=1.5, alone=True),
)


def piece_cost(x, y, weight, shape, i, j):
    """Cost of one piece with numpy's own polynomial fit."""
    if j - i < shape.min_blocks or (shape.max_blocks is not None and j - i > shape.max_blocks):
        return np.inf
    if shape.cost_per_block is not None:
        return shape.penalty + shape.cost_per_block * (j - i)
    fit = np.zeros(j - i)
    if shape.order >= 0:
        basis = np.vander(x[i:j] - x[i], shape.order + 1) * np.sqrt(weight[i:j])[:, None]
        coef = np.linalg.lstsq(basis, y[i:j] * np.sqrt(weight[i:j]), rcond=None)[0]
        fit = np.vander(x[i:j] - x[i], shape.order + 1) @ coef
    return shape.penalty + float(np.sum(weight[i:j] * (y[i:j] - fit) ** 2))


def brute_force(x, y, weight, shapes):
    """Least cost over all 2^(n-1) cuts and all shapes of each piece."""
    n = len(x)
    spans = [(i, j) for i in range(n) for j in range(i + 1, n + 1)]
    table = {(i, j): [piece_cost(x, y, weight, s, i, j) for s in shapes] for i, j in spans}
    alone = [s.alone for s in shapes]
    best = np.inf
    for r in range(n):
        for cuts in itertools.combinations(range(1, n), r):
            costs = [table[a, b] for a, b in itertools.pairwise((0, *cuts, n))]
            # least over shape choices without two neighbours that are both alone: follow both kinds of last piece
            together, apart = 0.0, np.inf
            for c in costs:
                social = min(v for v, a in zip(c, alone, strict=True) if not a)
                lone = min((v for v, a in zip(c, alone, strict=True) if a), default=np.inf)
                together, apart = min(together, apart) + social, together + lone
            best = min(best, together, apart)
    return best


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), n=st.integers(1, 10))
def test_no_cut_is_better(seed, n):
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(0.5, 2.0, n))
    y = rng.choice([0.0, 2.0, -3.0]) + np.cumsum(rng.normal(0, 1.5, n) * (rng.random(n) < 0.4)) + rng.normal(0, 0.5, n)
    weight = rng.uniform(0.2, 3.0, n)
    pieces, cost = best_partition(x, y, weight, SHAPES)
    assert cost == pytest.approx(brute_force(x, y, weight, SHAPES), abs=1e-8)
    # the pieces are a cut, and they cost what is said
    assert pieces[0].start == 0
    assert pieces[-1].stop == n
    assert all(a.stop == b.start for a, b in itertools.pairwise(pieces))
    assert not any(a.name == b.name == "unexplained" for a, b in itertools.pairwise(pieces))
    by_name = {s.name: s for s in SHAPES}
    assert sum(piece_cost(x, y, weight, by_name[p.name], p.start, p.stop) for p in pieces) == pytest.approx(cost)


def test_weightless_blocks_do_not_matter():
    x = np.arange(12.0)
    y = np.where(x < 6, 0.0, 5.0)
    weight = np.ones(12)
    weight[2:4] = 0.0
    y[2:4] = 1e6
    pieces, _ = best_partition(x, y, weight, SHAPES[:2])
    assert pieces == (Piece("zero", 0, 6), Piece("flat", 6, 12))


def test_shapes_are_told_apart():
    x = np.arange(60.0)
    y = np.interp(x, [0, 20, 40, 60], [0, 0, 10, 10])
    y[50] = 40.0
    pieces, _ = best_partition(x, y, np.full(60, 100.0), SHAPES)
    # where flat meets ramp a block fits both, so a place may differ by one
    assert [p.name for p in pieces] == ["zero", "ramp", "flat", "unexplained", "flat"]
    assert [p.start for p in pieces[:3]] == pytest.approx([0, 20, 40], abs=1)
    assert (pieces[3].start, pieces[3].stop) == (50, 51)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_mirror_and_reversal(seed):
    rng = np.random.default_rng(seed)
    n = 40
    x = np.arange(float(n))
    y = np.repeat(rng.normal(0, 3, 4), 10) + rng.normal(0, 0.3, n)
    weight = np.full(n, 9.0)
    pieces, cost = best_partition(x, y, weight, SHAPES)
    mirrored, cost_m = best_partition(x, -y, weight, SHAPES)
    back, cost_b = best_partition(x, y[::-1].copy(), weight, SHAPES)
    assert mirrored == pieces
    assert (cost_m, cost_b) == pytest.approx((cost, cost))
    if len({p.name for p in pieces}) == len(pieces):  # no ties of equal cost: the same pieces from the other end
        assert sorted((n - p.stop, n - p.start) for p in back) == [(p.start, p.stop) for p in pieces]


def test_speed_is_as_stated():
    """Two thousand blocks within a second on any machine that runs the tests (stated: 0.2 s)."""
    rng = np.random.default_rng(3)
    y = np.repeat(rng.normal(0, 3, 20), 100) + rng.normal(0, 1, 2000)
    start = time.perf_counter()
    pieces, _ = best_partition(np.arange(2000.0), y, np.ones(2000), [Shape("flat", 0, 20.0), Shape("ramp", 1, 25.0)])
    assert time.perf_counter() - start < 2.0
    assert 10 <= len(pieces) <= 21


@pytest.mark.parametrize(
    ("x", "y", "weight", "shapes", "message"),
    [
        ([0.0, 1.0], [0.0], [1.0, 1.0], SHAPES, "must be of one length, came 2, 1, 2"),
        ([0.0, 1.0], [0.0, np.nan], [1.0, 1.0], SHAPES, "give weight 0 to a missing value"),
        ([0.0, 1.0], [0.0, 1.0], [1.0, 1.0], (Shape("flat", 0, 1.0, min_blocks=3),), "no cut of 2 blocks fits"),
    ],
)
def test_refusals(x, y, weight, shapes, message):
    with pytest.raises(ValueError, match="best_partition") as caught:
        best_partition(np.array(x), np.array(y), np.array(weight), shapes)
    assert message in str(caught.value)


def test_nothing_to_cut():
    empty = np.zeros(0)
    assert best_partition(empty, empty, empty, SHAPES) == ((), 0.0)
