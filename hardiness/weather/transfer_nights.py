"""Readings of several sensors brought to common nights and hours, so that one can be held against another.

In: readings of each sensor. Out: :class:`Nights`: temperatures on whole hours (along the straight line between
readings; unbridged gaps are NaN), and for each night, noon to noon of the trial's zone, the minimum and the range.
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
    """

    sensors: tuple[str, ...]
    times: IntArray
    hourly: FloatArray
    night: IntArray
    hour: IntArray
    minima: FloatArray
    ranges: FloatArray


def nights_of(series: Mapping[str, Series], zone: ZoneInfo) -> Nights:
    """Bring sensors to common hours and nights.

    Parameters
    ----------
    series : mapping of str to Series
        Readings of each sensor, cleaned.
    zone : ZoneInfo
        Whose noon divides the nights.

    Returns
    -------
    Nights

    Examples
    --------
    >>> from hardiness.weather.series import series_of
    >>> times = pd.date_range("2031-12-14T12", periods=49, freq="h")
    >>> cold = np.where(times.hour == 6, -4.0, 5.0)
    >>> nights = nights_of({"L1": series_of(times, cold)}, ZoneInfo("UTC"))
    >>> nights.minima[:2].tolist(), nights.ranges[:2].tolist()
    ([[-4.0], [-4.0]], [[9.0], [9.0]])
    """
    read = [one for one in series.values() if one.times.size]
    if not read:
        nothing = np.zeros((0, len(series)))
        none = np.zeros(0, dtype=np.int64)
        return Nights(tuple(series), none, nothing, none, none, nothing, nothing)
    first = min(int(one.times[0]) for one in read) // HOUR_NS
    last = -(-max(int(one.times[-1]) for one in read) // HOUR_NS)
    times = np.arange(first, last + 1) * HOUR_NS
    hours = _local_hours(times, zone)
    night_number = (hours - _NOON_H) // _DAY_H
    night = night_number - night_number[0]
    count = int(night.max()) + 1
    hourly = np.column_stack([_on_hours(one, times) for one in series.values()])
    minima, ranges = np.full((count, len(series)), np.nan), np.full((count, len(series)), np.nan)
    for column, one in enumerate(series.values()):
        known = np.isfinite(hourly[:, column])
        whole = np.bincount(night[known], minlength=count) >= NIGHT_HOURS
        low, high = np.full(count, np.inf), np.full(count, -np.inf)
        of_reading = night[one.times // HOUR_NS - first]  # the night of the hour that it lies in
        np.minimum.at(low, of_reading, one.temperatures)
        np.maximum.at(high, of_reading, one.temperatures)
        minima[whole, column], ranges[whole, column] = low[whole], (high - low)[whole]
    return Nights(tuple(series), times, hourly, night, hours % _DAY_H, minima, ranges)


def _local_hours(times: IntArray, zone: ZoneInfo) -> IntArray:
    """Whole hours on the zone's clock since its 1970-01-01."""
    local = pd.DatetimeIndex(times.astype("M8[ns]")).tz_localize("UTC").tz_convert(zone).tz_localize(None)
    return np.asarray(local.to_numpy().astype("M8[h]").astype(np.int64))


def _on_hours(series: Series, times: IntArray) -> FloatArray:
    """Temperature [degC] at each of the times, along the line between readings; NaN in gaps and beyond the ends."""
    if series.times.size == 0:
        return np.full(times.size, np.nan)
    hours = (times - series.times[0]) / HOUR_NS  # small numbers, which floats hold to the nanosecond
    degrees: FloatArray = np.interp(hours, (series.times - series.times[0]) / HOUR_NS, series.temperatures)
    before = np.searchsorted(series.times, times, side="right") - 1
    at_reading = (before >= 0) & (series.times[np.clip(before, 0, None)] == times)
    bridged = np.append(series.bridged, False)[before] & (before >= 0)
    degrees[~(at_reading | bridged)] = np.nan
    return degrees
