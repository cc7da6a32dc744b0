"""Daily minima and maxima from comma-separated files of GHCN-Daily, in two layouts.

- A row per day and element (the archive's readme-by_year.txt and readme-by_station.txt): ID, date, element, value,
  measurement flag, quality flag, source flag, time of observation; with or without a header.
- A row per day (the archive's access files): STATION, DATE, LATITUDE, ..., TMIN, TMIN_ATTRIBUTES, ...; the attributes
  are the same flags with commas between.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Iterable, Iterator, Sequence

from hardiness.read.ghcn_values import ELEMENTS, MISSING, STATION_ID, Gathered, Value, to_data, whole_number
from hardiness.read.station_data import StationData, StationFacts
from hardiness.words import count, listed

LONG_COLUMNS = ("ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME")


def is_daily_csv(text: str) -> bool:
    """Tell whether a text is one of the comma-separated layouts by its first line.

    Parameters
    ----------
    text : str
        The beginning of the file.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_daily_csv("USC00381770,19300101,TMIN,44,,,6,0700"), is_daily_csv("time,temperature")
    (True, False)
    """
    cells = _cells(text.lstrip("\ufeff").splitlines()[0] if text.strip() else "")
    names = [_name(cell) for cell in cells]
    if {"STATION", "DATE"} <= set(names) and set(ELEMENTS) & set(names):
        return True
    if names[:3] in (["ID", "DATE", "ELEMENT"], ["ID", "YEAR/MONTH/DAY", "ELEMENT"]):
        return True
    return len(cells) >= 4 and STATION_ID.fullmatch(cells[0].strip()) is not None and cells[1].strip().isdigit()


def read_daily_csv(text: str, *, file: str, station_id: str | None = None) -> StationData:
    """Read one of the comma-separated layouts.

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
        As :func:`read_dly`.
    """
    gathered = Gathered(file)
    rows = csv.reader(io.StringIO(text.lstrip("\ufeff")))
    head = next(rows, [])
    names = [_name(cell) for cell in head]
    if "STATION" in names:
        gathered.values.extend(_wide_values(names, rows, gathered))
    else:
        with_header = names[:1] == ["ID"]
        body = rows if with_header else _again(head, rows)
        gathered.values.extend(_long_values(body, 2 if with_header else 1, gathered))
    return to_data(gathered, station_id, "ghcn-daily-csv")


def _cells(line: str) -> list[str]:
    return next(csv.reader([line]), [])


def _name(cell: str) -> str:
    return cell.strip().upper().replace("-", "_").replace(" ", "_")


def _again(head: list[str], rows: Iterable[list[str]]) -> Iterator[list[str]]:
    yield head
    yield from rows


def _long_values(rows: Iterable[list[str]], first: int, gathered: Gathered) -> Iterator[Value]:
    for row, cells in enumerate(rows, start=first):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) < 4:
            gathered.fault(f"{count(len(cells), 'field')}", f"{', '.join(LONG_COLUMNS)}", row)
            continue
        station, day_text, element, text, *flags = (cell.strip() for cell in cells)
        if element not in ELEMENTS:
            continue
        day, tenths = _day(day_text), whole_number(text)
        if not STATION_ID.fullmatch(station):
            gathered.fault(f"'{station}'", "an 11-character station identifier", row, "ID")
        if day is None:
            gathered.fault(f"'{day_text}'", "a date such as 20311214", row, "DATE")
        if tenths is None:
            gathered.fault(f"'{text}'", "tenths of a degree C, or -9999", row, "DATA_VALUE")
        if day is not None and tenths is not None and tenths != MISSING:
            flags = [*flags, "", "", "", ""]
            yield Value(station, day, element, tenths, flags[1], row, flags[3])


def _wide_values(names: Sequence[str], rows: Iterable[list[str]], gathered: Gathered) -> Iterator[Value]:
    at = {name: number for number, name in enumerate(names)}
    if missing := [name for name in ("STATION", "DATE") if name not in at]:
        gathered.fault(f"no column {listed(missing)}", "columns STATION, DATE and TMIN", 1)
        return
    for row, cells in enumerate(rows, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) < len(names):
            gathered.fault(f"{count(len(cells), 'field')}", f"{len(names)}, as in the header", row)
            continue
        station, day = cells[at["STATION"]].strip(), _day(cells[at["DATE"]].strip())
        if day is None:
            gathered.fault(f"'{cells[at['DATE']]}'", "a date such as 2031-12-14", row, "DATE")
            continue
        if station not in gathered.facts:
            place = {name: _float(cells[at[name]]) for name in ("LATITUDE", "LONGITUDE", "ELEVATION") if name in at}
            gathered.facts[station] = StationFacts(
                station,
                cells[at["NAME"]].strip() if "NAME" in at else "",
                place.get("LATITUDE"),
                place.get("LONGITUDE"),
                place.get("ELEVATION"),
            )
        for element in ELEMENTS:
            text = cells[at[element]].strip() if element in at else ""
            if not text:
                continue
            tenths = whole_number(text)
            # measurement, quality and source flag, then perhaps the time of observation
            flags = cells[at[f"{element}_ATTRIBUTES"]].split(",") if f"{element}_ATTRIBUTES" in at else []
            flags = [flag.strip() for flag in [*flags, "", "", "", ""]]
            if tenths is None:
                gathered.fault(f"'{text}'", "tenths of a degree C", row, element)
            elif tenths != MISSING:
                yield Value(station, day, element, tenths, flags[1], row, flags[3])


def _float(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _day(text: str) -> dt.date | None:
    digits = text.replace("-", "")
    if not re.fullmatch(r"\d{8}", digits):
        return None
    try:
        return dt.date(int(digits[:4]), int(digits[4:6]), int(digits[6:]))
    except ValueError:
        return None
