"""Readings as they were read -> the readings that count: masked ones out, dated offsets in.

A mask takes readings out of everything that follows; what is left of a sensor there is a gap, and the rules for gaps
apply. A dated offset holds from its local date until the sensor's next one, in place of the sensor's own ``offset_c``.
Nothing here changes what is stored.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.weather.clean import utc_times
from hardiness.weather.days import local_midnights
from hardiness.weather.gaps import BoolArray, FloatArray, IntArray
from hardiness.weather.sensors import sensors_known


def readings_that_count(
    readings: Mapping[str, xr.DataArray],
    masks: pd.DataFrame,
    calibrations: pd.DataFrame,
    sensors: pd.DataFrame,
    zone: ZoneInfo,
) -> dict[str, xr.DataArray]:
    """Take masked readings out, and put dated offsets in.

    A sensor's own ``offset_c`` is added downstream, to all of its readings; a dated offset is therefore put in as its
    difference from that one, so that after both only the dated one is there.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings of each sensor as they were read, dims ``(time,)``, in UTC. [degC]
    masks, calibrations, sensors : pandas.DataFrame
        The records tables.
    zone : ZoneInfo
        The trial's: dates of calibrations are its days.

    Returns
    -------
    dict of str to xarray.DataArray
        The same sensors in the same order; an array that nothing is said about is the one that came. [degC]

    Examples
    --------
    >>> time = np.array(["2031-12-14T04", "2031-12-14T05", "2031-12-14T06"], "M8[ns]")
    >>> air = xr.DataArray([-1.0, 30.0, -2.0], {"time": time}, attrs={"units": "degC"})
    >>> at = "2031-12-14T05:00:00Z"
    >>> masks = pd.DataFrame({"sensor": ["L1"], "from": [at], "to": [at], "verdict": ["mask"]})
    >>> offsets = pd.DataFrame({"sensor": ["L1"], "from": [pd.Timestamp("2031-12-01").date()], "offset_c": [-0.3]})
    >>> counted = readings_that_count({"L1": air}, masks, offsets, pd.DataFrame({"sensor": []}), ZoneInfo("UTC"))
    >>> counted["L1"].values.round(1).tolist()
    [-1.3, -2.3]
    """
    own = sensors_known(sensors, readings)["offset_c"]
    counted = {}
    for sensor, air_temperature in readings.items():
        kept = air_temperature
        if (calibrations["sensor"] == sensor).any():
            offset = dated_offsets(kept, calibrations[calibrations["sensor"] == sensor], float(own[sensor]), zone)
            kept = kept.copy(data=kept.to_numpy() + offset)
        if (spans := spans_of(masks, sensor, "mask"))[0].size:
            kept = kept.isel(time=~covered(_instants(kept), *spans))
        counted[sensor] = kept
    return counted


def corrected_readings(
    readings: Mapping[str, xr.DataArray], calibrations: pd.DataFrame, sensors: pd.DataFrame, zone: ZoneInfo
) -> dict[str, xr.DataArray]:
    """Put all offsets in, dated ones and the sensors' own; nothing is taken out.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings of each sensor as they were read, dims ``(time,)``, in UTC. [degC]
    calibrations, sensors : pandas.DataFrame
        The records tables.
    zone : ZoneInfo
        The trial's.

    Returns
    -------
    dict of str to xarray.DataArray
        Temperatures as freezes tell them. [degC]

    Examples
    --------
    >>> air = xr.DataArray([-1.0], {"time": np.array(["2031-12-14T04"], "M8[ns]")}, attrs={"units": "degC"})
    >>> none = pd.DataFrame({"sensor": [], "from": [], "offset_c": []})
    >>> own = pd.DataFrame({"sensor": ["L1"], "offset_c": [0.2]})
    >>> corrected_readings({"L1": air}, none, own, ZoneInfo("UTC"))["L1"].values.tolist()
    [-0.8]
    """
    nothing = pd.DataFrame({"sensor": [], "from": [], "to": [], "verdict": []})
    own = sensors_known(sensors, readings)["offset_c"]
    dated = readings_that_count(readings, nothing, calibrations, sensors, zone)
    return {name: air.copy(data=air.to_numpy() + own[name]) if own[name] else air for name, air in dated.items()}


def dated_offsets(
    air_temperature: xr.DataArray, calibrations: pd.DataFrame, own_offset_c: float, zone: ZoneInfo
) -> FloatArray:
    """Say what a sensor's dated offsets add to each of its readings, beyond its own ``offset_c``.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Its readings, dims ``(time,)``, in UTC. [degC]
    calibrations : pandas.DataFrame
        Its rows of the calibrations table.
    own_offset_c : float
        Its ``offset_c`` in the sensors table. [K]
    zone : ZoneInfo
        The trial's.

    Returns
    -------
    ndarray of float
        0 before the first date; from each date on its offset less ``own_offset_c``. [K]
    """
    ordered = calibrations.sort_values("from")
    since = local_midnights(list(ordered["from"]), zone)
    added = np.concatenate(([0.0], ordered["offset_c"].to_numpy(dtype=float) - own_offset_c))
    out: FloatArray = added[np.searchsorted(since, _instants(air_temperature), side="right")]
    return out


def spans_of(masks: pd.DataFrame, sensor: str, verdict: str) -> tuple[IntArray, IntArray]:
    """Give the stretches of a sensor on which a verdict stands.

    Parameters
    ----------
    masks : pandas.DataFrame
        The masks table.
    sensor : str
        Whose.
    verdict : str
        ``mask`` or ``keep``.

    Returns
    -------
    firsts, lasts : ndarray of int64
        Ends of each stretch, both inside it, since 1970-01-01 UTC. [ns]
    """
    rows = masks[(masks["sensor"] == sensor) & (masks["verdict"] == verdict)]
    return instants_of(rows["from"]), instants_of(rows["to"])


def instants_of(texts: Iterable[str]) -> IntArray:
    """Take times as records keep them as whole nanoseconds.

    Parameters
    ----------
    texts : iterable of str
        ISO 8601 in UTC.

    Returns
    -------
    ndarray of int64
        Since 1970-01-01 UTC. [ns]

    Examples
    --------
    >>> instants_of(["1970-01-01T00:00:02Z"]).tolist()
    [2000000000]
    """
    return np.array([text.removesuffix("Z") for text in texts], dtype="M8[ns]").astype(np.int64)


def covered(times: IntArray, firsts: IntArray, lasts: IntArray) -> BoolArray:
    """Say which instants lie in any of some stretches; both ends are inside.

    Parameters
    ----------
    times : ndarray of int64
        The instants. [ns]
    firsts, lasts : ndarray of int64
        Ends of the stretches, in any order; they may overlap. [ns]

    Returns
    -------
    ndarray of bool

    Examples
    --------
    >>> covered(np.array([1, 2, 3, 9]), np.array([2, 3]), np.array([5, 4])).tolist()
    [False, True, True, False]
    """
    begun = np.searchsorted(np.sort(firsts), times, side="right")
    over = np.searchsorted(np.sort(lasts), times, side="left")
    inside: BoolArray = begun > over
    return inside


def _instants(air_temperature: xr.DataArray) -> IntArray:
    return utc_times(air_temperature["time"].to_numpy()).astype(np.int64)
