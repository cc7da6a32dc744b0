"""Whose readings a dropped file holds: by a sensor's name in the file's name or in its columns, else by earlier files.

A wrong guess is worse than a question, so whatever points to two sensors gives none.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import pandas as pd

from hardiness.trial import Trial
from hardiness.web.holding import Held
from hardiness.web.looking import Choices, look_at

_COPY = re.compile(r"\(\d+\)")  # what a browser adds to the name of a file that it fetches again
_DATE = re.compile(r"(?<!\d)(?:19|20)\d\d(?:[-_. ]?\d\d(?:[-_. ]?\d\d)?)?(?!\d)")


def guess_sensor(trial: Trial, held: Held) -> str:
    """Guess whose readings a file holds.

    Parameters
    ----------
    trial : Trial
    held : Held
        The file.

    Returns
    -------
    str
        Empty where there is no telling.
    """
    uploads = trial.store.uploads()
    before = uploads[(uploads["sensor"] != "") & uploads["counts"]]
    sensors = sorted({*trial.store.current("sensors")["sensor"], *before["sensor"]})
    if named := sensors_named(held.name, sensors):
        return named[0] if len(named) == 1 else ""
    if not sensors:
        return ""
    roles = look_at(trial, held, Choices()).preview.columns
    columns = " | ".join(column.name for column in roles if column.role == "temperature")
    if named := sensors_named(columns, sensors):
        return named[0] if len(named) == 1 else ""
    return _of_alike_files(held.name, before)


def sensors_named(text: str, sensors: Iterable[str]) -> list[str]:
    """List the sensors whose names stand in a text as words of their own, without those inside longer ones.

    Parameters
    ----------
    text : str
    sensors : iterable of str

    Returns
    -------
    list of str
        In the order given. Case and signs between letters and digits do not matter.

    Examples
    --------
    >>> sensors_named("b_L2.csv", ["L1", "L2"]), sensors_named("L10_2031.csv", ["L1"])
    (['L2'], [])
    >>> sensors_named("export l-low 2031", ["L-LOW", "low"]), sensors_named("L1 and L2.csv", ["L1", "L2"])
    (['L-LOW'], ['L1', 'L2'])
    """
    found: dict[str, set[int]] = {}
    for sensor in sensors:
        if (pattern := _pattern(sensor)) and (hits := list(pattern.finditer(text.casefold()))):
            found[sensor] = {place for hit in hits for place in range(*hit.span())}
    return [sensor for sensor, places in found.items() if not any(places < others for others in found.values())]


def _pattern(sensor: str) -> re.Pattern[str] | None:
    """A sensor's name as it may stand in another text: no letter joins its letters, no digit its digits."""
    pieces = re.findall(r"[^\W_]+", sensor.casefold())
    if not pieces:
        return None
    before, after = (r"\d" if end.isdecimal() else r"[^\W\d_]" for end in (pieces[0][0], pieces[-1][-1]))
    inside = r"[\W_]*".join(map(re.escape, pieces))
    return re.compile(rf"(?<!{before}){inside}(?!{after})")


def lasting(name: str) -> str:
    """Keep of a file's name what does not change from winter to winter: all but dates, copies and signs.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> lasting("Upper_2023-24.csv"), lasting("upper 2031-02-03 (2).CSV"), lasting("b_L2_20310203.csv")
    ('upper csv', 'upper csv', 'b l2 csv')
    """
    return " ".join(re.findall(r"[^\W_]+", _DATE.sub(" ", _COPY.sub(" ", name.casefold().replace("_", " ")))))


def _of_alike_files(name: str, before: pd.DataFrame) -> str:
    """The sensor of the earlier files that were called alike, where they were all of one."""
    own = lasting(name)
    alike = {sensor for file, sensor in zip(before["file"], before["sensor"], strict=True) if lasting(file) == own}
    return str(alike.pop()) if len(alike) == 1 else ""
