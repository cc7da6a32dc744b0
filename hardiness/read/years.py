"""The years that a date may lie in, and what is said of dates that this computer's clock finds odd.

A date outside these years is a slip (1031 for 2031) and is refused. One that lies ahead of the computer's clock may be
right where that clock is wrong: it is taken, and said.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from hardiness.words import count

FIRST_YEAR, LAST_YEAR = 1850, 2199  # older than any record of use, later than any plan; int64 ns reach 1678 to 2261
YEARS = f"{FIRST_YEAR} to {LAST_YEAR}"
DAYS_AHEAD = 2  # [day] a planting may be entered the evening before, and a zone may be a day ahead
_PAST = ("scored_on",)  # what was seen was seen by today


def say_odd_times(amount: int, noun: str, where: str, row: int, first: str) -> str:
    """Say how many dates or readings lie where they are not expected, and which is the first.

    Parameters
    ----------
    amount : int
        How many.
    noun : str
        What one of them is.
    where : str
        Where they lie.
    row : int
        Row of the first in its file.
    first : str
        The first, as people write it.

    Returns
    -------
    str
        Without a full stop.

    Examples
    --------
    >>> say_odd_times(3, "date", "after today, 2026-11-25", 4, "2031-04-02")
    '3 dates lie after today, 2026-11-25; the first is row 4, 2031-04-02'
    """
    lie, which = ("lies", "it is") if amount == 1 else ("lie", "the first is")
    return f"{count(amount, noun)} {lie} {where}; {which} row {row}, {first}"


def say_dates_ahead(file: str, column: str, dates: Iterable[tuple[int, object]], today: dt.date) -> list[str]:
    """Say how many dates of a column lie after today: scores at once, other dates when more than two days ahead.

    Parameters
    ----------
    file, column : str
        Where they stand.
    dates : iterable of (int, datetime.date or None)
        Row and date; None where there is none.
    today : datetime.date
        Today in the trial's zone.

    Returns
    -------
    list of str
        One sentence, or none.

    Examples
    --------
    >>> dates = [(2, dt.date(2026, 11, 27)), (3, None), (4, dt.date(2031, 4, 2))]
    >>> say_dates_ahead("plants.csv", "planted_on", dates, dt.date(2026, 11, 25))
    ['plants.csv, column planted_on: 1 date lies after today, 2026-11-25; it is row 4, 2031-04-02.']
    """
    latest = today if column in _PAST else today + dt.timedelta(days=DAYS_AHEAD)
    ahead = [(row, date) for row, date in dates if isinstance(date, dt.date) and date > latest]
    if not ahead:
        return []
    row, first = ahead[0]
    odd = say_odd_times(len(ahead), "date", f"after today, {today}", row, first.isoformat())
    return [f"{file}, column {column}: {odd}."]
