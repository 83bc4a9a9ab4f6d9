"""Grades and materials against published tables."""

import csv
from pathlib import Path

import numpy as np
import pytest

from wayrule.model import FloorLayer, Magnets
from wayrule.wagon.axlecore import with_steel_axle
from wayrule.wagon.fields import field_mt
from wayrule.wagon.grades import GRADES, change_1_k, grade_named, remanence_mt, warmed
from wayrule.wagon.materials import MATERIALS, material_named, of_layer
from wayrule.wagon.sources import sources_of

FACTS = Path(__file__).parents[3] / "shared" / "facts" / "magnets_ndfeb_grades.csv"


def test_remanence_of_the_trades_grades():
    # range over suppliers' published tables [mT]
    published = {"N35": (1170, 1220), "N42": (1280, 1320), "N45": (1320, 1380), "N52": (1420, 1480)}
    assert {name: GRADES[name].remanence_mt for name in published} == published


@pytest.mark.skipif(
    not FACTS.exists(), reason="the shared facts are not here; the four grades above are the outside check"
)
def test_remanence_against_the_facts():
    with FACTS.open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            published = (1e3 * float(row["Br_min_T"]), 1e3 * float(row["Br_max_T"]))
            assert GRADES[row["grade"]].remanence_mt == pytest.approx(published)


def test_energy_product_bounds_the_remanence():
    # physics: BHmax <= Br2 / (4 mu0); N42 has 42 MGOe = 334 kJ/m3, so Br >= 1.296 T at the nominal energy product
    low, high = GRADES["N42"].remanence_mt
    assert low < 1e3 * np.sqrt(334e3 * 4 * 4e-7 * np.pi) < high


def test_letters_after_a_grade_raise_its_temperature_only():
    assert grade_named("N42SH").remanence_mt == grade_named("n42").remanence_mt
    assert [grade_named(name).highest_c for name in ("N42", "N42H", "N42 SH", "N35UH")] == [80.0, 120.0, 150.0, 180.0]


def test_warmth_takes_strength_by_the_published_coefficient():
    # suppliers: NdFeB -0.12 %/K: 30 K take 3.6 %; Sm2Co17 -0.03 %/K; hard ferrite -0.2 %/K
    assert warmed(Magnets("single", grade="N42"), 50.0) == pytest.approx(0.964)
    assert change_1_k(Magnets("single", grade="SmCo17")) == -0.0003
    assert change_1_k(Magnets("single", grade="Y30")) == -0.002
    assert change_1_k(Magnets("single", remanence_mt=(1200.0, 1200.0))) == -0.0012
    with pytest.raises(ValueError, match=r"expected at most 80 deg C for N42 .* came 95"):
        warmed(Magnets("single", grade="N42"), 95.0)


@pytest.mark.parametrize(
    ("magnets", "words"),
    [
        (Magnets("single", grade="N99"), r"expected grade to be one of N35, .* came 'N99'"),
        (Magnets("single", grade="N42XX"), "came 'N42XX'"),
        (Magnets("single"), "or a remanence_mt, came ''"),
        (
            Magnets("single", remanence_mt=(1200.0, 3000.0)),
            r"at most 1600 mT .* came \[1200, 3000\]",
        ),
        (Magnets("single", remanence_mt=(1300.0, 1200.0)), "from lowest to highest"),
    ],
)
def test_absurd_remanence_is_refused(magnets, words):
    with pytest.raises(ValueError, match=words):
        remanence_mt(magnets)


def test_conductivities_against_textbook_resistivities():
    # resistivity at 20 deg C [nohm m], physics tables (from memory; copper: IACS)
    tables = {"copper": 17.24, "zinc": 59.0, "lead": 208.0, "iron": 97.0, "tungsten": 53.0}
    for name, nohm_m in tables.items():
        assert MATERIALS[name].conductivity_ms_m == pytest.approx(1e3 / nohm_m, rel=0.04)
    assert MATERIALS["aluminium"].conductivity_ms_m < 37.7


def test_what_a_layer_states_goes_before_the_table():
    stated = of_layer(FloorLayer("steel", 1.0, 3.0, relative_permeability=80.0, conductivity_ms_m=5.0))
    assert (stated.permeability, stated.permeability_range, stated.conductivity_ms_m) == (80.0, (80.0, 80.0), 5.0)
    assert of_layer(FloorLayer(None, 1.0, 3.0, relative_permeability=500.0)).saturation_mt == 2000.0
    assert of_layer(FloorLayer(None, 1.0, 3.0, conductivity_ms_m=10.0)).permeability == 1.0
    assert material_named("Mild_Steel") == MATERIALS["steel"]


def test_a_steel_axle_adds_to_the_pair_as_a_rod_across_its_field():
    pair = sources_of(Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42"))
    *same, rod = with_steel_axle(pair, 0.7, permeability=1e6)
    assert tuple(same) == pair
    # a long soft rod across an even field takes 2 B (demagnetising factor 1/2); B here is the mean along the middle
    line = np.stack([np.zeros(2001), np.linspace(-2, 2, 2001), np.zeros(2001)], -1)
    taken = rod.rotation @ rod.polarisation_mt
    assert taken[2] == pytest.approx(2 * field_mt(pair, line)[:, 2].mean(), rel=0.01)
    more = field_mt((*pair, rod), (0.0, 0.0, 12.5))[2] / field_mt(pair, (0.0, 0.0, 12.5))[2]
    assert 1.05 < more < 1.25


def test_a_magnet_through_the_axles_middle_is_refused():
    block = sources_of(Magnets("block", length_mm=3, width_mm=3, thickness_mm=3, flat_radius_mm=1.0, grade="N42"))
    assert len(with_steel_axle(block, 0.9)) == 2
    ring = sources_of(Magnets("ring", diameter_mm=6, hole_mm=2, thickness_mm=3, grade="N42"))
    assert len(with_steel_axle(ring, 0.9)) == 2
