"""A trial on disk: its settings, its store, and the flow over what counts now."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType

import pandas as pd

from hardiness.errors import HardinessError, InputError
from hardiness.flow import Flow, Records
from hardiness.read.records import parse_records
from hardiness.read.tables import read_table
from hardiness.schema import RECORD_TABLES, SENSORS
from hardiness.settings import SETTINGS_FILE, Settings
from hardiness.settings_reading import read_settings
from hardiness.settings_writing import to_toml
from hardiness.store import Intake, Store, Withdrawal, open_store
from hardiness.store.database import FILE
from hardiness.store.logger_channels import name_of
from hardiness.store.logger_intake import TakesReadings
from hardiness.store.records_intake import Before
from hardiness.store.typed import typed_table, typed_upload
from hardiness.tolerance.fit import Fit
from hardiness.weather.one_by_one import count_of

MOST_IN_MEMORY = 20_000_000  # [1] readings, 16 bytes each; of more, one sensor's are fetched at a time


class Trial(TakesReadings):
    """A trial folder, opened. Use :func:`open_trial`.

    Parameters
    ----------
    folder : Path
        The trial folder.
    settings : Settings
    store : Store
    """

    def __init__(self, folder: Path, settings: Settings, store: Store) -> None:
        self.folder = folder
        self.settings = settings
        self.store = store
        self._flows: dict[tuple[str, bool], Flow] = {}
        self._met: dict[str, tuple[pd.DataFrame, frozenset[str]]] = {}

    def __enter__(self) -> Trial:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the records."""
        self.store.close()

    def acting_as(self, who: str) -> Trial:
        """Give the same trial with another person acting; closing either closes both.

        Parameters
        ----------
        who : str
            Who acts, for the history.

        Returns
        -------
        Trial
        """
        other = Trial(self.folder, self.settings, self.store.acting_as(who))
        other._flows, other._met = self._flows, self._met
        return other

    def flow(self, *, containers: bool = False) -> Flow:
        """The flow over the records that count now; the same object until they change.

        Parameters
        ----------
        containers : bool
            Whether plants in containers count.

        Returns
        -------
        Flow
        """
        key = (self.store.state_token(), containers)
        if key not in self._flows:
            tables = {name: self.store.current(name) for name in RECORD_TABLES}
            lazily = self.store.readings_lazily()
            readings = lazily if count_of(lazily) > MOST_IN_MEMORY else dict(lazily)
            records = Records(readings, conditions=self.store.conditions_reader(), **tables)
            self._flows = {key: Flow(records, self.settings, containers)}
        return self._flows[key]

    def add_table(self, table: str, path: Path, *, name: str | None = None) -> Intake:
        """Add a table of records from a CSV or XLSX file: whole, or not at all.

        Parameters
        ----------
        table : str
            ``selections``, ``plants``, ``sensors``, ``scores`` or ``freeze_notes``.
        path : Path
            The file.
        name : str, optional
            What to call it in messages.

        Returns
        -------
        Intake

        Raises
        ------
        InputError
            With every bad row; nothing was stored.
        """
        layout = RECORD_TABLES[table]
        raw = read_table(path, layout, name=name or name_of(path), hold=True)
        records = parse_records(raw, layout, self.settings, hold=True)
        intake = self.store.add_records(records, path, death_settled=self._death_settled)
        if table == SENSORS.name and not intake.repeated:
            intake.said.extend(self._shields_taken(records.frame["sensor"]))
        return intake

    def add_rows(
        self, table: str, rows: Sequence[Mapping[str, str]], *, mark: str | None = None, before: Before | None = None
    ) -> Intake:
        """Add rows that were typed in: an intake like any file, whole or not at all.

        Parameters
        ----------
        table : str
            As in :meth:`add_table`.
        rows : sequence of mapping
            Texts by column; all rows have the same columns.
        mark : str, optional
            What names this act: the same rows with the same mark are one act, and a repeat changes nothing.
            Without one, every call is an act of its own.
        before : callable, optional
            See :func:`hardiness.store.records_intake.add_records`.

        Returns
        -------
        Intake

        Raises
        ------
        InputError
            With every bad cell; nothing was stored.
        """
        layout = RECORD_TABLES[table]
        records = parse_records(typed_table(table, rows), layout, self.settings, hold=True)
        typed = typed_upload(table, rows, mark or f"{self.store.who}, {dt.datetime.now(dt.UTC).isoformat()}")
        intake = self.store.add_records(records, typed, death_settled=self._death_settled, before=before)
        if table == SENSORS.name:
            intake.said.extend(self._shields_taken(records.frame["sensor"]))
        return intake

    def withdraw_rows(self, table: str, rows: Sequence[Mapping[str, str]], *, undo: bool = False) -> Withdrawal:
        """Make rows stop counting, or count again.

        Parameters
        ----------
        table : str
            As in :meth:`add_table`.
        rows : sequence of mapping
            The key columns of each, as texts.
        undo : bool
            Count again.

        Returns
        -------
        Withdrawal
        """
        layout = RECORD_TABLES[table]
        records = parse_records(typed_table(table, rows), layout, self.settings, keys_only=True, hold=True)
        return self.store.withdraw(table, records, undo=undo, death_settled=self._death_settled)

    def withdraw_table(self, table: str, path: Path, *, undo: bool = False) -> Withdrawal:
        """Make the rows that a file names stop counting, or count again.

        Parameters
        ----------
        table : str
            As in :meth:`add_table`.
        path : Path
            A file with at least the key columns.
        undo : bool
            Count again.

        Returns
        -------
        Withdrawal

        Raises
        ------
        InputError
            If a row is unknown, or others rest on it.
        """
        layout = RECORD_TABLES[table]
        raw = read_table(path, layout, name=name_of(path), hold=True)
        records = parse_records(raw, layout, self.settings, keys_only=True, hold=True)
        return self.store.withdraw(table, records, undo=undo, death_settled=self._death_settled)

    def withdraw_upload(
        self, sha_prefix: str, *, undo: bool = False, why: str = "", rehearse: bool = False
    ) -> Withdrawal:
        """Make all that came with an upload stop counting, or count again.

        Parameters
        ----------
        sha_prefix : str
            The first characters of its SHA-256.
        undo : bool
            Count again.
        why : str
            Kept in the history.
        rehearse : bool
            Only tell what would come of it, and store nothing.

        Returns
        -------
        Withdrawal

        Raises
        ------
        InputError
            If no upload, or more than one, begins so, or other records rest on it.
        """
        return self.store.withdraw_upload(sha_prefix, undo=undo, why=why, rehearse=rehearse,
                                          death_settled=self._death_settled)  # fmt: skip

    def _death_settled(self, plant: str, death: dt.date, later: dt.date) -> bool:
        """Whether the plant met, after it was scored dead, a freeze that lies before the later date."""
        # What a plant that has a planting date met does not rest on scores; it is looked up once, not at every score.
        token = self.store.state_token(without=("scores",))
        found = self._met.get(token)
        if found is None:
            planted = self.store.current("plants").dropna(subset="planted_on")["plant"]
            found = (self.flow().exposures[["plant", "ends"]], frozenset(planted))
            self._met.clear()
            self._met[token] = found
        met = found[0] if plant in found[1] else self.flow().exposures
        ends = met.loc[met["plant"] == plant, "ends"]
        first, last = (pd.Timestamp.combine(day, dt.time(12)).tz_localize(self.settings.zone) for day in (death, later))
        return bool(((ends >= first) & (ends < last)).any())

    def freezes(self) -> pd.DataFrame:
        """Every freeze at every sensor.

        Returns
        -------
        DataFrame
            Columns of ``schema.freeze_columns``; times in UTC, temperatures in degC, durations in h.
        """
        return self.flow().freezes.copy()

    def exposures(self) -> pd.DataFrame:
        """Every freeze that every plant met.

        Returns
        -------
        DataFrame
            ``plant, selection, rootstock``, then the columns of freezes.
        """
        return self.flow().exposures.copy()

    def observations(self) -> pd.DataFrame:
        """Every plant and scored window: what the model sees.

        Returns
        -------
        DataFrame
            Columns of ``schema.OBSERVATIONS``; temperatures in degC.
        """
        return self.flow().observations.copy()

    def left_out(self) -> pd.DataFrame:
        """Every score, freeze and window that does not count, and why.

        Returns
        -------
        DataFrame
            Columns of ``schema.LEFT_OUT``.
        """
        return self.flow().left_out.copy()

    def fit(self) -> Fit:
        """The tolerance model fitted to the observations.

        Returns
        -------
        Fit

        Raises
        ------
        FitError
            If there is nothing to fit.
        """
        return self.flow().fit

    def floors(self, survive: float = 0.9, grade: int | None = None, level: float = 0.9) -> pd.DataFrame:
        """Tolerance floors of every registered selection and rootstock.

        Parameters
        ----------
        survive : float
            Share that comes through.
        grade : int, optional
            Without reaching this grade; the last unless given.
        level : float
            Probability of the central interval.

        Returns
        -------
        DataFrame
            Columns of ``schema.FLOORS``. [degC]
        """
        return self.flow().floors(survive, grade, level)


def open_trial(folder: str | Path) -> Trial:
    """Open a trial folder.

    Parameters
    ----------
    folder : str or Path

    Returns
    -------
    Trial
        A context manager.

    Raises
    ------
    InputError
        If it is no trial, or its settings are at fault.
    StoreError
        If the records cannot be opened.
    """
    path = Path(folder)
    settings = read_settings(path / SETTINGS_FILE)
    return Trial(path, settings, open_store(path, settings))


def new_trial(folder: str | Path, settings: Settings) -> Trial:
    """Make a trial folder and open it.

    Parameters
    ----------
    folder : str or Path
        A new or empty folder.
    settings : Settings

    Returns
    -------
    Trial

    Raises
    ------
    InputError
        If the folder holds something already, or a file is in its way.
    """
    path = Path(folder)
    if path.is_dir() and any(path.iterdir()):
        raise InputError(f"{path} is not empty; a new trial wants a new or empty folder.")
    try:
        path.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        raise InputError(f"{path} cannot be a folder: a file is in its way.") from None
    try:
        (path / SETTINGS_FILE).write_text(to_toml(settings), encoding="utf-8")
        return open_trial(path)
    except (HardinessError, OSError):
        for name in (SETTINGS_FILE, FILE):  # half a trial would be in the way of the next try
            (path / name).unlink(missing_ok=True)
        raise
