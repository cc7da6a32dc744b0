"""Humidity and dew points beside a logger's temperatures: cells -> numbers, and what is odd about them.

In: blocks of a file, the columns found by :mod:`hardiness.read.humidity_columns`. Out: an entry a row, NaN where there
is none. An odd cell costs no temperature: it is left out and counted.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from hardiness.read.conditions import CONDITIONS, DEW_POINT
from hardiness.read.degrees import Number, is_missing, number_of, read_numbers, to_degc
from hardiness.read.slices import Block, Indices, shapes
from hardiness.words import count

NO_NUMBER = np.inf  # until it is counted, what stands for a cell with words in it

Floats = NDArray[np.float64]
_PERCENT = re.compile(rb'(?<=0)[ ]{0,2}(?:%[ ]?(?:rh|r\.h\.|rf|hr)?|\xef\xbc\x85)(?=[ "]*$)')


def percent_of(shape: bytes) -> Number | None:
    """Understand a shape as a humidity, with or without a per cent sign.

    Parameters
    ----------
    shape : bytes
        A cell with every digit as ``0`` and letters in lower case.

    Returns
    -------
    Number or None
        None where it is no number, or has another unit.

    Examples
    --------
    >>> percent_of(b"00.0 %rh").decimals, percent_of(b"00").decimals, percent_of(b"00 g/m3")
    (1, 0, None)
    """
    number = number_of(_PERCENT.sub(lambda match: b" " * len(match[0]), shape))
    return None if number is None or number.unit is not None else number


def read_beside(block: Block, condition: str, column: int, unit: str, filled: Indices, into: Floats) -> None:
    """Read one column of a block.

    Parameters
    ----------
    block : Block
        Some lines of the file.
    condition : str
        ``relative_humidity`` or ``dew_point``.
    column : int
        From 0.
    unit : str
        As :class:`hardiness.read.humidity_columns.Beside` has it.
    filled : numpy.ndarray of int64
        Lines that are not blank.
    into : numpy.ndarray of float64
        Gets an entry for each of them: NaN where there is nothing, ``NO_NUMBER`` where something else stands. [% or
        degC; dew points of no unit in the file's]
    """
    understood = number_of if condition == DEW_POINT else percent_of
    starts, ends, _ = block.cells(column, filled)
    for shape, which, cells in shapes(block, starts, ends):
        number = None if shape is None else understood(shape)
        if shape is None or number is None or (number.unit is not None and not unit):
            into[which] = np.nan if shape is not None and is_missing(shape) else NO_NUMBER
            continue
        values = read_numbers(number, cells)
        into[which] = to_degc(values, number.unit or unit) if condition == DEW_POINT and unit else values


def leave_out_odd(
    values: Floats, rows: NDArray[np.signedinteger], condition: str, column: str, cell_of: Callable[[int], str]
) -> list[str]:
    """Take out what is no value of a condition, where it stands, and count it.

    Parameters
    ----------
    values : numpy.ndarray of float64
        As :func:`read_beside` gives them; changed: NaN for each that is left out. [% or degC]
    rows : numpy.ndarray of int
        Row of each.
    condition : str
        ``relative_humidity`` or ``dew_point``.
    column : str
        Name of the column.
    cell_of : callable
        Given a row, what stands in its cell, quoted.

    Returns
    -------
    list of str
        Sentences for the user.

    Examples
    --------
    >>> values = np.array([88.0, np.inf, 140.0, np.nan])
    >>> leave_out_odd(values, np.arange(2, 6), "relative_humidity", "RH", lambda row: {3: "'wet'", 4: "'140'"}[row])
    ["2 cells of 'RH' are no humidity from 1 to 100 % (the first: row 3, 'wet'); their temperatures are kept."]
    >>> values.tolist()
    [88.0, nan, nan, nan]
    """
    known = CONDITIONS[condition]
    odd = np.flatnonzero((values < known.least) | (values > known.most))  # NO_NUMBER is above them all
    if not odd.size:
        return []
    values[odd] = np.nan
    first = int(rows[odd[0]])
    are = "is" if odd.size == 1 else "are"
    their = "its temperature is" if odd.size == 1 else "their temperatures are"
    sound = f"{known.short_name} from {known.least:g} to {known.most:g} {known.units}"
    place = f"the first: row {first}, {cell_of(first)}"
    return [f"{count(odd.size, 'cell')} of '{column}' {are} no {sound} ({place}); {their} kept."]
