r"""Joint draws of figures from the posterior: what a rank needs, which no figure by itself can tell.

A node of the scales is taken by its weight; at each, the figures' normal scores are drawn together from the Gaussian
around the mode, resolved into its independent parts, so that what figures share moves them together. Each score is then
given its figure's own mean, standard deviation and skewness at the node, by Wilson & Hilferty's cube root (1931,
doi:10.1073/pnas.17.12.684) as in :mod:`hardiness.tolerance.mixture`: a figure's draws follow the same posterior as its
interval. Where the draws of a small trial are the answer, they are taken by their weights instead.
"""

from __future__ import annotations

import numpy as np

from hardiness.tolerance.basis import Figures
from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import blas_threads
from hardiness.tolerance.functionals import LEAST_SD, mixture_of, reduce_figures, sample_of
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.mixture import MOST_SKEW, SMALL_SKEW
from hardiness.tolerance.posterior import Node, Posterior
from hardiness.tolerance.sample import systematic

SEED = 20_012  # any number serves; a fixed one keeps results the same
DRAWS = 4_000  # a probability is then known to 0.008 (one standard error, at worst)


def joint_draws(posterior: Posterior, figures: Figures, count: int = DRAWS) -> Floats:
    """Draw figures together from the posterior; the same posterior gives the same draws.

    Parameters
    ----------
    posterior : Posterior
    figures : Figures
    count : int
        Number of draws.

    Returns
    -------
    ndarray, dims (draw, figure)
        In the figures' unit, degC or K; draws of one node stand together.
    """
    if posterior.draws is not None and posterior.draws.direct:
        sample = sample_of(posterior, posterior.draws, figures)
        return sample.values[systematic(sample.weights, count)]
    design, mixture = posterior.design, mixture_of(posterior, figures)
    rng = np.random.default_rng(SEED)
    parts = []
    with blas_threads():
        for index, draws in enumerate(_shared_out(posterior.weights, count)):
            if draws:
                scores = _normal_scores(design, posterior.nodes[index], figures, draws, rng)
                parts.append(mixture.mean[index] + mixture.sd[index] * _bent(scores, mixture.skew[index]))
    return np.concatenate(parts)


def _shared_out(weights: Floats, count: int) -> list[int]:
    """How many draws each node gets: within one of its weight's share."""
    ends = np.round(np.cumsum(weights) / weights.sum() * count)
    return [int(draws) for draws in np.diff(ends, prepend=0.0)]


def _normal_scores(design: Design, node: Node, figures: Figures, count: int, rng: np.random.Generator) -> Floats:
    """Standard normals, correlated as the figures are at the mode; dims (draw, figure)."""
    factor, reduced = node.mode.factor, reduce_figures(design, node.mode, figures)
    values, vectors = np.linalg.eigh(factor.dense_covariance)  # a scale of 0 makes it singular
    # By the symmetric root: another turns with the eigenvectors' signs, which rounding decides, and ranks with it.
    shared = (rng.standard_normal((count, values.size)) @ vectors) * np.sqrt(np.maximum(values, 0.0))
    deviations: Floats = (shared @ vectors.T) @ reduced.dense.T
    for level, own in ((1, reduced.cells), (2, reduced.selections)):
        sd = np.sqrt(factor.variance[level])
        deviations += (own @ (rng.standard_normal((count, sd.size)) * sd).T).T
    return deviations / np.maximum(np.sqrt(reduced.variance), LEAST_SD)


def _bent(z: Floats, skew: Floats) -> Floats:
    skew = np.clip(skew, -MOST_SKEW, MOST_SKEW)
    flat = np.abs(skew) < SMALL_SKEW
    safe = np.where(flat, 1.0, skew)
    return np.where(flat, z, 2.0 / safe * ((1.0 + safe / 6.0 * (z - safe / 6.0)) ** 3 - 1.0))
