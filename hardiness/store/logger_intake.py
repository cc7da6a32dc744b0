"""Taking loggers' files in: one sensor, several channels, or a column that names sensors; for all of them or for none.

A base of the trial: it knows the settings (zone, unit) and the store (what was chosen for a sensor's last files).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from hardiness.read.loggers import channels_of, read_by_sensor, read_channels, read_logger
from hardiness.schema import SENSORS
from hardiness.store.intake import Intake
from hardiness.store.logger_channels import name_of, options_of, refuse_both, sensors_of
from hardiness.store.logger_preview import LooksAtReadings, Progress
from hardiness.store.readings_intake import Incoming


class TakesReadings(LooksAtReadings):
    """What a trial does with loggers' files.

    Parameters
    ----------
    settings : Settings
    store : Store
    """

    def add_readings(
        self,
        path: Path,
        sensor: str,
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
    ) -> Intake:
        """Add a logger's file of readings: whole, or not at all.

        Parameters
        ----------
        path : Path
            The file.
        sensor : str
            Whose readings; an unknown one becomes a logger, and that is said.
        timezone : str, optional
            Zone or fixed offset of its times, where the file names none; else the sensor's last, else the trial's.
        unit : str, optional
            C, F or K, where the file names none; else the sensor's last, else the trial's.
        time_column, temperature_column, date_order : str, optional
            What the file leaves open; else as for the sensor's last file.
        missing : str, optional
            Numbers in the file that stand for "no reading", semicolons between; else as for the sensor's last file.
        marks : str, optional
            What marks on readings mean: see :func:`hardiness.read.marks.parse_marks`; else as for the last file.
        name : str, optional
            What to call it in messages.
        progress : callable, optional
            Told the bytes done and in all.

        Returns
        -------
        Intake

        Raises
        ------
        InputError
            With every bad row; nothing was stored.
        """
        sensor = sensors_of([sensor])[0]
        file = name or name_of(path)
        last = self.store.last_choices(sensor)
        logger_file = read_logger(
            path,
            timezone=timezone,
            default_timezone=self.settings.timezone,
            unit=unit,
            default_unit=self.settings.units,
            time_column=time_column,
            temperature_column=temperature_column,
            date_order=date_order,
            missing=missing,
            marks=marks,
            name=file,
            last=last,
            progress=progress,
        )
        asked = replace(
            self._asked(file, timezone, unit, time_column, date_order, missing, marks),
            temperature_column=temperature_column,
        )
        readings = self._said_whose_zone(logger_file, sensor)
        return self._taken([Incoming(readings, sensor, options_of(asked))], path, file)[0]

    def add_channels(
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
    ) -> list[Intake]:
        """Add a file with the readings of several sensors: all of them, or none.

        Parameters
        ----------
        path : Path
            The file.
        sensors : sequence of str
            A sensor for each column of temperatures, in the order of the columns.
        channels : sequence of (str, str)
            Instead: column and sensor; other columns are left alone.
        sensor_column : str, optional
            Instead: the column that names the sensor of each row.
        timezone, unit, time_column, temperature_column, date_order, missing, marks : str, optional
            As in :meth:`add_readings`; a column of temperatures only beside a column of sensors.
        name : str, optional
            What to call it in messages.
        progress : callable, optional
            Told the bytes done and in all.

        Returns
        -------
        list of Intake
            One for each sensor.

        Raises
        ------
        InputError
            With every bad row of every channel; nothing was stored.
        """
        file = name or name_of(path)
        asked = self._asked(file, timezone, unit, time_column, date_order, missing, marks)
        if sensor_column is not None:
            refuse_both(sensors, channels)
            sensor_column = channels_of(path, asked, named=[sensor_column], option="--sensor-column")[0]
            named = replace(asked, temperature_column=temperature_column, sensor_column=sensor_column)
            files = read_by_sensor(path, named, last_of=self._last_zone, progress=progress)
            incoming = [Incoming(self._said_whose_zone(each, sensor), sensor, options_of(named))
                        for sensor, each in zip(sensors_of(list(files)), files.values(), strict=True)]  # fmt: skip
            return self._taken(incoming, path, file)
        pairs, lasts = self._paired(path, sensors, channels, asked, temperature_column)
        read = read_channels(path, [column for column, _ in pairs], asked, lasts=lasts, progress=progress)
        incoming = []
        for (column, sensor), logger_file in zip(pairs, read, strict=True):
            logger_file.said.extend(self._said_moved(sensor, column, [each for each, _ in pairs]))
            readings = self._said_whose_zone(logger_file, sensor)
            incoming.append(Incoming(readings, sensor, options_of(replace(asked, temperature_column=column))))
        return self._taken(incoming, path, file)

    def _taken(self, incoming: list[Incoming], path: Path, file: str) -> list[Intake]:
        known = set(self.store.current(SENSORS.name)["sensor"])
        intakes = self.store.add_together(incoming, path, name=file)
        for one, intake in zip(incoming, intakes, strict=True):
            if one.sensor not in known:
                intake.said.extend(self._shields_taken([one.sensor]))
        return intakes

    def _shields_taken(self, sensors: Iterable[str]) -> list[str]:
        """Say which sensors are taken to hang in a radiation shield because nobody said whether they do."""
        held = self.store.current(SENSORS.name)
        empty = held.loc[held["sensor"].isin(list(sensors)) & (held["shielded"] == ""), "sensor"]
        sentence = f"Taken to hang in a radiation shield, as 'shielded' is empty: {', '.join(empty)}."
        return [] if empty.empty else [sentence]
