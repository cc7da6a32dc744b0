"""The times of rows: one cell, a date and a time of day, or a cell for each part.

In: a block of lines, the columns of times. Out: date codes, times of day and states, written into
:class:`hardiness.read.fields.Fields`. A row of which one cell is no time is marked as a whole;
:func:`find_bad_part` tells later which cell that was.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from hardiness.read.dates import NO_DAY, days_of
from hardiness.read.degrees import is_missing, number_of, read_numbers
from hardiness.read.fields import ABSENT, BAD, GOOD, MISSING, Fields, States
from hardiness.read.layouts import SETTLED, layout_of
from hardiness.read.moments import DAY, NO_OFFSET, SECOND, code_of_day, full_year, read_moments
from hardiness.read.part_words import ACCEPTED, TimeColumns, in_range, value_of
from hardiness.read.slices import Block, Indices, shape_of, shapes

_HOUR = 3600 * SECOND  # [ns]

Floats = NDArray[np.float64]


def read_times(block: Block, time: TimeColumns, filled: Indices, here: Fields) -> None:
    """Read the times of a block's rows.

    Parameters
    ----------
    block : Block
        Some lines of the file.
    time : TimeColumns
        Which columns.
    filled : numpy.ndarray of int64
        Lines that are not blank.
    here : Fields
        Gets an entry for each of them.
    """
    if time.parts:
        _read_parts(block, time, filled, here)
        return
    _read_dates(block, time.places[0], filled, here)
    if len(time.places) > 1:
        _refuse_two_clocks(here)
        _join(here, _read_clocks(block, time.places[1], filled, here))


def _read_dates(block: Block, column: int, filled: Indices, here: Fields) -> None:
    """Read dates with or without a time of day."""
    starts, ends, present = block.cells(column, filled)
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
    here.midnights += int(np.count_nonzero(bare))


def _read_clocks(block: Block, column: int, filled: Indices, here: Fields) -> States:
    """Add times of day to dates that were read; the answer is a state for each row."""
    starts, ends, present = block.cells(column, filled)
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
    return states


def _refuse_two_clocks(here: Fields) -> None:
    """Mark dates that have a time of day of their own, where another column tells it: the two would be added up."""
    here.time_state[(here.time_state == GOOD) & (here.nanoseconds != 0)] = BAD


def _join(here: Fields, states: States) -> None:
    """Join the states of dates with those of what completes them.

    A row has a time when both cells have; it has none when neither has; anything between is a fault.
    """
    here.midnights = 0  # the dates have their times of day in a column of its own
    both = (here.time_state == MISSING) & (states == MISSING)
    here.time_state[:] = np.where(both, MISSING, np.maximum(here.time_state, np.where(states == MISSING, BAD, states)))


def _read_parts(block: Block, time: TimeColumns, filled: Indices, here: Fields) -> None:
    """Read times given in parts."""
    of = dict(zip(time.parts, time.places, strict=True))
    states: list[States] = []
    values: dict[str, Floats] = {}
    if "date" in of:
        _read_dates(block, of["date"], filled, here)
        if time.parts != ("date", "ampm"):
            _refuse_two_clocks(here)
        here.midnights = 0
        states.append(here.time_state.copy())
    for part, column in of.items():
        if part == "time":
            states.append(_read_clocks(block, column, filled, here))
        elif part != "date":
            values[part], state = _read_part(block, column, part, filled)
            states.append(state)
    whole = np.ones(filled.size, bool)
    for state in states:
        whole &= state == GOOD
    if "date" not in of:
        here.kind[:] = SETTLED
        whole &= _set_dates(values, whole, here)
    if any(part in values for part in ("hhmm", "hour", "minute", "second")):
        here.nanoseconds += _time_of_day(values, whole)
        whole &= here.nanoseconds <= DAY
    if "ampm" in values:
        hours = here.nanoseconds // _HOUR
        whole &= hours <= 12
        half = np.where(whole, values["ampm"], 0).astype(np.int64)
        here.nanoseconds += np.where(whole, hours % 12 + half - hours, 0) * _HOUR
        here.noons += filled.size
    empty, absent = np.ones(filled.size, bool), np.zeros(filled.size, bool)
    for state in states:
        empty &= state == MISSING
        absent |= state == ABSENT
    here.time_state[:] = np.select([whole, empty, absent], [GOOD, MISSING, ABSENT], BAD)


def _read_part(block: Block, column: int, part: str, filled: Indices) -> tuple[Floats, States]:
    """Read the cells of one part: their numbers, and their states."""
    starts, ends, present = block.cells(column, filled)
    values, states = np.full(filled.size, np.nan), np.full(filled.size, BAD, np.uint8)
    for shape, which, cells in shapes(block, starts, ends):
        if shape is None or is_missing(shape):
            states[which] = BAD if shape is None else MISSING
            continue
        number = number_of(shape)
        if number is None or number.negative or number.power is not None:  # a month's name, AM, or no part at all
            named = value_of(shape.decode("utf-8", "replace"), part)
            if named is not None:
                values[which], states[which] = named, GOOD
            continue
        numbers = read_numbers(number, cells)
        values[which] = numbers
        states[which] = np.where(_in_range(numbers, part), GOOD, BAD)
    states[~present] = ABSENT
    return values, states


def _in_range(numbers: Floats, part: str) -> NDArray[np.bool_]:
    """Tell for each number whether it can be the part: there are few different ones."""
    different, inverse = np.unique(numbers, return_inverse=True)
    return np.array([in_range(float(number), part) for number in different], bool)[inverse]


def _set_dates(values: dict[str, Floats], whole: NDArray[np.bool_], here: Fields) -> NDArray[np.bool_]:
    """Write date codes; the answer is which dates exist."""

    def numbers(part: str) -> NDArray[np.int64]:
        return np.where(whole, values[part], 1).astype(np.int64)

    year = numbers("year")
    year = np.where(year < 100, full_year(year), year)
    if "doy" in values:
        here.code[:] = code_of_day(year, numbers("doy"))
        fraction = np.where(whole, values["doy"], 0) % 1
        here.nanoseconds += np.round(fraction * 86_400).astype(np.int64) * SECOND
    else:
        here.code[:] = year * 10_000 + numbers("month") * 100 + numbers("day")
    return np.asarray(days_of(here.code, here.kind, "YMD") != NO_DAY)


def _time_of_day(values: dict[str, Floats], whole: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Add up the parts of times of day. [ns]."""
    seconds = np.zeros(whole.size)
    for part, length in (("hour", 3600), ("minute", 60), ("second", 1)):
        if part in values:
            seconds += np.where(whole, values[part], 0) * length
    if "hhmm" in values:
        number = np.where(whole, values["hhmm"], 0)
        seconds += number // 100 * 3600 + number % 100 * 60
    return np.round(seconds * 1e6).astype(np.int64) * 1000


def find_bad_part(cells: Sequence[str], time: TimeColumns) -> tuple[str, str, int]:
    """Find what is wrong with a time given in parts.

    Parameters
    ----------
    cells : sequence of str
        All cells of a row.
    time : TimeColumns
        Which are the parts.

    Returns
    -------
    found : str
        What stands there; empty for a cell that is not there.
    accepted : str
        What the part may be.
    column : int
        The part at fault, from 0; the last one of the date where only the date as a whole does not exist.

    Examples
    --------
    >>> time = TimeColumns((0, 1, 2, 3), ("year", "month", "day", "hour"))
    >>> find_bad_part(["2023", "1", "14", "25"], time)
    ("'25'", 'an hour from 0 to 24', 3)
    >>> find_bad_part(["2023", "2", "30", "5"], time)
    ("'2023', '2', '30', '5', no time that exists", 'a date and time of day that exist', 2)
    """
    for part, column in zip(time.parts, time.places, strict=True):
        if column >= len(cells):
            return "no cell", ACCEPTED[part], column
        if not _is_part(cells[column], part, has_clock=time.parts == ("date", "ampm")):
            return f"'{cells[column]}'" if cells[column] else "an empty cell", ACCEPTED[part], column
    told = ", ".join(f"'{cells[column]}'" for column in time.places)
    dated = [column for part, column in zip(time.parts, time.places, strict=True) if part in ("day", "doy", "date")]
    return f"{told}, no time that exists", "a date and time of day that exist", dated[0]


def _is_part(cell: str, part: str, *, has_clock: bool) -> bool:
    if part not in ("date", "time"):
        return value_of(cell, part) is not None
    layout = layout_of(shape_of(cell.encode()), is_clock=part == "time")
    if layout is None or layout.has_date != (part == "date"):
        return False
    if part == "time" or has_clock or not layout.has_clock:
        return True
    moment = read_moments(layout, np.frombuffer(cell.encode(), np.uint8)[np.newaxis])
    return not moment.nanoseconds.any()
