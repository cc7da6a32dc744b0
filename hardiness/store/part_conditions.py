"""Conditions of the air beside a part's temperatures: written with it, and read back where there are any.

They are variables of the same immutable file, along its readings; a part without them tells nothing of the air but its
temperature. What a file misses is filled from later files of the same sensor, instant by instant.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
import xarray as xr

from hardiness.read.conditions import CONDITIONS, DEW_POINT
from hardiness.read.loggers import LoggerFile
from hardiness.read.station_data import Floats
from hardiness.store.parts import Part, air_temperature_of, by_sensor, merge_parts, open_part, read_part
from hardiness.weather.told import Told

_PACKED = {"zlib": True, "complevel": 4, "shuffle": True, "_FillValue": np.nan}
_ON_SCALE = {"units_metadata": "temperature: on_scale"}


def condition_variables(readings: LoggerFile, dims: tuple[str, ...]) -> dict[str, xr.Variable]:
    """Give the variables of a part that hold what else is known of the air.

    Parameters
    ----------
    readings : LoggerFile
        The file, read.
    dims : tuple of str
        Dims of the readings in the part.

    Returns
    -------
    dict of str to xarray.Variable
        By the names of :data:`hardiness.read.conditions.CONDITIONS`; empty where the file tells only temperatures.
    """
    variables = {}
    for name, values in readings.conditions.items():
        attributes = {**attributes_of(name), "coordinates": "time latitude longitude sensor"}
        variables[name] = xr.Variable(dims, np.asarray(values, np.float64), attributes, _PACKED)
    return variables


def attributes_of(name: str) -> dict[str, str]:
    """Give the CF attributes of a condition of the air.

    Parameters
    ----------
    name : str
        One of :data:`hardiness.read.conditions.CONDITIONS`.

    Returns
    -------
    dict of str to str

    Examples
    --------
    >>> attributes_of("wind_speed")
    {'units': 'm s-1', 'standard_name': 'wind_speed', 'long_name': 'mean wind'}
    """
    condition = CONDITIONS[name]
    attributes = {"units": condition.units, "standard_name": condition.standard_name, "long_name": condition.long_name}
    return attributes | (_ON_SCALE if name == DEW_POINT else {})


def conditions_of(part: Part) -> list[str]:
    """List the conditions of the air that a part has beside its temperatures.

    Parameters
    ----------
    part : Part
        Which one.

    Returns
    -------
    list of str
        Of the names of :data:`hardiness.read.conditions.CONDITIONS`.

    Raises
    ------
    StoreError
        If its file is gone or damaged.
    """
    return list(_variables(part, values=False))


def read_conditions(parts: Sequence[Part]) -> Told:
    """Find what is known of the air at each sensor that tells more than its temperature.

    Parameters
    ----------
    parts : sequence of Part
        In the order of their intake.

    Returns
    -------
    Told
        By sensor, sorted, each read when it is asked for; dims ``("time",)``, UTC, rising: ``air_temperature`` as it
        was read [degC], and those of :data:`hardiness.read.conditions.CONDITIONS` that any of its files has, in their
        units; NaN where missing. Of several values for one time the first stays.

    Raises
    ------
    StoreError
        If a part's file is gone or damaged, now or when it is read.
    """
    own = by_sensor(parts)
    return Told({name: partial(_merged, held) for name, held in own.items() if any(map(conditions_of, held))})


def _merged(parts: Sequence[Part]) -> xr.Dataset:
    times, degrees = merge_parts(parts)
    air = air_temperature_of(times, degrees)
    laid: dict[str, Floats] = {}
    for part in parts:
        held = _variables(part)
        places = np.searchsorted(times, read_part(part)[0]) if held else np.array([], np.int64)
        for name, values in held.items():
            there = laid.setdefault(name, np.full(times.size, np.nan))
            new = np.isnan(there[places])  # the first file stays
            there[places[new]] = values[new]
    laid = {name: laid[name] for name in CONDITIONS if name in laid}
    variables: dict[str, Any] = {name: ("time", values, attributes_of(name)) for name, values in laid.items()}
    return xr.Dataset({"air_temperature": air, **variables})


def _variables(part: Part, *, values: bool = True) -> dict[str, Floats]:
    """The conditions that a part has by name; empty arrays where no values are asked for."""
    with open_part(part) as file:
        return {
            name: np.asarray(file.variables[name][...] if values else [], np.float64)
            for name in CONDITIONS
            if name in file.variables
        }
