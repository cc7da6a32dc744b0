"""The records as they stand inside a transaction: taken before and after a change, and held against each other."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import sqlalchemy as sa

from hardiness.errors import InputError
from hardiness.read.records import Records
from hardiness.read.references import DeathSettled, check_references
from hardiness.settings import Settings
from hardiness.store.database import INTAKES, PARTS
from hardiness.store.records import State, frames_of, load_state


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


def refuse_problems(
    before: Snapshot,
    after: Snapshot,
    *,
    settings: Settings,
    source: Records | None = None,
    death_settled: DeathSettled | None = None,
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
        sensors_with_readings=after.with_readings,
        death_settled=death_settled,
    )
    if not check():
        return  # all is well, whatever it was before: the usual case, and half the work
    problems = check(before=frames_of(before.state), sensors_with_readings_before=before.with_readings)
    if problems:
        raise InputError(problems)
