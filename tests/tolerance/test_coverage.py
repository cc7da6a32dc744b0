"""Intervals and claimable floors keep their promise: a small part of the study in tests/bench/coverage.py.

The unit is the trial, since the cells of one share their errors; every bound is a binomial or clustered standard error.
"""

from itertools import count, islice

import numpy as np
import pytest

from hardiness.tolerance.fit import fit_tolerance
from tests.bench.coverage_measures import TOO_OPTIMISTIC, intervals, optimism
from tests.bench.coverage_trials import GRADES, LAST, own_priors, sparse

LEVEL = 0.9


def drawn(draw, seed, trials):
    """The first trials in which some plants died and some did not, with the seed fixed.

    Which trials these are follows from their scores alone: given the scores, whatever they are, an interval holds the
    truth with its stated probability where the truth comes from the priors. All dead or all alive is left to the study.
    """
    every = (draw(np.random.default_rng([seed, index])) for index in count())
    mixed = (trial for trial in every if 0.15 < (trial.observations["grade"] == LAST).mean() < 0.85)
    return islice(mixed, trials)


def run(draw, seed, trials):
    """Records of trials: each cell's floor and claimable floor beside the true ones [degC]."""
    records = []
    for trial in drawn(draw, seed, trials):
        floors = fit_tolerance(trial.observations, grades=GRADES).floors()
        both = floors.merge(trial.truth, on=["selection", "rootstock"], suffixes=("", "_true"), validate="1:1")
        columns = {"floor": "floor_c", "low": "floor_low_c", "high": "floor_high_c", "true": "floor_c_true"}
        columns |= {"claimable": "claimable_c", "true_claimable": "claimable_c_true"}
        records.append({key: both[column].tolist() for key, column in columns.items()})
    return records


@pytest.mark.slow
def test_intervals_cover_true_floors_drawn_from_the_models_own_priors():
    """Every scale and every critical temperature from its prior: 90 % intervals cover 90 % of the true floors."""
    records = run(lambda rng: own_priors(rng, selections=8), seed=77, trials=12)
    found, claims = intervals(records), optimism(records)
    assert found["answered"] == 1.0 and found["coverage_se"] < 0.1
    assert abs(found["coverage"] - LEVEL) < 3.0 * found["coverage_se"]
    assert claims["share"] <= TOO_OPTIMISTIC + 2.0 * claims["se"]


@pytest.mark.slow
def test_intervals_of_sparse_trials_cover_a_plausible_truth():
    """One plant a cell and three freezes; the truth is milder than the priors allow, so more than 90 % may be covered.

    The bound holds even if trials were covered whole or not at all: three binomial standard errors.
    """
    trials = 8
    records = run(lambda rng: sparse(rng, selections=8), seed=78, trials=trials)
    found, claims = intervals(records), optimism(records)
    assert found["coverage"] > LEVEL - 3.0 * np.sqrt(LEVEL * (1.0 - LEVEL) / trials)
    assert abs(found["bias_c"]) < 3.0 * found["bias_se_c"]
    assert claims["share"] <= TOO_OPTIMISTIC + 2.0 * claims["se"]
