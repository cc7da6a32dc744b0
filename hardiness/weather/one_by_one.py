"""Readings of many sensors that are fetched when they are asked for, one sensor at a time, and not kept.

A network of loggers has more readings than a machine has memory for; one logger's fit. What stands here for each sensor
is how to get its readings: a function that takes nothing, and that another process can be handed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from zoneinfo import ZoneInfo

import pandas as pd
import xarray as xr

from hardiness.weather.masking import corrected_readings, readings_that_count

Source = Callable[[], xr.DataArray]


class OneByOne(Mapping[str, xr.DataArray]):
    """Readings by sensor, fetched anew each time that they are asked for.

    Parameters
    ----------
    sources : mapping of str to callable
        For each sensor, a function that takes nothing and gives its readings, dims ``(time,)``, in UTC. It can be
        pickled where another process is to call it. [degC]
    sizes : mapping of str to int
        How many readings each sensor has at most.

    Examples
    --------
    >>> air = xr.DataArray([-1.0], {"time": pd.DatetimeIndex(["2031-12-14"])}, attrs={"units": "degC"})
    >>> readings = OneByOne({"L1": lambda: air}, {"L1": 1})
    >>> list(readings), readings["L1"].values.tolist()
    (['L1'], [-1.0])
    """

    def __init__(self, sources: Mapping[str, Source], sizes: Mapping[str, int]) -> None:
        self.sources = dict(sources)
        self.sizes = dict(sizes)

    def __getitem__(self, sensor: str) -> xr.DataArray:
        return self.sources[sensor]()

    def __iter__(self) -> Iterator[str]:
        return iter(self.sources)

    def __len__(self) -> int:
        return len(self.sources)

    def __contains__(self, sensor: object) -> bool:  # the one of Mapping would fetch the readings to find out
        return sensor in self.sources


def count_of(readings: Mapping[str, xr.DataArray]) -> int:
    """Say how many readings there are in all, fetching none.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        By sensor.

    Returns
    -------
    int
        At most; several of one time count as one once they are fetched.

    Examples
    --------
    >>> count_of({"L1": xr.DataArray([-1.0, -2.0], dims="time")})
    2
    """
    return sum(sizes_of(readings).values())


def sizes_of(readings: Mapping[str, xr.DataArray]) -> dict[str, int]:
    """Say how many readings each sensor has, fetching none.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        By sensor.

    Returns
    -------
    dict of str to int
        At most; see :func:`count_of`.

    Examples
    --------
    >>> sizes_of({"L1": xr.DataArray([-1.0, -2.0], dims="time")})
    {'L1': 2}
    """
    if isinstance(readings, OneByOne):
        return dict(readings.sizes)
    return {name: air.size for name, air in readings.items()}


def fetched_by(readings: Mapping[str, xr.DataArray], sensor: str) -> Source | xr.DataArray:
    """Give one sensor's readings, or how to fetch them where they are fetched one by one.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        By sensor.
    sensor : str
        Whose.

    Returns
    -------
    callable or xarray.DataArray
    """
    return readings.sources[sensor] if isinstance(readings, OneByOne) else readings[sensor]


def counted_when_asked(
    readings: Mapping[str, xr.DataArray],
    masks: pd.DataFrame,
    calibrations: pd.DataFrame,
    sensors: pd.DataFrame,
    zone: ZoneInfo,
) -> Mapping[str, xr.DataArray]:
    """Take masked readings out and put dated offsets in; what is fetched one by one stays so.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        As they were read. [degC]
    masks, calibrations, sensors, zone
        As :func:`hardiness.weather.masking.readings_that_count` takes them.

    Returns
    -------
    mapping of str to xarray.DataArray
        What that function gives for each sensor. [degC]
    """
    if not isinstance(readings, OneByOne):
        return readings_that_count(readings, masks, calibrations, sensors, zone)
    sources: dict[str, Source] = {
        sensor: partial(
            _counted, sensor, source, _own(masks, sensor), _own(calibrations, sensor), _own(sensors, sensor), zone
        )
        for sensor, source in readings.sources.items()
    }
    return OneByOne(sources, readings.sizes)


def corrected_when_asked(
    readings: Mapping[str, xr.DataArray], calibrations: pd.DataFrame, sensors: pd.DataFrame, zone: ZoneInfo
) -> Mapping[str, xr.DataArray]:
    """Put all offsets in; what is fetched one by one stays so.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        As they were read. [degC]
    calibrations, sensors, zone
        As :func:`hardiness.weather.masking.corrected_readings` takes them.

    Returns
    -------
    mapping of str to xarray.DataArray
        What that function gives for each sensor. [degC]
    """
    if not isinstance(readings, OneByOne):
        return corrected_readings(readings, calibrations, sensors, zone)
    sources: dict[str, Source] = {
        sensor: partial(_corrected, sensor, source, _own(calibrations, sensor), _own(sensors, sensor), zone)
        for sensor, source in readings.sources.items()
    }
    return OneByOne(sources, readings.sizes)


def with_others(readings: Mapping[str, xr.DataArray], others: Mapping[str, xr.DataArray]) -> Mapping[str, xr.DataArray]:
    """Give readings, with those of some sensors in place of their own; what is fetched one by one stays so.

    Parameters
    ----------
    readings, others : mapping of str to xarray.DataArray
        By sensor. [degC]

    Returns
    -------
    mapping of str to xarray.DataArray

    Examples
    --------
    >>> air, course = xr.DataArray([-1.0], dims="time"), xr.DataArray([-2.0, -1.0], dims="time")
    >>> with_others(OneByOne({"L1": lambda: air, "L2": lambda: air}, {"L1": 1, "L2": 1}), {"L2": course})["L2"].size
    2
    """
    if not isinstance(readings, OneByOne):
        return {**readings, **others}
    laid_over = others if isinstance(others, OneByOne) else _held(others)
    return OneByOne({**readings.sources, **laid_over.sources}, {**readings.sizes, **laid_over.sizes})


def _held(readings: Mapping[str, xr.DataArray]) -> OneByOne:
    sources: dict[str, Source] = {name: partial(readings.__getitem__, name) for name in readings}
    return OneByOne(sources, {name: air.size for name, air in readings.items()})


def _counted(
    sensor: str,
    source: Source,
    masks: pd.DataFrame,
    calibrations: pd.DataFrame,
    sensors: pd.DataFrame,
    zone: ZoneInfo,
) -> xr.DataArray:
    return readings_that_count({sensor: source()}, masks, calibrations, sensors, zone)[sensor]


def _corrected(
    sensor: str, source: Source, calibrations: pd.DataFrame, sensors: pd.DataFrame, zone: ZoneInfo
) -> xr.DataArray:
    return corrected_readings({sensor: source()}, calibrations, sensors, zone)[sensor]


def _own(table: pd.DataFrame, sensor: str) -> pd.DataFrame:
    return table[table["sensor"] == sensor]
