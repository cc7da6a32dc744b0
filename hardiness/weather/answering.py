"""Which sensor answers for which plant, how often, and why: the choice of ``weather/speaking.py`` made visible."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.schema import ANSWERING, column_names
from hardiness.settings import Settings
from hardiness.weather.placing import lives_of
from hardiness.weather.sensors import great_circle_km, texts
from hardiness.weather.speaking import NOBODY, Group, find_speakers

NAMED, OF_BLOCK, ONLY, STATION = (
    "named by the plant",
    "a logger of its block",
    "the trial's only logger",
    "a station, the nearest first",
)
NOTHING = "no sensor it asks had a reading"
LATER = "; those asked before it had too few readings"


def who_answers(
    plants: pd.DataFrame,
    scores: pd.DataFrame,
    freezes: pd.DataFrame,
    readings: Mapping[str, xr.DataArray],
    sensors: pd.DataFrame,
    settings: Settings,
    courses: Mapping[str, xr.DataArray] | None = None,
) -> pd.DataFrame:
    """Count for each plant the events that each sensor answers, and say why it is asked.

    Parameters
    ----------
    plants, scores, sensors : pandas.DataFrame
        The records tables.
    freezes : pandas.DataFrame
        The freezes table.
    readings : mapping of str to xarray.DataArray
        Readings of each sensor, dims ``(time,)``, in UTC. [degC]
    settings : Settings
        Of the trial.
    courses : mapping of str to xarray.DataArray, optional
        Of each logger that was silent at times: its readings and what was estimated between them. [degC]

    Returns
    -------
    pandas.DataFrame
        Columns of ``schema.ANSWERING``: for each plant, in the order of the plants, its sensors in the order asked.
    """
    plants = plants.reset_index(drop=True)
    speaking = find_speakers(plants, freezes, readings, sensors, settings, courses)
    since, until = lives_of(plants, scores, settings)
    known = speaking.known
    at = [np.nan if degrees is None else degrees for degrees in (settings.latitude, settings.longitude)]
    away = great_circle_km(at[0], at[1], known["latitude"].to_numpy(), known["longitude"].to_numpy())
    height = known["elevation_m"].to_numpy() - (np.nan if settings.elevation_m is None else settings.elevation_m)
    place = {str(name): number for number, name in enumerate(known.index)}
    wished = texts(plants["sensor"])
    rows: list[tuple[object, ...]] = []
    for group in speaking.groups:
        members = group.members
        alive = (speaking.opens >= since[members][:, None]) & (speaking.closes <= until[members][:, None])
        named = {name.strip() for name in wished[members[0]].split(";")}
        for number, sensor in enumerate([*group.asked, ""]):
            says = group.speaker == place.get(sensor, NOBODY)
            events, guessed = (alive & says).sum(axis=1), (alive & says & group.estimated).sum(axis=1)
            why = _why(sensor, number, named, group, known)
            for row, answered, estimated in zip(members.tolist(), events.tolist(), guessed.tolist(), strict=True):
                if answered:
                    where = (away[place[sensor]], height[place[sensor]]) if sensor else (np.nan, np.nan)
                    rows.append((row, number, plants["plant"][row], group.block, ";".join(group.asked), sensor, why,
                                 answered, estimated, *where))  # fmt: skip
    table = pd.DataFrame(rows, columns=["row", "number", *column_names(ANSWERING)])
    return table.sort_values(["row", "number"], ignore_index=True)[column_names(ANSWERING)]


def _why(sensor: str, number: int, named: set[str], group: Group, known: pd.DataFrame) -> str:
    if not sensor:
        return NOTHING
    if sensor in named:
        why = NAMED
    elif known["kind"][sensor] == "station":
        why = STATION
    else:
        why = OF_BLOCK if group.block and known["block"][sensor] == group.block else ONLY
    return why + (LATER if number else "")
