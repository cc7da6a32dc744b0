"""A time as a person writes it -> the instant it means, as ISO 8601 text in UTC.

``2031-12-14 05:00`` is a time of the trial's zone; ``2031-12-14T05:00+01:00`` and ``2031-12-14T04:00Z`` say their own.
A time that the zone's clock skips in spring, or shows twice in autumn, is refused with the way out named.
"""

from __future__ import annotations

import datetime as dt
import re
from zoneinfo import ZoneInfo

from hardiness.read.clock import offset_name
from hardiness.read.labels import RefusedError, quote
from hardiness.read.years import FIRST_YEAR, LAST_YEAR, YEARS

_ACCEPTED = "a date and a time such as 2031-12-14 05:00, in the trial's zone, or with an offset: 2031-12-14T05:00+01:00"
_TIME = re.compile(
    r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})[ T](?P<clock>[0-9]{2}:[0-9]{2}(?::[0-9]{2})?)(?:[.,]0+)?"
    r"\s?(?P<offset>Z|[+-][0-9]{2}:?[0-9]{2})?"
)


def parse_time(text: str, zone: ZoneInfo) -> str:
    """Read a time.

    Parameters
    ----------
    text : str
        ISO 8601, to the minute or the second, with or without an offset from UTC.
    zone : ZoneInfo
        The zone of a time without one.

    Returns
    -------
    str
        ISO 8601 in UTC, to the second: such texts sort as the instants do.

    Raises
    ------
    RefusedError
        If it is no such time, does not exist in the zone, or comes twice there.

    Examples
    --------
    >>> parse_time("2031-12-14 05:00", ZoneInfo("Europe/Madrid")), parse_time("2031-12-14T05:00-05:00", ZoneInfo("UTC"))
    ('2031-12-14T04:00:00Z', '2031-12-14T10:00:00Z')
    """
    match = _TIME.fullmatch(text.strip().replace("\u2212", "-"))
    if match is None:
        bare = re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text.strip())
        raise RefusedError(quote(text), _ACCEPTED, "Write the time of day too." if bare else None)
    try:
        moment = dt.datetime.fromisoformat(f"{match['day']}T{match['clock']}{match['offset'] or ''}")
    except ValueError:
        raise RefusedError(f"{quote(text)}, a time that does not exist", _ACCEPTED) from None
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise RefusedError(quote(text), f"a time of the years {YEARS}")
    return time_text(moment if moment.tzinfo is not None else _in_zone(moment, zone, text))


def time_text(moment: dt.datetime) -> str:
    """Write an instant as records keep it.

    Parameters
    ----------
    moment : datetime.datetime
        With its offset.

    Returns
    -------
    str
        ISO 8601 in UTC, to the second.

    Examples
    --------
    >>> time_text(dt.datetime(2031, 12, 14, 5, tzinfo=dt.timezone(dt.timedelta(hours=1))))
    '2031-12-14T04:00:00Z'
    """
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _in_zone(moment: dt.datetime, zone: ZoneInfo, text: str) -> dt.datetime:
    """Find the one instant at which clocks of the zone show a time."""
    early, late = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    offsets = [offset_name(aware.utcoffset() or dt.timedelta(0)).removeprefix("UTC") for aware in (early, late)]
    if offsets[0] == offsets[1]:
        return early
    shown = early.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) == moment
    what = "comes twice" if shown else "is skipped"
    raise RefusedError(
        f"{quote(text)}, an hour that {what} when the clocks of {zone.key} change",
        f"that time with its offset, {offsets[0]} or {offsets[1]}",
    )
