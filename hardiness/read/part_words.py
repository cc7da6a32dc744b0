"""The parts of a time: what each is called, by options and by names of columns, and what its cells may be.

In: names and cells. Out: parts and their numbers. Which columns make up the times of a file:
:mod:`hardiness.read.time_parts`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from hardiness.read.column_words import UNIT_PART
from hardiness.read.layouts import month_named
from hardiness.read.years import FIRST_YEAR, LAST_YEAR, YEARS

# What each part is called in an option, and what its cells hold. A date or a time of day may be one of the parts.
ACCEPTED = {
    "year": f"a year from {YEARS}",
    "month": "a month from 1 to 12, or its name",
    "day": "a day from 1 to 31",
    "doy": "a day of the year from 1 to 366",
    "date": "a date such as 2023-01-14",
    "time": "a time of day such as 06:05",
    "hhmm": "hours and minutes in one number, such as 605 or 1745",
    "hour": "an hour from 0 to 24",
    "minute": "a minute from 0 to 59",
    "second": "a second from 0 to 59",
    "ampm": "AM or PM",
}
# The same in a preview, where they are called otherwise.
PARTS_IN_WORDS = {part: part for part in ACCEPTED} | {
    "doy": "day of the year", "time": "time of day", "hhmm": "hours and minutes", "ampm": "AM or PM"
}  # fmt: skip
WHOLE_DATES = (("year", "month", "day"), ("year", "doy"), ("date",))
CLOCKS = (("time",), ("hhmm",), ("hour", "minute", "second"), ("hour", "minute"), ("hour",))
HOW_TO_NAME = "--time-column 'year=COLUMN + doy=COLUMN + hhmm=COLUMN'"
_NAMES = {
    part: re.compile(words)
    for part, words in {
        "year": r"y|yr|yy|yyyy|year|jahr|ann[eé]e|an|a[nñ]o|anno|jaar|år|rok|год|vuosi|年",
        "month": r"mo|mon|mnth|month|monat|mois|mes|m[eê]s|mese|maand|m[åa]nad|måned|miesi[aą]c|m[eě]s[ií]c|месяц"
        r"|kuukausi|月",
        "day": r"d|dd|dy|dom|day|day of month|tag|jour|d[ií]a|giorno|gg|dag|dzie[nń]|den|день|päivä|日",
        "doy": r"doy|j ?day|jd|julian(?: day| date)?|day of year|year day|yday|ordinal(?: day)?|tag des jahres"
        r"|jahrestag|jour julien|jour de l'ann[eé]e|d[ií]a juliano|d[ií]a del a[nñ]o|dia do ano|giorno giuliano"
        r"|giorno dell'anno|dag van het jaar|dag på året|dzie[nń] roku|通日",
        "hhmm": r"hh ?mm|hour ?minute|hr ?min|hr ?mn|hh ?mm time|time hh ?mm|military time",
        "hour": r"h|hr|hrs|hh|hours?|stunden?|std|heures?|horas?|ora|ore|uur|timme|godzina|godz|hodina|час|tunti|時",
        "minute": r"mi|mn|min|mins|minutes?|minuten?|minutos?|minuti|minuut|minut|minuta|мин|минута|minuutti|分",
        "second": r"s|ss|sec|secs|seconds?|sekunden?|sek|secondes?|segundos?|second[oi]|sekund|sekunda|сек|секунда|秒",
        "ampm": r"am ?/? ?pm|a/p|ampm|meridiem",
    }.items()
}
_EITHER = re.compile(r"mm?")  # the month, or after an hour the minute
_NOT_WHOSE = re.compile(r"\b(?:rtm|utc|gmt|lst|local|the)\b")
_INNER_START = re.compile(r"(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])")
NUMBER = re.compile(r"(\d{1,4})(?:[.,](\d{1,9}))?")
_HALVES = re.compile(r"([ap])\.? ?m\.?|[ap]", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """The columns of times.

    Parameters
    ----------
    places : tuple of int
        Column numbers, from 0: one of times, two of dates and times of day, or one for each part.
    parts : tuple of str
        What each holds, of :data:`ACCEPTED`, date before time of day; empty: times, or dates and times of day.
    """

    places: tuple[int, ...]
    parts: tuple[str, ...] = ()


def value_of(cell: str, part: str) -> float | None:
    """Read one part of a time.

    Parameters
    ----------
    cell : str
    part : str
        Of :data:`ACCEPTED`, but neither a date nor a time of day.

    Returns
    -------
    float or None
        Its number (a month's name is one, AM is 0 and PM 12); None where the cell is no such part.

    Examples
    --------
    >>> value_of("14", "day"), value_of("Feb", "month"), value_of("605", "hhmm"), value_of("25", "hour")
    (14.0, 2.0, 605.0, None)
    """
    text = cell.strip(' "\t')
    if part == "ampm":
        match = _HALVES.fullmatch(text)
        return None if match is None else 12.0 if text[0] in "pP" else 0.0
    if part == "month" and (month := month_named(text.lower().strip("."))) is not None and text[:1].isalpha():
        return float(month)
    match = NUMBER.fullmatch(text)
    if match is None:
        return None
    number = float(f"{match[1]}.{match[2] or 0}")
    return number if in_range(number, part) else None


def in_range(number: float, part: str) -> bool:
    """Tell whether a number can be a part of a time.

    Parameters
    ----------
    number : float
    part : str

    Returns
    -------
    bool
    """
    if part in ("second", "doy"):
        return 0 <= number < 60 if part == "second" else 1 <= number < 367
    if number % 1:
        return False
    if part == "year":
        return 0 <= number <= 99 or FIRST_YEAR <= number <= LAST_YEAR
    if part == "hhmm":
        return 0 <= number <= 2400 and number % 100 < 60
    least, most = {"month": (1, 12), "day": (1, 31), "hour": (0, 24), "minute": (0, 59)}[part]
    return least <= number <= most


def part_of_name(name: str, before: str | None = None) -> str | None:
    """Tell which part of a time a column's name means.

    Parameters
    ----------
    name : str
    before : str, optional
        The part that the last such column before it holds: ``MM`` after the hour is the minute.

    Returns
    -------
    str or None

    Examples
    --------
    >>> [part_of_name(name) for name in ("Jahr", "Day of Year", "HourMinute", "Temp", "MM")]
    ['year', 'doy', 'hhmm', None, 'month']
    >>> part_of_name("MM", "hour")
    'minute'
    """
    text = re.sub(r"[\s_.\-]+", " ", _INNER_START.sub(" ", UNIT_PART.sub(" ", name))).casefold()
    text = " ".join(_NOT_WHOSE.sub(" ", text).split())
    if _EITHER.fullmatch(text):
        return "minute" if before == "hour" else "month"
    return next((part for part, words in _NAMES.items() if words.fullmatch(text)), None)


def names_whole_date(names: Sequence[str]) -> bool:
    """Tell whether columns are named year, month and day, or year and day of the year.

    Parameters
    ----------
    names : sequence of str

    Returns
    -------
    bool
    """
    parts = {part_of_name(name) for name in names}
    return any({*date} <= parts for date in WHOLE_DATES[:2])


def parts_said(name: str) -> list[tuple[str | None, str]]:
    """Take apart what the user says of the columns of times.

    Parameters
    ----------
    name : str
        Columns with a plus between; before each, if wanted, the part that it holds.

    Returns
    -------
    list of (str or None, str)
        The part, where it is said, and the column.

    Examples
    --------
    >>> parts_said("year=2 + doy=3 + Time")
    [('year', '2'), ('doy', '3'), (None, 'Time')]
    """
    said: list[tuple[str | None, str]] = []
    for piece in name.split("+"):
        part, equals, column = (each.strip() for each in piece.partition("="))
        known = equals and part.casefold() in ACCEPTED
        said.append((part.casefold(), column) if known else (None, piece.strip()))
    return said
