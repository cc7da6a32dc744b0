"""Humidity, dew point, wind and sky in a CF NetCDF file of a station, found by their standard names."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr

from hardiness.read.conditions import CLOUD, CONDITIONS, DEW_POINT, RELATIVE_HUMIDITY, WIND_FROM, WIND_SPEED
from hardiness.read.station_data import Floats
from hardiness.words import listed

# (factor, added) to the unit inside, by the unit that a file writes
_LINES = {
    RELATIVE_HUMIDITY: {"%": (1.0, 0.0), "percent": (1.0, 0.0), "1": (100.0, 0.0)},
    DEW_POINT: {
        "degC": (1.0, 0.0), "celsius": (1.0, 0.0), "degree_Celsius": (1.0, 0.0), "degrees_Celsius": (1.0, 0.0),
        "K": (1.0, -273.15), "kelvin": (1.0, -273.15),
        "degF": (5 / 9, -160 / 9), "degree_Fahrenheit": (5 / 9, -160 / 9), "degrees_Fahrenheit": (5 / 9, -160 / 9),
    },
    WIND_SPEED: {
        "m s-1": (1.0, 0.0), "m/s": (1.0, 0.0), "km h-1": (1 / 3.6, 0.0), "km/h": (1 / 3.6, 0.0),
        "knot": (1852 / 3600, 0.0), "knots": (1852 / 3600, 0.0), "kt": (1852 / 3600, 0.0), "mph": (0.44704, 0.0),
    },
    WIND_FROM: {"degree": (1.0, 0.0), "degrees": (1.0, 0.0), "degree_true": (1.0, 0.0), "degrees_true": (1.0, 0.0)},
    CLOUD: {"1": (1.0, 0.0), "%": (0.01, 0.0), "percent": (0.01, 0.0), "okta": (0.125, 0.0), "oktas": (0.125, 0.0)},
}  # fmt: skip


def conditions_in(
    dataset: xr.Dataset, air: xr.DataArray, taken: Callable[[xr.DataArray], Floats]
) -> tuple[dict[str, Floats], list[str]]:
    """Find the conditions of the air that a file has at the instants of its temperatures.

    Parameters
    ----------
    dataset : xarray.Dataset
        The file.
    air : xarray.DataArray
        Its air temperature.
    taken : callable
        Gives the values of the station that is meant.

    Returns
    -------
    conditions : dict of str to numpy.ndarray of float64
        By the names of :data:`hardiness.read.conditions.CONDITIONS`, in their units; NaN where missing.
    said : list of str
        Sentences for the user: what the file has and could not be used.

    Examples
    --------
    >>> air = xr.DataArray([1.0, -2.0], dims="obs", attrs={"standard_name": "air_temperature"})
    >>> wind = xr.DataArray([3.6, 7.2], dims="obs", attrs={"standard_name": "wind_speed", "units": "km h-1"})
    >>> found, said = conditions_in(xr.Dataset({"t": air, "w": wind}), air, lambda one: one.to_numpy())
    >>> found["wind_speed"].tolist(), said
    ([1.0, 2.0], [])
    """
    found: dict[str, Floats] = {}
    said = []
    for name, condition in CONDITIONS.items():
        named = [
            str(key)
            for key, array in dataset.data_vars.items()
            if array.attrs.get("standard_name") == condition.standard_name and array.dims == air.dims
        ]
        if len(named) > 1:
            said.append(f"{len(named)} variables of {condition.long_name} ({listed(named)}): none of them is taken.")
        if len(named) != 1:
            continue
        array = dataset[named[0]]
        unit = str(array.attrs.get("units", "")).strip()
        if unit not in _LINES[name]:
            units = ", ".join(_LINES[name])
            said.append(f"'{named[0]}' in units '{unit}' is left out: {condition.long_name} is read in {units}.")
            continue
        factor, added = _LINES[name][unit]
        # seventh decimals are rounding errors of packed numbers: they would make 100.00001 % of saturated air
        found[name] = np.round(taken(array) * factor + added, 6)
    return found, said
