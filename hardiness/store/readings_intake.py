"""Taking a readings file in: compared with what is there, its part and its upload kept, made to count by one commit.

The order is what makes it safe: first the comparison, then the part and the upload are brought to the disk, then the
rows that name them are committed. A program stopped anywhere leaves the old state or the new one.
"""

from __future__ import annotations

import math
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.conditions import CONDITIONS
from hardiness.read.labels import RefusedError, parse_sensor, quote
from hardiness.read.loggers import LoggerFile
from hardiness.store.agreement import Agreement, FileReadings, compare
from hardiness.store.awaited import named_in
from hardiness.store.database import PARTS, VERSIONS
from hardiness.store.folder import TrialFolder, hash_upload, keep_upload, write_whole
from hardiness.store.history import note_act, note_rows, now_text
from hardiness.store.intake import READINGS_TABLE, Intake, insert_intake, options_json, same_file, say_repeated
from hardiness.store.part_conditions import conditions_of
from hardiness.store.part_files import part_name, write_part
from hardiness.store.part_rows import parts_that_count
from hardiness.store.parts import times_ns
from hardiness.store.records import State, key_json, load_state, to_json
from hardiness.store.station_parts import refuse_other_days, refuse_other_series, sensor_content, series_of_readings
from hardiness.units import LETTERS
from hardiness.words import count, listed


@dataclass(frozen=True, slots=True)
class Incoming:
    """Readings of one sensor that come with a file.

    Parameters
    ----------
    readings : LoggerFile
        The file, read.
    sensor : str
        Whose readings; an unknown one is created as a logger, and that is said.
    options : mapping, optional
        What the user gave with it (zone, unit, columns); part of its identity.
    """

    readings: LoggerFile
    sensor: str
    options: Mapping[str, Any] | None = None


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
    return add_together(folder, [Incoming(readings, sensor, options)], upload, name=name)[0]


def add_together(
    folder: TrialFolder, incoming: Sequence[Incoming], upload: Path | bytes, *, name: str | None = None
) -> list[Intake]:
    """Take in the readings of several sensors that come with one file: all of them, or none.

    Parameters
    ----------
    folder : TrialFolder
        The trial.
    incoming : sequence of Incoming
        The readings of each sensor.
    upload : Path or bytes
        The file as it came.
    name : str, optional
        The file's name; None: the name of ``upload``.

    Returns
    -------
    list of Intake
        One for each of ``incoming``.

    Raises
    ------
    InputError
        If one has no readings, two are of one sensor, or some contradict readings that are there: their rows are named.
    StoreError
        If the machine could not store them; nothing was stored.
    """
    file = _file_name(upload, name)
    checked = _checked(incoming, file)
    sha256 = hash_upload(upload)
    with folder.database.write() as connection:
        weighed = _weigh(connection, folder, checked, sha256, file)
        if any(one.agreement is not None for one in weighed):
            keep_upload(folder, upload, sha256)
        return [_take(connection, folder, one, sha256) for one in weighed]


def would_add(
    folder: TrialFolder, incoming: Sequence[Incoming], upload: Path | bytes, *, name: str | None = None
) -> list[Intake]:
    """Tell what would come of :func:`add_together`, and store nothing.

    Parameters
    ----------
    folder : TrialFolder
        The trial.
    incoming : sequence of Incoming
        The readings of each sensor.
    upload : Path or bytes
        The file as it came.
    name : str, optional
        The file's name; None: the name of ``upload``.

    Returns
    -------
    list of Intake

    Raises
    ------
    InputError
        As :func:`add_together` would.
    """
    file = _file_name(upload, name)
    checked = _checked(incoming, file)
    sha256 = hash_upload(upload)
    with folder.database.read() as connection:
        told = []
        for one in _weigh(connection, folder, checked, sha256, file):
            if one.agreement is None:
                told.append(_repeated(connection, folder, one, sha256))
            else:
                known = int(one.agreement.known.sum())
                told.append(Intake(READINGS_TABLE, file, sha256, one.rows.times.size - known, unchanged=known,
                                   said=_say_known(one, known), sensor=one.rows.sensor))  # fmt: skip
        return told


@dataclass(frozen=True, slots=True)
class _Weighed:
    """Readings held against what is there: repeated (no agreement was looked for), or to be taken."""

    readings: LoggerFile
    rows: FileReadings
    given: str
    earlier: Any
    agreement: Agreement | None


def _file_name(upload: Path | bytes, name: str | None) -> str:
    return name if name is not None else upload.name if isinstance(upload, Path) else "readings"


def _checked(incoming: Sequence[Incoming], file: str) -> list[Incoming]:
    """See that all have a sensor of their own, and readings."""
    problems: list[Problem | str] = []
    checked: dict[str, Incoming] = {}
    for one in incoming:
        try:
            sensor = parse_sensor(one.sensor)
        except RefusedError as error:
            problems.append(Problem(f"sensor {error.found}", error.accepted, file=file))
            continue
        if sensor in checked:
            problems.append(Problem(f"sensor {quote(sensor)} named twice", "another sensor for each", file=file))
        air = one.readings.air_temperature
        if air.size == 0 or not np.isfinite(air.values).all():
            problems.append(Problem(f"{int(np.isfinite(air.values).sum())} readings among {air.size} rows",
                                    "readings, each a time and a temperature", file=file))  # fmt: skip
        checked[sensor] = Incoming(one.readings, sensor, one.options)
    if problems:
        raise InputError(problems)
    return list(checked.values())


def _weigh(
    connection: sa.Connection, folder: TrialFolder, incoming: Sequence[Incoming], sha256: str, file: str
) -> list[_Weighed]:
    """Hold all against what is there; every contradiction of any of them is told."""
    problems: list[Problem | str] = []
    weighed = []
    for one in incoming:
        air, given = one.readings.air_temperature, options_json(one.options)
        rows = FileReadings(
            times_ns(air["time"].values),
            np.asarray(air.values, np.float64),
            np.asarray(one.readings.rows, np.int64),
            float(one.readings.resolution_c),
            file,
            one.sensor,
        )
        earlier, agreement = same_file(connection, sha256, READINGS_TABLE, one.sensor, given), None
        if earlier is None:
            there = parts_that_count(connection, folder, one.sensor)
            try:
                refuse_other_series(series_of_readings(one.readings), there, sensor=one.sensor, file=file)
                stamps = times_ns(one.readings.air_temperature["time"].to_numpy())
                refuse_other_days(stamps, one.readings.timezone, there, sensor=one.sensor, file=file)
                agreement = compare(rows, there, folder.settings.units)
                problems.extend(agreement.problems)
            except InputError as error:
                problems.extend(error.problems)
        weighed.append(_Weighed(one.readings, rows, given, earlier, agreement))
    if problems:
        raise InputError(problems)
    return weighed


def _take(connection: sa.Connection, folder: TrialFolder, one: _Weighed, sha256: str) -> Intake:
    """Write a part and the rows that name it; the upload is there already."""
    if one.agreement is None:
        return _repeated(connection, folder, one, sha256)
    readings, rows, sensor, file = one.readings, one.rows, one.rows.sensor, one.rows.name
    state = load_state(connection, ("sensors", "plants"))
    content = sensor_content(readings)
    said = [*readings.said, *_create_sensor(connection, folder, sensor, state, content)]
    part, at = part_name(sha256, sensor, one.given), now_text()
    place = _place_of(folder, state["sensors"].get((sensor,), content))
    write_whole(
        folder.readings / part,
        lambda path: write_part(path, readings, sensor=sensor, sha256=sha256, place=place, at=at),
    )
    size = rows.times.size
    intake = insert_intake(connection, folder, table=READINGS_TABLE, sha256=sha256, file=file, sensor=sensor,
                            options=one.given, rows=size)  # fmt: skip
    connection.execute(
        sa.insert(PARTS).values(
            intake_id=intake, sensor=sensor, file=part, readings=size, first_ns=int(rows.times.min()),
            last_ns=int(rows.times.max()), resolution_c=rows.resolution_c, unit=readings.unit,
            timezone=readings.timezone, timezone_from=readings.timezone_from,
        )
    )  # fmt: skip
    known = int(one.agreement.known.sum())
    note_act(connection, who=folder.who, action="add file", table=READINGS_TABLE, sha256=sha256, file=file,
             new=to_json({"sensor": sensor, "added": size - known, "known": known}))  # fmt: skip
    said += _say_known(one, known)
    return Intake(READINGS_TABLE, file, sha256, size - known, unchanged=known, said=said, sensor=sensor)


def _repeated(connection: sa.Connection, folder: TrialFolder, one: _Weighed, sha256: str) -> Intake:
    state = load_state(connection, ("sensors", "plants"))
    said = [*one.readings.said, *say_repeated(connection, one.earlier, state)]
    said += _say_kept_without(connection, folder, one, sha256)
    return Intake(
        READINGS_TABLE, one.rows.name, sha256, unchanged=one.rows.times.size, repeated=True, said=said,
        sensor=one.rows.sensor,
    )  # fmt: skip


def _say_kept_without(connection: sa.Connection, folder: TrialFolder, one: _Weighed, sha256: str) -> list[str]:
    """Say that a file was taken in when humidity was not yet read, and what takes it in with it."""
    own = [part for part in parts_that_count(connection, folder, one.rows.sensor) if part.sha256 == sha256]
    kept = {condition for part in own for condition in conditions_of(part)}
    missing = [each for each in one.readings.conditions if own and each not in kept]
    so_anyway = {
        "unit": f"--unit {LETTERS[one.readings.unit].upper()}",
        "temperature_column": f"--temperature-column {shlex.quote(one.readings.temperature_column)}",
        "time_column": f"--time-column {shlex.quote(one.readings.time_column)}",
    }
    options = [option for key, option in so_anyway.items() if f'"{key}"' not in one.given]
    if not missing or not options:
        return []
    what = listed([CONDITIONS[each].short_name for each in missing])
    sentence = (
        f"Its {what} was not kept when it was first taken in; {options[0]}, which changes nothing else, has it kept."
    )
    return [sentence]


def _say_known(one: _Weighed, known: int) -> list[str]:
    taken = count(one.rows.times.size, "reading")
    sentence = f"{known:,} of {taken} of {one.rows.name} agree with what was there already; the first ones stay."
    return [sentence] if known else []


def _create_sensor(
    connection: sa.Connection, folder: TrialFolder, sensor: str, state: State, content: Mapping[str, Any]
) -> list[str]:
    """Create an unknown sensor, under an intake of its own: withdrawing the readings leaves it known."""
    if (sensor,) in state["sensors"]:
        return []
    intake = insert_intake(connection, folder, table="sensors", sensor=sensor, rows=1)
    connection.execute(
        sa.insert(VERSIONS).values(intake_id=intake, table_name="sensors", key=key_json((sensor,)),
                                   content=to_json(dict(content)), withdrawn=False)
    )  # fmt: skip
    after = load_state(connection, ("sensors",))
    note_rows(connection, who=folder.who, action="create", table="sensors", keys=[(sensor,)], before=state, after=after)
    awaited = named_in(state)  # plants may name a sensor before its readings come
    near = None if sensor in awaited else near_name(sensor, sorted({*awaited, *(key[0] for key in state["sensors"])}))
    return [f"Sensor {quote(sensor)} is new: it was created as a {content['kind']}.{' ' + near if near else ''}"]


def _place_of(folder: TrialFolder, sensor: Mapping[str, Any]) -> tuple[float, float]:
    """Give latitude and longitude: the sensor's, else the trial's, else unknown."""
    for place in ((sensor.get("latitude"), sensor.get("longitude")),
                  (folder.settings.latitude, folder.settings.longitude)):  # fmt: skip
        if place[0] is not None and place[1] is not None:
            return float(place[0]), float(place[1])
    return math.nan, math.nan
