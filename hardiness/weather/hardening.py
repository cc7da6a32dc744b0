r"""How hardened plants can have been when a freeze began: the chill and the mean temperature of the weeks before it.

*Hardening hours* are the hours at or below 10 degC in the 500 h before the freeze starts, an index that foretold the
killing temperature of satsuma leaves over 18 winters; 400 h are near enough for full hardiness (Ebel et al. 2005,
J. Amer. Soc. Hort. Sci. 130:500). Beside them stands the mean temperature of the 14 days before. Both are exact for the
straight line between readings. Unbridged gaps count nowhere: where at least 80 % of the span is bridged the hardening
hours are scaled to the whole of it and the mean is that of what is bridged, elsewhere both are missing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.settings import Settings
from hardiness.weather.daily import is_daily_minimum
from hardiness.weather.days import nanoseconds
from hardiness.weather.gaps import HOUR_NS, FloatArray, IntArray
from hardiness.weather.sensors import sensors_known
from hardiness.weather.series import TIE_C, Series, to_series

CHILL_C = 10.0  # [degC]
INDEX_SPAN_H = 500.0  # [h]
MEAN_SPAN_H = 14 * 24.0  # [h]
ENOUGH = 0.8  # [1] share of a span that readings must bridge

OfStretch = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]


def hardening_before(
    freezes: pd.DataFrame, readings: Mapping[str, xr.DataArray], sensors: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """Measure the weeks before each freeze, by the sensor that recorded it.

    Parameters
    ----------
    freezes : pandas.DataFrame
        The freezes table.
    readings : mapping of str to xarray.DataArray
        Readings of each sensor as they were read, dims ``(time,)``, in UTC; ``offset_c`` is added here. [degC]
    sensors : pandas.DataFrame
        The sensors table.
    settings : Settings
        Of the trial: its longest bridged gap.

    Returns
    -------
    pandas.DataFrame
        Indexed by freeze: event, hardening_h [h], mean_before_c [degC]; NaN where readings bridge less than 80 % of the
        span.
    """
    known = sensors_known(sensors, readings)
    parts = []
    for sensor, of_sensor in freezes.groupby("sensor", sort=True):
        air_temperature = readings[str(sensor)]
        # a line through daily minima is no course of temperatures: nothing of it is bridged
        longest_h = 0.0 if is_daily_minimum(air_temperature) else settings.rules.max_gap_h
        series = to_series(air_temperature, max_gap_h=longest_h)
        offset = float(known["offset_c"].loc[sensor])
        starts = nanoseconds(of_sensor["starts"])
        parts.append(
            pd.DataFrame(
                {
                    "event": of_sensor["event"].to_numpy(),
                    "hardening_h": hardening_hours(series, starts, threshold_c=CHILL_C - offset),
                    "mean_before_c": mean_before(series, starts) + offset,
                },
                index=pd.Index(of_sensor["freeze"], name="freeze"),
            )
        )
    if not parts:
        return pd.DataFrame({"event": [], "hardening_h": [], "mean_before_c": []}, index=pd.Index([], name="freeze"))
    return pd.concat(parts)


def hardening_hours(series: Series, instants: IntArray, *, threshold_c: float = CHILL_C) -> FloatArray:
    """Sum the hours at or below a threshold in the 500 h before each instant.

    Parameters
    ----------
    series : Series
        Cleaned readings of one sensor.
    instants : ndarray of int64
        Since 1970-01-01 UTC. [ns]
    threshold_c : float, default 10.0
        Readings within 1e-6 K of it count as at it. [degC]

    Returns
    -------
    ndarray of float
        Scaled to the whole span; NaN where less than 80 % of it is bridged. [h]

    Examples
    --------
    >>> from hardiness.weather.series import series_of
    >>> times = np.datetime64("2031-11-01", "ns") + np.arange(501) * np.timedelta64(1, "h")
    >>> hardening_hours(series_of(times, np.full(501, 10.0)), times[-1:].astype(np.int64)).tolist()
    [500.0]
    """

    def at_or_below(one: FloatArray, other: FloatArray, length: FloatArray) -> FloatArray:
        low, high = np.minimum(one, other), np.maximum(one, other)
        crosses = (low < threshold_c - TIE_C) & (high > threshold_c + TIE_C)
        share = np.divide(threshold_c - low, high - low, out=np.zeros_like(low), where=crosses)
        time: FloatArray = length * np.where(high <= threshold_c + TIE_C, 1.0, share)
        return time

    hours: FloatArray = (
        _before(series, instants, INDEX_SPAN_H, at_or_below) * _scale(series, instants, INDEX_SPAN_H) / HOUR_NS
    )
    return hours


def mean_before(series: Series, instants: IntArray, *, span_h: float = MEAN_SPAN_H) -> FloatArray:
    """Average the temperature over the bridged time of the span before each instant.

    Parameters
    ----------
    series : Series
        Cleaned readings of one sensor.
    instants : ndarray of int64
        Since 1970-01-01 UTC. [ns]
    span_h : float, default 336.0
        [h]

    Returns
    -------
    ndarray of float
        NaN where less than 80 % of the span is bridged. [degC]

    Examples
    --------
    >>> from hardiness.weather.series import series_of
    >>> times = np.datetime64("2031-11-01", "ns") + np.arange(49) * np.timedelta64(1, "h")
    >>> series = series_of(times, np.linspace(2.0, 10.0, 49))
    >>> mean_before(series, times[-1:].astype(np.int64), span_h=24.0).tolist()
    [8.0]
    """
    sums = _before(series, instants, span_h, lambda one, other, length: (one + other) / 2.0 * length)
    mean: FloatArray = sums * _scale(series, instants, span_h) / (span_h * HOUR_NS)
    return mean


def _scale(series: Series, instants: IntArray, span_h: float) -> FloatArray:
    """What a sum over bridged time is multiplied by to stand for the whole span; NaN where too little is bridged."""
    span_ns = round(span_h * HOUR_NS)
    share = (series.bridged_until(instants) - series.bridged_until(instants - span_ns)) / span_ns
    scale: FloatArray = np.where(share >= ENOUGH, 1.0 / np.maximum(share, ENOUGH), np.nan)
    return scale


def _before(series: Series, instants: IntArray, span_h: float, of_stretch: OfStretch) -> FloatArray:
    """Sum a measure of bridged stretches, given by their two ends and length, over the span before each instant."""
    if series.times.size < 2:
        return np.zeros(instants.shape)
    one, other = series.temperatures[:-1], series.temperatures[1:]
    whole = np.where(series.bridged, of_stretch(one, other, series.steps.astype(float)), 0.0)
    summed = np.concatenate(([0.0], np.cumsum(whole)))

    def until(times: IntArray) -> FloatArray:
        step = np.clip(np.searchsorted(series.times, times, side="right") - 1, 0, series.steps.size - 1)
        into = np.clip(times - series.times[step], 0, series.steps[step]).astype(float)
        there = one[step] + (other[step] - one[step]) * (into / series.steps[step])
        part: FloatArray = summed[step] + np.where(series.bridged[step], of_stretch(one[step], there, into), 0.0)
        return part

    sums: FloatArray = until(instants) - until(instants - round(span_h * HOUR_NS))
    return sums
