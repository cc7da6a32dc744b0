"""What counts now in one trial: records, readings, uploads and the history of acts; nothing here changes anything."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import pandas as pd
import xarray as xr

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.choices import Choices
from hardiness.schema import RECORD_TABLES
from hardiness.store.folder import TrialFolder
from hardiness.store.history import read_history
from hardiness.store.inspection import read_uploads
from hardiness.store.part_conditions import read_conditions
from hardiness.store.part_rows import extent_of_parts, last_options, last_timezone, parts_that_count
from hardiness.store.parts import Part, air_temperature_of, by_sensor, merge_parts
from hardiness.store.records import frame_of, load_state
from hardiness.store.snapshot import state_token
from hardiness.store.station_parts import series_and_zone
from hardiness.weather.extents import KnownReadings


class StoreView:
    """The records, readings and uploads of one trial, as they stand.

    Parameters
    ----------
    folder : TrialFolder
        Where it is, its settings, who acts.
    """

    def __init__(self, folder: TrialFolder) -> None:
        self._folder = folder
        self._database = folder.database

    @property
    def who(self) -> str:
        """Who acts, for the history."""
        return self._folder.who

    def current(self, table: str) -> pd.DataFrame:
        """Give the records of a table that count now.

        Parameters
        ----------
        table : str
            Its name, one of ``schema.RECORD_TABLES``.

        Returns
        -------
        pandas.DataFrame
            Columns of the schema, rows in the order in which they first came.
        """
        with self._database.read() as connection:
            state = load_state(connection, (table,))
        return frame_of(RECORD_TABLES[table], state[table].values())

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
        return dict(self.readings_lazily())

    def readings_lazily(self) -> KnownReadings:
        """Give the readings of every sensor that count now, each fetched from its parts when it is asked for.

        Returns
        -------
        KnownReadings
            By sensor name, sorted; each as in :meth:`readings`, where a fault of a part's file is told too. Other
            processes, and other machines that see the folder under the same path, can fetch them. [degC]
        """
        own = self._parts_by_sensor()
        sources = {sensor: partial(merged_readings, parts) for sensor, parts in own.items()}
        return KnownReadings(sources, {sensor: extent_of_parts(parts) for sensor, parts in own.items()})

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
        own = self._parts_by_sensor()
        if sensor not in own:
            accepted = f"one with readings ({', '.join(own) or 'none yet'})"
            raise InputError(Problem(f"sensor '{sensor}'", accepted, hint=near_name(sensor, list(own))))
        return merged_readings(own[sensor])

    def conditions(self) -> Mapping[str, xr.Dataset]:
        """Give what else is known of the air, where files of stations and loggers tell it.

        Returns
        -------
        mapping of str to xarray.Dataset
            See :func:`hardiness.store.part_conditions.read_conditions`. Sensors that tell nothing but temperatures are
            not in it.

        Raises
        ------
        StoreError
            If a part's file is gone or damaged.
        """
        return self.conditions_reader()()

    def conditions_reader(self) -> Callable[[], Mapping[str, xr.Dataset]]:
        """Give a function that reads the conditions as they stand now, whenever it is called.

        Returns
        -------
        callable
            It takes nothing, and gives what :meth:`conditions` does.
        """
        with self._database.read() as connection:
            parts = parts_that_count(connection, self._folder)
        return partial(read_conditions, parts)

    def last_choices(self, sensor: str) -> Choices:
        """Give what was chosen for a sensor's last files that count, for the next one where that leaves it open.

        Parameters
        ----------
        sensor : str
            Its name.

        Returns
        -------
        Choices
            Columns, unit and date order as they were last given; the zone last chosen.
        """
        with self._database.read() as connection:
            options = last_options(connection, sensor)
            zone = last_timezone(connection, sensor)
        return replace(Choices.of(options, f"the last file of {sensor}"), timezone=zone)

    def last_timezone(self, sensor: str) -> str | None:
        """Give the zone last chosen for a sensor: see :func:`hardiness.store.part_rows.last_timezone`.

        Parameters
        ----------
        sensor : str
            Its name.

        Returns
        -------
        str or None
        """
        with self._database.read() as connection:
            return last_timezone(connection, sensor)

    def history(self) -> pd.DataFrame:
        """Give every act, oldest first: see :func:`hardiness.store.history.read_history`.

        Returns
        -------
        pandas.DataFrame
        """
        with self._database.read() as connection:
            return read_history(connection)

    def uploads(self) -> pd.DataFrame:
        """Give every file that was taken in: see :func:`hardiness.store.inspection.read_uploads`.

        Returns
        -------
        pandas.DataFrame
        """
        with self._database.read() as connection:
            return read_uploads(connection)

    def state_token(self, without: Sequence[str] = ()) -> str:
        """Give a hash of all that counts now: see :func:`hardiness.store.snapshot.state_token`.

        Parameters
        ----------
        without : sequence of str
            Tables of records that are left out.

        Returns
        -------
        str
        """
        with self._database.read() as connection:
            return state_token(connection, self._folder, without)

    def _parts_by_sensor(self) -> dict[str, list[Part]]:
        with self._database.read() as connection:
            return by_sensor(parts_that_count(connection, self._folder))


def merged_readings(parts: Sequence[Part]) -> xr.DataArray:
    """Give the readings of one sensor, carrying how they came about: its parts are all of one kind.

    Parameters
    ----------
    parts : sequence of Part
        Of one sensor, in the order of their intake; one or more.

    Returns
    -------
    xarray.DataArray
        ``air_temperature``, dims ``("time",)``, UTC, times rising. [degC]

    Raises
    ------
    StoreError
        If a part's file is gone or damaged.
    """
    series, zone = series_and_zone(parts[0])
    return air_temperature_of(*merge_parts(parts), series=series, timezone=zone)
