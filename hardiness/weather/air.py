"""What the air was like in each event: radiative or advective, how windy, how dry, by those that measured it.

The nearest station that names the kind speaks for an event; where none does, the nearest that tells anything of the air
in its span. Dew point and wet bulb come from the trial's own logger with humidity where there is one (of several the
coldest: there the plants suffer most), since a station's air is that of another place.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import schema
from hardiness.read.conditions import CLOUD, CONDITIONS, DEW_POINT, RELATIVE_HUMIDITY, WIND_SPEED
from hardiness.settings import Settings
from hardiness.weather.clean import utc_times
from hardiness.weather.days import nanoseconds
from hardiness.weather.gaps import HOUR_NS, FloatArray, IntArray
from hardiness.weather.humidity import SEA_LEVEL_HPA, dew_point, vapour_pressure, wet_bulb
from hardiness.weather.kinds import ENOUGH, NIGHT, UNKNOWN, kinds_of
from hardiness.weather.sensors import great_circle_km, sensors_known
from hardiness.weather.told import Told

ONSET_H = 1.5  # [h] from the instant of onset to the readings around it, at most
_AT_A_TIME = 1 << 20  # readings
DAMP = ["air_onset_c", "dew_point_onset_c", "wet_bulb_onset_c", "dew_point_lowest_c"]  # by one and the same humidity


def conditions_that_count(
    conditions: Mapping[str, xr.Dataset], readings: Mapping[str, xr.DataArray], sensors: pd.DataFrame
) -> Told:
    """Take masked instants out of the conditions, put offsets into their temperatures, and complete their humidity.

    Parameters
    ----------
    conditions : mapping of str to xarray.Dataset
        By sensor, dims ``(time,)``, UTC, rising: ``air_temperature`` [degC] and any of ``relative_humidity`` [%],
        ``dew_point`` [degC], ``wind_speed`` [m s-1] and ``cloud_area_fraction`` [1].
    readings : mapping of str to xarray.DataArray
        The readings that count, dated offsets in. [degC]
    sensors : pandas.DataFrame
        The sensors table.

    Returns
    -------
    Told
        Those of the sensors that have readings, each with all conditions, NaN where nothing tells them. Where a dew
        point or a humidity is missing it follows from the other one and the air as it was read; a dew point above the
        air is saturation. Nothing is fetched before it is asked for.

    Examples
    --------
    >>> time = np.array(["2031-12-14T04", "2031-12-14T05"], "M8[ns]")
    >>> air = xr.DataArray([0.0, -1.0], {"time": time}, attrs={"units": "degC"})
    >>> told = xr.Dataset({"air_temperature": air, "relative_humidity": ("time", [50.0, 60.0], {"units": "%"})})
    >>> counted = conditions_that_count({"S9": told}, {"S9": air[:1]}, pd.DataFrame({"sensor": []}))
    >>> counted["S9"]["dew_point"].values.round(1).tolist()
    [-9.2]
    """
    own = sensors_known(sensors, conditions)["offset_c"]
    return Told({
        sensor: partial(_counted, sensor, conditions, readings, float(own[sensor]))
        for sensor in conditions if sensor in readings
    })  # fmt: skip


def air_of_events(
    freezes: pd.DataFrame, conditions: Mapping[str, xr.Dataset], sensors: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """Say what kind of freeze each event was, what the air was like, and who tells that.

    Parameters
    ----------
    freezes : pandas.DataFrame
        The freezes table.
    conditions : mapping of str to xarray.Dataset
        As :func:`conditions_that_count` gives them.
    sensors : pandas.DataFrame
        The sensors table.
    settings : Settings
        The trial's: its place, and whose clock says what is night.

    Returns
    -------
    pandas.DataFrame
        Columns of ``schema.AIR``, a row per event in the order of their beginnings.
    """
    names = schema.column_names(schema.AIR)
    spans = freezes.groupby("event", sort=False).agg(starts=("starts", "min"), ends=("ends", "max"))
    spans = spans.sort_values("starts", kind="stable").reset_index()
    table = pd.DataFrame({"event": spans["event"]}).reindex(columns=names)
    texts, figures = (
        [column.name for column in schema.AIR if (column.kind == "number") == numbers] for numbers in (False, True)
    )
    table[figures] = table[figures].astype(float)
    table["kind"], table["station"], table["humidity_from"] = UNKNOWN, "", ""
    known = sensors_known(sensors, conditions)
    answered, settled = np.zeros(len(spans), bool), np.zeros(len(spans), bool)
    loggers: dict[str, pd.DataFrame] = {}
    for station, away in _by_distance(known, conditions, settings):
        told = conditions[station]
        said = _told_by(told, spans, settings.zone, known["elevation_m"].get(station, np.nan))
        if known.loc[station, "kind"] == "logger":
            loggers[station] = said
            if not _tells_wind(told):
                continue
        tells = said[figures[:-1]].notna().any(axis=1).to_numpy()
        kind_known = (said["kind"] != UNKNOWN).to_numpy()
        take = ~settled & tells & (kind_known | ~answered)
        for name in ("kind", *figures[:-1]):
            table.loc[take, name] = said.loc[take, name]
        table.loc[take, "station"], table.loc[take, "distance_km"] = station, away
        table.loc[take, "humidity_from"] = np.where(said.loc[take, DAMP].notna().any(axis=1), station, "")
        answered |= take
        settled |= take & kind_known
    _prefer_loggers(table, loggers)
    table[texts] = table[texts].astype(object)
    return table[names]


def _prefer_loggers(table: pd.DataFrame, loggers: Mapping[str, pd.DataFrame]) -> None:
    """Put the coldest logger's own humidity in a station's place; one that tells a part of an event comes after it."""
    coldest = np.full(len(table), np.inf)
    by_part = table["humidity_from"].to_numpy() != ""  # what is there already is no worse than a part
    for whole in (True, False):
        for logger in sorted(loggers):
            said = loggers[logger]
            take = ((said["whole"] == whole) & said[DAMP].notna().any(axis=1)).to_numpy()
            take &= said["coldest"].to_numpy() < coldest
            take &= True if whole else ~by_part
            table.loc[take, DAMP] = said.loc[take, DAMP]
            table.loc[take, "humidity_from"] = logger
            coldest[take] = said.loc[take, "coldest"]
            by_part |= take & whole


def _by_distance(
    known: pd.DataFrame, conditions: Mapping[str, xr.Dataset], settings: Settings
) -> list[tuple[str, float]]:
    """The sensors that tell of the air, the nearest first; those at no known distance come last, by name."""
    names = sorted(conditions)
    place = [np.nan if degrees is None else degrees for degrees in (settings.latitude, settings.longitude)]
    at = known.loc[names]
    away = great_circle_km(place[0], place[1], at["latitude"].to_numpy(), at["longitude"].to_numpy())
    return [(names[number], float(away[number])) for number in np.argsort(away, kind="stable")]


def _told_by(told: xr.Dataset, spans: pd.DataFrame, zone: ZoneInfo, elevation_m: float) -> pd.DataFrame:
    """What one sensor tells of each event; ``coldest`` of its readings, and whether it tells the ``whole`` of it."""
    times = _instants(told)
    hour = pd.DatetimeIndex(times.view("M8[ns]")).tz_localize("UTC").tz_convert(zone).hour.to_numpy()
    by_night = (hour >= NIGHT[0]) | (hour < NIGHT[1])
    starts, ends = nanoseconds(spans["starts"]), nanoseconds(spans["ends"])
    first, stop = np.searchsorted(times, starts, side="left"), np.searchsorted(times, ends, side="right")
    wind, cloud, dew = (told[name].to_numpy() for name in (WIND_SPEED, CLOUD, DEW_POINT))
    reading = told["air_temperature"].to_numpy()
    air = _at(times, reading, starts)
    known = np.concatenate(([0], np.cumsum(np.isfinite(dew))))
    shares = (known[stop] - known[first]) / np.maximum(stop - first, 1)
    dew_onset = np.minimum(_at(times, dew, starts), air)
    return pd.DataFrame(
        {
            "kind": kinds_of(spans, told, zone) if _tells_wind(told) else UNKNOWN,
            "wind_m_s": _means(wind, by_night, first, stop),
            "cloud": _means(cloud, by_night, first, stop),
            "air_onset_c": np.where(np.isnan(dew_onset), np.nan, air),
            "dew_point_onset_c": np.where(np.isnan(air), np.nan, dew_onset),
            "wet_bulb_onset_c": bulb_of(air, dew_onset, elevation_m),
            "dew_point_lowest_c": [_lowest(dew[a:b]) for a, b in zip(first.tolist(), stop.tolist(), strict=True)],
            "coldest": [_lowest(reading[a:b]) for a, b in zip(first.tolist(), stop.tolist(), strict=True)],
            "whole": np.isfinite(dew_onset) & np.isfinite(_at(times, dew, ends)) & (shares >= ENOUGH),
        },
        index=spans.index,
    )


def _tells_wind(told: xr.Dataset) -> bool:
    return any(bool(np.isfinite(told[name].to_numpy()).any()) for name in (WIND_SPEED, CLOUD))


def bulb_of(air_c: FloatArray, dew_point_c: FloatArray, elevation_m: float = np.nan) -> FloatArray:
    r"""Give the wet bulb, and where that is below 0 degC the ice bulb.

    The pressure is that of the ICAO standard atmosphere, :math:`1013.25\,(1 - 2.25577\cdot 10^{-5}\,h)^{5.25588}` hPa.

    Parameters
    ----------
    air_c : ndarray of float
        Air temperature. [degC]
    dew_point_c : ndarray of float
        Dew point, not above the air. [degC]
    elevation_m : float, optional
        Height above the sea; NaN: at the sea. [m]

    Returns
    -------
    ndarray of float
        NaN where either is missing. [degC]

    Examples
    --------
    >>> bulb_of(np.array([20.0, 0.0]), np.array([9.26, -9.2])).round(1).tolist()
    [13.8, -3.0]
    """
    humidity = np.minimum(100.0, 100 * vapour_pressure(dew_point_c) / vapour_pressure(air_c))
    height = 0.0 if np.isnan(elevation_m) else float(elevation_m)
    pressure = SEA_LEVEL_HPA * (1 - 2.25577e-5 * height) ** 5.25588
    wet = wet_bulb(air_c, humidity, pressure_hpa=pressure)
    ice = wet_bulb(air_c, humidity, over_ice=True, pressure_hpa=pressure)
    bulb: FloatArray = np.where((wet < 0) & np.isfinite(ice), ice, wet)
    return bulb


def _counted(
    sensor: str, conditions: Mapping[str, xr.Dataset], readings: Mapping[str, xr.DataArray], offset_c: float
) -> xr.Dataset:
    kept, air = _completed(conditions[sensor]), readings[sensor]
    instants = _instants(air)
    if not (instants[1:] >= instants[:-1]).all():
        air = air.sortby("time")
        instants = _instants(air)
    values = air.to_numpy()
    if not np.array_equal(instants, _instants(kept)):  # a sensor may have forty million readings: no needless copies
        kept = kept.isel(time=np.isin(_instants(kept), instants))
        values = values[np.searchsorted(instants, _instants(kept))]
    return kept.assign(air_temperature=kept["air_temperature"].copy(data=values + offset_c))


def _completed(told: xr.Dataset) -> xr.Dataset:
    size = told.sizes["time"]
    nothing = np.broadcast_to(np.float64(np.nan), size)  # of what nobody tells: no memory
    given = {name: told[name].to_numpy() if name in told else nothing for name in CONDITIONS}
    if RELATIVE_HUMIDITY in told or DEW_POINT in told:
        whole_air = told["air_temperature"].to_numpy()
        whole_humidity, whole_dew = (np.array(given[name]) for name in (RELATIVE_HUMIDITY, DEW_POINT))
        for at in range(0, size, _AT_A_TIME):
            air, humidity, dew = (one[at : at + _AT_A_TIME] for one in (whole_air, whole_humidity, whole_dew))
            from_dew = np.minimum(100.0, 100 * vapour_pressure(dew) / vapour_pressure(air))
            dew[:] = np.where(np.isnan(dew), dew_point(air, humidity), dew)
            humidity[:] = np.where(np.isnan(humidity), from_dew, humidity)
        given |= {RELATIVE_HUMIDITY: whole_humidity, DEW_POINT: whole_dew}
    return told.assign({
        name: ("time", values, told[name].attrs if name in told else {"units": CONDITIONS[name].units})
        for name, values in given.items()
    })  # fmt: skip


def _means(values: FloatArray, by_night: np.ndarray, first: IntArray, stop: IntArray) -> list[float]:
    """Means by night of each span; NaN where fewer than 80 % of its readings by night have a value."""
    means = []
    for begin, end in zip(first.tolist(), stop.tolist(), strict=True):
        night = values[begin:end][by_night[begin:end]]
        there = np.isfinite(night)
        means.append(float(night[there].mean()) if night.size and there.mean() >= ENOUGH else np.nan)
    return means


def _lowest(values: FloatArray) -> float:
    there = values[np.isfinite(values)]
    return float(there.min()) if there.size else np.nan


def _at(times: IntArray, values: FloatArray, instants: IntArray) -> FloatArray:
    """Values on the straight line between the readings around each instant; NaN where either is too far from it."""
    there = np.isfinite(values)
    known, figures = (times, values) if there.all() else (times[there], values[there])
    if known.size == 0:
        return np.full(instants.size, np.nan)
    after = np.searchsorted(known, instants, side="left")
    before = np.where(known[np.minimum(after, known.size - 1)] == instants, after, after - 1)
    inside = (before >= 0) & (after < known.size)
    a, b = np.clip(before, 0, known.size - 1), np.clip(after, 0, known.size - 1)
    near = (instants - known[a] <= ONSET_H * HOUR_NS) & (known[b] - instants <= ONSET_H * HOUR_NS)
    share = (instants - known[a]) / np.maximum(known[b] - known[a], 1)
    at: FloatArray = np.where(inside & near, figures[a] + share * (figures[b] - figures[a]), np.nan)
    return at


def _instants(told: xr.Dataset | xr.DataArray) -> IntArray:
    return utc_times(told["time"].to_numpy()).view(np.int64)
