"""A logger's temperature while it was silent, from a station or other loggers, with its uncertainty.

Where a logger and another sensor (its donor) both have readings, the logger's nightly minimum is modelled from the
donor's on their cold nights (``weather/transfer_minima.py``), and its course from the donor's by the hour of the day
(``weather/transfer_course.py``). Up to three donors that foretell it best speak together. What is estimated lies only
where the logger has no readings of its own: before it hung, after it was taken down, in gaps that are not bridged and
where readings are masked; a gap inside a freeze that the logger itself lists stays what the rule for gaps makes of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.schema import TRANSFERS, column_names
from hardiness.settings import ALWAYS, NEVER, Settings
from hardiness.weather.clean import utc_times
from hardiness.weather.days import nanoseconds
from hardiness.weather.gaps import BoolArray, FloatArray, IntArray
from hardiness.weather.measuring import Measured, measure_sensors
from hardiness.weather.one_by_one import OneByOne, Source, fetched_by
from hardiness.weather.sensors import between_sensors, sensors_known
from hardiness.weather.series import series_of
from hardiness.weather.transfer_air import mean_calm, with_calm
from hardiness.weather.transfer_course import course_of, hourly_offsets
from hardiness.weather.transfer_minima import LAPSE_K_PER_M, MinimaModel, fit_minima
from hardiness.weather.transfer_nights import Nights, hours_of, nights_together

COLD_C = 2.0  # [degC] a night is cold when either minimum is at or below it: warm nights differ in other ways
LEAST_NIGHTS = 30  # [1] common nights, and of these
LEAST_COLD = 10  # [1] cold ones, from which on a transfer is used unless trial.toml says otherwise
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


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    """A logger and a donor: columns of the nights, what they have in common, and the model of the two alone."""

    logger: int
    donor: int
    nights: int
    lapse: float
    away_km: float
    model: MinimaModel

    @property
    def enough(self) -> bool:
        return self.nights >= LEAST_NIGHTS and self.model.nights >= LEAST_COLD


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
        pairs = [_pair(nights, i, column[d], lapse[i, column[d]], away[i, column[d]]) for d in donors if d != logger]
        allowed = [pair for pair in pairs if settings.transfer == ALWAYS or pair.enough]
        if allowed and settings.transfer != NEVER:
            best = sorted(allowed, key=lambda pair: (round(pair.model.sd, 6), np.nan_to_num(pair.away_km, nan=np.inf)))
            estimate = _estimate(nights, best[:MOST_DONORS], looks.get(logger), settings)
            if since_ns is not None:
                estimate = estimate.isel(time=estimate["time"].to_numpy().astype(np.int64) >= since_ns)
            if estimate.sizes["time"]:
                estimated[logger] = estimate
        rows += [_row(nights, pair) for pair in pairs]
    table = pd.DataFrame(rows, columns=column_names(TRANSFERS))
    kinds = {"text": "str", "choice": "str", "integer": "int64", "number": "float64"}
    return Transfers(table.astype({column.name: kinds[column.kind] for column in TRANSFERS}), estimated)


def with_estimates(
    readings: Mapping[str, xr.DataArray], estimated: Mapping[str, xr.Dataset], sensors: pd.DataFrame
) -> Mapping[str, xr.DataArray]:
    """Put together what loggers read and what was estimated in between.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings that count; ``offset_c`` of the sensors is still to be added. [degC]
    estimated : mapping of str to xarray.Dataset
        As :class:`Transfers` holds it.
    sensors : pandas.DataFrame
        The sensors table.

    Returns
    -------
    mapping of str to xarray.DataArray
        Of the loggers with estimates; ``offset_c`` is still to be added to all of it. Fetched one by one where the
        readings are. [degC]
    """
    own = sensors_known(sensors, [*readings, *estimated])["offset_c"]
    courses = {
        logger: partial(
            _with_estimate,
            fetched_by(readings, logger) if logger in readings else None,
            estimate,
            float(own.loc[logger]),
        )
        for logger, estimate in estimated.items()
    }
    if not isinstance(readings, OneByOne):
        return {logger: course() for logger, course in courses.items()}
    sizes = {logger: readings.sizes.get(logger, 0) + one.sizes["time"] for logger, one in estimated.items()}
    return OneByOne(courses, sizes)


def _with_estimate(own: Source | xr.DataArray | None, estimate: xr.Dataset, offset_c: float) -> xr.DataArray:
    times, degrees = estimate["time"].to_numpy(), estimate["air_temperature"].to_numpy() - offset_c
    if own is not None:
        read = own if isinstance(own, xr.DataArray) else own()
        times = np.concatenate((utc_times(read["time"].to_numpy()), times))
        degrees = np.concatenate((read.to_numpy(), degrees))
    return _on_scale(times, degrees, "air temperature, read or estimated")


def transfer_sd(estimate: xr.Dataset, freezes: xr.Dataset) -> FloatArray:
    """Say how far the estimate of each freeze may be off: its standard deviation at the coldest hour.

    Parameters
    ----------
    estimate : xarray.Dataset
        Of one logger, as :class:`Transfers` holds it.
    freezes : xarray.Dataset
        Its freezes, as :func:`hardiness.weather.exposure.measure_freezes` finds them in ``air_temperature``.

    Returns
    -------
    ndarray of float
        One for each freeze. [K]
    """
    return np.array([float(estimate["sd"][at]) for at in _coldest(estimate, freezes["starts"], freezes["ends"])])


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
        for at in _coldest(estimate, *ends):
            for donor in meanings[int(estimate["donors"][at])].split("\t"):
                counts[str(logger), donor] = counts.get((str(logger), donor), 0) + 1
    table = transfers.table.copy()
    pairs = zip(table["sensor"], table["source"], strict=True)
    table["freezes"] = [counts.get(pair, 0) for pair in pairs]
    return table


def _coldest(estimate: xr.Dataset, starts: xr.DataArray, ends: xr.DataArray) -> list[int]:
    """Positions of the coldest hour of each span."""
    times, degrees = estimate["time"].to_numpy(), estimate["air_temperature"].to_numpy()
    first = np.searchsorted(times, starts.to_numpy(), side="left")
    stop = np.searchsorted(times, ends.to_numpy(), side="right")
    return [int(i + np.argmin(degrees[i:j])) for i, j in zip(first, stop, strict=True)]


def _common(nights: Nights, logger: int, donors: list[int]) -> tuple[BoolArray, BoolArray]:
    """Nights that a logger and all of some donors saw, and which of them were cold at any."""
    lowest = nights.minima[:, [logger, *donors]].min(axis=1)  # NaN where any of them is
    return np.isfinite(lowest), lowest <= COLD_C


def _fit(nights: Nights, logger: int, donors: list[int], lapse: FloatArray, cold: BoolArray) -> MinimaModel:
    rows = np.flatnonzero(cold)
    cells = np.ix_(rows, np.array(donors))  # column by column: the order of a sum is in its last digit
    minima, ranges, calm = (np.asfortranarray(known[cells]) for known in (nights.minima, nights.ranges, nights.calm))
    return fit_minima(nights.minima[rows, logger], minima, ranges.mean(axis=1), lapse=lapse, calm=mean_calm(calm))


def _pair(nights: Nights, logger: int, donor: int, lapse: float, away_km: float) -> _Pair:
    both, cold = _common(nights, logger, [donor])
    model = _fit(nights, logger, [donor], np.array([lapse]), cold)
    return _Pair(logger, donor, int(both.sum()), lapse, away_km, model)


def _row(nights: Nights, pair: _Pair) -> tuple[object, ...]:
    basis = ENOUGH if pair.enough else TOO_FEW if pair.nights else BY_HEIGHT
    model = pair.model
    told = 0 if model.usual_calm is None else model.usual_calm.nights
    by = nights.tells[pair.donor] if told else BY_RANGE if model.nights else BY_NOTHING
    return (nights.sensors[pair.logger], nights.sensors[pair.donor], pair.nights, model.nights, model.offset,
            model.offset_sd, model.sd, pair.lapse, pair.away_km, basis, by, told, model.calmer, 0)  # fmt: skip


def _estimate(nights: Nights, pairs: list[_Pair], own: Measured | None, settings: Settings) -> xr.Dataset:
    """The logger's temperature where it was silent, by the best of the donors that saw the night."""
    logger = pairs[0].logger
    silent = np.isnan(nights.hourly[:, logger])
    wanted = np.bincount(nights.night[silent], minlength=len(nights.minima)) > 0
    seen = np.isfinite(nights.minima[:, [pair.donor for pair in pairs]])
    sets = np.where(wanted, seen @ (1 << np.arange(len(pairs))), 0)
    codes = np.unique(sets[sets > 0]).tolist()
    offsets = [
        hourly_offsets(nights, logger, pair.donor, _common(nights, logger, [pair.donor])[1], pair.lapse)
        for pair in (pairs if codes else [])
    ]
    degrees, sd = np.full(nights.times.size, np.nan), np.full(nights.times.size, np.nan)
    asked = np.full(nights.times.size, -1)
    meanings: list[str] = []
    for code in codes:
        chosen = [number for number in range(len(pairs)) if code >> number & 1]
        cold = _common(nights, logger, [pairs[number].donor for number in chosen])[1]
        if cold.sum() < LEAST_COLD:
            chosen = chosen[:1]  # several that were never seen together in the cold say less than the best alone
            cold = _common(nights, logger, [pairs[chosen[0]].donor])[1]
        of_night = sets == code
        donors = [pairs[number].donor for number in chosen]
        model = _fit(nights, logger, donors, np.array([pairs[number].lapse for number in chosen]), cold)
        here = of_night[nights.night]
        course, night_sd = course_of(nights, of_night, donors, [offsets[number] for number in chosen], model)
        degrees[here], sd[here], asked[here] = course[here], night_sd[nights.night[here]], len(meanings)
        meanings.append("\t".join(nights.sensors[donor] for donor in donors))
    keep = silent & np.isfinite(degrees)
    if own is not None and not own.hours.daily and (degrees[keep] <= settings.rules.damaging_c).any():
        keep[_inside_own_freeze(nights.times, own.freezes)] = False
    return _labelled(nights.times[keep], degrees[keep], sd[keep], asked[keep], meanings)


def _inside_own_freeze(times: IntArray, freezes: pd.DataFrame) -> BoolArray:
    """Which hours lie in a freeze that the logger itself lists: its coverage says already that readings are missing."""
    starts, ends = nanoseconds(freezes["starts"]), nanoseconds(freezes["ends"])
    before = np.searchsorted(starts, times, side="right") - 1
    inside: BoolArray = (before >= 0) & (times <= np.append(ends, 0)[before])
    return inside


def _on_scale(times: Any, degrees: FloatArray, long_name: str) -> xr.DataArray:
    attributes = {"units": "degC", "standard_name": "air_temperature", "long_name": long_name,
                  "units_metadata": "temperature: on_scale"}  # fmt: skip
    return xr.DataArray(degrees, {"time": times.astype("M8[ns]")}, ("time",), "air_temperature", attributes)


def _labelled(times: IntArray, degrees: FloatArray, sd: FloatArray, asked: IntArray, sets: list[str]) -> xr.Dataset:
    air = _on_scale(times, degrees, "air temperature estimated from other sensors")
    spread = {"units": "K", "units_metadata": "temperature: difference",
              "long_name": "standard deviation of the estimate"}  # fmt: skip
    donors = {"long_name": "sensors that the estimate rests on", "flag_values": np.arange(len(sets)),
              "flag_meanings": "\n".join(sets)}  # fmt: skip
    return xr.Dataset({"air_temperature": air, "sd": ("time", sd, spread), "donors": ("time", asked, donors)})
