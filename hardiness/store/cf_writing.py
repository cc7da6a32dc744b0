"""Writing a CF file piece by piece: what several datasets hold, one after the other along the dims that grow.

A network of loggers has more readings than memory; the readings of one sensor fit. Each piece is laid behind the
pieces before it: what has a dim that grows at its place there, what has none as the first piece has it.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import h5netcdf
import h5py
import numpy as np
import xarray as xr

from hardiness.errors import InputError, Problem

LEAST_PACKED = 1000  # values: fewer are not worth packing
_PACKED = {"compression": "gzip", "compression_opts": 4, "shuffle": True}


def check_writable(path: Path) -> None:
    """Refuse a path that cannot be a file.

    Parameters
    ----------
    path : Path
        Where a file is to be written.

    Raises
    ------
    InputError
        If its folder does not exist, or it is a folder itself.
    """
    if path.is_dir() or not path.parent.is_dir():
        found = f"'{path}', {'a folder' if path.is_dir() else 'in a folder that does not exist'}"
        raise InputError(Problem(found, "a file to write, such as readings.nc"))


def write_pieces(
    pieces: Iterable[xr.Dataset], path: Path, *, sizes: Mapping[str, int], missing: Iterable[str] = ()
) -> None:
    """Write datasets as one NetCDF file, whole: a fault half-way leaves an old file as it was.

    Parameters
    ----------
    pieces : iterable of xarray.Dataset
        Each is asked for when the ones before it are written. Attributes are those of the first piece that has the
        variable.
    path : Path
        Where to.
    sizes : mapping of str to int
        The dims that grow, and how long they are in the end.
    missing : iterable of str
        Variables whose values may be missing: their fill value is NaN, also where no piece has a value.

    Raises
    ------
    InputError
        If it cannot be a file: its folder does not exist, or it is a folder itself.
    """
    check_writable(path)
    unknown = frozenset(missing)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with h5netcdf.File(beside, "w") as file:
            reached = dict.fromkeys(sizes, 0)
            for piece in pieces:
                _lay(file, piece, reached, sizes, unknown)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _lay(
    file: h5netcdf.File, piece: xr.Dataset, reached: dict[str, int], sizes: Mapping[str, int], missing: frozenset[str]
) -> None:
    """Lay a piece behind those before it."""
    if not file.attrs:
        file.attrs.update(piece.attrs)
    for dim, size in piece.sizes.items():
        if dim not in file.dimensions:
            file.dimensions[dim] = sizes.get(str(dim), size)
    for name, variable in piece.variables.items():
        values = variable.to_numpy()
        if name not in file.variables:
            _create(file, str(name), variable, values.dtype, fill=str(name) in missing)
        place = tuple(
            slice(reached[dim], reached[dim] + piece.sizes[dim]) if dim in reached else slice(None)
            for dim in map(str, variable.dims)
        )
        file.variables[str(name)][place] = values
    for dim in reached:
        reached[dim] += piece.sizes.get(dim, 0)


def _create(file: h5netcdf.File, name: str, variable: xr.Variable, dtype: np.dtype[Any], *, fill: bool) -> None:
    texts = dtype.kind in "OU"
    length = math.prod(file.dimensions[dim].size for dim in variable.dims)
    packed = {} if texts or length < LEAST_PACKED else _PACKED
    made = file.create_variable(
        name, variable.dims, h5py.string_dtype() if texts else dtype, fillvalue=np.nan if fill else None, **packed
    )
    made.attrs.update(variable.attrs)
