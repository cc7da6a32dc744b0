"""Verbs that draw: ``chart``."""

from __future__ import annotations

from pathlib import Path

import click

from hardiness.commands.output import say, trial_folder, trial_option
from hardiness.figures.formats import PAGES
from hardiness.figures.from_flow import summary_of
from hardiness.figures.saving import check_place, save_figure
from hardiness.report.notes import floor_notes
from hardiness.trial import Trial, open_trial


@click.command()
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--page", type=click.Choice(PAGES), default="A4", show_default=True, help="Size and layout.")
@click.option("--half-zones", is_flag=True, help="Put bands of hardiness half-zones behind the floors.")
@trial_option
def chart(file: Path, page: str, half_zones: bool, trial: str | None) -> None:
    """Draw the trial summary chart as FILE.png, FILE.svg or FILE.pdf."""
    check_place(file)
    with open_trial(trial_folder(trial)) as opened:
        draw_chart(opened, file, page=page, half_zones=half_zones)
        say(floor_notes(opened.flow()))


def draw_chart(trial: Trial, file: Path, *, page: str = "A4", half_zones: bool = False) -> None:
    """Draw the trial summary chart of a trial.

    Parameters
    ----------
    trial : Trial
    file : Path
        Ends in .png, .svg or .pdf.
    page : str
        One of the page formats.
    half_zones : bool
        Put bands of hardiness half-zones behind the floors.
    """
    written = save_figure(summary_of(trial.flow(), trial.settings, page=page, half_zones=half_zones), file)
    if len(written) > 1:
        say(f"The chart has {len(written)} pages: {', '.join(str(path) for path in written)}.")
