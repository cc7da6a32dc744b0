"""One trial's store: the records that count, the readings that count, and the acts on them.

>>> import tempfile
>>> from pathlib import Path
>>> from hardiness.settings import Settings
>>> with open_store(Path(tempfile.mkdtemp()), Settings("Hill", "Europe/Lisbon")) as store:
...     len(store.current("plants")), store.readings()
(0, {})
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any

import sqlalchemy as sa

from hardiness.errors import HardinessError, InputError, StoreError
from hardiness.read.loggers import LoggerFile
from hardiness.read.records import Records
from hardiness.read.references import DeathSettled
from hardiness.settings import Settings
from hardiness.store.accounts import Accounts
from hardiness.store.archive import write_archive
from hardiness.store.database import FILE, IDENTITY, WAIT_S, Database
from hardiness.store.folder import UPLOADS, TrialFolder
from hardiness.store.history import who_acts
from hardiness.store.inspection import find_faults, find_orphans, remove_orphans
from hardiness.store.intake import Intake
from hardiness.store.migrations import is_new, migrate
from hardiness.store.photos import Photos
from hardiness.store.readings_intake import Incoming, add_readings, add_together, would_add
from hardiness.store.records_intake import Before, add_records
from hardiness.store.view import StoreView
from hardiness.store.withdrawals import Withdrawal, withdraw_rows, withdraw_upload


def open_store(folder: Path, settings: Settings, *, who: str | None = None, wait_s: float = WAIT_S) -> Store:
    """Open the store of a trial; a new one gets its tables, an older one is brought up to date.

    Parameters
    ----------
    folder : Path
        The trial folder.
    settings : Settings
        Its settings.
    who : str, optional
        Who acts; None: ``HARDINESS_WHO`` or the computer's user.
    wait_s : float, default 10
        How long to wait for another program that is writing. [s]

    Returns
    -------
    Store
        Also a context manager that closes it.

    Raises
    ------
    InputError
        If the folder does not exist, or the database URL cannot be used.
    StoreError
        If the database is gone, locked, damaged, cannot be written where it must, or is newer than the program.
    """
    if not folder.is_dir():
        raise InputError(f"{folder} is no trial: there is no such folder. 'hardiness new DIR' makes one.")
    kept = sum(1 for path in (folder / UPLOADS).glob("*") if path.is_file())
    if settings.store_url is None and kept and not (folder / FILE).exists():  # a new one would look like an empty trial
        raise StoreError(f"{folder / FILE} is gone, though {UPLOADS}/ holds {kept} files. Restore it from a copy.")
    database = Database(folder, settings.store_url, wait_s=wait_s)
    try:
        if settings.store_url is not None and kept and is_new(database):
            raise StoreError(
                f"{database.name} holds no records, though {UPLOADS}/ holds {kept} files. Restore the records from a "
                f"copy, or name their database in trial.toml."
            )
        migrate(database)
    except HardinessError:
        database.close()
        raise
    return Store(TrialFolder(folder, settings, who if who is not None else who_acts(), database))


class Store(StoreView):
    """One trial's store: what counts in it, and the acts on it. See :func:`open_store`.

    Parameters
    ----------
    folder : TrialFolder
        Where it is, its settings, who acts.
    """

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._database.close()

    def keep_log(self) -> None:
        """Keep a write-ahead log while serving: see :meth:`hardiness.store.database.Database.keep_log`."""
        self._database.keep_log()

    def acting_as(self, who: str) -> Store:
        """Give the same store with another person acting; closing either closes both.

        Parameters
        ----------
        who : str
            Who acts, for the history.

        Returns
        -------
        Store
        """
        return Store(replace(self._folder, who=who))

    def with_settings(self, settings: Settings) -> Store:
        """Give the same store with other settings; closing either closes both.

        Parameters
        ----------
        settings : Settings
            Of the same database.

        Returns
        -------
        Store
        """
        return Store(replace(self._folder, settings=settings))

    @property
    def accounts(self) -> Accounts:
        """Who may do what through the web pages."""
        return Accounts(self._folder)

    @property
    def photos(self) -> Photos:
        """The photos of scores."""
        return Photos(self._folder)

    @property
    def identity(self) -> str:
        """A number of the trial's own, whatever it is called and wherever it lies."""
        with self._database.read() as connection:
            return str(connection.execute(sa.select(IDENTITY.c.number)).scalar_one())

    def write_archive(self, path: Path) -> list[str]:
        """Write the whole trial as one ZIP file: see :func:`hardiness.store.archive.write_archive`.

        Parameters
        ----------
        path : Path
            The ZIP file.

        Returns
        -------
        list of str
            Names of the files in it.
        """
        return write_archive(self._folder, path)

    def add_records(
        self,
        records: Records,
        upload: Path | bytes,
        *,
        options: Mapping[str, Any] | None = None,
        death_settled: DeathSettled | None = None,
        before: Before | None = None,
    ) -> Intake:
        """Take in a records file, all of it or nothing: see :func:`hardiness.store.records_intake.add_records`.

        Parameters
        ----------
        records : Records
            The file, read and checked.
        upload : Path or bytes
            The file as it came.
        options : mapping, optional
            What the user gave with it; part of its identity.
        death_settled : callable, optional
            See :func:`hardiness.read.references.check_references`.
        before : callable, optional
            Looks at the records in the same transaction, and may refuse.

        Returns
        -------
        Intake
        """
        return add_records(self._folder, records, upload, options=options, death_settled=death_settled, before=before)

    def add_readings(
        self,
        logger_file: LoggerFile,
        upload: Path | bytes,
        *,
        sensor: str,
        options: Mapping[str, Any] | None = None,
        name: str | None = None,
    ) -> Intake:
        """Take in a readings file: see :func:`hardiness.store.readings_intake.add_readings`.

        Parameters
        ----------
        logger_file : LoggerFile
            The file, read.
        upload : Path or bytes
            The file as it came.
        sensor : str
            Whose readings.
        options : mapping, optional
            What the user gave with it; part of its identity.
        name : str, optional
            The file's name; None: the name of ``upload``.

        Returns
        -------
        Intake
        """
        return add_readings(self._folder, logger_file, upload, sensor=sensor, options=options, name=name)

    def add_together(
        self, incoming: Sequence[Incoming], upload: Path | bytes, *, name: str | None = None
    ) -> list[Intake]:
        """Take in the readings of several sensors: see :func:`hardiness.store.readings_intake.add_together`.

        Parameters
        ----------
        incoming : sequence of Incoming
            The readings of each sensor.
        upload : Path or bytes
            The file as it came.
        name : str, optional
            The file's name; None: the name of ``upload``.

        Returns
        -------
        list of Intake
        """
        return add_together(self._folder, incoming, upload, name=name)

    def would_add(self, incoming: Sequence[Incoming], upload: Path | bytes, *, name: str | None = None) -> list[Intake]:
        """Tell what would come of a file, and store nothing: see :func:`hardiness.store.readings_intake.would_add`.

        Parameters
        ----------
        incoming : sequence of Incoming
            The readings of each sensor.
        upload : Path or bytes
            The file as it came.
        name : str, optional
            The file's name; None: the name of ``upload``.

        Returns
        -------
        list of Intake
        """
        return would_add(self._folder, incoming, upload, name=name)

    def withdraw(
        self, table: str, records: Records, *, undo: bool = False, death_settled: DeathSettled | None = None
    ) -> Withdrawal:
        """Withdraw the rows that a file names: see :func:`hardiness.store.withdrawals.withdraw_rows`.

        Parameters
        ----------
        table : str
            Which table.
        records : Records
            The file; only its keys matter.
        undo : bool, default False
            Have them count again.
        death_settled : callable, optional
            See :func:`hardiness.read.references.check_references`.

        Returns
        -------
        Withdrawal
        """
        if records.table.name != table:
            raise ValueError(f"rows of {records.table.name} given for {table}")
        return withdraw_rows(self._folder, records, undo=undo, death_settled=death_settled)

    def withdraw_upload(
        self,
        sha_prefix: str,
        *,
        undo: bool = False,
        why: str = "",
        rehearse: bool = False,
        death_settled: DeathSettled | None = None,
    ) -> Withdrawal:
        """Withdraw all of an upload: see :func:`hardiness.store.withdrawals.withdraw_upload`.

        Parameters
        ----------
        sha_prefix : str
            The upload's SHA-256, or its first characters.
        undo : bool, default False
            Have it count again.
        why : str
            Kept in the history.
        rehearse : bool, default False
            Only tell what would come of it.
        death_settled : callable, optional
            See :func:`hardiness.read.references.check_references`.

        Returns
        -------
        Withdrawal
        """
        return withdraw_upload(self._folder, sha_prefix, undo=undo, why=why, rehearse=rehearse,
                               death_settled=death_settled)  # fmt: skip

    def orphans(self) -> list[Path]:
        """List files that no row names: see :func:`hardiness.store.inspection.find_orphans`.

        Returns
        -------
        list of Path
        """
        with self._database.read() as connection:
            return find_orphans(connection, self._folder)

    def remove_orphans(self) -> list[Path]:
        """Delete the orphans: see :func:`hardiness.store.inspection.remove_orphans`.

        Returns
        -------
        list of Path
        """
        return remove_orphans(self._folder)

    def faults(self) -> list[str]:
        """Check the files: see :func:`hardiness.store.inspection.find_faults`.

        Returns
        -------
        list of str
        """
        return find_faults(self._folder)
