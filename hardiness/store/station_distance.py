"""How far a public station lies from the trial, and how much higher."""

from __future__ import annotations

import math

import numpy as np

from hardiness.read.station_data import StationFacts
from hardiness.settings import Settings
from hardiness.weather.sensors import great_circle_km


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


def told_distance(away_km: float, higher_m: float) -> dict[str, float]:
    """Give how far a station lies and how much higher as it is kept with its readings: rounded, where it is known.

    Parameters
    ----------
    away_km : float
        NaN where not known. [km]
    higher_m : float
        NaN where not known. [m]

    Returns
    -------
    dict of str to float
        ``distance_km`` and ``height_difference_m``.

    Examples
    --------
    >>> told_distance(12.34, -41.2), told_distance(math.nan, math.nan)
    ({'distance_km': 12.3, 'height_difference_m': -41}, {})
    """
    known = {} if math.isnan(away_km) else {"distance_km": round(away_km, 1)}
    return known if math.isnan(higher_m) else {**known, "height_difference_m": round(higher_m)}


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
