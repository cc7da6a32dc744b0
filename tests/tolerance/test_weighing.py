"""The evidence of a model, and floors averaged over models."""

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, special, stats

from hardiness.errors import FitError
from hardiness.tolerance.averaging import Member, averaged_floors
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.floors import floor_distribution
from hardiness.tolerance.priors import Priors
from hardiness.tolerance.weighing import log_evidence, model_weights
from tests.simulate import simulate_observations

ONLY = {"tau_b": 0.0, "tau_c": 0.0, "tau_u": 0.0, "tau_e": 0.0}
FREEZES = [-4.0, -5.1, -6.3, -7.2, -8.5, -9.4, -5.8, -7.7]


def test_evidence_is_the_integral_of_the_likelihood_over_the_priors():
    """Three plants of one cell and two grades: alpha + a and the two scales are all there is, one integral each."""
    rows = pd.DataFrame({"plant": ["p1", "p2", "p3"], "freeze": ["f1", "f2", "f3"], "exposure_c": [-6.0, -8.0, -7.0],
                         "exposure_sd_c": 0.0, "grade": [0, 1, 0]}).assign(selection="S", rootstock="own")  # fmt: skip
    x = rows["exposure_c"].to_numpy()
    sign = np.where(rows["grade"] == 1, 1.0, -1.0)
    t, sigma, tau = np.linspace(-50.0, 40.0, 901), np.exp(np.linspace(-3.5, 3.2, 121)), np.linspace(0.02, 9.0, 90)
    likelihood = special.expit(sign * (t[:, None, None] - x) / sigma[:, None]).prod(axis=2)  # dims (t, sigma)
    spread = stats.norm(-6.0, np.hypot(6.0, tau)[:, None]).pdf(t)  # alpha_1 ~ N(warmest exposure, 6^2), a ~ N(0, tau^2)
    by_tau = integrate.simpson(spread[:, :, None] * likelihood, x=t, axis=1)
    log_sigma = np.log(sigma)
    over_sigma = integrate.simpson(by_tau * stats.norm(np.log(0.8), 0.7).pdf(log_sigma), x=log_sigma, axis=1)
    exact = np.log(integrate.simpson(over_sigma * stats.halfnorm(scale=2.0).pdf(tau), x=tau))
    fit = fit_tolerance(rows, grades=2, priors=Priors(fixed=ONLY))
    assert log_evidence(fit.posterior) == pytest.approx(exact, abs=0.1)


def test_evidence_of_fixed_scales_needs_no_draws_and_gaps_are_counted():
    """With every scale fixed and several grades: the gap of two critical temperatures is Gamma(2) of mean 6."""
    rows = pd.DataFrame({"plant": ["p1", "p2"], "selection": "S", "rootstock": "own", "freeze": ["f1", "f2"],
                         "exposure_c": [-5.0, -9.0], "exposure_sd_c": 0.0, "grade": [1, 1]})  # fmt: skip
    alpha, gap = np.linspace(-40.0, 25.0, 1301)[:, None], np.linspace(1e-4, 60.0, 1201)[None, :]
    both = 1.0
    for x in (-5.0, -9.0):
        both = both * (special.expit((alpha - x) / 0.8) - special.expit((alpha - gap - x) / 0.8))
    prior = stats.norm(-5.0, 6.0).pdf(alpha) * stats.gamma(2.0, scale=3.0).pdf(gap)
    exact = np.log(integrate.simpson(integrate.simpson(both * prior, x=gap.ravel()), x=alpha.ravel()))
    fit = fit_tolerance(rows, grades=3, priors=Priors(fixed={**ONLY, "tau_a": 0.0, "sigma": 0.8}))
    assert log_evidence(fit.posterior) == pytest.approx(exact, abs=0.1)


def at_other_exposures(rows, values):
    spell = [FREEZES.index(x) for x in rows["exposure_c"]]
    return rows.assign(exposure_c=np.asarray(values)[spell])


def two_exposures(seed):
    """Scores, with the exposures that did the damage, and with others that differ by 0.7 K from freeze to freeze."""
    rng = np.random.default_rng(seed)
    rows = simulate_observations(rng, selections=8, rootstocks=["own"], freezes=FREEZES, tau_e=0.1, exposure_sd=0.2,
                                 carry=False)[0].drop(columns=["sensor", "event"])  # fmt: skip
    off = np.array(FREEZES) + 0.5 + 0.7 * rng.standard_normal(len(FREEZES))
    return rows, at_other_exposures(rows, off)


def test_the_exposure_that_did_the_damage_is_preferred():
    rows, others = two_exposures(60)
    true, other = (log_evidence(fit_tolerance(table).posterior) for table in (rows, others))
    assert model_weights(np.array([true, other]))[0] > 0.9
    moved = log_evidence(fit_tolerance(rows.assign(exposure_c=rows["exposure_c"] + 1.0)).posterior)
    assert moved == pytest.approx(true, abs=0.05)  # a scale that is moved as a whole explains as much


@pytest.mark.slow
def test_the_exposure_that_did_the_damage_is_preferred_on_the_whole():
    pairs = [[log_evidence(fit_tolerance(table).posterior) for table in two_exposures(seed)] for seed in range(61, 66)]
    weights = np.array([model_weights(np.array(pair))[0] for pair in pairs])
    assert weights.min() > 0.1 and weights.mean() > 0.75


def test_weights_want_finite_evidence():
    with pytest.raises(FitError, match="no finite probability"):
        model_weights(np.array([-3.0, np.nan]))


@pytest.fixture(scope="module")
def fits():
    rng = np.random.default_rng(71)
    rows = simulate_observations(rng, selections=6, plants_per_cell=2, freezes=FREEZES)[0]
    other = at_other_exposures(rows, np.array(FREEZES) + 0.8 + 0.5 * rng.standard_normal(len(FREEZES)))
    return fit_tolerance(rows), fit_tolerance(other)


def averaged(members, evidence, survive=0.9, grade=None, level=0.9):
    return averaged_floors(members, evidence, survive=survive, grade=grade, level=level)


def test_one_member_is_its_own_average(fits):
    posterior = fits[0].posterior
    pd.testing.assert_frame_equal(
        averaged([Member(posterior, 1.0, 0.0, 0.0)], posterior.design.table), fits[0].floors(), atol=2e-6
    )
    moved = averaged([Member(posterior, 1.0, -0.5, 0.0)], posterior.design.table)
    assert moved["floor_c"].to_numpy() == pytest.approx(fits[0].floors()["floor_c"].to_numpy() - 0.5, abs=2e-6)


def test_an_average_is_the_mixture_of_its_members(fits):
    one, other = (fit.posterior for fit in fits)
    table = averaged([Member(one, 0.3, 0.0, 0.0), Member(other, 0.7, -0.8, 0.0)], one.design.table, level=0.8)
    shares = np.linspace(0.01, 0.99, 50)
    below = {name: np.zeros(len(table)) for name in ("floor_low_c", "floor_c", "floor_high_c")}
    for posterior, weight, offset in ((one, 0.3, 0.0), (other, 0.7, -0.8)):
        # Each member's own quantiles say how much of it lies below the average's.
        floors = floor_distribution(posterior, survive=0.9, grade=5)
        grid = np.array([floors.quantile(share) for share in shares])
        for name, part in below.items():
            part += [weight * np.interp(v - offset, grid[:, i], shares) for i, v in enumerate(table[name])]
    for name, level in (("floor_low_c", 0.1), ("floor_c", 0.5), ("floor_high_c", 0.9)):
        assert below[name] == pytest.approx(np.full(len(table), level), abs=0.02)
    assert table["tested_to_c"].equals(fits[0].floors()["tested_to_c"])


def test_freezes_of_many_shapes_make_the_claimable_figure_warmer(fits):
    posterior = fits[0].posterior
    same, varied = (averaged([Member(posterior, 1.0, 0.0, sd)], posterior.design.table) for sd in (0.0, 1.5))
    assert varied["floor_c"].equals(same["floor_c"])
    warmer = varied["claimable_c"] - same["claimable_c"]
    assert (warmer.dropna() >= 0.0).all() and (warmer > 0.1).any()


def test_faults_of_an_average_are_named(fits):
    one = fits[0].posterior
    fewer = fit_tolerance(one.design.table[one.design.table["selection"] != "S-01"]).posterior
    with pytest.raises(FitError, match="do not sum to 1"):
        averaged([Member(one, 0.5, 0.0, 0.0)], one.design.table)
    with pytest.raises(FitError, match="different selections or rootstocks"):
        averaged([Member(one, 0.5, 0.0, 0.0), Member(fewer, 0.5, 0.0, 0.0)], one.design.table)
    with pytest.raises(FitError, match="grade"):
        averaged([Member(one, 1.0, 0.0, 0.0)], one.design.table, grade=6)
