r"""Quantiles and probabilities of a weighted mixture of slightly skewed distributions.

Each component is known by its mean, standard deviation and skewness, and is taken as the gamma with these moments,
through Wilson & Hilferty's cube root (1931, doi:10.1073/pnas.17.12.684):

.. math:: z = \frac{6}{\gamma}\Bigl(\sqrt[3]{1 + \gamma y / 2} - 1\Bigr) + \frac{\gamma}{6}, \qquad y = (x - \mu)/s

A skewness of 0 is the normal distribution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise
from scipy.special import ndtr, ndtri

from hardiness.tolerance.likelihood import Floats

SMALL_SKEW = 1e-4
MOST_SKEW = 1.8
TOLERANCE = 1e-9  # [K] of a quantile


@dataclass(frozen=True, slots=True)
class Mixture:
    """Posteriors of several figures as mixtures.

    Parameters
    ----------
    weights : ndarray, dims (node,)
    mean, sd, skew : ndarray, dims (node, figure)
    """

    weights: Floats
    mean: Floats
    sd: Floats
    skew: Floats

    def shifted(self, by: Floats) -> Mixture:
        """The same figures with a number of each node added; ``by`` has dims (node,)."""
        return Mixture(self.weights, self.mean + by[:, None], self.sd, self.skew)

    def probability_below(self, values: Floats) -> Floats:
        """Probability that each figure is at or below a value.

        Parameters
        ----------
        values : ndarray, dims (figure,)

        Returns
        -------
        ndarray, dims (figure,)
        """
        below: Floats = self.weights @ ndtr(_standard(values, self.mean, self.sd, self.skew))
        return below

    def quantile(self, share: float) -> Floats:
        """Quantile of each figure.

        Parameters
        ----------
        share : float
            Between 0 and 1.

        Returns
        -------
        ndarray, dims (figure,)

        Examples
        --------
        >>> one = Mixture(np.array([1.0]), np.array([[-9.0]]), np.array([[0.5]]), np.array([[0.0]]))
        >>> round(float(one.quantile(0.95)[0]), 4)
        -8.1776
        """
        ends = self._component_quantile(share)
        low, high = ends.min(axis=0) - TOLERANCE, ends.max(axis=0) + TOLERANCE

        def surplus(values: Floats, figure: NDArray[np.int64]) -> Floats:
            # The solver drops figures as they are found, and may add an axis.
            z = _standard(values, *(part[:, figure] for part in (self.mean, self.sd, self.skew)))
            return np.tensordot(self.weights, ndtr(z), axes=(0, 0)) - share

        figures = np.arange(low.size)
        found = elementwise.find_root(surplus, (low, high), args=(figures,), tolerances={"xatol": TOLERANCE})
        return np.asarray(found.x, dtype=float)

    def _component_quantile(self, share: float) -> Floats:
        z = ndtri(share)
        skew = np.clip(self.skew, -MOST_SKEW, MOST_SKEW)
        safe = np.where(np.abs(skew) < SMALL_SKEW, 1.0, skew)
        curved = 2.0 / safe * ((1.0 + safe / 6.0 * (z - safe / 6.0)) ** 3 - 1.0)
        y: Floats = np.where(np.abs(skew) < SMALL_SKEW, z, curved)
        return self.mean + self.sd * y


def _standard(values: Floats, mean: Floats, sd: Floats, skew: Floats) -> Floats:
    y = (values - mean) / sd
    skew = np.clip(skew, -MOST_SKEW, MOST_SKEW)
    safe = np.where(np.abs(skew) < SMALL_SKEW, 1.0, skew)
    curved = 6.0 / safe * (np.cbrt(1.0 + safe * y / 2.0) - 1.0) + safe / 6.0
    z: Floats = np.where(np.abs(skew) < SMALL_SKEW, y, curved)
    return z
