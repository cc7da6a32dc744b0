import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from hardiness.tolerance.marginal import log_marginal, log_posterior
from hardiness.tolerance.newton import find_mode
from hardiness.tolerance.priors import Priors
from tests.tolerance.conftest import problem_of


@pytest.mark.parametrize("trial", ["small", "three_sensors"])
@pytest.mark.parametrize("fixed", [{}, {"tau_u": 0.0, "sigma": 1.1}])
def test_gradient_is_exact(trial, fixed, request):
    problem, priors = problem_of(request.getfixturevalue(trial)), Priors(fixed=fixed)
    for psi in (priors.start(), priors.start() - 0.7):
        _, gradient, mode = log_posterior(problem, priors, psi)
        for index, step in enumerate(1e-4 * np.eye(psi.size)):
            up = log_posterior(problem, priors, psi + step, mode.effects)[0]
            down = log_posterior(problem, priors, psi - step, mode.effects)[0]
            assert gradient[index] == pytest.approx((up - down) / 2e-4, abs=2e-5)


def test_marginal_likelihood_matches_quadrature_where_one_effect_is_left():
    """Two plants of one cell, each met one freeze, tau_a the only effect: an integral over alpha and a in one sum."""
    rows = pd.DataFrame({"plant": ["p1", "p2"], "selection": "S", "rootstock": "own", "freeze": ["f1", "f2"],
                         "exposure_c": [-6.0, -8.0], "exposure_sd_c": 0.0, "grade": [0, 1]})  # fmt: skip
    problem = problem_of(rows, grades=2)

    def ours(sigma, tau):
        scales = {"sigma": sigma, "tau_a": tau, "tau_b": 0.0, "tau_c": 0.0, "tau_u": 0.0, "tau_e": 0.0}
        return log_marginal(find_mode(problem, scales))

    def exact(sigma, tau):
        spread = stats.norm(-6.0, np.hypot(6.0, tau))  # alpha + a, the prior of alpha about the warmest exposure

        def integrand(t):
            return spread.pdf(t) * stats.logistic.sf((t + 6) / sigma) * stats.logistic.cdf((t + 8) / sigma)

        return np.log(integrate.quad(integrand, -60, 40, limit=400)[0])

    for pair in ((0.8, 1.0), (1.5, 3.0)):
        assert ours(*pair) - ours(2.5, 1.5) == pytest.approx(exact(*pair) - exact(2.5, 1.5), abs=0.06)


def test_priors_are_the_stated_densities():
    priors = Priors(tau_a=2.0)
    psi = np.log([0.5, 1.3, 0.4, 0.2, 0.3, 0.9])
    shifted = np.log([0.7, 1.0, 0.6, 0.5, 0.2, 0.3])

    def expected(logs):
        values = np.exp(logs)
        taus = stats.halfnorm(scale=[2.0, 1.0, 0.7, 1.0, 1.0]).logpdf(values[1:]) + logs[1:]
        return stats.norm(np.log(0.8), 0.7).logpdf(logs[0]) + taus.sum()

    difference = priors.log_density(psi)[0] - priors.log_density(shifted)[0]
    assert difference == pytest.approx(expected(psi) - expected(shifted), abs=1e-10)
