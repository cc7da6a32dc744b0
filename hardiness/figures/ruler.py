"""A scale of plain numbers along a picture: ranks, differences, the upright axis of a square."""

from __future__ import annotations

import math
from dataclasses import dataclass

STEPS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)


@dataclass(frozen=True, slots=True)
class Ruler:
    """Where a number lies between two ends; positions may run either way.

    Parameters
    ----------
    low, high : float
        Ends of the numbers.
    start, end : float
        Where they lie. [mm]
    """

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Find the position of a number, held within the ends. [mm].

        Parameters
        ----------
        value : float

        Returns
        -------
        float
            [mm]
        """
        held = min(max(value, self.low), self.high)
        return self.start + (held - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self, apart: float, least: float = 0.1) -> list[float]:
        """List round numbers at least so far apart.

        Parameters
        ----------
        apart : float
            [mm]
        least : float
            Smallest step.

        Returns
        -------
        list of float

        Examples
        --------
        >>> Ruler(0.0, 10.0, 0.0, 50.0).ticks(9.0)
        [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
        """
        per_unit = abs(self.end - self.start) / (self.high - self.low)
        step = next((step for step in STEPS if step >= least and step * per_unit >= apart), STEPS[-1])
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [step * number for number in range(first, last + 1)]
