"""Readings of several sensors brought to common nights and hours, so that one can be held against another.

In: readings of each sensor. Out: :class:`Nights`: temperatures on whole hours (along the straight line between
readings; unbridged gaps are NaN), and for each night, noon to noon of the trial's zone, the minimum and the range.
Each sensor is brought to its own hours first (:class:`SensorHours`), so that no more than one sensor's readings need be
in memory: an hour takes 8 bytes, however often a logger reads.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from hardiness.weather.gaps import HOUR_NS, FloatArray, IntArray
from hardiness.weather.series import Series

NIGHT_HOURS = 20  # [1] whole hours with a temperature that make a night known
_NOON_H = 12
_DAY_H = 24


@dataclass(frozen=True, slots=True, eq=False)
class SensorHours:
    """One sensor on whole hours, and its nights.

    Parameters
    ----------
    first : int
        The first hour, since 1970-01-01 UTC. [h]
    hourly : ndarray of float
        Temperature at each hour; NaN where none is known. Empty where the sensor has no reading. [degC]
    first_night : int
        Number of the night that the first hour lies in: days of the zone's clock since 1970-01-01.
    minima, ranges : ndarray of float
        One for each night; NaN where fewer than 20 hours are known. [degC], [K]
    daily : bool
        Whether the sensor reads daily minima alone, which have no course.
    """

    first: int
    hourly: FloatArray
    first_night: int
    minima: FloatArray
    ranges: FloatArray
    daily: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Nights:
    """Sensors on common hours and nights.

    Parameters
    ----------
    sensors : tuple of str
        In the order of the columns.
    times : ndarray of int64
        Whole hours, rising, since 1970-01-01 UTC. [ns]
    hourly : ndarray of float
        Temperature: a row for each hour, a column for each sensor; NaN where none is known. [degC]
    night : ndarray of int64
        Which row of the nights each hour lies in.
    hour : ndarray of int64
        Hour of each on the clock of the trial's zone. [h]
    minima, ranges : ndarray of float
        A row for each night, a column for each sensor; NaN where fewer than 20 hours are known. [degC], [K]
    calm : ndarray of float
        A row for each night, a column for each sensor: how calm and clear the sensor's own wind and sky tell that it
        was, from 0 to 1; NaN where they do not (:mod:`hardiness.weather.transfer_air`). [1]
    tells : tuple of str
        What each sensor's ``calm`` rests on; empty where it tells neither wind nor sky.
    """

    sensors: tuple[str, ...]
    times: IntArray
    hourly: FloatArray
    night: IntArray
    hour: IntArray
    minima: FloatArray
    ranges: FloatArray
    calm: FloatArray
    tells: tuple[str, ...]


def hours_of(series: Series, zone: ZoneInfo, *, daily: bool = False) -> SensorHours:
    """Bring one sensor to whole hours and nights.

    Parameters
    ----------
    series : Series
        Its readings, cleaned. [degC]
    zone : ZoneInfo
        Whose noon divides the nights.
    daily : bool, default False
        Whether they are daily minima.

    Returns
    -------
    SensorHours
    """
    if series.times.size == 0:
        return SensorHours(0, np.zeros(0), 0, np.zeros(0), np.zeros(0), daily)
    first = int(series.times[0]) // HOUR_NS
    last = -(-int(series.times[-1]) // HOUR_NS)
    times = np.arange(first, last + 1) * HOUR_NS
    number = (_local_hours(times, zone) - _NOON_H) // _DAY_H
    night = number - number[0]
    count = int(night.max()) + 1
    hourly = _on_hours(series, times)
    whole = np.bincount(night[np.isfinite(hourly)], minlength=count) >= NIGHT_HOURS
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    of_reading = night[series.times // HOUR_NS - first]  # the night of the hour that it lies in
    np.minimum.at(low, of_reading, series.temperatures)
    np.maximum.at(high, of_reading, series.temperatures)
    minima, ranges = np.full(count, np.nan), np.full(count, np.nan)
    minima[whole], ranges[whole] = low[whole], (high - low)[whole]
    return SensorHours(first, hourly, int(number[0]), minima, ranges, daily)


def nights_together(hours: Mapping[str, SensorHours], zone: ZoneInfo) -> Nights:
    """Lay the hours and nights of several sensors beside each other.

    Parameters
    ----------
    hours : mapping of str to SensorHours
        Of each sensor, as :func:`hours_of` makes them with the same zone.
    zone : ZoneInfo
        That zone.

    Returns
    -------
    Nights
        ``calm`` is not known yet, and nobody tells it.

    Examples
    --------
    >>> from hardiness.weather.series import series_of
    >>> times, zone = pd.date_range("2031-12-14T12", periods=49, freq="h"), ZoneInfo("UTC")
    >>> cold = np.where(times.hour == 6, -4.0, 5.0)
    >>> nights = nights_together({"L1": hours_of(series_of(times, cold), zone)}, zone)
    >>> nights.minima[:2].tolist(), nights.ranges[:2].tolist()
    ([[-4.0], [-4.0]], [[9.0], [9.0]])
    """
    unknown = ("",) * len(hours)
    read = [one for one in hours.values() if one.hourly.size]
    if not read:
        nothing = np.zeros((0, len(hours)))
        none = np.zeros(0, dtype=np.int64)
        return Nights(tuple(hours), none, nothing, none, none, nothing, nothing, nothing, unknown)
    first, end = min(one.first for one in read), max(one.first + one.hourly.size for one in read)
    times = np.arange(first, end) * HOUR_NS
    clock = _local_hours(times, zone)
    number = (clock - _NOON_H) // _DAY_H
    night = number - number[0]
    shape = (int(night.max()) + 1, len(hours))
    hourly = np.full((times.size, len(hours)), np.nan, order="F")  # sensors are asked column by column
    minima, ranges = np.full(shape, np.nan), np.full(shape, np.nan)
    for column, one in enumerate(hours.values()):
        if one.hourly.size:
            hourly[one.first - first : one.first - first + one.hourly.size, column] = one.hourly
            rows = slice(begin := one.first_night - int(number[0]), begin + one.minima.size)
            minima[rows, column], ranges[rows, column] = one.minima, one.ranges
    return Nights(tuple(hours), times, hourly, night, clock % _DAY_H, minima, ranges, np.full(shape, np.nan), unknown)


def _local_hours(times: IntArray, zone: ZoneInfo) -> IntArray:
    """Whole hours on the zone's clock since its 1970-01-01."""
    local = pd.DatetimeIndex(times.astype("M8[ns]")).tz_localize("UTC").tz_convert(zone).tz_localize(None)
    return np.asarray(local.to_numpy().astype("M8[h]").astype(np.int64))


def _on_hours(series: Series, times: IntArray) -> FloatArray:
    """Temperature [degC] at each of the times, along the line between readings; NaN in gaps and beyond the ends."""
    hours = (times - series.times[0]) / HOUR_NS  # small numbers, which floats hold to the nanosecond
    degrees: FloatArray = np.interp(hours, (series.times - series.times[0]) / HOUR_NS, series.temperatures)
    before = np.searchsorted(series.times, times, side="right") - 1
    at_reading = (before >= 0) & (series.times[np.clip(before, 0, None)] == times)
    bridged = np.append(series.bridged, False)[before] & (before >= 0)
    degrees[~(at_reading | bridged)] = np.nan
    return degrees
