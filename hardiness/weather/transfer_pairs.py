"""A logger and the sensors it may be estimated from: what nights they have in common, and the model of those nights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hardiness.weather.gaps import BoolArray, FloatArray
from hardiness.weather.transfer_air import mean_calm
from hardiness.weather.transfer_minima import MinimaModel, fit_minima
from hardiness.weather.transfer_nights import Nights

COLD_C = 2.0  # [degC] a night is cold when either minimum is at or below it: warm nights differ in other ways
LEAST_NIGHTS = 30  # [1] common nights, and of these
LEAST_COLD = 10  # [1] cold ones, from which on a transfer is used unless trial.toml says otherwise


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A logger, a donor, and the model of the logger from this donor alone.

    Parameters
    ----------
    logger, donor : int
        Their columns of the nights.
    nights : int
        Nights that both saw.
    lapse : float
        What height alone adds to the donor's temperature. [K]
    away_km : float
        From one to the other; NaN where a place is not known. [km]
    model : MinimaModel
        Fitted to the cold nights.
    """

    logger: int
    donor: int
    nights: int
    lapse: float
    away_km: float
    model: MinimaModel

    @property
    def enough(self) -> bool:
        """Whether they have so many nights in common, and so many cold ones, that the transfer is used."""
        return self.nights >= LEAST_NIGHTS and self.model.nights >= LEAST_COLD


def common_nights(nights: Nights, logger: int, donors: list[int]) -> tuple[BoolArray, BoolArray]:
    """Find the nights that a logger and all of some donors saw.

    Parameters
    ----------
    nights : Nights
        Sensors on common hours.
    logger : int
        Column of the logger.
    donors : list of int
        Columns of the donors.

    Returns
    -------
    both, cold : ndarray of bool
        One for each night: whether all saw it, and whether it was cold at any of them too.
    """
    lowest = nights.minima[:, [logger, *donors]].min(axis=1)  # NaN where any of them is
    return np.isfinite(lowest), lowest <= COLD_C


def fit_common(nights: Nights, logger: int, donors: list[int], lapse: FloatArray, cold: BoolArray) -> MinimaModel:
    """Fit a logger's minima to those of its donors.

    Parameters
    ----------
    nights : Nights
        Sensors on common hours.
    logger : int
        Column of the logger.
    donors : list of int
        Columns of the donors.
    lapse : ndarray of float
        What height alone adds to each donor's temperature. [K]
    cold : ndarray of bool
        The cold nights that all saw, as :func:`common_nights` finds them.

    Returns
    -------
    MinimaModel
    """
    rows = np.flatnonzero(cold)
    cells = np.ix_(rows, np.array(donors))  # column by column: the order of a sum is in its last digit
    minima, ranges, calm = (np.asfortranarray(known[cells]) for known in (nights.minima, nights.ranges, nights.calm))
    return fit_minima(nights.minima[rows, logger], minima, ranges.mean(axis=1), lapse=lapse, calm=mean_calm(calm))


def pair_of(nights: Nights, logger: int, donor: int, *, lapse: float, away_km: float) -> Pair:
    """Model a logger from one donor.

    Parameters
    ----------
    nights : Nights
        Sensors on common hours.
    logger, donor : int
        Their columns.
    lapse : float
        What height alone adds to the donor's temperature. [K]
    away_km : float
        From one to the other. [km]

    Returns
    -------
    Pair
    """
    both, cold = common_nights(nights, logger, [donor])
    model = fit_common(nights, logger, [donor], np.array([lapse]), cold)
    return Pair(logger, donor, int(both.sum()), lapse, away_km, model)
