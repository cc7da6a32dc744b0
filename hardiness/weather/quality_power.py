"""A battery that fades before a silence."""

from __future__ import annotations

import numpy as np

from hardiness import words
from hardiness.weather.gaps import HOUR_NS
from hardiness.weather.quality_course import Course, Stretch

DAY_NS = 24 * HOUR_NS  # [ns]
SILENCE_D = 2.0  # [day] a battery may have died before a gap so long, or before the last reading of all
LAST_D, BEFORE_D = 5.0, 20.0  # [day] the last days are held against those before. Common practice, no source
MISSING = 0.2  # [1] share of the last days' readings that is missing, at least
GROWN = 3.0  # [1] ... and so many times the share missing before
FALL_H, FALL_K, FALL_BELOW_K = (
    48.0,
    12.0,
    6.0,
)  # [h], [K], [K] readings that fall away before a silence: in how long, by how
# much, and how far below the days before (or below the neighbours)
RISE_K = 0.3  # [K] a step up so small does not end such a fall


def find_fading(course: Course, units: str) -> list[Stretch]:
    """Find a battery fading before a silence of two days or more, or before the last reading of all.

    Either readings go missing: a fifth or more of the last five days', and three times the share of the twenty days
    before. Or they fall away: by 12 K within two days, hardly ever rising, to 6 K below anything of the ten days before
    (below the neighbours, where there are any).

    Parameters
    ----------
    course : Course
    units : str
        ``"C"`` or ``"F"``, for the sentences.

    Returns
    -------
    list of Stretch
        ``battery fade``.
    """
    if not course.has_days:
        return []
    times = course.times
    lasts = np.append(np.flatnonzero(course.series.steps >= SILENCE_D * DAY_NS), times.size - 1)
    starts = np.concatenate(([0], lasts[:-1] + 1))
    found = []
    for begin, last in zip(starts.tolist(), lasts.tolist(), strict=True):
        first = int(np.searchsorted(times, times[last] - int(LAST_D * DAY_NS)))
        if first <= begin:
            continue  # a stretch shorter than that has no days before to be held against
        if (share := _missing(course, begin, first, last)) is not None:
            found.append(Stretch("battery fade", first, last, np.nan,
                                 f"{round(100 * share)} % of the readings of the last {words.number(LAST_D, 0)} days "
                                 f"before a silence are missing: the battery was fading."))  # fmt: skip
        elif (at := _fall(course, begin, last)) is not None:
            fall = float(course.temperatures[at] - course.temperatures[last])
            shown = words.difference(fall, units)
            found.append(Stretch("battery fade", at, last, float(course.temperatures[last]),
                                 f"Readings fell away by {shown} to "
                                 f"{words.temperature(float(course.temperatures[last]), units)} before a silence: the "
                                 f"battery was fading."))  # fmt: skip
    return found


def _missing(course: Course, begin: int, first: int, last: int) -> float | None:
    """Share of the last days' readings that is missing, where it has grown."""
    times = course.times
    earlier = max(begin, int(np.searchsorted(times, times[first] - int(BEFORE_D * DAY_NS))))
    before = float(times[first] - times[earlier]) / HOUR_NS
    if before < LAST_D * 24:
        return None
    usual = float(np.median(course.series.steps[earlier:first])) / HOUR_NS
    share = 1.0 - (last - first) * usual / (LAST_D * 24)
    share_before = max(1.0 - (first - earlier) * usual / before, 0.0)
    return share if share >= MISSING and share >= GROWN * share_before else None


def _fall(course: Course, begin: int, last: int) -> int | None:
    """Where a fall to the last reading of all begins; None where there is none."""
    times, x = course.times, course.temperatures
    first = max(begin, int(np.searchsorted(times, times[last] - int(FALL_H * HOUR_NS))))
    rises = np.flatnonzero(np.diff(x[first : last + 1]) > RISE_K)
    top = first + (int(rises[-1]) + 1 if rises.size else 0)
    before = x[max(begin, int(np.searchsorted(times, times[top] - int(10 * DAY_NS)))) : top]
    if last - top < 4 or before.size == 0 or x[top] - x[last] < FALL_K:
        return None
    beside = course.expected[last]
    below = beside - x[last] if np.isfinite(beside) else float(before.min()) - x[last]
    return top if below >= FALL_BELOW_K else None
