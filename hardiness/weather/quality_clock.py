"""Clocks that jump or drift: days that come early or late against the neighbours' days, or against the sensor's own.

Every three days the course of the day (readings less their mean over 24 hours) is shifted against a neighbour's until
the two agree best: the lag of the greatest cross-correlation. Lags of a season are then told apart into a level, a
step (a jump) or a slope (a drift), whichever leaves the least behind. Without neighbours the same is asked of the hour
at which the sensor's own day peaks, as its first harmonic of 24 hours tells it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from hardiness import words
from hardiness.weather.gaps import HOUR_NS, FloatArray
from hardiness.weather.quality_course import Stretch, read_off
from hardiness.weather.quality_lags import A_DAY, GRID_H, WINDOW_DAYS, agreed, days_of, lags_of, peaks_of
from hardiness.weather.quality_neighbours import KEPT, MOST_NEIGHBOURS, Courses

JUMP_H, OWN_JUMP_H = (
    0.75,
    1.5,
)  # [h] least jump against neighbours; against its own days, whose peak wanders with the weather
DRIFT_H, OWN_DRIFT_H = 0.5, 2.0  # [h] least drift over a season, likewise
SEEN, REACH = 3, 5  # windows on either side of a jump that must be there; that are looked at
STEADY = 0.6  # [1] a drift leaves at most this share of the spread behind
DRIFT_SEEN = 10  # windows in a drift
NOISE = 3.0  # [1] a jump or drift is so many times what it leaves behind
SEASON_DAYS = 20  # [day] a longer silence parts seasons: a clock is set anew when a logger is started


@dataclass(frozen=True, slots=True)
class Shift:
    """A stretch of windows on which a clock is off.

    Parameters
    ----------
    first, last : int
        Windows.
    hours : float
        How late the days come; negative is early. Of a drift, at its end. [h]
    drift : bool
    """

    first: int
    last: int
    hours: float
    drift: bool


def find_clock_faults(courses: Courses) -> dict[str, list[Stretch]]:
    """Find jumps and drifts of every sensor's clock.

    Parameters
    ----------
    courses : Courses
        All sensors.

    Returns
    -------
    dict of str to list of Stretch
        ``clock jump`` and ``clock drift`` by sensor. With one neighbour only, a fault is laid to the one of the two
        whose own days moved.
    """
    told = courses.outlines
    timed = [sensor for sensor, outline in told.items() if outline.has_days and outline.readings > 2 * A_DAY]
    if not timed:
        return {}
    step, window = int(GRID_H * HOUR_NS), WINDOW_DAYS * A_DAY
    begin = min(told[sensor].first for sensor in timed) // (24 * HOUR_NS) * 24 * HOUR_NS
    end = max(told[sensor].last for sensor in timed)
    windows = -(-(end - begin) // (step * window))
    grid = begin + np.arange(windows * window) * step

    @lru_cache(maxsize=max(KEPT // grid.size, MOST_NEIGHBOURS + 1))
    def days(sensor: str) -> FloatArray:
        return days_of(read_off(courses.alone(sensor).series, grid))

    found = {}
    for sensor in timed:
        names = list(courses.neighbours[sensor])
        stretches, times = [], courses.alone(sensor).times
        for shift in _shifts(days(sensor), [days(name) for name in names]):
            bounds = grid[shift.first * window], grid[min((shift.last + 1) * window, grid.size - 1)]
            first, last = (int(i) for i in np.searchsorted(times, bounds))
            first, last = min(first, times.size - 1), min(max(last - 1, first), times.size - 1)
            stretches.append(_stretch(shift, first, last, names))
        found[sensor] = stretches
    return found


def _stretch(shift: Shift, first: int, last: int, names: list[str]) -> Stretch:
    late = "late" if shift.hours > 0 else "early"
    against = f"against {words.listed(names)}" if names else "against its own earlier days"
    off, pace = words.hours(abs(shift.hours)), "fast" if shift.hours > 0 else "slow"
    if shift.drift:
        return Stretch("clock drift", first, last, np.nan,
                       f"Its days drift to {off} {late} {against}: the clock runs {pace}.")  # fmt: skip
    return Stretch("clock jump", first, last, np.nan,
                   f"Its days come about {off} {late} {against}: the clock was set wrong. It begins and ends within "
                   f"{WINDOW_DAYS} days of these times.", late_h=shift.hours)  # fmt: skip


def _shifts(own: FloatArray, beside: list[FloatArray]) -> list[Shift]:
    """Find where a sensor's days shift against those of its neighbours, or against its own."""
    if not beside:
        return split(peaks_of(own), OWN_JUMP_H, OWN_DRIFT_H)
    lags = np.array([_centred(lags_of(own, other)) for other in beside])
    if len(beside) == 1:
        shifts = split(lags[0], JUMP_H, DRIFT_H)
        peaks, peaks_beside = peaks_of(own), peaks_of(beside[0])
        return [shift for shift in shifts if _own_fault(shift, peaks, peaks_beside)]
    return split(agreed(lags), JUMP_H, DRIFT_H)


def _centred(lags: FloatArray) -> FloatArray:
    there = lags[np.isfinite(lags)]
    return lags - np.median(there) if there.size else lags


def _own_fault(shift: Shift, own: FloatArray, other: FloatArray) -> bool:
    """Whether a shift between two sensors is this one's: its own days moved by it, and the other's did not."""
    inside = np.zeros(own.size, dtype=bool)
    inside[(shift.first + shift.last) // 2 if shift.drift else shift.first : shift.last + 1] = True
    both = np.isfinite(own) & np.isfinite(other)
    if not (inside & both).any() or not (~inside & both).any():
        return True
    mine, theirs = (np.median(p[inside & both]) - np.median(p[~inside & both]) for p in (own, other))
    return bool(abs(mine - shift.hours) + abs(theirs) <= abs(mine) + abs(theirs + shift.hours))


def split(lags: FloatArray, jump_h: float, drift_h: float) -> list[Shift]:
    """Tell the lags of a clock apart into levels, steps and slopes.

    Seasons, parted by silences of twenty days, are told apart one by one; a level is held against the one that
    stands the longest, of several the first.

    Parameters
    ----------
    lags : ndarray of float
        One a window; NaN tells nothing. [h]
    jump_h, drift_h : float
        Least step and slope. [h]

    Returns
    -------
    list of Shift

    Examples
    --------
    >>> split(np.array([0.0, 0.1, 0.0, 0.0, -0.1, 2.0, 2.1, 2.0, 1.9]), 0.75, 0.5)
    [Shift(first=5, last=8, hours=2.0, drift=False)]
    """
    told = np.flatnonzero(np.isfinite(lags))
    seasons = np.split(told, np.flatnonzero(np.diff(told) > SEASON_DAYS / WINDOW_DAYS) + 1)
    shifts: list[Shift] = []
    levels: list[tuple[int, int, float]] = []
    for windows in seasons:
        if windows.size == 0:
            continue
        pieces, drifts = _pieces(lags[windows], jump_h, drift_h)
        levels += [(int(windows[a]), int(windows[b]), float(np.median(lags[windows[a : b + 1]]))) for a, b in pieces]
        shifts += [Shift(int(windows[a]), int(windows[b]), hours, True) for a, b, hours in drifts]
    usual = _usual(levels, jump_h)
    for first, last, level in levels:
        if abs(level - usual) < jump_h or last - first + 1 < SEEN:
            continue
        if shifts and not shifts[-1].drift and levels and abs(shifts[-1].hours - (level - usual)) < jump_h / 2:
            shifts[-1] = Shift(shifts[-1].first, last, shifts[-1].hours, False)  # the same fault goes on
        else:
            shifts.append(Shift(first, last, round(level - usual, 6), False))
    return sorted(shifts, key=lambda shift: shift.first)


def _usual(levels: list[tuple[int, int, float]], jump_h: float) -> float:
    """Level that stands the longest over all seasons. [h]."""
    stood = [
        sum(last - first + 1 for first, last, other in levels if abs(other - level) < jump_h / 2)
        for _, _, level in levels
    ]
    return levels[int(np.argmax(stood))][2] if levels else 0.0


Piece = tuple[int, int]


def _pieces(lags: FloatArray, jump_h: float, drift_h: float) -> tuple[list[Piece], list[tuple[int, int, float]]]:
    """Part one season into levels, or find it one drift, whichever leaves less behind."""
    size = lags.size
    edges = [0, *_steps(lags, jump_h), size]
    pieces = [(first, stop - 1) for first, stop in itertools.pairwise(edges)]
    levels = np.concatenate([lags[a : b + 1] - np.median(lags[a : b + 1]) for a, b in pieces])
    if size >= DRIFT_SEEN:
        slope, left_by_slope = _slope(lags)
        change = slope * (size - 1)
        spread = float(np.mean(np.abs(lags - np.median(lags))))
        steady = left_by_slope < min(STEADY * spread, float(np.mean(np.abs(levels))) + 1e-9)
        if abs(change) >= max(drift_h, NOISE * left_by_slope) and (steady or len(pieces) == 1):
            return [], [(0, size - 1, change)]
    return pieces, []


def _steps(lags: FloatArray, jump_h: float) -> list[int]:
    """Where the median of the next windows lies a jump away from that of the last ones."""
    if lags.size < 2 * SEEN:
        return []
    places = np.arange(SEEN, lags.size - SEEN + 1)
    contrast = np.array([np.median(lags[p : p + REACH]) - np.median(lags[max(p - REACH, 0) : p]) for p in places])
    limit = max(jump_h, NOISE * float(np.median(np.abs(np.diff(lags)))))
    steps: list[int] = []
    for place in places[np.argsort(-np.abs(contrast), kind="stable")]:
        if abs(contrast[place - SEEN]) < limit:
            break
        alike = places[(np.abs(places - place) < SEEN) & (np.abs(contrast) >= 0.9 * abs(contrast[place - SEEN]))]
        best = min(alike.tolist(), key=lambda p: _left_beside(lags, p))
        if all(abs(best - step) >= SEEN for step in steps):
            steps.append(best)
    return sorted(steps)


def _left_beside(lags: FloatArray, place: int) -> float:
    """Sum what a step leaves behind in the windows on either side of it. [h]."""
    sides = lags[max(place - REACH, 0) : place], lags[place : place + REACH]
    return float(sum(np.abs(side - np.median(side)).sum() for side in sides))


def _slope(lags: FloatArray) -> tuple[float, float]:
    """Theil and Sen's slope, the median of the slopes of all pairs, and the mean distance from its line."""
    one, other = np.triu_indices(lags.size, 1)
    slope = float(np.median((lags[other] - lags[one]) / (other - one)))
    left = lags - slope * np.arange(lags.size)
    return slope, float(np.mean(np.abs(left - np.median(left))))
