"""What a freeze was: its span, minimum, hours at or below thresholds, held temperatures, degree hours, coverage.

In: one sensor's readings. Out: a labelled dataset with a place for each freeze (:func:`measure_freezes`), or the same
as a table (:func:`freezes_of`). The definition of a freeze is in ``weather/freezes.py``; between two readings the
temperature is a straight line, and all times are exact for that line (``weather/line.py``). This measures freezes at a
sensor: which freezes each plant was exposed to (``Exposures``) stands in ``weather/placing.py``.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.errors import InputError, Problem
from hardiness.schema import column_names, held_column, hours_column, measure_columns
from hardiness.settings import FreezeRules
from hardiness.units import Temperature
from hardiness.weather.freezes import Spans, find_spans
from hardiness.weather.gaps import HOUR_NS, FloatArray
from hardiness.weather.held import held_temperatures
from hardiness.weather.line import degree_hours_below, fall_rates, hours_at_or_below, line_of
from hardiness.weather.series import Series, series_of, to_series

ACCURACY_C = 0.5  # [K] one standard deviation of a sensor's bias, where none is given: a usual accuracy class
UNSHIELDED_C = 1.0  # [K] more where the sensor has no radiation shield
UNCOVERED_C = 2.0  # [K] more at no coverage at all
BATCH = 2_000_000  # readings whose freezes are measured together

_ON_SCALE = {"units": "degC", "units_metadata": "temperature: on_scale"}
_LABELS: dict[str, tuple[tuple[str, ...], dict[str, str]]] = {
    "freeze": (("freeze",), {"units": "1", "long_name": "freezes of one sensor, in order of time"}),
    "threshold": (
        ("threshold",),
        {"long_name": "threshold", "standard_name": "air_temperature_threshold", **_ON_SCALE},
    ),
    "threshold_label": (("threshold",), {"units": "1", "long_name": "threshold as it was given: number and unit"}),
    "held": (("held",), {"units": "h", "long_name": "held duration: hours in total"}),
    # the units of instants are theirs when written: see _TIME_ENCODING
    "starts": (("freeze",), {"long_name": "first crossing down of onset", "standard_name": "time"}),
    "ends": (("freeze",), {"long_name": "last crossing up of onset", "standard_name": "time"}),
    "starts_cut": (("freeze",), {"units": "1", "long_name": "the readings do not show the crossing at starts"}),
    "ends_cut": (("freeze",), {"units": "1", "long_name": "the readings do not show the crossing at ends"}),
    "minimum_c": (("freeze",), {"long_name": "coldest reading", "standard_name": "air_temperature", **_ON_SCALE}),
    "duration_h": (("freeze",), {"units": "h", "long_name": "duration: ends - starts"}),
    "hours_le": (("freeze", "threshold"), {"units": "h", "long_name": "hours at or below the threshold"}),
    "held_c": (
        ("freeze", "held"),
        {"long_name": "coldest temperature held in total", "standard_name": "air_temperature", **_ON_SCALE},
    ),
    "degree_hours_c_h": (
        ("freeze",),
        {
            "units": "K h",
            "units_metadata": "temperature: difference",
            "long_name": "degree hours below onset",
            "standard_name": "integral_wrt_time_of_air_temperature_deficit",
        },
    ),
    "fall_rate_c_per_h": (
        ("freeze",),
        {"units": "K h-1", "units_metadata": "temperature: difference", "long_name": "largest fall over one hour"},
    ),
    "coverage": (("freeze",), {"units": "1", "long_name": "share of the freeze that readings cover"}),
}
_TIME_ENCODING = {"units": "nanoseconds since 1970-01-01", "dtype": "int64", "calendar": "proleptic_gregorian"}


def measure_freezes(air_temperature: xr.DataArray, *, rules: FreezeRules, local_interval: bool = True) -> xr.Dataset:
    """Find and measure the freezes of one sensor.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Readings of one sensor, dims ``(time,)``, ``time`` in UTC, in any order; NaN is no reading. [degC]
    rules : FreezeRules
        What counts as a freeze, and which thresholds and held durations to measure.
    local_interval : bool, default True
        Take the usual interval between readings within 15 days; otherwise over the whole series.

    Returns
    -------
    xarray.Dataset
        Dims ``(freeze, threshold, held)``; variables ``starts`` and ``ends`` [UTC], ``starts_cut`` and ``ends_cut``
        (the readings do not show that crossing of onset), ``minimum_c`` [degC], ``duration_h`` [h],
        ``hours_le (freeze, threshold)`` [h], ``held_c (freeze, held)`` [degC], ``degree_hours_c_h`` [K h],
        ``fall_rate_c_per_h`` [K/h], ``coverage`` [1]. NaN: fewer hours are bridged than ``held`` asks for; no hour
        without an unbridged gap lies inside (``fall_rate_c_per_h``).

    Raises
    ------
    UnitsError
        If the array does not say that it is in degC.
    InputError
        If a temperature is infinite, or one time has two temperatures.

    Examples
    --------
    >>> time = np.datetime64("2031-12-14T18", "ns") + np.arange(5) * np.timedelta64(1, "h")
    >>> air = xr.DataArray([2.0, -2.0, -4.0, -2.0, 2.0], {"time": time}, attrs={"units": "degC"})
    >>> freezes = measure_freezes(air, rules=FreezeRules())
    >>> freezes["hours_le"].sel(threshold=-2.0).values.tolist(), freezes["held_c"].sel(held=1.0).values.tolist()
    ([2.0], [-3.0])
    """
    series = to_series(air_temperature, local_interval=local_interval, max_gap_h=rules.max_gap_h)
    return measure_series(series, rules)


def freezes_of(
    times: Any,
    temperatures_c: Any,
    *,
    onset_c: float = 0.0,
    thaw_h: float = 12.0,
    damaging_c: float = -2.0,
    thresholds_c: Sequence[float] = (0, -2, -4, -6, -8, -10),
    held_h: Sequence[float] = (1, 2, 4),
    max_gap_h: float | None = None,
) -> pd.DataFrame:
    """Find and measure the freezes of one series of temperatures: no trial needed.

    Parameters
    ----------
    times : array-like
        Instants in UTC: datetime64 (naive is UTC), or datetimes with their zone; in any order.
    temperatures_c : array-like of float
        One for each time; NaN is no reading. [degC]
    onset_c : float, default 0.0
        A freeze begins when the temperature reaches it or lower. [degC]
    thaw_h : float, default 12.0
        Hours on end above ``onset_c`` that end a freeze. [h]
    damaging_c : float, default -2.0
        A freeze is listed when its minimum is at or below it. [degC]
    thresholds_c : sequence of float
        Hours at or below each are measured. [degC]
    held_h : sequence of float
        Held durations; 0 asks for the minimum. [h]
    max_gap_h : float, optional
        A gap longer than this is not bridged; None: three median steps of the whole series, at least 1.5 h. [h]

    Returns
    -------
    pandas.DataFrame
        A row for each freeze, in order of time: starts, ends [UTC], minimum_c, duration_h, one ``hours_le_<t>_c`` for
        each threshold, one ``held_<h>h_c`` for each held duration (NaN where fewer hours are bridged),
        degree_hours_c_h, fall_rate_c_per_h (NaN under one hour), coverage, sd_c (for a shielded sensor of 0.5 K).

    Raises
    ------
    InputError
        If an option makes no sense (all of them are listed), a temperature is infinite, or one time has two
        temperatures.

    Examples
    --------
    >>> times = pd.date_range("2031-12-14T18", periods=5, freq="h")
    >>> freezes = freezes_of(times, [2.0, -2.0, -4.0, -2.0, 2.0])
    >>> freezes[["minimum_c", "duration_h", "hours_le_-2_c", "held_1h_c"]].iloc[0].tolist()
    [-4.0, 3.0, 2.0, -3.0]
    """
    thresholds = tuple(Temperature(float(value) + 0.0, "degC", float(value) + 0.0) for value in thresholds_c)
    rules = FreezeRules(
        onset_c=float(onset_c),
        thaw_h=float(thaw_h),
        damaging_c=float(damaging_c),
        thresholds=thresholds,
        held_h=tuple(float(hours) + 0.0 for hours in held_h),
        max_gap_h=None if max_gap_h is None else float(max_gap_h),
    )
    _refuse_senseless(rules)
    series = series_of(times, temperatures_c, local_interval=False, max_gap_h=rules.max_gap_h)
    return to_frame(measure_series(series, rules), rules)


def to_frame(
    freezes: xr.Dataset,
    rules: FreezeRules,
    *,
    accuracy_c: float = ACCURACY_C,
    shielded: bool = True,
    transfer_c: FloatArray | float = 0.0,
) -> pd.DataFrame:
    r"""Flatten measured freezes to a table, and add how sure the temperatures are at the plants.

    .. math:: sd = \sqrt{accuracy^2 + unshielded^2 + (2\,(1 - coverage))^2 + transfer^2}

    Parameters
    ----------
    freezes : xarray.Dataset
        As :func:`measure_freezes` returns them.
    rules : FreezeRules
        The same rules.
    accuracy_c : float, default 0.5
        One standard deviation of the sensor's bias. [K]
    shielded : bool, default True
        Whether the sensor hangs in a radiation shield; if not, 1 K is added.
    transfer_c : float or ndarray of float, default 0
        Standard deviation of temperatures that other sensors estimate; one for all freezes, or one for each. [K]

    Returns
    -------
    pandas.DataFrame
        The freezes table from ``starts`` on; ``starts`` and ``ends`` as datetime64[ns, UTC].
    """
    columns: dict[str, Any] = {
        name: pd.DatetimeIndex(freezes[name].to_numpy()).tz_localize("UTC") for name in ("starts", "ends")
    }
    for name in ("minimum_c", "duration_h", "degree_hours_c_h", "fall_rate_c_per_h", "coverage"):
        columns[name] = freezes[name].to_numpy()
    hours, held = freezes["hours_le"].to_numpy(), freezes["held_c"].to_numpy()
    columns |= {hours_column(threshold): hours[:, i] for i, threshold in enumerate(rules.thresholds)}
    columns |= {held_column(duration): held[:, i] for i, duration in enumerate(rules.held_h)}
    unsure = UNCOVERED_C * (1 - columns["coverage"])
    columns["sd_c"] = np.sqrt(accuracy_c**2 + (0.0 if shielded else UNSHIELDED_C**2) + unsure**2 + transfer_c**2)
    return pd.DataFrame(columns)[column_names(measure_columns(rules.thresholds, rules.held_h))]


def measure_series(series: Series, rules: FreezeRules) -> xr.Dataset:
    """Find the freezes in readings that are ready to be measured, and measure them.

    Parameters
    ----------
    series : Series
        Readings of one sensor, made with the ``max_gap_h`` of the rules. [degC]
    rules : FreezeRules
        What a freeze is, and what is measured.

    Returns
    -------
    xarray.Dataset
        As :func:`measure_freezes` gives it.
    """
    spans = find_spans(series, rules)
    parts = [_measured(series, spans.part(some), rules) for some in _batches(spans)]
    values = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    freezes = spans.first.size
    values |= {
        "freeze": np.arange(freezes),
        "threshold": np.array([threshold.celsius for threshold in rules.thresholds], dtype=np.float64),
        "threshold_label": np.array([threshold.label for threshold in rules.thresholds], dtype=np.str_),
        "held": np.array(rules.held_h, dtype=np.float64),
    }
    labelled = {name: (dims, values[name], dict(attrs)) for name, (dims, attrs) in _LABELS.items()}
    coordinates = ("freeze", "threshold", "threshold_label", "held")
    dataset = xr.Dataset(
        {name: variable for name, variable in labelled.items() if name not in coordinates},
        coords={name: labelled[name] for name in coordinates},
        attrs={"Conventions": "CF-1.11"},
    )
    dataset["threshold"].attrs["comment"] = "hours_le counts time at or below it"
    dataset["degree_hours_c_h"].attrs["comment"] = f"below {rules.onset_c:g} degC"
    for name in ("starts", "ends"):
        dataset[name].encoding = dict(_TIME_ENCODING)
    return dataset


def _batches(spans: Spans) -> list[slice]:
    """Cut freezes, in their order, into batches of a few million readings, so that memory does not grow with years."""
    readings = np.cumsum(spans.last - spans.first + 1)
    cuts = np.flatnonzero(np.diff(readings // BATCH)) + 1
    return [slice(*ends) for ends in itertools.pairwise([0, *cuts.tolist(), readings.size])]


def _measured(series: Series, spans: Spans, rules: FreezeRules) -> dict[str, Any]:
    """Measure some freezes: the values of the dataset that has a place for each."""
    line = line_of(series, spans, rules.onset_c)
    freezes = spans.first.size
    duration = (spans.ends - spans.starts) / HOUR_NS
    bridged = line.total(line.length) / HOUR_NS
    to_cover = duration + _unseen_hours(series, spans)
    hours = [hours_at_or_below(line, threshold.celsius) for threshold in rules.thresholds]
    return {
        "starts": spans.starts.astype("M8[ns]"),
        "ends": spans.ends.astype("M8[ns]"),
        "starts_cut": spans.starts_cut,
        "ends_cut": spans.ends_cut,
        "minimum_c": spans.minimum,
        "duration_h": duration,
        "hours_le": np.array(hours).reshape(len(hours), freezes).T,
        "held_c": held_temperatures(line, rules.held_h),
        "degree_hours_c_h": degree_hours_below(line, rules.onset_c),
        "fall_rate_c_per_h": fall_rates(line),
        # a freeze that only touches onset has no length and is wholly covered
        "coverage": np.divide(bridged, to_cover, out=np.ones(freezes), where=to_cover > 0),
    }


def _unseen_hours(series: Series, spans: Spans) -> FloatArray:
    """One max_gap [h] for each cut end: that of the gap there, or of the step nearest to an end of the readings."""
    unseen = np.zeros(spans.first.size)
    for cut, step in ((spans.starts_cut, spans.first - 1), (spans.ends_cut, spans.last)):
        unseen[cut] += series.max_gap(step[cut]) / HOUR_NS
    return unseen


def _refuse_senseless(rules: FreezeRules) -> None:
    """Options of freezes_of that make no sense; a trial's settings were checked when they were read."""
    numbers: list[tuple[str, float, bool, str]] = [
        ("onset_c", rules.onset_c, True, "a temperature in degC"),
        ("thaw_h", rules.thaw_h, rules.thaw_h > 0, "hours above 0"),
        ("damaging_c", rules.damaging_c, not rules.damaging_c > rules.onset_c, "a temperature at or below onset_c"),
    ]
    numbers += [("thresholds_c", threshold.value, True, "temperatures in degC") for threshold in rules.thresholds]
    numbers += [("held_h", held_h, held_h >= 0, "hours, each 0 or more") for held_h in rules.held_h]
    if rules.max_gap_h is not None:
        numbers.append(("max_gap_h", rules.max_gap_h, rules.max_gap_h > 0, "hours above 0, or None"))
    problems: list[Problem | str] = [
        Problem(f"{value:g}", accepted, column=name)
        for name, value, sensible, accepted in numbers
        if not (math.isfinite(value) and sensible)
    ]
    for name, labels in (
        ("thresholds_c", [hours_column(threshold) for threshold in rules.thresholds]),
        ("held_h", [held_column(held_h) for held_h in rules.held_h]),
    ):
        if len(set(labels)) < len(labels):
            problems.append(Problem(f"columns {', '.join(labels)}", "each of them once", column=name))
    if problems:
        raise InputError(problems)
