r"""The marginal posterior of the scales by Laplace's method, with its analytic gradient.

.. math:: \log p(\psi \mid y) = h(m; \psi) - \tfrac12 \log|H(m; \psi)| + \log p(\psi)

With g of :mod:`hardiness.tolerance.latent` and :math:`r = \partial^2 h / \partial x \partial \psi`, its gradient is

.. math:: \partial h / \partial\psi - \tfrac12 \mathrm{tr}(H^{-1} \partial H / \partial\psi) + (H^{-1} g)' r

so the shift that corrects the mean is also what the gradient needs.
"""

from __future__ import annotations

import numpy as np

from hardiness.tolerance.latent import (
    Effects,
    Mode,
    Problem,
    Surroundings,
    find_surroundings,
    row_ends,
)
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.newton import find_mode
from hardiness.tolerance.paths import total_variance
from hardiness.tolerance.priors import Priors


def log_marginal(mode: Mode) -> float:
    """Log marginal likelihood of the scales at a mode, up to a constant of the design.

    Parameters
    ----------
    mode : Mode

    Returns
    -------
    float
    """
    return mode.log_joint - float(np.sum(np.log(mode.gaps))) - 0.5 * float(mode.factor.log_determinant)


def log_marginal_gradient(mode: Mode, surroundings: Surroundings) -> dict[str, float]:
    """Gradient of :func:`log_marginal` in the logarithm of each scale.

    Parameters
    ----------
    mode : Mode
    surroundings : Surroundings
        Of the same mode.

    Returns
    -------
    dict of str to float
        By the scale's name.
    """
    design, factor, effects, shift = mode.problem.design, mode.factor, mode.effects, surroundings.shift
    dense_variance = np.diag(factor.dense_covariance)
    gradient = {"sigma": _sigma_gradient(mode, surroundings)}
    levels = (
        ("tau_u", effects.plants, surroundings.plants, shift.plants, np.ones(effects.plants.size)),
        ("tau_c", effects.cells, surroundings.cells, shift.cells, np.ones(effects.cells.size)),
        ("tau_a", effects.selections, surroundings.selections, shift.selections, np.sqrt(design.selection_share)),
    )
    for level, (name, values, paths, moved, share) in enumerate(levels):
        prior = (mode.scales[name] * share) ** 2
        inverse = np.where(prior > 0, 1.0 / np.where(prior > 0, prior, 1.0), 0.0)
        squares = inverse @ (values**2 + 2.0 * moved * values) + total_variance(design, factor, paths, level, inverse)
        gradient[name] = float(squares) - np.count_nonzero(prior)
    for block in design.blocks:
        if block.tau is not None:
            columns = block.columns
            gradient[block.tau] = gradient.get(block.tau, 0.0) + _gaussian_gradient(
                effects.dense[columns],
                dense_variance[columns],
                shift.dense[columns],
                block.own_sd,
                block.share,
                mode.scales[block.tau],
            )
    return gradient


def _gaussian_gradient(
    values: Floats, variances: Floats, shift: Floats, own_sd: Floats, share: Floats, tau: float
) -> float:
    """Gradient in log tau of effects ~ N(0, own_sd^2 + (tau share)^2)."""
    from_tau = (tau * share) ** 2
    kept = from_tau > 0
    prior = (own_sd**2 + from_tau)[kept]
    squares = (values**2 + variances + 2.0 * shift * values)[kept]
    return float(np.sum(from_tau[kept] / prior * (squares / prior - 1.0)))


def _sigma_gradient(mode: Mode, surroundings: Surroundings) -> float:
    """Every row's standardised distances shrink as 1/sigma; so do its derivatives."""
    problem, terms, sigma = mode.problem, mode.terms, mode.scales["sigma"]
    design = problem.design
    upper = np.where(design.low > 0, mode.upper - design.log_near, 0.0)
    lower = np.where(design.high < design.worst, mode.lower - design.log_near, 0.0)
    explicit = -np.sum(terms.a * upper + terms.b * lower)
    pp = (2.0 * terms.aa + terms.aaa * upper + terms.aab * lower) / sigma**2
    pq = (2.0 * terms.ab + terms.aab * upper + terms.abb * lower) / sigma**2
    qq = (2.0 * terms.bb + terms.abb * upper + terms.bbb * lower) / sigma**2
    trace = np.sum(pp * surroundings.row_pp + 2.0 * pq * surroundings.row_pq + qq * surroundings.row_qq)
    moved_upper = -(terms.a + terms.aa * upper + terms.ab * lower) / sigma
    moved_lower = -(terms.b + terms.ab * upper + terms.bb * lower) / sigma
    shift_upper, shift_lower = row_ends(problem, surroundings.shift)
    return float(explicit - 0.5 * trace + np.sum(moved_upper * shift_upper + moved_lower * shift_lower))


def log_posterior(
    problem: Problem, priors: Priors, psi: Floats, start: Effects | None = None
) -> tuple[float, Floats, Mode]:
    """Log posterior density of the free scales' logarithms, its gradient, and the mode it rests on.

    Parameters
    ----------
    problem : Problem
    priors : Priors
    psi : ndarray, dims (scale,)
        Logarithms of the free scales. [log K]
    start : Effects, optional
        Where Newton starts.

    Returns
    -------
    value : float
    gradient : ndarray, dims (scale,)
    mode : Mode
    """
    return log_posterior_around(problem, priors, psi, start)[:3]


def log_posterior_around(
    problem: Problem, priors: Priors, psi: Floats, start: Effects | None = None
) -> tuple[float, Floats, Mode, Surroundings]:
    """The same as :func:`log_posterior`, with what surrounds the mode.

    Parameters
    ----------
    problem, priors, psi, start
        As there.

    Returns
    -------
    value, gradient, mode
        As there.
    surroundings : Surroundings
    """
    mode = find_mode(problem, priors.scales(psi), start)
    around = find_surroundings(mode)
    slopes = log_marginal_gradient(mode, around)
    prior, prior_slopes = priors.log_density(psi)
    return log_marginal(mode) + prior, np.array([slopes[name] for name in priors.free]) + prior_slopes, mode, around
