"""Every plant's freezes and scores in the order in which they came, as arrays.

In: the exposures and scores tables. Out: :class:`Freezes` and :class:`Scores`, sorted by plant and time, with the
one rule that ties them: a freeze lies before a score when it ends before 12:00 in the trial's zone on the score's date.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from hardiness.schema import held_column
from hardiness.settings import Settings
from hardiness.weather.clean import utc_times
from hardiness.weather.events import winter_of

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
TimeArray = npt.NDArray[np.datetime64]
TextArray = npt.NDArray[np.object_]

FULL_COVERAGE = 1 - 1e-9  # a sum of bridged hours over the duration is one only to rounding
CALENDAR = (date(1700, 1, 1), date(2200, 1, 1))  # a mistyped year beyond it is no instant that nanoseconds can count


@dataclass(frozen=True, slots=True, eq=False)
class Freezes:
    """What the plants met, sorted by plant and ``ends``; an event that no sensor recorded is one of them.

    Parameters
    ----------
    plant : array of int
        Number of the plant.
    ends : array of datetime64
        In UTC.
    winter : array of int
        The year in which its winter began.
    temperature_c : array of float
        Held temperature; NaN where it is not known. [degC]
    known : array of bool
        False for an event that no sensor recorded.
    name : array of str
        The freeze, or that event.
    row : array of int
        Row of the exposures table; -1 for such an event.
    offset : array of int
        Where each plant's freezes begin; one longer than there are plants.
    """

    plant: IntArray
    ends: TimeArray
    winter: IntArray
    temperature_c: FloatArray
    known: BoolArray
    name: TextArray
    row: IntArray
    offset: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Scores:
    """The scores, sorted by plant, day, and the worst grade first.

    Parameters
    ----------
    plant : array of int
        Number of the plant.
    day : array of int
        Ordinal of the date.
    noon : array of datetime64
        12:00 in the trial's zone on that day, in UTC.
    winter : array of int
        The year in which the winter of that day began.
    grade : array of int
        State of the plant.
    protected, observer : array of str
        As given.
    before : array of int
        How many of the plant's freezes end before noon.
    first_of_day : array of int
        Position of the plant's worst score of that day.
    """

    plant: IntArray
    day: IntArray
    noon: TimeArray
    winter: IntArray
    grade: IntArray
    protected: TextArray
    observer: TextArray
    before: IntArray
    first_of_day: IntArray


def count_before(scored_plant: IntArray, noon: TimeArray, plant: IntArray, ends: TimeArray) -> IntArray:
    """Count the freezes of its plant that lie before each score.

    Parameters
    ----------
    scored_plant, noon : array
        Plant and noon of each score, in any order.
    plant, ends : array
        Plant and end of each freeze, sorted by plant.

    Returns
    -------
    array of int
        Freezes that end before noon: one that ends at noon does not lie before the score.

    Examples
    --------
    >>> times = np.array(["2032-01-10T12:00", "2032-01-11T12:00"], "M8[ns]")
    >>> count_before(np.array([0, 0]), times, np.array([0]), times[:1]).tolist()
    [0, 1]
    """
    # One sort of both. At the same instant the score stands first, so that the freeze does not count.
    is_freeze = np.repeat([False, True], [len(scored_plant), len(plant)])
    order = np.lexsort((is_freeze, np.concatenate([noon, ends]), np.concatenate([scored_plant, plant])))
    seen = np.empty(len(order), dtype=np.int64)
    seen[order] = np.cumsum(is_freeze[order])
    return np.asarray(seen[: len(scored_plant)] - np.searchsorted(plant, scored_plant), dtype=np.int64)


def sort_freezes(table: pd.DataFrame, unknown: pd.DataFrame, plants: pd.Index, settings: Settings) -> Freezes:
    """Put every plant's freezes, and its events that no sensor recorded, in order of their ends.

    Parameters
    ----------
    table : pandas.DataFrame
        A row per plant and freeze. Where the held temperature is missing the minimum stands in for it, if the freeze
        is fully covered and shorter than the held duration: all of it was at or above that minimum.
    unknown : pandas.DataFrame
        A row per plant and event without a reading: plant, event, starts, ends.
    plants : pandas.Index
        All plants, sorted.
    settings : Settings
        The trial's.

    Returns
    -------
    Freezes
    """
    held_c = table[held_column(settings.model_held_h)].to_numpy(dtype=np.float64)
    is_short = (table["coverage"].to_numpy(dtype=np.float64) >= FULL_COVERAGE) & (
        table["duration_h"].to_numpy(dtype=np.float64) < settings.model_held_h
    )
    minimum_c = table["minimum_c"].to_numpy(dtype=np.float64)
    temperature_c = np.where(np.isnan(held_c) & is_short, minimum_c, held_c)

    plant = plants.get_indexer(pd.concat([table["plant"], unknown["plant"]]))
    starts = np.concatenate([utc_times(table["starts"]), utc_times(unknown["starts"])])
    ends = np.concatenate([utc_times(table["ends"]), utc_times(unknown["ends"])])
    name = np.concatenate([table["freeze"].to_numpy(dtype=object), unknown["event"].to_numpy(dtype=object)])
    winter = _first_year([*table["winter"], *winter_of(_aware(unknown["starts"]), settings)])
    row = np.concatenate([np.arange(len(table)), np.full(len(unknown), -1)])
    order = np.lexsort((pd.factorize(name, sort=True)[0], starts, ends, plant))
    return Freezes(
        plant=plant[order].astype(np.int64),
        ends=ends[order],
        winter=winter[order],
        temperature_c=np.concatenate([temperature_c, np.full(len(unknown), np.nan)])[order],
        known=row[order] >= 0,
        name=name[order],
        row=row[order],
        offset=np.append(0, np.cumsum(np.bincount(plant, minlength=len(plants)))),
    )


def sort_scores(scores: pd.DataFrame, plants: pd.Index, freezes: Freezes, settings: Settings) -> Scores:
    """Put every plant's scores in order, and count the freezes before each.

    Parameters
    ----------
    scores : pandas.DataFrame
        The scores table.
    plants : pandas.Index
        All plants, sorted.
    freezes : Freezes
        What they met.
    settings : Settings
        The trial's.

    Returns
    -------
    Scores
    """
    code, dates = pd.factorize(scores["scored_on"].to_numpy(dtype=object))
    day = np.array([each.toordinal() for each in dates], dtype=np.int64)[code]
    noon = noon_of(dates, settings.zone)
    plant = plants.get_indexer(pd.Index(scores["plant"])).astype(np.int64)
    grade = scores["grade"].to_numpy(dtype=np.int64)
    protected, observer = (scores[name].to_numpy(dtype=object) for name in ("protected", "observer"))
    # After the worst grade of the day only the texts are left to order by, so that row order is no matter.
    texts = [pd.factorize(text, sort=True)[0] for text in (protected, observer)]
    order = np.lexsort((*texts, -grade, day, plant))
    plant, day = plant[order], day[order]
    days = plant * (int(day.max(initial=0)) + 1) + day
    return Scores(
        plant=plant,
        day=day,
        noon=noon[code][order],
        winter=_first_year(winter_of(_aware(noon), settings))[code][order],
        grade=grade[order],
        protected=protected[order],
        observer=observer[order],
        before=count_before(plant, noon[code][order], freezes.plant, freezes.ends),
        first_of_day=np.searchsorted(days, days),
    )


def noon_of(dates: Iterable[date], zone: ZoneInfo) -> TimeArray:
    """Give 12:00 on each date in a time zone, as instants in UTC.

    Parameters
    ----------
    dates : iterable of date
    zone : ZoneInfo

    Returns
    -------
    ndarray of datetime64[ns], dims (date,)

    Examples
    --------
    >>> noon_of([date(2032, 1, 10), date(2032, 7, 10)], ZoneInfo("Europe/Paris")).astype("M8[h]").astype(str).tolist()
    ['2032-01-10T11', '2032-07-10T10']
    """
    first, last = CALENDAR
    noons = [datetime.combine(min(max(each, first), last), time(12), tzinfo=zone).astimezone(UTC) for each in dates]
    return np.array([noon.replace(tzinfo=None) for noon in noons], dtype="datetime64[ns]")


def _aware(times: pd.Series[pd.Timestamp] | TimeArray) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(utc_times(times)).tz_localize("UTC")


def _first_year(winters: Iterable[str]) -> IntArray:
    """Year in which each winter began: 2031 for ``2031-32`` and, south of the equator, for ``2031``."""
    return np.array([int(winter[:4]) for winter in winters], dtype=np.int64)
