"""Times as loggers write them: cells of one layout -> numbers of day, month, year, clock and offset.

In: cells of one shape and its :class:`hardiness.read.layouts.Layout`. Out: for each cell a date code, the time of day,
and the offset from UTC where the cell names one. Which number is the day and which the month may depend on the whole
file and is not decided here (see :mod:`hardiness.read.dates`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hardiness.read.layouts import EPOCH, NO_DATE, YEAR_LAST, YEAR_UNKNOWN, Layout
from hardiness.read.slices import Bytes, whole_numbers

NO_OFFSET = np.iinfo(np.int16).min
SECOND = 1_000_000_000  # [ns]
DAY = 86_400 * SECOND  # [ns]
LARGEST_OFFSET = 14 * 60  # [min] UTC+14:00 is the largest in use


@dataclass(frozen=True, slots=True)
class Moments:
    """What cells of one shape say, all arrays of one length.

    Parameters
    ----------
    kind : int
        What ``code`` means.
    code : numpy.ndarray of int32
        ``SETTLED``: year * 10000 + month * 100 + day; ``YEAR_LAST``: year * 10000 + first * 100 + second number;
        ``YEAR_UNKNOWN``: the three numbers in their order.
    nanoseconds : numpy.ndarray of int64
        Since midnight; for ``EPOCH`` since 1970-01-01 UTC. [ns]
    offset : numpy.ndarray of int16
        East of UTC, or ``NO_OFFSET``. [min]
    good : numpy.ndarray of bool
        Whether the clock and the offset exist (the date is not judged).
    """

    kind: int
    code: NDArray[np.int32]
    nanoseconds: NDArray[np.int64]
    offset: NDArray[np.int16]
    good: NDArray[np.bool_]


def read_moments(layout: Layout, cells: Bytes) -> Moments:
    """Read the times in cells of one shape.

    Parameters
    ----------
    layout : Layout
        Where their parts stand.
    cells : numpy.ndarray
        Their bytes, dims (cell, byte).

    Returns
    -------
    Moments

    Examples
    --------
    >>> from hardiness.read.layouts import layout_of
    >>> cells = np.frombuffer(b"2023-01-14T06:05Z", np.uint8)[np.newaxis]
    >>> moments = read_moments(layout_of(b"0000-00-00t00:00z"), cells)
    >>> moments.code.tolist(), (moments.nanoseconds // SECOND).tolist(), moments.offset.tolist()
    ([20230114], [21900], [0])
    """
    size = len(cells)
    zeros = np.zeros(size, np.int64)

    def part(name: str) -> NDArray[np.int64]:
        return whole_numbers(cells, layout.parts[name]) if name in layout.parts else zeros

    fraction = _nanoseconds(cells, layout)
    if layout.kind == EPOCH:
        good = np.ones(size, bool)
        if "epoch_ms" in layout.parts:
            count = part("epoch_ms") * (SECOND // 1000) + fraction // 1000
        else:
            seconds = part("epoch")
            good = seconds < np.iinfo(np.int64).max // SECOND
            count = np.where(good, seconds, 0) * SECOND + fraction
        return Moments(EPOCH, zeros.astype(np.int32), count, zeros.astype(np.int16), good)
    hour, minute, second = part("hour"), part("minute"), part("second_of_minute")
    good = (minute < 60) & (second < 60)
    if layout.half is None:
        good &= (hour < 24) | ((hour == 24) & (minute + second + fraction == 0))
    else:
        good &= hour <= 12
        hour = hour % 12 + (12 if layout.half == "p" else 0)
    nanoseconds = ((hour * 60 + minute) * 60 + second) * SECOND + fraction
    offset = np.full(size, NO_OFFSET, np.int16)
    if "offset_hour" in layout.parts:
        minutes = part("offset_hour") * 60 + part("offset_minute")
        good &= (minutes <= LARGEST_OFFSET) & (part("offset_minute") < 60)
        offset = np.where(good, (layout.offset or 1) * minutes, 0).astype(np.int16)
    elif layout.offset is not None:
        offset = np.full(size, layout.offset, np.int16)
    return Moments(layout.kind, _code(cells, layout), nanoseconds, offset, good)


def _nanoseconds(cells: Bytes, layout: Layout) -> NDArray[np.int64]:
    """Read a fraction of a second in ns (of a millisecond: times 1000)."""
    if "fraction" not in layout.parts:
        return np.zeros(len(cells), np.int64)
    first, stop = layout.parts["fraction"]
    return np.asarray(whole_numbers(cells, (first, stop)) * 10 ** (9 - (stop - first)))


def _code(cells: Bytes, layout: Layout) -> NDArray[np.int32]:
    if layout.kind == NO_DATE:
        return np.zeros(len(cells), np.int32)
    if "day_of_year" in layout.parts:
        year = whole_numbers(cells, layout.parts["year"])
        return code_of_day(year, whole_numbers(cells, layout.parts["day_of_year"]))
    names = ("year", "month", "day")
    if layout.kind == YEAR_LAST:
        names = ("year", "first", "second")
    elif layout.kind == YEAR_UNKNOWN:
        names = ("first", "second", "year")
    numbers = [
        np.full(len(cells), layout.month or 0, np.int64) if name not in layout.parts
        else whole_numbers(cells, layout.parts[name])
        for name in names
    ]  # fmt: skip
    if layout.kind != YEAR_UNKNOWN and layout.parts["year"][1] - layout.parts["year"][0] == 2:
        numbers[0] = full_year(numbers[0])
    return (numbers[0] * 10_000 + numbers[1] * 100 + numbers[2]).astype(np.int32)


def code_of_day(year: NDArray[np.int64], day_of_year: NDArray[np.int64]) -> NDArray[np.int32]:
    """Make date codes of years and days of the year.

    Parameters
    ----------
    year, day_of_year : numpy.ndarray of int64

    Returns
    -------
    numpy.ndarray of int32
        As of ``SETTLED`` dates; a day that the year does not have is no date.

    Examples
    --------
    >>> code_of_day(np.array([2023, 2024, 2023]), np.array([60, 366, 366])).tolist()
    [20230301, 20241231, 20230000]
    """
    days = (year - 1970).view("datetime64[Y]").astype("datetime64[D]") + (day_of_year - 1)
    months = days.astype("datetime64[M]")
    month, day = months.view(np.int64), (days - months).view(np.int64) + 1
    code = year * 10_000 + (month % 12 + 1) * 100 + day
    return np.where(month // 12 + 1970 == year, code, year * 10_000).astype(np.int32)


def full_year(two_digits: NDArray[np.int64]) -> NDArray[np.int64]:
    """Complete years of two digits: 90-99 are 1990-1999 (loggers have been about that long), others are 20xx.

    Parameters
    ----------
    two_digits : ndarray of int
        0 to 99.

    Returns
    -------
    ndarray of int

    Examples
    --------
    >>> full_year(np.array([23, 99])).tolist()
    [2023, 1999]
    """
    return np.where(two_digits >= 90, 1900, 2000) + two_digits
