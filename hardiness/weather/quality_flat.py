"""Readings that stand still: a value that is stuck, and a plateau at freezing point under snow or in ice.

Each check takes a :class:`~hardiness.weather.quality_course.Course` and gives its odd stretches; none changes a
reading.
"""

from __future__ import annotations

import numpy as np

from hardiness import words
from hardiness.weather.gaps import HOUR_NS
from hardiness.weather.quality_course import Course, Stretch, furthest, runs_of

STUCK_H = (6.0, 24.0)  # [h] least and most that one unchanged value is let pass
STUCK_USUAL = 3.0  # [1] ... between them, so many times the longest of fifty runs of its own
STUCK_READINGS, STUCK_DAYS = 6, 6  # readings in a stuck run; of a daily series
QUIET_K, QUIET_H = 1.0, 48.0  # [K], [h] where neighbours hardly move either, a run of two days is let pass
PLATEAU_K = 0.3  # [K] a plateau at freezing point lies this near it, or its resolution
PLATEAU_H, PLATEAU_ALONE_H = 6.0, 24.0  # [h] least plateau beside colder neighbours; without neighbours
# What the neighbours read meanwhile: on the median so cold, or a course of the day so wide with a night so cold.
PLATEAU_BELOW_C, PLATEAU_COURSE_K, PLATEAU_NIGHT_C = -1.5, 4.0, -2.0  # [degC], [K], [degC]


def find_stuck(course: Course, units: str) -> list[Stretch]:
    """Find one value that stands unchanged far too long for the sensor's resolution.

    Too long is three times the longest of fifty runs of its own, at least 6 and at most 24 hours; where neighbours
    move less than 1 K meanwhile, 48 hours.

    Parameters
    ----------
    course : Course
    units : str
        ``"C"`` or ``"F"``, for the sentences.

    Returns
    -------
    list of Stretch
        ``stuck``; plateaus at freezing point are left to :func:`find_plateaus`.
    """
    x, times = course.temperatures, course.times
    if x.size < 2:
        return []
    same = (np.abs(np.diff(x)) < course.resolution / 2) & course.series.bridged
    edges = np.flatnonzero(~same)
    firsts = np.concatenate(([0], edges + 1))
    lasts = np.concatenate((edges, [x.size - 1]))
    hours = (times[lasts] - times[firsts]) / HOUR_NS
    counts = lasts - firsts + 1
    if course.has_days:
        others = np.sort(hours[counts > 1])[:-1]  # a stuck run in a short file would make itself usual
        usual = float(np.quantile(others, 0.98)) if others.size else 0.0
        long = (hours >= np.clip(STUCK_USUAL * usual, *STUCK_H)) & (counts >= STUCK_READINGS)
    else:
        long = counts >= STUCK_DAYS
    found = []
    for first, last, lasting in zip(firsts[long], lasts[long], hours[long], strict=True):
        beside = course.expected[first : last + 1]
        beside = beside[np.isfinite(beside)]
        moved = float(np.ptp(beside)) if beside.size else np.inf
        if moved < max(QUIET_K, 3 * course.resolution) and lasting < QUIET_H:
            continue
        meanwhile = f" while neighbours moved by {words.difference(moved, units)}" if beside.size else ""
        found.append(Stretch("stuck", int(first), int(last), float(x[first]),
                             f"Read {words.temperature(float(x[first]), units)} and nothing else for "
                             f"{words.hours(float(lasting))}{meanwhile}."))  # fmt: skip
    return found


def find_plateaus(course: Course, units: str) -> list[Stretch]:
    """Find long flat stretches at freezing point while neighbours are below it: the sensor lies in snow or ice.

    Parameters
    ----------
    course : Course
    units : str
        ``"C"`` or ``"F"``, for the sentences.

    Returns
    -------
    list of Stretch
        ``zero plateau``.
    """
    if not course.has_days:
        return []
    x, times = course.temperatures, course.times
    found = []
    for first, last in runs_of(np.abs(x) <= max(PLATEAU_K, 1.01 * course.resolution), course.series.bridged):
        lasting = float(times[last] - times[first]) / HOUR_NS
        if lasting < PLATEAU_H:
            continue
        beside = course.expected[first : last + 1]
        beside = beside[np.isfinite(beside)]
        below = float(np.median(beside)) if beside.size else np.nan
        wide = beside.size and np.ptp(beside) >= PLATEAU_COURSE_K and beside.min() <= PLATEAU_NIGHT_C
        if below <= PLATEAU_BELOW_C or wide or (np.isnan(below) and lasting >= PLATEAU_ALONE_H):
            coldest = words.temperature(float(beside.min()), units) if beside.size else ""
            meanwhile = f" while neighbours fell to {coldest}" if beside.size else ""
            found.append(Stretch("zero plateau", first, last, furthest(x, first, last, 0.0),
                                 f"Flat at {words.temperature(0.0, units, 0)} for {words.hours(lasting)}{meanwhile}: "
                                 f"as under snow or in ice, where the air was colder than it says."))  # fmt: skip
    return found
