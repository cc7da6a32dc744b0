r"""Pareto-smoothed importance weights: the largest weights replaced by quantiles of a fitted generalised Pareto tail.

The shape k of that tail says how far the weights can be trusted: below 0.7 the smoothed estimates are dependable, above
it they are not (Vehtari, Simpson, Gelman, Yao & Gabry 2024, JMLR 25(72)). The tail is fitted by Zhang & Stephens
(2009, doi:10.1198/tech.2009.08017).
"""

from __future__ import annotations

import numpy as np

from hardiness.tolerance.likelihood import Floats

LEAST_TAIL = 5  # weights; below it there is no tail to fit
PRIOR_SHAPE, PRIOR_COUNT = 0.5, 10.0  # the shape is drawn a little towards one half, as if by ten more weights


def pareto_smooth(log_weights: Floats) -> tuple[Floats, float]:
    """Smooth importance weights and tell the shape of their tail.

    Parameters
    ----------
    log_weights : ndarray, dims (draw,)
        Logarithms of the raw weights, up to a constant; -inf is a weight of 0.

    Returns
    -------
    weights : ndarray, dims (draw,)
        Smoothed, of sum 1.
    k : float
        Shape of the tail; infinite where there are too few weights to tell.

    Examples
    --------
    >>> weights, k = pareto_smooth(np.zeros(100))
    >>> round(float(weights[0]), 4), k
    (0.01, -inf)
    """
    raw = np.exp(log_weights - np.max(log_weights))
    count = int(np.ceil(min(0.2 * raw.size, 3.0 * np.sqrt(raw.size))))
    if count < LEAST_TAIL:
        return raw / raw.sum(), np.inf
    order = np.argsort(raw, kind="stable")
    cut, tail = raw[order[-count - 1]], order[-count:]
    excess = raw[tail] - cut
    if excess[-1] <= 1e-12:  # all alike
        return raw / raw.sum(), -np.inf
    k, scale = _fit_tail(np.maximum(excess, 1e-300))
    shares = (np.arange(count) + 0.5) / count
    growth = -np.log1p(-shares) if abs(k) < 1e-8 else np.expm1(-k * np.log1p(-shares)) / k
    smooth = raw.copy()
    smooth[tail] = np.minimum(cut + scale * growth, 1.0)
    return smooth / smooth.sum(), k


def _fit_tail(excess: Floats) -> tuple[float, float]:
    """Shape and scale of a generalised Pareto distribution; ``excess`` rises."""
    n = excess.size
    grid = 30 + int(np.sqrt(n))
    quartile = excess[int(n / 4.0 + 0.5) - 1]
    theta = 1.0 / excess[-1] + (1.0 - np.sqrt(grid / (np.arange(1, grid + 1) - 0.5))) / (3.0 * quartile)
    shapes = np.mean(np.log1p(-theta[:, None] * excess), axis=1)
    profile = n * (np.log(-theta / shapes) - shapes - 1.0)
    weights = np.exp(profile - profile.max())
    best = float(np.sum(weights * theta) / np.sum(weights))
    shape = float(np.mean(np.log1p(-best * excess)))
    scale = -shape / best
    return (n * shape + PRIOR_COUNT * PRIOR_SHAPE) / (n + PRIOR_COUNT), scale
