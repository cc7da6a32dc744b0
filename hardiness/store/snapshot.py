"""The records as they stand inside a transaction: taken before and after a change, and held against each other."""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from hardiness.errors import InputError, Problem
from hardiness.read.records import Records
from hardiness.read.references import DeathSettled, check_references
from hardiness.settings import Settings
from hardiness.store.database import INTAKES, PARTS, VERSIONS
from hardiness.store.folder import TrialFolder
from hardiness.store.part_rows import parts_that_count
from hardiness.store.records import State, counting, frames_of, load_state


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What counts at one moment.

    Parameters
    ----------
    state : dict
        The records, by table and key.
    with_readings : frozenset of str
        Sensors that have readings.
    """

    state: State
    with_readings: frozenset[str]


def take_snapshot(connection: sa.Connection) -> Snapshot:
    """Take what counts now.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.

    Returns
    -------
    Snapshot
    """
    sensors = (
        sa.select(PARTS.c.sensor)
        .distinct()
        .join(INTAKES, INTAKES.c.id == PARTS.c.intake_id)
        .where(INTAKES.c.withdrawn.is_(sa.false()))
    )
    return Snapshot(load_state(connection), frozenset(connection.scalars(sensors)))


def state_token(connection: sa.Connection, folder: TrialFolder, without: Sequence[str] = ()) -> str:
    """Give a hash of all that counts now: while it stays, every result stays.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    folder : TrialFolder
        The trial.
    without : sequence of str
        Tables of records that are left out.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    digest = hashlib.sha256()
    records = (
        sa.select(VERSIONS.c.table_name, VERSIONS.c.key, VERSIONS.c.content)
        .join(INTAKES, INTAKES.c.id == VERSIONS.c.intake_id)
        .where(*counting(), VERSIONS.c.table_name.not_in(list(without)))
        .order_by(VERSIONS.c.id)
    )
    for row in connection.execute(records):
        digest.update("\x00".join(row).encode() + b"\x01")
    for part in parts_that_count(connection, folder):
        digest.update(f"{part.sensor}\x00{part.path.name}\x01".encode())
    return digest.hexdigest()


def refuse_problems(
    before: Snapshot,
    after: Snapshot,
    *,
    settings: Settings,
    source: Records | None = None,
    death_settled: DeathSettled | None = None,
    beside: Sequence[Problem] = (),
    most: int | None = None,
) -> None:
    """Raise where a change would leave the records at odds with each other.

    Parameters
    ----------
    before, after : Snapshot
        Around the change.
    settings : Settings
        The trial's.
    source : Records, optional
        The file that makes the change.
    death_settled : callable, optional
        See :func:`hardiness.read.references.check_references`.
    beside : sequence of Problem
        What is wrong already: listed with the rest, and raised in any case.
    most : int, optional
        Of so many rows that no file names the problem is listed, the others are counted.

    Raises
    ------
    InputError
        With every problem that the change would make.
    """
    check = functools.partial(
        check_references,
        frames_of(after.state),
        settings=settings,
        source=source,
        death_settled=death_settled,
    )
    found = check()  # where all is well, whatever it was before: the usual case, and half the work
    if found:
        found = check(before=frames_of(before.state))
    if not found and not beside:
        return
    problems = [*beside, *(problem for problem in found if problem.row is not None)]
    problems.sort(key=lambda problem: problem.row if isinstance(problem.row, int) else 0)
    others = [problem for problem in found if problem.row is None]
    left = len(others) - len(others[:most])
    raise InputError([*problems, *others[:most], *([f"And {left:,} more rows like these."] if left else [])])
