"""The verb that hands readings to other programs: export."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from hardiness import words
from hardiness.commands.groups import NearNames
from hardiness.commands.output import say, trial_folder, trial_option
from hardiness.read.conditions import CONDITIONS
from hardiness.store.cf_export import export_readings
from hardiness.store.cf_samples import KINDS
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
        held = export_readings(
            file, r.readings, r.sensors, r.masks, r.calibrations, opened.settings,
            conditions=r.conditions(), only=sensors, at=now,
        )  # fmt: skip
    there = [kind for kind in KINDS if held.sizes[kind.dimension]]
    numbers = [words.count(held.sizes[kind.dimension], kind.noun, kind.nouns) for kind in there]
    told = [condition.long_name for name, condition in CONDITIONS.items() if name in held.variables]
    beside = f", with {words.listed(told)} where they are known" if told else ""
    whose = f"{words.listed(numbers)} of {words.count(held.sizes['station'], 'sensor')}"
    flags = [f"{kind.prefix}status" for kind in there]
    named = words.listed([repr(name) for name in flags])
    said = f"the variable {named} says" if len(flags) == 1 else f"the variables {named} say"
    say(f"{whose} in {file}{beside}; {held.masked} masked, which {said}.")
    if held.estimated:
        say(f"{words.count(held.estimated, 'hour')} of them drawn through daily minima and maxima, not measured, which "
            f"the variable 'origin' says.")  # fmt: skip
