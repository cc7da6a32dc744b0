"""Which sensor answers for which event, for plants that ask the same sensors.

For each event the first sensor in a plant's order whose readings cover at least 80 % of the event's span answers; if
none does, the one that covers most. Where a logger was silent and other sensors say what it would have read
(``weather/transfer.py``), that course is asked after the readings of all loggers and before the stations: it is what
the station says, brought to the plants.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.settings import Settings
from hardiness.weather.daily import longest_gap_h
from hardiness.weather.days import nanoseconds
from hardiness.weather.gaps import NEVER_NS, BoolArray, FloatArray, IntArray
from hardiness.weather.sensors import sensor_orders, sensors_known, texts
from hardiness.weather.series import Series, to_series

ENOUGH = 0.8  # [1] share of an event's span that a sensor must cover to answer before those that cover more
NOBODY = -1
_ROUNDING = 1e-9  # [1] a share of exactly 80 % may look a little less


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Plants that ask the same sensors, and who answers them.

    Parameters
    ----------
    block : str
        Their block.
    members : ndarray of int
        Rows of the plants.
    asked : list of str
        The sensors they ask, best first.
    speaker : ndarray of int
        For each event the place of the sensor that answers among all sensors; -1: nobody.
    estimated : ndarray of bool
        Whether its readings alone were not enough, and what other sensors say of it was.
    """

    block: str
    members: IntArray
    asked: list[str]
    speaker: IntArray
    estimated: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class Speaking:
    """The events, and who answers for them.

    Parameters
    ----------
    known : pandas.DataFrame
        The sensors, as :func:`hardiness.weather.sensors.sensors_known` lists them.
    events : ndarray of str
        Their names.
    event : ndarray of int
        For each freeze the place of its event.
    opens, closes : ndarray of int64
        Span of each event. [ns]
    groups : list of Group
        Every plant is in one.
    """

    known: pd.DataFrame
    events: np.ndarray[tuple[int], np.dtype[np.object_]]
    event: IntArray
    opens: IntArray
    closes: IntArray
    groups: list[Group]


def find_speakers(
    plants: pd.DataFrame,
    freezes: pd.DataFrame,
    readings: Mapping[str, xr.DataArray],
    sensors: pd.DataFrame,
    settings: Settings,
    courses: Mapping[str, xr.DataArray] | None = None,
) -> Speaking:
    """Say for every plant and event which sensor answers.

    Parameters
    ----------
    plants, sensors : pandas.DataFrame
        The records tables.
    freezes : pandas.DataFrame
        The freezes table.
    readings : mapping of str to xarray.DataArray
        Readings of each sensor, dims ``(time,)``, in UTC. [degC]
    settings : Settings
        Of the trial: its place and longest bridged gap.
    courses : mapping of str to xarray.DataArray, optional
        Of each logger that was silent at times: its readings and what was estimated between them. [degC]

    Returns
    -------
    Speaking

    Raises
    ------
    UnitsError, InputError
        As :func:`hardiness.weather.series.to_series`.
    """
    filled = {} if courses is None else courses
    known = sensors_known(sensors, [*readings, *freezes["sensor"]])
    orders = sensor_orders(known, settings)
    event, names = pd.factorize(freezes["event"])
    opens, closes = np.full(len(names), NEVER_NS), np.full(len(names), -NEVER_NS)
    np.minimum.at(opens, event, nanoseconds(freezes["starts"]))
    np.maximum.at(closes, event, nanoseconds(freezes["ends"]))
    count, place = len(known), {name: number for number, name in enumerate(known.index)}
    coverage = np.zeros((2 * count, len(names)))  # by readings, then by readings and what was estimated
    for first, series_of_sensors in ((0, readings), (count, filled)):
        for name, air_temperature in series_of_sensors.items() if len(names) else ():
            series = to_series(air_temperature, max_gap_h=longest_gap_h(air_temperature, settings))
            coverage[first + place[name]] = _share_covered(series, opens, closes)
    station, silent = (known["kind"] == "station").to_numpy(), known.index.isin(list(filled))
    groups = []
    for (wished, block), members in _alike(plants).items():
        asked = orders.of_plant(wished, block)
        places = known.index.get_indexer(pd.Index(asked, dtype=object))
        row = _speakers(coverage, _with_estimates(places, station, silent))
        speaker = np.where(row == NOBODY, NOBODY, row % max(count, 1))
        groups.append(Group(block, members, asked, speaker, row >= count))
    return Speaking(known, np.asarray(names, dtype=object), event, opens, closes, groups)


def _alike(plants: pd.DataFrame) -> dict[tuple[str, str], IntArray]:
    """Rows of the plants that ask the same sensors."""
    rows: dict[tuple[str, str], list[int]] = {}
    for row, key in enumerate(zip(texts(plants["sensor"]), texts(plants["block"]), strict=True)):
        rows.setdefault(key, []).append(row)
    return {key: np.array(members, dtype=np.int64) for key, members in rows.items()}


def _share_covered(series: Series, opens: IntArray, closes: IntArray) -> FloatArray:
    """Share [1] of each span that readings bridge; 0 only where there is no reading and no bridged step at all."""
    bridged = (series.bridged_until(closes) - series.bridged_until(opens)).astype(np.float64)
    share: FloatArray = np.divide(bridged, closes - opens, out=np.zeros(opens.size), where=closes > opens)
    beside = series.bridged_until(closes + 1) > series.bridged_until(opens - 1)
    inside = np.searchsorted(series.times, closes, side="right") > np.searchsorted(series.times, opens, side="left")
    share[(closes == opens) & (beside | inside)] = 1.0  # an instant is covered or not
    share[(share == 0) & inside] = np.finfo(float).tiny  # a lone reading bridges nothing, and still is a reading
    return share


def _with_estimates(order: IntArray, station: BoolArray, silent: BoolArray) -> IntArray:
    """Rows of coverage in the order they are asked: estimates of loggers after their readings, before a station."""
    asked: list[int] = []
    waiting: list[int] = []
    for sensor in order.tolist():
        if station[sensor]:
            asked, waiting = asked + waiting, []
        asked.append(sensor)
        if silent[sensor]:
            waiting.append(sensor + station.size)
    return np.array(asked + waiting, dtype=np.int64)


def _speakers(coverage: FloatArray, order: IntArray) -> IntArray:
    """Which row of coverage answers for each event, asked in this order."""
    if order.size == 0:
        return np.full(coverage.shape[1], NOBODY)
    asked = coverage[order]
    enough = asked >= ENOUGH - _ROUNDING
    place = np.where(enough.any(axis=0), enough.argmax(axis=0), asked.argmax(axis=0))
    return np.where(asked.max(axis=0) > 0, order[place], NOBODY)
