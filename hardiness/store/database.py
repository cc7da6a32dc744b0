"""The database behind the records: SQLite beside the trial, or PostgreSQL; its tables; transactions.

SQLite is opened so that nothing is half done: Python's driver is kept from committing on its own
(``isolation_level=None``), a writing transaction takes the write lock at its start (``BEGIN IMMEDIATE``), and a commit
is on the disk when it returns (``synchronous=FULL``). The journal is a rollback journal, so that a copied ``trial.db``
is whole; a program that serves many readers keeps a write-ahead log while it runs and folds it in at its close. On
PostgreSQL an advisory lock gives the same order: one writer at a time. What goes wrong is said by
:mod:`hardiness.store.database_faults`.
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import sqlalchemy as sa
from sqlalchemy import event, exc
from sqlalchemy.pool import NullPool

from hardiness.errors import InputError, Problem, StoreError
from hardiness.store.database_faults import fault_in_words

WAIT_S = 10.0  # how long a writer waits for another one [s]
FILE = "trial.db"
_LEAST_WAIT_S = 2  # [s] a shorter one is none for PostgreSQL's client
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
TABLES = frozenset(table.name for table in (INTAKES, VERSIONS, PARTS, HISTORY, PHOTOS, IDENTITY, ACCOUNTS))


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
        self.name = FILE if url is None else _shown(self.url)
        self.wait_s = wait_s
        self.sqlite = self.url.get_backend_name() == "sqlite"
        options: dict[str, Any]
        if self.sqlite:
            options = {"poolclass": NullPool, "connect_args": {"isolation_level": None, "timeout": wait_s}}
        else:
            # A server may have been started anew since a connection was kept; however many pages ask at once, none is
            # refused one; and a machine that does not answer is not waited for for minutes.
            options = {"pool_pre_ping": True, "max_overflow": -1}
            if "connect_timeout" not in self.url.query:
                options["connect_args"] = {"connect_timeout": max(_LEAST_WAIT_S, math.ceil(wait_s))}
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
    def rehearse(self) -> Iterator[sa.Connection]:
        """Open a transaction that writes and is undone in any case: it tells what a change would come to.

        Yields
        ------
        sqlalchemy.Connection

        Raises
        ------
        StoreError
            As :meth:`write`.
        """
        with self._transaction(writing=True) as connection:
            yield connection
            connection.rollback()

    @contextmanager
    def _transaction(self, **options: Any) -> Iterator[sa.Connection]:
        try:
            with self.engine.connect().execution_options(**options) as connection, connection.begin():
                yield connection
        except exc.DBAPIError as error:
            if isinstance(error, exc.DataError) and getattr(error.orig, "sqlstate", "") is None:
                # The driver does not even send it: the character 0, which SQLite keeps and PostgreSQL does not.
                raise InputError(Problem("a text with the character NUL in it", "a text without")) from error
            raise StoreError(fault_in_words(error.orig, self.name, self.wait_s)) from error

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
            raise StoreError(fault_in_words(error, self.name, self.wait_s)) from error

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


def _shown(url: sa.URL) -> str:
    """Name a database in messages: without its password, wherever in the URL that stands."""
    where = {name: value for name, value in url.query.items() if name in ("host", "port", "service")}
    plain = url.set(drivername=url.get_backend_name(), query=where)
    return unquote(plain.render_as_string(hide_password=True))


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
