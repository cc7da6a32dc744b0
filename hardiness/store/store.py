"""One trial's store: the records that count, the readings that count, and the acts on them.

>>> import tempfile
>>> from pathlib import Path
>>> from hardiness.settings import Settings
>>> with open_store(Path(tempfile.mkdtemp()), Settings("Hill", "Europe/Lisbon")) as store:
...     len(store.current("plants")), store.readings()
(0, {})
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import pandas as pd
import sqlalchemy as sa
import xarray as xr

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.records import Records
from hardiness.read.references import DeathSettled
from hardiness.schema import RECORD_TABLES
from hardiness.settings import Settings
from hardiness.store.database import INTAKES, PARTS, VERSIONS, WAIT_S, Database
from hardiness.store.folder import TrialFolder
from hardiness.store.history import read_history, who_acts
from hardiness.store.inspection import find_faults, find_orphans, read_uploads, remove_orphans
from hardiness.store.intake import Intake
from hardiness.store.migrations import migrate
from hardiness.store.parts import air_temperature_of, merge_parts, parts_that_count
from hardiness.store.readings_intake import add_readings
from hardiness.store.records import counting, frame_of, load_state
from hardiness.store.records_intake import add_records
from hardiness.store.withdrawals import Withdrawal, withdraw_rows, withdraw_upload

if TYPE_CHECKING:
    from hardiness.read.loggers import LoggerFile


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
        If the database is locked, damaged, cannot be written where it must, or is newer than the program.
    """
    if not folder.is_dir():
        raise InputError(f"{folder} is no trial: there is no such folder. 'hardiness new DIR' makes one.")
    database = Database(folder, settings.store_url, wait_s=wait_s)
    migrate(database)
    return Store(TrialFolder(folder, settings, who if who is not None else who_acts(), database))


class Store:
    """The records, readings and uploads of one trial. See :func:`open_store`.

    Parameters
    ----------
    folder : TrialFolder
        Where it is, its settings, who acts.
    """

    def __init__(self, folder: TrialFolder) -> None:
        self._folder = folder
        self._database = folder.database

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._database.close()

    @property
    def who(self) -> str:
        """Who acts, for the history."""
        return self._folder.who

    def current(self, table: str) -> pd.DataFrame:
        """Give the records of a table that count now.

        Parameters
        ----------
        table : str
            ``selections``, ``plants``, ``sensors``, ``scores`` or ``freeze_notes``.

        Returns
        -------
        pandas.DataFrame
            Columns of the schema, rows in the order in which they first came.
        """
        with self._database.read() as connection:
            state = load_state(connection, (table,))
        return frame_of(RECORD_TABLES[table], state[table].values())

    def add_records(
        self,
        records: Records,
        upload: Path | bytes,
        *,
        options: Mapping[str, Any] | None = None,
        death_settled: DeathSettled | None = None,
    ) -> Intake:
        """Take in a records file: see :func:`hardiness.store.records_intake.add_records`."""
        return add_records(self._folder, records, upload, options=options, death_settled=death_settled)

    def add_readings(
        self,
        logger_file: LoggerFile,
        upload: Path | bytes,
        *,
        sensor: str,
        options: Mapping[str, Any] | None = None,
        name: str | None = None,
    ) -> Intake:
        """Take in a readings file: see :func:`hardiness.store.readings_intake.add_readings`."""
        return add_readings(self._folder, logger_file, upload, sensor=sensor, options=options, name=name)

    def withdraw(
        self, table: str, records: Records, *, undo: bool = False, death_settled: DeathSettled | None = None
    ) -> Withdrawal:
        """Withdraw the rows that a file names: see :func:`hardiness.store.withdrawals.withdraw_rows`."""
        if records.table.name != table:
            raise ValueError(f"rows of {records.table.name} given for {table}")
        return withdraw_rows(self._folder, records, undo=undo, death_settled=death_settled)

    def withdraw_upload(
        self, sha_prefix: str, *, undo: bool = False, death_settled: DeathSettled | None = None
    ) -> Withdrawal:
        """Withdraw all of an upload: see :func:`hardiness.store.withdrawals.withdraw_upload`."""
        return withdraw_upload(self._folder, sha_prefix, undo=undo, death_settled=death_settled)

    def readings(self) -> dict[str, xr.DataArray]:
        """Give the readings of every sensor that count now.

        Returns
        -------
        dict of str to xarray.DataArray
            By sensor name, sorted: ``air_temperature``, dims ``("time",)``, UTC, times rising. Where several files
            have a time, the first stays. ``offset_c`` is not applied. [degC]

        Raises
        ------
        StoreError
            If a part's file is gone or damaged.
        """
        with self._database.read() as connection:
            parts = parts_that_count(connection, self._folder)
        sensors = sorted({part.sensor for part in parts})
        return {
            sensor: air_temperature_of(*merge_parts([part for part in parts if part.sensor == sensor]))
            for sensor in sensors
        }

    def readings_of(self, sensor: str) -> xr.DataArray:
        """Give the readings of one sensor that count now.

        Parameters
        ----------
        sensor : str
            Its name.

        Returns
        -------
        xarray.DataArray
            As in :meth:`readings`. [degC]

        Raises
        ------
        InputError
            If it has none.
        StoreError
            If a part's file is gone or damaged.
        """
        with self._database.read() as connection:
            parts = parts_that_count(connection, self._folder)
        own = [part for part in parts if part.sensor == sensor]
        if not own:
            known = sorted({part.sensor for part in parts})
            accepted = f"one with readings ({', '.join(known) or 'none yet'})"
            raise InputError(Problem(f"sensor '{sensor}'", accepted, hint=near_name(sensor, known)))
        return air_temperature_of(*merge_parts(own))

    def last_timezone(self, sensor: str) -> str | None:
        """Give the zone that was last chosen by option for a sensor's files that count.

        Parameters
        ----------
        sensor : str
            Its name.

        Returns
        -------
        str or None
            None where no zone was ever chosen for it.
        """
        query = (
            sa.select(PARTS.c.timezone)
            .join(INTAKES, INTAKES.c.id == PARTS.c.intake_id)
            .where(PARTS.c.sensor == sensor, PARTS.c.timezone_from == "option", INTAKES.c.withdrawn.is_(sa.false()))
            .order_by(PARTS.c.intake_id.desc())
            .limit(1)
        )
        with self._database.read() as connection:
            zone = connection.scalar(query)
        return None if zone is None else str(zone)

    def history(self) -> pd.DataFrame:
        """Give every act, oldest first: see :func:`hardiness.store.history.read_history`."""
        with self._database.read() as connection:
            return read_history(connection)

    def uploads(self) -> pd.DataFrame:
        """Give every file that was taken in: see :func:`hardiness.store.inspection.read_uploads`."""
        with self._database.read() as connection:
            return read_uploads(connection)

    def state_token(self) -> str:
        """Give a hash of all that counts now: while it stays, every result stays.

        Returns
        -------
        str
            64 hexadecimal digits.
        """
        digest = hashlib.sha256()
        records = (
            sa.select(VERSIONS.c.table_name, VERSIONS.c.key, VERSIONS.c.content)
            .join(INTAKES, INTAKES.c.id == VERSIONS.c.intake_id)
            .where(*counting())
            .order_by(VERSIONS.c.id)
        )
        with self._database.read() as connection:
            for row in connection.execute(records):
                digest.update("\x00".join(row).encode())
                digest.update(b"\x01")
            for part in parts_that_count(connection, self._folder):
                digest.update(f"{part.sensor}\x00{part.path.name}\x01".encode())
        return digest.hexdigest()

    def orphans(self) -> list[Path]:
        """List files that no row names: see :func:`hardiness.store.inspection.find_orphans`."""
        with self._database.read() as connection:
            return find_orphans(connection, self._folder)

    def remove_orphans(self) -> list[Path]:
        """Delete the orphans: see :func:`hardiness.store.inspection.remove_orphans`."""
        return remove_orphans(self._folder)

    def faults(self) -> list[str]:
        """Check the files: see :func:`hardiness.store.inspection.find_faults`."""
        return find_faults(self._folder)
