r"""Quantiles and probabilities of a weighted mixture of slightly skewed distributions.

Each component is known by its mean, standard deviation and skewness, and is taken as the gamma with these moments,
through Wilson & Hilferty's cube root (1931, doi:10.1073/pnas.17.12.684):

.. math:: z = \frac{6}{\gamma}\Bigl(\sqrt[3]{1 + \gamma y / 2} - 1\Bigr) + \frac{\gamma}{6}, \qquad y = (x - \mu)/s

A skewness of 0 is the normal distribution.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, ndtri

from hardiness.tolerance.distribution import Distribution
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices

SMALL_SKEW = 1e-4
MOST_SKEW = 1.8
TOLERANCE = 1e-5  # [K] of the last Newton step of a quantile, which leaves about its square
MOST_STEPS = 100
MANY = 100_000  # nodes x figures; past it nodes are merged into groups
GROUPS = 24


@dataclass(frozen=True, slots=True)
class Mixture(Distribution):
    """Posteriors of several figures as mixtures.

    Parameters
    ----------
    weights : ndarray, dims (node,)
        Of sum 1.
    mean, sd : ndarray, dims (node, figure)
        In the figures' unit.
    skew : ndarray, dims (node, figure)
        [1]

    Examples
    --------
    >>> one = Mixture(np.array([1.0]), np.array([[-9.0]]), np.array([[0.5]]), np.array([[0.0]]))
    >>> round(float(one.quantile(0.95)[0]), 4)
    -8.1776
    """

    weights: Floats
    mean: Floats
    sd: Floats
    skew: Floats

    def shifted(self, by: Floats) -> Mixture:
        """As :meth:`Distribution.shifted`."""
        return replace(self, mean=self.mean + by[:, None])

    def of(self, figures: Indices) -> Mixture:
        """As :meth:`Distribution.of`."""
        return Mixture(self.weights, self.mean[:, figures], self.sd[:, figures], self.skew[:, figures])

    def probability_below(self, values: Floats) -> Floats:
        """As :meth:`Distribution.probability_below`."""
        below: Floats = self.weights @ ndtr(_standard(values, self.mean, self.sd, self.skew)[0])
        return below

    def quantiles(self, shares: Sequence[float]) -> Floats:
        """As :meth:`Distribution.quantiles`."""
        merged = self.simplified()
        return np.array([merged._solved(share) for share in shares])

    def moments(self) -> tuple[Floats, Floats]:
        """As :meth:`Distribution.moments`."""
        mean: Floats = self.weights @ self.mean
        return mean, np.sqrt(self.weights @ (self.sd**2 + (self.mean - mean) ** 2))

    def simplified(self) -> Mixture:
        """As :meth:`Distribution.simplified`: nodes of like spread taken together in groups.

        Each group is a component with the moments of its nodes. It has no nodes left that it could be shifted by.
        """
        if self.mean.size <= MANY or self.weights.size <= GROUPS:
            return self
        order = np.argsort((self.sd * self.sd).mean(axis=1), kind="stable")
        place = (np.cumsum(self.weights[order]) - 0.5 * self.weights[order]) / self.weights.sum()
        group = np.minimum((place * GROUPS).astype(int), GROUPS - 1)
        to_group = np.zeros((GROUPS, order.size))
        to_group[group, order] = self.weights[order]
        weights = to_group.sum(axis=1)
        to_group, weights = to_group[weights > 0], weights[weights > 0]
        share = to_group / weights[:, None]
        centre = self.weights @ self.mean  # moments are taken about it: less is lost in the differences
        away, square = self.mean - centre, self.sd * self.sd
        squares = away * away
        mean = share @ away
        second = share @ (squares + square)
        third = share @ ((self.skew * self.sd + 3.0 * away) * square + squares * away)
        variance = second - mean * mean
        third -= mean * (3.0 * variance + mean * mean)
        sd = np.sqrt(variance)
        return Mixture(weights, centre + mean, sd, third / (sd * variance))

    def _solved(self, share: float) -> Floats:
        """A quantile of each figure, by Newton's method within a bracket."""
        ends = self._component_quantile(share)
        low, high = ends.min(axis=0) - TOLERANCE, ends.max(axis=0) + TOLERANCE
        values = self.weights @ ends
        for _ in range(MOST_STEPS):
            z, slope = _standard(values, self.mean, self.sd, self.skew)
            surplus = self.weights @ ndtr(z) - share
            density = self.weights @ (np.exp(-0.5 * z * z) * slope) / np.sqrt(2.0 * np.pi)
            low, high = np.where(surplus < 0, values, low), np.where(surplus < 0, high, values)
            with np.errstate(divide="ignore", invalid="ignore"):
                moved = values - surplus / density
            # A step out of the bracket is halved into it.
            moved = np.where((moved >= low) & (moved <= high), moved, 0.5 * (low + high))
            change = float(np.max(np.abs(moved - values), initial=0.0))
            values = moved
            if change < TOLERANCE:
                break
        return values

    def _component_quantile(self, share: float) -> Floats:
        z = ndtri(share)
        skew = np.clip(self.skew, -MOST_SKEW, MOST_SKEW)
        safe = np.where(np.abs(skew) < SMALL_SKEW, 1.0, skew)
        root = 1.0 + safe / 6.0 * (z - safe / 6.0)
        y: Floats = np.where(np.abs(skew) < SMALL_SKEW, z, 2.0 / safe * (root * root * root - 1.0))
        return self.mean + self.sd * y


def _standard(values: Floats, mean: Floats, sd: Floats, skew: Floats) -> tuple[Floats, Floats]:
    """Standard normals at values, and their slopes."""
    y = (values - mean) / sd
    skew = np.clip(skew, -MOST_SKEW, MOST_SKEW)
    flat = np.abs(skew) < SMALL_SKEW
    safe = np.where(flat, 1.0, skew)
    root = np.cbrt(1.0 + 0.5 * safe * y)
    z: Floats = np.where(flat, y, 6.0 / safe * (root - 1.0) + safe / 6.0)
    slope: Floats = np.where(flat, 1.0, 1.0 / np.maximum(root * root, 1e-12)) / sd
    return z, slope
