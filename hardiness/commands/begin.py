"""Verbs that begin a trial: ``new`` and ``demo``."""

from __future__ import annotations

import shlex
from dataclasses import replace
from pathlib import Path

import click
from rich.console import Console
from rich.progress import Progress

from hardiness.commands.answers import print_floors
from hardiness.commands.intake import say_intake
from hardiness.commands.output import say
from hardiness.commands.paper import draw_chart
from hardiness.demo import DEMO_STEPS, demo_folder
from hardiness.report.notes import NO_LATITUDE
from hardiness.settings import SETTINGS_FILE, THRESHOLDS, FreezeRules, Settings
from hardiness.settings_reading import parse_settings, read_settings
from hardiness.settings_writing import to_toml
from hardiness.trial import Trial, new_trial
from hardiness.units import parse_temperature

CHART = "summary.png"


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--name", required=True, help="The trial's name.")
@click.option("--timezone", required=True, metavar="TZ", help="IANA time zone, such as Europe/Lisbon.")
@click.option("--latitude", type=float, help="Degrees, north is positive.")
@click.option("--longitude", type=float, help="Degrees, east is positive.")
@click.option("--elevation", type=float, metavar="M", help="Metres above the sea.")
@click.option("--units", type=click.Choice(["C", "F"]), default="C", show_default=True, help="Unit for display.")
def new(
    folder: Path,
    name: str,
    timezone: str,
    latitude: float | None,
    longitude: float | None,
    elevation: float | None,
    units: str,
) -> None:
    """Make a new trial folder DIR with its trial.toml, which you may edit."""
    settings = settings_asked(name, timezone, latitude=latitude, longitude=longitude, elevation=elevation, units=units)
    with new_trial(folder, settings):
        pass
    say(f"{folder} is a trial now. Next: hardiness add selections FILE --trial {shlex.quote(str(folder))}")
    if latitude is None:
        say(NO_LATITUDE)


def settings_asked(
    name: str,
    timezone: str,
    *,
    latitude: float | None = None,
    longitude: float | None = None,
    elevation: float | None = None,
    units: str = "C",
) -> Settings:
    """Make the settings of a new trial from what was asked for.

    Raises
    ------
    InputError
        With every fault.
    """
    texts = THRESHOLDS.get(units, THRESHOLDS["C"])
    rules = replace(FreezeRules(), thresholds=tuple(parse_temperature(text) for text in texts))
    asked = Settings(name, timezone, latitude, longitude, elevation, units, rules=rules)
    return parse_settings(to_toml(asked), file="hardiness new")  # one validation for both doors


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def demo(folder: Path) -> None:
    """Make a whole invented trial in DIR, ready to look at: seedling olives on a hillside, with floors and chart.

    The files of data_demo are added through the same verbs as your own.
    """
    files = demo_folder()
    console = Console(stderr=True)
    with new_trial(folder, read_settings(files / SETTINGS_FILE)) as trial:
        with Progress(console=console, disable=not console.is_terminal, transient=True) as bar:
            for step in bar.track(DEMO_STEPS, description="adding the demo's files"):
                _take(trial, step.table, files / step.file, dict(step.options))
        flow = trial.flow()
        print_floors(flow, flow.floors())
        chart = folder / CHART
        draw_chart(trial, chart)
    say(f"The chart is {chart}. Go on with: hardiness freezes --trial {shlex.quote(str(folder))}")


def _take(trial: Trial, table: str, path: Path, options: dict[str, str]) -> None:
    if table == "readings":
        say_intake(trial.add_readings(path, options.pop("sensor"), **options))  # type: ignore[arg-type]
    else:
        say_intake(trial.add_table(table, path))
