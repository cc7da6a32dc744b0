"""The verb that draws any figure by its name: ``figure``."""

from __future__ import annotations

from pathlib import Path

import click

from hardiness.commands.output import CAUTION, say, trial_folder, trial_option
from hardiness.errors import InputError, Problem, near_name
from hardiness.figures.formats import PAGES
from hardiness.figures.gallery import FIGURES, accepted_by, draw_figure
from hardiness.figures.saving import check_place, save_figure
from hardiness.report.notes import fit_notes
from hardiness.trial import open_trial

OF_THE_MODEL = {"summary", "survival", "ranks", "pairs", "calibration"}  # figures that show its answers


@click.command(no_args_is_help=True)
@click.argument("name", metavar="NAME", required=False)
@click.argument("file", metavar="FILE", required=False, type=click.Path(path_type=Path))
@click.option("--list", "listing", is_flag=True, help="List the figures and what may be chosen for each.")
@click.option("--selection", metavar="S", help="Of this selection.")
@click.option("--rootstock", metavar="R", help="On this rootstock.")
@click.option("--event", metavar="E", help="After or in this freeze: the date in the column event.")
@click.option("--block", metavar="B", help="Of this block.")
@click.option("--winter", metavar="W", help="Only this winter.")
@click.option("--sensor", metavar="S", help="This logger.")
@click.option("--station", metavar="S", help="Against this station.")
@click.option("--page", type=click.Choice(PAGES), default="A4", show_default=True, help="Size and layout.")
@trial_option
def figure(
    name: str | None, file: Path | None, listing: bool, page: str, trial: str | None, **chosen: str | None
) -> None:
    """Draw one figure as FILE.png, FILE.svg or FILE.pdf; --list says which there are.

    What is left open is chosen from the data: the hardiest selection, the coldest freeze, the block with most plants.
    """
    if listing:
        widest = max(len(each) for each in FIGURES)
        for each, entry in FIGURES.items():
            options = " ".join(f"--{option}" for option in accepted_by(each))
            click.echo(f"{each:{widest}}  {entry.title}{f'  [{options}]' if options else ''}")
        return
    choice = {option: value for option, value in chosen.items() if value is not None}
    if name not in FIGURES:
        raise InputError(Problem(f"figure '{name}'", f"one of {', '.join(FIGURES)}",
                                 hint=near_name(name or "", tuple(FIGURES))))  # fmt: skip
    if file is None:
        raise InputError(Problem("no file name", "NAME and FILE, such as: hardiness figure survival curves.pdf"))
    check_place(file)
    for option in choice:
        if option not in accepted_by(name):
            known = ", ".join(f"--{each}" for each in accepted_by(name)) or "no choice"
            raise InputError(Problem(f"--{option} for the figure '{name}'", known))
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow()
        written = save_figure(draw_figure(name, flow, opened.settings, page=page, **choice), file)
        say(f"The figure is {', '.join(str(path) for path in written)}.")
        say(fit_notes(flow) if name in OF_THE_MODEL else CAUTION)
