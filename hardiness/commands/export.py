"""The verb that hands readings to other programs: export."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from hardiness import words
from hardiness.commands.groups import NearNames
from hardiness.commands.output import say, trial_folder, trial_option
from hardiness.read.conditions import CONDITIONS
from hardiness.store.cf_export import STATUS, readings_dataset, write_readings
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
    masked = int((dataset["status"] == STATUS.index("masked")).sum())
    told = [condition.long_name for name, condition in CONDITIONS.items() if name in dataset]
    beside = f", with {words.listed(told)} where they are known" if told else ""
    say(f"{words.count(dataset.sizes['obs'], 'reading')} of {words.count(dataset.sizes['station'], 'sensor')} in "
        f"{file}{beside}; {masked} masked, which the variable 'status' says.")  # fmt: skip
