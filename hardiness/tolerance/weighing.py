r"""How well a model foretells the scores: its marginal likelihood, every effect and every scale integrated out.

.. math:: \log p(y) = \log \int p(y \mid \psi)\, p(\psi)\, d\psi

with Laplace's :math:`p(y \mid \psi)` of :mod:`hardiness.tolerance.marginal` and the few scales :math:`\psi` integrated
by importance: Sobol' points of a Student t laid over the nodes of the posterior. All constants are in it, so models
with other exposures or terms may be compared on the same scores (Bayes factors; Kass & Raftery 1995,
doi:10.1080/01621459.1995.10476572).
"""

from __future__ import annotations

import numpy as np
from scipy import stats
from scipy.special import logsumexp

from hardiness.errors import FitError
from hardiness.tolerance.factor import GAP_SHAPE, blas_threads
from hardiness.tolerance.latent import Mode
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.marginal import log_marginal
from hardiness.tolerance.newton import find_mode
from hardiness.tolerance.posterior import Posterior
from hardiness.tolerance.priors import Priors

SEED = 20_013  # of the Sobol' scramble; a fixed one keeps results the same
FREEDOM = 5.0  # of the Student t: tails heavier than the posterior's
LEAST_SD = 0.05  # [log K] of the proposal
NEWTON_TOLERANCE = 0.01  # moves a point's log-density by far less than a point's share of the error


def log_evidence(posterior: Posterior) -> float:
    """Log marginal likelihood of the scores.

    Parameters
    ----------
    posterior : Posterior

    Returns
    -------
    float
    """
    priors, first = posterior.priors, posterior.nodes[0].mode
    constant = _constants(first, priors)
    if not priors.free:
        return log_marginal(first) + constant
    nodes = np.log([posterior.scale(name) for name in priors.free]).T
    centre = posterior.weights @ nodes
    away = nodes - centre
    covariance = (away * posterior.weights[:, None]).T @ away + LEAST_SD**2 * np.eye(centre.size)
    shape = covariance * (FREEDOM - 2.0) / FREEDOM
    proposal = stats.multivariate_t(centre, shape, df=FREEDOM)
    points = _points(centre, shape, 256 if posterior.design.low.size <= 600 else 64)
    logs = []
    with blas_threads():
        for point in points:
            near = int(np.argmin(np.sum(((nodes - point) / np.sqrt(np.diag(shape))) ** 2, axis=1)))
            start = posterior.nodes[near].mode.effects
            found = find_mode(first.problem, priors.scales(point), start, NEWTON_TOLERANCE)
            logs.append(log_marginal(found) + priors.log_density(point)[0] - float(proposal.logpdf(point)))
    return float(logsumexp(logs) - np.log(len(points))) + constant


def _points(centre: Floats, shape: Floats, count: int) -> Floats:
    """Sobol' points of a multivariate Student t, dims (point, scale)."""
    sobol = stats.qmc.Sobol(centre.size + 1, scramble=True, rng=np.random.default_rng(SEED)).random(count)
    sobol = np.clip(sobol, 1e-9, 1.0 - 1e-9)
    spread = np.sqrt(FREEDOM / stats.chi2(FREEDOM).ppf(sobol[:, -1]))
    normal = stats.norm.ppf(sobol[:, :-1]) @ np.linalg.cholesky(shape).T
    points: Floats = centre + normal * spread[:, None]
    return points


def _constants(mode: Mode, priors: Priors) -> float:
    """What Laplace's marginal and the priors' log-densities leave out."""
    gaps = mode.gaps.size
    constant = gaps * (0.5 * np.log(2.0 * np.pi) + GAP_SHAPE * np.log(GAP_SHAPE / mode.problem.gap_mean))
    for name in priors.free:
        if name == "sigma":
            constant -= 0.5 * np.log(2.0 * np.pi) + np.log(priors.sigma_log_sd)
        else:
            constant += 0.5 * np.log(2.0 / np.pi) - np.log(priors.prior_scale(name))
    return float(constant)


def model_weights(log_evidences: Floats) -> Floats:
    """Posterior probabilities of models that are equally likely before.

    Parameters
    ----------
    log_evidences : ndarray, dims (model,)
        Of the same scores.

    Returns
    -------
    ndarray, dims (model,)
        They sum to 1.

    Raises
    ------
    FitError
        If one is not finite.

    Examples
    --------
    >>> model_weights(np.array([-100.0, -100.0 - np.log(3.0)])).round(6).tolist()
    [0.75, 0.25]
    """
    if not np.isfinite(log_evidences).all():
        raise FitError("a model gives the scores no finite probability; look for extreme exposures.")
    weights: Floats = np.exp(log_evidences - logsumexp(log_evidences))
    return weights
