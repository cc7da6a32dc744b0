"""Which sensors a logger's file is of: their names, and the columns that are theirs.

In: names and columns as the user gave them. Out: sensors, and columns named in one way however they were named; what
cannot be told is refused with what is accepted.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from hardiness.errors import InputError, Problem
from hardiness.read.choices import Choices
from hardiness.read.labels import RefusedError, parse_sensor, quote
from hardiness.read.loggers import channels_of
from hardiness.read.recognition import Asked

Channels = list[tuple[str, str]]
"""Column and sensor."""


def name_of(path: Path) -> str:
    """Name a file so that it can be written down, also where its name is no UTF-8.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str

    Examples
    --------
    >>> name_of(Path("exports/l1.csv"))
    'l1.csv'
    """
    return os.fsencode(path.name).decode("utf-8", "replace")


def sensors_of(names: Sequence[str]) -> list[str]:
    """Read the names of sensors.

    Parameters
    ----------
    names : sequence of str
        As the user gave them.

    Returns
    -------
    list of str

    Raises
    ------
    InputError
        With every name that is none, and every one that stands twice.

    Examples
    --------
    >>> sensors_of([" L1", "hill top"])
    ['L1', 'hill top']
    """
    problems: list[Problem | str] = []
    sensors: list[str] = []
    for name in names:
        try:
            sensor = parse_sensor(name)
        except RefusedError as error:
            problems.append(Problem(error.found, error.accepted, file="--sensor", hint=error.hint))
            continue
        if sensor in sensors:
            problems.append(Problem(f"{quote(sensor)} twice", "another sensor for each channel", file="--sensor"))
        sensors.append(sensor)
    if problems:
        raise InputError(problems)
    return sensors


def options_of(asked: Asked) -> dict[str, str | None]:
    """Give what a user said about a file as it is kept with its intake: part of what makes it the same file.

    Parameters
    ----------
    asked : Asked
        What is said about it.

    Returns
    -------
    dict of str to str or None
        By option; None is one that was not given.

    Examples
    --------
    >>> options_of(Asked("l1.csv", "Europe/Lisbon", unit="F"))["unit"]
    'F'
    """
    names = ("timezone", "unit", "time_column", "temperature_column", "sensor_column", "date_order", "missing",
             "marks")  # fmt: skip
    return {name: getattr(asked, name) for name in names}


def key_or_as_given(path: Path, asked: Asked, column: str) -> str:
    """Name a column in one way however it was named; one that is not there stays, to be told with all that is wrong.

    Parameters
    ----------
    path : Path
        The file.
    asked : Asked
        What is said about it.
    column : str
        As the user named it.

    Returns
    -------
    str
    """
    try:
        return channels_of(path, asked, named=[column], option="--sensor-column")[0]
    except InputError:
        return column


def refuse_both(sensors: Sequence[str], channels: Sequence[tuple[str, str]]) -> None:
    """Refuse sensors named beside a column that names them.

    Parameters
    ----------
    sensors : sequence of str
    channels : sequence of (str, str)

    Raises
    ------
    InputError
        If there are any.
    """
    if sensors or channels:
        found = "a column of sensors, and sensors named besides"
        raise InputError(Problem(found, "one of --sensor, --channel and --sensor-column", file="--sensor-column"))


def refuse_columns(temperature_column: str | None) -> None:
    """Refuse one column of temperatures for several sensors.

    Parameters
    ----------
    temperature_column : str, optional

    Raises
    ------
    InputError
        If one is given.
    """
    if temperature_column is not None:
        hint = "Name each column with its sensor: --channel 'COLUMN=SENSOR'."
        raise InputError(
            Problem("one column for several sensors", "a column for each", file="--temperature-column", hint=hint)
        )


def pairs_of(
    path: Path,
    sensors: Sequence[str],
    channels: Sequence[tuple[str, str]],
    asked: Asked,
    last_of: Callable[[str], Choices],
) -> Channels:
    """Tell which column is which sensor's; columns are named in one way however the user named them.

    Parameters
    ----------
    path : Path
        The file.
    sensors : sequence of str
        A sensor for each column of temperatures, in their order.
    channels : sequence of (str, str)
        Instead: column and sensor.
    asked : Asked
        What is said about the file.
    last_of : callable
        Given a sensor's name, what was chosen for its last files: the first one's column of times is looked for.

    Returns
    -------
    list of (str, str)
        Column and sensor.

    Raises
    ------
    InputError
        If both are given or neither is, a name is none, or the file has other columns.
    """
    if sensors and channels:
        found = "sensors in the order of the columns, and channels by name besides"
        raise InputError(Problem(found, "either --sensor or --channel", file="--channel"))
    if not sensors and not channels:
        accepted = "--sensor S, a --channel 'COLUMN=SENSOR' for each, or --sensor-column N"
        raise InputError(Problem("no sensor", accepted, file="--sensor"))
    names = sensors_of(sensors or [sensor for _, sensor in channels])
    asked = replace(asked, last=last_of(names[0]))
    columns = channels_of(path, asked, named=[column for column, _ in channels], wanted=len(names))
    return list(zip(columns, names, strict=True))
