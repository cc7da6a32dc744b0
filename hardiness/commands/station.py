"""Verbs for public stations: which are near, fetching one's temperatures, and taking a file of one in."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from hardiness.commands.groups import NearNames
from hardiness.commands.intake import say_intake
from hardiness.commands.output import csv_option, deliver, say, trial_folder, trial_option
from hardiness.errors import InputError, Problem
from hardiness.read.station_data import ESTIMATED, StationFacts
from hardiness.read.station_package import LIMIT_S
from hardiness.read.station_service import StationService
from hardiness.read.stations import AUTO, FORMATS
from hardiness.schema import Column
from hardiness.settings import Settings
from hardiness.store.station_fetch import fetch_station
from hardiness.store.station_intake import add_station
from hardiness.store.station_overview import stations_of
from hardiness.trial import open_trial

NEAR = (
    Column("station", "identifier for `station fetch`"),
    Column("name", "its name"),
    Column("distance_km", "from the trial", "number", "km"),
    Column("height_difference_m", "station minus trial", "number", "m"),
    Column("elevation_m", "above the sea", "number", "m"),
    Column("hourly_from", "first day of hourly temperatures", "date"),
    Column("hourly_to", "last day", "date"),
    Column("daily_from", "first day of daily minima", "date"),
    Column("daily_to", "last day", "date"),
    Column("country", "where"),
    Column("latitude", "north is positive", "number", "degree"),
    Column("longitude", "east is positive", "number", "degree"),
)
HELD = (
    Column("sensor", "the station's name in this trial"),
    Column("distance_km", "from the trial", "number", "km"),
    Column("height_difference_m", "station minus trial", "number", "m"),
    Column("holds", "which kind of readings"),
    Column("readings", "how many count", "integer"),
    Column("first", "its first reading", "time"),
    Column("last", "its last reading", "time"),
    Column("notes", "where they are from"),
)
DAY = click.DateTime(["%Y-%m-%d"])
limit_option = click.option("--time-limit", type=click.FloatRange(min=0, min_open=True), default=LIMIT_S, metavar="S",
                            help=f"Seconds that the service may take to answer [{LIMIT_S:g}].")  # fmt: skip
hours_option = click.option("--hours", type=click.Choice([ESTIMATED]),
                            help="Draw the hours through daily minima and maxima.")  # fmt: skip


@click.group(cls=NearNames)
@trial_option
def station(trial: str | None) -> None:
    """Use the temperatures of public stations, from the network or from files in open formats."""


@station.command()
@click.option("--radius", type=click.FloatRange(1, 1000), default=100.0, metavar="KM", help="How far to look [100].")
@click.option("--count", type=click.IntRange(1, 500), default=10, metavar="N", help="How many at most [10].")
@limit_option
@csv_option
@trial_option
def near(radius: float, count: int, time_limit: float, csv: str | None, trial: str | None) -> None:
    """List the stations near the trial: how far, how much higher, and from when to when they measured."""
    with open_trial(trial_folder(trial)) as opened:
        settings = opened.settings
    latitude, longitude = _place_of(settings)
    service = StationService(limit_s=time_limit)
    table, said = service.stations.near(latitude, longitude, radius_km=radius, count=count)
    here = float("nan") if settings.elevation_m is None else settings.elevation_m
    deliver(table.assign(height_difference_m=table["elevation_m"] - here), NEAR, settings, csv,
            ("station", "distance_km", "height_difference_m", "hourly_from", "hourly_to", "name"))  # fmt: skip
    say(said)
    if table.empty:
        say(f"No station within {radius:g} km: --radius looks further.")
    elif settings.elevation_m is None:
        say("Set elevation_m in trial.toml to see how much higher each station stands.")


@station.command()
@click.argument("station_id", metavar="STATION")
@click.option("--from", "first", type=DAY, metavar="DATE", help="First day [the running winter's].")
@click.option("--to", "last", type=DAY, metavar="DATE", help="Last day [today].")
@click.option("--daily", is_flag=True, help="Daily minima and maxima, where there are no hours.")
@hours_option
@click.option("--with-model", is_flag=True, help="Take values filled in by a weather model too; they are marked.")
@click.option("--station", "name", metavar="NAME", help="What to call it [its identifier].")
@limit_option
@trial_option
def fetch(
    station_id: str,
    first: dt.datetime | None,
    last: dt.datetime | None,
    daily: bool,
    hours: str | None,
    with_model: bool,
    name: str | None,
    time_limit: float,
    trial: str | None,
) -> None:
    """Fetch the temperatures of STATION, by its identifier in `station near`.

    What came is kept in the trial as a file, so that it stays the same without a network.
    """
    service = StationService(limit_s=time_limit)
    with open_trial(trial_folder(trial)) as opened, _years_bar() as bar:
        task = bar.add_task(station_id, total=None)
        intake = fetch_station(
            opened.store,
            opened.settings,
            service,
            station_id,
            first=None if first is None else first.date(),
            last=None if last is None else last.date(),
            daily=daily,
            estimated=hours == ESTIMATED,
            with_model=with_model,
            station=name,
            progress=lambda done, whole: bar.update(task, completed=done, total=whole),
        )
    say_intake(intake)


@station.command("add")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--station", "name", required=True, metavar="NAME", help="What to call the station.")
@click.option("--format", "file_format", type=click.Choice([AUTO, *FORMATS]), default=AUTO,
              help="The file's format [told by its beginning].")  # fmt: skip
@click.option("--id", "station_id", metavar="ID", help="Which station, where the file holds several.")
@click.option("--daily", is_flag=True, help="The file holds daily minima; refuse any other.")
@hours_option
@click.option("--timezone", metavar="TZ", help="Zone of the station's days [the trial's].")
@click.option(
    "--latitude", type=click.FloatRange(-90, 90), metavar="DEG", help="Where the station is, if the file does not say."
)
@click.option("--longitude", type=click.FloatRange(-180, 180), metavar="DEG", help="North and east are positive.")
@click.option("--elevation", type=click.FloatRange(-450, 6000), metavar="M", help="Its height above the sea.")
@trial_option
def add(
    file: Path,
    name: str,
    file_format: str,
    station_id: str | None,
    daily: bool,
    hours: str | None,
    timezone: str | None,
    latitude: float | None,
    longitude: float | None,
    elevation: float | None,
    trial: str | None,
) -> None:
    """Take in a station's FILE: GHCN-Daily (.dly or CSV), ISD-Lite, CF NetCDF; text may be gzipped."""
    with open_trial(trial_folder(trial)) as opened:
        intake = add_station(
            opened.store,
            opened.settings,
            file,
            station=name,
            file_format=file_format,
            station_id=station_id,
            estimated=hours == ESTIMATED,
            only_daily=daily,
            timezone=timezone,
            place=StationFacts(latitude=latitude, longitude=longitude, elevation_m=elevation),
        )
    say_intake(intake)


@station.command("list")
@csv_option
@trial_option
def list_stations(csv: str | None, trial: str | None) -> None:
    """List the stations that the trial holds: how far, what kind of readings, from when to when, and where from."""
    with open_trial(trial_folder(trial)) as opened:
        table = stations_of(opened.store, opened.settings)
        deliver(table, HELD, opened.settings, csv, ("sensor", "distance_km", "holds", "first", "last", "notes"))
    if table.empty:
        say("The trial holds no station yet: hardiness station near lists those around it.")


def _years_bar() -> Progress:
    """A bar of years on stderr; nothing is shown in a pipe."""
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}, years"), BarColumn(), MofNCompleteColumn())
    return Progress(*columns, console=console, disable=not console.is_terminal, transient=True)


def _place_of(settings: Settings) -> tuple[float, float]:
    """The trial's place, which stations are near to."""
    missing = [name for name in ("latitude", "longitude") if getattr(settings, name) is None]
    if settings.latitude is None or settings.longitude is None:
        hint = "Set both in trial.toml, such as: latitude = 41.2 and longitude = -7.5 (north and east are positive)."
        raise InputError(Problem(f"no {' and no '.join(missing)}", "the trial's latitude and longitude",
                                 file="trial.toml", hint=hint))  # fmt: skip
    return settings.latitude, settings.longitude
