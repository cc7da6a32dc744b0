"""What came of a file, and what makes it the same file: its bytes, its table, its sensor and its options."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from hardiness.store.database import INTAKES, VERSIONS
from hardiness.store.folder import TrialFolder
from hardiness.store.history import now_text
from hardiness.store.records import Change, State, to_json
from hardiness.words import count

READINGS_TABLE = "readings"


@dataclass(frozen=True, slots=True)
class Intake:
    """What came of a file.

    Parameters
    ----------
    table : str
        Which table it was for: a records table, or ``readings``.
    file, sha256 : str
        The file's name and identity.
    added : int
        Rows that are new; of readings, those at times that had none.
    updated : list of Change
        Values that changed: key, column, old, new.
    unchanged : int
        Rows that say what was known; of readings, those that agree with one that is there (the first stays).
    repeated : bool
        The same file was taken in before: nothing has changed.
    said : list of str
        Sentences for the user.
    sensor : str
        Whose readings; empty for records.
    """

    table: str
    file: str
    sha256: str
    added: int = 0
    updated: list[Change] = field(default_factory=list)
    unchanged: int = 0
    repeated: bool = False
    said: list[str] = field(default_factory=list)
    sensor: str = ""

    @property
    def updated_rows(self) -> int:
        """How many rows changed."""
        return len({change.key for change in self.updated})


def options_json(options: Mapping[str, Any] | None) -> str:
    """Write the options of a file as the database keeps them: those that were given, by name.

    Parameters
    ----------
    options : mapping or None
        By name; None is an option that was not given.

    Returns
    -------
    str

    Examples
    --------
    >>> options_json({"unit": "F", "timezone": None, "column": "Air"})
    '{"column":"Air","unit":"F"}'
    """
    return to_json({name: value for name, value in sorted((options or {}).items()) if value is not None})


def same_file(connection: sa.Connection, sha256: str, table: str, sensor: str, options: str) -> Any:
    """Find the intake of the same file: same bytes, table, sensor and options.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    sha256, table, sensor, options : str
        What makes it the same.

    Returns
    -------
    sqlalchemy.Row or None
        A row of intakes.
    """
    query = sa.select(INTAKES).where(
        INTAKES.c.sha256 == sha256,
        INTAKES.c.table_name == table,
        INTAKES.c.sensor == sensor,
        INTAKES.c.options == options,
    )
    return connection.execute(query.order_by(INTAKES.c.id)).first()


def insert_intake(
    connection: sa.Connection,
    folder: TrialFolder,
    *,
    table: str,
    sha256: str = "",
    file: str = "",
    sensor: str = "",
    options: str = "{}",
    rows: int = 0,
) -> int:
    """Insert an intake, which counts.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a writing transaction.
    folder : TrialFolder
        The trial.
    table : str
        Which table it is for.
    sha256, file : str
        The upload's identity and name; empty where there is none.
    sensor, options : str
        Whose readings, and what the user gave with the file, as JSON.
    rows : int
        How many rows it has.

    Returns
    -------
    int
        Its number.
    """
    statement = sa.insert(INTAKES).values(
        at=now_text(), who=folder.who, table_name=table, sha256=sha256, file=file, sensor=sensor, options=options,
        rows=rows, withdrawn=False,
    )  # fmt: skip
    return int(connection.execute(statement.returning(INTAKES.c.id)).scalar_one())


def say_repeated(connection: sa.Connection, earlier: Any, state: State) -> list[str]:
    """Say that a file was taken in before, and what of it does not count now.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    earlier : sqlalchemy.Row
        Its intake.
    state : dict
        The records as they stand.

    Returns
    -------
    list of str
        Sentences for the user.
    """
    said = [f"The same file was added on {earlier.at[:10]} by {earlier.who} as '{earlier.file}': nothing has changed."]
    if earlier.withdrawn:
        return [*said, f"It has been withdrawn since; to have it count again: "
                       f"hardiness withdraw upload {earlier.sha256[:12]} --undo."]  # fmt: skip
    if earlier.table_name not in state:
        return said
    name = earlier.table_name
    query = sa.select(VERSIONS.c.key, VERSIONS.c.content).where(VERSIONS.c.intake_id == earlier.id)
    rows = [(tuple(json.loads(row.key)), json.loads(row.content)) for row in connection.execute(query)]
    gone = sum(key not in state[name] for key, _ in rows)
    if gone:
        said.append(
            f"Withdrawn since, so not counting: {gone} of its {count(len(rows), 'row')}. To undo that: hardiness "
            f"withdraw {name} FILE --undo."
        )
    changed = sum(key in state[name] and not content.items() <= state[name][key].items() for key, content in rows)
    if changed:
        said.append(
            f"Changed since by files added later, and left as those say: {changed} of its {count(len(rows), 'row')}. "
            f"To go back, withdraw those files: hardiness withdraw upload HASH."
        )
    return said
