"""Rows that were typed in, laid out like a file's: for the reader, and as they are kept."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from hardiness.read.tables import RawRow, RawTable


def typed_table(table: str, rows: Sequence[Mapping[str, str]]) -> RawTable:
    """Lay typed rows out as a file's cells.

    Parameters
    ----------
    table : str
    rows : sequence of mapping
        Texts by column; all rows have the same columns.

    Returns
    -------
    RawTable

    Examples
    --------
    >>> typed_table("plants", [{"plant": "T01"}]).rows[0].number
    2
    """
    numbered = [RawRow(number, dict(row)) for number, row in enumerate(rows, start=2)]
    return RawTable(f"{table}, as typed", list(rows[0]) if rows else [], numbered)


def typed_upload(table: str, rows: Sequence[Mapping[str, str]], mark: str) -> bytes:
    """Write typed rows as they are kept, like a file.

    Parameters
    ----------
    table : str
    rows : sequence of mapping
        Texts by column.
    mark : str
        What names the act: it keeps two acts apart that say the same.

    Returns
    -------
    bytes

    Examples
    --------
    >>> typed_upload("plants", [{"plant": "T01"}], "a").decode()
    '{"table": "plants", "mark": "a", "rows": [{"plant": "T01"}]}'
    """
    kept = {"table": table, "mark": mark, "rows": [dict(row) for row in rows]}
    return json.dumps(kept, ensure_ascii=False).encode()
