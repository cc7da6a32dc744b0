"""Tables of the flow as a page shows them: cells as text in the trial's unit, links, and the order asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from hardiness.commands.printing import cell_text, heading
from hardiness.schema import Column
from hardiness.settings import Settings
from hardiness.store.records import value_text

MOST_ROWS = 200  # rows on one page


@dataclass(frozen=True, slots=True)
class Head:
    """A column of a page's table.

    Parameters
    ----------
    name, title, meaning : str
        Its name, what stands above it, and what it says.
    right : bool
        Whether figures stand in it.
    """

    name: str
    title: str
    meaning: str
    right: bool


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a page's table.

    Parameters
    ----------
    text : str
    href : str
        Where it leads; empty: nowhere.
    """

    text: str
    href: str = ""


@dataclass(frozen=True, slots=True)
class Grid:
    """A table as a page shows it.

    Parameters
    ----------
    heads : tuple of Head
    rows : list of list of Cell
    whole : int
        Rows in all.
    start : int
        The first row shown, from 0.
    sort : str
        The column that it is sorted by, ``-`` before it where falling.
    """

    heads: tuple[Head, ...]
    rows: list[list[Cell]]
    whole: int
    start: int = 0
    sort: str = ""

    @property
    def next_start(self) -> int | None:
        """The first row of the next page; None on the last."""
        after = self.start + len(self.rows)
        return after if after < self.whole else None

    def sorted_by(self, head: Head) -> str:
        """Say how a column sorts the table: ``ascending``, ``descending`` or ``none``.

        Parameters
        ----------
        head : Head

        Returns
        -------
        str
        """
        return {head.name: "ascending", f"-{head.name}": "descending"}.get(self.sort, "none")


def grid_of(
    table: pd.DataFrame,
    columns: Sequence[Column],
    settings: Settings,
    *,
    links: Mapping[str, Callable[[Mapping[str, object]], str]] | None = None,
    texts: Mapping[str, Sequence[str]] | None = None,
    sort: str = "",
    start: int = 0,
    most: int = MOST_ROWS,
) -> Grid:
    """Lay a table out for a page.

    Parameters
    ----------
    table : DataFrame
    columns : sequence of Column
        What is shown, in this order.
    settings : Settings
    links : mapping of str to callable
        By column: where a row's cell leads.
    texts : mapping of str to sequence of str
        By column: texts that stand there instead of the values; they are sorted by the values.
    sort : str
        The column to sort by, ``-`` before it for falling; unknown names change nothing.
    start : int
        The first row to show.
    most : int
        Rows to show.

    Returns
    -------
    Grid
    """
    table = table.reset_index(drop=True)
    given = {name: pd.Series(list(cells), dtype="object") for name, cells in (texts or {}).items()}
    name = sort.removeprefix("-")
    known = name in {column.name for column in columns}
    if known:
        order = _order(table[name], falling=sort.startswith("-"))
        table = table.loc[order].reset_index(drop=True)
        given = {column: cells.loc[order].reset_index(drop=True) for column, cells in given.items()}
    start = min(max(start, 0), max(len(table) - 1, 0))
    shown = table.iloc[start : start + most]
    rows = []
    for number, row in zip(shown.index, shown.to_dict("records"), strict=True):
        cells = []
        for column in columns:
            told = given.get(column.name)
            text = cell_text(row[column.name], column, settings) if told is None else str(told.loc[number])
            to = (links or {}).get(column.name)
            cells.append(Cell(text, to({str(key): value for key, value in row.items()}) if to and text else ""))
        rows.append(cells)
    return Grid(tuple(head_of(column, settings) for column in columns), rows, len(table), start, sort if known else "")


def _order(values: pd.Series, *, falling: bool) -> list[int]:
    """Sort texts without regard to case, numbers as numbers; what is empty comes last either way."""
    keys = values.map(lambda value: value.casefold() if isinstance(value, str) else value)
    empty = values.isna() | values.map(lambda value: value == "")
    order = keys[~empty].sort_values(ascending=not falling, kind="stable").index.tolist()
    return [*order, *keys[empty].index.tolist()]


def head_of(column: Column, settings: Settings) -> Head:
    """Lay a column's heading out for a page.

    Parameters
    ----------
    column : Column
    settings : Settings

    Returns
    -------
    Head
    """
    right = column.kind in ("number", "integer") or column.unit is not None
    return Head(column.name, heading(column, settings.units), column.meaning, right)


def columns_named(columns: Sequence[Column], names: Sequence[str]) -> list[Column]:
    """Choose columns by name, in the order of the names.

    Parameters
    ----------
    columns : sequence of Column
    names : sequence of str

    Returns
    -------
    list of Column
    """
    by_name = {column.name: column for column in columns}
    return [by_name[name] for name in names if name in by_name]


def containing(table: pd.DataFrame, columns: Sequence[Column], find: str) -> pd.DataFrame:
    """Keep the rows that have a text in any of some columns, without regard to case.

    Parameters
    ----------
    table : DataFrame
    columns : sequence of Column
    find : str
        Blank: all rows.

    Returns
    -------
    DataFrame
    """
    wanted = find.strip().casefold()
    if not wanted:
        return table
    hit = pd.Series(False, index=table.index)
    for column in columns:
        hit |= table[column.name].map(lambda value: wanted in text_of(value).casefold()).astype(bool)
    return table[hit]


def text_of(value: object) -> str:
    """Write a record's value as a form holds it.

    Parameters
    ----------
    value : object

    Returns
    -------
    str

    Examples
    --------
    >>> text_of(None), text_of(float("nan")), text_of(1.50), text_of("own")
    ('', '', '1.5', 'own')
    """
    if value is None or value is pd.NaT or (isinstance(value, float) and pd.isna(value)):
        return ""
    return value_text(value)
