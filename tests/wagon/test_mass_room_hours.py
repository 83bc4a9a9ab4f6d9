"""Mass against the published rules, room in the body, hours on the cell."""

import csv
from dataclasses import replace
from itertools import permutations, product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.wagon.wagons import HO, G, N
from wayrule.errors import UndeterminedError
from wayrule.model import Board, Body, Cell, Wagon
from wayrule.wagon.hours import running_time
from wayrule.wagon.mass import NEM_302, OUNCE_G, RP_20_1, letter, mass_sum, mass_verdicts, no_verdict
from wayrule.wagon.room import room

FACTS = Path(__file__).resolve().parents[2].parent / "shared" / "facts"


def rows(name):
    if not (FACTS / name).exists():
        pytest.skip("the table of facts is not beside this checkout")
    with (FACTS / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def bare(scale: str, length: float, mass: float) -> Wagon:
    return replace(
        HO, scale=scale, body=Body(length_mm=length, over_buffers_mm=length, mass_g=mass), board=Board(), cell=Cell()
    )


# NEM 302, edition 2015, section 2, worked for one length of each scale
NEM_EXAMPLES = [("Z", 60, 7.2), ("N", 80, 13.6), ("TT", 100, 25.0), ("HO", 150, 60.0), ("S", 200, 120.0),
                ("O", 250, 250.0), ("I", 350, 700.0), ("II", 500, 2000.0)]  # fmt: skip


@pytest.mark.parametrize(("scale", "length", "mass"), NEM_EXAMPLES)
def test_nem_302(scale, length, mass):
    heavy, light = (mass_verdicts(bare(scale, length, m))[0] for m in (mass + 0.1, mass - 0.1))
    assert (heavy.kind, heavy.wanted_g) == ("least", pytest.approx(mass))
    assert "met, with 0.1 g to spare" in heavy.text
    assert light.text.endswith("0.1 g are missing.")


# NMRA RP-20.1 by hand: an HO wagon 6 in long: 1 + 6 * 0.5 = 4 oz; N, 4 in: 0.5 + 4 * 0.15 = 1.1 oz; O, 10 in: 15 oz
@pytest.mark.parametrize(("scale", "inches", "ounces"), [("HO", 6, 4.0), ("N", 4, 1.1), ("O", 10, 15.0)])
def test_nmra_rp_20_1(scale, inches, ounces):
    verdict = mass_verdicts(bare(scale, inches * 25.4, ounces * 28.349523125))[1]
    assert verdict.wanted_g == pytest.approx(ounces * OUNCE_G)
    assert "within 15%" in verdict.text or "within 15 %" in verdict.text
    assert mass_verdicts(bare(scale, inches * 25.4, ounces * 20))[1].text.endswith("g are missing.")
    assert mass_verdicts(bare(scale, inches * 25.4, ounces * 40))[1].text.endswith("g too many.")


def test_the_tables_of_facts_agree():
    names = {"H0": "HO", "0": "O"}
    for row in rows("wagon_mass_nem302.csv"):
        assert NEM_302[names.get(row["scale"], row["scale"])] == float(row["min_mass_g_per_mm_length_over_buffers"])
    table = rows("wagon_mass_nmra_rp20_1.csv")
    assert {row["scale"] for row in table} == set(RP_20_1)
    for row in table:
        assert RP_20_1[row["scale"]] == (float(row["initial_oz"]), float(row["additional_oz_per_inch_of_body"]))


def test_the_sum_by_hand():
    got = mass_sum(HO)
    assert got is not None
    assert got.total_g == pytest.approx(62 - 24 + 4.5 + 5.2 + 12)
    assert got.missing == ()
    assert mass_sum(replace(HO, board=Board())).missing == ("board.mass_g",)  # type: ignore[union-attr]
    assert mass_sum(replace(HO, body=Body())) is None
    assert mass_verdicts(replace(HO, body=Body())) == ()


def test_scales_without_a_published_mass_say_nothing():
    assert mass_verdicts(replace(G, scale="IIm")) == ()
    assert no_verdict(replace(G, scale="IIm")) == "Neither NEM 302 nor NMRA RP-20.1 gives a mass for scale IIm."
    assert no_verdict(replace(HO, body=Body(mass_g=50.0))).endswith("state body.over_buffers_mm or body.length_mm.")
    assert letter("O (US)") == "O"
    assert letter("HOn3") == "HOn3"


def test_room_by_hand():
    # 42 + 30 = 72 of 92 mm length; 24 - 5 height; 26 - 18 width
    got = room(HO)
    assert got is not None
    assert got.fits
    assert min(got.spare_mm) == pytest.approx(8.0)
    tight = room(replace(HO, body=replace(HO.body, inside_mm=(50.0, 20.0, 9.0))))
    assert tight is not None
    assert not tight.fits
    assert "are missing" in tight.text
    alone = room(replace(HO, cell=Cell()))
    assert alone is not None
    assert alone.text.startswith("Board fits in 92 x 26 x 24 mm inside")
    assert room(replace(HO, body=Body())) is None
    assert room(replace(HO, board=Board(), cell=Cell())) is None


sizes = st.tuples(st.integers(1, 3), st.integers(1, 3), st.integers(1, 3))


def packs(inside, board, cell):
    """Whether they go in, trying every whole-number place of both: exact, as parts can be pushed into a corner."""
    for b in {board, (board[1], board[0], board[2])}:
        for c in set(permutations(cell)):
            spots = [product(*(range(n - k + 1) for n, k in zip(inside, size, strict=True))) for size in (b, c)]
            for p, q in product(*(list(s) for s in spots)):
                if any(p[k] + b[k] <= q[k] or q[k] + c[k] <= p[k] for k in range(3)):
                    return True
    return False


@settings(deadline=None)
@given(st.tuples(st.integers(1, 4), st.integers(1, 4), st.integers(1, 4)), sizes, sizes)
def test_room_finds_every_packing_that_a_search_finds(inside, board, cell):
    found = room(replace(HO, body=Body(inside_mm=inside), board=Board(board), cell=Cell(size_mm=cell)))
    assert found is not None
    assert found.fits == packs(inside, board, cell)


def test_hours_by_hand():
    # linear regulator: 180 mAh * 0.8 / 32 mA = 4.5 h; sigma 10 % and 10 %: 14.1 %
    got = running_time(replace(HO, cell=replace(HO.cell, usable=0.8)))
    assert (got.hours, got.hours_sd) == pytest.approx((4.5, 4.5 * 0.1 * 2**0.5))
    # step-down at 90 %: 60 mA * 3.3 / (0.9 * 3.6) = 61.11 mA; 2600 * 0.8 / 61.11 = 34.04 h
    assert running_time(G).hours == pytest.approx(34.036, abs=1e-3)


def test_a_linear_regulator_needs_more_than_it_gives():
    low = replace(N, cell=Cell("alkaline", capacity_mah=800.0, volts=1.5))
    with pytest.raises(
        UndeterminedError, match=r"at least 3.15 V for a linear regulator to 3 V, came 1.5 V; use a step-up"
    ):
        running_time(low)
    stepped = replace(low, cell=replace(low.cell, converter_efficiency=0.8))
    assert running_time(stepped).cell_ma == pytest.approx(14 * 3 / (0.8 * 1.5))


def test_what_hours_need_is_named():
    with pytest.raises(UndeterminedError, match=r"came nothing for board.current_ma, cell.capacity_mah;"):
        running_time(replace(HO, board=Board(), cell=Cell()))
    with pytest.raises(UndeterminedError, match=r"came nothing for board.volts, cell.volts;"):
        running_time(replace(HO, board=Board(current_ma=1.0), cell=Cell(capacity_mah=9.0, converter_efficiency=0.9)))
