"""Which sensor speaks for which plant, and so which freezes each plant met.

A plant's order of sensors: those named in its ``sensor`` field, then its block's loggers by name, then the trial's only
logger, then stations by distance. For each event the first of them whose readings cover at least 80 % of the event's
span answers, also when its answer is "no freeze here"; if none does, the one that covers most. Where none has a reading
the exposure is unknown: a score is never moved to an older freeze. ``weather/speaking.py`` says who answers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.schema import EXPOSED, LEFT_OUT, column_names
from hardiness.settings import Settings
from hardiness.weather.days import local_midnights, nanoseconds
from hardiness.weather.events import set_aside
from hardiness.weather.gaps import NEVER_NS, BoolArray, IntArray
from hardiness.weather.sensors import texts
from hardiness.weather.speaking import NOBODY, find_speakers


@dataclass(frozen=True, slots=True, eq=False)
class Exposures:
    """What the plants of a trial met.

    Parameters
    ----------
    table : pandas.DataFrame
        A row per plant and freeze: plant, selection, rootstock, then the columns of freezes; sorted by plant, starts.
    unknown : pandas.DataFrame
        plant, event, starts, ends: the events of a plant's life for which no sensor in its order has a reading.
    left_out : pandas.DataFrame
        Freezes that a note sets aside, plant by plant, and plants of which no date says since when they stand.
    """

    table: pd.DataFrame
    unknown: pd.DataFrame
    left_out: pd.DataFrame


def expose_plants(
    plants: pd.DataFrame,
    scores: pd.DataFrame,
    freezes: pd.DataFrame,
    readings: Mapping[str, xr.DataArray],
    sensors: pd.DataFrame,
    freeze_notes: pd.DataFrame,
    settings: Settings,
    courses: Mapping[str, xr.DataArray] | None = None,
) -> Exposures:
    """Find the freezes that each plant met.

    A plant meets the freezes that start on or after ``planted_on`` (empty: the day of its first score) and end on or
    before ``removed_on``, days of the trial's zone. A freeze that a note sets aside is listed and not counted.

    Parameters
    ----------
    plants, scores : pandas.DataFrame
        The records tables.
    freezes : pandas.DataFrame
        As :func:`hardiness.weather.events.freezes_table` returns it.
    readings : mapping of str to xarray.DataArray
        Readings of each sensor, dims ``(time,)``, in UTC. [degC]
    sensors, freeze_notes : pandas.DataFrame
        The records tables.
    settings : Settings
        Of the trial: its zone, place and rules.
    courses : mapping of str to xarray.DataArray, optional
        Of each logger that was silent at times: its readings and what was estimated between them. [degC]

    Returns
    -------
    Exposures

    Raises
    ------
    UnitsError, InputError
        As :func:`hardiness.weather.series.to_series`.

    Examples
    --------
    >>> from datetime import date
    >>> from hardiness import schema
    >>> from hardiness.weather.events import freezes_table
    >>> time = np.datetime64("2031-12-14T18", "ns") + np.arange(5) * np.timedelta64(1, "h")
    >>> readings = {"L1": xr.DataArray([2.0, -2.0, -4.0, -2.0, 2.0], {"time": time}, attrs={"units": "degC"})}
    >>> settings = Settings("Hill", "Europe/Lisbon")
    >>> empty = {name: pd.DataFrame(columns=list(table.names)) for name, table in schema.RECORD_TABLES.items()}
    >>> plant = {"plant": "T12", "selection": "OL-07", "rootstock": "own", "planted_on": date(2030, 4, 1)}
    >>> plants = pd.DataFrame([plant]).reindex(columns=list(schema.PLANTS.names))
    >>> freezes = freezes_table(readings, empty["sensors"], settings)
    >>> met = expose_plants(
    ...     plants, empty["scores"], freezes, readings, empty["sensors"], empty["freeze_notes"], settings
    ... )
    >>> met.table[["plant", "freeze", "minimum_c"]].values.tolist()
    [['T12', '2031-12-14 L1', -4.0]]
    """
    plants, freezes = plants.reset_index(drop=True), freezes.reset_index(drop=True)
    speaking = find_speakers(plants, freezes, readings, sensors, settings, courses)
    starts, ends = nanoseconds(freezes["starts"]), nanoseconds(freezes["ends"])
    sensor = speaking.known.index.get_indexer(pd.Index(freezes["sensor"]))
    event, names, opens, closes = speaking.event, speaking.events, speaking.opens, speaking.closes
    notes = _notes_by_block(set_aside(freezes, freeze_notes, sensors, settings), plants, freezes)
    since, until = lives_of(plants, scores, settings)
    met, aside, unknown = _Pairs(), _Pairs(), _Pairs()
    for group in speaking.groups:
        members, speaker = group.members, group.speaker
        born, gone = since[members][:, None], until[members][:, None]
        not_counted = np.isin(np.arange(len(freezes)), list(notes[group.block]))
        spoken = np.flatnonzero(speaker[event] == sensor)
        inside = (starts[spoken] >= born) & (ends[spoken] <= gone)
        met.add(members, spoken, inside & ~not_counted[spoken])
        aside.add(members, spoken, inside & not_counted[spoken])
        # an event that is wholly set aside was no freeze at these plants, so nothing about it is unknown
        counted = np.bincount(event, weights=~not_counted, minlength=len(names)) > 0
        silent = np.flatnonzero((speaker == NOBODY) & counted)
        unknown.add(members, silent, (opens[silent] >= born) & (closes[silent] <= gone))
    plant, freeze = met.sorted(plants["plant"], starts)
    exposed = plants[column_names(EXPOSED)].take(plant).reset_index(drop=True)
    nowhere, silent = unknown.sorted(plants["plant"], opens)
    return Exposures(
        pd.concat([exposed, freezes.take(freeze).reset_index(drop=True)], axis=1),
        pd.DataFrame(
            {
                "plant": plants["plant"].to_numpy()[nowhere],
                "event": names[silent],
                "starts": pd.DatetimeIndex(opens[silent].astype("M8[ns]")).tz_localize("UTC"),
                "ends": pd.DatetimeIndex(closes[silent].astype("M8[ns]")).tz_localize("UTC"),
            }
        ).astype({"plant": str, "event": str}),
        _left_out(plants, freezes, since, aside.sorted(plants["plant"], starts), notes),
    )


class _Pairs:
    """Pairs of plant and freeze (or event), gathered group by group."""

    def __init__(self) -> None:
        self.plants: list[IntArray] = []
        self.others: list[IntArray] = []

    def add(self, members: IntArray, others: IntArray, paired: BoolArray) -> None:
        member, other = np.nonzero(paired)
        self.plants.append(members[member])
        self.others.append(others[other])

    def sorted(self, names: pd.Series[str], starts: IntArray) -> tuple[IntArray, IntArray]:
        nothing = np.zeros(0, dtype=np.int64)
        plants, others = np.concatenate([nothing, *self.plants]), np.concatenate([nothing, *self.others])
        rank = np.unique(names.to_numpy(dtype=object), return_inverse=True)[1]
        order = np.lexsort((starts[others], rank[plants]))  # of one start: in the order of the table, as gathered
        return plants[order], others[order]


def lives_of(plants: pd.DataFrame, scores: pd.DataFrame, settings: Settings) -> tuple[IntArray, IntArray]:
    """Give the span for which each plant stands; a plant without any date stands since never.

    Parameters
    ----------
    plants, scores : pandas.DataFrame
        The records tables.
    settings : Settings
        Of the trial: its zone.

    Returns
    -------
    since, until : ndarray of int64
        Since 1970-01-01 UTC. [ns]
    """
    scored = scores.groupby("plant")["scored_on"].min().to_dict() if len(scores) else {}
    since, until = np.full(len(plants), NEVER_NS), np.full(len(plants), NEVER_NS)
    first = [
        scored.get(plant) if pd.isna(day) else day
        for plant, day in zip(plants["plant"], plants["planted_on"], strict=True)
    ]
    for instants, days, after in ((since, first, 0), (until, list(plants["removed_on"]), 1)):
        dated = {row: day for row, day in enumerate(days) if day is not None and not pd.isna(day)}
        instants[list(dated)] = local_midnights(list(dated.values()), settings.zone, after=after)
    return since, until


def first_standing(plants: pd.DataFrame, scores: pd.DataFrame, settings: Settings) -> int | None:
    """Give the instant since when any plant stands.

    Parameters
    ----------
    plants, scores : pandas.DataFrame
        The records tables.
    settings : Settings
        Of the trial: its zone.

    Returns
    -------
    int or None
        Since 1970-01-01 UTC; None where no plant has a date. [ns]
    """
    since = lives_of(plants.reset_index(drop=True), scores, settings)[0]
    dated = since[since < NEVER_NS]
    return int(dated.min()) if dated.size else None


def _notes_by_block(aside: pd.DataFrame, plants: pd.DataFrame, freezes: pd.DataFrame) -> dict[str, dict[int, str]]:
    """For each block's plants: the rows of the freezes set aside, and why."""
    row_of = {name: row for row, name in enumerate(freezes["freeze"])}
    by_block: dict[str, dict[int, str]] = {block: {} for block in texts(plants["block"])}
    for freeze, block, note, everyone in aside[["freeze", "block", "note", "all_blocks"]].itertuples(index=False):
        for notes in by_block.values() if everyone else [by_block[block]] if block in by_block else []:
            said = notes.get(row_of[freeze], "")
            notes[row_of[freeze]] = "; ".join(text for text in (said, note) if text)
    return by_block


def _left_out(
    plants: pd.DataFrame,
    freezes: pd.DataFrame,
    since: IntArray,
    aside: tuple[IntArray, IntArray],
    notes: Mapping[str, Mapping[int, str]],
) -> pd.DataFrame:
    names, blocks, freeze_names = list(plants["plant"]), texts(plants["block"]), list(freezes["freeze"])
    rows: list[tuple[object, ...]] = []
    for plant, freeze in zip(*(pairs.tolist() for pairs in aside), strict=True):
        note = notes[blocks[plant]][freeze]
        detail = f"{freeze_names[freeze]} is set aside for {names[plant]}{': ' + note if note else ''}."
        rows.append(("freeze", names[plant], freeze_names[freeze], None, "set aside", detail))
    for plant in np.flatnonzero(since == NEVER_NS).tolist():
        detail = f"{names[plant]} has neither planted_on nor a score: nothing says which freezes it met."
        rows.append(("window", names[plant], "", None, "no planting date", detail))
    return pd.DataFrame(rows, columns=column_names(LEFT_OUT)).astype(
        {column.name: str if column.kind == "text" else object for column in LEFT_OUT}
    )
