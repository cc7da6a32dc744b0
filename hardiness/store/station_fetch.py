"""Fetching a public station's temperatures: what came is written as a file, and taken in like any file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from hardiness.read.station_service import TERMS, Fetched, StationService
from hardiness.read.station_table import station_table
from hardiness.settings import Settings
from hardiness.store.intake import Intake
from hardiness.store.station_distance import distance_to, told_distance
from hardiness.store.station_intake import add_station
from hardiness.store.store import Store
from hardiness.words import count, listed

_JULY = 7  # the first month of a northern winter


def fetch_station(
    store: Store,
    settings: Settings,
    service: StationService,
    station_id: str,
    *,
    first: dt.date | None = None,
    last: dt.date | None = None,
    daily: bool = False,
    estimated: bool = False,
    with_model: bool = False,
    station: str | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Intake:
    """Fetch a station's temperatures and take them in.

    Parameters
    ----------
    store : Store
        The trial's store.
    settings : Settings
        The trial's settings.
    service : StationService
        Where to ask.
    station_id : str
        The station's identifier there.
    first, last : datetime.date, optional
        From the first to the last day; None: from the beginning of the running winter, until today.
    daily : bool, default False
        Daily minima and maxima instead of hours.
    estimated : bool, default False
        Draw hours through the daily minima and maxima; asks for them.
    with_model : bool, default False
        Take values filled in by a weather model too.
    station : str, optional
        The sensor that its readings are of; None: its identifier, with ``daily`` or ``estimated`` behind it.
    progress : callable, optional
        Told the years done and in all.

    Returns
    -------
    Intake

    Raises
    ------
    InputError
        If the service does not answer, has nothing, or what came cannot be taken in.
    """
    daily = daily or estimated
    facts = service.stations.facts(station_id)
    today = service.today
    first = first if first is not None else winter_began(today, settings.latitude)
    last = last if last is not None else today
    fetched = service.fetch(facts, first, last, daily=daily, with_model=with_model, progress=progress)
    values = fetched.values
    told = told_distance(*distance_to(facts, settings))
    above = {
        "station": facts.station_id,
        "name": facts.name,
        "latitude": facts.latitude,
        "longitude": facts.longitude,
        "elevation_m": facts.elevation_m,
        "timezone": facts.timezone,
        "series": "daily" if daily else "hourly",
        "distance_km": told.get("distance_km"),
        "height_difference_m": told.get("height_difference_m"),
        "model_values": "marked" if with_model else f"{fetched.left_out} left out",
        "terms": TERMS,
    }
    days = values[values.columns[0]].dt.strftime("%Y-%m-%d")
    kind = "daily" if daily else "hourly"
    ending = " estimated" if estimated else " daily" if daily else ""
    intake = add_station(
        store,
        settings,
        station_table(values, above).encode(),
        station=station if station is not None else f"{facts.station_id}{ending}",
        name=f"station-{facts.station_id}-{kind}-{days.iloc[0]}-to-{days.iloc[-1]}.csv",
        estimated=estimated,
        provenance={"fetched_at": dt.datetime.now(dt.UTC).isoformat(timespec="seconds")},
    )
    intake.said[:0] = _say_fetched(fetched)
    return intake


def winter_began(today: dt.date, latitude: float | None) -> dt.date:
    """Give the first day of the winter that a day lies in.

    Parameters
    ----------
    today : datetime.date
        The day.
    latitude : float or None
        Of the trial; without one it is taken to be north of the equator. [degree]

    Returns
    -------
    datetime.date

    Examples
    --------
    >>> winter_began(dt.date(2032, 2, 1), 41.2), winter_began(dt.date(2032, 2, 1), -42.0)
    (datetime.date(2031, 7, 1), datetime.date(2032, 1, 1))
    """
    if latitude is not None and latitude < 0:
        return dt.date(today.year, 1, 1)
    return dt.date(today.year - (today.month < _JULY), _JULY, 1)


def _say_fetched(fetched: Fetched) -> list[str]:
    said = []
    if fetched.left_out:
        said.append(
            f"{count(fetched.left_out, 'value')} filled in by a weather model left out; --with-model takes them, marked"
            " as such."
        )
    if fetched.missing_years:
        said.append(f"The service has nothing of {listed([str(year) for year in fetched.missing_years])}.")
    return said
