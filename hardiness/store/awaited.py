"""Names in a table that nothing else in the trial knows yet: no fault, but said, since one may be mistyped.

Sensors that plants name often have their readings long after; a block may be new; a copy may be of a seedling that
was never registered. Mistyped, each would be found out only by plants without freezes of their own, or not at all.
"""

from __future__ import annotations

from collections.abc import Iterable

from hardiness.errors import near_name
from hardiness.read.labels import quote, sensor_names
from hardiness.read.records import Records
from hardiness.schema import FREEZE_NOTES, PLANTS, SENSORS
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


def say_awaited(records: Records, before: Snapshot, after: Snapshot) -> list[str]:
    """Say which names of a file are not known yet, and which notes lose their block by it.

    Parameters
    ----------
    records : Records
        The file; only plants and sensors name others.
    before, after : Snapshot
        What counts before and once the file is taken in.

    Returns
    -------
    list of str
        A sentence for each such sensor, block, plant copied and note, with a near name where there is one.
    """
    if records.table.name == SENSORS.name:
        standing = _blocks(after.state, PLANTS.name)
        return _say_blocks(records, "sensor", standing, "no plant stands") + _say_notes(before, after)
    if records.table.name != PLANTS.name:
        return []
    named = sensors_named(zip(records.frame["plant"], records.frame["sensor"], strict=True))
    said = _say(named, known=_known(after), lost=set())
    said += _say_blocks(records, "plant", _blocks(after.state, SENSORS.name), "no sensor hangs")
    return said + _say_copies(records, after.state) + _say_notes(before, after)


def _blocks(state: State, *tables: str) -> set[str]:
    return {row["block"] for table in tables for row in state[table].values() if row.get("block")}


def _say_blocks(records: Records, noun: str, known: set[str], lacking: str) -> list[str]:
    """Say which blocks of a file's rows the other table lacks; nothing where that one names no blocks at all."""
    where: Named = {}
    named = records.frame["sensor"]  # a plant that names its sensors needs none in its block
    for name, block, sensor in zip(records.frame[noun], records.frame["block"], named, strict=True):
        if known and block and block not in known:
            names = where.setdefault(block, [])
            names += [name] if noun == "sensor" or not sensor or near_name(block, sorted(known)) else []
    where = {block: names for block, names in where.items() if names}
    said = []
    for block, names in list(where.items())[:_MOST_SAID]:
        whose = f"{noun} {quote(names[0])}" if len(names) == 1 else count(len(names), noun)
        said.append(f"Block {quote(block)} of {whose} is one where {lacking}.{_hint(block, known)}")
    if more := len(where) - len(said):
        said.append(f"In {count(more, 'more block')} {lacking}.")
    return said


def _say_copies(records: Records, state: State) -> list[str]:
    known = {key[0] for key in state[PLANTS.name]}
    copies = records.frame[["plant", "copy_of"]].itertuples(index=False)
    unknown = [(plant, of) for plant, of in copies if of and of not in known]
    said = [
        f"Plant {quote(plant)} is a copy of {quote(of)}, which is no plant here.{_hint(of, known)}"
        for plant, of in unknown[:_MOST_SAID]
    ]
    if more := len(unknown) - len(said):
        said.append(f"The same holds of {count(more, 'more plant')} and what they are copies of.")
    return said


def _say_notes(before: Snapshot, after: Snapshot) -> list[str]:
    """Say which notes on freezes are about a block where nothing stands any more: they set nothing aside."""
    had, has = (_blocks(snapshot.state, PLANTS.name, SENSORS.name) for snapshot in (before, after))
    notes = after.state[FREEZE_NOTES.name]
    lost = [(first, block) for first, _, block in notes if block in had - has]
    said = [
        f"The freeze note from {first} is about block {quote(block)}, where nothing stands any more: it has no effect."
        for first, block in lost[:_MOST_SAID]
    ]
    if more := len(lost) - len(said):
        said.append(f"The same holds of {count(more, 'more freeze note')}.")
    return said


def _hint(name: str, known: Iterable[str]) -> str:
    near = near_name(name, sorted(known))
    return f" {near}" if near else ""


def say_missed(before: Snapshot, after: Snapshot) -> list[str]:
    """Say what a withdrawal, or its undoing, leaves without what it names: sensors of plants, blocks of notes.

    Parameters
    ----------
    before, after : Snapshot
        Around the change; what was so before it is not said again.

    Returns
    -------
    list of str
        A sentence for each such sensor and note.
    """
    had, known = _known(before), _known(after)
    missed_before = {sensor: set(plants) for sensor, plants in named_in(before.state).items() if sensor not in had}
    missed: Named = {}
    for sensor, plants in named_in(after.state).items():
        if new := [plant for plant in plants if plant not in missed_before.get(sensor, ())]:
            missed[sensor] = new
    return _say(missed, known=known, lost=had - known) + _say_notes(before, after)


def _known(snapshot: Snapshot) -> set[str]:
    return {key[0] for key in snapshot.state[SENSORS.name]} | snapshot.with_readings


def _say(named: Named, *, known: set[str], lost: set[str]) -> list[str]:
    unknown = [sensor for sensor in named if sensor not in known]
    said = []
    for sensor in unknown[:_MOST_SAID]:
        plants = named[sensor]
        whose = f"plant {quote(plants[0])}" if len(plants) == 1 else count(len(plants), "plant")
        since = "any more" if sensor in lost else "yet"
        hint = "" if sensor in lost else _hint(sensor, known)
        said.append(f"Sensor {quote(sensor)} of {whose} has no record and no readings {since}.{hint}")
    if more := len(unknown) - len(said):
        said.append(f"Of {count(more, 'more sensor')} that plants name there is no record and no reading.")
    return said
