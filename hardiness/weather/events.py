"""The freezes of a whole trial: a row per freeze and sensor, with its name, its event and its winter.

An *event* is one cold spell: freezes of different sensors whose spans overlap (touching counts), chained. A *winter*
runs from July to June north of the equator, and is the calendar year south of it. A freeze that a freeze note sets
aside (a logger carried indoors) stays listed and is not counted: :func:`set_aside` says which.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.schema import column_names, freeze_columns
from hardiness.settings import Settings
from hardiness.weather.days import local_days, local_midnights, nanoseconds
from hardiness.weather.exposure import measure_freezes, to_frame
from hardiness.weather.gaps import IntArray
from hardiness.weather.measuring import freezes_of_sensors
from hardiness.weather.sensors import sensors_known, texts
from hardiness.weather.transfer_estimates import transfer_sd

_TEXTS = ("freeze", "event", "winter", "sensor", "source")
_JULY = 7  # the first month of a northern winter


def freezes_table(
    readings: Mapping[str, xr.DataArray],
    sensors: pd.DataFrame,
    settings: Settings,
    estimated: Mapping[str, xr.Dataset] | None = None,
    found: Mapping[str, pd.DataFrame] | None = None,
) -> pd.DataFrame:
    """Find and measure the freezes of all sensors.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings of each sensor as they were read, dims ``(time,)``, in UTC; ``offset_c`` is added here. [degC]
    sensors : pandas.DataFrame
        The sensors table; a sensor that is not in it is a logger with empty fields.
    settings : Settings
        Of the trial.
    estimated : mapping of str to xarray.Dataset, optional
        What other sensors say of loggers that were silent, as :class:`hardiness.weather.transfer.Transfers` holds it.
    found : mapping of str to pandas.DataFrame, optional
        The freezes of each sensor's readings, where they are known already; see
        :func:`hardiness.weather.measuring.freezes_of_sensors`.

    Returns
    -------
    pandas.DataFrame
        The freezes table, sorted by ``starts``, then sensor; ``starts`` and ``ends`` as datetime64[ns, UTC].

    Raises
    ------
    UnitsError, InputError
        As :func:`hardiness.weather.exposure.measure_freezes`.

    Examples
    --------
    >>> time = np.datetime64("2031-12-14T18", "ns") + np.arange(5) * np.timedelta64(1, "h")
    >>> air = xr.DataArray([2.0, -2.0, -4.0, -2.0, 2.0], {"time": time}, attrs={"units": "degC"})
    >>> freezes = freezes_table({"L1": air}, pd.DataFrame({"sensor": ["L1"]}), Settings("Hill", "Europe/Lisbon"))
    >>> freezes[["freeze", "event", "winter", "source"]].iloc[0].tolist()
    ['2031-12-14 L1', '2031-12-14', '2031-32', 'logger']
    """
    silent = {} if estimated is None else estimated
    rules, known = settings.rules, sensors_known(sensors, [*readings, *silent]).to_dict("index")
    by_sensor = freezes_of_sensors(readings, sensors, settings) if found is None else found
    parts = [by_sensor[sensor] for sensor in sorted(readings)]
    for sensor in sorted(silent):
        guessed, facts = measure_freezes(silent[sensor]["air_temperature"], rules=rules), known[sensor]
        unsure = {"accuracy_c": facts["accuracy_c"], "shielded": facts["shielded"]}
        part = to_frame(guessed, rules, **unsure, transfer_c=transfer_sd(silent[sensor], guessed))
        parts.append(part.assign(sensor=sensor, source="estimated"))
    names = column_names(freeze_columns(rules.thresholds, rules.held_h))
    filled = [part for part in parts if len(part)]
    if not filled:
        return _empty_table(settings)
    table = pd.concat(filled, ignore_index=True).sort_values(["starts", "sensor"], kind="stable", ignore_index=True)
    days = local_days(pd.DatetimeIndex(table["starts"]), settings.zone)
    table["freeze"] = _unique([f"{day} {sensor}" for day, sensor in zip(days, table["sensor"], strict=True)])
    event = _chained(
        table["starts"].to_numpy("M8[ns]").astype(np.int64), table["ends"].to_numpy("M8[ns]").astype(np.int64)
    )
    labels = _unique([days[first] for first in np.unique(event, return_index=True)[1]])
    table["event"] = [labels[number] for number in event]
    table["winter"] = winter_of(pd.DatetimeIndex(table["starts"]), settings)
    return table.astype(dict.fromkeys(_TEXTS, str))[names]


def winter_of(times: pd.DatetimeIndex, settings: Settings) -> list[str]:
    """Name the winter that instants lie in.

    Parameters
    ----------
    times : pandas.DatetimeIndex
        Instants, in UTC.
    settings : Settings
        Of the trial: its zone and latitude; without a latitude it is taken to be north of the equator.

    Returns
    -------
    list of str
        ``"2031-32"`` (July to June) north of the equator, ``"2031"`` (January to December) south of it.

    Examples
    --------
    >>> times = pd.DatetimeIndex(["2031-06-30T12", "2031-07-01T12", "2032-01-31T12"], tz="UTC")
    >>> winter_of(times, Settings("Hill", "Europe/Lisbon"))
    ['2030-31', '2031-32', '2031-32']
    >>> winter_of(times, Settings("Bay", "Australia/Hobart", latitude=-42.9))
    ['2031', '2031', '2032']
    """
    local = times.tz_convert(settings.zone)
    if settings.latitude is not None and settings.latitude < 0:
        return [str(year) for year in local.year]
    begun = local.year - (local.month < _JULY)
    return [f"{year}-{(year + 1) % 100:02d}" for year in begun]


def set_aside(
    freezes: pd.DataFrame, freeze_notes: pd.DataFrame, sensors: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """List the freezes that freeze notes set aside, and for which plants.

    A note speaks of the freezes that overlap its days (the last one included). Without a block it sets them aside for
    all plants; with a block, for the plants of that block, and for all plants where the sensor hangs in that block.

    Parameters
    ----------
    freezes : pandas.DataFrame
        The freezes table.
    freeze_notes : pandas.DataFrame
        The freeze_notes table.
    sensors : pandas.DataFrame
        The sensors table.
    settings : Settings
        Of the trial: its zone.

    Returns
    -------
    pandas.DataFrame
        freeze, block (empty where it counts for no plant at all), note, all_blocks (true or false); in the order of
        the freezes, then of the notes.
    """
    notes = freeze_notes[freeze_notes["set_aside"] == "yes"].reset_index(drop=True)
    if notes.empty or freezes.empty:
        return pd.DataFrame({"freeze": [], "block": [], "note": [], "all_blocks": []}).astype(
            {"freeze": str, "block": str, "note": str, "all_blocks": bool}
        )
    opens = local_midnights(list(notes["from"]), settings.zone)
    closes = local_midnights(list(notes["to"]), settings.zone, after=1)
    starts = nanoseconds(freezes["starts"])
    ends = nanoseconds(freezes["ends"])
    # what ends with the midnight before is over; a freeze without length at that midnight is not
    reaches = (ends[:, None] > opens) | (starts[:, None] >= opens)
    freeze, note = np.nonzero((starts[:, None] < closes) & reaches)
    block = np.array(texts(notes["block"]), dtype=object)[note]
    known = sensors_known(sensors, freezes["sensor"])
    hangs_in = known["block"].reindex(freezes["sensor"]).to_numpy(dtype=object)[freeze]
    everyone = (block == "") | (block == hangs_in)
    return pd.DataFrame(
        {
            "freeze": freezes["freeze"].to_numpy()[freeze],
            "block": np.where(everyone, "", block),
            "note": np.array(texts(notes["note"]), dtype=object)[note],
            "all_blocks": everyone,
        }
    )


def _empty_table(settings: Settings) -> pd.DataFrame:
    columns = freeze_columns(settings.rules.thresholds, settings.rules.held_h)
    kinds = {"time": "datetime64[ns, UTC]", "number": "float64"}
    return pd.DataFrame({c.name: pd.Series([], dtype=kinds.get(c.kind, object)) for c in columns}).astype(
        dict.fromkeys(_TEXTS, str)
    )


def _chained(starts: IntArray, ends: IntArray) -> IntArray:
    """Say which event each span belongs to; the spans come in order of their starts."""
    reached = np.maximum.accumulate(ends)
    return np.cumsum(np.concatenate(([0], starts[1:] > reached[:-1])))


def _unique(names: Sequence[str]) -> list[str]:
    """Give the second of a name a ``b``, the third a ``c``, passing over names that are taken."""
    taken, seen, unique = set(names), Counter[str](), []
    for name in names:
        seen[name] += 1
        chosen, number = name, seen[name]
        while number > 1 and (chosen := f"{name} {_letters(number)}") in taken:
            number += 1
        seen[name] = number
        taken.add(chosen)
        unique.append(chosen)
    return unique


def _letters(number: int) -> str:
    """1 is a, 26 is z, 27 is aa."""
    letters = ""
    while number:
        number, letter = divmod(number - 1, 26)
        letters = chr(ord("a") + letter) + letters
    return letters
