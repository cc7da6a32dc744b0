"""Quantiles and probabilities of figures known by weighted draws.

Of a trial of a few rows the posterior may have any shape: flat on the side that nothing but the prior ends, steep on
the other. Draws know it; a mean, a standard deviation and a skewness at each node do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hardiness.tolerance.distribution import Distribution
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices

MOST_VALUES = 4_000_000  # draws x figures; past it a sample has fewer draws
FEW = 8_192  # draws


@dataclass(frozen=True, slots=True)
class Sample(Distribution):
    """Posteriors of several figures as weighted draws.

    Parameters
    ----------
    weights : ndarray, dims (draw,)
        Of sum 1.
    values : ndarray, dims (draw, figure)
        In the figures' unit.
    node : ndarray of int, dims (draw,)
        Whose scales a draw has.

    Examples
    --------
    >>> ten = Sample(np.full(10, 0.1), np.arange(10.0)[:, None], np.zeros(10, dtype=int))
    >>> round(float(ten.quantile(0.5)[0]), 6)
    4.5
    """

    weights: Floats
    values: Floats
    node: Indices

    def shifted(self, by: Floats) -> Sample:
        """As :meth:`Distribution.shifted`."""
        return replace(self, values=self.values + by[self.node, None])

    def of(self, figures: Indices) -> Sample:
        """As :meth:`Distribution.of`."""
        return replace(self, values=self.values[:, figures])

    def probability_below(self, values: Floats) -> Floats:
        """As :meth:`Distribution.probability_below`."""
        below: Floats = self.weights @ (self.values <= values)
        return below

    def quantiles(self, shares: Sequence[float]) -> Floats:
        """As :meth:`Distribution.quantiles`: all by one sort, and between neighbouring draws by a line."""
        values = np.ascontiguousarray(self.values.T)
        order = np.argsort(values, axis=1)
        values, weights = np.take_along_axis(values, order, axis=1), self.weights[order]
        summed = np.cumsum(weights, axis=1) - 0.5 * weights
        found = [np.interp(shares, *pair) for pair in zip(summed, values, strict=True)]
        return np.asarray(np.array(found).T)

    def moments(self) -> tuple[Floats, Floats]:
        """As :meth:`Distribution.moments`."""
        mean = self.weights @ self.values
        return mean, np.sqrt(self.weights @ (self.values - mean) ** 2)

    def simplified(self) -> Sample:
        """As :meth:`Distribution.simplified`: fewer draws."""
        return self._of(max(MOST_VALUES // max(self.values.shape[1], 1), FEW))

    def coarse(self) -> Sample:
        """As :meth:`Distribution.coarse`: a few thousand draws."""
        return self._of(FEW)

    def _of(self, count: int) -> Sample:
        """So many draws at most, each taken as often as its weight asks, give or take one."""
        if self.weights.size <= count:
            return self
        taken = systematic(self.weights, count)
        return Sample(np.full(count, 1.0 / count), self.values[taken], self.node[taken])


def systematic(weights: Floats, count: int) -> Indices:
    """Draws taken as often as their weights ask, give or take one, in their order; the same weights give the same ones.

    Parameters
    ----------
    weights : ndarray, dims (draw,)
        Of sum 1.
    count : int

    Returns
    -------
    ndarray of int, dims (count,)
    """
    places = np.searchsorted(np.cumsum(weights), (np.arange(count) + 0.5) / count)
    return np.minimum(places, weights.size - 1).astype(np.int64)  # the sum falls short of 1 by rounding
