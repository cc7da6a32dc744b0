"""Which column of a logger's export holds the temperatures.

In: the first rows as cells, with what each cell looks like. Out: column numbers, or a refusal that lists the columns
and the options that name them. Nothing is guessed: of several columns that would do, none is taken.
"""

from __future__ import annotations

import re
import shlex
from itertools import pairwise

from hardiness.read.column_twins import without_twins
from hardiness.read.column_words import (
    is_derived,
    is_index,
    is_of_a_case,
    is_of_no_air,
    says_other,
    says_unit,
    side_in,
    speaks_of_temperature,
    statistic_in,
)
from hardiness.read.grid import Grid
from hardiness.read.zone_words import heads_zones


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
        If there is none, or more than one, or only one of something else than air.
    """
    if name is not None:
        return grid.named(name, "--temperature-column"), []
    every, speak = _speaking(grid, taken)
    places, said = without_twins(grid, every)
    sides = {n: side_in(grid.columns[n]) for n in places}
    outside = [n for n in places if sides[n] == "outside"]
    if len(outside) == 1 and set(sides.values()) == {"outside", "inside"}:  # a console: the other one hangs in a room
        passed = grid.listed(n for n in places if n not in outside)
        said.append(f"Temperatures are taken from '{grid.columns[outside[0]]}'; {passed} was passed over.")
        places = outside
    if len(places) == 1:
        only = grid.columns[places[0]]
        statistic = statistic_in(only)
        if is_of_no_air(only) or statistic == "sd":
            option = f"--temperature-column {shlex.quote(only)}"
            hint = f"If it is the air's, or is wanted all the same: {option}."
            raise grid.refusal(f"no temperature of the air but '{only}'", "one column of temperatures", hint)
        if not speak:
            said.append(f"Temperatures are taken from '{only}', the only column that could hold them.")
        if statistic in ("min", "max"):
            said.append(f"'{only}' is read as the temperature at each time: does it hold the {statistic} of each step?")
        if is_of_a_case(only):
            said.append(f"Is '{only}' the air's temperature, and not that inside the logger's case?")
        return places[0], said
    option = "--temperature-column"
    if speak:
        found = f"several columns of temperatures ({grid.listed(places)})"
        raise grid.refusal(found, "one", _which_of(grid, places, option))
    found = f"several columns of numbers ({grid.listed(places)})" if places else "no column of temperatures"
    columns = grid.listed(range(len(grid.columns)))
    hint = f"The columns are {columns}; name it with {option}{_as_channels(grid, places)}"
    raise grid.refusal(found, "one column of temperatures", hint)


def _which_of(grid: Grid, places: list[int], option: str) -> str:
    """Say how to choose: among the mean, the least and the most of each step, or among several probes."""
    statistics = {n: statistic_in(grid.columns[n]) for n in places}
    means = [n for n in places if statistics[n] in ("mean", None)]
    if any(statistics.values()) and len(means) == 1:
        mean, others = grid.columns[means[0]], [n for n in places if n != means[0]]
        beside = ", ".join(f"'{grid.columns[n]}' (the {statistics[n]} of each step)" for n in others)
        return f"Beside {beside} the readings are in '{mean}': {option} {shlex.quote(mean)}."
    of_air = [n for n in places if not is_of_no_air(grid.columns[n]) and not is_of_a_case(grid.columns[n])]
    example = shlex.quote(grid.columns[(of_air or places)[0]])
    return f"Name the air temperature, such as {option} {example}{_as_channels(grid, places)}"


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
    places, speak = _speaking(grid, taken)
    return without_twins(grid, places)[0], speak


def _speaking(grid: Grid, taken: tuple[int, ...]) -> tuple[list[int], bool]:
    """Find them with those that are another one in a second unit."""
    places = [n for n in range(len(grid.columns)) if n not in taken and not heads_zones(grid.columns[n])]
    speak = [n for n in places if speaks_of_temperature(grid.columns[n]) and not says_unit(grid.columns[n])]
    named = [n for n in places if n in speak or _holds_degrees(grid, n)]
    if len(named) > 1:  # a column such as "Temp alarm" holds words
        named = [n for n in named if grid.usual(n) in ("number", "degrees")] or named
    if named:
        return named, True
    numbers = [
        n for n in places
        if grid.usual(n) == "number" and not says_other(grid.columns[n]) and not is_index(grid.columns[n])
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


def _holds_degrees(grid: Grid, column: int) -> bool:
    return grid.usual(column) == "degrees" and not is_derived(grid.columns[column])


def _counts_rows(grid: Grid, column: int) -> bool:
    cells = [row[column] for row in grid.cells if column < len(row) and row[column]]
    if len(cells) < 3 or not all(re.fullmatch(r"[0-9]{1,9}", cell) for cell in cells):
        return False
    return all(int(after) - int(before) == 1 for before, after in pairwise(cells))
