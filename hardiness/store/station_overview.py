"""The public stations of a trial: how far, which kind of readings, from when to when, and where they are from."""

from __future__ import annotations

import pandas as pd

from hardiness.read.station_data import StationFacts, series_of_attributes
from hardiness.schema import SENSORS
from hardiness.settings import Settings
from hardiness.store.station_distance import distance_to
from hardiness.store.station_parts import IN_WORDS
from hardiness.store.view import StoreView

COLUMNS = ("sensor", "distance_km", "height_difference_m", "holds", "readings", "first", "last", "notes")


def stations_of(store: StoreView, settings: Settings) -> pd.DataFrame:
    """List the public stations of a trial, the nearest first.

    Parameters
    ----------
    store : StoreView
        The trial's store.
    settings : Settings
        The trial's settings.

    Returns
    -------
    pandas.DataFrame
        sensor, distance_km [km] and height_difference_m [m] (NaN where not known), holds (the kind of its readings in
        words, empty without any), readings (how many count), first and last [UTC], notes (where they are from).

    Raises
    ------
    StoreError
        If a part's file is gone or damaged.
    """
    sensors = store.current(SENSORS.name)
    readings = store.readings_lazily()  # loggers are none of its business
    rows = []
    for row in sensors[sensors["kind"] == "station"].to_dict("records"):
        latitude, longitude, height = (
            None if pd.isna(row[name]) else float(row[name]) for name in ("latitude", "longitude", "elevation_m")
        )
        facts = StationFacts(latitude=latitude, longitude=longitude, elevation_m=height)
        away, higher = distance_to(facts, settings)
        air = readings.get(row["sensor"])
        times = pd.DatetimeIndex([] if air is None else air["time"].to_numpy()).tz_localize("UTC")
        holds = "" if air is None else IN_WORDS[series_of_attributes(air.attrs)]
        span = (times[0], times[-1]) if len(times) else (pd.NaT, pd.NaT)
        rows.append((row["sensor"], away, higher, holds, len(times), *span, row["notes"]))
    table = pd.DataFrame(rows, columns=list(COLUMNS)).sort_values(["distance_km", "sensor"], ignore_index=True)
    kinds = {"first": "datetime64[ns, UTC]", "last": "datetime64[ns, UTC]", "readings": "int64"}
    return table.astype({**kinds, "distance_km": float, "height_difference_m": float})
