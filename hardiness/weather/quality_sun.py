"""Sun on the sensor: middays that run far above the neighbours, or humps that no air makes.

Readings are laid out by day and hour of local sun time. Sun on a sensor warms middays of clear days; nights stay right,
so that such a flag says little against a freeze's minimum, but thaws between frosty nights are not to be trusted.
"""

from __future__ import annotations

import numpy as np

from hardiness import words
from hardiness.weather.gaps import HOUR_NS, BoolArray, FloatArray, IntArray
from hardiness.weather.quality_course import Course, Stretch

# Shields err by 1 to 3 K in calm sun, bare sensors by 5 to 10. Common practice, no source.
SUN_K = 5.0  # [K] least midday excess
CLEAR_K = 8.0  # [K] least course of the day at the neighbours (or its own) on a day called clear
MIDDAY = (8, 18)  # [h] hours of sun time in which sun may fall on a sensor
NIGHT = (0, 1, 2, 3, 4, 20, 21, 22, 23)  # [h]
HUMP_REACH = 2  # [h] a hump stands out above the hours so far before and after
SAME_HOUR = 1  # [h] humps of a shaft of sun come at the same hour of the day
LEAST_DAYS, WITHIN_DAYS = 3, 10  # so many days, each within so many of the next, make a stretch


def find_sun(course: Course, longitude: float, units: str) -> list[Stretch]:
    """Find stretches of days on which sun reached the sensor.

    With neighbours: an hour of the day at least 5 K above them, measured from the same day's night, on days with a
    course of 8 K or more. Without: an hour at least 5 K above those two hours before and after, at the same hour of
    three days or more.

    Parameters
    ----------
    course : Course
    longitude : float
        Of the sensor, for its sun time; east is positive. [degree]
    units : str
        ``"C"`` or ``"F"``, for the sentences.

    Returns
    -------
    list of Stretch
        ``sun``, one for each run of such days.
    """
    if not course.has_days or course.times.size < 24:
        return []
    sun_time = course.times + int(longitude / 15 * HOUR_NS)
    hour = sun_time // HOUR_NS
    start = int(hour[0] // 24)
    own = hourly_means(hour - 24 * start, course.temperatures)
    if course.neighbours:
        beside = hourly_means(hour - 24 * start, course.expected)
        excess, at = _above_neighbours(own, beside)
    else:
        excess, at = _humps(own)
    sunny = np.flatnonzero(excess >= SUN_K)
    found = []
    for days in np.split(sunny, np.flatnonzero(np.diff(sunny) > WITHIN_DAYS) + 1):
        if days.size < LEAST_DAYS:
            continue
        hours = (days + start) * 24 + at[days]  # since 1970, in sun time
        first = int(np.searchsorted(hour, hours[0]))
        last = int(np.searchsorted(hour, hours[-1], side="right")) - 1
        most = float(excess[days].max())
        above = "its neighbours" if course.neighbours else "the hours around it"
        shown = words.difference(most, units)
        found.append(Stretch("sun", first, last, float(np.nanmax(own[days, at[days]])),
                             f"Up to {shown} above {above} at midday, on {words.count(days.size, 'day')}: "
                             f"sun reaches the sensor. Nights are not touched; say in sensors that it is not shielded, "
                             f"or shade it."))  # fmt: skip
    return found


def hourly_means(hour: IntArray, values: FloatArray) -> FloatArray:
    """Lay values out by day and hour.

    Parameters
    ----------
    hour : ndarray of int64
        Whole hours since the first midnight, not negative. [h]
    values : ndarray of float
        One for each; NaN is none.

    Returns
    -------
    ndarray of float
        A row a day, 24 columns; the mean of each hour, NaN where it has none.

    Examples
    --------
    >>> hourly_means(np.array([0, 0, 25]), np.array([1.0, 2.0, 5.0]))[:, :2].tolist()
    [[1.5, nan], [nan, 5.0]]
    """
    days = int(hour[-1] // 24) + 1
    there = np.isfinite(values)
    counts = np.bincount(hour[there], minlength=24 * days)
    sums = np.bincount(hour[there], weights=values[there], minlength=24 * days)
    means: FloatArray = np.divide(sums, counts, out=np.full(24 * days, np.nan), where=counts > 0)
    return means.reshape(days, 24)


def _above_neighbours(own: FloatArray, beside: FloatArray) -> tuple[FloatArray, IntArray]:
    above = own - beside
    midday = np.full_like(above, -np.inf)
    midday[:, MIDDAY[0] : MIDDAY[1]] = np.nan_to_num(above[:, MIDDAY[0] : MIDDAY[1]], nan=-np.inf)
    at = midday.argmax(axis=1)
    night, course = np.full((2, len(own)), np.nan)
    dark = np.isfinite(above[:, NIGHT]).any(axis=1)  # a night without readings is no night to measure from
    night[dark] = np.nanmedian(above[dark][:, NIGHT], axis=1)
    told = np.isfinite(beside).any(axis=1)
    course[told] = np.nanmax(beside[told], axis=1) - np.nanmin(beside[told], axis=1)
    excess = midday[np.arange(len(own)), at] - night
    excess[~(np.isfinite(excess) & (course >= CLEAR_K))] = -np.inf
    return excess, at


def _humps(own: FloatArray) -> tuple[FloatArray, IntArray]:
    flat = own.ravel()
    hump = np.full(flat.size, np.nan)
    reach = HUMP_REACH
    hump[reach:-reach] = flat[reach:-reach] - np.maximum(flat[: -2 * reach], flat[2 * reach :])
    by_day = np.full_like(own, -np.inf)
    by_day[:, MIDDAY[0] : MIDDAY[1]] = np.nan_to_num(hump.reshape(own.shape)[:, MIDDAY[0] : MIDDAY[1]], nan=-np.inf)
    at = by_day.argmax(axis=1)
    excess = by_day[np.arange(len(own)), at]
    excess[~_same_hour(excess >= SUN_K, at)] = -np.inf
    return excess, at


def _same_hour(humped: BoolArray, at: IntArray) -> BoolArray:
    """Whether each day's hump has enough others within ten days at the same hour."""
    days = np.flatnonzero(humped)
    near = np.abs(days[:, None] - days) <= WITHIN_DAYS
    alike = np.abs(at[days][:, None] - at[days]) <= SAME_HOUR
    kept = np.zeros(humped.size, dtype=bool)
    kept[days] = (near & alike).sum(axis=1) >= LEAST_DAYS
    return kept
