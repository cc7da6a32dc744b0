"""The verb that hands readings to other programs: export."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click
import xarray as xr

from hardiness import words
from hardiness.commands.groups import NearNames
from hardiness.commands.output import say, trial_folder, trial_option
from hardiness.read.conditions import CONDITIONS
from hardiness.store.cf_export import readings_dataset, write_readings
from hardiness.store.cf_samples import KINDS, ORIGIN, STATUS
from hardiness.trial import open_trial


@click.group(cls=NearNames)
@trial_option
def export(trial: str | None) -> None:
    """Write readings of the trial for other programs."""


@export.command()
@click.argument("file", metavar="FILE.nc", type=click.Path(path_type=Path))
@click.option("--sensor", "sensors", metavar="S", multiple=True, help="Only this one; may be given again [all].")
@trial_option
def readings(file: Path, sensors: tuple[str, ...], trial: str | None) -> None:
    """Write all readings as one CF NetCDF file: as read, with offsets, whether each counts, humidity, wind and sky."""
    with open_trial(trial_folder(trial)) as opened:
        r = opened.flow().records
        now = dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        dataset = readings_dataset(
            r.readings, r.sensors, r.masks, r.calibrations, opened.settings,
            conditions=r.conditions(), only=sensors, at=now,
        )  # fmt: skip
        write_readings(dataset, file)
    held = [
        words.count(dataset.sizes[kind.dimension], kind.noun, kind.nouns)
        for kind in KINDS if kind.dimension in dataset.sizes
    ]  # fmt: skip
    flags = [name for kind in KINDS if (name := f"{kind.prefix}status") in dataset]
    masked = sum(_flagged(dataset, name, STATUS.index("masked")) for name in flags)
    told = [condition.long_name for name, condition in CONDITIONS.items() if name in dataset]
    beside = f", with {words.listed(told)} where they are known" if told else ""
    whose = f"{words.listed(held)} of {words.count(dataset.sizes['station'], 'sensor')}"
    named = words.listed([repr(name) for name in flags])
    said = f"the variable {named} says" if len(flags) == 1 else f"the variables {named} say"
    say(f"{whose} in {file}{beside}; {masked} masked, which {said}.")
    if drawn := _flagged(dataset, "origin", ORIGIN.index("estimated")):
        say(f"{words.count(drawn, 'hour')} of them drawn through daily minima and maxima, not measured, which the "
            f"variable 'origin' says.")  # fmt: skip


def _flagged(dataset: xr.Dataset, name: str, number: int) -> int:
    return int((dataset[name] == number).sum()) if name in dataset else 0
