"""Hourly temperatures, dew points, winds and skies from a file of the Integrated Surface Database, ISD-Lite.

Format documentation of the archive (isd-lite-format.txt, 2006): fixed columns; year 1-4, month 6-7, day 9-10, hour
12-13, all in UTC and rounded to the whole hour; then fields of six: air temperature and dew point in tenths of a degree
Celsius, pressure, direction and speed of the wind, the latter in tenths of a metre per second, and a code for the sky.
-9999 is missing; a direction of 0 is that of a calm, none. A code of 0 to 8 is eighths under cloud; 9 and 10 (obscured)
tell none; 11 to 13 are scattered (as 4), 14 to 16 broken (as 7), 17 to 19 overcast (as 8).
"""

from __future__ import annotations

import re

import numpy as np

from hardiness.errors import InputError, Problem
from hardiness.read.conditions import CLOUD, DEW_POINT, WIND_FROM, WIND_SPEED, without_impossible_conditions
from hardiness.read.station_data import (
    Floats,
    HourlyValues,
    StationData,
    StationFacts,
    raise_problems,
    without_impossible,
)
from hardiness.words import count

MISSING = -9999
TENTHS = 10.0
SOURCE = "ISD-Lite"
_FIELD = slice(19, 25), slice(31, 37), slice(37, 43), slice(43, 49)  # of a line: dew point, wind from, its speed, sky
_EIGHTHS = (*range(9), np.nan, np.nan, 4, 4, 4, 7, 7, 7, 8, 8, 8)  # by the code of the sky
_LINE = re.compile(r"(\d{4}) (\d{2}) (\d{2}) (\d{2})([ \-\d]{6})")
_NAME = re.compile(r"([0-9A-Z]{6})-(\d{5})-\d{4}")  # USAF, WBAN and year name the archive's files


def is_isd_lite(text: str) -> bool:
    """Tell whether a text is an ISD-Lite file by its first line.

    Parameters
    ----------
    text : str
        The beginning of the file.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_isd_lite("2013 01 01 06   -22   -61 10208"), is_isd_lite("2013-01-01 06:00;-2.2")
    (True, False)
    """
    return _LINE.match(text) is not None


def read_isd_lite(text: str, *, file: str) -> StationData:
    """Read an ISD-Lite file.

    Parameters
    ----------
    text : str
        The file's text.
    file : str
        Its name, for messages; the archive's own names hold the station.

    Returns
    -------
    StationData

    Raises
    ------
    InputError
        With every fault found: a line that is not in the fixed columns, an instant that there is not, no temperature.
    """
    problems: list[Problem | str] = []
    stamps: list[str] = []
    tenths: list[int] = []
    rows: list[int] = []
    others: list[tuple[float, ...]] = []
    missing = 0
    for row, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        found = _LINE.match(line)
        if found is None or not re.fullmatch(r" *-?\d+", found[5]):
            problems.append(
                Problem(f"'{line[:32]}'", "year, month, day, hour and temperature in fixed columns", file, row)
            )
            continue
        year, month, day, hour, value = found.groups()
        stamp = f"{year}-{month}-{day}T{hour}"
        try:
            np.datetime64(stamp, "h")
        except ValueError:
            problems.append(Problem(f"'{year} {month} {day} {hour}'", "a day and hour that there are", file, row))
            continue
        if int(value) == MISSING:
            missing += 1
            continue
        stamps.append(stamp)
        tenths.append(int(value))
        rows.append(row)
        others.append(tuple(_whole(line[part]) for part in _FIELD))
    raise_problems(problems, file)
    if not stamps:
        raise InputError(Problem("no temperature", "hourly temperatures", file=file))
    values, impossible = without_impossible(np.array(tenths, np.float64) / TENTHS)
    said = [f"{count(missing, 'hour')} without a temperature."] if missing else []
    if impossible:
        said.append(f"{count(impossible, 'value')} that no air has (below -60 C or above 70 C) left out.")
    conditions, left_out = without_impossible_conditions(_conditions(np.array(others, np.float64)))
    said += left_out
    named = _NAME.search(file.upper())
    facts = StationFacts(f"{named[1]}-{named[2]}" if named else "")
    times = np.array(stamps, "M8[h]").astype("M8[ns]")
    return StationData(
        HourlyValues(times, values, np.array(rows, np.int64), conditions),
        facts,
        "isd-lite",
        SOURCE,
        said=said,
        temperature_column="air temperature",
    )


def _whole(text: str) -> float:
    """A field's whole number; NaN where it is missing, cut off, or none: conditions are no reason to refuse a file."""
    return float(text) if re.fullmatch(r" *-?\d+", text) and int(text) != MISSING else np.nan


def _conditions(fields: Floats) -> dict[str, Floats]:
    dew, wind_from, wind, code = fields.T
    codes = np.where((code >= 0) & (code < len(_EIGHTHS)), code, 9)
    sky = np.array(_EIGHTHS)[np.where(np.isnan(codes), 9, codes).astype(np.int64)] / 8
    wind_from = np.where((wind_from == 0) | np.isnan(wind), np.nan, wind_from)
    return {DEW_POINT: dew / TENTHS, WIND_SPEED: wind / TENTHS, WIND_FROM: wind_from, CLOUD: sky}
