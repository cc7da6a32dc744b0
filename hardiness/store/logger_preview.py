"""Looking at loggers' files before they are taken in; nothing is stored.

What is remembered of a sensor's last files is used, and what is stored of it is held against the file.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from hardiness.errors import InputError
from hardiness.read.choices import Choices
from hardiness.read.labels import RefusedError, parse_sensor, quote
from hardiness.read.loggers import LoggerFile
from hardiness.read.preview import Preview
from hardiness.read.previewing import preview_by_sensor, preview_channels, preview_logger
from hardiness.read.recognition import Asked
from hardiness.settings import Settings
from hardiness.store.logger_channels import (
    Channels,
    key_or_as_given,
    name_of,
    options_of,
    pairs_of,
    refuse_both,
    refuse_columns,
    sensors_of,
)
from hardiness.store.readings_intake import Incoming
from hardiness.store.store import Store

Progress = Callable[[int, int], None]


class LooksAtReadings:
    """How a trial looks at loggers' files.

    Parameters
    ----------
    settings : Settings
    store : Store
    """

    settings: Settings
    store: Store

    def preview_readings(
        self,
        path: Path,
        sensor: str | None = None,
        *,
        timezone: str | None = None,
        unit: str | None = None,
        time_column: str | None = None,
        temperature_column: str | None = None,
        date_order: str | None = None,
        missing: str | None = None,
        marks: str | None = None,
        name: str | None = None,
        progress: Progress | None = None,
    ) -> Preview:
        """Look at a logger's file as :meth:`add_readings` would read it; nothing is stored.

        Parameters
        ----------
        path : Path
            The file.
        sensor : str, optional
            Whose readings; without it nothing is held against stored ones.
        timezone, unit, time_column, temperature_column, date_order, missing, marks : str, optional
            As in :meth:`add_readings`.
        name : str, optional
            What to call it in messages.
        progress : callable, optional
            Told the bytes done and in all.

        Returns
        -------
        Preview
            Also of a file with faults, which are among it.

        Raises
        ------
        InputError
            If an option is none that is accepted.
        """
        asked = self._asked(name or name_of(path), timezone, unit, time_column, date_order, missing, marks)
        asked = replace(asked, temperature_column=temperature_column)
        if sensor is None:
            return preview_logger(path, asked, zone=self.settings.zone, progress=progress)
        sensor = sensors_of([sensor])[0]
        asked = replace(asked, last=self.store.last_choices(sensor))
        preview = preview_logger(path, asked, zone=self.settings.zone, sensor=sensor, progress=progress)
        return self._held_against(preview, path, options_of(asked))

    def preview_channels(
        self,
        path: Path,
        *,
        sensors: Sequence[str] = (),
        channels: Sequence[tuple[str, str]] = (),
        sensor_column: str | None = None,
        timezone: str | None = None,
        unit: str | None = None,
        time_column: str | None = None,
        temperature_column: str | None = None,
        date_order: str | None = None,
        missing: str | None = None,
        marks: str | None = None,
        name: str | None = None,
        progress: Progress | None = None,
    ) -> list[Preview]:
        """Look at a file as :meth:`add_channels` would read it; nothing is stored.

        Parameters
        ----------
        path : Path
            The file.
        sensors, channels, sensor_column : optional
            As in :meth:`add_channels`.
        timezone, unit, time_column, temperature_column, date_order, missing, marks : str, optional
            As in :meth:`add_channels`.
        name : str, optional
            What to call it in messages.
        progress : callable, optional
            Told the bytes done and in all.

        Returns
        -------
        list of Preview
            One for each sensor.

        Raises
        ------
        InputError
            If an option is none that is accepted, or the channels cannot be told.
        """
        asked = self._asked(name or name_of(path), timezone, unit, time_column, date_order, missing, marks)
        if sensor_column is not None:
            refuse_both(sensors, channels)
            sensor_column = key_or_as_given(path, asked, sensor_column)
            named = replace(asked, temperature_column=temperature_column, sensor_column=sensor_column)
            each = preview_by_sensor(path, named, last_of=self._last_zone, zone=self.settings.zone, progress=progress)
            return [self._held_against(preview, path, options_of(named)) for preview in each]
        pairs, lasts = self._paired(path, sensors, channels, asked, temperature_column)
        each = preview_channels(path, pairs, asked, lasts=lasts, zone=self.settings.zone, progress=progress)
        for preview, (column, sensor) in zip(each, pairs, strict=False):  # one alone where the file is no text
            preview.said.extend(self._said_moved(sensor, column, [key for key, _ in pairs]))
        return [
            self._held_against(preview, path, options_of(replace(asked, temperature_column=column)))
            for preview, (column, _) in zip(each, pairs, strict=False)
        ]

    def _asked(
        self,
        file: str,
        timezone: str | None,
        unit: str | None,
        time_column: str | None,
        date_order: str | None,
        missing: str | None,
        marks: str | None,
    ) -> Asked:
        trial = self.settings
        return Asked(
            file, trial.timezone, timezone, unit, trial.units, time_column, date_order=date_order, missing=missing,
            marks=marks,
        )  # fmt: skip

    def _paired(
        self,
        path: Path,
        sensors: Sequence[str],
        channels: Sequence[tuple[str, str]],
        asked: Asked,
        temperature_column: str | None,
    ) -> tuple[Channels, list[Choices]]:
        """Tell which column is which sensor's, and what was chosen for each sensor's last files besides its column."""
        refuse_columns(temperature_column)
        pairs = pairs_of(path, sensors, channels, asked, self.store.last_choices)
        return pairs, [replace(self.store.last_choices(sensor), temperature_column=None) for _, sensor in pairs]

    def _last_zone(self, sensor: str) -> str | None:
        """Give the zone last chosen for a sensor that a file names."""
        try:
            return self.store.last_timezone(parse_sensor(sensor))
        except RefusedError:
            return None  # it is refused later, with the other names

    def _said_whose_zone(self, readings: LoggerFile, sensor: str) -> LoggerFile:
        """Say whose zone was taken where neither file nor option names one."""
        if readings.timezone_from == "default":
            last = self.store.last_timezone(sensor)
            whose = f"the last one chosen for sensor {quote(sensor)}" if last else "the trial's"
            readings.said.append(f"That zone is {whose}; --timezone names another.")
        return readings

    def _said_moved(self, sensor: str, column: str, columns: Sequence[str]) -> list[str]:
        """Say that a sensor's readings stood in another column of this file the last time."""
        last = self.store.last_choices(sensor)
        if last.temperature_column in (None, column) or last.temperature_column not in columns:
            return []
        before = quote(str(last.temperature_column))
        return [f"Sensor {quote(sensor)} is read from {quote(column)}; for {last.source} it was {before}."]

    def _held_against(self, preview: Preview, path: Path, options: dict[str, str | None]) -> Preview:
        """Tell of a preview what is stored already, and what contradicts it."""
        if preview.logger is None or not preview.sensor:
            return preview
        try:
            sensor = sensors_of([preview.sensor])[0]
            logger_file = self._said_whose_zone(replace(preview.logger, said=[]), sensor)
            intake = self.store.would_add([Incoming(logger_file, sensor, options)], path, name=preview.file)[0]
        except InputError as error:
            return replace(preview, problems=[*preview.problems, *error.problems], logger=None)
        return replace(preview, sensor=sensor, known=intake.unchanged, said=[*preview.said, *intake.said])
