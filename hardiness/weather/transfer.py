"""What other sensors say of each logger, with its uncertainty, and what they said where the logger was silent.

Where a logger and another sensor (its donor) both have readings, the logger's nightly minimum is modelled from the
donor's on their cold nights (``weather/transfer_pairs.py``, ``weather/transfer_minima.py``), and its course from the
donor's by the hour of the day (``weather/transfer_course.py``). Up to three donors that foretell it best speak together
where it was silent (``weather/transfer_estimates.py``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.schema import TRANSFERS, column_names
from hardiness.settings import ALWAYS, NEVER, Settings
from hardiness.weather.measuring import Measured, measure_sensors
from hardiness.weather.sensors import between_sensors, sensors_known
from hardiness.weather.series import series_of
from hardiness.weather.transfer_air import with_calm
from hardiness.weather.transfer_estimates import coldest_hours, estimate_silent
from hardiness.weather.transfer_minima import LAPSE_K_PER_M
from hardiness.weather.transfer_nights import Nights, hours_of, nights_together
from hardiness.weather.transfer_pairs import Pair, pair_of

MOST_DONORS = 3  # [1] a fourth adds next to nothing
ENOUGH, TOO_FEW, BY_HEIGHT = "overlap", "too few nights", "height alone"
BY_RANGE, BY_NOTHING = "range of the day", "nothing"


@dataclass(frozen=True, slots=True, eq=False)
class Transfers:
    """What other sensors can say of the loggers, and what they said where loggers were silent.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns of ``schema.TRANSFERS``; ``freezes`` is 0 until the freezes are known.
    estimated : dict of str to xarray.Dataset
        By logger: ``air_temperature`` [degC], ``sd`` [K] and ``donors`` (a flag: which sensors), dims ``(time,)``.
        Offsets of sensors are in it already.
    """

    table: pd.DataFrame
    estimated: dict[str, xr.Dataset]


def find_transfers(
    readings: Mapping[str, xr.DataArray],
    sensors: pd.DataFrame,
    settings: Settings,
    *,
    since_ns: int | None = None,
    conditions: Mapping[str, xr.Dataset] | None = None,
    measured: Mapping[str, Measured] | None = None,
) -> Transfers:
    """Model every logger from every other sensor, and estimate the loggers where they were silent.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings that count, dims ``(time,)``, in UTC; ``offset_c`` of the sensors is added here. A series whose
        attribute ``series`` is ``daily_minimum`` has no course and is no donor. [degC]
    sensors : pandas.DataFrame
        The sensors table.
    settings : Settings
        Of the trial: ``transfer`` says whether, its place stands for that of a logger without one.
    since_ns : int, optional
        Estimate nothing before; every night that was seen teaches all the same. [ns since 1970-01-01 UTC]
    conditions : mapping of str to xarray.Dataset, optional
        What stations tell of wind and sky, as :func:`hardiness.weather.air.conditions_that_count` gives it.
    measured : mapping of str to Measured, optional
        What was taken from the readings already (:func:`hardiness.weather.measuring.measure_sensors`). Then none of
        them is fetched.

    Returns
    -------
    Transfers

    Raises
    ------
    UnitsError, InputError
        As :func:`hardiness.weather.series.to_series`.

    Examples
    --------
    A logger in a hollow, 3 K colder than the station at night; it hung from the 41st day on.

    >>> time = np.datetime64("2031-12-01", "ns") + np.arange(90 * 24) * np.timedelta64(1, "h")
    >>> station = 2.0 + 6.0 * np.cos(np.arange(90 * 24) * 2 * np.pi / 24 - 3.8)
    >>> air = xr.DataArray(station, {"time": time}, attrs={"units": "degC"})
    >>> hollow = (air - 3.0).assign_attrs(units="degC")[40 * 24 :]
    >>> sensors = pd.DataFrame({"sensor": ["ST-9", "L1"], "kind": ["station", "logger"]})
    >>> found = find_transfers({"L1": hollow, "ST-9": air}, sensors, Settings("Hill", "UTC"))
    >>> found.table[["sensor", "source", "cold_nights", "basis"]].values.tolist()
    [['L1', 'ST-9', 49, 'overlap']]
    >>> before = found.estimated["L1"]
    >>> bool(before["time"].max() < hollow["time"].min()), round(float(before["air_temperature"].min()), 1)
    (True, -6.9)
    """
    known = sensors_known(sensors, readings)
    looks = measure_sensors(readings, sensors, settings) if measured is None else measured
    hours = {name: look.hours for name, look in looks.items()}
    donors = [name for name in sorted(hours) if hours[name].hourly.size and not hours[name].daily]
    loggers = sorted(str(name) for name in known.index[known["kind"] == "logger"])
    nothing = hours_of(series_of(np.zeros(0, "M8[ns]"), np.zeros(0)), settings.zone)
    used = {name: hours.get(name, nothing) for name in dict.fromkeys([*loggers, *donors])}
    nights = with_calm(nights_together(used, settings.zone), {} if conditions is None else conditions)
    column = {name: number for number, name in enumerate(nights.sensors)}
    away, higher = between_sensors(known.loc[list(nights.sensors)], settings)
    lapse = LAPSE_K_PER_M * np.nan_to_num(higher, nan=0.0)  # heights that are not known say nothing
    rows, estimated = [], {}
    for logger in loggers:
        i = column[logger]
        pairs = [
            pair_of(nights, i, j, lapse=lapse[i, j], away_km=away[i, j])
            for j in (column[donor] for donor in donors if donor != logger)
        ]
        allowed = [pair for pair in pairs if settings.transfer == ALWAYS or pair.enough]
        if allowed and settings.transfer != NEVER:
            best = sorted(allowed, key=lambda pair: (round(pair.model.sd, 6), np.nan_to_num(pair.away_km, nan=np.inf)))
            estimate = estimate_silent(nights, best[:MOST_DONORS], looks.get(logger), settings.rules.damaging_c)
            if since_ns is not None:
                estimate = estimate.isel(time=estimate["time"].to_numpy().astype(np.int64) >= since_ns)
            if estimate.sizes["time"]:
                estimated[logger] = estimate
        rows += [_row(nights, pair) for pair in pairs]
    table = pd.DataFrame(rows, columns=column_names(TRANSFERS))
    kinds = {"text": "str", "choice": "str", "integer": "int64", "number": "float64"}
    return Transfers(table.astype({column.name: kinds[column.kind] for column in TRANSFERS}), estimated)


def count_estimated(freezes: pd.DataFrame, transfers: Transfers) -> pd.DataFrame:
    """Count for each logger and source the freezes that were estimated from it.

    Parameters
    ----------
    freezes : pandas.DataFrame
        The freezes table.
    transfers : Transfers
        What its estimated freezes were found on.

    Returns
    -------
    pandas.DataFrame
        ``transfers.table`` with ``freezes`` filled; a freeze estimated from two sources counts for both.
    """
    counts: dict[tuple[str, str], int] = {}
    found = freezes[(freezes["source"] == "estimated") & freezes["sensor"].isin(list(transfers.estimated))]
    for logger, rows in found.groupby("sensor"):
        estimate = transfers.estimated[str(logger)]
        meanings = str(estimate["donors"].attrs["flag_meanings"]).split("\n")
        ends = (xr.DataArray(pd.DatetimeIndex(rows[name]).tz_localize(None).to_numpy()) for name in ("starts", "ends"))
        for at in coldest_hours(estimate, *ends):
            for donor in meanings[int(estimate["donors"][at])].split("\t"):
                counts[str(logger), donor] = counts.get((str(logger), donor), 0) + 1
    table = transfers.table.copy()
    pairs = zip(table["sensor"], table["source"], strict=True)
    table["freezes"] = [counts.get(pair, 0) for pair in pairs]
    return table


def _row(nights: Nights, pair: Pair) -> tuple[object, ...]:
    basis = ENOUGH if pair.enough else TOO_FEW if pair.nights else BY_HEIGHT
    model = pair.model
    told = 0 if model.usual_calm is None else model.usual_calm.nights
    by = nights.tells[pair.donor] if told else BY_RANGE if model.nights else BY_NOTHING
    return (nights.sensors[pair.logger], nights.sensors[pair.donor], pair.nights, model.nights, model.offset,
            model.offset_sd, model.sd, pair.lapse, pair.away_km, basis, by, told, model.calmer, 0)  # fmt: skip
