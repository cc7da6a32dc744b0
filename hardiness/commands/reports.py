"""Verbs that put a trial on paper: ``report``, ``card``, ``sheet``."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from hardiness import words
from hardiness.commands.answers import refuse_unusable_scores
from hardiness.commands.output import say, trial_folder, trial_option
from hardiness.errors import InputError, Problem
from hardiness.report.build import PAGE, PRINT, write_report
from hardiness.report.cards import card_pdf, make_cards
from hardiness.report.folder import check_folder
from hardiness.report.gathered import PARTS, gather
from hardiness.report.notes import fit_notes, floor_notes
from hardiness.report.scoring_sheet import check_ending, write_scoring_sheet
from hardiness.report.typesetting import PAPERS
from hardiness.trial import open_trial

paper_option = click.option("--paper", type=click.Choice(list(PAPERS)), default="A4", show_default=True,
                            help="Size of the paper.")  # fmt: skip


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@paper_option
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def report(folder: Path, paper: str, containers: bool, trial: str | None) -> None:
    """Write the whole report into the folder DIR: a page for the screen, a PDF, tables, a workbook, NetCDF.

    DIR is new, empty, or an earlier report that nobody has changed: that one is replaced whole.
    """
    check_folder(folder)
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        refuse_unusable_scores(flow)
        console = Console(stderr=True)
        bar = Progress(TextColumn("{task.description}"), BarColumn(), console=console,
                       disable=not console.is_terminal, transient=True)  # fmt: skip
        with bar:
            task = bar.add_task("fitting", total=PARTS)
            written = write_report(
                flow,
                opened.settings,
                folder,
                token=opened.store.state_token(),
                paper=paper,
                progress=lambda done, what: bar.update(task, completed=done, description=what),
            )
        say(f"{words.count(len(written), 'file')} in {folder}: open {folder / PAGE}, or print {folder / PRINT}.")
        say(floor_notes(flow))


@click.command()
@click.argument("file", metavar="FILE.pdf", type=click.Path(path_type=Path))
@click.option("--selection", "selections", metavar="S", multiple=True,
              help="Only this one; may be given several times [all that have a plant].")  # fmt: skip
@click.option("--rootstock", metavar="R", help="Only what stands on this rootstock (own: on its own roots).")
@paper_option
@trial_option
def card(file: Path, selections: tuple[str, ...], rootstock: str | None, paper: str, trial: str | None) -> None:
    """Write cards to hand over with plants: half a page each, with the figure that the evidence carries."""
    if file.suffix.lower() != ".pdf":
        raise InputError(Problem(f"a file name ending in '{file.suffix}'", "one ending in .pdf", file=file.name))
    if file.is_dir() or not file.absolute().parent.is_dir():
        raise InputError(Problem(f"'{file}', no place for a file", "a file in a folder that exists", file="FILE.pdf"))
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow()
        gathered = gather(flow, opened.settings, opened.store.state_token(), questions=False)
        cards = make_cards(gathered, selections, rootstock)
        file.write_bytes(card_pdf(gathered, cards, paper=paper))
        without = sum(all(not figure.celsius for figure in card.figures) for card in cards)
        say(f"{words.count(len(cards), 'card')} in {file}.")
        if without:
            say(f"{words.count(without, 'card')} without a figure: never tested, or all plants died; the card says so.")
        say(fit_notes(flow))


@click.command()
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--large", is_flag=True, help="Larger rows and type.")
@click.option("--block", metavar="B", help="Only this block.")
@paper_option
@trial_option
def sheet(file: Path, large: bool, block: str | None, paper: str, trial: str | None) -> None:
    """Write a blank scoring sheet in walking order: up the first row of a block, down the next.

    FILE.pdf is for paper; hardiness enter types it back in. FILE.html is for a phone: one file that needs no network
    and gives back a table for hardiness add scores.
    """
    check_ending(file)
    with open_trial(trial_folder(trial)) as opened:
        walk = write_scoring_sheet(opened.flow(), opened.settings, file, large=large, block=block, paper=paper)
        say(f"{words.count(len(walk.stops), 'plant')} on {file}.")
        if walk.said:
            say(f"Not on it: {' '.join(walk.said)}")
