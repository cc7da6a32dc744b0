"""Freezes of a station that reports daily minima alone: how cold it became, on which of its days, and nothing more.

Each value stands at the beginning of the station's day. No two of them are near enough to bridge, so each day is a
freeze of its own where its minimum is damaging: ``starts`` and ``ends`` are the day; hours, degree hours, falls and
held temperatures are missing, and coverage is 0. That also makes it unsure: with no hour covered ``sd_c`` holds 2 K
besides the sensor's accuracy (:data:`hardiness.weather.exposure.UNCOVERED_C`), for the minimum may have fallen into
the night before or after the one that plants met, and may have stood for minutes or for hours.
"""

from __future__ import annotations

from datetime import tzinfo

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.read.clock import parse_zone
from hardiness.read.station_data import DAILY_MINIMUM, ESTIMATED, series_of_attributes
from hardiness.schema import column_names, measure_columns
from hardiness.settings import Settings
from hardiness.weather.clean import clean
from hardiness.weather.day_curve import CURVE_SD_C
from hardiness.weather.days import day_ends
from hardiness.weather.exposure import ACCURACY_C, UNCOVERED_C, UNSHIELDED_C
from hardiness.weather.series import TIE_C

BRIDGED_DAYS_H = 36.0  # [h] between daily values, more than a day of 25 h and less than two days


def is_daily_minimum(air_temperature: xr.DataArray) -> bool:
    """Tell whether readings are one minimum a day.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Readings of one sensor.

    Returns
    -------
    bool
    """
    return series_of_attributes(air_temperature.attrs) == DAILY_MINIMUM


def zone_of_days(air_temperature: xr.DataArray, settings: Settings) -> tzinfo:
    """Tell which zone the days of daily minima are of.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Daily minima of one sensor.
    settings : Settings
        Of the trial: its zone, where the readings name none.

    Returns
    -------
    datetime.tzinfo

    Examples
    --------
    >>> air = xr.DataArray([-6.0], dims="time", attrs={"series": "daily_minimum", "timezone": "UTC-05:00"})
    >>> str(zone_of_days(air, Settings("Hill", "Europe/Lisbon")))
    'UTC-05:00'
    """
    named = air_temperature.attrs.get("timezone")
    return settings.zone if named is None else parse_zone(str(named))


def longest_gap_h(air_temperature: xr.DataArray, settings: Settings) -> float | None:
    """Say how far apart readings may stand for the time between them to count as covered, when sensors are chosen.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Readings of one sensor.
    settings : Settings
        Of the trial.

    Returns
    -------
    float or None
        For daily minima a day, so that a day without one is not covered; else as the settings say. [h]
    """
    return BRIDGED_DAYS_H if is_daily_minimum(air_temperature) else settings.rules.max_gap_h


def measure_daily_minima(
    air_temperature: xr.DataArray, settings: Settings, *, accuracy_c: float = ACCURACY_C, shielded: bool = True
) -> pd.DataFrame:
    r"""List the freezes of a series of daily minima.

    .. math:: sd = \sqrt{accuracy^2 + unshielded^2 + 2^2}

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Daily minima, dims ``(time,)``; ``time`` is the beginning of the station's day, in UTC. [degC]
    settings : Settings
        Of the trial: its rules; and its zone, where the readings name none for their days.
    accuracy_c : float, default 0.5
        One standard deviation of the sensor's bias. [K]
    shielded : bool, default True
        Whether the sensor hangs in a radiation shield; if not, 1 K is added.

    Returns
    -------
    pandas.DataFrame
        The freezes table from ``starts`` on: a row for each day with a damaging minimum; what daily minima cannot
        tell is missing.

    Raises
    ------
    InputError
        If a temperature is infinite, or one day has two.

    Examples
    --------
    >>> time = np.array(["2031-12-14", "2031-12-15"], "M8[ns]")
    >>> air = xr.DataArray([1.0, -6.0], {"time": time}, attrs={"units": "degC", "series": "daily_minimum"})
    >>> freezes = measure_daily_minima(air, Settings("Hill", "Europe/Lisbon"))
    >>> freezes[["minimum_c", "duration_h", "held_1h_c", "coverage"]].iloc[0].tolist()
    [-6.0, 24.0, nan, 0.0]
    """
    rules = settings.rules
    times, degrees = clean(air_temperature["time"].to_numpy(), air_temperature.to_numpy())
    cold = degrees <= rules.damaging_c + TIE_C
    starts = pd.DatetimeIndex(times[cold].astype("M8[ns]")).tz_localize("UTC")
    ends = pd.DatetimeIndex(
        day_ends(times[cold], zone_of_days(air_temperature, settings)).astype("M8[ns]")
    ).tz_localize("UTC")
    names = column_names(measure_columns(rules.thresholds, rules.held_h))
    table = pd.DataFrame({name: np.full(len(starts), np.nan) for name in names})
    shield = 0.0 if shielded else UNSHIELDED_C
    return table.assign(
        starts=starts,
        ends=ends,
        minimum_c=degrees[cold],
        duration_h=(ends - starts) / pd.Timedelta(hours=1),
        coverage=0.0,
        sd_c=float(np.sqrt(accuracy_c**2 + shield**2 + UNCOVERED_C**2)),
    )[names]


def widen_estimated(freezes: pd.DataFrame, air_temperature: xr.DataArray) -> pd.DataFrame:
    """Widen ``sd_c`` of freezes whose hours were drawn through daily minima and maxima.

    Parameters
    ----------
    freezes : pandas.DataFrame
        The freezes of one sensor, with ``sd_c``.
    air_temperature : xarray.DataArray
        Its readings, which carry how they came about.

    Returns
    -------
    pandas.DataFrame
        The same, or with 1.4 K of the curve added to ``sd_c`` in squares.
    """
    if series_of_attributes(air_temperature.attrs) != ESTIMATED:
        return freezes
    return freezes.assign(sd_c=np.hypot(freezes["sd_c"], CURVE_SD_C))


def source_of(air_temperature: xr.DataArray, kind: str) -> str:
    """Say where the temperatures of a sensor's freezes come from.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Its readings.
    kind : str
        ``logger`` or ``station``.

    Returns
    -------
    str
        ``estimated`` where hours were drawn through daily values, else ``kind``.
    """
    return "estimated" if series_of_attributes(air_temperature.attrs) == ESTIMATED else kind
