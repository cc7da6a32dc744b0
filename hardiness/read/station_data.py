"""What a public station's file holds, whatever its format: times or days, temperatures, and the station itself.

A *series* says how its temperatures came about: ``measured`` hour by hour; ``daily_minimum``, one value for each of the
station's days; ``estimated``, hours drawn through daily minima and maxima. It stays with the readings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.degrees import COLDEST_C, WARMEST_C

MEASURED = "measured"  # how a station's temperatures came about: one of these three
DAILY_MINIMUM = "daily_minimum"
ESTIMATED = "estimated"
LISTED = 50  # faults of a file that are listed one by one

Days = NDArray[np.datetime64]
Times = NDArray[np.datetime64]
Floats = NDArray[np.float64]
Rows = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class StationFacts:
    """What is known of a station.

    Parameters
    ----------
    station_id : str
        Its identifier in the archive that the file is from.
    name : str
        Its name.
    latitude, longitude : float, optional
        Place. [degree]
    elevation_m : float, optional
        Height above the sea. [m]
    timezone : str
        Zone of its days; empty where the file does not say.
    """

    station_id: str = ""
    name: str = ""
    latitude: float | None = None
    longitude: float | None = None
    elevation_m: float | None = None
    timezone: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class DailyValues:
    """Daily minima of one station, and its maxima where they are known.

    Parameters
    ----------
    days : numpy.ndarray of datetime64[D]
        The station's days, rising, each once.
    minimum_c : numpy.ndarray of float64
        NaN where missing. [degC]
    maximum_c : numpy.ndarray of float64
        NaN where missing. [degC]
    rows : numpy.ndarray of int64
        Row of the file in which each day's minimum (else its maximum) stands.
    """

    days: Days
    minimum_c: Floats
    maximum_c: Floats
    rows: Rows


@dataclass(frozen=True, slots=True, eq=False)
class HourlyValues:
    """Temperatures of one station by instant.

    Parameters
    ----------
    times : numpy.ndarray of datetime64[ns]
        Instants in the file's order. [UTC]
    temperature_c : numpy.ndarray of float64
        NaN where missing. [degC]
    rows : numpy.ndarray of int64
        Row of each in the file.
    conditions : mapping of str to numpy.ndarray of float64
        What else is known of the air at these instants: :data:`hardiness.read.conditions.CONDITIONS`.
    """

    times: Times
    temperature_c: Floats
    rows: Rows
    conditions: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class StationData:
    """What a station's file holds.

    Parameters
    ----------
    values : DailyValues or HourlyValues
        The temperatures.
    facts : StationFacts
        The station.
    file_format : str
        Which format was read.
    source : str
        The archive, in words.
    resolution_c : float
        Last digit of the file. [K]
    unit : str
        ``"degC"``, ``"degF"`` or ``"kelvin"``, as the file has it.
    temperature_column : str
        The element or variable read.
    provenance : mapping of str to str
        What else is kept with the readings.
    said : list of str
        Sentences for the user: what was left out, what was assumed.
    estimated : bool
        Whether values by instant were drawn or estimated, as the file says, and not measured.
    """

    values: DailyValues | HourlyValues
    facts: StationFacts
    file_format: str
    source: str
    resolution_c: float = 0.1
    unit: str = "degC"
    temperature_column: str = "TMIN"
    provenance: Mapping[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    estimated: bool = False


def series_of_attributes(attributes: Mapping[str, object]) -> str:
    """Tell the series of readings by their attributes; readings that carry none were measured.

    Parameters
    ----------
    attributes : mapping
        Attributes of a DataArray or a part.

    Returns
    -------
    str

    Examples
    --------
    >>> series_of_attributes({}), series_of_attributes({"series": "daily_minimum"})
    ('measured', 'daily_minimum')
    """
    return str(attributes.get("series", MEASURED))


def raise_problems(problems: Sequence[Problem | str], file: str) -> None:
    """Raise all faults of a file at once; of very many the first ones are listed, and the others counted.

    Parameters
    ----------
    problems : sequence of Problem or str
        None: nothing is raised.
    file : str
        The file's name.

    Raises
    ------
    InputError
        If there are any.
    """
    if not problems:
        return
    listed = list(problems[:LISTED])
    if len(problems) > LISTED:
        listed.append(f"{file}: {len(problems) - LISTED} more faults of this kind.")
    raise InputError(listed)


def without_impossible(values_c: Floats) -> tuple[Floats, int]:
    """Take out temperatures that no air has, which archives hold now and then.

    Parameters
    ----------
    values_c : numpy.ndarray of float64
        Temperatures. [degC]

    Returns
    -------
    values_c : numpy.ndarray of float64
        NaN where a value lay outside -60 to 70 degC. [degC]
    count : int
        How many did.

    Examples
    --------
    >>> values, count = without_impossible(np.array([-3.5, 999.9]))
    >>> values.tolist(), count
    ([-3.5, nan], 1)
    """
    outside = (values_c < COLDEST_C) | (values_c > WARMEST_C)
    return np.where(outside, np.nan, values_c), int(np.count_nonzero(outside))
