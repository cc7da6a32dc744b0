"""Large trials: a shorter way to the same mode of the scales, and figures too many to hold every node for."""

import numpy as np
import pytest

from hardiness.tolerance import mixture, scales
from hardiness.tolerance.design import keep_selections
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.mixture import Mixture
from hardiness.tolerance.priors import Priors
from tests.simulate import simulate_observations
from tests.tolerance.conftest import problem_of


@pytest.fixture(scope="module")
def problem():
    """Some 900 rows of 40 selections at two sensors."""
    rows, _ = simulate_observations(
        np.random.default_rng(41), selections=40, plants_per_cell=2, freezes=[-5.0, -6.5, -7.5, -8.0, -7.0, -6.0],
        sensors=2, sensor_sd=0.3,
    )  # fmt: skip
    return problem_of(rows)


def test_a_start_from_a_sample_leads_to_the_same_scales(problem, monkeypatch):
    def prepare(mode):
        return lambda found, around: 0.0

    usual = scales.find_scales(problem, Priors(), prepare)
    monkeypatch.setattr(scales, "MANY_ROWS", 100)
    monkeypatch.setattr(scales, "SAMPLED_ROWS", 300)
    sampled = scales.find_scales(problem, Priors(), prepare)
    sd = 1.0 / np.sqrt(np.diag(usual.hessian))
    assert np.abs((sampled.psi - usual.psi) / sd).max() < 0.05
    assert np.diag(sampled.hessian) == pytest.approx(np.diag(usual.hessian), rel=0.5)
    assert np.abs((sampled.centre - usual.centre) / sd).max() < 0.3


def test_some_selections_keep_all_that_is_theirs(problem):
    design = problem.design
    keep = np.arange(len(design.selections)) % 3 == 1
    kept = keep_selections(design, keep)
    names = {name for name, chosen in zip(design.selections, keep, strict=True) if chosen}
    assert set(kept.selections) == names and {cell[0] for cell in kept.cells} == names
    rows = np.flatnonzero(keep[design.selection_of_cell[design.cell_of_plant[design.plant_of_row]]])
    assert np.array_equal(kept.exposure, design.exposure[rows]) and np.array_equal(kept.low, design.low[rows])
    assert [kept.plants[plant] for plant in kept.plant_of_row] == [
        design.plants[plant] for plant in design.plant_of_row[rows]
    ]
    assert [kept.cells[cell] for cell in kept.cell_of_plant] == [
        design.cells[design.cell_of_plant[design.plants.index(plant)]] for plant in kept.plants
    ]
    assert [kept.selections[index] for index in kept.selection_of_cell] == [cell[0] for cell in kept.cells]
    assert len(kept.table) == kept.low.size


def test_many_figures_are_simplified_once_and_keep_their_quantiles(monkeypatch):
    rng = np.random.default_rng(42)
    mean, sd = rng.normal(-9.0, 0.3, (60, 50)), rng.uniform(0.8, 1.2, (60, 50))
    whole = Mixture(np.full(60, 1.0 / 60.0), mean, sd, np.zeros_like(mean))
    exact = whole.quantile(0.05)
    monkeypatch.setattr(mixture, "MANY", 100)  # fewer than the figures of all groups together
    merged = whole.simplified()
    assert merged.weights.size <= mixture.GROUPS and merged.weights.sum() == pytest.approx(1.0)
    assert merged.simplified() is merged
    assert np.abs(whole.quantile(0.05) - exact).max() < 0.02


def test_steep_slopes_of_many_selections_are_believed(monkeypatch):
    """What Laplace misses adds up over selections; its mode is doubted in small trials alone."""
    monkeypatch.setattr(scales, "STEEPEST", 1e-6)
    monkeypatch.setattr(scales, "pilot", lambda *_: pytest.fail("a large trial asked for a pilot"))
    rows = simulate_observations(np.random.default_rng(21), selections=60, plants_per_cell=2, freezes=4)[0]
    assert len(rows) > scales.PILOT_ROWS
    assert fit_tolerance(rows).posterior.diagnostics.pareto_k < 0.7
