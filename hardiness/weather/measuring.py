"""What is taken from each sensor's readings, sensor by sensor: its freezes, and its hours and nights.

Both come from one look at the readings where both are asked for, since fetching a sensor's readings costs more than
measuring them. Who does the work is said by ``settings.compute`` (``weather/spread_out.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

import pandas as pd
import xarray as xr

from hardiness.settings import Settings
from hardiness.weather.daily import is_daily_minimum, measure_daily_minima, source_of, widen_estimated
from hardiness.weather.exposure import measure_series, to_frame
from hardiness.weather.one_by_one import Source, count_of, fetched_by
from hardiness.weather.sensors import sensors_known
from hardiness.weather.series import Series, to_series
from hardiness.weather.spread_out import spread
from hardiness.weather.transfer_nights import SensorHours, hours_of

Result = TypeVar("Result")
Task = tuple[str, Source | xr.DataArray, dict[Any, Any]]  # sensor, its readings, its row of the sensors table


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """What one look at a sensor's readings gives.

    Parameters
    ----------
    freezes : pandas.DataFrame
        Its freezes: the columns of the freezes table from ``starts`` on, ``sensor`` and ``source``.
    hours : SensorHours
        Its hours and nights, for the transfer to silent loggers.
    """

    freezes: pd.DataFrame
    hours: SensorHours


def measure_sensors(
    readings: Mapping[str, xr.DataArray], sensors: pd.DataFrame, settings: Settings
) -> dict[str, Measured]:
    """Take freezes, hours and nights from the readings of every sensor, fetching them once.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings that count, dims ``(time,)``, in UTC; ``offset_c`` of the sensors is added here. [degC]
    sensors : pandas.DataFrame
        The sensors table; a sensor that is not in it is a logger with empty fields.
    settings : Settings
        Of the trial.

    Returns
    -------
    dict of str to Measured
        By sensor, sorted.

    Raises
    ------
    UnitsError, InputError
        As :func:`hardiness.weather.series.to_series`.
    """
    return _each(_both_at, readings, sensors, settings)


def freezes_of_sensors(
    readings: Mapping[str, xr.DataArray], sensors: pd.DataFrame, settings: Settings
) -> dict[str, pd.DataFrame]:
    """Take the freezes alone; see :func:`measure_sensors`.

    Parameters
    ----------
    readings, sensors, settings
        As there.

    Returns
    -------
    dict of str to pandas.DataFrame
        By sensor, sorted: :attr:`Measured.freezes`.
    """
    return _each(_freezes_at, readings, sensors, settings)


def _each(
    work: Callable[[Settings, Task], Result],
    readings: Mapping[str, xr.DataArray],
    sensors: pd.DataFrame,
    settings: Settings,
) -> dict[str, Result]:
    known = sensors_known(sensors, readings).to_dict("index")
    tasks: list[Task] = [(sensor, fetched_by(readings, sensor), known[sensor]) for sensor in sorted(readings)]
    results = spread(partial(work, settings), tasks, settings.compute, readings=count_of(readings))
    return {task[0]: result for task, result in zip(tasks, results, strict=True)}


def _both_at(settings: Settings, task: Task) -> Measured:
    air_temperature, series = _fetched(settings, task)
    hours = hours_of(series, settings.zone, daily=is_daily_minimum(air_temperature))
    return Measured(_freezes_in(air_temperature, series, settings, task), hours)


def _freezes_at(settings: Settings, task: Task) -> pd.DataFrame:
    return _freezes_in(*_fetched(settings, task), settings, task)


def _fetched(settings: Settings, task: Task) -> tuple[xr.DataArray, Series]:
    _, given, facts = task
    air_temperature = given if isinstance(given, xr.DataArray) else given()
    if facts["offset_c"]:
        air_temperature = air_temperature.copy(data=air_temperature.to_numpy() + facts["offset_c"])
    return air_temperature, to_series(air_temperature, max_gap_h=settings.rules.max_gap_h)


def _freezes_in(air_temperature: xr.DataArray, series: Series, settings: Settings, task: Task) -> pd.DataFrame:
    sensor, _, facts = task
    unsure = {"accuracy_c": facts["accuracy_c"], "shielded": facts["shielded"]}
    if is_daily_minimum(air_temperature):
        part = measure_daily_minima(air_temperature, settings, **unsure)
    else:
        part = to_frame(measure_series(series, settings.rules), settings.rules, **unsure)
        part = widen_estimated(part, air_temperature)
    return part.assign(sensor=sensor, source=source_of(air_temperature, facts["kind"]))
