"""From when to when each sensor has readings, and how many, told without fetching what is fetched one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import xarray as xr

from hardiness.weather.one_by_one import OneByOne, Source


@dataclass(frozen=True, slots=True)
class Extent:
    """What a sensor has readings of.

    Parameters
    ----------
    readings : int
        How many; one or more.
    first, last : numpy.datetime64
        The first and the last of them, in UTC.
    exact : bool, default True
        Whether there are just so many; else at most, since some of one time may count as one.
    """

    readings: int
    first: np.datetime64
    last: np.datetime64
    exact: bool = True


class KnownReadings(OneByOne):
    """Readings that are fetched one by one, of which it is known beforehand when they were taken.

    Parameters
    ----------
    sources : mapping of str to callable
        As :class:`hardiness.weather.one_by_one.OneByOne` takes them. [degC]
    extents : mapping of str to Extent
        Of each sensor.
    """

    def __init__(self, sources: Mapping[str, Source], extents: Mapping[str, Extent]) -> None:
        super().__init__(sources, {sensor: extent.readings for sensor, extent in extents.items()})
        self.extents = dict(extents)


def extents_of(readings: Mapping[str, xr.DataArray]) -> dict[str, Extent]:
    """Tell from when to when each sensor has readings, and how many.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        By sensor, dims ``(time,)``, in UTC. [degC]

    Returns
    -------
    dict of str to Extent
        A sensor without any reading is not in it.

    Examples
    --------
    >>> times = np.array(["2031-12-14T02", "2031-12-14T01"], "M8[ns]")
    >>> found = extents_of({"L1": xr.DataArray([-2.0, -1.0], {"time": times}), "L2": xr.DataArray([], dims="time")})
    >>> list(found), found["L1"].readings, str(found["L1"].last)[:16]
    (['L1'], 2, '2031-12-14T02:00')
    """
    if isinstance(readings, KnownReadings):
        return dict(readings.extents)
    return {sensor: _extent(air["time"].to_numpy()) for sensor, air in readings.items() if air.size}


def _extent(times: np.ndarray) -> Extent:
    return Extent(times.size, times.min(), times.max())
