"""The keys of records tables: what names a row, how a person reads it, and which rows of a file have a good one."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from hardiness.errors import Problem
from hardiness.read.labels import quote
from hardiness.read.tables import RawTable
from hardiness.schema import Table


def keys_of(frame: pd.DataFrame, table: Table) -> list[tuple[str, ...]]:
    """Give the key of each row of a records table as text.

    Parameters
    ----------
    frame : pandas.DataFrame
        With at least the columns of the key.
    table : Table
        Which table it is.

    Returns
    -------
    list of tuple of str
        Dates in ISO 8601.

    Examples
    --------
    >>> import datetime as dt
    >>> from hardiness.schema import SCORES
    >>> keys_of(pd.DataFrame({"plant": ["T1"], "scored_on": [dt.date(2032, 2, 10)], "observer": [""]}), SCORES)
    [('T1', '2032-02-10', '')]
    """
    columns = [[str(value) for value in frame[name]] for name in table.key]
    return list(zip(*columns, strict=True))


def key_text(table: Table, key: Sequence[str]) -> str:
    """Write a key as a person reads it.

    Parameters
    ----------
    table : Table
        Whose key it is.
    key : sequence of str
        Its values.

    Returns
    -------
    str

    Examples
    --------
    >>> from hardiness.schema import SCORES
    >>> key_text(SCORES, ("T1", "2032-02-10", ""))
    "plant 'T1', scored_on 2032-02-10"
    """
    parts = []
    for name, value in zip(table.key, key, strict=True):
        if value:
            parts.append(f"{name} {value if table[name].kind == 'date' else quote(value)}")
    return ", ".join(parts)


def good_keys(
    numbers: Sequence[int], values: Sequence[dict[str, object]], table: Table, given: Sequence[str]
) -> tuple[list[int], list[dict[str, object]], frozenset[tuple[tuple[str, ...], str]]]:
    """Keep the rows that are named by a good key, each key once, and list which of their cells are bad.

    Parameters
    ----------
    numbers : sequence of int
        Row of the file for each row.
    values : sequence of dict
        Values by column; a bad cell is not among them.
    table : Table
        Which table it is.
    given : sequence of str
        The columns that the file has.

    Returns
    -------
    numbers : list of int
        Of the rows kept.
    values : list of dict
        Of the rows kept. Where one date is bad none stands there: dates are held against each other.
    in_doubt : frozenset of (tuple of str, str)
        Key and column of each bad cell.
    """
    dates = [column.name for column in table.columns if column.kind == "date" and column.name not in table.key]
    kept: dict[tuple[str, ...], tuple[int, dict[str, object]]] = {}
    in_doubt = set()
    for number, row in zip(numbers, values, strict=True):
        bad = [name for name in given if name not in row]
        if any(name in table.key for name in bad):
            continue
        key = tuple(str(row.get(name, "")) for name in table.key)
        if any(name in dates for name in bad):
            row = {name: value for name, value in row.items() if name not in dates}
        if key not in kept:
            kept[key] = (number, row)
            in_doubt |= {(key, name) for name in bad}
    return [number for number, _ in kept.values()], [row for _, row in kept.values()], frozenset(in_doubt)


def without_key(
    numbers: Sequence[int], values: Sequence[dict[str, object]], table: Table, given: Sequence[str]
) -> list[tuple[int, dict[str, object]]]:
    """List the rows of which a cell of the key is bad, with what else they say.

    Parameters
    ----------
    numbers : sequence of int
        Row of the file for each row.
    values : sequence of dict
        Values by column; a bad cell is not among them.
    table : Table
        Which table it is.
    given : sequence of str
        The columns that the file has.

    Returns
    -------
    list of (int, dict)
        Row of the file, and its good cells.
    """
    keys = [name for name in table.key if name in given]
    rows = zip(numbers, values, strict=True)
    return [(number, row) for number, row in rows if any(name not in row for name in keys)]


def repeated_keys(raw: RawTable, table: Table, values: Sequence[dict[str, object]]) -> list[Problem]:
    """List keys that stand twice: which of the two rows counts is not ours to choose.

    Parameters
    ----------
    raw : RawTable
        The file's cells.
    table : Table
        Which table it is.
    values : sequence of dict
        Values by column of each row; a bad cell is not among them.

    Returns
    -------
    list of Problem
    """
    first: dict[tuple[str, ...], int] = {}
    problems = []
    for row, value in zip(raw.rows, values, strict=True):
        if any(name in raw.columns and name not in value for name in table.key):
            continue  # a cell of its key was refused already
        key = tuple(str(value.get(name, "")) for name in table.key)
        if key in first:
            problems.append(
                Problem(f"{key_text(table, key)} again; row {first[key]} has it too", "each one once in a file",
                        file=raw.file, row=row.number)
            )  # fmt: skip
        else:
            first[key] = row.number
    return problems
