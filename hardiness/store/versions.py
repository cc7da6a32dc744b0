"""Versions of records in the database: adding those of a file, finding those of a key, marking them withdrawn."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Iterable, Sequence

import sqlalchemy as sa

from hardiness.read.records import Records
from hardiness.store.database import VERSIONS
from hardiness.store.records import Key, key_json, to_json

_BATCH = 400  # keys in one statement: below the limit of every database


def add_versions(connection: sa.Connection, intake_id: int, records: Records) -> None:
    """Add the rows of a file as versions: the columns that the file has.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a writing transaction.
    intake_id : int
        The intake they came with.
    records : Records
        The file.
    """
    given = [name for name in records.given if name not in records.table.key]
    columns = [[_json_value(value) for value in records.frame[name]] for name in given]
    contents = [dict(zip(given, values, strict=True)) for values in zip(*columns, strict=True)] if given else []
    rows = [
        {
            "intake_id": intake_id,
            "table_name": records.table.name,
            "key": key_json(key),
            "content": to_json(content),
            "withdrawn": False,
        }
        for key, content in zip(records.keys, contents or [{}] * len(records.frame), strict=True)
    ]
    connection.execute(sa.insert(VERSIONS), rows)


def _json_value(value: object) -> object:
    if isinstance(value, str):
        return str(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return None
    return float(value) if isinstance(value, float) else int(value)  # type: ignore[call-overload]


def versions_of(connection: sa.Connection, table: str, keys: Iterable[Key]) -> list[tuple[int, Key, bool]]:
    """Find all versions of some keys, whether or not their upload counts.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    table : str
        Which table.
    keys : iterable of tuple
        Their keys.

    Returns
    -------
    list of (int, tuple of str, bool)
        Version, key, and whether the version itself is withdrawn.
    """
    texts = [key_json(key) for key in keys]
    found = []
    for start in range(0, len(texts), _BATCH):
        query = sa.select(VERSIONS.c.id, VERSIONS.c.key, VERSIONS.c.withdrawn).where(
            VERSIONS.c.table_name == table, VERSIONS.c.key.in_(texts[start : start + _BATCH])
        )
        found += [(int(row.id), tuple(json.loads(row.key)), bool(row.withdrawn)) for row in connection.execute(query)]
    return found


def mark_versions(connection: sa.Connection, versions: Sequence[int], *, withdrawn: bool) -> None:
    """Mark versions as withdrawn, or as counting again.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a writing transaction.
    versions : sequence of int
        Which.
    withdrawn : bool
        The new mark.
    """
    for start in range(0, len(versions), _BATCH):
        some = versions[start : start + _BATCH]
        connection.execute(sa.update(VERSIONS).where(VERSIONS.c.id.in_(some)).values(withdrawn=withdrawn))
