"""Which columns of a logger's export hold the times.

In: the first rows as cells, with what each cell looks like. Out: :class:`hardiness.read.part_words.TimeColumns`, or a
refusal that lists the columns and the option that names them. Of several columns that would do, none is taken.
"""

from __future__ import annotations

import re

from hardiness.errors import InputError
from hardiness.read.column_words import TIME_WORDS
from hardiness.read.grid import Grid
from hardiness.read.layouts import layout_of
from hardiness.read.part_words import ACCEPTED, HOW_TO_NAME, TimeColumns, parts_said
from hardiness.read.slices import shape_of
from hardiness.read.time_numbers import parts_in_numbers
from hardiness.read.time_parts import all_fit, filled, find_parts, holds_halves, parts_named
from hardiness.read.zone_words import heads_zones

OPTION = "--time-column"


def choose_time(grid: Grid, name: str | None) -> TimeColumns:
    """Choose the column of times, the columns of dates and of times of day, or those of the parts of a time.

    Parameters
    ----------
    grid : Grid
        The first rows.
    name : str, optional
        What the user said: a column; a date and a time of day, or more parts, with a plus between; each part may be
        said before its column (``year=2 + doy=3 + hhmm=4``).

    Returns
    -------
    TimeColumns

    Raises
    ------
    InputError
        If there is none, or more than one choice.
    """
    clocks = _clocks(grid)
    if name is not None:
        return _named(grid, name, clocks)
    places = range(len(grid.columns))
    moments = [n for n in places if grid.usual(n) == "moment"]
    epochs = [n for n in places if grid.usual(n) == "epoch"]
    dates = [n for n in places if grid.usual(n) == "date"]
    if len(dates) > 1:  # 2023-014 beside a date is the number of a logger
        dates = [n for n in dates if TIME_WORDS.search(grid.columns[n]) or not _holds_ordinals(grid, n)] or dates
    # beside dates, a number of ten digits is a serial number unless its name speaks of time
    choices: list[tuple[int, ...]] = [(n,) for n in moments + [n for n in epochs if TIME_WORDS.search(grid.columns[n])]]
    choices = choices or [(date, clock) for date in dates for clock in clocks if date != clock]
    if not choices and (parts := find_parts(grid) or parts_in_numbers(grid)) is not None:
        return parts
    choices = choices or [(n,) for n in epochs]
    if len(choices) == 1:
        return _with_half(grid, choices[0])
    if choices:
        found = "; ".join(grid.listed(choice) for choice in choices)
        example = " + ".join(grid.columns[n] for n in choices[0])
        hint = f"Name the one with the logger's clock, such as {OPTION} '{example}'."
        accepted = "one column of times, or one of dates and one of times of day"
        raise grid.refusal(f"several columns of times ({found})", accepted, hint)
    if dates:
        found = f"dates in {grid.listed(dates)} and no time of day"
        hint = f"The columns are {grid.listed(places)}; name several that make up the time so: {HOW_TO_NAME}."
        raise grid.refusal(found, "readings with date and time", hint)
    raise grid.refusal(
        "no column of dates and times",
        "a column of times such as 2023-01-14 06:05, or several for date and time of day",
        f"The columns are {grid.listed(places)}; name them with {OPTION} and --temperature-column.",
    )


def time_of_before(grid: Grid, name: str) -> TimeColumns | None:
    """Find the columns of times that were chosen for a sensor's last file.

    Parameters
    ----------
    grid : Grid
        The first rows.
    name : str
        As they were named.

    Returns
    -------
    TimeColumns or None
        None where this file has none such, or they hold other things.
    """
    try:
        time = choose_time(grid, name)
    except InputError:
        return None
    if time.parts:
        numbers = [(part, n) for part, n in zip(time.parts, time.places, strict=True) if part not in ("date", "time")]
        return time if all(all_fit(grid, n, part) for part, n in numbers) else None
    return time if grid.usual(time.places[0]) in ("moment", "epoch", "date") else None


def _clocks(grid: Grid) -> list[int]:
    """Find the columns of times of day."""
    places = range(len(grid.columns))
    clocks = [n for n in places if grid.usual(n) == "clock" and not heads_zones(grid.columns[n])]
    return clocks or [n for n in places if TIME_WORDS.search(grid.columns[n]) and _holds_bare_clocks(grid, n)]


def _holds_bare_clocks(grid: Grid, column: int) -> bool:
    cells = filled(grid, column)
    return bool(cells) and all(layout_of(shape_of(cell.encode()), is_clock=True) is not None for cell in cells)


def _holds_ordinals(grid: Grid, column: int) -> bool:
    return all(re.fullmatch(r"\d{4}-\d{3}", cell) for cell in filled(grid, column))


def _named(grid: Grid, name: str, clocks: list[int]) -> TimeColumns:
    """Find the columns that the user named."""
    whole = name.strip().casefold() in (column.casefold() for column in grid.columns)
    named = [(part, grid.named(column, OPTION)) for part, column in ([(None, name)] if whole else parts_said(name))]
    places = tuple(place for _, place in named)
    if len(named) == 1 and named[0][0] is None:
        if grid.usual(places[0]) != "date":
            return _with_half(grid, places)
        if len(clocks) == 1:
            return _with_half(grid, (*places, *clocks))
        return find_parts(grid, date=places[0]) or TimeColumns(places)
    parts = parts_named(grid, named)
    if parts is not None and parts.parts not in (("date", "time"), ("date",)):
        return parts
    if len(named) == 2 and all(said is None for said, _ in named):
        return _with_half(grid, places)  # a date and a time of day, whatever they look like
    if (parts := parts_in_numbers(grid, places)) is not None:
        return parts
    raise grid.refusal(
        f"{grid.listed(places)} as the parts of a time",
        "a date (or year, month and day, or year and day of the year) and a time of day",
        f"Say what each column holds, such as {HOW_TO_NAME}; parts are called {', '.join(ACCEPTED)}.",
    )


def _with_half(grid: Grid, places: tuple[int, ...]) -> TimeColumns:
    """Add the column that says AM or PM of a 12-hour clock, where there is one and the clock itself does not say it."""
    cells = [cell for n in places for cell in filled(grid, n)]
    hours = [int(match[1]) for cell in cells if (match := re.search(r"(?<!\d)(\d\d?)[:h]\d\d(?!.*m\.?$)", cell, re.I))]
    halves = [n for n in range(len(grid.columns)) if n not in places and holds_halves(grid, n)]
    if not hours or max(hours) > 12 or len(halves) != 1:
        return TimeColumns(places)
    return TimeColumns((*places, *halves), ("date", "time", "ampm") if len(places) == 2 else ("date", "ampm"))
