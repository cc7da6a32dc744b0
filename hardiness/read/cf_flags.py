"""What a CF file says about its temperatures beside them: flags, and variables that belong to another one.

A variable that another names as its ancillary one is no temperature of its own. Of flags two words are known: values
called "masked" do not count, and values called "estimated" were not measured.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from hardiness.read.station_data import Floats
from hardiness.words import count

MASKED, ESTIMATED = "masked", "estimated"


def ancillary_of(dataset: xr.Dataset) -> set[str]:
    """List the variables that belong to another one.

    Parameters
    ----------
    dataset : xarray.Dataset
        The file.

    Returns
    -------
    set of str
    """
    return {
        name for array in dataset.variables.values() for name in str(array.attrs.get("ancillary_variables", "")).split()
    }


def without_flagged(
    dataset: xr.Dataset, air: xr.DataArray, values_c: Floats, taken: Callable[[xr.DataArray], Floats]
) -> tuple[Floats, bool, list[str]]:
    """Take out the temperatures that flags say do not count.

    Parameters
    ----------
    dataset : xarray.Dataset
        The file.
    air : xarray.DataArray
        Its air temperature, which names its flags as ancillary variables.
    values_c : numpy.ndarray of float64
        The temperatures of the station that is meant; NaN is missing. [degC]
    taken : callable
        Gives the values of that station.

    Returns
    -------
    values_c : numpy.ndarray of float64
        NaN also where masked; and where estimated, unless all are. [degC]
    estimated : bool
        Whether all of them were estimated, and none measured.
    said : list of str
        Sentences for the user: what was left out.

    Examples
    --------
    >>> flags = {"flag_values": np.array([0, 1], np.int8), "flag_meanings": "counts masked"}
    >>> air = xr.DataArray([1.0, 40.0], dims="obs", attrs={"ancillary_variables": "status"})
    >>> dataset = xr.Dataset({"t": air, "status": ("obs", np.array([0, 1], np.int8), flags)})
    >>> values, estimated, said = without_flagged(dataset, air, air.to_numpy(), lambda one: one.to_numpy())
    >>> values.tolist(), estimated, said
    ([1.0, nan], False, ["1 value that the file's 'status' calls masked: left out."])
    """
    kept, said = values_c, []
    estimated = False
    for name in str(air.attrs.get("ancillary_variables", "")).split():
        if name not in dataset or dataset[name].dims != air.dims:
            continue
        for meaning in (MASKED, ESTIMATED):
            called = _called(dataset[name], taken(dataset[name]), meaning) & np.isfinite(kept)
            if meaning == ESTIMATED and called.any() and called.sum() == np.isfinite(kept).sum():
                estimated = True
            elif called.any():
                kept = np.where(called, np.nan, kept)
                said.append(f"{count(int(called.sum()), 'value')} that the file's '{name}' calls {meaning}: left out.")
    return kept, estimated, said


def _called(flag: xr.DataArray, values: Floats, meaning: str) -> NDArray[np.bool_]:
    meanings = str(flag.attrs.get("flag_meanings", "")).split()
    numbers = np.atleast_1d(np.asarray(flag.attrs.get("flag_values", []), np.float64))
    asked = [number for number, word in zip(numbers, meanings, strict=False) if word == meaning]
    return np.isin(values, asked)
