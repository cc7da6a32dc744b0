"""Sensors that plants name and of which there is neither a record nor a reading: taken, and said.

Readings often come long after the plants, so that such a name is no fault; a mistyped one would be found out only by
plants without freezes of their own.
"""

from __future__ import annotations

from collections.abc import Iterable

from hardiness.errors import near_name
from hardiness.read.labels import quote, sensor_names
from hardiness.read.records import Records
from hardiness.schema import PLANTS, SENSORS
from hardiness.store.records import State
from hardiness.store.snapshot import Snapshot
from hardiness.words import count

_MOST_SAID = 20  # names; a file with another thing in its column would otherwise fill the screen

Named = dict[str, list[str]]
"""By sensor: the plants that name it."""


def sensors_named(plants: Iterable[tuple[str, str | None]]) -> Named:
    """List the sensors that plants name, in the order in which they first come.

    Parameters
    ----------
    plants : iterable of (str, str or None)
        Plant, and its ``sensor`` field.

    Returns
    -------
    dict of str to list of str
        By sensor: its plants.

    Examples
    --------
    >>> sensors_named([("T1", "L1; L2"), ("T2", "L2"), ("T3", None)])
    {'L1': ['T1'], 'L2': ['T1', 'T2']}
    """
    named: Named = {}
    for plant, text in plants:
        for sensor in dict.fromkeys(sensor_names(text or "")):
            named.setdefault(sensor, []).append(plant)
    return named


def named_in(state: State) -> Named:
    """List the sensors that the plants name that count.

    Parameters
    ----------
    state : dict
        The records, plants among them.

    Returns
    -------
    dict of str to list of str
        By sensor: its plants.
    """
    return sensors_named((key[0], row.get(SENSORS.key[0])) for key, row in state[PLANTS.name].items())


def say_awaited(records: Records, after: Snapshot) -> list[str]:
    """Say which sensors the plants of a file name that are not known yet.

    Parameters
    ----------
    records : Records
        The file; only plants name sensors.
    after : Snapshot
        What counts once the file is taken in.

    Returns
    -------
    list of str
        A sentence for each such sensor, with a near name where there is one.
    """
    if records.table.name != PLANTS.name:
        return []
    named = sensors_named(zip(records.frame["plant"], records.frame["sensor"], strict=True))
    return _say(named, known=_known(after), lost=set())


def say_missed(before: Snapshot, after: Snapshot) -> list[str]:
    """Say which sensors plants name for which a withdrawal, or its undoing, leaves neither record nor reading.

    Parameters
    ----------
    before, after : Snapshot
        Around the change; what was so before it is not said again.

    Returns
    -------
    list of str
        A sentence for each such sensor.
    """
    had, known = _known(before), _known(after)
    missed_before = {sensor: set(plants) for sensor, plants in named_in(before.state).items() if sensor not in had}
    missed: Named = {}
    for sensor, plants in named_in(after.state).items():
        if new := [plant for plant in plants if plant not in missed_before.get(sensor, ())]:
            missed[sensor] = new
    return _say(missed, known=known, lost=had - known)


def _known(snapshot: Snapshot) -> set[str]:
    return {key[0] for key in snapshot.state[SENSORS.name]} | snapshot.with_readings


def _say(named: Named, *, known: set[str], lost: set[str]) -> list[str]:
    unknown = [sensor for sensor in named if sensor not in known]
    said = []
    for sensor in unknown[:_MOST_SAID]:
        plants = named[sensor]
        whose = f"plant {quote(plants[0])}" if len(plants) == 1 else count(len(plants), "plant")
        near = None if sensor in lost else near_name(sensor, sorted(known))
        since = "any more" if sensor in lost else "yet"
        hint = f" {near}" if near else ""
        said.append(f"Sensor {quote(sensor)} of {whose} has no record and no readings {since}.{hint}")
    if more := len(unknown) - len(said):
        said.append(f"Of {count(more, 'more sensor')} that plants name there is no record and no reading.")
    return said
