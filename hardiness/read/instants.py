"""The rows' times as instants in UTC: which zone the logger's clock was in, and whether its clock can be right.

In: the rows with a time, what the header says, what the user says. Out: an instant a row. The file's own offset (in
the cells, else in the header) wins over the user's zone, and that over the default.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.choices import NO_CHOICES, Choices
from hardiness.read.clock import parse_zone, zone_name
from hardiness.read.dates import NO_DAY, DateOrder, days_of, decide_order
from hardiness.read.dialect import Dialect
from hardiness.read.faults import TIME_ACCEPTED, Faults
from hardiness.read.fields import GOOD, Fields
from hardiness.read.layouts import EPOCH
from hardiness.read.moments import DAY, LARGEST_OFFSET, NO_OFFSET
from hardiness.read.summertime import to_utc
from hardiness.read.years import DAYS_AHEAD, FIRST_YEAR, LAST_YEAR, YEARS, say_odd_times
from hardiness.read.zone_words import meanings_of

FIRST, END = np.datetime64(f"{FIRST_YEAR}", "ns"), np.datetime64(f"{LAST_YEAR + 1}", "ns")
OLDEST = np.datetime64("1990", "ns")  # few loggers that write such files are older: a clock that was reset
AHEAD = np.timedelta64(DAYS_AHEAD, "D")  # a logger may be set to a zone ahead of this computer's
MINUTE = 60_000_000_000  # [ns]
_AT_A_TIME = 1 << 20  # rows, so that what is worked out on the way stays small beside them
YEAR_HINT = "A slip, or a clock that was never set? Correct these times, or leave the rows out."


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
        ``file``, ``option``, ``last`` (as chosen for the sensor before) or ``default``.
    said : list of str
        Sentences for the user.
    problems : list of Problem or str
        What is wrong with the file as a whole.
    order : DateOrder
        The order of the numbers in its dates.
    """

    utc: NDArray[np.datetime64]
    zone: str
    zone_from: str
    said: list[str]
    problems: list[Problem | str]
    order: DateOrder


def find_instants(
    fields: Fields,
    dialect: Dialect,
    faults: Faults,
    *,
    given_zone: str | None,
    default_zone: str,
    date_order: str | None,
    now: np.datetime64,
    last: Choices = NO_CHOICES,
) -> Instants:
    """Turn the times of rows into UTC. The fields' dates and times of day are used up.

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
        Zone where neither file nor user names one; also the zone of today's date in a sentence.
    date_order : str, optional
        ``DMY``, ``MDY`` or ``YMD`` as the user gave it.
    now : numpy.datetime64
        The present. [UTC]
    last : Choices
        What was chosen for the sensor's last files, where this one leaves it open.

    Returns
    -------
    Instants
    """
    said: list[str] = []
    problems: list[Problem | str] = []
    local, sound = fields.nanoseconds, np.ones(fields.rows.size, bool)
    dated = fields.kind != EPOCH
    decided = DateOrder("DMY")
    if dated.any():
        try:
            decided = decide_order(
                fields.code, fields.kind, fields.nanoseconds,
                order=date_order, rows=fields.rows, file=faults.file, column=dialect.columns[dialect.time[0]],
                last=last,
            )  # fmt: skip
            said += [decided.said] if decided.said else []
        except InputError as error:
            return Instants(
                np.full(fields.rows.size, np.datetime64("NaT", "ns")), "", "", said, list(error.problems), decided
            )
        local, sound = _local_times(fields, decided.order, faults, dated)
    likely = sound & (local >= FIRST.astype(np.int64)) & (local < END.astype(np.int64))
    there = slice(None) if likely.all() else likely  # a view spares a copy
    offsets = fields.offset[there]
    stated = offsets != NO_OFFSET
    fields.let_go("code", "kind", "offset")
    there_utc: NDArray[np.datetime64] | None = None
    zone, zone_from = "", ""
    if stated.all() and stated.size:
        there_utc = _less_offsets(local[there], offsets)
        names = [zone_name(timezone(timedelta(minutes=minutes))) for minutes in _different(offsets)]
        zone, zone_from = ", ".join(names), "file"
    elif stated.any():
        faults.add(fields.rows[there][~stated], "{} without an offset", "a time with its offset, as other rows have",
                   dialect.time[-1])  # fmt: skip
    elif stated.size:
        del offsets
        try:
            zone, zone_from, sentence = _choose_zone(dialect, given_zone, default_zone, last, faults.file)
            said += [sentence] if sentence else []
            there_utc = to_utc(
                local[there].view("datetime64[ns]"), parse_zone(zone),
                rows=fields.rows[there], file=faults.file, column=dialect.time_name,
            )  # fmt: skip
        except InputError as error:
            problems.extend(error.problems)
    utc = _spread(there_utc, there, fields.rows.size)
    if zone_from == "file" and given_zone is not None and zone_name(parse_zone(given_zone)) != zone:
        said.append(f"The file itself says {zone}; the zone given ({given_zone}) was not used.")
    faults.add(fields.rows[sound & ~likely], "{}", f"a time from {YEARS}", dialect.time[0], YEAR_HINT)
    return Instants(
        utc, zone, zone_from, said + _say_odd_clock(fields, local, utc, now, default_zone), problems, decided
    )


def _different(offsets: NDArray[np.int16]) -> list[int]:
    """List the different offsets, from west to east: counted, not sorted. [min]."""
    counts = np.bincount(offsets.astype(np.int64) + LARGEST_OFFSET)
    return [int(place) - LARGEST_OFFSET for place in np.flatnonzero(counts)]


def _local_times(
    fields: Fields, order: str, faults: Faults, dated: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Add days to times of day, in ns within the reach of 64 bits; the second array tells where there is such a day.

    The sum is written where the times of day stood: there may be forty million of them.
    """
    local, sound = fields.nanoseconds, np.ones(fields.rows.size, bool)
    reach = np.iinfo(np.int64).max // DAY - 2
    for at in range(0, local.size, _AT_A_TIME):
        here = slice(at, at + _AT_A_TIME)
        code, kind = fields.code[here], fields.kind[here]
        changed = np.concatenate(([True], (np.diff(code) != 0) | (np.diff(kind) != 0)))
        runs = np.flatnonzero(changed)  # the days are worked out once for each run of rows with the same date
        days = np.repeat(days_of(code[runs], kind[runs], order), np.diff(np.append(runs, changed.size)))
        sound[here] = ~dated[here] | (days != NO_DAY)
        days = np.where(dated[here] & sound[here], days, 0)
        local[here] += np.where(np.abs(days) > reach, np.sign(days) * reach, days) * DAY
    missing = np.flatnonzero(~sound)
    faults.add(fields.rows[missing], "{}, a day that does not exist", TIME_ACCEPTED, faults.dialect.time[0])
    return local, sound


def _less_offsets(local: NDArray[np.int64], offsets: NDArray[np.int16]) -> NDArray[np.datetime64]:
    """Take each row's own offset from its local time."""
    utc = np.empty(local.size, np.int64)
    for at in range(0, local.size, _AT_A_TIME):
        here = slice(at, at + _AT_A_TIME)
        utc[here] = local[here] - offsets[here].astype(np.int64) * MINUTE
    return utc.view("datetime64[ns]")


def _spread(utc: NDArray[np.datetime64] | None, there: slice | NDArray[np.bool_], size: int) -> NDArray[np.datetime64]:
    """Give every row an instant: NaT where none was worked out."""
    if utc is not None and isinstance(there, slice):
        return utc
    whole = np.full(size, np.datetime64("NaT", "ns"))
    if utc is not None:
        whole[there] = utc
    return whole


def _say_odd_clock(
    fields: Fields, local: NDArray[np.int64], utc: NDArray[np.datetime64], now: np.datetime64, zone: str
) -> list[str]:
    """Say how many readings lie before loggers of this kind, or ahead of this computer's clock: either may be wrong."""
    today = now.astype("datetime64[s]").item().replace(tzinfo=UTC).astimezone(parse_zone(zone)).date()
    before, after = local < OLDEST.astype(np.int64), utc > now.astype("datetime64[ns]") + AHEAD
    said = []
    for odd, where in ((before, f"before {OLDEST.astype('M8[Y]')}"), (after, f"after today, {today}")):
        at = np.flatnonzero(odd & (fields.temperature_state == GOOD))
        if at.size:
            first = str(np.datetime64(int(local[at[0]]), "ns"))[:16].replace("T", " ")  # as the file has it
            said.append(say_odd_times(at.size, "reading", where, int(fields.rows[at[0]]), first))
    return [f"{'. '.join(said)}. Is the logger's clock right?"] if said else []


def _choose_zone(
    dialect: Dialect, given: str | None, default: str, last: Choices, file: str
) -> tuple[str, str, str | None]:
    """Choose the zone of times without an offset of their own: name, where from, and a sentence for the user."""
    stated = dict.fromkeys(zone for zone, _ in dialect.zones)
    if len(stated) == 1:
        zone, place = dialect.zones[0]
        return zone, "file", f"Times are in {zone}, as {place} says."
    if given is not None:
        several = f"The file names several zones ({', '.join(stated)}); times are taken as {given}."
        unclear = _say_unclear(dialect, given, "")
        return zone_name(parse_zone(given)), "option", several if stated else unclear
    if stated and last.timezone is not None:
        taken = f"times are taken as {last.timezone}, as for {last.source}"
        return (
            zone_name(parse_zone(last.timezone)),
            "last",
            f"The file names several zones ({', '.join(stated)}); {taken}.",
        )
    if stated:
        places = "; ".join(f"{zone} in {place}" for zone, place in dialect.zones)
        raise InputError(
            Problem(f"several zones ({places})", "one zone", file=file, hint="Say which it is with --timezone.")
        )
    if dialect.unclear_zones and last.timezone is None:
        raise InputError(_unclear_zone(dialect, file))
    if last.timezone is not None:
        zone = zone_name(parse_zone(last.timezone))
        unclear = _say_unclear(dialect, zone, f", as for {last.source}")
        return zone, "last", unclear or f"Neither the file nor an option names the zone of its times: taken as {zone}."
    zone = zone_name(parse_zone(default))
    return zone, "default", f"Neither the file nor an option names the zone of its times: taken as {zone}."


def _say_unclear(dialect: Dialect, zone: str, whose: str) -> str | None:
    """Say that letters of the file mean several zones, and which was taken."""
    for letters, place in dialect.unclear_zones:
        return f"'{letters}' in {place} means several zones: times are taken as {zone}{whose}."
    return None


def _unclear_zone(dialect: Dialect, file: str) -> Problem:
    letters, place = dialect.unclear_zones[0]
    return Problem(
        f"'{letters}' in {place}, which means several zones",
        "a header that names one, such as UTC-05:00",
        file=file,
        column=dialect.time_name,
        hint=f"Say which: {meanings_of(letters)}.",
    )
