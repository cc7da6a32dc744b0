"""Daily minima and maxima from ``.dly`` files of the Global Historical Climatology Network - Daily (GHCN-Daily).

A line per station, month and element: station 1-11, year 12-15, month 16-17, element 18-21, then 31 groups of value
(5 characters), measurement flag, quality flag and source flag (the archive's readme.txt, section III).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator

from hardiness.read.ghcn_values import ELEMENTS, MISSING, STATION_ID, Gathered, Value, to_data, whole_number
from hardiness.read.station_data import StationData

_LINE = 21 + 31 * 8  # characters of a line


def is_dly(text: str) -> bool:
    """Tell whether a text is a ``.dly`` file by its first line.

    Parameters
    ----------
    text : str
        The beginning of the file.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_dly("USC00381770193001TMIN   44  6   28  6"), is_dly("time,temperature")
    (True, False)
    """
    return re.match(r"[A-Z]{2}[A-Z0-9_\-]{9}\d{6}[A-Z][A-Z0-9]{3}[ \-\d]{5}", text) is not None


def read_dly(text: str, *, file: str, station_id: str | None = None) -> StationData:
    """Read a ``.dly`` file.

    Parameters
    ----------
    text : str
        The file's text.
    file : str
        Its name, for messages.
    station_id : str, optional
        Which station, where the file holds several.

    Returns
    -------
    StationData

    Raises
    ------
    InputError
        With every fault found: a line that is too short, an impossible date, a value that is no whole number, several
        stations and none chosen, no temperature at all.
    """
    gathered = Gathered(file)
    for row, line in enumerate(text.splitlines(), start=1):
        if line.strip():
            gathered.values.extend(_values_of_line(line, row, gathered))
    return to_data(gathered, station_id, "ghcn-daily")


def _values_of_line(line: str, row: int, gathered: Gathered) -> Iterator[Value]:
    station, year, month, element = line[:11], line[11:15], line[15:17], line[17:21]
    if not STATION_ID.fullmatch(station) or not (year + month).isdigit() or not 1 <= int(month) <= 12:
        gathered.fault(f"'{line[:21]}'", "an 11-character station, year, month and element", row)
        return
    if element not in ELEMENTS:
        return
    width = len(line.rstrip("\n"))
    if width > _LINE or (width - 21) % 8 not in (0, 5, 6, 7) or width < 21 + 27 * 8 + 5:  # blank flags may be cut off
        gathered.fault(
            f"a line of {width} characters", f"{_LINE} characters: 31 groups of value and flags", row, element
        )
        return
    line = line.ljust(_LINE)
    for number in range(31):
        group = line[21 + 8 * number : 29 + 8 * number]
        text = group[:5].strip()
        if not text and number >= 28:
            continue
        tenths = whole_number(text)
        if tenths is None:
            gathered.fault(f"'{group[:5]}' for day {number + 1}", "tenths of a degree C, or -9999", row, element)
        elif tenths != MISSING:
            try:
                day = dt.date(int(year), int(month), number + 1)
            except ValueError:
                gathered.fault(f"a value for day {number + 1} of {year}-{month}", "a day that there is", row, element)
                continue
            yield Value(station, day, element, tenths, group[6].strip(), row)
