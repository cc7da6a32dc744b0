"""Verbs that draw: ``chart``."""

from __future__ import annotations

from pathlib import Path

import click

from hardiness.commands.answers import floor_notes
from hardiness.commands.output import say, trial_folder, trial_option
from hardiness.figures.saving import check_place, save_figure
from hardiness.figures.summary import PAGES, draw_summary
from hardiness.figures.summary_data import prepare_summary
from hardiness.trial import Trial, open_trial


@click.command()
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--page", type=click.Choice(PAGES), default="A4", show_default=True, help="Size and layout.")
@trial_option
def chart(file: Path, page: str, trial: str | None) -> None:
    """Draw the trial summary chart as FILE.png, FILE.svg or FILE.pdf."""
    check_place(file)
    with open_trial(trial_folder(trial)) as opened:
        draw_chart(opened, file, page=page)
        say(floor_notes(opened.flow()))


def draw_chart(trial: Trial, file: Path, *, page: str = "A4") -> None:
    """Draw the trial summary chart of a trial.

    Parameters
    ----------
    trial : Trial
    file : Path
        Ends in .png, .svg or .pdf.
    page : str
        One of the page formats.
    """
    flow = trial.flow()
    floors = flow.floors()
    half = flow.floors(level=0.5).rename(columns={"floor_low_c": "floor_q25_c", "floor_high_c": "floor_q75_c"})
    summary = prepare_summary(
        settings=trial.settings,
        floors=floors.merge(half[["selection", "rootstock", "floor_q25_c", "floor_q75_c"]]),
        freezes=flow.freezes_that_count,
        observations=flow.observations,
        claims=flow.claims,
        selections=flow.records.selections,
        plants=flow.records.plants,
    )
    written = save_figure(draw_summary(summary, page=page), file)
    if len(written) > 1:
        say(f"The chart has {len(written)} pages: {', '.join(str(path) for path in written)}.")
