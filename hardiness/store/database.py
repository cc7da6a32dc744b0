"""The database behind the records: SQLite beside the trial, or PostgreSQL; transactions; faults in plain words.

SQLite is opened so that nothing is half done: Python's driver is kept from committing on its own
(``isolation_level=None``), a writing transaction takes the write lock at its start (``BEGIN IMMEDIATE``), and a commit
is on the disk when it returns (``synchronous=FULL``). The journal is a rollback journal, so that a copied ``trial.db``
is whole; a program that serves many readers keeps a write-ahead log while it runs and folds it in at its close. On
PostgreSQL an advisory lock gives the same order: one writer at a time.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event, exc
from sqlalchemy.pool import NullPool

from hardiness.errors import InputError, Problem, StoreError

WAIT_S = 10.0  # how long a writer waits for another one [s]
FILE = "trial.db"
_LOCK = 4_073_551  # advisory lock of PostgreSQL: any number that is ours

# The tables as the program uses them; hardiness.store.migrations makes them.
INTAKES = sa.table(
    "intakes",
    *(sa.column(name) for name in ("id", "at", "who", "table_name", "sha256", "file", "sensor", "options", "rows")),
    sa.column("withdrawn", sa.Boolean),
)
VERSIONS = sa.table(
    "versions",
    *(sa.column(name) for name in ("id", "intake_id", "table_name", "key", "content")),
    sa.column("withdrawn", sa.Boolean),
)
PARTS = sa.table(
    "parts",
    *(
        sa.column(name)
        for name in ("id", "intake_id", "sensor", "file", "readings", "first_ns", "last_ns", "resolution_c", "unit")
    ),
    *(sa.column(name) for name in ("timezone", "timezone_from")),
)
HISTORY = sa.table(
    "history",
    *(sa.column(name) for name in ("id", "at", "who", "action", "table_name", "key", "old", "new", "sha256", "file")),
)

PHOTOS = sa.table(
    "photos",
    *(sa.column(name) for name in ("id", "at", "who", "sha256", "plant", "scored_on", "observer")),
    *(sa.column(name) for name in ("width", "height", "bytes")),
    sa.column("withdrawn", sa.Boolean),
)
IDENTITY = sa.table("identity", sa.column("number"))
ACCOUNTS = sa.table(
    "accounts", *(sa.column(name) for name in ("name", "role", "secret")), sa.column("withdrawn", sa.Boolean)
)


class Database:
    """Connections to one trial's records.

    Parameters
    ----------
    folder : Path
        The trial folder: ``trial.db`` lies in it.
    url : str, optional
        A SQLAlchemy URL (``postgresql://...``, or ``sqlite:///...``) instead.
    wait_s : float, default 10
        How long to wait for another program that is writing. [s]

    Raises
    ------
    InputError
        If the URL is none that is supported.
    StoreError
        If its driver is not installed.
    """

    def __init__(self, folder: Path, url: str | None = None, *, wait_s: float = WAIT_S) -> None:
        self.url = sa.URL.create("sqlite", database=str(folder / FILE)) if url is None else _parse_url(url)
        self.name = FILE if url is None else self.url.render_as_string(hide_password=True)
        self.wait_s = wait_s
        self.sqlite = self.url.get_backend_name() == "sqlite"
        options: dict[str, Any] = (
            {"poolclass": NullPool, "connect_args": {"isolation_level": None, "timeout": wait_s}} if self.sqlite else {}
        )
        try:
            self.engine = sa.create_engine(self.url, **options)
        except ModuleNotFoundError as error:
            raise StoreError(
                f"{self.name} needs the Python package '{error.name}': pip install hardiness[postgres]."
            ) from error
        self._kept: sqlite3.Connection | None = None
        if self.sqlite:
            event.listen(self.engine, "connect", _set_pragmas)
        event.listen(self.engine, "begin", self._begin)

    def _begin(self, connection: sa.Connection) -> None:
        writing = connection.get_execution_options().get("writing", False)
        if self.sqlite:
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
        elif writing:
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {int(self.wait_s * 1000)}")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")

    @contextmanager
    def read(self) -> Iterator[sa.Connection]:
        """Open a transaction that only reads; it sees one state of the records.

        Yields
        ------
        sqlalchemy.Connection

        Raises
        ------
        StoreError
            If the database cannot be read.
        """
        options: dict[str, Any] = {} if self.sqlite else {"isolation_level": "REPEATABLE READ"}
        with self._transaction(**options) as connection:
            yield connection

    @contextmanager
    def write(self) -> Iterator[sa.Connection]:
        """Open a transaction that writes: alone, and all of it or nothing.

        Yields
        ------
        sqlalchemy.Connection

        Raises
        ------
        StoreError
            If another program keeps the database locked, the disk is full, or it may not be written.
        """
        with self._transaction(writing=True) as connection:
            yield connection

    @contextmanager
    def _transaction(self, **options: Any) -> Iterator[sa.Connection]:
        try:
            with self.engine.connect().execution_options(**options) as connection, connection.begin():
                yield connection
        except exc.DBAPIError as error:
            raise StoreError(_sentence(str(error.orig), self.name, self.wait_s)) from error

    def keep_log(self) -> None:
        """Keep a write-ahead log until :meth:`close`: readers no longer wait for a writer. SQLite only.

        Raises
        ------
        StoreError
            If the database cannot be written.
        """
        if not self.sqlite or self._kept is not None:
            return
        try:
            # Kept open, so that the log lives on between short connections; whichever thread ends the work closes it.
            self._kept = sqlite3.connect(
                str(self.url.database), timeout=self.wait_s, isolation_level=None, check_same_thread=False
            )
            self._kept.execute("PRAGMA journal_mode=WAL")
            self._kept.execute("SELECT count(*) FROM sqlite_master").fetchone()  # holds the log from here on
        except sqlite3.Error as error:
            raise StoreError(_sentence(str(error), self.name, self.wait_s)) from error

    def close(self) -> None:
        """Let go of all connections; a write-ahead log is folded into the database."""
        if self._kept is not None:
            self._kept.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            _leave_log(self._kept)
            self._kept.close()
            self._kept = None
        self.engine.dispose()


def _parse_url(text: str) -> sa.URL:
    accepted = "postgresql://USER@HOST/NAME, or no url: SQLite in trial.db"
    problem = Problem("a database URL that cannot be used", accepted, file="trial.toml", column="store.url")
    try:
        url = sa.make_url(text)
    except exc.ArgumentError:
        raise InputError(problem) from None
    if url.drivername == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if url.drivername not in ("postgresql+psycopg", "sqlite"):
        raise InputError(problem)
    return url


def _set_pragmas(connection: Any, _record: Any) -> None:
    # Without cache_spill=OFF a big transaction locks readers out before its commit, and with them the checks of the
    # program itself that read through a second connection.
    cursor = connection.cursor()
    for pragma in ("foreign_keys=ON", "synchronous=FULL", "cache_spill=OFF"):
        cursor.execute(f"PRAGMA {pragma}")
    if cursor.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        _leave_log(connection)
    else:
        cursor.execute("PRAGMA journal_mode=DELETE")
    cursor.close()


def _leave_log(connection: Any) -> None:
    """Go back to a rollback journal, unless another program, or another connection of this one, needs the log."""
    try:
        connection.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.OperationalError as error:
        if "locked" not in str(error):
            raise


def _sentence(text: str, name: str, wait_s: float) -> str:
    """Say what a driver's error means to a grower."""
    low = text.lower()
    if "locked" in low or "lock timeout" in low:
        return f"{name} is being written by another program; waited {wait_s:g} s. Try again when it has finished."
    if "readonly" in low or "read-only" in low or "permission denied" in low:
        return f"{name} may only be read, so nothing was stored. Make it and its folder writable."
    if "disk is full" in low or "no space left" in low:
        return f"the disk is full, so nothing was stored in {name}. Free some space and try again."
    if "unable to open" in low:
        return f"{name} cannot be opened. Its folder must exist and be writable."
    if "not a database" in low or "malformed" in low:
        return f"{name} is damaged or is no database of a trial ({text}). Restore it from a copy."
    return f"{name}: the database answered with a fault: {text}"
