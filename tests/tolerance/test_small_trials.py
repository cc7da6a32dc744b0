"""Trials of five or ten plants: the fit against a posterior by brute force, and what survivors alone can say."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.priors import Priors
from tests.helpers import binary_rows
from tests.prior_weighting import weigh_prior


def one_freeze(exposure_c, **grades_of):
    rows = [(f"{s}{i}", s, "own", "f1", exposure_c, g) for s, grades in grades_of.items() for i, g in enumerate(grades)]
    table = pd.DataFrame(rows, columns=["plant", "selection", "rootstock", "freeze", "exposure_c", "grade"])
    return table.assign(exposure_sd_c=0.5)


WITHIN = 0.25  # posterior standard deviations that a figure may lie from brute force


@pytest.mark.slow
@pytest.mark.parametrize(
    ("rows", "grades"),
    [
        (one_freeze(-10.0, S=(0, 1, 1, 2, 3)), 6),
        (one_freeze(-10.0, S=(3, 4, 4, 4, 4)), 6),
        (one_freeze(-8.5, S=(0, 1, 1, 2, 2), T=(3, 4, 5, 5, 5)), 6),
        (one_freeze(-8.5, S=(0, 0, 0, 0, 0), T=(0, 0, 1, 1, 1)), 2),
        (one_freeze(-8.5, S=(0, 0, 0, 0, 0), T=(1, 1, 1, 1, 1)), 2),
        (one_freeze(-10.0, S=(0, 0, 0, 0, 0)), 2),
        (one_freeze(-10.0, S=(0,) * 70), 2),
        (one_freeze(-10.0, S=(0, 0, 0, 0, 0)), 6),
    ],
    ids=[
        "one cell",
        "near death",
        "two cells",
        "three of five",
        "five of five",
        "all alive",
        "seventy alive",
        "unharmed",
    ],
)
def test_floors_of_few_plants_are_those_of_brute_force(rows, grades):
    floors = fit_tolerance(rows, grades).floors()
    exact = weigh_prior(rows, grades)
    for row in floors.itertuples(index=False):
        draws = exact.floor((row.selection, row.rootstock))
        ours = np.array([row.floor_low_c, row.floor_c, row.floor_high_c])
        off = np.abs(ours - exact.quantiles(draws)) / exact.sd(draws)
        assert off.max() <= WITHIN, f"{row.selection}: {off.round(3)} sd"


@pytest.mark.parametrize("plants", [5, 10, 20])
def test_survivors_alone_say_no_more_than_the_binomial_limit(plants):
    """No death among n: the exact one-sided 95 % limit of the share killed is 1 - 0.05 ** (1 / n), 0.4507 of five.

    sigma 1 K, no other effects, and a critical temperature of sd 1.6 K about the freeze: every share killed there is
    then nearly as likely as any other beforehand, which is as near to that limit as a prior comes.
    """
    exact = stats.binomtest(0, plants, alternative="less").proportion_ci(0.95).high
    assert exact == pytest.approx(1 - 0.05 ** (1 / plants))
    fixed = {name: 0.0 for name in ("tau_a", "tau_b", "tau_c", "tau_u", "tau_e")} | {"sigma": 1.0}
    fit = fit_tolerance(binary_rows([-10.0], [plants], [0]), grades=2, priors=Priors(alpha_sd=1.6, fixed=fixed))
    most_killed = 1 - float(fit.curves([-10.0]).isel(quantile=0).item())  # the 5 % point of those that live
    # The exact posterior's own bound is up to 1.07 of it; draws add chance.
    assert exact / 1.25 < most_killed < exact * 1.15
    # The same by summing over the one thing that is not known.
    alpha = np.linspace(-12.0, 12.0, 20_001)
    log_density = -0.5 * (alpha / 1.6) ** 2 - plants * np.logaddexp(0.0, alpha)
    summed = np.cumsum(np.exp(log_density))
    by_hand = 1 / (1 + np.exp(-np.interp(0.95, summed / summed[-1], alpha)))
    assert most_killed == pytest.approx(by_hand, rel=0.08)


def test_survivors_alone_never_carry_a_claim_beyond_what_was_tested():
    for plants in (1, 5, 50):
        floor = fit_tolerance(binary_rows([-10.0], [plants], [0]).assign(grade=1)).floors().iloc[0]
        assert floor[["killed", "evidence", "open_end", "rests_on"]].tolist() == [0, "all survived", "cold", "prior"]
        assert floor["claimable_c"] >= floor["tested_to_c"] == -10.0
