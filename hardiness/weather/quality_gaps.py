"""Gaps between readings: those in which a freeze may have fallen are flags, those of summer are not.

A logger that is taken in once the frosts are over leaves a gap of months every year, and nobody has anything to decide
on it. A gap is one of *summer* where it lies in the four warmest months, or holds midsummer and lies three quarters or
more in the warm half of the year; and where no sensor of the trial has a damaging reading in it, its own readings on
either side included. Months of the calendar in temperate climates: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import words
from hardiness.read.station_data import ESTIMATED, series_of_attributes
from hardiness.settings import Settings
from hardiness.weather.gaps import HOUR_NS, BoolArray, IntArray
from hardiness.weather.quality_course import Course, Stretch
from hardiness.weather.series import TIE_C, Series, to_series

WARM_HALF_BEGINS = {"north": 4, "south": 10}  # [month] after January: May to October, November to April
HALF, WARMEST, MIDSUMMER = 6, (1, 5), 3  # [month] after that: how long, June to September, and 1 August (north)
STEADY, ALIKE = 4, 0.01  # [1] so many steps in a row that differ by so little are how a logger was set, no silence
WARM_SHARE = 0.75  # [1] of a gap over midsummer that lies in the warm half, at least


@dataclass(frozen=True, slots=True, eq=False)
class SummerGaps:
    """The gaps of one sensor that lie in summer, and in which no sensor read a damaging temperature.

    Parameters
    ----------
    steps : ndarray of int64
        Positions of the readings before them.
    first, last : ndarray of int64
        Times of the readings on either side, since 1970-01-01 UTC. [ns]
    """

    steps: IntArray
    first: IntArray
    last: IntArray


def find_gaps(course: Course, quiet: IntArray) -> list[Stretch]:
    """List every step between readings that is not bridged, but those of summer.

    Parameters
    ----------
    course : Course
        Of the sensor.
    quiet : ndarray of int64
        Its gaps of summer: :attr:`SummerGaps.steps`.

    Returns
    -------
    list of Stretch
        ``gap``, from the reading before it to the one after.
    """
    series, found = course.series, []
    steady = _steady(series.steps)
    for step in np.setdiff1d(np.flatnonzero(~series.bridged), quiet, assume_unique=True).tolist():
        lasting = series.steps[step] / HOUR_NS
        missing = max(round(lasting / course.interval_h) - 1, 1)
        how_many = f", about {words.count(missing, 'reading')} missing" if lasting < 48 else ""
        if steady[step]:
            how_many = (
                ", nor between the readings beside them: it was set to read less often. Hours between such readings "
                "count nowhere within about two weeks of the change"
            )
        found.append(
            Stretch("gap", step, step + 1, np.nan, f"No reading for {lasting_text(float(lasting))}{how_many}.")
        )
    return found


def _steady(steps: IntArray) -> BoolArray:
    """Whether each step is one of several of its length in a row."""
    if steps.size == 0:
        return np.zeros(0, dtype=np.bool_)
    other = np.abs(np.diff(steps)) > ALIKE * steps[:-1]
    firsts = np.flatnonzero(np.concatenate(([True], other)))
    lengths = np.diff(np.append(firsts, steps.size))
    return np.repeat(lengths >= STEADY, lengths)


def quiet_gaps(sensors: Iterable[str], series_of: Callable[[str], Series], settings: Settings) -> dict[str, SummerGaps]:
    """Find the gaps that are no flags: those of summer in which no sensor read a damaging temperature.

    Parameters
    ----------
    sensors : iterable of str
        All sensors of the trial.
    series_of : callable
        Gives the readings of one of them. Each is asked for once, and once more where any gap lies in summer. [degC]
    settings : Settings
        Of the trial: its zone, north or south, and ``damaging_c`` of its rules.

    Returns
    -------
    dict of str to SummerGaps
        Of every sensor.
    """
    in_summer: dict[str, SummerGaps] = {}
    for sensor in sensors:
        series = series_of(sensor)
        steps = np.flatnonzero(~series.bridged)
        steps = steps[_in_summer(series.times[steps], series.times[steps + 1], settings)]
        in_summer[sensor] = SummerGaps(steps, series.times[steps], series.times[steps + 1])
    cold = {sensor: np.zeros(gaps.steps.size, dtype=np.bool_) for sensor, gaps in in_summer.items()}
    if any(told.size for told in cold.values()):
        limit = settings.rules.damaging_c + TIE_C
        for sensor in in_summer:
            series = series_of(sensor)
            damaging = series.times[series.temperatures <= limit]
            for name, gaps in in_summer.items():
                cold[name] |= np.searchsorted(damaging, gaps.first) < np.searchsorted(damaging, gaps.last, side="right")
    return {
        sensor: SummerGaps(*(told[~cold[sensor]] for told in (gaps.steps, gaps.first, gaps.last)))
        for sensor, gaps in in_summer.items()
    }


def summer_gaps(readings: Mapping[str, xr.DataArray], settings: Settings) -> pd.DataFrame:
    """List the gaps that are no flags, since they lie in summer.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings of each sensor, as :func:`hardiness.weather.quality.find_flags` takes them. [degC]
    settings : Settings
        Of the trial.

    Returns
    -------
    pandas.DataFrame
        ``sensor``; ``from`` and ``to``, the readings on either side (UTC); ``hours`` between them [h].

    Raises
    ------
    UnitsError, InputError
        As :func:`hardiness.weather.series.to_series`.

    Examples
    --------
    >>> time = np.array(["2031-03-31T22", "2031-03-31T23", "2031-11-01T00", "2031-11-01T01"], "M8[ns]")
    >>> air = xr.DataArray([6.0, 5.0, 7.0, 6.5], {"time": time}, attrs={"units": "degC"})
    >>> summer_gaps({"L1": air}, Settings("Hill", "UTC"))[["sensor", "hours"]].values.tolist()
    [['L1', 5137.0]]
    """

    def series_of(sensor: str) -> Series:
        air = readings[sensor]
        nobodys = series_of_attributes(air.attrs) == ESTIMATED
        return to_series(air[:0] if nobodys else air, max_gap_h=settings.rules.max_gap_h)

    found = quiet_gaps(sorted(readings), series_of, settings)
    rows = [(name, *ends) for name, gaps in found.items() for ends in zip(gaps.first, gaps.last, strict=True)]
    table = pd.DataFrame(rows, columns=["sensor", "from", "to"]).astype({"sensor": "str"})
    ends = {name: table[name].to_numpy(np.int64) for name in ("from", "to")}
    told = {name: pd.DatetimeIndex(values.astype("M8[ns]")).tz_localize("UTC") for name, values in ends.items()}
    return table.assign(**told, hours=(ends["to"] - ends["from"]) / HOUR_NS)


def lasting_text(hours: float) -> str:
    """Write how long a gap lasts.

    Parameters
    ----------
    hours : float
        Its length. [h]

    Returns
    -------
    str

    Examples
    --------
    >>> lasting_text(3.5), lasting_text(24.0 * 214)
    ('3.5 h', '214 days')
    """
    return words.hours(hours) if hours < 48 else f"{words.number(hours / 24, 0)} days"


def _in_summer(first: IntArray, last: IntArray, settings: Settings) -> BoolArray:
    """Whether the calendar has each gap between two readings in summer."""
    begins, ends = _local(first, settings), _local(last, settings)
    middle = (begins + (ends - begins) // 2).astype("M8[M]").astype(np.int64)
    south = settings.latitude is not None and settings.latitude < 0
    opening = WARM_HALF_BEGINS["south" if south else "north"]
    half = opening + 12 * ((middle - opening + (12 - HALF) // 2) // 12)  # the warm half that is nearest to the middle

    def after(months: int) -> np.ndarray:
        instants: np.ndarray = (half + months).astype("M8[M]").astype("M8[ns]")
        return instants

    warmest = (begins >= after(WARMEST[0])) & (ends <= after(WARMEST[1]))
    warm = np.minimum(ends, after(HALF)) - np.maximum(begins, after(0))
    enough = warm / np.timedelta64(1, "ns") >= WARM_SHARE * (last - first)
    over = (begins <= after(MIDSUMMER)) & (ends >= after(MIDSUMMER)) & enough
    summer: BoolArray = warmest | over
    return summer


def _local(instants: IntArray, settings: Settings) -> np.ndarray:
    return (
        pd.DatetimeIndex(instants.astype("M8[ns]"))
        .tz_localize("UTC")
        .tz_convert(settings.zone)
        .tz_localize(None)
        .to_numpy()
    )
