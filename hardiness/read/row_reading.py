"""The rows of a logger's export read block by block: the time, the temperature, and what stands beside them.

In: the file's lines and its dialect. Out: :class:`hardiness.read.fields.Fields`. Nothing is judged here: a cell that is
no time or no temperature is marked, and what to make of it is decided by :mod:`hardiness.read.faults`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from hardiness.errors import InputError, Problem
from hardiness.read.aligned import ALIGNED
from hardiness.read.companion_cells import count_text, read_companions, read_flags
from hardiness.read.degrees import is_missing, number_of, read_numbers
from hardiness.read.dialect import Dialect
from hardiness.read.fields import ABSENT, BAD, GOOD, MISSING, NO_NAME, OTHER, Fields
from hardiness.read.humidity_cells import read_beside
from hardiness.read.marks import marked_number
from hardiness.read.slices import Block, Indices, blocks, shapes
from hardiness.read.text import Text
from hardiness.read.time_cells import read_times

MOST_NAMES = 1000  # sensors that one file names; more is a column of something else


def read_fields(
    text: Text, dialect: Dialect, *, file: str, progress: Callable[[int, int], None] | None = None
) -> Fields:
    r"""Read the time and the temperature of every row.

    Parameters
    ----------
    text : Text
        The file's lines.
    dialect : Dialect
        How it is written.
    file : str
        Its name, for messages.
    progress : callable, optional
        Called now and then with bytes done and bytes in all.

    Returns
    -------
    Fields

    Raises
    ------
    InputError
        If a line is too long to be a row of readings, or the column of sensors has too many names.

    Examples
    --------
    >>> from hardiness.read.dialect import find_dialect
    >>> text = Text.of(b"Time,Temp\n2023-01-14 06:05,-3.25\n2023-01-14 06:20,--\n")
    >>> fields = read_fields(text, find_dialect(text, file="l.csv"), file="l.csv")
    >>> fields.rows.tolist(), fields.number.tolist(), fields.decimals
    ([2, 3], [-3.25, nan], 2)
    """
    conditions = [each.condition for each in dialect.beside]
    fields = Fields.empty(text.lines - dialect.body_row + 1, named=dialect.sensor is not None, beside=conditions)
    size = 0
    for block in blocks(text, dialect.delimiter, start=dialect.body, first_row=dialect.body_row, file=file):
        filled = np.flatnonzero(block.ends - block.starts > block.counts)
        if size + filled.size > fields.rows.size:
            raise InputError(Problem("a file that is being changed", "a finished export", file=file))
        here = fields.part(slice(size, size + filled.size))  # views: what is written there stands in `fields`
        size += filled.size
        here.rows[:] = block.first_row + filled
        wide = len(dialect.columns)
        uneven = block.counts != wide - 1 if dialect.delimiter in ALIGNED else block.has_more(wide)
        here.long[:] = uneven[filled]
        read_times(block, dialect.time_columns, filled, here)
        cells_with = _read_temperatures(block, dialect.temperature, filled, here, dialect.marks)
        if dialect.companions.flag is not None:
            measured = here.temperature_state == GOOD
            for flag, which in read_flags(block, dialect.companions.flag, filled, here.rows, measured, here.told):
                if not dialect.marks.get(flag.casefold(), True):
                    here.temperature_state[which], here.number[which] = MISSING, np.nan
        if dialect.companions.any:
            measured = here.temperature_state == GOOD
            others = read_companions(
                block, dialect.companions, dialect.columns, filled, here.rows, here.offset, measured, here.told
            )
            here.time_state[others] = OTHER
            cells_with = [(unit, which[~others[which]]) for unit, which in cells_with]
        for unit, which in cells_with:
            if which.size:
                here.told.first_unit(unit, int(here.rows[which[0]]))
        for each in dialect.beside:
            read_beside(block, each.condition, each.column, each.unit, filled, here.beside[each.condition])
        if dialect.sensor is not None:
            _read_names(block, dialect.sensor, filled, here, dialect.columns[dialect.sensor], file)
        fields.decimals, fields.midnights, fields.noons = here.decimals, here.midnights, here.noons
        if progress is not None:
            progress(block.end, text.size)
    return fields.part(slice(0, size))


def _read_temperatures(
    block: Block, column: int, filled: Indices, here: Fields, marks: Mapping[str, bool]
) -> list[tuple[str, Indices]]:
    """Read the column of temperatures; the answer is which cells name which unit."""
    starts, ends, present = block.cells(column, filled)
    cells_with: list[tuple[str, Indices]] = []
    for shape, which, cells in shapes(block, starts, ends):
        number = None if shape is None else number_of(shape)
        if shape is not None and number is None and (marked := marked_number(shape)) is not None:
            mark, under = marked
            if mark in marks:
                count_text(here.told.marks, mark.upper(), here.rows, which)
                number = under if marks[mark] else None
                if number is None:
                    here.temperature_state[which] = MISSING
                    continue
        if shape is None or number is None:
            here.temperature_state[which] = MISSING if shape is not None and is_missing(shape) else BAD
            continue
        here.number[which] = read_numbers(number, cells)
        here.temperature_state[which] = GOOD
        here.decimals = max(here.decimals, number.decimals)
        if number.unit is not None:
            cells_with.append((number.unit, which))
    here.temperature_state[~present] = ABSENT
    return cells_with


def _read_names(block: Block, column: int, filled: Indices, here: Fields, column_name: str, file: str) -> None:
    """Read which sensor each row names; a new name is put at the end of the list."""
    if here.sensor is None:
        return
    starts, ends, _ = block.cells(column, filled)
    groups, firsts = [], dict[str, int]()
    for _, which, cells in shapes(block, starts, ends):
        if not cells.shape[1]:
            continue  # empty, or too long for a name
        different, first, inverse = np.unique(
            cells.view(f"S{cells.shape[1]}")[:, 0], return_index=True, return_inverse=True
        )
        names = [raw.decode("utf-8", "replace").strip(' "\t\r') for raw in different]
        for name, at in zip(names, which[first].tolist(), strict=True):
            firsts[name] = min(firsts.get(name, at), at)
        groups.append((which, names, inverse))
    places = {name: place for place, name in enumerate(here.names)}
    for name in sorted(firsts, key=firsts.__getitem__):
        if name:
            places.setdefault(name, len(places))
    for which, names, inverse in groups:
        here.sensor[which] = np.array([places.get(name, NO_NAME) for name in names], np.int32)[inverse]
    here.names[:] = places
    if len(places) > MOST_NAMES:
        found = f"more than {MOST_NAMES} different names (the first: {', '.join(here.names[:3])})"
        raise InputError(Problem(found, "a column that names the sensor of each row", file=file, column=column_name))
