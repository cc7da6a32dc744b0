"""Verbs that question a fit: ``checks``, and what ``floors --explain`` says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import click
import pandas as pd
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from hardiness import schema, words
from hardiness.commands.output import csv_option, deliver, say, trial_folder, trial_option
from hardiness.errors import InputError, Problem, near_name
from hardiness.figures.calibration import PAGES, draw_calibration, prepare_calibration
from hardiness.figures.saving import save_figure
from hardiness.flow import Flow
from hardiness.plainwords import Told, explain_selection, listed_cells
from hardiness.tolerance.calibration import calibration_table, cell_fit, grades_by_exposure
from hardiness.tolerance.checks import STEPS, Checks, cell_sentence, check_fit
from hardiness.tolerance.floors import floors_table
from hardiness.tolerance.influence import confirmed_influence
from hardiness.tolerance.posterior import Posterior
from hardiness.tolerance.prediction import predict_rows
from hardiness.tolerance.sensitivity import TOGETHER, sensitivity_table
from hardiness.tolerance.spacing import spacing_table
from hardiness.trial import open_trial

TABLES = {
    "checks": schema.CHECKS,
    "calibration": schema.CALIBRATION,
    "grades": schema.GRADES_BY_EXPOSURE,
    "cells": schema.CELL_FIT,
    "spacing": schema.SPACING,
    "influence": schema.INFLUENCE,
    "priors": schema.SENSITIVITY,
}
ONE_TABLE: dict[str, Callable[[Posterior], pd.DataFrame]] = {
    "calibration": lambda posterior: calibration_table(predict_rows(posterior)),
    "grades": lambda posterior: grades_by_exposure(predict_rows(posterior)),
    "cells": lambda posterior: cell_fit(predict_rows(posterior)),
    "spacing": spacing_table,
    "influence": lambda posterior: confirmed_influence(
        posterior, floors_table(posterior, survive=0.9, grade=None, level=0.9)
    ),
    "priors": sensitivity_table,
}
PRINTED_CHECKS = ("check", "statistic", "value", "accepted", "passes")


@click.command()
@csv_option
@click.option("--table", type=click.Choice(list(TABLES)), default=None, help="Only this table [checks, calibration].")
@click.option("--figure", metavar="FILE", type=click.Path(path_type=Path), help="Draw the calibration plot.")
@click.option("--page", type=click.Choice(PAGES), default="A4", show_default=True, help="Size of the plot.")
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def checks(
    csv: str | None, table: str | None, figure: Path | None, page: str, containers: bool, trial: str | None
) -> None:
    """Whether the fit may be trusted: calibration, cells that fit badly, influence of plants and freezes, priors.

    --csv writes the checks, or the table that --table names.
    """
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        if not flow.can_fit:
            deliver(pd.DataFrame(columns=schema.column_names(TABLES[table or "checks"])), TABLES[table or "checks"],
                    opened.settings, csv)  # fmt: skip
            say("There is no observation to fit yet, and nothing to check.")
            return
        if table not in (None, "checks"):
            made = ONE_TABLE[table](flow.fit.posterior)
            deliver(made, TABLES[table], opened.settings, csv)
            if figure is not None:
                _draw(flow, calibration_table(predict_rows(flow.fit.posterior)), figure, page)
            say(flow.fit.cautions)
            return
        found = _checked(flow)
        if figure is not None:
            _draw(flow, found.calibration, figure, page)
        if csv is not None or table is not None:
            deliver(found.rows, schema.CHECKS, opened.settings, csv)
        else:
            # Counts and probabilities stand in one column: each as it is best read.
            columns = [replace(c, kind="text" if c.name == "value" else c.kind) for c in schema.CHECKS]
            shown = found.rows.assign(value=[words.three_digits(value) for value in found.rows["value"]])
            deliver(shown, [c for c in columns if c.name in PRINTED_CHECKS], opened.settings, None)
            click.echo("")
            deliver(found.calibration, schema.CALIBRATION, opened.settings, None)
        say([f"{'' if row.passes else 'LOOK: '}{row.comment}" for row in found.rows.itertuples(index=False)])
        badly = found.cells[found.cells[["grade_p", "killed_p"]].min(axis=1) < 0.05]
        if len(badly):
            say(f"Cells to look at (of {len(found.cells)}, about 1 in 20 would stand here by chance):")
            say([f"  {cell_sentence(cell)}" for _, cell in badly.iterrows()])
        say(flow.fit.cautions)


def _draw(flow: Flow, table: pd.DataFrame, file: Path, page: str) -> None:
    picture = prepare_calibration(table, flow.settings.grades, flow.settings.name)
    for path in save_figure(draw_calibration(picture, page=page), file):
        say(f"The calibration plot is {path}.")


def _checked(flow: Flow) -> Checks:
    console = Console(stderr=True)
    bar = Progress(TextColumn("{task.description}"), BarColumn(), console=console, disable=not console.is_terminal,
                   transient=True)  # fmt: skip
    with bar:
        task = bar.add_task("fitting", total=len(STEPS) - 1)
        return check_fit(
            flow.fit.posterior,
            units=flow.settings.units,
            progress=lambda done, what: bar.update(task, completed=done, description=what),
        )


def _fitted_rows(flow: Flow) -> pd.DataFrame:
    return flow.observations[flow.observations["protected"] == ""]


def told_about(flow: Flow, selection: str, survive: float = 0.9, grade: int | None = None) -> Told:
    """Gather what one selection's floors say and rest on.

    Raises
    ------
    InputError
        If no such selection is registered.
    """
    table = flow.floors(survive, grade)
    known = sorted({*flow.records.selections["selection"], *table["selection"]})
    if selection not in known:
        raise InputError(Problem(f"'{selection}'", "a selection of the trial", file="--explain",
                                 hint=near_name(selection, known)))  # fmt: skip
    empty = {
        "influence": pd.DataFrame(columns=schema.column_names(schema.INFLUENCE)),
        "sensitivity": pd.DataFrame(columns=schema.column_names(schema.SENSITIVITY)),
    }
    tested = _fitted_rows(flow)
    if (tested["selection"] == selection).any():
        posterior = flow.fit.posterior
        empty["influence"] = confirmed_influence(posterior, table, survive=survive, grade=grade, selections=[selection])
        empty["sensitivity"] = sensitivity_table(posterior, survive=survive, grade=grade, variants=TOGETHER)
    return Told(
        selection=selection,
        floors=table,
        observations=tested,
        claims=flow.claims,
        grade=flow.settings.worst if grade is None else grade,
        worst=flow.settings.worst,
        survive=survive,
        units=flow.settings.units,
        **empty,
    )


def explain_floors(flow: Flow, selection: str, survive: float = 0.9, grade: int | None = None) -> None:
    """Print what one selection's floors say and rest on, in sentences.

    Raises
    ------
    InputError
        If no such selection is registered.
    """
    told = told_about(flow, selection, survive, grade)
    click.echo(listed_cells(explain_selection(told)))
    if words.share(survive) != words.share(0.9) and not told.claims.empty:
        say("Claims are held against 9 in 10 coming through, whatever --survive says.")
