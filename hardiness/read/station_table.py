"""The table in which fetched station values are kept: CSV with what is known of the station in lines above its header.

What was fetched is kept as such a file, and taken in like any other. The same values make the same bytes: when they
were fetched stands with the part, not in the file.

    # public station, fetched from the station service
    # station: 10637
    # series: hourly
    time,temperature_c,wind_km_h,source,model
    2031-12-14T05:00Z,-4.1,5.4,isd_lite,no
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping

import numpy as np
import pandas as pd

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.conditions import (
    CLOUD,
    DEW_POINT,
    RELATIVE_HUMIDITY,
    WIND_FROM,
    WIND_SPEED,
    without_impossible_conditions,
)
from hardiness.read.station_data import (
    DailyValues,
    HourlyValues,
    StationData,
    StationFacts,
    raise_problems,
    without_impossible,
)
from hardiness.words import count

FIRST_LINE = "# public station, fetched from the station service"
HOURLY = ("time", "temperature_c", "source", "model")
IN_COLUMNS = {  # conditions of the air, each by its column in which it stands only where something is known of it
    "humidity_percent": (RELATIVE_HUMIDITY, 1.0),
    "dew_point_c": (DEW_POINT, 1.0),
    "wind_km_h": (WIND_SPEED, 1 / 3.6),
    "wind_from_degree": (WIND_FROM, 1.0),
    "cloud_oktas": (CLOUD, 1 / 8),
}
DAILY = ("date", "minimum_c", "maximum_c", "source", "model")
FACTS = (
    "station",
    "name",
    "latitude",
    "longitude",
    "elevation_m",
    "timezone",
    "series",
    "distance_km",
    "height_difference_m",
    "model_values",
    "terms",
)
SOURCE = "station service"


def is_station_table(text: str) -> bool:
    r"""Tell whether a text is such a table by its first line.

    Parameters
    ----------
    text : str
        The beginning of the file.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_station_table(FIRST_LINE + "\n# station: 10637"), is_station_table("time,temperature_c")
    (True, False)
    """
    return text.lstrip("\ufeff").startswith(FIRST_LINE)


def station_table(values: pd.DataFrame, facts: Mapping[str, object]) -> str:
    """Write fetched values as such a table.

    Parameters
    ----------
    values : pandas.DataFrame
        Columns :data:`HOURLY`, ``time`` in UTC, or :data:`DAILY`; temperatures in degC, ``model`` as bool. Beside hours
        also columns of :data:`IN_COLUMNS`.
    facts : mapping
        What is known of the station, by the names of :data:`FACTS`; None is left out.

    Returns
    -------
    str

    Examples
    --------
    >>> values = pd.DataFrame({"date": [np.datetime64("2031-12-14", "D")], "minimum_c": [-4.1], "maximum_c": [3.0],
    ...                        "source": ["ghcnd"], "model": [False]})
    >>> print(station_table(values, {"station": "10637", "series": "daily"}), end="")
    # public station, fetched from the station service
    # station: 10637
    # series: daily
    date,minimum_c,maximum_c,source,model
    2031-12-14,-4.1,3,ghcnd,no
    """
    daily = "date" in values.columns
    names = DAILY if daily else _hourly_names(values.columns)
    lines = [FIRST_LINE]
    lines += [f"# {name}: {_one_line(facts[name])}" for name in FACTS if facts.get(name) not in (None, "")]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    stamps = pd.DatetimeIndex(values[names[0]]).strftime("%Y-%m-%d" if daily else "%Y-%m-%dT%H:%MZ")
    numbers = [[_figure(value) for value in values[name]] for name in names[1:-2]]
    flags = ["yes" if model else "no" for model in values["model"]]
    writer.writerows(zip(stamps, *numbers, values["source"], flags, strict=True))
    return "\n".join([*lines, out.getvalue()])


def read_station_table(text: str, *, file: str) -> StationData:
    """Read such a table.

    Parameters
    ----------
    text : str
        The file's text.
    file : str
        Its name, for messages.

    Returns
    -------
    StationData

    Raises
    ------
    InputError
        With every fault found: a column that is not there, a time or a number that is none, no temperature.
    """
    lines = text.lstrip("\ufeff").splitlines()
    first = next((number for number, line in enumerate(lines) if not line.startswith("#")), len(lines))
    above = {}
    for line in lines[:first]:
        if found := re.match(r"# (\w+): (.*)", line):
            above[found[1]] = found[2].strip()
    rows = csv.reader(lines[first:])
    header = next(rows, [])
    daily = header[:1] == ["date"]
    names = DAILY if daily else _hourly_names(header)
    if tuple(header) != names:
        unknown = next((name for name in header if name not in names), "")
        raise InputError(
            Problem(
                f"columns {', '.join(header) or 'none'}",
                ", ".join(names),
                file=file,
                row=first + 1,
                hint=near_name(unknown, names),
            )
        )
    problems: list[Problem | str] = []
    stamps, numbers, places, sources, models = [], [], [], [], 0
    for row, cells in _numbered(rows, first + 2):
        if len(cells) != len(names):
            problems.append(Problem(count(len(cells), "field"), f"{len(names)}", file, row))
            continue
        stamp = _stamp(cells[0], daily)
        values = [_number(cell) for cell in cells[1:-2]]
        if stamp is None:
            problems.append(
                Problem(f"'{cells[0]}'", "a date" if daily else "a time such as 2031-12-14T05:00Z", file, row, names[0])
            )
        for name, cell, value in zip(names[1:-2], cells[1:-2], values, strict=True):
            if value is None:
                problems.append(Problem(f"'{cell}'", "a number, or nothing", file, row, name))
        if cells[-1] not in ("yes", "no"):
            problems.append(Problem(f"'{cells[-1]}'", "yes or no", file, row, "model"))
        stamps.append(stamp)
        numbers.append(values)
        places.append(row)
        sources.append(cells[-2])
        models += cells[-1] == "yes"
    raise_problems(problems, file)
    if not stamps:
        raise InputError(Problem("a header and no values below it", "temperatures", file=file))
    table = np.array(numbers, np.float64)
    said, provenance = [], {name: above[name] for name in FACTS[6:] if name in above}
    provenance["sources"] = ", ".join(f"{name}: {n}" for name, n in sorted(Counter(sources).items()))
    if models:
        said.append(f"{count(models, 'value')} of {len(stamps)} filled in by a weather model: marked so in the file.")
        provenance["model_filled"] = str(models)
    lowest, impossible = without_impossible(table[:, 0])
    if impossible:
        said.append(f"{count(impossible, 'value')} that no air has (below -60 C or above 70 C) left out.")
    place = {name: _number(above[name]) for name in ("latitude", "longitude", "elevation_m") if name in above}
    facts = StationFacts(
        above.get("station", ""),
        above.get("name", ""),
        place.get("latitude"),
        place.get("longitude"),
        place.get("elevation_m"),
        above.get("timezone", ""),
    )
    conditions, left_out = without_impossible_conditions(
        {
            condition: np.round(table[:, names.index(name) - 1] * factor, 6)
            for name, (condition, factor) in IN_COLUMNS.items()
            if name in names
        }
    )
    said += left_out
    at, rows_read = np.array(stamps, "M8[ns]"), np.array(places, np.int64)
    if daily:
        order = np.argsort(at, kind="stable")
        days = at[order].astype("M8[D]")
        if (np.diff(days) == np.timedelta64(0)).any():
            twice = int(np.flatnonzero(np.diff(days) == np.timedelta64(0))[0]) + 1
            raise InputError(
                Problem(f"{days[twice]} a second time", "each day once", file, int(rows_read[order][twice]))
            )
        laid = DailyValues(days, lowest[order], without_impossible(table[:, 1])[0][order], rows_read[order])
        return StationData(
            laid, facts, "station-table", SOURCE, temperature_column="minimum_c", provenance=provenance, said=said
        )
    return StationData(
        HourlyValues(at, lowest, rows_read, conditions),
        facts,
        "station-table",
        SOURCE,
        temperature_column="temperature_c",
        provenance=provenance,
        said=said,
    )


def _hourly_names(there: Iterable[str]) -> tuple[str, ...]:
    """The columns of an hourly table that has some conditions of the air."""
    given = set(there)
    return (*HOURLY[:-2], *(name for name in IN_COLUMNS if name in given), *HOURLY[-2:])


def _numbered(rows: Iterator[list[str]], first: int) -> Iterator[tuple[int, list[str]]]:
    return ((row, cells) for row, cells in enumerate(rows, start=first) if cells)


def _one_line(value: object) -> str:
    return " ".join(f"{value:g}".split()) if isinstance(value, float) else " ".join(str(value).split())


def _figure(value: float) -> str:
    return "" if np.isnan(value) else f"{value:g}"


def _number(text: str) -> float | None:
    if not text:
        return np.nan
    return float(text) if re.fullmatch(r"-?\d+(\.\d+)?", text) else None


def _stamp(text: str, daily: bool) -> np.datetime64 | None:
    if not re.fullmatch(r"\d{4}-\d\d-\d\d" if daily else r"\d{4}-\d\d-\d\dT\d\d:\d\dZ", text):
        return None
    try:
        return np.datetime64(text.removesuffix("Z"), "ns")
    except ValueError:
        return None
