"""Taking a records file in: checked against what is there, kept as it came, made to count by one commit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from hardiness.read.records import Records
from hardiness.read.references import DeathSettled
from hardiness.store.awaited import say_awaited
from hardiness.store.folder import TrialFolder, keep_upload, read_upload, sha256_of
from hardiness.store.history import note_act, note_rows
from hardiness.store.intake import Intake, insert_intake, options_json, same_file, say_repeated
from hardiness.store.records import State, changes_between, to_json
from hardiness.store.snapshot import refuse_problems, take_snapshot
from hardiness.store.versions import add_versions

Before = Callable[[Records, State], None]


def add_records(
    folder: TrialFolder,
    records: Records,
    upload: Path | bytes,
    *,
    options: Mapping[str, Any] | None = None,
    death_settled: DeathSettled | None = None,
    before: Before | None = None,
) -> Intake:
    """Take in a records file: all of it, or nothing.

    Parameters
    ----------
    folder : TrialFolder
        The trial.
    records : Records
        The file, read and checked.
    upload : Path or bytes
        The file as it came.
    options : mapping, optional
        What the user gave with it; part of its identity.
    death_settled : callable, optional
        See :func:`hardiness.read.references.check_references`.
    before : callable, optional
        Looks at the file and at the records as they stand, in the transaction that would take it in and before
        anything is written; what it raises is raised, and nothing is stored. Not asked about a repeated file.

    Returns
    -------
    Intake

    Raises
    ------
    InputError
        If a row refers to something unknown, or scores a settled death better, with what the records hold back;
        nothing was stored.
    StoreError
        If the machine could not store it; nothing was stored.
    """
    data = read_upload(upload)
    sha256, table, given = sha256_of(data), records.table.name, options_json(options)
    with folder.database.write() as connection:
        snapshot = take_snapshot(connection)
        earlier = same_file(connection, sha256, table, "", given)
        if earlier is not None and not records.problems:  # what was good once may be bad since: of a changed scale
            said = [*records.said, *say_repeated(connection, earlier, snapshot.state)]
            return Intake(table, records.file, sha256, unchanged=len(records.frame), repeated=True, said=said)
        if before is not None and not records.problems:
            before(records, snapshot.state)
        intake = insert_intake(
            connection, folder, table=table, sha256=sha256, file=records.file, options=given, rows=len(records.frame)
        )
        if len(records.frame):  # of a file at fault there may be no row with a good key
            add_versions(connection, intake, records)
        after = take_snapshot(connection)
        refuse_problems(snapshot, after, settings=folder.settings, source=records, death_settled=death_settled,
                        beside=records.problems)  # fmt: skip
        added, changed, _ = changes_between(snapshot.state, after.state, table)
        updated = list(dict.fromkeys(change.key for change in changed))
        unchanged = len(records.frame) - len(added) - len(updated)
        keep_upload(folder, data)
        for action, keys in (("add", added), ("update", updated)):
            note_rows(connection, who=folder.who, action=action, table=table, keys=keys, before=snapshot.state,
                      after=after.state, sha256=sha256, file=records.file)  # fmt: skip
        counts = {"added": len(added), "updated": len(updated), "unchanged": unchanged}
        note_act(connection, who=folder.who, action="add file", table=table, sha256=sha256, file=records.file,
                 new=to_json(counts))  # fmt: skip
    said = [*records.said, *say_awaited(records, snapshot, after)]
    return Intake(table, records.file, sha256, len(added), changed, unchanged, said=said)
