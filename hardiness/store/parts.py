"""Parts of readings: reading them fast, and bringing those of a sensor together.

A part holds the readings of one accepted file, in its order, and never changes (:mod:`hardiness.store.part_files`).
Which of them count is for the records to say (:mod:`hardiness.store.part_rows`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import h5netcdf
import numpy as np
import numpy.typing as npt
import xarray as xr

from hardiness.errors import StoreError
from hardiness.read.station_data import MEASURED

Times = npt.NDArray[np.int64]  # nanoseconds since 1970-01-01, UTC
Values = npt.NDArray[np.float64]  # degC

NANOSECONDS = {"seconds": 1_000_000_000, "milliseconds": 1_000_000, "nanoseconds": 1}  # in a unit of CF time


@dataclass(frozen=True, slots=True)
class Part:
    """A part that counts, as the records know it.

    Parameters
    ----------
    sensor : str
        Whose readings.
    path : Path
        The NetCDF file.
    sha256 : str
        Of the upload it was made from.
    upload : str
        The upload's file name.
    resolution_c : float
        Last digit of the upload. [K]
    first_ns, last_ns : int
        Span of its readings. [ns since 1970-01-01, UTC]
    readings : int
        How many it has.
    """

    sensor: str
    path: Path
    sha256: str
    upload: str
    resolution_c: float
    first_ns: int
    last_ns: int
    readings: int


def times_ns(times: npt.ArrayLike) -> Times:
    """Give times as whole nanoseconds, whatever unit they are kept in.

    Parameters
    ----------
    times : array_like
        datetime64, UTC.

    Returns
    -------
    numpy.ndarray
        int64. [ns since 1970-01-01]

    Examples
    --------
    >>> int(times_ns(np.array(["1970-01-01T00:00:01"], "M8[s]"))[0])
    1000000000
    """
    return np.asarray(times).astype("datetime64[ns]", copy=False).view(np.int64)


def by_sensor(parts: Sequence[Part]) -> dict[str, list[Part]]:
    """Lay parts out by their sensors.

    Parameters
    ----------
    parts : sequence of Part
        In the order of their intake.

    Returns
    -------
    dict of str to list of Part
        By sensor, sorted; those of one sensor in the order of their intake.
    """
    own: dict[str, list[Part]] = {sensor: [] for sensor in sorted({part.sensor for part in parts})}
    for part in parts:
        own[part.sensor].append(part)
    return own


def read_part(part: Part) -> tuple[Times, Values]:
    """Read the times and temperatures of a part, in the order of its file.

    Parameters
    ----------
    part : Part
        Which one.

    Returns
    -------
    times : numpy.ndarray
        int64, UTC. [ns since 1970-01-01]
    temperatures : numpy.ndarray
        float64. [degC]

    Raises
    ------
    StoreError
        If the file is gone or damaged.
    """
    times, values = _variables(part, "time", "air_temperature")
    return times, values


def read_rows(part: Part) -> npt.NDArray[np.int64]:
    """Read which row of its file each reading of a part stood in.

    Parameters
    ----------
    part : Part
        Which one.

    Returns
    -------
    numpy.ndarray
        int64.

    Raises
    ------
    StoreError
        If the file is gone or damaged.
    """
    (rows,) = _variables(part, "row")
    return rows


@contextmanager
def open_part(part: Part) -> Iterator[h5netcdf.File]:
    """Open the file of a part to read in it.

    Parameters
    ----------
    part : Part
        Which one.

    Yields
    ------
    h5netcdf.File

    Raises
    ------
    StoreError
        If the file is gone or damaged, also where that shows only when it is read.
    """
    hint = f"It was made from '{part.upload}' ({part.sha256[:12]}). Restore {part.path.parent.name}/ from a copy."
    if not part.path.is_file():
        raise StoreError(f"the part {part.path.name} of sensor '{part.sensor}' is gone. {hint}")
    try:
        # No lock on the file: a part never changes, and locks fail on network folders.
        with h5netcdf.File(part.path, "r", locking=False) as file:
            yield file
    except (OSError, KeyError, RuntimeError) as error:
        raise StoreError(f"the part {part.path.name} of sensor '{part.sensor}' is damaged ({error}). {hint}") from error


def _variables(part: Part, *names: str) -> list[npt.NDArray[Any]]:
    with open_part(part) as file:
        arrays = [np.asarray(file.variables[name][...]) for name in names]
        unit = str(file.variables["time"].attrs["units"]).split()[0]
    return [array * NANOSECONDS[unit] if name == "time" else array for name, array in zip(names, arrays, strict=True)]


def labelled(dims: tuple[str, ...], values: Any, long_name: str, **attributes: str) -> xr.Variable:
    """Make a variable of a file that says what it is.

    Parameters
    ----------
    dims : tuple of str
    values : array-like
    long_name : str
        What it is, in words.
    **attributes : str
        More of its attributes, such as ``units``.

    Returns
    -------
    xarray.Variable
    """
    return xr.Variable(dims, values, {"long_name": long_name, **attributes})


def merge_parts(parts: Sequence[Part]) -> tuple[Times, Values]:
    """Bring the parts of one sensor together: times rise, and of several readings at one time the first stays.

    Parameters
    ----------
    parts : sequence of Part
        In the order of their intake.

    Returns
    -------
    times : numpy.ndarray
        int64, rising. [ns since 1970-01-01]
    temperatures : numpy.ndarray
        float64. [degC]

    Raises
    ------
    StoreError
        If a part's file is gone or damaged.
    """
    pairs = [read_part(part) for part in parts]
    times = np.concatenate([pair[0] for pair in pairs]) if pairs else np.array([], np.int64)
    values = np.concatenate([pair[1] for pair in pairs]) if pairs else np.array([], np.float64)
    if times.size == 0 or np.all(times[1:] > times[:-1]):  # as a logger writes them: nothing to sort, nothing twice
        return times, values
    order = np.argsort(times, kind="stable")  # stable: the first intake stays first
    times, values = times[order], values[order]
    first = np.ones(times.size, bool)
    first[1:] = times[1:] != times[:-1]
    return times[first], values[first]


def air_temperature_of(
    times: Times, values: Values, *, series: str = MEASURED, timezone: str | None = None
) -> xr.DataArray:
    """Label one sensor's readings.

    Parameters
    ----------
    times : numpy.ndarray
        int64, UTC. [ns since 1970-01-01]
    values : numpy.ndarray
        float64. [degC]
    series : str, default "measured"
        How they came about; an attribute of what is returned where it is anything else.
    timezone : str, optional
        Zone of the days of daily minima; an attribute likewise.

    Returns
    -------
    xarray.DataArray
        ``air_temperature``, dims ``("time",)``. [degC]

    Examples
    --------
    >>> air = air_temperature_of(np.array([0], np.int64), np.array([-4.5]))
    >>> air.name, air.dims, air.attrs["units"]
    ('air_temperature', ('time',), 'degC')
    """
    return xr.DataArray(
        values,
        coords={"time": times.view("datetime64[ns]")},
        dims="time",
        name="air_temperature",
        attrs={
            "units": "degC",
            "standard_name": "air_temperature",
            "long_name": "air temperature",
            "units_metadata": "temperature: on_scale",
            **({} if series == MEASURED else {"series": series}),
            **({} if timezone is None else {"timezone": timezone}),
        },
    )
