"""Readings laid along a sample dimension as CF has them: those at instants along ``obs``, daily minima along ``day``.

A minimum over a day is another thing than the temperature at its midnight: daily minima have variables of their own,
``cell_methods`` "time: minimum", the bounds of their days, and the zone whose days they are. Hours drawn through daily
values are temperatures at instants that nobody measured, which the flag ``origin`` says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo
from typing import Any

import numpy as np
import numpy.typing as npt
import xarray as xr

from hardiness.read.conditions import CONDITIONS
from hardiness.read.station_data import DAILY_MINIMUM, ESTIMATED, series_of_attributes
from hardiness.store.part_conditions import attributes_of
from hardiness.store.parts import NANOSECONDS, labelled, times_ns
from hardiness.weather.days import day_ends
from hardiness.weather.gaps import FloatArray

STATUS = ("counts", "masked", "looked_at_and_kept")
ORIGIN = ("measured", "estimated")
BOUND = "bound"  # the dimension of the two ends of a day
_ZONE = "daily_timezone"
DIFFERENCE = {"units": "K", "units_metadata": "temperature: difference"}
_ON_SCALE = {"units": "degC", "units_metadata": "temperature: on_scale", "standard_name": "air_temperature"}


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of readings and what its variables are called.

    Parameters
    ----------
    dimension : str
        Its sample dimension.
    temperature : str
        Variable of the temperature with offsets.
    prefix : str
        Of its other variables.
    method : str
        What a temperature is of its time: ``point`` or ``minimum``.
    noun, nouns : str
        What one of them is, and several are, in words.
    """

    dimension: str
    temperature: str
    prefix: str
    method: str
    noun: str
    nouns: str

    @property
    def coordinates(self) -> str:
        """What places its readings in time and space."""
        return f"{self.prefix}time latitude longitude"


INSTANTS = Kind("obs", "air_temperature", "", "point", "reading", "readings")
DAYS = Kind("day", "daily_minimum", "daily_", "minimum", "daily minimum", "daily minima")
KINDS = (INSTANTS, DAYS)


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """What is known of the readings of one sensor.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        As they were read, times rising, in UTC; its attributes say how they came about. [degC]
    offset : ndarray of float
        What is added to each. [K]
    status : ndarray of int8
        Number in ``STATUS`` of each.
    conditions : xarray.Dataset, optional
        What else is known of the air, at instants of the readings.
    zone : datetime.tzinfo
        Of the days, where they are daily minima.
    """

    air_temperature: xr.DataArray
    offset: FloatArray
    status: npt.NDArray[np.int8]
    conditions: xr.Dataset | None = None
    zone: tzinfo = UTC

    @property
    def kind(self) -> Kind:
        """Readings at instants, or daily minima."""
        return kind_of(self.air_temperature)

    @property
    def stamps(self) -> npt.NDArray[np.int64]:
        """When, since 1970-01-01 UTC. [ns]."""
        return times_ns(self.air_temperature["time"].to_numpy())

    @property
    def estimated(self) -> bool:
        """Whether they were drawn through daily values, and not measured."""
        return series_of_attributes(self.air_temperature.attrs) == ESTIMATED


def kind_of(air_temperature: xr.DataArray) -> Kind:
    """Tell whether a sensor's readings are at instants or daily minima.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Its attributes say how they came about.

    Returns
    -------
    Kind
    """
    return DAYS if series_of_attributes(air_temperature.attrs) == DAILY_MINIMUM else INSTANTS


def time_unit(stamps: npt.NDArray[np.int64], at_least: str | None = None) -> str:
    """Name the coarsest unit of CF time in which instants are whole numbers.

    Parameters
    ----------
    stamps : ndarray of int64
        Since 1970-01-01 UTC. [ns]
    at_least : str, optional
        No coarser than this one.

    Returns
    -------
    str

    Examples
    --------
    >>> time_unit(np.array([2_000_000_000])), time_unit(np.array([2_000_000_000]), at_least="milliseconds")
    ('seconds', 'milliseconds')
    """
    units = list(NANOSECONDS)
    fine_enough = units if at_least is None else units[units.index(at_least) :]
    return next(unit for unit in fine_enough if not np.any(stamps % NANOSECONDS[unit]))


def sample_variables(kind: Kind, sensors: Sequence[Samples], *, at_least: str | None = None) -> dict[str, xr.Variable]:
    """Give the variables of one kind of readings.

    Parameters
    ----------
    kind : Kind
        Which kind.
    sensors : sequence of Samples
        Of every sensor of the file; those of another kind have no reading here.
    at_least : str, optional
        Unit of time that is fine enough for readings that stand beside these; None: there are none.

    Returns
    -------
    dict of str to xarray.Variable
        By name; empty where no sensor has readings of the kind.
    """
    own = [samples for samples in sensors if samples.kind is kind]
    if not own:
        return {}
    stamps = np.concatenate([samples.stamps for samples in own])
    unit = time_unit(stamps, at_least)  # a day begins and ends at whole seconds if it begins at one
    read = np.concatenate([samples.air_temperature.to_numpy() for samples in own])
    offset = np.concatenate([samples.offset for samples in own])
    status = np.concatenate([samples.status for samples in own])
    sizes = [samples.air_temperature.size if samples.kind is kind else 0 for samples in sensors]
    along, name, prefix, noun = (kind.dimension,), kind.temperature, kind.prefix, kind.noun
    placed = {"coordinates": kind.coordinates}
    measured = {**_ON_SCALE, "cell_methods": f"time: {kind.method}", **placed}
    read_as = f"{name}_as_read"
    beside = f"{prefix}status {prefix}offset{' origin' if kind is INSTANTS else ''} {read_as}"
    what = "air temperature" if kind is INSTANTS else "lowest air temperature of a day"
    variables = {
        name: labelled(
            along, read + offset, f"{what}: as it was read, and the offset of its sensor", **measured,
            ancillary_variables=beside,
        ),
        read_as: labelled(along, read, f"{what} as the sensor gave it", **measured,
                           ancillary_variables=f"{prefix}status"),
        f"{prefix}offset": labelled(along, offset, "what was added to the temperature as read", **DIFFERENCE,
                                     **placed),
        f"{prefix}status": flag_variable(along, status, f"whether a {noun} counts", STATUS,
                                         standard_name="status_flag", **placed),
        f"{prefix}row_size": labelled(
            ("station",), np.array(sizes, np.int32), f"number of {kind.nouns} of the sensor", units="1",
            sample_dimension=kind.dimension,
        ),
    }  # fmt: skip
    if kind is DAYS:
        ends = np.concatenate([day_ends(samples.stamps, samples.zone) for samples in own])
        zones = [str(samples.zone) if samples.kind is kind else "" for samples in sensors]
        variables[_ZONE] = labelled(("station",), np.array(zones, object), "zone whose days its daily minima are of")
        return variables | _days(stamps, ends, unit)
    estimated = np.repeat([samples.estimated for samples in own], [samples.air_temperature.size for samples in own])
    variables["time"] = _time(along, stamps, unit, "time of the reading, UTC")
    variables["origin"] = flag_variable(
        along, estimated, "whether it was measured, or drawn through the lowest and highest temperatures of days",
        ORIGIN, **placed,
    )  # fmt: skip
    return variables | _conditions(own)


def flag_variable(
    dims: tuple[str, ...], values: Any, long_name: str, meanings: Sequence[str], **attributes: str
) -> xr.Variable:
    """Give a variable of flags.

    Parameters
    ----------
    dims : tuple of str
        Its dims.
    values : array_like
        Number of the meaning of each.
    long_name : str
        What the flag tells.
    meanings : sequence of str
        Words without blanks.
    **attributes : str
        More attributes.

    Returns
    -------
    xarray.Variable
        int8.
    """
    flags: dict[str, Any] = {
        "flag_values": np.arange(len(meanings), dtype=np.int8),
        "flag_meanings": " ".join(meanings),
    }
    return xr.Variable(dims, np.asarray(values, np.int8), {"long_name": long_name, **flags, **attributes})


def _days(stamps: npt.NDArray[np.int64], ends: npt.NDArray[np.int64], unit: str) -> dict[str, xr.Variable]:
    """Times of daily minima: each stands at the beginning of its day, and its bounds are the day."""
    time = _time((DAYS.dimension,), stamps, unit, "beginning of the day, UTC")
    # a day of one zone lies in two of UTC: the zone says which date is meant
    time.attrs |= {"bounds": "daily_time_bounds", "timezone_variable": _ZONE}
    bounds = np.stack((stamps, ends), axis=1) // NANOSECONDS[unit]
    ends_of_days = xr.Variable((DAYS.dimension, BOUND), bounds)  # what it is stands with the times (CF 1.11, 7.1)
    return {"daily_time": time, "daily_time_bounds": ends_of_days}


def _time(along: tuple[str, ...], stamps: npt.NDArray[np.int64], unit: str, long_name: str) -> xr.Variable:
    return labelled(
        along, stamps // NANOSECONDS[unit], long_name, units=f"{unit} since 1970-01-01 00:00:00", standard_name="time",
        calendar="standard", axis="T", units_metadata="leap_seconds: none",
    )  # fmt: skip


def _conditions(own: Sequence[Samples]) -> dict[str, xr.Variable]:
    """Lay what is known of the air along the readings of sensors; conditions that nobody tells are left out."""
    starts = np.cumsum([0, *(samples.air_temperature.size for samples in own)])
    laid: dict[str, FloatArray] = {}
    for samples, start in zip(own, starts.tolist(), strict=False):
        told: Mapping[Any, xr.DataArray] | None = samples.conditions
        if told is None:
            continue
        _, along, there = np.intersect1d(
            samples.stamps, times_ns(told["time"].to_numpy()),
            assume_unique=True, return_indices=True,
        )  # fmt: skip
        for condition in CONDITIONS:
            if condition in told:
                values = laid.setdefault(condition, np.full(int(starts[-1]), np.nan))
                values[start + along] = told[condition].to_numpy()[there]
    return {
        condition: xr.Variable((INSTANTS.dimension,), laid[condition], {
            **attributes_of(condition), "cell_methods": "time: point", "coordinates": INSTANTS.coordinates,
            "ancillary_variables": "status",
        })
        for condition in CONDITIONS if condition in laid
    }  # fmt: skip
