"""Quantiles and probabilities of figures known by weighted draws.

Of a trial of a few rows the posterior may have any shape: flat on the side that nothing but the prior ends, steep on
the other. Draws know it; a mean, a standard deviation and a skewness at each node do not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices
from hardiness.tolerance.mixture import Mixture


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
        >>> float(ten.quantile(0.5)[0])
        4.5
        """
        order = np.argsort(self.values, axis=0, kind="stable")
        weights = self.weights[order]
        summed = np.cumsum(weights, axis=0) - 0.5 * weights
        columns = range(self.values.shape[1])
        return np.array([np.interp(share, summed[:, at], self.values[order[:, at], at]) for at in columns])

    def moments(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation of each figure, dims (figure,).

        Returns
        -------
        mean, sd : ndarray
        """
        mean = self.weights @ self.values
        return mean, np.sqrt(self.weights @ (self.values - mean) ** 2)

    def simplified(self) -> Sample:
        """The sample itself: draws are as plain as can be.

        Returns
        -------
        Sample
        """
        return self


Distribution = Mixture | Sample
