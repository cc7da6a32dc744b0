"""What all rows of a logger's export say, as numbers and as states: arrays with an entry a row.

They are filled by :mod:`hardiness.read.row_reading`. There may be forty million rows, so that columns are kept small,
and given back once they are used up.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from dataclasses import fields as fields_of
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hardiness.read.companion_cells import Told
from hardiness.read.moments import NO_OFFSET

# States of a cell: read, empty (or a word for "nothing"), something else, beyond the end of its row.
GOOD, MISSING, BAD, ABSENT = range(4)
OTHER = 4  # state of the time of a row that measured something else

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
        Whether the row has more cells than the header; of columns lined up by blanks, more or less.
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
