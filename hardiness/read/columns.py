"""Which columns of a logger's export hold the times and the temperatures.

In: the first rows as cells, with what each cell looks like. Out: column numbers, or a refusal that lists the columns
and the options that name them. Nothing is guessed: of several columns that would do, none is taken.
"""

from __future__ import annotations

import re
import shlex
from itertools import pairwise

from hardiness.read.degrees import units_in
from hardiness.read.grid import UNIT_PART, Grid
from hardiness.read.moments import layout_of
from hardiness.read.slices import shape_of

TIME_WORDS = re.compile(
    r"time|date|stamp|epoch|unix|utc|zeit|datum|uhr|heure|fecha|hora|^data\b|^ora\b|\btid\b|\btijd\b|klokk|\bwhen\b",
    re.IGNORECASE,
)
# A dew point in the languages that loggers speak, for expressions that mind no case.
DEW_POINT_WORDS = (
    r"dew ?p(?:oin)?t|dew|taupunkt|dauwpunt|d[au]ggpunkt|point de ros[ée]e|punto de roc[íi]o|punto di rugiada"
    r"|ponto de orvalho"
)
_TEMPERATURE_WORDS = re.compile(r"temp|tª|lämp|teplot|airt|^(t|ta|tair|t_?air|air_?t|tmp)$", re.I)
_DERIVED_WORDS = rf"{DEW_POINT_WORDS}|frost ?point|wet.?bulb|heat.?index|chill|feels|humidex|apparent"
_DERIVED = re.compile(_DERIVED_WORDS, re.I)
_OTHER = re.compile(
    r"hum|feucht|umid|vocht|fukt|\br\.?h(?![a-z])|%|batt|volt|\b[mk]?v\b|light|lux|\bpar\b|press|pa\b|\bm?bar\b|wind|speed|rain|precip|solar|radiat|signal|rssi"
    rf"|serial|moist|latitude|longitude|altitude|{_DERIVED_WORDS}",
    re.I,
)
_INDEX = re.compile(r"^(#|no\.?|nr\.?|n|id|index|idx|rn|record|row|line|sample|count|nummer|número)$", re.I)


def choose_time(grid: Grid, name: str | None) -> tuple[int, ...]:
    """Choose the column of times, or the columns of dates and of times of day.

    Parameters
    ----------
    grid : Grid
        The first rows.
    name : str, optional
        What the user said; two names with a plus between are a date and a time of day.

    Returns
    -------
    tuple of int
        One or two column numbers, from 0.

    Raises
    ------
    InputError
        If there is none, or more than one choice.
    """
    places = range(len(grid.columns))
    clocks = [n for n in places if grid.usual(n) == "clock"]
    if not clocks:
        clocks = [n for n in places if TIME_WORDS.search(grid.columns[n]) and _holds_bare_clocks(grid, n)]
    if name is not None:
        if "+" in name and name.strip().casefold() not in (column.casefold() for column in grid.columns):
            date, _, clock = name.partition("+")
            return grid.named(date, "--time-column"), grid.named(clock, "--time-column")
        named = grid.named(name, "--time-column")
        return (named, *clocks) if grid.usual(named) == "date" and len(clocks) == 1 else (named,)
    moments = [n for n in places if grid.usual(n) == "moment"]
    epochs = [n for n in places if grid.usual(n) == "epoch"]
    dates = [n for n in places if grid.usual(n) == "date"]
    # beside dates, a number of ten digits is a serial number unless its name speaks of time
    choices: list[tuple[int, ...]] = [(n,) for n in moments + [n for n in epochs if TIME_WORDS.search(grid.columns[n])]]
    choices = choices or [(date, clock) for date in dates for clock in clocks if date != clock]
    choices = choices or [(n,) for n in epochs]
    if len(choices) == 1:
        return choices[0]
    if choices:
        found = "; ".join(grid.listed(choice) for choice in choices)
        example = " + ".join(grid.columns[n] for n in choices[0])
        hint = f"Name the one with the logger's clock, such as --time-column '{example}'."
        accepted = "one column of times, or one of dates and one of times of day"
        raise grid.refusal(f"several columns of times ({found})", accepted, hint)
    if dates:
        found = f"dates in {grid.listed(dates)} and no time of day"
        raise grid.refusal(found, "readings with date and time", f"The columns are {grid.listed(places)}.")
    raise grid.refusal(
        "no column of dates and times",
        "a column of times such as 2023-01-14 06:05, or two for date and time of day",
        f"The columns are {grid.listed(places)}; name them with --time-column and --temperature-column.",
    )


def _holds_bare_clocks(grid: Grid, column: int) -> bool:
    cells = [row[column] for row in grid.cells if column < len(row) and row[column]]
    return bool(cells) and all(layout_of(shape_of(cell.encode()), is_clock=True) is not None for cell in cells)


def choose_temperature(grid: Grid, taken: tuple[int, ...], name: str | None) -> tuple[int, list[str]]:
    """Choose the column of temperatures.

    Parameters
    ----------
    grid : Grid
        The first rows.
    taken : tuple of int
        Columns of something else: of times, of sensors' names.
    name : str, optional
        What the user said.

    Returns
    -------
    column : int
        Its number, from 0.
    said : list of str
        A sentence where its name does not speak of temperature.

    Raises
    ------
    InputError
        If there is none, or more than one.
    """
    if name is not None:
        return grid.named(name, "--temperature-column"), []
    places, speak = find_temperatures(grid, taken)
    if len(places) == 1:
        only = grid.columns[places[0]]
        return places[0], [] if speak else [
            f"Temperatures are taken from '{only}', the only column that could hold them."
        ]
    option = "--temperature-column"
    if speak:
        found = f"several columns of temperatures ({grid.listed(places)})"
        example = shlex.quote(grid.columns[places[0]])
        hint = f"Name the air temperature, such as {option} {example}{_as_channels(grid, places)}"
        raise grid.refusal(found, "one", hint)
    found = f"several columns of numbers ({grid.listed(places)})" if places else "no column of temperatures"
    columns = grid.listed(range(len(grid.columns)))
    hint = f"The columns are {columns}; name it with {option}{_as_channels(grid, places)}"
    raise grid.refusal(found, "one column of temperatures", hint)


def find_temperatures(grid: Grid, taken: tuple[int, ...]) -> tuple[list[int], bool]:
    """Find the columns that could hold temperatures.

    Parameters
    ----------
    grid : Grid
        The first rows.
    taken : tuple of int
        Columns of something else: of times, of sensors' names.

    Returns
    -------
    columns : list of int
        Their numbers, from 0.
    speak : bool
        Whether their names or cells speak of temperature; else they are only numbers that nothing else explains.
    """
    places = [n for n in range(len(grid.columns)) if n not in taken]
    named = [n for n in places if _speaks_of_temperature(grid.columns[n]) or _holds_degrees(grid, n)]
    if len(named) > 1:  # a column such as "Temp alarm" holds words
        named = [n for n in named if grid.usual(n) in ("number", "degrees")] or named
    if named:
        return named, True
    numbers = [
        n for n in places
        if grid.usual(n) == "number" and not _OTHER.search(grid.columns[n]) and not _INDEX.match(grid.columns[n])
        and not _counts_rows(grid, n)
    ]  # fmt: skip
    return numbers, False


def _as_channels(grid: Grid, places: list[int]) -> str:
    """End a hint with the command that takes each column as a sensor of its own, where there are several."""
    if len(places) < 2:
        return "."
    command = channels_command(grid, places)
    return f", or take each as a sensor of its own, under names of your choice: {command}"


def channels_command(grid: Grid, places: list[int]) -> str:
    """Write the command that takes each of several columns as a sensor of its own.

    Parameters
    ----------
    grid : Grid
        The first rows.
    places : list of int
        Columns, from 0.

    Returns
    -------
    str
    """
    channels = " ".join(
        f"--channel {shlex.quote(f'{grid.key(place)}=SENSOR-{n}')}" for n, place in enumerate(places, start=1)
    )
    return f"hardiness add readings {shlex.quote(grid.file)} {channels}"


def _speaks_of_temperature(name: str) -> bool:
    if _DERIVED.search(name):
        return False  # a dew point is no air temperature
    plain = UNIT_PART.sub("", name).strip()
    return bool(_TEMPERATURE_WORDS.search(plain) or _TEMPERATURE_WORDS.search(name) or units_in(name))


def _holds_degrees(grid: Grid, column: int) -> bool:
    return grid.usual(column) == "degrees" and not _DERIVED.search(grid.columns[column])


def _counts_rows(grid: Grid, column: int) -> bool:
    cells = [row[column] for row in grid.cells if column < len(row) and row[column]]
    if len(cells) < 3 or not all(re.fullmatch(r"[0-9]{1,9}", cell) for cell in cells):
        return False
    return all(int(after) - int(before) == 1 for before, after in pairwise(cells))
