"""A sensor's readings beside those of its neighbours: what every check of quality starts from.

A :class:`Course` is a sensor's series, its resolution, its usual interval, and what its neighbours say of each of its
readings: other sensors, read off at the same times, each moved by its usual difference. Which sensors those are is
told by ``weather/quality_neighbours.py``. What a check finds is a :class:`Stretch`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from hardiness.weather.gaps import HOUR_NS, BoolArray, FloatArray, IntArray
from hardiness.weather.series import Series

DAILY_H = 12.0  # [h] a series with a longer usual interval tells no course of the day
RESOLUTIONS = (0.01, 1.0)  # [K] finest and coarsest taken for the last digit of a logger


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of a sensor's readings that is odd in one way.

    Parameters
    ----------
    flag : str
        One of ``schema.FLAG_KINDS``.
    first, last : int
        Positions of its first and last reading; of a gap, of the readings on either side.
    worst : float
        The oddest temperature, NaN where none is odd by itself. [degC]
    sentence : str
        What a grower reads.
    sure : bool
        Whether it is so by itself, whatever else may be said of these readings.
    late_h : float
        How late a clock that was set wrong makes its days come. [h]
    """

    flag: str
    first: int
    last: int
    worst: float
    sentence: str
    sure: bool = False
    late_h: float = 0.0


@dataclass(frozen=True)
class Course:
    """One sensor's readings, and what its neighbours read.

    Parameters
    ----------
    sensor : str
    series : Series
        Its readings.
    resolution : float
        The smallest step between its readings. [K]
    interval_h : float
        Its usual interval, the median step; NaN with fewer than two readings. [h]
    measured : bool
        Whether it reads the air time by time (not a daily minimum, nor estimated).
    neighbours : tuple of Course
        The sensors it is held against, those that scatter least first.
    """

    sensor: str
    series: Series
    resolution: float
    interval_h: float
    measured: bool
    neighbours: tuple[Course, ...] = field(default=(), repr=False)

    @property
    def times(self) -> IntArray:
        """When, since 1970-01-01 UTC. [ns]."""
        return self.series.times

    @property
    def temperatures(self) -> FloatArray:
        """What it read. [degC]."""
        return self.series.temperatures

    @property
    def has_days(self) -> bool:
        """Whether its readings show the course of a day."""
        return self.measured and self.interval_h < DAILY_H

    @cached_property
    def beside(self) -> FloatArray:
        """What each neighbour reads at its times, moved by the usual difference; a row a neighbour. [degC]."""
        rows = [read_off(other.series, self.times) for other in self.neighbours]
        if not rows:
            return np.empty((0, self.times.size))
        return np.array([row + _middle(self.temperatures - row) for row in rows])

    @cached_property
    def expected(self) -> FloatArray:
        """Median of what the neighbours say of each of its readings; NaN where none has one. [degC]."""
        return median_of(self.beside)


def read_off(series: Series, times: IntArray) -> FloatArray:
    """Read a series off at other times, along the straight line between two readings where that is bridged.

    Parameters
    ----------
    series : Series
    times : ndarray of int64
        Since 1970-01-01 UTC. [ns]

    Returns
    -------
    ndarray of float
        NaN outside the readings and inside gaps. [degC]

    Examples
    --------
    >>> from hardiness.weather.series import series_of
    >>> series = series_of(["2031-12-14T00", "2031-12-14T01", "2031-12-14T06"], [1.0, 0.0, -2.0], max_gap_h=1.5)
    >>> read_off(series, series.times[:2] + HOUR_NS // 2).tolist()
    [0.5, nan]
    """
    if series.times.size < 2:
        return np.full(times.shape, np.nan)
    out = np.interp(times, series.times, series.temperatures, left=np.nan, right=np.nan)
    reading = np.clip(np.searchsorted(series.times, times, side="right") - 1, 0, None)
    inside = series.bridged[np.minimum(reading, series.steps.size - 1)] | (series.times[reading] == times)
    return np.where(inside, out, np.nan)


def median_of(rows: FloatArray) -> FloatArray:
    """Take the median down each column, leaving out what is missing.

    Parameters
    ----------
    rows : ndarray of float
        A row a sensor.

    Returns
    -------
    ndarray of float
        NaN where a column has nothing.

    Examples
    --------
    >>> median_of(np.array([[1.0, np.nan], [3.0, np.nan], [np.nan, np.nan]])).tolist()
    [2.0, nan]
    """
    if rows.shape[0] == 0:
        return np.full(rows.shape[1], np.nan)
    ordered = np.sort(rows, axis=0)  # NaN comes last
    counts = np.isfinite(ordered).sum(axis=0)
    columns = np.arange(rows.shape[1])
    low, high = np.maximum(counts - 1, 0) // 2, counts // 2
    high = np.minimum(high, rows.shape[0] - 1)
    middle: FloatArray = (ordered[low, columns] + ordered[high, columns]) / 2
    return np.where(counts > 0, middle, np.nan)


def course_of(sensor: str, series: Series, *, measured: bool) -> Course:
    """Tell what a sensor's readings are like by themselves.

    Parameters
    ----------
    sensor : str
    series : Series
        Its readings.
    measured : bool
        Whether it reads the air time by time.

    Returns
    -------
    Course
        Without neighbours.
    """
    changes = np.abs(np.diff(series.temperatures))
    changes = changes[changes > 1e-4]
    finest = float(np.quantile(changes, 0.01)) if changes.size else RESOLUTIONS[1]
    interval = float(np.median(series.steps)) / HOUR_NS if series.steps.size else np.nan
    return Course(sensor, series, float(np.clip(finest, *RESOLUTIONS)), interval, measured)


def _middle(differences: FloatArray) -> float:
    finite = differences[np.isfinite(differences)]
    return float(np.median(finite)) if finite.size else 0.0


def runs_of(marked: BoolArray, joined: BoolArray | None = None) -> list[tuple[int, int]]:
    """List the runs of marked readings.

    Parameters
    ----------
    marked : ndarray of bool
        One for each reading.
    joined : ndarray of bool, optional
        For each step whether a run may go over it; None: over every one.

    Returns
    -------
    list of (int, int)
        Positions of the first and last reading of each run.

    Examples
    --------
    >>> runs_of(np.array([True, True, False, True]))
    [(0, 1), (3, 3)]
    """
    at = np.flatnonzero(marked)
    if at.size == 0:
        return []
    cut = np.diff(at) > 1
    if joined is not None:
        cut |= ~joined[np.minimum(at[:-1], joined.size - 1)]
    firsts = at[np.concatenate(([True], cut))]
    lasts = at[np.concatenate((cut, [True]))]
    return list(zip(firsts.tolist(), lasts.tolist(), strict=True))


def furthest(temperatures: FloatArray, first: int, last: int, origin: float) -> float:
    """Give the reading of a stretch that lies furthest from a temperature.

    Parameters
    ----------
    temperatures : ndarray of float
        Of all readings. [degC]
    first, last : int
        The stretch.
    origin : float
        [degC]

    Returns
    -------
    float
        [degC]

    Examples
    --------
    >>> furthest(np.array([1.0, -3.0, 2.0]), 0, 2, 0.0)
    -3.0
    """
    return float(temperatures[first + int(np.argmax(np.abs(temperatures[first : last + 1] - origin)))])
