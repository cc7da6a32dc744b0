"""Records are versions: each accepted file adds its rows, and what counts is laid together from those that count.

A version holds the columns that its file had. The current state of a key is its counting versions, oldest first, each
laid over the one before: a later file changes what it says and leaves what it does not speak of. A version counts
unless it, or the upload it came with, has been withdrawn; so withdrawing brings the earlier state back, and nothing
is ever deleted. ``key`` and ``content`` are JSON texts, dates in ISO 8601.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import pandas as pd
import sqlalchemy as sa

from hardiness.read.records import records_frame
from hardiness.schema import RECORD_TABLES, Table
from hardiness.store.database import INTAKES, VERSIONS

Key = tuple[str, ...]
State = dict[str, dict[Key, dict[str, Any]]]
"""By table and key: the values that count, as JSON has them."""


class Change(NamedTuple):
    """One value that a file changed.

    Parameters
    ----------
    key : tuple of str
        The row's key.
    column : str
        Which column.
    old, new : str
        The values as text, ``""`` where empty.
    """

    key: Key
    column: str
    old: str
    new: str


def key_json(key: Sequence[str]) -> str:
    """Write a key as the database keeps it.

    Parameters
    ----------
    key : sequence of str
        Its values.

    Returns
    -------
    str

    Examples
    --------
    >>> key_json(("T1", "2032-02-10", ""))
    '["T1","2032-02-10",""]'
    """
    return to_json(list(key))


def to_json(value: object) -> str:
    """Write a value as compact JSON; letters stay letters.

    Parameters
    ----------
    value : object
        Of JSON's types.

    Returns
    -------
    str

    Examples
    --------
    >>> to_json({"plant": "Żó-1"})
    '{"plant":"Żó-1"}'
    """
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def value_text(value: object) -> str:
    """Write a stored value as a person reads it.

    Parameters
    ----------
    value : object
        As JSON has it.

    Returns
    -------
    str

    Examples
    --------
    >>> value_text(None), value_text(1.5), value_text(412.0), value_text("L1")
    ('', '1.5', '412', 'L1')
    """
    if value is None:
        return ""
    return f"{value:.15g}" if isinstance(value, float) else str(value)


def load_state(connection: sa.Connection, tables: Iterable[str] = tuple(RECORD_TABLES)) -> State:
    """Lay the counting versions of records together.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    tables : iterable of str
        Which tables; all unless told.

    Returns
    -------
    dict
        By table and key, in the order in which the keys first came.
    """
    state: State = {name: {} for name in tables}
    query = (
        sa.select(VERSIONS.c.table_name, VERSIONS.c.key, VERSIONS.c.content)
        .join(INTAKES, INTAKES.c.id == VERSIONS.c.intake_id)
        .where(VERSIONS.c.table_name.in_(list(state)), *counting())
        .order_by(VERSIONS.c.id)
    )
    rows = connection.execute(query).all()
    keys = json.loads(f"[{','.join(row.key for row in rows)}]")
    contents = json.loads(f"[{','.join(row.content for row in rows)}]")
    for row, key_values, content in zip(rows, keys, contents, strict=True):
        key = tuple(key_values)
        kept = state[row.table_name].get(key)
        if kept is None:
            names = RECORD_TABLES[row.table_name].key
            state[row.table_name][key] = {**dict(zip(names, key, strict=True)), **content}
        else:
            kept.update(content)
    return state


def counting() -> tuple[sa.ColumnElement[bool], ...]:
    """Give the conditions under which a version counts: neither it nor its upload is withdrawn.

    Returns
    -------
    tuple of sqlalchemy.ColumnElement
    """
    return VERSIONS.c.withdrawn.is_(sa.false()), INTAKES.c.withdrawn.is_(sa.false())


def frame_of(table: Table, rows: Iterable[Mapping[str, Any]]) -> pd.DataFrame:
    """Turn stored values into a records table in memory.

    Parameters
    ----------
    table : Table
        Which one.
    rows : iterable of mapping
        Values as JSON has them.

    Returns
    -------
    pandas.DataFrame
        As :func:`hardiness.read.records.records_frame` builds it.
    """
    dates = [column.name for column in table.columns if column.kind == "date"]
    typed = []
    for row in rows:
        values = {name: value for name, value in row.items() if value is not None}
        for name in dates:
            if text := values.get(name):
                values[name] = dt.date.fromisoformat(text)
        typed.append(values)
    return records_frame(table, typed)


def frames_of(state: State) -> dict[str, pd.DataFrame]:
    """Turn a state into its tables in memory.

    Parameters
    ----------
    state : dict
        From :func:`load_state`.

    Returns
    -------
    dict of str to pandas.DataFrame
    """
    return {name: frame_of(RECORD_TABLES[name], rows.values()) for name, rows in state.items()}


def changes_between(before: State, after: State, table: str) -> tuple[list[Key], list[Change], list[Key]]:
    """Compare two states of one table.

    Parameters
    ----------
    before, after : dict
        From :func:`load_state`.
    table : str
        Which table.

    Returns
    -------
    added : list of tuple
        Keys that count now and did not.
    changed : list of Change
        Values that are others now.
    gone : list of tuple
        Keys that count no more.
    """
    old, new = before[table], after[table]
    added = [key for key in new if key not in old]
    gone = [key for key in old if key not in new]
    changed = []
    for key, values in new.items():
        past = old.get(key)
        if past is None or past == values:
            continue
        for column in RECORD_TABLES[table].names:
            then, now = value_text(past.get(column)), value_text(values.get(column))
            if then != now:
                changed.append(Change(key, column, then, now))
    return added, changed, gone
