"""One sensor's readings, ready to be measured: cleaned, and with the gaps between them known.

In: times and temperatures as they come. Out: a :class:`Series`: times rising and unique, temperatures finite, and for
every step between two readings whether it is *bridged* (the temperature is taken as a straight line) or a gap whose
hours count nowhere. A step is a gap when it is longer than ``max_gap``: three usual intervals, at least 90 minutes.
The usual interval of a step is the median step within 15 days of it (or of the whole series).

Times are kept as int64 nanoseconds: differences are exact over any number of years.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from hardiness.errors import InputError, Problem, UnitsError
from hardiness.units import unit_named
from hardiness.weather.clean import clean
from hardiness.weather.gaps import HOUR_NS, LEAST_MAX_GAP_NS, BoolArray, FloatArray, IntArray, longest_bridged

TIE_C = 1e-6  # [K] a reading this close to a threshold counts as at it: degF tenths sit a rounding error off


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Readings of one sensor, ready to be measured.

    Parameters
    ----------
    times : ndarray of int64
        Rising, unique, since 1970-01-01 UTC. [ns]
    temperatures : ndarray of float
        One for each time, finite. [degC]
    steps : ndarray of int64
        From each reading to the next, one fewer than readings. [ns]
    bridged : ndarray of bool
        Whether each step is bridged.
    local_interval : bool
        Whether the usual interval is local (15 days) or that of the whole series.
    max_gap_h : float, optional
        A fixed longest bridged step in place of three usual intervals. [h]
    """

    times: IntArray
    temperatures: FloatArray
    steps: IntArray
    bridged: BoolArray
    local_interval: bool
    max_gap_h: float | None

    def max_gap(self, step: IntArray) -> FloatArray:
        """Say how long a step may be and still be bridged, at each of the steps asked for.

        Parameters
        ----------
        step : ndarray of int64
            Positions in ``steps``; one beyond either end means the step nearest to it.

        Returns
        -------
        ndarray of float
            Longest bridged step. [ns]
        """
        at = np.clip(step, 0, max(self.steps.size - 1, 0))
        return longest_bridged(self.times, self.steps, at, local=self.local_interval, max_gap_h=self.max_gap_h)

    def bridged_until(self, times: IntArray) -> IntArray:
        """Sum the bridged time from the first reading up to each instant.

        Parameters
        ----------
        times : ndarray of int64
            Instants, since 1970-01-01 UTC. [ns]

        Returns
        -------
        ndarray of int64
            Bridged time before each of them. [ns]
        """
        if self.times.size == 0:
            return np.zeros(times.shape, dtype=np.int64)
        before = np.zeros(self.times.size, dtype=np.int64)
        np.cumsum(np.where(self.bridged, self.steps, 0), out=before[1:])
        reading = np.clip(np.searchsorted(self.times, times, side="right") - 1, 0, None)
        inside = np.append(self.bridged, False)[reading] & (times >= self.times[0])
        return before[reading] + np.where(inside, times - self.times[reading], 0)


def series_of(times: Any, temperatures: Any, *, local_interval: bool = True, max_gap_h: float | None = None) -> Series:
    """Clean readings and decide which steps between them are bridged.

    Parameters
    ----------
    times : array-like
        Instants, as :func:`~hardiness.weather.clean.utc_times` takes them.
    temperatures : array-like of float
        One for each time; NaN is no reading. [degC]
    local_interval : bool, default True
        Take the usual interval within 15 days of each step; otherwise over the whole series.
    max_gap_h : float, optional
        A step longer than this is not bridged; None: three usual intervals, at least 1.5 h. [h]

    Returns
    -------
    Series

    Raises
    ------
    InputError
        As :func:`~hardiness.weather.clean.clean`.

    Examples
    --------
    >>> series = series_of(["2031-12-14T00", "2031-12-14T01", "2031-12-14T02", "2031-12-14T06"], [1.0, 0.0, -1.0, -2.0])
    >>> series.bridged.tolist()
    [True, True, False]
    """
    instants, degrees = clean(times, temperatures)
    steps = np.diff(instants)
    least = LEAST_MAX_GAP_NS if max_gap_h is None else max_gap_h * HOUR_NS
    bridged = steps <= least
    # max_gap is at least 90 min, so only longer steps need their usual interval
    if max_gap_h is None and (long := np.flatnonzero(~bridged)).size:
        bridged[long] = steps[long] <= longest_bridged(instants, steps, long, local=local_interval, max_gap_h=None)
    return Series(instants, degrees, steps, bridged, local_interval, max_gap_h)


def to_series(air_temperature: xr.DataArray, *, local_interval: bool = True, max_gap_h: float | None = None) -> Series:
    """Take a sensor's readings out of their labelled array; otherwise as :func:`series_of`.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Readings of one sensor, dims ``(time,)``, ``time`` in UTC, any order. [degC]
    local_interval, max_gap_h
        As in :func:`series_of`.

    Returns
    -------
    Series

    Raises
    ------
    UnitsError
        If the array does not say that it is in degC.
    InputError
        If it has other dims than ``time``, or as :func:`~hardiness.weather.clean.clean`.
    """
    units = str(air_temperature.attrs.get("units", ""))
    if not units or unit_named(units) != "degC":
        raise UnitsError(Problem(f"air temperature in units '{units}'", "attrs['units'] == 'degC'"))
    if air_temperature.dims != ("time",):
        raise InputError(Problem(f"dims {air_temperature.dims}", "dims ('time',): one sensor at a time"))
    return series_of(
        air_temperature["time"].to_numpy(),
        air_temperature.to_numpy(),
        local_interval=local_interval,
        max_gap_h=max_gap_h,
    )
