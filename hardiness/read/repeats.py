"""One instant, one temperature: rows that repeat an instant within one file.

In: instants and temperatures. Out: the first reading of each instant, or a refusal naming the rows that contradict.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.plaintext import LISTED

SAME_READING = 0.06  # [K] a reading written once in tenths of a deg F and once in tenths of a deg C differs by less
_ROUNDING = 1e-9  # [K]

Rows = NDArray[np.signedinteger[Any]]


def find_firsts(
    utc: NDArray[np.datetime64],
    celsius: NDArray[np.float64],
    rows: Rows,
    *,
    resolution_c: float,
    file: str,
    column: str,
) -> tuple[slice | Rows, float, int]:
    """Find the first reading of each instant.

    Parameters
    ----------
    utc : numpy.ndarray of datetime64[ns]
        Instants, in any order. [UTC]
    celsius : numpy.ndarray of float64
        Temperatures. [degC]
    rows : numpy.ndarray of int
        Row of each, for messages.
    resolution_c : float
        Last digit of the file. [K]
    file, column : str
        Names, for messages.

    Returns
    -------
    firsts : slice or numpy.ndarray of int64
        Which readings to keep, in their order.
    interval_min : float
        Median step between instants, NaN for a single one. [min]
    repeats : int
        How many readings repeat an instant.

    Raises
    ------
    InputError
        If two readings of one instant differ by more than the last digit and 0.06 K.

    Examples
    --------
    >>> utc = np.array(["2023-01-14T06:00", "2023-01-14T06:15", "2023-01-14T06:00"], "M8[ns]")
    >>> firsts, interval, repeats = find_firsts(
    ...     utc, np.array([-3.0, -3.2, -3.05]), np.array([2, 3, 4]), resolution_c=0.01, file="l.csv", column="Temp"
    ... )
    >>> firsts.tolist(), interval, repeats
    ([0, 1], 15.0, 1)
    """
    steps = np.diff(utc)
    if (steps > np.timedelta64(0)).all():
        return slice(None), _median_minutes(steps), 0
    order = np.argsort(utc, kind="stable")
    rises = np.concatenate(([True], np.diff(utc[order]) > np.timedelta64(0)))
    starts = np.flatnonzero(rises)
    first_of = order[np.repeat(starts, np.diff(np.append(starts, order.size)))]  # for each row in `order`
    differ = np.abs(celsius[order] - celsius[first_of]) > max(resolution_c, SAME_READING) + _ROUNDING
    if differ.any():
        pairs = [(int(first_of[n]), int(order[n])) for n in np.flatnonzero(differ)[:LISTED]]
        problems: list[Problem | str] = [
            Problem(
                f"{celsius[one]:.4g} C and {celsius[other]:.4g} C at {str(utc[one])[:19].replace('T', ' ')} UTC",
                "one temperature for one instant",
                file=file,
                row=f"{rows[one]} and {rows[other]}",
                column=column,
                hint="Two loggers in one file (--sensor-column names the column that tells them apart), a clock that"
                " was reset, or a 12-hour clock without AM and PM?",
            )
            for one, other in pairs
        ]
        if (more := int(np.count_nonzero(differ)) - len(pairs)) > 0:
            problems.append(f"{file}: {more} more rows that contradict an earlier one.")
        raise InputError(problems)
    return np.sort(order[rises]), _median_minutes(np.diff(utc[order[rises]])), int(np.count_nonzero(~rises))


def _median_minutes(steps: NDArray[np.timedelta64]) -> float:
    if not steps.size:
        return float("nan")
    sizes = steps.view(np.int64)  # the caller's own, and not used again: sorted in part where it stands
    middle = steps.size // 2
    sizes.partition([middle - 1, middle] if steps.size > 1 else 0)
    return (float(sizes[middle]) if steps.size % 2 else float(sizes[middle - 1]) / 2 + float(sizes[middle]) / 2) / 60e9
