"""The time and the temperature of every row of a logger's export, as numbers and as states.

In: the file's bytes and its dialect. Out: arrays with an entry a row. Nothing is judged here: a cell that is no time or
no temperature is marked, and what to make of it is decided by :mod:`hardiness.read.loggers`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from dataclasses import fields as fields_of
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.companion_cells import Told, read_companions
from hardiness.read.degrees import is_missing, number_of, read_numbers
from hardiness.read.dialect import Dialect
from hardiness.read.humidity_cells import read_beside
from hardiness.read.moments import EPOCH, NO_OFFSET, layout_of, read_moments
from hardiness.read.slices import Block, Indices, blocks, shapes
from hardiness.read.text import Text

# States of a cell: read, empty (or a word for "nothing"), something else, beyond the end of its row.
GOOD, MISSING, BAD, ABSENT = range(4)
OTHER = 4  # state of the time of a row that measured something else

MOST_NAMES = 1000  # sensors that one file names; more is a column of something else
NO_NAME = -1  # code of a row that names no sensor

States = NDArray[np.uint8]
Rows = NDArray[np.signedinteger[Any]]


@dataclass(slots=True)
class Fields:
    """What all rows say; every array has an entry a row that is not blank, in the file's order.

    Parameters
    ----------
    rows : numpy.ndarray of int
        Row numbers.
    code, kind : numpy.ndarray
        Date codes and what they mean (:mod:`hardiness.read.moments`).
    nanoseconds : numpy.ndarray of int64
        Since midnight, or since 1970 for times in epoch seconds. [ns]
    offset : numpy.ndarray of int16
        East of UTC as the cell says, or ``NO_OFFSET``. [min]
    number : numpy.ndarray of float64
        The temperature in the file's unit, NaN where there is none.
    time_state, temperature_state : numpy.ndarray of uint8
        ``GOOD``, ``MISSING``, ``BAD`` or ``ABSENT``.
    long : numpy.ndarray of bool
        Whether the row has more cells than the header.
    decimals : int
        Most digits after the decimal sign.
    told : Told
        What other columns say of the readings, and the units that cells name.
    midnights : int
        Rows whose date has no time of day, among others that have one.
    noons : int
        Rows whose clock counts 12 hours.
    names : list of str
        Sensors that the rows name, where a column does, in the order in which they come.
    sensor : numpy.ndarray of int32, optional
        For each row the place of its sensor in ``names``, or ``NO_NAME``.
    beside : dict of str to numpy.ndarray of float64
        Humidity and dew points of the same air, by condition; see :func:`hardiness.read.humidity_cells.read_beside`.
    """

    rows: Rows
    code: NDArray[np.int32]
    kind: NDArray[np.uint8]
    nanoseconds: NDArray[np.int64]
    offset: NDArray[np.int16]
    number: NDArray[np.float64]
    time_state: States
    temperature_state: States
    long: NDArray[np.bool_]
    decimals: int = 0
    told: Told = field(default_factory=Told)
    midnights: int = 0
    noons: int = 0
    names: list[str] = field(default_factory=list)
    sensor: NDArray[np.int32] | None = None
    beside: dict[str, NDArray[np.float64]] = field(default_factory=dict)

    @classmethod
    def empty(cls, size: int, *, named: bool = False, beside: Iterable[str] = ()) -> Fields:
        """Make fields of ``size`` rows, every cell absent.

        Parameters
        ----------
        size : int
        named : bool, default False
            Whether a column names sensors.
        beside : iterable of str
            Conditions that a column tells.

        Returns
        -------
        Fields
        """
        return cls(
            np.zeros(size, np.int32 if size <= np.iinfo(np.int32).max else np.int64),
            np.zeros(size, np.int32),
            np.zeros(size, np.uint8),
            np.zeros(size, np.int64),
            np.full(size, NO_OFFSET, np.int16),
            np.full(size, np.nan),
            np.full(size, ABSENT, np.uint8),
            np.full(size, ABSENT, np.uint8),
            np.zeros(size, bool),
            sensor=np.full(size, NO_NAME, np.int32) if named else None,
            beside={condition: np.full(size, np.nan) for condition in beside},
        )

    def let_go(self, *names: str) -> None:
        """Give back the memory of columns that are not needed any more: there may be forty million rows.

        Parameters
        ----------
        *names : str
            Which ones; they are empty afterwards.
        """
        for name in names:
            setattr(self, name, getattr(self, name)[:0].copy())

    def keep(self, rows: NDArray[np.bool_]) -> None:
        """Keep some of the rows, column after column, so that never more than one stands twice.

        Parameters
        ----------
        rows : numpy.ndarray of bool
            Which ones.
        """
        for each in fields_of(self):
            column = getattr(self, each.name)
            if isinstance(column, np.ndarray) and column.size == rows.size:
                setattr(self, each.name, column[rows])
        for condition in self.beside:
            self.beside[condition] = self.beside[condition][rows]

    def part(self, rows: slice | NDArray[np.bool_] | Rows) -> Fields:
        """Take some of the rows.

        Parameters
        ----------
        rows : slice, or ndarray of bool or int
            Which ones.

        Returns
        -------
        Fields
        """
        return Fields(
            self.rows[rows],
            self.code[rows],
            self.kind[rows],
            self.nanoseconds[rows],
            self.offset[rows],
            self.number[rows],
            self.time_state[rows],
            self.temperature_state[rows],
            self.long[rows],
            self.decimals,
            self.told,
            self.midnights,
            self.noons,
            self.names,
            None if self.sensor is None else self.sensor[rows],
            {condition: values[rows] for condition, values in self.beside.items()},
        )


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
        here.long[:] = block.has_more(len(dialect.columns))[filled]
        _read_times(block, dialect.time, filled, here)
        cells_with = _read_temperatures(block, dialect.temperature, filled, here)
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


def _read_times(block: Block, columns: tuple[int, ...], filled: Indices, here: Fields) -> None:
    """Read the column of times; of two columns, dates from the first and times of day from the second."""
    starts, ends, present = block.cells(columns[0], filled)
    bare = np.zeros(filled.size, bool)
    for shape, which, cells in shapes(block, starts, ends):
        layout = None if shape is None else layout_of(shape)
        if shape is None or layout is None or not layout.has_date:
            here.time_state[which] = MISSING if shape is not None and is_missing(shape) else BAD
            continue
        moments = read_moments(layout, cells)
        here.kind[which], here.code[which] = moments.kind, moments.code
        here.nanoseconds[which], here.offset[which] = moments.nanoseconds, moments.offset
        here.time_state[which] = np.where(moments.good, GOOD, BAD)
        bare[which] = not layout.has_clock
        here.noons += which.size if layout.half else 0
    here.time_state[~present] = ABSENT
    if len(columns) == 1:
        here.midnights += int(np.count_nonzero(bare))
        return
    starts, ends, present = block.cells(columns[1], filled)
    states = np.full(filled.size, BAD, np.uint8)
    for shape, which, cells in shapes(block, starts, ends):
        layout = None if shape is None else layout_of(shape, is_clock=True)
        if shape is None or layout is None:
            states[which] = MISSING if shape is not None and is_missing(shape) else BAD
            continue
        moments = read_moments(layout, cells)
        here.nanoseconds[which] += moments.nanoseconds
        here.offset[which] = np.where(moments.offset == NO_OFFSET, here.offset[which], moments.offset)
        states[which] = np.where(moments.good, GOOD, BAD)
        here.noons += which.size if layout.half else 0
    states[~present] = ABSENT
    states[(states == GOOD) & (here.kind == EPOCH)] = BAD
    # a row has a time when both cells have; it has none when neither has; anything between is a fault
    both = (here.time_state == MISSING) & (states == MISSING)
    here.time_state[:] = np.where(both, MISSING, np.maximum(here.time_state, np.where(states == MISSING, BAD, states)))


def _read_temperatures(block: Block, column: int, filled: Indices, here: Fields) -> list[tuple[str, Indices]]:
    """Read the column of temperatures; the answer is which cells name which unit."""
    starts, ends, present = block.cells(column, filled)
    cells_with: list[tuple[str, Indices]] = []
    for shape, which, cells in shapes(block, starts, ends):
        number = None if shape is None else number_of(shape)
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
