"""Which parts of readings count, and what the records know of them: nothing here opens a part.

A part counts while its upload is not withdrawn.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import sqlalchemy as sa

from hardiness.store.database import INTAKES, PARTS
from hardiness.store.folder import TrialFolder
from hardiness.store.parts import Part
from hardiness.weather.extents import Extent


def parts_that_count(
    connection: sa.Connection, folder: TrialFolder, sensor: str | None = None, *, without: Sequence[int] = ()
) -> list[Part]:
    """List the parts whose upload is not withdrawn, in the order of their intake.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    folder : TrialFolder
        The trial.
    sensor : str, optional
        Only this one's.
    without : sequence of int
        Intakes to leave out.

    Returns
    -------
    list of Part
    """
    own = [] if sensor is None else [PARTS.c.sensor == sensor]
    return _select(connection, folder, INTAKES.c.withdrawn.is_(sa.false()), INTAKES.c.id.not_in(list(without)), *own)


def parts_of_intake(connection: sa.Connection, folder: TrialFolder, intake: int) -> list[Part]:
    """List the parts that an intake brought, whether they count or not.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    folder : TrialFolder
        The trial.
    intake : int
        Its number.

    Returns
    -------
    list of Part
    """
    return _select(connection, folder, PARTS.c.intake_id == intake)


def last_timezone(connection: sa.Connection, sensor: str) -> str | None:
    """Give the zone that was last chosen by option for a sensor's files that count.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    sensor : str
        Its name.

    Returns
    -------
    str or None
        None where no zone was ever chosen for it.
    """
    query = (
        sa.select(PARTS.c.timezone)
        .join(INTAKES, INTAKES.c.id == PARTS.c.intake_id)
        .where(PARTS.c.sensor == sensor, PARTS.c.timezone_from == "option", INTAKES.c.withdrawn.is_(sa.false()))
        .order_by(PARTS.c.intake_id.desc())
        .limit(1)
    )
    zone = connection.scalar(query)
    return None if zone is None else str(zone)


def last_options(connection: sa.Connection, sensor: str) -> dict[str, str]:
    """Give the options that were last given with a sensor's files that count, each as it was given last.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    sensor : str
        Its name.

    Returns
    -------
    dict of str to str
        By name; empty where none was ever given.
    """
    query = (
        sa.select(INTAKES.c.options)
        .join(PARTS, PARTS.c.intake_id == INTAKES.c.id)
        .where(PARTS.c.sensor == sensor, INTAKES.c.withdrawn.is_(sa.false()))
        .order_by(INTAKES.c.id)
    )
    given: dict[str, str] = {}
    for options in connection.scalars(query):
        given |= {name: value for name, value in json.loads(options).items() if isinstance(value, str)}
    return given


def extent_of_parts(parts: Sequence[Part]) -> Extent:
    """Tell from the records alone from when to when the parts of one sensor reach, and how many readings they hold.

    Parameters
    ----------
    parts : sequence of Part
        One or more.

    Returns
    -------
    Extent
        ``exact`` where no two parts reach into each other: within a part every reading has a time of its own.
    """
    in_time = sorted(parts, key=lambda part: part.first_ns)
    apart = all(one.last_ns < other.first_ns for one, other in pairwise(in_time))
    first, last = in_time[0].first_ns, max(part.last_ns for part in parts)
    instants = (np.datetime64(first, "ns"), np.datetime64(last, "ns"))
    return Extent(sum(part.readings for part in parts), *instants, exact=apart)


def _select(connection: sa.Connection, folder: TrialFolder, *wanted: sa.ColumnElement[bool]) -> list[Part]:
    query = (
        sa.select(PARTS, INTAKES.c.sha256, INTAKES.c.file.label("upload"))
        .join(INTAKES, INTAKES.c.id == PARTS.c.intake_id)
        .where(*wanted)
        .order_by(PARTS.c.intake_id)
    )
    return [_part(row, folder) for row in connection.execute(query)]


def _part(row: Any, folder: TrialFolder) -> Part:
    return Part(
        sensor=row.sensor,
        path=folder.readings / row.file,
        sha256=row.sha256,
        upload=row.upload,
        resolution_c=float(row.resolution_c),
        first_ns=int(row.first_ns),
        last_ns=int(row.last_ns),
        readings=int(row.readings),
    )
