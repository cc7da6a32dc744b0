"""Priors of the tolerance model: every scale can be set or fixed.

Scales are handled as psi = (log sigma, log tau_a, log tau_b, log tau_c, log tau_u, log tau_e), in degC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy import stats
from scipy.special import ndtri

from hardiness.errors import FitError
from hardiness.tolerance.likelihood import Floats

SEED = 20_015  # of the Sobol' scramble; any number serves, a fixed one keeps results the same
SCALES = ("sigma", "tau_a", "tau_b", "tau_c", "tau_u", "tau_e")


@dataclass(frozen=True, slots=True)
class Priors:
    """Prior scales of the tolerance model, in degC.

    Parameters
    ----------
    alpha_sd : float
        Standard deviation of the first grade's critical temperature about the warmest exposure met. [K]
    sigma_median : float
        Prior median of sigma, the spread of a plant's answer. [K]
    sigma_log_sd : float
        Standard deviation of log sigma. [1]
    tau_a, tau_b, tau_c, tau_u, tau_e : float
        Scales of the half-normal priors of the standard deviations of selections, rootstocks, their combination,
        plants, and freezes. [K]
    fixed : mapping of str to float
        Scales held at a value: any of sigma (above 0), tau_a, tau_b, tau_c, tau_u, tau_e (0 or more). [K]

    others : mapping of str to float
        Scales of the half-normal priors of the model's optional random terms, by the scale's name. [K]

    Raises
    ------
    FitError
        If a scale is unknown, not finite, or below what is allowed.

    Examples
    --------
    >>> Priors(fixed={"tau_u": 0.0}).free
    ('sigma', 'tau_a', 'tau_b', 'tau_c', 'tau_e')
    """

    alpha_sd: float = 6.0
    sigma_median: float = 0.8
    sigma_log_sd: float = 0.7
    tau_a: float = 2.0
    tau_b: float = 1.0
    tau_c: float = 0.7
    tau_u: float = 1.0
    tau_e: float = 1.0
    fixed: Mapping[str, float] = field(default_factory=dict)
    others: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("alpha_sd", "sigma_median", "sigma_log_sd", *SCALES[1:]):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0):
                raise FitError(f"prior {name}: found {value}; accepted: a number above 0.")
        for name, value in self.fixed.items():
            if name not in self.names:
                raise FitError(f"fixed scale '{name}' is not known; accepted: {', '.join(self.names)}.")
            if not np.isfinite(value) or value < 0 or (name == "sigma" and value == 0):
                raise FitError(
                    f"fixed {name}: found {value}; accepted: a number {'above 0' if name == 'sigma' else '0 or more'}."
                )

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all scales."""
        return (*SCALES, *self.others)

    def prior_scale(self, name: str) -> float:
        """Scale of the half-normal prior of a tau. [K].

        Parameters
        ----------
        name : str
            A tau.

        Returns
        -------
        float
            [K]
        """
        return float(self.others[name]) if name in self.others else float(getattr(self, name))

    @property
    def free(self) -> tuple[str, ...]:
        """Names of the scales that are estimated."""
        return tuple(name for name in self.names if name not in self.fixed)

    def start(self) -> Floats:
        """A starting point for the free scales: log of a cautious value each.

        Returns
        -------
        ndarray, dims (scale,)
            Logs of K.
        """
        values = {"sigma": self.sigma_median} | {name: 0.5 * self.prior_scale(name) for name in self.names[1:]}
        return np.log([values[name] for name in self.free])

    def draw(self, count: int) -> Floats:
        """Points of a scrambled Sobol' sequence from the prior of the free scales' logarithms; always the same.

        Parameters
        ----------
        count : int
            A power of two.

        Returns
        -------
        ndarray, dims (point, scale)
            Logs of K.
        """
        shares = stats.qmc.Sobol(len(self.free), scramble=True, rng=np.random.default_rng(SEED)).random(count)
        shares = np.clip(shares, 1e-6, 1.0 - 1e-6)
        points: Floats = np.empty_like(shares)
        for index, name in enumerate(self.free):
            if name == "sigma":
                points[:, index] = np.log(self.sigma_median) + self.sigma_log_sd * ndtri(shares[:, index])
            else:
                points[:, index] = np.log(self.prior_scale(name) * ndtri(0.5 + 0.5 * shares[:, index]))
        return points

    def scales(self, psi: Floats) -> dict[str, float]:
        """All scales at the free logs ``psi``. [K].

        Parameters
        ----------
        psi : ndarray, dims (scale,)
            Logs of the free scales.

        Returns
        -------
        dict of str to float
            [K]
        """
        values = dict(zip(self.free, np.exp(psi).tolist(), strict=True))
        return {name: float(self.fixed[name]) if name in self.fixed else values[name] for name in self.names}

    def log_density(self, psi: Floats) -> tuple[float, Floats]:
        """Log prior density of the free logs, and its gradient; dims (scale,).

        Parameters
        ----------
        psi : ndarray, dims (scale,)
            Logs of the free scales.

        Returns
        -------
        float, and ndarray with dims (scale,)
        """
        value, gradient = 0.0, np.zeros(len(self.free))
        for index, name in enumerate(self.free):
            if name == "sigma":
                away = (psi[index] - np.log(self.sigma_median)) / self.sigma_log_sd
                value -= 0.5 * away**2
                gradient[index] = -away / self.sigma_log_sd
            else:  # half-normal in tau; the + psi is the Jacobian of the logarithm
                ratio = (np.exp(psi[index]) / self.prior_scale(name)) ** 2
                value += psi[index] - 0.5 * ratio
                gradient[index] = 1.0 - ratio
        return float(value), gradient
