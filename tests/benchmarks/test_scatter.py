"""The yardstick of the error budget, and three of its wagons."""

from dataclasses import replace

import numpy as np

from benchmarks.benching import scatter
from wayrule.wagon.budget import budget


def test_the_budget_foretells_what_the_decoded_runs_scatter():
    wagons, pulls = np.random.default_rng(5).spawn(2)
    ratios = []
    for case in scatter.cases(3, wagons):
        predicted = scatter.foretold(budget(case.wagon, case.conditions, one_sd=scatter.one_sd(case.wagon)))
        found = scatter.scatter(case, 50, pulls)
        # 50 runs know their scatter to 1/sqrt(100) = 10 %: 25 % and one sigma of that
        np.testing.assert_allclose(predicted / found, 1.0, atol=0.35, err_msg=case.wagon.name)
        ratios.append(predicted[1] / found[1])
    assert abs(np.mean(np.log(ratios))) < 0.2  # three of them: 6 %, and what the budget may be off in common


def test_a_budget_that_forgets_the_noise_would_be_seen():
    wagons, pulls = np.random.default_rng(6).spawn(2)
    case = next(scatter.cases(1, wagons))
    quiet = replace(case.wagon, sensor=replace(case.wagon.sensor, noise_mt=0.2 * (case.wagon.sensor.noise_mt or 0.0)))
    predicted = scatter.foretold(budget(quiet, case.conditions, one_sd=scatter.one_sd(quiet)))
    assert predicted[1] < 0.75 * scatter.scatter(case, 40, pulls)[1]


def test_the_wheels_size_is_in_one_figure_and_not_in_the_other():
    case = next(scatter.cases(1, np.random.default_rng(7)))
    all_of_it, repeats = scatter.foretold(budget(case.wagon, case.conditions))
    wheel = case.wagon.wheel
    share = (wheel.diameter_sd_mm or 0.0) / (wheel.diameter_mm or 1.0)
    assert abs(all_of_it**2 - repeats**2 - (share * case.conditions.way_mm) ** 2) < 1e-9 * all_of_it**2
