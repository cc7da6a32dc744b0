"""What every answer is read from: the posterior of several figures, however it is known.

Two ways: a weighted mixture over the nodes (:mod:`hardiness.tolerance.mixture`), or weighted draws
(:mod:`hardiness.tolerance.sample`). A *figure* is one number of the trial, such as a cell's tolerance floor.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Self

from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices


class Distribution(ABC):
    """Posteriors of several figures."""

    __slots__ = ()

    @abstractmethod
    def shifted(self, by: Floats) -> Self:
        """The same figures with a number of each node added.

        Parameters
        ----------
        by : ndarray, dims (node,)
            In the figures' unit.

        Returns
        -------
        Distribution
        """

    @abstractmethod
    def of(self, figures: Indices) -> Self:
        """Some of the figures.

        Parameters
        ----------
        figures : ndarray of int
            Their places.

        Returns
        -------
        Distribution
        """

    @abstractmethod
    def probability_below(self, values: Floats) -> Floats:
        """Probability that each figure is at or below a value.

        Parameters
        ----------
        values : ndarray, dims (figure,)
            In the figures' unit.

        Returns
        -------
        ndarray, dims (figure,)
            [1]
        """

    @abstractmethod
    def quantiles(self, shares: Sequence[float]) -> Floats:
        """Several quantiles of each figure.

        Parameters
        ----------
        shares : sequence of float
            Between 0 and 1. [1]

        Returns
        -------
        ndarray, dims (share, figure)
            In the figures' unit.
        """

    def quantile(self, share: float) -> Floats:
        """One quantile of each figure.

        Parameters
        ----------
        share : float
            Between 0 and 1. [1]

        Returns
        -------
        ndarray, dims (figure,)
            In the figures' unit.
        """
        found: Floats = self.quantiles([share])[0]
        return found

    @abstractmethod
    def moments(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation of each figure.

        Returns
        -------
        mean, sd : ndarray, dims (figure,)
            In the figures' unit.
        """

    @abstractmethod
    def simplified(self) -> Self:
        """One that is smaller, where figures are very many: itself in most trials.

        Returns
        -------
        Distribution
        """

    def coarse(self) -> Self:
        """One that answers faster, for whoever asks for very many quantiles; of the same nodes, so it may be shifted.

        Returns
        -------
        Distribution
        """
        return self
