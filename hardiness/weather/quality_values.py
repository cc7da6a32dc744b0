"""Readings that cannot be, or are most unlikely: impossible, wrong in sign, a spike.

Each check takes a :class:`~hardiness.weather.quality_course.Course` and gives its odd stretches; none changes a
reading.
"""

from __future__ import annotations

import itertools

import numpy as np

from hardiness import words
from hardiness.units import to_fahrenheit
from hardiness.weather.gaps import HOUR_NS, BoolArray, FloatArray, IntArray
from hardiness.weather.quality_course import Course, Stretch, furthest, runs_of

# Wider than loggers beside plants ever meet: the limits of most sensors. Common practice, no source.
POSSIBLE_C = (-60.0, 70.0)  # [degC]
ABSURD_K = 20.0  # [K] colder than every neighbour and than its own days; far beyond any frost hollow. No source
OWN_DAYS_H = 36.0  # [h] its own days: this long before and after
SPIKE_K = 6.0  # [K] least spike: common practice, no source
SPIKE_ROUGHNESS = (
    4.0  # [1] ... and at least so many times what nine in ten of its readings lie off their neighbours in time
)
ROUGHNESS_BLOCK_H = 30 * 24.0  # [h] roughness is taken month by month: summer nights are quieter than winter ones
SPIKE_H, SPIKE_READINGS = 2.0, 12  # [h], readings: a spike is no longer
VETO = 0.5  # [1] share of a spike that must be its own, where neighbours have readings
FLIP_K, FLIP_F = 1.5, 3.0  # [K], [degF] a flipped reading lies so near the mirror image of those before and after
MIRROR_K = 3.0  # [K] ... or so near that of the neighbours
FLIP_LEAST_K = 10.0  # [K] ... and so far from what is expected


def find_impossible(course: Course, units: str) -> list[Stretch]:
    """Find readings outside -60 to 70 degC, or colder by 20 K than every neighbour and than the sensor's own days.

    Parameters
    ----------
    course : Course
    units : str
        ``"C"`` or ``"F"``, for the sentences.

    Returns
    -------
    list of Stretch
    """
    x, (low, high) = course.temperatures, POSSIBLE_C
    outside = (x < low) | (x > high)
    found = []
    for first, last in runs_of(outside, course.series.bridged):
        worst = furthest(x, first, last, 0.0)
        limits = f"{words.temperature(low, units, 0)} to {words.temperature(high, units, 0)}"
        found.append(Stretch("impossible", first, last, worst,
                             f"Read {words.temperature(worst, units)}: outside {limits}.", sure=True))  # fmt: skip
    if not course.neighbours:
        return found
    coldest = np.fmin.reduce(course.beside, axis=0)
    absurd = ~outside & (x < coldest - ABSURD_K)
    absurd[absurd] = x[absurd] < _own_days(course, np.flatnonzero(absurd)) - ABSURD_K
    for first, last in runs_of(absurd, course.series.bridged):
        at = first + int(np.argmin(x[first : last + 1] - coldest[first : last + 1]))
        below = words.difference(float(coldest[at] - x[at]), units)
        read = words.temperature(float(x[at]), units)
        found.append(
            Stretch("impossible", first, last, float(x[at]), f"Read {read}, {below} colder than any neighbour.")
        )
    return found


def _own_days(course: Course, at: IntArray) -> FloatArray:
    """Median of the readings of a sensor around some of them. [degC]."""
    reach = int(OWN_DAYS_H * HOUR_NS)
    begin = np.searchsorted(course.times, course.times[at] - reach)
    stop = np.searchsorted(course.times, course.times[at] + reach, side="right")
    return np.array([np.median(course.temperatures[a:b]) for a, b in zip(begin, stop, strict=True)], dtype=float)


def find_spikes(course: Course, units: str) -> list[Stretch]:
    """Find short excursions, upwards or downwards, and readings whose sign was lost or gained.

    An excursion is one to twelve readings within two hours, all further off than the limit from the reading before
    and from the one after, on the same side. The limit is 6 K, or four times what nine in ten of the sensor's readings
    of that month lie off the mean of the two beside them. Where neighbours show half of it or more, it is weather. An
    excursion to the mirror image of what was expected (in degC or in degF) is a sign flip.

    Parameters
    ----------
    course : Course
    units : str
        ``"C"`` or ``"F"``, for the sentences.

    Returns
    -------
    list of Stretch
        ``spike`` and ``sign flip``.
    """
    x, n = course.temperatures, course.temperatures.size
    if n < 3:
        return []
    limit = _spike_limit(course)
    expected = np.full(n, np.nan)  # by its own readings, inside an excursion
    bridged = course.series.bridged
    low, high = x[1:-1].copy(), x[1:-1].copy()  # of the block that begins at each reading but the ends
    whole = bridged[:-1].copy()
    widest = SPIKE_READINGS if course.has_days else 1
    for width in range(1, widest + 1):
        size = n - 1 - width  # blocks begin at 1 .. n - 1 - width
        if size <= 0:
            break
        begin = np.arange(1, size + 1)
        if width > 1:
            low = np.minimum(low[:size], x[begin + width - 1])
            high = np.maximum(high[:size], x[begin + width - 1])
        whole = whole[:size] & bridged[begin + width - 1]
        before, after = x[begin - 1], x[begin + width]
        beyond = np.maximum(low - np.maximum(before, after), np.minimum(before, after) - high)
        short = (width == 1) | (course.times[begin + width - 1] - course.times[begin] <= SPIKE_H * HOUR_NS)
        out = whole & short & (beyond > limit[begin])
        out[out] = ~_shared(course, begin[out], width, beyond[out])
        for start in begin[out].tolist():
            block = slice(start, start + width)
            expected[block] = np.where(
                np.isnan(expected[block]), (x[start - 1] + x[start + width]) / 2, expected[block]
            )
    found = []
    for first, last in runs_of(np.isfinite(expected), bridged):
        at = first + int(np.argmax(np.abs(x[first : last + 1] - expected[first : last + 1])))
        found.append(_excursion(course, first, last, float(x[at]), float(expected[at]), units))
    return found


def _excursion(course: Course, first: int, last: int, worst: float, expected: float, units: str) -> Stretch:
    read, beside = words.temperature(worst, units), words.temperature(expected, units)
    if _flipped(np.array([worst]), np.array([expected]))[0]:
        return Stretch("sign flip", first, last, worst,
                       f"Read {read} between readings of about {beside}: the sign is wrong.")  # fmt: skip
    which = "A single reading" if first == last else words.count(last - first + 1, "reading")
    off = words.difference(abs(worst - expected), units)
    side = "above" if worst > expected else "below"
    return Stretch(
        "spike", first, last, worst, f"{which} up to {off} {side} those before and after ({read}, {beside})."
    )


def _flipped(read: FloatArray, expected: FloatArray) -> BoolArray:
    mirrored = np.abs(read + expected) <= FLIP_K
    in_fahrenheit = [np.array([to_fahrenheit(float(v)) for v in values]) for values in (read, expected)]
    mirrored |= np.abs(in_fahrenheit[0] + in_fahrenheit[1]) <= FLIP_F
    far: BoolArray = mirrored & (np.abs(read - expected) >= FLIP_LEAST_K)
    return far


def _spike_limit(course: Course) -> FloatArray:
    """How far a spike must stand out at each reading. [K]."""
    x, steps = course.temperatures, course.series.bridged
    off = np.abs(x[1:-1] - (x[:-2] + x[2:]) / 2)
    sound = steps[:-1] & steps[1:]
    block = ((course.times - course.times[0]) // int(ROUGHNESS_BLOCK_H * HOUR_NS)).astype(np.int64)
    limit = np.full(x.size, SPIKE_K)
    edges = np.flatnonzero(np.diff(block, prepend=block[0] - 1, append=block[-1] + 1))
    for first, stop in itertools.pairwise(edges.tolist()):
        inner = slice(max(first - 1, 0), max(stop - 1, 0))
        some = off[inner][sound[inner]]
        if some.size >= 20:
            limit[first:stop] = max(SPIKE_K, SPIKE_ROUGHNESS * float(np.quantile(some, 0.9)))
    return limit


def _shared(course: Course, begin: IntArray, width: int, beyond: FloatArray) -> BoolArray:
    """Whether neighbours show half of an excursion or more."""
    own = course.temperatures - course.expected
    inside = own[begin + (width - 1) // 2]
    edges = (own[begin - 1] + own[begin + width]) / 2
    shared: BoolArray = np.abs(inside - edges) < VETO * beyond  # NaN, no neighbour: not shared
    return shared


def find_flips(course: Course, units: str) -> list[Stretch]:
    """Find stretches that mirror what the neighbours read: a whole night without its minus sign.

    Parameters
    ----------
    course : Course
    units : str
        ``"C"`` or ``"F"``, for the sentences.

    Returns
    -------
    list of Stretch
        ``sign flip``.
    """
    x, expected = course.temperatures, course.expected
    mirrored = np.abs(x + expected) <= MIRROR_K
    nearest = np.fmin.reduce(np.abs(course.beside - x), axis=0, initial=np.inf)  # one neighbour at fault is no mirror
    sure = mirrored & (nearest >= FLIP_LEAST_K - MIRROR_K) & (np.abs(x - expected) >= FLIP_LEAST_K)
    found = []
    for first, last in runs_of(mirrored & (x * expected < 0), course.series.bridged) if sure.any() else ():
        if sure[first : last + 1].sum() >= 2:
            at = first + int(np.argmax(np.abs(x[first : last + 1] - expected[first : last + 1])))
            found.append(
                Stretch("sign flip", first, last, float(x[at]),
                        f"Read {words.temperature(float(x[at]), units)} where neighbours read "
                        f"{words.temperature(float(expected[at]), units)}: the sign is wrong.")
            )  # fmt: skip
    return found
