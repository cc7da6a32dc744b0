"""Taking a readings file in: compared with what is there, its part and its upload kept, made to count by one commit.

The order is what makes it safe: first the comparison, then the part and the upload are brought to the disk, then the
rows that name them are committed. A program stopped anywhere leaves the old state or the new one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.labels import RefusedError, parse_sensor, quote
from hardiness.read.loggers import LoggerFile
from hardiness.store.agreement import FileReadings, compare
from hardiness.store.awaited import named_in
from hardiness.store.database import PARTS, VERSIONS
from hardiness.store.folder import TrialFolder, keep_upload, read_upload, sha256_of, write_whole
from hardiness.store.history import note_act, note_rows, now_text
from hardiness.store.intake import READINGS_TABLE, Intake, insert_intake, options_json, same_file, say_repeated
from hardiness.store.part_files import part_name, write_part
from hardiness.store.parts import parts_that_count, times_ns
from hardiness.store.records import State, key_json, load_state, to_json
from hardiness.words import count


def add_readings(
    folder: TrialFolder,
    readings: LoggerFile,
    upload: Path | bytes,
    *,
    sensor: str,
    options: Mapping[str, Any] | None = None,
    name: str | None = None,
) -> Intake:
    """Take in a readings file: its part, its upload, and the row that makes it visible.

    Parameters
    ----------
    folder : TrialFolder
        The trial.
    readings : LoggerFile
        The file, read.
    upload : Path or bytes
        The file as it came.
    sensor : str
        Whose readings; an unknown one is created as a logger, and that is said.
    options : mapping, optional
        What the user gave with it (zone, unit, columns); part of its identity.
    name : str, optional
        The file's name; None: the name of ``upload``.

    Returns
    -------
    Intake

    Raises
    ------
    InputError
        If it has no readings, or some contradict readings that are there: their rows are named.
    StoreError
        If the machine could not store it; nothing was stored.
    """
    file = name if name is not None else upload.name if isinstance(upload, Path) else "readings"
    try:
        sensor = parse_sensor(sensor)
    except RefusedError as error:
        raise InputError(Problem(f"sensor {error.found}", error.accepted, file=file)) from None
    air = readings.air_temperature
    if air.size == 0 or not np.isfinite(air.values).all():
        raise InputError(Problem(f"{int(np.isfinite(air.values).sum())} readings among {air.size} rows",
                                 "readings, each a time and a temperature", file=file))  # fmt: skip
    data = read_upload(upload)
    sha256, given = sha256_of(data), options_json(options)
    rows = FileReadings(
        times_ns(air["time"].values),
        air.values.astype(np.float64),
        np.asarray(readings.rows, np.int64),
        float(readings.resolution_c),
        file,
        sensor,
    )
    with folder.database.write() as connection:
        state = load_state(connection, ("sensors", "plants"))
        if (earlier := same_file(connection, sha256, READINGS_TABLE, sensor, given)) is not None:
            return Intake(READINGS_TABLE, file, sha256, unchanged=air.size, repeated=True,
                          said=[*readings.said, *say_repeated(connection, earlier, state)])  # fmt: skip
        agreement = compare(rows, parts_that_count(connection, folder, sensor))
        if agreement.problems:
            raise InputError(agreement.problems)
        said = [*readings.said, *_create_sensor(connection, folder, sensor, state)]
        part, at = part_name(sha256, sensor, given), now_text()
        place = _place_of(folder, state["sensors"].get((sensor,), {}))
        write_whole(
            folder.readings / part,
            lambda path: write_part(path, readings, sensor=sensor, sha256=sha256, place=place, at=at),
        )
        keep_upload(folder, data)
        intake = insert_intake(connection, folder, table=READINGS_TABLE, sha256=sha256, file=file, sensor=sensor,
                                options=given, rows=air.size)  # fmt: skip
        connection.execute(
            sa.insert(PARTS).values(
                intake_id=intake, sensor=sensor, file=part, readings=air.size, first_ns=int(rows.times.min()),
                last_ns=int(rows.times.max()), resolution_c=rows.resolution_c, unit=readings.unit,
                timezone=readings.timezone, timezone_from=readings.timezone_from,
            )
        )  # fmt: skip
        known = int(agreement.known.sum())
        note_act(connection, who=folder.who, action="add file", table=READINGS_TABLE, sha256=sha256, file=file,
                 new=to_json({"sensor": sensor, "added": air.size - known, "known": known}))  # fmt: skip
    if known:
        taken = count(air.size, "reading")
        said.append(f"{known:,} of {taken} of {file} agree with what was there already; the first ones stay.")
    return Intake(READINGS_TABLE, file, sha256, air.size - known, unchanged=known, said=said)


def _create_sensor(connection: sa.Connection, folder: TrialFolder, sensor: str, state: State) -> list[str]:
    """Create an unknown sensor as a logger, under an intake of its own: withdrawing the readings leaves it known."""
    if (sensor,) in state["sensors"]:
        return []
    intake = insert_intake(connection, folder, table="sensors", sensor=sensor, rows=1)
    connection.execute(
        sa.insert(VERSIONS).values(intake_id=intake, table_name="sensors", key=key_json((sensor,)),
                                   content=to_json({"kind": "logger"}), withdrawn=False)
    )  # fmt: skip
    after = load_state(connection, ("sensors",))
    note_rows(connection, who=folder.who, action="create", table="sensors", keys=[(sensor,)], before=state, after=after)
    awaited = named_in(state)  # plants may name a sensor before its readings come
    near = None if sensor in awaited else near_name(sensor, sorted({*awaited, *(key[0] for key in state["sensors"])}))
    return [f"Sensor {quote(sensor)} is new: it was created as a logger.{' ' + near if near else ''}"]


def _place_of(folder: TrialFolder, sensor: Mapping[str, Any]) -> tuple[float, float]:
    """Give latitude and longitude: the sensor's, else the trial's, else unknown."""
    for place in ((sensor.get("latitude"), sensor.get("longitude")),
                  (folder.settings.latitude, folder.settings.longitude)):  # fmt: skip
        if place[0] is not None and place[1] is not None:
            return float(place[0]), float(place[1])
    return math.nan, math.nan
