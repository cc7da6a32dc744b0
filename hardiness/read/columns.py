"""Which columns of a logger's export hold the times and the temperatures.

In: the first rows as cells, with what each cell looks like. Out: column numbers, or a refusal that lists the columns
and the options that name them. Nothing is guessed: of several columns that would do, none is taken.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.degrees import is_missing, number_of, units_in
from hardiness.read.moments import EPOCH, layout_of
from hardiness.read.slices import shape_of

TIME_WORDS = re.compile(
    r"time|date|stamp|epoch|unix|utc|zeit|datum|uhr|heure|fecha|hora|^data\b|^ora\b|\btid\b|\btijd\b|klokk|\bwhen\b",
    re.IGNORECASE,
)
_TEMPERATURE_WORDS = re.compile(r"temp|tª|lämp|teplot|airt|^(t|ta|tair|t_?air|air_?t|tmp)$", re.I)
_DERIVED = re.compile(r"dew|frost ?point|wet.?bulb|heat.?index|chill|feels|humidex|apparent", re.I)
_OTHER = re.compile(
    r"hum|feucht|umid|vocht|fukt|\brh\b|%|batt|volt|\b[mk]?v\b|light|lux|\bpar\b|press|pa\b|\bm?bar\b|wind|speed|rain|precip|solar|radiat|signal|rssi"
    r"|serial|dew|frost ?point|wet.?bulb|heat.?index|chill|feels|humidex|apparent|moist|latitude|longitude|altitude",
    re.I,
)
_INDEX = re.compile(r"^(#|no\.?|nr\.?|n|id|index|idx|rn|record|row|line|sample|count|nummer|número)$", re.I)
_UNIT_PART = re.compile(r"\s*[(\[].*?[)\]]\s*|,.*$")


def kind_of(cell: str) -> str:
    """Tell what a cell looks like: moment, epoch, date, clock, degrees (number and unit), number, missing or text.

    Parameters
    ----------
    cell : str

    Returns
    -------
    str
        ``moment``, ``epoch``, ``date``, ``clock``, ``degrees``, ``number``, ``missing`` or ``text``.
    """
    shape = shape_of(cell.encode())
    layout = layout_of(shape)
    if layout is not None:
        if layout.kind == EPOCH:
            return "epoch"
        return "clock" if not layout.has_date else "moment" if layout.has_clock else "date"
    number = number_of(shape)
    if number is not None:
        return "degrees" if number.unit else "number"
    return "missing" if is_missing(shape) else "text"


@dataclass(frozen=True, slots=True)
class Grid:
    """The first rows of a file as cells.

    Parameters
    ----------
    file : str
        Its name, for messages.
    columns : list of str
        Column names.
    cells, kinds : list of list of str
        The cells, and what each looks like.
    """

    file: str
    columns: list[str]
    cells: list[list[str]]
    kinds: list[list[str]]

    def usual(self, column: int) -> str:
        """Tell what most filled cells of a column look like.

        Parameters
        ----------
        column : int
            From 0.

        Returns
        -------
        str
            As of :func:`kind_of`; ``missing`` where no cell is filled.
        """
        seen = Counter(row[column] for row in self.kinds if column < len(row) and row[column] != "missing")
        return seen.most_common(1)[0][0] if seen else "missing"

    def named(self, name: str, option: str) -> int:
        """Find the column that the user named, by its name, its name without the unit, or its number.

        Parameters
        ----------
        name : str
            As the user wrote it; a number counts from 1.
        option : str
            The option it was given for.

        Returns
        -------
        int
            From 0.
        """
        wanted = name.strip().casefold()
        for names in (
            [column.casefold() for column in self.columns],
            [_UNIT_PART.sub("", column).strip().casefold() for column in self.columns],
            [str(number) for number in range(1, len(self.columns) + 1)],
        ):
            if names.count(wanted) == 1:
                return names.index(wanted)
            if wanted in names:
                hint = f"Name it by its number: {option} {names.index(wanted) + 1}."
                raise self.refusal(f"{names.count(wanted)} columns named '{name}'", f"one column for {option}", hint)
        accepted = f"for {option} one of {self.listed(range(len(self.columns)))}"
        raise self.refusal(f"no column '{name}'", accepted, near_name(name, self.columns))

    def listed(self, columns: Iterable[int]) -> str:
        """Name columns in a sentence.

        Parameters
        ----------
        columns : iterable of int
            From 0.

        Returns
        -------
        str
        """
        return ", ".join(f"'{self.columns[column]}'" for column in columns)

    def refusal(self, found: str, accepted: str, hint: str | None = None) -> InputError:
        """Make the error that refuses a choice of columns.

        Parameters
        ----------
        found, accepted : str
        hint : str, optional

        Returns
        -------
        InputError
        """
        return InputError(Problem(found, accepted, file=self.file, hint=hint))


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


def choose_temperature(grid: Grid, time: tuple[int, ...], name: str | None) -> tuple[int, list[str]]:
    """Choose the column of temperatures.

    Parameters
    ----------
    grid : Grid
        The first rows.
    time : tuple of int
        Columns of times.
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
    places = [n for n in range(len(grid.columns)) if n not in time]
    named = [n for n in places if _speaks_of_temperature(grid.columns[n]) or _holds_degrees(grid, n)]
    if len(named) > 1:  # a column such as "Temp alarm" holds words
        named = [n for n in named if grid.usual(n) in ("number", "degrees")] or named
    if len(named) == 1:
        return named[0], []
    option = "--temperature-column"
    if named:
        found = f"several columns of temperatures ({grid.listed(named)})"
        raise grid.refusal(found, "one", f"Name the air temperature, such as {option} '{grid.columns[named[0]]}'.")
    numbers = [
        n for n in places
        if grid.usual(n) == "number" and not _OTHER.search(grid.columns[n]) and not _INDEX.match(grid.columns[n])
        and not _counts_rows(grid, n)
    ]  # fmt: skip
    if len(numbers) == 1:
        name = grid.columns[numbers[0]]
        return numbers[0], [f"Temperatures are taken from '{name}', the only column that could hold them."]
    found = f"several columns of numbers ({grid.listed(numbers)})" if numbers else "no column of temperatures"
    columns = grid.listed(range(len(grid.columns)))
    raise grid.refusal(found, "one column of temperatures", f"The columns are {columns}; name it with {option}.")


def _speaks_of_temperature(name: str) -> bool:
    if _DERIVED.search(name):
        return False  # a dew point is no air temperature
    plain = _UNIT_PART.sub("", name).strip()
    return bool(_TEMPERATURE_WORDS.search(plain) or _TEMPERATURE_WORDS.search(name) or units_in(name))


def _holds_degrees(grid: Grid, column: int) -> bool:
    return grid.usual(column) == "degrees" and not _DERIVED.search(grid.columns[column])


def _counts_rows(grid: Grid, column: int) -> bool:
    cells = [row[column] for row in grid.cells if column < len(row) and row[column]]
    if len(cells) < 3 or not all(re.fullmatch(r"[0-9]{1,9}", cell) for cell in cells):
        return False
    return all(int(after) - int(before) == 1 for before, after in pairwise(cells))
