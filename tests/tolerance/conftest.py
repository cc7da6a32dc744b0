import numpy as np
import pytest

from hardiness.tolerance.design import build_design
from hardiness.tolerance.factor import tree_of
from hardiness.tolerance.latent import Problem
from hardiness.tolerance.rows import check_observations
from tests.simulate import simulate_observations


def problem_of(observations, grades=6, span_c=6.0, alpha_sd=6.0):
    design = build_design(check_observations(observations, grades), grades)
    return Problem(design, tree_of(design), span_c / max(grades - 2, 1), alpha_sd)


@pytest.fixture(scope="session")
def small():
    """A trial of 5 selections on two stocks, 2 plants a cell, one sensor."""
    rng = np.random.default_rng(3)
    return simulate_observations(rng, selections=5, plants_per_cell=2, freezes=4)[0].drop(columns=["sensor", "event"])


@pytest.fixture(scope="session")
def three_sensors():
    """The same with three sensors that share events."""
    rng = np.random.default_rng(4)
    return simulate_observations(rng, selections=5, plants_per_cell=2, freezes=4, sensors=3, sensor_sd=0.4)[0]
