"""Station temperatures from a NetCDF file that follows the CF conventions (CF-1.11, discrete sampling: timeSeries).

The variable is found by its ``standard_name`` air_temperature and must say its unit (K, degC or degF). ``cell_methods``
with "time: minimum" makes it daily minima, with "time: maximum" the maxima beside them; otherwise it is taken as read
at its instants, means over an hour or less too. Times are in UTC, in the standard calendar; the day of a daily value is
the one that holds the middle of its bounds, or its instant where there are none: a day of UTC, or of the zone that its
times name: in the attribute ``timezone``, or in a variable with a zone for each station, which the attribute
``timezone_variable`` names, as ``hardiness export readings`` writes it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.errors import InputError, Problem, UnitsError
from hardiness.read.cf_conditions import conditions_in
from hardiness.read.cf_flags import ancillary_of, without_flagged
from hardiness.read.cf_stations import facts_of, station_of, taken
from hardiness.read.clock import parse_zone
from hardiness.read.conditions import without_impossible_conditions
from hardiness.read.degrees import to_degc
from hardiness.read.station_data import (
    DailyValues,
    Floats,
    HourlyValues,
    StationData,
    raise_problems,
    without_impossible,
)
from hardiness.units import unit_named
from hardiness.words import count, listed

SOURCE = "CF NetCDF file"
STANDARD_NAME = "air_temperature"
_CALENDARS = ("standard", "gregorian", "proleptic_gregorian")
_STEPS = {
    "second": 1.0, "seconds": 1.0, "sec": 1.0, "secs": 1.0, "s": 1.0, "minute": 60.0, "minutes": 60.0, "min": 60.0,
    "mins": 60.0, "hour": 3600.0, "hours": 3600.0, "hr": 3600.0, "hrs": 3600.0, "h": 3600.0, "day": 86400.0,
    "days": 86400.0, "d": 86400.0,
}  # fmt: skip  # [s]
_LEAST_RESOLUTION_C = 0.01  # [K] what a number without decimals of its own is taken to resolve
_DAY_S = 86400.0
LONGEST_MEAN_S = 3600.0  # [s] of which a mean still follows a freeze: common practice, no source


def is_netcdf(head: bytes) -> bool:
    """Tell whether bytes are the beginning of a NetCDF file, classic or NetCDF-4.

    Parameters
    ----------
    head : bytes
        The first bytes.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_netcdf(b"CDF" + bytes([1])), is_netcdf(b"time,temperature")
    (True, False)
    """
    return head[:8] == b"\x89HDF\r\n\x1a\n" or (head[:3] == b"CDF" and head[3:4] in (b"\x01", b"\x02", b"\x05"))


def read_cf_file(path: Path, *, file: str, station_id: str | None = None) -> StationData:
    """Read a CF NetCDF file of station temperatures.

    Parameters
    ----------
    path : Path
        The file.
    file : str
        Its name, for messages.
    station_id : str, optional
        Which station, where the file holds several.

    Returns
    -------
    StationData

    Raises
    ------
    InputError
        With every fault found: no air temperature, several of one kind, no unit or a strange one, times that are not in
        a CF unit and standard calendar, several stations and none chosen, a damaged file.
    """
    engine = "h5netcdf" if path.read_bytes()[:4] == b"\x89HDF" else "scipy"
    try:
        with xr.open_dataset(path, engine=engine, decode_times=False, decode_coords=False) as opened:
            dataset = opened.load()
    except (OSError, ValueError, TypeError, KeyError, RuntimeError) as error:
        raise InputError(
            Problem(f"a NetCDF file that cannot be read ({error})", "a whole CF file", file=file)
        ) from None
    variables = _temperatures(dataset, file)
    chosen = station_of(dataset, variables, station_id, file)
    facts = facts_of(dataset, chosen)
    there = {kind: name for kind, name in variables.items() if np.isfinite(taken(dataset[name], dataset, chosen)).any()}
    variables = there if {"point", "minimum", "mean"} & set(there) else variables
    main = next(variables[kind] for kind in ("minimum", "point", "mean") if kind in variables)
    array, problems = dataset[main], list[Problem | str]()
    seconds = _seconds_of(dataset, array, chosen, problems, file)
    unit = _unit_of(array, problems, file)
    raise_problems(problems, file)
    values, impossible = without_impossible(to_degc(taken(array, dataset, chosen), unit))
    if values.size != seconds.size:
        raise InputError(
            Problem(f"{values.size} temperatures and {seconds.size} times", "one for each time", file=file, column=main)
        )
    if not np.isfinite(values).any():
        raise InputError(Problem("no temperature", "temperatures", file=file, column=main))
    said = [f"{count(impossible, 'value')} that no air has (below -60 C or above 70 C) left out."] if impossible else []
    values, estimated, flagged = without_flagged(dataset, array, values, lambda one: taken(one, dataset, chosen))
    said += flagged
    if not np.isfinite(values).any():
        raise InputError(Problem(" ".join(flagged), "temperatures that count", file=file, column=main))
    rows = np.arange(1, values.size + 1, dtype=np.int64)
    provenance = {
        "variable": main,
        "cell_methods": str(array.attrs.get("cell_methods", "")),
        "title": str(dataset.attrs.get("title", "")),
        "institution": str(dataset.attrs.get("institution", "")),
    }
    given: dict[str, Any] = {
        "resolution_c": _resolution(array),
        "unit": unit,
        "temperature_column": main,
        "said": said,
        "provenance": {name: text for name, text in provenance.items() if text},
    }
    if "minimum" not in variables:
        if main == variables.get("mean"):
            said.append(_say_mean(seconds, main, file))
        times = (np.round(seconds * 1000) * 1e6).astype(np.int64).astype("M8[ns]")
        given_air, unused = conditions_in(dataset, array, lambda one: taken(one, dataset, chosen))
        conditions, left_out = without_impossible_conditions(given_air)
        said += [*unused, *left_out]
        hours = HourlyValues(times, values, rows, conditions)
        return StationData(hours, facts, "netcdf", SOURCE, estimated=estimated, **given)
    days, zone = _days_of(dataset, array, seconds, chosen)
    facts = replace(facts, timezone=zone)
    maximum = np.full(values.size, np.nan)
    if "maximum" in variables:
        other = dataset[variables["maximum"]]
        unit_of_other = _unit_of(other, problems, file)
        raise_problems(problems, file)
        laid = taken(other, dataset, chosen)
        if laid.size == maximum.size:
            maximum, _ = without_impossible(to_degc(laid, unit_of_other))
        else:
            said.append(f"'{other.name}' has other days than '{main}': the maxima are left out.")
    order = np.argsort(days, kind="stable")
    if (np.diff(days[order]) == np.timedelta64(0)).any():
        twice = days[order][1:][np.diff(days[order]) == np.timedelta64(0)][0]
        raise InputError(Problem(f"two daily minima for {twice}", "one value for one day", file=file, column=main))
    daily = DailyValues(days[order], values[order], maximum[order], rows[order])
    return StationData(daily, facts, "netcdf", SOURCE, **given)


def _temperatures(dataset: xr.Dataset, file: str) -> dict[str, str]:
    """Find the variables of air temperature: by kind (point, minimum, maximum) their names."""
    found: dict[str, list[str]] = {}
    beside = ancillary_of(dataset)
    for name, array in dataset.data_vars.items():
        if array.attrs.get("standard_name") != STANDARD_NAME or name in beside:
            continue
        methods = str(array.attrs.get("cell_methods", ""))
        said = re.search(r"\btime:\s*(minimum|maximum|mean)", methods)
        found.setdefault(said[1] if said else "point", []).append(str(name))
    problems: list[Problem | str] = []
    for names in found.values():
        if len(names) > 1:
            problems.append(Problem(f"{len(names)} variables of air temperature ({listed(names)})", "one", file=file))
    if not {"point", "minimum", "mean"} & set(found):
        others = f" (only {listed(sorted(found))} values)" if found else ""
        problems.append(
            Problem(
                f"no variable of air temperature{others}",
                "a variable with standard_name air_temperature, at instants or with cell_methods 'time: minimum'",
                file=file,
            )
        )
    raise_problems(problems, file)
    return {kind: names[0] for kind, names in found.items()}


def _say_mean(seconds: Floats, name: str, file: str) -> str:
    """Say that means are taken as readings; those of more than an hour hide the minimum and are refused."""
    step = float(np.median(np.diff(np.unique(seconds)))) if seconds.size > 1 else np.inf
    if step > LONGEST_MEAN_S:
        raise InputError(
            Problem(
                "means over more than an hour",
                "temperatures at instants, means over an hour or less, or daily minima",
                file=file,
                column=name,
            )
        )
    return f"'{name}' holds means over {step / 60:.0f} min: taken as readings at their times."


def _unit_of(array: xr.DataArray, problems: list[Problem | str], file: str) -> str:
    text = str(array.attrs.get("units", ""))
    try:
        return unit_named(text.replace("degrees_", "deg").replace("degree_", "deg"))
    except UnitsError:
        name = str(array.name)
        problems.append(Problem(f"units '{text}'", "K, degC or degF", file=file, row=None, column=name))
        return "degC"


def _time_name(dataset: xr.Dataset, array: xr.DataArray) -> str | None:
    named = [*str(array.attrs.get("coordinates", "")).split(), *(str(dim) for dim in array.dims)]
    for name in named:
        if name in dataset.variables:
            attributes = dataset[name].attrs
            if attributes.get("standard_name") == "time" or attributes.get("axis") == "T" or name == "time":
                return name
    return None


def _seconds_of(
    dataset: xr.Dataset, array: xr.DataArray, chosen: int, problems: list[Problem | str], file: str
) -> Floats:
    """Seconds since 1970 of each value, in UTC; of daily values, the middle of their day."""
    name = _time_name(dataset, array)
    if name is None:
        problems.append(
            Problem("no time coordinate", "a variable with standard_name time", file=file, column=str(array.name))
        )
        return np.zeros(0)
    time = dataset[name]
    attributes: Mapping[str, Any] = time.attrs
    calendar = str(attributes.get("calendar", "standard")).lower()
    units = str(attributes.get("units", ""))
    parted = re.fullmatch(r"\s*(\w+)\s+since\s+(.+?)\s*", units)
    if parted is None or parted[1].lower() not in _STEPS:
        problems.append(
            Problem(f"units '{units}'", "a CF unit such as 'hours since 1970-01-01'", file=file, column=name)
        )
        return np.zeros(0)
    if calendar not in _CALENDARS:
        problems.append(Problem(f"calendar '{calendar}'", "the standard calendar", file=file, column=name))
        return np.zeros(0)
    try:
        epoch = pd.Timestamp(
            re.sub(r"^(\d+-\d+-\d+)T?\s+(\d+:)", r"\1T\2", parted[2]).replace(" UTC", "Z").replace(" ", "")
        )
    except ValueError:
        problems.append(Problem(f"units '{units}'", "a date after 'since'", file=file, column=name))
        return np.zeros(0)
    epoch = epoch.tz_localize("UTC") if epoch.tzinfo is None else epoch.tz_convert("UTC")
    start = (epoch - pd.Timestamp("1970-01-01", tz="UTC")) / pd.Timedelta(seconds=1)
    bounds = str(attributes.get("bounds", ""))
    stamps = time
    if bounds in dataset.variables and "minimum" in str(array.attrs.get("cell_methods", "")):
        stamps = dataset[bounds].mean(dim=str(dataset[bounds].dims[-1]))
    values = taken(stamps, dataset, chosen)
    seconds: Floats = start + values * _STEPS[parted[1].lower()]
    if not np.isfinite(seconds).all():
        problems.append(Problem("times that are missing", "a time for each value", file=file, column=name))
    return np.round(seconds, 3)


def _days_of(dataset: xr.Dataset, array: xr.DataArray, seconds: Floats, chosen: int) -> tuple[np.ndarray, str]:
    """Days of daily values by their middles, and the zone they are days of; empty where the file names none."""
    name = _time_name(dataset, array)
    attributes = dataset[name].attrs if name else {}
    zone = str(attributes.get("timezone", ""))
    if (of_each := str(attributes.get("timezone_variable", ""))) in dataset.variables:
        zone = str(dataset[of_each].to_numpy().ravel()[chosen])
    if not zone:
        return np.floor(seconds / _DAY_S).astype(np.int64).astype("M8[D]"), ""
    middles = pd.DatetimeIndex(np.round(seconds).astype(np.int64).astype("M8[s]")).tz_localize("UTC")
    local = middles.tz_convert(parse_zone(zone)).tz_localize(None)
    return local.to_numpy().astype("M8[D]"), zone


def _resolution(array: xr.DataArray) -> float:
    """The last digit [K]: of packed numbers their scale, else the finest one that is taken."""
    factor = array.encoding.get("scale_factor")
    return max(float(abs(factor)), _LEAST_RESOLUTION_C) if factor is not None else _LEAST_RESOLUTION_C
