"""The time and the temperature of every row of a logger's export, as numbers and as states.

In: the file's bytes and its dialect. Out: arrays with an entry a row. Nothing is judged here: a cell that is no time or
no temperature is marked, and what to make of it is decided by :mod:`hardiness.read.loggers`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hardiness.read.degrees import is_missing, number_of, read_numbers
from hardiness.read.dialect import Dialect
from hardiness.read.moments import EPOCH, NO_OFFSET, layout_of, read_moments
from hardiness.read.slices import Block, Indices, blocks, shapes

# States of a cell: read, empty (or a word for "nothing"), something else, beyond the end of its row.
GOOD, MISSING, BAD, ABSENT = range(4)

States = NDArray[np.uint8]


@dataclass(slots=True)
class Fields:
    """What all rows say; every array has an entry a row that is not blank, in the file's order.

    Parameters
    ----------
    rows : numpy.ndarray of int64
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
    units : dict of str to int
        Units that cells name, and the first row that does.
    midnights : int
        Rows whose date has no time of day, among others that have one.
    """

    rows: Indices
    code: NDArray[np.int32]
    kind: NDArray[np.uint8]
    nanoseconds: NDArray[np.int64]
    offset: NDArray[np.int16]
    number: NDArray[np.float64]
    time_state: States
    temperature_state: States
    long: NDArray[np.bool_]
    decimals: int = 0
    units: dict[str, int] = field(default_factory=dict)
    midnights: int = 0

    @classmethod
    def empty(cls, size: int) -> Fields:
        """Make fields of ``size`` rows, every cell absent.

        Parameters
        ----------
        size : int

        Returns
        -------
        Fields
        """
        return cls(
            np.zeros(size, np.int64),
            np.zeros(size, np.int32),
            np.zeros(size, np.uint8),
            np.zeros(size, np.int64),
            np.full(size, NO_OFFSET, np.int16),
            np.full(size, np.nan),
            np.full(size, ABSENT, np.uint8),
            np.full(size, ABSENT, np.uint8),
            np.zeros(size, bool),
        )

    def part(self, rows: slice | NDArray[np.bool_] | Indices) -> Fields:
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
            self.units,
            self.midnights,
        )


def read_fields(
    data: bytes, dialect: Dialect, *, file: str, progress: Callable[[int, int], None] | None = None
) -> Fields:
    r"""Read the time and the temperature of every row.

    Parameters
    ----------
    data : bytes
        The file, UTF-8.
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
        If a line is too long to be a row of readings.

    Examples
    --------
    >>> from hardiness.read.dialect import find_dialect
    >>> data = b"Time,Temp\n2023-01-14 06:05,-3.25\n2023-01-14 06:20,--\n"
    >>> fields = read_fields(data, find_dialect(data, file="l.csv"), file="l.csv")
    >>> fields.rows.tolist(), fields.number.tolist(), fields.decimals
    ([2, 3], [-3.25, nan], 2)
    """
    fields = Fields.empty(data.count(b"\n", dialect.body))
    size = 0
    for block in blocks(data, dialect.delimiter, start=dialect.body, first_row=dialect.body_row, file=file):
        filled = np.flatnonzero(block.ends - block.starts > block.counts)
        here = fields.part(slice(size, size + filled.size))  # views: what is written there stands in `fields`
        size += filled.size
        here.rows[:] = block.first_row + filled
        here.long[:] = block.has_more(len(dialect.columns))[filled]
        _read_times(block, dialect.time, filled, here)
        _read_temperatures(block, dialect.temperature, filled, here)
        fields.decimals, fields.midnights = here.decimals, here.midnights
        if progress is not None:
            progress(block.end, len(data))
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
    states[~present] = ABSENT
    states[(states == GOOD) & (here.kind == EPOCH)] = BAD
    # a row has a time when both cells have; it has none when neither has; anything between is a fault
    both = (here.time_state == MISSING) & (states == MISSING)
    here.time_state[:] = np.where(both, MISSING, np.maximum(here.time_state, np.where(states == MISSING, BAD, states)))


def _read_temperatures(block: Block, column: int, filled: Indices, here: Fields) -> None:
    starts, ends, present = block.cells(column, filled)
    for shape, which, cells in shapes(block, starts, ends):
        number = None if shape is None else number_of(shape)
        if shape is None or number is None:
            here.temperature_state[which] = MISSING if shape is not None and is_missing(shape) else BAD
            continue
        here.number[which] = read_numbers(number, cells)
        here.temperature_state[which] = GOOD
        here.decimals = max(here.decimals, number.decimals)
        if number.unit is not None:
            row = int(here.rows[which[0]])
            here.units[number.unit] = min(here.units.get(number.unit, row), row)
    here.temperature_state[~present] = ABSENT
