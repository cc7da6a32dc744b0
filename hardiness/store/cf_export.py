"""All readings of a trial in one CF file, for other programs, written sensor by sensor.

A network of loggers has more readings than memory: each sensor's are fetched once to tell how long the file becomes
and how fine its times are, and once to be written (``store/cf_dataset.py`` says what, ``store/cf_writing.py`` how).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd
import xarray as xr

from hardiness.read.conditions import CONDITIONS
from hardiness.settings import Settings
from hardiness.store.cf_dataset import chosen_sensors, readings_dataset
from hardiness.store.cf_samples import KINDS, ORIGIN, STATUS, kind_of, time_unit
from hardiness.store.cf_writing import check_writable, write_pieces
from hardiness.store.parts import times_ns

MAY_MISS = ("surface_altitude", "sensor_height", *CONDITIONS)  # variables whose values may be unknown


@dataclass(frozen=True, slots=True)
class Exported:
    """What an exported file holds.

    Parameters
    ----------
    sizes : mapping of str to int
        How many sensors (``station``), readings at instants (``obs``) and daily minima (``day``); 0 where none.
    masked : int
        How many of them are masked.
    estimated : int
        How many hours were drawn through daily values.
    variables : list of str
        Its variables, sorted.
    """

    sizes: Mapping[str, int]
    masked: int
    estimated: int
    variables: list[str]


@dataclass(slots=True)
class _Layout:
    """What has to be known of all readings before the first are written."""

    sizes: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)  # of time, by dimension

    def take(self, air: xr.DataArray) -> None:
        dim = kind_of(air).dimension
        self.sizes[dim] = self.sizes.get(dim, 0) + air.size
        self.units[dim] = time_unit(times_ns(air["time"].to_numpy()), self.units.get(dim))


def export_readings(
    path: Path,
    readings: Mapping[str, xr.DataArray],
    sensors: pd.DataFrame,
    masks: pd.DataFrame,
    calibrations: pd.DataFrame,
    settings: Settings,
    *,
    conditions: Mapping[str, xr.Dataset] | None = None,
    only: Sequence[str] = (),
    at: str,
) -> Exported:
    """Write the readings of sensors as one CF file, holding those of one sensor at a time.

    Parameters
    ----------
    path : Path
        Where to; a fault half-way leaves an old file as it was.
    readings, sensors, masks, calibrations, settings, conditions, only, at
        As :func:`hardiness.store.cf_dataset.readings_dataset` takes them.

    Returns
    -------
    Exported

    Raises
    ------
    InputError
        As :func:`hardiness.store.cf_dataset.chosen_sensors`; if the path cannot be a file.
    """
    check_writable(path)
    names, layout = chosen_sensors(readings, sensors, settings, only), _Layout()
    for name in names:
        layout.take(readings[name])
    counts = {"masked": 0, "estimated": 0}
    variables: set[str] = set()

    def pieces() -> Iterator[xr.Dataset]:
        for name in names:
            tables = (sensors, masks, calibrations, settings)
            piece = readings_dataset(readings, *tables, conditions=conditions, only=[name], units=layout.units, at=at)
            counts["masked"] += sum(_flagged(piece, f"{kind.prefix}status", STATUS.index("masked")) for kind in KINDS)
            counts["estimated"] += _flagged(piece, "origin", ORIGIN.index("estimated"))
            variables.update(map(str, piece.variables))
            yield piece

    write_pieces(pieces(), path, sizes={"station": len(names), **layout.sizes}, missing=MAY_MISS)
    sizes = {"station": len(names)} | {kind.dimension: layout.sizes.get(kind.dimension, 0) for kind in KINDS}
    return Exported(sizes, **counts, variables=sorted(variables))


def _flagged(dataset: xr.Dataset, name: str, number: int) -> int:
    return int((dataset[name] == number).sum()) if name in dataset else 0
