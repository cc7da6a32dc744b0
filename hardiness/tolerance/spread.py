r"""How plants of one cell differ in one freeze: the distribution of a normal plus a logistic deviation.

A share q of plants comes through where the exposure is warmer than the critical temperature by the q-quantile of

.. math:: \tau Z + \sigma L, \qquad P(\tau Z + \sigma L \le x) = \int F((x - \tau z)/\sigma)\, \varphi(z)\, dz

The integral is a trapezoid sum over z, which for such smooth functions is exact to rounding (Trefethen & Weideman 2014,
doi:10.1137/130932132) as long as sigma is not tiny beside tau.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import elementwise
from scipy.special import expit, ndtri

from hardiness.tolerance.likelihood import Floats

_Z = np.linspace(-8.5, 8.5, 171)
_DENSITY = np.exp(-0.5 * _Z**2)
_WEIGHTS = _DENSITY / _DENSITY.sum()
_LEAST_RATIO = 0.05  # sigma / tau; a smaller sigma is taken as this much of tau, which moves no quantile by 1 % of tau
_TOLERANCE = 1e-10  # [K]


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
    logit = np.log(share / (1.0 - share))
    # The quantile lies between 0 and the sum of the parts' own quantiles.
    reach = sigma * abs(logit) + normal_sd * abs(float(ndtri(share))) + 1e-12
    reach = reach + _LEAST_RATIO * normal_sd * abs(logit)
    low, high = (np.zeros_like(reach), reach) if share >= 0.5 else (-reach, np.zeros_like(reach))

    def surplus(values: Floats, sd: Floats, scale: Floats) -> Floats:
        flat = spread_share(values.ravel(), np.broadcast_to(sd, values.shape).ravel(),
                            np.broadcast_to(scale, values.shape).ravel())  # fmt: skip
        return flat.reshape(values.shape) - share

    found = elementwise.find_root(
        surplus, (low - _TOLERANCE, high + _TOLERANCE), args=(normal_sd, sigma), tolerances={"xatol": _TOLERANCE}
    )
    return np.asarray(found.x, dtype=float)
