"""Records one by one: their keys as addresses and forms hold them, their values, their history, who may change them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

import pandas as pd
from fastapi import HTTPException

from hardiness.commands.upkeep import change_text
from hardiness.errors import InputError, Problem
from hardiness.schema import RECORD_TABLES, Table
from hardiness.web.clock import local
from hardiness.web.tables import text_of
from hardiness.web.visits import Visit

OPEN_TO_SCORERS = ("scores",)
# Acts on a plant: which columns each asks for.
ACTS = {
    "move": ("block", "row", "place", "sensor"),
    "retire": ("removed_on", "lost_to"),
}


def layout_of(table: str) -> Table:
    """Give a records table by name.

    Parameters
    ----------
    table : str

    Returns
    -------
    Table

    Raises
    ------
    InputError
        If there is none.
    """
    if table not in RECORD_TABLES:
        raise InputError(Problem(f"table '{table[:40]}'", f"one of {', '.join(RECORD_TABLES)}"))
    return RECORD_TABLES[table]


def may_write(visit: Visit, table: str) -> bool:
    """Whether a person may change records of a table.

    Parameters
    ----------
    visit : Visit
    table : str

    Returns
    -------
    bool
    """
    return visit.may("owner") or (visit.may("scorer") and table in OPEN_TO_SCORERS)


def refuse_unless_may(visit: Visit, table: str) -> None:
    """Refuse a person who may not change records of a table.

    Parameters
    ----------
    visit : Visit
    table : str

    Raises
    ------
    HTTPException
        403.
    """
    if not may_write(visit, table):
        raise HTTPException(403, f"That is for the owner; {visit.who} is {visit.role}.")


def address(table: str, key: Sequence[str], path: str = "/register/row") -> str:
    """Write the address of a record's page.

    Parameters
    ----------
    table : str
    key : sequence of str
    path : str
        Of the page.

    Returns
    -------
    str

    Examples
    --------
    >>> address("plants", ["T 001"])
    '/register/row?table=plants&key=T+001'
    """
    return f"{path}?{urlencode([('table', table), *(('key', part) for part in key)])}"


def key_texts(layout: Table, row: Mapping[str, Any]) -> list[str]:
    """Write the key of a record.

    Parameters
    ----------
    layout : Table
    row : mapping

    Returns
    -------
    list of str
    """
    return [text_of(row[name]) for name in layout.key]


def refuse_other_key(layout: Table, parts: Sequence[str]) -> None:
    """Refuse what has not the parts of a table's key.

    Parameters
    ----------
    layout : Table
    parts : sequence of str

    Raises
    ------
    InputError
        If there are more or fewer.
    """
    if len(parts) != len(layout.key):
        raise InputError(Problem(f"{len(parts)} parts of a key", f"{', '.join(layout.key)} of {layout.name}"))


def row_of(visit: Visit, layout: Table, key: list[str] | None) -> tuple[list[str], dict[str, Any] | None]:
    """Find a record.

    Parameters
    ----------
    visit : Visit
    layout : Table
    key : list of str or None
        Its parts, as the address has them.

    Returns
    -------
    key : list of str
    row : dict or None
        Its values; None where it does not count.

    Raises
    ------
    InputError
        If these are not the parts of a key of that table.
    """
    parts = key or []
    refuse_other_key(layout, parts)
    frame = visit.place.trial.store.current(layout.name)
    hit = pd.Series(True, index=frame.index)
    for name, part in zip(layout.key, parts, strict=True):
        hit &= frame[name].map(text_of) == part
    rows = frame[hit].to_dict("records")
    return parts, {str(name): value for name, value in rows[0].items()} if rows else None


def history_of(visit: Visit, table: str, key: Sequence[str]) -> list[dict[str, Any]]:
    """List the acts on a record, newest first.

    Parameters
    ----------
    visit : Visit
    table : str
    key : sequence of str

    Returns
    -------
    list of dict
        ``at`` (by the trial's clock), ``who``, ``action``, ``change``, ``file``, ``upload``, ``rows`` of that upload,
        and whether it ``counts``.
    """
    acts = visit.place.trial.store.history()
    own = acts[(acts["table"] == table) & (acts["key"] == ", ".join(part for part in key if part))]
    uploads = visit.place.trial.store.uploads().set_index("upload")
    rows = []
    for act in own.iloc[::-1].itertuples():
        known = uploads.loc[[act.upload]].iloc[0] if act.upload in uploads.index else None
        rows.append(
            {
                "at": local(act.at, visit.place.trial.settings.zone),
                "who": act.who,
                "action": act.action,
                "change": change_text(str(act.old), str(act.new)),
                "file": act.file,
                "upload": act.upload,
                "rows": 0 if known is None else int(known["rows"]),
                "counts": known is not None and bool(known["counts"]),
            }
        )
    return rows
