"""The rows' times as instants in UTC: which zone the logger's clock was in, and whether its clock can be right.

In: the rows with a time, what the header says, what the user says. Out: an instant a row. The file's own offset (in
the cells, else in the header) wins over the user's zone, and that over the default.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.clock import parse_zone, zone_name
from hardiness.read.dates import NO_DAY, days_of, decide_order
from hardiness.read.dialect import Dialect
from hardiness.read.faults import TIME_ACCEPTED, Faults
from hardiness.read.fields import Fields
from hardiness.read.moments import DAY, EPOCH, LARGEST_OFFSET, NO_OFFSET
from hardiness.read.summertime import to_utc

EARLIEST = np.datetime64("1990-01-01", "ns")  # no logger that writes such files is older
AHEAD = np.timedelta64(2, "D")  # a logger may be set to a zone ahead of this computer's
MINUTE = 60_000_000_000  # [ns]
RESET_HINT = "The logger's clock was probably reset or never set: correct these times, or leave the rows out."


@dataclass(frozen=True, slots=True)
class Instants:
    """When the readings were taken.

    Parameters
    ----------
    utc : numpy.ndarray of datetime64[ns]
        An instant for each row; NaT where it has a fault. [UTC]
    zone : str
        The zone or the offsets used.
    zone_from : str
        ``file``, ``option`` or ``default``.
    said : list of str
        Sentences for the user.
    problems : list of Problem or str
        What is wrong with the file as a whole.
    """

    utc: NDArray[np.datetime64]
    zone: str
    zone_from: str
    said: list[str]
    problems: list[Problem | str]


def find_instants(
    fields: Fields,
    dialect: Dialect,
    faults: Faults,
    *,
    given_zone: str | None,
    default_zone: str,
    date_order: str | None,
    now: np.datetime64,
) -> Instants:
    """Turn the times of rows into UTC.

    Parameters
    ----------
    fields : Fields
        Rows with a time.
    dialect : Dialect
        What the header says.
    faults : Faults
        Takes the rows whose time cannot be.
    given_zone : str, optional
        Zone that the user gave.
    default_zone : str
        Zone where neither file nor user names one.
    date_order : str, optional
        ``DMY``, ``MDY`` or ``YMD`` as the user gave it.
    now : numpy.datetime64
        The present. [UTC]

    Returns
    -------
    Instants
    """
    said: list[str] = []
    problems: list[Problem | str] = []
    local, sound = fields.nanoseconds, np.ones(fields.rows.size, bool)
    dated = fields.kind != EPOCH
    if dated.any():
        order = date_order or "DMY"
        try:
            decided = decide_order(
                fields.code, fields.kind, fields.nanoseconds,
                order=date_order, rows=fields.rows, file=faults.file, column=dialect.columns[dialect.time[0]],
            )  # fmt: skip
            order = decided.order
            said += [decided.said] if decided.said else []
        except InputError as error:
            return Instants(np.full(fields.rows.size, np.datetime64("NaT", "ns")), "", "", said, list(error.problems))
        local, sound = _local_times(fields, order, faults, dated)
    near = sound & _clock_may_be_right(local, now, AHEAD * 2)  # two days more: the zone is not known yet
    there = slice(None) if near.all() else near  # a view spares a copy
    offsets = fields.offset[there]
    stated = offsets != NO_OFFSET
    utc = np.full(fields.rows.size, np.datetime64("NaT", "ns"))
    zone, zone_from = "", ""
    if stated.all() and stated.size:
        utc[there] = (local[there] - offsets.astype(np.int64) * MINUTE).view("datetime64[ns]")
        names = [zone_name(timezone(timedelta(minutes=minutes))) for minutes in _different(offsets)]
        zone, zone_from = ", ".join(names), "file"
    elif stated.any():
        faults.add(fields.rows[there][~stated], "{} without an offset", "a time with its offset, as other rows have",
                   dialect.time[-1])  # fmt: skip
    elif stated.size:
        try:
            zone, zone_from, sentence = _choose_zone(dialect, given_zone, default_zone, faults.file)
            said += [sentence] if sentence else []
            utc[there] = to_utc(
                local[there].view("datetime64[ns]"), parse_zone(zone),
                rows=fields.rows[there], file=faults.file, column=dialect.time_name,
            )  # fmt: skip
        except InputError as error:
            problems.extend(error.problems)
    if zone_from == "file" and given_zone is not None and zone_name(parse_zone(given_zone)) != zone:
        said.append(f"The file itself says {zone}; the zone given ({given_zone}) was not used.")
    right = np.where(np.isnat(utc), near, _clock_may_be_right(utc.view(np.int64), now, AHEAD))
    accepted = f"a time from 1990 to now ({now.astype('datetime64[D]')})"
    faults.add(fields.rows[sound & ~right], "{}", accepted, dialect.time[0], RESET_HINT)
    return Instants(utc, zone, zone_from, said, problems)


def _different(offsets: NDArray[np.int16]) -> list[int]:
    """List the different offsets, from west to east: counted, not sorted. [min]."""
    counts = np.bincount(offsets.astype(np.int64) + LARGEST_OFFSET)
    return [int(place) - LARGEST_OFFSET for place in np.flatnonzero(counts)]


def _local_times(
    fields: Fields, order: str, faults: Faults, dated: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Add days to times of day, in ns within the reach of 64 bits; the second array tells where there is such a day."""
    changed = np.concatenate(([True], (np.diff(fields.code) != 0) | (np.diff(fields.kind) != 0)))
    runs = np.flatnonzero(changed)  # the days are worked out once for each run of rows with the same date
    days = np.repeat(days_of(fields.code[runs], fields.kind[runs], order), np.diff(np.append(runs, changed.size)))
    missing = dated & (days == NO_DAY)
    faults.add(fields.rows[missing], "{}, a day that does not exist", TIME_ACCEPTED, faults.dialect.time[0])
    sound = ~missing
    days = np.where(dated & sound, days, 0)
    reach = np.iinfo(np.int64).max // DAY - 2
    far = np.abs(days) > reach
    return np.where(far, np.sign(days) * reach, days) * DAY + fields.nanoseconds, sound


def _clock_may_be_right(nanoseconds: NDArray[np.int64], now: np.datetime64, ahead: np.timedelta64) -> NDArray[np.bool_]:
    earliest = (EARLIEST - (ahead - AHEAD)).astype(np.int64)
    latest = (now.astype("datetime64[ns]") + ahead).astype(np.int64)
    return np.asarray((nanoseconds >= earliest) & (nanoseconds <= latest))


def _choose_zone(dialect: Dialect, given: str | None, default: str, file: str) -> tuple[str, str, str | None]:
    """Choose the zone of times without an offset of their own: name, where from, and a sentence for the user."""
    stated = dict.fromkeys(zone for zone, _ in dialect.zones)
    if len(stated) == 1:
        zone, place = dialect.zones[0]
        return zone, "file", f"Times are in {zone}, as {place} says."
    if given is not None:
        several = f"The file names several zones ({', '.join(stated)}); times are taken as {given}."
        return zone_name(parse_zone(given)), "option", several if stated else None
    if stated:
        places = "; ".join(f"{zone} in {place}" for zone, place in dialect.zones)
        raise InputError(
            Problem(f"several zones ({places})", "one zone", file=file, hint="Say which it is with --timezone.")
        )
    zone = zone_name(parse_zone(default))
    return zone, "default", f"Neither the file nor an option names the zone of its times: taken as {zone}."
