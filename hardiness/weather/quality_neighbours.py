"""Which sensors a sensor is held against, and all of them laid beside each other, one after the other.

In: readings of all sensors. Out: :class:`Courses`, which gives a :class:`~hardiness.weather.quality_course.Course` for
each sensor with up to four neighbours: of those that have readings at the same times, the ones whose differences
scatter least. Readings are fetched when a sensor or a neighbour is asked for and only some are kept ready, so that a
network of loggers need not fit into memory; what is found does not depend on how many are kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from hardiness.read.station_data import ESTIMATED, MEASURED, series_of_attributes
from hardiness.weather.gaps import FloatArray, IntArray
from hardiness.weather.quality_course import Course, course_of, read_off
from hardiness.weather.series import to_series

MOST_NEIGHBOURS = 4  # those whose differences scatter least; a fifth adds little to a median
ASKED = 4000  # readings at which differences are compared to choose neighbours
LEAST_SHARED = 0.2  # [1] share of its readings at which a neighbour must have one too
KEPT = 10_000_000  # [1] readings that are kept ready, some 25 bytes each


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """What is kept of every sensor's readings.

    Parameters
    ----------
    readings : int
        How many there are.
    first, last : int
        When the first and the last were taken; 0 where there is none. [ns]
    has_days : bool
        Whether they show the course of a day: others may be held against it.
    times : ndarray of int64
        Of a few thousand of them, evenly taken. [ns]
    temperatures : ndarray of float
        Of the same. [degC]
    """

    readings: int
    first: int
    last: int
    has_days: bool
    times: IntArray
    temperatures: FloatArray


class Courses(Mapping[str, Course]):
    """Readings of all sensors beside each other, by sensor name.

    Estimated series are left out: they are nobody's readings.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings of each sensor, dims ``(time,)``, in UTC; ``attrs["series"]`` says what is not measured time by time
        (``daily_minimum``, ``estimated``). [degC]
    max_gap_h : float, optional
        Longest bridged step; None: three usual intervals, at least 1.5 h. [h]

    Raises
    ------
    UnitsError, InputError
        As :func:`hardiness.weather.series.to_series`.

    Examples
    --------
    >>> time = np.datetime64("2031-12-14", "ns") + np.arange(4) * np.timedelta64(1, "h")
    >>> one = xr.DataArray([1.0, 0.0, -1.0, -2.0], {"time": time}, attrs={"units": "degC"})
    >>> courses = Courses({"L1": one, "L2": one.copy(data=one.to_numpy() + 0.5)})
    >>> [course.sensor for course in courses["L1"].neighbours], courses["L1"].expected.tolist()
    (['L2'], [1.0, 0.0, -1.0, -2.0])
    """

    def __init__(self, readings: Mapping[str, xr.DataArray], *, max_gap_h: float | None = None) -> None:
        self._readings = readings
        self._max_gap_h = max_gap_h
        self._kept: dict[str, Course] = {}  # the one that was asked for longest ago comes first
        self.outlines: dict[str, Outline] = {}
        for sensor in sorted(readings):
            if (course := self._fetched(sensor)) is not None:
                self.outlines[sensor] = _outline_of(course)
        self.neighbours = self._neighbours()

    def __getitem__(self, sensor: str) -> Course:
        return replace(self.alone(sensor), neighbours=tuple(self.alone(other) for other in self.neighbours[sensor]))

    def __iter__(self) -> Iterator[str]:
        return iter(self.outlines)

    def __len__(self) -> int:
        return len(self.outlines)

    def __contains__(self, sensor: object) -> bool:  # the one of Mapping would fetch the readings to find out
        return sensor in self.outlines

    def alone(self, sensor: str) -> Course:
        """Give a sensor's course without its neighbours.

        Parameters
        ----------
        sensor : str
            Its name.

        Returns
        -------
        Course
        """
        course = self._fetched(sensor) if sensor in self.outlines else None
        if course is None:
            raise KeyError(sensor)
        return course

    def _fetched(self, sensor: str) -> Course | None:
        """The course of a sensor, from those that are kept or from its readings; None where they are estimated."""
        course = self._kept.pop(sensor, None)
        if course is None:
            air = self._readings[sensor]
            kind = series_of_attributes(air.attrs)
            if kind == ESTIMATED:
                return None
            course = course_of(sensor, to_series(air, max_gap_h=self._max_gap_h), measured=kind == MEASURED)
        self._kept[sensor] = course
        while len(self._kept) > 1 and sum(kept.times.size for kept in self._kept.values()) > KEPT:
            del self._kept[next(iter(self._kept))]
        return course

    def _neighbours(self) -> dict[str, tuple[str, ...]]:
        """By sensor the others that it is held against, those that scatter least first."""
        asked = {sensor: outline for sensor, outline in self.outlines.items() if outline.has_days}
        ranked: dict[str, list[tuple[float, str]]] = {sensor: [] for sensor in self.outlines}
        if len(asked) > 1:
            times = np.concatenate([outline.times for outline in asked.values()])
            own = np.concatenate([outline.temperatures for outline in asked.values()])
            ends = np.cumsum([outline.times.size for outline in asked.values()])[:-1]
            for other in asked:
                beside = own - read_off(self.alone(other).series, times)
                for sensor, differences in zip(asked, np.split(beside, ends), strict=True):
                    there = differences[np.isfinite(differences)]
                    if sensor != other and there.size >= max(LEAST_SHARED * differences.size, 2):
                        ranked[sensor].append((float(np.median(np.abs(there - np.median(there)))), other))
        return {sensor: tuple(other for _, other in sorted(rows)[:MOST_NEIGHBOURS]) for sensor, rows in ranked.items()}


def _outline_of(course: Course) -> Outline:
    times, number = course.times, course.times.size
    picked = np.linspace(0, number - 1, min(ASKED, number)).astype(np.int64)
    first, last = (int(times[0]), int(times[-1])) if number else (0, 0)
    return Outline(number, first, last, course.has_days, times[picked], course.temperatures[picked])
