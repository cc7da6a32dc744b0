"""Every act on the records: when (UTC), who, what, on which row, what it was and what it became."""

from __future__ import annotations

import datetime as dt
import getpass
import json
import os
from collections.abc import Iterable, Sequence

import pandas as pd
import sqlalchemy as sa

from hardiness.store.database import HISTORY
from hardiness.store.records import Key, State, key_json, to_json

WHO = "HARDINESS_WHO"  # environment variable: who acts, where the computer's user does not say it
COLUMNS = ("at", "who", "action", "table", "key", "old", "new", "upload", "file")


def who_acts() -> str:
    """Name who acts: ``HARDINESS_WHO`` where it is set, else the computer's user.

    Returns
    -------
    str
    """
    if named := os.environ.get(WHO, "").strip():
        return named
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):  # a user number without a name, as in a container
        return "unknown"


def now_text() -> str:
    """Give the time as the database keeps it: UTC, ISO 8601, to the second.

    Returns
    -------
    str
    """
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds")


def note_act(
    connection: sa.Connection, *, who: str, action: str, table: str, sha256: str = "", file: str = "", new: str = ""
) -> None:
    """Note one act on a whole file.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a writing transaction.
    who, action, table : str
        Who did what, on which table.
    sha256, file : str
        The upload it is about, and its name.
    new : str
        What came of it.
    """
    connection.execute(sa.insert(HISTORY), [_row(who, action, table, "", "", new, sha256, file)])


def note_rows(
    connection: sa.Connection,
    *,
    who: str,
    action: str,
    table: str,
    keys: Iterable[Key],
    before: State,
    after: State,
    sha256: str = "",
    file: str = "",
) -> None:
    """Note an act on rows of records: the values of each before and after, where they differ.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a writing transaction.
    who, action, table : str
        Who did what, on which table.
    keys : iterable of tuple
        Which rows.
    before, after : dict
        The state of the records around the act.
    sha256, file : str
        The upload it came with, and its name.
    """
    rows = []
    for key in keys:
        old, new = before[table].get(key), after[table].get(key)
        if old is not None and new is not None:
            names = [name for name in new if old.get(name) != new[name]] + [name for name in old if name not in new]
            old = {name: old.get(name) for name in names}
            new = {name: new.get(name) for name in names}
        texts = ["" if values is None else to_json(values) for values in (old, new)]
        rows.append(_row(who, action, table, key_json(key), texts[0], texts[1], sha256, file))
    if rows:
        connection.execute(sa.insert(HISTORY), rows)


def _row(who: str, action: str, table: str, key: str, old: str, new: str, sha256: str, file: str) -> dict[str, str]:
    return {
        "at": now_text(),
        "who": who,
        "action": action,
        "table_name": table,
        "key": key,
        "old": old,
        "new": new,
        "sha256": sha256,
        "file": file,
    }


def read_history(connection: sa.Connection) -> pd.DataFrame:
    """Give all acts, oldest first.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.

    Returns
    -------
    pandas.DataFrame
        Columns ``at`` (UTC), ``who``, ``action``, ``table``, ``key``, ``old``, ``new`` (JSON of the values that the
        act changed, ``""`` where the row did not count), ``upload`` (SHA-256), ``file``.
    """
    rows = connection.execute(sa.select(HISTORY).order_by(HISTORY.c.id)).all()
    frame = pd.DataFrame(
        [
            (row.at, row.who, row.action, row.table_name, _shown_key(row.key), row.old, row.new, row.sha256, row.file)
            for row in rows
        ],
        columns=list(COLUMNS),
    )
    return frame.assign(at=kept_times(frame["at"]))


def kept_times(texts: Sequence[str] | pd.Series[str]) -> pd.Series[pd.Timestamp]:
    """Read times as the database keeps them.

    Parameters
    ----------
    texts : sequence of str
        ISO 8601 with an offset.

    Returns
    -------
    pandas.Series
        datetime64[ns, UTC].

    Examples
    --------
    >>> str(kept_times(["2032-02-10T07:30:00+00:00"])[0])
    '2032-02-10 07:30:00+00:00'
    """
    return pd.to_datetime(pd.Series(texts, dtype="str"), utc=True, format="ISO8601").astype("datetime64[ns, UTC]")


def _shown_key(text: str) -> str:
    return ", ".join(part for part in json.loads(text) if part) if text else ""
