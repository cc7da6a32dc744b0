"""Joint draws are draws of the posterior that the tables print."""

import numpy as np
import pytest
from scipy import sparse

from hardiness.tolerance.basis import Figures
from hardiness.tolerance.draws import joint_draws
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.floors import floor_distribution
from hardiness.tolerance.functionals import critical_temperatures, differences, posterior_of
from tests.simulate import simulate_observations

COUNT = 80_000


@pytest.fixture(scope="module", params=[5, 30], ids=["draws themselves", "nodes"])
def posterior(request):
    rng = np.random.default_rng(12)
    rows = simulate_observations(rng, selections=request.param, plants_per_cell=2, freezes=4)[0]
    found = fit_tolerance(rows).posterior
    assert found.draws.direct == (request.param == 5)
    return found


@pytest.fixture(scope="module")
def critical(posterior):
    return critical_temperatures(posterior.design, 5)


@pytest.fixture(scope="module")
def draws(posterior, critical):
    return joint_draws(posterior, critical, COUNT)


def test_each_figure_has_the_quantiles_of_its_mixture(posterior, critical, draws):
    mixture = posterior_of(posterior, critical)
    sd = draws.std(axis=0)
    for share in (0.05, 0.25, 0.5, 0.75, 0.95):
        # one standard error of the outer quantiles is 0.013 sd at this count; without the skewness they err by 0.1
        assert (np.quantile(draws, share, axis=0) - mixture.quantile(share)) / sd == pytest.approx(0.0, abs=0.05)


def test_what_cells_share_moves_them_together(posterior, critical, draws):
    """Within a node: the covariance of draws is the one that variances of sums and differences give."""
    design, pairs = posterior.design, [(0, 1), (0, 2), (3, 9), (4, 7)]
    for one, other in pairs:
        for sign in (1.0, -1.0):
            row = np.zeros((1, len(design.cells)))
            row[0, one], row[0, other] = 1.0, sign
            alpha = (1.0 + sign) * critical.alpha[:1]
            figure = posterior_of(posterior, Figures(sparse.csr_array(row), alpha, np.zeros(1)))
            expected = float(figure.moments()[1][0])
            # The correlation is that of the mode; what importance weights change of a pair alone is not in it.
            assert np.std(draws[:, one] + sign * draws[:, other]) == pytest.approx(expected, rel=0.12)
    correlation = np.corrcoef(draws.T)
    for row in range(0, len(design.cells), 2):  # one selection on its two stocks
        assert correlation[row, row + 1] > np.median(np.delete(correlation[row], [row, row + 1])) + 0.15


def test_probabilities_of_pairs_are_those_of_compare(posterior, draws):
    n = len(posterior.design.cells)
    ones = [(0, 2), (1, 5), (4, 8), (6, 9)]
    left, right = (sparse.csr_array(np.eye(n)[[pair[side] for pair in ones]]) for side in (0, 1))
    exact = posterior_of(posterior, differences(posterior.design, left, right)).probability_below(np.zeros(len(ones)))
    found = [(draws[:, one] < draws[:, other]).mean() for one, other in ones]
    assert found == pytest.approx(exact, abs=0.02)


def test_the_same_posterior_gives_the_same_draws_and_as_many_as_asked(posterior, critical):
    first, second = (joint_draws(posterior, critical, 501) for _ in range(2))
    assert first.shape == (501, len(posterior.design.cells)) and np.array_equal(first, second)


def test_draws_hold_still_where_rounding_turns_eigenvectors(posterior, critical, monkeypatch):
    """Their signs, and any turn among those of one eigenvalue, are left to the machine's arithmetic."""
    before, eigh, rng = joint_draws(posterior, critical, 501), np.linalg.eigh, np.random.default_rng(4)

    def otherwise(matrix):
        values, vectors = eigh(matrix + 1e-15 * np.diag(rng.standard_normal(len(matrix))))
        return values, vectors * rng.choice([-1.0, 1.0], len(matrix))

    monkeypatch.setattr(np.linalg, "eigh", otherwise)
    assert joint_draws(posterior, critical, 501) == pytest.approx(before, abs=1e-6)


def test_draws_know_no_floor_that_the_table_does_not(posterior, draws):
    """The middle of critical temperatures is the floor at one half, which the floors table prints."""
    half = floor_distribution(posterior, survive=0.5, grade=5).quantile(0.5)
    assert np.median(draws, axis=0) == pytest.approx(half, abs=0.03)
