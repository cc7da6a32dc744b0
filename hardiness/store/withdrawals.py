"""Withdrawing and its undoing: rows named by a file, or all that came with an upload. Nothing is deleted."""

from __future__ import annotations

import difflib
import json
import re
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from hardiness.errors import InputError, Problem
from hardiness.read.keys import key_text
from hardiness.read.records import Records
from hardiness.read.references import DeathSettled
from hardiness.schema import RECORD_TABLES, Table
from hardiness.store.agreement import FileReadings, compare
from hardiness.store.awaited import say_missed
from hardiness.store.database import INTAKES, VERSIONS
from hardiness.store.folder import TrialFolder
from hardiness.store.history import note_act, note_rows
from hardiness.store.intake import READINGS_TABLE
from hardiness.store.part_rows import parts_of_intake, parts_that_count
from hardiness.store.parts import Part, read_part, read_rows
from hardiness.store.records import Change, Key, State, changes_between, to_json
from hardiness.store.snapshot import refuse_problems, take_snapshot
from hardiness.store.station_parts import refuse_other_days, refuse_other_series, series_and_zone
from hardiness.store.versions import mark_versions, versions_of
from hardiness.words import count

_SHORTEST = 4  # characters of a SHA-256 that may name an upload
_MOST_LISTED = 20  # rows that rest on what is withdrawn; the whole register would fill the screen
_HINTS = 25  # near rows are looked for this often


@dataclass(frozen=True, slots=True)
class Withdrawal:
    """What came of withdrawing, or of undoing it.

    Parameters
    ----------
    count : int
        Rows (or readings) that changed: stopped counting, or count again.
    said : list of str
        Sentences for the user.
    gone, back : list of tuple
        Of an upload: keys of rows that counted and do not now, and the other way round.
    changed : list of Change
        Of an upload: values that are others now.
    parts : list of Part
        Of an upload: its stretches of readings.
    missed : list of str
        Of an upload: the sentences in ``said`` on what other records name and miss now.
    """

    count: int
    said: list[str] = field(default_factory=list)
    gone: list[Key] = field(default_factory=list)
    back: list[Key] = field(default_factory=list)
    changed: list[Change] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)


def withdraw_rows(
    folder: TrialFolder, records: Records, *, undo: bool = False, death_settled: DeathSettled | None = None
) -> Withdrawal:
    """Withdraw the rows whose keys a file names, or have them count again.

    Parameters
    ----------
    folder : TrialFolder
        The trial.
    records : Records
        The file; only its keys matter.
    undo : bool, default False
        Undo an earlier withdrawal.
    death_settled : callable, optional
        See :func:`hardiness.read.references.check_references`.

    Returns
    -------
    Withdrawal

    Raises
    ------
    InputError
        If a row is not known, or if others need it: nothing was changed. Sensors that plants name may go.
    StoreError
        If the machine could not store it.
    """
    table, keys = records.table, list(dict.fromkeys(records.keys))
    with folder.database.write() as connection:
        versions = versions_of(connection, table.name, keys)
        before = take_snapshot(connection)
        beside = [*records.problems, *_unknown(records, {key for _, key, _ in versions}, before.state)]
        marked = [number for number, _, withdrawn in versions if withdrawn == undo]
        mark_versions(connection, marked, withdrawn=not undo)
        after = take_snapshot(connection)
        refuse_problems(before, after, settings=folder.settings, death_settled=death_settled, beside=beside,
                        most=_MOST_LISTED)  # fmt: skip
        old, new = before.state[table.name], after.state[table.name]
        changed = [key for key in keys if old.get(key) != new.get(key)]
        note_rows(connection, who=folder.who, action="undo withdraw" if undo else "withdraw", table=table.name,
                  keys=changed, before=before.state, after=after.state, file=records.file)  # fmt: skip
    said = [*_say_rows(table, keys, changed, after.state, undo=undo), *say_missed(before, after)]
    return Withdrawal(len(changed), said)


def _unknown(records: Records, known: set[Key], state: State) -> list[Problem]:
    table = records.table
    unknown = [(row, key) for row, key in zip(records.rows, records.keys, strict=True) if key not in known]
    return [
        Problem(f"{key_text(table, key)}, never added", f"rows of {table.name}", file=records.file, row=row,
                hint=_near_row(table, key, state) if index < _HINTS else None)
        for index, (row, key) in enumerate(unknown)
    ]  # fmt: skip


def _near_row(table: Table, key: Key, state: State) -> str | None:
    """Offer the row whose key is closest; where keys have several parts, among those with the same first part."""
    rows = [there for there in state[table.name] if len(key) == 1 or there[0] == key[0]]
    close = difflib.get_close_matches(key_text(table, key), [key_text(table, there) for there in rows], n=1)
    return f"Did you mean {close[0]}?" if close else None


def _say_rows(table: Table, keys: list[Key], changed: list[Key], after: State, *, undo: bool) -> list[str]:
    said = []
    if changed:
        said.append(f"{count(len(changed), 'row')} of {table.name} {'came back' if undo else 'stopped counting'}.")
    rest = [key for key in keys if key not in set(changed)]
    counting = sum(key in after[table.name] for key in rest)
    if counting:
        said.append(f"Counting already, so nothing has changed: {count(counting, 'row')} of {table.name}.")
    if len(rest) > counting:
        others = f"{count(len(rest) - counting, 'row')} of {table.name}"
        said.append(
            f"Still withdrawn, with the upload that brought them: {others}. To undo that: hardiness withdraw upload "
            f"HASH --undo."
            if undo
            else f"Withdrawn before, so nothing has changed: {others}."
        )
    return said


def withdraw_upload(
    folder: TrialFolder,
    sha_prefix: str,
    *,
    undo: bool = False,
    why: str = "",
    rehearse: bool = False,
    death_settled: DeathSettled | None = None,
) -> Withdrawal:
    """Withdraw all that came with an upload, or have it count again.

    Parameters
    ----------
    folder : TrialFolder
        The trial.
    sha_prefix : str
        The upload's SHA-256, or its first characters.
    undo : bool, default False
        Undo an earlier withdrawal.
    why : str
        Kept in the history with who and when.
    rehearse : bool, default False
        Only tell what would come of it, and store nothing.
    death_settled : callable, optional
        See :func:`hardiness.read.references.check_references`.

    Returns
    -------
    Withdrawal

    Raises
    ------
    InputError
        If no upload or several begin so; if others need its rows; if its readings would contradict others.
    StoreError
        If the machine could not store it.
    """
    with folder.database.rehearse() if rehearse else folder.database.write() as connection:
        return _turn_upload(connection, folder, sha_prefix, undo, why, death_settled)


def _turn_upload(
    connection: sa.Connection,
    folder: TrialFolder,
    sha_prefix: str,
    undo: bool,
    why: str,
    death_settled: DeathSettled | None,
) -> Withdrawal:
    sha256, intakes = _intakes_of(connection, sha_prefix)
    turned = [intake for intake in intakes if bool(intake.withdrawn) == undo]
    if not turned:
        return Withdrawal(0, [f"Upload {sha256[:12]} ('{intakes[0].file}') {'counts' if undo else 'is withdrawn'} "
                              f"already: nothing has changed."])  # fmt: skip
    before = take_snapshot(connection)
    numbers = [int(intake.id) for intake in turned]
    if undo:
        _refuse_contradictions(connection, folder, turned)
    connection.execute(sa.update(INTAKES).where(INTAKES.c.id.in_(numbers)).values(withdrawn=not undo))
    after = take_snapshot(connection)
    refuse_problems(before, after, settings=folder.settings, death_settled=death_settled, most=_MOST_LISTED)
    action = "undo withdraw upload" if undo else "withdraw upload"
    told = Withdrawal(sum(int(intake.rows) for intake in turned))
    for intake in turned:
        note = {"rows": intake.rows} | ({"why": why.strip()} if why.strip() else {})
        note_act(connection, who=folder.who, action=action, table=intake.table_name, sha256=sha256,
                 file=intake.file, new=to_json(note))  # fmt: skip
        if intake.table_name in RECORD_TABLES:
            _note_changed_rows(connection, folder, intake, before.state, after.state, action)
        told.said.append(_say_upload(intake, before.state, after.state, undo=undo))
        told.parts.extend(parts_of_intake(connection, folder, int(intake.id)))
    for table in dict.fromkeys(intake.table_name for intake in turned if intake.table_name in RECORD_TABLES):
        added, changed, gone = changes_between(before.state, after.state, table)
        told.back.extend(added)
        told.changed.extend(changed)
        told.gone.extend(gone)
    told.missed.extend(say_missed(before, after))
    told.said.extend(told.missed)
    return told


def _note_changed_rows(
    connection: sa.Connection, folder: TrialFolder, intake: Any, before: State, after: State, action: str
) -> None:
    table = intake.table_name
    texts = connection.scalars(sa.select(VERSIONS.c.key).where(VERSIONS.c.intake_id == intake.id))
    keys = [tuple(json.loads(text)) for text in texts]
    changed = [key for key in keys if before[table].get(key) != after[table].get(key)]
    note_rows(connection, who=folder.who, action=action, table=table, keys=changed, before=before, after=after,
              sha256=intake.sha256, file=intake.file)  # fmt: skip


def _say_upload(intake: Any, before: State, after: State, *, undo: bool) -> str:
    verb = "came back" if undo else "stopped counting"
    if intake.table_name == READINGS_TABLE:
        return f"{count(intake.rows, 'reading')} of sensor '{intake.sensor}' from '{intake.file}' {verb}."
    added, changed, gone = changes_between(before, after, intake.table_name)
    others = count(len({change.key for change in changed}), "row")
    rows = count(len(added) if undo else len(gone), "row")
    if undo:
        return f"'{intake.file}' {verb}: {rows} of {intake.table_name} came back, {others} changed."
    return f"'{intake.file}' {verb}: {rows} of {intake.table_name} dropped out, {others} went back to an earlier state."


def _intakes_of(connection: sa.Connection, sha_prefix: str) -> tuple[str, list[Any]]:
    prefix = sha_prefix.strip().lower()
    accepted = f"the first {_SHORTEST} or more characters of an upload's SHA-256"
    if not re.fullmatch(rf"[0-9a-f]{{{_SHORTEST},64}}", prefix):
        raise InputError(Problem(f"'{sha_prefix}'", accepted))
    query = sa.select(INTAKES).where(INTAKES.c.sha256.like(f"{prefix}%")).order_by(INTAKES.c.id)
    intakes = list(connection.execute(query).all())
    found = sorted({intake.sha256 for intake in intakes})
    if not found:
        raise InputError(Problem(f"'{sha_prefix}', which no upload begins with", accepted))
    if len(found) > 1:
        shown = ", ".join(sha256[: len(prefix) + 8] for sha256 in found[:5])
        raise InputError(Problem(f"'{sha_prefix}', which {len(found)} uploads begin with ({shown})", accepted))
    return found[0], intakes


def _refuse_contradictions(connection: sa.Connection, folder: TrialFolder, intakes: list[Any]) -> None:
    """Refuse to bring readings back that contradict what has been added since, or each other."""
    problems: list[Problem | str] = []
    waiting = [int(intake.id) for intake in intakes]
    counted: dict[str, list[Part]] = {}
    for intake in intakes:
        for part in parts_of_intake(connection, folder, int(intake.id)):
            others = counted.setdefault(part.sensor, parts_that_count(connection, folder, part.sensor, without=waiting))
            series, zone = series_and_zone(part)
            refuse_other_series(series, others, sensor=part.sensor, file=intake.file)
            times, values = read_part(part)
            if zone is not None:
                refuse_other_days(times, zone, others, sensor=part.sensor, file=intake.file)
            readings = FileReadings(times, values, read_rows(part), part.resolution_c, intake.file, part.sensor)
            problems.extend(compare(readings, others, folder.settings.units).problems)
            others.append(part)
    if problems:
        raise InputError(problems)
