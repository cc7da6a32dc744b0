"""Rows of text -> a typed table of selections, plants, sensors, scores or freeze notes.

Every cell is checked and every fault of the file is listed at once; a table is taken whole or not at all. What one
row says about another table (a score of an unknown plant) is for :mod:`hardiness.read.references`.
"""

from __future__ import annotations

import datetime as dt
import math
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.cells import CellRules, parse_cell
from hardiness.read.keys import good_keys, keys_of, repeated_keys, without_key
from hardiness.read.labels import FREE_TEXT, RefusedError, quote
from hardiness.read.tables import RawTable
from hardiness.read.years import say_dates_ahead
from hardiness.schema import OWN_ROOTS, Column, Table
from hardiness.settings import Settings

_DTYPES = {"number": "float64", "integer": "int64", "grade": "int64", "date": "object"}  # every other kind is text
_SHOWN = 5  # examples in a sentence


@dataclass(frozen=True, slots=True)
class Records:
    """A records file, read and checked.

    Parameters
    ----------
    table : Table
        Which table it is.
    frame : pandas.DataFrame
        One row per row of the file, all columns of the table: text is ``""`` where empty, dates are
        ``datetime.date`` or None, times ISO 8601 text in UTC, numbers float64 or NaN, grades int64.
    rows : list of int
        Row of the file for each row of ``frame``, as a spreadsheet counts.
    file : str
        The file's name.
    said : list of str
        Sentences for the user.
    given : tuple of str
        The columns that the file has; what it says nothing about stays as it was.
    problems : list of Problem
        What is wrong with rows and cells, held back so that what is wrong between tables can be listed beside it. A
        file with any is never stored. Rows without a good key are not in ``frame``; other bad cells are empty there.
    in_doubt : frozenset of (tuple of str, str)
        Key and column of each bad cell in ``frame``: nothing is to be held against it.
    unkeyed : list of (int, dict)
        Rows without a good key: row of the file, and the good cells by column.
    """

    table: Table
    frame: pd.DataFrame
    rows: list[int]
    file: str
    said: list[str] = field(default_factory=list)
    given: tuple[str, ...] = ()
    problems: list[Problem] = field(default_factory=list)
    in_doubt: frozenset[tuple[tuple[str, ...], str]] = frozenset()
    unkeyed: list[tuple[int, dict[str, object]]] = field(default_factory=list)

    @property
    def keys(self) -> list[tuple[str, ...]]:
        """The key of each row, as text (dates in ISO 8601)."""
        return keys_of(self.frame, self.table)


def records_frame(table: Table, rows: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Build a records table in memory from rows of values; what a row lacks is empty.

    Parameters
    ----------
    table : Table
        Its columns and their kinds.
    rows : sequence of mapping
        Values by column name.

    Returns
    -------
    pandas.DataFrame

    Examples
    --------
    >>> from hardiness.schema import SENSORS
    >>> frame = records_frame(SENSORS, [{"sensor": "L1", "height_m": 1.5}])
    >>> frame.loc[0, "height_m"], frame.loc[0, "kind"]
    (np.float64(1.5), '')
    """
    return pd.DataFrame(
        {
            column.name: pd.Series(
                [row.get(column.name, _empty_value(column)) for row in rows], dtype=_DTYPES.get(column.kind, "str")
            )
            for column in table.columns
        }
    )


def _empty_value(column: Column) -> object:
    return {"date": None, "number": math.nan}.get(column.kind, "")


def parse_records(
    raw: RawTable,
    table: Table,
    settings: Settings,
    *,
    today: dt.date | None = None,
    keys_only: bool = False,
    hold: bool = False,
) -> Records:
    """Check and type the rows of a records file.

    Parameters
    ----------
    raw : RawTable
        The file's cells.
    table : Table
        Which table it is.
    settings : Settings
        The trial's: damage scale and zone.
    today : datetime.date, optional
        Today in the trial's zone; None: by this computer's clock. Scores after it, and other dates more than two days
        after it, are taken and said.
    keys_only : bool, default False
        Whether the file need only name rows (to withdraw them): columns and cells outside the key may be missing.
    hold : bool, default False
        Whether what is wrong with rows and cells is held back in the records: the store raises it with what is wrong
        between tables.

    Returns
    -------
    Records

    Raises
    ------
    InputError
        With every fault: unknown or missing columns, and unless held back bad rows and cells, keys that stand twice.

    Examples
    --------
    >>> from hardiness.read.tables import RawRow
    >>> from hardiness.schema import SCORES
    >>> cells = {"plant": "T1", "scored_on": "2026-02-10", "grade": "unharmed"}
    >>> raw = RawTable("scores.csv", list(cells), [RawRow(2, cells)])
    >>> parse_records(raw, SCORES, Settings("Hill", "Europe/Lisbon")).frame.loc[0, "grade"]
    np.int64(0)
    """
    today = today or dt.datetime.now(settings.zone).date()
    rules = CellRules(settings, decimal_comma=raw.decimal_comma)
    needed = {column.name for column in table.columns if column.required}
    needed &= set(table.key) if keys_only else needed
    problems = [*raw.problems, *_column_problems(raw, table, needed)]
    said = list(raw.said)
    values: list[dict[str, object]] = [{} for _ in raw.rows]
    given = tuple(column.name for column in table.columns if column.name in raw.columns)
    for name in given:
        column = table[name]
        if keys_only and name not in table.key:
            continue
        faults = _parse_column(raw, column, rules, values)
        problems.extend(faults)
        said.extend(_changed_labels(raw, column, values))
        if column.kind == "date":
            dates = ((row.number, value.get(name)) for row, value in zip(raw.rows, values, strict=True))
            said.extend(say_dates_ahead(raw.file, name, dates, today))
    if needed & set(table.key) <= set(given):
        problems.extend(repeated_keys(raw, table, values))
    problems.sort(key=lambda problem: problem.row if isinstance(problem.row, int) else 0)
    if problems and not (hold and needed <= set(given)):
        raise InputError(problems)
    empty = {column.name: 0 for column in table.columns if column.kind == "grade"} if keys_only or problems else {}
    numbers, in_doubt = [row.number for row in raw.rows], frozenset[tuple[tuple[str, ...], str]]()
    unkeyed = without_key(numbers, values, table, given) if problems else []
    if problems:
        numbers, values, in_doubt = good_keys(numbers, values, table, given)
    frame = records_frame(table, [{**empty, **row} for row in values])
    return Records(table, frame, numbers, raw.file, said, given, problems, in_doubt, unkeyed)


def _column_problems(raw: RawTable, table: Table, needed: set[str]) -> list[Problem]:
    problems = []
    for name in raw.columns:
        if name not in table.names:
            hint = near_name(name, table.names)
            problems.append(
                Problem(f"column {quote(name)}, not known", ", ".join(table.names), file=raw.file, hint=hint)
            )
    for column in table.columns:
        if column.name in needed and column.name not in raw.columns:
            problems.append(
                Problem(f"no column {quote(column.name)}", f"a header row with it: {column.meaning}", file=raw.file)
            )
    return problems


def _parse_column(
    raw: RawTable, column: Column, rules: CellRules, values: Sequence[dict[str, object]]
) -> list[Problem]:
    """Fill one column of ``values``; each different text is parsed once."""
    parsed: dict[str, object] = {}
    refused: dict[str, RefusedError] = {}
    problems = []
    for row, value in zip(raw.rows, values, strict=True):
        text = row.cells[column.name]
        if text not in parsed and text not in refused:
            try:
                parsed[text] = parse_cell(text, column, rules)
            except RefusedError as error:
                refused[text] = error
        if text in parsed:
            value[column.name] = parsed[text]
        else:
            fault = refused[text]
            problems.append(
                Problem(fault.found, fault.accepted, file=raw.file, row=row.number, column=column.name, hint=fault.hint)
            )
    return problems


def _changed_labels(raw: RawTable, column: Column, values: Sequence[dict[str, object]]) -> list[str]:
    """Say which labels were not taken letter by letter: composed letters, own roots."""
    if column.kind != "text" or column.name in FREE_TEXT:
        return []
    composed, own = [], []
    for row, value in zip(raw.rows, values, strict=True):
        text, label = row.cells[column.name].strip(), value.get(column.name)
        if label is None or text == label:
            continue
        if unicodedata.normalize("NFC", text) == label:
            composed.append(f"{quote(str(label))} (row {row.number})")
        elif label == OWN_ROOTS:
            own.append(f"row {row.number}")
    said = []
    if composed:
        said.append(
            f"{raw.file}, column {column.name}: letters written as letter and accent were joined: {_some(composed)}."
        )
    if own:
        said.append(f"{raw.file}, column {column.name}: taken as '{OWN_ROOTS}', on its own roots: {_some(own)}.")
    return said


def _some(items: Sequence[str]) -> str:
    more = f" and {len(items) - _SHOWN} more" if len(items) > _SHOWN else ""
    return ", ".join(items[:_SHOWN]) + more
