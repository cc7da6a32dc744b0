"""Days of the trial's zone and the instants they begin at."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, tzinfo

import numpy as np
import pandas as pd

from hardiness.weather.clean import utc_times
from hardiness.weather.gaps import IntArray

_CALENDAR = (date(1700, 1, 1), date(2200, 1, 1))  # nanoseconds reach from 1677 to 2262


def local_days(times: pd.DatetimeIndex, zone: tzinfo) -> list[str]:
    """Name the local day of instants.

    Parameters
    ----------
    times : pandas.DatetimeIndex
        Instants, in UTC.
    zone : tzinfo
        The zone whose days are asked for.

    Returns
    -------
    list of str
        ISO 8601 dates.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> local_days(pd.DatetimeIndex(["2031-12-15T03:00"], tz="UTC"), ZoneInfo("America/New_York"))
    ['2031-12-14']
    """
    return list(times.tz_convert(zone).strftime("%Y-%m-%d"))


def local_midnights(days: Sequence[date], zone: tzinfo, *, after: int = 0) -> IntArray:
    """Find the instant at which days begin in a zone.

    Parameters
    ----------
    days : sequence of date
        Local days.
    zone : tzinfo
        Their zone. A midnight that the clock skips is the moment it jumps; one that comes twice is the first.
    after : int, default 0
        Ask for the midnight so many days later: 1 for the end of each day. [day]

    Returns
    -------
    ndarray of int64
        Since 1970-01-01 UTC. [ns]

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> str(local_midnights([date(2031, 12, 14)], ZoneInfo("America/New_York")).astype("M8[ns]")[0])
    '2031-12-14T05:00:00.000000000'
    """
    first, last = _CALENDAR
    index = pd.DatetimeIndex(np.array([min(max(day, first), last) for day in days], dtype="M8[D]") + after)
    local = index.tz_localize(zone, nonexistent="shift_forward", ambiguous=np.ones(len(index), dtype=bool))
    return utc_times(local).astype(np.int64)


def day_ends(starts: IntArray, zone: tzinfo) -> IntArray:
    """Find the instant at which days end that begin at instants.

    Parameters
    ----------
    starts : ndarray of int64
        Beginnings of days, since 1970-01-01 UTC. [ns]
    zone : tzinfo
        The zone whose clock they follow.

    Returns
    -------
    ndarray of int64
        The next midnight where one begins at midnight, else the same time of the next day; where the clock skips that,
        the moment it jumps, and of two such times the first. Since 1970-01-01 UTC. [ns]

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> spring = np.array(["2031-09-06T04:00"], "M8[ns]").astype(np.int64)
    >>> str(day_ends(spring, ZoneInfo("America/Santiago"))[0].astype("M8[ns]"))[:16]  # no midnight that night
    '2031-09-07T04:00'
    """
    local = pd.DatetimeIndex(starts.astype("M8[ns]")).tz_localize("UTC").tz_convert(zone)
    days = [instant.date() for instant in local]
    later = local.tz_localize(None) + pd.Timedelta(days=1)
    same = later.tz_localize(zone, nonexistent="shift_forward", ambiguous=np.ones(len(later), dtype=bool))
    from_midnight = local_midnights(days, zone) == starts
    return np.where(from_midnight, local_midnights(days, zone, after=1), utc_times(same).astype(np.int64))


def nanoseconds(times: pd.Series[pd.Timestamp]) -> IntArray:
    """Take the instants of a table's column as whole nanoseconds.

    Parameters
    ----------
    times : pandas.Series
        Aware instants.

    Returns
    -------
    ndarray of int64
        Since 1970-01-01 UTC. [ns]

    Examples
    --------
    >>> int(nanoseconds(pd.Series(pd.to_datetime(["1970-01-01T01:00+01:00", "1970-01-01T01:00Z"], utc=True)))[1])
    3600000000000
    """
    return utc_times(times).astype(np.int64)
