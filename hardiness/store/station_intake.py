"""Taking a public station's file in: its upload, its part, and the station as a sensor, whichever format it came in."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from hardiness.errors import InputError, Problem
from hardiness.read.conditions import CONDITIONS
from hardiness.read.labels import RefusedError, parse_sensor, quote
from hardiness.read.station_data import DAILY_MINIMUM, ESTIMATED, MEASURED, DailyValues, StationData, StationFacts
from hardiness.read.stations import AUTO, read_station
from hardiness.schema import SENSORS
from hardiness.settings import Settings
from hardiness.store.intake import Intake
from hardiness.store.station_distance import distance_to
from hardiness.store.station_readings import station_file
from hardiness.store.store import Store
from hardiness.weather.day_curve import CURVE_SD_C
from hardiness.weather.exposure import ACCURACY_C
from hardiness.words import difference, listed

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
        intake.said.append(_say_series(readings.series, settings.units))
        if readings.conditions:
            told = listed([CONDITIONS[condition].long_name for condition in readings.conditions])
            intake.said.append(f"It also tells {told}: hardiness freezes --air.")
        away, _ = distance_to(readings.facts, settings)
        if away > FAR_KM:
            intake.said.append(f"It lies {away:.0f} km from the trial: other weather may reach it.")
    return intake


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


def _say_series(series: str, units: str) -> str:
    return {
        MEASURED: f"Its accuracy of {difference(ACCURACY_C, units)} is the thermometer's: how the plants' air differs "
        "from the station's is not in it.",
        DAILY_MINIMUM: "Daily minima alone tell no hours: freezes are listed with their minimum only, and scores that"
        " rest on them are left out of the fit. With daily maxima in the file, --hours estimated draws the hours.",
        ESTIMATED: "The hours are drawn through daily minima and maxima, not measured: freezes are marked 'estimated',"
        f" and {difference(CURVE_SD_C, units)} is added to how unsure they are.",
    }[series]
