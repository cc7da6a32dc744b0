"""Which number of a date is the day and which the month, decided from the whole file or not at all.

In: date codes as :mod:`hardiness.read.moments` reads them, in the file's order. Out: the order, and days. A file of
dates such as 05/06/2023 is decided by a number above 12; else by its days following one another, or its times running
one way, under just one order; else it is refused and the order asked for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.choices import NO_CHOICES, Choices
from hardiness.read.layouts import SETTLED, YEAR_LAST, YEAR_UNKNOWN
from hardiness.read.moments import full_year

DATE_ORDERS = ("DMY", "MDY", "YMD")
NO_DAY = np.iinfo(np.int64).min
ORDER_IN_WORDS = {"DMY": "day/month/year", "MDY": "month/day/year", "YMD": "year/month/day"}
_ENOUGH = 0.5  # share of the changes of date that go to the very next day, under the right order
_FEW = 0.1  # the same under a wrong one: 05/06 -> 06/06 is then a month

Days = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class DateOrder:
    """The order of the numbers in a file's dates.

    Parameters
    ----------
    order : str
        ``DMY``, ``MDY`` or ``YMD``; what it is does not matter where every date begins with a year of four digits.
    said : str, optional
        How it was decided, where there was something to decide.
    decided_by : str
        ``option``, ``file``, ``last`` (as for the sensor's last file), or empty where nothing was to decide.
    """

    order: str
    said: str | None = None
    decided_by: str = ""


def parse_date_order(text: str) -> str:
    """Read the name of a date order.

    Parameters
    ----------
    text : str
        ``DMY``, ``D/M/Y``, ``m.d.y``, ``ymd``, ...

    Returns
    -------
    str
        ``DMY``, ``MDY`` or ``YMD``.

    Raises
    ------
    InputError
        If it is none of them.

    Examples
    --------
    >>> parse_date_order("d/m/y")
    'DMY'
    """
    order = "".join(letter for letter in text.upper() if letter.isalpha())
    if order not in DATE_ORDERS:
        raise InputError(Problem(f"date order '{text}'", f"one of {', '.join(DATE_ORDERS)} (day, month, year)"))
    return order


def days_of(codes: NDArray[np.int32], kinds: NDArray[np.uint8], order: str) -> Days:
    """Turn date codes into days since 1970-01-01.

    Parameters
    ----------
    codes : numpy.ndarray of int32
        Date codes.
    kinds : numpy.ndarray of uint8
        What each means.
    order : str
        Order of the numbers where the kind leaves it open.

    Returns
    -------
    numpy.ndarray of int64
        Days; ``NO_DAY`` where there is no such date.

    Examples
    --------
    >>> days = days_of(np.array([20230114, 20231401], np.int32), np.array([SETTLED, YEAR_LAST], np.uint8), "DMY")
    >>> (days.view("datetime64[D]") == np.datetime64("2023-01-14")).tolist()
    [True, True]
    """
    big, middle, low = (part.astype(np.int64) for part in (codes // 10_000, codes // 100 % 100, codes % 100))
    year, month, day = big.copy(), middle.copy(), low.copy()
    settled, last, unknown = kinds == SETTLED, kinds == YEAR_LAST, kinds == YEAR_UNKNOWN
    exists = settled | unknown | (last & (order != "YMD"))
    if order == "DMY":
        month[last], day[last] = low[last], middle[last]
    if order == "YMD":
        year[unknown] = full_year(big[unknown])
    elif unknown.any():
        year[unknown] = full_year(low[unknown])
        first, second = big[unknown], middle[unknown]
        month[unknown], day[unknown] = (second, first) if order == "DMY" else (first, second)
    exists &= (year >= 1) & (year <= 9999) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    months = np.where(exists, (year - 1970) * 12 + month - 1, 0).view("datetime64[M]")
    days = months.astype("datetime64[D]").view(np.int64) + day - 1
    exists &= (days.view("datetime64[D]").astype("datetime64[M]") == months) & exists
    return np.where(exists, days, NO_DAY)


def decide_order(
    codes: NDArray[np.int32],
    kinds: NDArray[np.uint8],
    nanoseconds: NDArray[np.int64],
    *,
    order: str | None,
    rows: NDArray[np.int64],
    file: str,
    column: str,
    last: Choices = NO_CHOICES,
) -> DateOrder:
    """Decide the order of day, month and year from all dates of a file.

    Parameters
    ----------
    codes, kinds : numpy.ndarray
        Date codes and what they mean, in the file's order.
    nanoseconds : numpy.ndarray of int64
        Time of day. [ns]
    order : str, optional
        What the user said; it decides.
    rows : numpy.ndarray of int64
        Row of each, for messages.
    file, column : str
        Names, for messages.
    last : Choices
        The order chosen for the sensor's last files, taken where the file leaves it open.

    Returns
    -------
    DateOrder

    Raises
    ------
    InputError
        If two orders fit the file equally well, or some rows fit only one and some only the other.
    """
    if order is not None:
        return DateOrder(order, decided_by="option")
    # one entry a run of equal dates: some hundred instead of a million
    changed = np.flatnonzero((np.diff(codes) != 0) | (np.diff(kinds) != 0))
    runs = np.concatenate(([0], changed + 1))
    lasts = np.append(changed, codes.size - 1)
    codes_of, kinds_of, lengths = codes[runs], kinds[runs], lasts - runs + 1
    open_ = (kinds_of == YEAR_LAST) | (kinds_of == YEAR_UNKNOWN)
    if not open_.any():
        return DateOrder("DMY")
    candidates = DATE_ORDERS if (kinds_of == YEAR_UNKNOWN).any() else DATE_ORDERS[:2]
    days = {each: days_of(codes_of, kinds_of, each) for each in candidates}
    bad = {each: int(lengths[days[each] == NO_DAY].sum()) for each in candidates}
    fewest = min(bad.values())
    left = [each for each in candidates if bad[each] == fewest]
    if fewest:
        _refuse_mixed(days, codes_of, rows[runs], file, column)
    if len(left) == 1:
        other = next(each for each in candidates if each != left[0])
        telling = int(rows[runs[np.flatnonzero((days[other] == NO_DAY) & (days[left[0]] != NO_DAY))[0]]])
        said = (
            f"Dates are read as {ORDER_IN_WORDS[left[0]]}: as {ORDER_IN_WORDS[other]}, row {telling} has no such date."
        )
        return DateOrder(left[0], said, "file")
    if all(np.array_equal(days[each], days[left[0]]) for each in left):
        return DateOrder(left[0])  # 05/05/2023 is one day whichever number comes first
    following = {each: _share_of_next_days(days[each]) for each in left}
    best = max(left, key=following.__getitem__)
    if following[best] >= _ENOUGH and all(following[each] <= _FEW for each in left if each != best):
        return DateOrder(
            best, f"Dates are read as {ORDER_IN_WORDS[best]}: only so do its days follow one another.", "file"
        )
    one_way = [each for each in left if _runs_one_way(days[each], nanoseconds, runs, lasts)]
    if len(one_way) == 1:
        return DateOrder(
            one_way[0], f"Dates are read as {ORDER_IN_WORDS[one_way[0]]}: only so do its times run one way.", "file"
        )
    if last.date_order is not None and (before := parse_date_order(last.date_order)) in left:
        said = f"Dates could be {' or '.join(ORDER_IN_WORDS[each] for each in left)}: read as {ORDER_IN_WORDS[before]}"
        return DateOrder(before, f"{said}, as for {last.source}; --date-order says otherwise.", "last")
    first = int(np.flatnonzero(open_)[0])
    raise InputError(
        Problem(
            f"dates that could be {' or '.join(ORDER_IN_WORDS[each] for each in left)} all through the file",
            "dates that can be told apart, such as 2023-01-14",
            file=file,
            row=int(rows[runs[first]]),
            column=column,
            hint=f"Say which it is: {' or '.join(f'--date-order {each}' for each in left)}.",
        )
    )


def _refuse_mixed(
    days: dict[str, Days], codes: NDArray[np.int32], rows: NDArray[np.int64], file: str, column: str
) -> None:
    """Refuse dates of which several fit only one order and several only another: name a row of each.

    One row that fits no order the others have is a slip, and is told as a day that does not exist.
    """
    fits = {order: these != NO_DAY for order, these in days.items()}
    orders_of = np.sum(list(fits.values()), axis=0)
    only = {order: np.flatnonzero(fit & (orders_of == 1)) for order, fit in fits.items()}
    several = sorted((order for order in only if only[order].size), key=lambda order: -only[order].size)
    if len(several) < 2 or only[several[1]].size < min(2, only[several[0]].size):
        return
    one, other = several[:2]
    found = (
        f"dates in two orders: row {rows[only[one][0]]} can only be {ORDER_IN_WORDS[one]}, "
        f"row {rows[only[other][0]]} only {ORDER_IN_WORDS[other]}"
    )
    hint = "Were two exports put together? Add each as a file of its own."
    row = int(rows[only[other][0]])
    raise InputError(Problem(found, "one order all through the file", file=file, row=row, column=column, hint=hint))


def _share_of_next_days(days: Days) -> float:
    steps = np.abs(np.diff(days[days != NO_DAY]))
    return float(np.mean(steps == 1)) if steps.size else 0.0


def _runs_one_way(days: Days, nanoseconds: NDArray[np.int64], runs: Days, lasts: Days) -> bool:
    """Tell whether times only rise, or only fall, from the last reading of each date to the first of the next."""
    steps = np.diff(days)
    steps = steps[(days[1:] != NO_DAY) & (days[:-1] != NO_DAY)]
    if not steps.size or (steps == 0).any():
        return False
    within = nanoseconds[lasts] - nanoseconds[runs]
    rises, falls = bool((within >= 0).all() and (steps > 0).all()), bool((within <= 0).all() and (steps < 0).all())
    return rises or falls
