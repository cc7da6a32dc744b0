"""A logger's temperature where it was silent, from the donors that foretell it best.

What is estimated lies only where the logger has no readings of its own: before it hung, after it was taken down, in
gaps that are not bridged and where readings are masked. A gap inside a freeze that the logger itself lists stays what
the rule for gaps makes of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.weather.clean import utc_times
from hardiness.weather.days import nanoseconds
from hardiness.weather.gaps import BoolArray, FloatArray, IntArray
from hardiness.weather.measuring import Measured
from hardiness.weather.one_by_one import OneByOne, Source, fetched_by
from hardiness.weather.sensors import sensors_known
from hardiness.weather.transfer_course import course_of, hourly_offsets
from hardiness.weather.transfer_nights import Nights
from hardiness.weather.transfer_pairs import LEAST_COLD, Pair, common_nights, fit_common


def estimate_silent(nights: Nights, pairs: list[Pair], own: Measured | None, damaging_c: float) -> xr.Dataset:
    """Estimate a logger where it was silent, each night by the best of the donors that saw it.

    Parameters
    ----------
    nights : Nights
        Sensors on common hours.
    pairs : list of Pair
        The logger with each of its donors, the best first.
    own : Measured or None
        What was taken from its own readings; None where it has none.
    damaging_c : float
        A freeze is listed when its minimum is at or below it. [degC]

    Returns
    -------
    xarray.Dataset
        ``air_temperature`` [degC], ``sd`` [K] and ``donors`` (a flag: which sensors), dims ``(time,)``.
    """
    logger = pairs[0].logger
    silent = np.isnan(nights.hourly[:, logger])
    wanted = np.bincount(nights.night[silent], minlength=len(nights.minima)) > 0
    seen = np.isfinite(nights.minima[:, [pair.donor for pair in pairs]])
    sets = np.where(wanted, seen @ (1 << np.arange(len(pairs))), 0)
    codes = np.unique(sets[sets > 0]).tolist()
    offsets = [
        hourly_offsets(nights, logger, pair.donor, common_nights(nights, logger, [pair.donor])[1], pair.lapse)
        for pair in (pairs if codes else [])
    ]
    degrees, sd = np.full(nights.times.size, np.nan), np.full(nights.times.size, np.nan)
    asked = np.full(nights.times.size, -1)
    meanings: list[str] = []
    for code in codes:
        chosen = [number for number in range(len(pairs)) if code >> number & 1]
        cold = common_nights(nights, logger, [pairs[number].donor for number in chosen])[1]
        if cold.sum() < LEAST_COLD:
            chosen = chosen[:1]  # several that were never seen together in the cold say less than the best alone
            cold = common_nights(nights, logger, [pairs[chosen[0]].donor])[1]
        of_night = sets == code
        donors = [pairs[number].donor for number in chosen]
        model = fit_common(nights, logger, donors, np.array([pairs[number].lapse for number in chosen]), cold)
        here = of_night[nights.night]
        course, night_sd = course_of(nights, of_night, donors, [offsets[number] for number in chosen], model)
        degrees[here], sd[here], asked[here] = course[here], night_sd[nights.night[here]], len(meanings)
        meanings.append("\t".join(nights.sensors[donor] for donor in donors))
    keep = silent & np.isfinite(degrees)
    if own is not None and not own.hours.daily and (degrees[keep] <= damaging_c).any():
        keep[_inside_own_freeze(nights.times, own.freezes)] = False
    return _labelled(nights.times[keep], degrees[keep], sd[keep], asked[keep], meanings)


def with_estimates(
    readings: Mapping[str, xr.DataArray], estimated: Mapping[str, xr.Dataset], sensors: pd.DataFrame
) -> Mapping[str, xr.DataArray]:
    """Put together what loggers read and what was estimated in between.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings that count; ``offset_c`` of the sensors is still to be added. [degC]
    estimated : mapping of str to xarray.Dataset
        As :class:`hardiness.weather.transfer.Transfers` holds it.
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
        Of one logger, as :class:`hardiness.weather.transfer.Transfers` holds it.
    freezes : xarray.Dataset
        Its freezes, as :func:`hardiness.weather.exposure.measure_freezes` finds them in ``air_temperature``.

    Returns
    -------
    ndarray of float
        One for each freeze. [K]
    """
    return np.array([float(estimate["sd"][at]) for at in coldest_hours(estimate, freezes["starts"], freezes["ends"])])


def coldest_hours(estimate: xr.Dataset, starts: xr.DataArray, ends: xr.DataArray) -> list[int]:
    """Find the coldest hour of each span.

    Parameters
    ----------
    estimate : xarray.Dataset
        Of one logger.
    starts, ends : xarray.DataArray
        Instants, in UTC.

    Returns
    -------
    list of int
        Its position in the estimate.
    """
    times, degrees = estimate["time"].to_numpy(), estimate["air_temperature"].to_numpy()
    first = np.searchsorted(times, starts.to_numpy(), side="left")
    stop = np.searchsorted(times, ends.to_numpy(), side="right")
    return [int(i + np.argmin(degrees[i:j])) for i, j in zip(first, stop, strict=True)]


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
