"""A column and a table: name, kind, unit, meaning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name : str
        The name, the same everywhere.
    meaning : str
        What it says, in the words of the trial.
    kind : str
        ``text``, ``date``, ``time``, ``number``, ``integer``, ``choice``, ``temperature`` (a number with a unit),
        ``grade``, ``flag`` (true or false).
    unit : str, optional
        Unit of a number.
    required : bool
        Whether an input row must fill it.
    choices : tuple of str
        Accepted words of a ``choice``.
    """

    name: str
    meaning: str
    kind: str = "text"
    unit: str | None = None
    required: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """A named table: its columns and the ones that make its key."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in their order."""
        return tuple(column.name for column in self.columns)

    def __getitem__(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)


def column_names(columns: Sequence[Column]) -> list[str]:
    """Names of the columns, in their order.

    Parameters
    ----------
    columns : sequence of Column

    Returns
    -------
    list of str

    Examples
    --------
    >>> column_names([Column("plant", "the plant scored"), Column("grade", "its state")])
    ['plant', 'grade']
    """
    return [column.name for column in columns]
