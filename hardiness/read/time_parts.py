"""Times given in parts: which columns hold the year, the month, the day, the hour ... of one time.

In: the first rows as cells. Out: :class:`TimeColumns`. The names of columns tell the parts, in the languages that
loggers speak, and their cells must be such; columns without names: :mod:`hardiness.read.time_numbers`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from hardiness.read.column_words import TIME_WORDS, UNIT_PART
from hardiness.read.grid import Grid
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
        "year": r"y|yr|yyyy|year|jahr|ann[eé]e|an|a[nñ]o|anno|jaar|år|rok|год|vuosi|年",
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
_CLOCK_NAMES = re.compile(r"time|zeit|uhrzeit|uhr|heure|hora|ora|tid|tijd|czas|čas|klokkeslett|klockan|время|時刻|時間")
_BARE_STATISTIC = re.compile(r"max(?:imum)?\.?|avg\.?|average|mean|med(?:ia|io)?|moy(?:enne)?|mittel(?:wert)?", re.I)
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


def find_parts(grid: Grid, *, date: int | None = None) -> TimeColumns | None:
    """Find the parts of a time by the names of columns; the cells must be such.

    Parameters
    ----------
    grid : Grid
        The first rows.
    date : int, optional
        A column of dates that is one of them.

    Returns
    -------
    TimeColumns or None
        None where the parts make no whole time, or a part stands twice.

    Examples
    --------
    >>> rows = [["2023", "14", "605", "-3.2"], ["2023", "14", "620", "-3.4"]]
    >>> find_parts(Grid("l.csv", ["Year", "DOY", "Time", "Temp"], rows, [["number"] * 4] * 2))
    TimeColumns(places=(0, 1, 2), parts=('year', 'doy', 'hhmm'))
    """
    found: dict[str, list[int]] = {}
    before: str | None = None
    for n, name in enumerate(grid.columns):
        part = _part_of(grid, n, part_of_name(name, before))
        if part is not None:
            found.setdefault(part, []).append(n)
            before = part
    if not {"year", "date"} & {*found}:
        return None
    if "year" not in found:  # a single letter beside a date may mean anything
        found = {part: [n for n in places if len(grid.columns[n]) > 1] for part, places in found.items()}
    if date is not None:
        found["date"] = [date]
    for dated in WHOLE_DATES if date is None else (("date",),):
        fraction = dated[-1] == "doy" and _has_fractions(grid, found.get("doy", []))
        for clock in ((),) if fraction else CLOCKS:
            parts = (*dated, *clock)
            if any(len(found.get(part, [])) != 1 for part in parts):
                continue
            half = ("ampm",) if clock and len(found.get("ampm", [])) == 1 else ()
            return TimeColumns(tuple(found[part][0] for part in (*parts, *half)), (*parts, *half))
    return None


def _part_of(grid: Grid, column: int, named: str | None) -> str | None:
    """Tell what part a column holds, by its name and by what its cells look like."""
    usual, name = grid.usual(column), grid.columns[column]
    if usual == "date" and (TIME_WORDS.search(name) or named or not _holds_digits_only(grid, column)):
        return "date"  # eight digits may be a serial number
    if usual == "clock":
        return "time"
    if named in (None, "ampm") and holds_halves(grid, column):
        return "ampm"
    plain = " ".join(UNIT_PART.sub(" ", name).casefold().split())
    if named == "hour" or (named is None and _CLOCK_NAMES.fullmatch(plain)):
        if all_fit(grid, column, "hour") and named == "hour":
            return "hour"
        values = [value for cell in filled(grid, column) if (value := value_of(cell, "hhmm")) is not None]
        return "hhmm" if all_fit(grid, column, "hhmm") and max(values, default=0) > 24 else None
    if named == "minute" and any(_BARE_STATISTIC.fullmatch(each.strip()) for each in grid.columns):
        return None  # beside "Max" or "Avg" it is the minimum
    return named if named is not None and all_fit(grid, column, named) else None


def _holds_digits_only(grid: Grid, column: int) -> bool:
    plain = re.sub(r"[^a-z]", "", grid.columns[column].casefold())
    return plain not in ("yyyymmdd", "ymd", "ddmmyyyy") and all(cell.isdigit() for cell in filled(grid, column))


def filled(grid: Grid, column: int) -> list[str]:
    """List the cells of a column that are not empty.

    Parameters
    ----------
    grid : Grid
        The first rows.
    column : int
        From 0.

    Returns
    -------
    list of str
    """
    return [row[column] for row in grid.cells if column < len(row) and row[column]]


def all_fit(grid: Grid, column: int, part: str) -> bool:
    """Tell whether half of the filled cells or more are such a part: slips among the first rows are faults told later.

    Parameters
    ----------
    grid : Grid
        The first rows.
    column : int
        From 0.
    part : str

    Returns
    -------
    bool
    """
    cells = filled(grid, column)
    return 2 * sum(value_of(cell, part) is not None for cell in cells) >= len(cells) > 0


def holds_halves(grid: Grid, column: int) -> bool:
    """Tell whether a column says AM or PM; bare letters may be flags unless its name says so.

    Parameters
    ----------
    grid : Grid
        The first rows.
    column : int
        From 0.

    Returns
    -------
    bool
    """
    named = part_of_name(grid.columns[column]) == "ampm"
    cells = filled(grid, column)
    sure = all(len(cell) > 1 and value_of(cell, "ampm") is not None for cell in cells)
    return all_fit(grid, column, "ampm") and (named or sure)


def _has_fractions(grid: Grid, columns: list[int]) -> bool:
    return any(re.search(r"[.,]\d*[1-9]", cell) for n in columns for cell in filled(grid, n))


def parts_named(grid: Grid, pieces: Sequence[tuple[str | None, int]]) -> TimeColumns | None:
    """Make out the parts of a time in columns that the user named.

    Parameters
    ----------
    grid : Grid
        The first rows.
    pieces : sequence of (str or None, int)
        For each what the user says it holds, and the column.

    Returns
    -------
    TimeColumns or None
        None where they make no whole time.
    """
    parts: list[str | None] = []
    for said, n in pieces:
        before = next((part for part in reversed(parts) if part), None)
        kind = {"date": "date", "moment": "date", "clock": "time"}.get(grid.usual(n))
        parts.append(said or kind or _part_of(grid, n, part_of_name(grid.columns[n], before)))
    places = [n for _, n in pieces]
    if None in parts:
        return None
    held = dict(zip([part or "" for part in parts], places, strict=True))
    order = [part for part in ACCEPTED if part in held]
    core = tuple(part for part in order if part != "ampm")
    dated = next((date for date in WHOLE_DATES if core[: len(date)] == date), None)
    if len(held) != len(parts) or dated is None:
        return None
    clock = core[len(dated) :]
    bare = not clock and (dated[-1] == "doy" or (dated == ("date",) and len(order) > 1))
    if clock in CLOCKS or bare:
        return TimeColumns(tuple(held[part] for part in order), tuple(order))
    return None
