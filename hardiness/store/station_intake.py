"""Taking a public station's file in: its upload, its part, and the station as a sensor, whichever format it came in.

Days become instants here: a daily value stands at the beginning of the station's day. Where hours are asked for they
are drawn through the daily minima and maxima; the upload stays as it came.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import xarray as xr

from hardiness.errors import InputError, Problem
from hardiness.read.clock import parse_zone
from hardiness.read.conditions import CONDITIONS
from hardiness.read.labels import RefusedError, parse_sensor, quote
from hardiness.read.repeats import find_firsts
from hardiness.read.station_data import DAILY_MINIMUM, ESTIMATED, MEASURED, DailyValues, StationData, StationFacts
from hardiness.read.station_file import StationFile
from hardiness.read.stations import AUTO, read_station
from hardiness.schema import SENSORS
from hardiness.settings import Settings
from hardiness.store.intake import Intake
from hardiness.store.parts import air_temperature_of, times_ns
from hardiness.store.store import Store
from hardiness.weather.day_curve import draw_hours
from hardiness.weather.days import local_midnights
from hardiness.weather.sensors import great_circle_km
from hardiness.words import count, listed

FAR_KM = 100.0  # [km] beyond which a station seldom shares a night's weather: common practice, no source


def add_station(
    store: Store,
    settings: Settings,
    upload: Path | bytes,
    *,
    station: str,
    file_format: str = AUTO,
    name: str | None = None,
    station_id: str | None = None,
    estimated: bool = False,
    only_daily: bool = False,
    timezone: str | None = None,
    place: StationFacts | None = None,
    provenance: Mapping[str, str | float] | None = None,
) -> Intake:
    """Take in a station's file, all of it or nothing; an unknown station is created as a sensor.

    Parameters
    ----------
    store : Store
        The trial's store.
    settings : Settings
        The trial's settings.
    upload : Path or bytes
        The file.
    station : str
        The sensor that its readings are of.
    file_format : str, default "auto"
        See :func:`hardiness.read.stations.read_station`.
    name : str, optional
        The file's name; None: that of ``upload``.
    station_id : str, optional
        Which station, where the file holds several.
    estimated : bool, default False
        Draw hours through daily minima and maxima.
    only_daily : bool, default False
        Refuse a file that holds readings by instant.
    timezone : str, optional
        Zone of the station's days, where the file does not say; None: the trial's.
    place : StationFacts, optional
        Place and height of the station, where the file does not say.
    provenance : mapping, optional
        What is kept with the readings besides what the file says.

    Returns
    -------
    Intake

    Raises
    ------
    InputError
        With every fault of the file; if the sensor is a logger, or has readings of another kind; if hours are asked for
        that cannot be drawn. Nothing was stored.
    StoreError
        If the machine could not store it.
    """
    station = _station_name(store, station)
    file = name or (upload.name if isinstance(upload, Path) else "station.csv")
    data = _read(upload, file_format, file, station_id)
    if only_daily and not isinstance(data.values, DailyValues):
        hint = "Leave --daily out to take them as they are."
        raise InputError(Problem("readings by instant", "daily minima, as --daily says", file=file, hint=hint))
    data = replace(data, facts=_filled(data.facts, place))
    readings = station_file(data, settings, estimated=estimated, timezone=timezone, file=file)
    readings = replace(readings, provenance={**readings.provenance, **(provenance or {})})
    options = {
        "format": None if file_format == AUTO else file_format,
        "hours": ESTIMATED if estimated else None,
        "timezone": timezone,
        "id": station_id,
        "source": " ".join(part for part in (data.source, data.facts.station_id) if part),  # the file's own words
    }
    intake = store.add_readings(readings, upload, sensor=station, options=options, name=file)
    if not intake.repeated:
        intake.said.append(_say_series(readings.series))
        if readings.conditions:
            told = listed([CONDITIONS[condition].long_name for condition in readings.conditions])
            intake.said.append(f"It also tells {told}: hardiness freezes --air.")
        away, _ = distance_to(readings.facts, settings)
        if away > FAR_KM:
            intake.said.append(f"It lies {away:.0f} km from the trial: other weather may reach it.")
    return intake


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
            times = local_midnights(days, parse_zone(zone)).astype("M8[ns]")  # type: ignore[arg-type]
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
    if not math.isnan(away):
        provenance["distance_km"] = round(away, 1)
    if not math.isnan(higher):
        provenance["height_difference_m"] = round(higher)
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


def distance_to(facts: StationFacts, settings: Settings) -> tuple[float, float]:
    """Measure how far a station lies from the trial, and how much higher.

    Parameters
    ----------
    facts : StationFacts
        The station.
    settings : Settings
        The trial's: its place and height.

    Returns
    -------
    distance_km : float
        NaN where a place is not known. [km]
    higher_m : float
        Station minus trial; NaN where a height is not known. [m]

    Examples
    --------
    >>> station = StationFacts("S", latitude=41.0, longitude=-8.0, elevation_m=50.0)
    >>> away, higher = distance_to(station, Settings("Hill", "Europe/Lisbon", latitude=41.0, longitude=-7.0))
    >>> round(away), higher
    (84, nan)
    """
    places = (settings.latitude, settings.longitude, facts.latitude, facts.longitude)
    here_north, here_east, north, east = (math.nan if degrees is None else degrees for degrees in places)
    away = float(great_circle_km(here_north, here_east, np.array([north]), np.array([east]))[0])
    heights = (facts.elevation_m, settings.elevation_m)
    higher = math.nan if None in heights else float(heights[0] or 0.0) - float(heights[1] or 0.0)
    return away, higher


def away_text(away_km: float, higher_m: float) -> str:
    """Write how far a station lies and how much higher.

    Parameters
    ----------
    away_km : float
        NaN where not known. [km]
    higher_m : float
        NaN where not known. [m]

    Returns
    -------
    str
        Empty where neither is known.

    Examples
    --------
    >>> away_text(12.34, -41.0)
    '12.3 km from the trial, 41 m lower'
    """
    away = "" if math.isnan(away_km) else f"{away_km:.1f} km from the trial"
    level = (
        "at its height"
        if round(higher_m if higher_m == higher_m else 0) == 0
        else (f"{abs(higher_m):.0f} m {'higher' if higher_m > 0 else 'lower'}")
    )
    return ", ".join(part for part in (away, "" if math.isnan(higher_m) else level) if part)


def _station_name(store: Store, station: str) -> str:
    try:
        name = parse_sensor(station)
    except RefusedError as error:
        raise InputError(Problem(error.found, error.accepted, file="--station", hint=error.hint)) from None
    sensors = store.current(SENSORS.name).set_index("sensor")
    if name in sensors.index and sensors.loc[name, "kind"] != "station":
        raise InputError(
            Problem(f"sensor {quote(name)}, which is a logger", "a station, or a name that is new", file="--station")
        )
    return name


def _read(upload: Path | bytes, file_format: str, file: str, station_id: str | None) -> StationData:
    if isinstance(upload, Path):
        return read_station(upload, file_format=file_format, name=file, station_id=station_id)
    with tempfile.TemporaryDirectory(prefix="hardiness-") as folder:
        path = Path(folder) / "upload"
        path.write_bytes(upload)
        return read_station(path, file_format=file_format, name=file, station_id=station_id)


def _filled(facts: StationFacts, place: StationFacts | None) -> StationFacts:
    """What the file says of the station, and where it says nothing what the user does."""
    if place is None:
        return facts
    pairs = {name: (getattr(facts, name), getattr(place, name)) for name in ("latitude", "longitude", "elevation_m")}
    return replace(facts, **{name: given if own is None else own for name, (own, given) in pairs.items()})


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


def _say_series(series: str) -> str:
    return {
        MEASURED: "Its accuracy of 0.5 K is the thermometer's: how the plants' air differs from the station's is not in"
        " it.",
        DAILY_MINIMUM: "Daily minima alone tell no hours: freezes are listed with their minimum only, and scores that"
        " rest on them are left out of the fit. With daily maxima in the file, --hours estimated draws the hours.",
        ESTIMATED: "The hours are drawn through daily minima and maxima, not measured: freezes are marked 'estimated',"
        " and 1.4 K is added to how unsure they are.",
    }[series]
