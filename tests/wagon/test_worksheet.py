"""What the sheet has to say: what was reckoned, and what the wagon file does not say enough for."""

from dataclasses import replace

import pytest

from tests.wagon.wagons import HO, G, N
from wayrule.errors import UsageError
from wayrule.model import Axle, Clearance
from wayrule.sim.wagons import HO_COACH
from wayrule.wagon.worksheet import worksheet


def test_a_full_file_leaves_nothing_out():
    got = worksheet(HO)
    assert got.missing == ()
    words = " ".join(got.remarks)
    for expected in ("strong enough", "rail top: the magnets stay 2.63", "Finished mass 59.7 g.", "NEM 302", "RP-20.1",
                     "Board and cell fit", "runs the board for 4.5"):  # fmt: skip
        assert expected in words, expected
    assert [s.diameter_mm for s in got.strips] == [10.5, 2.0]
    assert not [m for m in worksheet(replace(HO, axle=Axle(1.4))).missing if m.startswith("flats")]
    assert worksheet(HO, 0.2).strips[0].length_mm > got.strips[0].length_mm


def test_a_bare_file_says_what_it_lacks():
    got = worksheet(HO_COACH)
    assert got.flat is None
    assert [m.split(":")[0] for m in got.missing] == ["flats", "mass", "room", "running time"]
    assert all("axle." in m or "body." in m or "board." in m for m in got.missing)


def test_clashes_stand_before_what_is_clear():
    got = worksheet(replace(HO, clearance=Clearance(brake_gear_mm=2.0)))
    places = [k for k, remark in enumerate(got.remarks) if "clash" in remark or "clear" in remark]
    assert "they clash by 0.62 mm" in got.remarks[places[0]]
    assert sum("brake gear" in remark for remark in got.remarks) == 1


def test_a_scale_without_a_published_mass_is_said():
    assert any("gives a mass for scale G" in remark for remark in worksheet(G).remarks)
    assert "axle: axle.material or axle.yield_mpa" in worksheet(replace(N, axle=Axle(1.2, 14.6))).missing[0]


def test_a_flat_outside_the_axle_is_no_sheet():
    with pytest.raises(UsageError, match="a flat between the centre and the outside of the axle"):
        worksheet(replace(HO, axle=Axle(1.2)))
