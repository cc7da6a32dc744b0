"""How the database's tables came to be: named steps, in order, each in one transaction with the row recording it.

A step is frozen once it has been released: its tables are written out here and never follow the program's. A change
of the tables is a new step at the end of :data:`MIGRATIONS`.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from hardiness.errors import StoreError
from hardiness.store.database import TABLES, Database

_APPLIED = sa.table("migrations", sa.column("name"), sa.column("applied_at"))


@dataclass(frozen=True, slots=True)
class Migration:
    """One step: its name, kept in the database for ever, and what it does."""

    name: str
    apply: Callable[[sa.Connection], None]


def _first_tables(connection: sa.Connection) -> None:
    """Make the tables of the first release: intakes, versions of records, parts of readings, history."""
    tables = sa.MetaData()

    def text(name: str) -> sa.Column[str]:
        return sa.Column(name, sa.Text, nullable=False)

    def number() -> sa.Column[int]:
        return sa.Column("id", sa.Integer, primary_key=True, autoincrement=True)

    def intake() -> sa.Column[int]:
        return sa.Column("intake_id", sa.Integer, sa.ForeignKey("intakes.id"), nullable=False, index=True)

    def withdrawn() -> sa.Column[bool]:
        return sa.Column("withdrawn", sa.Boolean, nullable=False)

    sa.Table("intakes", tables, number(), text("at"), text("who"), text("table_name"),
             sa.Column("sha256", sa.Text, nullable=False, index=True), text("file"), text("sensor"), text("options"),
             sa.Column("rows", sa.Integer, nullable=False), withdrawn(), sqlite_autoincrement=True)  # fmt: skip
    sa.Table("versions", tables, number(), intake(), text("table_name"), text("key"), text("content"), withdrawn(),
             sa.Index("ix_versions_key", "table_name", "key"), sqlite_autoincrement=True)  # fmt: skip
    sa.Table("parts", tables, number(), intake(), sa.Column("sensor", sa.Text, nullable=False, index=True),
             sa.Column("file", sa.Text, nullable=False, unique=True), sa.Column("readings", sa.Integer, nullable=False),
             sa.Column("first_ns", sa.BigInteger, nullable=False), sa.Column("last_ns", sa.BigInteger, nullable=False),
             sa.Column("resolution_c", sa.Float(53), nullable=False), text("unit"), text("timezone"),
             text("timezone_from"), sqlite_autoincrement=True)  # fmt: skip
    sa.Table("history", tables, number(), text("at"), text("who"), text("action"), text("table_name"), text("key"),
             text("old"), text("new"), text("sha256"), text("file"), sqlite_autoincrement=True)  # fmt: skip
    tables.create_all(connection, checkfirst=False)


def _accounts(connection: sa.Connection) -> None:
    """Make the table of accounts: who may do what through the web pages."""
    tables = sa.MetaData()
    sa.Table("accounts", tables, sa.Column("name", sa.Text, primary_key=True),
             sa.Column("role", sa.Text, nullable=False), sa.Column("secret", sa.Text, nullable=False),
             sa.Column("withdrawn", sa.Boolean, nullable=False))  # fmt: skip
    tables.create_all(connection, checkfirst=False)


def _photos(connection: sa.Connection) -> None:
    """Make the table of photos bound to scores, and give the trial a number of its own."""
    tables = sa.MetaData()
    names = ("at", "who", "sha256", "plant", "scored_on", "observer")
    sizes = ("width", "height", "bytes")
    sa.Table("photos", tables, sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
             *(sa.Column(name, sa.Text, nullable=False) for name in names),
             *(sa.Column(name, sa.Integer, nullable=False) for name in sizes),
             sa.Column("withdrawn", sa.Boolean, nullable=False),
             sa.Index("ix_photos_sha256", "sha256"), sqlite_autoincrement=True)  # fmt: skip
    identity = sa.Table("identity", tables, sa.Column("number", sa.Text, primary_key=True))
    tables.create_all(connection, checkfirst=False)
    connection.execute(sa.insert(identity).values(number=uuid.uuid4().hex))


MIGRATIONS: tuple[Migration, ...] = (
    Migration("001 records, parts and history", _first_tables),
    Migration("002 accounts", _accounts),
    Migration("003 photos of scores", _photos),
)


def applied(connection: sa.Connection) -> list[str]:
    """List the steps that a database has had; only reads.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.

    Returns
    -------
    list of str
        Names, in order; empty for a new database.
    """
    if not sa.inspect(connection).has_table("migrations"):
        return []
    return [str(name) for (name,) in connection.execute(sa.select(_APPLIED.c.name).order_by(_APPLIED.c.name))]


def is_new(database: Database) -> bool:
    """Whether a database has had no step yet; only reads.

    Parameters
    ----------
    database : Database
        The database.

    Returns
    -------
    bool
    """
    with database.read() as connection:
        return not applied(connection)


def migrate(database: Database, migrations: Sequence[Migration] = MIGRATIONS) -> list[str]:
    """Bring a database to the program's tables; a database that has them is only read.

    Parameters
    ----------
    database : Database
        The database.
    migrations : sequence of Migration
        The program's steps, in order.

    Returns
    -------
    list of str
        Names of the steps that were applied now.

    Raises
    ------
    StoreError
        If the database was written by a newer program, or is another program's.
    """
    with database.read() as connection:
        done = applied(connection)
        _check(connection, done, migrations, database.name)
    new = []
    for migration in migrations[len(done) :]:
        with database.write() as connection:
            done = applied(connection)
            _check(connection, done, migrations, database.name)
            if migration.name in done:
                continue  # another program opened the trial at the same moment
            if not done:
                connection.execute(
                    sa.schema.CreateTable(
                        sa.Table("migrations", sa.MetaData(), sa.Column("name", sa.Text, primary_key=True),
                                 sa.Column("applied_at", sa.Text, nullable=False)),
                        if_not_exists=True,
                    )
                )  # fmt: skip
            migration.apply(connection)
            now = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
            connection.execute(sa.insert(_APPLIED).values(name=migration.name, applied_at=now))
        new.append(migration.name)
    return new


def _check(connection: sa.Connection, done: Sequence[str], migrations: Sequence[Migration], name: str) -> None:
    known = [migration.name for migration in migrations]
    if unknown := [step for step in done if step not in known]:
        raise StoreError(
            f"{name} was written by a newer version of this program (it has had the step '{unknown[0]}'). "
            f"Update the program; nothing was changed."
        )
    if list(done) != known[: len(done)]:
        lacking = next(step for step in known if step not in done)
        raise StoreError(f"{name} lacks the step '{lacking}' that later ones build on. Restore it from a copy.")
    if not done and (there := _foreign_tables(connection)):
        raise StoreError(f"{name} holds the tables of another program ({', '.join(there)}). Nothing was changed.")


def _foreign_tables(connection: sa.Connection) -> list[str]:
    """List what stands in the way of the first step; on a server, others' tables may stand beside ours."""
    there = sorted(sa.inspect(connection).get_table_names())
    return there if connection.dialect.name == "sqlite" else [table for table in there if table in TABLES]
