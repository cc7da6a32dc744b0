"""A trial folder with short ways to add files to it."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from hardiness.read.loggers import LoggerFile
from hardiness.read.records import parse_records
from hardiness.read.tables import read_table
from hardiness.schema import RECORD_TABLES
from hardiness.settings import Settings
from hardiness.store import open_store

TODAY = dt.date(2026, 11, 25)


def logger(temperatures, start="2026-01-10T00:00", step="30m", *, times=None, **options):
    """Readings every half hour from a start, in UTC; the first stands in row 2."""
    values = np.asarray(temperatures, float)
    if times is None:
        count, unit = int(step[:-1]), step[-1]
        times = np.datetime64(start, "ns") + np.arange(values.size) * np.timedelta64(count, unit)
    stamps = np.asarray(times, "datetime64[ns]")
    air = xr.DataArray(values, {"time": stamps}, "time", name="air_temperature", attrs={"units": "degC"})
    given = {"resolution_c": 0.1, "unit": "degC", "timezone": "Europe/Lisbon", "timezone_from": "default", **options}
    return LoggerFile(
        air, np.arange(2, values.size + 2), time_column="Time", temperature_column="Temp", interval_min=30.0, missing=0,
        **given,
    )  # fmt: skip


class Trial:
    """A trial folder for tests: files go in as they would from a command line."""

    def __init__(self, folder: Path, settings: Settings) -> None:
        self.folder, self.settings = folder, settings
        self.store = open_store(folder, settings, who="RM")
        self.files = 0

    def parse(self, table, text, name=None, **options):
        self.files += 1
        path = self.folder.parent / (name or f"{table}-{self.files}.csv")
        path.write_text(text, encoding="utf-8", newline="")
        schema = RECORD_TABLES[table]
        return parse_records(read_table(path, schema), schema, self.settings, today=TODAY, **options), path

    def add(self, table, text, name=None, **options):
        records, path = self.parse(table, text, name)
        return self.store.add_records(records, path, **options)

    def withdraw(self, table, text, **options):
        records, _ = self.parse(table, text, keys_only=True)
        return self.store.withdraw(table, records, **options)

    def add_readings(self, readings, sensor="L1", name="l1.csv", content=None, **options):
        data = content if content is not None else readings.air_temperature.values.tobytes() + name.encode()
        return self.store.add_readings(readings, data, sensor=sensor, name=name, **options)

    def column(self, table, name):
        return list(self.store.current(table)[name])

    @property
    def files_kept(self):
        return sorted(
            f"{path.parent.name}/{path.name}" for path in self.folder.glob("*/*") if path.parent.name != "trial.db"
        )


@pytest.fixture
def settings():
    return Settings("Hill", "Europe/Lisbon", latitude=41.2, longitude=-7.6)


@pytest.fixture
def trial(tmp_path, settings):
    folder = tmp_path / "trial"
    folder.mkdir()
    made = Trial(folder, settings)
    yield made
    made.store.close()


@pytest.fixture
def planted(trial):
    """A trial with two selections and three plants."""
    trial.add("selections", "selection,notes\nOL-07,first\nOL-08,second\n")
    trial.add("plants", "plant,selection,rootstock,block\nT1,OL-07,stock P,A\nT2,OL-07,own,A\nT3,OL-08,own,B\n")
    return trial


@pytest.fixture(name="logger")
def _logger():
    return logger
