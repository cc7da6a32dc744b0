"""Times given in parts without names: columns of numbers that can only be the parts of one time.

In: the first rows as cells. Out: :class:`hardiness.read.part_words.TimeColumns`, where columns side by side make up
dates and times of day that run one way, under one reading only; else nothing.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise

from hardiness.read.grid import Grid, kind_of
from hardiness.read.part_words import ACCEPTED, CLOCKS, TimeColumns, value_of
from hardiness.read.time_parts import filled

_LEAST_ROWS = 3  # fewer prove no order of numbers
_FIRST_PLACES = 3  # parts without names begin in one of the first columns
_OLDEST = 1970  # a number without a name is a year from here on
# What numbers side by side may be. Year, day of the year, hour, minute and second look like year, month, day, hour and
# minute: nobody writes the first without a header.
_READINGS = [
    (*date, *clock)
    for date in (("year", "month", "day"), ("day", "month", "year"), ("month", "day", "year"), ("year", "doy"))
    for clock in CLOCKS
    if (date[-1], clock[-1]) != ("doy", "second")
]


def parts_in_numbers(grid: Grid, among: Sequence[int] | None = None) -> TimeColumns | None:
    """Find columns side by side whose numbers make up times that run one way, under one reading only.

    Parameters
    ----------
    grid : Grid
        The first rows.
    among : sequence of int, optional
        Just these columns, all of them, in this order.

    Returns
    -------
    TimeColumns or None

    Examples
    --------
    >>> rows = [["7", "2023", "14", hhmm, "-3.2"] for hhmm in ("545", "600", "615")]
    >>> parts_in_numbers(Grid("l.csv", ["column 1", "column 2", "column 3", "column 4", "column 5"], rows, []))
    TimeColumns(places=(1, 2, 3), parts=('year', 'doy', 'hhmm'))
    """
    found: list[tuple[float, TimeColumns]] = []
    starts = range(min(_FIRST_PLACES, len(grid.columns))) if among is None else [0]
    for start in starts:
        for parts in _READINGS:
            places = list(range(start, start + len(parts))) if among is None else list(among)
            whole = places[-1] < len(grid.columns) - 1 if among is None else len(places) == len(parts)
            regular = _regularity(grid, places, parts) if whole else 0.0
            if regular:
                found.append((regular, _in_order(places, parts)))
    best = max((regular for regular, _ in found), default=0.0)
    left = [time for regular, time in found if regular == best]
    shortest = min(left, key=lambda time: len(time.places), default=None)
    if shortest is None:
        return None
    longest = shortest
    for time in left:  # minutes or seconds that are always 0 belong to the time all the same; what differs is open
        held = dict(zip(time.places, time.parts, strict=True))
        extra = {*held} - {*shortest.places}
        alike = held.items() >= dict(zip(shortest.places, shortest.parts, strict=True)).items()
        if not alike or any(cell.strip("0") for n in extra for cell in filled(grid, n)):
            return None
        longest = max(longest, time, key=lambda each: len(each.places))
    return longest


def _in_order(places: Sequence[int], parts: Sequence[str]) -> TimeColumns:
    held = dict(zip(parts, places, strict=True))
    order = [part for part in ACCEPTED if part in held]
    return TimeColumns(tuple(held[part] for part in order), tuple(order))


def _regularity(grid: Grid, places: Sequence[int], parts: Sequence[str]) -> float:
    """Share of the commonest step; 0 where rows have no such time, or their times do not run one way."""
    rows = [row for row in grid.cells if len(row) > max(places) and all(row[n] for n in places)]
    times = [time for row in rows if (time := _time_of([row[n] for n in places], parts)) is not None]
    if len(times) < _LEAST_ROWS or 10 * len(times) < 9 * len(rows):
        return 0.0
    steps = Counter(other - one for one, other in pairwise(times))
    rises, falls = min(steps) > timedelta(0), max(steps) < timedelta(0)
    return max(steps.values()) / (len(times) - 1) if rises or falls else 0.0


def _time_of(cells: Sequence[str], parts: Sequence[str]) -> datetime | None:
    held: dict[str, float] = {}
    for part, cell in zip(parts, cells, strict=True):
        if part == "time":
            match = re.fullmatch(r"(\d\d?):(\d\d)(?::(\d\d))?", cell) if kind_of(cell) == "clock" else None
            if match is None:
                return None
            held |= {"hour": float(match[1]), "minute": float(match[2]), "second": float(match[3] or 0)}
        elif (value := value_of(cell, part)) is None or (part == "year" and value < _OLDEST):
            return None
        else:
            held[part] = value
    hours, minutes = divmod(held.get("hhmm", 0.0), 100)
    try:
        day = datetime(int(held["year"]), int(held.get("month", 1)), int(held.get("day", 1)))
    except ValueError:
        return None
    return day + timedelta(
        days=held.get("doy", 1) - 1,
        hours=held.get("hour", 0) + hours,
        minutes=held.get("minute", 0) + minutes,
        seconds=held.get("second", 0),
    )
