"""Hourly temperatures from a file of the Integrated Surface Database, ISD-Lite.

Format documentation of the archive (isd-lite-format.txt, 2006): fixed columns; year 1-4, month 6-7, day 9-10, hour
12-13, all in UTC and rounded to the whole hour; air temperature 14-19 in tenths of a degree Celsius, -9999 missing.
"""

from __future__ import annotations

import re

import numpy as np

from hardiness.errors import InputError, Problem
from hardiness.read.station_data import (
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
    raise_problems(problems, file)
    if not stamps:
        raise InputError(Problem("no temperature", "hourly temperatures", file=file))
    values, impossible = without_impossible(np.array(tenths, np.float64) / TENTHS)
    said = [f"{count(missing, 'hour')} without a temperature."] if missing else []
    if impossible:
        said.append(f"{count(impossible, 'value')} that no air has (below -60 C or above 70 C) left out.")
    named = _NAME.search(file.upper())
    facts = StationFacts(f"{named[1]}-{named[2]}" if named else "")
    times = np.array(stamps, "M8[h]").astype("M8[ns]")
    return StationData(
        HourlyValues(times, values, np.array(rows, np.int64)),
        facts,
        "isd-lite",
        SOURCE,
        said=said,
        temperature_column="air temperature",
    )
