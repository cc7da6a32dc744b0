"""What a public station's file holds, made into readings, whichever format it came in.

Days become instants here: a daily value stands at the beginning of the station's day. Where hours are asked for they
are drawn through the daily minima and maxima; the upload stays as it came.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from hardiness.errors import InputError, Problem
from hardiness.read.clock import parse_zone
from hardiness.read.repeats import find_firsts
from hardiness.read.station_data import DAILY_MINIMUM, ESTIMATED, MEASURED, DailyValues, StationData
from hardiness.read.station_file import StationFile
from hardiness.settings import Settings
from hardiness.store.parts import air_temperature_of, times_ns
from hardiness.store.station_distance import away_text, distance_to, told_distance
from hardiness.weather.day_curve import draw_hours
from hardiness.weather.days import local_midnights
from hardiness.words import count


def station_file(
    data: StationData,
    settings: Settings,
    *,
    estimated: bool = False,
    timezone: str | None = None,
    file: str = "the file",
) -> StationFile:
    """Make readings of what a station's file holds.

    Parameters
    ----------
    data : StationData
        The file, read.
    settings : Settings
        The trial's: its place, and its zone for days of which the file names none.
    estimated : bool, default False
        Draw hours through daily minima and maxima.
    timezone : str, optional
        Zone of the station's days, where the file names none.
    file : str
        Its name, for messages.

    Returns
    -------
    StationFile

    Raises
    ------
    InputError
        If hours are asked for that cannot be drawn, the zone is none, or there is no reading at all.
    """
    values, said = data.values, list(data.said)
    zone, zone_from = "UTC", "file"
    series, missing = MEASURED, 0
    conditions: dict[str, np.ndarray] = {}
    if isinstance(values, DailyValues):
        zone, zone_from = _zone_of_days(data, settings, timezone)
        if estimated:
            series = ESTIMATED
            times, degrees, rows = _drawn(data, values, settings, file)
            drawable = values.maximum_c >= values.minimum_c  # False also where one is missing
            if undrawn := int(np.count_nonzero(~drawable)):
                without = f"{count(undrawn, 'day')} without a minimum and a maximum above it"
                said.append(f"{without}: not drawn, nor the nights beside.")
        else:
            series = DAILY_MINIMUM
            there = np.isfinite(values.minimum_c)
            missing = int(np.count_nonzero(~there))
            days = [day.item() for day in values.days[there]]
            times = local_midnights(days, parse_zone(zone)).astype("M8[ns]")
            degrees, rows = values.minimum_c[there], values.rows[there]
    elif estimated:
        raise InputError(
            Problem(
                "readings by instant",
                "daily minima and maxima, to draw hours through",
                file=file,
                hint="Leave --hours estimated out: the hours are there.",
            )
        )
    else:
        series = ESTIMATED if data.estimated else MEASURED
        there = np.isfinite(values.temperature_c)
        missing = int(np.count_nonzero(~there))
        times, degrees, rows = values.times[there], values.temperature_c[there], values.rows[there]
        conditions = {name: beside[there] for name, beside in values.conditions.items()}
    if degrees.size == 0:
        raise InputError(Problem("no temperature that counts", "temperatures", file=file))
    first, interval, repeats = find_firsts(
        times, degrees, rows, resolution_c=data.resolution_c, file=file, column=data.temperature_column
    )
    if repeats:
        said.append(f"{count(repeats, 'row')} with an instant and temperature that is there already: the first stays.")
    if missing:
        said.append(f"{count(missing, 'day' if isinstance(values, DailyValues) else 'instant')} without a temperature.")
    if zone_from == "default":
        said.append(f"The file names no zone for its days: taken as {zone}, the trial's; --timezone names another.")
    facts = data.facts
    away, higher = distance_to(facts, settings)
    provenance: dict[str, str | float] = {"file_format": data.file_format, **data.provenance}
    provenance |= {
        name: text for name, text in (("station_id", facts.station_id), ("station_name", facts.name)) if text
    }
    provenance |= told_distance(away, higher)
    return StationFile(
        air_temperature=_labelled(times[first], degrees[first]),
        rows=rows[first],
        resolution_c=data.resolution_c,
        unit=data.unit,
        timezone=zone,
        timezone_from=zone_from,
        time_column="time",
        temperature_column=data.temperature_column,
        interval_min=interval,
        missing=missing,
        said=said,
        series=series,
        facts=facts,
        provenance=provenance,
        notes=_notes(data, away, higher),
        conditions={name: beside[first] for name, beside in conditions.items()},
    )


def _zone_of_days(data: StationData, settings: Settings, timezone: str | None) -> tuple[str, str]:
    if data.facts.timezone:
        return data.facts.timezone, "file"
    if timezone is not None:
        parse_zone(timezone)
        return timezone, "option"
    return settings.timezone, "default"


def _drawn(
    data: StationData, values: DailyValues, settings: Settings, file: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    both = np.isfinite(values.minimum_c) & np.isfinite(values.maximum_c)
    if not both.any():
        raise InputError(
            Problem(
                "no day with a minimum and a maximum",
                "both, to draw hours through",
                file=file,
                hint="Leave --hours estimated out to take the minima alone.",
            )
        )
    latitude = data.facts.latitude if data.facts.latitude is not None else settings.latitude
    longitude = data.facts.longitude if data.facts.longitude is not None else settings.longitude
    if latitude is None or longitude is None:
        hint = "Give --latitude and --longitude of the station, or set latitude and longitude in trial.toml."
        raise InputError(
            Problem(
                "no place of the station, and none of the trial",
                "a place, for sunrise and sunset",
                file=file,
                hint=hint,
            )
        )
    return draw_hours(values, latitude, longitude)


def _labelled(times: np.ndarray, degrees: np.ndarray) -> xr.DataArray:
    return air_temperature_of(times_ns(times), np.asarray(degrees, np.float64))


def _notes(data: StationData, away_km: float, higher_m: float) -> str:
    named = " ".join(part for part in (data.facts.station_id, data.facts.name) if part)
    place = away_text(away_km, higher_m)
    return f"Public station{f' {named}' if named else ''}, from {data.source}{f'; {place}' if place else ''}."
