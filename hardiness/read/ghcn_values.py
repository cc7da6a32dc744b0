"""Values of GHCN-Daily, however a file lays them out: what counts of them, day by day.

Temperatures are tenths of a degree Celsius, -9999 is missing. Any value whose quality flag is not blank failed a check
of the archive: it is left out and counted.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.station_data import DailyValues, StationData, StationFacts, raise_problems, without_impossible
from hardiness.words import count, listed

ELEMENTS = ("TMIN", "TMAX")
MISSING = -9999
TENTHS = 10.0
SOURCE = "GHCN-Daily"
STATION_ID = re.compile(r"[A-Z]{2}[A-Z0-9_\-]{9}")
MORNING = 1100  # hours and minutes: a thermometer read by then shows the highest of the afternoon before
# readme.txt, section III
QUALITY_FLAGS = {
    "D": "duplicate",
    "G": "gap",
    "I": "internal inconsistency",
    "K": "streak",
    "L": "multiday",
    "M": "mega-consistency",
    "N": "naught",
    "O": "climatological outlier",
    "R": "lagged range",
    "S": "spatial inconsistency",
    "T": "temporal",
    "W": "too warm for snow",
    "X": "failed bounds",
    "Z": "flagged by a study of the data",
}


@dataclass(frozen=True, slots=True)
class Value:
    """One value of one element on one day, as it stands in the file.

    Parameters
    ----------
    station : str
        Its identifier.
    day : datetime.date
        The day.
    element : str
        ``TMIN`` or ``TMAX``.
    tenths : int
        The value. [0.1 degC]
    quality : str
        Quality flag; empty where no check failed.
    row : int
        Row of the file.
    observed : str
        Time of observation, ``0700``; empty where the file does not say.
    """

    station: str
    day: dt.date
    element: str
    tenths: int
    quality: str
    row: int
    observed: str = ""


@dataclass(slots=True)
class Gathered:
    """Values and faults of a file, and what it says of its stations.

    Parameters
    ----------
    file : str
        Its name, for messages.
    values : list of Value
        Values that are there.
    problems : list of Problem or str
        Faults found.
    facts : dict of str to StationFacts
        Stations by identifier, where the file describes them.
    """

    file: str
    values: list[Value] = field(default_factory=list)
    problems: list[Problem | str] = field(default_factory=list)
    facts: dict[str, StationFacts] = field(default_factory=dict)

    def fault(self, found: str, accepted: str, row: int, column: str | None = None) -> None:
        """Add a fault.

        Parameters
        ----------
        found, accepted : str
            As in :class:`~hardiness.errors.Problem`.
        row : int
            Row of the file.
        column : str, optional
            Its column.
        """
        self.problems.append(Problem(found, accepted, file=self.file, row=row, column=column))


def whole_number(text: str) -> int | None:
    """Read a whole number.

    Parameters
    ----------
    text : str
        As it stands in the file.

    Returns
    -------
    int or None
        None where it is none.

    Examples
    --------
    >>> whole_number("-41"), whole_number("4.1")
    (-41, None)
    """
    return int(text) if re.fullmatch(r"[+-]?\d{1,6}", text) else None


def to_data(gathered: Gathered, station_id: str | None, file_format: str) -> StationData:
    """Make a station's data of the values of its file, or refuse with all that is wrong.

    Parameters
    ----------
    gathered : Gathered
        Values and faults of the file.
    station_id : str or None
        Which station; None: there must be one only.
    file_format : str
        Which layout it was.

    Returns
    -------
    StationData

    Raises
    ------
    InputError
        With every fault found, for several stations and none chosen, for no minimum that counts.
    """
    file = gathered.file
    raise_problems(gathered.problems, file)
    stations = sorted({value.station for value in gathered.values})
    chosen = station_id.strip().upper() if station_id else (stations[0] if len(stations) == 1 else None)
    if chosen is not None and chosen not in stations and stations:
        raise InputError(
            Problem(
                f"station '{chosen}'",
                f"one that the file holds ({listed(stations[:8])})",
                file=file,
                hint=near_name(chosen, stations),
            )
        )
    if chosen is None and len(stations) > 1:
        raise InputError(
            Problem(
                f"{len(stations)} stations ({', '.join(stations[:8])}{', ...' if len(stations) > 8 else ''})",
                "one station",
                file=file,
                hint=f"Choose with --id, such as --id {stations[0]}.",
            )
        )
    of_station = [value for value in gathered.values if value.station == chosen]
    flagged = Counter(value.quality for value in of_station if value.quality)
    good = [value for value in of_station if not value.quality]
    if not any(value.element == "TMIN" for value in good):
        found = f"no daily minimum (TMIN){' that passed the checks of the archive' if flagged else ''}"
        raise InputError(Problem(found, "daily minima", file=file))
    said, provenance = [], {}
    if flagged:
        kinds = [f"{number} {flag} ({QUALITY_FLAGS.get(flag, 'unknown')})" for flag, number in sorted(flagged.items())]
        total = sum(flagged.values())
        said.append(f"{count(total, 'value')} with a quality flag of the archive left out: {', '.join(kinds)}.")
        provenance["quality_flagged_left_out"] = ", ".join(f"{flag}: {n}" for flag, n in sorted(flagged.items()))
    values, impossible = _by_day(good, gathered)
    raise_problems(gathered.problems, file)
    if impossible:
        said.append(f"{count(impossible, 'value')} that no air has (below -60 C or above 70 C) left out.")
    said += _say_observed(good)
    facts = gathered.facts.get(str(chosen), StationFacts(str(chosen)))
    return StationData(values, facts, file_format, SOURCE, provenance=provenance, said=said)


def _by_day(good: Sequence[Value], gathered: Gathered) -> tuple[DailyValues, int]:
    """Lay minima and maxima beside each other, day by day; two values of one day must agree."""
    table: dict[dt.date, dict[str, Value]] = {}
    for value in good:
        element, day = value.element, value.day
        if element == "TMAX" and _read_in_the_morning(value.observed):
            day -= dt.timedelta(days=1)  # read in the morning, the highest of the past 24 h was yesterday's
        there = table.setdefault(day, {}).setdefault(element, value)
        if there.tenths != value.tenths:
            gathered.problems.append(
                Problem(
                    f"{value.tenths} for {value.day}, where row {there.row} has {there.tenths}",
                    "one value for one day",
                    file=gathered.file,
                    row=value.row,
                    column=element,
                )
            )
    days = sorted(table)
    columns = {
        element: np.array([table[day][element].tenths / TENTHS if element in table[day] else np.nan for day in days])
        for element in ELEMENTS
    }
    minimum, cold = without_impossible(columns["TMIN"])
    maximum, warm = without_impossible(columns["TMAX"])
    rows = np.array([(table[day].get("TMIN") or table[day]["TMAX"]).row for day in days], np.int64)
    return DailyValues(np.array(days, "M8[D]"), minimum, maximum, rows), cold + warm


def _read_in_the_morning(observed: str) -> bool:
    return observed.isdigit() and 0 < int(observed) <= MORNING


def _say_observed(good: Sequence[Value]) -> list[str]:
    moved = sum(value.element == "TMAX" and _read_in_the_morning(value.observed) for value in good)
    if not moved:
        return []
    return [f"Read in the morning, so put to the day before: {count(moved, 'maximum', 'maxima')}."]
