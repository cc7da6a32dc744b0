"""Any delimited export of a logger -> readings in degC and UTC.

In: a text file as a logger's program writes it. Out: a :class:`LoggerFile`, or several of them where a file holds the
readings of several sensors. Delimiter, header and columns are found (:mod:`hardiness.read.dialect`), cells are read
(:mod:`hardiness.read.row_reading`), times become UTC (:mod:`hardiness.read.instants`). What was assumed is said; what
cannot be known is asked for; all faults of a file are told at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.choices import NO_CHOICES, Choices
from hardiness.read.degrees import resolution_of
from hardiness.read.dialect import find_channels
from hardiness.read.plaintext import open_plaintext
from hardiness.read.recognition import Asked, Recognition, Series, recognise
from hardiness.read.repeats import find_firsts

Times = NDArray[np.datetime64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LoggerFile:
    """The readings of one file.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Readings in the file's order, each instant once, dims ``(time,)``, ``time`` in UTC. [degC]
    rows : numpy.ndarray of int64
        Row of each reading in the file.
    resolution_c : float
        Last digit of the file. [K]
    unit : str
        ``"degC"``, ``"degF"`` or ``"kelvin"``, as the file has it.
    timezone : str
        The zone or offset of the file's times; several offsets that its cells name have commas between.
    timezone_from : str
        ``"file"``, ``"option"`` or ``"default"``.
    time_column, temperature_column : str
        The columns read.
    interval_min : float
        Median step from a reading to the next, NaN for a single one. [min]
    missing : int
        Rows without a temperature.
    said : list of str
        Sentences for the user: what was assumed, passed over, left out.
    conditions : mapping of str to numpy.ndarray of float64
        What else is known of the air at each reading, NaN where missing: :data:`hardiness.read.conditions.CONDITIONS`.
    """

    air_temperature: xr.DataArray
    rows: NDArray[np.int64]
    resolution_c: float
    unit: str
    timezone: str
    timezone_from: str
    time_column: str
    temperature_column: str
    interval_min: float
    missing: int
    said: list[str] = field(default_factory=list)
    conditions: Mapping[str, Floats] = field(default_factory=dict)


def read_logger(
    path: Path,
    *,
    timezone: str | None,
    default_timezone: str,
    unit: str | None = None,
    default_unit: str = "C",
    time_column: str | None = None,
    temperature_column: str | None = None,
    date_order: str | None = None,
    missing: str | None = None,
    marks: str | None = None,
    name: str | None = None,
    last: Choices = NO_CHOICES,
    progress: Callable[[int, int], None] | None = None,
) -> LoggerFile:
    r"""Read a logger's export.

    Parameters
    ----------
    path : Path
        The file.
    timezone : str, optional
        Zone of its times, IANA or a fixed offset; an offset that the file itself states wins.
    default_timezone : str
        Zone where neither says.
    unit : str, optional
        ``C``, ``F`` or ``K``; it may not contradict the file.
    default_unit : str, default "C"
        Unit where neither says.
    time_column, temperature_column : str, optional
        Names (or numbers) of the columns, where they cannot be told; ``"Date + Time"`` names two.
    date_order : str, optional
        ``DMY``, ``MDY`` or ``YMD``, where it cannot be told.
    missing : str, optional
        Numbers in the file that stand for "no reading", semicolons between.
    marks : str, optional
        What marks on readings mean (``*=reading;E=none``): see :func:`hardiness.read.marks.parse_marks`.
    name : str, optional
        The file's name for messages; None: the name of ``path``.
    last : Choices
        What was chosen for the sensor's last files: used, and said, where this file leaves the question open.
    progress : callable, optional
        Called now and then with bytes done and bytes in all.

    Returns
    -------
    LoggerFile

    Raises
    ------
    InputError
        With every fault found: the file is no text, its columns cannot be told, cells are no times or no numbers,
        day and month cannot be told apart, its clock did not follow its zone, its unit is stated twice or makes no
        sense, or one instant has two temperatures.

    Notes
    -----
    A row without a temperature (empty, or a word such as ``NaN``) is counted in ``missing`` and left out. Of rows
    with the same instant the first stays when they agree to 0.06 K or the file's last digit. Times before 1990, or more
    than two days ahead of this computer's clock, are taken and said; those outside 1850 to 2199 are refused.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "l1.csv"
    ...     _ = path.write_text("Time;Temp (°F)\n14.01.2023 06:05;14,0\n14.01.2023 06:20;--\n", encoding="utf-8")
    ...     readings = read_logger(path, timezone="UTC+01:00", default_timezone="UTC")
    >>> print(readings.air_temperature.time.values[0], readings.air_temperature.values.round(6), readings.missing)
    2023-01-14T05:05:00.000000000 [-10.] 1
    """
    asked = Asked(
        name or path.name, default_timezone, timezone, unit, default_unit, time_column, temperature_column, None,
        date_order, last, missing, marks,
    )  # fmt: skip
    with open_plaintext(path, file=asked.file) as plain:
        found = recognise(plain, asked, progress=progress)
        if found.problems:
            raise InputError(found.problems)
    return finish(found, found.series[0])


def read_channels(
    path: Path,
    columns: Sequence[str],
    asked: Asked,
    *,
    lasts: Sequence[Choices] = (),
    progress: Callable[[int, int], None] | None = None,
) -> list[LoggerFile]:
    """Read several temperature columns of one file, each for a sensor of its own.

    Parameters
    ----------
    path : Path
        The file.
    columns : sequence of str
        Names (or numbers) of the columns; see :func:`channels_of`.
    asked : Asked
        What is said about the file; its temperature column is not used.
    lasts : sequence of Choices
        What was chosen for the last files of each column's sensor; none: nothing.
    progress : callable, optional
        Called now and then with bytes done and bytes in all; the file is read once for each column.

    Returns
    -------
    list of LoggerFile
        In the order of ``columns``.

    Raises
    ------
    InputError
        With every fault of every channel, each once.
    """
    problems: list[Problem | str] = []
    files: list[LoggerFile] = []
    with open_plaintext(path, file=asked.file) as plain:
        for column, last in zip(columns, lasts or [NO_CHOICES] * len(columns), strict=True):
            each = replace(asked, temperature_column=column, last=last)
            found = recognise(plain, each, progress=progress)
            try:
                if found.problems:
                    raise InputError(found.problems)
                files.append(finish(found, found.series[0]))
            except InputError as error:
                problems += [problem for problem in error.problems if problem not in problems]
    if problems:
        raise InputError(problems)
    return files


def read_by_sensor(
    path: Path,
    asked: Asked,
    *,
    last_of: Callable[[str], str | None] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, LoggerFile]:
    """Read a file in which a column names the sensor of each row.

    Parameters
    ----------
    path : Path
        The file.
    asked : Asked
        What is said about the file, its column of sensors among it.
    last_of : callable, optional
        Given a sensor's name, the zone last chosen for it, or None.
    progress : callable, optional
        Called now and then with bytes done and bytes in all.

    Returns
    -------
    dict of str to LoggerFile
        By the name in the file, in the order in which they come; a sensor without any temperature is left out.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    with open_plaintext(path, file=asked.file) as plain:
        found = recognise(plain, asked, last_of=last_of, progress=progress)
        if found.problems:
            raise InputError(found.problems)
    problems: list[Problem | str] = []
    files: dict[str, LoggerFile] = {}
    for series in found.series:
        if not series.celsius.size:
            continue
        try:
            files[series.name] = finish(found, series)
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    return files


def channels_of(
    path: Path, asked: Asked, *, named: Sequence[str] = (), wanted: int | None = None, option: str = "--channel"
) -> list[str]:
    """List the columns of a file that are named, or else all that could hold temperatures.

    Parameters
    ----------
    path : Path
        The file.
    asked : Asked
        What is said about it.
    named : sequence of str
        Names or numbers of columns.
    wanted : int, optional
        How many there must be.
    option : str
        The option by which they were named.

    Returns
    -------
    list of str
        Names (or numbers) of columns, in the order of the file.

    Raises
    ------
    InputError
        If it is no text, has no column of times or none of a name, or another number of columns than is wanted.
    """
    with open_plaintext(path, file=asked.file) as plain:
        return find_channels(
            plain.text,
            file=asked.file,
            time_column=asked.time_column,
            named=named,
            wanted=wanted,
            option=option,
            last=asked.last,
        )


def finish(found: Recognition, series: Series) -> LoggerFile:
    """Make readings of what was recognised and has no problem: each instant once.

    Parameters
    ----------
    found : Recognition
        The file.
    series : Series
        One of its sensors.

    Returns
    -------
    LoggerFile

    Raises
    ------
    InputError
        If one instant has two temperatures.
    """
    if found.dialect is None:
        raise ValueError("nothing was recognised in this file")
    said = list(found.said)
    if series.missing:
        have = "s have" if series.missing > 1 else " has"
        said.append(f"{series.missing} row{have} no temperature and gave no reading.")
    resolution = resolution_of(found.decimals, found.unit)
    first, interval, repeats = find_firsts(
        series.utc, series.celsius, series.rows,
        resolution_c=resolution, file=found.file, column=found.dialect.temperature_name,
    )  # fmt: skip
    if repeats:
        said.append(f"{repeats} row{'s repeat' if repeats > 1 else ' repeats'} an instant with the same temperature:"
                    " the first stays.")  # fmt: skip
    zone_from = series.instants.zone_from
    return LoggerFile(
        _readings(series.utc[first], series.celsius[first]),
        series.rows[first].astype(np.int64),
        resolution,
        found.unit,
        series.instants.zone,
        "default" if zone_from == "last" else zone_from,
        found.dialect.time_name,
        found.dialect.temperature_name,
        interval,
        series.missing,
        said,
        {name: values[first] for name, values in series.conditions.items()},
    )


def _readings(utc: Times, celsius: Floats) -> xr.DataArray:
    return xr.DataArray(
        celsius,
        {"time": ("time", utc, {"standard_name": "time", "long_name": "time"})},
        ("time",),
        "air_temperature",
        {
            "units": "degC",
            "standard_name": "air_temperature",
            "long_name": "air temperature",
            "units_metadata": "temperature: on_scale",
        },
    )
