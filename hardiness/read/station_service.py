"""Public stations over the network, by way of the package meteostat: what they measured.

The host is asked first, with a time limit, so that "no network", "no data" and "damaged" are told apart. Years that may
still change are never taken from the package's cache. What was fetched becomes a file of the trial
(``read/station_table.py``). Values that the service fills in from a weather model are told by their source, and left
out unless asked for.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import meteostat
import meteostat.providers.meteostat.daily
import meteostat.providers.meteostat.hourly
import numpy as np
import pandas as pd

from hardiness.errors import InputError, Problem
from hardiness.read.station_data import StationFacts
from hardiness.read.station_list import StationList
from hardiness.read.station_package import LIMIT_S, WAY_OUT, Package, model_sources

SETTLED_YEARS = 2  # years before the present one and the last do not change any more
# the service's names, and ours
BESIDE = {"rhum": "humidity_percent", "wspd": "wind_km_h", "wdir": "wind_from_degree", "cldc": "cloud_oktas"}
TERMS = "Meteostat (CC BY 4.0) and the national weather services that its sources name"


@dataclass(frozen=True, slots=True, eq=False)
class Fetched:
    """What was fetched of one station.

    Parameters
    ----------
    values : pandas.DataFrame
        Columns of :data:`hardiness.read.station_table.HOURLY` or ``DAILY``; ``model`` as bool, times in UTC. [degC]
        Beside hours what was measured of ``station_table.IN_COLUMNS``: never a model's.
    left_out : int
        Values filled in by a weather model that were left out.
    missing_years : list of int
        Years of which the service has nothing.
    """

    values: pd.DataFrame
    left_out: int
    missing_years: list[int]


class StationService:
    """The service, asked with a time limit.

    Parameters
    ----------
    cache : Path, optional
        Where to keep what was fetched for a while; None: the platform's folder.
    limit_s : float, default 20
        Time limit of each answer. [s]
    now : datetime.datetime, optional
        The present instant with its zone, for what is settled and what is over; None: by the clock.
    """

    def __init__(self, cache: Path | None = None, *, limit_s: float = LIMIT_S, now: dt.datetime | None = None) -> None:
        self._package = Package(cache, limit_s=limit_s, now=now)
        self.stations = StationList(self._package)

    @property
    def today(self) -> dt.date:
        """The present day in UTC, as the service takes it."""
        return self._package.now.date()

    def fetch(
        self,
        facts: StationFacts,
        first: dt.date,
        last: dt.date,
        *,
        daily: bool = False,
        with_model: bool = False,
        progress: Callable[[int, int], None] | None = None,
    ) -> Fetched:
        """Fetch a station's temperatures.

        Parameters
        ----------
        facts : StationFacts
            The station, as the list of stations gives it.
        first, last : datetime.date
            From the first to the last day, both included; days that are not over yet are left out.
        daily : bool, default False
            Daily minima and maxima instead of hours.
        with_model : bool, default False
            Take values that the service filled in from a weather model too; they are marked.
        progress : callable, optional
            Told the years done and in all.

        Returns
        -------
        Fetched

        Raises
        ------
        InputError
            If the service does not answer in time, has nothing of the station in that span, or sends what cannot be
            read; each with a sentence of its own.
        """
        if last < first:
            raise InputError(Problem(f"from {first} to {last}", "a first day that is not after the last one"))
        years = list(range(first.year, min(last, self.today).year + 1))
        frames, missing = [], []
        with self._package.set_up():
            for done, year in enumerate(years):
                if progress is not None:
                    progress(done, len(years))
                frame = self._year(facts, year, daily)
                if frame is None:
                    missing.append(year)
                else:
                    frames.append(frame)
        kind = "daily minima" if daily else "hourly temperatures"
        what = f"The station service has no {kind} of station {facts.station_id} from {first} to {last}"
        empty = f"{what}. hardiness station near shows from when to when each station measured."
        if not frames:
            raise InputError(empty)
        values = pd.concat(frames, ignore_index=True)
        days = values[values.columns[0]]
        # hours to come are forecasts, and a day that is not over has no minimum yet
        over = _over(self._package.now, facts, daily)
        inside = (days >= pd.Timestamp(first)) & (days < pd.Timestamp(last) + pd.Timedelta(days=1)) & (days <= over)
        values = values[inside]
        model = values["model"].to_numpy(bool)
        left_out = 0 if with_model else int(model.sum())
        values = values[~model] if not with_model else values
        if values.empty:
            raise InputError(
                f"{what} but {left_out} values filled in by a weather model. --with-model takes them, marked as such."
                if left_out
                else empty
            )
        return Fetched(values.reset_index(drop=True), left_out, missing)

    def _year(self, facts: StationFacts, year: int, daily: bool) -> pd.DataFrame | None:
        """Fetch one year; None: the service has none."""
        module = meteostat.providers.meteostat.daily if daily else meteostat.providers.meteostat.hourly
        if not self._package.has_file(module.ENDPOINT.format(station=facts.station_id, year=year)):
            return None
        names = ["tmin", "tmax"] if daily else ["temp", *BESIDE]
        # never from the cache what may still change; the package would keep this winter's hours for a month
        settled = year <= self.today.year - SETTLED_YEARS
        for from_cache in (True, False) if settled else (False,):  # a damaged file of the cache is passed over
            table, failed = self._asked_for(facts, year, names, from_cache=from_cache)
            if table is not None or not failed:
                break
        if table is None and failed:
            raise InputError(
                f"The station service's file of {year} for station {facts.station_id} is damaged or cut off. "
                f"Nothing was stored. {WAY_OUT}"
            )
        return None if table is None else _values_of(table, names, daily)

    def _asked_for(
        self, facts: StationFacts, year: int, names: Sequence[str], *, from_cache: bool
    ) -> tuple[pd.DataFrame | None, bool]:
        """What the package gives for a year, and whether it has met a fault on the way."""
        meteostat.config.cache_enable = from_cache
        before = self._package.warnings
        station = meteostat.Station(id=facts.station_id, name=facts.name, latitude=facts.latitude,
                                    longitude=facts.longitude, timezone=facts.timezone or None)  # fmt: skip
        ask = meteostat.daily if "tmin" in names else meteostat.hourly
        series = self._package.asked(
            lambda: ask(
                station,
                dt.datetime(year, 1, 1),
                dt.datetime(year, 12, 31, 23, 59, 59),
                parameters=[meteostat.Parameter(name) for name in names],
            )
        )
        return series.fetch(sources=True), self._package.warnings > before


def _over(now: dt.datetime, facts: StationFacts, daily: bool) -> pd.Timestamp:
    """The last instant, or the last of the station's days, that is over."""
    present = pd.Timestamp(now)
    if not daily:
        return present.tz_localize(None)
    local = present.tz_convert(facts.timezone or "UTC").tz_localize(None)
    return local.normalize() - pd.Timedelta(days=1)


def _values_of(table: pd.DataFrame, names: Sequence[str], daily: bool) -> pd.DataFrame:
    """Lay what the package gives out as the columns of a station's table."""
    table = table[pd.to_numeric(table[names[0]]).notna().to_numpy()]
    sources = ["" if pd.isna(source) else str(source) for source in table[f"{names[0]}_source"]]
    model = model_sources()
    columns: dict[str, Any] = {"date" if daily else "time": pd.DatetimeIndex(table.index.get_level_values("time"))}
    for name, column in {"tmin": "minimum_c", "tmax": "maximum_c"}.items() if daily else [("temp", "temperature_c")]:
        columns[column] = pd.to_numeric(table[name]).astype(float).to_numpy()
    columns |= {} if daily else _measured_beside(table, model)
    columns["source"] = sources
    # a daily value may name several sources, and one model among them is enough
    columns["model"] = [bool(model & set(source.split())) for source in sources]
    return pd.DataFrame(columns)


def _measured_beside(table: pd.DataFrame, model: Collection[str]) -> dict[str, Any]:
    """What was measured beside the temperature; conditions of which the service has nothing have no column."""
    found: dict[str, Any] = {}
    for name, column in BESIDE.items():
        if name not in table:
            continue
        sources = table[f"{name}_source"].astype(object)
        measured = [not pd.isna(source) and not set(model) & set(str(source).split()) for source in sources]
        values = pd.to_numeric(table[name]).astype(float).where(np.array(measured, bool)).to_numpy()
        if np.isfinite(values).any():
            found[column] = values
    return found
