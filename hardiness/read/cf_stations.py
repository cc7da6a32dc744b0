"""The stations of a CF file, and which values are those of one of them: dense arrays, and ragged ones of both kinds."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import xarray as xr

from hardiness.errors import InputError, Problem
from hardiness.read.station_data import Floats, StationFacts
from hardiness.words import listed

# standard names of where a station is, what is meant first; "height" is that of a sensor above its own ground
_PLACES = {"latitude": ("latitude",), "longitude": ("longitude",), "altitude": ("surface_altitude", "altitude")}


def _stations(dataset: xr.Dataset) -> tuple[str | None, list[str]]:
    """The variable that names stations (cf_role timeseries_id) and the names in it."""
    for name, array in dataset.variables.items():
        if array.attrs.get("cf_role") == "timeseries_id":
            values = np.atleast_1d(array.to_numpy())
            if (
                values.dtype.kind == "S" and values.dtype.itemsize == 1 and values.ndim == 2
            ):  # characters of classic files
                values = np.array([b"".join(row) for row in values])
            texts = [
                value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value) for value in values.ravel()
            ]
            return str(name), [text.strip("\x00 ") for text in texts]
    return None, []


def station_of(dataset: xr.Dataset, variables: Mapping[str, str], station_id: str | None, file: str) -> int:
    """Find which of the file's stations is meant.

    Parameters
    ----------
    dataset : xarray.Dataset
        The file.
    variables : mapping of str to str
        Its variables of air temperature.
    station_id : str, optional
        What was asked for.
    file : str
        The file's name, for messages.

    Returns
    -------
    int
        Its number.

    Raises
    ------
    InputError
        If there are several and none is named, or it is not there.
    """
    _, names = _stations(dataset)
    if len(names) <= 1:
        dims = dataset[next(iter(variables.values()))].dims
        if not names and len(dims) > 1 and any(dataset.sizes[dim] > 1 for dim in dims[:-1]):
            raise InputError(Problem(f"dims {dims}", "one series, or a variable with cf_role timeseries_id", file=file))
        return 0
    shown = listed(names[:8])
    if station_id is None:
        raise InputError(
            Problem(
                f"{len(names)} stations ({shown})",
                "one station",
                file=file,
                hint=f"Choose with --id, such as --id {names[0]}.",
            )
        )
    if station_id not in names:
        raise InputError(Problem(f"station '{station_id}'", f"one that the file holds ({shown})", file=file))
    return names.index(station_id)


def taken(array: xr.DataArray, dataset: xr.Dataset, chosen: int) -> Floats:
    """Take the values of one station: of a dense array its row, of a ragged one its stretch or its indexed rows.

    Parameters
    ----------
    array : xarray.DataArray
        A variable of the file.
    dataset : xarray.Dataset
        The file.
    chosen : int
        Number of the station.

    Returns
    -------
    numpy.ndarray of float64
    """
    name, names = _stations(dataset)
    values = array
    if name is not None and dataset[name].dims and array.ndim:
        instance = dataset[name].dims[0]
        if instance in array.dims:
            values = array.isel({instance: chosen})
        elif len(names) > 1:
            sample = array.dims[0]
            for row in dataset.variables.values():
                if row.attrs.get("sample_dimension") == sample:
                    stop = np.cumsum(row.to_numpy().astype(np.int64))
                    values = array.isel({sample: slice(int(stop[chosen] - row.to_numpy()[chosen]), int(stop[chosen]))})
                elif row.attrs.get("instance_dimension") == instance and row.dims == (sample,):
                    values = array.isel({sample: np.flatnonzero(row.to_numpy() == chosen)})
    return np.asarray(values.to_numpy(), np.float64).ravel()


def facts_of(dataset: xr.Dataset, chosen: int) -> StationFacts:
    """Say what a file tells of one of its stations.

    Parameters
    ----------
    dataset : xarray.Dataset
        The file.
    chosen : int
        Number of the station.

    Returns
    -------
    StationFacts
    """
    _, names = _stations(dataset)
    place: dict[str, float | None] = {}
    for axis, standards in _PLACES.items():
        place[axis] = None
        named = [
            array for standard in standards for array in dataset.variables.values()
            if array.attrs.get("standard_name") == standard
        ]  # fmt: skip
        if named:
            numbers = np.atleast_1d(named[0].to_numpy()).astype(np.float64).ravel()
            value = float(numbers[chosen if numbers.size > chosen else 0])
            place[axis] = value if np.isfinite(value) else None
    return StationFacts(
        names[chosen] if names else "",
        str(dataset.attrs.get("title", "")),
        place["latitude"],
        place["longitude"],
        place["altitude"],
    )
