"""The structured solver against plain dense algebra on the same model."""

import numpy as np
import pytest
from scipy import optimize

from hardiness.errors import FitError
from hardiness.tolerance import design as design_module
from hardiness.tolerance.latent import find_surroundings
from hardiness.tolerance.likelihood import grade_log_probability
from hardiness.tolerance.newton import find_mode
from hardiness.tolerance.paths import effect_paths, total_variance
from tests.tolerance.conftest import problem_of

SCALES = {"sigma": 0.9, "tau_a": 1.2, "tau_b": 0.5, "tau_c": 0.3, "tau_u": 0.6, "tau_e": 0.7}


class Dense:
    """The whole model over one vector x = (plants, cells, selections, dense), written without any structure."""

    def __init__(self, problem):
        d = self.design = problem.design
        self.problem = problem
        n_p, n_c, n_s = d.cell_of_plant.size, len(d.cells), len(d.selections)
        plant, cell = d.plant_of_row, d.cell_of_plant[d.plant_of_row]
        tree = np.zeros((d.low.size, n_p + n_c + n_s))
        rows = np.arange(d.low.size)
        tree[rows, plant] = tree[rows, n_p + cell] = tree[rows, n_p + n_c + d.selection_of_cell[cell]] = 1.0
        self.upper, self.lower = np.hstack([tree, d.upper]), np.hstack([tree, d.lower])
        sd = [np.full(n, SCALES[t]) for n, t in ((n_p, "tau_u"), (n_c, "tau_c"), (n_s, "tau_a"))]
        self.sd = np.concatenate([*sd, problem.dense_sd(SCALES)])
        first = n_p + n_c + n_s
        self.gaps = np.arange(first + 1, first + d.worst)
        self.sizes = (n_p, n_c, n_s)

    def log_density(self, x):
        d = self.design
        away = d.alpha_mean - d.exposure
        upper = np.where(d.low > 0, (self.upper @ x + away) / SCALES["sigma"] + d.log_near, np.inf)
        lower = np.where(d.high < d.worst, (self.lower @ x + away) / SCALES["sigma"] + d.log_near, -np.inf)
        gaussian = np.ones(x.size, bool)
        gaussian[self.gaps] = False
        gaps = x[self.gaps]
        return (
            grade_log_probability(upper, lower).sum()
            - 0.5 * np.sum((x[gaussian] / self.sd[gaussian]) ** 2)
            + np.sum(2 * np.log(gaps) - 2 * gaps / self.problem.gap_mean)
        )

    def gradient(self, x, step=1e-5):
        return np.array(
            [(self.log_density(x + e) - self.log_density(x - e)) / (2 * step) for e in step * np.eye(x.size)]
        )

    def hessian(self, x, step=1e-4):
        rows = [(self.gradient(x + e) - self.gradient(x - e)) / (2 * step) for e in step * np.eye(x.size)]
        return -0.5 * (np.array(rows) + np.array(rows).T)


@pytest.mark.parametrize("trial", ["small", "three_sensors"])
def test_newton_and_factor_agree_with_dense_algebra(trial, request):
    problem = problem_of(request.getfixturevalue(trial))
    mode = find_mode(problem, SCALES)
    dense = Dense(problem)
    x = np.concatenate([mode.effects.plants, mode.effects.cells, mode.effects.selections, mode.effects.dense])
    assert mode.log_joint == pytest.approx(dense.log_density(x), abs=1e-9)
    assert np.abs(dense.gradient(x)).max() < 1e-5
    hessian = dense.hessian(x)
    prior = np.where(np.isin(np.arange(x.size), dense.gaps), 1.0, dense.sd**2)
    assert mode.factor.log_determinant == pytest.approx(np.linalg.slogdet(hessian)[1] + np.log(prior).sum(), abs=1e-3)
    inverse = np.linalg.inv(hessian)
    n_p, n_c, n_s = dense.sizes
    right = np.random.default_rng(0).normal(size=n_p)
    shared = np.random.default_rng(1).normal(size=problem.design.n_dense)
    ups = mode.factor.tree.ups
    whole = np.concatenate([right, ups[0] @ right, ups[1] @ (ups[0] @ right), shared])
    solved = np.concatenate(mode.factor.solve(right, shared))
    assert solved == pytest.approx(inverse @ whole, abs=1e-4)
    paths = effect_paths(problem.design, mode.factor)
    found = [
        total_variance(problem.design, mode.factor, paths[level], level, only)
        for level in range(3)
        for only in np.eye(dense.sizes[level])
    ]
    assert found == pytest.approx(np.diag(inverse)[: n_p + n_c + n_s], abs=1e-4)
    around = find_surroundings(mode)
    expected = np.einsum("ij,jk,ik->i", dense.upper, inverse, dense.lower)
    assert around.row_pq == pytest.approx(expected, abs=1e-4)


def test_sparse_rows_give_the_same_as_dense_rows(small, monkeypatch):
    mode = find_mode(problem_of(small), SCALES)
    monkeypatch.setattr(design_module, "DENSE_LIMIT", 0)
    sparse_problem = problem_of(small)
    assert not isinstance(sparse_problem.design.upper, np.ndarray)
    sparse_mode = find_mode(sparse_problem, SCALES)
    assert sparse_mode.effects.dense == pytest.approx(mode.effects.dense, abs=1e-8)
    assert sparse_mode.factor.log_determinant == pytest.approx(mode.factor.log_determinant, abs=1e-8)
    assert find_surroundings(sparse_mode).shift.selections == pytest.approx(
        find_surroundings(mode).shift.selections, abs=1e-8
    )


def test_a_scale_of_zero_switches_an_effect_off(small):
    off = SCALES | {"tau_u": 0.0, "tau_c": 0.0}
    mode = find_mode(problem_of(small), off)
    assert np.all(mode.effects.plants == 0) and np.all(mode.effects.cells == 0)
    tiny = find_mode(problem_of(small), SCALES | {"tau_u": 1e-5, "tau_c": 1e-5})
    assert mode.effects.dense == pytest.approx(tiny.effects.dense, abs=1e-5)


def test_mean_and_spread_of_a_gap_that_no_row_informs_are_those_of_its_gamma_prior(small):
    """Gamma(2, mean g): mean g, variance g^2/2. Only grades 0 and 1 occur, so that the upper gaps are free."""
    mild = small.assign(grade=small["grade"].clip(upper=1), grade_low=small["grade"].clip(upper=1))
    problem = problem_of(mild)
    mode = find_mode(problem, SCALES)
    shift = find_surroundings(mode).shift.dense[problem.design.gaps]
    g = problem.gap_mean
    assert (mode.gaps + shift)[1:] == pytest.approx(np.full(3, g), rel=1e-6)
    assert np.diag(mode.factor.dense_covariance)[problem.design.gaps][1:] == pytest.approx(
        np.full(3, g**2 / 2), rel=1e-6
    )


def test_extreme_rows_still_settle(small):
    cold = small.copy()
    cold.loc[cold.index[0], ["grade", "grade_low"]] = 0
    cold.loc[cold.index[0], "exposure_c"] = -60.0
    cold.loc[cold.index[0], "freeze"] = "a freeze of its own"
    assert np.isfinite(find_mode(problem_of(cold), SCALES).log_joint)


def test_newton_finds_what_a_general_optimiser_finds(small):
    problem = problem_of(small)
    dense = Dense(problem)
    mode = find_mode(problem, SCALES)
    start = np.zeros(sum(dense.sizes) + problem.design.n_dense)
    start[dense.gaps] = problem.gap_mean
    bounds = [(0.01, None) if i in set(dense.gaps) else (None, None) for i in range(start.size)]
    found = optimize.minimize(lambda x: -dense.log_density(x), start, method="L-BFGS-B", bounds=bounds,
                              options={"maxfun": 200_000, "ftol": 1e-14})  # fmt: skip
    assert mode.log_joint >= -found.fun - 1e-9
    assert mode.log_joint == pytest.approx(-found.fun, abs=1e-3)


def test_contradictions_that_cannot_settle_are_said(small):
    with pytest.raises(FitError, match="accepted: a temperature"):
        problem_of(small.assign(exposure_c=np.inf))
