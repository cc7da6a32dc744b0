"""Times as loggers write them: shapes of cells -> numbers of day, month, year, clock and offset.

In: cells of one shape (see :mod:`hardiness.read.slices`). Out: for each cell a date code, the time of day, and the
offset from UTC where the cell names one. Which number is the day and which the month may depend on the whole file and
is not decided here (see :mod:`hardiness.read.dates`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hardiness.read.slices import Bytes, Span, whole_numbers

# What the code of a date means, apart from NO_DATE (a bare time of day) and EPOCH (the count itself is the instant).
NO_DATE, SETTLED, YEAR_LAST, YEAR_UNKNOWN, EPOCH = range(5)
NO_OFFSET = np.iinfo(np.int16).min
SECOND = 1_000_000_000  # [ns]
DAY = 86_400 * SECOND  # [ns]
LARGEST_OFFSET = 14 * 60  # [min] UTC+14:00 is the largest in use

# First letters of the months, lower case, in several languages. Names that are one month here and another there
# (listopad, lipanj) are left out.
_MONTHS = (
    ("jan", "jän", "gen", "ene"),
    ("feb", "fév", "fev"),
    ("mar", "mär", "mrz", "maa", "mrt"),
    ("apr", "avr", "abr"),
    ("may", "mai", "mag", "maj", "mei"),
    ("jun", "juin", "giu"),
    ("jul", "juil", "lug"),
    ("aug", "aoû", "aou", "ago"),
    ("sep", "set"),
    ("oct", "okt", "ott", "out"),
    ("nov",),
    ("dec", "dez", "déc", "dic"),
)
# Letters for zones that mean one offset. [h] CST, IST, BST and AST each mean several and are not accepted.
ZONE_LETTERS = {
    "utc": 0, "gmt": 0, "z": 0, "est": -5, "edt": -4, "cdt": -5, "mst": -7, "mdt": -6, "pst": -8, "pdt": -7,
    "akst": -9, "akdt": -8, "wet": 0, "west": 1, "cet": 1, "cest": 2, "eet": 2, "eest": 3, "aest": 10, "aedt": 11,
    "nzst": 12, "nzdt": 13, "jst": 9, "mez": 1, "mesz": 2, "awst": 8, "sast": 2, "msk": 3, "hst": -10,
}  # fmt: skip

_SPACE = r"(?:[ \r]|\xc2\xa0|\xe2\x80\xaf|\xe2\x80\x89)"
_NAME = r"(?P<name>(?:[a-z]|[\xc3-\xc5][\x80-\xbf]){3,12})"
_SEPARATOR = r"[-/.] ?"
_ORDINAL = r"(?:st|nd|rd|th|\.)?"
_DATES = {
    "digits": (r"(?P<year>0000)(?P<month>00)(?P<day>00)", SETTLED),
    "year first": (rf"(?P<year>0000)(?P<s>{_SEPARATOR}|{_SPACE})(?P<month>00?)(?P=s)(?P<day>00?)\.?", SETTLED),
    "year last": (rf"(?P<first>00?)(?P<s>{_SEPARATOR}|{_SPACE})(?P<second>00?)(?P=s)(?P<year>0000)\.?", YEAR_LAST),
    "short year": (rf"(?P<first>00?)(?P<s>{_SEPARATOR})(?P<second>00?)(?P=s)(?P<year>00)", YEAR_UNKNOWN),
    "day name": (rf"(?P<day>00?){_ORDINAL}[-/ ]?{_NAME}[-/ .,]{{0,2}}(?P<year>0000|00)", SETTLED),
    "name day": (rf"{_NAME}[-/ .]{{1,2}}(?P<day>00?){_ORDINAL}[-/ ,]{{1,2}}(?P<year>0000|00)", SETTLED),
    "year name": (rf"(?P<year>0000)[-/ ]?{_NAME}[-/ .]{{0,2}}(?P<day>00?)", SETTLED),
}  # fmt: skip
_WEEKDAY = r"(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]{0,6}[.,]?[ ]{0,2})?"
_NOON = r"(?:[ap]\.? ?m\.?|[ap])"
_CLOCK = (
    rf"(?:(?P<before>[ap]m){_SPACE}?)?(?P<hour>00?)(?P<c>[:.h])(?P<minute>00)"
    rf"(?:(?:(?P=c)|:)(?P<second_of_minute>00)(?:[.,:](?P<fraction>0{{1,9}}))?)?(?:{_SPACE}{{0,2}}(?P<after>{_NOON}))?"
)
_PLAIN_CLOCK = _CLOCK.replace("[:.h]", "[:h]")  # alone, 06.05 is a number and 06.05.21 a date
_DIGIT_CLOCK = r"(?P<hour>00)(?P<minute>00)(?P<second_of_minute>00)?"
_OFFSET = (
    rf"(?:{_SPACE}{{0,2}}(?:(?P<utc>utc|gmt)? ?(?P<sign>\+|-|\xe2\x88\x92)"
    r"(?P<offset_hour>00|(?(utc)0|00))(?::?(?P<offset_minute>00))?"
    rf"|(?P<letters>{'|'.join(sorted(ZONE_LETTERS, key=len, reverse=True))})))?"
)
_JOIN = rf"(?:{_SPACE}{{0,2}}[t,_]{_SPACE}{{0,2}}|{_SPACE}{{1,3}}|-)"


def _pattern(text: str) -> re.Pattern[bytes]:
    return re.compile(rf'{_SPACE}{{0,20}}"?{_SPACE}{{0,2}}{text}{_SPACE}{{0,2}}"?{_SPACE}{{0,20}}'.encode("latin-1"))


_PATTERNS: tuple[tuple[re.Pattern[bytes], int], ...] = (
    (_pattern(r"(?P<epoch>0{10})(?:[.,](?P<fraction>0{1,9}))?"), EPOCH),
    (_pattern(r"(?P<epoch_ms>0{13})(?:[.,](?P<fraction>0{1,6}))?"), EPOCH),
    (_pattern(_PLAIN_CLOCK + _OFFSET), NO_DATE),
    *((_pattern(_WEEKDAY + date), kind) for date, kind in _DATES.values()),
    *((_pattern(_WEEKDAY + date + _JOIN + _CLOCK + _OFFSET), kind) for date, kind in _DATES.values()),
    *((_pattern(_CLOCK + rf"{_SPACE}{{1,3}}" + _WEEKDAY + date), kind) for date, kind in _DATES.values()),
    (_pattern(_DATES["digits"][0] + r"[t _-]?" + _DIGIT_CLOCK + _OFFSET), SETTLED),
)
_CLOCK_PATTERNS = ((_pattern(_CLOCK + _OFFSET), NO_DATE), (_pattern(_DIGIT_CLOCK), NO_DATE))


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the parts of a time stand in all cells of one shape.

    Parameters
    ----------
    kind : int
        ``NO_DATE``, ``SETTLED``, ``YEAR_LAST``, ``YEAR_UNKNOWN`` or ``EPOCH``.
    parts : dict of str to (int, int)
        Byte ranges of the groups of digits.
    month : int, optional
        The month, where it is named.
    half : str, optional
        ``a`` before noon, ``p`` after it, on a 12-hour clock.
    offset : int, optional
        Minutes east of UTC that letters name, or the sign (1, -1) of an offset in digits.
    """

    kind: int
    parts: dict[str, Span] = field(hash=False)
    month: int | None = None
    half: str | None = None
    offset: int | None = None

    @property
    def has_date(self) -> bool:
        """Whether a day is named."""
        return self.kind != NO_DATE

    @property
    def has_clock(self) -> bool:
        """Whether a time of day is named."""
        return self.kind == EPOCH or "hour" in self.parts


@dataclass(frozen=True, slots=True)
class Moments:
    """What cells of one shape say, all arrays of one length.

    Parameters
    ----------
    kind : int
        What ``code`` means.
    code : numpy.ndarray of int32
        ``SETTLED``: year * 10000 + month * 100 + day; ``YEAR_LAST``: year * 10000 + first * 100 + second number;
        ``YEAR_UNKNOWN``: the three numbers in their order.
    nanoseconds : numpy.ndarray of int64
        Since midnight; for ``EPOCH`` since 1970-01-01 UTC. [ns]
    offset : numpy.ndarray of int16
        East of UTC, or ``NO_OFFSET``. [min]
    good : numpy.ndarray of bool
        Whether the clock and the offset exist (the date is not judged).
    """

    kind: int
    code: NDArray[np.int32]
    nanoseconds: NDArray[np.int64]
    offset: NDArray[np.int16]
    good: NDArray[np.bool_]


@lru_cache(maxsize=8192)
def layout_of(shape: bytes, *, is_clock: bool = False) -> Layout | None:
    """Understand a shape as a time.

    Parameters
    ----------
    shape : bytes
        A cell with every digit as ``0`` and letters in lower case.
    is_clock : bool
        Whether the column is known to hold times of day: then ``06.05.00`` and ``060500`` are such.

    Returns
    -------
    Layout or None
        None where it is no time.

    Examples
    --------
    >>> layout = layout_of(b"00/00/0000 0:00 pm")
    >>> layout.kind == YEAR_LAST, layout.half, layout.parts["minute"]
    (True, 'p', (13, 15))
    """
    for pattern, kind in _CLOCK_PATTERNS if is_clock else _PATTERNS:
        match = pattern.fullmatch(shape)
        if match is None:
            continue
        found = {name: text for name, text in match.groupdict().items() if text}
        month = month_named(found["name"].decode("utf-8", "replace")) if "name" in found else None
        if "name" in found and month is None:
            continue
        offset: int | None = None
        if "letters" in found:
            offset = 60 * ZONE_LETTERS[found["letters"].decode()]
        elif "sign" in found:
            offset = 1 if found["sign"] == b"+" else -1
        half = (found.get("before") or found.get("after") or b"").decode()[:1] or None
        parts = {name: match.span(name) for name, text in found.items() if set(text) == {ord("0")}}
        if kind == YEAR_UNKNOWN and parts["first"][1] - parts["first"][0] == 1:
            kind = YEAR_LAST  # a year is not written with one digit
        return Layout(kind, parts, month, half, offset)
    return None


def month_named(name: str) -> int | None:
    """Tell which month a name means, by its first letters.

    Parameters
    ----------
    name : str
        In lower case.

    Returns
    -------
    int or None
        1 to 12.
    """
    return next((n for n, starts in enumerate(_MONTHS, start=1) if name.startswith(starts)), None)


def read_moments(layout: Layout, cells: Bytes) -> Moments:
    """Read the times in cells of one shape.

    Parameters
    ----------
    layout : Layout
        Where their parts stand.
    cells : numpy.ndarray
        Their bytes, dims (cell, byte).

    Returns
    -------
    Moments

    Examples
    --------
    >>> cells = np.frombuffer(b"2023-01-14T06:05Z", np.uint8)[np.newaxis]
    >>> moments = read_moments(layout_of(b"0000-00-00t00:00z"), cells)
    >>> moments.code.tolist(), (moments.nanoseconds // SECOND).tolist(), moments.offset.tolist()
    ([20230114], [21900], [0])
    """
    size = len(cells)
    zeros = np.zeros(size, np.int64)

    def part(name: str) -> NDArray[np.int64]:
        return whole_numbers(cells, layout.parts[name]) if name in layout.parts else zeros

    fraction = _nanoseconds(cells, layout)
    if layout.kind == EPOCH:
        good = np.ones(size, bool)
        if "epoch_ms" in layout.parts:
            count = part("epoch_ms") * (SECOND // 1000) + fraction // 1000
        else:
            seconds = part("epoch")
            good = seconds < np.iinfo(np.int64).max // SECOND
            count = np.where(good, seconds, 0) * SECOND + fraction
        return Moments(EPOCH, zeros.astype(np.int32), count, zeros.astype(np.int16), good)
    hour, minute, second = part("hour"), part("minute"), part("second_of_minute")
    good = (minute < 60) & (second < 60)
    if layout.half is None:
        good &= (hour < 24) | ((hour == 24) & (minute + second + fraction == 0))
    else:
        good &= hour <= 12
        hour = hour % 12 + (12 if layout.half == "p" else 0)
    nanoseconds = ((hour * 60 + minute) * 60 + second) * SECOND + fraction
    offset = np.full(size, NO_OFFSET, np.int16)
    if "offset_hour" in layout.parts:
        minutes = part("offset_hour") * 60 + part("offset_minute")
        good &= (minutes <= LARGEST_OFFSET) & (part("offset_minute") < 60)
        offset = np.where(good, (layout.offset or 1) * minutes, 0).astype(np.int16)
    elif layout.offset is not None:
        offset = np.full(size, layout.offset, np.int16)
    return Moments(layout.kind, _code(cells, layout), nanoseconds, offset, good)


def _nanoseconds(cells: Bytes, layout: Layout) -> NDArray[np.int64]:
    """Read a fraction of a second in ns (of a millisecond: times 1000)."""
    if "fraction" not in layout.parts:
        return np.zeros(len(cells), np.int64)
    first, stop = layout.parts["fraction"]
    return np.asarray(whole_numbers(cells, (first, stop)) * 10 ** (9 - (stop - first)))


def _code(cells: Bytes, layout: Layout) -> NDArray[np.int32]:
    if layout.kind == NO_DATE:
        return np.zeros(len(cells), np.int32)
    names = ("year", "month", "day")
    if layout.kind == YEAR_LAST:
        names = ("year", "first", "second")
    elif layout.kind == YEAR_UNKNOWN:
        names = ("first", "second", "year")
    numbers = [
        np.full(len(cells), layout.month or 0, np.int64) if name not in layout.parts
        else whole_numbers(cells, layout.parts[name])
        for name in names
    ]  # fmt: skip
    if layout.kind != YEAR_UNKNOWN and layout.parts["year"][1] - layout.parts["year"][0] == 2:
        numbers[0] = full_year(numbers[0])
    return (numbers[0] * 10_000 + numbers[1] * 100 + numbers[2]).astype(np.int32)


def full_year(two_digits: NDArray[np.int64]) -> NDArray[np.int64]:
    """Complete years of two digits: 90-99 are 1990-1999 (loggers have been about that long), others are 20xx.

    Parameters
    ----------
    two_digits : ndarray of int
        0 to 99.

    Returns
    -------
    ndarray of int

    Examples
    --------
    >>> full_year(np.array([23, 99])).tolist()
    [2023, 1999]
    """
    return np.where(two_digits >= 90, 1900, 2000) + two_digits
