r"""How plants of one cell differ in one freeze: the distribution of a normal plus a logistic deviation.

A share q of plants comes through where the exposure is warmer than the critical temperature by the q-quantile of

.. math:: \tau Z + \sigma L, \qquad P(\tau Z + \sigma L \le x) = \int F((x - \tau z)/\sigma)\, \varphi(z)\, dz

The integral is a trapezoid sum over z, which for such smooth functions is exact to rounding (Trefethen & Weideman 2014,
doi:10.1137/130932132) as long as sigma is not tiny beside tau.

Both deviations are symmetric, so the quantiles of q and 1 - q differ in sign only. Both have log-concave densities,
hence so has their sum, and the logarithm of P is concave (Prekopa 1973, Acta Sci. Math. 34, 335-343): Newton's method
on it finds the quantile from wherever it starts.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from hardiness.tolerance.likelihood import Floats

_Z = np.linspace(-8.5, 8.5, 171)
_DENSITY = np.exp(-0.5 * _Z**2)
_WEIGHTS = _DENSITY / _DENSITY.sum()
_LEAST_RATIO = 0.05  # sigma / tau; a smaller sigma is taken as this much of tau, which moves no quantile by 1 % of tau
_LEAST_SHARE = 1e-15  # a share nearer to 0 or 1 is taken as that far from it: a share near 1 is not known better
_PROBIT = 1.702  # a logistic deviation of this scale is nearest to a standard normal's; only Newton's start rests on it
_TOLERANCE = 1e-7  # [K] of Newton's last step, which leaves about its square
_MOST_STEPS = 100


def spread_share(values: Floats, normal_sd: Floats, sigma: Floats) -> Floats:
    """Share of plants that deviate by at most a value.

    Parameters
    ----------
    values : ndarray, dims (node,)
        [K]
    normal_sd, sigma : ndarray, dims (node,)
        Standard deviation of the normal part and scale of the logistic part. [K]

    Returns
    -------
    ndarray, dims (node,)

    Examples
    --------
    >>> round(float(spread_share(np.array([2.0]), np.array([0.0]), np.array([1.0]))[0]), 6)
    0.880797
    """
    logistic = np.maximum(sigma, _LEAST_RATIO * normal_sd)
    share: Floats = expit((values[:, None] - normal_sd[:, None] * _Z) / logistic[:, None]) @ _WEIGHTS
    return share


def spread_quantile(share: float, normal_sd: Floats, sigma: Floats) -> Floats:
    """Deviation that a share of plants stays at or below.

    Parameters
    ----------
    share : float
        Between 0 and 1.
    normal_sd, sigma : ndarray, dims (node,)
        Standard deviation of the normal part and scale of the logistic part. [K]

    Returns
    -------
    ndarray, dims (node,)
        [K]

    Examples
    --------
    >>> round(float(spread_quantile(0.9, np.array([0.0]), np.array([0.8]))[0]), 4)
    1.7578
    """
    lower = max(min(share, 1.0 - share), _LEAST_SHARE)
    logistic = np.maximum(sigma, _LEAST_RATIO * normal_sd)
    values = np.log(lower / (1.0 - lower)) * np.hypot(logistic, normal_sd / _PROBIT)
    for _ in range(_MOST_STEPS):
        parts = expit((values[:, None] - normal_sd[:, None] * _Z) / logistic[:, None])
        below, density = parts @ _WEIGHTS, (parts * (1.0 - parts)) @ _WEIGHTS / logistic
        step = np.log(below / lower) * below / density
        values = values - step
        if float(np.max(np.abs(step), initial=0.0)) < _TOLERANCE:
            break
    return np.asarray(-values if share > 0.5 else values)
