"""The same probe in two units: two columns that are one temperature.

In: columns of temperatures, the first rows as cells. Out: the columns without the second of such a pair.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from hardiness.read.column_words import UNIT_PART
from hardiness.read.degrees import number_of, read_numbers, resolution_of, to_degc
from hardiness.read.grid import Grid
from hardiness.read.header_units import units_in
from hardiness.read.slices import shape_of

_UNIT_WORDS = re.compile(
    r"(?:[°º˚]|deg(?:rees?|\.)?)?[\s_.\-,/]*(?:celsius|fahrenheit|kelvin|centigrade|[cfk](?![a-z]))|[℃℉]|[°º˚]", re.I
)  # fmt: skip
_ROUNDING_K = 0.02  # what a conversion may be off by besides the last digits of both


def without_twins(grid: Grid, places: Sequence[int]) -> tuple[list[int], list[str]]:
    """Leave out each column that is another one in a second unit: the names are alike, and all values agree.

    Parameters
    ----------
    grid : Grid
        The first rows.
    places : sequence of int
        Columns of temperatures, from 0.

    Returns
    -------
    places : list of int
        Of a pair in C and F the one in C stays.
    said : list of str
        A sentence for each pair.

    Examples
    --------
    >>> rows = [["06:05", "-3.0", "26.6"], ["06:20", "-3.5", "25.7"]]
    >>> without_twins(Grid("l.csv", ["Time", "Temp (C)", "Temp (F)"], rows, []), [1, 2])
    ([1], ["'Temp (F)' is 'Temp (C)' in another unit and was passed over."])
    """
    units = {n: found[0] for n in places if len(found := units_in(grid.columns[n])) == 1}
    kept, said = list(places), list[str]()
    for one in [n for n in places if units.get(n) == "degC"] + [n for n in places if units.get(n) == "kelvin"]:
        for other in list(kept):
            alike = other in units and units[other] != units[one] and _stem(grid, one) == _stem(grid, other)
            if one in kept and other != one and alike and _agree(grid, one, other, units):
                kept.remove(other)
                said.append(f"'{grid.columns[other]}' is '{grid.columns[one]}' in another unit and was passed over.")
    return kept, said


def _stem(grid: Grid, column: int) -> str:
    """What a name says besides the unit."""
    name = re.sub(r"(?<=[a-z])(?=[CFK](?![a-z]))|(?<=temp)(?=[cfk]$)", " ", UNIT_PART.sub(" ", grid.columns[column]))
    return " ".join(re.sub(r"[\W_]+", " ", _UNIT_WORDS.sub(" ", f" {name} ")).casefold().split())


def _agree(grid: Grid, one: int, other: int, units: dict[int, str]) -> bool:
    """Whether two columns tell the same temperature in every row that has both."""
    apart, decimals = [], {one: 0, other: 0}
    for row in grid.cells:
        celsius = []
        for n in (one, other):
            shape = shape_of(row[n].encode()) if n < len(row) else b""
            if (number := number_of(shape)) is not None:
                decimals[n] = max(decimals[n], number.decimals)
                values = read_numbers(number, np.frombuffer(row[n].encode(), np.uint8)[np.newaxis])
                celsius.append(float(to_degc(values, units[n])[0]))
        if len(celsius) == 2:
            apart.append(abs(celsius[0] - celsius[1]))
    digits = sum(resolution_of(decimals[n], units[n]) for n in (one, other))
    return bool(apart) and max(apart) <= digits / 2 + _ROUNDING_K
