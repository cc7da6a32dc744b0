"""Conditions of the air beside a part's temperatures: written with it, and read back where there are any.

They are variables of the same immutable file, along its readings; a part without them tells nothing of the air but its
temperature. What a file misses is filled from later files of the same sensor, instant by instant.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import h5netcdf
import numpy as np
import xarray as xr

from hardiness.errors import StoreError
from hardiness.read.conditions import CONDITIONS, DEW_POINT
from hardiness.read.loggers import LoggerFile
from hardiness.read.station_data import Floats
from hardiness.store.parts import Part, air_temperature_of, merge_parts, read_part

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


def read_conditions(parts: Sequence[Part]) -> dict[str, xr.Dataset]:
    """Read what is known of the air at each sensor that tells more than its temperature.

    Parameters
    ----------
    parts : sequence of Part
        In the order of their intake.

    Returns
    -------
    dict of str to xarray.Dataset
        By sensor, sorted; dims ``("time",)``, UTC, rising: ``air_temperature`` as it was read [degC], and those of
        ``relative_humidity`` [%], ``dew_point`` [degC], ``wind_speed`` [m s-1] and ``cloud_area_fraction`` [1] that any
        of its files has; NaN where missing. Of several values for one time the first stays.

    Raises
    ------
    StoreError
        If a part's file is gone or damaged.
    """
    found = {}
    for sensor in sorted({part.sensor for part in parts}):
        own = [part for part in parts if part.sensor == sensor]
        held = [_held(part) for part in own]
        if any(held):
            found[sensor] = _merged(own, held)
    return found


def _merged(parts: Sequence[Part], held: Sequence[dict[str, Floats]]) -> xr.Dataset:
    times, degrees = merge_parts(parts)
    air = air_temperature_of(times, degrees)
    laid = {name: np.full(times.size, np.nan) for name in CONDITIONS if any(name in one for one in held)}
    for part, one in zip(parts, held, strict=True):
        if not one:
            continue
        places = np.searchsorted(times, read_part(part)[0])
        for name, values in one.items():
            new = np.isnan(laid[name][places])  # the first file stays
            laid[name][places[new]] = values[new]
    variables: dict[str, Any] = {name: ("time", values, attributes_of(name)) for name, values in laid.items()}
    return xr.Dataset({"air_temperature": air, **variables})


def _held(part: Part) -> dict[str, Floats]:
    try:
        # No lock on the file: a part never changes, and locks fail on network folders.
        with h5netcdf.File(part.path, "r", locking=False) as file:
            return {
                name: np.asarray(file.variables[name][...], np.float64) for name in CONDITIONS if name in file.variables
            }
    except (OSError, KeyError, RuntimeError) as error:
        raise StoreError(
            f"the part {part.path.name} of sensor '{part.sensor}' is gone or damaged ({error}). "
            f"Restore {part.path.parent.name}/ from a copy."
        ) from error
