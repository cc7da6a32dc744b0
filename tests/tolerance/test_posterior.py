"""The posterior against a long run of a general-purpose sampler on the same model.

``tests/data/nuts/*.csv`` are five simulated trials, ``*.json`` what numpyro's NUTS made of them (4 chains of 4,000
draws after 1,500; versions, effective sample sizes and R-hat stand in each file; the script is
``tests/bench/nuts_reference.py``). Errors are in standard deviations of the floor's posterior.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.priors import SCALES, Priors
from hardiness.tolerance.proposal import shape_proposal
from tests.simulate import simulate_observations

DATA = Path(__file__).parent.parent / "data" / "nuts"
TEXT = dict.fromkeys(("plant", "selection", "rootstock", "freeze", "event", "sensor"), str)


@pytest.fixture(scope="module", params=["typical", "sparse", "mild", "wide", "split"])
def reference(request):
    fit = fit_tolerance(pd.read_csv(DATA / f"{request.param}.csv", dtype=TEXT, keep_default_na=False))
    report = json.loads((DATA / f"{request.param}.json").read_text())
    cells = pd.DataFrame(report["cells"]).set_index(["selection", "rootstock"]).sort_index()
    return fit, report, cells


def errors(found, cells, share):
    expected = cells["floor"].str[[0.05, 0.25, 0.5, 0.75, 0.95].index(share)].to_numpy(float)
    return (found.to_numpy() - expected) / cells["floor_sd"].to_numpy(float)


def test_the_reference_itself_has_converged(reference):
    _, report, _ = reference
    assert report["largest_r_hat"] < 1.01 and report["least_effective_sample_size"] > 1_300


def test_medians_and_both_ends_are_within_a_tenth_of_a_posterior_sd_of_the_sampler(reference):
    fit, _, cells = reference
    floors = fit.floors()
    for name, share in (("floor_low_c", 0.05), ("floor_c", 0.5), ("floor_high_c", 0.95)):
        away = np.abs(errors(floors[name], cells, share))
        assert away.mean() < 0.1 and away.max() < 0.3, f"{name}: {away.round(3)}"


def test_medians_are_closer_still(reference):
    fit, _, cells = reference
    assert np.abs(errors(fit.floors()["floor_c"], cells, 0.5)).max() < 0.15


def test_half_intervals_are_those_of_the_sampler(reference):
    fit, _, cells = reference
    half = fit.floors(level=0.5)
    for name, share in (("floor_low_c", 0.25), ("floor_high_c", 0.75)):
        assert np.abs(errors(half[name], cells, share)).mean() < 0.12


def test_claimable_figure_speaks_of_freezes_to_come(reference):
    fit, _, cells = reference
    floors = fit.floors()
    bound = cells["floor_to_come_95"].to_numpy(float)
    known = floors[["tested_to_c", "coldest_survived_c"]].max(axis=1).to_numpy()
    expected = np.where(floors["evidence"].isin(["bracketed", "all survived"]), np.maximum(bound, known), np.nan)
    away = (floors["claimable_c"].to_numpy() - expected) / cells["floor_sd"].to_numpy(float)
    assert np.isfinite(expected).any() and np.nanmax(np.abs(away)) < 0.25


def test_scales_are_those_of_the_sampler(reference):
    fit, report, _ = reference
    for name in SCALES:
        low, _, median, _, high = report["scales"][name]
        mean = fit.scales().set_index("scale").loc[name, "mean_c"]
        assert low < mean < high
        assert abs(mean - median) < 0.25 * (high - low)


def test_the_same_rows_in_any_order_give_the_same_numbers():
    rows = simulate_observations(np.random.default_rng(8), selections=4, plants_per_cell=2, freezes=3)[0]
    shuffled = rows.sample(frac=1.0, random_state=5)
    pd.testing.assert_frame_equal(fit_tolerance(rows).floors(), fit_tolerance(shuffled).floors(), check_exact=True)


def test_renaming_plants_moves_nothing_but_rounding():
    rows = simulate_observations(np.random.default_rng(9), selections=4, plants_per_cell=2, freezes=3)[0]
    place = pd.factorize(rows["plant"], sort=True)[0] * 7 % rows["plant"].nunique()  # another order, the same each time
    other = rows.assign(plant=[f"z{number:03d}" for number in place])
    assert other["plant"].nunique() == rows["plant"].nunique() == 16  # 7 and 16 share no divisor
    assert fit_tolerance(rows).floors()["floor_c"].to_numpy() == pytest.approx(
        fit_tolerance(other).floors()["floor_c"].to_numpy(), abs=1e-5
    )


def test_a_colder_trial_gives_floors_as_much_colder():
    rows = simulate_observations(np.random.default_rng(10), selections=4, plants_per_cell=2, freezes=3)[0]
    colder = rows.assign(exposure_c=rows["exposure_c"] - 5.0)
    first, second = fit_tolerance(rows).floors(), fit_tolerance(colder).floors()
    assert (second["floor_c"] - first["floor_c"]).to_numpy() == pytest.approx(-5.0, abs=1e-5)


def test_fixed_scales_are_held_and_half_of_them_narrows_floors():
    rows = simulate_observations(np.random.default_rng(11), selections=5, plants_per_cell=2, freezes=3)[0]
    held = dict(zip(SCALES, (0.8, 1.0, 0.5, 0.3, 0.5, 0.4), strict=True))
    fit = fit_tolerance(rows, priors=Priors(fixed=held))
    assert len(fit.posterior.nodes) == 1 and fit.posterior.nodes[0].mode.scales == pytest.approx(held)
    tight = fit_tolerance(rows, priors=Priors(fixed={k: v / 4 for k, v in held.items()}))

    def width(fitted):
        floors = fitted.floors()
        return (floors["floor_high_c"] - floors["floor_low_c"]).mean()

    assert width(tight) < width(fit)


def test_a_mode_of_the_scales_that_misleads_is_left():
    """By Laplace sigma would be 0.05 K in this simulated trial; its draws know better, and it was once refused."""
    rows = pd.read_csv(DATA / "steep.csv", dtype=TEXT, keep_default_na=False)
    fit = fit_tolerance(rows)
    found = fit.posterior.diagnostics
    assert found.pareto_k < 0.7 and found.effective_sample_size > 200
    sigma = fit.scales().set_index("scale").loc["sigma"]
    assert sigma["mean_c"] - 2.0 * sigma["sd_c"] > 0.0 and 0.2 < sigma["mean_c"] < 0.6


def test_importance_weights_are_spread_over_many_nodes(reference):
    fit, _, _ = reference
    assert fit.posterior.diagnostics.effective_nodes > 60
    assert fit.posterior.weights.sum() == pytest.approx(1.0)


def test_proposal_density_is_the_density_of_its_draws():
    """Weights 1/q over a box average to the box's volume only if the stated density is the true one."""
    hessian = np.array([[4.0, 1.0], [1.0, 2.0]])
    centre = np.array([0.3, -0.5])

    def drops(points):
        away = np.array(points) - centre
        return 0.5 * np.sum(away @ hessian * away, axis=1) * np.where(away[:, 0] > 0, 1.4, 0.8)

    proposal = shape_proposal(centre, hessian, np.array([False, True]), drops)
    points, log_density = proposal.draw(2**15)
    inside = (np.abs(points - centre) < [0.8, 1.2]).all(axis=1)
    assert np.mean(inside / np.exp(log_density)) == pytest.approx(1.6 * 2.4, rel=0.01)
