"""The hourly course of a logger in a night that only other sensors saw.

A donor's course is moved by what the logger differs from it at that hour of the day, more or less of it as the night
was calm and clear, where the donor's own wind and sky tell that. The mean of the donors' courses is taken, and every
night is moved so that its minimum is the predicted one; between nights the move changes evenly from 9 to 18 o'clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hardiness.weather.gaps import BoolArray, FloatArray, IntArray
from hardiness.weather.transfer_air import mean_calm
from hardiness.weather.transfer_minima import AIR_SD, LEAST_TOLD, MinimaModel
from hardiness.weather.transfer_nights import Nights

HOUR_SD = 1.0  # [K] prior of an hour's difference about that of the whole day; common practice, no source
STEADY_SD = 1.5  # [K] prior of the difference of the whole day about that of the heights; common practice, no source
STRAY_SD = 1.0  # [K] of an hour's difference from night to night, where one night alone cannot show it
_DAY_H = 24
_MORNING, _EVENING = 21, 6  # [h] after noon: 9 and 18 o'clock


@dataclass(frozen=True, slots=True, eq=False)
class HourlyOffsets:
    """What a logger differs from a donor, by the hour of the day.

    Parameters
    ----------
    offsets : ndarray of float
        Added to the donor's temperature at 0, 1, ... 23 o'clock of a usual night. [K]
    calmer : ndarray of float
        Added more in a calm, clear night than in a windy or overcast one; 0 where the donor tells neither. [K]
    usual_calm : float
        How calm and clear the usual night is; NaN where the donor tells neither. [1]
    """

    offsets: FloatArray
    calmer: FloatArray
    usual_calm: float

    def at(self, hour: IntArray, calm: FloatArray) -> FloatArray:
        """Give the offsets of some hours.

        Parameters
        ----------
        hour : ndarray of int64
            On the local clock. [h]
        calm : ndarray of float
            How calm and clear the night of each was; NaN: as usual. [1]

        Returns
        -------
        ndarray of float
            One for each. [K]
        """
        return self.offsets[hour] + self.calmer[hour] * np.nan_to_num(calm - self.usual_calm, nan=0.0)


def hourly_offsets(nights: Nights, logger: int, donor: int, of_night: BoolArray, lapse: float) -> HourlyOffsets:
    """Average what a logger differs from a donor at each hour of the day, held near an even difference.

    How much more it differs in calm, clear nights is a slope at each hour, held near 0.

    Parameters
    ----------
    nights : Nights
        Sensors on common hours.
    logger, donor : int
        Their columns.
    of_night : ndarray of bool
        The nights to average over.
    lapse : float
        What height alone adds to the donor's temperature. [K]

    Returns
    -------
    HourlyOffsets

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> from hardiness.weather.series import series_of
    >>> from hardiness.weather.transfer_nights import hours_of, nights_together
    >>> times = np.datetime64("2031-12-14T12", "ns") + np.arange(480) * np.timedelta64(1, "h")
    >>> one, other = series_of(times, np.zeros(480)), series_of(times, np.full(480, -2.0))
    >>> zone = ZoneInfo("UTC")
    >>> nights = nights_together({"ST-9": hours_of(one, zone), "L1": hours_of(other, zone)}, zone)
    >>> hourly_offsets(nights, 1, 0, np.ones(20, dtype=bool), lapse=0.0).offsets.round(2)[:3].tolist()
    [-2.0, -2.0, -2.0]
    """
    apart = nights.hourly[:, logger] - nights.hourly[:, donor] - lapse
    known = np.isfinite(apart) & of_night[nights.night]
    count = np.bincount(nights.hour[known], minlength=_DAY_H)
    total = np.bincount(nights.hour[known], weights=apart[known], minlength=_DAY_H)
    squares = np.bincount(nights.hour[known], weights=apart[known] ** 2, minlength=_DAY_H)
    mean = np.divide(total, count, out=np.zeros(_DAY_H), where=count > 0)
    nights_seen = np.clip(count, 1, None)
    # the square of one stray more than was seen, so that few nights that happen to agree are not taken for sure
    variance = (STRAY_SD**2 + np.clip(squares - count * mean**2, 0.0, None)) / nights_seen**2
    variance[count == 0] = np.inf
    if not known.any():
        return HourlyOffsets(np.full(_DAY_H, lapse), np.zeros(_DAY_H), np.nan)
    seen = count > 0
    steady = mean[seen].mean() * STEADY_SD**2 / (STEADY_SD**2 + variance[seen].mean())
    offsets: FloatArray = lapse + steady + (mean - steady) * HOUR_SD**2 / (HOUR_SD**2 + variance)
    return HourlyOffsets(
        offsets, *_calmer(nights, donor, of_night, known, apart - mean[nights.hour], variance * nights_seen)
    )


def _calmer(
    nights: Nights, donor: int, of_night: BoolArray, known: BoolArray, strays: FloatArray, variance: FloatArray
) -> tuple[FloatArray, float]:
    """The slopes of the strays of each hour on how calm and clear the night was, and how that usually is."""
    calm = nights.calm[:, donor]
    told = of_night & np.isfinite(calm)
    if told.sum() < LEAST_TOLD:
        return np.zeros(_DAY_H), np.nan
    usual = float(calm[told].mean())
    used = known & told[nights.night]
    beyond, hour = calm[nights.night[used]] - usual, nights.hour[used]
    squares = np.bincount(hour, weights=beyond**2, minlength=_DAY_H)
    products = np.bincount(hour, weights=beyond * strays[used], minlength=_DAY_H)
    slopes: FloatArray = np.divide(products, squares + variance / AIR_SD**2, out=np.zeros(_DAY_H), where=squares > 0)
    return slopes, usual


def course_of(
    nights: Nights, of_night: BoolArray, donors: list[int], offsets: list[HourlyOffsets], model: MinimaModel
) -> tuple[FloatArray, FloatArray]:
    """Give the course of a logger in some nights, from the donors that saw them.

    Parameters
    ----------
    nights : Nights
        Sensors on common hours.
    of_night : ndarray of bool
        Which nights; all donors saw each of them.
    donors : list of int
        Columns of the donors.
    offsets : list of HourlyOffsets
        For each donor, as :func:`hourly_offsets`.
    model : MinimaModel
        Of the logger's minima from these donors.

    Returns
    -------
    course : ndarray of float
        One for each hour of ``nights``; NaN outside those nights and where a donor has a gap. [degC]
    sd : ndarray of float
        One for each night: that of its minimum; NaN elsewhere. [K]
    """
    moved = [
        nights.hourly[:, donor] + added.at(nights.hour, nights.calm[nights.night, donor])
        for donor, added in zip(donors, offsets, strict=True)
    ]
    course: FloatArray = np.mean(moved, axis=0)
    course[~of_night[nights.night]] = np.nan
    rows = np.flatnonzero(of_night)
    ranges, calm = nights.ranges[rows][:, donors].mean(axis=1), mean_calm(nights.calm[rows][:, donors])
    predicted = model.predict(nights.minima[rows][:, donors], ranges, calm)
    count = len(nights.minima)
    low, move, sd = np.full(count, np.inf), np.full(count, np.nan), np.full(count, np.nan)
    known = np.isfinite(course)
    np.minimum.at(low, nights.night[known], course[known])
    move[rows], sd[rows] = predicted.centre - low[rows], predicted.sd
    return course + _evenly(move, nights.night, nights.hour), sd


def _evenly(move: FloatArray, night: IntArray, hour: IntArray) -> FloatArray:
    """The move [K] at each hour: its night's own from 18 to 9 o'clock, on the way to the next night's in between."""
    padded = np.concatenate(([np.nan], move, [np.nan]))
    own = padded[night + 1]
    before = np.where(np.isnan(padded[night]), own, padded[night])
    after = np.where(np.isnan(padded[night + 2]), own, padded[night + 2])
    since_noon = (hour - _DAY_H // 2) % _DAY_H
    way = _EVENING - _MORNING + _DAY_H  # [h] from 9 to 18 o'clock
    early = before + (own - before) * (since_noon + _DAY_H - _MORNING) / way
    late = own + (after - own) * (since_noon - _MORNING) / way
    moves: FloatArray = np.where(since_noon < _EVENING, early, np.where(since_noon >= _MORNING, late, own))
    return moves
