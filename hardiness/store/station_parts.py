"""What a station's readings bring besides themselves: how they came about, where from, and the sensor they are of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from hardiness.errors import InputError, Problem
from hardiness.read.clock import parse_zone
from hardiness.read.labels import quote
from hardiness.read.loggers import LoggerFile
from hardiness.read.station_data import DAILY_MINIMUM, ESTIMATED, MEASURED, series_of_attributes
from hardiness.read.station_file import StationFile
from hardiness.store.parts import Part, Times, open_part
from hardiness.weather.days import local_midnights
from hardiness.weather.exposure import ACCURACY_C

IN_WORDS = {
    MEASURED: "readings by instant",
    DAILY_MINIMUM: "daily minima",
    ESTIMATED: "hours drawn through daily minima and maxima",
}


def series_of_readings(readings: LoggerFile) -> str:
    """Tell how a file's readings came about.

    Parameters
    ----------
    readings : LoggerFile
        The file, read.

    Returns
    -------
    str
        ``MEASURED``, ``DAILY_MINIMUM`` or ``ESTIMATED`` of :mod:`hardiness.read.station_data`.
    """
    return readings.series if isinstance(readings, StationFile) else MEASURED


def part_attributes(readings: LoggerFile) -> dict[str, str | float]:
    """Give the attributes that a station's part carries besides those of every part.

    Parameters
    ----------
    readings : LoggerFile
        The file, read.

    Returns
    -------
    dict
        Empty for a logger's file.
    """
    if not isinstance(readings, StationFile):
        return {}
    return {**readings.provenance, "series": readings.series, "source": readings.notes}


def sensor_content(readings: LoggerFile) -> dict[str, Any]:
    """Give the row of the sensors table for a sensor that a file is the first of.

    Parameters
    ----------
    readings : LoggerFile
        The file, read.

    Returns
    -------
    dict
        A logger without more; a station with its place, its accuracy and where its readings are from.
    """
    if not isinstance(readings, StationFile):
        return {"kind": "logger"}
    facts = readings.facts
    content = {
        "kind": "station",
        "latitude": facts.latitude,
        "longitude": facts.longitude,
        "elevation_m": facts.elevation_m,
        "accuracy_c": ACCURACY_C,
        "notes": readings.notes,
    }
    return {name: value for name, value in content.items() if value is not None}


def series_and_zone(part: Part) -> tuple[str, str | None]:
    """Read how the readings of a part came about and, of daily minima, which zone their days are of.

    Parameters
    ----------
    part : Part
        Which one.

    Returns
    -------
    series : str
    zone : str or None
        None where they are no daily minima.

    Raises
    ------
    StoreError
        If its file is gone or damaged.
    """
    with open_part(part) as file:
        series = series_of_attributes({name: file.attrs[name] for name in file.attrs if name == "series"})
        return series, str(file.attrs["timezone"]) if series == DAILY_MINIMUM else None


def refuse_other_series(series: str, parts: Sequence[Part], *, sensor: str, file: str) -> None:
    """Refuse readings that came about in another way than those a sensor has: one sensor, one kind of series.

    Parameters
    ----------
    series : str
        Of the readings that come.
    parts : sequence of Part
        The sensor's parts that count.
    sensor : str
        Its name.
    file : str
        The file's name.

    Raises
    ------
    InputError
        If they differ.
    """
    there = series_and_zone(parts[0])[0] if parts else series
    if there != series:
        other = quote(f"{sensor} {series.split('_')[0]}")
        hint = f"Give them a sensor of their own, such as {other}, or withdraw the others."
        raise InputError(
            Problem(
                f"{IN_WORDS.get(series, series)} for sensor {quote(sensor)}, which has {IN_WORDS.get(there, there)}",
                "one kind of readings for a sensor",
                file=file,
                hint=hint,
            )
        )


def refuse_other_days(stamps: Times, timezone: str, parts: Sequence[Part], *, sensor: str, file: str) -> None:
    """Refuse daily minima whose days begin at other times than those that a sensor has: each night would count twice.

    Parameters
    ----------
    stamps : ndarray of int64
        Beginnings of the days that come, since 1970-01-01 UTC. [ns]
    timezone : str
        The zone that they are said to be of.
    parts : sequence of Part
        The sensor's parts that count, of the same kind of series; others than daily minima have no days to hold
        against.
    sensor : str
        Its name.
    file : str
        The file's name.

    Raises
    ------
    InputError
        If they do.
    """
    there = series_and_zone(parts[0])[1] if parts else None
    if there is None:
        return
    zone = parse_zone(there)
    local = pd.DatetimeIndex(stamps.astype("M8[ns]")).tz_localize("UTC").tz_convert(zone)
    if (local_midnights([instant.date() for instant in local], zone) != stamps).any():
        hint = f"Name that zone with --timezone {there} where the file is added, or give them a sensor of their own."
        found = f"days of {timezone} for sensor {quote(sensor)}, which has days of {there}"
        raise InputError(Problem(found, "days of one zone for a sensor", file=file, hint=hint))
