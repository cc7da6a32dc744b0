"""A logger's local times as UTC, across the changes between winter and summer time.

In: local times in the file's order, and a zone. Out: the same instants in UTC. In autumn the repeated hour is resolved
by the order of the rows. A clock that did not take part in a change of its zone is found out (readings inside the hour
that is skipped in spring, none repeated in autumn) and refused with the two offsets it may have been kept on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.clock import offset_name

_AROUND = 50  # rows on either side that tell the usual interval at a change of the clock
_SPARE = timedelta(days=2)  # more than any offset, so that no change near the first or last time is missed
_ZERO = np.timedelta64(0, "ns")
_AT_A_TIME = 1 << 20  # rows, so that what is worked out on the way stays small beside them
_DAY = np.timedelta64(1, "D")  # readings further apart do not tell whether a clock was put forwards or back

Instant = np.datetime64
Times = NDArray[np.datetime64]
Rows = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Change:
    """One change of a zone's offset: the instant in UTC, the offsets before and after."""

    at: np.datetime64
    before: np.timedelta64
    after: np.timedelta64


def to_utc(local: Times, zone: tzinfo, *, rows: Rows, file: str, column: str) -> Times:
    """Turn local times into UTC.

    Parameters
    ----------
    local : numpy.ndarray of datetime64[ns]
        Times as the logger wrote them, in the file's order.
    zone : datetime.tzinfo
        The zone of its clock.
    rows : numpy.ndarray of int64
        Row of each, for messages.
    file, column : str
        Names, for messages.

    Returns
    -------
    numpy.ndarray of datetime64[ns]
        The instants. [UTC]

    Raises
    ------
    InputError
        For every change of the zone's offset that the clock did not take part in, or that leaves open which of two
        instants a row means.

    Examples
    --------
    >>> local = np.array(["2023-07-01T12:00"], "M8[ns]")
    >>> print(to_utc(local, ZoneInfo("Europe/Lisbon"), rows=np.array([2]), file="l.csv", column="time")[0])
    2023-07-01T11:00:00.000000000
    """
    if not local.size:
        return local.copy()
    if not isinstance(zone, ZoneInfo):
        return local - np.timedelta64(zone.utcoffset(None) or timedelta(0), "ns")
    changes = list(_changes(zone, local.min(), local.max()))
    start = _offset_at(zone, _as_datetime(local.min()) - _SPARE)
    if not changes:
        return local - start
    downwards = np.count_nonzero(np.diff(local) < np.timedelta64(0)) > local.size / 2
    turn = slice(None, None, -1 if downwards else 1)  # newest first: read it from its end
    local, rows = local[turn], rows[turn]
    bounds = np.array([change.at + change.before for change in changes])
    after = np.array([start, *(change.after for change in changes)])
    passed = np.empty(local.size, np.int16)  # how many changes are behind each row
    for at in range(0, local.size, _AT_A_TIME):
        passed[at : at + _AT_A_TIME] = np.searchsorted(bounds, local[at : at + _AT_A_TIME], side="right")
    problems: list[Problem | str] = []
    for number, change in enumerate(changes, start=1):
        judge = _skipped_hour if change.after > change.before else _repeated_hour
        try:
            passed[judge(local, change)] = number
        except _ClockError as error:
            problems.append(_problem(error, change, local, rows, file, column))
    if problems:
        raise InputError(problems)
    utc = np.empty_like(local)
    for at in range(0, local.size, _AT_A_TIME):
        rows_here = slice(at, at + _AT_A_TIME)
        utc[rows_here] = local[rows_here] - after[passed[rows_here]]
    return np.asarray(utc[turn])


def _changes(zone: ZoneInfo, first: np.datetime64, last: np.datetime64) -> Iterator[_Change]:
    """Find a zone's changes of offset: day by day, then by halving."""
    day, end = _as_datetime(first) - _SPARE, _as_datetime(last) + _SPARE
    before = _offset_at(zone, day)
    while day < end:
        following = day + timedelta(days=1)
        after = _offset_at(zone, following)
        if after != before:
            low, high = day, following
            while high - low > timedelta(seconds=1):
                middle = low + timedelta(seconds=int((high - low).total_seconds()) // 2)
                low, high = (low, middle) if _offset_at(zone, middle) != before else (middle, high)
            yield _Change(np.datetime64(high, "ns"), before, after)
        day, before = following, after


def _as_datetime(instant: np.datetime64) -> datetime:
    return datetime(1970, 1, 1) + timedelta(seconds=int(instant.astype("datetime64[s]").astype(np.int64)))


def _offset_at(zone: ZoneInfo, instant: datetime) -> np.timedelta64:
    """Offset of a zone at an instant given as naive UTC."""
    offset = instant.replace(tzinfo=UTC).astimezone(zone).utcoffset() or timedelta(0)
    return np.timedelta64(offset, "ns")


class _ClockError(Exception):
    """A change of offset that the rows do not bear out: what was found, and at which row."""

    def __init__(self, found: str, at: int) -> None:
        super().__init__(found)
        self.found, self.at = found, at


def _problem(error: _ClockError, change: _Change, local: Times, rows: Rows, file: str, column: str) -> Problem:
    offsets = sorted((change.before, change.after))
    names = [offset_name(timedelta(seconds=int(offset / np.timedelta64(1, "s")))) for offset in offsets]
    return Problem(
        f"{error.found} ({str(local[error.at])[:16].replace('T', ' ')})",
        "times of a clock that follows its zone",
        file=file,
        row=int(rows[error.at]),
        column=column,
        hint="Many loggers keep one offset all year. If this one did, give"
        f" --timezone {names[0]} (the zone's winter time) or --timezone {names[1]} (its summer time).",
    )


def _skipped_hour(local: Times, change: _Change) -> slice:
    """Judge a change forwards: no reading may lie in the hour that the clock skips. Nothing is left to assign."""
    opens, closes = change.at + change.before, change.at + change.after
    inside = np.flatnonzero((local >= opens) & (local < closes))
    if inside.size:
        count = f"{inside.size} reading{'s' if inside.size > 1 else ''}"
        raise _ClockError(f"{count} inside the time that the zone's clocks skip in spring", int(inside[0]))
    _refuse_regular_crossing(local, opens, closes, change.after - change.before)
    return slice(0, 0)


def _refuse_regular_crossing(local: Times, opens: Instant, closes: Instant, jump: np.timedelta64) -> None:
    """Refuse a step over the whole changed hour that is exactly the usual interval: that clock did not change."""
    for before in np.flatnonzero((local[:-1] < opens) & (local[1:] >= closes)):
        usual = _usual_interval(local, int(before), int(before) + 1)
        step = local[before + 1] - local[before]
        if usual is not None and jump <= usual <= _DAY and abs(step - usual) < jump / 4:
            found = "readings at their usual interval right across a change of the zone's clocks"
            raise _ClockError(found, int(before) + 1)


def _usual_interval(local: Times, first: int, last: int) -> np.timedelta64 | None:
    steps = np.abs(np.diff(local[max(first - _AROUND, 0) : last + _AROUND + 1]))
    steps = steps[steps > _ZERO]
    return None if not steps.size else np.median(steps.astype(np.int64)).astype("timedelta64[ns]")


def _repeated_hour(local: Times, change: _Change) -> Rows:
    """Judge a change backwards: find the rows of the hour's second pass."""
    opens, closes = change.at + change.after, change.at + change.before
    inside = np.flatnonzero((local >= opens) & (local < closes))
    if not inside.size:
        _refuse_regular_crossing(local, opens, closes, change.before - change.after)
        return inside
    visits = np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1)
    return np.concatenate([_second_pass(local, visit, change.before - change.after) for visit in visits])


def _second_pass(local: Times, visit: Rows, jump: np.timedelta64) -> Rows:
    """Find where, in one run of rows inside the repeated hour, the second pass begins.

    A step backwards begins it. Without one, each reading of the run (all first pass, all second pass, a clock that
    did not change) is held against the usual interval at both ends: the run is first pass when only its way in is
    regular, second pass when only its way out is, and when both are, the clock did not change.
    """
    first, last = int(visit[0]), int(visit[-1])
    usual = _usual_interval(local, first, last)
    steps = np.diff(local[first : last + 1])
    back = steps < _ZERO
    if usual is not None and usual > jump / 2:
        # hourly readings repeat the very same time; of slower ones the repeat comes an hour early
        back |= (steps == _ZERO) | (abs(steps + jump - usual) <= jump / 4)
    turns = np.flatnonzero(back)
    if turns.size == 1:
        return visit[int(turns[0]) + 1 :]
    if turns.size > 1:
        at = first + int(turns[1]) + 1
        raise _ClockError("times that run back more than once in the hour that the zone's clocks repeat", at)
    came = local[first] - local[first - 1] if first > 0 else None
    left = local[last + 1] - local[last] if last + 1 < local.size else None
    if usual is None or (steps > 1.5 * usual).any():
        raise _ClockError("readings in the hour that the zone's clocks repeat, first or second pass unknown", first)

    def regular(step: np.timedelta64 | None, more: np.timedelta64 = _ZERO) -> int:
        return int(step is not None and abs(step + more - usual) <= min(usual, jump) / 4)

    as_first = regular(came) + regular(left, jump)
    as_second = regular(came, jump) + regular(left)
    if regular(came) + regular(left) > max(as_first, as_second):
        raise _ClockError("readings that run through the hour that the zone's clocks repeat, without a repeat", first)
    if as_first == as_second:
        raise _ClockError("readings in the hour that the zone's clocks repeat, first or second pass unknown", first)
    return visit[:0] if as_first > as_second else visit
