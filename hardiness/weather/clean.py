"""Readings as they come -> readings that can be measured: times rising and unique, temperatures finite.

NaN is no reading and is dropped; a time repeated with one temperature is one reading; a time with two temperatures is
refused. pandas reads text to micro- or nanoseconds depending on its version: :func:`utc_times` is the one place where
instants become nanoseconds.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from hardiness.errors import InputError, Problem
from hardiness.weather.gaps import FloatArray, IntArray

_NAMED = 5  # faults named one by one in a message


def utc_times(times: Any) -> npt.NDArray[np.datetime64]:
    """Bring instants to datetime64[ns] in UTC, whatever resolution or zone they came with.

    Parameters
    ----------
    times : array-like
        datetime64 of any resolution (naive is UTC), aware datetimes, a DatetimeIndex, or ISO 8601 text.

    Returns
    -------
    ndarray of datetime64[ns]
        The same instants in UTC, NaT kept.

    Raises
    ------
    InputError
        If they are numbers, or no instants.

    Examples
    --------
    >>> str(utc_times(["2031-12-14T22:00-05:00"])[0])
    '2031-12-15T03:00:00.000000000'
    """
    values = times if isinstance(times, pd.Index | pd.Series | np.ndarray) else np.asarray(times)
    accepted = "instants in UTC: datetime64, or datetimes with their zone"
    if values.dtype.kind in "biufc" and values.size:
        raise InputError(Problem(f"numbers ({values.dtype})", accepted, column="times"))
    if values.dtype == np.dtype("M8[ns]"):
        return np.asarray(values)
    try:
        index = pd.DatetimeIndex(pd.to_datetime(values, utc=True)).as_unit("ns")
    except (ValueError, TypeError) as error:
        raise InputError(Problem(f"what is no instant ({error})", accepted, column="times")) from error
    return np.asarray(index.tz_localize(None))


def clean(times: Any, temperatures: Any) -> tuple[IntArray, FloatArray]:
    """Drop what is no reading, sort by time, and keep one of readings that repeat each other.

    Parameters
    ----------
    times : array-like
        One instant for each temperature, as :func:`utc_times` takes them, in any order.
    temperatures : array-like of float
        NaN is no reading. [degC]

    Returns
    -------
    times : ndarray of int64
        Rising, unique, since 1970-01-01 UTC. [ns]
    temperatures : ndarray of float
        Finite. [degC]

    Raises
    ------
    InputError
        If the lengths differ, a temperature is infinite or has no time, or one time has two temperatures.

    Examples
    --------
    >>> hours, degrees = clean(["2031-12-14T03", "2031-12-14T02", "2031-12-14T04"], [-3.5, -2.0, float("nan")])
    >>> degrees.tolist()
    [-2.0, -3.5]
    """
    instants = utc_times(times).astype(np.int64)
    try:
        degrees = np.asarray(temperatures, dtype=np.float64)
    except (ValueError, TypeError) as error:
        raise InputError(
            Problem(f"what is no number ({error})", "temperatures in degC", column="temperatures")
        ) from error
    if instants.ndim != 1 or instants.shape != degrees.shape:
        raise InputError(
            Problem(f"{instants.size} times and {degrees.size} temperatures", "one temperature for each time")
        )
    missing = np.isnan(degrees)
    if missing.any():
        instants, degrees = instants[~missing], degrees[~missing]
    _refuse_impossible(instants, degrees)
    steps = np.diff(instants)
    if steps.size == 0 or steps.min() > 0:
        return instants, degrees
    order = np.argsort(instants, kind="stable")
    instants, degrees = instants[order], degrees[order]
    repeats = np.diff(instants) == 0
    contradicts = repeats & (np.diff(degrees) != 0)
    if contradicts.any():
        raise InputError(
            Problem(
                f"different temperatures at one time: {_name_times(instants[1:][contradicts])}",
                "one temperature for each time of a sensor",
            )
        )
    keep = np.concatenate(([True], ~repeats))
    return instants[keep], degrees[keep]


def _refuse_impossible(instants: IntArray, degrees: FloatArray) -> None:
    problems: list[Problem | str] = []
    timeless = instants == np.iinfo(np.int64).min  # NaT
    if timeless.any():
        problems.append(
            Problem(f"{int(timeless.sum())} temperatures without a time", "a time for each reading", column="times")
        )
    infinite = ~np.isfinite(degrees) & ~timeless
    if infinite.any():
        problems.append(
            Problem(
                f"infinite temperatures at {_name_times(instants[infinite])}",
                "numbers; NaN where nothing was measured",
                column="temperatures",
            )
        )
    if problems:
        raise InputError(problems)


def _name_times(instants: IntArray) -> str:
    unique = np.unique(instants)
    named = ", ".join(f"{stamp}Z" for stamp in unique[:_NAMED].astype("M8[ns]").astype("M8[s]"))
    return named if unique.size <= _NAMED else f"{named} and {unique.size - _NAMED} more"
