"""How late the days of one sensor come after those of another: lags of the greatest cross-correlation.

In: readings of two sensors on one grid of half hours. Out: a lag every three days, read between grid points off a
parabola; and, of one sensor alone, the hour at which its own days peak.
"""

from __future__ import annotations

import numpy as np

from hardiness.weather.gaps import FloatArray

GRID_H = 0.5  # [h] readings are read off so often
A_DAY = round(24 / GRID_H)
WINDOW_DAYS = 3  # [day] one lag for so many days
MOST_LAG_H = 14.0  # [h] beyond half a day early and late look alike
ALIKE = 0.85  # [1] least correlation of two courses that tells a lag
LEAST_COURSE_K = 1.0  # [K] least standard deviation of a course of days that tells one
WHOLE = 0.8  # [1] share of a window that must be there


def days_of(grid: FloatArray) -> FloatArray:
    """Take the mean over 24 hours off readings, so that the courses of days are left.

    Parameters
    ----------
    grid : ndarray of float
        Readings every half hour, whole windows of them; NaN is missing. [degC]

    Returns
    -------
    ndarray of float
        A row a window of three days; NaN where readings are missing. [K]
    """
    there = np.isfinite(grid)
    sums = np.concatenate(([0.0], np.cumsum(np.where(there, grid, 0.0))))
    counts = np.concatenate(([0], np.cumsum(there)))
    low = np.clip(np.arange(grid.size) - A_DAY // 2, 0, grid.size)
    high = np.clip(low + A_DAY, 0, grid.size)
    enough = counts[high] - counts[low] >= WHOLE * A_DAY
    means = np.divide(sums[high] - sums[low], counts[high] - counts[low], out=np.full(grid.size, np.nan), where=enough)
    rows: FloatArray = (grid - means).reshape(-1, WINDOW_DAYS * A_DAY)
    return rows


def peaks_of(days: FloatArray) -> FloatArray:
    """Say when the course of the day peaks, by its first harmonic of 24 hours.

    Parameters
    ----------
    days : ndarray of float
        As :func:`days_of` returns them. [K]

    Returns
    -------
    ndarray of float
        For each window how much later than in the middle of all; NaN where days have no course. [h]
    """
    there = np.isfinite(days)
    turn = np.exp(-2j * np.pi * np.arange(days.shape[1]) / A_DAY)
    whole = there.mean(axis=1) >= WHOLE
    wave = np.where(there, days, 0.0) @ turn * 2 / np.maximum(there.sum(axis=1), 1)
    told = whole & (np.abs(wave) >= 2 * LEAST_COURSE_K)
    if not told.any():
        return np.full(len(days), np.nan)
    hours = -np.angle(wave) / (2 * np.pi) * 24
    middle = -np.angle(wave[told].sum()) / (2 * np.pi) * 24
    return np.where(told, (hours - middle + 12) % 24 - 12, np.nan)


def lags_of(days: FloatArray, beside: FloatArray) -> FloatArray:
    """Say how late the days of one sensor come after those of another, window by window.

    Parameters
    ----------
    days, beside : ndarray of float
        Courses of the day of the two on one grid of half hours, a row a window; NaN is missing. [K]

    Returns
    -------
    ndarray of float
        The lag of the greatest correlation, read between grid points off a parabola; NaN where the two are not alike
        enough, or not there. [h]

    Examples
    --------
    >>> hours = np.arange(5 * WINDOW_DAYS * A_DAY) * GRID_H
    >>> course = [5 * np.sin(2 * np.pi * (hours - late) / 24).reshape(5, -1) for late in (2.0, 0.0)]
    >>> lags_of(*course)[1:-1].round(2).tolist()
    [2.0, 2.0, 2.0]
    """
    shape, most = days.shape, round(MOST_LAG_H / GRID_H)
    one, other = days.ravel(), beside.ravel()
    padded = np.concatenate((np.full(most, np.nan), other, np.full(most, np.nan)))
    there = np.isfinite(one)
    filled = np.where(there, one, 0.0)
    correlations = np.full((2 * most + 1, shape[0]), np.nan)
    for place in range(2 * most + 1):  # lag = (place - most) half hours: the other's values of so long ago
        moved = padded[2 * most - place : 2 * most - place + one.size]
        both = there & np.isfinite(moved)
        moved = np.where(both, moved, 0.0)
        kept = np.where(both, filled, 0.0)
        product, square, moved_square = ((a * b).reshape(shape).sum(axis=1)
                                         for a, b in ((kept, moved), (kept, kept), (moved, moved)))  # fmt: skip
        count = both.reshape(shape).sum(axis=1)
        floor = count * LEAST_COURSE_K**2
        sound = (count >= WHOLE * shape[1]) & (square > floor) & (moved_square > floor)
        np.divide(product, np.sqrt(square * moved_square), out=correlations[place], where=sound)
    filled_in = np.nan_to_num(correlations, nan=-1.0)
    best = np.clip(filled_in.argmax(axis=0), 1, 2 * most - 1)
    columns = np.arange(shape[0])
    before, at, after = (filled_in[best + d, columns] for d in (-1, 0, 1))
    bend = before - 2 * at + after
    part = np.where(bend < 0, 0.5 * (before - after) / np.where(bend < 0, bend, -1.0), 0.0)
    return np.where(at >= ALIKE, (best - most + np.clip(part, -0.5, 0.5)) * GRID_H, np.nan)


def agreed(lags: FloatArray) -> FloatArray:
    """Take the lag on which neighbours agree: their median, and of two middle ones that nearer to none.

    Parameters
    ----------
    lags : ndarray of float
        A row a neighbour, a column a window; NaN tells nothing. [h]

    Returns
    -------
    ndarray of float
        0 where the two middle ones differ in sign: then one of them is off, and not this sensor. [h]

    Examples
    --------
    >>> agreed(np.array([[2.0, 2.0, 2.0], [0.0, 1.9, -1.0], [np.nan, 2.1, np.nan]])).tolist()
    [0.0, 2.0, 0.0]
    """
    ordered = np.sort(lags, axis=0)  # NaN comes last
    counts = np.isfinite(ordered).sum(axis=0)
    columns = np.arange(lags.shape[1])
    low = ordered[np.maximum(counts - 1, 0) // 2, columns]
    high = ordered[np.minimum(counts // 2, lags.shape[0] - 1), columns]
    high = np.where(counts % 2 == 1, low, high)
    same: FloatArray = np.where(
        np.sign(low) == np.sign(high), np.sign(low) * np.minimum(np.abs(low), np.abs(high)), 0.0
    )
    return np.where(counts > 0, same, np.nan)
