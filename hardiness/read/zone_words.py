"""Zones that a file names by letters, and offsets that a column of its own tells.

In: headers ("time_est", "Time (CST)"), cells of a column of zones ("-05:00", "PST", "Europe/Lisbon"). Out: fixed
offsets, names of zones, or what several zones are called alike: those are asked for, never chosen.
"""

from __future__ import annotations

import re
from datetime import timedelta, timezone, tzinfo
from functools import lru_cache

from hardiness.errors import InputError
from hardiness.read.clock import LARGEST_OFFSET, parse_zone
from hardiness.read.layouts import ZONE_LETTERS

# What these letters, and names of American zones, may mean, the most usual first: some by clocks that never change.
SEVERAL_MEANINGS = {
    "CST": ("UTC-06:00", "UTC+08:00", "America/Chicago"),
    "BST": ("UTC+01:00", "UTC+06:00", "Europe/London"),
    "IST": ("UTC+05:30", "UTC+01:00", "UTC+02:00", "Europe/Dublin"),
    "AST": ("UTC-04:00", "UTC+03:00", "America/Halifax"),
    "ET": ("UTC-05:00", "UTC-04:00", "America/New_York"),
    "CT": ("UTC-06:00", "UTC-05:00", "America/Chicago"),
    "MT": ("UTC-07:00", "UTC-06:00", "America/Denver"),
    "PT": ("UTC-08:00", "UTC-07:00", "America/Los_Angeles"),
}
SEVERAL_MEANINGS |= {
    name.upper(): SEVERAL_MEANINGS[letters]
    for name, letters in (("Eastern", "ET"), ("Central", "CT"), ("Mountain", "MT"), ("Pacific", "PT"))
}
_HEADS = re.compile(
    r"^(?:(?:local )?time ?zone|tz|zone|zeitzone|(?:utc|gmt|tz|time|time ?zone|zone) ?off?set"
    r"|off?set (?:from |to )?(?:utc|gmt)|off?set)(?: ?(?P<unit>h|hrs?|hours?|min|minutes?|s|sec|seconds?))?$"
)
_NUMBER = re.compile(r"([+\-−–]?)\s*(\d{1,5})(?:[.,](\d{1,2}))?")
_SEVERAL = "|".join(name for name in SEVERAL_MEANINGS if len(name) == 3)
_UNCLEAR = re.compile(
    rf"(?<![A-Z])({_SEVERAL})(?![A-Za-z])|(?i:[\s_(\[]({_SEVERAL})\s*[)\]]?$)|[(\[,]\s*([ECMP]T)\s*(?:[)\]]|$)"
    r"|(?i:\b(eastern|central|mountain|pacific)\b(?! europ| africa| asia| indonesia| austral))"
)


def unclear_letters_in(text: str) -> list[str]:
    """Find letters in the header of a column of times that mean several zones.

    Parameters
    ----------
    text : str

    Returns
    -------
    list of str
        Of :data:`SEVERAL_MEANINGS`, each once.

    Examples
    --------
    >>> unclear_letters_in("Time (CST)"), unclear_letters_in("Pacific time"), unclear_letters_in("Time (EST)")
    (['CST'], ['PACIFIC'], [])
    """
    return list(dict.fromkeys("".join(groups).upper() for groups in _UNCLEAR.findall(text)))


def meanings_of(letters: str) -> str:
    """Write what letters may mean, as options to choose from.

    Parameters
    ----------
    letters : str
        One of :data:`SEVERAL_MEANINGS`.

    Returns
    -------
    str

    Examples
    --------
    >>> meanings_of("BST")
    '--timezone UTC+01:00, --timezone UTC+06:00 or --timezone Europe/London'
    """
    *first, last = (f"--timezone {name}" for name in SEVERAL_MEANINGS[letters])
    return f"{', '.join(first)} or {last}"


def heads_zones(name: str) -> bool:
    """Tell whether a column's name is that of zones or of offsets from UTC.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool

    Examples
    --------
    >>> [heads_zones(name) for name in ("UTC offset", "TZ", "tz_offset (h)", "UTC", "Temp offset")]
    [True, True, True, False, False]
    """
    return _HEADS.fullmatch(_plain(name)) is not None


def _plain(name: str) -> str:
    return " ".join(re.sub(r"[_\-.()\[\]:]", " ", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)).casefold().split())


@lru_cache(maxsize=1024)
def zone_of_cell(text: str, name: str) -> tzinfo | None:
    """Read a cell of a column of zones or offsets.

    Parameters
    ----------
    text : str
        The cell.
    name : str
        Of the column: it may say that offsets are in minutes.

    Returns
    -------
    datetime.tzinfo or None
        None where it is none, or could be several.

    Examples
    --------
    >>> [str(zone_of_cell(text, "TZ")) for text in ("-08:00", "PST", "-5", "+0530", "-480", "CST")]
    ['UTC-08:00', 'UTC-08:00', 'UTC-05:00', 'UTC+05:30', 'UTC-08:00', 'None']
    """
    plain = text.strip(" \"'()[]")
    letters = ZONE_LETTERS.get(plain.casefold())
    if letters is not None:
        return timezone(timedelta(hours=letters))
    if number := _NUMBER.fullmatch(plain):
        heads = _HEADS.fullmatch(_plain(name))
        minutes = _minutes_of(number[2], number[3], ((heads["unit"] if heads else "") or "")[:1])
        west = number[1] not in ("", "+")
        return None if minutes is None else timezone(timedelta(minutes=-minutes if west else minutes))
    if (clock := re.fullmatch(r"(\d{1,2}):(\d{2})(?::00)?", plain)) and int(clock[2]) < 60:  # no sign is east
        offset = timedelta(hours=int(clock[1]), minutes=int(clock[2]))
        return timezone(offset) if offset <= LARGEST_OFFSET else None
    try:
        return parse_zone(re.sub(r"^([+\-−–]\d{2}:\d{2}):00$", r"\1", plain))
    except InputError:
        return None


def _minutes_of(digits: str, part: str | None, unit: str) -> float | None:
    """Tell how many minutes a bare number means: hours, hours and minutes, minutes or seconds, if only one fits."""
    number = float(f"{digits}.{part or 0}")
    readings = {
        "h": number * 60,
        "m": number if part is None else None,
        "s": number / 60 if part is None else None,
        "c": int(digits[:-2]) * 60 + int(digits[-2:]) if len(digits) in (3, 4) and part is None else None,
    }
    if unit:
        return readings[unit] if _is_usual(readings[unit]) else None
    if len(digits) == 4 and digits[0] == "0":
        return readings["c"] if _is_usual(readings["c"]) else None
    if len(digits) < 3:
        del readings["m"], readings["s"]
    fitting = {minutes for minutes in readings.values() if minutes is not None and _is_usual(minutes)}
    return fitting.pop() if len(fitting) == 1 else None


def _is_usual(minutes: float | None) -> bool:
    """Offsets in use are whole quarters of an hour."""
    return minutes is not None and minutes % 15 == 0 and timedelta(minutes=minutes) <= LARGEST_OFFSET


def is_fixed(zone: tzinfo) -> bool:
    """Tell whether a zone is one offset all year.

    Parameters
    ----------
    zone : datetime.tzinfo

    Returns
    -------
    bool
    """
    return zone.utcoffset(None) is not None
