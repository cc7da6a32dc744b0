"""Times given in parts: which columns hold the year, the month, the day, the hour ... of one time.

In: the first rows as cells. Out: :class:`hardiness.read.part_words.TimeColumns`. The names of columns tell the parts,
in the languages that loggers speak, and their cells must be such; columns without names:
:mod:`hardiness.read.time_numbers`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from hardiness.read.column_words import TIME_WORDS, UNIT_PART
from hardiness.read.grid import Grid
from hardiness.read.part_words import ACCEPTED, CLOCKS, WHOLE_DATES, TimeColumns, part_of_name, value_of

_CLOCK_NAMES = re.compile(r"time|zeit|uhrzeit|uhr|heure|hora|ora|tid|tijd|czas|čas|klokkeslett|klockan|время|時刻|時間")
_BARE_STATISTIC = re.compile(r"max(?:imum)?\.?|avg\.?|average|mean|med(?:ia|io)?|moy(?:enne)?|mittel(?:wert)?", re.I)


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
    before, place = None, -1
    for n, name in enumerate(grid.columns):
        part = _part_of(grid, n, part_of_name(name, before))
        if part == "minute" and n - 1 != place and not name.casefold().startswith("minu"):
            continue  # "Min" apart from the hour is the least of each step
        if part is not None:
            found.setdefault(part, []).append(n)
            before, place = part, n
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
