"""The zone of a logger's clock: its name read, written, and found in a file's header.

In: what a person or a file says ("Europe/Lisbon", "GMT-05:00"). Out: a zone, or a refusal with near names.
"""

from __future__ import annotations

import difflib
import re
from datetime import UTC, timedelta, timezone, tzinfo
from functools import lru_cache
from zoneinfo import ZoneInfo, available_timezones

from hardiness.errors import InputError, Problem
from hardiness.read.layouts import ZONE_LETTERS

LARGEST_OFFSET = timedelta(hours=14)
ZONES = "a time zone such as Europe/Lisbon, or a fixed offset such as UTC-05:00"
_OFFSET = re.compile(r"(?:UTC|GMT)?\s*([+\-−–])\s*(\d{1,2})(?::?(\d{2}))?", re.IGNORECASE)
_NAMED_OFFSET = re.compile(r"(?:UTC|GMT)\s*[+\-−–]\s*\d{1,2}(?::?\d{2})?(?!\d)", re.IGNORECASE)
_LABEL = re.compile(r"time[ _-]?zone|(?:utc|gmt|time|zone)[ _-]?offset|\btz\b", re.IGNORECASE)
_LABELLED_OFFSET = re.compile(
    rf"(?:{_LABEL.pattern})[^+\-−–\d]{{0,12}}((?:UTC|GMT)?\s*[+\-−–]\s*\d{{1,2}}(?::?\d{{2}})?)(?![\d:.,])",
    re.IGNORECASE,
)
_REVERSED = re.compile(r"\bEtc/GMT[+-]\d{1,2}\b")  # its sign is the other way round: Etc/GMT+5 is UTC-05:00
_NAMES = [name.upper() for name in ZONE_LETTERS if name != "z"]
_SMALL = [name for name in _NAMES if name not in ("UTC", "GMT", "WET", "WEST")]  # "time_west" is a place
# Letters in capitals ("Time EST", "TimeEST"), small ones at the end of a name ("time_est"), and UTC glued to a word.
_LETTERS = re.compile(
    rf"(?<![A-Z])({'|'.join(_NAMES)})(?![A-Za-z])|(?i:[\s_.(\[,-]({'|'.join(_SMALL)})\s*[)\]]?$)"
    r"|(?i:(?<![a-z])(utc|gmt)(?![a-z])|(?:time|date|stamp|clock|dt)(utc|gmt)(?![a-z])"
    r"|(?<![a-z])(utc|gmt)(?:time|date|stamp|dt))"
)
_ZULU = re.compile(r"[(\[]\s*Z\s*[)\]]")
_NOT_UTC = re.compile(r"\b(?:not|no|non)[ -](?:in )?(?:UTC|GMT)\b", re.IGNORECASE)
_ZONE_NAME = re.compile(r"\b[A-Z][A-Za-z]+(?:/[A-Z][A-Za-z_\-]+)+")


def parse_zone(text: str) -> tzinfo:
    """Read the name of a time zone or a fixed offset.

    Parameters
    ----------
    text : str
        An IANA name (``Europe/Lisbon``), ``UTC``, or a fixed offset (``UTC-05:00``, ``UTC+1``, ``+05:30``).

    Returns
    -------
    datetime.tzinfo

    Raises
    ------
    InputError
        If it is neither; near names are offered.

    Examples
    --------
    >>> print(parse_zone("UTC-05:00"), parse_zone("Europe/Lisbon"))
    UTC-05:00 Europe/Lisbon
    """
    name = text.strip()
    if name.upper() in ("UTC", "GMT", "Z"):
        return UTC
    if match := _OFFSET.fullmatch(name):
        hours, minutes = int(match[2]), int(match[3] or 0)
        size = timedelta(hours=hours, minutes=minutes)
        if minutes < 60 and size <= LARGEST_OFFSET:
            return timezone(size if match[1] == "+" else -size)
    zones = _zones()
    if known := zones.get(name.lower()):
        return ZoneInfo(known)
    raise InputError(Problem(f"time zone '{text}'", ZONES, hint=_near_zone(name, zones)))


@lru_cache(maxsize=1)
def _zones() -> dict[str, str]:
    return {name.lower(): name for name in sorted(available_timezones())}


def _near_zone(name: str, zones: dict[str, str]) -> str | None:
    wanted = name.lower().replace(" ", "_")
    cities = {key.rsplit("/", 1)[-1]: key for key in zones if "/" in key and not key.startswith("etc/")}
    close = difflib.get_close_matches(wanted, list(zones), n=2, cutoff=0.75)
    city = wanted.rsplit("/", 1)[-1]
    close += [cities[each] for each in difflib.get_close_matches(city, list(cities), n=2, cutoff=0.75)]
    names = list(dict.fromkeys(zones[key] for key in close))[:3]
    return f"Did you mean {' or '.join(repr(each) for each in names)}?" if names else None


def zone_name(zone: tzinfo) -> str:
    """Name a zone so that :func:`parse_zone` reads it back: ``Europe/Lisbon``, ``UTC+01:00``, ``UTC``.

    Parameters
    ----------
    zone : tzinfo
        An IANA zone, or a fixed offset.

    Returns
    -------
    str

    Examples
    --------
    >>> zone_name(timezone(timedelta(hours=-5))), zone_name(timezone.utc)
    ('UTC-05:00', 'UTC')
    """
    if isinstance(zone, ZoneInfo):
        return zone.key
    offset = zone.utcoffset(None)
    return offset_name(offset) if offset else "UTC"


def offset_name(offset: timedelta) -> str:
    """Name a fixed offset: ``UTC+01:00``.

    Parameters
    ----------
    offset : timedelta
        East of Greenwich is positive.

    Returns
    -------
    str

    Examples
    --------
    >>> offset_name(timedelta(hours=5, minutes=30))
    'UTC+05:30'
    """
    minutes = round(offset / timedelta(minutes=1))
    return f"UTC{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def zones_in(text: str, *, is_heading: bool) -> list[str]:
    """Find the zones that a header cell or a line above the header names.

    Parameters
    ----------
    text : str
        Its text.
    is_heading : bool
        Whether it heads the column of times: then bare letters (``UTC``, ``CET``) count; elsewhere only
        beside words such as "time zone".

    Returns
    -------
    list of str
        Names that :func:`parse_zone` reads, each once.

    Examples
    --------
    >>> zones_in("Date Time, GMT-05:00", is_heading=True), zones_in("Site: UTC building", is_heading=False)
    (['UTC-05:00'], [])
    """
    names = [zone for each in _REVERSED.findall(text) if (zone := _zones().get(each.lower()))]
    text = _REVERSED.sub("", text)
    found = [match[1] for match in _LABELLED_OFFSET.finditer(text)] + _NAMED_OFFSET.findall(text)
    names += [zone_name(parse_zone(each)) for each in found if _is_offset(each)]
    if is_heading or _LABEL.search(text):
        names += [zone for each in _ZONE_NAME.findall(text) if (zone := _zones().get(each.lower()))]
        if not names:
            letters = (
                "".join(groups).lower() for groups in _LETTERS.findall(_NOT_UTC.sub("", _ZULU.sub("(UTC)", text)))
            )
            offsets = [timedelta(hours=ZONE_LETTERS[each]) for each in letters]
            names += [zone_name(timezone(offset)) for offset in offsets]
    return list(dict.fromkeys(names))


def says_zone(line: str) -> bool:
    """Tell whether a line above the header speaks of its zone.

    Parameters
    ----------
    line : str

    Returns
    -------
    bool
    """
    return _LABEL.search(line) is not None


def _is_offset(text: str) -> bool:
    match = _OFFSET.fullmatch(text.strip())
    return match is not None and int(match[2]) * 60 + int(match[3] or 0) <= LARGEST_OFFSET / timedelta(minutes=1)
