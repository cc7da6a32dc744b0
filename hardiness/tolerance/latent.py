r"""The mode of the latent effects at given scales, and what surrounds it.

The log-density is concave, so one Newton solve finds the mode. The gaps between critical temperatures are handled on
their logarithm: with the Jacobian the Gamma prior stays log-concave in the gap itself, and the mean, variance and
third cumulant that follow from the mode are exact where the data say nothing of a gap. For a linear functional l of
the effects x, with mode m, Hessian H, third derivatives T and :math:`u = H^{-1} l` (Tierney & Kadane 1986,
doi:10.1080/01621459.1986.10478240, carried to third order):

.. math:: E \approx l'm + u'g, \quad \mathrm{var} \approx l'u, \quad \kappa_3 \approx T(u, u, u),
          \quad g = \tfrac12 T{:}H^{-1} - \nabla \log\textstyle\prod_k \delta_k
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from hardiness.errors import FitError
from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import (
    GAP_SHAPE,
    Factor,
    Paths,
    Tree,
    effect_paths,
    factorise,
    row_variances,
)
from hardiness.tolerance.likelihood import Floats, GradeTerms, grade_log_probability, grade_terms
from hardiness.tolerance.rowmaps import Weights

TOLERANCE = (
    1e-7  # largest move of a standardised critical temperature at which Newton stops; it then errs by its square
)
MOST_STEPS = 200


@dataclass(frozen=True, slots=True)
class Effects:
    """Values of the latent effects. [K]."""

    plants: Floats
    cells: Floats
    selections: Floats
    dense: Floats

    def moved(self, other: Effects, share: float) -> Effects:
        """A point on the way to another one.

        Parameters
        ----------
        other : Effects
        share : float
            0 stays here, 1 goes all the way.

        Returns
        -------
        Effects
        """
        return Effects(
            self.plants + share * (other.plants - self.plants),
            self.cells + share * (other.cells - self.cells),
            self.selections + share * (other.selections - self.selections),
            self.dense + share * (other.dense - self.dense),
        )


@dataclass(frozen=True, slots=True)
class Problem:
    """A design with its tree and the prior mean of a gap: what stays fixed while scales move."""

    design: Design
    tree: Tree
    gap_mean: float
    alpha_sd: float

    def dense_sd(self, scales: Mapping[str, float]) -> Floats:
        """Prior standard deviation of each column of the dense block, 1 for the gaps. [K].

        Parameters
        ----------
        scales : mapping of str to float
            sigma and the taus. [K]

        Returns
        -------
        ndarray, dims (dense,)
            [K]
        """
        sd = np.ones(self.design.n_dense)
        sd[0] = self.alpha_sd
        for block in self.design.blocks:
            tau = scales[block.tau] if block.tau else 0.0
            sd[block.columns] = np.hypot(block.own_sd, tau * block.share)
        return sd

    def start(self) -> Effects:
        """Where Newton starts when nothing better is known.

        Returns
        -------
        Effects
        """
        design = self.design
        dense = np.zeros(design.n_dense)
        dense[design.gaps] = self.gap_mean
        return Effects(
            np.zeros(design.cell_of_plant.size), np.zeros(len(design.cells)), np.zeros(len(design.selections)), dense
        )


@dataclass(frozen=True, slots=True)
class Mode:
    """The mode at given scales, with all that the approximation needs.

    Parameters
    ----------
    scales : dict
        sigma and the taus. [K]
    effects : Effects
        The mode.
    upper, lower : ndarray, dims (row,)
        Standardised critical temperatures there; +-inf where a row has no such end.
    terms : GradeTerms
        Derivatives there.
    factor : Factor
    log_joint : float
        Log-likelihood and log prior there (constants of the Gaussians left to ``factor.log_determinant``).
    """

    problem: Problem
    scales: dict[str, float]
    effects: Effects
    upper: Floats
    lower: Floats
    terms: GradeTerms
    factor: Factor
    log_joint: float

    @property
    def gaps(self) -> Floats:
        """Gaps between neighbouring critical temperatures. [K]."""
        return self.effects.dense[self.problem.design.gaps]


def find_mode(
    problem: Problem, scales: Mapping[str, float], start: Effects | None = None, tolerance: float = TOLERANCE
) -> Mode:
    """Find the mode of the latent effects at given scales by Newton's method with step halving.

    Parameters
    ----------
    problem : Problem
    scales : mapping of str to float
        sigma and the taus. [K]
    start : Effects, optional
        Where to start.
    tolerance : float
        Largest last step, of a standardised critical temperature. The Hessian is the one before that step.

    Returns
    -------
    Mode

    Raises
    ------
    FitError
        If it does not settle within 200 steps.
    """
    design, sigma = problem.design, scales["sigma"]
    sd = problem.dense_sd(scales)
    point = _Point.at(problem, scales, sd, problem.start() if start is None else start)
    for _ in range(MOST_STEPS):
        terms = grade_terms(point.a, point.b)
        weights = Weights(-terms.aa / sigma**2, -terms.ab / sigma**2, -terms.bb / sigma**2)
        gaps = point.effects.dense[design.gaps]
        factor = factorise(design, problem.tree, weights, scales, sd, gaps)
        target = _newton_target(problem, point, terms, weights, factor, sigma)
        share = _longest_step(gaps, target.dense[design.gaps])
        move = _largest_move(problem, point.effects, target, sigma)
        while True:
            trial = _Point.at(problem, scales, sd, target if share == 1.0 else point.effects.moved(target, share))
            # Close to the mode the objective is flat to rounding; Newton's own step is then trusted.
            if trial.value >= point.value - 1e-9 * abs(point.value) or share * move < TOLERANCE:
                break
            share *= 0.5
        settled = share == 1.0 and move < tolerance
        if settled:
            return Mode(problem, dict(scales), trial.effects, trial.a, trial.b, terms, factor, trial.value)
        point = trial
    raise FitError("the fit did not settle; look for extreme exposures or contradicting rows.")


@dataclass(frozen=True, slots=True)
class _Point:
    """Effects, the critical temperatures of each row there, the same standardised, and the log joint density."""

    effects: Effects
    upper: Floats
    lower: Floats
    a: Floats
    b: Floats
    value: float

    @staticmethod
    def at(problem: Problem, scales: Mapping[str, float], sd: Floats, effects: Effects) -> _Point:
        design, sigma = problem.design, scales["sigma"]
        upper, lower = _row_values(problem, effects)
        away = (design.alpha_mean - design.exposure) / sigma + design.log_near
        a = np.where(design.low > 0, upper / sigma + away, np.inf)
        b = np.where(design.high < design.worst, lower / sigma + away, -np.inf)
        return _Point(effects, upper, lower, a, b, _objective(problem, scales, sd, effects, a, b))


def _row_values(problem: Problem, effects: Effects) -> tuple[Floats, Floats]:
    design = problem.design
    own = effects.plants + (effects.cells + effects.selections[design.selection_of_cell])[design.cell_of_plant]
    rest = own[design.plant_of_row]
    return (
        np.where(design.low > 0, design.upper @ effects.dense + rest, 0.0),
        np.where(design.high < design.worst, design.lower @ effects.dense + rest, 0.0),
    )


def _objective(
    problem: Problem, scales: Mapping[str, float], sd: Floats, effects: Effects, upper: Floats, lower: Floats
) -> float:
    """Log joint density with respect to the logarithm of the gaps, without the Gaussians' constants."""
    dense, gaps = effects.dense, effects.dense[problem.design.gaps]
    whole = float(np.sum(grade_log_probability(upper, lower)))
    selection_sd = scales["tau_a"] * np.sqrt(problem.design.selection_share)
    whole -= 0.5 * _quadratic(effects.plants, scales["tau_u"])
    whole -= 0.5 * _quadratic(effects.cells, scales["tau_c"])
    whole -= 0.5 * _quadratic(effects.selections, selection_sd)
    others = np.ones(dense.size, dtype=bool)
    others[problem.design.gaps] = False
    whole -= 0.5 * _quadratic(dense[others], sd[others])
    return whole + float(np.sum(GAP_SHAPE * np.log(gaps) - gaps * GAP_SHAPE / problem.gap_mean))


def _quadratic(values: Floats, sd: float | Floats) -> float:
    if isinstance(sd, float):
        return float(values @ values) / sd**2 if sd > 0 else 0.0  # an effect without spread is exactly 0
    kept = sd > 0
    return float(np.sum(np.square(values[kept] / sd[kept])))


def _newton_target(
    problem: Problem, point: _Point, terms: GradeTerms, weights: Weights, factor: Factor, sigma: float
) -> Effects:
    """Where a full Newton step leads: solve H x = gradient of the likelihood + its curvature times x."""
    design = problem.design
    pull_upper = terms.a / sigma + weights.pp * point.upper + weights.pq * point.lower
    pull_lower = terms.b / sigma + weights.pq * point.upper + weights.qq * point.lower
    dense = design.upper.T @ pull_upper + design.lower.T @ pull_lower
    gaps = point.effects.dense[design.gaps]
    dense[design.gaps] += 2.0 * GAP_SHAPE / gaps - GAP_SHAPE / problem.gap_mean
    return Effects(*factor.solve(factor.tree.to_plants @ (pull_upper + pull_lower), dense))


def _longest_step(gaps: Floats, target: Floats) -> float:
    """Keep every gap above a fifth of what it was."""
    shrinking = target < 0.2 * gaps
    if not shrinking.any():
        return 1.0
    return float(np.min(0.8 * gaps[shrinking] / (gaps[shrinking] - target[shrinking])))


def _largest_move(problem: Problem, effects: Effects, target: Effects, sigma: float) -> float:
    design = problem.design
    change = Effects(*(new - old for new, old in zip(_parts(target), _parts(effects), strict=True)))
    gap_change = np.abs(change.dense[design.gaps]) / effects.dense[design.gaps]
    sizes = [np.abs(part).max(initial=0.0) / sigma for part in _parts(change)]
    return float(max(*sizes, gap_change.max(initial=0.0)))


def _parts(effects: Effects) -> tuple[Floats, Floats, Floats, Floats]:
    return effects.plants, effects.cells, effects.selections, effects.dense


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What third derivatives add at a mode.

    Parameters
    ----------
    plants, cells, selections : Paths
        How the effects of each level rest on independent parts.
    sums : Paths
        The same for u + c + a of each plant.
    row_pp, row_pq, row_qq : ndarray, dims (row,)
        Posterior covariances of each row's critical temperatures. [K2]
    shift : Effects
        Posterior mean minus mode, :math:`H^{-1} g`. [K]
    """

    plants: Paths
    cells: Paths
    selections: Paths
    sums: Paths
    row_pp: Floats
    row_pq: Floats
    row_qq: Floats
    shift: Effects


def find_surroundings(mode: Mode) -> Surroundings:
    """Carry the approximation at a mode to third order; see the module's formula.

    Parameters
    ----------
    mode : Mode

    Returns
    -------
    Surroundings
    """
    design, factor, terms = mode.problem.design, mode.factor, mode.terms
    plants, cells, selections, sums = effect_paths(design, factor)
    pp, pq, qq = row_variances(design, factor, sums)
    cube = 0.5 / mode.scales["sigma"] ** 3
    to_upper = cube * (terms.aaa * pp + 2.0 * terms.aab * pq + terms.abb * qq)
    to_lower = cube * (terms.aab * pp + 2.0 * terms.abb * pq + terms.bbb * qq)
    dense = design.upper.T @ to_upper + design.lower.T @ to_lower
    gap_variance = np.diag(factor.dense_covariance)[design.gaps]
    dense[design.gaps] += GAP_SHAPE / mode.gaps**3 * gap_variance - 1.0 / mode.gaps
    shift = Effects(*factor.solve(factor.tree.to_plants @ (to_upper + to_lower), dense))
    return Surroundings(plants, cells, selections, sums, pp, pq, qq, shift)


def row_values(mode: Mode, effects: Effects) -> tuple[Floats, Floats]:
    """Each row's two critical temperatures for given effects, without offsets; 0 where a row has no such end.

    Parameters
    ----------
    mode : Mode
        Whose design is meant.
    effects : Effects

    Returns
    -------
    upper, lower : ndarray, dims (row,)
        [K]
    """
    return _row_values(mode.problem, effects)


def mean_effects(mode: Mode, surroundings: Surroundings) -> Effects:
    """Posterior means at given scales: the mode and its third-order shift.

    Parameters
    ----------
    mode : Mode
    surroundings : Surroundings

    Returns
    -------
    Effects
        [K]
    """
    shift = surroundings.shift
    return replace(
        mode.effects,
        plants=mode.effects.plants + shift.plants,
        cells=mode.effects.cells + shift.cells,
        selections=mode.effects.selections + shift.selections,
        dense=mode.effects.dense + shift.dense,
    )
