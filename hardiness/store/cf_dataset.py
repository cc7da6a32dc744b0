"""Readings of sensors as one CF dataset: what was read, what was added, what counts.

The dataset follows CF 1.11, discrete sampling geometry ``timeSeries`` in its contiguous ragged form (section H.2.4):
one instance per sensor, whose readings stand on end, those at instants along one dimension and daily minima along
another (``store/cf_samples.py``). Beside the temperature with offsets in it stand the temperature as it was read, the
offset, and a status: whether a reading counts, is masked, or was looked at and kept. What stations and loggers tell of
the air besides (humidity, dew point, wind, sky) stands along the same readings, as it was read, missing where nobody
tells it. What is estimated of a silent logger is no reading and is left out.
"""

from __future__ import annotations

import importlib.metadata
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.errors import InputError, NothingYetError, Problem, near_name
from hardiness.settings import Settings
from hardiness.store.cf_samples import DIFFERENCE, KINDS, Samples, flag_variable, sample_variables
from hardiness.store.parts import labelled, times_ns
from hardiness.weather.daily import zone_of_days
from hardiness.weather.gaps import FloatArray
from hardiness.weather.masking import covered, dated_offsets, spans_of
from hardiness.weather.one_by_one import sizes_of
from hardiness.weather.sensors import sensors_known

_SHIELDED = ("unshielded", "shielded")
_SENSOR = ("station",)


def readings_dataset(
    readings: Mapping[str, xr.DataArray],
    sensors: pd.DataFrame,
    masks: pd.DataFrame,
    calibrations: pd.DataFrame,
    settings: Settings,
    *,
    conditions: Mapping[str, xr.Dataset] | None = None,
    only: Sequence[str] = (),
    units: Mapping[str, str] | None = None,
    at: str,
) -> xr.Dataset:
    """Put the readings of sensors together as CF has them.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings of each sensor as they were read, dims ``(time,)``, in UTC; ``attrs["series"]`` says of those that
        were not measured time by time how they came about. [degC]
    sensors, masks, calibrations : pandas.DataFrame
        The records tables.
    settings : Settings
        Of the trial: its place stands for that of a sensor without one.
    conditions : mapping of str to xarray.Dataset, optional
        What sensors tell of the air besides, at instants of their readings:
        :data:`hardiness.read.conditions.CONDITIONS`, in their units.
    only : sequence of str
        These sensors; empty: all that have readings.
    units : mapping of str to str, optional
        By sample dimension a unit of time that is fine enough for readings that will stand beside these.
    at : str
        Time of the export, ISO 8601, for the file's history.

    Returns
    -------
    xarray.Dataset
        Dims ``(station, obs)`` where there are readings at instants, ``(station, day, bound)`` where there are daily
        minima; see the module.

    Raises
    ------
    InputError
        As :func:`chosen_sensors`.

    Examples
    --------
    >>> from hardiness import schema
    >>> empty = {name: pd.DataFrame(columns=list(table.names)) for name, table in schema.RECORD_TABLES.items()}
    >>> time = np.array(["2031-12-14T05", "2031-12-14T06"], "M8[ns]")
    >>> air = xr.DataArray([-3.5, -4.0], {"time": time}, attrs={"units": "degC"})
    >>> settings = Settings("Hill", "UTC", latitude=41.2, longitude=-7.5)
    >>> tables = (empty["sensors"], empty["masks"], empty["calibrations"])
    >>> found = readings_dataset({"L1": air}, *tables, settings, at="2032-01-05T12:00:00Z")
    >>> found["air_temperature"].values.tolist(), found["row_size"].values.tolist(), found.attrs["featureType"]
    ([-3.5, -4.0], [2], 'timeSeries')
    """
    names = chosen_sensors(readings, sensors, settings, only)
    known = sensors_known(sensors, names)
    known = known.loc[names]
    height = sensors.set_index("sensor")["height_m"].reindex(names).to_numpy(dtype=float)
    told = conditions or {}
    samples = []
    for name in names:
        air, own = readings[name].sortby("time"), calibrations[calibrations["sensor"] == name]
        offset = _offset(air, own, float(known["offset_c"].loc[name]), settings)
        zone = zone_of_days(air, settings)
        samples.append(Samples(air, offset, _status(air, masks, name), told.get(name), zone))
    place = [known[axis].fillna(_or_nan(getattr(settings, axis))).to_numpy(float) for axis in ("latitude", "longitude")]
    ground = known["elevation_m"].fillna(_or_nan(settings.elevation_m)).to_numpy(float)
    variables: dict[str, xr.Variable] = {}
    for kind in KINDS:
        variables |= sample_variables(kind, samples, at_least=(units or {}).get(kind.dimension))
    variables |= {
        "sensor": _of_sensor(np.array(names, object), "name of the sensor", cf_role="timeseries_id"),
        "kind": _of_sensor(known["kind"].to_numpy(object), "logger beside the plants, or public station"),
        "block": _of_sensor(known["block"].to_numpy(object), "block that the sensor hangs in"),
        "latitude": _of_sensor(place[0], "latitude", units="degrees_north", standard_name="latitude"),
        "longitude": _of_sensor(place[1], "longitude", units="degrees_east", standard_name="longitude"),
        "surface_altitude": _of_sensor(
            ground, "height of the ground above the sea", units="m", standard_name="surface_altitude",
            coordinates="latitude longitude",
        ),
        "sensor_height": _of_sensor(
            height, "height of the sensor above the ground", units="m", standard_name="height",
            positive="up", coordinates="latitude longitude",
        ),
        "accuracy": _of_sensor(
            known["accuracy_c"].to_numpy(float), "one standard deviation of the sensor's bias", **DIFFERENCE
        ),
        "shielded": flag_variable(
            _SENSOR, known["shielded"].to_numpy(), "whether it hangs in a radiation shield", _SHIELDED
        ),
    }  # fmt: skip
    attributes = {
        "Conventions": "CF-1.11",
        "featureType": "timeSeries",
        "title": f"Readings of the trial {settings.name}",
        "institution": settings.name,
        "source": "exports of loggers and stations",
        "history": f"{at} hardiness {importlib.metadata.version('hardiness')}: all readings that were taken in",
        "references": "CF conventions 1.11, section H.2.4",
        "comment": "A reading counts where its status is not 'masked'. A sensor without a place of its own stands at "
        f"the trial's. Times are UTC; the trial's zone is {settings.timezone}.",
    }
    return xr.Dataset(variables, attrs=attributes)


def chosen_sensors(
    readings: Mapping[str, xr.DataArray], sensors: pd.DataFrame, settings: Settings, only: Sequence[str]
) -> list[str]:
    """Name the sensors that are meant, and see that each can be exported.

    Parameters
    ----------
    readings, sensors, settings, only
        As :func:`readings_dataset` takes them. No readings are fetched.

    Returns
    -------
    list of str
        Sorted.

    Raises
    ------
    InputError
        If a sensor is unknown or has no readings, if there are none at all, or neither a sensor nor the trial has a
        place (CF wants one). All of it is listed.
    """
    there = [name for name, size in sorted(sizes_of(readings).items()) if size]
    names = sorted(dict.fromkeys(only)) if only else there
    if not names:
        how = "hardiness add readings FILE --sensor S adds some."
        raise NothingYetError(f"There are no readings to export yet, and no file was written: {how}")
    known = sensors_known(sensors, names)
    problems: list[Problem | str] = []
    for name in names:
        if name not in there:
            accepted = f"one of {', '.join(there)}"
            problems.append(Problem(f"'{name}', which has no readings", accepted, hint=near_name(name, there)))
        elif (known.loc[name, ["latitude", "longitude"]].isna().any()
              and None in (settings.latitude, settings.longitude)):  # fmt: skip
            hint = "Give them in the sensors table, or for the trial in trial.toml."
            problems.append(Problem(f"sensor '{name}' without a place", "a latitude and a longitude", hint=hint))
    if problems:
        raise InputError(problems)
    return names


def _offset(air: xr.DataArray, calibrations: pd.DataFrame, own: float, settings: Settings) -> FloatArray:
    if calibrations.empty:
        return np.full(air.size, own)
    return own + dated_offsets(air, calibrations, own, settings.zone)


def _status(air: xr.DataArray, masks: pd.DataFrame, sensor: str) -> np.ndarray[tuple[int], np.dtype[np.int8]]:
    times = times_ns(air["time"].to_numpy())
    status = np.zeros(times.size, np.int8)
    for code, verdict in ((2, "keep"), (1, "mask")):  # a mask wins over what was kept
        status[covered(times, *spans_of(masks, sensor, verdict))] = code
    return status


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value


def _of_sensor(values: Any, long_name: str, **attributes: str) -> xr.Variable:
    return labelled(_SENSOR, values, long_name, **attributes)
