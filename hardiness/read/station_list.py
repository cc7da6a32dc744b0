"""The list of public stations: which are near a place, and from when to when they measured."""

from __future__ import annotations

import datetime as dt
import re
import sqlite3
import uuid
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import available_timezones

import meteostat
import meteostat.core.network
import meteostat.core.providers
import pandas as pd

from hardiness.errors import InputError, Problem
from hardiness.read.station_data import StationFacts
from hardiness.read.station_package import DAY_S, WAY_OUT, Package, model_sources

LIST_DAYS = 7  # [day] that the list of stations is good for
_STATION = re.compile(r"[A-Z0-9]{3,12}")
_TABLES = {"stations", "names", "inventory", "identifiers"}


class StationList:
    """The list, fetched anew when it is old or damaged.

    Parameters
    ----------
    package : Package
        The package that asks the service.
    """

    def __init__(self, package: Package) -> None:
        self._package = package

    def near(
        self, latitude: float, longitude: float, *, radius_km: float, count: int
    ) -> tuple[pd.DataFrame, list[str]]:
        """List the stations near a place, by distance.

        Parameters
        ----------
        latitude, longitude : float
            The place. [degree]
        radius_km : float
            How far to look. [km]
        count : int
            How many at most.

        Returns
        -------
        stations : pandas.DataFrame
            station, name, country, latitude, longitude [degree], elevation_m, distance_km, hourly_from, hourly_to,
            daily_from, daily_to (dates of the first and last temperature, None where there is none).
        said : list of str
            Sentences for the user.

        Raises
        ------
        InputError
            If the service does not answer or sends what is no list.
        """
        with self._package.set_up():
            said = self._ready_list()
            found = self._package.asked(
                lambda: meteostat.stations.nearby(
                    meteostat.Point(latitude, longitude), radius=int(radius_km * 1000), limit=count
                )
            )
            ids = [str(name) for name in found.index]
            inventory = self._package.asked(lambda: meteostat.stations.inventory(ids).df) if ids else None
        spans = {name: _spans_of(inventory, name) for name in ids}
        return pd.DataFrame(
            {
                "station": ids,
                "name": [_text(name) for name in found["name"]],
                "country": [_text(country) for country in found["country"]],
                "latitude": found["latitude"].astype(float).to_numpy(),
                "longitude": found["longitude"].astype(float).to_numpy(),
                "elevation_m": pd.to_numeric(found["elevation"]).astype(float).to_numpy(),
                "distance_km": found["distance"].astype(float).to_numpy() / 1000.0,
                "hourly_from": [spans[name][0] for name in ids],
                "hourly_to": [spans[name][1] for name in ids],
                "daily_from": [spans[name][2] for name in ids],
                "daily_to": [spans[name][3] for name in ids],
            }
        ), said

    def facts(self, station: str) -> StationFacts:
        """Give what the service knows of a station.

        Parameters
        ----------
        station : str
            Its identifier there.

        Returns
        -------
        StationFacts

        Raises
        ------
        InputError
            If there is no such station, or the service does not answer.
        """
        name = station.strip().upper()
        unknown = Problem(f"station '{station}'", "the identifier of a station that the service knows",
                          hint="hardiness station near lists those around the trial.")  # fmt: skip
        if not _STATION.fullmatch(name):
            raise InputError(unknown)
        with self._package.set_up():
            self._ready_list()
            meta = self._package.asked(lambda: meteostat.stations.meta(name))
        if meta is None:
            raise InputError(unknown)
        numbers = (_number(meta.latitude), _number(meta.longitude), _number(meta.elevation))
        zone = _text(meta.timezone)
        return StationFacts(name, _text(meta.name), *numbers, zone if zone in available_timezones() else "")

    def _ready_list(self) -> list[str]:
        """Have a whole list of stations at hand; an old one serves where the service does not answer."""
        path = self._package.cache / "stations.db"
        whole = _is_station_list(path)
        age_days = (dt.datetime.now(dt.UTC).timestamp() - path.stat().st_mtime) / DAY_S if whole else float("inf")
        said: list[str] = []
        if age_days > LIST_DAYS:
            try:
                self._fetch_list(path)
            except InputError:
                if not whole:
                    raise
                said.append(f"The station service did not answer: this list of stations is {age_days:.0f} days old.")
        meteostat.config.stations_db_file = str(path)
        return said

    def _fetch_list(self, path: Path) -> None:
        # The package writes the list in place: a name of its own until it is whole.
        passing = path.with_name(f"{uuid.uuid4().hex}.unfinished")
        problems: list[InputError] = []
        for url in meteostat.config.stations_db_endpoints:
            try:
                if self._package.has_file(url):
                    break
                host = urlsplit(url).hostname
                problems.append(InputError(f"The station service at {host} has no list of stations. {WAY_OUT}"))
            except InputError as error:
                problems.append(error)
        else:
            raise problems[0]
        mirrors = meteostat.config.stations_db_endpoints
        get = meteostat.core.network.network_service.get_from_mirrors
        try:
            response = self._package.asked(lambda: get(mirrors))
            if response is not None:
                passing.write_bytes(response.content)
            if not _is_station_list(passing):
                raise InputError(f"The list of stations that the service sent is damaged or cut off. {WAY_OUT}")
            passing.replace(path)
        finally:
            passing.unlink(missing_ok=True)


def _spans_of(inventory: pd.DataFrame | None, station: str) -> tuple[dt.date | None, ...]:
    """First and last day of hourly temperatures, and of daily minima; what a weather model gives is not measured."""
    providers = meteostat.core.providers.provider_service.providers
    model = model_sources()
    spans: list[dt.date | None] = []
    for granularity, parameter in (("hourly", "temp"), ("daily", "tmin")):
        kind = {str(one.id) for one in providers if str(one.granularity) == granularity} - model
        days: list[tuple[str, str]] = []
        if inventory is not None:
            table = inventory.reset_index()
            mine = table["station"].eq(station) & table["parameter"].eq(parameter) & table["provider"].isin(kind)
            days = [(str(row.start), str(row.end)) for row in table[mine].itertuples(index=False)]
        spans += [
            dt.date.fromisoformat(min(first for first, _ in days)[:10]) if days else None,
            dt.date.fromisoformat(max(last for _, last in days)[:10]) if days else None,
        ]
    return tuple(spans)


def _is_station_list(path: Path) -> bool:
    """Whether a file is a whole list of stations: SQLite, with the tables that are asked."""
    if not path.is_file():
        return False
    try:
        connection = sqlite3.connect(path)
        try:
            whole = connection.execute("PRAGMA quick_check").fetchone() == ("ok",)
            tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
        finally:
            connection.close()
    except sqlite3.Error:
        return False
    return whole and tables >= _TABLES


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value)


def _number(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)
