"""Quantiles and probabilities of figures known by weighted draws.

Of a trial of a few rows the posterior may have any shape: flat on the side that nothing but the prior ends, steep on
the other. Draws know it; a mean, a standard deviation and a skewness at each node do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices
from hardiness.tolerance.mixture import Mixture

MOST_VALUES = 4_000_000  # draws x figures; past it a sample has fewer draws
FEW = 8_192  # draws


@dataclass(frozen=True, slots=True)
class Sample:
    """Posteriors of several figures as weighted draws.

    Parameters
    ----------
    weights : ndarray, dims (draw,)
        Of sum 1.
    values : ndarray, dims (draw, figure)
    node : ndarray of int, dims (draw,)
        Whose scales a draw has.
    """

    weights: Floats
    values: Floats
    node: Indices

    def shifted(self, by: Floats) -> Sample:
        """The same figures with a number of each node added; ``by`` has dims (node,).

        Parameters
        ----------
        by : ndarray, dims (node,)

        Returns
        -------
        Sample
        """
        return replace(self, values=self.values + by[self.node, None])

    def probability_below(self, values: Floats) -> Floats:
        """Probability that each figure is at or below a value.

        Parameters
        ----------
        values : ndarray, dims (figure,)

        Returns
        -------
        ndarray, dims (figure,)
        """
        below: Floats = self.weights @ (self.values <= values)
        return below

    def quantile(self, share: float) -> Floats:
        """Quantile of each figure, between neighbouring draws by a line.

        Parameters
        ----------
        share : float
            Between 0 and 1.

        Returns
        -------
        ndarray, dims (figure,)

        Examples
        --------
        >>> ten = Sample(np.full(10, 0.1), np.arange(10.0)[:, None], np.zeros(10, dtype=int))
        >>> round(float(ten.quantile(0.5)[0]), 6)
        4.5
        """
        found: Floats = self.quantiles([share])[0]
        return found

    def quantiles(self, shares: Sequence[float]) -> Floats:
        """Several of them by one sort.

        Parameters
        ----------
        shares : sequence of float

        Returns
        -------
        ndarray, dims (share, figure)
        """
        values = np.ascontiguousarray(self.values.T)
        order = np.argsort(values, axis=1)
        values, weights = np.take_along_axis(values, order, axis=1), self.weights[order]
        summed = np.cumsum(weights, axis=1) - 0.5 * weights
        found = [np.interp(shares, *pair) for pair in zip(summed, values, strict=True)]
        return np.asarray(np.array(found).T)

    def moments(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation of each figure, dims (figure,).

        Returns
        -------
        mean, sd : ndarray
        """
        mean = self.weights @ self.values
        return mean, np.sqrt(self.weights @ (self.values - mean) ** 2)

    def simplified(self) -> Sample:
        """Fewer draws where figures are very many.

        Returns
        -------
        Sample
        """
        return self._of(max(MOST_VALUES // max(self.values.shape[1], 1), FEW))

    def coarse(self) -> Sample:
        """A few thousand draws, for whoever asks for very many quantiles.

        Returns
        -------
        Sample
        """
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


Distribution = Mixture | Sample
