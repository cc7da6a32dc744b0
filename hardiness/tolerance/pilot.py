"""Where to look at the scales when Laplace's mode of them is no guide.

In a trial of a few rows Laplace's marginal density may rise without reason where sigma is nearly 0: every plant's own
effect then seems known exactly. Points of the prior, weighed by their marginal likelihood as joint draws estimate it,
know nothing of that. They only have to find the neighbourhood.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from hardiness.tolerance.latent import Mode, Problem, Surroundings, find_surroundings
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.marginal import log_marginal
from hardiness.tolerance.newton import NODE_TOLERANCE, find_modes
from hardiness.tolerance.priors import Priors

POINTS = 256
OWN_SHARE = 0.5  # of the variances that stays where few points carry the weight: correlations are then mostly chance
LEAST_SD = 0.3  # [log K]


def pilot(problem: Problem, priors: Priors, missed: Callable[[Mode, Surroundings], float]) -> tuple[Floats, Floats]:
    """Mean of the free scales' logarithms over weighted points of the prior, and minus the second derivatives there.

    Parameters
    ----------
    problem : Problem
    priors : Priors
    missed : callable
        What Laplace's log marginal likelihood misses at a mode.

    Returns
    -------
    centre : ndarray, dims (scale,)
        [log K]
    hessian : ndarray, dims (scale, scale)
        Inverse of a covariance whose correlations are halved.
    """
    points = priors.draw(POINTS)
    modes = find_modes(problem, [priors.scales(psi) for psi in points], [problem.start()] * POINTS, NODE_TOLERANCE)
    logs = np.array([log_marginal(mode) + missed(mode, find_surroundings(mode)) for mode in modes])
    weights = np.where(np.isfinite(logs), np.exp(logs - logs[np.isfinite(logs)].max()), 0.0)
    weights /= weights.sum()
    centre: Floats = weights @ points
    away = points - centre
    covariance = (weights[:, None] * away).T @ away
    sd = np.maximum(np.sqrt(np.diag(covariance)), LEAST_SD)
    covariance *= 1.0 - OWN_SHARE
    covariance[np.diag_indices_from(covariance)] = sd**2
    hessian: Floats = np.asarray(np.linalg.inv(covariance), dtype=float)
    return centre, hessian
