"""Radiative or advective: what kind of freeze it was, where wind and sky are known.

A *radiative* freeze comes in clear, calm nights under an inversion; an *advective* one with a large cold air mass, well
mixed and windy, below zero also by day (Snyder & de Melo-Abreu 2005, *Frost Protection*, FAO Environment and Natural
Resources Series 10, vol. 1, p. 2). Calm is a mean wind by night below 5 mph, the split of US extension tables. Heaters
and wind machines work under an inversion only, and sprinklers do harm in wind, so the kind matters.
"""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.errors import Problem, UnitsError
from hardiness.units import registry
from hardiness.weather.clean import utc_times
from hardiness.weather.days import nanoseconds

CALM_M_PER_S = 2.24  # [m/s] 5 mph
CLEAR = 0.25  # [1] mean cloud cover of up to two eighths is clear sky
ENOUGH = 0.8  # [1] share of the hours by night that must have a wind (and a sky)
NIGHT, DAY = (18, 9), (10, 16)  # [h] on the local clock
_UNITS = {  # units as files write them, and as the registry does
    "m/s": {"m s-1": "m/s", "m/s": "m/s", "km h-1": "km/h", "km/h": "km/h", "mph": "mph", "knot": "knot"},
    "degC": {"degC": "degC", "degF": "degF", "K": "kelvin"},
    "dimensionless": {"1": "dimensionless", "%": "percent"},
}
RADIATIVE, ADVECTIVE, MIXED, UNKNOWN = KINDS = ("radiative", "advective", "mixed", "unknown")


def kinds_of(freezes: pd.DataFrame, conditions: xr.Dataset, zone: ZoneInfo) -> list[str]:
    """Name the kind of each freeze.

    Parameters
    ----------
    freezes : pandas.DataFrame
        ``starts`` and ``ends``, as datetime64[ns, UTC].
    conditions : xarray.Dataset
        Hourly, dims ``(time,)``, ``time`` in UTC and rising: ``wind_speed`` (m s-1, km/h, mph, knot),
        ``air_temperature`` and, where the sky is known, ``cloud_area_fraction`` in ``1`` or ``%``.
    zone : ZoneInfo
        Whose clock says what is night (18 to 9) and day (10 to 16).

    Returns
    -------
    list of str
        For each freeze ``radiative`` (calm and clear by night), ``advective`` (windy by night, and 0 degC or colder at
        some hour by day), ``mixed`` (neither), or ``unknown``: fewer than 80 % of its hours by night have a wind, or a
        sky where that is what decides.

    Raises
    ------
    UnitsError
        If a variable does not say its unit, or says one that is not known.

    Examples
    --------
    >>> time = np.datetime64("2031-12-14T18", "ns") + np.arange(16) * np.timedelta64(1, "h")
    >>> conditions = xr.Dataset({"wind_speed": ("time", np.full(16, 0.8), {"units": "m s-1"}),
    ...     "air_temperature": ("time", np.full(16, -3.0), {"units": "degC"}),
    ...     "cloud_area_fraction": ("time", np.zeros(16), {"units": "1"})}, {"time": time})
    >>> freezes = pd.DataFrame({"starts": [pd.Timestamp("2031-12-14T20Z")], "ends": [pd.Timestamp("2031-12-15T08Z")]})
    >>> kinds_of(freezes, conditions, ZoneInfo("UTC"))
    ['radiative']
    """
    times = utc_times(conditions["time"].to_numpy())
    hour = pd.DatetimeIndex(times).tz_localize("UTC").tz_convert(zone).hour.to_numpy()
    by_night, by_day = (hour >= NIGHT[0]) | (hour < NIGHT[1]), (hour >= DAY[0]) & (hour <= DAY[1])
    wind, air = _in(conditions, "wind_speed", "m/s"), _in(conditions, "air_temperature", "degC")
    has_sky = "cloud_area_fraction" in conditions
    cloud = _in(conditions, "cloud_area_fraction", "dimensionless") if has_sky else np.full(times.size, np.nan)
    stamps = times.astype(np.int64)
    first = np.searchsorted(stamps, nanoseconds(freezes["starts"]), side="left")
    stop = np.searchsorted(stamps, nanoseconds(freezes["ends"]), side="right")
    kinds = []
    for begin, end in zip(first.tolist(), stop.tolist(), strict=True):
        night = np.flatnonzero(by_night[begin:end]) + begin
        day = np.flatnonzero(by_day[begin:end]) + begin
        known = [0.0 if night.size == 0 else float(np.isfinite(values[night]).mean()) for values in (wind, cloud)]
        if known[0] < ENOUGH:
            kinds.append(UNKNOWN)
        elif np.nanmean(wind[night]) >= CALM_M_PER_S:
            kinds.append(ADVECTIVE if bool((air[day] <= 0).any()) else MIXED)
        elif known[1] < ENOUGH:
            kinds.append(UNKNOWN)
        else:
            kinds.append(RADIATIVE if np.nanmean(cloud[night]) <= CLEAR else MIXED)
    return kinds


def _in(conditions: xr.Dataset, name: str, unit: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Values of a variable in a unit; its own must be named."""
    given = str(conditions[name].attrs.get("units", ""))
    if given not in _UNITS[unit]:
        raise UnitsError(Problem(f"{name} in units '{given}'", f"attrs['units'] one of {', '.join(_UNITS[unit])}"))
    values = registry.Quantity(conditions[name].to_numpy().astype(np.float64), _UNITS[unit][given])
    converted: np.ndarray[tuple[int], np.dtype[np.float64]] = values.to(unit).magnitude
    return converted
