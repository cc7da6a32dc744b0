"""Floors, survival curves and observations as one NetCDF file with units, for whoever goes on computing."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import schema
from hardiness.report.gathered import Gathered
from hardiness.schema import Column
from hardiness.sentences import FLOOR_CAUTION

STEP_C = 0.5  # [K] between temperatures of the curves
BEYOND_C = 3.0  # [K] curves reach so far beyond what was met


def netcdf_dataset(gathered: Gathered) -> xr.Dataset:
    """Gather a trial's answers as labelled arrays.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    Dataset
        Dims ``cell`` (a selection on a rootstock) and ``observation``; where there is a fit also ``temperature`` and
        ``quantile``, with the share that comes through for every fitted cell (missing for the others). [degC, K, 1]
    """
    variables = {f"floor_{c.name}": _variable(gathered.floors, c, "cell") for c in schema.FLOORS} | {
        f"observation_{c.name}": _variable(gathered.flow.observations, c, "observation") for c in schema.OBSERVATIONS
    }
    data = xr.Dataset(variables)
    if gathered.flow.can_fit:
        met = gathered.tested["exposure_c"]
        ends = np.floor(float(met.min()) - BEYOND_C), np.ceil(float(met.max()) + BEYOND_C)
        temperatures = np.arange(ends[0], ends[1] + STEP_C / 2, STEP_C)
        data["share_coming_through"] = _curves(gathered, temperatures)
        data["temperature"].attrs = {
            "units": "degC", "long_name": "held temperature", "units_metadata": "temperature: on_scale",
        }  # fmt: skip
        data["quantile"].attrs = {"units": "1", "long_name": "posterior quantile"}
    data.attrs = {
        "title": f"{gathered.settings.name}: tolerance floors, survival curves and observations",
        "comment": FLOOR_CAUTION,
        "records_state": gathered.token,
        "held_duration_h": gathered.settings.model_held_h,
        "Conventions": "CF-1.11",
    }
    return data


def netcdf_bytes(data: xr.Dataset) -> bytes:
    """Write arrays as NetCDF, byte for byte the same for the same arrays.

    Parameters
    ----------
    data : Dataset

    Returns
    -------
    bytes
    """
    buffer = io.BytesIO()
    data.to_netcdf(buffer, engine="h5netcdf")
    return buffer.getvalue()


def _variable(table: pd.DataFrame, column: Column, dim: str) -> xr.Variable:
    attrs = {"long_name": column.meaning}
    values = table[column.name]
    if column.kind in ("number", "integer", "flag"):
        attrs["units"] = column.unit or "1"
        if column.unit in ("degC", "K"):
            attrs["units_metadata"] = f"temperature: {'on_scale' if column.unit == 'degC' else 'difference'}"
        kind = "float64" if column.kind == "number" else "int64"
        return xr.Variable((dim,), values.to_numpy(dtype=kind), attrs)
    texts = ["" if value is None or pd.isna(value) else str(value)[: 10 if column.kind == "date" else None]
             for value in values]  # fmt: skip
    return xr.Variable((dim,), np.array(texts, dtype=object), attrs, encoding={"dtype": str})


def _curves(gathered: Gathered, temperatures: Sequence[float] | np.ndarray) -> xr.DataArray:
    """Survival curves, laid out over all cells of the floors."""
    curves = gathered.flow.fit.curves([float(value) for value in temperatures])
    fitted = list(zip(curves["selection"].values, curves["rootstock"].values, strict=True))
    place = {cell: number for number, cell in enumerate(fitted)}
    cells = list(zip(gathered.floors["selection"], gathered.floors["rootstock"], strict=True))
    known = curves.to_numpy()
    shares = np.full((len(cells), curves.sizes["temperature"], curves.sizes["quantile"]), np.nan)
    for number, cell in enumerate(cells):
        if cell in place:
            shares[number] = known[place[cell]]
    return xr.DataArray(
        shares,
        dims=("cell", "temperature", "quantile"),
        coords={"temperature": curves["temperature"].to_numpy(), "quantile": curves["quantile"].to_numpy()},
        attrs=dict(curves.attrs),
    )
