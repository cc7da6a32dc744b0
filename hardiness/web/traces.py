"""Readings as a picture of them needs: a few thousand points, gaps as gaps, in the trial's unit.

Where there are more readings than points, each stretch of time gives its coldest and its warmest reading, so that no
cold minute is lost to the eye.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from hardiness.flow import Flow
from hardiness.weather.clean import utc_times
from hardiness.weather.gaps import BoolArray, FloatArray, IntArray
from hardiness.weather.sensors import sensors_known
from hardiness.weather.series import to_series
from hardiness.words import shown

MOST_POINTS = 4_000  # of a course, gaps not counted
SECOND_NS = 1_000_000_000


def course_of(
    flow: Flow, sensor: str, start: pd.Timestamp | None = None, end: pd.Timestamp | None = None
) -> dict[str, list[float | None]]:
    """Give the course of one sensor's readings that count, in no more than :data:`MOST_POINTS` points.

    Parameters
    ----------
    flow : Flow
    sensor : str
        With readings.
    start, end : Timestamp, optional
        From when to when, UTC; one reading beyond each is given too.

    Returns
    -------
    dict of str to list
        ``at`` [s since 1970-01-01 UTC] and ``air`` [the trial's unit]; ``air`` is None in a gap.
    """
    series = to_series(flow.readings[sensor], max_gap_h=flow.settings.rules.max_gap_h)
    offset = sensors_known(flow.records.sensors, [sensor])["offset_c"]
    offset_c = float(np.nan_to_num(offset.loc[sensor]))
    first = 0 if start is None else max(int(np.searchsorted(series.times, start.value)) - 1, 0)
    last = series.times.size if end is None else int(np.searchsorted(series.times, end.value, "right")) + 1
    times, degrees = series.times[first:last], series.temperatures[first:last] + offset_c
    bridged = series.bridged[first : max(min(last, series.times.size) - 1, first)]
    keep = thinned(times, degrees, MOST_POINTS)
    at: list[float | None] = []
    air: list[float | None] = []
    units = flow.settings.units
    broken = np.append(0, np.cumsum(~bridged))  # how many gaps lie before each reading
    before: int | None = None
    for number in keep.tolist():
        if before is not None and broken[number] != broken[before]:
            at.append(float((times[before] + times[number]) // 2) / SECOND_NS)
            air.append(None)
        at.append(float(times[number]) / SECOND_NS)
        air.append(round(shown(float(degrees[number]), units), 2))
        before = number
    return {"at": at, "air": air}


def thinned(times: IntArray, degrees: FloatArray, most: int) -> IntArray:
    """Choose the readings to draw: the first, the last, and of each stretch of time the coldest and the warmest.

    Parameters
    ----------
    times : ndarray of int64
        Rising. [ns]
    degrees : ndarray of float
    most : int
        How many at most, about.

    Returns
    -------
    ndarray of int64
        Their positions, rising.

    Examples
    --------
    >>> thinned(np.arange(8) * 10, np.array([0.0, 1, -5, 1, 0, 3, 1, 0]), 4).tolist()
    [0, 2, 3, 4, 5, 7]
    """
    if times.size <= most:
        return np.arange(times.size)
    stretches = max(most // 2, 1)
    width = (int(times[-1] - times[0]) + 1) // stretches + 1  # divided first: times in ns leave no room for a product
    bucket = (times - times[0]) // width
    order = np.lexsort((degrees, bucket))
    edges: BoolArray = np.diff(bucket[order]) > 0
    coldest, warmest = order[np.append(True, edges)], order[np.append(edges, True)]
    return np.unique(np.concatenate(([0, times.size - 1], coldest, warmest)))


def spans_of(table: pd.DataFrame, first: str, last: str, label: str) -> list[dict[str, Any]]:
    """Give stretches of time to shade.

    Parameters
    ----------
    table : DataFrame
    first, last, label : str
        Columns: from, to (UTC) and the words for it.

    Returns
    -------
    list of dict
        ``from``, ``to`` [s since 1970-01-01 UTC], ``label``.
    """
    starts, ends = (utc_times(table[name]).astype(np.int64) / SECOND_NS for name in (first, last))
    return [
        {"from": float(start), "to": float(end), "label": str(text)}
        for start, end, text in zip(starts, ends, table[label], strict=True)
    ]
