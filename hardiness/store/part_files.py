"""Writing a part: the readings of one accepted file as an immutable CF NetCDF file.

A part follows CF 1.11, discrete sampling geometry ``timeSeries`` in its contiguous ragged form (section H.2.4): the
readings stand in the order of the file, so that ``time`` need not rise, each with its row of the file. Values are
float64 [degC] and times whole numbers, so that what was written is read back exactly. Beside the temperatures stand the
humidity, dew point, wind and sky that a station's file has (:mod:`hardiness.store.part_conditions`). ``offset_c`` of a
sensor is never written into a part.
"""

from __future__ import annotations

import importlib.metadata
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from hardiness.read.loggers import LoggerFile
from hardiness.store.folder import sha256_of
from hardiness.store.part_conditions import condition_variables
from hardiness.store.parts import NANOSECONDS, labelled, times_ns
from hardiness.store.station_parts import part_attributes

_PACKED = {"zlib": True, "complevel": 4, "shuffle": True, "_FillValue": None}  # no value is missing
_READING = ("reading",)
_INSTANCE = ("instance",)


def part_name(sha256: str, sensor: str, options: str) -> str:
    """Name a part after what makes it: the upload, the sensor and the options.

    Parameters
    ----------
    sha256 : str
        Of the upload.
    sensor : str
        The sensor.
    options : str
        The options as the database keeps them.

    Returns
    -------
    str

    Examples
    --------
    >>> part_name("ab" * 32, "L1", "{}")
    'abababababababab-a14999205629f98b.nc'
    """
    given = sha256_of("\n".join((sensor, options)).encode())
    return f"{sha256[:16]}-{given[:16]}.nc"


def write_part(
    path: Path, readings: LoggerFile, *, sensor: str, sha256: str, place: tuple[float, float], at: str
) -> None:
    """Write the readings of one file as a part; the handle is closed when this returns.

    Parameters
    ----------
    path : Path
        Where to.
    readings : LoggerFile
        The file, read.
    sensor : str
        Whose readings.
    sha256 : str
        Of the upload.
    place : (float, float)
        Latitude and longitude as known now, NaN where not. [degree]
    at : str
        Time of the intake, ISO 8601.
    """
    air = readings.air_temperature
    stamps = times_ns(air["time"].values)
    unit, step = next((unit, step) for unit, step in NANOSECONDS.items() if not np.any(stamps % step))
    variables = {
        "air_temperature": labelled(
            _READING, np.asarray(air.values, np.float64), "air temperature as the sensor gave it", units="degC",
            standard_name="air_temperature", units_metadata="temperature: on_scale",
            coordinates="time latitude longitude sensor",
        ),
        "time": labelled(
            _READING, stamps // step, "time of the reading, UTC", units=f"{unit} since 1970-01-01 00:00:00",
            standard_name="time", calendar="standard", axis="T",
        ),
        "row": labelled(_READING, np.asarray(readings.rows, np.int64), "row of the file", units="1"),
        "row_size": labelled(
            _INSTANCE, np.array([stamps.size]), "number of readings", units="1", sample_dimension="reading"
        ),
        "sensor": labelled(_INSTANCE, np.array([sensor], object), "name of the sensor", cf_role="timeseries_id"),
        "latitude": labelled(
            _INSTANCE, np.array([place[0]]), "latitude", units="degrees_north", standard_name="latitude"
        ),
        "longitude": labelled(
            _INSTANCE, np.array([place[1]]), "longitude", units="degrees_east", standard_name="longitude"
        ),
        **condition_variables(readings, _READING),
    }  # fmt: skip
    program = f"hardiness {importlib.metadata.version('hardiness')}"
    attributes = {
        "Conventions": "CF-1.11",
        "featureType": "timeSeries",
        "title": f"Readings of sensor {sensor}",
        "source": "export of a logger or station",
        "history": f"{at} {program}: made from the upload with this sha256",
        "comment": "Place as it was known at the time of intake; a sensor's offset is not applied.",
        "sha256": sha256,
        "unit_of_file": readings.unit,
        "resolution_c": float(readings.resolution_c),
        "timezone": readings.timezone,
        "timezone_from": readings.timezone_from,
        **part_attributes(readings),
    }
    encoding: dict[str, dict[str, Any]] = {name: _PACKED for name in ("air_temperature", "time", "row")}
    encoding["row_size"] = {"_FillValue": None}
    xr.Dataset(variables, attrs=attributes).to_netcdf(path, engine="h5netcdf", format="NETCDF4", encoding=encoding)
