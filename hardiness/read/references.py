"""What one records table says about another: a score needs its plant, a plant its selection, a death is final.

In: the records as they would stand after a change. Out: every :class:`~hardiness.errors.Problem` that the change
would make; what was wrong before the change is not held against it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import groupby

import pandas as pd

from hardiness.errors import Problem, near_name
from hardiness.read.keys import key_text, keys_of
from hardiness.read.labels import quote
from hardiness.read.records import Records
from hardiness.schema import CALIBRATIONS, FREEZE_NOTES, MASKS, RECORD_TABLES, SCORES, Table
from hardiness.settings import Settings

DeathSettled = Callable[[str, dt.date, dt.date], bool]
"""Whether a plant scored dead on the first date met, after that score, a freeze that lies before the second date."""

# By table: the column that names a row of another one, and which.
_NAMES = {"scores": ("plant", "plants"), "plants": ("selection", "selections"), "masks": ("sensor", "sensors"),
          "calibrations": ("sensor", "sensors")}  # fmt: skip
_BLOCKS_SHOWN = 12  # names in one message
_HINTS = 25  # near names are looked for this often: a file of another trial would otherwise take minutes


@dataclass(frozen=True, slots=True)
class _Fault:
    """A fault of the records, whatever file brought it; equal faults are the same fault before and after a change."""

    table: str
    key: tuple[str, ...]
    column: str
    found: str
    accepted: str
    hint: str | None = None
    hint_elsewhere: str | None = None  # where the row is none of the file being added
    unknown: str | None = None  # the name to find near names for, among the names of ``among``
    among: str | None = None


def check_references(
    current: Mapping[str, pd.DataFrame],
    *,
    settings: Settings,
    before: Mapping[str, pd.DataFrame] | None = None,
    source: Records | None = None,
    death_settled: DeathSettled | None = None,
) -> list[Problem]:
    """List what would be wrong between the tables after a change.

    A plant may name a sensor of which nothing is known yet: its readings come later.

    Parameters
    ----------
    current : mapping of str to pandas.DataFrame
        All records tables as they would stand after the change.
    settings : Settings
        The trial's.
    before : mapping of str to pandas.DataFrame, optional
        The tables as they stand now: what is wrong there already is not listed again.
    source : Records, optional
        The file that makes the change: its rows are named by file and row, other rows by their key.
    death_settled : callable, optional
        ``death_settled(plant, scored_dead_on, later_score_on)``: whether a freeze that the plant met has closed the
        window of the death before the later score. None: no death is settled yet.

    Returns
    -------
    list of Problem
        Empty where all is well.

    Examples
    --------
    >>> from hardiness.read.records import records_frame
    >>> from hardiness.schema import PLANTS
    >>> tables = {name: records_frame(table, []) for name, table in RECORD_TABLES.items()}
    >>> plant = {"plant": "T1", "selection": "OL-7", "rootstock": "own"}
    >>> tables["plants"] = records_frame(PLANTS, [plant])
    >>> print(check_references(tables, settings=Settings("Hill", "Europe/Lisbon"))[0])
    plants, plant 'T1', column selection: found selection 'OL-7', not in selections; accepted: ...
    """
    settled = death_settled or _never_settled
    faults = _faults(current, settings, settled)
    if before is not None and faults:
        standing = {_identity(fault) for fault in _faults(before, settings, settled)}
        faults = [fault for fault in faults if _identity(fault) not in standing]
    if source is not None:
        faults += _unknown_places(source, current)
        doubted = {(source.table.name, *cell) for cell in source.in_doubt}
        faults = [fault for fault in faults if (fault.table, fault.key, fault.column) not in doubted]
    rows = {} if source is None else dict(zip(source.keys, source.rows, strict=True))
    hints: dict[tuple[str, str], str | None] = {}
    problems = []
    for fault in faults:
        table = RECORD_TABLES[fault.table]
        in_file = source is not None and source.table.name == fault.table and fault.key in rows
        elsewhere = f"{table.name}, {key_text(table, fault.key)}"
        problems.append(
            Problem(
                fault.found,
                fault.accepted,
                file=source.file if source is not None and in_file else elsewhere,
                row=rows[fault.key] if in_file else None,
                column=fault.column,
                hint=(fault.hint or _near(fault, current, hints)) if in_file else fault.hint_elsewhere,
            )
        )
    if source is not None:
        problems += _named_without_key(source, current)
    return sorted(problems, key=lambda problem: problem.row if isinstance(problem.row, int) else 0)


def _never_settled(plant: str, death: dt.date, later: dt.date) -> bool:
    return False


def _identity(fault: _Fault) -> tuple[str, tuple[str, ...], str, str]:
    return fault.table, fault.key, fault.column, fault.found


def _near(fault: _Fault, current: Mapping[str, pd.DataFrame], hints: dict[tuple[str, str], str | None]) -> str | None:
    if fault.unknown is None or fault.among is None:
        return None
    wanted = (fault.among, fault.unknown)
    if wanted not in hints and len(hints) < _HINTS:
        known = current[fault.among][RECORD_TABLES[fault.among].key[0]]
        hints[wanted] = near_name(fault.unknown, sorted(set(known)))
    return hints.get(wanted)


def _faults(tables: Mapping[str, pd.DataFrame], settings: Settings, settled: DeathSettled) -> list[_Fault]:
    return [
        *_unknown_selections(tables["plants"], tables["selections"]),
        *_plants_out_of_time(tables["plants"]),
        *_own_copies(tables["plants"]),
        *_scores_out_of_place(tables["scores"], tables["plants"]),
        *_better_after_death(tables["scores"], settings, settled),
        *_spans_out_of_time(tables["freeze_notes"], FREEZE_NOTES),
        *_spans_out_of_time(tables["masks"], MASKS),
    ]


def _unknown_selections(plants: pd.DataFrame, selections: pd.DataFrame) -> list[_Fault]:
    unknown = plants[~plants["selection"].isin(selections["selection"])]
    return [
        _Fault("plants", (plant,), "selection", f"selection {quote(selection)}, not in selections",
               "a selection of the trial", hint_elsewhere="That row rests on it: withdraw it too, or first.",
               unknown=selection, among="selections")
        for plant, selection in zip(unknown["plant"], unknown["selection"], strict=True)
    ]  # fmt: skip


def _started(plants: pd.DataFrame) -> pd.Series:
    """Give the date from which a plant stands: set out, else grafted, else None."""
    pairs = zip(plants["planted_on"], plants["grafted_on"], strict=True)
    return pd.Series([planted or grafted for planted, grafted in pairs], index=plants.index, dtype="object")


def _plants_out_of_time(plants: pd.DataFrame) -> list[_Fault]:
    faults = []
    for plant, start, removed in zip(plants["plant"], _started(plants), plants["removed_on"], strict=True):
        if start is not None and removed is not None and start > removed:
            faults.append(
                _Fault("plants", (plant,), "removed_on", f"{removed}, before it was planted or grafted on {start}",
                       f"a date from {start} on")
            )  # fmt: skip
    return faults


def _own_copies(plants: pd.DataFrame) -> list[_Fault]:
    itself = plants[(plants["copy_of"] == plants["plant"]) & (plants["plant"] != "")]
    return [
        _Fault("plants", (plant,), "copy_of", f"{quote(plant)}, the plant itself",
               "the original seedling it was taken from, or an empty cell")
        for plant in itself["plant"]
    ]  # fmt: skip


def _scores_out_of_place(scores: pd.DataFrame, plants: pd.DataFrame) -> list[_Fault]:
    spans = dict(zip(plants["plant"], zip(_started(plants), plants["removed_on"], strict=True), strict=True))
    faults = []
    for key, plant, scored_on in zip(keys_of(scores, SCORES), scores["plant"], scores["scored_on"], strict=True):
        if plant not in spans:
            faults.append(
                _Fault("scores", key, "plant", f"plant {quote(plant)}, not in plants", "a plant of the trial",
                       hint_elsewhere="That row rests on it: withdraw it too, or first.", unknown=plant, among="plants")
            )  # fmt: skip
            continue
        start, removed = spans[plant]
        if start is not None and scored_on < start:
            faults.append(
                _Fault("scores", key, "scored_on",
                       f"{scored_on}, before plant {quote(plant)} was planted or grafted on {start}",
                       f"a date from {start} on")
            )  # fmt: skip
        if removed is not None and scored_on > removed:
            faults.append(
                _Fault("scores", key, "scored_on",
                       f"{scored_on}, after plant {quote(plant)} was removed on {removed}", f"a date up to {removed}")
            )  # fmt: skip
    return faults


def _better_after_death(scores: pd.DataFrame, settings: Settings, settled: DeathSettled) -> list[_Fault]:
    """Find better grades after a death that a later freeze has made final.

    Of several observers on one day the worst grade is the day's. A better grade before the next freeze takes the
    death back, so that only the deaths since the last better grade count.
    """
    worst = settings.worst
    dead = set(scores.loc[scores["grade"] >= worst, "plant"])
    some = scores[scores["plant"].isin(dead)].sort_values(["plant", "scored_on"], kind="stable")
    faults: list[_Fault] = []
    rows = zip(keys_of(some, SCORES), some["plant"], some["scored_on"], some["grade"], strict=True)
    for plant, plant_rows in groupby(rows, key=lambda row: str(row[1])):
        death: dt.date | None = None
        for scored_on, day_rows in groupby(plant_rows, key=lambda row: row[2]):
            day = list(day_rows)
            if any(grade >= worst for *_, grade in day):
                death = death or scored_on
                continue
            if death is not None and settled(plant, death, scored_on):
                hint = f"Withdraw the score of {death} first: hardiness withdraw scores FILE."
                elsewhere = "Only one of the two can be right: leave the other out, or withdraw it first."
                faults.extend(
                    _Fault("scores", key, "grade",
                           f"grade {grade} on {scored_on} for plant {quote(plant)}, scored dead on {death} with a "
                           f"freeze since", f"grade {worst}: that death is settled", hint, elsewhere)
                    for key, _, _, grade in day
                )  # fmt: skip
                continue  # the death stands: later better grades are refused too
            death = None
    return faults


def _spans_out_of_time(table: pd.DataFrame, layout: Table) -> list[_Fault]:
    what = "time" if layout["to"].kind == "time" else "date"
    return [
        _Fault(layout.name, key, "to", f"{last}, before {first}", f"a {what} from {first} on")
        for key, first, last in zip(keys_of(table, layout), table["from"], table["to"], strict=True)
        if first > last
    ]


def blocks_of(plants: pd.DataFrame, sensors: pd.DataFrame) -> set[str]:
    """Gather the blocks of a trial: where a plant stands, or a sensor hangs.

    Parameters
    ----------
    plants, sensors : pandas.DataFrame
        The tables.

    Returns
    -------
    set of str
    """
    return {str(block) for table in (plants, sensors) for block in table["block"] if block}


def _named_without_key(source: Records, current: Mapping[str, pd.DataFrame]) -> list[Problem]:
    """Find what rows without a good key name and the trial does not have: they can be asked nothing else."""
    column, table = _NAMES.get(source.table.name, ("", ""))
    if not source.unkeyed or not column:
        return []
    known = set(current[table][column])
    unknown = [(number, str(row[column])) for number, row in source.unkeyed if row.get(column, "") not in known | {""}]
    return [
        Problem(f"{column} {quote(name)}, not in {table}", f"a {column} of the trial", file=source.file, row=number,
                column=column, hint=near_name(name, sorted(known)) if index < _HINTS else None)
        for index, (number, name) in enumerate(unknown)
    ]  # fmt: skip


def _unknown_places(source: Records, current: Mapping[str, pd.DataFrame]) -> list[_Fault]:
    """Find sensors and blocks that rows of a file are about and the trial does not have.

    Only rows of the file are asked: what is withdrawn later, or renamed, may come back, and its rows stay.
    """
    if source.table.name in (MASKS.name, CALIBRATIONS.name):
        return _unknown_sensors(source, current["sensors"])
    if source.table.name == FREEZE_NOTES.name:
        return _unknown_blocks(source, blocks_of(current["plants"], current["sensors"]))
    return []


def _unknown_blocks(source: Records, blocks: set[str]) -> list[_Fault]:
    """Find notes on a block where nothing stands: a mistyped one would set no freeze aside, and nobody would know."""
    some = ", ".join(quote(block) for block in sorted(blocks)[:_BLOCKS_SHOWN])
    if len(blocks) > _BLOCKS_SHOWN:
        some += f" and {len(blocks) - _BLOCKS_SHOWN} more"
    known = f"a block where a plant stands or a sensor hangs ({some})" if blocks else "no block yet: add plants first"
    return [
        _Fault(source.table.name, key, "block", f"block {quote(block)}, where nothing stands",
               f"{known}; empty is the whole site", near_name(block, sorted(blocks)))
        for key, block in zip(source.keys, source.frame["block"], strict=True)
        if block and block not in blocks
    ]  # fmt: skip


def _unknown_sensors(source: Records, sensors: pd.DataFrame) -> list[_Fault]:
    """Find sensors that a file names and the trial does not have."""
    known = set(sensors["sensor"])
    return [
        _Fault(source.table.name, key, "sensor", f"sensor {quote(sensor)}, not in sensors", "a sensor of the trial",
               unknown=sensor, among="sensors")
        for key, sensor in zip(source.keys, source.frame["sensor"], strict=True)
        if sensor not in known
    ]  # fmt: skip
